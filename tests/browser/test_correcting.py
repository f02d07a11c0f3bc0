"""A correction in a browser, on a phone, with a mistake on the way: refused, put right, seen."""

from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import (
    WORKER,
    ZONE,
    Served,
    enrol,
    first_coordinator,
    phone,
)
from tests.browser.job import FIELDS
from trainer.services import joining, recording
from trainer.services.scribe import Scribe
from trainer.store import people, record

REFUSED = {"en": "lies in the future", "es": "todavía no llega"}
READS_NOW = {"en": "It reads now", "es": "Ahora dice"}
STRUCK = {"en": "Struck", "es": "Anulada"}


def a_fit_test(served: Served) -> int:
    """Let the worker have a clearance and a fit test; return the number of the fit test."""
    now = datetime.now(UTC)
    day = now.astimezone(ZONE).date()
    with served.store.writing() as db:
        worker = people.by_number(db, WORKER)
        by = Scribe(people.by_number(db, "2"), now, ZONE)
        worn = joining.give_respirator(
            db, by, worker, class_slug="apr-half", use="required", **FIELDS
        )
        recording.record_medical(
            db, by, worker, once="m", on=day - timedelta(days=90), outcome="cleared"
        )
        return recording.record_fit_test(
            db, by, worker, worn, once="f", on=day, protocol="ambient-aerosol",
            fit_factor=180.0, recording="shelf 3",
        ).number  # fmt: skip


@pytest.mark.parametrize(("language", "script"), [("en", True), ("es", True), ("en", False)])
def test_a_wrong_day_is_put_right_after_a_slip(ready: Served, language: str, script: bool):
    number = a_fit_test(ready)
    day = datetime.now(UTC).astimezone(ZONE).date()
    ida = ready.window(language, script=script)
    enrol(ida, "1", first_coordinator(ready.store, language))
    ida.open(f"/people/{WORKER}")
    ida.go(f"#entry-{number} a[href$='/correct']")
    page = ida.page
    assert page.input_value("#right-fit_factor") == "180"
    page.fill("#right-on", (day + timedelta(days=300)).isoformat())
    page.select_option("#right-why", "wrong-date")
    page.fill("#right-note", "The sheet says the month before")
    ida.go("form:has(#right-on) button")
    ida.look("refused")
    expect(page.locator(".faults")).to_contain_text(REFUSED[language])
    assert page.input_value("#right-note") == "The sheet says the month before"
    page.fill("#right-on", (day - timedelta(days=30)).isoformat())
    ida.go("form:has(#right-on) button")
    ida.look("preview")
    ida.go("button[value=do]")
    entry = page.locator(f"#entry-{number}")
    expect(entry).to_contain_text(READS_NOW[language])
    assert entry.locator("del").count() > 0
    ida.look("corrected")
    with ready.store.reading() as db:
        [made] = record.corrections(db, [WORKER])
        assert record.body(made)["said"]["happened_on"] == (day - timedelta(days=30)).isoformat()
    # Struck after all: by the newest of its corrections.
    ida.go(f"#entry-{number} a[href$='/correct']")
    page.select_option("#strike-why", "not-done")
    ida.go("form:has(#strike-why) button")
    ida.go("button[value=do]")
    expect(page.locator(f"#entry-{number} .stamp")).to_contain_text(STRUCK[language])
    ida.open("/witness")
    ida.open(f"/people/{WORKER}?on={(day - timedelta(days=3)).isoformat()}")
    ida.look("past")
    worker = phone(ready, WORKER, script)
    worker.open("/my-record")
    expect(worker.page.locator(f"#entry-{number} .stamp").first).to_be_visible()
    assert worker.page.locator(f"#entry-{number} del").count() > 0
