"""Lessons of worksites, credit, talks, paper, assigning and moving, together.

What one of them says of a person must hold beside all the others: a tag is clear only if the
entries say so, and nothing that was taught is lost.
"""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlalchemy import event
from sqlalchemy.engine import Engine
from sqlmodel import select

from tests.answering import crowd
from tests.conftest import HALF_MASK, ZONE, Works, right_answer, taken_out
from tests.services.test_observing import watch
from tests.site_lessons import ENGLISH, TEXT, question
from trainer import lessons
from trainer.calculations.periods import next_due
from trainer.lessons import matters
from trainer.lessons.written import Text
from trainer.services import (
    assigning,
    authoring,
    curriculum,
    joining,
    learning,
    leaving,
    merging,
    on_paper,
    recording,
    sitting,
    standing,
    teaching,
    today,
)
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import board, people, record, site_lessons
from trainer.store.engine import Store
from trainer.store.tables import Membership, Person, SiteQuestion, Sitting, Standing, Worksite

BEGIN_AGAIN_DAYS = 60  # as installed

LOFT, JOINERY = "Laminating Loft", "Joinery"
TRAINER = {LOFT: "Tomas", JOINERY: "Wren"}
OURS = [lesson.slug for lesson in lessons.load().all]
SEVEN = [f"(k)(1)({place})" for place in ("i", "ii", "iii", "iv", "v", "vi", "vii")]
SPANISH = Text("Laminar en el Loft", "Usted puede decir qué hay en el aire.", TEXT)
DAY = timedelta(days=1)


def publish(works: Works, place: str = LOFT, **texts: Text) -> str:
    """Publish a lesson of a worksite and return its slug."""
    by = works.scribe(TRAINER[place])
    with works.store.writing() as db:
        lesson = authoring.begin(db, by, db.get(Worksite, works.worksites[place].id), "en")
        for language, text in (texts or {"en": ENGLISH, "es": SPANISH}).items():
            draft = authoring.begin_language(db, by, lesson, language)
            authoring.save(
                db, by, lesson, language, text, since=draft.revision, page=language, turn=1
            )
        for n in range(3):
            asked = question(n, must=n == 0) | {"slug": f"site-{lesson.id}-q{n}"}
            db.add(SiteQuestion(
                lesson_id=lesson.id, content=json.dumps(asked), saved_at=works.now,
                saved_by=by.person.id,
            ))  # fmt: skip
        db.flush()
        authoring.publish(db, by, lesson)
    return site_lessons.slug_of(lesson.id)


def take(works: Works, name: str, *slugs: str) -> None:
    """Let a person pass a sitting of each lesson, its items aside, which say nothing here."""
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        for slug in slugs:
            lesson = curriculum.find(db, slug)
            there = Sitting(
                person_id=person.id, lesson=slug, seed=1, language="en",
                ordinal=len(sitting.of_person(db, person, slug)) + 1, started_at=works.now,
                lesson_version=curriculum.keep_taught(db, lesson, works.now),
                closed_at=works.now, passed=True, asked=1, right=1, must_asked=1, must_right=1,
            )  # fmt: skip
            db.add(there)
            db.flush()
            recording.record_lesson(db, Scribe(person, works.now, ZONE), person, there, "read")


def train(works: Works, name: str, *more: str, trainer: str = "Tomas") -> None:
    """Let a person pass our lessons and these, then be watched."""
    take(works, name, *OURS, *more)
    watch(works, trainer=trainer, name=name)


def made_ready(works: Works, name: str) -> None:
    """Give a person whatever a tag needs beside training."""
    with works.store.writing() as db:
        by, person, on = works.scribe(), works.people[name], works.today
        if not people.respirators(db, person.id):
            joining.give_respirator(db, by, person, **HALF_MASK)
        recording.record_medical(db, by, person, once=f"m{name}", on=on, outcome="cleared")
        recording.record_fit_test(
            db, by, person, people.respirators(db, person.id)[0], once=f"f{name}", on=on,
            protocol="ambient-aerosol", fit_factor=300.0, recording="sheet",
        )  # fmt: skip


def move(works: Works, name: str, *places: str) -> None:
    """Let a coordinator say where a person works."""
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        joining.change_person(
            db, works.scribe(), person, name=name, roles=["worker"], language="en",
            worksites=[works.worksites[one].id for one in places], qualification="",
        )  # fmt: skip


def later(works: Works, **time: int) -> Works:
    """Return the works some time later."""
    return replace(works, now=works.now + timedelta(**time))


def history(works: Works, name: str) -> standing.History:
    """Return somebody's history."""
    with works.store.reading() as db:
        return standing.History(db, db.get(Person, works.people[name].id))


def training(works: Works, name: str, on: date | None = None):
    """Return the step of training on somebody's first tag."""
    with works.store.reading() as db:
        tag = standing.tags(db, works.people[name], on or works.today)[0]
    return next(one for one in tag.clearance.steps if one.kind == "training")


def on_board(works: Works, name: str) -> bool:
    """Say whether the tag board shows a person clear."""
    with works.store.reading() as db:
        asked = board.Filter(state="clear", search=works.people[name].number)
        rows = board.rows(db, asked, works.today, 0, None, medical=True)
    return bool(rows)


def to_do(works: Works, name: str, on: date | None = None) -> list[standing.LessonToDo]:
    """Return what is open for somebody."""
    return history(works, name).to_do(on or works.today)


def grid(works: Works, name: str, place: str = LOFT) -> dict[str, str]:
    """Return somebody's row of the grid."""
    with works.store.reading() as db:
        rows = today.grid(db, works.worksites[place].id, works.today)
    return next(row.states for row in rows if row.person.id == works.people[name].id)


def said_last(works: Works, name: str, kind: str) -> dict:
    """Return what somebody's newest entry of a kind says."""
    return record.body(history(works, name).of(kind)[-1][0])


def credit(works: Works, name: str = "Lee", days: int = 100, **how: str):
    """Credit all seven elements of training so many days ago."""
    with works.store.writing() as db:
        return recording.record_credit(
            db, works.scribe("Tomas"), db.get(Person, works.people[name].id), once=f"credit {days}",
            earlier_on=works.today - days * DAY, given_by="Harbor Works (invented)",
            proof="certificate", trained_with=["apr-half"],
            elements=dict.fromkeys(SEVEN, "asked") | how,
        )  # fmt: skip


# From one worksite to another


def test_who_comes_trained_from_elsewhere_is_not_clear_before_the_lesson_of_the_worksite(works):
    """(k)(3): training comes before wearing in the workplace; (k)(5)(i), both paraphrased."""
    slug = publish(works)
    made_ready(works, "Noor")
    train(works, "Noor", trainer="Wren")
    assert on_board(works, "Noor")
    works = later(works, minutes=1)
    move(works, "Noor", LOFT)
    assert (training(works, "Noor").state, training(works, "Noor").why) == ("no", "beyond")
    assert not on_board(works, "Noor")
    [open_] = to_do(works, "Noor")
    assert (open_.slug, open_.before_wearing, open_.reason) == (slug, True, "first")
    assert grid(works, "Noor")[slug] == "todo"
    assert set(grid(works, "Noor").values()) == {"todo", "done"}
    works = later(works, days=30)
    take(works, "Noor", slug)
    assert training(works, "Noor").state == "done"
    assert training(works, "Noor").due == next_due(works.today - 30 * DAY)
    assert on_board(works, "Noor")
    assert grid(works, "Noor")[slug] == "done"
    assert to_do(works, "Noor") == []


def test_who_goes_back_without_it_is_clear_there_as_before(works):
    publish(works)
    made_ready(works, "Noor")
    train(works, "Noor", trainer="Wren")
    works = later(works, minutes=1)
    move(works, "Noor", JOINERY, LOFT)
    assert not on_board(works, "Noor")
    move(works, "Noor", JOINERY)
    assert on_board(works, "Noor")


def test_a_trainer_can_give_it_as_first_training_to_who_came_trained(works):
    slug = publish(works)
    made_ready(works, "Noor")
    train(works, "Noor", trainer="Wren")
    works = later(works, minutes=1)
    move(works, "Noor", LOFT)
    with works.store.writing() as db:
        by, noor = works.scribe("Tomas"), works.people["Noor"]
        given_ = assigning.assign(db, by, noor, [assigning.FULL], works.today + DAY, "first")
    assert [one.lesson for one in given_] == [slug]


def test_a_pass_that_the_whole_is_without_ends_the_tag_with_its_own_year(works):
    """Trained at the Loft, then at the Joinery, then back: the Loft's lesson is the older one."""
    slug = publish(works)
    works = later(works, minutes=1)
    made_ready(works, "Noor")
    take(works, "Noor", slug)
    first = works.today
    works = later(works, days=300)
    train(works, "Noor", trainer="Wren")
    works = later(works, minutes=1)
    move(works, "Noor", LOFT)
    assert training(works, "Noor").due == next_due(first)
    assert [(one.reason, one.due) for one in to_do(works, "Noor", next_due(first) - DAY)] == [
        ("yearly", next_due(first))
    ]
    assert training(works, "Noor", next_due(first) + DAY).why == "beyond"


def test_who_leaves_the_lesson_behind_has_completed_training_on_the_day_of_its_last_part(works):
    slug = publish(works)
    made_ready(works, "Lee")
    train(works, "Lee")
    done_on = works.today
    assert [one.slug for one in to_do(works, "Lee")] == [slug]
    assert training(works, "Lee").state == "begun"
    works = later(works, days=40)
    move(works, "Lee", JOINERY)
    said = said_last(works, "Lee", "training")
    assert (said["happened_on"], said["due_again"]) == (
        done_on.isoformat(), next_due(done_on).isoformat(),
    )  # fmt: skip
    assert said["recorded_by"]["name"] == "Ida"
    assert training(works, "Lee").due == next_due(done_on)


def test_training_is_complete_when_the_respirator_that_was_not_watched_is_taken_back(works):
    with works.store.writing() as db:
        full = joining.give_respirator(
            db, works.scribe(), works.people["Kim"], **(HALF_MASK | {"class_slug": "papr-full"})
        )
    made_ready(works, "Kim")
    with works.store.writing() as db:
        joining.give_respirator(db, works.scribe(), works.people["Kim"], **HALF_MASK)
    train(works, "Kim")
    assert training(works, "Kim").state == "begun"
    with works.store.writing() as db:
        joining.take_respirator(db, works.scribe(), works.people["Kim"], full.id)
    assert training(works, "Kim").state == "done"


# Published, ended, taught not everybody in the middle of a round


@pytest.mark.parametrize("how", ["ended", "not for everybody"])
def test_without_the_lesson_training_is_complete_from_the_day_of_its_last_part(works, how):
    slug = publish(works)
    made_ready(works, "Lee")
    train(works, "Lee")
    done_on = works.today
    works = later(works, days=90)
    for _ in range(2):  # a double click makes one entry
        with works.store.writing() as db:
            lesson, by = site_lessons.by_slug(db, slug), works.scribe("Tomas")
            if how == "ended":
                authoring.end(db, by, lesson)
            else:
                authoring.teach_everyone(db, by, lesson, False)
    [(entry, said)] = history(works, "Lee").of("training")
    assert (entry.happened_on, said["due_again"]) == (done_on, next_due(done_on).isoformat())
    assert said["recorded_by"]["name"] == "Tomas"
    assert said["watched_by"]["name"] == "Tomas"
    assert said["completed"] < record.moment(works.now)
    assert training(works, "Lee").due == next_due(done_on)
    assert on_board(works, "Lee")


def test_published_in_the_middle_of_a_round_it_is_a_part_of_that_round(works):
    made_ready(works, "Lee")
    take(works, "Lee", *OURS)
    slug = publish(later(works, minutes=1))
    watch(works)
    assert history(works, "Lee").last_training() is None
    take(later(works, minutes=2), "Lee", slug)
    said = said_last(works, "Lee", "training")
    assert [one["lesson"] for one in said["worksite_part"]] == [slug]
    assert said["elements"][0] == matters.WORKSITE_ELEMENT


def test_published_after_training_it_is_open_at_once_and_stops_nobody(works):
    made_ready(works, "Lee")
    train(works, "Lee")
    done_on = works.today
    works = later(works, days=20)
    slug = publish(works)
    assert [(one.slug, one.due, one.before_wearing) for one in to_do(works, "Lee")] == [
        (slug, next_due(done_on), False)
    ]
    assert on_board(works, "Lee")
    assert grid(works, "Lee")[slug] == "todo"
    works = later(works, days=1)
    take(works, "Lee", slug)
    assert grid(works, "Lee")[slug] == "done"
    assert to_do(works, "Lee") == []
    # In the yearly round it is there already, as long as its own year lasts.
    opens = next_due(done_on) - timedelta(days=BEGIN_AGAIN_DAYS)
    assert [one.slug for one in to_do(works, "Lee", opens)] == OURS


def test_made_for_everybody_later_it_meets_who_came_meanwhile_and_the_board_knows(works):
    slug = publish(works)
    with works.store.writing() as db:
        authoring.teach_everyone(db, works.scribe("Tomas"), site_lessons.by_slug(db, slug), False)
    works = later(works, minutes=1)
    made_ready(works, "Noor")
    train(works, "Noor", trainer="Wren")
    move(works, "Noor", LOFT)
    assert on_board(works, "Noor")
    with works.store.writing() as db:
        authoring.teach_everyone(db, works.scribe("Tomas"), site_lessons.by_slug(db, slug), True)
    assert training(works, "Noor").why == "beyond"
    assert not on_board(works, "Noor")


# Standing assignments of a worksite's lesson


def test_a_standing_one_before_wearing_holds_for_a_lesson_of_the_course_too(works):
    """Lee was trained before the lesson was there, and gets the class that it is about."""
    made_ready(works, "Lee")
    train(works, "Lee")
    slug = publish(later(works, minutes=1))
    works = later(works, minutes=2)
    with works.store.writing() as db:
        assigning.begin_standing(
            db, works.scribe("Tomas"), works.worksites[LOFT], [slug], class_slug="papr-full"
        )
    works = later(works, minutes=1)
    with works.store.writing() as db:
        lee = works.people["Lee"]
        joining.give_respirator(
            db, works.scribe(), lee, **(HALF_MASK | {"class_slug": "papr-full"})
        )
        half, full = people.respirators(db, lee.id)
        there = standing.History(db, lee)
        assert there.facts(half, works.today).beyond == ()
        assert there.facts(full, works.today).beyond == (slug,)
    assert [(one.slug, one.before_wearing) for one in to_do(works, "Lee")] == [(slug, True)]
    take(later(works, minutes=1), "Lee", slug)
    assert to_do(works, "Lee") == []


def test_a_lesson_taken_off_is_asked_by_no_standing_assignment_any_more(works):
    slug = publish(works)
    with works.store.writing() as db:
        by = works.scribe("Tomas")
        assigning.begin_standing(db, by, works.worksites[LOFT], [slug])
    made_ready(works, "Noor")
    train(works, "Noor", trainer="Wren")
    works = later(works, minutes=1)
    move(works, "Noor", LOFT)
    assert not on_board(works, "Noor")
    with works.store.writing() as db:
        authoring.end(db, works.scribe("Tomas"), site_lessons.by_slug(db, slug))
    assert to_do(works, "Noor") == []
    assert on_board(works, "Noor")


def test_the_full_training_is_for_each_what_their_worksites_teach(works):
    lofts, joinerys = publish(works), publish(works, JOINERY)
    move(works, "Kim", LOFT, JOINERY)
    with works.store.reading() as db:
        due = works.today + DAY
        persons = [works.people[name] for name in ("Lee", "Noor", "Kim")]
        by = works.scribe("Tomas")
        shares = assigning.plan(db, by, persons, [assigning.FULL], due, "first")
    assert [one.new[len(OURS):] for one in shares] == [(lofts,), (joinerys,), (lofts, joinerys)]


def test_of_two_worksites_training_is_whole_with_the_lessons_of_both(works):
    lofts, joinerys = publish(works), publish(works, JOINERY)
    move(works, "Kim", LOFT, JOINERY)
    made_ready(works, "Kim")
    train(works, "Kim", lofts)
    assert [one.slug for one in to_do(works, "Kim")] == [joinerys]
    assert grid(works, "Kim", JOINERY)[joinerys] == "todo"
    take(works, "Kim", joinerys)
    assert [one["worksite"] for one in said_last(works, "Kim", "training")["worksite_part"]] == [
        LOFT, JOINERY,
    ]  # fmt: skip
    assert on_board(works, "Kim")


# Credit, talks, paper, retraining


def test_credit_leaves_the_lesson_of_the_worksite_and_practice(works):
    """(k)(4) is about the elements (k)(1)(i) to (vii), paraphrased; nothing else is credited."""
    slug = publish(works)
    made_ready(works, "Lee")
    credit(works)
    watch(works)
    assert [one.slug for one in to_do(works, "Lee")] == [slug]
    assert history(works, "Lee").last_training() is None
    works = later(works, minutes=1)
    take(works, "Lee", slug)
    said = said_last(works, "Lee", "training")
    assert [one["lesson"] for one in said["lessons"]] == [slug]
    assert said["due_again"] == next_due(works.today - 100 * DAY).isoformat()
    assert said["credited"] == sorted(OURS)
    assert on_board(works, "Lee")


def test_credit_then_a_talk_then_reading_what_was_done_here_counts_from_here(works):
    """With a talk, or read, the lesson was taught here: its year is its own."""
    name, slug = "Lee", "the-standard"
    credit(works, **{"(k)(1)(vii)": "sitting"})
    lesson = lessons.load().get(slug)
    with works.store.writing() as db:
        talk = teaching.give(
            db, works.scribe("Tomas"), works.worksites[LOFT], once="t", day=works.today - DAY,
            began=time(13, 0), minutes=30, language="en", mode="read aloud", slugs=[slug],
            numbers=[works.people[name].number],
        )  # fmt: skip
        there = sitting.begin(db, works.people[name], lesson, works.now)
        assert there.talk == talk.id
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        sitting.close(db, works.scribe(name), there, "en", 80)
    said = said_last(works, name, "lesson")
    assert (said["mode"], said["taught"]["talk"]) == ("read aloud", talk.id)
    assert "credit_entry" not in said and "counts_from" not in said
    with works.store.reading() as db:
        *_, row = taken_out(db, works.today, works.today)
    assert row["mode"] == f"read aloud on {works.today - DAY}"


def test_a_talk_taken_back_leaves_the_credit_that_was_there_before(works):
    name, slug = "Lee", "the-standard"
    credit(works, **{"(k)(1)(vii)": "sitting"})
    with works.store.writing() as db:
        talk = teaching.give(
            db, works.scribe("Tomas"), works.worksites[LOFT], once="t", day=works.today - DAY,
            began=time(13, 0), minutes=30, language="en", mode="read aloud", slugs=[slug],
            numbers=[works.people[name].number],
        )  # fmt: skip
        there = sitting.begin(db, works.people[name], lessons.load().get(slug), works.now)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        teaching.take_back(db, works.scribe("Tomas"), talk)
        assert sitting.close(db, works.scribe(name), there, "en", 80).passed
    said = said_last(works, name, "lesson")
    assert (said["mode"], "taught" in said) == (record.EARLIER, False)
    assert said["counts_from"] == (works.today - 100 * DAY).isoformat()


@pytest.mark.parametrize(("language", "title"), [("en", ENGLISH.title), ("es", SPANISH.title)])
def test_a_talk_and_a_paper_of_a_worksites_lesson_in_either_language(works, language, title):
    slug = publish(works)
    with works.store.writing() as db:
        by, lee = works.scribe("Tomas"), works.people["Lee"]
        teaching.give(
            db, by, works.worksites[LOFT], once="t", day=works.today - DAY, began=time(13, 0),
            minutes=30, language=language, mode="taught in person", slugs=[slug],
            numbers=[lee.number],
        )  # fmt: skip
        paper = on_paper.draw(db, by, lee, curriculum.find(db, slug), language)
        for one in sitting.shown(db, paper.sitting):
            on_paper.answer(db, by, paper, one.item.position, right_answer(one))
        on_paper.close(db, by, paper, works.today, 80)
    said = said_last(works, "Lee", "lesson")
    assert (said["title"], said["language"], said["taught"]["language"]) == (
        title, language, language,
    )  # fmt: skip
    assert (said["worksite_part"], said["entered_by"]["name"]) == (
        {"worksite": LOFT, "version": 1}, "Tomas",
    )  # fmt: skip
    with works.store.reading() as db:
        [row] = taken_out(db, works.today, works.today)
    assert (row["lesson"], row["worksite part"], row["language"]) == (
        slug, f"{title} ({LOFT}, version 1)", language,
    )  # fmt: skip
    assert row["mode"] == f"taught in person on {works.today - DAY}; sitting on paper"


def test_a_paper_entered_late_lengthens_no_year(works):
    slug = publish(works)
    made_ready(works, "Lee")
    train(works, "Lee")
    with works.store.writing() as db:
        by, lee = works.scribe("Tomas"), works.people["Lee"]
        lesson = curriculum.find(db, slug)
        for part in lesson.sections:
            learning.finish_section(db, lee, lesson, part.id, works.now)
        paper = on_paper.draw(db, by, lee, lesson, "en")
    written = works.today
    works = later(works, days=12)
    with works.store.writing() as db:
        by = works.scribe("Tomas")
        paper = on_paper.by_code(db, by.person, paper.code)
        for one in sitting.shown(db, paper.sitting):
            on_paper.answer(db, by, paper, one.item.position, right_answer(one))
        on_paper.close(db, by, paper, written, 80)
    assert training(works, "Lee").due == next_due(written)


def test_retraining_in_a_lesson_of_the_worksite_ends_with_a_sitting_begun_since(works):
    """(k)(5)(ii), after credit: neither credit nor a sitting from before ends it."""
    slug = publish(works)
    made_ready(works, "Lee")
    credit(works)
    watch(works)
    take(later(works, minutes=1), "Lee", slug)
    works = later(works, minutes=2)
    assert on_board(works, "Lee")
    with works.store.writing() as db:
        lee, lesson = works.people["Lee"], curriculum.find(db, slug)
        for part in lesson.sections:
            learning.finish_section(db, lee, lesson, part.id, works.now)
        before = sitting.begin(db, lee, lesson, works.now)
    works = later(works, minutes=1)
    with works.store.writing() as db:
        due, by = works.today + DAY, works.scribe("Tomas")
        assigning.assign(db, by, works.people["Lee"], [slug], due, "changed-workplace")
    assert (training(works, "Lee").why, grid(works, "Lee")[slug]) == ("retraining", "begun")
    works = later(works, minutes=1)
    with works.store.writing() as db:
        there = db.get(Sitting, before.id)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        assert sitting.close(db, works.scribe("Lee"), there, "en", 80).passed
    assert training(works, "Lee").why == "retraining"
    assert grid(works, "Lee")[slug] == "todo"
    take(later(works, minutes=1), "Lee", slug)
    assert training(works, "Lee").state == "done"
    assert on_board(works, "Lee")


def test_asked_again_for_cause_a_pass_from_before_completes_nothing(works):
    """(k)(5)(ii): and the grid says what the record says."""
    made_ready(works, "Lee")
    take(works, "Lee", *OURS)
    works = later(works, minutes=1)
    with works.store.writing() as db:
        due, by = works.today + DAY, works.scribe("Tomas")
        assigning.assign(db, by, works.people["Lee"], ["fit"], due, "knowledge-or-use")
    watch(works)
    assert history(works, "Lee").last_training() is None
    assert "fit" not in history(works, "Lee").this_round(works.today)
    assert grid(works, "Lee")["fit"] == "todo"
    take(later(works, minutes=1), "Lee", "fit")
    assert on_board(works, "Lee")


def test_who_sits_the_old_version_when_a_new_one_asks_for_retraining_does_it_again(works):
    slug = publish(works)
    with works.store.writing() as db:
        lee, lesson = works.people["Lee"], curriculum.find(db, slug)
        for part in lesson.sections:
            learning.finish_section(db, lee, lesson, part.id, works.now)
        there = sitting.begin(db, lee, lesson, works.now)
    works = later(works, minutes=1)
    with works.store.writing() as db:
        by, own = works.scribe("Tomas"), site_lessons.by_slug(db, slug)
        for language, text in {"en": ENGLISH, "es": SPANISH}.items():
            new = Text(text.title, text.summary, TEXT.replace("west", "east"))
            draft = site_lessons.drafts(db, own.id)[language]
            authoring.save(db, by, own, language, new, since=draft.revision, page="n", turn=1)
        authoring.publish(
            db, by, own, retrain=True, reason="changed-workplace", due=works.today + DAY
        )
    works = later(works, minutes=1)
    with works.store.writing() as db:
        there = db.get(Sitting, there.id)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        sitting.close(db, works.scribe("Lee"), there, "en", 80)
    assert slug in [one.slug for one in to_do(works, "Lee")]


# Years


def test_a_round_that_ends_on_29_february_is_good_until_the_28th(works):
    leap = datetime(2028, 2, 29, 18, tzinfo=UTC)
    works = replace(works, now=leap - timedelta(days=10))
    slug = publish(works)
    made_ready(works, "Lee")
    works = replace(works, now=leap)
    train(works, "Lee", slug)
    last = date(2029, 2, 28)
    assert training(works, "Lee").due == last
    assert {(one.reason, one.due) for one in to_do(works, "Lee", last)} == {("yearly", last)}
    assert [one.slug for one in to_do(works, "Lee", last)] == [*OURS, slug]
    assert training(works, "Lee", last + DAY).why == "lapsed"
    works = replace(works, now=datetime(2029, 2, 28, 18, tzinfo=UTC))
    assert grid(works, "Lee")[slug] == "todo"
    take(works, "Lee", slug)
    assert grid(works, "Lee")[slug] == "done"


def test_a_lesson_passed_over_a_year_ago_without_the_others_is_to_do_in_the_grid(works):
    take(works, "Lee", "fit")
    assert grid(works, "Lee")["fit"] == "done"
    works = later(works, days=367)
    assert "fit" not in history(works, "Lee").this_round(works.today)
    assert grid(works, "Lee")["fit"] == "todo"


def test_today_counts_the_year_of_credit_from_the_earlier_training(works):
    made_ready(works, "Lee")
    credit(works, days=300)
    watch(works)
    works = later(works, days=80)
    with works.store.writing() as db:  # an entry since: the tag no longer says since when
        standing.refresh(db, works.people["Lee"], works.today)
        waiting = today.waiting(db, [works.worksites[LOFT]], works.today, ZONE)
    assert ("overdue", "training") in [(one.kind, one.about) for one in waiting]


# Many people


def asked(do: Callable[[], object]) -> int:
    """Return how many questions to the database something takes."""
    seen = []

    def note(_connection, _cursor, statement, *_more) -> None:
        seen.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    try:
        do()
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    return len(seen)


def questions(works: Works) -> tuple[int, int, int]:
    """Return how many the grid, Today and a tag take."""
    loft = works.worksites[LOFT]
    with works.store.reading() as db:
        return (
            asked(lambda: today.grid(db, loft.id, works.today)),
            asked(lambda: today.waiting(db, [loft], works.today, ZONE)),
            asked(lambda: standing.tags(db, works.people["Lee"], works.today)),
        )


def test_more_people_ask_the_database_nothing_more(works):
    slug, loft = publish(works), works.worksites[LOFT]
    counts = []
    for first in (0, 10):
        with works.store.writing() as db:
            crowd(db, loft.id, 10, works.now + DAY, first=first + 1)
            if not first:
                assigning.begin_standing(db, works.scribe("Tomas"), loft, [slug], days=3)
        take(works, "Lee", "fit", slug)
        counts.append(questions(works))
    assert counts[0] == counts[1]
    assert max(counts[0]) < 30


# Whatever is done in whatever order

NAMES = ("Lee", "Noor")
PLACES = ((LOFT,), (JOINERY,), (LOFT, JOINERY))
DEEDS = st.one_of(
    st.tuples(st.just("wait"), st.sampled_from([1, 30, 200, 310])),
    st.tuples(st.just("ours"), st.sampled_from(NAMES)),
    st.tuples(st.just("theirs"), st.sampled_from(NAMES)),
    st.tuples(st.just("one"), st.sampled_from(NAMES), st.sampled_from(["fit", "site-1", "site-2"])),
    st.tuples(st.just("watch"), st.sampled_from(NAMES)),
    st.tuples(st.just("credit"), st.sampled_from(NAMES)),
    st.tuples(st.just("cause"), st.sampled_from(NAMES), st.sampled_from(["fit", "site-1"])),
    st.tuples(st.just("publish"), st.sampled_from([LOFT, JOINERY])),
    st.tuples(st.just("end"), st.sampled_from(["site-1", "site-2"])),
    st.tuples(st.just("everyone"), st.sampled_from(["site-1", "site-2"]), st.booleans()),
    st.tuples(st.just("move"), st.sampled_from(NAMES), st.sampled_from(PLACES)),
    st.tuples(st.just("standing"), st.sampled_from([assigning.FULL, "site-1"])),
    st.tuples(st.just("strike"), st.sampled_from(NAMES),
              st.sampled_from(["lesson", "practice", "credit", "fit-test", "medical"])),
    st.tuples(st.just("put back"), st.sampled_from(NAMES)),
    st.tuples(st.just("leave"), st.sampled_from(NAMES)),
    st.tuples(st.just("merge"), st.sampled_from(NAMES)),
)


def do(works: Works, nth: int, deed: tuple) -> None:
    """Do one deed; what is refused is not done."""
    what, *about = deed
    with works.store.reading() as db:
        there = {one for one in ("site-1", "site-2") if site_lessons.by_slug(db, one)}
    if {"site-1", "site-2"} & set(map(str, about)) - there:
        return
    match what:
        case "ours" | "theirs":
            course = OURS if what == "ours" else history(works, about[0]).course[len(OURS):]
            take(works, about[0], *course)
        case "one":
            take(works, *about)
        case "watch":
            with works.store.reading() as db:
                place = people.worksites(db, works.people[about[0]].id)[0].name
            watch(works, trainer=TRAINER[place], name=about[0])
        case "credit":
            try:
                credit(works, about[0], days=100 + nth)
            except Refusal:
                return
        case "cause":
            name, slug = about
            if slug == "site-1" and slug not in history(works, name).course:
                return
            with works.store.writing() as db:
                person, by = db.get(Person, works.people[name].id), works.scribe("Tomas")
                due = works.today + DAY
                assigning.assign(db, by, person, [slug], due, "knowledge-or-use")
        case "publish":
            if len(there) < 2:
                publish(works, about[0])
        case "end" | "everyone":
            with works.store.writing() as db:
                lesson, by = site_lessons.by_slug(db, about[0]), works.scribe("Tomas")
                if what == "end":
                    authoring.end(db, by, lesson)
                else:
                    authoring.teach_everyone(db, by, lesson, about[1])
        case "move":
            move(works, about[0], *about[1])
        case "strike" | "put back":
            amend(works, nth, *about)
        case "leave":
            leave_and_come_back(works, nth, about[0])
        case "merge":
            merge_another(works, nth, about[0])
        case "standing":
            with works.store.writing() as db:
                loft = works.worksites[LOFT]
                try:
                    assigning.begin_standing(db, works.scribe("Tomas"), loft, [about[0]])
                except Refusal:
                    return


def amend(works: Works, nth: int, name: str, kind: str = "") -> None:
    """Strike somebody's newest entry of a kind; without one, put back what was struck last."""
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        numbers = people.numbers(db, person)
        if kind:
            there = standing.History(db, person).of(kind)
            how = {"why": "not-done", "said": None}
            number = there[-1][0].number if there else None
        else:
            last = standing.newest_corrections(record.corrections(db, numbers))
            struck = [(one, said["corrects"]) for one, said in last.values()
                      if said["said"] is None and said["corrected_kind"] != "training"]  # fmt: skip
            one, root = max(struck, key=lambda pair: pair[0].number, default=(None, None))
            number = one.number if one else None
            how = {"why": "other", "said": record.body(record.get(db, root)) if one else None}
            if one and one.kind == "correction":
                how["note"] = "it was done"
        if number is None:
            return
        with db.begin_nested() as trial:
            try:
                recording.correct(db, works.scribe(), number, once=f"amend {nth}", **how)
            except Refusal:
                trial.rollback()


def leave_and_come_back(works: Works, nth: int, name: str) -> None:
    """Let somebody leave and come back on the same day, with a respirator given anew."""
    by = works.scribe()
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        places = [one.id for one in people.worksites(db, person.id)]
        leaving.leave(db, by, person, once=f"leave {nth}", on=works.today)
        assert [tag.respirator for tag in standing.tags(db, person, works.today)] == [None]
        leaving.come_back(
            db, by, person, once=f"back {nth}", on=works.today, worksites=places
        )
        joining.give_respirator(db, by, person, **HALF_MASK)


def merge_another(works: Works, nth: int, name: str) -> None:
    """Merge a second record, with a lesson passed under its number, into somebody's."""
    other = f"M{nth}"
    with works.store.writing() as db:
        places = [one.id for one in people.worksites(db, works.people[name].id)]
        works.people[other] = joining.add_person(
            db, works.now, number=other, name=other, roles=["worker"], worksites=places
        )
    take(works, other, "fit")
    with works.store.writing() as db:
        merging.merge(db, works.scribe(), works.people[name], works.people[other])


def said_by_entries(works: Works, db, person: Person) -> bool:
    """Say whether training is good today by the bare entries, worked out in another way."""
    every = standing.in_force(record.of_person(db, people.numbers(db, person)))
    whole = [(one, said) for one, said in every if one.kind == "training"]
    if not whole:
        return False
    _, said = whole[-1]
    if works.today > date.fromisoformat(said["due_again"]):
        return False
    for one in people.assignments(db, person.id):
        asked = record.moment(one.assigned_at)
        if one.reason == "knowledge-or-use" and not any(
            entry.kind == "lesson" and body["lesson"] == one.lesson and body["started"] >= asked
            for entry, body in every if entry.recorded_at > asked
        ):
            return False
    good = {one["lesson"] for one in said["lessons"]} | {
        body["lesson"] for entry, body in every
        if entry.kind == "lesson" and works.today <= next_due(entry.happened_on)
    }
    return all(
        site_lessons.slug_of(lesson.id) in good
        for member in db.exec(select(Membership).where(Membership.person_id == person.id))
        for lesson in site_lessons.of_worksite(db, member.worksite_id)
        for first in site_lessons.versions(db, lesson.id)[-1:]
        if lesson.for_everyone and (member.joined_at or person.added_at) > first.published_at
    )


def agree(works: Works) -> None:
    """Compare what tag, board, grid, history and entries say of everybody."""
    with works.store.reading() as db:
        persons = {name: db.get(Person, works.people[name].id) for name in NAMES}
        many = standing.histories(db, list(persons.values()))
        for person in persons.values():
            alone, on = standing.History(db, person), works.today
            assert many[person.id].course == alone.course
            assert set(many[person.id].this_round(on)) == set(alone.this_round(on))
            [tag] = standing.tags(db, person, on)
            step = next(one for one in tag.clearance.steps if one.kind == "training")
            if step.state == "done":
                assert said_by_entries(works, db, person)
            [row] = db.exec(select(Standing).where(Standing.person_id == person.id))
            shown = row.clear_until is not None and row.clear_until >= on
            assert shown == tag.clearance.clear
            [then] = standing.tags_on(db, [person], on)[person.id]
            assert then.clearance == tag.clearance
            [then] = standing.stood_on(
                db, [person], on, last=record.count(db), at=works.now
            )[person.id].tags
            assert then.clearance == tag.clearance
            open_ = {one.slug for one in alone.to_do(on)}
            for place in people.worksites(db, person.id):
                [states] = [
                    one.states for one in today.grid(db, place.id, on)
                    if one.person.id == person.id
                ]  # fmt: skip
                assert {slug for slug, state in states.items() if state == "todo"} <= open_
                done = {slug for slug, state in states.items() if state == "done"}
                assert done <= alone.learnt(on)
                if alone.last_training() is None or alone.open_again(on):
                    assert done <= set(alone.this_round(on))
                assert not done & set(alone.retraining())
            # Nobody is left with nothing to do and training that is not complete.
            watched = alone.practice("apr-half")
            before = alone.last_training()
            if (
                len(alone.this_round(on)) == len(alone.course)
                and watched and watched[1]["passed"] and on <= next_due(watched[0].happened_on)
                and watched[0].number > (before.number if before else 0)
            ):  # fmt: skip
                raise AssertionError("all is done, and training is not recorded as complete")
        assert all(one is None for one in record.verify(db))


@settings(
    max_examples=8, suppress_health_check=list(HealthCheck), derandomize=True,
)
@example([("publish", LOFT), ("ours", "Noor"), ("watch", "Noor"), ("move", "Noor", (LOFT,)),
          ("one", "Noor", "site-1"), ("wait", 310), ("ours", "Noor"), ("watch", "Noor")])
@example([("publish", LOFT), ("ours", "Lee"), ("watch", "Lee"), ("wait", 30),
          ("move", "Lee", (JOINERY,)), ("move", "Lee", (LOFT,)), ("everyone", "site-1", False)])
@example([("publish", LOFT), ("credit", "Lee"), ("cause", "Lee", "site-1"), ("watch", "Lee"),
          ("theirs", "Lee"), ("cause", "Lee", "fit"), ("end", "site-1"), ("one", "Lee", "fit")])
@example([("ours", "Lee"), ("watch", "Lee"), ("strike", "Lee", "practice"), ("leave", "Lee"),
          ("put back", "Lee"), ("merge", "Lee"), ("strike", "Lee", "lesson"), ("put back", "Lee"),
          ("strike", "Lee", "fit-test"), ("leave", "Lee"), ("put back", "Lee")])
@given(deeds=st.lists(DEEDS, min_size=4, max_size=14))
def test_whatever_is_done_tag_board_grid_and_record_agree(
    works, tmp_path_factory, of_kind, with_cast, deeds
):
    folder = tmp_path_factory.mktemp("agree")
    address = of_kind.address(folder)
    of_kind.copy(with_cast, address)
    store = Store(address)
    there = replace(works, store=store)
    try:
        for name in NAMES:
            made_ready(there, name)
        for nth, deed in enumerate(deeds):
            there = later(there, minutes=1)
            if deed[0] == "wait":
                there = later(there, days=deed[1])
            else:
                do(there, nth, deed)
            agree(there)
    finally:
        store.close()
        of_kind.drop(address)
        shutil.rmtree(folder)
