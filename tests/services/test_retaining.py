"""What may be erased: proposed from the table and the dates, and done only when it was typed."""

from datetime import date, timedelta

import pytest

from tests.conftest import HALF_MASK, Works
from trainer.reference import retention
from trainer.services import joining, leaving, merging, recording, retaining, settings
from trainer.services.refusal import Refusal
from trainer.store import people, record
from trainer.store.tables import Person


def fit_test(works: Works, once: str, days_ago: int, name: str = "Lee") -> int:
    """Record a fit test and return the number of its entry."""
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        worn = people.respirators(db, person.id)[0]
        entry = recording.record_fit_test(
            db, works.scribe(), person, worn, once=once,
            on=works.today - timedelta(days=days_ago), protocol="saccharin", passed=True,
        )  # fmt: skip
        return entry.number


def proposed(works: Works, slug: str, today: date | None = None) -> list[int]:
    """Return the entries that may be erased by a row."""
    with works.store.reading() as db:
        found = retaining.of_row(db, slug, today or works.today)
        return [one.entry.number for one in found]


def test_a_fit_test_may_go_when_the_next_one_was_done_m_2_ii(works):
    first = fit_test(works, "a", 400)
    assert proposed(works, "fit-test") == []
    second = fit_test(works, "b", 40)
    assert proposed(works, "fit-test") == [first]
    fit_test(works, "c", 4)
    assert proposed(works, "fit-test") == [first, second]


def test_a_fit_test_with_another_facepiece_is_not_the_next_one(works):
    fit_test(works, "a", 400)
    with works.store.writing() as db:
        lee = works.people["Lee"]
        joining.take_respirator(db, works.scribe(), lee, people.respirators(db, lee.id)[0].id)
        joining.give_respirator(db, works.scribe(), lee, **HALF_MASK | {"size": "L"})
    fit_test(works, "b", 40)
    assert proposed(works, "fit-test") == []


def test_the_next_one_may_stand_under_another_number_of_the_person(works):
    first = fit_test(works, "a", 400)
    with works.store.writing() as db:
        works.people["Leo"] = joining.add_person(
            db, works.now, number="00016", name="Leo", roles=["worker"], worksites=[1]
        )
        joining.give_respirator(db, works.scribe(), works.people["Leo"], **HALF_MASK)
    fit_test(works, "b", 40, "Leo")
    assert proposed(works, "fit-test") == []
    with works.store.writing() as db:
        merging.merge(db, works.scribe(), works.people["Lee"], works.people["Leo"])
    assert proposed(works, "fit-test") == [first]


def test_training_is_kept_for_ever_until_the_employer_chooses_years(works):
    """29 CFR 1910.134(m) states no period: the setting decides, from the last day."""
    left = works.today - timedelta(days=800)
    with works.store.writing() as db:
        by, lee = works.scribe(), works.people["Lee"]
        given = recording.record_appendix_d(
            db, by, lee, once="d", on=left - timedelta(days=9)
        ).number
        recording.record_medical(
            db, by, lee, once="m", on=left - timedelta(days=9), outcome="cleared"
        )
        leaving.leave(db, by, lee, once="l", on=left)
    assert proposed(works, "training") == []
    with works.store.writing() as db:
        settings.put(db, works.scribe(), "training_keep_years", "2")
    assert proposed(works, "training") == [given]
    last = left.replace(year=left.year + 2)
    assert proposed(works, "training", last) == []
    assert proposed(works, "training", last + timedelta(days=1)) == [given]


def test_training_of_somebody_who_came_back_is_kept(works):
    left = works.today - timedelta(days=800)
    with works.store.writing() as db:
        by, lee = works.scribe(), works.people["Lee"]
        recording.record_appendix_d(db, by, lee, once="d", on=left)
        leaving.leave(db, by, lee, once="l", on=left)
        leaving.come_back(db, by, lee, once="r", on=works.today, worksites=[1])
        settings.put(db, by, "training_keep_years", "1")
    assert proposed(works, "training") == []


def test_where_a_state_asks_for_records_nothing_of_training_is_proposed(works):
    """WAC 296-842-12010(3); its period was not read, so the program does not guess it."""
    left = works.today - timedelta(days=800)
    with works.store.writing() as db:
        site = people.worksite_named(db, "Laminating Loft")
        site.rule_set = "washington"
        db.add(site)
        db.flush()
        by, lee = works.scribe(), works.people["Lee"]
        recording.record_appendix_d(db, by, lee, once="d", on=left)
        leaving.leave(db, by, lee, once="l", on=left)
        settings.put(db, by, "training_keep_years", "1")
    assert proposed(works, "training") == []


def test_medical_determinations_are_never_proposed_nor_chosen(works):
    """29 CFR 1910.134(m)(1), 1910.1020(d)(1)(i): employment and 30 years."""
    long_ago = date(1950, 1, 2)
    with works.store.writing() as db:
        by, lee = works.scribe(), works.people["Lee"]
        entry = recording.record_medical(
            db, by, lee, once="m", on=long_ago, outcome="cleared"
        )
        leaving.leave(db, by, lee, once="l", on=long_ago)
        settings.put(db, by, "training_keep_years", "1")
    for row in retention.rows():
        assert entry.number not in proposed(works, row.slug)
        with pytest.raises(Refusal), works.store.reading() as db:
            retaining.chosen(db, row.slug, [entry.number], works.today)


def test_a_row_that_nobody_saw_in_its_source_decides_nothing(works):
    asbestos = retention.get("training-asbestos")
    assert not asbestos.decides
    assert retention.of("lesson", "federal", works.today).slug == "training"
    assert retention.of("lesson", "washington", works.today).keep == "not-known"
    assert retention.of("fit-test", "washington", works.today).slug == "fit-test"
    assert {row.keep for row in retention.rows()} <= set(retention.KEEPS)


@pytest.fixture
def erased(monkeypatch) -> list[dict]:
    """Watch what the record is asked to erase."""
    asked = []
    monkeypatch.setattr(
        record, "erase", lambda db, numbers, **more: asked.append({"numbers": numbers} | more),
        raising=False,
    )  # fmt: skip
    return asked


def erase(works: Works, numbers: list[int], typed: str) -> None:
    """Ask for erasing."""
    with works.store.writing() as db:
        retaining.erase(
            db, works.scribe(), once="erasure:1", slug="fit-test", numbers=numbers, typed=typed,
            today=works.today,
        )  # fmt: skip


def test_only_what_was_ticked_and_typed_is_erased_and_why_is_told(works, erased):
    first, second = fit_test(works, "a", 400), fit_test(works, "b", 300)
    third = fit_test(works, "c", 4)
    erase(works, [first], "1")
    [asked] = erased
    assert asked["numbers"] == [first]
    assert (asked["row"], asked["source"]) == ("fit-test", "29 CFR 1910.134(m)(2)(ii)")
    assert asked["confirmed_by"] == {"number": "00001", "name": "Ida"}
    for numbers, typed, why in (
        ([first, second], "1", "Type 2"),
        ([first, second], "", "Type 2"),
        ([], "0", "Tick"),
        ([third], "1", "may not be erased"),
        ([9999], "1", "may not be erased"),
    ):
        with pytest.raises(Refusal) as refused:
            erase(works, numbers, typed)
        assert why in str(refused.value)
    assert len(erased) == 1


def test_a_fit_test_whose_next_one_was_struck_is_kept(works):
    first = fit_test(works, "a", 400)
    second = fit_test(works, "b", 40)
    assert proposed(works, "fit-test") == [first]
    with works.store.writing() as db:
        recording.correct(db, works.scribe(), second, once="c", why="not-done")
    assert proposed(works, "fit-test") == []


def test_a_fit_test_whose_next_one_was_of_another_facepiece_after_all_is_kept(works):
    first = fit_test(works, "a", 400)
    second = fit_test(works, "b", 40)
    with works.store.writing() as db:
        said = {"size": "L"}
        recording.correct(db, works.scribe(), second, once="c", why="wrong-value", said=said)
    assert proposed(works, "fit-test") == []
    assert first


def test_the_id_of_a_merged_person_is_nobodys_worker_number(works):
    """Kim's number is the id of Lee, who has two records: Kim's test is not the next one."""
    with works.store.writing() as db:
        works.people["Leo"] = joining.add_person(
            db, works.now, number="00016", name="Leo", roles=["worker"], worksites=[1]
        )
        works.people["Ann"] = joining.add_person(
            db, works.now, number=str(works.people["Lee"].id), name="Ann", roles=["worker"],
            worksites=[1],
        )  # fmt: skip
        joining.give_respirator(db, works.scribe(), works.people["Ann"], **HALF_MASK)
        merging.merge(db, works.scribe(), works.people["Lee"], works.people["Leo"])
    fit_test(works, "a", 400)
    fit_test(works, "b", 40, "Ann")
    assert proposed(works, "fit-test") == []
