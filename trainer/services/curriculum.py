"""What is taught: our lessons, the same for everybody, and those that a worksite wrote itself."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache

from sqlmodel import Session

from trainer import bank, config, lessons
from trainer.config import LANGUAGES
from trainer.lessons import matters, written
from trainer.services import describing, own_numbers, site_blocks
from trainer.store import changes, people, site_lessons
from trainer.store.tables import Person, SiteLesson, SiteLessonVersion, TaughtContent, Worksite

AFTER_OURS = 10_000
"""Lessons of a worksite come after ours, the oldest first."""

_MAKE_LESSONS = ("worksite", "task", "hazard", "sample", "task-respirator", "lesson")
"""Kinds of changes that a worksite's lesson shows."""

_SOURCES = {
    "en": ("29 CFR 1910.134(k)(1), what only the worksite can tell its people",
           "Written at {place}, version {ordinal}"),
    "es": ("29 CFR 1910.134(k)(1), lo que solo el sitio de trabajo puede decir a su gente",
           "Escrito en {place}, versión {ordinal}"),
}  # fmt: skip


def find(db: Session, slug: str) -> lessons.Lesson | None:
    """Return the lesson of a slug, one of ours or a worksite's as it is taught now."""
    ours = lessons.load().get(slug)
    if ours:
        return ours
    lesson = site_lessons.by_slug(db, slug)
    version = site_lessons.newest(db, lesson.id) if lesson else None
    return taught(db, lesson, version) if version else None


def find_for(db: Session, person: Person, slug: str) -> lessons.Lesson | None:
    """Return the lesson of a slug where the person may read it.

    Ours everybody may; a worksite's are for its people, and for whom it was assigned to.
    """
    if lessons.load().get(slug):
        return lessons.load().get(slug)
    lesson = site_lessons.by_slug(db, slug)
    if lesson is None:
        return None
    there = lesson.worksite_id in [one.id for one in people.worksites(db, person.id)]
    given = slug in [one.lesson for one in people.assignments(db, person.id)]
    return find(db, slug) if there or given else None


def of_person(db: Session, person: Person) -> list[lessons.Lesson]:
    """Return the lessons of a person's course and those assigned beside it, in order."""
    given = [one.lesson for one in people.assignments(db, person.id)]
    ours = [one.slug for one in lessons.load().all]
    slugs = dict.fromkeys([*ours, *site_lessons.in_course(db, person.id), *given])
    return [found for found in (find(db, slug) for slug in slugs) if found]


def choices(db: Session, worksite_ids: Iterable[int]) -> list[lessons.Lesson]:
    """Return what can be taught at these worksites: our lessons, then theirs."""
    theirs = site_lessons.taught_at(db, worksite_ids)
    return [*lessons.load().all, *(find(db, site_lessons.slug_of(one.id)) for one in theirs)]


def read_ahead(db: Session, since: int = -1) -> int:
    """Read from Markdown what worksites teach now, before anybody asks for it.

    since   what this returned before: where nothing it reads was changed since, it reads nothing
    """
    newest = changes.newest(db, _MAKE_LESSONS)
    if newest != since:
        choices(db, [one.id for one in people.all_worksites(db)])
    return newest


def taught(db: Session, lesson: SiteLesson, version: SiteLessonVersion) -> lessons.Lesson:
    """Return a version of a worksite's lesson, with what the worksite says now put in."""
    worksite = db.get(Worksite, lesson.worksite_id)
    said = site_blocks.blocks(describing.site(db, worksite))
    return _composed(
        site_lessons.slug_of(lesson.id), worksite.name, version.ordinal, version.content,
        json.dumps(said, sort_keys=True), AFTER_OURS + lesson.id,
    )  # fmt: skip


def asked_about(db: Session, lesson: lessons.Lesson) -> bank.Bank:
    """Return the questions and exercises that the sitting of a lesson draws from."""
    there = site_lessons.by_slug(db, lesson.slug)
    if there is None:
        return bank.load()
    return _bank(lesson.slug, site_lessons.newest(db, there.id).content)


def exercise_of(lesson: lessons.Lesson, slug: str) -> bank.Exercise | None:
    """Return an exercise as a lesson teaches it.

    A worksite's lesson has it drawn from the worksite's numbers, and so keeps its own count of
    how far a person is with it.
    """
    found = bank.load().exercises.get(slug)
    if found is None or not site_lessons.is_slug(lesson.slug):
        return found
    section = next((one.id for one in lesson.sections if slug in one.exercises), "")
    return _at_site(found, lesson.slug, section)


def told_in(db: Session, person: Person, lesson: lessons.Lesson) -> list[bank.Facts]:
    """Return what a worksite tells the problems of its own lesson; nothing in ours."""
    if not site_lessons.is_slug(lesson.slug):
        return []
    return own_numbers.facts_for(db, person, lesson.slug)


def around(
    db: Session, worksite: Worksite, pictures: Mapping[str, Mapping[str, str]]
) -> written.Around:
    """Return what a lesson of a worksite may insert."""
    return written.Around(
        exercises={one.slug: one.title for one in bank.load().exercises.values()},
        site=site_blocks.blocks(describing.site(db, worksite)),
        pictures=pictures,
    )


def content(
    texts: Mapping[str, written.Text], questions: list[dict], pictures: Mapping
) -> tuple[str, str]:
    """Return what a version is kept as, and its hash.

    pictures  number -> language -> figure, of those that the texts insert
    """
    kept = {
        "texts": {
            language: {"title": one.title, "summary": one.summary, "markdown": one.markdown}
            for language, one in texts.items()
        },
        "questions": questions,
        "pictures": pictures,
    }
    return json.dumps(kept, ensure_ascii=False, sort_keys=True), bank.version_of(kept)


def asked_again_since(db: Session, slug: str, moment: datetime) -> bool:
    """Say whether a version was published since whose changes everybody is to learn."""
    there = site_lessons.by_slug(db, slug)
    if there is None:
        return False
    return any(
        one.retrain and one.published_at > moment for one in site_lessons.versions(db, there.id)
    )


def texts_of(version: SiteLessonVersion) -> dict[str, written.Text]:
    """Return the texts of a version, by language."""
    kept = json.loads(version.content)["texts"]
    return {language: written.Text(**kept[language]) for language in LANGUAGES if language in kept}


def questions_of(version: SiteLessonVersion) -> list[dict]:
    """Return the questions of a version as they were written."""
    return json.loads(version.content)["questions"]


def content_version(lesson: lessons.Lesson, found: bank.Bank | None = None) -> str:
    """Return the version of what is taught: the lesson's own and its questions'.

    found   where its questions are, which is our bank unless a worksite wrote them
    """
    found = found or bank.load()
    asked = [question.version for question in found.for_lesson(lesson.slug)]
    drilled = [str(exercise.version) for exercise in found.exercises_for(lesson.slug)]
    return lessons.combined_version([lesson.version, *asked, *drilled])


def keep_taught(db: Session, lesson: lessons.Lesson, now: datetime) -> str:
    """Keep the text of what is taught, to be shown years later as it was; return its version."""
    found = asked_about(db, lesson)
    version = content_version(lesson, found)
    if db.get(TaughtContent, version) is None:
        asked = found.files_for(lesson.slug)
        files = json.dumps(
            lesson.files | asked | _drawings(found, lesson.slug), ensure_ascii=False
        )
        db.add(TaughtContent(version=version, lesson=lesson.slug, files=files, kept_at=now))
        db.flush()
    return version


def _drawings(found: bank.Bank, slug: str) -> dict[str, str]:
    """Return the files of the drawings that questions of a lesson show, as a lesson keeps its own.

    Without them nobody could tell later what was asked.
    """
    folder = config.content_folder("lessons")
    names = sorted({one.drawing for one in found.for_lesson(slug) if one.drawing})
    files = [folder / "drawings" / f"{name}{ending}" for name in names
             for ending in (".svg", ".toml")]  # fmt: skip
    return {
        f"lessons/{one.relative_to(folder).as_posix()}": one.read_text("utf-8")
        for one in files if one.exists()
    }


@dataclass(frozen=True)
class AsTaught:
    """What the record says of a lesson as it was taught.

    part  which worksite wrote it and which of its versions it was; {} for one of ours
    """

    title: str
    elements: tuple[str, ...]
    part: dict[str, str | int]


def as_taught(db: Session, slug: str, version: str, language: str) -> AsTaught:
    """Return what a lesson was when it was taught, whatever was published since.

    version  of what was taught, which the sitting keeps
    """
    ours = lessons.load().get(slug)
    if ours:
        return AsTaught(ours.title(language), ours.elements, {})
    kept = _kept(db, slug, version)
    part = {"worksite": kept["worksite"], "version": kept["version"]}
    return AsTaught(kept["titles"][language], tuple(kept["elements"]), part)


def languages_taught(db: Session, slug: str, version: str) -> tuple[str, ...]:
    """Return the languages that a lesson was written in when it was taught; ours are in all."""
    if not site_lessons.is_slug(slug):
        return LANGUAGES
    titles = _kept(db, slug, version)["titles"]
    return tuple(one for one in LANGUAGES if one in titles)


def _kept(db: Session, slug: str, version: str) -> dict:
    return json.loads(json.loads(db.get(TaughtContent, version).files)[_published(slug)])


def _published(slug: str) -> str:
    return f"{slug}/published.json"


def pictures_of(version: SiteLessonVersion) -> dict[str, dict[str, str]]:
    """Return the pictures of a version: number -> language -> figure."""
    return json.loads(version.content)["pictures"]


@lru_cache(maxsize=128)
def _composed(
    slug: str, place: str, ordinal: int, content_: str, said: str, order: int
) -> lessons.Lesson:
    """Return the lesson of what is given here and of nothing else; kept, since Markdown is slow."""
    kept = json.loads(content_)
    texts = {
        language: written.Text(**kept["texts"][language])
        for language in LANGUAGES
        if language in kept["texts"]
    }
    site = json.loads(said)
    elements = _covered(texts, site)
    about = {
        "worksite": place,
        "version": ordinal,
        "titles": {language: text.title for language, text in texts.items()},
        "elements": elements,
    }
    return written.compose(
        slug,
        texts,
        written.Around(
            exercises={one.slug: one.title for one in bank.load().exercises.values()},
            site=site,
            pictures=kept["pictures"],
        ),
        order=order,
        elements=elements,
        sources={
            language: tuple(
                line.replace("{place}", place).replace("{ordinal}", str(ordinal))
                for line in _SOURCES[language]
            )
            for language in texts
        },
        about={_published(slug): json.dumps(about)},
    )


def _covered(
    texts: Mapping[str, written.Text], site: Mapping[str, Mapping[str, str]]
) -> tuple[str, ...]:
    """Return the elements that a lesson covers in each language that it is written in."""
    empty = {
        name for name, said in site.items() if any(map(site_blocks.says_nothing, said.values()))
    }
    each = [matters.elements(text.markdown, empty) for text in texts.values()]
    return tuple(one for one in each[0] if all(one in others for others in each))


@lru_cache(maxsize=128)
def _bank(slug: str, content_: str) -> bank.Bank:
    kept = json.loads(content_)
    text = next(iter(kept["texts"].values()))["markdown"]
    questions = [bank.question_of(slug, raw) for raw in kept["questions"]]
    exercises = {
        name: _at_site(bank.load().exercises[name], slug, section.id)
        for section in written.read(text)
        for name in section.names("exercise")
        if name in bank.load().exercises
    }
    asked = json.dumps(kept["questions"], ensure_ascii=False)
    return bank.Bank(
        {one.slug: one for one in questions}, exercises, {f"{slug}/questions.json": (slug, asked)}
    )


def _at_site(exercise: bank.Exercise, slug: str, section: str) -> bank.Exercise:
    version = f"{exercise.version}@{slug}"
    return replace(exercise, lesson=slug, section=section, version=version)
