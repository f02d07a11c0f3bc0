"""Sittings on paper: drawn for one person, entered by another, marked by the program."""

from datetime import timedelta

import pytest

from tests.conftest import HALF_MASK, Works, pass_lesson, right_answer, wrong_answer
from trainer import lessons
from trainer.services import joining, learning, observing, on_paper, sitting
from trainer.services.on_paper import Paper
from trainer.services.refusal import Refusal
from trainer.store import people, record
from trainer.store.tables import Person, Sitting

SLUG = "protection-factors"


def read_all(works: Works, name: str = "Lee") -> None:
    """Read every section of the lesson in this round."""
    lesson = lessons.load().get(SLUG)
    with works.store.writing() as db:
        for part in lesson.sections:
            learning.finish_section(db, works.people[name], lesson, part.id, works.now)


def draw(works: Works, name: str = "Lee", language: str = "en", trainer: str = "Tomas") -> Paper:
    """Print a sitting for somebody."""
    with works.store.writing() as db:
        lesson = lessons.load().get(SLUG)
        return on_paper.draw(db, works.scribe(trainer), works.people[name], lesson, language)


def found(db, works: Works, paper: Paper, trainer: str = "Tomas") -> Paper:
    """Return a paper by its code, as the one who enters it finds it."""
    return on_paper.by_code(db, works.people[trainer], paper.code)


def enter(works: Works, paper: Paper, wrong: bool = False, by: str = "Tomas", **more) -> Sitting:
    """Enter a whole paper and close it."""
    with works.store.writing() as db:
        there, scribe = found(db, works, paper, by), works.scribe(by)
        for one in sitting.shown(db, there.sitting):
            given = wrong_answer(one) if wrong else right_answer(one)
            on_paper.answer(db, scribe, there, one.item.position, given)
        return on_paper.close(db, scribe, there, more.get("on", works.today), 80)


def entries(works: Works, number: str = "00417") -> list[dict]:
    """Return what somebody's lesson entries say."""
    with works.store.reading() as db:
        return [record.body(one) for one in record.of_person(db, number, ("lesson",))]


def test_it_is_marked_and_the_entry_says_paper_and_who_entered_it(works):
    read_all(works)
    closed = enter(works, draw(works, language="es"))
    assert (closed.passed, closed.language, closed.on_paper) == (True, "es", True)
    [said] = entries(works)
    assert (said["on_paper"], said["mode"], said["language"]) == (True, "read", "es")
    assert said["entered_by"]["name"] == said["recorded_by"]["name"] == "Tomas"
    assert said["written_on"] == said["happened_on"] == works.today.isoformat()
    assert (said["name"], said["sittings"]) == ("Lee", 1)


def test_the_sitting_on_the_screen_stays_as_it_is(works):
    read_all(works)
    lesson = lessons.load().get(SLUG)
    with works.store.writing() as db:
        lee = works.people["Lee"]
        own = sitting.begin(db, lee, lesson, works.now)
        first = sitting.shown(db, own)[0]
        sitting.answer(db, own, 1, right_answer(first), works.now)
    paper = draw(works)
    assert paper.sitting.id != own.id
    enter(works, paper, wrong=True)
    with works.store.writing() as db:
        assert sitting.begin(db, works.people["Lee"], lesson, works.now).id == own.id
        kept = sitting.shown(db, own)
        assert [one.answered for one in kept[:2]] == [True, False]
        assert kept[0].item.answer is not None


def test_the_person_does_not_see_a_paper_on_the_screen_before_it_is_closed(works):
    read_all(works)
    paper = draw(works)
    lesson, lee = lessons.load().get(SLUG), works.people["Lee"]
    with works.store.reading() as db:
        assert sitting.own(db, paper.sitting.id, lee) is None
        assert sitting.open_sitting(db, lee, SLUG) is None
        assert learning.go_on_with(db, lee, ["fit", SLUG]) == SLUG  # read, not sitting
    with works.store.writing() as db:
        assert sitting.begin(db, lee, lesson, works.now).id != paper.sitting.id
    enter(works, paper)
    with works.store.reading() as db:
        assert sitting.own(db, paper.sitting.id, lee) is not None


def test_an_open_paper_leads_nobody_to_its_lesson_on_the_screen(works):
    read_all(works)
    draw(works)
    later = lessons.load().get("fit")
    with works.store.writing() as db:
        lee = works.people["Lee"]
        learning.finish_section(
            db, lee, later, later.sections[0].id, works.now + timedelta(seconds=5)
        )
        assert learning.go_on_with(db, lee, [SLUG, "fit"]) == "fit"


def test_printed_again_it_is_the_same_paper(works):
    read_all(works)
    assert draw(works).code == draw(works).code
    with pytest.raises(Refusal, match="other language"):
        draw(works, language="es")


def test_each_person_gets_their_own(works):
    read_all(works), read_all(works, "Kim")
    lee, kim = draw(works), draw(works, "Kim")
    assert lee.code != kim.code
    with works.store.reading() as db:
        drawn = [
            [one.item.drawn for one in sitting.shown(db, one.sitting)] for one in (lee, kim)
        ]
        waiting = on_paper.open_at(db, [works.worksites["Laminating Loft"].id])
    assert drawn[0] != drawn[1]
    assert [one.code for one in waiting] == [kim.code, lee.code]


def test_a_code_is_read_as_people_write_it_and_only_by_a_trainer_of_theirs(works):
    read_all(works)
    paper = draw(works)
    with works.store.reading() as db:
        for typed in (paper.paper.code, paper.code, f" {paper.code.lower()} "):
            assert on_paper.by_code(db, works.people["Tomas"], typed).code == paper.code
        assert on_paper.by_code(db, works.people["Wren"], paper.code) is None
        assert on_paper.by_code(db, works.people["Lee"], paper.code) is None
        assert on_paper.by_code(db, works.people["Tomas"], "XXX-XXX") is None


def test_nobody_prints_enters_or_closes_their_own(works):
    read_all(works, "Tomas")
    with pytest.raises(Refusal, match="their own sitting"):
        draw(works, "Tomas")
    with works.store.writing() as db:
        colleague = joining.add_person(
            db, works.now, number="00009", name="Odell", roles=["trainer"],
            worksites=[works.worksites["Laminating Loft"].id], qualification="Hygienist",
        )  # fmt: skip
        works.people["Odell"] = db.get(Person, colleague.id)
    paper = draw(works, "Tomas", trainer="Odell")
    with works.store.writing() as db:
        assert found(db, works, paper) is None
        there, tomas = found(db, works, paper, "Odell"), works.scribe("Tomas")
        for deed in (
            lambda: on_paper.answer(db, tomas, there, 1, ["0"]),
            lambda: on_paper.close(db, tomas, there, works.today, 80),
            lambda: on_paper.withdraw(db, tomas, there),
        ):
            with pytest.raises(Refusal, match="their own sitting"):
                deed()
    assert enter(works, paper, by="Odell").passed


def test_a_trainer_of_another_worksite_prints_nothing(works):
    read_all(works)
    with pytest.raises(Refusal, match="one of your worksites"):
        draw(works, trainer="Wren")


def test_who_has_not_read_it_and_was_at_no_talk_gets_none(works):
    with pytest.raises(Refusal, match="was at no talk"):
        draw(works)


def test_after_two_failed_sittings_the_trainer_talks_first_on_paper_too(works):
    read_all(works)
    late = None
    for turn in range(2):
        enter(works, draw(works), wrong=True)
        if turn == 0:
            late = draw(works)
            with works.store.writing() as db:
                on_paper.withdraw(db, works.scribe("Tomas"), found(db, works, late))
    with pytest.raises(Refusal, match="Talk with this person first"):
        draw(works)
    with works.store.writing() as db, pytest.raises(Refusal, match="Talk with your trainer"):
        sitting.begin(db, works.people["Lee"], lessons.load().get(SLUG), works.now)
    with works.store.writing() as db:
        sitting.talked(db, works.scribe("Tomas", works.now + timedelta(seconds=1)),
                       works.people["Lee"], SLUG)
    assert draw(works).code != late.code
    assert entries(works) == []


def test_a_paper_printed_before_two_failed_sittings_is_not_closed_without_the_talk(works):
    read_all(works)
    paper = draw(works)
    lesson = lessons.load().get(SLUG)
    for _ in range(2):
        with works.store.writing() as db:
            lee = db.get(Person, works.people["Lee"].id)
            there = sitting.begin(db, lee, lesson, works.now)
            for one in sitting.shown(db, there):
                sitting.answer(db, there, one.item.position, wrong_answer(one), works.now)
            sitting.close(db, works.scribe("Lee"), there, "en", 80)
    with pytest.raises(Refusal, match="Talk with this person first"):
        enter(works, paper)
    assert entries(works) == []


def test_a_paper_from_before_a_pass_is_not_a_second_one(works):
    read_all(works)
    paper = draw(works)
    pass_lesson(works, "Lee", SLUG, works.now)
    with pytest.raises(Refusal, match="has passed the lesson"):
        enter(works, paper)
    assert len(entries(works)) == 1
    read_all(works)
    works.now += timedelta(seconds=10)
    assert draw(works).code != paper.code


def test_a_withdrawn_paper_is_not_entered(works):
    read_all(works)
    paper = draw(works)
    with works.store.writing() as db:
        on_paper.withdraw(db, works.scribe("Tomas"), found(db, works, paper))
    with pytest.raises(Refusal, match="withdrawn"):
        enter(works, paper)
    pass_lesson(works, "Lee", SLUG, works.now)
    assert entries(works)[0]["sittings"] == 1  # the paper was never written


@pytest.mark.parametrize("days", [-1, 1])
def test_it_was_written_between_the_printing_and_today(works, days):
    read_all(works)
    with pytest.raises(Refusal, match="Give the day"):
        enter(works, draw(works), on=works.today + timedelta(days=days))


def test_closed_twice_it_is_one_entry(works):
    read_all(works)
    paper = draw(works)
    for _ in range(2):
        with works.store.writing() as db:
            there = found(db, works, paper)
            if not there.sitting.closed_at:
                for one in sitting.shown(db, there.sitting):
                    on_paper.answer(
                        db, works.scribe("Tomas"), there, one.item.position, right_answer(one)
                    )
            on_paper.close(db, works.scribe("Tomas"), there, works.today, 80)
    assert len(entries(works)) == 1


def test_several_practices_begin_at_once_each_its_own(works):
    with works.store.writing() as db:
        joining.give_respirator(db, works.scribe(), works.people["Kim"], **HALF_MASK)
        loft = works.worksites["Laminating Loft"].id
        rows = observing.wearers(db, works.people["Tomas"], loft, works.today)
        assert [(one.person.name, one.waits) for one in rows] == [("Kim", True), ("Lee", True)]
        by = works.scribe("Tomas")
        numbers = [one.respirator.id for one in rows]
        begun = observing.begin_several(db, by, numbers)
        assert [one.person_id for one in begun] == [one.person.id for one in rows]
        again = observing.begin_several(db, by, numbers)
        assert [one.id for one in again] == [one.id for one in begun]
        with pytest.raises(Refusal, match="Tick from 1"):
            observing.begin_several(db, by, [])
        with pytest.raises(Refusal, match="one of your worksites"):
            observing.begin_several(db, works.scribe("Wren"), numbers)
        worn = people.respirators(db, works.people["Kim"].id)[0]
        worn.ended_at = works.now
        db.add(worn)
        db.flush()
        with pytest.raises(Refusal, match="not worn any more"):
            observing.begin_several(db, by, numbers)
