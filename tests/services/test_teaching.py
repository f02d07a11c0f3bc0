"""Talks given in a room: kept for good, and what they open."""

from datetime import time, timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import select

from tests.conftest import Works, pass_lesson, right_answer
from trainer import lessons
from trainer.calculations.periods import next_due
from trainer.services import assigning, curriculum, learning, sitting, teaching
from trainer.services.refusal import Refusal
from trainer.store import record
from trainer.store.tables import Person, Sitting, TaughtContent, TaughtTalk, Worksite

SLUG, OTHER = "protection-factors", "fit"
DAY = timedelta(days=1)


def give(works: Works, days_ago: int = 1, trainer: str = "Tomas", **more) -> TaughtTalk:
    """Record a talk at the Loft at which Lee was."""
    said = {
        "once": f"talk {days_ago}", "day": works.today - timedelta(days=days_ago),
        "began": time(13, 0), "minutes": 45, "language": "es", "mode": "taught in person",
        "slugs": [SLUG], "numbers": ["00417"],
    }  # fmt: skip
    with works.store.writing() as db:
        place = db.get(Worksite, works.worksites[more.pop("at", "Laminating Loft")].id)
        return teaching.give(db, works.scribe(trainer), place, **(said | more))


def opens(works: Works, name: str = "Lee", slug: str = SLUG, days_later: int = 0) -> bool:
    """Say whether a talk opens a lesson's sitting for somebody."""
    with works.store.reading() as db:
        now = works.now + timedelta(days=days_later)
        return teaching.opening(db, works.people[name], slug, now) is not None


def begin(works: Works, name: str = "Lee", slug: str = SLUG) -> Sitting:
    """Begin a sitting without reading anything."""
    with works.store.writing() as db:
        return sitting.begin(db, works.people[name], lessons.load().get(slug), works.now)


def pass_it(works: Works, there: Sitting, name: str = "Lee") -> dict:
    """Answer all of a sitting rightly, close it, and return what its entry says."""
    with works.store.writing() as db:
        there = db.get(Sitting, there.id)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        sitting.close(db, works.scribe(name), there, "en", 80)
    with works.store.reading() as db:
        return record.body(record.of_person(db, works.people[name].number, ("lesson",))[-1])


def test_who_was_there_sits_without_reading_and_the_entry_says_who_taught(works):
    talk = give(works)
    said = pass_it(works, begin(works))
    assert said["mode"] == "taught in person"
    assert said["taught"]["by"] == {
        "number": "00002", "name": "Tomas", "qualification": "Industrial hygiene technician",
    }
    assert (said["taught"]["on"], said["taught"]["began"], said["taught"]["minutes"]) == (
        talk.day.isoformat(), "13:00", 45,
    )
    assert (said["language"], said["taught"]["language"]) == ("en", "es")
    assert said["taught"]["version"] == curriculum.content_version(lessons.load().get(SLUG))
    assert said["recorded_by"]["name"] == "Lee"


def test_read_aloud_by_the_trainer_is_said_so(works):
    give(works, mode="read aloud")
    assert pass_it(works, begin(works))["mode"] == "read aloud"


def test_who_was_not_there_reads_first(works):
    give(works)
    with pytest.raises(Refusal, match="Read every section"):
        begin(works, "Kim")


def test_it_opens_the_lessons_that_were_taught_and_no_other(works):
    give(works)
    assert opens(works)
    assert not opens(works, slug=OTHER)


def test_whoever_read_it_all_as_well_has_read_it_and_was_taught(works):
    give(works)
    with works.store.writing() as db:
        lesson = lessons.load().get(SLUG)
        for part in lesson.sections:
            learning.finish_section(db, works.people["Lee"], lesson, part.id, works.now)
    said = pass_it(works, begin(works))
    assert (said["mode"], said["taught"]["mode"]) == ("read", "taught in person")


def test_without_a_talk_an_entry_says_nothing_of_one(works):
    pass_lesson(works, "Lee", SLUG, works.now)
    with works.store.reading() as db:
        [entry] = record.of_person(db, "00417", ("lesson",))
    assert not {"taught", "on_paper", "entered_by"} & set(record.body(entry))


@pytest.mark.parametrize(
    ("days_ago", "opened"),
    [
        (2, False),  # the day before the pass
        (1, False),  # the day of the pass: nobody knows which came first
        (0, True),  # after it
    ],
)
def test_a_talk_on_or_before_the_day_of_the_last_pass_opens_nothing(works, days_ago, opened):
    pass_lesson(works, "Lee", SLUG, works.now - DAY)
    give(works, days_ago, began=None, minutes=1)
    assert opens(works) == opened


def test_a_talk_over_a_year_old_opens_nothing(works):
    """29 CFR 1910.134(k)(5) and OSHA's letter of 23 December 1998: good to the anniversary."""
    give(works, 0, began=None, minutes=1)
    last = (next_due(works.today) - works.today).days
    assert opens(works, days_later=last)
    assert not opens(works, days_later=last + 1)


def test_a_talk_before_a_lesson_was_assigned_for_cause_is_not_the_retraining(works):
    """(k)(5)(i)-(iii)."""
    give(works, 1)
    with works.store.writing() as db:
        assigning.assign(
            db, works.scribe("Tomas"), db.get(Person, works.people["Lee"].id), [SLUG],
            works.today + DAY, "knowledge-or-use",
        )  # fmt: skip
    assert not opens(works)
    give(works, 0, began=None, minutes=1)
    assert opens(works)


def test_sent_twice_it_is_one_talk_and_with_something_else_on_it_it_is_refused(works):
    first, again = give(works), give(works)
    assert first.id == again.id
    with pytest.raises(Refusal, match="sent before"):
        give(works, numbers=["00417", "00418"])
    with works.store.reading() as db:
        assert len(db.exec(select(TaughtTalk)).all()) == 1
        [held] = teaching.held_at(db, [works.worksites["Laminating Loft"].id], 9)
    assert [one.name for one in held.people] == ["Lee"]
    assert held.lessons == (SLUG,)


def test_the_words_that_were_taught_are_kept(works):
    give(works)
    with works.store.reading() as db:
        version = curriculum.content_version(lessons.load().get(SLUG))
        assert db.get(TaughtContent, version).lesson == SLUG


@pytest.mark.parametrize("table", ["taught_talk", "talk_lesson", "talk_person"])
@pytest.mark.parametrize("deed", ["UPDATE {} SET {} = {}", "DELETE FROM {}"])
def test_a_talk_is_never_changed(works, table, deed):
    give(works)
    column = "id" if table == "taught_talk" else "talk_id"
    with pytest.raises(IntegrityError, match="never changed"), works.store.writing() as db:
        db.execute(text(deed.format(table, column, column)))


def test_a_talk_taken_back_stays_and_opens_nothing(works):
    talk = give(works)
    there = begin(works)
    with works.store.writing() as db:
        with pytest.raises(Refusal, match="Only the trainer"):
            teaching.take_back(db, works.scribe("Wren"), talk)
        teaching.take_back(db, works.scribe("Tomas"), talk)
        teaching.take_back(db, works.scribe("Tomas"), talk)
    assert not opens(works)
    with pytest.raises(Refusal, match="taken back"):
        pass_it(works, there)
    with works.store.reading() as db:
        [held] = teaching.held_at(db, [works.worksites["Laminating Loft"].id], 9)
        assert held.taken_back
        assert db.get(Sitting, there.id).closed_at is None
        assert record.count(db) == 0


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"trainer": "Wren"}, "one of your worksites"),
        ({"numbers": ["00500"]}, "Tick people of the worksite"),  # of another worksite
        ({"numbers": []}, "Tick who was there"),
        ({"numbers": ["00417", "00002"]}, "your own training"),
        ({"slugs": []}, "Choose the lessons"),
        ({"slugs": ["nothing-like-it"]}, "Choose the lessons"),
        ({"mode": "slept through"}, "Choose the lessons"),
        ({"language": "fr"}, "Choose the lessons"),
        ({"days_ago": -1}, "not over yet"),
    ],
)
def test_what_cannot_be_so_is_refused(works, more, why):
    with pytest.raises(Refusal, match=why):
        give(works, **more)
    with works.store.reading() as db:
        assert db.exec(select(TaughtTalk)).first() is None


def test_a_talk_that_is_going_on_is_not_recorded_yet(works):
    clock = works.now.astimezone(works.scribe().zone).time()
    with pytest.raises(Refusal, match="not over yet"):
        give(works, 0, began=clock, minutes=30)


def test_without_a_qualification_named_nobody_teaches(works):
    works.people["Tomas"].qualification = ""
    with pytest.raises(Refusal, match="qualification"):
        give(works)


@pytest.mark.parametrize(
    ("began", "ended", "minutes", "took"),
    [
        (time(13, 0), time(13, 45), None, 45),
        (time(13, 0), time(13, 45), 45, 45),
        (time(23, 30), None, 60, 60),  # over midnight
        (None, None, 30, 30),
    ],
)
def test_the_length_comes_from_the_times_or_as_minutes(began, ended, minutes, took):
    assert teaching.length(began, ended, minutes) == took


@pytest.mark.parametrize(
    ("began", "ended", "minutes"),
    [
        (time(13, 0), time(13, 0), None),
        (time(13, 0), time(12, 0), None),
        (time(13, 0), time(13, 45), 30),
        (None, time(13, 45), None),
        (None, None, 0),
        (None, None, 721),
    ],
)
def test_a_length_that_cannot_be_is_refused(began, ended, minutes):
    with pytest.raises(Refusal):
        teaching.length(began, ended, minutes)
