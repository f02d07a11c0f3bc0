"""Assigning lessons to a person or a whole worksite, with a day and a reason."""

from datetime import date

from sqlmodel import Session

from trainer.reference import retraining_reasons
from trainer.services import curriculum, standing
from trainer.services.recording import Scribe
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import Assignment, Person, Worksite


def assign(
    db: Session, by: Scribe, person: Person, slugs: list[str], due: date, reason: str
) -> list[Assignment]:
    """Assign lessons to a person; one that is already open for the same reason stays as it is.

    Errors: Refusal for an unknown lesson or reason, a day that is past, or nobody of one's own.
    """
    mine = people.worksites(db, by.person.id)
    known = {lesson.slug for lesson in curriculum.choices(db, mine)}
    if not slugs or not set(slugs) <= known:
        raise Refusal("Choose at least one lesson.")
    if reason not in {row.slug for row in retraining_reasons.rows()}:
        raise Refusal("Choose the reason for this training.")
    if due < standing.today(db, person, by.now, by.zone):
        raise Refusal("The due day is past. Choose today or a later day.")
    history = standing.History(db, person)
    open_already = {
        item.lesson
        for item in history.assignments
        if item.reason == reason and not history.done_since(item.lesson, item.assigned_at)
    }
    made = [
        Assignment(
            person_id=person.id,
            lesson=slug,
            due=due,
            reason=reason,
            assigned_by=by.person.id,
            assigned_at=by.now,
        )
        for slug in slugs
        if slug not in open_already
    ]
    db.add_all(made)
    db.flush()
    standing.refresh(db, person, standing.today(db, person, by.now, by.zone))
    return made


def assign_worksite(
    db: Session, by: Scribe, worksite: Worksite, slugs: list[str], due: date, reason: str
) -> int:
    """Assign lessons to every worker of a worksite; return to how many."""
    workers = people.at_worksite(db, worksite.id, role="worker")
    return sum(bool(assign(db, by, person, slugs, due, reason)) for person in workers)


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
