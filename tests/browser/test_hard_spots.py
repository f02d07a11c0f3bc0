"""Hard spots in a real browser: on a phone and at a desk, in both languages, without script."""

from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect

from tests.answering import CHOICE, EXERCISE, OTHER, crowd, sit, work
from tests.browser.conftest import DESKTOP, Served, phone
from trainer import bank


@pytest.fixture
def answered(ready: Served) -> Served:
    """Let twelve answer questions of every form and an exercise; some of them too few."""
    now = datetime.now(UTC)
    found = bank.load().for_lesson("protection-factors")
    others = [one.slug for one in found if one.slug not in (CHOICE, OTHER)]
    with ready.store.writing() as db:
        for at, person in enumerate(crowd(db, 1, 12, now)):
            work(db, person, now, typed="0.0123456" if at < 2 else "")
            wrong = [CHOICE, *others[: 12 - at]] if at < 8 else []
            sit(db, person, now, wrong=wrong, asked=[CHOICE, OTHER, *others[: 16 if at < 7 else 8]])
    return ready


@pytest.mark.parametrize("language", ["en", "es"])
def test_it_fits_a_phone_and_a_desk(answered: Served, language: str):
    window = phone(answered, "2")
    if language == "es":
        window.go("header form[action='/language'] button")
    window.open("/hard-spots")
    expect(window.page.locator("figure.shares svg")).to_be_visible()
    for kind, slug in every_form(answered):
        window.open(f"/hard-spots/{kind}/{slug}")
        window.look(slug)
    window.open("/hard-spots?from=x")
    window.look("fault")
    window.page.set_viewport_size(DESKTOP)
    window.open("/hard-spots")
    window.look("desk")
    table = window.page.locator("table.spots").bounding_box()
    assert table["width"] <= DESKTOP["width"]
    window.open(f"/hard-spots/question/{CHOICE}")
    window.look("desk")


def every_form(served: Served) -> list[tuple[str, str]]:
    """Return a question of each form that was asked, one that too few answered, and an exercise."""
    asked = bank.load().for_lesson("protection-factors")
    by_form = {one.form: ("question", one.slug) for one in reversed(asked)}
    return [*by_form.values(), ("question", asked[-1].slug), ("exercise", EXERCISE)]


@pytest.mark.parametrize("script", [True, False])
def test_from_the_list_to_the_section_that_explains(answered: Served, script: bool):
    window = phone(answered, "2", script)
    window.open("/people")
    window.go("nav a[href='/hard-spots']")
    page = window.page
    rows = page.locator("table.spots tbody tr")
    expect(rows.first).to_contain_text("%")
    page.select_option("#lesson", "protection-factors")
    page.fill("#from", datetime.now(UTC).date().replace(day=1).isoformat())
    window.go(".filter button")
    assert "lesson=protection-factors" in page.url
    window.go(".sorts a[href*='sort=separates']")
    expect(page.locator("#lesson")).to_have_value("protection-factors")
    window.go(f"a[href*='/hard-spots/question/{CHOICE}']")
    expect(page.locator("main")).to_contain_text("4 of 12 chose it (33 %).")
    window.go("main .do a")
    assert "sort=separates" in page.url
    window.go(f"a[href*='/hard-spots/question/{CHOICE}']")
    window.go(".go-list a[href^='/lessons/']")
    assert "/lessons/protection-factors/" in page.url


def test_every_link_is_large_enough_for_a_gloved_finger(answered: Served):
    window = phone(answered, "2")
    for path in ("/hard-spots", f"/hard-spots/question/{CHOICE}"):
        window.open(path)
        for link in window.page.locator("main a, main button").all():
            box = link.bounding_box()
            assert box["height"] >= 44, (path, link.inner_text())
