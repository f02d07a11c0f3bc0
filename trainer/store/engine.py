"""Open the database; read from it, write to it.

Whoever reads sees one state of the database; there is one writer at a time, of all threads,
processes and machines, and what it keeps is on the disk before a page acknowledges it. How a
database is brought to do so is said in `sqlite` and `postgres`.
"""

import errno
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import cache
from pathlib import Path
from time import monotonic
from types import ModuleType
from typing import TYPE_CHECKING

from sqlalchemy import Connection, inspect
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoConnection
from sqlmodel import Session, text

from trainer.running import metrics, turns
from trainer.running.turns import Busy, FairLock
from trainer.store import changes, spent, sqlite

if TYPE_CHECKING:
    from alembic.config import Config

    from trainer.config import Settings

MIGRATIONS = Path(__file__).parent / "migrations"

WAIT_SECONDS = 20.0
"""So long a writer waits for its turn, of all threads, processes and machines together."""

KEPT_OUT_SECONDS = 1.0
"""So long only, once somebody has waited in vain and nobody has had a turn since: every writer that
waits holds a thread of the server, and people could not even read."""

FULL, DISK, READ_ONLY, BUSY, AWAY, DAMAGED = (
    "full", "disk", "read-only", "busy", "away", "damaged"
)  # fmt: skip
"""Why the database did not do what it was asked, as `Store.why` says it."""

_NO_SPACE = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


class NotEmpty(Exception):
    """A record is to come into a database that holds tables already."""


class NewerRecord(Exception):
    """A record, or a backup, is of a form that only a newer version of this program knows.

    found   that form, such as `migration 9999`
    """

    def __init__(self, found: str) -> None:
        super().__init__(found)
        self.found = found

    def sentence(self, what: str) -> str:
        """Return the sentence that refuses it; `what` names it."""
        return (
            f"{what} was made by a newer version of this program: it is of {self.found}, which "
            "this version does not know. Use that version, or a newer one."
        )


@cache
def migrations() -> tuple[str, ...]:
    """Return the migrations that this program knows, the newest first; files begin with them."""
    found = (path.name[:4] for path in (MIGRATIONS / "versions").glob("[0-9]*.py"))
    return tuple(sorted(found, reverse=True))


def newest_migration() -> str:
    """Return the newest migration that this program knows."""
    return migrations()[0]


def known_migration(found: str) -> str:
    """Return a migration. Errors: NewerRecord for one that this program does not know."""
    if found not in migrations():
        raise NewerRecord(f"migration {found}")
    return found


def _migrations() -> "Config":
    # Whoever only reads or writes pays neither time nor memory for what migrates.
    from alembic.config import Config

    settings = Config()
    settings.set_main_option("script_location", str(MIGRATIONS))
    return settings


def _kind(url: str) -> ModuleType:
    """Return what is the database's own; PostgreSQL's is read where it is asked for alone."""
    if url.startswith("sqlite:"):
        return sqlite
    from trainer.store import postgres

    return postgres


class Store:
    """The database of one installation, for all threads of a process."""

    def __init__(self, url: str, settings: "Settings | None" = None) -> None:
        """Open the database at an address.

        settings    what this installation was started with, for whoever reads here; by default
                    what the environment says
        """
        self.url = url
        self.settings = settings
        self._kind = _kind(url)
        self._engine, self._writer = self._kind.engines(url)
        spent.listen(self._engine)
        self._turn = FairLock()
        self._kept_out = False  # has somebody waited in vain, and nobody had a turn since?

    def is_there(self) -> bool:
        """Say whether there is a record; asking makes none."""
        return self._kind.is_there(self._engine)

    @property
    def file(self) -> Path | None:
        """Return the file of the database, where it is one."""
        return Path(self._engine.url.database) if self._kind is sqlite else None

    def copy_into(self, file: Path) -> None:
        """Write the database, which is a file, as it is at this moment into another, empty one."""
        sqlite.copy_into(self._engine, file)

    def migration(self) -> str:
        """Return the migration that the tables are of; "" where there are none."""
        if not self.is_there():
            return ""
        with self._engine.connect() as connection:
            if not inspect(connection).has_table("alembic_version"):
                return ""
            found = connection.execute(text("SELECT version_num FROM alembic_version"))
            return found.scalar() or ""

    def known_migration(self) -> str:
        """Return the same. Errors: NewerRecord for one that this program does not know."""
        found = self.migration()
        return known_migration(found) if found else ""

    def upgrade(self, to: str = "head") -> None:
        """Bring the tables to the newest migration, or one named; harmless when they are there.

        Errors: NewerRecord where a newer program made them.
        """
        if to != "head" or self.known_migration() != newest_migration():
            self._migrate("upgrade", to)

    def downgrade(self, to: str = "base") -> None:
        """Bring the tables back to an older migration."""
        self._migrate("downgrade", to)

    def _migrate(self, way: str, to: str) -> None:
        from alembic import command

        settings = _migrations()
        with self._kind.migrating(self._engine, self._writer) as connection:
            settings.attributes["connection"] = connection
            getattr(command, way)(settings, to)
            connection.commit()

    @contextmanager
    def filling(self, migration: str, set_aside: str = "") -> Iterator[Connection]:
        """Give a connection on fresh tables as a migration left them, to bring a record in.

        set_aside   a name, on PostgreSQL: what is there is kept under it, out of the way
        All of it is kept at the end, or nothing. Once it is in, `settle`.
        """
        from alembic import command

        settings = _migrations()
        with self._kind.filling(self._engine, self._writer, set_aside) as connection:
            settings.attributes["connection"] = connection
            command.upgrade(settings, migration)
            yield connection
            connection.commit()

    def settle(self, connection: Connection) -> None:
        """Let new rows go on from the last numbers of those that were brought in.

        Errors: IntegrityError for a row that points nowhere.
        """
        self._kind.settle(connection)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Give a session that sees one state of the database and changes nothing."""
        with Session(
            self._engine, expire_on_commit=False, info={"started_with": self.settings}
        ) as session:
            yield session
            # Else the end of it would empty the rows that a page still shows.
            session.expunge_all()

    @contextmanager
    def writing(
        self, by: changes.By | None = None, seconds: float | None = None
    ) -> Iterator[Session]:
        """Give a session whose changes are all kept at the end, durably, or none of them.

        by      who changes something, for the log; nobody where it is not done on a page
        seconds how long to wait for the turn; by default WAIT_SECONDS
        Errors: whatever `why` tells, such as Busy where the turn does not come in time.
        """
        # Others make pages meanwhile; nobody waits for them with the writers' turn in hand.
        with turns.waiting(), ExitStack() as turn:
            session = self._begin(turn, seconds)
            changes.begin(session, by)
            yield session
            session.commit()
            metrics.committed()

    def _begin(self, turn: ExitStack, seconds: float | None) -> Session:
        """Wait for the turn and return its session."""
        asked, patience = monotonic(), self._patience() if seconds is None else seconds
        try:
            turn.enter_context(self._turn.taken(patience))
            session = turn.enter_context(Session(
                # Whatever the queue of this process took is no longer there to wait for another.
                self._writer.execution_options(ends=asked + patience),
                expire_on_commit=False,
                info={"started_with": self.settings},
            ))  # fmt: skip
            session.connection()  # begins here, where the writers of other processes are waited for
        except (Busy, DBAPIError) as fault:
            # Whoever meant to wait for a moment only has not waited in vain.
            self._kept_out |= seconds is None and self.why(fault) == BUSY
            raise
        self._kept_out = False
        metrics.waited(monotonic() - asked)
        return session

    def _patience(self) -> float:
        """Return how many seconds a writer waits who comes now."""
        return min(KEPT_OUT_SECONDS, WAIT_SECONDS) if self._kept_out else WAIT_SECONDS

    def why(self, fault: BaseException) -> str:
        """Return why the database did not do what it was asked, or "" for any other fault.

        full: the disk has no room; disk: it takes or gives nothing, for another reason;
        read-only: it takes nothing; busy: somebody else wrote for too long; away: there is no
        answer; damaged: what lies there cannot be read. Except with the last one everything goes
        on by itself once that is cured, and nothing that was kept is lost.
        """
        if isinstance(fault, Busy | NoConnection):
            return BUSY
        if isinstance(fault, DBAPIError):
            return self._kind.why(self._engine, fault)
        if isinstance(fault, OSError) and fault.errno in _NO_SPACE:
            return FULL
        return READ_ONLY if isinstance(fault, OSError) and fault.errno == errno.EROFS else ""

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()
