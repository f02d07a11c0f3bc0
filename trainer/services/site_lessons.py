"""The smallest stand-in for what is asked about a worksite's lesson."""

import re

from sqlmodel import Session, select

from trainer.store.tables import SiteDraft, SiteLesson


def own(db: Session, worksite_id: int, lesson_id: int) -> SiteLesson | None:
    """Return a lesson of this worksite that has not ended."""
    lesson = db.get(SiteLesson, lesson_id)
    if lesson is None or lesson.worksite_id != worksite_id or lesson.ended_at:
        return None
    return lesson


def slug(lesson_id: int) -> str:
    """Return the slug of a lesson."""
    return f"site-{lesson_id}"


def written_in(db: Session, lesson: SiteLesson) -> tuple[str, ...]:
    """Return the languages that have text."""
    return tuple(one.language for one in _drafts(db, lesson) if one.text.strip())


def sections(db: Session, lesson: SiteLesson) -> list[tuple[str, dict[str, str]]]:
    """Return id and title by language of each section."""
    found: dict[str, dict[str, str]] = {}
    for draft in _drafts(db, lesson):
        for title, name in re.findall(r"^## (.+?) \{#([a-z0-9-]+)\}$", draft.text, re.MULTILINE):
            found.setdefault(name, {})[draft.language] = title
    return list(found.items())


def _drafts(db: Session, lesson: SiteLesson) -> list[SiteDraft]:
    query = select(SiteDraft).where(SiteDraft.lesson_id == lesson.id).order_by(SiteDraft.language)
    return list(db.exec(query))
