"""A worksite described in a browser, on a phone: every page of it, with and without script."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, Served, phone

SITE = "/sites/1"


@pytest.mark.parametrize("script", [True, False])
def test_from_nothing_to_a_check(ready: Served, script: bool):
    odell = phone(ready, "2", script)
    odell.open("/sites")
    odell.go(".sections a")
    page = odell.page
    page.fill("#name", "Rolling gel coat")
    odell.go("form:has(#name) button")
    odell.go("a[href$='/hazard']")
    page.select_option("#substance", "toluene")
    odell.go("main form .button")
    odell.go("a[href$='/sample']")
    page.fill("#hours", "8")
    page.fill("#concentration", "90")
    odell.go("main form .button")
    for class_slug in ("apr-full", "apr-half"):
        odell.go("a[href$='/respirator']")
        page.select_option("#class_slug", class_slug)
        page.fill("#cartridge", "organic vapor")
        page.check("#serves")
        page.fill("#schedule_hours", "6")
        page.fill("#schedule_basis", "tests of this year")
        odell.go("main form .button")
    expect(page.locator(".check .state").first).to_contain_text("Enough")
    expect(page.locator(".check .state").last).to_contain_text("Not enough")
    assert page.locator(".scale svg").count() == 2
    odell.look("checked")
    if script:
        page.set_viewport_size(DESKTOP)
        odell.look("wide")
        odell.go("header form[action='/language'] button")
        odell.look("checked")
