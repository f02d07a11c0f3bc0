"""Tables as they come: every way of saving them, and what is none."""

import csv
import io
import zipfile
from datetime import date, datetime
from itertools import count

import pandas
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from openpyxl import Workbook

from tests.tables import csv_of, xlsx_of
from trainer.services import exporting, importing, reading_tables
from trainer.services.refusal import Refusal

HEADER = ("número", "nombre")
PEOPLE = (("00417", "Peña, Óscar"), ("00418", "Ana «la\nde línea»"))


def lines(data: bytes) -> list[tuple[int, tuple[str, ...]]]:
    """Return the lines below the header, each with its number."""
    read, _ = reading_tables.look(data)
    return [(line.number, line.cells) for line in reading_tables.below(data, read)]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be",
                                      "windows-1252"])  # fmt: skip
def test_it_is_read_however_it_was_saved(encoding, delimiter):
    data = csv_of(HEADER, *PEOPLE, encoding=encoding, delimiter=delimiter)
    assert lines(data) == [
        (2, ("00417", "Peña, Óscar")), (3, ("00418", "Ana «la de línea»")),
    ]  # fmt: skip


def test_lines_keep_the_number_that_an_editor_shows():
    data = b'number,name\r\n\r\n1,"two\r\nlines"\r\n2,Kim\r\n'
    assert [number for number, _ in lines(data)] == [3, 5]


def test_a_workbook_gives_values_not_formulas_and_days_as_days():
    data = xlsx_of(("number", "name", "left", "factor"),
                   (417.0, "Lee", datetime(2026, 3, 1), 2.5),
                   ("00417", "=1+1", None, True))  # fmt: skip
    assert lines(data) == [
        # Nobody has worked the formula out, so it has no value.
        (2, ("417", "Lee", "2026-03-01", "2.5")), (3, ("00417", "", "", "yes")),
    ]  # fmt: skip


def test_what_pandas_writes_is_read(tmp_path):
    table = pandas.DataFrame({"number": ["00417"], "name": ["Lee"], "left": [date(2026, 3, 1)]})
    table.to_excel(tmp_path / "a.xlsx", index=False)
    assert lines((tmp_path / "a.xlsx").read_bytes()) == [(2, ("00417", "Lee", "2026-03-01"))]
    assert lines(table.to_csv(index=False, sep=";").encode()) == [
        (2, ("00417", "Lee", "2026-03-01"))
    ]


@pytest.mark.parametrize("text", ["=1+1", "-5", "@x", "+1", "O'Neil", "'t Hart", "' x"])
def test_exactly_the_quote_mark_that_our_own_export_puts_is_taken_off(text):
    assert reading_tables.clean(exporting.harmless(text)) == text.strip()


def test_a_title_above_the_column_names_is_passed_over():
    data = b"Roster of November\n\nworker number,name\n1,Lee\n"
    seen = importing.prepare("roster", data)
    assert (seen.read.header, seen.columns) == (3, ("worker number", "name"))


def zipped(**files: str) -> bytes:
    """Return a ZIP of these files."""
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(name.replace("__", "/"), text)
    return kept.getvalue()


def with_entities() -> bytes:
    """Return a workbook whose sheet names an entity of its own."""
    kept = io.BytesIO()
    source = zipfile.ZipFile(io.BytesIO(xlsx_of(("number", "name"), ("1", "Lee"))))
    with zipfile.ZipFile(kept, "w") as archive:
        for one in source.infolist():
            data = source.read(one)
            if one.filename.startswith("xl/worksheets/"):
                data = b'<!DOCTYPE x [<!ENTITY a "b">]>' + data
            archive.writestr(one.filename, data)
    return kept.getvalue()


def test_a_bomb_is_refused_before_it_is_unpacked(monkeypatch):
    monkeypatch.setattr("openpyxl.load_workbook", pytest.fail)
    many = "0" * (reading_tables.MOST_UNPACKED // 2)
    data = zipped(xl__workbook="", **{"xl__workbook.xml": "<a/>", "a": many, "b": many + many})
    assert len(data) < 1_000_000
    with pytest.raises(Refusal, match="unpacks to far too much"):
        reading_tables.look(data)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b" \r\n ", "empty"),
        (b"\x89PNG\r\n\x1a\n" + b"0" * 50, "neither a CSV"),
        (b"%PDF-1.7 ...", "neither a CSV"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"0" * 600, "old kind"),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + "EncryptedPackage".encode("utf-16-le"),
            "password",
        ),
        (b"PK\x03\x04 broken", "broken"),
        (zipped(a="1"), "neither a CSV"),
        (with_entities(), "instructions"),
        (b"00417,Lee\n00418,Kim\n", "names of its columns"),
        (b"a" * (reading_tables.MOST_BYTES + 1), "too large"),
        (",".join(f"c{at}" for at in range(99)).encode(), "more than 60 columns"),
        (b'number,name\n1,"Lee\n' + b"x" * 200_000, "from line 2 on"),
        (bytes(range(1, 32)) * 20, "neither a CSV"),
        (xlsx_of(()), "empty"),
    ],
)
def test_what_is_no_table_is_refused_in_a_sentence(data, said):
    with pytest.raises(Refusal, match=said):
        lines(data)


def test_more_lines_than_may_be_are_refused(monkeypatch):
    monkeypatch.setattr(reading_tables, "MOST_ROWS", 3)
    data = csv_of(HEADER, *((str(at), "Lee") for at in range(40)))
    with pytest.raises(Refusal, match="more than 3 lines"):
        lines(data)


@pytest.mark.parametrize("made", [csv_of, xlsx_of])
def test_what_takes_too_long_is_refused_between_two_lines(monkeypatch, made):
    """By a clock of its own: a second goes by with every look at it."""
    data = made(HEADER, *((str(at), "Lee") for at in range(40)))
    read, _ = reading_tables.look(data)
    monkeypatch.setattr(reading_tables, "MOST_SECONDS", 20.0)
    monkeypatch.setattr(reading_tables, "thread_time", count().__next__)
    came = []
    with pytest.raises(Refusal, match="takes too long"):
        for line in reading_tables.below(data, read):
            came.append(line.number)
    assert came == list(range(2, 21))


def test_lines_without_anything_are_lines_all_the_same():
    """Otherwise 24 million of them would be gone through while somebody waits."""
    with pytest.raises(Refusal, match="more than 100,000 lines"):
        lines(b"a,b\n1,2\n" + b"\n" * 1_100_000)


def test_cells_far_to_the_right_or_far_down_cost_nothing():
    book = Workbook()
    book.active.append(["number", "name"])
    book.active.append(["1", "Lee"])
    book.active.cell(900_000, 16_000, "x")
    kept = io.BytesIO()
    book.save(kept)
    assert lines(kept.getvalue()) == [(2, ("1", "Lee"))]


A_FILE = csv_of(HEADER, *PEOPLE)
A_BOOK = xlsx_of(HEADER, *PEOPLE)


@settings(max_examples=60)
@given(some.binary(max_size=300))
def test_no_bytes_whatever_break_it(data):
    try:
        lines(data)
    except Refusal as refusal:
        assert str(refusal).endswith(".")


@settings(max_examples=60)
@given(some.data())
def test_no_broken_file_breaks_it(data):
    whole = data.draw(some.sampled_from([A_FILE, A_BOOK]))
    at = data.draw(some.integers(0, len(whole) - 1))
    piece = data.draw(some.binary(max_size=8))
    broken = whole[:at] + piece + whole[at + data.draw(some.integers(0, 60)) :]
    try:
        lines(broken)
    except Refusal as refusal:
        assert str(refusal).endswith(".")


SEEN = some.text(some.characters(exclude_categories=["Cc", "Cs"]), max_size=12)


@settings(max_examples=60)
@given(some.lists(some.lists(SEEN, min_size=2, max_size=4), max_size=6))
def test_whatever_a_csv_writer_writes_comes_back(rows):
    out = io.StringIO()
    csv.writer(out).writerows([["number", "name"], *rows])
    for _, cells in lines(out.getvalue().encode("utf-8", "replace")):
        assert all(cell == cell.strip() and cell.isprintable() for cell in cells)
