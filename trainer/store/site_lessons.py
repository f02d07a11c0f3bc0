"""Queries about the lessons that worksites wrote. One function answers one question."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import bindparam
from sqlalchemy import select as columns_of
from sqlmodel import Session, func, select

from trainer.store import often
from trainer.store.people import Stay, end_of
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


_PUBLISHED = (
    select(SiteLessonVersion.lesson_id, func.min(SiteLessonVersion.published_at).label("at"))
    .group_by(SiteLessonVersion.lesson_id)
    .subquery()
)
_COURSES = often.Question(
    columns_of(Person.id, Person.added_at, Membership.joined_at, SiteLesson.id, _PUBLISHED.c.at)
    .join(Membership, Membership.person_id == Person.id)
    .join(SiteLesson, SiteLesson.worksite_id == Membership.worksite_id)
    .join(_PUBLISHED, _PUBLISHED.c.lesson_id == SiteLesson.id)
    .where(
        Person.id.in_(bindparam("persons", expanding=True)),
        SiteLesson.ended_at.is_(None),
        SiteLesson.for_everyone.is_(True),
    )
    .order_by(SiteLesson.id)
)


def courses(db: Session, person_ids: Iterable[int]) -> dict[int, list[InCourse]]:
    """Return by person the worksites' lessons of their course, the oldest first; one question."""
    found: dict[int, list[InCourse]] = {}
    there = often.rows(db, _COURSES, persons=list(person_ids))
    for who, added_at, joined_at, lesson, at in there:
        one = InCourse(slug_of(lesson), (joined_at or added_at) > at)
        found.setdefault(who, []).append(one)
    return found


def courses_on(
    db: Session, stays: Sequence[Stay], day: date, at: datetime | None = None
) -> dict[int, list[InCourse]]:
    """Return what `courses` would have returned at the end of a day gone by.

    stays   where people belonged on that day
    at      what came after this moment was not known
    Whether a lesson was for everybody is taken as it is now: nothing keeps what it was before.
    """
    published = (
        select(SiteLessonVersion.lesson_id, func.min(SiteLessonVersion.published_at).label("at"))
        .group_by(SiteLessonVersion.lesson_id)
        .subquery()
    )
    query = (
        select(SiteLesson, published.c.at)
        .join(published, published.c.lesson_id == SiteLesson.id)
        .where(
            SiteLesson.worksite_id.in_({stay.worksite.id for stay in stays}),
            SiteLesson.for_everyone.is_(True),
        )
        .order_by(SiteLesson.id)
    )
    found: dict[int, list[InCourse]] = {}
    for lesson, at in db.exec(query):
        for stay in stays:
            end = end_of(day, stay.worksite.time_zone, at)
            ended = lesson.ended_at is not None and lesson.ended_at < end
            if stay.worksite.id == lesson.worksite_id and at < end and not ended:
                one = InCourse(slug_of(lesson.id), stay.joined_at > at)
                found.setdefault(stay.person_id, []).append(one)
    return found


def course(db: Session, person_id: int) -> list[InCourse]:
    """Return what `courses` returns of one person."""
    found = often.once(db, "courses", person_id, lambda: courses(db, [person_id]))
    return found.get(person_id, [])


def in_course(db: Session, person_id: int) -> tuple[str, ...]:
    """Return the slugs of the worksites' lessons that a person learns with all others there."""
    return tuple(one.slug for one in course(db, person_id))


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
    query = select(SiteDraft).where(SiteDraft.lesson_id == lesson_id)
    rows = db.exec(query.order_by(SiteDraft.language))
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
