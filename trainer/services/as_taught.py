"""A lesson exactly as it was taught, years later: from what was kept when it was."""

import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path, PurePosixPath

from sqlmodel import Session

from trainer import bank, lessons
from trainer.config import LANGUAGES
from trainer.lessons import LessonFault, written
from trainer.lessons.drawings import read_drawing
from trainer.services import curriculum
from trainer.store import people, record, site_lessons
from trainer.store.tables import Person, TaughtContent


@dataclass(frozen=True)
class Page:
    """What a lesson said in one language.

    sections  title and safe HTML of each
    """

    title: str
    summary: str
    sections: tuple[tuple[str, str], ...]
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class Taught:
    """A version of a lesson, in the languages that it was written in.

    drawings  figure by (name, language) of those that its questions show
    exercises titles of those that its sitting drew problems from
    elements  paragraphs that it covers
    again     the version worked out again from what was kept; "" where it cannot be
    place     the worksite that wrote it and its version there; "" for one of ours
    """

    lesson: str
    version: str
    kept_at: datetime
    pages: dict[str, Page]
    questions: tuple[bank.Question, ...]
    drawings: dict[tuple[str, str], str]
    exercises: tuple[bank.Words, ...]
    elements: tuple[str, ...] = ()
    again: str = ""
    place: str = ""
    ordinal: int = 0


Exercise = Callable[[bank.Exercise | None, str, str], str]
"""Returns the HTML that stands for an exercise in a language: itself as it was then, its slug."""


def read(kept: TaughtContent, exercise: Exercise) -> Taught:
    """Return what was kept under a version, with something of one's own for each exercise.

    Errors: LessonFault, BankFault, KeyError or ValueError for what cannot be laid out any more.
    """
    return _laid_out(kept.lesson, kept.version, kept.kept_at, kept.files, exercise)


def find(db: Session, version: str) -> Taught | None:
    """Return what was taught under a version; None where nothing was."""
    kept = db.get(TaughtContent, version)
    return _read(kept.lesson, version, kept.kept_at, kept.files) if kept else None


def may_read(db: Session, person: Person, roles: frozenset[str], taught: Taught) -> bool:
    """Say whether somebody may read it: ours everybody, a worksite's its people and who had it."""
    lesson = site_lessons.by_slug(db, taught.lesson)
    if "coordinator" in roles or not site_lessons.is_slug(taught.lesson):
        return True
    if lesson and lesson.worksite_id in [one.id for one in people.worksites(db, person.id)]:
        return True
    own = record.of_person(db, people.numbers(db, person), ("lesson",))
    return any(record.body(one).get("version") == taught.version for one in own)


@lru_cache(maxsize=16)
def _read(lesson: str, version: str, kept_at: datetime, files: str) -> Taught:
    """Return what is kept as it was; remembered, since it never changes and Markdown is slow."""
    return _laid_out(lesson, version, kept_at, files, _named)


def _laid_out(
    lesson: str, version: str, kept_at: datetime, files: str, exercise: Exercise
) -> Taught:
    kept: dict[str, str] = json.loads(files)
    if site_lessons.is_slug(lesson):
        return _of_worksite(lesson, version, kept_at, kept, exercise)
    return _ours(lesson, version, kept_at, kept, exercise)


def _named(exercise: bank.Exercise | None, slug: str, language: str) -> str:
    return written.exercise_here(exercise.title(language) if exercise else slug, language)


def _ours(
    slug: str, version: str, kept_at: datetime, kept: dict[str, str], exercise: Exercise
) -> Taught:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for path, text in kept.items():
            at = folder / _inside(path)
            at.parent.mkdir(parents=True, exist_ok=True)
            at.write_text(text, encoding="utf-8")
        lesson = lessons.read(folder / "lessons").get(slug)
        asked = bank.read_folder(folder / "questions")
        questions = asked.for_lesson(slug)
        drawings = _drawings(folder / "lessons", questions)
    exercises = {one.slug: one for one in asked.exercises.values()}
    return Taught(
        slug, version, kept_at,
        {one: _page(lesson, one, exercises, exercise) for one in lesson.languages},
        questions, drawings, tuple(one.title for one in exercises.values()), lesson.elements,
        curriculum.content_version(lesson, asked),
    )  # fmt: skip


def _inside(path: str) -> PurePosixPath:
    """Return a kept name as a path that stays inside its folder. Errors: ValueError."""
    found = PurePosixPath(path)
    if found.is_absolute() or ".." in found.parts:
        raise ValueError(f"{path} is no name of a kept file")
    return found


def _drawings(folder: Path, questions: tuple[bank.Question, ...]) -> dict[tuple[str, str], str]:
    found = {}
    for name in {one.drawing for one in questions if one.drawing}:
        try:
            drawing = read_drawing(folder, name)
        except LessonFault:
            # A drawing that only a question shows was not kept with the lesson.
            continue
        for language in LANGUAGES:
            found[name, language] = drawing.figure(language, captioned=False)
    return found


def _page(
    lesson: lessons.Lesson, language: str, exercises: dict[str, bank.Exercise], exercise: Exercise
) -> Page:
    sections = tuple(
        (
            section.title(language),
            "\n".join(
                exercise(exercises.get(part.name), part.name, language)
                if part.kind == "exercise" else part.html
                for part in section.parts(language)
            ),
        )
        for section in lesson.sections
    )
    return Page(
        lesson.title(language), lesson.summary(language), sections, lesson.sources(language)
    )


def _of_worksite(
    slug: str, version: str, kept_at: datetime, kept: dict[str, str], exercise: Exercise
) -> Taught:
    about = json.loads(kept[f"{slug}/published.json"])
    pages = {}
    for language in LANGUAGES:
        if f"{slug}/{language}.md" in kept:
            # Exercises are versions of ours and were not kept with it.
            text, sections = written.as_kept(
                slug, kept, language,
                lambda named, language=language: exercise(
                    bank.load().exercises.get(named), named, language
                ),
            )
            pages[language] = Page(text.title, text.summary, tuple(sections))
    raw = json.loads(kept[f"{slug}/questions.json"])
    questions = tuple(bank.question_of(slug, one) for one in raw)
    return Taught(
        slug, version, kept_at, pages, questions, {}, (), tuple(about.get("elements", ())), "",
        about["worksite"], about["version"],
    )  # fmt: skip
