"""Reading a lesson, and problems that grow from a worked example to the whole done alone."""

import pytest

from tests.conftest import Works
from trainer import bank, lessons
from trainer.services import learning
from trainer.services.learning import Drill
from trainer.store.tables import LessonAnswer

SLUG = "protection-factors"
EXERCISES = ("inside-concentration", "required-factor", "maximum-use")


def exercise(slug: str) -> bank.Exercise:
    """Return an exercise of the bank."""
    return bank.load().exercises[slug]


def where(works: Works, slug: str, name: str = "Lee") -> Drill:
    """Return where somebody is with an exercise."""
    with works.store.reading() as db:
        return learning.drill(db, works.people[name], exercise(slug), "en")


def go_on(works: Works, slug: str, ordinal: int | None = None) -> Drill:
    """Go on to the next problem."""
    at = where(works, slug).ordinal if ordinal is None else ordinal
    with works.store.writing() as db:
        learning.go_on(db, works.people["Lee"], exercise(slug), at, works.now)
    return where(works, slug)


def give(works: Works, slug: str, typed: str, step: int | None = None) -> Drill:
    """Answer the step to be answered now, or another."""
    at = where(works, slug)
    asked = at.step if step is None else step
    with works.store.writing() as db:
        learning.answer(
            db, works.people["Lee"], exercise(slug), at.ordinal, asked, typed, "en", works.now
        )
    return where(works, slug)


def work_rightly(works: Works, slug: str) -> Drill:
    """Answer what is left of a problem, all right."""
    at = where(works, slug)
    while not at.done:
        at = give(works, slug, at.problem.steps[at.step].blank.typed)
    return at


def slip(at: Drill) -> str:
    """Return a wrong answer to the step asked now."""
    blank = at.problem.steps[at.step].blank
    if blank.kind == "pick":
        return next(key for key, _ in blank.options("en") if key != blank.value)
    return "0.0123456"


@pytest.mark.parametrize("slug", EXERCISES)
def test_a_worked_example_then_one_step_left_out_then_more_until_the_whole(works, slug):
    at = where(works, slug)
    assert (at.ordinal, at.left_out, at.done, at.finished) == (0, 0, True, False)
    whole = len(at.problem.steps)
    for left_out in range(1, whole + 1):
        at = go_on(works, slug)
        assert (at.ordinal, at.left_out) == (left_out, left_out)
        assert at.step == len(at.problem.steps) - left_out
        at = work_rightly(works, slug)
        assert at.finished == (left_out == whole)
    assert go_on(works, slug) == at


def test_each_problem_has_its_own_numbers_and_they_stay(works):
    slug = "inside-concentration"
    first = where(works, slug)
    assert where(works, slug).problem == first.problem
    second = go_on(works, slug)
    assert second.problem.inputs != first.problem.inputs
    assert where(works, slug, "Kim").problem.inputs != first.problem.inputs


def test_a_slip_shows_a_like_problem_and_the_stage_stays(works):
    slug = "inside-concentration"
    at = go_on(works, slug)
    stage, problem = at.left_out, at.problem
    at = give(works, slug, slip(at))
    assert at.marking.verdict == "wrong"
    assert at.like.exercise == slug
    assert at.like.inputs != problem.inputs
    assert (at.problem, at.done) == (problem, False)
    at = work_rightly(works, slug)
    assert at.done
    assert not at.finished
    following = go_on(works, slug)
    assert (following.ordinal, following.left_out) == (2, stage)


def test_a_slip_in_the_whole_asks_for_one_more_whole(works):
    slug = "inside-concentration"
    at = where(works, slug)
    for _ in at.problem.steps[:-1]:
        go_on(works, slug)
        work_rightly(works, slug)
    at = go_on(works, slug)
    give(works, slug, slip(at))
    at = work_rightly(works, slug)
    assert (at.done, at.finished) == (True, False)
    again = go_on(works, slug)
    assert again.left_out == len(again.problem.steps)
    assert work_rightly(works, slug).finished


def test_an_answer_nobody_can_read_is_no_slip(works):
    slug = "inside-concentration"
    at = go_on(works, slug)
    at = give(works, slug, "")
    assert (at.marking.verdict, at.like) == ("unreadable", None)
    work_rightly(works, slug)
    assert go_on(works, slug).left_out == 2


def test_a_step_that_is_shown_counts_like_a_slip(works):
    slug = "inside-concentration"
    at = go_on(works, slug)
    with works.store.writing() as db:
        learning.show_step(
            db, works.people["Lee"], exercise(slug), at.ordinal, at.step, works.now
        )
    after = where(works, slug)
    assert after.step == at.step + 1
    work_rightly(works, slug)
    assert go_on(works, slug).left_out == at.left_out


def test_a_double_click_changes_nothing(works):
    slug = "required-factor"
    go_on(works, slug)
    assert go_on(works, slug, ordinal=0).ordinal == 1
    at = where(works, slug)
    right = at.problem.steps[at.step].blank.typed
    once = give(works, slug, right)
    assert give(works, slug, right, step=at.step) == once
    with works.store.reading() as db:
        from sqlmodel import select

        assert len(list(db.exec(select(LessonAnswer)))) == 2


def test_nobody_goes_on_from_a_problem_that_is_not_done(works):
    slug = "inside-concentration"
    at = go_on(works, slug)
    assert go_on(works, slug).ordinal == at.ordinal
    assert give(works, slug, "1", step=at.step + 1).step == at.step
    assert give(works, slug, "1", step=-1).step == at.step


def test_reading_goes_on_where_it_stopped(works):
    lesson = lessons.load().get(SLUG)
    ids = [section.id for section in lesson.sections]
    lee = works.people["Lee"]
    with works.store.writing() as db:
        assert learning.place(db, lee, SLUG) is None
        assert learning.finish_section(db, lee, lesson, ids[0], works.now) == ids[1]
        assert learning.finish_section(db, lee, lesson, ids[0], works.now) == ids[1]
        there = learning.place(db, lee, SLUG)
        assert (there.section, learning.unread(there, lesson)) == (ids[1], ids[1:])
        for section in ids[1:-1]:
            learning.finish_section(db, lee, lesson, section, works.now)
        assert learning.finish_section(db, lee, lesson, ids[-1], works.now) is None
        assert learning.unread(learning.place(db, lee, SLUG), lesson) == []
