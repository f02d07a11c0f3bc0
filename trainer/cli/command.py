"""The `donning-room` command itself: how it stops, its settings, the data folder."""

import os
import signal
import socket
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from trainer.config import Settings
    from trainer.store.engine import Store

BAD_USE, BROKEN = 2, 1
ANY_ADDRESS = ("", "0.0.0.0", "::")  # noqa: S104


class Stop(click.ClickException):
    """The command cannot go on; one sentence says why."""

    def __init__(self, sentence: str, exit_code: int = BAD_USE) -> None:
        super().__init__(sentence)
        self.exit_code = exit_code


class Commands(click.Group):
    """Commands whose faults are one sentence on standard error, and never a traceback."""

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
    """Give the database of the data folder and close it; made and upgraded where asked for.

    fault   the exit code where it cannot be read
    """
    from sqlalchemy.exc import DatabaseError

    from trainer.store.engine import Store

    if make:
        _make_folder(settings.data)
    elif not (settings.data / "record.sqlite").is_file():
        raise Stop(f"There is no record in the folder {settings.data}.")
    store = Store(settings.database_url)
    try:
        if make:
            store.upgrade()
        yield store
    except DatabaseError as broken:
        raise Stop(
            f"The record in the folder {settings.data} cannot be read or written: {broken.orig}. "
            "If an earlier version made it, start donning-room serve on it once.", fault
        ) from None
    finally:
        store.close()


def _make_folder(folder: Path) -> None:
    """Make the data folder; whatever is put into it from now on is its owner's alone."""
    os.umask(0o077)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as fault:
        raise Stop(f"The folder {folder} cannot be made: {fault.strerror}.") from None
    if not os.access(folder, os.W_OK | os.X_OK):
        raise Stop(f"The folder {folder} cannot be written to.")


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
