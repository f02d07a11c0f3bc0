"""Reading a lesson, and problems that grow from a worked example to the whole done alone."""

from datetime import timedelta

import pytest

from tests.conftest import Works
from trainer import bank, lessons
from trainer.services import learning, sitting
from trainer.services.learning import ALONE, PARTLY, WORKED, Drill
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


def clean(works: Works, slug: str) -> Drill:
    """Go on to the next problem and do it without a slip."""
    go_on(works, slug)
    return work_rightly(works, slug)


@pytest.mark.parametrize("slug", EXERCISES)
def test_worked_then_partly_then_alone_two_right_in_a_row_each(works, slug):
    at = where(works, slug)
    assert (at.ordinal, at.level, at.left_out, at.done, at.finished) == (0, WORKED, 0, True, False)
    whole = len(at.problem.steps)
    for ordinal, level, left_out in (
        (1, PARTLY, 1), (2, PARTLY, min(2, whole - 1)), (3, ALONE, whole), (4, ALONE, whole),
    ):
        at = go_on(works, slug)
        assert (at.ordinal, at.level, at.left_out) == (ordinal, level, left_out)
        assert at.step == whole - left_out
        at = work_rightly(works, slug)
        assert at.finished == (ordinal == 4)


def test_what_is_finished_stays_so_and_may_go_on(works):
    slug = "inside-concentration"
    for _ in range(4):
        clean(works, slug)
    at = go_on(works, slug)
    assert (at.ordinal, at.level, at.finished) == (5, ALONE, True)
    give(works, slug, slip(at))
    work_rightly(works, slug)
    at = go_on(works, slug)
    assert (at.level, at.finished) == (PARTLY, True)


def test_each_problem_has_its_own_numbers_and_they_stay(works):
    slug = "inside-concentration"
    first = where(works, slug)
    assert where(works, slug).problem == first.problem
    second = go_on(works, slug)
    assert second.problem.inputs != first.problem.inputs
    assert where(works, slug, "Kim").problem.inputs != first.problem.inputs


def test_a_slip_shows_a_like_problem_and_leads_a_step_back(works):
    slug = "inside-concentration"
    at = go_on(works, slug)
    problem = at.problem
    at = give(works, slug, slip(at))
    assert at.marking.verdict == "wrong"
    assert at.like.exercise == slug
    assert at.like.inputs != problem.inputs
    assert (at.problem, at.done) == (problem, False)
    at = work_rightly(works, slug)
    assert (at.done, at.finished) == (True, False)
    following = go_on(works, slug)
    assert (following.ordinal, following.level, following.done) == (2, WORKED, True)
    assert following.problem.inputs != problem.inputs
    assert go_on(works, slug).level == PARTLY


def test_a_slip_alone_leads_back_to_partly_worked(works):
    slug = "inside-concentration"
    for _ in range(3):
        at = clean(works, slug)
    assert (at.level, at.in_a_row) == (ALONE, 1)
    give(works, slug, slip(go_on(works, slug)))
    at = work_rightly(works, slug)
    assert (at.done, at.finished) == (True, False)
    assert [clean(works, slug).level for _ in range(4)] == [PARTLY, PARTLY, ALONE, ALONE]
    assert where(works, slug).finished


def test_right_after_a_slip_and_right_again_is_not_two_in_a_row_before_it(works):
    slug = "maximum-use"
    clean(works, slug)
    give(works, slug, slip(go_on(works, slug)))
    work_rightly(works, slug)
    assert go_on(works, slug).level == WORKED


def test_the_list_says_how_far_a_person_is(works):
    every = bank.load().exercises.values()
    slug = "inside-concentration"
    go_on(works, slug)
    with works.store.reading() as db:
        at = learning.states(db, works.people["Lee"], every)
        others = learning.states(db, works.people["Kim"], every)
    assert {name for name, state in at.items() if state != "todo"} == {slug}
    assert (at[slug], set(others.values())) == ("begun", {"todo"})
    for _ in range(4):
        work_rightly(works, slug)
        go_on(works, slug)
    with works.store.reading() as db:
        assert learning.states(db, works.people["Lee"], every)[slug] == "done"


def test_an_answer_nobody_can_read_is_no_slip(works):
    slug = "inside-concentration"
    at = go_on(works, slug)
    at = give(works, slug, "")
    assert (at.marking.verdict, at.like) == ("unreadable", None)
    assert work_rightly(works, slug).in_a_row == 1


def test_a_step_that_is_shown_counts_like_a_slip(works):
    slug = "inside-concentration"
    at = go_on(works, slug)
    with works.store.writing() as db:
        learning.show_step(
            db, works.people["Lee"], exercise(slug), at.ordinal, at.step, works.now
        )
    after = where(works, slug)
    assert after.step == at.step + 1
    assert work_rightly(works, slug).in_a_row == 0
    assert go_on(works, slug).level == WORKED


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


def test_the_tag_goes_on_where_a_person_stopped(works):
    slugs = [lesson.slug for lesson in lessons.load().all]
    lee = works.people["Lee"]
    with works.store.writing() as db:
        assert learning.go_on_with(db, lee, slugs) == slugs[0]
        read = lessons.load().get(slugs[2])
        learning.finish_section(db, lee, read, read.sections[0].id, works.now)
        assert learning.go_on_with(db, lee, slugs) == slugs[2]
        whole = lessons.load().get(slugs[1])
        for section in whole.sections:
            learning.finish_section(db, lee, whole, section.id, works.now - timedelta(days=1))
        sitting.begin(db, lee, whole, works.now)
        assert learning.go_on_with(db, lee, slugs) == slugs[1], "an open sitting comes first"
        assert learning.go_on_with(db, lee, slugs[3:]) == slugs[3]
