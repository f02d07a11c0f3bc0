"""Answers that reach the server in another order than they were given."""

from datetime import datetime

import pytest

from tests.conftest import ZONE, right_answer, wrong_answer
from trainer import lessons
from trainer.services import learning, observing, sitting
from trainer.store import people
from trainer.store.tables import Practice, Sitting

SLUG = "protection-factors"
PARTIAL = {"HX-Request": "true", "HX-Request-Type": "partial"}


@pytest.fixture
def begun(works) -> tuple[Sitting, list[sitting.Shown]]:
    """Begin a sitting for Lee."""
    lesson = lessons.load().get(SLUG)
    with works.store.writing() as db:
        for section in lesson.sections:
            learning.finish_section(db, works.people["Lee"], lesson, section.id, works.now)
        there = sitting.begin(db, works.people["Lee"], lesson, works.now)
        return there, sitting.shown(db, there)


def kept(works, there: Sitting, position: int) -> sitting.Shown:
    """Return an item as it is kept now."""
    with works.store.reading() as db:
        return sitting.shown(db, db.get(Sitting, there.id))[position - 1]


def test_a_saving_that_comes_late_does_not_undo_the_answer_that_was_sent(works, browser, begun):
    there, items = begun
    one = next(one for one in items if one.question and not one.question.in_rows)
    path = f"/sittings/{there.id}/{one.item.position}"
    lee = browser("Lee")
    lee.get(path)
    since = lee.soup.select_one("[name=since]")["value"]
    early = lee.post(path, headers=PARTIAL, answer=wrong_answer(one), since=since)
    assert "Saved at" in early.text
    lee.get(path)
    lee.post(path, answer=right_answer(one), since=since)
    late = lee.post(path, headers=PARTIAL, answer=wrong_answer(one), since=since)
    assert late.status_code == 200
    assert "Open the question again" in late.text
    assert "Saved at" not in late.text
    now = kept(works, there, one.item.position)
    assert list(map(str, now.picked)) == right_answer(one)
    # The page opened again saves by itself as before.
    lee.get(path)
    since = lee.soup.select_one("[name=since]")["value"]
    assert "Saved at" in lee.post(
        path, headers=PARTIAL, answer=wrong_answer(one), since=since
    ).text


def test_the_button_always_wins(works, browser, begun):
    there, items = begun
    one = next(one for one in items if one.question and not one.question.in_rows)
    path = f"/sittings/{there.id}/{one.item.position}"
    first, second = browser("Lee"), browser("Lee")
    first.get(path)
    second.get(path)
    first.post(path, answer=wrong_answer(one))
    second.post(path, answer=right_answer(one))
    assert list(map(str, kept(works, there, one.item.position).picked)) == right_answer(one)


def test_what_is_signed_is_what_stood_on_the_page_when_it_was_signed(
    works, browser, monkeypatch
):
    with works.store.writing() as db:
        worn = people.respirators(db, works.people["Lee"].id)[0]
        there = observing.begin(db, works.scribe("Tomas"), works.people["Lee"], worn)
        acts = [act.slug for act in observing.acts_for(worn)]
    mark, called = observing.mark, []

    def mark_late(db, by, practice, marks):
        # A saving of the page's own, from before the last change, comes in after the first.
        called.append(1)
        late = {acts[0]: "not_yet"} if len(called) == 1 else {}
        mark(db, by, practice, marks | late)

    monkeypatch.setattr(observing, "mark", mark_late)
    tomas = browser("Tomas")
    tomas.get(f"/practice/{there.id}")
    tomas.post(f"/practice/{there.id}", act="sign",
               **{f"act-{slug}": "unprompted" for slug in acts})
    with works.store.reading() as db:
        signed = db.get(Practice, there.id)
        assert signed.passed is True
        assert set(observing.seen(db, signed).values()) == {"unprompted"}


def test_the_time_of_a_saving_is_that_of_the_works(works, browser, begun):
    there, items = begun
    one = next(one for one in items if one.question and not one.question.in_rows)
    path = f"/sittings/{there.id}/{one.item.position}"
    lee = browser("Lee")
    lee.get(path)
    since = lee.soup.select_one("[name=since]")["value"]
    before = datetime.now(ZONE)
    said = lee.post(path, headers=PARTIAL, answer=right_answer(one), since=since).text
    after = datetime.now(ZONE)
    assert any(f"Saved at {moment:%H:%M:}" in said for moment in (before, after))
