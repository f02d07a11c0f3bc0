"""Questions whose lines each get an answer, and questions about a drawing, as people meet them."""

import pytest
from playwright.sync_api import expect

from tests.browser import job
from tests.browser.conftest import DESKTOP, WORKER, Served, Window, phone
from tests.conftest import right_answer
from trainer import bank, lessons
from trainer.services import learning
from trainer.store import people

SLUG = "protection-factors"
ASKED = ("maximum-in-order", "factor-of-each", "read-the-measuring-stick")


@pytest.fixture
def asked(ready: Served, monkeypatch) -> Served:
    """Let every sitting ask an order, a match and a question about a drawing."""
    questions = tuple(bank.load().questions[slug] for slug in ASKED)
    monkeypatch.setattr(bank, "draw_questions", lambda *_: questions)
    with ready.store.writing() as db:
        worker = people.by_number(db, WORKER)
        lesson = lessons.load().get(SLUG)
        for section in lesson.sections:
            learning.finish_section(db, worker, lesson, section.id, worker.added_at)
    return ready


def begin(window: Window) -> int:
    """Begin the sitting of the lesson."""
    window.open(f"/lessons/{SLUG}")
    return job.begin(window, SLUG)


@pytest.mark.parametrize("language", ["en", "es"])
def test_each_line_gets_its_answer_and_is_kept_at_once(asked: Served, language: str):
    window = phone(asked, WORKER)
    if language == "es":
        window.go("header form[action='/language'] button")
    number = begin(window)
    page = window.page
    for one in job.items(asked, number):
        window.open(f"/sittings/{number}/{one.item.position}")
        window.look(one.item.slug)
        if one.item.slug == "read-the-measuring-stick":
            expect(page.locator("figure.drawing svg")).to_be_visible()
            assert page.locator("figcaption").count() == 0
        if one.item.slug == "maximum-in-order":
            with page.expect_response(lambda response: response.request.method == "POST"):
                page.select_option("#answer-2", "2:2")
            window.open(f"/sittings/{number}/{one.item.position}")
            assert page.input_value("#answer-2") == "2:2"
        job.give(window, one, right_answer(one))
    window.open(f"/sittings/{number}/review")
    given = page.locator("#answers").inner_text()
    assert "25" in given
    assert "1. " in given
    window.go(f"form[action='/sittings/{number}/close'] button")
    window.look("forms")
    assert page.locator(".marked .verb.wrong").count() == 0
    page.set_viewport_size(DESKTOP)
    window.look("forms on a desktop")


def test_what_was_wrong_is_shown_beside_what_is_right(asked: Served):
    window = phone(asked, WORKER)
    number = begin(window)
    for one in job.items(asked, number):
        window.open(f"/sittings/{number}/{one.item.position}")
        answers = right_answer(one)
        if one.item.slug == "factor-of-each":
            answers = ["0:1", "1:0", "2:2", "3:3"]
        if one.item.slug == "maximum-in-order":
            answers = ["0:0", "1:0", "2:2", "3:3"]
        job.give(window, one, answers)
    # Two steps cannot both come first: it is asked again before anything is marked.
    window.open(f"/sittings/{number}/review")
    expect(window.page.locator("#answers .none")).to_contain_text("Two lines have the same answer")
    window.go("#answers li:has(.none) .change")
    window.page.select_option("#answer-1", "1:1")
    window.go("main form .do button")
    window.go(f"form[action='/sittings/{number}/close'] button")
    wrong = window.page.locator(".answers .was-wrong")
    assert wrong.count() == 2
    expect(wrong.first).to_contain_text("You gave it: 10")


def test_lines_work_without_script(asked: Served):
    window = phone(asked, WORKER, script=False)
    number = begin(window)
    for one in job.items(asked, number):
        window.open(f"/sittings/{number}/{one.item.position}")
        job.give(window, one, right_answer(one))
    window.open(f"/sittings/{number}/review")
    window.go(f"form[action='/sittings/{number}/close'] button")
    assert window.page.locator(".verdict.yes").count() == 1
