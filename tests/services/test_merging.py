"""Two records of one person are joined."""

import threading
from datetime import timedelta

import pytest
from sqlmodel import select

from tests.conftest import HALF_MASK, Works, pass_lesson
from trainer import lessons
from trainer.services import (
    asking,
    assigning,
    joining,
    learning,
    leaving,
    merging,
    observing,
    on_paper,
    recording,
    refreshing,
    signing_in,
    sitting,
    standing,
)
from trainer.services.refusal import Refusal
from trainer.services.signing_in import Limits, make_code
from trainer.store import board, people, record
from trainer.store.tables import Assignment, Membership, MergedPerson, Need, PaperSitting, Person

FIRST = lessons.load().all[0].slug


@pytest.fixture
def twice(works: Works) -> Works:
    """Give Lee a second record, Leo, at the Joinery, with what a record gathers."""
    with works.store.writing() as db:
        leo = works.people["Leo"] = joining.add_person(
            db, works.now, number="L-9", name="Leo", roles=["worker", "trainer"],
            worksites=[works.worksites["Joinery"].id], seed="seed of Leo",
        )  # fmt: skip
        by = works.scribe()
        joining.give_respirator(db, by, leo, **HALF_MASK | {"size": "L"})
        recording.record_medical(db, by, leo, once="m", on=works.today, outcome="cleared")
        assigning.assign(db, works.scribe("Wren"), leo, [FIRST], works.today, "first")
        asking.ask(db, leo, "Which size?", once="", language="en", now=works.now)
        asking.tell(db, leo, "health", None, works.now)
    return works


def merge(works: Works, keeps: str = "Lee", other: str = "Leo", by: str = "Ida"):
    """Join two records."""
    with works.store.writing() as db:
        return merging.merge(db, works.scribe(by), works.people[keeps], works.people[other])


def test_both_numbers_are_the_persons_and_no_entry_is_touched(twice):
    with twice.store.reading() as db:
        before = [(one.number, one.hash, one.body) for one in record.of_person(db, "L-9")]
    entry = merge(twice)
    said = record.body(entry)
    assert (entry.kind, said["other_number"], said["other_name"]) == ("merged", "L-9", "Leo")
    assert entry.person_number == "00417"
    with twice.store.reading() as db:
        lee = people.by_number(db, "l-9")
        assert lee.id == twice.people["Lee"].id
        assert people.numbers(db, lee) == ("00417", "L-9")
        assert people.numbers_of(db, [lee]) == {lee.id: ("00417", "L-9")}
        after = [(one.number, one.hash, one.body) for one in record.of_person(db, "L-9")]
        assert after == before
        every = record.of_person(db, people.numbers(db, lee))
        assert [one.kind for one in every] == ["medical", "merged"]
        assert all(found is None for found in record.verify(db))
        # The tag is worked out from both.
        tags = standing.tags(db, lee, twice.today)
    assert [tag.clearance.steps[0].state for tag in tags] == ["done", "done"]


def test_what_was_the_others_goes_over(twice):
    merge(twice)
    lee, leo = twice.people["Lee"].id, twice.people["Leo"].id
    with twice.store.reading() as db:
        assert sorted(one.size for one in people.respirators(db, lee)) == ["L", "M"]
        assert {one.name for one in people.worksites(db, lee)} == {"Laminating Loft", "Joinery"}
        assert [one.lesson for one in people.assignments(db, lee)] == [FIRST]
        assert [one.question.text for one in asking.of_person(db, twice.people["Lee"])] == [
            "Which size?"
        ]
        for table in (Need, Assignment, Membership):
            assert db.exec(select(table).where(table.person_id == leo)).all() == []
        assert people.roles(db, lee) == {"worker"}, "roles do not go over"
        found = board.rows(
            db, board.Filter(search="L-9"), twice.today, 0, None, medical=True, most=9
        )
        assert {person.number for _, person, _ in found} == {"00417"}


def test_a_lesson_passed_under_either_number_counts(twice):
    pass_lesson(twice, "Leo", FIRST, twice.now)
    merge(twice)
    with twice.store.reading() as db:
        lee = db.get(Person, twice.people["Lee"].id)
        alone = standing.History(db, lee).this_round(twice.today)
        many = standing.histories(db, [lee])[lee.id].this_round(twice.today)
    assert set(alone) == set(many) == {FIRST}


def test_two_halves_of_a_training_become_a_whole(twice):
    slugs = [lesson.slug for lesson in lessons.load().all]
    for at, slug in enumerate(slugs):
        pass_lesson(twice, ("Lee", "Leo")[at % 2], slug, twice.now)
    practise(twice, "Lee")
    merge(twice)
    with twice.store.reading() as db:
        lee = people.by_number(db, "00417")
        last = standing.History(db, lee).last_training()
    assert last is not None
    assert len(record.body(last)["lessons"]) == len(slugs)


def practise(works: Works, name: str) -> None:
    """Let a trainer watch a practice, all of it unprompted."""
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        worn = people.respirators(db, person.id)[0]
        by = works.scribe("Tomas")
        seen = observing.begin(db, by, person, worn)
        marks = {act.slug: "unprompted" for act in observing.asked_of(db, seen)}
        observing.mark(db, by, seen, marks)
        observing.sign(db, by, seen)


def test_where_they_were_in_a_lesson_goes_over_but_not_over_what_was_begun(twice):
    lesson = lessons.load().all[1]
    with twice.store.writing() as db:
        learning.finish_section(
            db, twice.people["Leo"], lesson, lesson.sections[0].id, twice.now
        )
    merge(twice)
    with twice.store.reading() as db:
        there = learning.place(db, twice.people["Lee"], lesson.slug)
    assert there.sections_done.split() == [lesson.sections[0].id]


def test_an_unfinished_sitting_stays_to_be_read(twice):
    with twice.store.writing() as db:
        begun = sitting.draw_new(
            db, twice.people["Leo"], lessons.load().all[0], twice.now, unread=True
        )
    merge(twice)
    with twice.store.reading() as db:
        found = merging.unfinished(db, twice.people["Lee"])
        assert [one.id for one in found] == [begun.id]
        assert sitting.open_sitting(db, twice.people["Lee"], FIRST) is None


def test_twice_or_by_two_at_once_is_once(twice):
    first = merge(twice)
    assert merge(twice).number == first.number
    with pytest.raises(Refusal, match="joined to another one already"):
        merge(twice, "Leo", "Lee")
    with pytest.raises(Refusal, match="joined to another one already"):
        merge(twice, "Kim", "Leo")


def test_two_who_join_the_same_two_the_other_way_round_leave_one(twice):
    refused, ready = [], threading.Barrier(2)

    def join(keeps: str, other: str) -> None:
        ready.wait()
        try:
            merge(twice, keeps, other)
        except Refusal as refusal:
            refused.append(str(refusal))

    pairs = (("Lee", "Leo"), ("Leo", "Lee"))
    threads = [threading.Thread(target=join, args=pair) for pair in pairs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(refused) == 1
    with twice.store.reading() as db:
        assert len(db.exec(select(MergedPerson)).all()) == 1
        merged = record.between(
            db, record.Asked(twice.today, twice.today + timedelta(days=1), ("merged",))
        )
        assert len(list(merged)) == 1


def test_what_was_written_on_paper_is_entered_first(twice):
    with twice.store.writing() as db:
        leo, lesson = twice.people["Leo"], lessons.load().all[0]
        for section in lesson.sections:
            learning.finish_section(db, leo, lesson, section.id, twice.now)
        paper = on_paper.draw(db, twice.scribe("Wren"), leo, lesson, "en")
    with pytest.raises(Refusal, match="not entered yet"):
        merge(twice)
    with twice.store.writing() as db:
        db.get(PaperSitting, paper.paper.sitting_id).withdrawn_at = twice.now
    merge(twice)


def test_nobody_is_joined_to_themselves(twice):
    with pytest.raises(Refusal, match="one and the same"):
        merge(twice, "Lee", "Lee")


def test_a_merged_record_can_be_joined_on_and_both_numbers_find_the_one_that_goes_on(twice):
    merge(twice)
    merge(twice, "Kim", "Lee")
    with twice.store.reading() as db:
        kim = people.by_number(db, "L-9")
        assert kim.name == "Kim"
        assert set(people.numbers(db, kim)) == {"00418", "00417", "L-9"}


def test_a_coordinators_own_two_records_may_be_joined_but_not_the_last_one_away(twice):
    with twice.store.writing() as db:
        twice.people["Ida too"] = joining.add_person(
            db, twice.now, number="I-2", name="Ida", roles=["worker"], worksites=[1]
        )
    with pytest.raises(Refusal, match="last coordinator"):
        merge(twice, "Ida too", "Ida")
    merge(twice, "Ida", "Ida too")
    with twice.store.reading() as db:
        assert people.by_number(db, "I-2").id == twice.people["Ida"].id


def test_the_record_of_somebody_who_left_does_not_go_on_for_one_who_has_not(twice):
    with twice.store.writing() as db:
        leaving.leave(db, twice.scribe(), twice.people["Lee"], once="l", on=twice.today)
    with pytest.raises(Refusal, match="has left"):
        merge(twice)
    merge(twice, "Leo", "Lee")


def test_nobody_comes_back_as_a_record_that_was_joined(twice):
    merge(twice)
    with pytest.raises(Refusal, match="joined to another one"), twice.store.writing() as db:
        leaving.come_back(
            db, twice.scribe(), twice.people["Leo"], once="r", on=twice.today, worksites=[1]
        )


def test_no_code_of_the_other_opens_anything(twice):
    with twice.store.writing() as db:
        code, _ = make_code(db, None, twice.now, Limits(), person=twice.people["Leo"])
    merge(twice)
    for number in ("L-9", "00417"):
        with pytest.raises(Refusal), twice.store.writing() as db:
            signing_in.enrol(db, code, number, None, twice.now)


def test_a_short_putting_on_is_asked_for_once_after_a_merge(twice):
    """The newest training may stand under the other number."""
    long_ago = twice.now - timedelta(days=190)
    for number, on, once in (("00417", 200, "a"), ("L-9", 190, "b")):
        with twice.store.writing() as db:
            record.append(
                db, once=once, kind="training", person_number=number, worksite="Laminating Loft",
                happened_on=twice.today - timedelta(days=on), body={"lessons": []}, now=long_ago,
            )  # fmt: skip
    merge(twice)
    with twice.store.reading() as db:
        looks = refreshing.to_look_at(db, [1, 2], twice.today)
    assert [(one.person.number, one.why) for one in looks] == [("00417", "watch")]
