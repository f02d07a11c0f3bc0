"""The board in a browser: filter, share, print, a year ahead, a calendar, coverage, what was."""

from datetime import UTC, datetime, timedelta
from urllib.request import urlopen

import icalendar
import pytest

from tests.browser.conftest import (
    DESKTOP,
    FIRST_LESSON,
    WORKER,
    ZONE,
    Served,
    first_coordinator,
    phone,
)
from tests.conftest import HALF_MASK, right_answer
from trainer import lessons
from trainer.services import joining, recording, sitting
from trainer.services.scribe import Scribe
from trainer.store import people


@pytest.fixture
def works(ready: Served) -> Served:
    """Return the installation: a worker with two tags, a fit test and a passed lesson."""
    first_coordinator(ready.store, "en")
    now = datetime.now(UTC)
    with ready.store.writing() as db:
        ida, worker = people.by_number(db, "1"), people.by_number(db, WORKER)
        by = Scribe(ida, now, ZONE)
        for size in "ML":
            joining.give_respirator(db, by, worker, **HALF_MASK | {"size": size})
        recording.record_fit_test(
            db, by, worker, people.respirators(db, worker.id)[0], once="f",
            on=now.astimezone(ZONE).date() - timedelta(days=340), protocol="ambient-aerosol",
            fit_factor=300.0, recording="sheet",
        )  # fmt: skip
        there = sitting.begin(db, worker, lessons.load().get(FIRST_LESSON), now)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), now)
        sitting.close(db, Scribe(worker, now, ZONE), there, "en", 80)
    return ready


@pytest.mark.parametrize("script", [True, False])
def test_a_filter_is_an_address_that_another_one_opens(works: Served, script: bool):
    ida = phone(works, "1", script)
    ida.open("/board")
    ida.page.fill("#q", "imára")
    ida.page.select_option("#missing", "practice")
    ida.go("form.filter > button")
    assert ida.page.locator("table.board tbody tr").count() == 2
    ida.look("asked")
    shared = ida.page.url.removeprefix(works.base)
    ida.go("a[href^='/board/print']")
    ida.page.emulate_media(media="print")
    heads = ida.page.locator("table.board thead")
    assert heads.evaluate("one => getComputedStyle(one).display") == "table-header-group"
    assert not ida.page.locator("header.bar").is_visible()
    assert ida.page.locator(".lead").is_visible()
    ida.page.emulate_media(media="screen")
    # Last: a PIN that is chosen anew ends what is open elsewhere.
    other = phone(works, "1", script)
    other.open(shared)
    assert other.page.locator("table.board tbody tr").count() == 2
    other.go(".asked li:nth-child(2) a")
    assert "practice" not in other.page.url


def test_the_year_ahead_is_drawn_in_light_and_dark_and_leads_to_people(works: Served):
    ida = phone(works, "1")
    ida.open("/ahead")
    drawn = ida.page.locator(".drawn img")
    light = drawn.evaluate("one => [one.currentSrc, one.naturalWidth]")
    ida.page.emulate_media(color_scheme="dark")
    ida.page.reload()  # the policy lets no test wait for a sentence of script
    dark = drawn.evaluate("one => one.currentSrc")
    assert "dark=yes" in dark
    assert "narrow=yes" in light[0]
    assert "dark" not in light[0]
    assert light[1] > 0
    assert dark != light[0]
    ida.look("dark")
    ida.page.emulate_media(color_scheme="light")
    ida.go("table.due td a")
    assert ida.page.locator("table.board tbody tr").count() == 1


def test_a_calendar_is_made_and_read_by_another_program(works: Served):
    worker = phone(works, WORKER)
    worker.open("/feeds")
    worker.go("main form button")
    worker.look("made")
    with urlopen(worker.page.input_value("#address")) as fetched:
        [event] = icalendar.Calendar.from_ical(fetched.read()).walk("VEVENT")
    assert event["summary"] == f"Fit test due: Imara Sollis ({WORKER})"
    worker.go("form[action$='/revoke'] button")
    assert worker.page.locator("form[action$='/revoke']").count() == 0


def test_coverage_a_sitting_and_the_lesson_as_it_was_taught_in_both_languages(works: Served):
    odell = phone(works, "2")
    for language in ("en", "es"):
        odell.open("/coverage")
        assert odell.page.locator("table.grid tbody tr").count() == 1
        odell.go("table.grid th a")
        odell.look(f"person {language}")
        odell.go("a[href*='/sittings/']")
        odell.go("a[href^='/taught/']")
        assert odell.page.locator("article.lesson").get_attribute("lang") == language
        odell.open("/people")
        odell.open("/ahead")
        odell.open("/feeds")
        odell.page.set_viewport_size(DESKTOP)
        odell.look(f"wide {language}")
        odell.open("/coverage")
        odell.page.set_viewport_size({"width": 375, "height": 667})
        if language == "en":
            odell.go("header form[action='/language'] button")
