"""A crew taught in a room, in a browser: wall, talk, paper and practices, on a phone and wide."""

from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import expect
from sqlmodel import select

from tests.browser import job
from tests.browser.conftest import DESKTOP, FIRST_LESSON, WORKER, ZONE, Served, Window, phone
from tests.conftest import HALF_MASK, right_answer
from trainer.services import joining
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.tables import PaperSitting

OTHER = "00418"
PROBLEM = ("protection-factors", "inside", "inside-concentration")
RIGHT = {"en": "Taught in person on", "es": "Impartida en persona el"}


def equip(served: Served) -> None:
    """Add a second worker, and give both a half mask."""
    now = datetime.now(UTC)
    with served.store.writing() as db:
        worker, trainer = people.by_number(db, WORKER), people.by_number(db, "2")
        place = people.worksites(db, worker.id)[0]
        other = joining.add_person(
            db, now, number=OTHER, name="Kestrel Varnham", roles=["worker"], worksites=[place.id]
        )
        for person in (worker, other):
            joining.give_respirator(db, Scribe(trainer, now, ZONE), person, **HALF_MASK)


def onward(window: Window) -> None:
    """Go on by the arrow key, or by the link where no script runs."""
    if not window.script:
        return window.go("a[rel=next]")
    with window.page.expect_event("load"):
        window.page.keyboard.press("ArrowRight")
    return window.look()


def teach(window: Window, language: str) -> None:
    """Show a lesson on the wall, and work a problem step by step."""
    window.open("/crew")
    window.page.select_option("#lesson", FIRST_LESSON)
    window.page.select_option("#tongue", language)
    window.go("main form button")
    first = window.page.locator(".section-title").inner_text()
    onward(window)
    assert window.page.locator(".section-title").inner_text() != first
    if window.script:
        with window.page.expect_event("load"):
            window.page.keyboard.press("ArrowLeft")
        assert window.page.locator(".section-title").inner_text() == first
        window.page.set_viewport_size(DESKTOP)
        window.look("on the wall")
    slug, section, exercise = PROBLEM
    window.open(f"/crew/lessons/{slug}/{language}/{section}/{exercise}?seed=7")
    assert window.page.locator(".answer").count() == 0
    while window.page.locator("a[rel=next]").count():
        onward(window)
    expect(window.page.locator(".answer")).to_be_visible()
    window.look("worked")
    if window.script:
        window.page.set_viewport_size({"width": 375, "height": 800})


def record_talk(window: Window) -> None:
    """Record a talk of yesterday at which both were."""
    window.open("/crew/talks")
    day = datetime.now(UTC).astimezone(ZONE).date() - timedelta(days=1)
    window.page.fill("#day", day.isoformat())
    window.page.fill("#began", "13:00")
    window.page.fill("#ended", "13:45")
    window.page.check(f"[name=lesson][value={FIRST_LESSON}]")
    for number in (WORKER, OTHER):
        window.page.check(f"[name=person][value='{number}']")
    window.go("main form[method=post] .do button")
    window.look("recorded")


def sit_on_paper(window: Window, served: Served, language: str) -> None:
    """Print a sitting for the one who only was at the talk, and enter what was written."""
    window.open(f"/crew/paper?lesson={FIRST_LESSON}")
    window.page.check(f"[name=person][value='{OTHER}']")
    window.page.select_option("#tongue", language)
    window.go("form[action='/crew/paper'] .do button")
    assert window.page.locator(".paper").count() == 1
    with served.store.reading() as db:
        paper = db.exec(select(PaperSitting)).one()
    window.open("/crew/paper")
    window.page.fill("#code", paper.code)
    window.go("form[action='/crew/paper/enter'] button")
    for one in job.items(served, paper.sitting_id):
        job.give(window, one, right_answer(one))
    assert window.page.url.endswith("/review")
    window.go("form[action$='/close'] button")
    entry = window.page.locator(".entries").inner_text()
    assert RIGHT[window.page.locator("html").get_attribute("lang")] in entry


def watch_both(window: Window) -> None:
    """Watch both practices on one page and sign them at one go."""
    window.open("/crew/practices")
    for box in window.page.locator("main input[name=worn]").all():
        box.check()
    window.go("form[action='/crew/practices'] .do button")
    marks = window.page.locator("main input[value=unprompted]")
    assert marks.count() == 14
    for at in range(14):
        if window.script:
            # Kept as it is given, as on the page for one.
            with window.page.expect_response("**/crew/practices/*"):
                marks.nth(at).check()
        else:
            marks.nth(at).check()
    if window.script:
        window.page.reload()
        # The page may be fetched once more by itself, with what came late.
        expect(window.page.locator("main input[value=unprompted]:checked")).to_have_count(14)
    window.go("button[name=act][value=all]")
    assert window.page.locator(".sign-list .state.done").count() == 2
    window.look("signed")


@pytest.mark.parametrize(("language", "script"), [("en", True), ("es", True), ("en", False)])
def test_a_crew_is_taught_sits_on_paper_and_practises(
    ready: Served, language: str, script: bool
):
    equip(ready)
    odell = phone(ready, "2", script)
    if language == "es":
        odell.go("header form[action='/language'] button")
    teach(odell, language)
    record_talk(odell)
    sit_on_paper(odell, ready, language)
    watch_both(odell)
