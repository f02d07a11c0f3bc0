"""Questions that every page asks.

To build a question in words of SQLAlchemy and to find out that it was asked before takes ten times
what SQLite needs to answer it. What pages ask each time is therefore built once, as the program is
read, with `bindparam` where the values go; it is asked by `rows`, where plain rows do, else by
`Session.exec` with `params`.

`rows` gives the driver the very words that SQLAlchemy made of a question the first time, and reads
what comes back as SQLAlchemy would. To let it begin, watch and end each of them anew took three
times as long.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import Any, NamedTuple, TypeVar

from sqlalchemy import Column, Connection, Dialect, Insert, Row, Select
from sqlalchemy.engine import result_tuple
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session, SQLModel

Answer = TypeVar("Answer")
Way = Callable[[Any], Any]
"""Turns a value into what the driver takes, or what it gives into a value."""

SEVERAL = 16
"""Of longer lists, such as those of everybody at a worksite, SQLAlchemy makes the words anew."""


class Question:
    """What pages ask each time, in words of SQLAlchemy, and in those of each driver."""

    def __init__(self, words: Select) -> None:
        self.words = words
        self._worded: dict[tuple, _Worded] = {}

    def worded(self, dialect: Dialect, given: Mapping[str, object]) -> "_Worded":
        """Return the question as the driver takes it with lists of so many values."""
        # Which numbers of values there were is few: SEVERAL bounds them.
        lengths = tuple(len(one) for one in given.values() if isinstance(one, list))
        key = (dialect.name, dialect.driver, lengths)
        return self._worded.get(key) or self._worded.setdefault(
            key, _worded(self.words.params(given), dialect)
        )


class _Worded(NamedTuple):
    """A question as a driver takes it.

    text       its words
    places     which values go where, in order; None where they go by name
    given      by name: how a value becomes what the driver takes; without one: as it is
    constants  by name: values that are the same each time, as the driver takes them
    ways       by column: how what comes back becomes a value, or None; None for all: as they are
    row        makes a row
    """

    text: str
    places: Sequence[str] | None
    given: Mapping[str, Way]
    constants: Mapping[str, object]
    ways: Sequence[Way | None] | None
    row: Callable[[Any], Row]

    def values(self, given: Mapping[str, object]) -> Any:
        """Return these values as the driver takes them."""
        every = {**self.constants, **_apart(given, self.given)}
        return every if self.places is None else [every[name] for name in self.places]

    def read(self, found: Iterable[Sequence[object]]) -> list[Row]:
        """Return rows of what came back."""
        row, ways = self.row, self.ways
        if ways is None:
            return [row(one) for one in found]
        return [
            row([value if way is None else way(value)
                 for way, value in zip(ways, one, strict=True)])
            for one in found
        ]  # fmt: skip


def _worded(question: Select, dialect: Dialect) -> _Worded:
    made = question.compile(dialect=dialect, compile_kwargs={"render_postcompile": True})
    given = {name: way for name, bind in made.binds.items()
             if (way := bind.type.dialect_impl(dialect).bind_processor(dialect))}  # fmt: skip
    # What was given a name by us is given each time; the rest stands in the question.
    constants = {name: one.effective_value for name, one in made.binds.items() if one.unique}
    columns = list(question.selected_columns)
    ways = [one.type.dialect_impl(dialect).result_processor(dialect, None) for one in columns]
    return _Worded(
        str(made), made.positiontup, given, _apart(constants, given),
        ways if any(ways) else None, result_tuple([one.key for one in columns]),
    )  # fmt: skip


def _apart(values: Mapping[str, object], ways: Mapping[str, Way]) -> dict[str, object]:
    """Return values as the driver takes them; those of a list by name and place, as SQLAlchemy."""
    found = {}
    for name, value in values.items():
        way = ways.get(name)
        if isinstance(value, list | tuple):
            for at, one in enumerate(value, 1):
                found[f"{name}_{at}"] = way(one) if way else one
        else:
            found[name] = way(value) if way else value
    return found


def rows(db: Session, question: Question, **given: object) -> list[Row]:
    """Return what a question finds as plain rows, with these values put in.

    What the session was told before is written first, as ever.
    """
    db.flush()
    connection = db.connection()
    if any(isinstance(one, list) and not 0 < len(one) <= SEVERAL for one in given.values()):
        return list(connection.execute(question.words, given))
    worded = question.worded(connection.dialect, given)
    try:
        found = _asked(connection, worded.text, worded.values(given))
    except connection.dialect.loaded_dbapi.Error as fault:
        return _asked_again(connection, question, given, fault)
    return worded.read(found)


def first(db: Session, question: Question, **given: object) -> Row | None:
    """Return the first of what `rows` returns; None where nothing was found."""
    return next(iter(rows(db, question, **given)), None)


def values(db: Session, question: Question, **given: object) -> list[Any]:
    """Return the first column of what `rows` returns."""
    return [one[0] for one in rows(db, question, **given)]


def _asked(connection: Connection, text: str, values: Any) -> list[Sequence[object]]:
    about = (connection, None, text, values, None, False)
    # Whoever listens to what the database is asked hears of this too: `spent`, and tests.
    for hear in connection.dispatch.before_cursor_execute:
        hear(*about)
    found = connection.connection.driver_connection.execute(text, values).fetchall()
    connection.dispatch.after_cursor_execute(*about)
    return found


def _asked_again(
    connection: Connection, question: Question, given: Mapping[str, object], fault: Exception
) -> list[Row]:
    """Let SQLAlchemy ask: it knows what to do with a database that does not answer."""
    try:
        return list(connection.execute(question.words, given))
    except DBAPIError as again:
        again.orig = fault  # what it said first says why
        raise


def columns(*tables: type[SQLModel]) -> list[Column]:
    """Return all columns of these tables, one after another, as `joined` takes them apart."""
    return [column for table in tables for column in table.__table__.c]


def joined(
    db: Session, question: Question, *tables: type[SQLModel], **given: object
) -> list[tuple[Any, ...]]:
    """Return what `rows` does, a row of each of these tables, then whatever else was asked for.

    Where nothing was joined there is None instead of a row.
    """
    shapes = [_shape(table) for table in tables]
    return [tuple(_parts(one, shapes)) for one in rows(db, question, **given)]


def _parts(row: Row, shapes: Iterable[tuple[int, Callable]]) -> Iterator[Any]:
    at = 0
    for size, make in shapes:
        part = row[at : at + size]
        # The first column of each table of ours is its key.
        yield None if part[0] is None else make(part)
        at += size
    yield from row[at:]


@cache
def _shape(table: type[SQLModel]) -> tuple[int, Callable[[Any], Row]]:
    names = table.__table__.c.keys()
    return len(names), result_tuple(names)


def do(db: Session, deed: Insert, **given: object) -> None:
    """Write a row of a kind that is written often, after what the session was told before."""
    db.flush()
    db.connection().execute(deed, given)


def keep_answers(db: Session) -> None:
    """Let `once` keep what it reads: for a session of one page, which sees one state."""
    db.info["answers"] = {}


def once(db: Session, name: str, about: object, ask: Callable[[], Answer]) -> Answer:
    """Return the answer to a question; asked before in a session that keeps answers, that one.

    name, about  which question it is
    """
    kept = db.info.get("answers")
    if kept is None:
        return ask()
    if (name, about) not in kept:
        kept[name, about] = ask()
    return kept[name, about]
