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

    from trainer.services.exporting import Choice
    from trainer.store.record import Tally

DAY = click.DateTime(["%Y-%m-%d"])


@commands.command("export-record", short_help="Take the record out: CSV, JSON, xAPI, XLSX.")
@click.option("--from", "first", type=DAY, metavar="YYYY-MM-DD", help="First day (default: all).")
@click.option("--to", "last", type=DAY, metavar="YYYY-MM-DD", help="Last day (default: all).")
@click.option("--worksite", metavar="NAME", help="Only what was recorded at this worksite.")
@click.option("--person", metavar="NUMBER", help="Only the entries of this person.")
@click.option("--kinds", type=click.Choice(["training", "fit-tests", "everything"]),
              default="training", show_default=True,
              help="Which entries; determinations are in none of them.")
@click.option("--format", "format_", type=click.Choice(["csv", "json", "jsonl", "xapi", "xlsx"]),
              default="csv", show_default=True, help="What it is taken out as.")
@click.option("--output", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
              help="Write to a file instead of standard output.")
@data_option
def export_record(
    first: datetime | None, last: datetime | None, worksite: str | None, person: str | None,
    kinds: str, format_: str, output: Path | None, data: Path | None,
) -> None:
    """Take the record out as CSV (RFC 4180), JSON, xAPI statements or a workbook.

    UTF-8, ISO 8601 dates. Medical determinations come out in the browser only, for those who
    have the right to see them.
    """
    from trainer.services.exporting import Choice

    begin, end = _day(first, date.min), _day(last, date.max)
    if end < begin:
        raise Stop("The day of --from lies after the day of --to.")
    settings = settings_of(data=data)
    with record_of(settings) as store, store.reading() as db:
        _known(db, worksite)
        numbers = _numbers(db, person) if person is not None else None
        choice = Choice(begin, end, kinds, worksite, numbers)
        if format_ == "xlsx":
            _write_workbook(db, choice, output)
        else:
            _write(_lines(db, choice, format_, settings.iri_base), output)


@commands.command("verify-record", short_help="Walk the chain; say where it breaks.")
@click.option("--since", metavar="HASH",
              help="Also look for a hash that was noted earlier: the record must still have it.")
@data_option
def verify_record(since: str | None, data: Path | None) -> None:
    """Walk the chain of the record; say where it breaks, if it does.

    Keep the last hash that this prints in another place: a record that was cut short or
    written anew from end to end shows itself only beside it. Give it later with --since.
    """
    from trainer.store import record

    settings = settings_of(data=data)
    with record_of(settings, fault=BROKEN) as store, store.reading() as db:
        noted = _noted(db, since)
        tally = _walk(db, record.count(db))
        click.echo(f"The record in {settings.place} holds: {tally.entries} entries.")
        click.echo(f"Of these {tally.corrections} correct an earlier one, "
                   f"and of {tally.erased} what they said was let go.")
        click.echo(f"Last hash: {tally.last}")
        if noted:
            click.echo(noted)


@commands.command("witness", short_help="Print the last hash, to be kept elsewhere.")
@data_option
def witness(data: Path | None) -> None:
    """Print the last hash of the record as a short text, to be mailed or noted on paper.

    Kept where nobody reaches who can reach the record, it shows later that nothing before it was
    written anew: donning-room verify-record --since HASH.
    """
    from trainer.services import settings as chosen
    from trainer.services import witnessing

    with record_of(settings_of(data=data)) as store, store.reading() as db:
        last, organisation = witnessing.witness(db), chosen.of(db).organisation
    moment = datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")
    whose = f" of {organisation}" if organisation else ""
    click.echo(f"Training record{whose}, {moment}")
    click.echo(f"Last entry: {last.number}")
    click.echo(f"Its hash: {last.groups}")
    click.echo("Keep this elsewhere. To check the record against it later:")
    click.echo(f"donning-room verify-record --since {last.hash}")


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
    from trainer.services import settings as set_here

    settings, now = settings_of(data=data), datetime.now(UTC)
    with record_of(settings, make=True) as store, _refusals(), store.writing() as db:
        person = joining.add_person(
            db, now, number=number, name=name, roles=list(roles), language=language,
            worksites=[_worksite(db, one) for one in worksites],
            # Whoever can use this command has the whole record at hand.
            medical="coordinator" in roles,
        )
        minutes = set_here.of(db).code_minutes
        limits = signing_in.Limits(code_minutes=minutes)
        code, _ = signing_in.make_code(db, None, now, limits, person=person)
    address = address_of(settings, settings.port)
    click.echo(f"{person.name} is added with the worker number {person.number}.")
    click.echo(f"One-time code: {spaced(code)} (good for {minutes} minutes)")
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


def _known(db: "Session", worksite: str | None) -> None:
    """Refuse a worksite that nobody knows, and no entry names: it is a typing mistake."""
    from trainer.services import exporting
    from trainer.store import people

    if worksite is None or people.worksite_named(db, worksite):
        return
    if not exporting.how_many(db, exporting.Choice(what="everything", worksite=worksite)):
        raise Stop(f"There is no worksite named {worksite}.")


def _numbers(db: "Session", number: str) -> tuple[str, ...]:
    from trainer.store import people

    found = people.by_number(db, number)
    if found is None:
        raise Stop(f"There is no person with the worker number {number}.")
    return people.numbers(db, found)


def _lines(db: "Session", choice: "Choice", format_: str, base: str) -> Iterator[str]:
    from trainer.services import exporting, statements

    if format_ == "xapi":
        return statements.lines(db, choice, base, datetime.now(UTC))
    return {
        "csv": exporting.csv_lines,
        "json": exporting.json_array,
        "jsonl": exporting.json_lines,
    }[format_](db, choice)


def _write_workbook(db: "Session", choice: "Choice", output: Path | None) -> None:
    from trainer.services import workbook

    if output is None:
        raise Stop("A workbook needs a file to go into: say which with --output.")
    try:
        with output.open("w+b") as file:
            workbook.write(db, choice, file, datetime.now(UTC))
    except OSError as fault:
        raise Stop(f"The file {output} cannot be written: {fault.strerror}.") from None


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


AT_ONCE = 1000
"""The progress bar moves after so many entries: to draw it takes longer than to check one."""


def _walk(db: "Session", total: int) -> "Tally":
    """Verify every entry under a progress bar; return what was met."""
    from trainer.store import record

    tally = record.Tally()
    try:
        with click.progressbar(length=total, label="Verifying", file=sys.stderr) as bar:
            for found in record.verify(db, tally):
                if found:
                    raise Stop(f"The record breaks at entry {found.number}: {found.why}.", BROKEN)
                if tally.entries % AT_ONCE == 0:
                    bar.update(AT_ONCE)
            bar.update(total % AT_ONCE)
    except (ValueError, KeyError, TypeError, AttributeError):
        # A cell that is not even of its kind: a body that is no JSON.
        raise Stop(f"The record breaks after entry {tally.entries}: the next cannot be read.",
                   BROKEN) from None
    return tally


def _noted(db: "Session", since: str | None) -> str:
    """Return where an earlier hash stands in the record, as a sentence."""
    from trainer.services import witnessing
    from trainer.services.refusal import Refusal

    if since is None:
        return ""
    try:
        found = witnessing.look_for(db, since)
    except Refusal as refusal:
        raise Stop(str(refusal)) from None
    if found is None:
        raise Stop("This record never had an entry with the hash that you noted: it was cut short, "
                   "or written anew, or it is another record.", BROKEN)
    return f"The noted hash is that of entry {found.number}; since then: {found.since} entries."
