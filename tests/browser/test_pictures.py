"""Pictures brought in a browser, seen by a worker; and of what is hidden in one nothing runs."""

from datetime import UTC, datetime
from io import BytesIO

import pytest
from PIL import Image
from playwright.sync_api import expect
from sqlmodel import select

from tests.browser.conftest import DESKTOP, WORKER, ZONE, Served, Window, phone
from trainer.lessons.pictures import Picture as Safe
from trainer.services import pictures
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.tables import Picture, Worksite

PAGE = "/sites/1/pictures"
OPEN = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 400 300" '
RECT = '<rect width="200" height="150" fill="#c00"/>'
# Each would change the name of the window, ask for a file elsewhere, or open a dialog.
BAD = (
    f'{OPEN} onload="document.documentElement.id=\'ran\';alert(1)">{RECT}'
    "<script>document.documentElement.id='ran';alert(1)</script>"
    '<image href="/tag" width="9" height="9"/><style>@import "/static/ground.css";</style>'
    '<foreignObject width="90" height="90"><img xmlns="http://www.w3.org/1999/xhtml" src="/no" '
    "onerror=\"alert(1)\"/></foreignObject></svg>"
)


@pytest.fixture
def odell(ready: Served) -> Window:
    """Return the trainer's phone, on the page of the pictures."""
    window = phone(ready, "2")
    window.open("/sites/1")
    window.go(f"a[href='{PAGE}']")
    return window


def bring(window: Window, data: bytes, name: str) -> None:
    """Choose a file, say what it shows, and send it."""
    window.page.set_input_files("#picture", {"name": name, "mimeType": "", "buffer": data})
    window.page.fill("#en-0", "A red drum by the door.")
    window.page.fill("#es-0", "Un tambor rojo junto a la puerta.")
    window.go("form[enctype] button")


def wide_photo() -> bytes:
    """Return a photo that is wider than any page."""
    kept = BytesIO()
    Image.linear_gradient("L").resize((2400, 900)).convert("RGB").save(kept, "PNG")
    return kept.getvalue()


def test_a_photo_and_a_drawing_are_brought_and_fit_the_page(ready: Served, odell: Window):
    page = odell.page
    bring(odell, wide_photo(), "photo.png")
    bring(odell, f"{OPEN}>{RECT}</svg>".encode(), "drawing.svg")
    shown = page.locator("figure.picture img")
    expect(shown).to_have_count(2)
    for at in range(2):
        shown.nth(at).scroll_into_view_if_needed()
        page.wait_for_function(f"document.querySelectorAll('.picture img')[{at}].complete")
        assert shown.nth(at).evaluate("image => image.naturalWidth") > 0
        # Not squeezed: as high to its width as it was made.
        ratio = "image => image.clientWidth / image.clientHeight * image.height / image.width"
        assert shown.nth(at).evaluate(ratio) == pytest.approx(1, abs=0.05)
    page.locator("summary").first.click()
    odell.look("described")
    odell.go("header form[action='/language'] button")
    expect(shown.first).to_have_attribute("alt", "Un tambor rojo junto a la puerta.")
    page.set_viewport_size(DESKTOP)
    odell.look("wide")
    # What a worker of the place sees when they open it by itself.
    lee = phone(ready, WORKER)
    answer = lee.page.goto(f"{ready.base}/pictures/2")
    assert (answer.status, answer.header_value("content-type")) == (
        200, "image/svg+xml; charset=utf-8",
    )  # fmt: skip
    # And the tablet asks again, without fetching it again.
    assert lee.page.goto(f"{ready.base}/pictures/2").ok


def test_a_drawing_that_would_run_something_is_refused_in_a_sentence(odell: Window):
    heard = listen(odell)
    bring(odell, BAD.encode(), "photo.png")
    expect(odell.page.locator(".faults a")).to_contain_text("onload")
    assert odell.page.locator("#en-0").input_value() == "A red drum by the door."
    assert done(heard) == []


def test_even_one_that_came_in_by_another_way_runs_nothing(ready: Served, odell: Window):
    """The second wall: what the checks would have let through is stopped by the browser."""
    with ready.store.writing() as db:
        by = Scribe(people.by_number(db, "2"), datetime.now(UTC), ZONE)
        bad = Safe("svg", 400, 300, BAD.encode())
        pictures.add(db, by, db.get(Worksite, 1), bad, en="A drum.", es="")
        assert db.exec(select(Picture)).one().data == BAD.encode()
    page, heard, answered = odell.page, listen(odell), []
    page.on("response", lambda response: answered.append(response.url))
    odell.open(PAGE)
    expect(page.locator("figure.picture img")).to_have_count(1)
    page.locator("figure.picture img").scroll_into_view_if_needed()
    assert done(heard) == []
    answered.clear()
    page.goto(f"{ready.base}/pictures/1")
    page.wait_for_timeout(300)
    assert page.locator("svg rect").count() == 1  # it is shown, and that is all
    assert page.evaluate("document.documentElement.id") == ""
    assert page.evaluate("self.origin") == "null"
    assert answered == [f"{ready.base}/pictures/1"]
    assert done(heard) == []
    # The browser says what it stopped; nothing else went wrong.
    assert any("script" in one for one in heard)
    ready.faults[:] = [one for one in ready.faults if not stopped(one)]


def listen(window: Window) -> list[str]:
    """Return a list that fills with whatever a page does by itself."""
    heard: list[str] = []

    def dialog(shown) -> None:
        heard.append(f"dialog: {shown.message}")
        shown.dismiss()

    window.page.on("dialog", dialog)
    window.page.on("popup", lambda page: heard.append(f"popup: {page.url}"))
    window.page.on("pageerror", lambda error: heard.append(f"error: {error}"))
    window.page.on("console", lambda message: heard.append(as_heard(message.text)))
    return heard


def as_heard(text: str) -> str:
    """Return a line of the console, marked where it only says what was refused."""
    # A form with a fault is answered with 422, which the browser notes.
    return f"refused: {text}" if stopped(text) or "422" in text else f"console: {text}"


def done(heard: list[str]) -> list[str]:
    """Return what a page did, without what the browser or the server refused it."""
    return [one for one in heard if not one.startswith("refused:")]


def stopped(text: str) -> bool:
    """Say whether a line of the console tells of the content policy at work."""
    return "Content Security Policy" in text or "sandboxed" in text
