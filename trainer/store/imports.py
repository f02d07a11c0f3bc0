"""Queries about tables that are brought in. One function answers one question."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import Row
from sqlalchemy import select as columns_of
from sqlmodel import Session, delete, func, select

from trainer.store.people import ROLES, key
from trainer.store.tables import (
    METADATA,
    Entry,
    ImportLine,
    ImportPart,
    ImportRun,
    Membership,
    MergedPerson,
    Person,
    PersonRole,
    Respirator,
    Worksite,
)

STATES = ("new", "changed", "back", "left", "doubtful", "bad", "same")
"""What a line comes to, in the order in which they are shown."""
CHUNK = 500
"""So many values stand in one question to the database."""


class Worn(NamedTuple):
    """A respirator that somebody has now."""

    id: int
    what: tuple[str, ...]  # class, use, make, model, style, size, filters


class Known(NamedTuple):
    """A person as a roster knows one.

    also    further worker numbers: those of records that were merged into this one
    """

    id: int
    number: str
    key: str
    name: str
    language: str
    qualification: str
    left_on: date | None
    roles: tuple[str, ...]
    worksites: tuple[tuple[int, datetime | None], ...]  # each with the day of coming
    worn: tuple[Worn, ...]
    also: tuple[str, ...] = ()

    @property
    def numbers(self) -> tuple[str, ...]:
        """Return all their worker numbers, the one that goes on first."""
        return (self.number, *self.also)


def by_key(known: Iterable[Known]) -> dict[str, Known]:
    """Return people by each of their worker numbers, as it is matched."""
    return {key(number): one for one in known for number in one.numbers}


def merged(db: Session) -> dict[int, int]:
    """Return by the id of a record that was merged into another the id of the one that goes on."""
    return dict(db.execute(columns_of(MergedPerson.person_id, MergedPerson.into_id)).all())


def everybody(db: Session) -> list[Known]:
    """Return everybody, those who left too, in a handful of questions to the database.

    A record that was merged into another is nobody; its number is one of the other's.
    """
    roles: dict[int, list[str]] = defaultdict(list)
    for who, role in db.execute(columns_of(PersonRole.person_id, PersonRole.role)):
        if role in ROLES:
            roles[who].append(role)
    places: dict[int, list] = defaultdict(list)
    columns = (Membership.person_id, Membership.worksite_id, Membership.joined_at)
    for who, place, joined in db.execute(columns_of(*columns).order_by(Membership.worksite_id)):
        places[who].append((place, joined))
    worn: dict[int, list[Worn]] = defaultdict(list)
    held = columns_of(
        Respirator.person_id, Respirator.id, Respirator.class_slug, Respirator.use,
        Respirator.make, Respirator.model, Respirator.style, Respirator.size, Respirator.filters,
    ).where(Respirator.ended_at.is_(None))  # fmt: skip
    for who, number, *what in db.execute(held.order_by(Respirator.id)):
        worn[who].append(Worn(number, tuple(what)))
    persons = columns_of(
        Person.id, Person.number, Person.number_key, Person.name, Person.language,
        Person.qualification, Person.left_on,
    ).order_by(Person.id)  # fmt: skip
    rows, into = db.execute(persons).all(), merged(db)
    also: dict[int, list[str]] = defaultdict(list)
    for row in rows:
        if row.id in into:
            also[into[row.id]].append(row.number)
    return [
        Known(
            *row, tuple(sorted(roles[row.id])), tuple(places[row.id]), tuple(worn[row.id]),
            tuple(also[row.id]),
        )
        for row in rows
        if row.id not in into
    ]  # fmt: skip


def worksites(db: Session) -> dict[int, str]:
    """Return the names of the worksites by id."""
    return dict(db.execute(columns_of(Worksite.id, Worksite.name)).all())


def runs(db: Session, most: int = 50) -> list[ImportRun]:
    """Return what was brought, newest first."""
    return list(db.exec(select(ImportRun).order_by(ImportRun.id.desc()).limit(most)))


def of_key(db: Session, once: str) -> ImportRun | None:
    """Return what a form brought already."""
    return db.exec(select(ImportRun).where(ImportRun.once == once)).first()


def same_file(db: Session, run: ImportRun) -> ImportRun | None:
    """Return the newest that the same file has done already, and that was not taken back."""
    query = select(ImportRun).where(
        ImportRun.sha256 == run.sha256,
        ImportRun.kind == run.kind,
        ImportRun.id != run.id,
        ImportRun.state == "done",
    )
    return db.exec(query.order_by(ImportRun.id.desc())).first()


def file_of(db: Session, run_id: int) -> bytes:
    """Return the file of a run; empty once it is done with."""
    query = select(ImportPart.data).where(ImportPart.run_id == run_id).order_by(ImportPart.place)
    return b"".join(db.exec(query))


def forget_file(db: Session, run_id: int) -> None:
    """Let the file of a run go."""
    db.exec(delete(ImportPart).where(ImportPart.run_id == run_id))


def tally(db: Session, run_id: int) -> dict[str, int]:
    """Return how many lines of a run came to each state."""
    query = (
        select(ImportLine.state, func.count())
        .where(ImportLine.run_id == run_id)
        .group_by(ImportLine.state)
    )
    return dict.fromkeys(STATES, 0) | dict(db.exec(query).all())


def decisions(db: Session, run_id: int, state: str) -> dict[str, int]:
    """Return how many lines of a state have each decision."""
    query = (
        select(ImportLine.decision, func.count())
        .where(ImportLine.run_id == run_id, ImportLine.state == state)
        .group_by(ImportLine.decision)
    )
    return dict(db.exec(query).all())


def lines(
    db: Session, run_id: int, state: str, first: int, most: int, doubt: str = ""
) -> list[ImportLine]:
    """Return some lines of a run in the order of the file; of one state, where it is named."""
    query = select(ImportLine).where(ImportLine.run_id == run_id)
    if state:
        query = query.where(ImportLine.state == state)
    if doubt:
        query = query.where(ImportLine.doubt == doubt)
    query = query.order_by(ImportLine.line, ImportLine.id)
    return list(db.exec(query.offset(first).limit(most)))


def doubts(db: Session, run_id: int) -> dict[str, int]:
    """Return how many doubtful lines there are of each kind of doubt."""
    query = (
        select(ImportLine.doubt, func.count())
        .where(ImportLine.run_id == run_id, ImportLine.state == "doubtful")
        .group_by(ImportLine.doubt)
    )
    return dict(db.exec(query).all())


def acting(db: Session, run_id: int) -> Iterator[Row]:
    """Give the lines of a run that something is to be done for, in the order of the file.

    They come as plain rows: of 50,000, to watch each for changes took a third of all the time.
    """
    query = (
        columns_of(*ImportLine.__table__.c)
        .where(
            ImportLine.run_id == run_id,
            ImportLine.state.in_(("new", "changed", "back"))
            | ((ImportLine.state == "left") & (ImportLine.decision == "leave"))
            | (
                (ImportLine.state == "doubtful")
                & ImportLine.decision.not_in(("", "out"))
            ),
        )
        .order_by(ImportLine.line, ImportLine.id)
        .execution_options(yield_per=1000)
    )
    yield from db.exec(query)


def bad(db: Session, run_id: int) -> Iterator[ImportLine]:
    """Give the bad lines of a run in the order of the file."""
    query = (
        select(ImportLine)
        .where(ImportLine.run_id == run_id, ImportLine.state == "bad")
        .order_by(ImportLine.line)
        .execution_options(yield_per=500)
    )
    yield from db.exec(query)


def taken_as(db: Session) -> dict[str, int]:
    """Return by number who a person said it stands for, in what was done and not taken back."""
    query = (
        select(ImportLine.number, ImportLine.decision)
        .join(ImportRun, ImportRun.id == ImportLine.run_id)
        .where(ImportRun.state == "done", ImportLine.decision.startswith("same:"))
        .where(ImportLine.doubt != "other-name")
        .order_by(ImportLine.id)
    )
    return {number: int(decision.removeprefix("same:")) for number, decision in db.exec(query)}


def last_entry(db: Session) -> int:
    """Return the number of the newest entry; 0 without any."""
    return db.exec(select(func.max(Entry.number))).one() or 0


def recorded_since(db: Session, numbers: Sequence[str], entry: int) -> set[str]:
    """Return who of these numbers has an entry after entry `entry`."""
    found: set[str] = set()
    for some in chunks(numbers):
        query = select(Entry.person_number).where(
            Entry.person_number.in_(some), Entry.number > entry
        )
        found |= set(db.exec(query.distinct()))
    return found


def with_entries(db: Session, numbers: Sequence[str]) -> set[str]:
    """Return who of these numbers has any entry."""
    return recorded_since(db, numbers, 0)


_OWN = ("person_role", "membership", "standing", "respirator")


def referred_to(db: Session, ids: Sequence[int]) -> set[int]:
    """Return who of these people something refers to, beside what a roster itself gives them."""
    wanted = set(ids)
    found: set[int] = set()
    if not wanted:
        return found
    for table in METADATA.tables.values():
        for column in table.columns:
            if not any(key.column.table.name == "person" for key in column.foreign_keys):
                continue
            if table.name in _OWN and column.name == "person_id":
                continue
            # Those of one roster stand together: one question a column, however many they are.
            query = columns_of(column).where(column.between(min(wanted), max(wanted))).distinct()
            found |= wanted & set(db.execute(query).scalars())
    return found


def chunks(values: Iterable) -> Iterator[list]:
    """Give the values in lists short enough for one question."""
    values = list(values)
    for at in range(0, len(values), CHUNK):
        yield values[at : at + CHUNK]
