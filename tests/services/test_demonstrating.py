"""Tern Quay Works: everybody stands where their story says, whatever day the demo is made."""

import re
from collections import Counter
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from sqlmodel import Session, select

from tests.databases import Databases
from trainer import lessons
from trainer.services import asking, demonstrating, guessing, signing_in, standing
from trainer.store import board, people, record
from trainer.store.engine import Store
from trainer.store.tables import Entry, Person, Respirator, SittingItem

# An ordinary afternoon; and 29 February late in the evening, when it is 1 March in UTC.
DAYS = {
    "an ordinary day": datetime(2026, 11, 25, 20, 15, tzinfo=UTC),
    "leap day": datetime(2028, 3, 1, 4, 30, tzinfo=UTC),
}

ALL_TO_DO = {"medical": "", "training": "", "practice": "", "fit-test": ""}
# What is not done, with why, by story. An empty dict: clear.
STANDS = {
    "clear": {},
    "clear again": {},
    "due soon": {},
    "fit test due soon": {},
    "overdue": {"training": "lapsed", "practice": "lapsed"},
    "fit test lapsed": {"fit-test": "lapsed"},
    "fit test failed": {"training": "", "practice": "", "fit-test": "failed"},
    "medical ended": {"medical": "lapsed"},
    "not cleared": ALL_TO_DO | {"medical": "not_cleared"},
    "powered only": {},
    "powered only since": {"medical": "powered_only"},
    "practice to come": {"training": "", "practice": ""},
    "trained elsewhere": {"training": "", "practice": ""},
    "practice not yet": {"training": "", "practice": "not_yet"},
    "two failed sittings": {"training": "", "practice": ""},
    "one failed sitting": {"training": "", "practice": ""},
    "in a sitting": {"training": "", "practice": ""},
    "reading": {"training": "", "practice": "", "fit-test": ""},
    "new respirator": {"training": "retraining"},
    "use not good enough": {"training": "retraining"},
    "Appendix D given": {},
    "Appendix D to come": {"appendix-d": ""},
    "by choice with medical": {},
    "new hire": ALL_TO_DO,
}


@pytest.fixture(scope="module")
def works(
    tmp_path_factory: pytest.TempPathFactory, databases: Databases, database: str
) -> dict[str, Store]:
    """Return the demo filled in on each of the days."""
    made = {}
    for name, now in DAYS.items():
        made[name] = databases.fresh(database, tmp_path_factory.mktemp("works"))
        demonstrating.fill(made[name], now)
    yield made
    for store in made.values():
        store.close()


@pytest.fixture(params=DAYS)
def day(request: pytest.FixtureRequest) -> str:
    """Return each of the days by name."""
    return request.param


@pytest.fixture
def db(works: dict[str, Store], day: str) -> Session:
    """Return a session on the demo of the day."""
    with works[day].reading() as session:
        yield session


@pytest.fixture
def today(day: str) -> date:
    """Return the day it is at Tern Quay Works."""
    return DAYS[day].astimezone(demonstrating.ZONE).date()


def _member(number: str) -> demonstrating.Member:
    return next(member for member in demonstrating.cast() if member.number == number)


def test_everybody_is_there(db: Session) -> None:
    everyone = list(db.exec(select(Person)))
    roles = Counter(role for person in everyone for role in people.roles(db, person.id))
    assert len(everyone) >= 44
    assert roles["coordinator"] == 2
    assert roles["trainer"] >= 5
    assert any(len(people.roles(db, person.id)) > 1 for person in everyone)
    assert {person.language for person in everyone} == {"en", "es"}
    assert all(
        person.qualification
        for person in everyone
        if "trainer" in people.roles(db, person.id)
    )


def test_every_worksite_has_somebody_to_ask_who_trains_there(db: Session) -> None:
    found = people.all_worksites(db)
    assert len(found) == 5
    for worksite in found:
        trainers = [person.name for person in people.at_worksite(db, worksite.id, role="trainer")]
        assert worksite.ask_name in trainers
        assert worksite.ask_place and worksite.ask_hours
        # 555-0100 to 555-0199 are kept for invented people (North American Numbering Plan).
        assert 100 <= int(worksite.ask_telephone.removeprefix("555-")) <= 199


TOLD = {"00120": {"fit-test": "changed"}, "00125": {"leak": "leak"}}
"""What two people told in one tap keeps a respirator off: (f)(3), (g)(2)(iii)."""


def test_everybody_stands_where_their_story_says(db: Session, today: date) -> None:
    told = {member.story for member in demonstrating.cast() if member.equipment}
    assert told == set(STANDS)
    for member in demonstrating.cast():
        if member.equipment:
            person = people.by_number(db, member.number)
            first = standing.tags(db, person, today)[0].clearance
            missing = {step.kind: step.why for step in first.steps if step.state != "done"}
            stands = STANDS[member.story] | TOLD.get(member.number, {})
            assert (member.number, missing) == (member.number, stands)
            assert first.clear == (not missing)


def test_the_board_shows_the_same_today(db: Session, today: date) -> None:
    asked = board.Filter(state="soon")
    rows, _, total = board.page(db, asked, today, 30, None, medical=True, first=0, most=50)
    due_soon = {_member(person.number).story for _, person, _ in rows}
    assert due_soon == {"due soon", "fit test due soon"}
    assert total == len(rows) == 4


def test_a_loose_fitting_respirator_asks_for_no_fit_test(db: Session, today: date) -> None:
    person = people.by_number(db, "00142")
    (tag,) = standing.tags(db, person, today)
    assert not tag.worn.tight
    assert "fit-test" not in {step.kind for step in tag.clearance.steps}
    assert record.of_person(db, "00142", ("fit-test",)) == []


def test_the_record_holds_and_runs_forward_in_time(db: Session, day: str) -> None:
    assert set(record.verify(db)) == {None}
    moments = list(db.exec(select(Entry.recorded_at).order_by(Entry.number)))
    assert moments == sorted(moments)
    assert moments[-1] < record.moment(DAYS[day])


def test_a_talk_was_given_and_used(db: Session) -> None:
    said = [record.body(one) for one in db.exec(select(Entry).where(Entry.kind == "lesson"))]
    taught = [one for one in said if one["mode"] == "taught in person"]
    assert taught
    assert {one["taught"]["by"]["qualification"] != "" for one in taught} == {True}
    assert len(taught) < len(said)


def test_nobody_signed_their_own_practice(db: Session) -> None:
    signed = db.exec(select(Entry).where(Entry.kind == "practice")).all()
    assert signed
    for entry in signed:
        assert record.body(entry)["watched_by"]["number"] != entry.person_number


def test_the_second_year_is_recorded_as_yearly(db: Session) -> None:
    twice = [record.body(entry)["reason"] for entry in record.of_person(db, "00143", ("training",))]
    assert twice == ["first", "yearly"]


def test_earlier_training_is_credited_but_for_one_element(db: Session, today: date) -> None:
    person = people.by_number(db, "00156")
    open_ = [one.slug for one in standing.History(db, person).to_do(today)]
    assert open_ == [
        one.slug for one in lessons.load().all if "(k)(1)(v)" in one.elements
    ]  # fmt: skip


def test_new_hires_of_the_loft_have_its_standing_assignment(db: Session, today: date) -> None:
    person = people.by_number(db, "00128")
    open_ = standing.History(db, person).to_do(today)
    # Our lessons, and the one that the Loft wrote.
    assert [one.slug for one in open_] == [*(one.slug for one in lessons.load().all), "site-1"]
    assert all(one.before_wearing for one in open_)


def test_the_lesson_of_the_loft_is_taught_in_both_languages(db: Session) -> None:
    passed = {
        entry.person_number: record.body(entry)
        for entry in db.exec(select(Entry).where(Entry.kind == "lesson"))
        if record.body(entry)["lesson"] == "site-1"
    }
    part = {"worksite": "Laminating Loft", "version": 1}
    assert {number: said["language"] for number, said in passed.items()} == {
        "00121": "en", "00123": "es",
    }  # fmt: skip
    assert all(said["worksite_part"] == part for said in passed.values())


def test_every_make_says_that_it_is_invented(db: Session) -> None:
    makes = set(db.exec(select(Respirator.make)))
    assert makes
    assert all(make.startswith("Invented ") for make in makes)


def test_all_but_the_days_is_the_same_each_time(works: dict[str, Store]) -> None:
    told = []
    for store in works.values():
        with store.reading() as db:
            items = select(SittingItem.slug, SittingItem.drawn, SittingItem.answer)
            given = select(Respirator.person_id, Respirator.model, Respirator.size)
            tests = [
                (entry.person_number, record.body(entry)["fit_factor"])
                for entry in db.exec(select(Entry).where(Entry.kind == "fit-test"))
            ]
            told.append(
                (sorted(_without_days(db.exec(items))), sorted(db.exec(given)), sorted(tests))
            )
    assert told[0] == told[1]


def _without_days(rows) -> list[str]:
    """Return rows as text; problems cite the day on which the worksite was measured."""
    return [re.sub(r"\d{1,2} \w{3,4} \d{4}", "a day", str(tuple(row))) for row in rows]


def test_the_sign_ins_work_and_a_code_is_made_fresh_each_start(
    works: dict[str, Store], day: str
) -> None:
    store, now = works[day], DAYS[day]
    with store.writing() as db:
        earlier = demonstrating.sign_ins(db, now)
        later = demonstrating.sign_ins(db, now)
        assert [one.who for one in later] == ["coordinator", "trainer", "worker, done", "new hire"]
        for one in later[:3]:
            person = people.by_number(db, one.number)
            guessing.refuse_passphrase(person, one.passphrase)
            guessing.refuse_pin(person, demonstrating.PIN)
            assert signing_in.fits(one.passphrase, person.passphrase_hash)
        with pytest.raises(signing_in.Refusal):
            signing_in.enrol(db, earlier[3].code, earlier[3].number, None, now)
        _, _, person = signing_in.enrol(db, later[3].code, later[3].number, None, now)
        assert person.name == later[3].name


def test_a_folder_says_whether_it_holds_the_demo(
    works: dict[str, Store], day: str, tmp_path: Path, databases: Databases, database: str
) -> None:
    with works[day].reading() as db:
        assert demonstrating.holds_demo(db)
        assert not demonstrating.is_fresh(db)
    store = databases.fresh(database, tmp_path)
    with store.reading() as db:
        assert demonstrating.is_fresh(db)
        assert not demonstrating.holds_demo(db)
    store.close()


def test_there_are_questions_and_needs_open_and_dealt_with(db):
    found = asking.waiting(db, None)
    assert (len(found.questions), len(found.needs)) == (3, 3)
    kinds = {one.need.kind for one in found.needs}
    assert kinds == set(asking.KINDS)
    assert len(asking.answered_for(db, None, 9)) == 4
    desmond = people.by_number(db, "00121")
    assert [one.unread for one in asking.of_person(db, desmond)] == [True]
