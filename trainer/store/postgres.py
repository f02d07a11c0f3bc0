"""What is PostgreSQL's own: one database for the processes of many machines.

Readers see one snapshot (REPEATABLE READ, read only). Writers stand in one queue, whatever
process or machine they are of: an advisory lock is the first thing that a transaction takes, and
READ COMMITTED lets every later statement see what the writer before committed. A snapshot taken
while waiting for the lock would be older than the last entry, and the chain would fork.
PostgreSQL manual: 13.2 Transaction Isolation, 13.3.5 Advisory Locks.

Text and whole numbers behave as they do in SQLite: text is compared and ordered by code point
(which also keeps its indexes right when the operating system learns new rules of sorting), whole
numbers have 64 bits.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from time import monotonic
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    Connection,
    Engine,
    ExceptionContext,
    Integer,
    create_engine,
    event,
    inspect,
)
from sqlalchemy.dialects import registry
from sqlalchemy.dialects.postgresql.base import PGDDLCompiler, PGTypeCompiler
from sqlalchemy.dialects.postgresql.psycopg import PGDialect_psycopg
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, InterfaceError, NotSupportedError, OperationalError

from trainer.store.engine import NotEmpty

WRITERS = 29_191_0134
"""The number of the lock that writers take; it holds for one database."""

WAIT_MILLISECONDS = 15_000
"""So long whoever brings the tables to the newest migration waits for the turn."""

STUCK_MILLISECONDS = 60_000
"""A writer that says nothing for so long, such as one whose machine lost its network, is ended."""

CONNECT_SECONDS = 10

OUT_OF_RANGE = "22003"

NOT_SUPPORTED = "0A000"
"""Said of many things; by a standby of a transaction that may write (manual, Hot Standby)."""

# PostgreSQL manual, Appendix A: Error Codes; the longest beginning that is here counts.
_WHY = {
    "53100": "full",  # disk_full
    "53": "busy",  # insufficient resources, as too many connections
    "58": "disk",  # system error, as io_error
    "25006": "read-only",  # read_only_sql_transaction, where it is said in the middle of one
    "25P03": "busy",  # idle_in_transaction_session_timeout
    "55P03": "busy",  # lock_not_available
    "40": "busy",  # transaction rollback, as deadlock_detected
    "57014": "busy",  # query_canceled
    "57P": "away",  # the server goes down or comes up, or the connection was ended
    "08": "away",  # connection exception
    "28": "away",  # it does not let us in
    "3D": "away",  # there is no such database
    "XX001": "damaged",  # data_corrupted
    "XX002": "damaged",  # index_corrupted
}


def engines(url: str) -> tuple[Engine, Engine]:
    """Return what readers and what writers connect with."""
    engine = create_engine(
        make_url(url).set(drivername="postgresql+room"),
        # What people typed stands in no message of a fault.
        hide_parameters=True,
        # A server that was restarted, or a proxy that cut an idle connection, costs no request.
        pool_pre_ping=True,
        pool_recycle=1800,
        # As many as there are threads: one that waits for a connection while it holds another
        # could wait for itself.
        max_overflow=-1,
        connect_args={"connect_timeout": CONNECT_SECONDS},
    )
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    event.listen(engine, "handle_error", _say_as_sqlite)
    reader = engine.execution_options(
        isolation_level="REPEATABLE READ", postgresql_readonly=True
    )
    writer = engine.execution_options(
        isolation_level="READ COMMITTED", postgresql_readonly=False, writer=True
    )
    return reader, writer


def is_there(reader: Engine) -> bool:
    """Say whether the database has the tables of a record."""
    with reader.connect() as connection:
        return inspect(connection).has_table("entry")


@contextmanager
def migrating(_reader: Engine, writer: Engine) -> Iterator[Connection]:
    """Give the connection that the migrations run on, in the place of a writer.

    Of machines that start together one makes the tables, and the others find them made.
    Errors: NotSupportedError where the database cannot keep every letter.
    """
    with writer.connect() as connection:
        encoding = connection.exec_driver_sql("SHOW server_encoding").scalar()
        if encoding != "UTF8":
            why = f"its encoding is {encoding}, and names need UTF8"
            raise NotSupportedError(None, None, ValueError(why))
        yield connection


@contextmanager
def filling(reader: Engine, writer: Engine, set_aside: str) -> Iterator[Connection]:
    """Give the connection that makes the tables and fills them, all in one transaction.

    set_aside   what is there goes into a schema of this name; "" where nothing should be there
    Errors: NotEmpty where there is something all the same.
    """
    with migrating(reader, writer) as connection:
        if set_aside:
            schema = connection.exec_driver_sql("SELECT current_schema()").scalar_one()
            name, kept = map(connection.dialect.identifier_preparer.quote, (schema, set_aside))
            connection.exec_driver_sql(f"ALTER SCHEMA {name} RENAME TO {kept}")
            connection.exec_driver_sql(f"CREATE SCHEMA {name}")
        if set(inspect(connection).get_table_names()) - {"alembic_version"}:
            raise NotEmpty
        yield connection


def settle(connection: Connection) -> None:
    """Let new rows have the numbers that follow the largest of each table."""
    for table in inspect(connection).get_table_names():
        for column in inspect(connection).get_columns(table):
            if not str(column["default"] or "").startswith("nextval("):
                continue
            # Names of our own tables, as the database itself tells them.
            name, key = map(connection.dialect.identifier_preparer.quote, (table, column["name"]))
            connection.exec_driver_sql(
                f"SELECT setval(pg_get_serial_sequence('{name}', '{column['name']}'), "  # noqa: S608  # nosec B608
                f"greatest(max({key}), 1), max({key}) IS NOT NULL) FROM {name}"
            )


def _prepare(connection: Any, _record: Any) -> None:
    connection.server_cursor_factory = _streaming()


@cache
def _streaming() -> type:
    """Return a cursor that may be left in the middle of its rows.

    The driver warns of one that nobody closed; here it ends with its transaction, as every one
    does that a page or a command reads only in part.
    """
    from psycopg import ServerCursor

    return type("Streaming", (ServerCursor,), {"__del__": lambda _: None})


def _say_as_sqlite(context: ExceptionContext) -> None:
    """Say of a number larger than any the database can hold what SQLite's driver says."""
    if getattr(context.original_exception, "sqlstate", None) == OUT_OF_RANGE:
        raise OverflowError("the number is too large for the database")


def _begin(connection: Connection) -> None:
    options = connection.get_execution_options()
    if not options.get("writer"):
        return
    ends = options.get("ends")
    # Nought would mean to wait for ever.
    wait = WAIT_MILLISECONDS if ends is None else max(1, int(1000 * (ends - monotonic())))
    connection.exec_driver_sql(
        "SELECT set_config('synchronous_commit', 'on', true), "
        f"set_config('lock_timeout', '{wait}', true), "
        f"set_config('idle_in_transaction_session_timeout', '{STUCK_MILLISECONDS}', true)"
    )
    # A statement of its own: what comes after it sees what the writer before left.
    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS})")


def why(reader: Engine, fault: DBAPIError) -> str:
    """Return why PostgreSQL did not do what it was asked, as `Store.why` names it."""
    state = getattr(fault.orig, "sqlstate", None)
    if state is None:
        # It said nothing at all: there is no connection, or it broke.
        return "away" if isinstance(fault, OperationalError | InterfaceError) else ""
    if state == NOT_SUPPORTED:
        return "read-only" if _follows(reader) else ""
    return next((_WHY[state[:length]] for length in (5, 3, 2) if state[:length] in _WHY), "")


def _follows(reader: Engine) -> bool:
    """Say whether the server is a standby: it begins no transaction that may write."""
    try:
        with reader.connect() as connection:
            return connection.exec_driver_sql("SELECT pg_is_in_recovery()").scalar_one()
    except DBAPIError:
        return False


class Whole(BigInteger):
    """A whole number of 64 bits; the sum of such numbers comes back as one too.

    What is sent goes without a cast, as large as the driver finds it: one too large for a column
    finds no row, and functions that want a smaller one have it.
    """

    def result_processor(self, dialect: Any, coltype: Any) -> Any:
        """Return what makes a value of the database one of Python."""
        return lambda value: None if value is None else int(value)


class Types(PGTypeCompiler):
    """The names of types."""

    def visit_INTEGER(self, type_: Any, **_: Any) -> str:
        """Return the type of a whole number."""
        return "BIGINT"


class Ddl(PGDDLCompiler):
    """The words that make tables."""

    def get_column_specification(self, column: Column, **more: Any) -> str:
        """Return the description of a column; text is ordered by code point."""
        said = super().get_column_specification(column, **more)
        text = column.type.compile(self.dialect).startswith(("VARCHAR", "TEXT"))
        return f'{said} COLLATE "C"' if text else said


class Dialect(PGDialect_psycopg):
    """PostgreSQL by psycopg 3, with text and whole numbers as they are here."""

    supports_statement_cache = True
    ddl_compiler = Ddl
    type_compiler_cls = Types
    colspecs = {**PGDialect_psycopg.colspecs, Integer: Whole}  # noqa: RUF012


registry.register("postgresql.room", __name__, "Dialect")
