"""A coordinator finds the way from a phone: by keyboard, without script, in both languages."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import NARROWEST, Served, first_coordinator, phone


@pytest.mark.parametrize("language", ["en", "es"])
def test_more_unfolds_by_keyboard_and_folds_with_escape(ready: Served, language: str):
    first_coordinator(ready.store, "en")
    ida = phone(ready, "1")
    if language == "es":
        ida.page.locator("header button[value=es]").click()
    ida.page.set_viewport_size(NARROWEST)
    ida.open("/board")
    more = ida.page.locator("header nav summary")
    more.focus()
    ida.page.keyboard.press("Enter")
    expect(ida.page.locator("header nav a[href='/settings']")).to_be_visible()
    ida.look("unfolded")
    assert ida.page.locator("header nav .groups > li > b").count() >= 5
    ida.page.keyboard.press("Escape")
    expect(ida.page.locator("header nav a[href='/settings']")).to_be_hidden()
    expect(more).to_be_focused()
    more.click()
    ida.page.locator("header .whose").click()
    expect(ida.page.locator("header nav a[href='/settings']")).to_be_hidden()


def test_every_way_is_there_without_script(ready: Served):
    first_coordinator(ready.store, "en")
    ida = phone(ready, "1", script=False)
    ida.open("/board")
    ida.page.locator("header nav summary").click()
    ida.go("header nav a[href='/tablets']")
    assert ida.page.url.endswith("/tablets")
