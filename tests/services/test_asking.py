"""Questions from workers, answered by the trainers of their worksites; needs told in one tap."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import event
from sqlmodel import select

from tests.conftest import HALF_MASK, Works, pass_lesson
from trainer import lessons
from trainer.services import asking, joining, learning, signing_in
from trainer.services.refusal import Refusal
from trainer.store import people, record
from trainer.store.tables import (
    LessonPlace,
    Membership,
    Need,
    Person,
    Respirator,
    TrainerAnswer,
    WebSession,
    WorkerQuestion,
)

LESSON = lessons.load().all[0]
SECTION = LESSON.sections[0].id
TEXT = "Does the strap go over the hood?"


def ask(works: Works, name: str = "Lee", text: str = TEXT, **more) -> WorkerQuestion:
    """Let somebody ask, at the end of the first section of the first lesson."""
    given = {"once": "a", "language": "en", "now": works.now, "lesson": LESSON.slug,
             "section": SECTION} | more  # fmt: skip
    with works.store.writing() as db:
        return asking.ask(db, works.people[name], text, **given)


def answer(
    works: Works, question: WorkerQuestion, name: str = "Tomas", text: str = "Under it.", **more
) -> TrainerAnswer:
    """Let somebody answer."""
    given = {"once": "b", "now": works.now} | more
    with works.store.writing() as db:
        return asking.answer(db, works.people[name], question, text, **given)


def tell(works: Works, kind: str = "leak", name: str = "Lee") -> Need:
    """Let somebody tell a need, with their respirator where it is about one."""
    with works.store.writing() as db:
        person = works.people[name]
        worn = None if kind == "health" else people.respirators(db, person.id)[0]
        return asking.tell(db, person, kind, worn, works.now)


def at(works: Works, place: str = "Laminating Loft") -> list[int]:
    """Return the id of a worksite, in a list."""
    return [works.worksites[place].id]


def later(works: Works, **time: float) -> Works:
    """Return the works some time later."""
    return replace(works, now=works.now + timedelta(**time))


def open_texts(works: Works, place: str = "Laminating Loft") -> list[str]:
    """Return what is asked at a worksite and not answered."""
    with works.store.reading() as db:
        return [one.question.text for one in asking.open_for(db, at(works, place))]


# Asking


def test_a_question_keeps_who_where_in_which_language_and_when(works):
    kept = ask(works, language="es", text="  ¿Va sobre la capucha?\r\n\r\nGracias  ")
    assert (kept.person_id, kept.lesson, kept.section) == (
        works.people["Lee"].id, LESSON.slug, SECTION,
    )
    assert (kept.text, kept.language) == ("¿Va sobre la capucha?\n\nGracias", "es")
    assert kept.asked_at == works.now


def test_sent_twice_it_is_one_but_other_words_are_another(works):
    """Gone back to, a page has the key of before: what was typed anew is not lost."""
    first = ask(works)
    assert ask(later(works, seconds=1)).id == first.id
    assert ask(works, text="And under a helmet?").id != first.id
    assert ask(works, once="another page").id != first.id
    assert ask(works, "Kim").id != first.id
    assert len(open_texts(works)) == 4


@pytest.mark.parametrize(
    ("text", "said"),
    [("", "Write something"), (" \r\n ", "Write something"), ("x" * 501, "501 characters")],
)
def test_nothing_and_too_much_are_refused(works, text, said):
    with pytest.raises(Refusal, match=said):
        ask(works, text=text)
    assert open_texts(works) == []


def test_a_line_end_counts_as_one_as_it_does_in_the_browser(works):
    assert len(ask(works, text="x" * 249 + "\r\n" + "y" * 250).text) == 500


def test_who_belongs_nowhere_has_nobody_to_ask(works):
    with pytest.raises(Refusal, match="no worksite"):
        ask(works, "Ida")


def test_the_trainers_of_the_worksite_see_it_oldest_first(works):
    ask(works, "Kim", "second")
    ask(later(works, hours=-1), "Lee", "first")
    ask(works, "Noor", "elsewhere")
    assert open_texts(works) == ["first", "second"]
    assert open_texts(works, "Joinery") == ["elsewhere"]
    with works.store.reading() as db:
        assert [one.question.text for one in asking.open_for(db, None)] == [
            "first", "second", "elsewhere",
        ]
        assert [one.name for one in asking.sees(db, works.people["Lee"])] == ["Tomas"]


def test_where_no_trainer_is_the_coordinators_see_it(works):
    with works.store.writing() as db:
        db.delete(db.get(Membership, (works.people["Tomas"].id, at(works)[0])))
    with works.store.reading() as db:
        assert [one.name for one in asking.sees(db, works.people["Lee"])] == ["Ida"]


# Answering


def test_an_answer_has_a_name_and_closes_the_question(works):
    question = ask(works)
    given = answer(later(works, hours=2), question)
    assert (given.text, given.answered_by) == ("Under it.", works.people["Tomas"].id)
    assert given.answered_at == works.now + timedelta(hours=2)
    assert open_texts(works) == []
    with works.store.reading() as db:
        (one,) = asking.of_person(db, works.people["Lee"])
        assert [given.by.name for given in one.answers] == ["Tomas"]
        assert asking.answered_for(db, at(works), 9)[0].question.id == question.id
        assert asking.answered_for(db, at(works, "Joinery"), 9) == []


def test_an_answered_one_is_not_answered_again_but_gets_a_further_answer(works):
    question = ask(works)
    first = answer(works, question)
    assert answer(works, question).id == first.id, "a double click"
    with pytest.raises(Refusal, match="answered meanwhile"):
        answer(works, question, text="Over it.", once="c")
    further = answer(works, question, text="And check the seal.", once="c", further=True)
    again = answer(works, question, text="And check the seal.", once="c", further=True)
    assert first.id != further.id == again.id
    with works.store.reading() as db:
        (one,) = asking.of_person(db, works.people["Lee"])
        assert [given.answer.text for given in one.answers] == ["Under it.", "And check the seal."]


@pytest.mark.parametrize("text", ["", "x" * 1001])
def test_an_answer_of_nothing_or_too_much_is_refused(works, text):
    question = ask(works)
    with pytest.raises(Refusal):
        answer(works, question, text=text)
    assert len(open_texts(works)) == 1
    assert answer(works, question, text="x" * 1000).id


def test_nobody_answers_at_a_foreign_worksite_or_their_own_question(works):
    question = ask(works)
    with pytest.raises(Refusal, match="one of your worksites"):
        answer(works, question, "Wren")
    own = ask(works, "Tomas")
    with pytest.raises(Refusal, match="Another trainer"):
        answer(works, own)


def shown(works: Works, place: str = "Laminating Loft", without: str = "Kim") -> list[asking.Shown]:
    """Return what everybody at a worksite sees at the end of the section."""
    with works.store.reading() as db:
        person = works.people[without]
        return asking.shown_at(db, at(works, place), LESSON.slug, SECTION, without=person)


def test_shown_to_the_worksite_it_says_nothing_of_who_asked(works):
    question = ask(works, language="es")
    answer(works, question)
    assert shown(works) == []
    answer(works, question, text="Under the hood, always.", once="c", further=True, show=True)
    (one,) = shown(works)
    assert (one.text, one.language) == (TEXT, "es")
    assert [given.answer.text for given in one.answers] == ["Under the hood, always."]
    assert set(vars(one)) == {"text", "language", "answers"}
    assert shown(works, "Joinery") == []
    assert shown(works, without="Lee") == []
    with works.store.reading() as db:
        assert asking.shown_at(db, at(works), LESSON.slug, LESSON.sections[1].id) == []


def test_it_is_shown_only_where_the_trainer_and_the_one_who_asked_both_are(works):
    with works.store.writing() as db:
        (joinery,) = at(works, "Joinery")
        db.add(Membership(person_id=works.people["Lee"].id, worksite_id=joinery))
    answer(works, ask(works), show=True)
    assert len(shown(works)) == 1
    assert shown(works, "Joinery") == []


def test_a_question_from_the_tag_belongs_to_no_section_and_is_shown_nowhere(works):
    answer(works, ask(works, section=""), show=True)
    with works.store.reading() as db:
        assert asking.shown_at(db, at(works), LESSON.slug, "") == []


def test_what_was_read_is_marked_up_to_what_was_shown(works):
    question = ask(works)
    seen = answer(works, question)
    came_later = answer(works, question, text="One more thing.", once="c", further=True)
    lee, kim = works.people["Lee"], works.people["Kim"]
    with works.store.writing() as db:
        asking.mark_read(db, kim, came_later.id, works.now)
        assert asking.of_person(db, lee)[0].unread
        asking.mark_read(db, lee, seen.id, works.now)
    with works.store.writing() as db:
        (one,) = asking.of_person(db, lee)
        assert [given.answer.read_at for given in one.answers] == [works.now, None]
        asking.mark_read(db, lee, came_later.id, works.now)
    with works.store.reading() as db:
        assert not asking.of_person(db, lee)[0].unread


# What the record says


def test_the_entry_of_a_lesson_counts_the_questions_of_its_round(works):
    started = later(works, hours=-3)
    asked = ask(started, once="1")  # in the first section, before anything is read to its end
    ask(started, once="2", section="")
    ask(started, once="3", lesson=lessons.load().all[1].slug)
    ask(started, "Kim", once="4")
    answer(started, asked)
    answer(started, asked, text="And more.", once="c", further=True)
    pass_lesson(works, "Lee", LESSON.slug, works.now)
    with works.store.reading() as db:
        (said,) = [record.body(one) for one in record.of_person(db, "00417")]
    assert (said["questions_asked"], said["questions_answered"]) == (2, 1)
    assert [key for key in said if "question" in key or "answer" in key] == [
        "questions_answered", "questions_asked",
    ]


def test_the_next_round_counts_anew(works):
    ask(later(works, hours=-9))
    pass_lesson(works, "Lee", LESSON.slug, works.now - timedelta(hours=8))
    ask(later(works, hours=-3), once="second round")
    pass_lesson(works, "Lee", LESSON.slug, works.now)
    pass_lesson(works, "Lee", LESSON.slug, works.now + timedelta(hours=1))
    with works.store.reading() as db:
        said = [record.body(one) for one in record.of_person(db, "00417")]
    assert [one["questions_asked"] for one in said] == [1, 1, 0]


def test_who_asks_has_begun_the_lesson_and_reads_on_from_there(works):
    ask(works, section=LESSON.sections[1].id)
    with works.store.reading() as db:
        there = learning.place(db, works.people["Lee"], LESSON.slug)
        assert (there.section, there.started_at) == (LESSON.sections[1].id, works.now)
        assert len(learning.unread(there, LESSON)) == len(LESSON.sections)
    ask(later(works, hours=1), once="c")
    with works.store.reading() as db:
        rows = db.exec(select(LessonPlace)).all()
        assert [(one.section, one.started_at) for one in rows] == [(there.section, works.now)]


# Needs


def test_a_need_keeps_a_kind_and_a_moment_and_no_detail(works):
    assert set(Need.model_fields) == {
        "id", "person_id", "kind", "respirator_id", "told_at", "dealt_with_at", "dealt_with_by",
    }
    leak, health = tell(works), tell(works, "health")
    assert (leak.kind, leak.told_at, leak.respirator_id is not None) == ("leak", works.now, True)
    assert (health.kind, health.respirator_id) == ("health", None)


def test_told_again_while_open_it_stays_one(works):
    first = tell(works)
    again = tell(later(works, hours=1))
    assert (again.id, again.told_at) == (first.id, works.now)
    assert tell(works, "fit").id != first.id
    with works.store.writing() as db:
        asking.deal_with(db, works.people["Tomas"], db.get(Need, first.id), works.now)
    assert tell(later(works, hours=2)).id != first.id
    health = tell(works, "health")
    assert tell(works, "health").id == health.id


def test_dealt_with_is_kept_once_with_who_did_it(works):
    need = tell(works)
    with works.store.writing() as db:
        asking.deal_with(db, works.people["Tomas"], db.get(Need, need.id), works.now)
    with works.store.writing() as db:
        at_last = works.now + timedelta(hours=1)
        asking.deal_with(db, works.people["Ida"], db.get(Need, need.id), at_last)
    with works.store.reading() as db:
        (told,) = asking.needs_of(db, works.people["Lee"])
        assert (told.need.dealt_with_at, told.dealt_with_by.name) == (works.now, "Tomas")
        assert asking.needs_for(db, at(works)) == []


def test_nobody_deals_with_what_they_told_themselves(works):
    need = tell(works, "health", "Tomas")
    with works.store.writing() as db, pytest.raises(Refusal, match="Somebody else"):
        asking.deal_with(db, works.people["Tomas"], db.get(Need, need.id), works.now)


@pytest.mark.parametrize("kind", ["fit", "leak", "health", "asthma", ""])
@pytest.mark.parametrize("which", ["none", "loose", "ended", "another's"])
def test_only_what_goes_together_can_be_told(works, kind, which):
    if (kind, which) == ("health", "none"):
        return
    with works.store.writing() as db:
        lee, by = works.people["Lee"], works.scribe()
        worn: Respirator | None = people.respirators(db, lee.id)[0]
        if which == "none":
            worn = None
        elif which == "loose":
            loose = HALF_MASK | {"class_slug": "papr-loose"}
            worn = joining.give_respirator(db, by, lee, **loose)
        elif which == "ended":
            worn.ended_at = works.now
        else:
            worn = joining.give_respirator(db, by, works.people["Kim"], **HALF_MASK)
    with works.store.writing() as db, pytest.raises(Refusal, match="Choose one of these"):
        asking.tell(db, lee, kind, worn, works.now)


# What waits, and who is there


def test_what_waits_is_read_in_three_questions_at_most(works):
    answer(works, ask(works, once="done"))
    ask(works)
    ask(works, "Noor")
    tell(works)
    tell(works, "health", "Noor")
    asked: list[str] = []
    engine = works.store._engine
    event.listen(engine, "before_cursor_execute", lambda *given: asked.append(given[2]))
    with works.store.reading() as db:
        found = asking.waiting(db, at(works))
    assert 0 < len([one for one in asked if one.startswith("SELECT")]) <= 3
    assert [one.person.name for one in found.questions] == ["Lee"]
    assert [(one.person.name, one.need.kind, one.respirator.size) for one in found.needs] == [
        ("Lee", "leak", "M")
    ]
    with works.store.reading() as db:
        everywhere = asking.waiting(db, None)
    assert [one.person.name for one in everywhere.questions] == ["Lee", "Noor"]
    assert [one.need.kind for one in everywhere.needs] == ["leak", "health"]


def test_who_left_waits_for_nothing(works):
    ask(works)
    tell(works)
    with works.store.writing() as db:
        db.get(Person, works.people["Lee"].id).left_on = works.today
    with works.store.reading() as db:
        found = asking.waiting(db, None)
    assert (found.questions, found.needs) == ([], [])


def there_now(works: Works, place: str = "Laminating Loft", minutes: float = 0) -> list[str]:
    """Return the trainers signed in at a worksite, so many minutes from now."""
    with works.store.reading() as db:
        moment = works.now + timedelta(minutes=minutes)
        return [one.name for one in asking.signed_in_now(db, at(works, place), moment)]


def test_signed_in_now_is_a_trainer_of_the_place_seen_within_ten_minutes(works):
    with works.store.writing() as db:
        for name in ("Tomas", "Kim", "Ida"):
            token = signing_in.start_session(db, works.people[name], None, works.now)
            if name == "Tomas":
                theirs = token
    assert there_now(works) == ["Tomas"]
    assert there_now(works, "Joinery") == []
    assert there_now(works, minutes=10) == ["Tomas"]
    assert there_now(works, minutes=10.1) == []
    with works.store.reading() as db:
        tomas = works.people["Tomas"]
        assert asking.signed_in_now(db, at(works), works.now, without=tomas) == []
    with works.store.writing() as db:
        signing_in.end_session(db, theirs, works.now)
    assert there_now(works) == []
    with works.store.reading() as db:
        assert len(db.exec(select(WebSession)).all()) == 3
