"""Leaving and coming back: each an entry of the record, and what follows from it.

What of the record still counts when somebody comes back is worked out from dates, as always.
"""

from datetime import date

from sqlmodel import Session

from trainer.services import joining, recording, signing_in, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people, record
from trainer.store.tables import Entry, Person, PersonRole


def leave(db: Session, by: Scribe, person: Person, *, once: str, on: date) -> Entry:
    """Record that a person has left, and let them in no more; their record stays.

    Their respirators end. Their worksites stay named with them, for whoever reads the record.
    on      the last day of employment
    Errors: Refusal for a day to come, for oneself, for whoever has left, or where nobody would
    be left who coordinates.
    """
    done = record.done(db, once)
    if done:
        return done
    person = db.get(Person, person.id)
    if by.person.id == person.id:
        raise Refusal("Nobody can record their own leaving. Ask another coordinator.")
    if person.left_on:
        raise Refusal("This person has left already.")
    for role in ("coordinator", people.MEDICAL):
        if role in people.roles(db, person.id):
            joining.keep_one(db, person, role)
    entry = recording.record_left(db, by, person, once=once, on=on)
    for respirator in people.respirators(db, person.id):
        respirator.ended_at = by.now
        db.add(respirator)
    signing_in.shut_out(db, by.person, person, by.now)
    # Whoever comes back to coordinate is given this right anew.
    right = db.get(PersonRole, (person.id, people.MEDICAL))
    if right:
        db.delete(right)
    person.left_on = on
    db.add(person)
    db.flush()
    standing.refresh(db, person, standing.today(db, person, by.now, by.zone))
    return entry


def come_back(
    db: Session, by: Scribe, person: Person, *, once: str, on: date, worksites: list[int]
) -> Entry:
    """Record that a person has come back, to these worksites; a one-time code lets them in.

    They keep their roles. Respirators are given anew.
    on      the first day of being back
    Errors: Refusal for a day to come or before the leaving, without a worksite, for whoever has
    not left.
    """
    done = record.done(db, once)
    if done:
        return done
    person = db.get(Person, person.id)
    if person.left_on is None:
        raise Refusal("This person has not left.")
    if people.is_merged(db, person):
        raise Refusal("This record was joined to another one, which goes on.")
    if on < person.left_on:
        raise Refusal(
            "The day of coming back must not be before the day of leaving.", field="on"
        )
    roles = people.roles(db, person.id) - {people.MEDICAL}
    if not worksites and roles != {"coordinator"}:
        raise Refusal("Choose at least one worksite.", field="worksites")
    joining.move(db, person, worksites, by.now, anew=True)
    person.left_on = None
    db.add(person)
    db.flush()
    return recording.record_returned(db, by, person, once=once, on=on)
