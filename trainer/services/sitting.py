"""A sitting: drawn, answered, looked over, closed, marked and explained. A refresher is one too.

Answers are kept as they are given and may be changed until the review page closes the
sitting. Every must-know must be right; the rest by the pass mark.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import lru_cache
from math import ceil

from sqlalchemy import Row, bindparam, or_
from sqlalchemy import select as columns_of
from sqlmodel import Session, select

from trainer import bank, lessons
from trainer.config import LANGUAGES
from trainer.services import (
    curriculum,
    learning,
    own_numbers,
    recording,
    standing,
    teaching,
    throttling,
)
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import often, people, record, site_lessons
from trainer.store.tables import Assignment, Person, Sitting, SittingItem, Talk, TaughtTalk
from trainer.words import Words

PROBLEMS = 2
NO_LESSON = ""
"""What stands for the lesson of a refresher, which mixes them."""

NOTHING_YET = "-"
FAILED_BEFORE_TALK = 2
"""Failed sittings after which the trainer talks with the person first."""


SAME_TWICE = Words(
    "Two lines have the same answer. Give each its own.",
    "Dos líneas tienen la misma respuesta. Dé a cada una la suya.",
)


@dataclass(frozen=True)
class Shown:
    """An item as a person meets it: the question with its options in order, or the problem."""

    item: SittingItem | Row
    lesson: str  # the lesson and its section that explain it
    section: str
    question: bank.Question | None = None
    order: tuple[int, ...] = ()  # the options' own indices in the order shown
    sides: tuple[int, ...] = ()  # of a match, the other halves in the order offered
    figures: dict[str, str] = field(default_factory=dict)  # the drawing, by language
    problem: bank.Problem | None = None

    @property
    def picked(self) -> tuple[int | None, ...]:
        """Return the indices of the options picked.

        Of an order or a match: what each option got, by its own index; None: nothing yet.
        """
        return picks(self.item.answer)

    @property
    def answered(self) -> bool:
        """Say whether there is an answer, a whole one."""
        return _is_whole(self.item.kind, self.item.answer)

    @property
    def twice(self) -> bool:
        """Say whether two lines of an order or a match got the same."""
        return self.question is not None and self.question.in_rows and \
            len(set(self.picked)) < len(self.picked)


def picks(answer: str | None) -> tuple[int | None, ...]:
    """Return what a stored answer to a question says, as `Shown.picked` explains it."""
    given = (answer or "").split()
    return tuple(None if part == NOTHING_YET else int(part) for part in given)


def _is_whole(kind: str, answer: str | None) -> bool:
    if kind != "question":
        return bool(answer)
    picked = picks(answer)
    return bool(picked) and None not in picked


_OPEN = often.Question(columns_of(*often.columns(Sitting)).where(
    Sitting.person_id == bindparam("person"),
    Sitting.lesson == bindparam("lesson"),
    Sitting.closed_at.is_(None),
    Sitting.on_paper.is_(False),
))
_TO_MARK = (
    select(SittingItem)
    .where(SittingItem.sitting_id == bindparam("sitting"))
    .order_by(SittingItem.position)
)
_ITEMS = often.Question(_TO_MARK.with_only_columns(*often.columns(SittingItem)))
_OWN = often.Question(
    columns_of(*often.columns(Sitting)).where(
        Sitting.id == bindparam("number"),
        Sitting.person_id == bindparam("person"),
        or_(Sitting.closed_at.is_not(None), Sitting.on_paper.is_(False)),
    )
)


def open_sitting(db: Session, person: Person, lesson: str) -> Row | None:
    """Return the sitting a person has begun and not closed; one on paper is not it."""
    return often.first(db, _OPEN, person=person.id, lesson=lesson)


def own(db: Session, number: int, person: Person) -> Sitting | None:
    """Return a sitting if it is this person's; one on paper only once it is closed."""
    return db.get(Sitting, number) if seen(db, number, person) else None


def seen(db: Session, number: int, person: Person) -> Row | None:
    """Return what `own` returns as a plain row, for whatever only shows it."""
    return often.first(db, _OWN, number=number, person=person.id)


def of_person(db: Session, person: Person, lesson: str | None = None) -> list[Sitting]:
    """Return a person's sittings, oldest first."""
    query = select(Sitting).where(Sitting.person_id == person.id).order_by(Sitting.id)
    if lesson is not None:
        query = query.where(Sitting.lesson == lesson)
    return list(db.exec(query))


def needs_talk(db: Session, person: Person, lesson: str) -> bool:
    """Say whether two sittings failed since the last pass or talk, so the trainer talks first."""
    talk = db.exec(
        select(Talk)
        .where(Talk.person_id == person.id, Talk.lesson == lesson)
        .order_by(Talk.id.desc())
    ).first()
    failed = 0
    for sitting in of_person(db, person, lesson):
        if sitting.closed_at is None or (talk and sitting.closed_at <= talk.at):
            continue
        failed = 0 if sitting.passed else failed + 1
    return failed >= FAILED_BEFORE_TALK


def talked(db: Session, by: Scribe, person: Person, lesson: str) -> None:
    """Keep that a trainer talked with a person, so that another sitting may begin."""
    if by.person.id == person.id:
        raise Refusal("Another trainer has to talk with you about this.")
    # After every sitting that it is about, whatever a clock said that was set back since.
    closed = [one.closed_at for one in of_person(db, person, lesson) if one.closed_at]
    at = max([by.now, *closed])
    db.add(Talk(person_id=person.id, lesson=lesson, trainer_id=by.person.id, at=at))
    db.flush()


def begin(
    db: Session, person: Person, lesson: lessons.Lesson, now: datetime, unread: bool = False
) -> Sitting:
    """Return the open sitting, or draw a new one.

    unread  may it begin before every section is read? where earlier training covered it, (k)(4)
    Errors: Refusal as in `draw_new`.
    """
    there = open_sitting(db, person, lesson.slug)
    if there:
        _put_right(db, person, lesson.slug, now)
        return db.get(Sitting, there.id)
    return draw_new(db, person, lesson, now, unread=unread)


def _put_right(db: Session, person: Person, slug: str, now: datetime) -> None:
    """Let no assignment lie ahead of the sitting that answers it.

    The clock was set back since, and what is passed now would fulfil nothing until the moment of
    the assignment comes. What was passed before it goes on fulfilling nothing, (k)(5).
    """
    ahead = select(Assignment).where(
        Assignment.person_id == person.id, Assignment.lesson == slug,
        Assignment.assigned_at > now + throttling.CLOCKS_APART,
    )  # fmt: skip
    for item in db.exec(ahead):
        item.assigned_at = max([now, *_passed_at(db, person, slug)])
        db.add(item)
    db.flush()


def _passed_at(db: Session, person: Person, slug: str) -> list[datetime]:
    """Return the moments at which a person's passes of a lesson were recorded."""
    entries = record.of_person(db, people.numbers(db, person), ("lesson",))
    return [
        datetime.fromisoformat(one.recorded_at)
        for one in entries
        if one.body is not None and record.body(one)["lesson"] == slug
    ]


def way_in(
    db: Session, person: Person, lesson: lessons.Lesson, now: datetime
) -> tuple[bool, TaughtTalk | None]:
    """Return whether a person may take a sitting of a lesson, and the talk they were at, if any.

    Either every section was read, or a trainer taught it to them in a room.
    """
    talk = teaching.opening(db, person, lesson.slug, now)
    if talk and curriculum.asked_again_since(db, lesson.slug, talk.recorded_at):
        talk = None  # what was told in the room is what is to be done again
    read = not learning.unread(learning.place(db, person, lesson.slug), lesson)
    return read or talk is not None, talk


def draw_new(
    db: Session,
    person: Person,
    lesson: lessons.Lesson,
    now: datetime,
    on_paper: bool = False,
    unread: bool = False,
) -> Sitting:
    """Draw a sitting for a person.

    on_paper    it is to be printed; one that is open on the screen stays as it is
    unread      as in `begin`
    Errors: Refusal while sections are unread without a talk, or after two failed sittings without
    the trainer's talk.
    """
    _put_right(db, person, lesson.slug, now)
    if needs_talk(db, person, lesson.slug):
        raise Refusal("Talk with your trainer first. After that you can try again.")
    may, talk = way_in(db, person, lesson, now)
    if not (may or unread):
        raise Refusal("Read every section to its end first.")
    earlier = of_person(db, person, lesson.slug)
    sitting = Sitting(
        person_id=person.id,
        lesson=lesson.slug,
        ordinal=len(earlier) + 1,
        seed=learning.seed(person, lesson.slug, "sitting", len(earlier) + 1),
        lesson_version=curriculum.keep_taught(db, lesson, now),
        started_at=now,
        on_paper=on_paper,
        talk=talk.id if talk else None,
    )
    found = curriculum.asked_about(db, lesson)
    return open_drawn(db, sitting, *_draw(db, sitting, earlier, found))


def open_drawn(
    db: Session,
    sitting: Sitting,
    questions: Sequence[bank.Question],
    problems: Sequence[tuple[bank.Exercise, bank.Problem]],
) -> Sitting:
    """Open a sitting with these questions and problems, in mixed order.

    Options and order come from the seed of the sitting.
    """
    db.add(sitting)
    db.flush()
    items = [
        _question_item(sitting, question, sitting.seed + place)
        for place, question in enumerate(questions, start=1)
    ] + [
        _problem_item(sitting, exercise, problem) for exercise, problem in problems
    ]
    for position, item in enumerate(bank.shuffle(items, sitting.seed), start=1):
        item.position = position
        db.add(item)
    db.flush()
    return sitting


def shown(db: Session, sitting: Sitting) -> list[Shown]:
    """Return the items of a sitting in order, as plain rows."""
    return [_show(item) for item in often.rows(db, _ITEMS, sitting=sitting.id)]


_ANSWERS = often.Question(
    columns_of(SittingItem.position, SittingItem.kind, SittingItem.answer)
    .where(SittingItem.sitting_id == bindparam("sitting"))
    .order_by(SittingItem.position)
)


def first_open(db: Session, sitting: Sitting) -> int | None:
    """Return the place of the first item without a whole answer; None where there is none."""
    there = often.rows(db, _ANSWERS, sitting=sitting.id)
    return next((one.position for one in there if not _is_whole(one.kind, one.answer)), None)


def answer(
    db: Session, sitting: Sitting, position: int, given: list[str], now: datetime,
    since: int | None = None,
) -> bool:
    """Keep one answer; nothing is marked until the sitting closes. Say whether one is kept.

    given   indices of options picked, or the text typed, as a list of one
    since   of a page that saves by itself: how often the answer had been sent when it was opened
    Errors: Refusal once the sitting is closed, for an option that is not there, or when the page
    is older than an answer that was sent since.
    """
    if sitting.closed_at:
        raise Refusal("This sitting is closed; its answers stay as they are.")
    query = select(SittingItem).where(
        SittingItem.sitting_id == sitting.id, SittingItem.position == position
    )
    item = db.exec(query).first()
    if item is None:
        raise Refusal("This sitting has no such question.")
    one = _show(item)
    if since is None:
        one.item.savings += 1
    elif since < one.item.savings:
        raise Refusal("This was answered since the page was opened. Open the question again.")
    one.item.answer = _kept(one, given)
    one.item.answered_at = now
    db.add(one.item)
    db.flush()
    return one.answered


def filled_in(one: Shown, given: list[str]) -> Shown:
    """Return an item as it shows what was given, which is not kept. Errors: as in `answer`."""
    said = one.item._asdict() | {"answer": _kept(one, given)}
    return replace(one, item=SittingItem(**said))


def languages(db: Session, sitting: Sitting, items: Sequence[Shown]) -> tuple[str, ...]:
    """Return the languages that a sitting may be taken in.

    Those that its lesson was written in when it was drawn, and that every question of it has.
    """
    taught = LANGUAGES if sitting.lesson == NO_LESSON else \
        curriculum.languages_taught(db, sitting.lesson, sitting.lesson_version)
    questions = [one.question for one in items if one.question]
    return tuple(one for one in taught if all(asked.ask(one) for asked in questions))


def close(
    db: Session,
    by: Scribe,
    sitting: Sitting,
    language: str,
    pass_mark: int,
    written_on: date | None = None,
) -> Sitting:
    """Close and mark a sitting. Closed already, it stays as it is.

    A pass of a lesson goes into the record; a refresher does not, whatever comes of it.
    written_on  of one on paper: the day on which it was written
    Errors: Refusal while an answer is missing or cannot be read, in a language that it was not
    written in, or when the talk that opened it was taken back.
    """
    if sitting.closed_at:
        return sitting
    items = [_show(item) for item in db.exec(_TO_MARK, params={"sitting": sitting.id})]
    if language not in languages(db, sitting, items):
        raise Refusal("This lesson is not written in that language.")
    if any(not one.answered or asked_again(one, language) for one in items):
        raise Refusal("Some answers are missing or cannot be read. Look at the marked lines.")
    person = db.get(Person, sitting.person_id)
    mode = _mode(db, person, sitting)  # of this round, which a pass ends
    for one in items:
        one.item.right, one.item.slip = _mark(one, language)
        db.add(one.item)
    must = [one.item for one in items if one.item.must_know]
    rest = [one.item for one in items if not one.item.must_know]
    sitting.language = language
    sitting.closed_at = by.now
    sitting.must_asked, sitting.must_right = len(must), sum(bool(item.right) for item in must)
    sitting.asked, sitting.right = len(rest), sum(bool(item.right) for item in rest)
    sitting.passed = _enough(sitting, pass_mark)
    db.add(sitting)
    db.flush()
    if sitting.passed and sitting.lesson != NO_LESSON:
        recording.record_lesson(db, by, person, sitting, mode, _beside(db, sitting, written_on))
    return sitting


def _mode(db: Session, person: Person, sitting: Sitting) -> str:
    """Return how a lesson reached a person: read or heard as a whole, else as the talk was given.

    Where neither, earlier training covered it, which is credited, (k)(4).
    Errors: Refusal when only a talk opened the sitting, and it was taken back.
    """
    lesson = curriculum.find(db, sitting.lesson)
    there = learning.place(db, person, sitting.lesson)
    if lesson is None or not learning.unread(there, lesson):
        return learning.mode(db, person, sitting.lesson)
    taken_back = sitting.talk is not None and teaching.is_taken_back(db, sitting.talk)
    if sitting.talk is not None and not taken_back:
        return teaching.who_taught(db, sitting.talk, sitting.lesson)["mode"]
    if standing.History(db, person).earlier(sitting.lesson):
        return record.EARLIER
    if taken_back:
        raise Refusal(
            "The talk that opened this sitting was taken back. Read every section of the "
            "lesson to its end first. The answers are kept."
        )
    return learning.mode(db, person, sitting.lesson)


def _beside(db: Session, sitting: Sitting, written_on: date | None) -> dict[str, object]:
    """Return what the entry says beside the usual: who taught in a room, and what was on paper."""
    said: dict[str, object] = {}
    if sitting.talk is not None and not teaching.is_taken_back(db, sitting.talk):
        said["taught"] = teaching.who_taught(db, sitting.talk, sitting.lesson)
    if sitting.on_paper:
        said |= {"on_paper": True, "written_on": written_on.isoformat() if written_on else ""}
    return said


def _enough(sitting: Sitting, pass_mark: int) -> bool:
    """Say whether it is a pass: each must-know, and the rest by the mark; a refresher by it all."""
    if sitting.lesson == NO_LESSON:
        asked = sitting.must_asked + sitting.asked
        return sitting.must_right + sitting.right >= ceil(asked * pass_mark / 100)
    enough = ceil(sitting.asked * pass_mark / 100)
    return sitting.must_right == sitting.must_asked and sitting.right >= enough


def asked_again(one: Shown, language: str) -> str:
    """Return what to say of an answer that cannot be read, or can be read two ways; else ""."""
    if one.answered and one.twice:
        return SAME_TWICE(language)
    if one.problem is None or not one.answered:
        return ""
    marking = bank.mark(one.problem.blank, one.item.answer, language)
    return marking.say(language) if marking.verdict in ("unreadable", "ambiguous") else ""


def marking(one: Shown, language: str) -> bank.Marking | None:
    """Return what there is to say of the answer to a problem."""
    if one.problem is None:
        return None
    return bank.mark(one.problem.blank, one.item.answer or "", language)


def _draw(
    db: Session, sitting: Sitting, earlier: list[Sitting], found: bank.Bank
) -> tuple[Sequence[bank.Question], Sequence[tuple[bank.Exercise, bank.Problem]]]:
    """Return the questions of a sitting, and its problems.

    found   where its questions and exercises are
    Where a worksite has numbers and no exercise of the lesson can take them, one problem is of
    a lesson that the person has passed: it recalls what was learnt there, with those numbers.
    """
    before = db.exec(
        select(SittingItem.slug, SittingItem.right)
        .where(SittingItem.sitting_id.in_([one.id for one in earlier]))
        .order_by(SittingItem.right.is_not(None), SittingItem.id)
    )
    # How each was answered the last time it was asked; what is not marked yet says nothing.
    last = dict(before.all())
    missed = {slug for slug, right in last.items() if right is False}
    asked = bank.draw_questions(found, sitting.lesson, sitting.seed, set(last), missed)
    exercises = bank.shuffle(found.exercises_for(sitting.lesson), sitting.seed)
    person = db.get(Person, sitting.person_id)
    told = own_numbers.facts_for(db, person, sitting.lesson)
    recalled = bank.shuffle(_of_passed(db, person), sitting.seed) if told else []
    # A lesson of a worksite asks no exercise twice: the second time it would be another place's.
    its_own = site_lessons.is_slug(sitting.lesson)
    count = min(PROBLEMS, len(exercises)) if its_own else PROBLEMS
    return asked, bank.draw_problems(exercises, count, sitting.seed, told, recalled)


def _of_passed(db: Session, person: Person) -> list[bank.Exercise]:
    """Return the exercises of the lessons that a person has passed."""
    passed = {one.lesson for one in of_person(db, person) if one.passed}
    every = bank.load().exercises.values()
    return [one for one in every if one.lesson and one.lesson in passed]


def _question_item(sitting: Sitting, question: bank.Question, seed: int) -> SittingItem:
    places = range(len(question.options))
    order = bank.shuffle(places, seed)
    if question.form == "order" and order == list(places):  # nothing would be left to do
        order = order[1:] + order[:1]
    drawn = {"order": order, "question": question.freeze()}
    if question.form == "match":
        drawn["sides"] = bank.shuffle(places, seed + 1)
    if question.drawing:
        # As it was seen, whatever becomes of the drawing.
        drawn["figures"] = {
            language: lessons.figure(question.drawing, language) for language in LANGUAGES
        }
    return SittingItem(
        sitting_id=sitting.id,
        position=0,
        kind="question",
        slug=question.slug,
        must_know=question.must_know,
        drawn=json.dumps(drawn, ensure_ascii=False),
    )


def _problem_item(
    sitting: Sitting, exercise: bank.Exercise, problem: bank.Problem
) -> SittingItem:
    drawn = {
        "lesson": exercise.lesson,
        "section": exercise.section,
        "problem": problem.freeze(),
    }
    return SittingItem(
        sitting_id=sitting.id,
        position=0,
        kind="problem",
        slug=exercise.slug,
        drawn=json.dumps(drawn, ensure_ascii=False),
    )


def _show(item: SittingItem | Row) -> Shown:
    # What was drawn is kept whole: a program brought up to date in the middle of a sitting
    # changes nothing of it.
    if item.kind == "question":
        question, order, sides, figures = _question(item.drawn)
        return Shown(
            item, question.lesson, question.section, question,
            order=order, sides=sides, figures=dict(figures),
        )  # fmt: skip
    drawn = json.loads(item.drawn)
    # Until refreshers there was no lesson here: it was that of the sitting.
    lesson = drawn.get("lesson", "")
    return Shown(item, lesson, drawn["section"], problem=bank.thaw(drawn["problem"]))


@lru_cache(maxsize=512)
def _question(drawn: str) -> tuple[
    bank.Question, tuple[int, ...], tuple[int, ...], tuple[tuple[str, str], ...]
]:
    # Each page of a sitting shows how far all of its questions are, so each is read many times.
    read = json.loads(drawn)
    return (
        bank.thaw_question(read["question"]), tuple(read["order"]), tuple(read.get("sides", ())),
        tuple(read.get("figures", {}).items()),
    )  # fmt: skip


def _kept(one: Shown, given: list[str]) -> str:
    if one.problem is not None:
        return (given[0] if given else "").strip()[:80]
    if one.question.in_rows:
        return _kept_rows(one, given)
    known = {str(index) for index in one.order}
    if not set(given) <= known or (one.question.form == "choice" and len(given) > 1):
        raise Refusal("Pick from the answers that are shown.")
    return " ".join(sorted(set(given)))


def _kept_rows(one: Shown, given: list[str]) -> str:
    """Return what each option got, by its own index; `given` is one `option:got` a line."""
    places = [str(index) for index in range(len(one.order))]
    got = dict.fromkeys(places, NOTHING_YET)
    for line in filter(None, given):
        option, _, value = line.partition(":")
        if option not in places or value not in places:
            raise Refusal("Pick from the answers that are shown.")
        got[option] = value
    return "" if set(got.values()) == {NOTHING_YET} else " ".join(got.values())


def _mark(one: Shown, language: str) -> tuple[bool, str]:
    if one.question is not None:
        return bank.mark_question(one.question, list(one.picked)), ""
    found = bank.mark(one.problem.blank, one.item.answer, language)
    return found.verdict == "right", found.slip.key if found.slip else ""
