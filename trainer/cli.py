"""The donning-room command.

Each command imports what it needs when it runs, so that `--help` and `--version` are quick.
"""

import errno
import os
import signal
import socket
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from flask import Flask
    from sqlmodel import Session
    from waitress.server import TcpWSGIServer

    from trainer.bank import Fault
    from trainer.config import Settings
    from trainer.services.demonstrating import SignIn
    from trainer.store.engine import Store

BAD_USE, BROKEN = 2, 1
DEMO_FOLDER = Path("donning-room-demo")
ANY_ADDRESS = ("", "0.0.0.0", "::")  # noqa: S104
DAY = click.DateTime(["%Y-%m-%d"])


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


def main() -> None:
    """Run the donning-room command."""
    commands(prog_name="donning-room")


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


@commands.command()
@click.option("--demo", is_flag=True, help="Serve the invented Tern Quay Works, filled in on "
              f"the first start; its folder is {DEMO_FOLDER} unless --data names another.")
@click.option("--host", metavar="NAME", help="Address to listen on (default: this machine only).")
@click.option("--port", type=int, metavar="NUMBER", help="Port to listen on (default: 8000); "
              "0 takes a free one.")
@data_option
def serve(demo: bool, host: str | None, port: int | None, data: Path | None) -> None:
    """Serve the pages until Ctrl+C or SIGTERM."""
    from trainer.app import create_app

    data = data or (DEMO_FOLDER if demo else None)
    settings = _settings(host=host, port=port, data=data)
    with _record(settings, make=True) as store, _listening(settings) as port, _content_faults():
        key = _secret_key(settings.data)
        if demo:
            settings = _fill_demo(settings, store)
        server = _server(create_app(settings, store, key), port, settings)
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
        address = _address(settings, port.getsockname()[1])
        click.echo(f"Donning Room is at {address} (Ctrl+C ends it).")
        if demo:
            _print_sign_ins(_demo_sign_ins(store), address)
        # What is being answered when the end comes is finished first.
        server.run()
        server.close()


@commands.command("check-content", short_help="Check lessons, drawings and questions.")
def check_content() -> None:
    """Read every lesson, drawing and question; print what is wrong, with file and line."""
    from trainer import bank, lessons
    from trainer.config import content_folder
    from trainer.reference import training_elements

    elements = {row.paragraph for row in training_elements.rows()}
    faults = [
        *lessons.faults(None, _exercises(), elements),
        *bank.faults(None, lessons.sections(), elements),
        *_lessons_without_questions(),
    ]
    for fault in faults:
        click.echo(str(fault))
    if faults:
        raise Stop(f"Faults in lessons and questions: {len(faults)}.", BROKEN)
    for row in lessons.summary():
        click.echo(f"{row.lesson}: {row.words_en} words in English, {row.words_es} in Spanish, "
                   f"{row.sections} sections, {row.drawings} drawings")
    note = lessons.reading_note()
    if note:
        click.echo(note, err=True)
    click.echo(f"No fault in {content_folder('lessons')} and {content_folder('questions')}.")


@commands.command("export-record", short_help="Take the record out as CSV.")
@click.option("--from", "first", type=DAY, metavar="YYYY-MM-DD", help="First day (default: all).")
@click.option("--to", "last", type=DAY, metavar="YYYY-MM-DD", help="Last day (default: all).")
@click.option("--worksite", metavar="NAME", help="Only this worksite.")
@click.option("--output", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
              help="Write to a file instead of standard output.")
@data_option
def export_record(
    first: datetime | None, last: datetime | None, worksite: str | None,
    output: Path | None, data: Path | None,
) -> None:
    """Take the record out as CSV (RFC 4180, UTF-8, ISO 8601 dates)."""
    from trainer.services import exporting

    begin, end = _day(first, date.min), _day(last, date.max)
    if end < begin:
        raise Stop("The day of --from lies after the day of --to.")
    with _record(_settings(data=data)) as store, store.reading() as db:
        rows = _rows_of(db, begin, end, worksite)
        _write(exporting.csv_lines(rows), output)


@commands.command("verify-record", short_help="Walk the chain; say where it breaks.")
@data_option
def verify_record(data: Path | None) -> None:
    """Walk the chain of the record; say where it breaks, if it does.

    Keep the last hash that this prints in another place: a record that was cut short or
    written anew from end to end shows itself only beside it.
    """
    from trainer.store import record

    settings = _settings(data=data)
    with _record(settings, fault=BROKEN) as store, store.reading() as db:
        total = record.count(db)
        last = _walk(db, total)
        click.echo(f"The record in {settings.data} holds: {total} entries.")
        click.echo(f"Last hash: {last}")


@commands.command("add-person", short_help="Add the first coordinator, or others.")
@click.option("--number", required=True, metavar="NUMBER", help="Worker number.")
@click.option("--name", required=True, metavar="NAME", help="Name, as it goes into the record.")
@click.option("--role", "roles", multiple=True, default=("coordinator",), show_default=True,
              type=click.Choice(["worker", "trainer", "coordinator"]),
              help="Role; may be given more than once.")
@click.option("--language", type=click.Choice(["en", "es"]), default="en", show_default=True,
              help="Language to begin in.")
@click.option("--worksite", "worksites", multiple=True, metavar="NAME",
              help="Worksite; may be given more than once. A coordinator needs none.")
@data_option
def add_person(
    number: str, name: str, roles: tuple[str, ...], language: str, worksites: tuple[str, ...],
    data: Path | None,
) -> None:
    """Add somebody, such as the first coordinator, and print their one-time code."""
    from trainer.services import joining, signing_in

    settings, now = _settings(data=data), datetime.now(UTC)
    with _record(settings, make=True) as store, _refusals(), store.writing() as db:
        person = joining.add_person(
            db, now, number=number, name=name, roles=list(roles), language=language,
            worksites=[_worksite(db, one) for one in worksites],
        )
        limits = signing_in.Limits(code_minutes=settings.code_minutes)
        code, _ = signing_in.make_code(db, None, now, limits, person=person)
    address = _address(settings, settings.port)
    click.echo(f"{person.name} is added with the worker number {person.number}.")
    click.echo(f"One-time code: {_spaced(code)} (good for {settings.code_minutes} minutes)")
    click.echo(f"Use it at: {_enrol_address(address, person.number)}")


# Settings and the data folder.


def _settings(**given: object) -> "Settings":
    from trainer import config

    try:
        return config.read(**given)
    except config.SettingsFault as fault:
        raise Stop(str(fault)) from None


@contextmanager
def _record(
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


def _secret_key(folder: Path) -> str:
    """Return the key that signs cookies, made on the first start and readable by its owner only."""
    import secrets

    path = folder / "secret.key"
    try:
        if not path.exists():
            # Written whole before it has its name: a second start at the same moment reads
            # this key or makes it first, but never half of one.
            with tempfile.NamedTemporaryFile("w", dir=folder, prefix="secret-") as fresh:
                fresh.write(secrets.token_hex(32))
                fresh.flush()
                os.fsync(fresh.fileno())
                with suppress(FileExistsError):
                    os.link(fresh.name, path)
        path.chmod(0o600)
        key = path.read_text().strip()
    except OSError as fault:
        raise Stop(f"The secret key {path} cannot be used: {fault.strerror}.") from None
    if len(key) < 32:
        raise Stop(f"The secret key {path} is too short; delete it and a fresh one is made.")
    return key


@contextmanager
def _refusals() -> Iterator[None]:
    from trainer.services.refusal import Refusal

    try:
        yield
    except Refusal as refusal:
        raise Stop(str(refusal)) from None


def _worksite(db: "Session", name: str) -> int:
    from trainer.store import people

    found = people.worksite_named(db, name)
    if found is None:
        raise Stop(f"There is no worksite named {name}; "
                   "a coordinator adds worksites in the browser.")
    return found.id


# Serving.


@contextmanager
def _content_faults() -> Iterator[None]:
    from trainer.bank import BankFault
    from trainer.lessons import LessonFault

    try:
        yield
    except (BankFault, LessonFault) as fault:
        raise Stop(f"{fault} (donning-room check-content lists every fault)", BROKEN) from None


def _listening(settings: "Settings") -> socket.socket:
    """Return the socket, bound before the work of a start, so that a fault shows at once."""
    host, port = settings.host, settings.port
    try:
        found = socket.getaddrinfo(
            host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )
        family, *_, where = found[0]
        return socket.create_server(where[:2], family=family)
    except (socket.gaierror, UnicodeError):
        raise Stop(f"{host} is no address that this machine knows.") from None
    except OSError as fault:
        if fault.errno == errno.EADDRINUSE:
            raise Stop(f"Port {port} of {host} is taken; "
                       "choose another with --port, or 0 for any free one.") from None
        raise Stop(f"Port {port} of {host} cannot be listened on: "
                   f"{os.strerror(fault.errno)}.") from None


def _server(app: "Flask", port: socket.socket, settings: "Settings") -> "TcpWSGIServer":
    from waitress import create_server

    # Behind a proxy every request comes from the proxy, which says whose it was.
    proxy = {
        "url_scheme": "https",
        "trusted_proxy": "*",
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"},
        "clear_untrusted_proxy_headers": True,
    }
    return create_server(
        app, sockets=[port], threads=settings.threads, ident=None,
        **(proxy if settings.behind_tls else {}),
    )


def _address(settings: "Settings", port: int) -> str:
    """Return the address to type: the setting, or where the server listens."""
    if settings.address:
        return settings.address.rstrip("/")
    host = socket.gethostname() if settings.host in ANY_ADDRESS else settings.host
    scheme = "https" if settings.behind_tls else "http"
    return f"{scheme}://[{host}]:{port}" if ":" in host else f"{scheme}://{host}:{port}"


def _enrol_address(address: str, number: str) -> str:
    from urllib.parse import urlencode

    return f"{address}/enrol?{urlencode({'number': number})}"


# The demo.


def _fill_demo(settings: "Settings", store: "Store") -> "Settings":
    """Fill a folder without people; return the settings with the demo's name on the pages."""
    from trainer.services import demonstrating

    with store.reading() as db:
        fresh = demonstrating.is_fresh(db)
        if not fresh and not demonstrating.holds_demo(db):
            raise Stop(f"The folder {settings.data} holds people who are not the demo's; "
                       "give the demo a folder of its own with --data.")
    if fresh:
        click.echo("Filling in Tern Quay Works; this takes some seconds, once.", err=True)
        demonstrating.fill(store, datetime.now(UTC))
    named = settings.organisation or demonstrating.ORGANISATION
    return settings.model_copy(update={"organisation": named})


def _demo_sign_ins(store: "Store") -> list["SignIn"]:
    from trainer.services import demonstrating

    with store.writing() as db:
        return demonstrating.sign_ins(db, datetime.now(UTC))


def _print_sign_ins(found: list["SignIn"], address: str) -> None:
    click.echo("Everyone here is invented. Sign in as:")
    for one in found:
        click.echo(f"  {one.who:<15}  {one.number}  {one.name}")
        if one.code:
            click.echo(f"      one-time code {_spaced(one.code)}, today, at "
                       f"{_enrol_address(address, one.number)}")
        else:
            click.echo(f"      passphrase: {one.passphrase}")


def _spaced(code: str) -> str:
    return f"{code[:5]}-{code[5:]}"


# Content and the record.


def _exercises() -> list[str]:
    """Return the exercises that can be read; what is wrong with the rest is listed elsewhere."""
    from trainer import bank
    from trainer.config import content_folder

    try:
        return list(bank.load().exercises)
    except bank.BankFault:
        return [path.stem for path in content_folder("questions").glob("*.toml")]


def _lessons_without_questions() -> Iterator["Fault"]:
    from trainer import lessons
    from trainer.bank import Fault
    from trainer.config import content_folder

    for slug in sorted(lessons.sections()):
        path = content_folder("questions") / f"{slug}.toml"
        if not path.is_file():
            yield Fault(path, 1, f"The lesson {slug} has no questions, so no sitting can close it.")


def _day(given: datetime | None, default: date) -> date:
    return given.date() if given else default


def _rows_of(
    db: "Session", first: date, last: date, worksite: str | None
) -> Iterator[dict[str, str]]:
    """Return the rows; a worksite that nobody knows, and no entry names, is a typing mistake."""
    from itertools import chain

    from trainer.services import exporting
    from trainer.store import people

    rows = exporting.rows(db, first, last, worksite)
    one = next(rows, None)
    if one is None and worksite is not None and people.worksite_named(db, worksite) is None:
        raise Stop(f"There is no worksite named {worksite}.")
    return chain([one], rows) if one else iter(())


def _write(lines: Iterator[str], output: Path | None) -> None:
    if output is None:
        out = sys.stdout.buffer
        for line in lines:
            out.write(line.encode())
        out.flush()
        return
    try:
        with output.open("w", encoding="utf-8", newline="") as file:
            file.writelines(lines)
    except OSError as fault:
        raise Stop(f"The file {output} cannot be written: {fault.strerror}.") from None


def _walk(db: "Session", total: int) -> str:
    """Verify every entry under a progress bar; return the last hash."""
    from trainer.store import record

    checked = 0
    try:
        with click.progressbar(
            record.verify(db), length=total, label="Verifying", file=sys.stderr
        ) as entries:
            for found in entries:
                if found:
                    raise Stop(f"The record breaks at entry {found.number}: {found.why}.", BROKEN)
                checked += 1
    except (ValueError, KeyError, TypeError):
        # A cell that is not even of its kind: a date that is none, a body that is no JSON.
        raise Stop(f"The record breaks after entry {checked}: the next cannot be read.",
                   BROKEN) from None
    return _last_hash(db)


def _last_hash(db: "Session") -> str:
    from sqlmodel import select

    from trainer.store.record import BEGINNING
    from trainer.store.tables import Entry

    newest = select(Entry.hash).order_by(Entry.number.desc()).limit(1)
    return db.exec(newest).first() or BEGINNING
