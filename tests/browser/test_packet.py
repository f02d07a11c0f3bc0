"""A packet asked for, followed, downloaded and opened; a card scanned by somebody passing by."""

from datetime import UTC, date, datetime
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import pytest
import zxingcpp
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect
from pypdfium2 import PdfDocument

from tests.browser.conftest import (
    DESKTOP,
    ONLY_VIOLATIONS,
    PHONE,
    WORKER,
    Served,
    Window,
    first_coordinator,
    phone,
)
from tests.clear import make_clear
from tests.conftest import HALF_MASK, Works, pass_lesson
from trainer.services import errands, joining
from trainer.store import people


@pytest.fixture
def clear(ready: Served) -> Served:
    """Let the worker be clear with a half mask, and have passed a lesson."""
    first_coordinator(ready.store, "en")
    now = datetime.now(UTC)
    with ready.store.writing() as db:
        cast = {name: people.by_number(db, number) for name, number in
                (("Ida", "1"), ("Imara", WORKER))}  # fmt: skip
        works = Works(ready.store, now, {}, cast)
        joining.give_respirator(db, works.scribe(), cast["Imara"], **HALF_MASK)
    make_clear(works, "Imara")
    pass_lesson(works, "Imara", "protection-factors", now)
    return ready


def coordinator(served: Served, script: bool = True) -> Window:
    """Return the coordinator's phone."""
    return phone(served, "1", script)


def ask(window: Window) -> None:
    """Ask for the packet of this year, from the bar."""
    window.open("/board")
    window.go("nav a[href='/packet']")
    today = date.today()
    window.page.fill("#first", f"{today.year - 1}-01-01")
    window.page.check("#answers")
    window.go("main form[action='/packet'] button")


def test_a_packet_is_followed_downloaded_and_opened(clear: Served, tmp_path: Path):
    window = coordinator(clear)
    ask(window)
    page = window.page
    expect(page.locator("#errand")).to_contain_text("Waits for its turn")
    runner = errands.Runner(clear.store, every=0.05)
    runner.start()
    # The page asks by itself how far it is.
    expect(page.locator("a[download]")).to_be_visible(timeout=90_000)
    window.look("done")
    runner.stop()
    with page.expect_download() as waiting:
        page.click("a[download]")
    path = tmp_path / "packet.zip"
    waiting.value.save_as(path)
    assert waiting.value.suggested_filename.startswith("Inspection packet Laminating Loft")
    with ZipFile(path) as file:
        assert file.testzip() is None
        file.extractall(tmp_path)
    opened_without_us(clear, tmp_path / "Inspection packet")
    window.open("/packet")
    window.look("listed")
    expect(page.locator("main tbody code")).to_be_visible()
    page.set_viewport_size(DESKTOP)
    window.open("/packet")
    window.look("desk")


def opened_without_us(served: Served, folder: Path) -> None:
    """Open the contents from the disk, and from there a lesson: no server, no script."""
    reader = served.window(script=True)
    reader.page.goto((folder / "01 Cover and contents.html").as_uri())
    reader._check_access()
    for size in (PHONE, {"width": 320, "height": 640}):
        reader.page.set_viewport_size(size)
        reader._check_width()
    way = reader.page.locator("a", has_text="Spanish").first
    with reader.page.expect_event("load"):
        way.click()
    assert reader.page.locator("html").get_attribute("lang") == "es"
    assert reader.page.locator("svg").count() > 0
    found = Axe().run(reader.page, options=ONLY_VIOLATIONS).response["violations"]
    assert [one["id"] for one in found] == []


def test_without_script_it_is_asked_for_all_the_same(clear: Served):
    window = coordinator(clear, script=False)
    ask(window)
    errands.run_all(clear.store)
    window.page.reload()
    assert window.page.locator("a[download]").count() == 1


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_card_is_scanned_by_somebody_who_is_not_signed_in(clear: Served, language: str):
    window = phone(clear, WORKER)
    window.open("/tag")
    card = window.page.request.get(
        clear.base + window.page.locator("a", has_text="wallet card").get_attribute("href")
    )
    [code] = zxingcpp.read_barcodes(PdfDocument(BytesIO(card.body()))[0].render(scale=4).to_pil())
    assert code.text.startswith(f"{clear.base}/card/")
    passer_by = clear.window(language)
    passer_by.open(code.text.removeprefix(clear.base))
    said = {"en": ("Clear today", "This is no card of ours"),
            "es": ("Puede usarlo hoy", "Esta no es una tarjeta nuestra")}[language]
    expect(passer_by.page.locator("main")).to_contain_text(said[0])
    expect(passer_by.page.locator("main")).to_contain_text(WORKER)
    with clear.store.writing() as db:
        people.by_number(db, WORKER).left_on = date.today()
    passer_by.open(code.text.removeprefix(clear.base))
    expect(passer_by.page.locator(".verdict.no")).to_be_visible()
    passer_by.open("/card/1-1.x")
    passer_by.look("none")
    expect(passer_by.page.locator("h1")).to_have_text(said[1])


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_pages_fit_a_phone_and_a_desk(clear: Served, language: str):
    window = coordinator(clear)
    if language == "es":
        window.go("header form[action='/language'] button")
    for path in ("/packet", "/cards", "/cards?state=clear", "/worksites/1"):
        window.open(path)
    window.page.set_viewport_size(DESKTOP)
    for path in ("/packet", "/cards"):
        window.open(path)
        window.look("desk")
