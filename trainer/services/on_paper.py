"""Sittings on paper: drawn for a person and printed, then entered by a trainer and marked.

The program marks what was written, exactly as it marks what is typed. A sitting that the person
has open on the screen stays as it is, and nobody enters their own.
"""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session, select

from trainer import lessons
from trainer.config import LANGUAGES
from trainer.services import sitting, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.services.signing_in import CODE_ALPHABET
from trainer.store import people
from trainer.store.tables import (
    LessonPlace,
    Membership,
    PaperSitting,
    Person,
    Sitting,
    TalkLesson,
    TalkPerson,
)

CODE_LETTERS = 6


@dataclass(frozen=True)
class Paper:
    """A sitting that was printed, and whose it is."""

    paper: PaperSitting
    sitting: Sitting
    person: Person

    @property
    def is_open(self) -> bool:
        """Say whether it may still be entered."""
        return self.sitting.closed_at is None and self.paper.withdrawn_at is None

    @property
    def code(self) -> str:
        """Return its code as it is printed, in two halves."""
        half = CODE_LETTERS // 2
        return f"{self.paper.code[:half]}-{self.paper.code[half:]}"


def draw(
    db: Session, by: Scribe, person: Person, lesson: lessons.Lesson, language: str
) -> Paper:
    """Return the paper of a lesson that a person has open, or draw a new one.

    One that was printed before the person passed the lesson is withdrawn first.
    Errors: Refusal for one's own, without a common worksite, while sections are unread without a
    talk, after two failed sittings, or where one is open in the other language.
    """
    if language not in LANGUAGES:
        raise Refusal("Choose one of these.")
    if language not in lesson.languages:
        raise Refusal("This lesson is not written in that language.")
    _may_handle(db, by.person, person)
    if sitting.needs_talk(db, person, lesson.slug):
        raise Refusal("Two sittings did not pass. Talk with this person first.")
    there = _open_paper(db, person, lesson.slug)
    if there and _passed_since(db, there.sitting):
        withdraw(db, by, there)
        there = None
    if there is None:
        return _new(db, by, person, lesson, language)
    if there.paper.language != language:
        raise Refusal(
            "A paper in the other language is open for this person. Withdraw it first."
        )
    return there


def by_code(db: Session, trainer: Person, typed: str) -> Paper | None:
    """Return the paper of a code as typed, if the trainer may handle it; nobody gets their own."""
    code = "".join(letter for letter in typed.upper() if letter.isalnum())
    paper = db.exec(select(PaperSitting).where(PaperSitting.code == code)).first()
    if paper is None:
        return None
    there = db.get(Sitting, paper.sitting_id)
    found = Paper(paper, there, db.get(Person, there.person_id))
    if found.person.id == trainer.id:
        return None
    return found if people.share_a_worksite(db, trainer.id, found.person.id) else None


def open_at(db: Session, worksite_ids: Sequence[int]) -> list[Paper]:
    """Return the papers of these worksites that are still to be entered, by name."""
    at = select(Membership.person_id).where(Membership.worksite_id.in_(list(worksite_ids)))
    query = (
        select(PaperSitting, Sitting, Person)
        .join(Sitting, Sitting.id == PaperSitting.sitting_id)
        .join(Person, Person.id == Sitting.person_id)
        .where(
            Sitting.closed_at.is_(None),
            PaperSitting.withdrawn_at.is_(None),
            Person.left_on.is_(None),
            Person.id.in_(at),
        )
        .order_by(Person.search_key, Sitting.id)
    )
    return [Paper(*row) for row in db.exec(query)]


def who_may(
    db: Session, trainer: Person, worksite_id: int, lesson: lessons.Lesson, now: datetime
) -> tuple[list[Person], list[Person]]:
    """Return who at a worksite may have a paper of a lesson, and who not yet; the trainer aside."""
    there = [one for one in people.at_worksite(db, worksite_id) if one.id != trainer.id]
    # Whoever never opened the lesson and was at no talk about it is not looked at one by one.
    taught = select(TalkLesson.talk_id).where(TalkLesson.lesson == lesson.slug)
    near = set(db.exec(select(LessonPlace.person_id).where(LessonPlace.lesson == lesson.slug)))
    near |= set(db.exec(select(TalkPerson.person_id).where(TalkPerson.talk_id.in_(taught))))
    may = {
        one.id for one in there
        if one.id in near and sitting.way_in(db, one, lesson, now)[0]
    }  # fmt: skip
    return [one for one in there if one.id in may], [one for one in there if one.id not in may]


def answer(
    db: Session, by: Scribe, paper: Paper, position: int, given: list[str],
    since: int | None = None,
) -> bool:
    """Enter one answer, as `sitting.answer` keeps it.

    Errors: Refusal as there, for one's own paper, and for one that was withdrawn.
    """
    _may_enter(db, by.person, paper)
    return sitting.answer(db, paper.sitting, position, given, by.now, since)


def close(
    db: Session, by: Scribe, paper: Paper, written_on: date, pass_mark: int
) -> Sitting:
    """Close a paper that was entered, and mark it, in the language it was printed in.

    A clock that was set back may let it be printed on a day to come; then today will do.
    Errors: Refusal as in `sitting.close`, for one's own, for a day before it was printed or to
    come, after two failed sittings without a talk, and when the person passed meanwhile.
    """
    if paper.sitting.closed_at:
        return paper.sitting
    _may_enter(db, by.person, paper)
    if _passed_since(db, paper.sitting):
        raise Refusal("This person has passed the lesson since it was printed. Withdraw the paper.")
    if sitting.needs_talk(db, paper.person, paper.sitting.lesson):
        raise Refusal("Two sittings did not pass. Talk with this person first.")
    printed, today = _day(db, by, paper, paper.sitting.started_at), _day(db, by, paper, by.now)
    if not min(printed, today) <= written_on <= today:
        raise Refusal("Give the day on which it was written: not before it was printed.")
    return sitting.close(db, by, paper.sitting, paper.paper.language, pass_mark, written_on)


def withdraw(db: Session, by: Scribe, paper: Paper) -> None:
    """Keep that a paper is not to be used any more; a second time changes nothing.

    Errors: Refusal for one's own, and once it is closed.
    """
    _may_handle(db, by.person, paper.person)
    if paper.sitting.closed_at:
        raise Refusal("This sitting is closed; its answers stay as they are.")
    if paper.paper.withdrawn_at is None:
        paper.paper.withdrawn_at = by.now
        db.add(paper.paper)
        db.flush()


def _new(
    db: Session, by: Scribe, person: Person, lesson: lessons.Lesson, language: str
) -> Paper:
    may, _ = sitting.way_in(db, person, lesson, by.now)
    if not may:
        raise Refusal("This person was at no talk about this lesson and has not read all of it.")
    drawn = sitting.draw_new(db, person, lesson, by.now, on_paper=True)
    paper = PaperSitting(
        sitting_id=drawn.id, code=_fresh_code(db), language=language, printed_by=by.person.id,
        printed_at=by.now,
    )  # fmt: skip
    db.add(paper)
    db.flush()
    return Paper(paper, drawn, person)


def _fresh_code(db: Session) -> str:
    while True:
        code = "".join(secrets.choice(CODE_ALPHABET) for _ in range(CODE_LETTERS))
        if db.exec(select(PaperSitting).where(PaperSitting.code == code)).first() is None:
            return code


def _open_paper(db: Session, person: Person, slug: str) -> Paper | None:
    query = (
        select(PaperSitting, Sitting)
        .join(Sitting, Sitting.id == PaperSitting.sitting_id)
        .where(
            Sitting.person_id == person.id,
            Sitting.lesson == slug,
            Sitting.closed_at.is_(None),
            PaperSitting.withdrawn_at.is_(None),
        )
    )
    row = db.exec(query).first()
    return Paper(*row, person) if row else None


def _passed_since(db: Session, printed: Sitting) -> bool:
    """Say whether the person passed the lesson after this was printed."""
    query = select(Sitting.id).where(
        Sitting.person_id == printed.person_id,
        Sitting.lesson == printed.lesson,
        Sitting.passed.is_(True),
        Sitting.closed_at >= printed.started_at,
    )
    return db.exec(query).first() is not None


def _day(db: Session, by: Scribe, paper: Paper, moment: datetime) -> date:
    return standing.today(db, paper.person, moment, by.zone)


def _may_enter(db: Session, trainer: Person, paper: Paper) -> None:
    _may_handle(db, trainer, paper.person)
    if paper.paper.withdrawn_at:
        raise Refusal("This paper was withdrawn. Print a new one.")


def _may_handle(db: Session, trainer: Person, person: Person) -> None:
    if trainer.id == person.id:
        raise Refusal("Nobody prints or enters their own sitting. Ask another trainer.")
    if not people.share_a_worksite(db, trainer.id, person.id):
        raise Refusal("This person does not belong to one of your worksites.")
