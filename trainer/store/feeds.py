"""Queries about calendars: which there are, and what falls due for the people they are about."""

from collections.abc import Iterator
from datetime import date, datetime

from sqlalchemy import Row, func
from sqlalchemy import select as columns_of
from sqlmodel import Session, select

from trainer.store.tables import CalendarFeed, Entry, Membership, Person, Respirator, Standing

OF_MEDICAL = ("medical", "medical-correction")
"""Kinds of entry that nothing of a calendar may tell, not even that there is one."""

AT_ONCE = 500


def by_hash(db: Session, secret_hash: str) -> CalendarFeed | None:
    """Return the calendar behind a secret, revoked or not."""
    return db.exec(select(CalendarFeed).where(CalendarFeed.secret_hash == secret_hash)).first()


def of_person(db: Session, person_id: int) -> list[CalendarFeed]:
    """Return somebody's calendars that were not revoked, the newest first."""
    query = (
        select(CalendarFeed)
        .where(CalendarFeed.person_id == person_id, CalendarFeed.revoked_at.is_(None))
        .order_by(CalendarFeed.id.desc())
    )
    return list(db.exec(query))


def due(
    db: Session,
    first: date,
    *,
    person_id: int | None = None,
    worksite_ids: tuple[int, ...] | None = None,
) -> Iterator[Row]:
    """Give the tags of one person, or of everybody at worksites, on which something falls due.

    first         what fell due before is left out
    worksite_ids  None: every worksite
    Rows: Person, class_slug, respirator_id, training_due, practice_due, fit_test_due, lessons_due.
    Nothing medical is asked for.
    """
    days = (
        Standing.training_due, Standing.practice_due, Standing.fit_test_due, Standing.lessons_due,
    )  # fmt: skip
    query = (
        columns_of(Person, Respirator.class_slug, Standing.respirator_id, *days)
        .join(Person, Person.id == Standing.person_id)
        .join(Respirator, Respirator.id == Standing.respirator_id)
        .where(Standing.left_on.is_(None))
        .order_by(Standing.person_id, Standing.id)
    )
    query = query.where(_any_from(days, first))
    if person_id is not None:
        query = query.where(Standing.person_id == person_id)
    elif worksite_ids is not None:
        there = columns_of(Membership.person_id).where(Membership.worksite_id.in_(worksite_ids))
        query = query.where(Standing.person_id.in_(there))
    yield from db.execute(query.execution_options(yield_per=AT_ONCE))


def last_entries(db: Session, numbers: list[str]) -> dict[str, tuple[int, datetime]]:
    """Return by worker number the newest entry that is not medical: its number, and when."""
    newest = (
        columns_of(func.max(Entry.number))
        .where(Entry.person_number.in_(numbers), Entry.kind.not_in(OF_MEDICAL))
        .group_by(Entry.person_number)
    )
    query = columns_of(Entry.person_number, Entry.number, Entry.recorded_at).where(
        Entry.number.in_(newest)
    )
    return {
        who: (number, datetime.fromisoformat(at)) for who, number, at in db.execute(query)
    }


def _any_from(days, first: date):
    condition = days[0] >= first
    for one in days[1:]:
        condition = condition | (one >= first)
    return condition
