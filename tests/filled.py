"""Every table filled, as any migration left it, with rows that are hard to carry.

The rows mean nothing: they are made from the tables as they are found, so that a table or column
of a later migration is filled as well. What the record itself holds is appended as always.
"""

from datetime import UTC, date, datetime, timedelta

from sqlalchemy import (
    Boolean,
    Column,
    Connection,
    Date,
    DateTime,
    Float,
    Integer,
    LargeBinary,
    Table,
    insert,
    select,
)
from sqlmodel import Session

from trainer.store import copying, record
from trainer.store.engine import Store

EACH = 3
TEXTS = ("Ñandú, «así» ", "it's \"so\" \\ 100 %\r\n", "œuf 𝛑 \t 'x'; --", "")
MOMENT = datetime(2024, 2, 29, 23, 59, 59, 123456, UTC)
DAY = date(2024, 2, 29)
BY_HAND = ("entry", "erased")
Rows = dict[str, set[tuple[tuple[str, object], ...]]]
"""By table its rows, each a column and a value after the other."""


def fill(store: Store, first: int = 0, entries: int = 6) -> Rows:
    """Put rows into every table and entries into the record; return all that they hold then.

    first   rows are told from those of an earlier filling by it
    """
    with Session(store._writer) as db:
        there = copying.tables(db.connection())
        for table in there:
            if table.name not in BY_HAND:
                _fill_table(db.connection(), table, first)
        _append(db, first, entries)
        if any(one.name == "erased" for one in there):
            record.erase(
                db, [1 + record.count(db) - entries], row="r", source="s", why="w",
                once=f"erasure:{first}", confirmed_by={}, happened_on=DAY, now=MOMENT,
            )
        db.flush()
        found = _rows(db.connection(), there)
        db.commit()
    return found


def append(store: Store) -> None:
    """Append entries, and nothing else."""
    with Session(store._writer) as db:
        _append(db, 0, EACH)
        db.commit()


def rows(store: Store) -> Rows:
    """Return all that the tables hold."""
    with Session(store._engine) as db:
        return _rows(db.connection(), copying.tables(db.connection()))


def _rows(connection: Connection, there: list[Table]) -> Rows:
    return {
        table.name: {
            tuple(sorted((name, _plain(value)) for name, value in row._mapping.items()))
            for row in connection.execute(select(table))
        }
        for table in there
    }


def _append(db: Session, first: int, entries: int) -> None:
    for at in range(entries):
        record.append(
            db, once=f"filled:{first}:{at}", kind="lesson", person_number=f"0{at}",
            worksite="Joinery", happened_on=DAY + timedelta(at), body={"name": TEXTS[at % 4]},
            now=MOMENT,
        )


def _fill_table(connection: Connection, table: Table, first: int) -> None:
    there = {key: _keys(connection, key.column) for key in table.foreign_keys}
    for at in range(first, first + EACH):
        row = {}
        for place, column in enumerate(table.columns):
            key = next(iter(column.foreign_keys), None)
            if key is not None:
                keys = there[key] or [1]
                row[column.name] = keys[(at - first) % len(keys)] if len(keys) <= EACH else \
                    keys[-EACH:][(at - first) % EACH]
            elif column.nullable and at % EACH == 1:
                row[column.name] = None
            elif not (column.primary_key and _is_number(column) and _counts(table)):
                row[column.name] = _value(column, at, place)
        connection.execute(insert(table), [row])


def _keys(connection: Connection, column: Column) -> list:
    return list(connection.execute(select(column).order_by(column)).scalars())


def _counts(table: Table) -> bool:
    """Say whether the database numbers the rows by itself."""
    return len(table.primary_key.columns) == 1


def _is_number(column: Column) -> bool:
    return isinstance(column.type, Integer)


def _value(column: Column, at: int, place: int) -> object:
    match column.type:
        case Boolean():
            return (at + place) % 2 == 0
        case Integer():
            return 2**40 + at
        case Float():
            return (0.1 + 0.2) * (at + 1)
        case LargeBinary():
            return bytes(range(256)) + bytes([at % 256])
        case DateTime():
            return MOMENT + timedelta(microseconds=at)
        case Date():
            return DAY + timedelta(at)
    if column.name == "role":
        return ("coordinator", "trainer", "worker")[at % EACH]
    return f"{TEXTS[(at + place) % 4]}{at}.{place}"


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.astimezone(UTC).replace(tzinfo=None) if value.tzinfo else value
    return value
