"""What waits for a trainer, most urgent first, and the grid of workers and lessons."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from tests.conftest import HALF_MASK, ZONE, Works, pass_lesson, right_answer, wrong_answer
from tests.services.test_describing import OV, loft, sample, wear
from tests.services.test_observing import watch
from trainer import lessons
from trainer.services import asking, assigning, joining, learning, recording, sitting, today
from trainer.services.today import Item
from trainer.store import people

COURSE = [lesson.slug for lesson in lessons.load().all]


def waits(
    works: Works, place: str = "Laminating Loft", by: str = "", medical: bool = False
) -> list[Item]:
    """Return what waits at a worksite, for a trainer where one is named."""
    with works.store.reading() as db:
        trainer = works.people[by] if by else None
        there = [works.worksites[place]]
        return today.waiting(db, there, works.today, ZONE, trainer, medical=medical)


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


def test_what_is_a_trainers_own_waits_for_another(works):
    with works.store.writing() as db:
        for name in ("Lee", "Tomas"):
            asking.ask(db, works.people[name], "Which?", once=name, language="en", now=works.now)
            asking.tell(db, works.people[name], "health", None, works.now)
    assert [one.person.name for one in waits(works, by="Tomas")] == ["Lee", "Lee"]
    assert len(waits(works)) == 4


def test_a_question_leads_to_itself_and_stands_under_the_day_at_the_worksite(works):
    evening = datetime(2026, 3, 5, 4, 30, tzinfo=UTC)  # half past ten on the 4th in Chicago
    with works.store.writing() as db:
        lee = works.people["Lee"]
        first = asking.ask(db, lee, "First?", once="1", language="en", now=evening, lesson="fit")
        minute = evening + timedelta(minutes=1)
        second = asking.ask(db, lee, "Then?", once="2", language="en", now=minute, lesson="")
        asking.tell(db, lee, "health", None, evening)
    assert {one.on for one in waits(works)} == {date(2026, 3, 4)}
    questions = [one for one in waits(works) if one.kind == "question"]
    assert [one.number for one in questions] == [first.id, second.id]  # as asked, not by lesson


def trained(works: Works, days_ago: int) -> Works:
    """Let Lee be trained so many days ago; return the works as they were then."""
    then = replace(works, now=works.now - timedelta(days=days_ago))
    for slug in COURSE:
        pass_lesson(then, "Lee", slug, then.now)
    watch(then)
    return then


def clear(works: Works) -> None:
    """Record what else a tag needs: Lee is cleared and the facepiece fits."""
    with works.store.writing() as db:
        by, lee, on = works.scribe(), works.people["Lee"], works.today
        recording.record_medical(db, by, lee, once="m", on=on, outcome="cleared", limit="",
                                 until=None)
        recording.record_fit_test(
            db, by, lee, people.respirators(db, lee.id)[0], once="f", on=on,
            protocol="ambient-aerosol", fit_factor=300.0, recording="sheet 1",
        )  # fmt: skip


def test_when_a_determination_ends_is_told_to_whoever_may_know_it_alone(works):
    clear(trained(works, 30))
    end = works.today + timedelta(days=5)
    with works.store.writing() as db:
        recording.record_medical(db, works.scribe(), works.people["Lee"], once="again",
                                 on=works.today, outcome="cleared", limit="", until=end)
    told = [one for one in waits(works, medical=True) if one.about == "medical"]
    assert [(one.kind, one.on) for one in told] == [("soon", end)]
    assert [one for one in waits(works) if one.kind in ("soon", "overdue")] == []
    after = replace(works, now=works.now + timedelta(days=6))
    assert [(one.kind, one.on) for one in waits(after) if one.about == "medical"] == [
        ("overdue", None)
    ]


@pytest.mark.parametrize(("days_ago", "kind"), [(360, "soon"), (400, "overdue")])
def test_a_tag_that_ends_or_has_ended_waits(works, days_ago, kind):
    clear(trained(works, days_ago))
    found = [one for one in waits(works) if one.kind in ("soon", "overdue")]
    assert {one.kind for one in found} == {kind}
    assert (found[0].on < works.today) == (kind == "overdue")
    if kind == "overdue":
        # Done anew, the fit test makes the tag be worked out again: training is overdue still.
        with works.store.writing() as db:
            recording.record_fit_test(
                db, works.scribe(), works.people["Lee"],
                people.respirators(db, works.people["Lee"].id)[0], once="again", on=works.today,
                protocol="ambient-aerosol", fit_factor=300.0, recording="sheet 2",
            )  # fmt: skip
        assert [(one.kind, one.about) for one in waits(works)] == [("overdue", "training")]
        # Said once, where the lessons are assigned and overdue as well.
        assign(works, -1, COURSE[:2], "yearly")
        assert [(one.kind, one.about) for one in waits(works)] == [("overdue", "lessons")]


def test_practice_waits_in_the_yearly_round_too(works):
    trained(works, 330)
    assert "practice" not in {one.kind for one in waits(works)}
    for slug in COURSE:
        pass_lesson(works, "Lee", slug, works.now)
    assert [one.kind for one in waits(works) if one.kind == "practice"] == ["practice"]
    watch(works)
    assert "practice" not in {one.kind for one in waits(works)}


def test_practice_waits_for_a_respirator_of_another_class(works):
    trained(works, 20)
    with works.store.writing() as db:
        joining.give_respirator(db, works.scribe(), works.people["Lee"],
                                **(HALF_MASK | {"class_slug": "apr-full", "model": "Full 5"}))
    assert ("practice", "Lee") in told(works)
    watch(works)
    assert ("practice", "Lee") not in told(works)
