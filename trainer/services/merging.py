"""Joining two records of one person: one goes on, the other stays to be read.

Entries are never touched: they keep the number that they were made with, and from then on both
numbers are the person's (`people.numbers`). No button undoes it, so it is asked for with both
side by side.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, delete, select

from trainer.services import joining, learning, recording, signing_in, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people, record
from trainer.store.tables import (
    Assignment,
    Entry,
    LessonPlace,
    Membership,
    MergedPerson,
    Need,
    PaperSitting,
    Person,
    Practice,
    Respirator,
    Sitting,
    Standing,
    Talk,
    WorkerQuestion,
    Worksite,
)

GO_OVER = (Respirator, Assignment, WorkerQuestion, Need, Practice, Talk)
"""What of the other record goes over to the one that goes on. Sittings stay where they were begun:
their problems were drawn from the seed of that record."""


@dataclass(frozen=True)
class Side:
    """One of two records that may be of one person."""

    person: Person
    numbers: tuple[str, ...]
    roles: frozenset[str]
    worksites: list[Worksite]
    respirators: list[Respirator]
    entries: list[Entry]
    open_questions: int
    open_sittings: int

    @property
    def newest(self) -> Entry | None:
        """Return the newest entry."""
        return self.entries[-1] if self.entries else None


def side(db: Session, person: Person) -> Side:
    """Return what is shown of a record before it is joined to another."""
    asked = select(WorkerQuestion.id).where(WorkerQuestion.person_id == person.id)
    begun = select(Sitting.id).where(Sitting.person_id == person.id, Sitting.closed_at.is_(None))
    return Side(
        person=person,
        numbers=people.numbers(db, person),
        roles=people.roles(db, person.id),
        worksites=people.worksites(db, person.id),
        respirators=people.respirators(db, person.id),
        entries=record.of_person(db, people.numbers(db, person)),
        open_questions=len(db.exec(asked).all()),
        open_sittings=len(db.exec(begun).all()),
    )


def refuse_pair(db: Session, one: Person, other: Person) -> None:
    """Refuse two records that cannot be joined. Errors: Refusal."""
    if one.id == other.id:
        raise Refusal("This is one and the same record. Give the number of the other one.",
                      field="other")  # fmt: skip
    if people.is_merged(db, one) or people.is_merged(db, other):
        raise Refusal("One of these records was joined to another one already.", field="other")


def merge(db: Session, by: Scribe, keeps: Person, other: Person) -> Entry:
    """Join two records of one person; sent twice, or by two at once, it is done once.

    keeps   the record that goes on, with its name, number, roles and way of signing in
    other   the record that ends: its entries stay as they are, and are the person's from now on
    Errors: Refusal for one and the same record, for one that was joined already, or where nobody
    would be left who coordinates.
    """
    # As they stand now: the page was read before this session began.
    keeps, other = db.get(Person, keeps.id), db.get(Person, other.id)
    before = db.get(MergedPerson, other.id)
    if before and before.into_id == keeps.id:
        return record.done(db, _deed(other))
    refuse_pair(db, keeps, other)
    _keep_one_of_each(db, keeps, other)
    _refuse_paper(db, other)
    entry = recording.record_merged(db, by, keeps, other, once=_deed(other))
    for table in GO_OVER:
        for row in db.exec(select(table).where(table.person_id == other.id)):
            row.person_id = keeps.id
            db.add(row)
    _bring_worksites(db, keeps, other)
    _bring_places(db, keeps, other)
    signing_in.shut_out(db, by.person, other, by.now)
    db.exec(delete(Standing).where(Standing.person_id == other.id))
    today = standing.today(db, keeps, by.now, by.zone)
    if other.left_on is None:
        other.left_on = today
    db.add(other)
    # What was merged into the other before is the kept one's now, at one step.
    for row in db.exec(select(MergedPerson).where(MergedPerson.into_id == other.id)):
        row.into_id = keeps.id
        db.add(row)
    db.add(
        MergedPerson(
            person_id=other.id, into_id=keeps.id, merged_at=by.now, merged_by=by.person.id
        )
    )
    _keep_findable(db, keeps)
    db.flush()
    # Two halves of a training may be a whole now.
    recording.look_again(db, by, keeps)
    return entry


def unfinished(db: Session, person: Person) -> list[Sitting]:
    """Return the sittings that were begun under another number of a person and never closed."""
    ids = [one for one in people.ids(db, person) if one != person.id]
    query = (
        select(Sitting)
        .where(Sitting.person_id.in_(ids), Sitting.closed_at.is_(None), Sitting.lesson != "")
        .order_by(Sitting.id)
    )
    return list(db.exec(query))


def earlier_sittings(db: Session, person: Person) -> list[Sitting]:
    """Return the sittings that were closed under another number of a person."""
    ids = [one for one in people.ids(db, person) if one != person.id]
    query = (
        select(Sitting)
        .where(Sitting.person_id.in_(ids), Sitting.closed_at.is_not(None), Sitting.lesson != "")
        .order_by(Sitting.id)
    )
    return list(db.exec(query))


def _deed(other: Person) -> str:
    # A record is joined to another one once for ever, whoever asks for it.
    return f"merge:{other.id}"


def _keep_one_of_each(db: Session, keeps: Person, other: Person) -> None:
    """Refuse to end the last record that coordinates: the one that goes on keeps its own roles."""
    has = people.roles(db, other.id)
    for role in ("coordinator", people.MEDICAL):
        if role in has and other.left_on is None:
            joining.keep_one(db, other, role)
    if keeps.left_on is not None and other.left_on is None:
        raise Refusal(
            "The record that is to go on is of somebody who has left, and the other is not. "
            "Let the other one go on, or record first that they came back."
        )


def _refuse_paper(db: Session, other: Person) -> None:
    """Refuse while a sitting on paper waits: what was written on it would be lost."""
    waiting = (
        select(PaperSitting.code)
        .join(Sitting, Sitting.id == PaperSitting.sitting_id)
        .where(
            Sitting.person_id == other.id,
            Sitting.closed_at.is_(None),
            PaperSitting.withdrawn_at.is_(None),
        )
    )
    code = db.exec(waiting).first()
    if code:
        raise Refusal(
            "A sitting on paper of %(name)s, with the code %(code)s, is not entered yet. Enter it "
            "or withdraw it first.", name=other.name, code=code,
        )


def _bring_worksites(db: Session, keeps: Person, other: Person) -> None:
    """Let the person belong to the worksites of both, since the earlier day of coming."""
    mine = {one.worksite_id: one for one in _memberships(db, keeps.id)}
    for row in _memberships(db, other.id):
        there = mine.get(row.worksite_id)
        if there is None:
            since = row.joined_at or other.added_at
            db.add(Membership(
                person_id=keeps.id, worksite_id=row.worksite_id, joined_at=since
            ))  # fmt: skip
        else:
            there.joined_at = _earlier(there.joined_at, row.joined_at)
            db.add(there)
        db.delete(row)
    db.flush()


def _earlier(one: datetime | None, other: datetime | None) -> datetime | None:
    """Return the earlier day of coming; None is as early as the person was added."""
    return None if one is None or other is None else min(one, other)


def _memberships(db: Session, person_id: int) -> list[Membership]:
    return list(db.exec(select(Membership).where(Membership.person_id == person_id)))


def _bring_places(db: Session, keeps: Person, other: Person) -> None:
    """Bring along where the other was in lessons that the one who goes on has not begun."""
    begun = set(db.exec(select(LessonPlace.lesson).where(LessonPlace.person_id == keeps.id)))
    for row in db.exec(select(LessonPlace).where(LessonPlace.person_id == other.id)):
        current = row.round == learning.round_of(db, other, row.lesson)
        if row.lesson not in begun and current:
            row.person_id, row.round = keeps.id, learning.round_of(db, keeps, row.lesson)
            db.add(row)
    db.flush()


def _keep_findable(db: Session, keeps: Person) -> None:
    """Let the board find the person by each of their numbers."""
    db.flush()
    numbers = " ".join(people.numbers(db, keeps))
    keeps.search_key = people.plain(f"{keeps.name} {numbers}")
    db.add(keeps)
