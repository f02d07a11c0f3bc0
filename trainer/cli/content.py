"""`check-content`: what is wrong with lessons, drawings and questions."""

from collections.abc import Iterator
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
    for row in lessons.summary():
        click.echo(f"{row.lesson}: {row.words_en} words in English, {row.words_es} in Spanish, "
                   f"{row.sections} sections, {row.drawings} drawings")
    note = lessons.reading_note()
    if note:
        click.echo(note, err=True)
    click.echo(f"No fault in {content_folder('lessons')} and {content_folder('questions')}.")


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
