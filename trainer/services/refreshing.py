"""Refreshers: five questions and problems of mixed kinds, about 1, 3 and 6 months after training.

They show a person, and the trainer, what has faded. Nothing of them goes into the record: what
they show can be made a reason for retraining by the trainer, 29 CFR 1910.134(k)(5)(ii). At six
months the trainer also watches a short putting on, since technique fades first.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from itertools import groupby

from sqlalchemy import Row, bindparam
from sqlalchemy import select as columns_of
from sqlalchemy.orm import aliased
from sqlmodel import Session, func, select

from trainer import bank, lessons
from trainer.calculations.periods import next_due
from trainer.services import learning, own_numbers, settings, sitting, standing
from trainer.services.refusal import Refusal
from trainer.store import often, record
from trainer.store.tables import (
    Assignment,
    Entry,
    LessonAnswer,
    Membership,
    MergedPerson,
    Person,
    Practice,
    Sitting,
    SittingItem,
)

MONTHS = (1, 3, 6)
"""Months after training at which one is offered. Source: Cepeda 2008 for the first gap (5 to 10 %
of a year), Harber 2014 (JOEH 11:826) for six months; three is between them, our own choice."""

LENGTH, PROBLEMS = 5, 2
WATCHED_AT = MONTHS[-1]


@dataclass(frozen=True)
class Offer:
    """A refresher that waits for a person."""

    months: int
    after: int  # the number of the training's entry
    begun: Row | None  # the sitting


@dataclass(frozen=True)
class Look:
    """Somebody whom the trainer should look at, and why: "watch" or "faded"."""

    person: Person
    why: str
    on: date


def offer(
    db: Session, person: Person, today: date, history: standing.History
) -> Offer | None:
    """Return the refresher that waits for a person now: the latest that has come, if any.

    None once it is done, and when the lessons are open again anyway.
    """
    months, after = _come(db, history.last_training(), today)
    if months is None or history.retraining():
        return None
    there = _of_training(db, person, after, months)
    return None if there and there.closed_at else Offer(months, after, there)


def begin(db: Session, person: Person, today: date, now: datetime) -> Sitting:
    """Return the refresher begun, or draw the one that waits.

    Errors: Refusal when none waits.
    """
    waiting = offer(db, person, today, standing.History(db, person))
    if waiting is None:
        raise Refusal("No refresher is waiting for you now.")
    if waiting.begun:
        return db.get(Sitting, waiting.begun.id)
    ordinal = len(sitting.of_person(db, person, sitting.NO_LESSON)) + 1
    seed = learning.seed(person, "refresher", ordinal)
    questions, problems = _chosen(db, person, seed)
    return sitting.open_drawn(
        db,
        Sitting(
            person_id=person.id,
            lesson=sitting.NO_LESSON,
            ordinal=ordinal,
            months=waiting.months,
            after=waiting.after,
            seed=seed,
            lesson_version=lessons.combined_version(
                [one.version for one in questions] + [one.version for one, _ in problems]
            ),
            started_at=now,
        ),
        questions,
        problems,
    )


def results(db: Session, person: Person) -> list[Sitting]:
    """Return a person's refreshers that are done, newest first."""
    found = sitting.of_person(db, person, sitting.NO_LESSON)
    return [one for one in reversed(found) if one.closed_at]


def faded(db: Session, refresher: Sitting) -> list[str]:
    """Return the lessons of what was not right in a refresher, in the order of the course."""
    missed = {one.lesson for one in sitting.shown(db, refresher) if one.item.right is False}
    return [one.slug for one in lessons.load().all if one.slug in missed]


def watch_after(db: Session, history: standing.History, person: Person, today: date) -> int | None:
    """Return the training for which a short putting on is to be watched now, or None."""
    months, after = _come(db, history.last_training(), today)
    if months != WATCHED_AT:
        return None
    done = db.exec(
        select(Practice.id).where(
            Practice.person_id == person.id,
            Practice.refreshes == after,
            Practice.signed_at.is_not(None),
        )
    ).first()
    return None if done else after


def watched(db: Session, person: Person) -> list[Practice]:
    """Return the short puttings on that were watched and signed, newest first."""
    query = (
        select(Practice)
        .where(
            Practice.person_id == person.id,
            Practice.refreshes.is_not(None),
            Practice.signed_at.is_not(None),
        )
        .order_by(Practice.id.desc())
    )
    return list(db.exec(query))


def to_look_at(
    db: Session, worksites: Sequence[int], today: date, zone: tzinfo = UTC
) -> list[Look]:
    """Return whom to look at, at these worksites: who is to be watched, and whose knowledge faded.

    zone    the time zone in which a moment becomes a day
    Read in two questions to the database, however many people there are.
    """
    return [*_to_watch(db, worksites, today), *_faded_since(db, worksites, today, zone)]


def _come(db: Session, training: Entry | None, today: date) -> tuple[int | None, int]:
    """Return the latest of the months that has come since a training, and its entry's number."""
    if training is None:
        return None, 0
    # Near the yearly date the lessons themselves are open again.
    year = standing.counts_from(training, record.body(training))
    again = next_due(year) - timedelta(days=settings.of(db).begin_again_days)
    come = [one for one in MONTHS if next_due(training.happened_on, one) <= today < again]
    return (come[-1] if come else None), training.number


_OF_TRAINING = often.Question(columns_of(*often.columns(Sitting)).where(
    Sitting.person_id == bindparam("person"),
    Sitting.after == bindparam("after"),
    Sitting.months == bindparam("months"),
))


def _of_training(db: Session, person: Person, after: int, months: int) -> Row | None:
    about = {"person": person.id, "after": after, "months": months}
    return often.first(db, _OF_TRAINING, **about)


def _chosen(
    db: Session, person: Person, seed: int
) -> tuple[list[bank.Question], list[tuple[bank.Exercise, bank.Problem]]]:
    """Return what this person missed, then what everybody must know, from many lessons.

    One problem at least has the numbers of the person's worksite, where an exercise can take them.
    """
    found = bank.load()
    last = dict(
        db.exec(
            select(SittingItem.slug, SittingItem.right)
            .join(Sitting, Sitting.id == SittingItem.sitting_id)
            .where(Sitting.person_id == person.id, SittingItem.right.is_not(None))
            .order_by(SittingItem.id)
        ).all()
    )
    slipped = set(
        db.exec(
            select(LessonAnswer.exercise)
            .where(LessonAnswer.person_id == person.id, LessonAnswer.verdict == "wrong")
            .distinct()
        )
    )
    taught = [one for one in found.exercises.values() if one.lesson]
    exercises = bank.shuffle(sorted(taught, key=lambda one: one.slug), seed)
    exercises.sort(key=lambda one: (last.get(one.slug) is not False, one.slug not in slipped))
    questions = bank.shuffle(
        sorted(found.questions.values(), key=lambda one: one.slug), seed
    )
    questions.sort(key=lambda one: (last.get(one.slug) is not False, not one.must_know))
    told = own_numbers.facts(db, person)
    problems = bank.draw_problems(_mixed(exercises), PROBLEMS, seed, told)
    return _mixed(questions)[: LENGTH - len(problems)], problems


def _mixed(ordered: Iterable[bank.Question | bank.Exercise]) -> list:
    """Return the same, the first of each lesson before the second of any."""
    met: dict[str, int] = {}
    rounds = []
    for one in ordered:
        met[one.lesson] = met.get(one.lesson, 0) + 1
        rounds.append((met[one.lesson], one))
    return [one for _, one in sorted(rounds, key=lambda pair: pair[0])]


def _at(worksites: Sequence[int]):
    return Person.id.in_(
        select(Membership.person_id).where(Membership.worksite_id.in_(list(worksites)))
    )


def _to_watch(db: Session, worksites: Sequence[int], today: date) -> list[Look]:
    # Whose record an entry is in: after a merge, a number may stand for another one's.
    numbered = aliased(Person)
    owner = func.coalesce(MergedPerson.into_id, numbered.id)
    newest = (
        select(func.max(Entry.number))
        .join(numbered, numbered.number == Entry.person_number)
        .join(MergedPerson, MergedPerson.person_id == numbered.id, isouter=True)
        .where(Entry.kind == "training", Entry.number.not_in(standing.struck(db, "training")))
        .group_by(owner)
    )
    signed = select(Practice.refreshes).where(
        Practice.refreshes.is_not(None), Practice.signed_at.is_not(None)
    )
    rows = db.exec(
        select(Person, Entry)
        .join(numbered, numbered.number == Entry.person_number)
        .join(MergedPerson, MergedPerson.person_id == numbered.id, isouter=True)
        .join(Person, Person.id == owner)
        .where(
            Entry.number.in_(newest),
            Entry.number.not_in(signed),
            Entry.happened_on <= today - timedelta(days=180),
            Person.left_on.is_(None),
            _at(worksites),
        )
        .order_by(Entry.happened_on, Entry.number)
    )
    return [
        Look(person, "watch", next_due(entry.happened_on, WATCHED_AT))
        for person, entry in rows
        if _come(db, entry, today)[0] == WATCHED_AT
    ]


def _faded_since(
    db: Session, worksites: Sequence[int], today: date, zone: tzinfo
) -> list[Look]:
    """Return whose newest refresher was not enough, with nothing assigned for it since."""
    rows = db.exec(
        select(Person, Sitting)
        .join(Sitting, Sitting.person_id == Person.id)
        .where(
            Sitting.months.is_not(None),
            Sitting.closed_at.is_not(None),
            Person.left_on.is_(None),
            _at(worksites),
        )
        .order_by(Person.id, Sitting.id)
    )
    since = today - timedelta(days=settings.of(db).begin_again_days)
    newest = [list(pairs)[-1] for _, pairs in groupby(rows, key=lambda pair: pair[0].id)]
    assigned = dict(
        db.exec(
            select(Assignment.person_id, func.max(Assignment.assigned_at)).group_by(
                Assignment.person_id
            )
        ).all()
    )
    return [
        Look(person, "faded", one.closed_at.astimezone(zone).date())
        for person, one in newest
        if one.passed is False
        and (person.id not in assigned or assigned[person.id] <= one.closed_at)
        and one.closed_at.astimezone(zone).date() > since
    ]
