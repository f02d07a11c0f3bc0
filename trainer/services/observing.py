"""Practice, watched by a trainer act by act and signed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session, select

from trainer.reference import practice_acts, respirator_classes
from trainer.services import recording
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.tables import (
    Entry,
    Membership,
    Person,
    Practice,
    PracticeAct,
    Respirator,
    Standing,
)

SEEN = ("unprompted", "helped", "not_yet")
AT_ONCE = 12
"""Practices that one trainer can watch at one go, at most (our own choice, no source)."""


@dataclass(frozen=True)
class Wearer:
    """Somebody with a respirator whose practice can be watched, and whether it waits."""

    person: Person
    respirator: Respirator
    waits: bool  # not passed yet, or due soon


def acts_for(respirator: Respirator, short: bool = False) -> list[practice_acts.PracticeAct]:
    """Return the acts to watch for a respirator: a loose-fitting one has no seal to check.

    short   only those of a short putting on, watched for a refresher
    """
    acts = practice_acts.acts_for(respirator_classes.get(respirator.class_slug).tight)
    return [act for act in acts if act.in_refresher or not short]


def begin(
    db: Session,
    by: Scribe,
    person: Person,
    respirator: Respirator,
    refreshes: int | None = None,
) -> Practice:
    """Return the practice this trainer has open with a person and respirator, or a new one.

    refreshes   number of the training's entry, for a short putting on
    Errors: Refusal for one's own practice, or without a common worksite.
    """
    _may_watch(db, by.person, person)
    query = select(Practice).where(
        Practice.person_id == person.id,
        Practice.respirator_id == respirator.id,
        Practice.trainer_id == by.person.id,
        Practice.refreshes == refreshes,
        Practice.signed_at.is_(None),
    )
    practice = db.exec(query).first()
    if practice is None:
        practice = Practice(
            person_id=person.id,
            respirator_id=respirator.id,
            trainer_id=by.person.id,
            refreshes=refreshes,
            started_at=by.now,
        )
        db.add(practice)
        db.flush()
    return practice


def wearers(db: Session, trainer: Person, worksite_id: int, soon: date) -> list[Wearer]:
    """Return who wears a respirator at a worksite because they must, by name; the trainer aside.

    soon    a practice that falls due by this day waits as well
    """
    query = (
        select(Standing, Person, Respirator)
        .join(Person, Person.id == Standing.person_id)
        .join(Respirator, Respirator.id == Standing.respirator_id)
        .join(Membership, Membership.person_id == Person.id)
        .where(
            Membership.worksite_id == worksite_id,
            Respirator.use != "voluntary",
            Respirator.ended_at.is_(None),
            Person.left_on.is_(None),
            Person.id != trainer.id,
        )
        .order_by(Person.search_key, Respirator.id)
    )
    return [
        Wearer(person, worn, "practice" in where.missing.split() or _is_due(where, soon))
        for where, person, worn in db.exec(query)
    ]


def begin_several(db: Session, by: Scribe, respirator_ids: Sequence[int]) -> list[Practice]:
    """Return a practice for each of these respirators, as `begin` does, one after the other.

    Errors: Refusal for none, for too many, for one that is not worn any more, and as in `begin`.
    """
    if not 1 <= len(set(respirator_ids)) <= AT_ONCE:
        raise Refusal("Tick from 1 to %(most)s people.", most=AT_ONCE)
    found = [db.get(Respirator, number) for number in dict.fromkeys(respirator_ids)]
    if any(one is None or one.ended_at for one in found):
        raise Refusal("One of these respirators is not worn any more. Open the page again.")
    return [begin(db, by, db.get(Person, one.person_id), one) for one in found]


def own(db: Session, number: int, trainer: Person) -> Practice | None:
    """Return a practice that this trainer watches or watched."""
    practice = db.get(Practice, number)
    return practice if practice and practice.trainer_id == trainer.id else None


def seen(db: Session, practice: Practice) -> dict[str, str]:
    """Return how each act marked so far was seen."""
    return {act.act: act.seen for act in _marked(db, practice)}


def asked_of(db: Session, practice: Practice) -> list[practice_acts.PracticeAct]:
    """Return the acts to watch in a practice."""
    respirator = db.get(Respirator, practice.respirator_id)
    return acts_for(respirator, short=practice.refreshes is not None)


def mark(db: Session, by: Scribe, practice: Practice, marks: dict[str, str]) -> None:
    """Keep how acts were seen; acts and marks that do not exist are refused.

    Errors: Refusal once it is signed.
    """
    if practice.signed_at:
        raise Refusal("This practice is signed. Begin a new one to watch again.")
    known = {act.slug for act in asked_of(db, practice)}
    for slug, how in marks.items():
        if slug not in known or how not in SEEN:
            raise Refusal("Mark each act as seen unprompted, with help, or not yet.")
        row = db.get(PracticeAct, (practice.id, slug)) or PracticeAct(
            practice_id=practice.id, act=slug, seen=how, at=by.now
        )
        row.seen, row.at = how, by.now
        db.add(row)
    db.flush()


def sign(db: Session, by: Scribe, practice: Practice) -> Entry | None:
    """Sign a practice into the record: passed when every act was seen unprompted.

    A short putting on for a refresher is signed, but makes no entry: None comes back.
    Signed a second time, the first entry comes back.
    Errors: Refusal while an act is unmarked, for one's own, or without a qualification named.
    """
    person = db.get(Person, practice.person_id)
    respirator = db.get(Respirator, practice.respirator_id)
    _may_watch(db, by.person, person)
    if not by.person.qualification:
        raise Refusal("Ask the coordinator to enter your qualification: the record names it.")
    asked = asked_of(db, practice)
    marked = {act.act: act for act in _marked(db, practice)}
    if len(marked) < len(asked):
        raise Refusal("Mark every act before you sign.")
    if practice.signed_at is None:
        practice.signed_at = by.now
        practice.passed = all(act.seen == "unprompted" for act in marked.values())
        db.add(practice)
    if practice.refreshes is not None:
        db.flush()
        return None
    acts = [marked[act.slug] for act in asked]
    return recording.record_practice(db, by, person, practice, respirator, acts)


def _marked(db: Session, practice: Practice) -> list[PracticeAct]:
    return list(db.exec(select(PracticeAct).where(PracticeAct.practice_id == practice.id)))


def _is_due(where: Standing, soon: date) -> bool:
    # Training as a whole falls due together with the practice that completed it.
    kinds = ("practice", "training")
    return where.next_due is not None and where.next_due <= soon and where.next_due_kind in kinds


def _may_watch(db: Session, trainer: Person, person: Person) -> None:
    if trainer.id == person.id:
        raise Refusal("Nobody can sign their own practice. Ask another trainer to watch.")
    if not people.share_a_worksite(db, trainer.id, person.id):
        raise Refusal("This person does not belong to one of your worksites.")
