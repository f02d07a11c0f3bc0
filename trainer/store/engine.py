"""Open the database; read from it, write to it.

SQLite's driver would start transactions late and upgrade them in the middle, where waiting
does not help; so the program says itself when one begins: `BEGIN` to read, `BEGIN IMMEDIATE`
to write. Commits are durable (synchronous=FULL) before a page acknowledges them.
"""

from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Lock

from alembic import command
from alembic.config import Config
from sqlalchemy import Engine, create_engine, event
from sqlmodel import Session

MIGRATIONS = Path(__file__).parent / "migrations"
BUSY_MILLISECONDS = 15_000


class FairLock:
    """A lock that is given in the order it was asked for, so that no writer starves."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._waiting: deque[Lock] = deque()
        self._held = False

    def __enter__(self) -> None:
        with self._guard:
            if not self._held:
                self._held = True
                return
            turn = Lock()
            turn.acquire()
            self._waiting.append(turn)
        turn.acquire()

    def __exit__(self, *_: object) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._held = False


class Store:
    """The database of one installation, for all threads of a process."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._engine = _open(url)
        self._writer = self._engine.execution_options(writer=True)
        self._turn = FairLock()

    def upgrade(self) -> None:
        """Bring the tables to the newest migration; harmless when they are there."""
        settings = Config()
        settings.set_main_option("script_location", str(MIGRATIONS))
        settings.attributes["engine"] = self._engine
        command.upgrade(settings, "head")

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Give a session that sees one state of the database and changes nothing."""
        with Session(self._engine, expire_on_commit=False) as session:
            yield session
            # A rollback would empty the rows that a page still shows.
            session.expunge_all()
            session.rollback()

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Give a session whose changes are all kept at the end, durably, or none of them."""
        with self._turn, Session(self._writer, expire_on_commit=False) as session:
            yield session
            session.commit()

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()


def _open(url: str) -> Engine:
    engine = create_engine(url)
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


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
    writer = connection.get_execution_options().get("writer")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writer else "BEGIN")
