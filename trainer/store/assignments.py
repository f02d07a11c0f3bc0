"""Queries about standing assignments. One function answers one question."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Row, bindparam
from sqlalchemy import select as columns_of
from sqlmodel import Session, func, select

from trainer.store import often
from trainer.store.people import Stay, end_of
from trainer.store.tables import Membership, Person, Respirator, StandingAssignment, Worksite


@dataclass(frozen=True)
class Owed:
    """A standing assignment as it meets one person, and the day from which it does."""

    person_id: int
    row: StandingAssignment | Row
    begins: date

    @property
    def due(self) -> date | None:
        """Return the last good day; None: before first wearing."""
        return None if self.row.days is None else self.begins + timedelta(days=self.row.days)


_OWED = often.Question(
    columns_of(
        *often.columns(StandingAssignment), Membership.person_id, Membership.joined_at,
        Person.added_at, Worksite.time_zone,
    )
    .select_from(StandingAssignment)
    .join(Membership, Membership.worksite_id == StandingAssignment.worksite_id)
    .join(Person, Person.id == Membership.person_id)
    .join(Worksite, Worksite.id == StandingAssignment.worksite_id)
    .where(
        StandingAssignment.ended_at.is_(None),
        Person.id.in_(bindparam("persons", expanding=True)),
    )
    .order_by(StandingAssignment.id)
)


def owed(db: Session, person_ids: Sequence[int]) -> list[Owed]:
    """Return the standing assignments that meet these people, the oldest first.

    They meet whoever came to the worksite, or got the first respirator of the class, after they
    were set up; read in two questions to the database, however many people there are.
    """
    found = often.joined(db, _OWED, StandingAssignment, persons=list(person_ids))
    worn = _worn_since(db, person_ids) if any(row.class_slug for row, *_ in found) else {}
    met = []
    for row, person_id, joined_at, added_at, zone in found:
        begins = joined_at or added_at
        if row.class_slug:
            first = worn.get((person_id, row.class_slug))
            if first is None:
                continue
            begins = max(begins, first)
        if begins > row.begun_at:
            met.append(Owed(person_id, row, begins.astimezone(ZoneInfo(zone)).date()))
    return met


def owed_on(
    db: Session,
    stays: Sequence[Stay],
    worn: Mapping[int, Sequence[Respirator]],
    day: date,
    at: datetime | None = None,
) -> list[Owed]:
    """Return what `owed` would have returned at the end of a day gone by.

    stays   where people belonged on that day
    worn    by person the respirators that they had by then, those taken back too
    at      what came after this moment was not known
    """
    query = select(StandingAssignment).where(
        StandingAssignment.worksite_id.in_({stay.worksite.id for stay in stays})
    )
    rows = list(db.exec(query.order_by(StandingAssignment.id)))
    met = []
    for row in rows:
        for stay in stays:
            end = end_of(day, stay.worksite.time_zone, at)
            ended = row.ended_at is not None and row.ended_at < end
            if stay.worksite.id != row.worksite_id or row.begun_at >= end or ended:
                continue
            begins = stay.joined_at
            if row.class_slug:
                mine = [one for one in worn.get(stay.person_id, ())
                        if one.class_slug == row.class_slug]  # fmt: skip
                if all(one.ended_at and one.ended_at < end for one in mine):
                    continue
                begins = max(begins, min(one.given_at for one in mine))
            if begins > row.begun_at:
                zone = ZoneInfo(stay.worksite.time_zone)
                met.append(Owed(stay.person_id, row, begins.astimezone(zone).date()))
    return met


def standing_at(db: Session, worksite_ids: Sequence[int]) -> list[StandingAssignment]:
    """Return the standing assignments of these worksites that were not ended, the oldest first."""
    query = (
        select(StandingAssignment)
        .where(
            StandingAssignment.worksite_id.in_(list(worksite_ids)),
            StandingAssignment.ended_at.is_(None),
        )
        .order_by(StandingAssignment.worksite_id, StandingAssignment.id)
    )
    return list(db.exec(query))


def classes_worn(db: Session, worksite_ids: Sequence[int]) -> list[str]:
    """Return the classes of respirator that people wear at these worksites now."""
    at = select(Membership.person_id).where(Membership.worksite_id.in_(list(worksite_ids)))
    query = (
        select(Respirator.class_slug)
        .join(Person, Person.id == Respirator.person_id)
        .where(
            Respirator.ended_at.is_(None), Person.left_on.is_(None), Respirator.person_id.in_(at)
        )
        .distinct()
    )
    return sorted(db.exec(query))


def wear(db: Session, class_slug: str) -> set[int]:
    """Return the ids of everybody who wears a class of respirator now."""
    query = select(Respirator.person_id).where(
        Respirator.class_slug == class_slug, Respirator.ended_at.is_(None)
    )
    return set(db.exec(query))


def _worn_since(db: Session, person_ids: Sequence[int]) -> dict[tuple[int, str], datetime]:
    """Return since when each of these people has worn each class that they wear now.

    The first of a class counts: a mask that takes the place of another is nothing new.
    """
    mine = Respirator.person_id.in_(list(person_ids))
    now = set(
        db.exec(
            select(Respirator.person_id, Respirator.class_slug)
            .where(mine, Respirator.ended_at.is_(None))
            .distinct()
        ).all()
    )
    first = (
        select(Respirator.person_id, Respirator.class_slug, func.min(Respirator.given_at))
        .where(mine)
        .group_by(Respirator.person_id, Respirator.class_slug)
    )
    return {
        (who, slug): at for who, slug, at in db.exec(first) if (who, slug) in now
    }
