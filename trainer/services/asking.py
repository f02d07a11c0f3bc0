"""Questions from workers, and needs told in one tap.

A person must be able to ask somebody who is qualified while they learn: OSHA's letters of
interpretation on computer-based training. A question goes to the trainers of the person's
worksites, who answer it by name. A need (the fit has changed, it leaks, a talk with the health
professional is wanted) is a kind and a moment, and never a detail.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Row, and_, bindparam, or_
from sqlalchemy import select as columns_of
from sqlalchemy.orm import aliased
from sqlmodel import Session, delete, exists, func, select

from trainer.reference import respirator_classes
from trainer.services import learning, standing
from trainer.services.refusal import Refusal
from trainer.store import often, people
from trainer.store.tables import (
    LessonPlace,
    Membership,
    Need,
    Person,
    PersonRole,
    Respirator,
    ShownAnswer,
    Sitting,
    TrainerAnswer,
    WebSession,
    WorkerQuestion,
    Worksite,
)

QUESTION_LETTERS = 500
ANSWER_LETTERS = 1000
KINDS = ("fit", "leak", "health")
"""What can be told in one tap; the first two are about a tight-fitting respirator."""

NOW = timedelta(minutes=10)
"""How long ago somebody was seen who counts as signed in now (our own choice, no source)."""


@dataclass(frozen=True)
class Answered:
    """An answer, who gave it, and whether everybody at a worksite sees it."""

    answer: TrainerAnswer
    by: Person
    shown: bool = False


@dataclass(frozen=True)
class Asked:
    """A question, who asked it, and its answers, oldest first."""

    question: WorkerQuestion
    person: Person
    answers: tuple[Answered, ...] = ()

    @property
    def unread(self) -> bool:
        """Say whether there is an answer that was not marked as read."""
        return any(one.answer.read_at is None for one in self.answers)


@dataclass(frozen=True)
class Shown:
    """A question as everybody at a worksite sees it: without who asked it and when."""

    text: str
    language: str
    answers: tuple[Answered, ...]


@dataclass(frozen=True)
class Told:
    """A need, whose it is, and with which respirator."""

    need: Need
    person: Person
    respirator: Respirator | None = None
    dealt_with_by: Person | None = None


@dataclass(frozen=True)
class Waiting:
    """What waits for the trainers of some worksites, oldest first."""

    questions: list[Asked]
    needs: list[Told]


# Questions


def ask(
    db: Session,
    person: Person,
    text: str,
    *,
    once: str,
    language: str,
    now: datetime,
    lesson: str = "",
    section: str = "",
) -> WorkerQuestion:
    """Keep a question and return it; sent twice by one form, the first comes back.

    once        the form's own key
    section     "" where it is asked from the tag
    Errors: Refusal without words, with too many, or for a person without a worksite.
    """
    words = _words(text, QUESTION_LETTERS)
    if not people.worksites(db, person.id):
        raise Refusal("You belong to no worksite yet. Ask the coordinator.")
    query = select(WorkerQuestion).where(
        WorkerQuestion.person_id == person.id,
        WorkerQuestion.once == once,
        WorkerQuestion.text == words,
    )
    question = db.exec(query).first()
    if question is None:
        if section:
            # Whoever asks in the first section has begun the lesson: it counts in this round.
            learning.begin_reading(db, person, lesson, section, now)
        question = WorkerQuestion(
            once=once, person_id=person.id, lesson=lesson, section=section, text=words,
            language=language, asked_at=now,
        )  # fmt: skip
        db.add(question)
        db.flush()
    return question


def answer(
    db: Session,
    by: Person,
    question: WorkerQuestion,
    text: str,
    *,
    once: str,
    now: datetime,
    further: bool = False,
    show: bool = False,
) -> TrainerAnswer:
    """Keep a trainer's answer and return it; sent twice by one form, the first comes back.

    further     an answer beside the one that is there
    show        everybody at the worksites that both belong to sees it, with the question, at the
                end of the section it was asked from
    Errors: Refusal without words, with too many, for one's own question, without a common
    worksite, or for a question that was answered meanwhile.
    """
    if by.id == question.person_id:
        raise Refusal("Another trainer has to answer your question.")
    shared = common_worksites(db, by, question)
    if not shared:
        raise Refusal("This person does not belong to one of your worksites.")
    words = _words(text, ANSWER_LETTERS)
    there = list(
        db.exec(select(TrainerAnswer).where(TrainerAnswer.question_id == question.id))
    )
    same = [one for one in there if (one.once, one.text) == (once, words)]
    if same:
        return same[0]
    if there and not further:
        raise Refusal(
            "This question was answered meanwhile. Read that answer first; "
            "then you can send yours as a further one."
        )
    kept = TrainerAnswer(
        once=once, question_id=question.id, text=words, answered_at=now, answered_by=by.id
    )
    db.add(kept)
    db.flush()
    if show and question.section:
        for worksite in shared:
            db.add(ShownAnswer(answer_id=kept.id, worksite_id=worksite.id))
        db.flush()
    return kept


def hide(db: Session, by: Person, question: WorkerQuestion) -> None:
    """Show the answers to a question no longer to everybody at the trainer's worksites."""
    own = select(TrainerAnswer.id).where(TrainerAnswer.question_id == question.id)
    mine = select(Membership.worksite_id).where(Membership.person_id == by.id)
    db.exec(
        delete(ShownAnswer).where(
            ShownAnswer.answer_id.in_(own), ShownAnswer.worksite_id.in_(mine)
        )
    )


def common_worksites(db: Session, by: Person, question: WorkerQuestion) -> list[Worksite]:
    """Return the worksites that a trainer and the one who asked both belong to."""
    theirs = {one.id for one in people.worksites(db, question.person_id)}
    return [one for one in people.worksites(db, by.id) if one.id in theirs]


def get(db: Session, number: int) -> Asked | None:
    """Return one question with its answers."""
    question = db.get(WorkerQuestion, number)
    if question is None:
        return None
    return with_answers(db, [(question, db.get(Person, question.person_id))])[0]


def open_for(db: Session, worksite_ids: Sequence[int] | None) -> list[Asked]:
    """Return the questions without an answer of people at these worksites, oldest first.

    worksite_ids    None: every worksite
    """
    query = _at(worksite_ids).where(~_is_answered())
    rows = db.exec(query.order_by(WorkerQuestion.asked_at, WorkerQuestion.id))
    return [Asked(question, person) for question, person in rows]


def answered_for(db: Session, worksite_ids: Sequence[int] | None, most: int) -> list[Asked]:
    """Return so many answered questions of these worksites, the newest answer first."""
    newest = (
        select(func.max(TrainerAnswer.answered_at))
        .where(TrainerAnswer.question_id == WorkerQuestion.id)
        .scalar_subquery()
    )
    query = _at(worksite_ids).where(_is_answered()).order_by(newest.desc(), WorkerQuestion.id)
    return with_answers(db, db.exec(query.limit(most)).all())


_ASKED = often.Question(
    columns_of(*often.columns(WorkerQuestion))
    .where(WorkerQuestion.person_id == bindparam("person"))
    .order_by(WorkerQuestion.id.desc())
)


def of_person(db: Session, person: Person) -> list[Asked]:
    """Return a person's own questions with their answers, newest first."""
    asked = often.once(
        db, "asked", person.id, lambda: often.rows(db, _ASKED, person=person.id)
    )
    return with_answers(db, [(question, person) for question in asked])


_SHOWN = often.Question(
    columns_of(*often.columns(WorkerQuestion, TrainerAnswer, Person))
    .select_from(WorkerQuestion)
    .join(TrainerAnswer, TrainerAnswer.question_id == WorkerQuestion.id)
    .join(Person, Person.id == TrainerAnswer.answered_by)
    .where(
        WorkerQuestion.lesson == bindparam("lesson"),
        WorkerQuestion.section == bindparam("section"),
        WorkerQuestion.person_id != bindparam("without"),
        TrainerAnswer.id.in_(
            select(ShownAnswer.answer_id).where(
                ShownAnswer.worksite_id.in_(bindparam("worksites", expanding=True))
            )
        ),
    )
    .order_by(WorkerQuestion.id, TrainerAnswer.id)
)
NOBODY = 0
"""No person has this id."""


def shown_at(
    db: Session,
    worksite_ids: Sequence[int],
    lesson: str,
    section: str,
    without: Person | None = None,
) -> list[Shown]:
    """Return what everybody at these worksites sees at the end of a section, oldest first.

    without     whose own questions are left out: they see those anyway
    """
    about = {
        "worksites": list(worksite_ids), "lesson": lesson, "section": section,
        "without": without.id if without else NOBODY,
    }  # fmt: skip
    found: dict[int, Shown] = {}
    there = often.joined(db, _SHOWN, WorkerQuestion, TrainerAnswer, Person, **about)
    for question, given, by in there:
        before = found.get(question.id)
        answers = (*(before.answers if before else ()), Answered(given, by, shown=True))
        found[question.id] = Shown(question.text, question.language, answers)
    return list(found.values())


def mark_read(db: Session, person: Person, up_to: int, now: datetime) -> None:
    """Keep that a person read the answers to their questions, up to the newest one shown.

    up_to   its id: an answer that came while the page stood open is not lost
    """
    own = select(WorkerQuestion.id).where(WorkerQuestion.person_id == person.id)
    query = select(TrainerAnswer).where(
        TrainerAnswer.question_id.in_(own),
        TrainerAnswer.id <= up_to,
        TrainerAnswer.read_at.is_(None),
    )
    for one in db.exec(query):
        one.read_at = now
        db.add(one)
    db.flush()


def in_round(db: Session, person: Person, sitting: Sitting) -> tuple[int, int]:
    """Return how many questions a person asked about a lesson in the round of a sitting.

    Returns those asked, and how many of them were answered; from the beginning of the lesson on.
    """
    began = db.exec(
        select(LessonPlace.started_at)
        .where(
            LessonPlace.person_id == person.id,
            LessonPlace.lesson == sitting.lesson,
            # A passed sitting has ended its round, and the next may be begun already.
            LessonPlace.started_at <= sitting.started_at,
        )
        .order_by(LessonPlace.round.desc())
    ).first()
    if began is None:
        return 0, 0
    asked = select(func.count()).where(
        WorkerQuestion.person_id == person.id,
        WorkerQuestion.lesson == sitting.lesson,
        WorkerQuestion.asked_at >= began,
    )
    return db.exec(asked).one(), db.exec(asked.where(_is_answered())).one()


# Needs


def tell(
    db: Session, person: Person, kind: str, respirator: Respirator | None, now: datetime
) -> Need:
    """Keep a need and return it; while one like it is open, that one comes back.

    respirator  a tight-fitting one of the person's, for fit and leak; None for health
    Errors: Refusal for an unknown kind, or a respirator that does not go with it.
    """
    if kind not in KINDS or (kind == "health") != (respirator is None):
        raise Refusal("Choose one of these.")
    if respirator and not may_tell_of(person, respirator):
        raise Refusal("Choose one of these.")
    number = respirator.id if respirator else None
    query = select(Need).where(
        Need.person_id == person.id,
        Need.kind == kind,
        Need.respirator_id == number,
        Need.dealt_with_at.is_(None),
    )
    need = db.exec(query).first()
    if need is None:
        need = Need(person_id=person.id, kind=kind, respirator_id=number, told_at=now)
        db.add(need)
        db.flush()
        _look_again(db, person, now)
    return need


def _look_again(db: Session, person: Person, now: datetime) -> None:
    """Write anew what the tag board shows: a leak, or a fit that has changed, keeps it off."""
    standing.refresh(db, person, standing.today(db, person, now, ZoneInfo("UTC")))


def may_tell_of(person: Person, respirator: Respirator) -> bool:
    """Say whether it is a respirator of the person's that has a seal, and is not ended."""
    own = respirator.person_id == person.id and respirator.ended_at is None
    return own and respirator_classes.get(respirator.class_slug).tight


def deal_with(db: Session, by: Person, need: Need, now: datetime) -> None:
    """Keep that a need was dealt with, and by whom; the first time counts.

    Errors: Refusal for one's own.
    """
    if by.id == need.person_id:
        raise Refusal("Somebody else has to deal with what you told.")
    if need.dealt_with_at is None:
        need.dealt_with_at, need.dealt_with_by = now, by.id
        db.add(need)
        db.flush()
        _look_again(db, db.get(Person, need.person_id), now)


def take_back(db: Session, person: Person, need: Need, now: datetime) -> None:
    """Keep that a person takes back what they told by mistake; dealt with already, it stays so.

    Errors: Refusal for another person's.
    """
    if person.id != need.person_id:
        raise Refusal("Only the one who told it can take it back.")
    if need.dealt_with_at is None:
        need.dealt_with_at, need.dealt_with_by = now, person.id
        db.add(need)
        db.flush()
        _look_again(db, person, now)


def needs_for(db: Session, worksite_ids: Sequence[int] | None) -> list[Told]:
    """Return the open needs of people at these worksites, oldest first; None: every worksite."""
    query = (
        select(Need, Person, Respirator)
        .join(Person, Person.id == Need.person_id)
        .join(Respirator, Respirator.id == Need.respirator_id, isouter=True)
        .where(Need.dealt_with_at.is_(None), Person.left_on.is_(None), _belongs(worksite_ids))
        .order_by(Need.told_at, Need.id)
    )
    return [Told(*row) for row in db.exec(query)]


_NEEDS = (
    select(Need, Respirator, Person)
    .join(Respirator, Respirator.id == Need.respirator_id, isouter=True)
    .join(Person, Person.id == Need.dealt_with_by, isouter=True)
    .where(Need.person_id == bindparam("person"))
    .order_by(Need.id.desc())
)


def needs_of(db: Session, person: Person) -> list[Told]:
    """Return what a person told, newest first."""
    found = db.exec(_NEEDS, params={"person": person.id})
    return [Told(need, person, worn, by) for need, worn, by in found]


_OPEN_NEEDS = often.Question(
    columns_of(*often.columns(Need))
    .where(Need.person_id == bindparam("person"), Need.dealt_with_at.is_(None))
    .order_by(Need.id.desc())
)


def open_needs(db: Session, person: Person) -> list[Row]:
    """Return what a person told and nobody dealt with yet, newest first, as plain rows."""
    return often.rows(db, _OPEN_NEEDS, person=person.id)


# Who is there


def waiting(db: Session, worksite_ids: Sequence[int] | None) -> Waiting:
    """Return open questions and needs of these worksites, in two questions to the database.

    worksite_ids    None: every worksite
    """
    return Waiting(open_for(db, worksite_ids), needs_for(db, worksite_ids))


_STAFF = (
    columns_of(Person.id, Person.name)
    .join(PersonRole, PersonRole.person_id == Person.id)
    .where(Person.left_on.is_(None))
    .order_by(Person.search_key, Person.id)
)
_COORDINATORS = often.Question(_STAFF.where(PersonRole.role == "coordinator"))
_THEIRS, _OF_PERSON = aliased(Membership), aliased(Membership)
_SEES = often.Question(_STAFF.add_columns(PersonRole.role).where(
    or_(
        PersonRole.role == "coordinator",
        and_(
            PersonRole.role == "trainer",
            Person.id != bindparam("person"),
            exists()
            .where(
                _THEIRS.person_id == Person.id,
                _THEIRS.worksite_id == _OF_PERSON.worksite_id,
                _OF_PERSON.person_id == bindparam("person"),
            )
            .correlate(Person),
        ),
    ),
))
_TRAINERS_NOW = often.Question(_STAFF.where(
    PersonRole.role == "trainer",
    Person.id != bindparam("without"),
    # Asked of each trainer, of whom there are few, and not of everybody who is at the worksites.
    exists().where(
        Membership.person_id == Person.id,
        Membership.worksite_id.in_(bindparam("worksites", expanding=True)),
    ),
    exists().where(
        WebSession.person_id == Person.id, WebSession.ended_at.is_(None),
        WebSession.seen_at >= bindparam("since"), WebSession.half.is_(False),
    ),
))


def sees(db: Session, person: Person) -> list[Row]:
    """Return who sees what a person asks: the trainers of their worksites, else the coordinators.

    By id and name. A person is not their own trainer.
    """
    found = often.rows(db, _SEES, person=person.id)
    trainers = [one for one in found if one.role == "trainer"]
    return trainers or found


def coordinators(db: Session) -> list[Row]:
    """Return id and name of the coordinators, by name."""
    return often.rows(db, _COORDINATORS)


def signed_in_now(
    db: Session, worksite_ids: Sequence[int], now: datetime, without: Person | None = None
) -> list[Row]:
    """Return id and name of the trainers of these worksites who are signed in now, by name.

    without     who asks: nobody asks themselves
    """
    given = {
        "worksites": list(worksite_ids), "since": now - NOW,
        "without": without.id if without else NOBODY,
    }  # fmt: skip
    return often.rows(db, _TRAINERS_NOW, **given)


def _words(text: str, most: int) -> str:
    """Return what was typed, with line ends counted as the browser counts them.

    Errors: Refusal for nothing, or for too much.
    """
    words = text.replace("\r\n", "\n").replace("\0", "").strip()
    if not words:
        raise Refusal("Write something first.")
    if len(words) > most:
        raise Refusal(
            "This is %(letters)s characters long; at most %(most)s are kept. Shorten it.",
            letters=len(words),
            most=most,
        )
    return words


def _is_answered():
    return exists().where(TrainerAnswer.question_id == WorkerQuestion.id)


def _at(worksite_ids: Sequence[int] | None):
    return (
        select(WorkerQuestion, Person)
        .join(Person, Person.id == WorkerQuestion.person_id)
        .where(Person.left_on.is_(None), _belongs(worksite_ids))
    )


def _belongs(worksite_ids: Sequence[int] | None):
    if worksite_ids is None:
        return True
    there = select(Membership.person_id).where(Membership.worksite_id.in_(list(worksite_ids)))
    return Person.id.in_(there)


def with_answers(db: Session, rows: Iterable[tuple[WorkerQuestion, Person]]) -> list[Asked]:
    """Return questions, each with who asked it, together with their answers."""
    rows = list(rows)
    if not rows:
        return []
    shown = exists().where(ShownAnswer.answer_id == TrainerAnswer.id)
    query = (
        select(TrainerAnswer, Person, shown)
        .join(Person, Person.id == TrainerAnswer.answered_by)
        .where(TrainerAnswer.question_id.in_([question.id for question, _ in rows]))
        .order_by(TrainerAnswer.id)
    )
    given: dict[int, list[Answered]] = {}
    for row in db.exec(query):
        given.setdefault(row[0].question_id, []).append(Answered(*row))
    return [
        Asked(question, person, tuple(given.get(question.id, ()))) for question, person in rows
    ]
