"""Queries about people, worksites and what they wear. One function answers one question."""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Row, Select, bindparam
from sqlalchemy import select as columns_of
from sqlmodel import Session, or_, select

from trainer.store import often
from trainer.store.tables import (
    Assignment,
    Membership,
    MergedPerson,
    Need,
    PastMembership,
    Person,
    PersonRole,
    Respirator,
    Worksite,
)

ROLES = ("worker", "trainer", "coordinator")
MEDICAL = "medical"
"""The right to see and enter medical determinations; it stands beside the roles."""


def key(number: str) -> str:
    """Return a worker number as it is matched: composed, trimmed, without capitals."""
    return unicodedata.normalize("NFC", number).strip().casefold()


def plain(text: str) -> str:
    """Return a text without accents and capitals, for searching."""
    if text.isascii():
        return text.casefold().strip()  # as most are, and fifty thousand come at once
    spread = unicodedata.normalize("NFD", text.casefold())
    return "".join(letter for letter in spread if not unicodedata.combining(letter)).strip()


def by_number(db: Session, number: str) -> Person | None:
    """Return the person with this worker number, by any of theirs after a merge."""
    found = with_very_number(db, number)
    merged = db.get(MergedPerson, found.id) if found else None
    return db.get(Person, merged.into_id) if merged else found


def with_very_number(db: Session, number: str) -> Person | None:
    """Return the record that has this worker number, also one that was merged into another."""
    return db.exec(select(Person).where(Person.number_key == key(number))).first()


_MERGED = (
    columns_of(Person.number)
    .join(MergedPerson, MergedPerson.person_id == Person.id)
    .where(MergedPerson.into_id == bindparam("person"))
    .order_by(MergedPerson.merged_at, Person.id)
)
_NUMBERS = often.Question(_MERGED)
_NUMBERS_BY = often.Question(_MERGED.where(MergedPerson.merged_at <= bindparam("by")))


def is_merged(db: Session, person: Person) -> bool:
    """Say whether a record was merged into another one, which goes on."""
    return db.get(MergedPerson, person.id) is not None


def ids(db: Session, person: Person) -> tuple[int, ...]:
    """Return the ids under which rows of a person stand: their own, and of what was merged."""
    merged = db.exec(select(MergedPerson.person_id).where(MergedPerson.into_id == person.id))
    return (person.id, *merged)


def numbers(db: Session, person: Person, by: datetime | None = None) -> tuple[str, ...]:
    """Return all worker numbers of a person, the one that goes on first.

    by  only those that were theirs by this moment
    """
    if by is None:
        return (person.number, *often.values(db, _NUMBERS, person=person.id))
    return (person.number, *often.values(db, _NUMBERS_BY, person=person.id, by=by))


def numbers_of(
    db: Session, persons: Iterable[Person], at: datetime | None = None
) -> dict[int, tuple[str, ...]]:
    """Return by id all worker numbers of each of these people, in one question.

    at      records that were merged later are left out; None: none is
    """
    found = {person.id: [person.number] for person in persons}
    # Mergers are few: asking for them all is quicker than naming fifty thousand people.
    query = (
        columns_of(MergedPerson.into_id, Person.number)
        .join(Person, Person.id == MergedPerson.person_id)
        .order_by(MergedPerson.merged_at, Person.id)
    )
    if at is not None:
        query = query.where(MergedPerson.merged_at <= at)
    for into, number in db.execute(query):
        if into in found:
            found[into].append(number)
    return {who: tuple(numbers) for who, numbers in found.items()}


def holders(db: Session, role: str) -> set[int]:
    """Return the ids of everybody who holds a role, or the right `MEDICAL`, and has not left."""
    query = (
        select(PersonRole.person_id)
        .join(Person, Person.id == PersonRole.person_id)
        .where(PersonRole.role == role, Person.left_on.is_(None))
    )
    return set(db.exec(query))


_ROLES = often.Question(
    columns_of(PersonRole.role).where(PersonRole.person_id == bindparam("person"))
)


def roles(db: Session, person_id: int) -> frozenset[str]:
    """Return the roles that a person holds."""
    return frozenset(often.values(db, _ROLES, person=person_id))


def staff(db: Session) -> set[int]:
    """Return the ids of everybody who is a trainer or a coordinator."""
    return set(db.exec(select(PersonRole.person_id).where(PersonRole.role != "worker")))


def _of_person(worksites: Select) -> Select:
    """Return a query of worksites for those of one `person`, the first one first."""
    return (
        worksites.join(Membership, Membership.worksite_id == Worksite.id)
        .where(Membership.person_id == bindparam("person"))
        .order_by(Worksite.id)
    )


_WORKSITES = _of_person(select(Worksite))
_PLACES = often.Question(_of_person(columns_of(*often.columns(Worksite))))


def worksites(db: Session, person_id: int) -> list[Worksite]:
    """Return the worksites a person belongs to, the first one first."""
    return list(often.once(
        db, "worksites", person_id,
        lambda: db.exec(_WORKSITES, params={"person": person_id}).all(),
    ))  # fmt: skip


def places(db: Session, person_id: int) -> list[Row]:
    """Return what `worksites` returns as plain rows, for whatever only shows them."""
    return list(often.once(
        db, "places", person_id, lambda: often.rows(db, _PLACES, person=person_id)
    ))


def all_worksites(db: Session) -> list[Worksite]:
    """Return every worksite by name."""
    return list(db.exec(select(Worksite).order_by(Worksite.name)))


def worksite_named(db: Session, name: str) -> Worksite | None:
    """Return the worksite of this name."""
    return db.exec(select(Worksite).where(Worksite.name == name)).first()


def share_a_worksite(db: Session, one: int, other: int) -> bool:
    """Say whether two people belong to a common worksite."""
    mine = select(Membership.worksite_id).where(Membership.person_id == one)
    query = select(Membership).where(
        Membership.person_id == other, Membership.worksite_id.in_(mine)
    )
    return db.exec(query.limit(1)).first() is not None


def at_worksite(db: Session, worksite_id: int, role: str | None = None) -> list[Person]:
    """Return the people at a worksite by name, those who left aside; of one role where named."""
    query = (
        select(Person)
        .join(Membership, Membership.person_id == Person.id)
        .where(Membership.worksite_id == worksite_id, Person.left_on.is_(None))
        .order_by(Person.search_key)
    )
    if role:
        query = query.join(PersonRole, PersonRole.person_id == Person.id).where(
            PersonRole.role == role
        )
    return list(db.exec(query))


_WORN = (
    select(Respirator)
    .where(Respirator.person_id == bindparam("person"), Respirator.ended_at.is_(None))
    .order_by(Respirator.id)
)
_WEARS = often.Question(_WORN.with_only_columns(*often.columns(Respirator)))


def wears(db: Session, person_id: int) -> list[Row]:
    """Return what `respirators` returns as plain rows, for whatever only shows them."""
    return often.rows(db, _WEARS, person=person_id)


def respirators(db: Session, person_id: int) -> list[Respirator]:
    """Return what a person wears now, in the order it was given."""
    return list(db.exec(_WORN, params={"person": person_id}))


_ASSIGNED = often.Question(
    columns_of(*often.columns(Assignment))
    .where(Assignment.person_id == bindparam("person"), Assignment.withdrawn_at.is_(None))
    .order_by(Assignment.due, Assignment.id)
)


def assignments(db: Session, person_id: int) -> list[Row]:
    """Return a person's assignments that were not withdrawn, soonest due first, as plain rows."""
    return list(often.once(
        db, "assignments", person_id, lambda: often.rows(db, _ASSIGNED, person=person_id)
    ))


def assignments_of(db: Session, person_ids: Iterable[int]) -> dict[int, list[Row]]:
    """Return by person those that `assignments` returns, as plain rows, in one question."""
    columns = (
        Assignment.person_id, Assignment.lesson, Assignment.due, Assignment.reason,
        Assignment.assigned_at,
    )  # fmt: skip
    query = (
        columns_of(*columns)
        .where(Assignment.person_id.in_(list(person_ids)), Assignment.withdrawn_at.is_(None))
        .order_by(Assignment.due, Assignment.id)
    )
    found: dict[int, list[Row]] = {}
    for row in db.execute(query):
        found.setdefault(row.person_id, []).append(row)
    return found


@dataclass(frozen=True)
class Stay:
    """A person at a worksite, from a moment to a moment; to None: still there."""

    person_id: int
    worksite: Worksite
    joined_at: datetime
    left_at: datetime | None

    def covers(self, day: date, at: datetime | None = None) -> bool:
        """Say whether the person belonged there at the end of a day, by the clock of the place.

        at      as in `end_of`
        """
        end = end_of(day, self.worksite.time_zone, at)
        return self.joined_at < end and (self.left_at is None or self.left_at >= end)


def end_of(day: date, zone: str, at: datetime | None = None) -> datetime:
    """Return the moment at which a day is over in a time zone.

    at      what came after this moment was not known; the day ends right after it, if not before
    """
    end = datetime.combine(day + timedelta(days=1), time(), ZoneInfo(zone))
    return end if at is None else min(end, at + timedelta(microseconds=1))


def stays(
    db: Session, person_ids: Iterable[int], past: bool = True
) -> dict[int, list[Stay]]:
    """Return by person where they belong and where they belonged, in the order of worksites.

    past    False: only where they belong
    """
    ids = list(person_ids)
    found: dict[int, list[Stay]] = {}
    for table in (Membership, PastMembership) if past else (Membership,):
        query = (
            select(table, Person.added_at, Worksite)
            .join(Person, Person.id == table.person_id)
            .join(Worksite, Worksite.id == table.worksite_id)
            .where(table.person_id.in_(ids))
            .order_by(table.worksite_id)
        )
        for row, added_at, worksite in db.exec(query):
            gone = row.left_at if isinstance(row, PastMembership) else None
            stay = Stay(row.person_id, worksite, row.joined_at or added_at, gone)
            found.setdefault(row.person_id, []).append(stay)
    for theirs in found.values():
        theirs.sort(key=lambda stay: stay.worksite.id)
    return found


def respirators_ever(db: Session, person_ids: Iterable[int]) -> dict[int, list[Respirator]]:
    """Return by person every respirator that they have or had, in the order it was given."""
    query = select(Respirator).where(Respirator.person_id.in_(list(person_ids)))
    found: dict[int, list[Respirator]] = {}
    for one in db.exec(query.order_by(Respirator.id)):
        found.setdefault(one.person_id, []).append(one)
    return found


_TOLD = often.Question(
    columns_of(*often.columns(Need, Respirator))
    .select_from(Need)
    .join(Respirator, Respirator.id == Need.respirator_id)
    .where(
        Need.person_id.in_(bindparam("persons", expanding=True)),
        or_(Need.dealt_with_by.is_(None), Need.dealt_with_by != Need.person_id),
    )
    .order_by(Need.id)
)


def told(db: Session, person_ids: Iterable[int]) -> dict[int, list[tuple[Row, Row]]]:
    """Return by person what they told of a respirator, those they took back aside, in order.

    As plain rows of `Need` and `Respirator`.
    """
    found: dict[int, list[tuple[Row, Row]]] = {}
    for need, worn in often.joined(db, _TOLD, Need, Respirator, persons=list(person_ids)):
        found.setdefault(need.person_id, []).append((need, worn))
    return found


def assignments_ever(db: Session, person_ids: Iterable[int]) -> dict[int, list[Assignment]]:
    """Return by person every assignment, those withdrawn since too, soonest due first."""
    query = select(Assignment).where(Assignment.person_id.in_(list(person_ids)))
    found: dict[int, list[Assignment]] = {}
    for one in db.exec(query.order_by(Assignment.due, Assignment.id)):
        found.setdefault(one.person_id, []).append(one)
    return found


def left(db: Session, search: str, first: int, most: int) -> list[Person]:
    """Return those who left, the last first, and one more than `most` where there are more.

    search  part of a name or number, accents and capitals aside
    """
    query = (
        select(Person)
        .where(Person.left_on.is_not(None), Person.id.not_in(select(MergedPerson.person_id)))
        .order_by(Person.left_on.desc(), Person.search_key)
    )
    if search:
        query = query.where(Person.search_key.contains(plain(search), autoescape=True))
    return list(db.exec(query.offset(first).limit(most + 1)))


def every_number(ids: Select) -> Select:
    """Return a select of all worker numbers of these people, usable as a subquery."""
    merged = columns_of(MergedPerson.person_id).where(MergedPerson.into_id.in_(ids))
    return columns_of(Person.number).where(or_(Person.id.in_(ids), Person.id.in_(merged)))
