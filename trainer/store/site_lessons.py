"""Queries about the lessons that worksites wrote. One function answers one question."""

import re
from collections.abc import Iterable

from sqlmodel import Session, select

from trainer.store.tables import (
    Membership,
    SiteDraft,
    SiteDraftAside,
    SiteLesson,
    SiteLessonVersion,
    SiteQuestion,
)

_SLUG = re.compile(r"site-(\d{1,12})")


def slug_of(lesson_id: int) -> str:
    """Return the slug of a worksite's lesson."""
    return f"site-{lesson_id}"


def is_slug(slug: str) -> bool:
    """Say whether a slug is that of a worksite's lesson; ours never look so."""
    return _SLUG.fullmatch(slug) is not None


def by_slug(db: Session, slug: str) -> SiteLesson | None:
    """Return the worksite's lesson of this slug, published or not; None for one of ours."""
    named = _SLUG.fullmatch(slug)
    return db.get(SiteLesson, int(named[1])) if named else None


def of_worksite(db: Session, worksite_id: int) -> list[SiteLesson]:
    """Return the lessons of a worksite that were not taken off, the oldest first."""
    query = select(SiteLesson).where(
        SiteLesson.worksite_id == worksite_id, SiteLesson.ended_at.is_(None)
    )
    return list(db.exec(query.order_by(SiteLesson.id)))


def taught_at(db: Session, worksite_ids: Iterable[int]) -> list[SiteLesson]:
    """Return the lessons that are taught at these worksites: published and not taken off."""
    query = select(SiteLesson).where(
        SiteLesson.worksite_id.in_(list(worksite_ids)),
        SiteLesson.ended_at.is_(None),
        SiteLesson.id.in_(select(SiteLessonVersion.lesson_id)),
    )
    return list(db.exec(query.order_by(SiteLesson.id)))


def in_course(db: Session, person_id: int) -> tuple[str, ...]:
    """Return the slugs of the worksites' lessons that a person learns with all others there."""
    mine = db.exec(select(Membership.worksite_id).where(Membership.person_id == person_id)).all()
    return tuple(slug_of(one.id) for one in taught_at(db, mine) if one.for_everyone)


def in_courses(db: Session, person_ids: Iterable[int]) -> dict[int, list[str]]:
    """Return by person what `in_course` says of each, in two questions to the database."""
    rows = db.exec(select(Membership).where(Membership.person_id.in_(list(person_ids)))).all()
    taught: dict[int, list[str]] = {}
    for one in taught_at(db, {row.worksite_id for row in rows}):
        if one.for_everyone:
            taught.setdefault(one.worksite_id, []).append(slug_of(one.id))
    found: dict[int, list[str]] = {}
    for row in rows:
        found.setdefault(row.person_id, []).extend(taught.get(row.worksite_id, ()))
    return found


def newest(db: Session, lesson_id: int) -> SiteLessonVersion | None:
    """Return the version of a worksite's lesson that is taught now."""
    query = select(SiteLessonVersion).where(SiteLessonVersion.lesson_id == lesson_id)
    return db.exec(query.order_by(SiteLessonVersion.ordinal.desc()).limit(1)).first()


def versions(db: Session, lesson_id: int) -> list[SiteLessonVersion]:
    """Return every version of a worksite's lesson, the newest first."""
    query = select(SiteLessonVersion).where(SiteLessonVersion.lesson_id == lesson_id)
    return list(db.exec(query.order_by(SiteLessonVersion.ordinal.desc())))


def drafts(db: Session, lesson_id: int) -> dict[str, SiteDraft]:
    """Return the drafts of a worksite's lesson by language."""
    rows = db.exec(select(SiteDraft).where(SiteDraft.lesson_id == lesson_id))
    return {row.language: row for row in rows}


def asides(db: Session, lesson_id: int) -> list[SiteDraftAside]:
    """Return the texts that stand beside a draft and were not dealt with, the oldest first."""
    query = select(SiteDraftAside).where(
        SiteDraftAside.lesson_id == lesson_id, SiteDraftAside.dealt_with_at.is_(None)
    )
    return list(db.exec(query.order_by(SiteDraftAside.id)))


def questions(db: Session, lesson_id: int) -> list[SiteQuestion]:
    """Return the questions of a worksite's lesson that were not taken off, in order."""
    query = select(SiteQuestion).where(
        SiteQuestion.lesson_id == lesson_id, SiteQuestion.ended_at.is_(None)
    )
    return list(db.exec(query.order_by(SiteQuestion.id)))
