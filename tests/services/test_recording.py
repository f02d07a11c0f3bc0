"""What goes into the record: medical clearance, fit tests, Appendix D."""

from datetime import date, timedelta

import pytest

from tests.conftest import HALF_MASK, Works
from trainer.services import joining, recording, standing
from trainer.services.refusal import Refusal
from trainer.store import people, record
from trainer.store.tables import Entry, Respirator

pytestmark = pytest.mark.both_databases


def fit_test(works: Works, name: str = "Lee", **fields) -> Entry:
    """Record a fit test with somebody's newest respirator."""
    given = {
        "once": "fit-test:1", "on": works.today, "protocol": "ambient-aerosol",
        "fit_factor": 180.0, "recording": "shelf 3",
    } | fields
    with works.store.writing() as db:
        person = works.people[name]
        worn = people.respirators(db, person.id)[-1]
        return recording.record_fit_test(db, works.scribe(), person, worn, **given)


def medical(works: Works, **fields) -> Entry:
    """Record a medical determination of Lee's."""
    given = {"once": "medical:1", "on": works.today, "outcome": "cleared"} | fields
    with works.store.writing() as db:
        return recording.record_medical(db, works.scribe(), works.people["Lee"], **given)


def give(works: Works, class_slug: str, name: str = "Lee", **more: str) -> Respirator:
    """Give somebody a respirator."""
    with works.store.writing() as db:
        return joining.give_respirator(
            db, works.scribe(), works.people[name],
            **(HALF_MASK | {"class_slug": class_slug} | more),
        )


def step(works: Works, kind: str, name: str = "Lee", at: int = 0):
    """Return one step of a tag."""
    with works.store.reading() as db:
        tag = standing.tags(db, works.people[name], works.today)[at]
    return next(one for one in tag.clearance.steps if one.kind == kind)


@pytest.mark.parametrize(
    ("class_slug", "factor", "passed"),
    [
        ("apr-half", 100, True),  # 29 CFR 1910.134(f)(7): at least 100, half
        ("apr-half", 99.9, False),
        ("apr-quarter", 100, True),  # and quarter facepieces
        ("apr-filtering", 100, True),
        ("apr-full", 500, True),  # at least 500, full facepieces
        ("apr-full", 499, False),
        ("sar-flow-full", 499, False),
    ],
)
def test_a_quantitative_test_is_judged_by_its_fit_factor_alone(works, class_slug, factor, passed):
    give(works, class_slug)
    entry = fit_test(works, fit_factor=factor, passed=not passed)
    assert record.body(entry)["passed"] is passed


def test_a_fit_test_holds_the_fields_of_m_2_i(works):
    """(m)(2)(i)(A)-(E): name, type of test, make model style size, date, pass or fail or factor."""
    entry = fit_test(works)
    said = record.body(entry)
    assert (said["name"], said["protocol"], said["test_kind"]) == (
        "Lee", "ambient-aerosol", "quantitative",
    )
    assert [said[part] for part in ("make", "model", "style", "size")] == [
        "Invented Aldermoor", "Half 2", "elastomeric", "M",
    ]
    assert said["happened_on"] == works.today.isoformat()
    assert (said["passed"], said["fit_factor"], said["recording"]) == (True, "180", "shelf 3")


@pytest.mark.parametrize(
    "fields",
    [
        {"fit_factor": None},
        {"fit_factor": float("nan")},
        {"fit_factor": float("inf")},
        {"fit_factor": -1.0},
        {"recording": "  "},
        {"protocol": "no such test"},
        {"protocol": "saccharin"},  # qualitative, with a fit factor
        {"protocol": "saccharin", "fit_factor": None},  # neither passed nor failed
        {"protocol": "saccharin", "fit_factor": None, "passed": True, "on": date.max},
    ],
)
def test_a_fit_test_that_does_not_add_up_is_refused(works, fields):
    with pytest.raises(Refusal):
        fit_test(works, **fields)
    with works.store.reading() as db:
        assert record.count(db) == 0


@pytest.mark.parametrize("passed", [True, False])
def test_a_qualitative_test_passes_or_fails(works, passed):
    entry = fit_test(works, protocol="saccharin", fit_factor=None, passed=passed, recording="")
    said = record.body(entry)
    assert (said["passed"], said["fit_factor"]) == (passed, "")
    assert step(works, "fit-test").state == ("done" if passed else "no")


def test_a_loose_fitting_respirator_takes_none(works):
    give(works, "papr-loose")
    with pytest.raises(Refusal, match="no seal"):
        fit_test(works)


def test_a_respirator_without_make_model_style_and_size_takes_none(works):
    give(works, "apr-half", use="voluntary", size="")
    with pytest.raises(Refusal, match="make, model, style and size"):
        fit_test(works)


def test_a_fit_test_counts_for_the_same_facepiece_alone_however_it_is_typed(works):
    give(works, "apr-half", make="INVENTED ALDERMOOR")
    give(works, "apr-half", size="L")
    fit_test(works)  # with the newest: size L
    assert [step(works, "fit-test", at=at).state for at in range(3)] == ["todo", "todo", "done"]
    with works.store.writing() as db:
        lee = works.people["Lee"]
        recording.record_fit_test(
            db, works.scribe(), lee, people.respirators(db, lee.id)[0], once="fit-test:2",
            on=works.today, protocol="ambient-aerosol", fit_factor=180, recording="shelf 3",
        )
    assert [step(works, "fit-test", at=at).state for at in range(3)] == ["done", "done", "done"]


def test_the_newest_fit_test_counts_and_of_one_day_the_one_recorded_last(works):
    before = works.today - timedelta(days=3)
    fit_test(works, fit_factor=20)
    fit_test(works, once="fit-test:2", on=before)
    assert step(works, "fit-test").state == "no"
    fit_test(works, once="fit-test:3")
    assert step(works, "fit-test").state == "done"


def test_a_day_to_come_is_refused_by_the_clock_of_the_worksite(works):
    tomorrow = works.today + timedelta(days=1)
    for act in (medical, fit_test):
        with pytest.raises(Refusal, match="future"):
            act(works, on=tomorrow)
    with pytest.raises(Refusal, match="future"), works.store.writing() as db:
        recording.record_appendix_d(
            db, works.scribe(), works.people["Lee"], once="appendix-d:1", on=tomorrow
        )
    with works.store.reading() as db:
        assert record.count(db) == 0


@pytest.mark.parametrize(
    "fields",
    [
        {"outcome": "perhaps"},
        {"outcome": "limits"},
        {"outcome": "limits", "limit": "asthma"},  # no medical detail, no free text
        {"outcome": "cleared", "limit": "powered_only"},
        {"outcome": "not", "limit": "as_written"},
        {"until": date(2000, 1, 1)},
    ],
)
def test_a_determination_that_does_not_add_up_is_refused(works, fields):
    with pytest.raises(Refusal):
        medical(works, **fields)


def test_a_determination_holds_no_medical_detail(works):
    """29 CFR 1910.134(e)(6)(i)(A), (e)(6)(iii): what the employer is told, and nothing else."""
    said = record.body(medical(works, outcome="limits", limit="powered_only"))
    own = set(said) - {
        "kind", "person_number", "worksite", "happened_on", "name", "zone", "rule_set",
        "recorded_by",
    }
    assert own == {"outcome", "limit", "until"}


def test_the_newest_determination_counts(works):
    medical(works)
    assert step(works, "medical").state == "done"
    medical(works, once="medical:2", outcome="not")
    assert step(works, "medical").state == "no"
    medical(works, once="medical:3", on=works.today - timedelta(days=9))
    assert step(works, "medical").state == "no"


def test_a_form_sent_twice_is_one_entry(works):
    first = fit_test(works)
    assert fit_test(works, fit_factor=20).number == first.number
    with works.store.reading() as db:
        assert record.count(db) == 1


def test_the_tag_board_is_written_anew_with_each_entry(works):
    from sqlmodel import select

    from trainer.store.tables import Standing

    def missing() -> set[str]:
        with works.store.reading() as db:
            query = select(Standing.missing).where(Standing.person_id == works.people["Lee"].id)
            return set(db.exec(query).one().split())

    assert missing() == {"medical", "training", "practice", "fit-test"}
    medical(works)
    assert missing() == {"training", "practice", "fit-test"}
    fit_test(works)
    assert missing() == {"training", "practice"}


def test_one_for_escape_alone_asks_for_all_that_a_required_one_asks_for(works):
    """No row of the duties waives anything for it; the tag says never to go in with it."""
    with pytest.raises(Refusal, match="make, model, style and size"):
        give(works, "apr-full", use="escape", size="")
    give(works, "apr-full", use="escape")
    with works.store.reading() as db:
        _, tag = standing.tags(db, works.people["Lee"], works.today)
    assert set(tag.clearance.missing) == {"medical", "training", "practice", "fit-test"}
    assert [note.kind for note in tag.clearance.notes] == ["escape"]
