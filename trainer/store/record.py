"""The training record: append-only entries, each chained to the one before.

An entry's hash is the SHA-256 of the canonical JSON (RFC 8785) of its number, the deed that
made it, its kind, the moment, the hash of the entry before and the hash of its body. The
body's hash is salted, so that a body may be erased one day without its hash telling what it
said, and the chain still verifies.
"""

import json
import secrets
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from hashlib import sha256

import rfc8785
from sqlalchemy import Row
from sqlalchemy import select as columns_of
from sqlmodel import Session, func, select

from trainer.store.tables import Entry

BEGINNING = "0" * 64
"""What stands for the hash before the first entry."""


@dataclass(frozen=True)
class Break:
    """The first place where the chain does not hold, and a sentence that says why."""

    number: int
    why: str


def append(
    db: Session,
    *,
    once: str,
    kind: str,
    person_number: str,
    worksite: str,
    happened_on: date,
    body: dict,
    now: datetime,
) -> Entry:
    """Put an entry at the end of the record and return it; inside `writing()` only.

    once    names the deed ("sitting:12"): done a second time, the first entry is returned
    body    plain JSON values; the columns are repeated in it
    """
    there = done(db, once)
    if there:
        return there
    last = db.exec(select(Entry).order_by(Entry.number.desc()).limit(1)).first()
    whole = body | {
        "kind": kind,
        "person_number": person_number,
        "worksite": worksite,
        "happened_on": happened_on.isoformat(),
    }
    text = rfc8785.dumps(whole).decode()
    salt = secrets.token_hex(16)
    entry = Entry(
        number=last.number + 1 if last else 1,
        once=once,
        kind=kind,
        person_number=person_number,
        worksite=worksite,
        happened_on=happened_on,
        recorded_at=moment(now),
        body=text,
        salt=salt,
        body_hash=_body_hash(salt, text),
        previous=last.hash if last else BEGINNING,
        hash="",
    )
    entry.hash = _entry_hash(entry)
    db.add(entry)
    db.flush()
    return entry


def done(db: Session, once: str) -> Entry | None:
    """Return the entry that a deed made already."""
    return db.exec(select(Entry).where(Entry.once == once)).first()


def body(entry: Entry) -> dict:
    """Return what the entry says; empty once it is erased."""
    return json.loads(entry.body) if entry.body else {}


def moment(now: datetime) -> str:
    """Return a moment as it stands in the record: UTC, ISO 8601, to the microsecond."""
    return now.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def of_person(db: Session, number: str, kinds: tuple[str, ...] = ()) -> list[Entry]:
    """Return a person's entries, oldest first; of these kinds, where any are named."""
    query = select(Entry).where(Entry.person_number == number).order_by(Entry.number)
    if kinds:
        query = query.where(Entry.kind.in_(kinds))
    return list(db.exec(query))


def of_people(
    db: Session, numbers: Iterable[str], kinds: tuple[str, ...]
) -> dict[str, list[Row]]:
    """Return by number the entries of these kinds, oldest first, with what is asked of many.

    Plain rows, without hashes: a large worksite has tens of thousands of them.
    """
    columns = (
        Entry.number, Entry.kind, Entry.person_number, Entry.happened_on, Entry.recorded_at,
        Entry.body,
    )  # fmt: skip
    query = columns_of(*columns).where(
        Entry.kind.in_(kinds), Entry.person_number.in_(list(numbers))
    )
    found: dict[str, list[Row]] = {}
    for row in db.execute(query.order_by(Entry.number)):
        found.setdefault(row.person_number, []).append(row)
    return found


def between(
    db: Session, first: date, last: date, kinds: tuple[str, ...], worksite: str | None = None
) -> Iterator[Entry]:
    """Give the entries of these kinds that happened from the first to the last day, in order."""
    query = (
        select(Entry)
        .where(Entry.happened_on >= first, Entry.happened_on <= last, Entry.kind.in_(kinds))
        .order_by(Entry.number)
        .execution_options(yield_per=500)
    )
    if worksite is not None:
        query = query.where(Entry.worksite == worksite)
    yield from db.exec(query)


def count(db: Session) -> int:
    """Return how many entries the record holds."""
    return db.exec(select(func.count()).select_from(Entry)).one()


def verify(db: Session) -> Iterator[Break | None]:
    """Walk the record; give None for each entry that holds, and stop at the first that does not."""
    previous = BEGINNING
    query = select(Entry).order_by(Entry.number).execution_options(yield_per=1000)
    for number, entry in enumerate(db.exec(query), start=1):
        why = _fault(entry, number, previous)
        if why:
            yield Break(entry.number, why)
            return
        previous = entry.hash
        db.expunge(entry)
        yield None


def _fault(entry: Entry, number: int, previous: str) -> str:
    if entry.number != number:
        return f"entry {number} is missing"
    if entry.previous != previous:
        return "it does not follow the entry before it"
    if entry.hash != _entry_hash(entry):
        return "its hash does not fit what stands beside it"
    if entry.body is None:
        # Nothing erases a body yet. What will, when its retention ends, puts an entry of its
        # own into the record, and only that will excuse a gap.
        return "its body is gone, and no entry says why"
    if entry.body_hash != _body_hash(entry.salt or "", entry.body):
        return "its body is not the one that was recorded"
    said = json.loads(entry.body)
    for column in ("kind", "person_number", "worksite"):
        if said[column] != getattr(entry, column):
            return f"its column {column} does not say what its body says"
    if said["happened_on"] != entry.happened_on.isoformat():
        return "its column happened_on does not say what its body says"
    return ""


def _body_hash(salt: str, text: str) -> str:
    return sha256(f"{salt}{text}".encode()).hexdigest()


def _entry_hash(entry: Entry) -> str:
    head = {
        "number": entry.number,
        "once": entry.once,
        "kind": entry.kind,
        "recorded_at": entry.recorded_at,
        "previous": entry.previous,
        "body_hash": entry.body_hash,
    }
    return sha256(rfc8785.dumps(head)).hexdigest()
