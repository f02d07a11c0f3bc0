"""Asking on a phone, with and without script; answered on a desk; told in one tap."""

from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import FIRST_LESSON, WORKER, ZONE, Served, phone
from tests.conftest import HALF_MASK
from trainer import lessons
from trainer.services import joining
from trainer.services.scribe import Scribe
from trainer.store import people

LESSON = lessons.load().get("protection-factors")
EXERCISE = next(one for one in LESSON.sections if one.exercises)
PAGE = f"/lessons/{LESSON.slug}/{EXERCISE.id}"
TEXT = "¿Does the strap go over the hood?\nOr under it, <b>where</b> the pins are?"


@pytest.fixture
def worn(ready: Served) -> Served:
    """Give the worker a respirator that fits tightly."""
    with ready.store.writing() as db:
        by = Scribe(people.by_number(db, "2"), datetime.now(UTC), ZONE)
        joining.give_respirator(db, by, people.by_number(db, WORKER), **HALF_MASK)
    return ready


@pytest.mark.parametrize("script", [True, False])
def test_a_question_is_asked_answered_read_and_shown(worn: Served, script: bool):
    imara = phone(worn, WORKER, script)
    imara.open(PAGE)
    imara.page.locator("#asking summary").click()
    imara.look("open")
    imara.page.fill("#ask-text", TEXT)
    if script:
        imara.page.locator("#asking form button").click()
    else:
        imara.go("#asking form button")
    expect(imara.page.locator("#asking .asked blockquote")).to_have_text(TEXT)
    expect(imara.page.locator("#status")).to_contain_text("Will see it: Ravi Odell.")
    imara.look("asked")

    odell = phone(worn, "2", script)
    odell.open("/questions")
    odell.page.locator(".question summary").click()
    odell.look("section open")
    odell.page.fill(".question textarea", "Under it.\nAlways.")
    odell.page.locator(".question [name=show]").check()
    odell.go(".question form button")
    odell.look("answered")
    odell.go(".go-list a[href^='/questions/']")
    expect(odell.page.locator(".question")).to_contain_text("shown to everybody")

    imara.open("/tag")
    imara.look("unread")
    expect(imara.page.locator("#answers-title ~ ul")).to_contain_text("Ravi Odell answered on")
    expect(imara.page.locator(".foot .ask")).to_contain_text("Signed in now: Ravi Odell")
    imara.go("form[action='/my-questions/read'] button")
    assert imara.page.locator("#answers-title").count() == 0
    imara.go("a[href='/my-questions']")
    expect(imara.page.locator(".answered .words")).to_have_text("Under it.\nAlways.")


def test_a_refused_question_keeps_its_words_and_those_of_the_problem_beside_it(worn: Served):
    imara = phone(worn, WORKER)
    imara.open(PAGE)
    imara.page.locator(".problem form button").first.click()  # on from the worked example
    typed = imara.page.locator(".problem [name=answer]").first
    typed.fill("12")
    imara.page.locator("#asking summary").click()
    imara.page.fill("#ask-text", "  ")
    imara.page.locator("#asking form").evaluate("form => form.noValidate = true")
    imara.page.locator("#asking form button").click()
    expect(imara.page.locator("#asking .fault")).to_contain_text("Write something first.")
    imara.look("refused")
    expect(typed).to_have_value("12")


@pytest.mark.parametrize("script", [True, False])
def test_a_need_is_told_in_one_tap(worn: Served, script: bool):
    imara = phone(worn, WORKER, script)
    imara.open("/tag")
    imara.go("form[action='/tell']:has([value=leak]) button")
    expect(imara.page.locator("#tell-title ~ .do").first).to_contain_text("Do not go in with it")
    imara.look("told")
    imara.go("form[action='/tell']:has([value=health]) button")
    imara.look("health")
    assert imara.page.locator("#tell-title ~ .do .state").count() == 2

    odell = phone(worn, "2", script)
    odell.open("/questions")
    odell.look("told")
    for _ in range(2):
        odell.go("form[action^='/told/'] button")
    expect(odell.page.locator("main")).to_contain_text("Nothing is open.")
    imara.open("/my-questions")
    expect(imara.page.locator(".asked")).to_contain_text("Ravi Odell dealt with it on")


def test_the_form_stands_alone_too_and_in_spanish(worn: Served):
    imara = phone(worn, WORKER)
    imara.go("header form[action='/language'] button")
    section = lessons.load().get(FIRST_LESSON).sections[0].id
    imara.open(f"/ask?lesson={FIRST_LESSON}&section={section}")
    expect(imara.page.locator("h1")).to_have_text("Hacer una pregunta")
    imara.page.fill("#ask-text", "¿Va sobre la capucha?")
    imara.go("main form[action='/ask'] button")
    expect(imara.page.locator("#asking .asked")).to_contain_text("Todavía sin respuesta")
