"""Assigning lessons to a person, a worksite or everyone who wears a class of respirator.

With a day and a reason; to people who come later by a standing assignment. Nothing is given
twice: whoever has a lesson open for the same reason, or has done it already, keeps it as it is.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from trainer import lessons
from trainer.reference import practice_acts, respirator_classes, retraining_reasons
from trainer.services import curriculum, recording, sitting, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import assignments, people, site_lessons
from trainer.store.tables import Assignment, Person, StandingAssignment, Worksite

FULL = ""
"""What stands for the full training among the lessons of a standing assignment."""

ANSWERS = "answers"
"""What was seen, where it was wrong answers and no act of practice."""

MOST_DAYS = 365


@dataclass(frozen=True)
class Share:
    """What one person gets of what is to be assigned.

    new     lessons that the person gets
    open    those that are assigned for the same reason and open
    done    those that are done: passed or credited in this round
    """

    person: Person
    new: tuple[str, ...]
    open: tuple[str, ...]
    done: tuple[str, ...]


def lessons_for(db: Session, worksite_ids: Collection[int]) -> list[lessons.Lesson]:
    """Return the lessons that can be assigned to people of these worksites: ours, and theirs."""
    return curriculum.choices(db, worksite_ids)


def course() -> list[str]:
    """Return the lessons of the full training that are the same for everybody."""
    return [lesson.slug for lesson in lessons.load().all]


def matter_for(acts: Iterable[str]) -> list[str]:
    """Return the lessons that matter for acts of practice that were not seen well, (k)(5)(ii)."""
    named = [act.lessons for act in map(practice_acts.get, acts) if act]
    wanted = {slug for slugs in named for slug in slugs}
    return [slug for slug in course() if slug in wanted]


def seen_of(db: Session, person: Person) -> tuple[list[str], dict[str, int]]:
    """Return what was seen of a person that speaks for retraining, (k)(5)(ii).

    The acts not seen unprompted when practice was last watched, each class of respirator for
    itself; and by lesson how many answers were wrong in the last sitting of each, refreshers too.
    """
    history = standing.History(db, person)
    last = {said["respirator"]["class"]: said for _, said in history.of("practice")}
    acts = {
        act["act"] for said in last.values() for act in said["acts"] if act["seen"] != "unprompted"
    }
    closed = {one.lesson: one for one in sitting.of_person(db, person) if one.closed_at}
    wrong = Counter(
        item.lesson
        for one in closed.values()
        for item in sitting.shown(db, one)
        if item.item.right is False and item.lesson
    )
    ordered = {slug: wrong[slug] for slug in course() if slug in wrong}
    return [act.slug for act in practice_acts.rows() if act.slug in acts], ordered


def wearers(db: Session, worksite_ids: Iterable[int], class_slug: str) -> list[Person]:
    """Return the workers of these worksites who wear a class of respirator now, by name."""
    worn = assignments.wear(db, class_slug)
    found = {
        one.id: one
        for worksite in worksite_ids
        for one in people.at_worksite(db, worksite, role="worker")
        if one.id in worn
    }
    return sorted(found.values(), key=lambda one: one.search_key)


def plan(
    db: Session, by: Scribe, persons: Sequence[Person], slugs: Sequence[str], due: date, reason: str
) -> list[Share]:
    """Return what each of these people would get; nothing is written.

    slugs   of lessons, or FULL for all that the person learns as a whole; of a worksite's lesson
            only its people get something
    Errors: Refusal for an unknown lesson or reason, or a day that is past.
    """
    known = _known(db, persons)
    if not slugs or not set(slugs) <= {FULL, *course()}.union(*known.values()):
        raise Refusal("Choose at least one lesson.", field="lesson")
    if reason not in {row.slug for row in retraining_reasons.rows()}:
        raise Refusal("Choose the reason for this training.", field="reason")
    if any(due < standing.today(db, person, by.now, by.zone) for person in persons):
        raise Refusal("The due day is past. Choose today or a later day.", field="due")
    return [_share(db, by, person, slugs, reason, known[person.id]) for person in persons]


def _known(db: Session, persons: Sequence[Person]) -> dict[int, set[str]]:
    """Return by person which lessons can be assigned to them: ours, and their worksites'."""
    places = {one.id: {at.id for at in people.worksites(db, one.id)} for one in persons}
    theirs = site_lessons.taught_at(db, set().union(*places.values()))
    return {
        who: {*course(), *(site_lessons.slug_of(one.id) for one in theirs if one.worksite_id in at)}
        for who, at in places.items()
    }


def assign(
    db: Session,
    by: Scribe,
    person: Person,
    slugs: Sequence[str],
    due: date,
    reason: str,
    seen: Sequence[str] = (),
) -> list[Assignment]:
    """Assign lessons to a person; one that is open for the same reason, or done, stays as it is.

    seen    what was seen that makes it needed: acts of practice, or ANSWERS
    Errors: Refusal as in `plan`, or for something seen that is not known.
    """
    if not set(seen) <= {ANSWERS, *(act.slug for act in practice_acts.rows())}:
        raise Refusal("Choose what was seen from the list.")
    [share] = plan(db, by, [person], slugs, due, reason)
    return _hand_out(db, by, share, due, reason, seen)


def _hand_out(
    db: Session, by: Scribe, share: Share, due: date, reason: str, seen: Sequence[str] = ()
) -> list[Assignment]:
    person = share.person
    made = [
        Assignment(
            person_id=person.id,
            lesson=slug,
            due=due,
            reason=reason,
            assigned_by=by.person.id,
            assigned_at=by.now,
            seen=" ".join(dict.fromkeys(seen)),
        )
        for slug in share.new
    ]
    if made:
        db.add_all(made)
        db.flush()
        if reason in standing.FOR_CAUSE:
            recording.record_retraining(
                db, by, person, once=f"retraining:{made[0].id}", reason=reason,
                lessons=share.new, seen=list(dict.fromkeys(seen)), due=due,
                assigned=[one.id for one in made],
            )  # fmt: skip
        standing.refresh(db, person, standing.today(db, person, by.now, by.zone))
    return made


def assign_all(
    db: Session, by: Scribe, persons: Sequence[Person], slugs: Sequence[str], due: date, reason: str
) -> int:
    """Assign lessons to these people; return how many of them got something."""
    shares = plan(db, by, persons, slugs, due, reason)
    return sum(bool(_hand_out(db, by, share, due, reason)) for share in shares)


def begin_standing(
    db: Session,
    by: Scribe,
    worksite: Worksite,
    slugs: Sequence[str],
    *,
    class_slug: str = "",
    days: int | None = None,
) -> list[StandingAssignment]:
    """Assign lessons, or the FULL training, to whoever comes to a worksite from now on.

    class_slug  only those who wear this class, from when they first get one; "" for everybody
    days        after coming; None: before first wearing
    One that stands there already in the same words is not set up a second time.
    Errors: Refusal for an unknown lesson or class, or days that are not from 1 to MOST_DAYS.
    """
    theirs = site_lessons.taught_at(db, [worksite.id])
    known = {FULL, *course(), *(site_lessons.slug_of(one.id) for one in theirs)}
    if not slugs or not set(slugs) <= known:
        raise Refusal("Choose at least one lesson.", field="lesson")
    if class_slug and class_slug not in {row.slug for row in respirator_classes.recognised()}:
        raise Refusal("Choose a class of respirator from the list.", field="whom")
    if days is not None and not 1 <= days <= MOST_DAYS:
        raise Refusal("Give the number of days as a whole number from 1 to 365.", field="days")
    there = {
        (row.lesson, row.class_slug, row.days)
        for row in assignments.standing_at(db, [worksite.id])
    }
    made = [
        StandingAssignment(
            worksite_id=worksite.id,
            lesson=slug,
            class_slug=class_slug,
            days=days,
            begun_at=by.now,
            begun_by=by.person.id,
        )
        for slug in dict.fromkeys(slugs)
        if (slug, class_slug, days) not in there
    ]
    db.add_all(made)
    db.flush()
    # It meets nobody who is there already, so no tag changes.
    return made


def end_standing(db: Session, by: Scribe, row: StandingAssignment) -> None:
    """End a standing assignment: it asks nothing of anybody any more, and is kept."""
    if row.ended_at is not None:
        return
    workers = people.at_worksite(db, row.worksite_id)
    met = assignments.owed(db, [one.id for one in workers])
    had = {one.person_id for one in met if one.row.id == row.id}
    row.ended_at, row.ended_by = by.now, by.person.id
    db.add(row)
    db.flush()
    for person in workers:
        if person.id in had:
            standing.refresh(db, person, standing.today(db, person, by.now, by.zone))


def withdraw(db: Session, by: Scribe, number: int) -> Person:
    """Withdraw an assignment; it is kept, with the moment. Return the person it was for."""
    row = db.get(Assignment, number)
    if row is None:
        raise Refusal("This assignment does not exist.")
    if row.reason in standing.FOR_CAUSE:
        # It stops the person from wearing, (k)(5); only passing the lesson ends that.
        raise Refusal("Retraining asked for cause cannot be withdrawn; it ends with the lesson.")
    person = db.get(Person, row.person_id)
    if row.withdrawn_at is None:
        row.withdrawn_at = by.now
        db.add(row)
        db.flush()
        standing.refresh(db, person, standing.today(db, person, by.now, by.zone))
    return person


def _share(
    db: Session,
    by: Scribe,
    person: Person,
    slugs: Sequence[str],
    reason: str,
    known: Collection[str],
) -> Share:
    history = standing.History(db, person)
    today = standing.today(db, person, by.now, by.zone)
    open_ = {
        item.lesson
        for item in history.assignments
        if item.reason == reason and not history.fulfilled(item)
    }
    # What is asked for cause is done anew, whenever it was done before: (k)(5).
    done = frozenset() if reason in standing.FOR_CAUSE else history.done(today, reason)
    asked = dict.fromkeys(history.course if FULL in slugs else slugs)
    wanted = [slug for slug in asked if slug in known]
    return Share(
        person,
        new=tuple(slug for slug in wanted if slug not in open_ and slug not in done),
        open=tuple(slug for slug in wanted if slug in open_),
        done=tuple(slug for slug in wanted if slug in done and slug not in open_),
    )
