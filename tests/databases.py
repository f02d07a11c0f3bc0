"""Fresh databases for tests, quickly: each is a copy of one that was made once.

SQLite is a file that is copied. PostgreSQL is a cluster of its own in a temporary folder, where a
fresh database is a copy of a template. It never waits for a disk, except where what outlives a
crash is what is tested or measured: that is the kind DURABLE.
"""

import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Callable
from itertools import count
from pathlib import Path
from time import monotonic, sleep

import pytest
from sqlalchemy.engine import make_url

from trainer.store.engine import Store

BOTH = ("sqlite", "postgresql")
DURABLE = "postgresql, durable"
SUPERUSER = "tests"
PATIENCE = 60  # seconds until a server answers, on a busy machine
# What nobody reads after a loss of power need not be on the disk, nor be made ready for a standby;
# few buffers and little log, since all of it is in memory.
HURRIED = ("fsync=off", "full_page_writes=off", "synchronous_commit=off", "wal_level=minimal",
           "max_wal_senders=0", "autovacuum=off", "shared_buffers=32MB", "min_wal_size=32MB",
           "max_wal_size=96MB")  # fmt: skip
IN_MEMORY = Path("/dev/shm")
ROOM = 2**31  # bytes that must be free there: a database takes 11 MB, and there are a few
FILE_COPY_SINCE = 15_00_00  # the version of PostgreSQL in which a copy is a copy of files if asked
# initdb refuses root; what the machine's own package calls its user comes first.
OTHERS = ("postgres", "nobody")


class Files:
    """Databases of SQLite."""

    def address(self, folder: Path) -> str:
        """Return the address of a database that belongs to a folder."""
        return f"sqlite:///{folder / 'record.sqlite'}"

    def copy(self, template: str, address: str) -> None:
        """Make a database as a copy of another that nobody has open."""
        shutil.copy(*(one.removeprefix("sqlite:///") for one in (template, address)))

    def create(self, address: str) -> None:
        """Make nothing: a file comes with the first table."""

    def drop(self, address: str) -> None:
        """Forget a database; its folder goes with the test."""

    def drop_trigger(self, name: str, table: str) -> str:
        """Return the statement with which a hand at the database takes a trigger off."""
        return f"DROP TRIGGER {name}"

    def close(self) -> None:
        """End."""


class Cluster:
    """Databases of PostgreSQL, in a server of their own that listens on a socket alone."""

    def __init__(self, durable: bool) -> None:
        """Make a cluster and start its server; only where there is none, skip.

        durable     what it acknowledges is on the disk, as on any machine
        """
        self._programs = _programs()
        self._durable = durable
        # Not pytest's own folder: another user must reach it, and a socket's path must be short.
        self.folder = Path(tempfile.mkdtemp(prefix="room-", dir=None if durable else _memory()))
        self._as = _another_user(self.folder)
        self._numbers = count(1)
        self.data = self.folder / "data"
        made = subprocess.run(
            [*self._as, str(self._programs / "initdb"), "-D", str(self.data), "-U", SUPERUSER,
             "-A", "trust", "-E", "UTF8", "--no-locale", "--no-instructions"],
            cwd=self.folder, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert made.returncode == 0, made.stderr
        self.start()

    def start(self) -> None:
        """Start the server; it ends with this process, however that ends."""
        log = (self.folder / "log").open("a")
        settings = ("listen_addresses=", *(() if self._durable else HURRIED))
        self._server = subprocess.Popen(
            [*self._as, *_with_us(), str(self._programs / "postgres"), "-D", str(self.data),
             "-k", str(self.folder), *(word for one in settings for word in ("-c", one))],
            cwd=self.folder, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=log,
        )  # fmt: skip
        log.close()
        ends = monotonic() + PATIENCE
        while not self._answers():
            assert self._server.poll() is None and monotonic() < ends, self._log()
            sleep(0.05)

    def crash(self) -> None:
        """End the server as a loss of power does, without a last word."""
        self._server.send_signal(signal.SIGQUIT)
        self._server.wait()

    def stand_by(self) -> None:
        """Let the server be a standby, which waits for another to lead and is only read."""
        self.crash()
        (self.data / "standby.signal").touch()
        self.start()

    def lead(self) -> None:
        """Let the server take what is written again."""
        self.crash()
        (self.data / "standby.signal").unlink()
        self.start()

    def address(self, _folder: Path | None = None) -> str:
        """Return the address of a database that is not there yet."""
        return self._address(f"room_{next(self._numbers)}")

    def copy(self, template: str, address: str) -> None:
        """Make a database as a copy of another that nobody has open."""
        # By the log of changes each page is written twice; by files the disk is waited for.
        by_files = not self._durable and self._version >= FILE_COPY_SINCE
        self._admin(
            f"CREATE DATABASE {_name(address)} TEMPLATE {_name(template)}"
            f"{' STRATEGY FILE_COPY' if by_files else ''}"
        )

    def create(self, address: str, more: str = "") -> None:
        """Make an empty database."""
        self._admin(f"CREATE DATABASE {_name(address)} TEMPLATE template0 {more}")

    def drop(self, address: str) -> None:
        """Drop a database, whoever still has it open."""
        self._admin(f"DROP DATABASE IF EXISTS {_name(address)} WITH (FORCE)")

    def drop_trigger(self, name: str, table: str) -> str:
        """Return the statement with which a hand at the database takes a trigger off."""
        return f"DROP TRIGGER {name} ON {table}"

    def close(self) -> None:
        """End the server and forget all its databases."""
        self.crash()
        shutil.rmtree(self.folder)

    def _address(self, name: str) -> str:
        return f"postgresql://{SUPERUSER}@/{name}?host={self.folder}"

    def _admin(self, statement: str) -> None:
        import psycopg

        with psycopg.connect(self._address("postgres"), autocommit=True) as connection:
            connection.execute(statement)
            self._version = connection.info.server_version

    def _answers(self) -> bool:
        import psycopg

        try:
            self._admin("SELECT 1")
        except psycopg.OperationalError:
            return False
        return True

    def _log(self) -> str:
        log = self.folder / "log"
        return log.read_text() if log.is_file() else ""


class Databases:
    """Both kinds, and what of them was made once."""

    def __init__(self) -> None:
        self._kinds: dict[str, Files | Cluster] = {}
        self._templates: dict[tuple[str, str], str] = {}

    def of(self, kind: str) -> Files | Cluster:
        """Return the databases of a kind; the server of PostgreSQL starts when it is needed."""
        if kind not in self._kinds:
            self._kinds[kind] = Files() if kind == "sqlite" else Cluster(durable=kind == DURABLE)
        return self._kinds[kind]

    def fresh(self, kind: str, folder: Path) -> Store:
        """Return a database of its own with all its tables, empty."""
        address = self.of(kind).address(folder)
        self.of(kind).create(address)
        store = Store(address)
        store.upgrade()
        return store

    def template(self, kind: str, name: str, folder: Path, fill: Callable[[Store], None]) -> str:
        """Return the address of a database that is filled once and then only copied."""
        found = self._templates.get((kind, name))
        if found is None:
            store = self.fresh(kind, folder)
            fill(store)
            store.close()
            found = self._templates[kind, name] = store.url
        return found

    def close(self) -> None:
        """End whatever was started."""
        for kind in self._kinds.values():
            kind.close()


def durable(kind: str) -> str:
    """Return the kind of database whose commits outlive a loss of power; SQLite's always do."""
    return kind if kind == "sqlite" else DURABLE


def _memory() -> Path | None:
    """Return a folder that is kept in memory alone, with room; None where there is none."""
    there = IN_MEMORY.is_dir() and os.access(IN_MEMORY, os.W_OK)
    return IN_MEMORY if there and shutil.disk_usage(IN_MEMORY).free > ROOM else None


def _programs() -> Path:
    """Return the folder of initdb and postgres, the newest; without one, skip."""
    packaged = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda one: int(one.parts[-3])
    )
    found = packaged[-1] if packaged else shutil.which("initdb")
    if found is None:
        # Nothing is skipped in CI: a job that nobody did there would count as done.
        refuse = pytest.fail if os.environ.get("CI") == "true" else pytest.skip
        refuse("no PostgreSQL on this machine: apt-get install postgresql")
    return Path(found).resolve().parent


def _another_user(folder: Path) -> list[str]:
    """Return the words before a command that run it as nobody in particular, where we are root."""
    if os.geteuid() != 0:
        return []
    import pwd

    known = {one.pw_name for one in pwd.getpwall()}
    user = next(one for one in OTHERS if one in known)
    shutil.chown(folder, user)
    return ["setpriv", f"--reuid={user}", f"--regid={pwd.getpwnam(user).pw_gid}", "--clear-groups"]


def _with_us() -> list[str]:
    """Return the words before a command that end it when this process is gone, on Linux."""
    return ["setpriv", "--pdeathsig=INT"] if shutil.which("setpriv") else []


def _name(address: str) -> str:
    return make_url(address).database
