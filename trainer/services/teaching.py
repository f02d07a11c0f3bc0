"""Talks that a trainer gives in a room, and what they open.

Training may be given in person, by somebody with the knowledge to do it, in words and a language
that people understand: OSHA's training standards policy statement of 28 April 2010. Whoever was
there may take the sitting of a lesson without reading it too; the entry then says who taught it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from trainer import lessons
from trainer.calculations.periods import next_due
from trainer.config import LANGUAGES
from trainer.services import curriculum, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people, record
from trainer.store.tables import (
    Assignment,
    Person,
    TalkLesson,
    TalkPerson,
    TalkTakenBack,
    TaughtTalk,
    Worksite,
)

MODES = ("taught in person", "read aloud")
LONGEST = 12 * 60
"""Minutes of the longest talk that is believed (our own choice, no source)."""


@dataclass(frozen=True)
class Held:
    """A talk that was given, with its lessons and who was there."""

    talk: TaughtTalk
    worksite: Worksite
    lessons: tuple[str, ...]
    people: tuple[Person, ...]
    taken_back: bool = False


# Talks


def length(began: time | None, ended: time | None, minutes: int | None) -> int:
    """Return how many minutes a talk took, from its times or as they were given.

    Errors: Refusal where neither is there, where they disagree, or for no time at all.
    """
    if began and ended:
        took = (ended.hour - began.hour) * 60 + ended.minute - began.minute
        if took <= 0:
            raise Refusal(
                "The end must come after the beginning. For a talk over midnight, "
                "give the beginning and the minutes.",
                field="ended",
            )
        if minutes not in (None, took):
            raise Refusal(
                "The minutes are not those between beginning and end. Give one of them.",
                field="minutes",
            )
        minutes = took
    if not minutes or not 1 <= minutes <= LONGEST:
        raise Refusal(
            "Give the beginning and the end, or the minutes: from 1 to %(most)s.",
            field="minutes", most=LONGEST,
        )
    return minutes


def give(
    db: Session,
    by: Scribe,
    worksite: Worksite,
    *,
    once: str,
    day: date,
    began: time | None,
    minutes: int,
    language: str,
    mode: str,
    slugs: Sequence[str],
    numbers: Sequence[str],
) -> TaughtTalk:
    """Keep a talk that was given and return it; sent twice by one form, the first comes back.

    minutes     as `length` gives them
    slugs       the lessons that were taught
    numbers     of the people who were there
    Errors: Refusal without a qualification, for another worksite, for somebody who is not of it,
    for the trainer's own name, for a day to come, without lesson or people, or when the same form
    was sent with something else on it.
    """
    if not by.person.qualification:
        raise Refusal("Ask the coordinator to enter your qualification: the record names it.")
    if worksite.id not in [one.id for one in people.worksites(db, by.person.id)]:
        raise Refusal("Choose one of your worksites.")
    taught = [one for one in curriculum.choices(db, [worksite.id]) if one.slug in set(slugs)]
    if not taught or language not in LANGUAGES or mode not in MODES:
        raise Refusal(
            "Choose the lessons that you taught, the language and how you taught.", field="lesson"
        )
    there = _were_there(db, by.person, worksite, numbers)
    _is_over(by, worksite, day, began, minutes)
    talk = TaughtTalk(
        once=once, worksite_id=worksite.id, day=day, began=f"{began:%H:%M}" if began else "",
        minutes=minutes, language=language, mode=mode, trainer_id=by.person.id,
        trainer_number=by.person.number, trainer_name=by.person.name,
        qualification=by.person.qualification, recorded_at=by.now,
    )  # fmt: skip
    before = db.exec(select(TaughtTalk).where(TaughtTalk.once == once)).first()
    if before is not None:
        return _the_same(db, before, talk, taught, there)
    db.add(talk)
    db.flush()
    for lesson in taught:
        version = curriculum.keep_taught(db, lesson, by.now)
        db.add(TalkLesson(talk_id=talk.id, lesson=lesson.slug, version=version))
    for person in there:
        db.add(TalkPerson(talk_id=talk.id, person_id=person.id))
    db.flush()
    return talk


def take_back(db: Session, by: Scribe, talk: TaughtTalk) -> None:
    """Keep that a talk was recorded by mistake; a second time changes nothing.

    Errors: Refusal for somebody else's talk.
    """
    if talk.trainer_id != by.person.id:
        raise Refusal("Only the trainer who gave a talk can take it back.")
    if db.get(TalkTakenBack, talk.id) is None:
        db.add(TalkTakenBack(talk_id=talk.id, taken_back_by=by.person.id, taken_back_at=by.now))
        db.flush()


def held_at(db: Session, worksite_ids: Sequence[int], most: int) -> list[Held]:
    """Return so many talks of these worksites, the newest first."""
    query = (
        select(TaughtTalk, Worksite)
        .join(Worksite, Worksite.id == TaughtTalk.worksite_id)
        .where(TaughtTalk.worksite_id.in_(list(worksite_ids)))
        .order_by(TaughtTalk.day.desc(), TaughtTalk.id.desc())
    )
    rows = list(db.exec(query.limit(most)))
    ids = [talk.id for talk, _ in rows]
    back = set(db.exec(select(TalkTakenBack.talk_id).where(TalkTakenBack.talk_id.in_(ids))))
    taught = db.exec(select(TalkLesson).where(TalkLesson.talk_id.in_(ids))).all()
    there = db.exec(
        select(TalkPerson.talk_id, Person)
        .join(Person, Person.id == TalkPerson.person_id)
        .where(TalkPerson.talk_id.in_(ids))
        .order_by(Person.search_key)
    ).all()
    return [
        Held(
            talk, worksite,
            tuple(row.lesson for row in taught if row.talk_id == talk.id),
            tuple(person for number, person in there if number == talk.id),
            talk.id in back,
        )
        for talk, worksite in rows
    ]  # fmt: skip


def opening(db: Session, person: Person, slug: str, now: datetime) -> TaughtTalk | None:
    """Return the newest talk that lets a person take the sitting of a lesson, or None.

    A talk on or before the day of the person's last pass of the lesson taught them nothing for
    the round after it; one that is over a year old is no training of this year, 29 CFR
    1910.134(k)(5); one before the lesson was assigned again for cause is not the retraining that
    the cause asks for, (k)(5)(i)-(iii).
    """
    worksite = standing.home_worksite(db, person)
    zone = ZoneInfo(worksite.time_zone) if worksite else UTC
    today = now.astimezone(zone).date()
    back = select(TalkTakenBack.talk_id)
    query = (
        select(TaughtTalk)
        .join(TalkPerson, TalkPerson.talk_id == TaughtTalk.id)
        .join(TalkLesson, TalkLesson.talk_id == TaughtTalk.id)
        .where(
            TalkPerson.person_id.in_(people.ids(db, person)),
            TalkLesson.lesson == slug,
            TaughtTalk.day <= today,
            TaughtTalk.id.not_in(back),
        )
        .order_by(TaughtTalk.day.desc(), TaughtTalk.id.desc())
    )
    talk = db.exec(query.limit(1)).first()
    if talk is None or today > next_due(talk.day):
        return None
    passed = _last_pass(db, person, slug)
    asked_again = [
        one.assigned_at.astimezone(zone).date()
        for one in people.assignments(db, person.id)
        if _for_cause(one, slug)
    ]
    if (passed and talk.day <= passed) or any(talk.day < day for day in asked_again):
        return None
    return talk


def is_taken_back(db: Session, number: int) -> bool:
    """Say whether a talk was recorded by mistake."""
    return db.get(TalkTakenBack, number) is not None


def who_taught(db: Session, number: int, slug: str) -> dict[str, object]:
    """Return what the record says of a talk at which a lesson was taught."""
    talk = db.get(TaughtTalk, number)
    return {
        "talk": talk.id,
        "mode": talk.mode,
        "on": talk.day.isoformat(),
        "began": talk.began,
        "minutes": talk.minutes,
        "language": talk.language,
        "worksite": db.get(Worksite, talk.worksite_id).name,
        "version": db.get(TalkLesson, (number, slug)).version,
        "by": {
            "number": talk.trainer_number,
            "name": talk.trainer_name,
            "qualification": talk.qualification,
        },
    }


def _were_there(
    db: Session, trainer: Person, worksite: Worksite, numbers: Sequence[str]
) -> list[Person]:
    known = {one.number: one for one in people.at_worksite(db, worksite.id)}
    if not set(numbers) <= set(known):
        raise Refusal(
            "Tick people of the worksite. Open the page again if somebody has left.", field="person"
        )
    there = [known[number] for number in dict.fromkeys(numbers)]
    if not there:
        raise Refusal("Tick who was there.", field="person")
    if trainer.id in [one.id for one in there]:
        raise Refusal(
            "You gave this talk, so it does not count as your own training.", field="person"
        )
    return there


def _is_over(
    by: Scribe, worksite: Worksite, day: date, began: time | None, minutes: int
) -> None:
    """Refuse a talk that, by the clock of the worksite, cannot have ended yet."""
    clock = by.now.astimezone(ZoneInfo(worksite.time_zone)).replace(tzinfo=None)
    ends = datetime.combine(day, began or time()) + timedelta(minutes=minutes)
    if ends > clock:
        raise Refusal("This talk is not over yet. Record it when it was given.", field="day")


def _the_same(
    db: Session,
    before: TaughtTalk,
    talk: TaughtTalk,
    taught: Sequence[lessons.Lesson],
    there: Sequence[Person],
) -> TaughtTalk:
    """Return the talk that one form made before; with something else on it, it is refused."""
    fields = ("worksite_id", "day", "began", "minutes", "language", "mode", "trainer_id")
    slugs = db.exec(select(TalkLesson.lesson).where(TalkLesson.talk_id == before.id))
    who = db.exec(select(TalkPerson.person_id).where(TalkPerson.talk_id == before.id))
    if (
        any(getattr(before, field) != getattr(talk, field) for field in fields)
        or set(slugs) != {one.slug for one in taught}
        or set(who) != {one.id for one in there}
    ):
        raise Refusal(
            "This form was sent before, with something else on it. "
            "Take that talk back, or open the page again for a further one."
        )
    return before


def _last_pass(db: Session, person: Person, slug: str) -> date | None:
    passes = [
        entry.happened_on
        for entry, said in standing.in_force(record.of_person(db, people.numbers(db, person)))
        if said.get("lesson") == slug and entry.kind == "lesson"
    ]
    return max(passes, default=None)


def _for_cause(assignment: Assignment, slug: str) -> bool:
    return assignment.lesson == slug and assignment.reason in standing.FOR_CAUSE
