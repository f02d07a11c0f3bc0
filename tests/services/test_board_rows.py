"""What the board keeps of each tag: the columns it sorts, searches and counts by."""

from datetime import date, timedelta

from sqlmodel import select

from tests.conftest import HALF_MASK, ZONE, Works
from tests.services.test_together import made_ready, train
from trainer.calculations.periods import next_due
from trainer.services import joining, recording, standing
from trainer.store.tables import Installation, Person, Standing


def rows(works: Works, name: str) -> list[Standing]:
    """Return what the board keeps of somebody."""
    with works.store.reading() as db:
        query = select(Standing).where(Standing.person_id == works.people[name].id)
        return list(db.exec(query.order_by(Standing.id)))


def cleared(works: Works, until: date | None, once: str) -> None:
    """Record a determination about Lee that ends on a day."""
    with works.store.writing() as db:
        recording.record_medical(
            db, works.scribe(), db.get(Person, works.people["Lee"].id), once=once,
            on=works.today, outcome="cleared", until=until,
        )  # fmt: skip


def test_each_kind_of_step_keeps_its_last_good_day(works):
    train(works, "Lee")
    made_ready(works, "Lee")
    ends = works.today + timedelta(days=40)
    cleared(works, ends, "ends")
    [row] = rows(works, "Lee")
    year = next_due(works.today)
    assert (row.training_due, row.practice_due, row.fit_test_due) == (year, year, year)
    assert row.medical_due == row.clear_until == ends
    assert row.others_until == year  # as far as whoever may not know the determination's date
    assert (row.lead_until, row.lead_begun, row.lead_others_until) == (ends, True, year)
    assert row.lessons_due is None
    assert row.search_key == "lee 00417"


def test_a_step_that_is_past_its_day_keeps_it(works):
    train(works, "Lee")
    made_ready(works, "Lee")
    cleared(works, works.today + timedelta(days=5), "ends")
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        standing.refresh(db, lee, works.today + timedelta(days=9))
    [row] = rows(works, "Lee")
    assert row.clear_until is None
    assert row.missing == "medical"
    assert row.medical_due == works.today + timedelta(days=5)
    assert row.others_until == next_due(works.today)


def test_every_tag_of_a_person_stands_at_the_place_of_the_most_urgent(works):
    train(works, "Lee")
    made_ready(works, "Lee")
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        joining.give_respirator(db, works.scribe(), lee, **HALF_MASK | {"size": "L"})
    both = rows(works, "Lee")
    assert [row.clear_until is None for row in both] == [False, True]
    assert {(row.lead_until, row.lead_begun) for row in both} == {(None, True)}


def test_rows_of_an_earlier_version_are_worked_out_anew_once(works):
    train(works, "Lee")
    made_ready(works, "Lee")
    with works.store.writing() as db:
        for row in db.exec(select(Standing)):
            row.training_due = row.fit_test_due = row.others_until = None
            db.add(row)
    done: int | None = 0
    while done is not None:
        with works.store.writing() as db:
            done = standing.catch_up(db, works.now, ZONE, done)
    assert rows(works, "Lee")[0].training_due == next_due(works.today)
    with works.store.writing() as db:
        assert db.get(Installation, "board rows").value == standing.KEPT_AS
        before = {row.id for row in db.exec(select(Standing))}
        assert standing.catch_up(db, works.now, ZONE) is None
        assert {row.id for row in db.exec(select(Standing))} == before
