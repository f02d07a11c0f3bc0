"""A problem with the numbers of the worksite, worked in a lesson on a phone."""

from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import expect

from tests.browser import job
from tests.browser.conftest import WORKER, WORKSITE, Served, phone
from tests.conftest import HALF_MASK
from trainer import bank
from trainer.services import describing, joining, learning
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.tables import SiteHazard

SLUG, PAGE = "inside-concentration", "/lessons/protection-factors/inside"


def measure(served: Served, hazard: SiteHazard, concentration: float, days_ago: int) -> None:
    """Enter a full-shift sample."""
    now = datetime.now(UTC)
    with served.store.writing() as db:
        by = Scribe(people.by_number(db, "2"), now, job.ZONE)
        on = now.astimezone(job.ZONE).date() - timedelta(days=days_ago)
        describing.add_sample(db, by, hazard, hours=8, concentration=concentration, on=on)


def describe(served: Served) -> SiteHazard:
    """Give the worker a half mask, and describe a task at which such a one is worn in toluene."""
    with served.store.writing() as db:
        by = Scribe(people.by_number(db, "2"), datetime.now(UTC), job.ZONE)
        worker = people.by_number(db, WORKER)
        joining.give_respirator(db, by, worker, **HALF_MASK)
        task = describing.add_task(db, people.worksite_named(db, WORKSITE), "Washing spray guns")
        hazard = describing.add_hazard(db, by, task, substance="toluene")
        describing.add_respirator(
            db, by, task, class_slug="apr-half", cartridge="organic vapor", serves=True,
            cartridge_limit=1000.0, schedule_hours=6.0, schedule_basis="maker's data",
            eye_protection=True,
        )  # fmt: skip
    measure(served, hazard, 240, 3)
    return hazard


@pytest.mark.parametrize(("script", "language", "says", "cites"), [
    (True, "en", "240 ppm of toluene was measured on", "240 ppm: measured at"),
    (True, "es", "se midieron 240 ppm de tolueno el", "240 ppm: medido en"),
    (False, "en", "240 ppm of toluene was measured on", "240 ppm: measured at"),
])  # fmt: skip
def test_the_numbers_of_the_worksite_are_worked_in_a_lesson(
    ready: Served, script: bool, language: str, says: str, cites: str
):
    hazard = describe(ready)
    imara = phone(ready, WORKER, script)
    imara.open(PAGE)
    if language == "es":
        imara.go("button[name=language][value=es], a[lang=es], [hreflang=es]")
        imara.open(PAGE)
    job.act(imara, imara.page.locator(f"#{SLUG}"))
    panel = imara.page.locator(f"#{SLUG}")
    expect(panel).to_contain_text(says)
    expect(panel).to_contain_text(WORKSITE)
    imara.look("own numbers")

    measure(ready, hazard, 480, 1)  # nothing changes under her hands
    imara.open(PAGE)
    expect(panel).to_contain_text(says)
    with ready.store.reading() as db:
        state = learning.drill(db, people.by_number(db, WORKER), bank.load().exercises[SLUG], "en")
    assert state.problem.source is not None
    imara.page.locator(f"#{SLUG} [name=answer]").fill("24")
    job.act(imara, imara.page.locator(f"#{SLUG}"))
    expect(panel.locator(".slip.right")).to_be_visible()
    cited = panel.locator(".worked .from").last
    expect(cited).to_contain_text(f"{cites} {WORKSITE}, Washing spray guns")
    imara.look("own numbers, done")
