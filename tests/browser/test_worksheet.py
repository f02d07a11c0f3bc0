"""The worksheet and the exercises in a real browser: every page, numbers typed, no script."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, WORKER, Served, Window, phone
from trainer import bank
from trainer.calculations.catalogue import CATALOGUE
from trainer.services import learning
from trainer.store import people

ONE = "/worksheet/inside_concentration"
IN_SPANISH = (
    "inside_concentration", "exposure_with_respirator", "selection", "time_weighted_average",
    "filter_for_task", "breathing_air_acceptable", "cartridge_hours", "next_due",
)  # fmt: skip


def in_spanish(window: Window) -> Window:
    """Switch a window to Spanish."""
    window.go("header form[action='/language'] button")
    return window


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_page_fits_a_phone_and_axe_finds_nothing(ready: Served, language: str):
    window = phone(ready, WORKER)
    if language == "es":
        in_spanish(window)
    window.open("/worksheet")
    for name in CATALOGUE if language == "en" else IN_SPANISH:
        window.open(f"/worksheet/{name}")
        expect(window.page.locator(".result")).to_be_visible()
    window.open(f"{ONE}?ambient=-1&apf=50")
    window.look("fault")
    window.open("/exercises")
    window.open("/exercises/maximum-use")


def test_a_desktop_has_numbers_and_sheet_side_by_side(ready: Served):
    window = phone(ready, WORKER)
    window.page.set_viewport_size(DESKTOP)
    window.open(ONE)
    form, sheet = (window.page.locator(at).bounding_box() for at in (".worksheet form", "#worked"))
    assert sheet["x"] >= form["x"] + form["width"]
    assert abs(sheet["y"] - form["y"]) < 60


def test_the_result_follows_what_is_typed_and_stands_in_the_address(ready: Served):
    window = phone(ready, WORKER)
    window.open(ONE)
    page, result = window.page, window.page.locator(".result")
    expect(result).to_have_text("2.8 ppm")
    page.fill("#ambient", "250")
    expect(result).to_have_text("5 ppm")
    page.select_option("#apf", "10")
    expect(result).to_have_text("25 ppm")
    page.select_option("#unit", "mg/m³")
    expect(result).to_have_text("25 mg/m³")
    page.wait_for_url("**/inside_concentration?*ambient=250*")
    # Somebody else opens the address: the same numbers, the same result.
    shared = phone(ready, "2")
    shared.open(page.url.removeprefix(ready.base))
    expect(shared.page.locator(".result")).to_have_text("25 mg/m³")
    assert shared.page.input_value("#ambient") == "250"
    # A number that cannot be read leads back to its box, and is still there.
    page.fill("#ambient", "much")
    fault = page.locator("#worked .slip a")
    expect(fault).to_contain_text("must be a number")
    fault.click()
    expect(page.locator("#ambient")).to_be_focused()
    assert page.input_value("#ambient") == "much"


def test_periods_are_filled_in_line_by_line(ready: Served):
    window = phone(ready, WORKER)
    window.open("/worksheet/exposure_with_respirator")
    page = window.page
    expect(page.locator(".result")).to_have_text("12.5 ppm")
    page.locator("[name=hours]").nth(2).fill("8")
    page.locator("[name=concentration]").nth(2).fill("4")
    # (6 x 500/50 + 2 x 20 + 8 x 4) / 16
    expect(page.locator(".result")).to_have_text("8.25 ppm")
    rows = page.locator("[name=hours]").count()
    window.go("button[name=rows]")
    assert page.locator("[name=hours]").count() == rows + 4
    expect(page.locator(".result")).to_have_text("8.25 ppm")


def test_it_works_without_script(ready: Served):
    window = phone(ready, WORKER, script=False)
    window.open(ONE)
    window.page.fill("#ambient", "620")
    window.go(".worksheet form .button")
    assert window.page.locator(".result").inner_text() == "12.4 ppm"
    slug = "inside-concentration"
    window.open(f"/exercises/{slug}")
    window.go(".problem button")
    with ready.store.reading() as db:
        worker = people.by_number(db, WORKER)
        at = learning.drill(db, worker, bank.load().exercises[slug], "en")
    assert at.level == learning.PARTLY
    window.page.fill(f"#{slug}-answer", at.problem.blank.typed)
    window.go(".problem form .button")
    assert "One right. One more in a row" in window.page.content()


def test_two_right_in_a_row_take_a_person_a_step_on(ready: Served):
    window, slug = phone(ready, WORKER), "inside-concentration"
    window.open(f"/exercises/{slug}")
    page = window.page
    for level, said in (
        (learning.PARTLY, "One right."), (learning.PARTLY, "Two right in a row"),
        (learning.ALONE, "One right."), (learning.ALONE, "twice in a row"),
    ):
        page.get_by_role("button", name="Now you").or_(
            page.get_by_role("button", name="Next problem")
        ).click()
        while True:
            expect(page.locator(".problem form [name=answer]").first).to_be_visible()
            at = where(ready, slug)
            assert at.level == level
            blank = at.problem.steps[at.step].blank
            page.fill(f"#{slug}-answer", blank.typed)
            page.get_by_role("button", name="Check").click()
            if at.step + 1 == len(at.problem.steps):
                break
            expect(page.locator(".ladder").first).to_contain_text(f"Step {at.step + 2} of")
        expect(page.locator(".problem")).to_contain_text(said)
    window.look("done")


def where(served: Served, slug: str) -> learning.Drill:
    """Return where the worker is with an exercise."""
    with served.store.reading() as db:
        worker = people.by_number(db, WORKER)
        return learning.drill(db, worker, bank.load().exercises[slug], "en")
