"""What is SQLite's own: the database in the data folder.

Its driver would start transactions late and upgrade them in the middle, where waiting does not
help; so the program says itself when one begins: `BEGIN` to read, `BEGIN IMMEDIATE` to write.
Commits are durable (synchronous=FULL) before a page acknowledges them.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from time import monotonic, sleep

from sqlalchemy import Connection, Engine, ExceptionContext, create_engine, event
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError
from sqlalchemy.pool import NullPool

try:
    import fcntl
except ImportError:  # on Windows, where one process answers
    fcntl = None

BUSY_MILLISECONDS = 15_000

AGAIN_SECONDS = 0.001
"""After so long a writer looks again. SQLite itself looks more and more seldom, up to every 100 ms,
so that whoever has waited longest would come last."""

LITTLE_ROOM = 2**20
"""Bytes: with less than that the disk is full, whatever SQLite says of its fault."""

# Result codes, https://www.sqlite.org/rescode.html
_WHY = {
    sqlite3.SQLITE_FULL: "full",
    sqlite3.SQLITE_IOERR: "disk",
    sqlite3.SQLITE_READONLY: "read-only",
    sqlite3.SQLITE_PERM: "read-only",
    sqlite3.SQLITE_BUSY: "busy",
    sqlite3.SQLITE_LOCKED: "busy",
    sqlite3.SQLITE_PROTOCOL: "busy",
    sqlite3.SQLITE_CANTOPEN: "away",
    sqlite3.SQLITE_CORRUPT: "damaged",
    sqlite3.SQLITE_NOTADB: "damaged",
}


def engines(url: str) -> tuple[Engine, Engine]:
    """Return what readers and what writers connect with."""
    # What people typed stands in no message of a fault. As many connections as there are threads,
    # as on PostgreSQL.
    engine = create_engine(url, hide_parameters=True, max_overflow=-1)
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    event.listen(engine, "handle_error", _let_go)
    folder = os.path.dirname(os.path.abspath(engine.url.database)) if engine.url.database else ""
    return engine, engine.execution_options(writer=True, folder=folder)


def is_there(reader: Engine) -> bool:
    """Say whether there is a database; asking makes none."""
    return Path(reader.url.database or "").is_file()


@contextmanager
def migrating(reader: Engine, _writer: Engine) -> Iterator[Connection]:
    """Give the connection that the migrations run on."""
    with reader.connect() as connection:
        # Batch mode rebuilds tables; with foreign keys on, that would empty their children.
        # The pragma has no effect inside a transaction, so it stands on the raw connection.
        connection.connection.driver_connection.execute("PRAGMA foreign_keys=OFF")
        try:
            yield connection
        finally:
            connection.connection.driver_connection.execute("PRAGMA foreign_keys=ON")


@contextmanager
def filling(reader: Engine, writer: Engine, _set_aside: str) -> Iterator[Connection]:
    """Give the connection that fills a file which nobody knows of yet.

    A kill in the middle leaves a file without a name of ours, so nothing in it need be kept
    before it is whole: whoever gives it its name sees to it that it is on the disk.
    Errors: IntegrityError for a row that points nowhere.
    """
    with migrating(reader, writer) as connection:
        raw = connection.connection.driver_connection
        for pragma in ("journal_mode=MEMORY", "synchronous=OFF"):
            raw.execute(f"PRAGMA {pragma}")
        yield connection


def settle(connection: Connection) -> None:
    """See to it that rows point to rows; new numbers follow the largest by themselves.

    Errors: IntegrityError for a row that points nowhere.
    """
    lost = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    if lost:
        why = f"a row of {lost[0]} points to no row of {lost[2]}"
        raise IntegrityError(None, None, ValueError(why))


def copy_into(reader: Engine, file: Path) -> None:
    """Write the database as it is at this moment into an empty file, while others go on writing.

    VACUUM INTO reads one state of the database from beginning to end; the page-by-page backup
    would begin anew whenever another process writes. It also leaves out the pages of rows that
    are gone, so that what was let go does not travel along, and makes one file without a
    journal beside it.
    Errors: OperationalError, such as for a full disk.
    """
    with reader.connect() as connection:
        try:
            connection.connection.driver_connection.execute("VACUUM INTO ?", (str(file),))
        except sqlite3.Error as fault:
            raise OperationalError(None, None, fault) from None


@contextmanager
def reading_file(file: Path) -> Iterator[Connection]:
    """Give a connection that reads a file which was kept, and changes nothing in it."""
    with _opened(f"{file.resolve().as_uri()}?mode=ro") as connection:
        raw = connection.connection.driver_connection
        # What somebody wrote into its tables is looked at and never run.
        for pragma in ("trusted_schema=OFF", "cell_size_check=ON", "query_only=ON"):
            raw.execute(f"PRAGMA {pragma}")
        yield connection


@contextmanager
def writing_file(file: Path) -> Iterator[Connection]:
    """Give a connection that writes into a file that has no name of its own yet."""
    with _opened(file.resolve().as_uri()) as connection:
        yield connection
        connection.commit()


@contextmanager
def _opened(address: str) -> Iterator[Connection]:
    engine = create_engine(
        "sqlite://", poolclass=NullPool, creator=lambda: sqlite3.connect(address, uri=True)
    )
    with engine.connect() as connection:
        yield connection


def flaw(connection: Connection) -> str:
    """Return what is wrong with the pages of a file, or "" where they are as SQLite wrote them."""
    found = connection.exec_driver_sql("PRAGMA integrity_check(1)").scalar_one()
    return "" if found == "ok" else str(found)


@contextmanager
def alone(file: Path) -> Iterator[bool]:
    """Say whether nobody else has a database open; if so, nobody else writes until the end.

    Everything is in the one file then: in WAL mode SQLite lets go of the journal beside it only
    for the last one there, and whoever comes meanwhile cannot take it up again.
    """
    connection = sqlite3.connect(file, isolation_level=None, timeout=0.5)
    try:
        free = connection.execute("PRAGMA journal_mode=DELETE").fetchone()[0] == "delete"
        connection.execute("BEGIN IMMEDIATE")
    except sqlite3.OperationalError:
        free = False
    except sqlite3.DatabaseError:
        free = True  # what is no database any more is nobody's
    try:
        yield free
    finally:
        connection.close()


def _prepare(connection, _record) -> None:
    connection.isolation_level = None
    for pragma in (
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
        f"busy_timeout={BUSY_MILLISECONDS}",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection) -> None:
    options = connection.get_execution_options()
    if not options.get("writer"):
        connection.exec_driver_sql("BEGIN")
        return
    ends = options.get("ends", monotonic() + BUSY_MILLISECONDS / 1000)
    with _next_in_turn(options["folder"], ends):
        _begin_to_write(connection, ends)


@contextmanager
def _next_in_turn(folder: str, ends: float) -> Iterator[None]:
    """Let one writer of all processes at a time ask for the database, until `ends` at most.

    Else a process whose threads queue for it would begin again as soon as it ends, and those of
    another would never find it free. The lock is on the folder and the system's own: it goes with
    a process that is killed, and makes no file.
    """
    with _opened_folder(folder) as place:
        while place is not None and not _locked(place) and monotonic() < ends:
            sleep(AGAIN_SECONDS)
        yield


@contextmanager
def _opened_folder(folder: str) -> Iterator[int | None]:
    """Open a folder to lock it; None where it cannot be, and nobody waits for it."""
    place = None
    if fcntl is not None and folder:
        with suppress(OSError):
            place = os.open(folder, os.O_RDONLY)
    try:
        yield place
    finally:
        if place is not None:
            os.close(place)


def _locked(place: int) -> bool:
    """Lock an open folder, unless another has; a file system without locks keeps nobody."""
    try:
        fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True


def _begin_to_write(connection: Connection, ends: float) -> None:
    raw = connection.connection.driver_connection
    raw.execute("PRAGMA busy_timeout=0")
    try:
        while not _begun(raw) and monotonic() < ends:
            sleep(AGAIN_SECONDS)
        if not raw.in_transaction:
            connection.exec_driver_sql("BEGIN IMMEDIATE")  # once more, to be told why not
    finally:
        with suppress(sqlite3.ProgrammingError):  # of a connection that was closed for its fault
            raw.execute(f"PRAGMA busy_timeout={BUSY_MILLISECONDS}")


def _begun(raw: sqlite3.Connection) -> bool:
    """Begin to write, and say whether there is nothing to wait for."""
    try:
        raw.execute("BEGIN IMMEDIATE")
    except sqlite3.OperationalError as fault:
        return _WHY.get(_code(fault) & 0xFF) != "busy"
    return True


def why(reader: Engine, fault: DBAPIError) -> str:
    """Return why SQLite did not do what it was asked, as `Store.why` names it."""
    code = _code(fault.orig)
    said = _WHY.get(code & 0xFF, "")
    if code == sqlite3.SQLITE_READONLY_DBMOVED:
        return "away"
    if said not in ("disk", "away"):
        return said
    # Of a file beside its own that cannot be made or made larger it says only that, not why.
    path = Path(reader.url.database or "")
    try:
        there = os.statvfs(path.parent)
    except (OSError, AttributeError):  # no such folder; Windows tells none of it
        return said
    if there.f_bavail * there.f_frsize < LITTLE_ROOM:
        return "full"
    if path.is_file() and (there.f_flag & os.ST_RDONLY or not os.access(path.parent, os.W_OK)):
        return "read-only"
    return said


def _code(fault: BaseException | None) -> int:
    return getattr(fault, "sqlite_errorcode", 0)


def _let_go(context: ExceptionContext) -> None:
    """Open the files anew after a fault of theirs: what is open may be closed to writing for good.

    A database that was put back under the same name, or a disk that can be written again, would
    otherwise not be seen before the next start.
    """
    if _WHY.get(_code(context.original_exception) & 0xFF) in (
        "disk", "read-only", "away", "damaged"
    ):  # fmt: skip
        context.is_disconnect = True
        # Closed with a statement still known to somebody, it would go on holding up every writer.
        if context.connection is not None:
            with suppress(sqlite3.Error):
                context.connection.connection.driver_connection.rollback()
