"""Every row of one database brought into the tables of another, and both compared.

Values pass as what they mean and not as they are stored: a moment is UTC, a day a day, yes is
yes. So a record comes to the same on SQLite and on PostgreSQL, and the same sums tell it.
"""

import json
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime
from hashlib import sha256
from itertools import islice

from sqlalchemy import Connection, MetaData, Table, func, insert, select
from sqlalchemy.exc import DataError, IntegrityError

NOTE = "backup_note"
"""The table in which a backup says of itself when and of what it was made."""

NO_PART = (NOTE, "alembic_version")
AT_ONCE = 500
"""So many rows are in memory at a time."""

Step = Callable[[int], None]
"""Is told how many rows more are done."""


class Unlike(ValueError):
    """Two databases do not hold the same; the text is the end of a sentence that says where."""


@dataclass(frozen=True)
class Sum:
    """What stands for all rows of a table: how many, and the SHA-256 of what they say."""

    rows: int
    sha256: str


def tables(connection: Connection) -> list[Table]:
    """Return the tables of a record as they are there, each after those that it points to."""
    there = MetaData()
    there.reflect(bind=connection, only=lambda name, _: name not in NO_PART)
    return there.sorted_tables


def how_many(connection: Connection) -> int:
    """Return how many rows all tables hold."""
    return sum(
        connection.execute(select(func.count()).select_from(one)).scalar_one()
        for one in tables(connection)
    )


def sums(
    connection: Connection, step: Step, there: list[Table] | None = None
) -> dict[str, Sum]:
    """Return by table what its rows come to. Errors: Unlike for a value that cannot be read.

    there   the tables, where they were looked up already
    """
    found = {}
    for table in tables(connection) if there is None else there:
        summing = _Summing()
        for rows in _parts(connection, table):
            summing.add(rows)
            step(len(rows))
        found[table.name] = summing.done()
    return found


def fill(source: Connection, target: Connection, step: Step) -> dict[str, Sum]:
    """Put every row of the source into the empty tables of the target; return the sums of both.

    The target's own triggers are in force. What was written is read again and compared.
    Errors: Unlike where the source has not the tables of the target, where a value is not of its
    kind, or where the target comes to another sum.
    """
    given, found = {one.name: one for one in tables(source)}, {}
    made = tables(target)
    _compare_shapes(given, {one.name: one for one in made})
    for table in made:
        summing = _Summing()
        for rows in _parts(source, given[table.name]):
            summing.add(rows)
            _put(target, table, rows)
            step(len(rows))
        found[table.name] = summing.done()
    compare(found, sums(target, step, made))
    return found


def compare(wanted: dict[str, Sum], found: dict[str, Sum]) -> None:
    """Compare the sums of two databases. Errors: Unlike."""
    for name in sorted(wanted.keys() | found.keys()):
        here, there = wanted.get(name), found.get(name)
        if here is None or there is None:
            raise Unlike(f"the table {name} is only in one of them")
        if here.rows != there.rows:
            raise Unlike(f"the table {name} has {there.rows} rows and should have {here.rows}")
        if here.sha256 != there.sha256:
            raise Unlike(f"the rows of the table {name} are not those that were written")


class _Summing:
    """The sum of a table while its rows go by."""

    def __init__(self) -> None:
        self._rows, self._hash = 0, sha256()

    def add(self, rows: list[tuple]) -> None:
        for row in rows:
            self._hash.update(json.dumps(row, default=_said).encode())
            self._hash.update(b"\n")
        self._rows += len(rows)

    def done(self) -> Sum:
        return Sum(self._rows, self._hash.hexdigest())


def _compare_shapes(given: dict[str, Table], made: dict[str, Table]) -> None:
    for name in sorted(given.keys() | made.keys()):
        if name not in given or name not in made:
            raise Unlike(f"the table {name} is only in one of them")
        here, there = (set(one[name].columns.keys()) for one in (given, made))
        if here != there:
            raise Unlike(f"the table {name} has other columns")


def _parts(connection: Connection, table: Table) -> Iterator[list[tuple]]:
    """Give the rows of a table in the order of their key, some at a time."""
    query = select(*(table.c[name] for name in _columns(table)))
    query = query.order_by(*table.primary_key.columns)
    result = connection.execute(query.execution_options(yield_per=AT_ONCE))
    with closing(result):
        rows = iter(result)
        while part := _read(rows, table.name):
            yield part


def _read(rows: Iterator, name: str) -> list[tuple]:
    try:
        return [tuple(map(_meant, row)) for row in islice(rows, AT_ONCE)]
    except (ValueError, TypeError, UnicodeError):
        raise Unlike(f"the table {name} has a value that is not of its kind") from None


def _columns(table: Table) -> list[str]:
    """Return the columns in one order: migrations add them in another than fresh tables have."""
    return sorted(table.columns.keys())


def _put(target: Connection, table: Table, rows: list[tuple]) -> None:
    names = _columns(table)
    try:
        target.execute(insert(table), [dict(zip(names, row, strict=True)) for row in rows])
    except (DataError, IntegrityError) as fault:
        why = " ".join(str(fault.orig).split())
        raise Unlike(f"the table {table.name} has a row that is not taken ({why})") from None


def _meant(value: object) -> object:
    """Return a value as it is on either database."""
    if isinstance(value, datetime):
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
    return value


def _said(value: object) -> object:
    """Return as plain JSON what JSON has no word for."""
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    return bytes(value).hex()
