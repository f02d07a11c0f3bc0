"""Reading a lesson and working its problems: where a person is, and what the next step is.

An exercise is done in three steps: a worked example; problems partly worked, first with one
step left out, then with two; the whole alone. Two right in a row move a person up, a slip moves
them down. All of it is worked out from the answers kept, so it goes on at the same place on any
device. A problem with the numbers of the person's worksite is kept with them, so that it stays as
it is when the worksite measures again.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from hashlib import sha256
from typing import NamedTuple

from sqlalchemy import Row, bindparam, insert
from sqlalchemy import select as columns_of
from sqlmodel import Session, func, select

from trainer import bank, lessons
from trainer.store import often, site_lessons
from trainer.store.tables import LessonAnswer, LessonPlace, Person, Sitting

WENT_ON = -1
"""The step number of "I went on to the next problem"."""

WORKED, PARTLY, ALONE = 0, 1, 2
"""The three steps of an exercise."""

IN_A_ROW = 2
"""So many right in a row move a person up."""

FEWEST_OF_A_WORKSITE = 3
"""One problem in so many, at least, has the numbers of a worksite where there are any."""

SHOWN = "shown"
"""The verdict of a step that the person asked to be shown."""


@dataclass(frozen=True)
class Drill:
    """Where a person is with one exercise of a lesson, and what is said of their last answer.

    What takes time, to draw and to mark, is done when it is asked for.
    """

    person: Person
    language: str
    exercise: bank.Exercise
    ordinal: int  # which problem: 0 is the worked example
    kept: str  # the problem as JSON where it has the numbers of a worksite; else it is drawn
    whole: int  # how many steps it has
    level: int  # WORKED, PARTLY or ALONE
    in_a_row: int  # how many were right in a row at this level
    left_out: int  # how many of the last steps the person does
    step: int  # the step to answer now; len(steps) when the problem is done
    finished: bool  # the whole was done alone, twice in a row without a slip
    last: "Row | Given | None"  # the answer just given to this step or the one before

    @cached_property
    def problem(self) -> bank.Problem:
        """Return the problem; of those that are past none is drawn."""
        if self.kept:
            return bank.thaw(json.loads(self.kept), self.exercise)
        return bank.draw(self.exercise, _seed_of(self.person, self.exercise, self.ordinal))

    @cached_property
    def marking(self) -> bank.Marking | None:
        """Return what is said of the last answer, where the step is still to be answered."""
        if self.last is None or _settles(self.last):
            return None
        blank = self.problem.steps[self.last.step].blank
        return bank.mark(blank, self.last.typed, self.language)

    @cached_property
    def like(self) -> bank.Problem | None:
        """Return a like problem, to be shown worked after a slip."""
        if self.marking is None or self.marking.verdict != "wrong":
            return None
        parts = (self.exercise.slug, self.exercise.version, self.ordinal, "like")
        return bank.draw(self.exercise, seed(self.person, *parts, self.last.attempt))

    @property
    def done(self) -> bool:
        """Say whether every step of this problem is answered."""
        return self.step >= self.whole


class Given(NamedTuple):
    """An answer as it is kept just now: what a row of before says of another."""

    ordinal: int
    step: int
    attempt: int
    typed: str
    verdict: str
    slip: str = ""
    following: str = ""


def seed(person: Person, *parts: object) -> int:
    """Return the number that a drawing for this person starts from; the same each time."""
    text = ":".join([person.seed, *map(str, parts)])
    return int.from_bytes(sha256(text.encode()).digest()[:6])


def round_of(db: Session, person: Person, lesson: str) -> int:
    """Return which round of a lesson a person is in: one more than the sittings passed."""
    query = select(func.count()).where(
        Sitting.person_id == person.id, Sitting.lesson == lesson, Sitting.passed.is_(True)
    )
    return db.exec(query).one() + 1


_PASSED = (
    select(func.count())
    .where(
        Sitting.person_id == LessonPlace.person_id,
        Sitting.lesson == LessonPlace.lesson,
        Sitting.passed.is_(True),
    )
    .correlate(LessonPlace)
    .scalar_subquery()
)
_THIS_ROUND = (
    LessonPlace.person_id == bindparam("person"), LessonPlace.round == _PASSED + 1,
)
_PLACES = often.Question(columns_of(*often.columns(LessonPlace)).where(*_THIS_ROUND))
_TO_CHANGE = select(LessonPlace).where(*_THIS_ROUND, LessonPlace.lesson == bindparam("lesson"))


def place(db: Session, person: Person, lesson: str) -> Row | None:
    """Return where a person is in a lesson in this round; None before the first section."""
    return places(db, person).get(lesson)


def places(db: Session, person: Person) -> dict[str, Row]:
    """Return by lesson what `place` returns, of those that the person has begun in this round."""
    found = often.once(
        db, "places in lessons", person.id, lambda: often.rows(db, _PLACES, person=person.id)
    )
    return {one.lesson: one for one in found}


_SAT = often.Question(
    columns_of(Sitting.lesson)
    .where(
        Sitting.person_id == bindparam("person"),
        Sitting.closed_at.is_(None),
        Sitting.on_paper.is_(False),
    )
    .order_by(Sitting.id.desc())
)


def go_on_with(db: Session, person: Person, slugs: Sequence[str]) -> str:
    """Return which of these lessons to go on with: where the person stopped, else the first.

    An open sitting comes before a lesson that is half read, and the newest of each before others.
    """
    sat = often.values(db, _SAT, person=person.id)
    open_ = next((one for one in sat if one in slugs), None)
    if open_:
        return open_
    read = [one for one in places(db, person).values() if one.lesson in slugs]
    newest = max(read, key=lambda one: one.moved_at, default=None)
    return newest.lesson if newest else slugs[0]


def begin_reading(
    db: Session, person: Person, lesson: str, section: str, now: datetime
) -> LessonPlace:
    """Return where a person is in a lesson in this round; begun at this section, if not before."""
    there = db.exec(_TO_CHANGE, params={"person": person.id, "lesson": lesson}).first()
    if there is None:
        there = LessonPlace(
            person_id=person.id,
            lesson=lesson,
            round=round_of(db, person, lesson),
            section=section,
            started_at=now,
            moved_at=now,
        )
        db.add(there)
        db.flush()
    return there


def finish_section(
    db: Session,
    person: Person,
    lesson: lessons.Lesson,
    section: str,
    now: datetime,
    heard: bool = False,
) -> str | None:
    """Keep that a section was read; return the next section, None after the last.

    heard   was it read aloud from beginning to end?
    """
    ids = [part.id for part in lesson.sections]
    following = ids[ids.index(section) + 1 :]
    there = begin_reading(db, person, lesson.slug, section, now)
    done = dict.fromkeys(there.sections_done.split())
    done[section] = None
    there.sections_done = " ".join(done)
    if heard:
        there.sections_heard = " ".join(dict.fromkeys([*there.sections_heard.split(), section]))
    there.section = following[0] if following else section
    there.moved_at = now
    db.add(there)
    db.flush()
    return following[0] if following else None


def mode(db: Session, person: Person, lesson: str) -> str:
    """Return how a lesson reached a person in this round: "heard" when all of it was, or "read"."""
    there = place(db, person, lesson)
    done = set(there.sections_done.split()) if there else set()
    return "heard" if done and done <= set(there.sections_heard.split()) else "read"


def unread(there: Row | None, lesson: lessons.Lesson) -> list[str]:
    """Return the sections that were not read to the end in this round."""
    done = there.sections_done.split() if there else []
    return [part.id for part in lesson.sections if part.id not in done]


def go_on_at(there: Row | None, lesson: lessons.Lesson) -> str:
    """Return the section to go on with: where the person stopped, while the lesson still has it."""
    if there and lesson.section(there.section):
        return there.section
    return next(iter(unread(there, lesson)), lesson.sections[0].id)


def read_anew(db: Session, lesson: str, changed: Iterable[str]) -> None:
    """Take back, in everybody's round of a lesson, that these sections were read: they changed.

    What was read of earlier rounds stays as it was.
    """
    gone = set(changed)
    for there in db.exec(select(LessonPlace).where(LessonPlace.lesson == lesson)):
        if there.round == round_of(db, db.get(Person, there.person_id), lesson):
            done, heard = there.sections_done.split(), there.sections_heard.split()
            there.sections_done = " ".join(one for one in done if one not in gone)
            there.sections_heard = " ".join(one for one in heard if one not in gone)
            db.add(there)
    db.flush()


def drill(db: Session, person: Person, exercise: bank.Exercise, language: str) -> Drill:
    """Return where a person is with an exercise, worked out from the answers kept."""
    return _follow(person, exercise, _answers(db, person, exercise), language)


def states(
    db: Session, person: Person, exercises: Iterable[bank.Exercise]
) -> dict[str, str]:
    """Return by exercise how far the person is: todo, begun or done."""
    query = select(LessonAnswer.exercise).where(LessonAnswer.person_id == person.id).distinct()
    begun = set(db.exec(query))
    return {
        one.slug: _state(db, person, one) if one.slug in begun else "todo" for one in exercises
    }


def another(
    db: Session, person: Person, exercises: Iterable[bank.Exercise], after: str
) -> bank.Exercise | None:
    """Return an exercise of another kind to go on with: mixed, not in blocks.

    Those begun or not met yet come before those done; which one is this person's own draw, new
    with each problem that is done.
    """
    known = states(db, person, exercises)
    others = [one for one in exercises if one.slug != after]
    open_ = [one for one in others if known[one.slug] != "done"] or others
    count = db.exec(select(func.count()).where(LessonAnswer.person_id == person.id)).one()
    return bank.shuffle(open_, seed(person, "another", after, count))[0] if open_ else None


def _state(db: Session, person: Person, exercise: bank.Exercise) -> str:
    return "done" if drill(db, person, exercise, "en").finished else "begun"


def go_on(
    db: Session,
    person: Person,
    exercise: bank.Exercise,
    ordinal: int,
    now: datetime,
    told: Sequence[bank.Facts] = (),
    language: str = "en",
) -> Drill:
    """Go on from a problem that is done to the next; a second click changes nothing.

    told  what the person's worksites tell, see own_numbers.facts
    Return where the person is then, as does whatever else takes something.
    """
    answers = _answers(db, person, exercise)
    state = _follow(person, exercise, answers, language)
    if state.ordinal != ordinal or not state.done:
        return state
    following = _at_the_worksite(db, person, state, told)
    given = Given(ordinal, WENT_ON, 0, "", "right", following=following)
    return _keep(db, state, answers, given, now)


def answer(
    db: Session,
    person: Person,
    exercise: bank.Exercise,
    ordinal: int,
    step: int,
    typed: str,
    language: str,
    now: datetime,
) -> Drill:
    """Mark an answer to a step and keep it; one to a step that is past is dropped.

    The same sent twice, as by a double click or where no page came back, is one try.
    """
    answers = _answers(db, person, exercise)
    state = _follow(person, exercise, answers, language)
    if (state.ordinal, state.step) != (ordinal, step):
        return state
    tries = [item for item in answers if (item.ordinal, item.step) == (ordinal, step)]
    if tries and tries[-1].typed == typed[:80]:
        return state
    marking = bank.mark(state.problem.steps[step].blank, typed, language)
    slip = marking.slip.key if marking.slip else ""
    given = Given(ordinal, step, len(tries), typed[:80], marking.verdict, slip)
    return _keep(db, state, answers, given, now)


def show_step(
    db: Session, person: Person, exercise: bank.Exercise, ordinal: int, step: int, now: datetime,
    language: str = "en",
) -> Drill:
    """Show a step worked to a person who is stuck; the problem then counts as one with a slip."""
    answers = _answers(db, person, exercise)
    state = _follow(person, exercise, answers, language)
    if (state.ordinal, state.step) != (ordinal, step):
        return state
    tries = [item for item in answers if (item.ordinal, item.step) == (ordinal, step)]
    return _keep(db, state, answers, Given(ordinal, step, len(tries), "", SHOWN), now)


_ANSWERS = often.Question(
    columns_of(*often.columns(LessonAnswer))
    .where(
        LessonAnswer.person_id == bindparam("person"),
        LessonAnswer.exercise == bindparam("exercise"),
        LessonAnswer.version == bindparam("version"),
    )
    .order_by(LessonAnswer.id)
)


def _answers(db: Session, person: Person, exercise: bank.Exercise) -> list[Row]:
    about = {"person": person.id, "exercise": exercise.slug, "version": exercise.version}
    return often.rows(db, _ANSWERS, **about)


_KEEP = insert(LessonAnswer)


def _keep(
    db: Session, state: Drill, answers: list[Row], given: Given, now: datetime
) -> Drill:
    """Keep an answer that was given after others; return where the person is then."""
    about = {
        "person_id": state.person.id, "lesson": state.exercise.lesson,
        "exercise": state.exercise.slug, "version": state.exercise.version, "answered_at": now,
    }  # fmt: skip
    often.do(db, _KEEP, **about, **given._asdict())
    return _follow(state.person, state.exercise, [*answers, given], state.language)


def _follow(
    person: Person, exercise: bank.Exercise, answers: Sequence[Row | Given], language: str
) -> Drill:
    """Follow the answers from the worked example to where the person is now."""
    state, clean = _open(person, language, exercise, 0, WORKED, 0), True
    for given in answers:
        if given.ordinal != state.ordinal:
            continue
        if given.step == WENT_ON:
            state, clean = _next(state, given), True
            continue
        clean = clean and given.verdict in ("right", "ambiguous", "unreadable")
        state = replace(state, step=state.step + _settles(given), last=given)
        if state.done:
            state = _counted(state, clean)
    return state


def _settles(given: Row | Given) -> bool:
    """Say whether a step is done with this answer to it."""
    return given.verdict in ("right", SHOWN)


def _counted(state: Drill, clean: bool) -> Drill:
    """Count a problem that is done: one more in a row, or none any more."""
    in_a_row = state.in_a_row + 1 if clean else 0
    both = state.level == ALONE and in_a_row >= IN_A_ROW
    return replace(state, in_a_row=in_a_row, finished=state.finished or both)


def _at_the_worksite(
    db: Session, person: Person, state: Drill, told: Sequence[bank.Facts]
) -> str:
    """Return the next problem with the numbers of a worksite, as JSON; "" where it has none.

    It is the worksite's turn at every other problem, and whenever fewer than one in three had
    its numbers so far. The problem that was just done does not come again.
    """
    ordinal = state.ordinal + 1
    its_own = site_lessons.is_slug(state.exercise.lesson)  # then it is its turn each time
    if not told or not (its_own or ordinal % 2 or _few_so_far(db, person)):
        return ""
    found = bank.draw_at_any(
        state.exercise,
        _seed_of(person, state.exercise, ordinal),
        told,
        but=state.problem.inputs,
    )
    return json.dumps(found.freeze(), ensure_ascii=False) if found else ""


def _few_so_far(db: Session, person: Person) -> bool:
    """Say whether one more general problem would leave less than one in three to the worksite.

    The worked example of each exercise counts among those that are general.
    """
    went_on = select(
        func.count(),
        func.count(func.nullif(LessonAnswer.following, "")),
        func.count(LessonAnswer.exercise.distinct()),
    ).where(LessonAnswer.person_id == person.id, LessonAnswer.step == WENT_ON)
    problems, of_worksite, examples = db.exec(went_on).one()
    return of_worksite * FEWEST_OF_A_WORKSITE < problems + examples + 1


def _next(state: Drill, given: Row | Given) -> Drill:
    """Open the next problem: a step up after two in a row, a step down after a slip."""
    level, in_a_row = state.level, state.in_a_row
    if level == WORKED or in_a_row >= IN_A_ROW:
        level, in_a_row = min(level + 1, ALONE), 0
    elif in_a_row == 0:
        level -= 1
    following = _open(
        state.person, state.language, state.exercise, state.ordinal + 1, level, in_a_row,
        given.following,
    )
    return replace(following, finished=state.finished)


def _open(
    person: Person, language: str, exercise: bank.Exercise, ordinal: int, level: int,
    in_a_row: int, kept: str = "",
) -> Drill:
    """Open a problem: as it was kept, else to be drawn from its seed."""
    whole = len(json.loads(kept)["steps"] if kept else exercise.steps)
    left_out = {WORKED: 0, PARTLY: max(1, min(in_a_row + 1, whole - 1)), ALONE: whole}[level]
    return Drill(
        person, language, exercise, ordinal, kept, whole, level, in_a_row, left_out,
        step=whole - left_out, finished=False, last=None,
    )


def _seed_of(person: Person, exercise: bank.Exercise, ordinal: int) -> int:
    return seed(person, exercise.slug, exercise.version, ordinal)
