"""The page of taking out: every choice an address, quick formats at once, long ones as errands."""

import csv
import io
import json

import pypdf
import pytest

from tests.services import told
from trainer.services import errands
from trainer.store.tables import Errand

DAYS = {"from": "2025-01-01", "to": "2026-12-31"}


@pytest.fixture
def ida(works, browser):
    told.fill(works.store)
    return browser("Ida")


def sent(ida, format_: str, **more: object):
    """Send the form of the page and return the answer, before it leads on."""
    ida.get("/export")
    return ida.post("/export", follow=False, format=format_, **(DAYS | more))


@pytest.mark.parametrize(
    ("format_", "path", "kind"),
    [
        ("csv", "/export.csv", "text/csv"),
        ("json", "/export.json", "application/json"),
        ("jsonl", "/export.jsonl", "application/x-ndjson"),
        ("xapi", "/export.xapi.json", "application/json"),
    ],
)
def test_a_quick_format_leads_to_its_address(ida, format_, path, kind):
    answer = sent(ida, format_, what="fit-tests")
    assert answer.status_code == 303
    assert answer.location.startswith(f"{path}?")
    assert "what=fit-tests" in answer.location
    file = ida.client.get(answer.location)
    assert (file.status_code, file.mimetype) == (200, kind)
    assert "record_fit-tests_2025-01-01_2026-12-31." in file.headers["Content-Disposition"]
    assert file.text.count("Lee") == 1 or file.text.count('"Lee"') >= 1


def test_a_long_format_is_an_errand_and_a_double_click_is_one(ida, works):
    ida.get("/export")
    deed = ida.soup.select_one("[name=deed]")["value"]
    first = ida.post("/export", follow=False, format="xlsx", deed=deed, **DAYS)
    ida.get("/export")
    again = ida.post("/export", follow=False, format="xlsx", deed=deed, **DAYS)
    assert first.location == again.location
    assert first.location.startswith("/errands/")
    errands.run_all(works.store)
    ida.get(first.location)
    assert "entries are in it." in ida.page
    assert ida.client.get(f"{first.location}/file").data[:2] == b"PK"


def test_the_pdf_comes_in_the_readers_language(ida, works):
    ida.get("/export")
    ida.post("/language", language="es", next="/export")
    where = sent(ida, "pdf").location
    errands.run_all(works.store)
    file = ida.client.get(f"{where}/file")
    assert pypdf.PdfReader(io.BytesIO(file.data)).trailer["/Root"]["/Lang"] == "es"
    ida.get(where)
    assert "entradas." in ida.page


def test_an_address_fills_the_page_in_and_says_what_it_finds(ida, works):
    loft = works.worksites["Laminating Loft"].id
    ida.get("/export", query_string=DAYS | {"worksite": loft, "what": "everything"})
    chosen = ida.soup.select_one("#worksite option[selected]")
    assert chosen.text == "Laminating Loft"
    assert "also of people who have left" in ida.page
    ida.get("/export", query_string=DAYS | {"q": "lee"})
    assert ida.soup.select_one("[name=q]")["value"] == "lee"
    assert "wherever they were recorded" in ida.page
    address = ida.soup.select_one("#found a")["href"]
    assert "q=lee" in address
    ida.get(address)
    assert ida.soup.select_one("[name=q]")["value"] == "lee"


def test_what_a_board_asks_beside_is_kept(ida):
    ida.get("/export", query_string=DAYS | {"due": "60", "left": "yes"})
    hidden = {one["name"]: one["value"] for one in ida.soup.select("form [type=hidden]")}
    assert (hidden["due"], hidden["left"]) == ("60", "yes")
    answer = sent(ida, "csv", due="60")
    assert "due=60" in answer.location


def test_the_count_is_said_while_the_form_is_filled_in(ida):
    ida.get("/export")
    part = ida.post("/export/found", what="fit-tests", **DAYS).text
    assert "1 entry" in part and "<html" not in part
    ida.get("/export")
    assert "Give both days" in ida.post("/export/found", what="fit-tests", to="2026-01-01").text


def test_older_addresses_name_the_worksite(ida):
    file = ida.client.get("/export.csv", query_string=DAYS | {"worksite": "Joinery"})
    rows = list(csv.DictReader(io.StringIO(file.text, newline="")))
    assert {row["worker number"] for row in rows} == {"00510"}
    assert ida.client.get(
        "/export.csv", query_string=DAYS | {"worksite": "Moon"}
    ).status_code == 422


@pytest.mark.parametrize("days", [{"from": "2026-02-02", "to": "2026-01-01"}, {"from": "x"}, {}])
def test_days_that_make_no_period_are_refused(ida, days):
    assert ida.client.get("/export.csv", query_string=days).status_code == 422
    ida.get("/export")
    assert ida.post("/export", format="csv", **days).status_code == 422


def test_determinations_only_where_they_are_ticked(ida):
    plain = ida.client.get("/export.json", query_string=DAYS | {"what": "everything"})
    ticked = ida.client.get(
        "/export.json", query_string=DAYS | {"what": "everything", "medical": "yes"}
    )
    assert "powered_only" not in plain.text
    assert "powered_only" in ticked.text
    assert sent(ida, "json", medical="yes").location.count("medical=yes") == 1
    ticked = ida.client.get(
        "/export.xapi.json", query_string=DAYS | {"what": "everything", "medical": "yes"}
    )
    assert "medical" not in ticked.text
    assert json.loads(ticked.text)


def text_of(answer) -> str:
    read = pypdf.PdfReader(io.BytesIO(answer.data))
    return " ".join(page.extract_text() for page in read.pages)


def test_ones_own_record_and_another_ones(works, browser, ida):
    lee = text_of(browser("Lee").client.get("/my-record.pdf"))
    assert "Lee (00417)" in lee and "Powered respirators only" in lee
    trainer = browser("Tomas").client.get("/people/00417/record.pdf?medical=yes")
    assert "Powered respirators only" not in text_of(trainer)
    assert "Powered respirators only" in text_of(
        ida.client.get("/people/00417/record.pdf?medical=yes")
    )
    assert "Powered" not in text_of(ida.client.get("/people/00417/record.pdf"))


def test_an_errand_of_another_is_not_to_be_had(works, browser, ida):
    where = sent(ida, "xlsx").location
    errands.run_all(works.store)
    assert browser("Tomas").client.get(f"{where}/file").status_code == 404
    with works.store.reading() as db:
        assert db.get(Errand, int(where.rsplit("/", 1)[1])).state == "done"
