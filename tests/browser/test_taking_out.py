"""Each format taken out in a browser, in English and Spanish, with and without script."""

import io
import json
from pathlib import Path

import openpyxl
import polars
import pypdf
import pytest

from tests.browser.conftest import Served, Window, enrol, first_coordinator
from tests.services import told
from trainer.services import errands

ENDINGS = {"csv": "csv", "json": "json", "jsonl": "jsonl", "xapi": "xapi.json",
           "xlsx": "xlsx", "pdf": "pdf"}  # fmt: skip


def coordinator(served: Served, language: str, script: bool) -> Window:
    """Return the window of the first coordinator, signed in."""
    code = first_coordinator(served.store, language)
    ida = served.window(language, script=script)
    enrol(ida, "1", code)
    return ida


def take(ida: Window, served: Served, format_: str) -> bytes:
    """Choose a format on the page and return its file."""
    ida.open("/export?from=2025-01-01&to=2026-12-31&what=everything")
    choice = ida.page.locator(f"[name=format][value={format_}]")
    choice.check()
    button = ida.page.locator("main form button")
    if format_ in ("xlsx", "pdf"):
        ida.go("main form button")
        errands.run_all(served.store)
        ida.open(ida.page.url.removeprefix(served.base))
        button = ida.page.locator("a[download]")
    with ida.page.expect_download() as waiting:
        button.click()
    assert waiting.value.suggested_filename.endswith(ENDINGS[format_])
    return Path(waiting.value.path()).read_bytes()


@pytest.mark.parametrize(("language", "script"), [("en", True), ("es", False)])
def test_every_format_comes_out_and_opens_again(served: Served, language: str, script: bool):
    kept = told.fill(served.store)
    hashes = {one.hash for one in kept.values() if not one.kind.startswith("medical")}
    ida = coordinator(served, language, script)
    table = polars.read_csv(take(ida, served, "csv"), infer_schema=False)
    assert set(table["entry hash"]) == hashes
    assert {one["entry_hash"] for one in json.loads(take(ida, served, "json"))} == hashes
    lines = take(ida, served, "jsonl").decode().splitlines()
    assert {json.loads(line)["entry_hash"] for line in lines} == hashes
    assert len(json.loads(take(ida, served, "xapi"))) > len(told.HOSTILE)
    sheet = openpyxl.load_workbook(io.BytesIO(take(ida, served, "xlsx"))).active
    assert {row[25] for row in sheet.iter_rows(min_row=2, values_only=True)} == hashes
    read = pypdf.PdfReader(io.BytesIO(take(ida, served, "pdf")))
    assert read.trailer["/Root"]["/Lang"] == language
    text = " ".join(page.extract_text() for page in read.pages)
    assert all(one[:8] in text for one in hashes)


def test_the_page_says_what_it_will_take_out_as_it_is_filled_in(served: Served):
    told.fill(served.store)
    ida = coordinator(served, "en", script=True)
    ida.open("/export?from=2025-01-01&to=2026-12-31")
    before = ida.page.inner_text("#found")
    ida.page.locator("details summary", has_text="Only some people").click()
    ida.look("opened")
    ida.page.fill("#q", "nobody at all")
    ida.page.locator("#q").blur()
    ida.page.wait_for_function(
        "before => document.querySelector('#found').innerText !== before", arg=before
    )
    assert ida.page.inner_text("#found b") == "0 entries."
    ida.go("#found a")
    assert ida.page.input_value("#q") == "nobody at all"
    assert ida.page.locator("details[open] #q").count() == 1
