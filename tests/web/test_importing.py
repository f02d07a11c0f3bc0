"""Bringing a file in on the pages: four steps, each an address, and the way back."""

import csv
import io
import re

import pytest
from openpyxl import load_workbook

from tests.conftest import Browser
from tests.tables import ROSTER, csv_of, xlsx_of
from trainer.services import errands
from trainer.store import people

LOFT = "Laminating Loft"


@pytest.fixture
def ida(browser) -> Browser:
    """Return Ida's browser, on the first step."""
    opened = browser("Ida")
    opened.get("/import")
    return opened


def text(window: Browser) -> str:
    """Return the words of the page."""
    return " ".join(window.soup.find("main").get_text(" ").split())


def hidden(window: Browser, name: str) -> str:
    """Return the value of a hidden field."""
    return window.soup.select_one(f"main input[name={name}]")["value"]


def send(window: Browser, data: bytes, kind: str = "roster", name: str = "people.csv"):
    """Choose a file and send it."""
    window.get("/import")
    file = (io.BytesIO(data), name)
    answer = window.post("/import", kind=kind, deed=hidden(window, "deed"), file=file)
    answer.request.input_stream.close()  # what the test itself keeps of a large file
    return answer


def send_form(window: Browser, works, **other: str):
    """Send the form of columns as it stands, and let its errand be done; follow it."""
    form = next(one for one in window.soup.select("main form") if one.get("novalidate") is not None)
    fields = {
        one["name"]: one.select_one("option[selected]")["value"]
        for one in form.select("select") if one.select_one("option[selected]")
    }  # fmt: skip
    answer = window.post(form["action"], **(fields | other))
    return go_on(window, works) if "/errands/" in answer.request.path else answer


def go_on(window: Browser, works):
    """Let what was asked for be done, and go on from its page."""
    page = window.soup.select_one("form[action='/language'] [name=next]")["value"]
    errands.run_all(works.store)
    window.get(page)
    return window.get(window.soup.select_one("#errand .do a")["href"])


def test_from_the_file_to_the_board_and_back(ida, works):
    send(ida, csv_of((*ROSTER, "idioma"), ("00417", "Lee", LOFT, "es"), ("70", "Ravi", LOFT, "")))
    assert "Step 2 of 4" in text(ida)
    assert "00417 · 70" in text(ida)
    assert "es" in ida.soup.select_one("#column-language + small").get_text()
    send_form(ida, works)
    assert "Step 3 of 4" in text(ida)
    run = re.search(r"/import/(\d+)/do", ida.page)[1]
    ida.get(f"/import/{run}/lines?state=changed")
    assert "English becomes Spanish" in text(ida)
    ida.get(f"/import/{run}/do")
    assert "People added 1 People changed 1" in text(ida)
    seen, deed = hidden(ida, "seen"), hidden(ida, "deed")
    ida.post(f"/import/{run}/do", seen=seen, deed=deed)
    first = ida.soup.select_one("form[action='/language'] [name=next]")["value"]
    ida.post(f"/import/{run}/do", seen=seen, deed=deed)
    assert ida.soup.select_one("form[action='/language'] [name=next]")["value"] == first
    go_on(ida, works)
    assert "People added: 1, changed: 1, came back: 0, left: 0." in text(ida)
    assert "Ravi" in ida.get("/people/70").text
    ida.get(f"/import/{run}/undo")
    assert "Take all of it back" in text(ida)
    ida.post(f"/import/{run}/undo")
    go_on(ida, works)
    assert "Taken away again: 1." in text(ida)
    assert ida.get("/people/70").status_code == 404
    assert "Taken back" in ida.get("/import").text


def test_columns_can_be_corrected_and_a_fault_keeps_what_was_chosen(ida, works):
    send(ida, csv_of(("A", "B", "Planta"), ("00417", "Lee", LOFT)))
    answer = send_form(ida, works, **{"column-name": "1"})
    assert answer.status_code == 422
    assert ida.soup.select_one(".faults a")["href"] == "#column-number"
    assert ida.soup.select_one("#column-name option[selected]")["value"] == "1"
    send_form(ida, works, **{"column-number": "0", "column-name": "1"})
    assert "Step 3 of 4" in text(ida)
    assert "The same" in text(ida)


def test_letters_that_look_wrong_are_read_otherwise(ida):
    data = csv_of(ROSTER, ("70", "Peña", LOFT), encoding="mac-roman")
    send(ida, data)
    action = ida.soup.select_one("main form[action$=columns]")["action"]
    ida.post(action, act="letters", encoding="mac-roman")
    assert "Peña" in text(ida)


def test_a_doubtful_line_is_decided_on_its_page(ida, works):
    send(ida, csv_of(ROSTER, ("00999", "Lee", LOFT)))
    send_form(ida, works)
    assert "Same name, other number." in text(ida)
    assert "Known: Lee, No. 00417, Laminating Loft" in text(ida)
    run = re.search(r"/import/(\d+)/do", ida.page)[1]
    ida.get(f"/import/{run}/do")
    assert "1 doubtful line waits for you." in text(ida)
    ida.get(f"/import/{run}/lines?state=doubtful")
    line = hidden(ida, "line")
    answer = ida.post(f"/import/{run}/lines", line=line, act="page", **{f"decision-{line}": "no"})
    assert answer.status_code == 422
    ida.post(f"/import/{run}/lines", line=line, act="page", **{f"decision-{line}": "other"})
    assert "Your decisions are kept." in ida.page
    ida.get(f"/import/{run}/do")
    assert "People added 1" in text(ida)


def test_those_not_in_the_file_are_ticked_all_at_once_and_unticked_one_by_one(ida, works):
    send(ida, csv_of(ROSTER, ("00417", "Lee", LOFT)))
    send_form(ida, works)
    run = re.search(r"/import/(\d+)/do", ida.page)[1]
    ida.get(f"/import/{run}/lines?state=left")
    assert not ida.soup.select("input[type=checkbox][checked]")
    ida.post(f"/import/{run}/lines", state="left", act="all-left-leave")
    ticked = ida.soup.select("input[type=checkbox][checked]")
    assert len(ticked) == 2  # Kim and Tomas
    lines = [one["value"] for one in ida.soup.select("input[name=line]")]
    ida.post(f"/import/{run}/lines", state="left", act="page", line=lines,
             **{f"decision-{lines[0]}": "leave"})  # fmt: skip
    ida.get(f"/import/{run}/do")
    assert "People marked as left 1" in text(ida)


def test_bad_lines_are_downloaded_in_the_readers_language(ida, works):
    send(ida, csv_of(ROSTER, ("70", "Ravi", "Nowhere"), ("", "=Ana", LOFT)))
    send_form(ida, works)
    ida.post("/language", language="es", next="/import")
    run = re.search(r"/import/(\d+)", ida.page)[1]
    answer = ida.client.get(f"/import/{run}/bad.csv")
    rows = list(csv.reader(io.StringIO(answer.text.removeprefix("\ufeff"))))
    assert rows[0] == [*ROSTER, "Línea", "Motivo"]
    assert rows[1][3] == "2" and "No hay ningún sitio de trabajo llamado Nowhere" in rows[1][4]
    assert rows[2][1] == "'=Ana"
    assert answer.headers["Content-Disposition"].startswith("attachment")


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "The file is empty."),
        (b"\x89PNG0000", "neither a CSV file"),
        (b"a,b\n1" + b"0" * 24 * 1024 * 1024, "it may have 24 MB"),
    ],
)
def test_what_is_no_table_is_said_at_its_field(ida, data, said):
    answer = send(ida, data)
    assert answer.status_code == 422
    assert said in text(ida)
    assert ida.soup.select_one("#file")["aria-invalid"] == "true"


def test_far_too_much_is_refused_before_it_is_read(ida):
    answer = send(ida, b"0" * (27 * 1024 * 1024))
    assert answer.status_code == 413
    assert "24 MB" in ida.page


def test_sent_twice_a_file_is_one(ida):
    deed = hidden(ida, "deed")
    data = csv_of(ROSTER, ("70", "Ravi", LOFT))
    paths = {
        ida.post("/import", kind="roster", deed=deed, file=(io.BytesIO(data), "a.csv")).request.path
        for _ in range(2)
    }
    assert paths == {"/import/1/columns"}


def test_what_a_file_is_called_runs_nowhere(ida):
    send(ida, csv_of(ROSTER, ("70", "<script>x</script>", LOFT)), name="<script>a</script>.csv")
    assert "<script>a" not in ida.page and "<script>x" not in ida.page
    assert "<script>" not in str(ida.get("/import").text.split("<main")[1])


def test_each_step_can_be_loaded_again_and_leads_on(ida, works):
    send(ida, xlsx_of(ROSTER, ("70", "Ravi", LOFT)), name="people.xlsx")
    assert ida.get("/import/1", follow_redirects=True).request.path == "/import/1/columns"
    assert ida.get("/import/1/lines", follow_redirects=True).request.path == "/import/1/columns"
    send_form(ida, works)
    assert ida.get("/import/1", follow_redirects=True).request.path == "/import/1/lines"
    ida.post("/import/1/give-up")
    assert "Nothing was done." in ida.page
    assert "Given up" in ida.get("/import/1").text
    ida.get("/import")
    assert ida.post("/import/1/try").status_code == 409


def test_templates_hold_text_and_name_their_columns_in_the_readers_language(ida):
    book = load_workbook(io.BytesIO(ida.client.get("/import/template-roster.xlsx").data))
    sheet = book.active
    assert [sheet["A1"].value, sheet["A2"].value] == ["Worker number", "EXAMPLE-1"]
    assert sheet["A3"].number_format == "@"
    ida.post("/language", language="es", next="/import")
    assert "Número de trabajador" in ida.client.get("/import/template-roster.csv").text
    assert ida.client.get("/import/template-people.csv").status_code == 404
    assert ida.client.get("/import/template-roster.pdf").status_code == 404


def test_a_past_record_shows_what_counts_and_what_is_history(ida, works):
    send(ida, csv_of(("worker number", "date", "trainer"), ("00417", "2026-11-01", "A. Thornlow")),
         kind="training")  # fmt: skip
    send_form(ida, works)
    assert "Earlier training, history only: 2026-11-01" in text(ida)
    assert "Does not make clear: not all seven elements named" in text(ida)
    run = re.search(r"/import/(\d+)/do", ida.page)[1]
    ida.get(f"/import/{run}/do")
    ida.post(f"/import/{run}/do", seen=hidden(ida, "seen"), deed=hidden(ida, "deed"))
    go_on(ida, works)
    assert "history only and makes nobody clear" in text(ida)
    ida.get("/people/00417")
    assert "Brought in from a file, line 2 of people.csv." in text(ida)
    ida.post(f"/import/{run}/undo")
    go_on(ida, works)
    assert "1 entry was struck by a correction." in text(ida)
    assert ida.get("/people/00417").status_code == 200
    with works.store.reading() as db:
        assert people.by_number(db, "00417")
