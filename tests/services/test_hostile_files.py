"""Files that somebody made to keep the server busy, or to fill its memory."""

import io
import re
import struct
import zipfile
import zlib

import pytest
import xlsxwriter

from tests.tables import ROSTER
from trainer.services import pictures, reading_tables
from trainer.services.refusal import Refusal


def bent(member: str, change) -> bytes:
    """Return a good workbook of which one member is changed."""
    good, out = io.BytesIO(), io.BytesIO()
    with xlsxwriter.Workbook(good) as book:
        sheet = book.add_worksheet("Sheet")
        for at, row in enumerate((ROSTER, ("1", "Ada", "Loft"))):
            sheet.write_row(at, 0, row)
    with zipfile.ZipFile(good) as read, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        assert member in read.namelist()
        for one in read.namelist():
            made.writestr(one, change(read.read(one)) if one == member else read.read(one))
    return out.getvalue()


SHEET, WORDS = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"
LAUGHS = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
BOMB = f'<!DOCTYPE x [<!ENTITY a0 "ha">{LAUGHS}]>'


@pytest.mark.parametrize("member", [SHEET, WORDS, "xl/workbook.xml", "[Content_Types].xml"])
@pytest.mark.parametrize(
    "before", ["", f"<!--{'x' * 3000}-->"], ids=["at its head", "behind much else"]
)
@pytest.mark.parametrize("letters", ["utf-8", "utf-16"])
def test_an_xml_bomb_is_refused_wherever_and_however_it_is_written(member, before, letters):
    def with_bomb(data: bytes) -> bytes:
        body = re.sub(rb"<\?xml[^>]*\?>", b"", data).decode()
        # Where words stand, and where an attribute does: both are put together while it is read.
        body = re.sub(r">([^<]+)</(t|v)>", r">&a9;</\2>", body)
        return f'<?xml version="1.0" encoding="{letters}"?>{before}{BOMB}{body}'.encode(letters)

    with pytest.raises(Refusal):
        read, _ = reading_tables.look(bent(member, with_bomb))
        list(reading_tables.rows(bent(member, with_bomb), read))


@pytest.mark.parametrize("row", ["1000000000", str(2**31), "9" * 30, "-5"])
def test_a_row_that_calls_itself_a_thousand_millionth_is_refused(row: str):
    """Those before it would be given out as empty ones, one after another, for an hour."""
    data = bent(SHEET, lambda one: one.replace(b'r="2"', f'r="{row}"'.encode()))
    if row == "-5":
        list(reading_tables.rows(data, reading_tables.Read(sheet="Sheet")))
        return
    with pytest.raises(Refusal, match=r"more than|broken"):
        list(reading_tables.rows(data, reading_tables.Read(sheet="Sheet")))


def test_a_workbook_with_words_without_end_is_refused_before_they_are_read():
    data = bent(WORDS, lambda one: one.replace(
        b"</sst>", b"<si><t/></si>" * (reading_tables.MOST_BESIDE // 13) + b"</sst>"))  # fmt: skip
    assert len(data) < 1 << 20
    with pytest.raises(Refusal, match="far too much"):
        reading_tables.look(data)


@pytest.mark.parametrize("size", [0, 1 << 31])
def test_a_member_that_lies_about_its_size_is_refused(size: int):
    data = bytearray(bent(SHEET, lambda one: one + b" " * 5_000_000))
    at = data.rindex(b"PK\x01\x02", 0, data.rindex(SHEET.encode()))
    data[at + 24 : at + 28] = size.to_bytes(4, "little")
    with pytest.raises(Refusal):
        read, _ = reading_tables.look(bytes(data))
        list(reading_tables.rows(bytes(data), read))


@pytest.mark.parametrize(
    "text",
    ["," * 1_200_000, "name,number\n" + "a," * 1_000_000, "x" * 1_200_000,
     '"' + "x" * 1_200_000, '"a\n",' * 200_000],
    ids=["commas", "million columns", "one word", "one quoted", "one record"],
)  # fmt: skip
def test_a_line_without_end_is_refused_and_never_held_whole(text: str):
    with pytest.raises(Refusal):
        read, _ = reading_tables.look(text.encode())
        list(reading_tables.rows(text.encode(), read))


def test_the_longest_line_that_a_table_may_have_is_read():
    header = ",".join(f"column {n}" for n in range(reading_tables.MOST_COLUMNS))
    line = ",".join(["x" * reading_tables.LONGEST] * reading_tables.MOST_COLUMNS)
    data = f"{header}\n{line}\n".encode()
    read, _ = reading_tables.look(data)
    [row] = reading_tables.below(data, read)
    assert len(row.cells) == reading_tables.MOST_COLUMNS


def png(width: int, height: int) -> bytes:
    """Return a picture that says it has so many pixels, all of one colour."""
    def part(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(
            ">I", zlib.crc32(name + data)
        )

    rows = zlib.compress(b"\0" * 1_000_000, 9) * 10
    return (
        b"\x89PNG\r\n\x1a\n" + part(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
        + part(b"IDAT", rows) + part(b"IEND", b"")
    )  # fmt: skip


@pytest.mark.parametrize("sides", [(50_000, 50_000), (2**31 - 1, 2**31 - 1), (2**31 - 1, 1)])
def test_a_picture_of_too_many_pixels_is_refused_before_it_is_decoded(sides, monkeypatch):
    def decoded(*_):
        raise AssertionError("the picture was decoded")

    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", decoded)
    with pytest.raises(Refusal, match=r"too many pixels|broken"):
        pictures.made_safe(png(*sides))


@pytest.mark.parametrize(
    "inside",
    [f"<?xml version='1.0'?>{BOMB}<svg xmlns='http://www.w3.org/2000/svg'>&a9;</svg>",
     "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'>" + "<g>" * 10_000,
     "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'>" + "<g/>" * 60_000 + "</svg>",
     "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'><path d='" + "M0 0" * 300_000],
    ids=["bomb", "deep", "many", "cut off"],
)  # fmt: skip
def test_a_drawing_that_grows_is_refused(inside: str):
    with pytest.raises(Refusal):
        pictures.made_safe(inside.encode())
