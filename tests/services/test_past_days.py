"""Who was clear with what on a day gone by: entries, respirators and worksites of that day."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import event
from sqlalchemy.engine import Engine
from sqlalchemy.exc import IntegrityError
from sqlmodel import select

from tests.conftest import HALF_MASK, Works
from tests.services.test_correcting import correct
from tests.services.test_recording import fit_test, step
from tests.services.test_together import (
    JOINERY,
    LOFT,
    later,
    made_ready,
    move,
    on_board,
    publish,
    train,
)
from trainer.services import asking, assigning, joining, recording, standing
from trainer.store import people, record
from trainer.store.tables import Need, PastMembership, Person, Worksite

DAY = timedelta(days=1)


def stood(works: Works, on, name: str = "Lee") -> list[standing.Tag]:
    """Return somebody's tags as they stood on a day."""
    with works.store.reading() as db:
        person = db.get(Person, works.people[name].id)
        return standing.tags_on(db, [person], on)[person.id]


def clear(works: Works, on, name: str = "Lee") -> bool:
    """Say whether somebody's first tag was clear on a day."""
    return stood(works, on, name)[0].clearance.clear


def long_ago(works: Works, days: int) -> Works:
    """Return the works as many days earlier, and its people added a little before that."""
    back = replace(works, now=works.now - timedelta(days=days))
    with works.store.writing() as db:
        for person in works.people.values():
            row = db.get(Person, person.id)
            row.added_at = back.now - DAY
            db.add(row)
            for worn in people.respirators(db, person.id):
                worn.given_at = back.now - DAY
                db.add(worn)
        for row in db.exec(select(people.Membership)):
            row.joined_at = back.now - DAY
            db.add(row)
    return back


def test_who_was_clear_then_and_is_not_today(works):
    then = long_ago(works, 400)
    made_ready(then, "Lee")
    train(then, "Lee")
    assert not clear(works, works.today)
    assert clear(works, then.today)
    assert clear(works, then.today + timedelta(days=365 - 1))
    assert not clear(works, then.today + timedelta(days=370))
    assert not clear(works, then.today - DAY)
    assert stood(works, then.today)[0].clearance.until == stood(
        works, then.today + DAY
    )[0].clearance.until


def test_of_today_it_is_the_same_as_the_tag(works):
    made_ready(works, "Lee")
    train(works, "Lee")
    with works.store.reading() as db:
        lee = db.get(Person, works.people["Lee"].id)
        [then] = standing.tags_on(db, [lee], works.today)[lee.id]
        [now] = standing.tags(db, lee, works.today)
    # The one is as it is changed, the other a plain row.
    assert then.respirator.id == now.respirator.id
    assert replace(then, respirator=None) == replace(now, respirator=None)


def test_the_respirators_are_those_of_the_day(works):
    then = long_ago(works, 100)
    with works.store.writing() as db:
        lee = works.people["Lee"]
        [first] = people.respirators(db, lee.id)
        middle = then.scribe(now=then.now + timedelta(days=50))
        joining.give_respirator(db, middle, lee, **(HALF_MASK | {"class_slug": "papr-full"}))
        joining.take_respirator(db, middle, lee, first.id)

    def worn(on) -> list[str]:
        return [tag.respirator.class_slug for tag in stood(works, on)]

    assert worn(then.today + timedelta(days=49)) == ["apr-half"]
    assert worn(then.today + timedelta(days=50)) == ["papr-full"]
    assert stood(works, then.today - 2 * DAY) == [standing.NOTHING_WORN]


def test_what_was_corrected_since_counts_as_it_reads_now(works):
    then = long_ago(works, 100)
    made_ready(then, "Lee")
    train(then, "Lee")
    assert clear(works, then.today + 9 * DAY)
    with works.store.reading() as db:
        [sheet] = record.of_person(db, "00417", ("fit-test",))
    correct(works, sheet.number, why="not-done")
    assert not clear(works, then.today + 9 * DAY)


def test_retraining_stops_from_the_day_it_was_asked_for_until_it_is_done(works):
    then = long_ago(works, 100)
    made_ready(then, "Lee")
    train(then, "Lee")
    asked = later(then, days=20)
    with works.store.writing() as db:
        assigning.assign(
            db, asked.scribe("Tomas"), works.people["Lee"], ["fit"], asked.today, "knowledge-or-use"
        )
    assert clear(works, asked.today - DAY)
    assert not clear(works, asked.today)
    assert not clear(works, works.today)


def test_what_a_worksite_asked_is_asked_only_while_one_belonged_there(works):
    """The Loft's lesson, published while Noor was at the Joinery, met her when she came."""
    then = long_ago(works, 100)
    publish(then)
    made_ready(then, "Noor")
    train(then, "Noor", trainer="Wren")
    moved, back = later(then, days=30), later(then, days=60)
    move(moved, "Noor", LOFT)
    move(back, "Noor", JOINERY)
    assert on_board(works, "Noor")
    assert clear(works, moved.today - DAY, "Noor")
    assert not clear(works, moved.today, "Noor")
    assert not clear(works, back.today - DAY, "Noor")
    assert clear(works, back.today, "Noor")
    with works.store.reading() as db:
        left = [(one.worksite_id, one.left_at) for one in db.exec(select(PastMembership))]
    assert left == [
        (works.worksites[JOINERY].id, moved.now), (works.worksites[LOFT].id, back.now),
    ]  # fmt: skip


def test_where_one_belonged_is_never_changed(works):
    move(works, "Noor", LOFT)
    for statement in ("DELETE FROM past_membership", "UPDATE past_membership SET worksite_id = 1"):
        with pytest.raises(IntegrityError, match="never changed"), works.store.writing() as db:
            db.connection().exec_driver_sql(statement)


def test_a_leak_stops_from_when_it_was_told_until_it_was_dealt_with(works):
    then = long_ago(works, 100)
    made_ready(then, "Lee")
    train(then, "Lee")
    with works.store.writing() as db:
        lee = works.people["Lee"]
        need = asking.tell(
            db, lee, "leak", people.respirators(db, lee.id)[0], then.now + 10 * DAY
        )
        asking.deal_with(
            db, works.people["Tomas"], db.get(Need, need.id), then.now + 12 * DAY
        )
    clear_on = [clear(works, then.today + days * DAY) for days in (9, 10, 11, 12)]
    assert clear_on == [True, False, False, True]


def test_a_fit_told_to_have_changed_is_void_until_a_new_test(works):
    """(f)(3): dealing with what was told is no fit test."""
    made_ready(works, "Lee")
    with works.store.writing() as db:
        lee = works.people["Lee"]
        worn = people.respirators(db, lee.id)[0]
        need = asking.tell(db, lee, "fit", worn, works.now + timedelta(seconds=1))
    assert step(works, "fit-test").why == "changed"
    with works.store.writing() as db:
        asking.deal_with(db, works.people["Tomas"], db.get(Need, need.id), works.now)
    assert step(works, "fit-test").why == "changed"
    fit_test(later(works, seconds=2), once="after")
    assert step(works, "fit-test").state == "done"


def test_what_was_told_by_mistake_and_taken_back_voids_nothing(works):
    made_ready(works, "Lee")
    with works.store.writing() as db:
        lee = works.people["Lee"]
        need = asking.tell(db, lee, "fit", people.respirators(db, lee.id)[0], works.now)
        asking.take_back(db, lee, db.get(Need, need.id), works.now)
    assert step(works, "fit-test").state == "done"


@pytest.mark.parametrize(
    ("zone", "hour", "day"),
    [("America/Los_Angeles", 7, 2), ("Pacific/Apia", 12, 4)],  # UTC-8 and UTC+13
)
def test_the_day_is_that_of_the_worksite(works, zone, hour, day):
    """3 March, 07:00 UTC, is still the 2nd at UTC-8; 12:00 UTC is the 4th at UTC+13."""
    with works.store.writing() as db:
        place = db.get(Worksite, works.worksites[LOFT].id)
        place.time_zone = zone
        db.add(place)
    moment = datetime(2026, 3, 3, hour, tzinfo=UTC)
    assert moment.astimezone(ZoneInfo(zone)).date().day == day
    there = replace(works, now=moment)
    with works.store.writing() as db:
        lee = works.people["Lee"]
        for worn in people.respirators(db, lee.id):
            worn.given_at = datetime(2026, 1, 1, tzinfo=UTC)
            db.add(worn)
        here = standing.today(db, lee, moment, there.scribe().zone)
        recording.record_fit_test(
            db, there.scribe(), lee, people.respirators(db, lee.id)[0], once="f", on=here,
            protocol="ambient-aerosol", fit_factor=180.0, recording="shelf",
        )  # fmt: skip
    assert here.day == day

    def tested(on) -> str:
        steps = stood(works, on)[0].clearance.steps
        return next(one.state for one in steps if one.kind == "fit-test")

    assert (tested(here - DAY), tested(here)) == ("todo", "done")
    assert (tested(here.replace(year=2027)), tested(here.replace(year=2027) + DAY)) == (
        "done", "no",
    )  # fmt: skip


def test_many_people_are_asked_about_in_a_handful_of_questions(works):
    for name in ("Lee", "Kim", "Noor"):
        with works.store.writing() as db:
            medical_ = {"once": f"m{name}", "on": works.today, "outcome": "cleared"}
            recording.record_medical(db, works.scribe(), works.people[name], **medical_)

    def asked(persons) -> int:
        statements = []

        def note(_conn, _cursor, statement, *_more) -> None:
            statements.append(statement)

        with works.store.reading() as db:
            event.listen(Engine, "before_cursor_execute", note)
            try:
                standing.tags_on(db, persons, works.today)
            finally:
                event.remove(Engine, "before_cursor_execute", note)
        return len(statements)

    everyone = list(works.people.values())
    assert asked(everyone) == asked(everyone[:1])
