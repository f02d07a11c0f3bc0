"""Assigning with its preview, a standing one, and credit for earlier training, on a phone."""

from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import WORKER, WORKSITE, ZONE, Served, phone
from tests.conftest import HALF_MASK
from trainer import lessons
from trainer.services import joining
from trainer.services.scribe import Scribe
from trainer.store import people

COURSE = [lesson.slug for lesson in lessons.load().all]
SPANISH = "form[action='/language'] button"


@pytest.fixture
def worn(ready: Served) -> Served:
    """Give the worker a respirator that fits tightly."""
    with ready.store.writing() as db:
        by = Scribe(people.by_number(db, "2"), datetime.now(UTC), ZONE)
        joining.give_respirator(db, by, people.by_number(db, WORKER), **HALF_MASK)
    return ready


@pytest.mark.parametrize("script", [True, False])
def test_it_is_said_in_words_changed_confirmed_and_stands_for_whoever_comes(
    worn: Served, script: bool
):
    odell = phone(worn, "2", script)
    odell.open("/assign")
    odell.page.get_by_label(f"Everyone at {WORKSITE}").check()
    odell.page.check("#whole")
    odell.page.get_by_label("Also to whoever comes later, before first wearing").check()
    odell.go("main form button")
    expect(odell.page.locator("main")).to_contain_text("1 person gets all of it.")
    odell.page.locator("details summary").first.click()
    expect(odell.page.locator("main details li").first).to_contain_text("Imara Sollis")
    odell.look("before, for a worksite")
    odell.go("main button[value=change]")
    assert odell.page.locator("#whole").is_checked()
    odell.go("main form button")
    odell.go("main button[value=give]")
    expect(odell.page.locator("#status")).to_contain_text("Assigned to 1 person.")

    imara = phone(worn, WORKER, script)
    imara.open("/tag")
    assert imara.page.locator(".sections .when time").count() == len(COURSE)

    odell.open("/assign")
    odell.look("standing")
    expect(odell.page.locator("#standing + ul li")).to_contain_text("before first wearing")
    odell.go(SPANISH)
    odell.look("in Spanish")
    expect(odell.page.locator("#standing + ul li")).to_contain_text("antes del primer uso")
    odell.go("form[action^='/standing/'] button")
    expect(odell.page.locator("#status")).to_contain_text("Quienes lleguen después ya no la")


def test_earlier_training_is_credited_and_the_rest_stays(worn: Served):
    odell = phone(worn, "2")
    odell.open(f"/people/{WORKER}")
    odell.go("main a[href$='/credit']")
    earlier = datetime.now(ZONE).date() - timedelta(days=40)
    odell.page.fill("#on", earlier.isoformat())
    odell.page.fill("#given_by", "Invented Harbor Works")
    odell.page.fill("#proof", "certificate")
    odell.page.locator("[name=trained_with]").check()
    for place in range(1, 7):
        odell.page.locator(f"[name=element-{place}][value=asked]").check()
    odell.go("main form[novalidate] button")
    odell.look("a mark is missing")
    expect(odell.page.locator(".faults")).to_contain_text("Mark each of the seven elements.")
    odell.page.locator("[name=element-7][value=sitting]").check()
    odell.go("main form[novalidate] button")
    odell.look("credited")
    expect(odell.page.locator("#status")).to_contain_text("1 lesson stays to do")
    expect(odell.page.locator(".entries")).to_contain_text("Invented Harbor Works")

    imara = phone(worn, WORKER)
    imara.open("/tag")
    imara.go(".stub a")
    imara.look("covered by earlier training")
    imara.go("form[action='/lessons/the-standard/sitting'] button")
    odell.go(SPANISH)
    odell.look("credited, in Spanish")
    odell.open(f"/people/{WORKER}/credit")


def test_what_was_seen_ticks_the_lessons_that_matter(worn: Served):
    odell = phone(worn, "2")
    odell.open(f"/people/{WORKER}")
    odell.go("main a[href$='/seen']")
    odell.page.check("[name=seen][value=clean-and-store]")
    odell.go("main form[action='/assign'] button")
    odell.look("ticked")
    ticked = odell.page.locator("[name=lesson]:checked").all()
    assert [box.get_attribute("value") for box in ticked] == ["upkeep"]
    odell.go("main form[action='/assign'] button")
    odell.look("before, for cause")
    expect(odell.page.locator("main")).to_contain_text("retraining for cause")
    odell.go("main button[value=give]")
    odell.look("asked again")
    expect(odell.page.locator("main")).to_contain_text("(Clean it and store it)")
