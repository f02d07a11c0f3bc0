"""Queries about the lessons that worksites wrote. One function answers one question."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from sqlmodel import Session, func, select

from trainer.store.tables import (
    Membership,
    Person,
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


@dataclass(frozen=True)
class InCourse:
    """A worksite's lesson that a person learns with all others there.

    came_after  did the person come to the worksite when it was taught there already?
    """

    slug: str
    came_after: bool


def courses(db: Session, person_ids: Iterable[int]) -> dict[int, list[InCourse]]:
    """Return by person the worksites' lessons of their course, the oldest first; one question."""
    published = (
        select(SiteLessonVersion.lesson_id, func.min(SiteLessonVersion.published_at).label("at"))
        .group_by(SiteLessonVersion.lesson_id)
        .subquery()
    )
    query = (
        select(Person.id, Person.added_at, Membership.joined_at, SiteLesson.id, published.c.at)
        .join(Membership, Membership.person_id == Person.id)
        .join(SiteLesson, SiteLesson.worksite_id == Membership.worksite_id)
        .join(published, published.c.lesson_id == SiteLesson.id)
        .where(
            Person.id.in_(list(person_ids)),
            SiteLesson.ended_at.is_(None),
            SiteLesson.for_everyone.is_(True),
        )
        .order_by(SiteLesson.id)
    )
    found: dict[int, list[InCourse]] = {}
    for who, added_at, joined_at, lesson, at in db.exec(query):
        one = InCourse(slug_of(lesson), (joined_at or added_at) > at)
        found.setdefault(who, []).append(one)
    return found


def in_course(db: Session, person_id: int) -> tuple[str, ...]:
    """Return the slugs of the worksites' lessons that a person learns with all others there."""
    return tuple(one.slug for one in courses(db, [person_id]).get(person_id, ()))


def in_courses(db: Session, person_ids: Iterable[int]) -> dict[int, list[str]]:
    """Return by person what `in_course` says of each, in one question to the database."""
    found = courses(db, person_ids)
    return {who: [one.slug for one in theirs] for who, theirs in found.items()}


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


def asides(db: Session, lesson_id: int, settled: bool = False) -> list[SiteDraftAside]:
    """Return the texts that stand beside a draft, the oldest first: those to settle, or settled."""
    dealt_with = SiteDraftAside.dealt_with_at
    query = select(SiteDraftAside).where(
        SiteDraftAside.lesson_id == lesson_id,
        dealt_with.is_not(None) if settled else dealt_with.is_(None),
    )
    return list(db.exec(query.order_by(SiteDraftAside.id)))


def questions(db: Session, lesson_id: int) -> list[SiteQuestion]:
    """Return the questions of a worksite's lesson that were not taken off, in order."""
    query = select(SiteQuestion).where(
        SiteQuestion.lesson_id == lesson_id, SiteQuestion.ended_at.is_(None)
    )
    return list(db.exec(query.order_by(SiteQuestion.id)))
