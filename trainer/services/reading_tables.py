"""Reading tables that people bring: CSV in whatever way it was saved, and XLSX.

Nothing here knows what a table is about. Whatever cannot be read is refused with a sentence;
what is read are plain lines of text, each with the number that it has in the file.
"""

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from time import thread_time
from typing import TypeVar
from unicodedata import category

from trainer.services.exporting import FORMULA_STARTS
from trainer.services.refusal import Refusal
from trainer.store.people import plain

MOST_BYTES = 24 * 1024 * 1024
"""Of a file: 100,000 people with all columns have about 15 MB as CSV, and less as XLSX."""
MOST_ROWS = 100_000
MOST_SECONDS = 300.0
"""Of the processor, for one go through a table with what is made of its lines. A workbook of
MOST_ROWS, twelve columns each, took 58 on a slow machine, the same as CSV 3. The time that others
have the processor does not count."""
MOST_COLUMNS = 60
MOST_UNPACKED = 160 * 1024 * 1024
"""Of a workbook, which is a ZIP: what would unpack to more is refused before it is unpacked."""
MOST_BESIDE = 48 * 1024 * 1024
"""Of what a workbook keeps beside its sheets, its words above all: all of it is read at once."""
MOST_MEMBERS = 1_000
LAST_ROW = 1_048_576
"""Of a sheet, as many as programs write, empty ones too; a row of a made-up file may call itself
any number, and those before it come as empty ones, one after another. Of CSV no more either."""
LONGEST_ROW = 256 * 1024
"""Letters of a line of CSV with all its cells: 60 columns of LONGEST letters, many times over."""
LONGEST = 500
"""Letters of a cell that are kept: nothing that is taken has as many."""
LOOKED_AT = 20
"""Lines at the head of a file among which its column names are looked for, and its delimiter."""

TOO_LONG = Refusal("Reading the file takes too long. Split it, and bring each part.")
TOO_LARGE = Refusal("The file is too large: it may have 24 MB. Split it, and bring each part.")
NO_TABLE = Refusal(
    "This is neither a CSV file nor an XLSX workbook. Save the table as one of these, and bring "
    "that."
)
_BROKEN = Refusal("The workbook is broken and cannot be read. Save it anew, and bring that.")
DELIMITERS = (",", ";", "\t", "|")
ENCODINGS = ("utf-8", "windows-1252", "mac-roman", "cp850", "utf-16-le", "utf-16-be")
"""How letters may have been saved; a person may choose another one than was found."""
Item = TypeVar("Item")
_NOTHING = (None,) * (MOST_COLUMNS + 1)
_SHEETS = "xl/worksheets/"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_PICTURES = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"RIFF", b"BM", b"%PDF", b"II*\x00", b"MM\x00*")


@dataclass(frozen=True)
class Line:
    """One line of a table: its number in the file, counted from 1, and its cells as text."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Read:
    """How a file is to be read, worked out from the file or chosen by a person.

    encoding, delimiter   of CSV; empty of a workbook
    sheet                 of a workbook; empty of CSV
    header                the number of the line with the column names
    """

    encoding: str = ""
    delimiter: str = ""
    sheet: str = ""
    header: int = 1

    def freeze(self) -> dict[str, object]:
        """Return it as plain JSON values."""
        return dict(self.__dict__)


def look(data: bytes, known: Sequence[str] = (), encoding: str = "") -> tuple[Read, list[Line]]:
    """Return how to read a file, and its first lines, that of the column names first.

    known       column names, plain, by which the line of them is found; by default the first line
    encoding    one of ENCODINGS where a person chose it
    Errors: Refusal for what is no table, too large, protected, or without column names.
    """
    if len(data) > MOST_BYTES:
        raise Refusal(TOO_LARGE.text)
    if not data.strip():
        raise Refusal("The file is empty.")
    if data.startswith(b"PK"):
        read = Read(sheet=_first_sheet(data))
    else:
        _refuse_others(data)
        encoding = encoding or _encoding(data)
        text = _text(data[: 1 << 20], encoding, whole=len(data) <= 1 << 20)
        read = Read(encoding=encoding, delimiter=_delimiter(text))
    head = list(_first(rows(data, read), 200 + LOOKED_AT))
    if not head:
        raise Refusal("The file is empty.")
    at = _header(head, known)
    if len(head[at].cells) > MOST_COLUMNS:
        raise Refusal("The file has more than %(most)s columns.", most=MOST_COLUMNS)
    return Read(read.encoding, read.delimiter, read.sheet, head[at].number), head[at:]


def rows(data: bytes, read: Read) -> Iterator[Line]:
    """Give the lines of a file that hold anything, those before the column names too.

    Errors: Refusal for more lines than may be, a file that breaks off, or one that takes too long.
    """
    every = _workbook_rows(data, read) if read.sheet else _csv_rows(data, read)
    for count, line in enumerate(_filled(every)):
        if count > MOST_ROWS + LOOKED_AT:
            raise _too_many()
        yield line


def in_time(lines: Iterable[Item]) -> Iterator[Item]:
    """Give the lines one after another, as long as they and what is done with them is in time.

    Errors: Refusal once it takes longer than MOST_SECONDS.
    """
    ends = thread_time() + MOST_SECONDS
    for line in lines:
        if thread_time() > ends:
            raise Refusal(TOO_LONG.text)
        yield line


def _filled(every: Iterable[Line | None]) -> Iterator[Line]:
    """Give the lines that hold anything."""
    for number, line in enumerate(in_time(every), start=1):
        if number > LAST_ROW:
            raise _too_many()
        if line:
            yield line


def _too_many() -> Refusal:
    return Refusal(
        "The file has more than %(most)s lines. Split it, and bring each part.",
        most=f"{MOST_ROWS:,}",
    )


def below(data: bytes, read: Read) -> Iterator[Line]:
    """Give the lines below the column names."""
    return (line for line in rows(data, read) if line.number > read.header)


def clean(text: str) -> str:
    """Return a cell as it was meant: without the quote mark that our own files put before a
    formula, without signs that cannot be seen.

    >>> clean("'=A. Pane"), clean("O'Neil"), clean("'t Hart")
    ('=A. Pane', "O'Neil", "'t Hart")
    """
    if text.startswith("'") and text[1:].startswith(FORMULA_STARTS):
        text = text[1:]
    kept = "".join(sign if sign.isprintable() else " " for sign in text[:LONGEST])
    return kept.strip()


def plain_cell(value: object) -> str:
    """Return a cell of a workbook as text: a whole number without a point, a day as ISO 8601.

    >>> plain_cell(417.0), plain_cell(date(2026, 3, 1)), plain_cell(None), plain_cell(2.5)
    ('417', '2026-03-01', '', '2.5')
    """
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float() if value.is_integer() and abs(value) < 1e15:
            return str(int(value))
        case datetime() if value.time() == time():
            return value.date().isoformat()
        case datetime() | date() | time():
            return value.isoformat()
        case _:
            return str(value)


def _refuse_others(data: bytes) -> None:
    if data.startswith(_OLD_WORKBOOK):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise Refusal(
                "The workbook is protected by a password. Save it without one, and bring that."
            )
        raise Refusal("This is a workbook of the old kind (.xls). Save it as .xlsx or as CSV.")
    if data.startswith(_PICTURES):
        raise Refusal(NO_TABLE.text)


def _encoding(data: bytes) -> str:
    """Return how the letters of a text were saved."""
    for mark, name in ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"),
                       (b"\xfe\xff", "utf-16-be")):  # fmt: skip
        if data.startswith(mark):
            return name
    # Without a mark, every second byte of Latin letters in UTF-16 is zero.
    head = data[:2000]
    if head.count(0) > len(head) // 4:
        even = head[::2].count(0)
        return "utf-16-be" if even > head[1::2].count(0) else "utf-16-le"
    try:
        data.decode("utf-8")
        return "utf-8"
    except UnicodeDecodeError:
        pass
    from charset_normalizer import from_bytes

    best = from_bytes(data[: 1 << 18], cp_isolation=["cp1252", "mac_roman", "cp850"]).best()
    found = {"mac_roman": "mac-roman", "cp850": "cp850"}.get(best.encoding if best else "")
    # Of what was not saved as Unicode, Windows-1252 is by far the most; the others only where
    # it cannot be: some bytes mean nothing in it.
    if found and not _can_be(data, "cp1252"):
        return found
    return "windows-1252"


def _can_be(data: bytes, encoding: str) -> bool:
    try:
        data.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True


def _text(data: bytes, encoding: str, whole: bool = True) -> str:
    strict = "strict" if whole and encoding.startswith("utf") else "replace"
    try:
        text = data.decode(encoding, strict)
    except UnicodeDecodeError:
        raise Refusal(
            "The letters of the file cannot be read. Save it as CSV in UTF-8, and bring that."
        ) from None
    text = text.removeprefix("\ufeff")
    # Signs that no text holds; letters too new for this program to know are letters all the same.
    odd = sum(category(sign) == "Cc" and not sign.isspace() for sign in text[:4000])
    if odd > max(5, len(text[:4000]) // 50):
        raise Refusal(NO_TABLE.text)
    return text


def _delimiter(text: str) -> str:
    """Return what stands between the cells: what splits the first lines into most, and evenly."""
    best, most = ",", 0.0
    for delimiter in DELIMITERS:
        lines = _first(_filled(_parsed(text, delimiter)), LOOKED_AT)
        widths = [len(line.cells) for line in lines]
        if not widths or max(widths) < 2:
            continue
        usual = max(set(widths), key=lambda width: (widths.count(width), width))
        even = widths.count(usual) / len(widths)
        if usual > 1 and even * min(usual, 4) + usual / 100 > most:
            best, most = delimiter, even * min(usual, 4) + usual / 100
    return best


def _csv_rows(data: bytes, read: Read) -> Iterator[Line | None]:
    yield from _parsed(_text(data, read.encoding), read.delimiter)


class _Fed:
    """The lines of a text, as long as those of one record are not too much together."""

    def __init__(self, text: str) -> None:
        self._source = io.StringIO(text, newline="")
        self.letters = 0

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        # However long a line is, no more of it is taken.
        line = self._source.readline(LONGEST_ROW + 1)
        self.letters += len(line)
        if not line:
            raise StopIteration
        if self.letters > LONGEST_ROW:
            raise csv.Error
        return line


def _parsed(text: str, delimiter: str) -> Iterator[Line | None]:
    """Give every line, None for an empty one."""
    fed = _Fed(text)
    reader = csv.reader(fed, delimiter=delimiter)
    begins = 1
    while True:
        fed.letters = 0
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error:
            raise Refusal(
                "The file cannot be read from line %(line)s on: a quotation mark may be missing "
                "there.",
                line=begins,
            ) from None
        yield _line(begins, cells)
        begins = reader.line_num + 1


def _line(number: int, cells: Sequence[str]) -> Line | None:
    kept = [clean(cell) for cell in cells[: MOST_COLUMNS + 1]]
    while kept and not kept[-1]:
        kept.pop()
    return Line(number, tuple(kept)) if kept else None


def _first(lines: Iterator[Line], most: int) -> Iterator[Line]:
    for count, line in enumerate(lines):
        if count >= most:
            return
        yield line


def _check_workbook(data: bytes) -> None:
    """Refuse a ZIP that is no workbook, or that unpacks to more than may be."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
            names = {one.filename for one in members}
            heads = [archive.open(one).read(1024) for one in members[:MOST_MEMBERS]
                     if one.filename.endswith((".xml", ".rels")) and one.file_size]  # fmt: skip
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, ValueError, EOFError):
        raise Refusal(_BROKEN.text) from None
    except Exception:  # what a broken archive makes of its unpacking is of many kinds
        raise Refusal(_BROKEN.text) from None
    if "xl/workbook.xml" not in names:
        raise Refusal(NO_TABLE.text)
    beside = sum(one.file_size for one in members if not one.filename.startswith(_SHEETS))
    whole = sum(one.file_size for one in members)
    if len(members) > MOST_MEMBERS or whole > MOST_UNPACKED or beside > MOST_BESIDE:
        raise Refusal("The workbook unpacks to far too much. Save the one sheet as CSV.")
    if any(b"<!DOCTYPE" in head or b"<!ENTITY" in head for head in heads):
        raise Refusal(
            "The workbook holds instructions that no table needs. Save it anew, and bring that."
        )


def _opened(data: bytes):
    _check_workbook(data)
    import openpyxl  # here: it takes half a second of every start, and few bring a workbook

    try:
        return openpyxl.load_workbook(
            io.BytesIO(data), read_only=True, data_only=True, keep_links=False
        )
    except Exception:  # openpyxl lets through whatever a broken part makes it stumble over
        raise Refusal(_BROKEN.text) from None


def _first_sheet(data: bytes) -> str:
    """Return the name of the first sheet in sight that holds anything."""
    book = _opened(data)
    try:
        for sheet in book.worksheets:
            if sheet.sheet_state == "visible" and any(_sheet_rows(sheet, 50)):
                return sheet.title
    except Exception:
        raise Refusal(_BROKEN.text) from None
    finally:
        book.close()
    raise Refusal("The file is empty.")


def _workbook_rows(data: bytes, read: Read) -> Iterator[Line | None]:
    book = _opened(data)
    try:
        yield from _sheet_rows(book[read.sheet])
    except Exception as fault:
        if isinstance(fault, Refusal | GeneratorExit):
            raise
        raise Refusal(_BROKEN.text) from None
    finally:
        book.close()


def _sheet_rows(sheet, most: int | None = None) -> Iterator[Line | None]:
    """Give every row, None for an empty one."""
    # What a sheet says of its own size need not be so.
    sheet.reset_dimensions()
    given = sheet.iter_rows(
        max_col=MOST_COLUMNS + 1, max_row=most or LAST_ROW + 1, values_only=True
    )
    for number, cells in enumerate(given, start=1):
        empty = cells == _NOTHING
        yield None if empty else _line(number, [plain_cell(cell) for cell in cells])


def _header(head: Sequence[Line], known: Sequence[str]) -> int:
    """Return which of the first lines holds the column names.

    Errors: Refusal where no line looks like that.
    """
    names = set(known)
    for at, line in enumerate(head[:LOOKED_AT]):
        if sum(name_of(cell) in names for cell in line.cells) >= 2:
            return at
    first = [cell for cell in head[0].cells if cell]
    if any(cell.replace("-", "").replace("/", "").replace(".", "").isdigit() for cell in first):
        raise Refusal(
            "The first line of the file must hold the names of its columns, such as worker "
            "number and name."
        )
    return 0


def name_of(cell: str) -> str:
    """Return a column name as it is matched: no accents, no capitals, letters and digits only.

    >>> name_of(" Número de  Trabajador: "), name_of("Employee_No.")
    ('numero de trabajador', 'employee no')
    """
    return " ".join("".join(s if s.isalnum() else " " for s in plain(cell)).split())
