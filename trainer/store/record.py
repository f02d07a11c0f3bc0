"""The training record: append-only entries, each chained to the one before.

An entry's hash is the SHA-256 of the canonical JSON (RFC 8785) of its number, the deed that
made it, its kind, the moment, the hash of the entry before and the hash of its body. The
body's hash is salted, so that a body may be erased one day without its hash telling what it
said, and the chain still verifies.
"""

import json
import secrets
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from hashlib import sha256
from itertools import chain
from json.encoder import encode_basestring
from typing import NamedTuple

import rfc8785
from sqlalchemy import ColumnElement, Row, Select, String, bindparam, cast, insert, text, update
from sqlalchemy import select as columns_of
from sqlmodel import Session, func, select

from trainer.store import often
from trainer.store.tables import Entry, Erased

BEGINNING = "0" * 64
"""What stands for the hash before the first entry."""
MANY = 500
"""So many entries go to the database at a time."""

MEDICAL_KINDS = ("medical", "medical-correction")
"""Kinds of entry that only those with the right to determinations may see."""

CORRECTIONS = ("correction", "medical-correction")
"""Kinds of entry that say how an earlier one reads, or that it never should have been."""

ERASURE = "erasure"

EARLIER = "earlier training"
"""The mode of a lesson that reached a person elsewhere."""

NEVER_ERASED = (*MEDICAL_KINDS, ERASURE)
"""Determinations are kept for employment and 30 years, 29 CFR 1910.1020(d)(1)(i), and the program
lets none go; nor an erasure, which says where the others went."""


@dataclass(frozen=True)
class Break:
    """The first place where the chain does not hold, and a sentence that says why."""

    number: int
    why: str


@dataclass
class Tally:
    """What a walk over the record has met so far."""

    entries: int = 0
    erased: int = 0
    corrections: int = 0
    last: str = BEGINNING


class NotErasable(ValueError):
    """A body that the program does not let go, and a sentence that says why."""


class Taken(NamedTuple):
    """An entry as it is taken out by the million: plain values, a third of the cost of a row."""

    number: int
    kind: str
    person_number: str
    worksite: str
    happened_on: str  # ISO 8601
    recorded_at: str
    body: str | None
    hash: str


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
    last = newest(db)
    whole = body | {
        "kind": kind,
        "person_number": person_number,
        "worksite": worksite,
        "happened_on": happened_on.isoformat(),
    }
    said = rfc8785.dumps(whole).decode()
    salt = secrets.token_hex(16)
    entry = Entry(
        number=last.number + 1 if last else 1,
        once=once,
        kind=kind,
        person_number=person_number,
        worksite=worksite,
        happened_on=happened_on,
        recorded_at=moment(now),
        body=said,
        salt=salt,
        body_hash=_body_hash(salt, said),
        previous=last.hash if last else BEGINNING,
        hash="",
    )
    entry.hash = _entry_hash(entry)
    db.add(entry)
    db.flush()
    return entry


@dataclass(frozen=True)
class Deed:
    """What one entry of many is to say; the fields are those of `append`."""

    once: str
    kind: str
    person_number: str
    worksite: str
    happened_on: date
    body: dict


def append_many(db: Session, deeds: Sequence[Deed], now: datetime) -> list[int]:
    """Put many entries at the end of the record; return their numbers, in the order of the deeds.

    As `append` for each, without a question to the database for each; inside `writing()` only.
    A deed that was done already gives the number of its entry. A body may name the entries of
    earlier deeds: {"practice_entries": [-2, -1]} counts back from its own number.
    """
    there = _numbers_of(db, [deed.once for deed in deeds])
    last = db.exec(select(Entry).order_by(Entry.number.desc()).limit(1)).first()
    number, previous = (last.number, last.hash) if last else (0, BEGINNING)
    columns = list(Entry.__table__.columns.keys())
    numbers, rows = [], []
    for deed in deeds:
        if deed.once in there:
            numbers.append(there[deed.once])
            continue
        number += 1
        entry = _sealed(deed, number, previous, now)
        previous = entry.hash
        there[deed.once] = number
        numbers.append(number)
        rows.append({name: getattr(entry, name) for name in columns})
        if len(rows) == MANY:
            db.exec(insert(Entry), params=rows)
            rows = []
    if rows:
        db.exec(insert(Entry), params=rows)
    return numbers


def _sealed(deed: Deed, number: int, previous: str, now: datetime) -> Entry:
    body = deed.body
    if any(back < 0 for back in body.get("practice_entries", ())):
        body = body | {"practice_entries": [number + back for back in body["practice_entries"]]}
    whole = body | {
        "kind": deed.kind,
        "person_number": deed.person_number,
        "worksite": deed.worksite,
        "happened_on": deed.happened_on.isoformat(),
    }
    text, salt = rfc8785.dumps(whole).decode(), secrets.token_hex(16)
    entry = Entry(
        number=number,
        once=deed.once,
        kind=deed.kind,
        person_number=deed.person_number,
        worksite=deed.worksite,
        happened_on=deed.happened_on,
        recorded_at=moment(now),
        body=text,
        salt=salt,
        body_hash=_body_hash(salt, text),
        previous=previous,
        hash="",
    )
    entry.hash = _entry_hash(entry)
    return entry


def _numbers_of(db: Session, onces: Sequence[str]) -> dict[str, int]:
    """Return by deed the number of its entry, where it was done already."""
    found: dict[str, int] = {}
    for at in range(0, len(onces), MANY):
        query = columns_of(Entry.once, Entry.number).where(Entry.once.in_(onces[at : at + MANY]))
        found |= dict(db.execute(query).all())
    return found


def done(db: Session, once: str) -> Entry | None:
    """Return the entry that a deed made already."""
    return db.exec(select(Entry).where(Entry.once == once)).first()


def get(db: Session, number: int) -> Entry | None:
    """Return the entry of this number."""
    return db.get(Entry, number)


def by_hash(db: Session, hash_: str) -> Entry | None:
    """Return the entry of this hash."""
    return db.exec(select(Entry).where(Entry.hash == hash_)).first()


def newest(db: Session) -> Entry | None:
    """Return the last entry."""
    return db.exec(select(Entry).order_by(Entry.number.desc()).limit(1)).first()


def corrections(db: Session, person_numbers: Iterable[str] | None = None) -> list[Entry]:
    """Return the corrections of these people's entries, or of everybody's, oldest first."""
    query = select(Entry).where(Entry.kind.in_(CORRECTIONS))
    if person_numbers is not None:
        query = query.where(Entry.person_number.in_(list(person_numbers)))
    return list(db.exec(query.order_by(Entry.number)))


def erasures(db: Session, numbers: Iterable[int]) -> dict[int, int]:
    """Return which entry says of each of these that its body was let go."""
    query = select(Erased.number, Erased.erasure).where(Erased.number.in_(list(numbers)))
    return dict(db.exec(query).all())


def body(entry: Entry) -> dict:
    """Return what the entry says; empty once it is erased."""
    return json.loads(entry.body) if entry.body else {}


def moment(now: datetime) -> str:
    """Return a moment as it stands in the record: UTC, ISO 8601, to the microsecond."""
    return now.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def of_person(
    db: Session, numbers: str | tuple[str, ...], kinds: tuple[str, ...] = ()
) -> list[Entry]:
    """Return a person's entries, oldest first; of these kinds, where any are named.

    numbers     all worker numbers of the person (`people.numbers`), or a single one
    """
    every = (numbers,) if isinstance(numbers, str) else numbers
    query = select(Entry).where(Entry.person_number.in_(every)).order_by(Entry.number)
    if kinds:
        query = query.where(Entry.kind.in_(kinds))
    return list(db.exec(query))


_OF_PERSON = often.Question(
    columns_of(*often.columns(Entry))
    .where(Entry.person_number.in_(bindparam("numbers", expanding=True)))
    .order_by(Entry.number)
)


def rows_of_person(db: Session, numbers: tuple[str, ...]) -> list[Row]:
    """Return a person's entries as plain rows, oldest first; numbers as in `of_person`."""
    return often.rows(db, _OF_PERSON, numbers=list(numbers))


def of_people(
    db: Session, numbers: Iterable[str], kinds: tuple[str, ...] = (), last: int | None = None
) -> dict[str, list[Row]]:
    """Return by number the entries of these kinds, or of all, oldest first, as many are asked of.

    last    entries after this one are left out; None: none is
    Plain rows, without hashes: a large worksite has tens of thousands of them.
    """
    columns = (
        Entry.number, Entry.kind, Entry.person_number, Entry.happened_on, Entry.recorded_at,
        Entry.body,
    )  # fmt: skip
    query = columns_of(*columns).where(Entry.person_number.in_(list(numbers)))
    if kinds:
        query = query.where(Entry.kind.in_(kinds))
    if last is not None:
        query = query.where(Entry.number <= last)
    found: dict[str, list[Row]] = {}
    for row in db.execute(query.order_by(Entry.number)):
        found.setdefault(row.person_number, []).append(row)
    return found


def put_right_at(db: Session, entry: Entry | Row, last: int | None = None) -> str | None:
    """Return the moment of the first later entry that says an earlier one; None: there is none.

    last    entries after this one are not known; None: all are
    Between the two, a clock that was ahead was set back.
    """
    query = columns_of(Entry.recorded_at).where(
        Entry.number > entry.number, Entry.recorded_at < entry.recorded_at
    )
    if last is not None:
        query = query.where(Entry.number <= last)
    return db.execute(query.order_by(Entry.number).limit(1)).scalar()


def told_of_later(db: Session, day: date) -> list[str]:
    """Return the worker numbers of which an entry tells of a day after this one."""
    query = columns_of(Entry.person_number).distinct().where(Entry.happened_on > day)
    return list(db.execute(query).scalars())


@dataclass(frozen=True)
class Asked:
    """Which entries are asked for: those that happened from the first to the last day.

    kinds     None: every kind
    worksite  where they were made; None: anywhere
    numbers   worker numbers, or a select of them; None: everybody's
    without   kinds that are left out
    """

    first: date
    last: date
    kinds: Sequence[str] | None = None
    worksite: str | None = None
    numbers: Select | Sequence[str] | None = None
    without: Sequence[str] = ()

    def where(self) -> list[ColumnElement[bool]]:
        """Return the conditions."""
        found = []
        # What asks nothing stays out, so that the whole record is walked as it lies.
        if self.first > date.min:
            found.append(Entry.happened_on >= self.first)
        if self.last < date.max:
            found.append(Entry.happened_on <= self.last)
        if self.kinds is not None:
            # By no index: it would have to sort most of a record that lies in order.
            found.append(Entry.kind.concat("").in_(list(self.kinds)))
        if self.without:
            found.append(Entry.kind.not_in(list(self.without)))
        if self.worksite is not None:
            found.append(Entry.worksite == self.worksite)
        if self.numbers is not None:
            found.append(Entry.person_number.in_(self.numbers))
        return found


def between(db: Session, asked: Asked) -> Iterator[Taken]:
    """Give the entries that are asked for, in order, as plain rows."""
    yield from _walk(db, columns_of(*_TAKEN_OUT).where(*asked.where()))


def how_many(db: Session, asked: Asked) -> int:
    """Return how many entries are asked for."""
    query = columns_of(func.count()).select_from(Entry).where(*asked.where())
    return db.execute(query).scalar_one()


def tally_of_people(db: Session, asked: Asked) -> list[tuple[str, int]]:
    """Return the worker numbers of the entries that are asked for, in order, and how many each."""
    query = columns_of(Entry.person_number, func.count()).where(*asked.where())
    found = db.execute(query.group_by(Entry.person_number).order_by(Entry.person_number))
    return [(number, count) for number, count in found]


def numbered(db: Session, numbers: Sequence[int]) -> list[Taken]:
    """Return the entries of these numbers as `between` gives them."""
    query = columns_of(*_TAKEN_OUT).where(Entry.number.in_(list(numbers)))
    return list(map(Taken._make, db.execute(query.order_by(Entry.number))))


def of_kinds(db: Session, kinds: Sequence[str]) -> Iterator[Taken]:
    """Give every entry of these few kinds, as `between` does."""
    yield from _walk(db, columns_of(*_TAKEN_OUT).where(Entry.kind.in_(list(kinds))))


def last_hash(db: Session) -> str:
    """Return the hash of the newest entry, which stands for the whole record before it."""
    newest = select(Entry.hash).order_by(Entry.number.desc()).limit(1)
    return db.exec(newest).first() or BEGINNING


BATCH = 500
"""So many rows are in memory at a time while the record is walked."""

_ROWS = Entry.__table__.c
"""The plain columns: a row of them costs half of what one of the mapped class does."""

# Days as text: to make a date of each would take longer than to fetch it.
_TAKEN_OUT = [
    cast(_ROWS.happened_on, String).label(name) if name == "happened_on" else _ROWS[name]
    for name in Taken._fields
]


def _walk(db: Session, query: Select) -> Iterator[Taken]:
    connection, query = db.connection(), query.order_by(Entry.number)
    if connection.dialect.name == "sqlite":
        # SQLite gives row by row of itself, and there is nothing in these to convert.
        result = connection.execute(query)
        rows = iter(lambda: result.cursor.fetchmany(BATCH), [])
        yield from map(Taken._make, chain.from_iterable(rows))
        result.close()
    else:
        walk = query.execution_options(yield_per=BATCH)
        yield from map(Taken._make, connection.execute(walk))


def count(db: Session) -> int:
    """Return how many entries the record holds."""
    return db.exec(select(func.count()).select_from(Entry)).one()


def erase(
    db: Session,
    numbers: Sequence[int],
    row: str,
    source: str,
    why: str,
    *,
    once: str,
    confirmed_by: dict[str, str],
    happened_on: date,
    now: datetime,
) -> Entry:
    """Let the bodies of these entries go and return the entry that says so.

    row             slug of the retention rule that allows it; source: the rule's source
    confirmed_by    number and name of the coordinator who confirmed it
    The entry comes first, then the rows of `erased`, then body and salt become empty: the triggers
    of the database refuse any other order. Inside `writing()` only.
    Errors: NotErasable for a medical entry, an erasure, one that is not there or gone already, and
    a correction whose entry stays.
    """
    there = done(db, once)
    if there:
        return there
    named = [_erasable(db, number, numbers) for number in dict.fromkeys(numbers)]
    if not named:
        raise NotErasable("no entry is named")
    persons = {entry.person_number for entry in named}
    worksites = {entry.worksite for entry in named}
    erasure = append(
        db,
        once=once,
        kind=ERASURE,
        person_number=persons.pop() if len(persons) == 1 else "",
        worksite=worksites.pop() if len(worksites) == 1 else "",
        happened_on=happened_on,
        body={
            "erased": [_named(entry) for entry in named],
            "row": row,
            "source": source,
            "why": why,
            "recorded_by": confirmed_by,
        },
        now=now,
    )
    db.add_all(Erased(number=entry.number, erasure=erasure.number) for entry in named)
    db.flush()
    for entry in named:
        db.execute(update(Entry).where(Entry.number == entry.number).values(body=None, salt=None))
    db.flush()
    return erasure


def _erasable(db: Session, number: int, together: Sequence[int]) -> Entry:
    entry = get(db, number)
    if entry is None:
        raise NotErasable(f"there is no entry {number}")
    if entry.kind in NEVER_ERASED:
        raise NotErasable(f"entry {number} is of kind {entry.kind}, which is never erased")
    if entry.body is None:
        raise NotErasable(f"entry {number} is erased already")
    if entry.kind in CORRECTIONS:
        # Without its correction a struck entry would count again.
        root = get(db, body(entry)["corrects"])
        if root.body is not None and root.number not in together:
            raise NotErasable(f"entry {number} corrects entry {root.number}, which still stands")
    return entry


def _named(entry: Entry) -> dict:
    """Return what an erasure repeats of an entry, so that it can be told what is gone."""
    return {
        "number": entry.number,
        "kind": entry.kind,
        "person_number": entry.person_number,
        "happened_on": entry.happened_on.isoformat(),
        "worksite": entry.worksite,
    }


def verify(db: Session, tally: Tally | None = None) -> Iterator[Break | None]:
    """Walk the record; give None for each entry that holds, and stop at the first that does not.

    tally   counts what was met, and holds the last hash
    Rows are read as they are stored and one after the other: a million need no more memory than a
    thousand.
    """
    tally = tally or Tally()
    excuse = _excuses(db)
    for number, row in enumerate(_stored(db), start=1):
        why = _fault(row, number, tally.last, excuse)
        if why:
            yield Break(row[0], why)
            return
        tally.entries = number
        tally.last = row[9]
        if row[2] in CORRECTIONS:
            tally.corrections += 1
        if row[6] is None:
            tally.erased += 1
        yield None


_STORED = text(
    "SELECT number, once, kind, person_number, worksite, happened_on, body, salt, body_hash, hash, "
    "previous, recorded_at FROM entry ORDER BY number"
)
_AT_ONCE = 500


def _stored(db: Session) -> Iterator[tuple]:
    """Give every row as it is stored, in order: no value is turned into another on the way."""
    result = db.connection().execute(_STORED.execution_options(yield_per=_AT_ONCE))
    for part in result.partitions():
        yield from map(tuple, part)


def _fault(row: tuple, number: int, previous: str, excuse: Callable[[tuple], str]) -> str:
    (at, once, kind, person, worksite, on, said, salt, body_hash, hash_, before, recorded) = row
    if at != number:
        return f"entry {number} is missing"
    if before != previous:
        return "it does not follow the entry before it"
    if hash_ != sha256(_head(at, once, kind, recorded, before, body_hash)).hexdigest():
        return "its hash does not fit what stands beside it"
    if said is None:
        return excuse(row)
    if body_hash != _body_hash(salt or "", said):
        return "its body is not the one that was recorded"
    columns = (
        ("happened_on", on), ("kind", kind), ("person_number", person), ("worksite", worksite),
    )  # fmt: skip
    for column, value in columns:
        if not _says(said, column, value):
            return f"its column {column} does not say what its body says"
    return ""


def _says(said: str, column: str, value: str) -> bool:
    """Say whether a body says this of a column.

    The body is canonical: nothing stands between a name and its value, and a name within a text
    has its quote marks escaped. So a name that stands there once, with this value, is enough;
    where it stands in an inner part as well, the whole is read.
    """
    name = f'"{column}":'
    if said.count(name) == 1 and f"{name}{encode_basestring(str(value))}" in said:
        return True
    return json.loads(said).get(column) == str(value)


def _excuses(db: Session) -> Callable[[tuple], str]:
    """Return a function that says why an entry without a body breaks the record, or nothing.

    It reads the newest erasure once, however many entries that one names.
    """
    of = text("SELECT erasure FROM erased WHERE number = :number")
    there = text("SELECT number, kind, body FROM entry WHERE number = :number")
    kept: dict[int, dict[int, dict]] = {}

    def excuse(row: tuple) -> str:
        gone = "its body is gone, and no entry says why"
        number = db.connection().execute(of, {"number": row[0]}).scalar()
        if number is None or number <= row[0] or row[7] is not None or row[2] in NEVER_ERASED:
            return gone
        if number not in kept:
            kept.clear()
            erasure = db.connection().execute(there, {"number": number}).first()
            if erasure is None or erasure.kind != ERASURE or erasure.body is None:
                return gone
            named = json.loads(erasure.body)["erased"]
            kept[number] = {one["number"]: one for one in named}
        said = {
            "number": row[0], "kind": row[2], "person_number": row[3], "happened_on": str(row[5]),
            "worksite": row[4],
        }  # fmt: skip
        if row[0] not in kept[number]:
            return gone
        if kept[number][row[0]] != said:
            return "its columns do not say what the entry that erased it says"
        return ""

    return excuse


def _body_hash(salt: str, said: str) -> str:
    return sha256(f"{salt}{said}".encode()).hexdigest()


def _entry_hash(entry: Entry) -> str:
    head = (entry.number, entry.once, entry.kind, entry.recorded_at, entry.previous)
    return sha256(_head(*head, entry.body_hash)).hexdigest()


def _head(
    number: int, once: str, kind: str, recorded_at: str, previous: str, body_hash: str
) -> bytes:
    """Return the canonical JSON (RFC 8785) of an entry's head.

    Its names are known and its values are texts and one whole number, so they are put together
    here in order; a test compares the bytes with those of the library.
    """
    q = encode_basestring
    return (
        f'{{"body_hash":{q(body_hash)},"kind":{q(kind)},"number":{number},"once":{q(once)},'
        f'"previous":{q(previous)},"recorded_at":{q(recorded_at)}}}'
    ).encode()
