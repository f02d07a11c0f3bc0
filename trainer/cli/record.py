"""The record: taken out, verified, and the first people in it."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trainer.cli.command import (
    BROKEN,
    Stop,
    address_of,
    commands,
    data_option,
    enrol_address,
    record_of,
    settings_of,
    spaced,
)

if TYPE_CHECKING:
    from sqlmodel import Session

DAY = click.DateTime(["%Y-%m-%d"])


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
    with record_of(settings_of(data=data)) as store, store.reading() as db:
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

    settings = settings_of(data=data)
    with record_of(settings, fault=BROKEN) as store, store.reading() as db:
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

    settings, now = settings_of(data=data), datetime.now(UTC)
    with record_of(settings, make=True) as store, _refusals(), store.writing() as db:
        person = joining.add_person(
            db, now, number=number, name=name, roles=list(roles), language=language,
            worksites=[_worksite(db, one) for one in worksites],
        )
        limits = signing_in.Limits(code_minutes=settings.code_minutes)
        code, _ = signing_in.make_code(db, None, now, limits, person=person)
    address = address_of(settings, settings.port)
    click.echo(f"{person.name} is added with the worker number {person.number}.")
    click.echo(f"One-time code: {spaced(code)} (good for {settings.code_minutes} minutes)")
    click.echo(f"Use it at: {enrol_address(address, person.number)}")


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
