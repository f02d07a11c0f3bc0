"""The `donning-room` command itself: how it stops, its settings, the data folder."""

import os
import signal
import socket
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from trainer.config import Settings
    from trainer.store.engine import Store

BAD_USE, BROKEN = 2, 1
# What people type to listen everywhere: read here, never bound to by default.
ANY_ADDRESS = ("", "0.0.0.0", "::")  # noqa: S104  # nosec B104


class Stop(click.ClickException):
    """The command cannot go on; one sentence says why."""

    def __init__(self, sentence: str, exit_code: int = BAD_USE) -> None:
        super().__init__(sentence)
        self.exit_code = exit_code


WHERE = {
    "add-person": "record", "backup": "safekeeping", "booklet": "content", "calculate": "figures",
    "calculations": "figures", "check-content": "content", "draw": "figures",
    "exercises": "figures", "export-record": "record",
    "move-data": "safekeeping", "restore": "safekeeping", "serve": "serving",
    "verify-record": "record", "witness": "record",
}  # fmt: skip
"""The module of each command."""


class Commands(click.Group):
    """Commands whose faults are one sentence on standard error, and never a traceback."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands."""
        return sorted({*WHERE, *self.commands})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, its module imported."""
        if cmd_name in WHERE:
            import_module(f"trainer.cli.{WHERE[cmd_name]}")
        return super().get_command(ctx, cmd_name)

    def main(self, *args, **kwargs) -> None:
        """Run a command and leave with its exit code."""
        try:
            code = super().main(*args, **(kwargs | {"standalone_mode": False}))
        except click.ClickException as fault:
            click.echo(fault.format_message(), err=True)
            code = fault.exit_code
        except click.Abort:
            code = 128 + signal.SIGINT
        sys.exit(code if isinstance(code, int) else 0)


def data_option(command: Callable) -> Callable:
    """Give a command that touches the record its --data."""
    return click.option(
        "--data", type=click.Path(file_okay=False, path_type=Path), metavar="DIR",
        help="Folder that keeps the record (DONNING_ROOM_DATA; else donning-room-data).",
    )(command)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="donning-room", message="Donning Room %(version)s")
def commands() -> None:
    """Respirator training: lessons, exercises, watched practice and a record that can be proved.

    Settings come from environment variables that begin with DONNING_ROOM_; an option given
    here wins. DEVELOPERS.md lists them all.
    """


# Settings and the data folder.


def settings_of(**given: object) -> "Settings":
    from trainer import config

    try:
        return config.read(**given)
    except config.SettingsFault as fault:
        raise Stop(str(fault)) from None


@contextmanager
def record_of(
    settings: "Settings", *, make: bool = False, fault: int = BAD_USE
) -> Iterator["Store"]:
    """Give the database of an installation and close it; made and upgraded where asked for.

    fault   the exit code where it cannot be read
    """
    from sqlalchemy.exc import DatabaseError

    from trainer.store.engine import NewerRecord, Store

    if make:
        make_folder(settings.data)
    store = Store(settings.database_url, settings)
    try:
        if make:
            _upgrade(store, settings)
            _catch_up(store, settings)
        elif not store.is_there():
            raise Stop(f"There is no record in {settings.place}.")
        yield store
    except NewerRecord as newer:
        said = newer.sentence(f"The record in {settings.place}")
        raise Stop(f"{said} Or restore a backup made before it.", fault) from None
    except DatabaseError as broken:
        raise Stop(
            f"The record in {settings.place} cannot be read or written: "
            f"{' '.join(str(broken.orig).split())}. "
            "If an earlier version made it, start donning-room serve on it once.", fault
        ) from None
    finally:
        store.close()


def _upgrade(store: "Store", settings: "Settings") -> None:
    """Bring the tables to those of this program; of a SQLite record a copy is kept before."""
    from sqlalchemy.exc import OperationalError

    from trainer.services import safekeeping

    was = f"The record in {settings.place} was not upgraded, since no copy of it could be made"
    try:
        store.known_migration()  # of a newer one, no copy is made first
        kept = safekeeping.copy_before_upgrade(store, progress)
    except safekeeping.NotDone as fault:
        raise Stop(str(fault), BROKEN if fault.broken else BAD_USE) from None
    except OperationalError as fault:
        raise Stop(f"{was}: {fault.orig}.") from None
    except OSError as fault:
        raise Stop(f"{was}: {fault.strerror}.") from None
    if kept:
        click.echo(f"The record as it was before this version is kept in {kept}.", err=True)
    store.upgrade()


def _catch_up(store: "Store", settings: "Settings") -> None:
    """Work out anew the tag board's rows that an earlier version made; nothing where none did."""
    from datetime import UTC, datetime

    from trainer.services import standing

    done: int | None = 0
    while done is not None:
        with store.writing() as db:
            done = standing.catch_up(db, datetime.now(UTC), settings.zone, done)


def make_folder(folder: Path) -> None:
    """Make the data folder; whatever is put into it from now on is its owner's alone."""
    os.umask(0o077)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as fault:
        raise Stop(f"The folder {folder} cannot be made: {fault.strerror}.") from None
    if not os.access(folder, os.W_OK | os.X_OK):
        raise Stop(f"The folder {folder} cannot be written to.")


AT_ONCE = 1000
"""The progress bar moves after so many rows: to draw it takes longer than to check one."""


@contextmanager
def progress(label: str, length: int) -> Iterator[Callable[[int], None]]:
    """Show on standard error how far something is; give what is told how many rows are done."""
    waiting = 0
    with click.progressbar(length=length, label=label, file=sys.stderr) as bar:

        def step(done: int) -> None:
            nonlocal waiting
            waiting += done
            if waiting >= AT_ONCE:
                bar.update(waiting)
                waiting = 0

        yield step
        bar.update(waiting)


# Addresses and codes, as a person types them.


def address_of(settings: "Settings", port: int) -> str:
    """Return the address to type: the setting, or where the server listens."""
    if settings.address:
        return settings.address.rstrip("/")
    host = socket.gethostname() if settings.host in ANY_ADDRESS else settings.host
    scheme = "https" if settings.behind_tls else "http"
    return f"{scheme}://[{host}]:{port}" if ":" in host else f"{scheme}://{host}:{port}"


def enrol_address(address: str, number: str) -> str:
    from urllib.parse import urlencode

    return f"{address}/enrol?{urlencode({'number': number})}"


def spaced(code: str) -> str:
    return f"{code[:5]}-{code[5:]}"
