"""What waits for a trainer, most urgent first, and the grid of workers and lessons."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.conftest import ZONE, Works, pass_lesson, right_answer, wrong_answer
from tests.services.test_describing import OV, loft, sample, wear
from tests.services.test_observing import watch
from trainer import lessons
from trainer.services import asking, assigning, learning, sitting, today
from trainer.services.today import Item
from trainer.store import people

COURSE = [lesson.slug for lesson in lessons.load().all]


def waits(works: Works, place: str = "Laminating Loft") -> list[Item]:
    """Return what waits at a worksite."""
    with works.store.reading() as db:
        return today.waiting(db, [works.worksites[place]], works.today, ZONE)


def told(works: Works) -> list[tuple[str, str]]:
    """Return (kind, name) of what waits."""
    return [(one.kind, one.person.name if one.person else "") for one in waits(works)]


def fail(works: Works, slug: str, name: str = "Lee") -> None:
    """Fail a sitting."""
    lesson = lessons.load().get(slug)
    with works.store.writing() as db:
        person = works.people[name]
        for section in lesson.sections:
            learning.finish_section(db, person, lesson, section.id, works.now)
        there = sitting.begin(db, person, lesson, works.now)
        for one in sitting.shown(db, there):
            given = wrong_answer(one) if one.item.must_know else right_answer(one)
            sitting.answer(db, there, one.item.position, given, works.now)
        assert not sitting.close(db, works.scribe(name), there, "en", 80).passed


def assign(works: Works, days: int, slugs: list[str], reason: str = "first") -> None:
    """Assign lessons to Lee, due so many days from today."""
    with works.store.writing() as db:
        due = works.today + timedelta(days=days)
        before = works.scribe("Tomas", works.now - timedelta(days=40))
        assigning.assign(db, before, works.people["Lee"], slugs, due, reason)


def test_nothing_waits_at_the_start(works):
    assert waits(works) == []


def test_two_failed_sittings_wait_for_a_talk(works):
    fail(works, COURSE[0])
    assert told(works) == []
    fail(works, COURSE[0])
    assert [(one.kind, one.about) for one in waits(works)] == [("failed", COURSE[0])]
    with works.store.reading() as db:
        assert sitting.needs_talk(db, works.people["Lee"], COURSE[0])
    with works.store.writing() as db:
        later = works.scribe("Tomas", works.now + timedelta(minutes=1))
        sitting.talked(db, later, works.people["Lee"], COURSE[0])
    assert told(works) == []


@pytest.mark.parametrize(("days", "kind"), [(-1, "overdue"), (0, "soon"), (14, "soon")])
def test_lessons_of_a_person_that_fall_due_are_one_item(works, days, kind):
    assign(works, days, COURSE[:3])
    (one,) = waits(works)
    assert (one.kind, one.count, one.about) == (kind, 3, "lessons")


def test_lessons_due_later_or_passed_since_do_not_wait(works):
    assign(works, 15, COURSE[:1])
    assign(works, 3, COURSE[1:2])
    pass_lesson(works, "Lee", COURSE[1], works.now)
    assert waits(works) == []


def test_practice_waits_once_every_lesson_is_passed(works):
    for slug in COURSE[1:]:
        pass_lesson(works, "Lee", slug, works.now)
    assert waits(works) == []
    pass_lesson(works, "Lee", COURSE[0], works.now)
    assert told(works) == [("practice", "Lee")]
    watch(works)
    assert waits(works) == []


def test_a_respirator_that_is_not_enough_comes_first(works):
    assign(works, -1, COURSE[:1])
    _, task, hazard = loft(works)
    sample(works, hazard, (8, 250))
    wear(works, task, "apr-half", **OV)
    first, second = waits(works)
    assert (first.kind, first.worksite.name, first.count) == ("inadequate", "Laminating Loft", 1)
    assert second.kind == "overdue"


def test_another_worksite_sees_nothing_of_it(works):
    fail(works, COURSE[0])
    fail(works, COURSE[0])
    assign(works, -1, COURSE[:1])
    assert waits(works, "Joinery") == []


def test_the_grid_has_a_row_a_worker_and_a_state_a_lesson(works):
    pass_lesson(works, "Lee", COURSE[0], works.now)
    read = lessons.load().get(COURSE[1])
    with works.store.writing() as db:
        learning.finish_section(db, works.people["Lee"], read, read.sections[0].id, works.now)
    with works.store.reading() as db:
        rows = today.grid(db, works.worksites["Laminating Loft"].id, works.today)
        fewest = today.grid(db, works.worksites["Laminating Loft"].id, works.today, "done")
    assert [row.person.name for row in rows] == ["Kim", "Lee"]
    lee = rows[1]
    assert [lee.states[slug] for slug in COURSE[:3]] == ["done", "begun", "todo"]
    assert lee.done == 1
    assert [row.person.name for row in fewest] == ["Kim", "Lee"]


def test_the_grid_sorts_by_a_lesson(works):
    pass_lesson(works, "Kim", COURSE[0], works.now)
    with works.store.reading() as db:
        rows = today.grid(db, works.worksites["Laminating Loft"].id, works.today, COURSE[0])
    assert [row.person.name for row in rows] == ["Lee", "Kim"]


def test_whoever_is_trained_is_done_until_a_lesson_is_begun_again(works):
    then = replace(works, now=works.now - timedelta(days=3))
    for slug in COURSE:
        pass_lesson(then, "Lee", slug, then.now)
    watch(then)
    read = lessons.load().get(COURSE[1])
    with works.store.writing() as db:
        learning.finish_section(db, works.people["Lee"], read, read.sections[0].id, works.now)
    with works.store.reading() as db:
        lee = next(
            row for row in today.grid(db, works.worksites["Laminating Loft"].id, works.today)
            if row.person.name == "Lee"
        )  # fmt: skip
    assert lee.states[COURSE[0]] == "done" and lee.states[COURSE[1]] == "begun"


@pytest.mark.parametrize(("days_ago", "state"), [(100, "done"), (320, "todo"), (400, "todo")])
def test_the_yearly_round_opens_the_lessons_again(works, days_ago, state):
    then = replace(works, now=works.now - timedelta(days=days_ago))
    for slug in COURSE:
        pass_lesson(then, "Lee", slug, then.now)
    watch(then)
    assert lee_of(works).states[COURSE[0]] == state
    pass_lesson(works, "Lee", COURSE[0], works.now)
    assert lee_of(works).states[COURSE[0]] == "done"


def test_a_lesson_asked_for_cause_is_to_do_again(works):
    then = replace(works, now=works.now - timedelta(days=3))
    for slug in COURSE:
        pass_lesson(then, "Lee", slug, then.now)
    watch(then)
    with works.store.writing() as db:
        due = works.today + timedelta(days=5)
        assigning.assign(
            db, works.scribe("Tomas"), works.people["Lee"], COURSE[:1], due, "knowledge-or-use"
        )
    assert (lee_of(works).states[COURSE[0]], lee_of(works).states[COURSE[1]]) == ("todo", "done")


def lee_of(works: Works) -> today.Row:
    """Return Lee's row of the grid."""
    with works.store.reading() as db:
        rows = today.grid(db, works.worksites["Laminating Loft"].id, works.today)
    return next(row for row in rows if row.person.name == "Lee")


def test_needs_and_questions_wait_too(works):
    with works.store.writing() as db:
        lee = works.people["Lee"]
        worn = people.respirators(db, lee.id)[0]
        asking.tell(db, lee, "leak", worn, works.now)
        asking.ask(db, lee, "Which size is mine?", once="a" * 32, language="en", now=works.now)
    assert told(works) == [("need", "Lee"), ("question", "Lee")]
    assert waits(works, "Joinery") == []
