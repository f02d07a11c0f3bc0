"""Backups of the record, their way back, and the move to PostgreSQL."""

import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trainer.cli.command import (
    BAD_USE,
    BROKEN,
    Stop,
    commands,
    data_option,
    make_folder,
    progress,
    record_of,
    settings_of,
)

if TYPE_CHECKING:
    from trainer.services.safekeeping import Note
    from trainer.services.sealing import Keys, Lock

# The name of a variable, and no secret.
PASSPHRASE = "DONNING_ROOM_BACKUP_PASSPHRASE"  # noqa: S105  # nosec B105
FILE = click.Path(path_type=Path)
READABLE = click.Path(dir_okay=False, path_type=Path)

passphrase_file = click.option(
    "--passphrase-file", type=READABLE, metavar="FILE",
    help=f"File whose first line is the passphrase (else {PASSPHRASE}, else you are asked).",
)


@commands.command(short_help="Keep a checked copy of the record, also while it is in use.")
@click.argument("file", type=FILE)
@click.option("--replace", is_flag=True, help="Let it take the place of a file of this name.")
@click.option("--encrypt", is_flag=True, help="Encrypt it with a passphrase.")
@click.option("--recipient", "recipients", multiple=True, metavar="KEY",
              help="Encrypt it for a public key (age1...); may be given more than once.")
@passphrase_file
@data_option
def backup(
    file: Path, replace: bool, encrypt: bool, recipients: tuple[str, ...],
    passphrase_file: Path | None, data: Path | None,
) -> None:
    """Write the whole record as of one moment into FILE and check it.

    In a folder it gets a name with the day and the time. It holds names, medical clearances and
    who failed what: encrypt it wherever it leaves this machine. docs/safekeeping.md says more.
    """
    from trainer.services import safekeeping

    lock = _lock(encrypt or passphrase_file is not None, recipients, passphrase_file)
    if file.is_dir():
        file /= f"donning-room-{datetime.now(UTC):%Y-%m-%dT%H%M%SZ}{_ending(lock)}"
    settings = settings_of(data=data)
    with record_of(settings, fault=BROKEN) as store, _faults(f"The backup {file} cannot be made"):
        if lock:
            make_folder(settings.data)
        note, noted = safekeeping.backup(
            store, file, settings.data, progress, lock=lock, over=replace
        )
    click.echo(f"The record in {settings.place} is kept in {file}.")
    _tell(note)
    click.echo("It is encrypted." if lock else "It is not encrypted: whoever has it can read it.")
    if not noted:
        click.echo("The record itself does not tell of this backup: it was being written to, or is "
                   "of another version.", err=True)
    click.echo("To check the record against it later:")
    click.echo(f"donning-room verify-record --since {note.last_hash}")


@commands.command(short_help="Make a backup the record, where there is none.")
@click.argument("file", type=FILE)
@click.option("--set-aside", is_flag=True,
              help="Move a record that is there out of the way first; it is kept.")
@click.option("--identity", type=READABLE, metavar="FILE",
              help="File with the secret key (AGE-SECRET-KEY-1...) that opens it.")
@passphrase_file
@data_option
def restore(
    file: Path, set_aside: bool, identity: Path | None, passphrase_file: Path | None,
    data: Path | None,
) -> None:
    """Make the backup FILE the record of the data folder, or of the PostgreSQL database set.

    Everything is checked before it becomes the record. End donning-room serve first.
    """
    from trainer.services import safekeeping
    from trainer.store.engine import Store

    settings = settings_of(data=data)
    keys = _keys(file, identity, passphrase_file)
    make_folder(settings.data)
    store = Store(settings.database_url, settings)
    try:
        with _faults(f"The backup {file} cannot be restored"):
            note, aside = safekeeping.restore(
                store, file, settings.data, progress, keys=keys, place=settings.place,
                set_aside=set_aside,
            )
    finally:
        store.close()
    click.echo(f"The backup {file} is the record in {settings.place} now.")
    _tell(note)
    if aside:
        where = f"the folder {settings.data / aside}" if store.file else f'the schema "{aside}"'
        click.echo(f"What was there before is kept in {where}.")
    click.echo("Everybody signs in again. Devices that were ended since the backup was made are "
               "not ended in it: end them again.")


@commands.command("move-data", short_help="Bring a SQLite record to PostgreSQL.")
@click.option("--to", "address", metavar="URL",
              help="PostgreSQL database, empty (else DONNING_ROOM_DATABASE_URL).")
@data_option
def move_data(address: str | None, data: Path | None) -> None:
    """Bring the record of the data folder to PostgreSQL, compare every row and verify the chain.

    End donning-room serve first. The SQLite file is kept under another name. A password belongs
    into the environment or a password file, since everybody on this machine can read a command.
    """
    from trainer.config import SQLITE_FILE
    from trainer.services import safekeeping
    from trainer.store.engine import Store

    settings = settings_of(data=data, database_url=address)
    if settings.database_url.startswith("sqlite:"):
        raise Stop("Say which PostgreSQL database the record goes to, with --to or with "
                   "DONNING_ROOM_DATABASE_URL.")
    file, store = settings.data / SQLITE_FILE, Store(settings.database_url, settings)
    try:
        with _faults("The record cannot be moved"):
            note, kept = safekeeping.move(file, store, progress, place=settings.place)
    finally:
        store.close()
    click.echo(f"The record in {file} is in {settings.place} now.")
    _tell(note)
    click.echo(f"The file is kept as {kept}; nothing is written there any more.")
    click.echo("Set DONNING_ROOM_DATABASE_URL to that database wherever the program starts.")


def _tell(note: "Note") -> None:
    click.echo(f"As of {note.made_at.replace('T', ' ')[:16]} UTC, {note.entries} entries, "
               f"migration {note.migration}.")
    click.echo(f"Last hash: {note.last_hash}")


@contextmanager
def _faults(what: str) -> Iterator[None]:
    """Say in one sentence why something could not be done."""
    from sqlalchemy.exc import DatabaseError

    from trainer.services.safekeeping import NotDone

    try:
        yield
    except NotDone as fault:
        raise Stop(str(fault), BROKEN if fault.broken else BAD_USE) from None
    except DatabaseError as fault:
        raise Stop(f"{what}: {' '.join(str(fault.orig).split())}.", BROKEN) from None
    except sqlite3.Error as fault:
        raise Stop(f"{what}: {fault}.", BROKEN) from None
    except OSError as fault:
        raise Stop(f"{what}: {fault.strerror}.") from None


def _ending(lock: "Lock | None") -> str:
    if lock is None:
        return ".sqlite"
    return ".zip" if lock.passphrase else ".sqlite.age"


def _lock(encrypt: bool, recipients: tuple[str, ...], file: Path | None) -> "Lock | None":
    from trainer.services import sealing

    if not encrypt and not recipients:
        return None
    try:
        return sealing.Lock(_passphrase(file, twice=True) if encrypt else "", recipients)
    except sealing.Unopened as fault:
        raise Stop(str(fault)) from None


def _keys(file: Path, identity: Path | None, passphrase_file: Path | None) -> "Keys":
    """Return what opens a backup; a passphrase is asked for where it needs one."""
    from trainer.services import sealing

    if not file.is_file():
        raise Stop(f"There is no file {file}.")
    begins = sealing.kind(file)
    if begins == sealing.ZIP:
        return sealing.Keys(passphrase=_passphrase(passphrase_file, twice=False))
    if begins == sealing.AGE and identity:
        return sealing.Keys(identities=_read(identity))
    return sealing.Keys()


def _passphrase(file: Path | None, *, twice: bool) -> str:
    """Return the passphrase: of a file, of the environment, or asked for and not shown."""
    if file:
        return _read(file).split("\n", 1)[0].strip()
    if given := os.environ.get(PASSPHRASE):
        return given
    if not sys.stdin.isatty():
        raise Stop(f"There is no passphrase: set {PASSPHRASE}, or name a file with "
                   "--passphrase-file.")
    return click.prompt("Passphrase", hide_input=True, confirmation_prompt=twice, err=True)


def _read(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except OSError as fault:
        raise Stop(f"The file {file} cannot be read: {fault.strerror}.") from None
    except UnicodeDecodeError:
        raise Stop(f"The file {file} is no text.") from None
