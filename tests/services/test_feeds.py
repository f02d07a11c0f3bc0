"""Calendars: what they show and to whom, nothing medical; opened again with icalendar."""

from datetime import date, datetime, timedelta

import icalendar
import pytest
from sqlmodel import select

from tests.conftest import HALF_MASK, ZONE, Works
from trainer.calculations.periods import next_due
from trainer.services import feeds, joining, recording
from trainer.services.refusal import Refusal
from trainer.store import people, record
from trainer.store.tables import CalendarFeed, Person, Standing

SECRET = "s" * 43


def fit_test(works: Works, name: str, on: date, once: str, passed: bool = True) -> None:
    """Record a fit test of somebody's first respirator."""
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        recording.record_fit_test(
            db, works.scribe(), person, people.respirators(db, person.id)[0], once=once, on=on,
            protocol="ambient-aerosol", fit_factor=300.0 if passed else 50.0, recording="sheet",
        )  # fmt: skip


def make(works: Works, name: str, scope: str, sites=(), secret: str = SECRET) -> CalendarFeed:
    """Make somebody a calendar."""
    with works.store.writing() as db:
        return feeds.make(db, works.scribe(name), secret, scope, sites, "en")


def shown(works: Works, secret: str = SECRET) -> list[feeds.Event]:
    """Return what the calendar of an address shows; an address that leads nowhere shows nothing."""
    with works.store.reading() as db:
        feed = feeds.find(db, secret)
        return list(feeds.events(db, feed, works.now, ZONE)) if feed else []


def opened(works: Works, secret: str = SECRET) -> icalendar.Calendar:
    """Return the calendar of an address as another library reads it."""
    given = [(one, f"{one.kind} {one.person.number}") for one in shown(works, secret)]
    whole = b"".join(feeds.lines(given, name="Due", description="What is due"))
    return icalendar.Calendar.from_ical(whole)


@pytest.fixture
def tested(works: Works) -> Works:
    """Return the works; Lee passed a fit test and may wear until a day of the physician's."""
    fit_test(works, "Lee", works.today - timedelta(days=30), "f1")
    with works.store.writing() as db:
        recording.record_medical(
            db, works.scribe(), db.get(Person, works.people["Lee"].id), once="m1",
            on=works.today - timedelta(days=20), outcome="limits", limit="as_written",
            until=works.today + timedelta(days=77),
        )  # fmt: skip
    return works


def test_another_library_reads_what_the_record_says(tested):
    make(tested, "Ida", feeds.WORKSITES)
    calendar = opened(tested)
    assert calendar["version"] == "2.0"
    assert calendar["method"] == "PUBLISH"
    [event] = calendar.walk("VEVENT")
    due = next_due(tested.today - timedelta(days=30))
    assert event["dtstart"].dt == due
    assert event["dtstart"].params["VALUE"] == "DATE"
    assert event["dtend"].dt == due + timedelta(days=1)
    assert event["summary"] == "fit-test 00417"
    with tested.store.reading() as db:
        [entry] = record.of_person(db, "00417", ("fit-test",))
    assert event["dtstamp"].dt == datetime.fromisoformat(entry.recorded_at).replace(microsecond=0)
    assert event["dtstamp"].dt.utcoffset() == timedelta(0)
    assert event["sequence"] == entry.number


def test_nothing_medical_is_in_it_not_even_that_there_is_an_entry(tested):
    make(tested, "Ida", feeds.WORKSITES)
    before = opened(tested).to_ical()
    text = before.decode()
    assert "medical" not in text.lower()
    assert f"{tested.today + timedelta(days=77):%Y%m%d}" not in text
    with tested.store.writing() as db:
        recording.record_medical(
            db, tested.scribe(), db.get(Person, tested.people["Lee"].id), once="m2",
            on=tested.today, outcome="not",
        )  # fmt: skip
    assert opened(tested).to_ical() == before


def test_a_new_test_moves_the_same_event_and_raises_its_sequence(tested):
    make(tested, "Ida", feeds.WORKSITES)
    [before] = shown(tested)
    fit_test(tested, "Lee", tested.today, "f2")
    [after] = shown(tested)
    assert after.uid == before.uid
    assert (after.day, before.day) == (
        next_due(tested.today), next_due(tested.today - timedelta(days=30)),
    )  # fmt: skip
    assert after.sequence > before.sequence
    # A test that did not pass takes it out: nothing is due any more, something is missing.
    fit_test(tested, "Lee", tested.today, "f3", passed=False)
    assert shown(tested) == []


def test_a_worker_has_their_own_dates_and_a_trainer_those_of_their_worksites(tested):
    with tested.store.writing() as db:
        noor = db.get(Person, tested.people["Noor"].id)
        joining.give_respirator(db, tested.scribe(), noor, **HALF_MASK)
    fit_test(tested, "Noor", tested.today, "f9")
    loft, joinery = (tested.worksites[one].id for one in ("Laminating Loft", "Joinery"))
    make(tested, "Lee", feeds.OWN, secret="lee")
    make(tested, "Tomas", feeds.WORKSITES, (loft,), secret="tomas")
    make(tested, "Ida", feeds.WORKSITES, (loft, joinery), secret="ida")
    numbers = {
        who: [one.person.number for one in shown(tested, who)] for who in ("lee", "tomas", "ida")
    }
    assert numbers == {"lee": ["00417"], "tomas": ["00417"], "ida": ["00417", "00500"]}
    for name, sites in (("Tomas", (joinery,)), ("Lee", (loft,)), ("Lee", ())):
        with pytest.raises(Refusal, match="Only the trainers"):
            make(tested, name, feeds.WORKSITES, sites, secret=f"{name}{sites}")


def test_it_ends_with_its_owners_rights(tested):
    loft = tested.worksites["Laminating Loft"].id
    make(tested, "Tomas", feeds.WORKSITES, (loft,))
    assert len(shown(tested)) == 1

    def change(roles: list[str], places: list[str]) -> None:
        with tested.store.writing() as db:
            joining.change_person(
                db, tested.scribe(), db.get(Person, tested.people["Tomas"].id), name="Tomas",
                roles=roles, language="en", qualification="x",
                worksites=[tested.worksites[one].id for one in places],
            )  # fmt: skip

    change(["trainer"], ["Joinery"])  # moved: no longer the trainer of the Loft
    assert shown(tested) == []
    change(["trainer"], ["Laminating Loft"])
    assert len(shown(tested)) == 1
    change(["worker"], ["Laminating Loft"])
    with tested.store.reading() as db:
        assert feeds.find(db, SECRET) is None
    change(["trainer"], ["Laminating Loft"])
    with tested.store.writing() as db:
        tomas = db.get(Person, tested.people["Tomas"].id)
        tomas.left_on = tested.today
        db.add(tomas)
    with tested.store.reading() as db:
        assert feeds.find(db, SECRET) is None


def test_a_secret_is_kept_as_a_hash_and_can_be_revoked_or_made_anew(tested):
    made = make(tested, "Ida", feeds.WORKSITES)
    assert make(tested, "Ida", feeds.WORKSITES).id == made.id  # the same form sent twice
    assert SECRET not in str(made.model_dump())
    with tested.store.writing() as db:
        with pytest.raises(Refusal, match="not one of yours"):
            feeds.revoke(db, tested.scribe("Lee"), made.id)
        fresh = feeds.make_anew(db, tested.scribe(), made.id, "another")
        again = feeds.make_anew(db, tested.scribe(), made.id, "another")
    assert fresh.id == again.id != made.id
    assert shown(tested) == []
    assert len(shown(tested, "another")) == 1
    with tested.store.writing() as db:
        feeds.revoke(db, tested.scribe(), fresh.id)
    assert shown(tested, "another") == []


def test_many_people_are_given_part_by_part(tested, monkeypatch):
    """Batches may not part the tags of a person: an event would stand twice."""
    with tested.store.writing() as db:
        for number in range(5):
            person = joining.add_person(
                db, tested.now, number=f"M{number}", name=f"M{number}", roles=["worker"],
                worksites=[tested.worksites["Joinery"].id],
            )  # fmt: skip
            for _ in range(2):
                joining.give_respirator(db, tested.scribe(), person, **HALF_MASK)
            for row in db.exec(select(Standing).where(Standing.person_id == person.id)):
                row.training_due = tested.today + timedelta(days=number)
                db.add(row)
    make(tested, "Ida", feeds.WORKSITES)
    whole = [(one.uid, one.day) for one in shown(tested)]
    monkeypatch.setattr(feeds.feeds, "AT_ONCE", 1)
    assert [(one.uid, one.day) for one in shown(tested)] == whole
    assert len({uid for uid, _ in whole}) == len(whole) == 6
