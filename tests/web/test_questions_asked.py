"""How often the pages that people open all day ask the database: no more than is written here.

A question more is no fault, but it is to be meant: whoever adds one sees it here.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from sqlalchemy import event

from trainer import bank, lessons
from trainer.services import learning, sitting

LESSON, PART = next(
    (one, part) for one in lessons.load().all for part in one.sections if part.exercises
)
EXERCISE = bank.load().exercises[PART.exercises[0]]
PARTIAL = {"HX-Request": "true", "HX-Request-Type": "partial"}


@pytest.fixture
def lee(browser, works):
    """Return the browser of Lee, who wears a respirator and is in the middle of a lesson."""
    person = works.people["Lee"]
    with works.store.writing() as db:
        for one in LESSON.sections:
            learning.finish_section(db, person, LESSON, one.id, works.now)
        learning.go_on(db, person, EXERCISE, 0, works.now)
    return browser("Lee")


@contextmanager
def listening(works) -> Iterator[tuple[list[str], list[str]]]:
    """Give what is asked of the database from now on, and what is kept durably."""
    asked: list[str] = []
    kept: list[str] = []

    def note(_connection, _cursor, statement, *_) -> None:
        if not statement.startswith("BEGIN"):
            asked.append(statement)

    def note_kept(connection) -> None:
        if connection.get_execution_options().get("writer"):
            kept.append("commit")

    event.listen(works.store._engine, "before_cursor_execute", note)
    event.listen(works.store._engine, "commit", note_kept)
    try:
        yield asked, kept
    finally:
        event.remove(works.store._engine, "before_cursor_execute", note)
        event.remove(works.store._engine, "commit", note_kept)


def questions(works, do: Callable[[], object]) -> tuple[list[str], list[str]]:
    """Return what is asked and kept the second time: the first one notes that Lee is there."""
    do()
    with listening(works) as (asked, kept):
        do()
    return asked, kept


def test_a_lesson_page_asks_at_most_nine_times(lee, works):
    asked, kept = questions(works, lambda: lee.get(f"/lessons/{LESSON.slug}/{PART.id}"))
    assert len(asked) <= 9 and not kept, asked


def test_the_tag_asks_at_most_nineteen_times(lee, works):
    asked, kept = questions(works, lambda: lee.get("/tag"))
    assert len(asked) <= 19 and not kept, asked


def test_a_page_of_a_sitting_asks_at_most_six_times(lee, works):
    with works.store.writing() as db:
        there = sitting.begin(db, works.people["Lee"], LESSON, works.now)
    asked, kept = questions(works, lambda: lee.get(f"/sittings/{there.id}/1"))
    assert len(asked) <= 6 and not kept, asked


def test_an_answer_asks_at_most_four_times_and_is_kept_by_one_commit(lee, works):
    path = f"/lessons/{LESSON.slug}/{PART.id}/problem/{EXERCISE.slug}"
    with works.store.reading() as db:
        at = learning.drill(db, works.people["Lee"], EXERCISE, "en")
    lee.get(f"/lessons/{LESSON.slug}/{PART.id}")
    with listening(works) as (asked, kept):
        answer = lee.post(
            path, headers=PARTIAL, ordinal=at.ordinal, step=at.step, answer="0.0123456"
        )
    assert answer.status_code == 200
    assert len(asked) <= 4 and kept == ["commit"], asked
    assert [one for one in asked if one.startswith("INSERT")] == asked[-1:]
