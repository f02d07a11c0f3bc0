"""Assigning lessons, with a day and a reason."""

from datetime import timedelta

import pytest

from tests.conftest import Works, pass_lesson, right_answer, wrong_answer
from tests.services.test_observing import watch
from tests.site_lessons import published
from trainer import lessons
from trainer.reference import practice_acts
from trainer.services import assigning, curriculum, sitting, standing
from trainer.services.refusal import Refusal
from trainer.store import people, site_lessons
from trainer.store.tables import Person

pytestmark = pytest.mark.both_databases

SLUG = "protection-factors"


def assign(works: Works, slugs=(SLUG,), reason="knowledge-or-use", days: int = 14) -> list:
    """Let Tomas assign lessons to Lee."""
    with works.store.writing() as db:
        due = works.today + timedelta(days=days)
        return assigning.assign(
            db, works.scribe("Tomas"), works.people["Lee"], list(slugs), due, reason
        )


def history(works: Works) -> standing.History:
    """Return Lee's history."""
    with works.store.reading() as db:
        return standing.History(db, db.get(Person, works.people["Lee"].id))


def test_what_is_assigned_comes_first_with_its_reason_and_day(works):
    assign(works, ["respirator-classes"], "changed-respirator")
    first = history(works).to_do(works.today)[0]
    assert (first.slug, first.reason) == ("respirator-classes", "changed-respirator")
    assert first.due == works.today + timedelta(days=14)


@pytest.mark.parametrize(
    ("slugs", "reason", "days"),
    [
        ((), "yearly", 14),
        (("no-such-lesson",), "yearly", 14),
        ((SLUG, "no-such-lesson"), "yearly", 14),
        ((SLUG,), "because", 14),
        ((SLUG,), "yearly", -1),
    ],
)
def test_what_cannot_be_assigned_is_refused_whole(works, slugs, reason, days):
    with pytest.raises(Refusal):
        assign(works, slugs, reason, days)
    assert history(works).assignments == []


def test_today_is_not_too_late(works):
    assert len(assign(works, days=0)) == 1


def test_the_same_again_while_it_is_open_changes_nothing(works):
    assert len(assign(works)) == 1
    assert assign(works) == []
    assert len(assign(works, reason="changed-workplace")) == 1
    pass_lesson(works, "Lee", SLUG, works.now + timedelta(seconds=1))
    works.now += timedelta(seconds=2)
    assert len(assign(works)) == 1


@pytest.mark.parametrize("reason", ["changed-workplace", "changed-respirator", "knowledge-or-use"])
def test_for_cause_voids_the_training_until_the_lesson_is_passed(works, reason):
    """29 CFR 1910.134(k)(5)(i)-(iii)."""
    assign(works, reason=reason)
    assert history(works).retraining() == (SLUG,)
    pass_lesson(works, "Lee", SLUG, works.now + timedelta(seconds=1))
    assert history(works).retraining() == ()


@pytest.mark.parametrize("reason", ["first", "yearly"])
def test_first_and_yearly_training_void_nothing(works, reason):
    assign(works, reason=reason)
    assert history(works).retraining() == ()


def test_a_whole_worksite_is_its_workers_and_nobody_else(works):
    with works.store.writing() as db:
        loft = works.worksites["Laminating Loft"]
        workers = people.at_worksite(db, loft.id, role="worker")
        count = assigning.assign_all(
            db, works.scribe("Tomas"), workers, [SLUG], works.today, "yearly"
        )
        assert count == 2
        given = {
            name: len(people.assignments(db, person.id)) for name, person in works.people.items()
        }
    assert given == {"Lee": 1, "Kim": 1, "Noor": 0, "Tomas": 0, "Wren": 0, "Ida": 0}


def test_a_withdrawn_one_is_kept_and_asks_nothing_any_more(works):
    [made] = assign(works, reason="yearly")
    with works.store.writing() as db:
        assert assigning.withdraw(db, works.scribe("Tomas"), made.id).name == "Lee"
        assigning.withdraw(db, works.scribe("Tomas", works.now + timedelta(hours=1)), made.id)
        assert db.get(type(made), made.id).withdrawn_at == works.now
        with pytest.raises(Refusal):
            assigning.withdraw(db, works.scribe("Tomas"), 999)
    assert SLUG not in [item.lesson for item in history(works).assignments]


def test_one_for_cause_is_not_withdrawn(works):
    """29 CFR 1910.134(k)(5): retraining is done, not taken back."""
    [made] = assign(works, reason="knowledge-or-use")
    with pytest.raises(Refusal), works.store.writing() as db:
        assigning.withdraw(db, works.scribe("Tomas"), made.id)
    assert history(works).retraining() == (SLUG,)


def shares(works: Works, slugs, reason: str = "first") -> dict[str, assigning.Share]:
    """Return what Lee and Kim would get."""
    with works.store.reading() as db:
        loft = works.worksites["Laminating Loft"]
        workers = people.at_worksite(db, loft.id, role="worker")
        due = works.today + timedelta(days=14)
        found = assigning.plan(db, works.scribe("Tomas"), workers, slugs, due, reason)
    return {one.person.name: one for one in found}


def test_before_anything_is_given_it_says_who_gets_what(works):
    pass_lesson(works, "Lee", "fit", works.now)
    assign(works, ["upkeep"], "first")
    found = shares(works, ["fit", "upkeep", SLUG])
    lee, kim = found["Lee"], found["Kim"]
    assert (lee.new, lee.open, lee.done) == ((SLUG,), ("upkeep",), ("fit",))
    assert (kim.new, kim.open, kim.done) == (("fit", "upkeep", SLUG), (), ())
    assert len(history(works).assignments) == 1


def test_for_cause_it_is_asked_again_whoever_has_passed_it(works):
    """29 CFR 1910.134(k)(5)(ii)."""
    pass_lesson(works, "Lee", "fit", works.now)
    assert shares(works, ["fit"], "knowledge-or-use")["Lee"].new == ("fit",)


def test_a_first_training_is_not_asked_of_whoever_is_trained(works):
    for lesson in lessons.load().all:
        pass_lesson(works, "Lee", lesson.slug, works.now)
    watch(works)
    found = shares(works, [lesson.slug for lesson in lessons.load().all])
    assert found["Lee"].new == ()
    assert shares(works, ["fit"], "yearly")["Lee"].new == ("fit",)


def test_whoever_wears_a_class_is_found_at_these_worksites_alone(works):
    with works.store.reading() as db:
        loft, joinery = (works.worksites[one].id for one in ("Laminating Loft", "Joinery"))
        names = [one.name for one in assigning.wearers(db, [loft, joinery], "apr-half")]
        assert names == ["Lee"]
        assert assigning.wearers(db, [joinery], "apr-half") == []
        assert assigning.wearers(db, [loft], "papr-full") == []


def test_each_act_of_practice_has_lessons_that_exist_and_matter():
    """(k)(5)(ii): only what was not retained."""
    course = {lesson.slug for lesson in lessons.load().all}
    for act in practice_acts.rows():
        assert act.lessons
        assert set(act.lessons) <= course
    assert assigning.matter_for(["clean-and-store"]) == ["upkeep"]
    assert assigning.matter_for(["seal-check-negative"]) == ["fit", "putting-on"]
    assert assigning.matter_for(["no such act"]) == []


def test_what_was_seen_is_kept_with_the_assignment(works):
    with works.store.writing() as db:
        by, lee = works.scribe("Tomas"), works.people["Lee"]
        due = works.today
        assigning.assign(db, by, lee, ["fit"], due, "knowledge-or-use", ["strap-tension"])
        with pytest.raises(Refusal):
            assigning.assign(db, by, lee, ["upkeep"], due, "knowledge-or-use", ["a rumor"])
    [kept] = history(works).assignments
    assert kept.seen == "strap-tension"


def test_what_was_seen_of_a_person_comes_from_practice_and_from_the_last_sitting(works):
    lesson = lessons.load().get("fit")
    watch(works, strap_tension="helped", take_off="not_yet")
    for answer in (wrong_answer, right_answer):
        with works.store.writing() as db:
            lee = db.get(Person, works.people["Lee"].id)
            there = sitting.begin(db, lee, lesson, works.now, unread=True)
            for one in sitting.shown(db, there):
                sitting.answer(db, there, one.item.position, answer(one), works.now)
            sitting.close(db, works.scribe("Lee"), there, "en", 80)
            acts, missed = assigning.seen_of(db, lee)
        assert acts == ["strap-tension", "take-off"]
        assert list(missed) == (["fit"] if answer is wrong_answer else [])
    watch(works)
    with works.store.reading() as db:
        assert assigning.seen_of(db, works.people["Lee"]) == ([], {})


def test_of_a_lesson_of_a_worksite_only_its_people_get_something(works: Works) -> None:
    slug = site_lessons.slug_of(published(works).id)
    both, day = [works.people["Lee"], works.people["Noor"]], works.today + timedelta(days=3)
    with works.store.writing() as db:
        planned = assigning.plan(db, works.scribe(), both, [slug], day, "other")
        assert [one.new for one in planned] == [(slug,), ()]
        assert assigning.assign_all(db, works.scribe(), both, [slug], day, "other") == 1
        assert people.assignments(db, works.people["Noor"].id) == []


def test_a_crowd_is_planned_without_composing_a_lesson_for_each(works: Works, monkeypatch) -> None:
    slug = site_lessons.slug_of(published(works).id)
    monkeypatch.setattr(curriculum, "find", lambda *_: pytest.fail("a lesson was composed"))
    with works.store.reading() as db:
        assigning.plan(db, works.scribe(), [works.people["Lee"]], [slug], works.today, "other")
