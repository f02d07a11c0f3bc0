"""`check-content`: what is wrong with lessons, drawings and questions; `booklet`: all on paper."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trainer.cli.command import BROKEN, Stop, commands

if TYPE_CHECKING:
    from trainer.bank import Fault


@commands.command("check-content", short_help="Check lessons, drawings and questions.")
def check_content() -> None:
    """Read every lesson, drawing and question; print what is wrong, with file and line."""
    from trainer import bank, lessons
    from trainer.config import content_folder
    from trainer.reference import training_elements

    elements = {row.paragraph for row in training_elements.rows()}
    drawings = {path.stem for path in (content_folder("lessons") / "drawings").glob("*.svg")}
    faults = [
        *lessons.faults(None, _exercises(), elements),
        *bank.faults(None, lessons.sections(), elements, drawings),
        *_lessons_without_questions(),
    ]
    for fault in faults:
        click.echo(str(fault))
    if faults:
        raise Stop(f"Faults in lessons and questions: {len(faults)}.", BROKEN)
    _print_lessons()
    _print_elements()
    note = lessons.reading_note()
    if note:
        click.echo(note, err=True)
    click.echo(f"No fault in {content_folder('lessons')} and {content_folder('questions')}.")


@commands.command("booklet", short_help="Write all lessons of a language as one PDF.")
@click.argument("language", type=click.Choice(["en", "es"]))
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
def booklet(language: str, file: Path) -> None:
    """Write all lessons of LANGUAGE as one tagged PDF (PDF/UA-1) to FILE."""
    from trainer.services import booklet as booklets

    try:
        file.write_bytes(booklets.booklet(language))
    except OSError as error:
        raise Stop(f"{file} cannot be written: {error.strerror}.") from error
    click.echo(f"Written: {file}.")


def _print_lessons() -> None:
    """Print a table, a line a lesson: how long, how hard, what is in it and asked of it."""
    from trainer import bank, lessons

    found = bank.load()
    columns = ("lesson", "words en", "es", "grade en", "ease es", "sections", "drawings",
               "exercises", "questions", "must-know", "elements")
    lines = []
    for row in lessons.summary():
        asked = found.for_lesson(row.lesson)
        lines.append((
            row.lesson, row.words_en, row.words_es, _level(row.grade_en), _level(row.score_es),
            row.sections, row.drawings, row.exercises, len(asked),
            sum(one.must_know for one in asked),
            " ".join(sorted({one.element for one in asked})),
        ))  # fmt: skip
    _print_table(columns, lines)


def _print_elements() -> None:
    """Print how often each element is asked about, over all lessons."""
    from trainer import bank
    from trainer.reference import training_elements

    found = bank.load().questions.values()
    _print_table(("element", "questions", "must-know"), [
        (row.paragraph, sum(one.element == row.paragraph for one in found),
         sum(one.element == row.paragraph and one.must_know for one in found))
        for row in training_elements.seven()
    ])


def _print_table(heads: Sequence[str], lines: Sequence[Sequence[object]]) -> None:
    rows = [heads, *([str(cell) for cell in line] for line in lines)]
    widths = [max(len(row[at]) for row in rows) for at in range(len(heads))]
    for row in rows:
        cells = [row[0].ljust(widths[0]), *(cell.rjust(width) for cell, width in
                                            zip(row[1:], widths[1:], strict=True))]
        click.echo("  ".join(cells).rstrip())
    click.echo()


def _level(measured: float | None) -> str:
    return "-" if measured is None else f"{measured:.1f}"


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
