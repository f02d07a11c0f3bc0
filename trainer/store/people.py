"""Queries about people, worksites and what they wear. One function answers one question."""

import unicodedata
from collections.abc import Iterable
from datetime import date

from sqlalchemy import Row
from sqlalchemy import select as columns_of
from sqlmodel import Session, func, or_, select

from trainer.store.tables import (
    Assignment,
    Membership,
    Person,
    PersonRole,
    Respirator,
    Standing,
    Worksite,
)

ROLES = ("worker", "trainer", "coordinator")
STATES = ("clear", "soon", "not", "new")
"""The states of a tag on the board; one that falls due soon is clear as well."""


def key(number: str) -> str:
    """Return a worker number as it is matched: composed, trimmed, without capitals."""
    return unicodedata.normalize("NFC", number).strip().casefold()


def plain(text: str) -> str:
    """Return a text without accents and capitals, for searching."""
    spread = unicodedata.normalize("NFD", text.casefold())
    return "".join(letter for letter in spread if not unicodedata.combining(letter)).strip()


def by_number(db: Session, number: str) -> Person | None:
    """Return the person with this worker number."""
    return db.exec(select(Person).where(Person.number_key == key(number))).first()


def roles(db: Session, person_id: int) -> frozenset[str]:
    """Return the roles that a person holds."""
    return frozenset(
        db.exec(select(PersonRole.role).where(PersonRole.person_id == person_id)).all()
    )


def staff(db: Session) -> set[int]:
    """Return the ids of everybody who is a trainer or a coordinator."""
    return set(db.exec(select(PersonRole.person_id).where(PersonRole.role != "worker")))


def worksites(db: Session, person_id: int) -> list[Worksite]:
    """Return the worksites a person belongs to, the first one first."""
    query = (
        select(Worksite)
        .join(Membership, Membership.worksite_id == Worksite.id)
        .where(Membership.person_id == person_id)
        .order_by(Worksite.id)
    )
    return list(db.exec(query))


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


def respirators(db: Session, person_id: int) -> list[Respirator]:
    """Return what a person wears now, in the order it was given."""
    query = (
        select(Respirator)
        .where(Respirator.person_id == person_id, Respirator.ended_at.is_(None))
        .order_by(Respirator.id)
    )
    return list(db.exec(query))


def assignments(db: Session, person_id: int) -> list[Assignment]:
    """Return a person's assignments that were not withdrawn, soonest due first."""
    query = (
        select(Assignment)
        .where(Assignment.person_id == person_id, Assignment.withdrawn_at.is_(None))
        .order_by(Assignment.due, Assignment.id)
    )
    return list(db.exec(query))


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


def board(
    db: Session,
    *,
    today: date,
    soon: date,
    worksite_ids: tuple[int, ...] | None,
    state: str,
    search: str,
    first: int,
    most: int,
) -> tuple[list[tuple[Standing, Person, Respirator | None]], int]:
    """Return one page of the tag board, most urgent first, and how many rows there are in all.

    worksite_ids  None: every worksite
    state         "", "clear", "soon", "not" or "new"
    search        part of a name or number, accents and capitals aside
    """
    query = _in_state(_on_board(worksite_ids), state, today, soon)
    if search:
        query = query.where(Person.search_key.contains(plain(search), autoescape=True))
    total = _count(db, query)
    # Not clear comes before clear, what was begun before what is new, sooner before later.
    clear = (Standing.clear_until.is_not(None)) & (Standing.clear_until >= today)
    order = (clear, Standing.begun.desc(), Standing.clear_until, Person.search_key, Standing.id)
    page = query.order_by(*order)
    return list(db.exec(page.offset(first).limit(most))), total


def tally(
    db: Session, *, today: date, soon: date, worksite_ids: tuple[int, ...] | None
) -> dict[str, int]:
    """Return how many tags of the board are in each state; parameters as in `board`."""
    query = _on_board(worksite_ids)
    return {state: _count(db, _in_state(query, state, today, soon)) for state in STATES}


def _on_board(worksite_ids: tuple[int, ...] | None):
    query = (
        select(Standing, Person, Respirator)
        .join(Person, Person.id == Standing.person_id)
        .join(Respirator, Respirator.id == Standing.respirator_id, isouter=True)
        .where(Person.left_on.is_(None))
        .where(or_(Standing.respirator_id.is_not(None), Person.id.in_(_workers())))
    )
    if worksite_ids is None:
        return query
    there = select(Membership.person_id).where(Membership.worksite_id.in_(worksite_ids))
    return query.where(Person.id.in_(there))


def _count(db: Session, query) -> int:
    return db.exec(select(func.count()).select_from(query.subquery())).one()


def _workers():
    return select(PersonRole.person_id).where(PersonRole.role == "worker")


def _in_state(query, state: str, today: date, soon: date):
    until = Standing.clear_until
    match state:
        case "clear":
            return query.where(until >= today)
        case "soon":
            return query.where(until >= today, until <= soon)
        case "not":
            return query.where(or_(until.is_(None), until < today), Standing.begun.is_(True))
        case "new":
            return query.where(until.is_(None), Standing.begun.is_(False))
    return query
