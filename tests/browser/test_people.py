"""A coordinator records a leaving, a return and a merge, with mistakes, on a phone and wide."""

from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, WORKER, ZONE, Served, Window, enrol, first_coordinator
from tests.browser.conftest import phone as own_phone
from tests.conftest import HALF_MASK
from trainer.services import joining
from trainer.services.scribe import Scribe
from trainer.store import people, record

SECOND = "L-77"
SAYS = {
    "en": {
        "future": "The day lies in the future",
        "left": "It is in the record. They sign in no more",
        "worksite": "Choose at least one worksite",
        "nobody": "Nobody has the worker number",
        "choose": "Choose which record goes on.",
        "joined": "The two records are one now",
        "whole": "Give a whole number from 50 to 100.",
        "kept": "The settings are kept.",
    },
    "es": {
        "future": "Ese día todavía no llega",
        "left": "Ya está en el registro. La persona ya no entra",
        "worksite": "Elija por lo menos un sitio de trabajo",
        "nobody": "Nadie tiene el número de trabajador",
        "choose": "Elija qué expediente sigue.",
        "joined": "Los dos expedientes ahora son uno",
        "whole": "Dé un número entero de 50 a 100.",
        "kept": "Los ajustes quedaron guardados.",
    },
}


def twice_there(served: Served) -> None:
    """Give the worker a respirator, and a second record under another number."""
    now = datetime.now(UTC)
    with served.store.writing() as db:
        worker, trainer = people.by_number(db, WORKER), people.by_number(db, "2")
        place = people.worksites(db, worker.id)[0]
        joining.give_respirator(db, Scribe(trainer, now, ZONE), worker, **HALF_MASK)
        joining.add_person(
            db, now, number=SECOND, name="Imara Solis", roles=["worker"], worksites=[place.id]
        )


def coordinator(served: Served, language: str, **how) -> Window:
    """Return the coordinator's device, signed in."""
    code = first_coordinator(served.store, language)
    window = served.window(language=language, **how)
    enrol(window, "1", code)
    return window


def leaves_and_returns(window: Window, says: dict[str, str]) -> None:
    """Record a leaving with a wrong day first, then a return without a worksite first."""
    page = window.page
    window.open(f"/people/{WORKER}/leave")
    page.fill("#on", (datetime.now(ZONE).date() + timedelta(days=4)).isoformat())
    window.go("main form button")
    expect(page.locator(".faults")).to_contain_text(says["future"])
    page.fill("#on", datetime.now(ZONE).date().isoformat())
    window.go("main form button")
    expect(page.locator("#status")).to_contain_text(says["left"])
    window.open("/left")
    expect(page.locator("main table")).to_contain_text(WORKER)
    window.open(f"/people/{WORKER}/return")
    window.go("main form button")
    expect(page.locator(".faults")).to_contain_text(says["worksite"])
    page.locator("[name=worksites]").first.check()
    window.go("main form button")


def joins(window: Window, says: dict[str, str]) -> None:
    """Join two records: a number that nobody has, nothing chosen, then both."""
    page = window.page
    window.open(f"/people/{WORKER}/merge")
    page.fill("#other", "nobody")
    window.go("main form button")
    expect(page.locator(".faults")).to_contain_text(says["nobody"])
    page.fill("#other", SECOND)
    window.go("main form button")
    window.look("both")
    window.go("main form[method=post] button")
    expect(page.locator(".faults")).to_contain_text(says["choose"])
    page.locator(f"[name=goes_on][value='{WORKER}']").check()
    page.locator("#sure").check()
    window.go("main form[method=post] button")
    expect(page.locator("#status")).to_contain_text(says["joined"])
    expect(page.locator("main")).to_contain_text(f"{WORKER}, {SECOND}")


def sets(window: Window, says: dict[str, str]) -> None:
    """Set the pass mark, mistyped first; then look at what the log tells."""
    page = window.page
    window.open("/settings")
    page.fill("#pass_mark", "9")
    window.go("main form button")
    expect(page.locator("#pass_mark-fault")).to_contain_text(says["whole"])
    page.fill("#pass_mark", "85")
    window.go("main form button")
    expect(page.locator("#status")).to_contain_text(says["kept"])
    for path in ("/log", f"/people/{WORKER}/sign-ins", "/tablets", "/retention", "/my-record"):
        window.open(path)


@pytest.mark.parametrize(
    ("language", "how"),
    [("en", {}), ("es", {"size": DESKTOP}), ("en", {"script": False})],
    ids=["phone", "wide, in Spanish", "without script"],
)
def test_leaving_returning_joining_and_setting_with_mistakes(ready, language, how):
    twice_there(ready)
    worker = own_phone(ready, WORKER)
    window = coordinator(ready, language, **how)
    leaves_and_returns(window, SAYS[language])
    worker.page.goto(ready.base + "/tag")
    assert "/sign-in" in worker.page.url
    joins(window, SAYS[language])
    sets(window, SAYS[language])
    with ready.store.reading() as db:
        person = people.by_number(db, SECOND)
        kinds = [one.kind for one in record.of_person(db, people.numbers(db, person))]
    assert kinds == ["left", "returned", "merged"]
