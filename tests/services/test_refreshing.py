"""Refreshers: about 1, 3 and 6 months after training, for the person and the trainer alone."""

from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest

from tests.conftest import Works, pass_lesson, right_answer, wrong_answer
from trainer import bank, lessons
from trainer.calculations.periods import next_due
from trainer.services import assigning, learning, observing, refreshing, sitting, standing
from trainer.services.refreshing import LENGTH, Offer
from trainer.services.refusal import Refusal
from trainer.store import people, record
from trainer.store.tables import Person, Practice, Sitting, SittingItem

BEGIN_AGAIN_DAYS = 60  # as installed

DAYS = {1: 32, 3: 95, 6: 190}
"""Days after which a refresher of so many months has come, whatever the months' lengths."""


def trained(works: Works, days_ago: int, name: str = "Lee") -> Works:
    """Let somebody complete their training so many days ago; return the works as of today."""
    then = replace(works, now=works.now - timedelta(days=days_ago))
    for lesson in lessons.load().all:
        pass_lesson(then, name, lesson.slug, then.now)
    watch(then, name)
    return works


def watch(works: Works, name: str = "Lee", refreshes: int | None = None, **marks: str):
    """Watch a practice, or a short putting on, and sign it."""
    with works.store.writing() as db:
        person = works.people[name]
        worn = people.respirators(db, person.id)[-1]
        there = observing.begin(db, works.scribe("Tomas"), person, worn, refreshes)
        asked = {act.slug: "unprompted" for act in observing.asked_of(db, there)}
        observing.mark(db, works.scribe("Tomas"), there, asked | marks)
        return observing.sign(db, works.scribe("Tomas"), there)


def waiting(works: Works, name: str = "Lee", days: int = 0) -> Offer | None:
    """Return the refresher that waits for somebody, now or so many days later."""
    with works.store.reading() as db:
        person = works.people[name]
        today = works.today + timedelta(days=days)
        return refreshing.offer(db, person, today, standing.History(db, person))


def take(works: Works, wrong: int = 0, name: str = "Lee") -> Sitting:
    """Take the refresher that waits, with so many wrong answers."""
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        there = refreshing.begin(db, person, works.today, works.now)
        for place, one in enumerate(sitting.shown(db, there)):
            given = wrong_answer(one) if place < wrong else right_answer(one)
            sitting.answer(db, there, one.item.position, given, works.now)
        return sitting.close(db, works.scribe(name), there, "en", 80)


def entries(works: Works, name: str = "Lee") -> list:
    """Return somebody's entries."""
    with works.store.reading() as db:
        return record.of_person(db, works.people[name].number)


@pytest.mark.parametrize("months", [1, 3, 6])
def test_the_latest_that_has_come_waits(works, months):
    trained(works, DAYS[months])
    assert waiting(works).months == months


def test_none_waits_before_the_day_or_without_training(works):
    assert waiting(works) is None
    trained(works, 0)
    first = (next_due(works.today, 1) - works.today).days
    assert waiting(works, days=first - 1) is None
    assert waiting(works, days=first).months == 1


def test_none_waits_where_the_lessons_are_open_again(works):
    trained(works, 0)
    again = (next_due(works.today) - works.today).days - BEGIN_AGAIN_DAYS
    assert waiting(works, days=again - 1).months == 6
    assert waiting(works, days=again) is None


def test_five_of_mixed_kinds_and_lessons(works):
    trained(works, DAYS[1])
    with works.store.writing() as db:
        there = refreshing.begin(db, works.people["Lee"], works.today, works.now)
        items = sitting.shown(db, there)
    assert len(items) == LENGTH
    assert Counter(one.item.kind for one in items) == {"question": 3, "problem": 2}
    assert len({one.lesson for one in items if one.question}) == 3
    assert len({one.item.slug for one in items}) == LENGTH


def test_what_was_missed_comes_first_then_what_all_must_know(works):
    trained(works, DAYS[1])
    found = bank.load()
    missed = next(one for one in found.questions.values() if not one.must_know)
    with works.store.writing() as db:
        person = works.people["Lee"]
        # As after a sitting in which it was not right.
        there = sitting.open_drawn(
            db,
            Sitting(person_id=person.id, lesson=missed.lesson, ordinal=9, seed=3,
                    lesson_version="", started_at=works.now, passed=False),
            [missed], [],
        )  # fmt: skip
        (one,) = sitting.shown(db, there)
        db.get(SittingItem, one.item.id).right, there.closed_at = False, works.now
    with works.store.writing() as db:
        drawn = sitting.shown(
            db, refreshing.begin(db, works.people["Lee"], works.today, works.now)
        )
    asked = [one for one in drawn if one.question]
    assert missed.slug in [one.question.slug for one in asked]
    assert all(one.item.must_know for one in asked if one.question.slug != missed.slug)


def test_it_is_marked_kept_for_the_trainer_and_makes_no_entry(works):
    trained(works, DAYS[3])
    before = len(entries(works))
    assert take(works, wrong=1).passed is True  # four of five: the pass mark of 80 %
    assert waiting(works) is None
    assert len(entries(works)) == before
    with works.store.reading() as db:
        (one,) = refreshing.results(db, works.people["Lee"])
        assert (one.months, one.right + one.must_right, one.asked + one.must_asked) == (3, 4, 5)
        assert len(refreshing.faded(db, one)) == 1


def test_a_failed_one_leaves_the_tag_as_it_is_until_the_trainer_asks_for_retraining(works):
    trained(works, DAYS[1])
    assert take(works, wrong=2).passed is False
    person = works.people["Lee"]
    loft = [works.worksites["Laminating Loft"].id]
    with works.store.reading() as db:
        assert standing.History(db, person).retraining() == ()
        (look,) = refreshing.to_look_at(db, loft, works.today)
        assert (look.person.number, look.why) == ("00417", "faded")
        assert refreshing.to_look_at(db, [works.worksites["Joinery"].id], works.today) == []
        slugs = refreshing.faded(db, refreshing.results(db, person)[0])
    later = replace(works, now=works.now + timedelta(minutes=1))
    with works.store.writing() as db:
        due = works.today + timedelta(days=14)
        assigning.assign(db, later.scribe("Tomas"), person, slugs, due, "knowledge-or-use")
    with works.store.reading() as db:
        assert standing.History(db, person).retraining() == tuple(slugs)
        assert refreshing.to_look_at(db, loft, works.today) == []


def test_begun_twice_it_is_one_and_goes_on(works):
    trained(works, DAYS[1])
    with works.store.writing() as db:
        first = refreshing.begin(db, works.people["Lee"], works.today, works.now).id
        again = refreshing.begin(db, works.people["Lee"], works.today, works.now).id
    assert first == again
    assert waiting(works).begun.id == first


def test_none_is_begun_where_none_waits(works):
    with works.store.writing() as db, pytest.raises(Refusal, match="No refresher is waiting"):
        refreshing.begin(db, works.people["Lee"], works.today, works.now)


def test_at_six_months_a_short_putting_on_is_watched_once(works):
    trained(works, DAYS[6])
    person, loft = works.people["Lee"], [works.worksites["Laminating Loft"].id]
    with works.store.reading() as db:
        after = refreshing.watch_after(db, standing.History(db, person), person, works.today)
        assert [look.why for look in refreshing.to_look_at(db, loft, works.today)] == ["watch"]
    before = len(entries(works))
    assert watch(works, refreshes=after, **{"strap-tension": "helped"}) is None
    assert len(entries(works)) == before, "it makes no entry"
    with works.store.reading() as db:
        (seen,) = refreshing.watched(db, person)
        assert seen.passed is False
        missing = standing.tags(db, person, works.today)[0].clearance.missing
        assert missing == ("medical", "fit-test")
        history = standing.History(db, person)
        assert refreshing.watch_after(db, history, person, works.today) is None
        assert refreshing.to_look_at(db, loft, works.today) == []


@pytest.mark.parametrize("months", [1, 3])
def test_before_six_months_nothing_is_watched(works, months):
    trained(works, DAYS[months])
    person = works.people["Lee"]
    with works.store.reading() as db:
        history = standing.History(db, person)
        assert refreshing.watch_after(db, history, person, works.today) is None
        assert refreshing.to_look_at(db, [works.worksites["Laminating Loft"].id], works.today) == []


def test_the_short_one_leaves_out_inspecting_and_cleaning(works):
    with works.store.writing() as db:
        worn = people.respirators(db, works.people["Lee"].id)[-1]
        whole, short = observing.acts_for(worn), observing.acts_for(worn, short=True)
    assert [act.slug for act in whole if act not in short] == ["inspect", "clean-and-store"]


def test_a_short_one_and_a_whole_practice_are_two(works):
    trained(works, DAYS[6])
    with works.store.writing() as db:
        person = works.people["Lee"]
        worn = people.respirators(db, person.id)[-1]
        by = works.scribe("Tomas")
        short = observing.begin(db, by, person, worn, refreshes=1)
        whole = observing.begin(db, by, person, worn)
        assert short.id != whole.id
        assert db.get(Practice, whole.id).refreshes is None


def test_a_lesson_read_aloud_to_its_end_is_recorded_as_heard(works):
    lesson = lessons.load().all[0]
    for name, heard in (("Lee", len(lesson.sections)), ("Kim", 1)):
        with works.store.writing() as db:
            person = works.people[name]
            for place, section in enumerate(lesson.sections):
                learning.finish_section(
                    db, person, lesson, section.id, works.now, heard=place < heard
                )
            there = sitting.begin(db, person, lesson, works.now)
            for one in sitting.shown(db, there):
                sitting.answer(db, there, one.item.position, right_answer(one), works.now)
            sitting.close(db, works.scribe(name), there, "en", 80)
    assert record.body(entries(works, "Lee")[0])["mode"] == "heard"
    assert record.body(entries(works, "Kim")[0])["mode"] == "read"
