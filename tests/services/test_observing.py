"""Practice, watched by a trainer: 29 CFR 1910.134(k)(1)(iv), in front of somebody qualified."""

import pytest

from tests.conftest import HALF_MASK, Works, pass_lesson
from trainer import lessons
from trainer.services import joining, observing
from trainer.services.refusal import Refusal
from trainer.store import people, record
from trainer.store.tables import Practice, Respirator

ACTS = (
    "inspect", "put-on", "strap-tension", "seal-check-positive", "seal-check-negative",
    "take-off", "clean-and-store",
)


def watch(works: Works, trainer: str = "Tomas", name: str = "Lee", **marks: str):
    """Watch a practice and sign it; every act unprompted but those given."""
    with works.store.writing() as db:
        by, person = works.scribe(trainer), works.people[name]
        worn = people.respirators(db, person.id)[-1]
        there = observing.begin(db, by, person, worn)
        asked = {act.slug: "unprompted" for act in observing.acts_for(worn)}
        observing.mark(db, by, there, asked | {key.replace("_", "-"): marks[key] for key in marks})
        return observing.sign(db, by, there)


def give(works: Works, name: str, **more: str) -> Respirator:
    """Give somebody a respirator."""
    with works.store.writing() as db:
        return joining.give_respirator(
            db, works.scribe(), works.people[name], **(HALF_MASK | more)
        )


def test_every_act_seen_unprompted_is_a_pass(works):
    said = record.body(watch(works))
    assert said["passed"] is True
    assert [act["act"] for act in said["acts"]] == list(ACTS)
    assert said["watched_by"] == {
        "number": "00002", "name": "Tomas", "qualification": "Industrial hygiene technician",
    }
    assert (said["respirator"]["class"], said["respirator"]["make"]) == (
        "apr-half", "Invented Aldermoor",
    )


@pytest.mark.parametrize("how", ["helped", "not_yet"])
@pytest.mark.parametrize("act", ["inspect", "take_off"])
def test_one_act_that_was_not_is_an_entry_too_and_no_pass(works, act, how):
    entry = watch(works, **{act: how})
    assert (entry.kind, record.body(entry)["passed"]) == ("practice", False)


def test_nobody_signs_their_own(works):
    with works.store.writing() as db:
        tomas = works.people["Tomas"]
        loft = works.worksites["Laminating Loft"].id
        joining.change_person(
            db, works.scribe(), db.get(type(tomas), tomas.id), name="Tomas",
            roles=["trainer", "worker"], language="en", worksites=[loft], qualification="Hygienist",
        )
    give(works, "Tomas")
    with pytest.raises(Refusal, match="their own practice"):
        watch(works, "Tomas", "Tomas")


def test_another_worksite_is_refused(works):
    with pytest.raises(Refusal, match="one of your worksites"):
        watch(works, "Wren", "Lee")
    with works.store.reading() as db:
        assert record.count(db) == 0


def test_without_a_qualification_named_nobody_signs(works):
    works.people["Tomas"].qualification = ""
    with pytest.raises(Refusal, match="qualification"):
        watch(works)


def test_an_act_left_out_is_not_signed(works):
    with works.store.writing() as db:
        by, lee = works.scribe("Tomas"), works.people["Lee"]
        there = observing.begin(db, by, lee, people.respirators(db, lee.id)[0])
        observing.mark(db, by, there, dict.fromkeys(ACTS[:-1], "unprompted"))
        with pytest.raises(Refusal, match="Mark every act"):
            observing.sign(db, by, there)


@pytest.mark.parametrize("marks", [{"dance": "unprompted"}, {"inspect": "maybe"}])
def test_acts_and_marks_that_are_not_there_are_refused(works, marks):
    with pytest.raises(Refusal, match="Mark each act"):
        watch(works, **marks)


def test_signed_twice_is_one_entry_and_then_no_mark_changes(works):
    first = watch(works)
    with works.store.writing() as db:
        by, there = works.scribe("Tomas"), db.get(Practice, 1)
        assert observing.sign(db, by, there).number == first.number
        with pytest.raises(Refusal, match="signed"):
            observing.mark(db, by, there, {"inspect": "not_yet"})
        assert record.count(db) == 1


def test_a_loose_fitting_respirator_has_no_seal_and_no_straps_to_check(works):
    """Appendix B-1 is for tight-fitting respirators."""
    give(works, "Noor", class_slug="papr-loose")
    said = record.body(watch(works, "Wren", "Noor"))
    assert [act["act"] for act in said["acts"]] == [
        "inspect", "put-on", "take-off", "clean-and-store",
    ]


def test_training_is_whole_only_with_practice(works):
    """OSHA's letters on computer-based training: a sitting alone is not enough."""
    for lesson in lessons.load().all:
        pass_lesson(works, "Lee", lesson.slug, works.now)
    whole = ("training",)
    with works.store.reading() as db:
        assert record.of_person(db, "00417", whole) == []
    watch(works, inspect="helped")
    with works.store.reading() as db:
        assert record.of_person(db, "00417", whole) == []
    watch(works)
    with works.store.reading() as db:
        [entry] = record.of_person(db, "00417", whole)
    said = record.body(entry)
    assert said["watched_by"]["name"] == "Tomas"
    assert said["due_again"][:4] == str(works.today.year + 1)
    assert [one["lesson"] for one in said["lessons"]] == [one.slug for one in lessons.load().all]


def test_practice_first_and_lessons_after_is_whole_too(works):
    watch(works)
    for lesson in lessons.load().all:
        pass_lesson(works, "Lee", lesson.slug, works.now)
    with works.store.reading() as db:
        assert len(record.of_person(db, "00417", ("training",))) == 1


def test_a_second_kind_of_respirator_needs_its_own_practice(works):
    """(k)(1)(iv) asks for the respirator that is worn; (k)(5)(i) for a changed type."""
    give(works, "Lee", class_slug="papr-full")
    for lesson in lessons.load().all:
        pass_lesson(works, "Lee", lesson.slug, works.now)
    watch(works)  # the newest given
    with works.store.writing() as db:
        assert record.of_person(db, "00417", ("training",)) == []
        lee, by = works.people["Lee"], works.scribe("Tomas")
        there = observing.begin(db, by, lee, people.respirators(db, lee.id)[0])
        observing.mark(db, by, there, dict.fromkeys(ACTS, "unprompted"))
        observing.sign(db, by, there)
        assert len(record.of_person(db, "00417", ("training",))) == 1
