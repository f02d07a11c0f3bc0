"""A roster with mistakes, brought in a browser: put right, sent again, decided, taken back."""

import csv
import io

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import (
    DESKTOP,
    WORKER,
    WORKSITE,
    Served,
    Window,
    enrol,
    first_coordinator,
)
from tests.tables import csv_of
from trainer.services import errands
from trainer.store import people

HEADER = ("Número de empleado", "Nombre", "Planta", "Idioma")
ROWS = (
    (WORKER, "Imara Sollis", WORKSITE, "es"),
    ("70", "Ana Vell", "Lofft", "es"),
    ("", "Bram Ode", WORKSITE, "en"),
    ("71", "Imara Sollis", WORKSITE, "en"),
    ("72", "=Linh Kest", WORKSITE, "en"),
)


def send(window: Window, data: bytes) -> None:
    """Choose a file, and go on to its lines."""
    window.page.set_input_files(
        "#file", {"name": "personas.csv", "mimeType": "text/csv", "buffer": data}
    )
    window.go("form[enctype] button")
    window.go("form[novalidate] > .do button")
    go_on(window)


def go_on(window: Window) -> None:
    """Let what was asked for be done, as a runner would, and go on from its page."""
    errands.run_all(window.served.store)
    if not window.script:
        window.page.reload()
    expect(window.page.locator("#errand .do a")).to_be_visible()
    window.go("#errand .do a")


@pytest.fixture
def ida(ready: Served) -> Window:
    """Return the coordinator's phone, on the first step."""
    window = ready.window()
    enrol(window, "1", first_coordinator(ready.store, "en"))
    window.open("/board")
    window.go("main a[href='/import']")
    return window


def test_a_roster_with_mistakes_gets_in_in_the_end(ready: Served, ida: Window):
    page, store = ida.page, ready.store
    send(ida, csv_of(HEADER, *ROWS, encoding="windows-1252", delimiter=";"))
    tally = page.locator("nav .tally")
    expect(tally).to_contain_text("1 Doubtful")
    expect(tally).to_contain_text("2 Bad")
    # A doubtful one is decided: two people of one name.
    expect(page.locator("main table")).to_contain_text("Known: Imara Sollis, No. 00417")
    page.locator("main table select").select_option("other")
    ida.go("button[value=page]")
    for state in ("bad", "new", "changed", "left"):
        ida.go(f"nav .tally a[href$='state={state}']")
        ida.look(state)
    # The bad ones are downloaded and put right.
    ida.go("nav .tally a[href$='state=bad']")
    with page.expect_download() as got:
        page.locator("a[href$='bad.csv']").click()
    rows = list(csv.reader(io.StringIO(
        got.value.path().read_text("utf-8").removeprefix("\ufeff")
    )))  # fmt: skip
    assert rows[0] == [*HEADER, "Line", "Reason"]
    assert [row[4] for row in rows[1:]] == ["3", "4"]
    ida.go(".do a.button[href$='/do']")
    expect(page.locator("dl")).to_contain_text("People added")
    ida.go("form[action$='/do'] button")
    go_on(ida)
    expect(page.locator("main")).to_contain_text("People added: 2, changed: 1")
    with store.reading() as db:
        assert people.by_number(db, "72").name == "=Linh Kest"
        assert people.by_number(db, WORKER).language == "es"
        assert people.by_number(db, "70") is None
    # And sent again.
    rows[1][2], rows[2][0] = WORKSITE, "73"
    ida.open("/import")
    send(ida, csv_of(*rows))
    expect(page.locator("nav .tally")).to_contain_text("2 To add")
    ida.go(".do a.button[href$='/do']")
    ida.go("form[action$='/do'] button")
    go_on(ida)
    expect(page.locator("main")).to_contain_text("People added: 2, changed: 0")
    ida.go("main a[href='/board']")
    expect(page.locator("main table")).to_contain_text("Ana Vell")
    # The second is taken back as a whole.
    ida.open("/import/2/undo")
    ida.go("main form[action$='/undo'] button")
    go_on(ida)
    with store.reading() as db:
        assert people.by_number(db, "70") is None
        assert people.by_number(db, "72")
    assert ready.faults == []


def test_it_works_without_script_in_spanish_and_on_a_wide_screen(ready: Served):
    window = ready.window("es", DESKTOP, script=False)
    enrol(window, "1", first_coordinator(ready.store, "es"))
    window.open("/import")
    send(window, csv_of(HEADER, *ROWS))
    expect(window.page.locator("main")).to_contain_text("Mismo nombre, otro número")
    window.page.locator("main table select").select_option(label="Dejar fuera esta línea")
    window.go("button[value=page]")
    window.go(".do a.button[href$='/do']")
    window.go("form[action$='/do'] button")
    go_on(window)
    expect(window.page.locator("main")).to_contain_text("Personas agregadas: 1")


def test_the_spanish_pages_and_the_wide_ones_fit_too(ready: Served):
    code = first_coordinator(ready.store, "es")
    window = ready.window("es", DESKTOP)
    enrol(window, "1", code)
    window.open("/import")
    window.look("wide")
    send(window, csv_of(HEADER, *ROWS))
    window.look("wide lines")
    window.page.set_viewport_size({"width": 320, "height": 640})
    for path in ("/import", "/import/1/lines?state=bad", "/import/1/lines?state=left",
                 "/import/1/do"):  # fmt: skip
        window.open(path)
        window.look(f"narrow {path}")
    assert ready.faults == []
