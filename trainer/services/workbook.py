"""The record as a workbook (XLSX): dates are dates, numbers are numbers, no text is a formula."""

import shutil
import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, date, datetime
from typing import IO, TYPE_CHECKING

from sqlmodel import Session

from trainer.services import errands, exporting, wishes
from trainer.services.columns import DATE, MOMENT, NUMBER, Column, Table
from trainer.services.errands import Made
from trainer.services.exporting import Choice
from trainer.services.wishes import Wish
from trainer.store.engine import Store
from trainer.store.tables import Errand

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

MOST_ROWS = 1_048_576
"""Rows of a sheet, its header with them: ISO/IEC 29500 as spreadsheets keep it."""
MOST_SIGNS = 32_767
"""Signs of a cell."""
FILE_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
WIDTHS = {"name": 24, "lesson": 28, "elements covered": 24, "entry hash": 20, "mode": 18}

Went = Callable[[int], None]
KIND = "workbook"


@errands.does(KIND)
def make(store: Store, errand: Errand, progress: errands.Progress) -> Made:
    """Make the workbook that was asked for."""
    about = errands.about(errand)
    wish = Wish.of_address(about["address"])
    with ExitStack() as unless_made, store.reading() as db:
        file = unless_made.enter_context(tempfile.TemporaryFile())
        choice = wishes.of_errand(db, errand, about)
        steps = exporting.how_many(db, choice)
        # What is made anew is the same, to the day that it says it was made on.
        rows = write(db, choice, file, errand.asked_at, lambda at: progress(at, max(steps, at)))
        unless_made.pop_all()  # it is read on after this function ends
    name = wishes.file_name(wish, date.fromisoformat(about["today"]), "xlsx")
    return Made({"rows": rows}, name, FILE_TYPE, errands.pieces(file))


def write(
    db: Session,
    choice: Choice,
    file: IO[bytes],
    made_at: datetime,
    went: Went = lambda _: None,
    most_rows: int = MOST_ROWS,
) -> int:
    """Write the workbook to a file and return how many entries are in it.

    went        is told from time to time how many entries are written
    most_rows   of a sheet; what is more stands on further ones
    """
    own = exporting.columns_of(choice)
    folder = tempfile.mkdtemp()
    try:
        book = _Book(file, folder, own, made_at, most_rows)
        cells = Table(own).cells
        count = 0
        for entry, said, beside in exporting.facts(db, choice):
            book.row(cells(entry, said, beside))
            count += 1
            if count % 500 == 0:
                went(count)
        book.close()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return count


class _Book:
    """A workbook that is written row by row, each sheet with its header, frozen, and a filter."""

    def __init__(
        self, file: IO[bytes], folder: str, own: tuple[Column, ...], made_at: datetime, most: int
    ) -> None:
        import xlsxwriter  # here: no start waits for it

        self._book = xlsxwriter.Workbook(
            file, {"constant_memory": True, "tmpdir": folder, "strings_to_urls": False}
        )
        self._book.set_properties({"title": "Training record", "created": _bare(made_at)})
        self._bold = self._book.add_format({"bold": True, "bottom": 1})
        day = self._book.add_format({"num_format": "yyyy-mm-dd"})
        moment = self._book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        self._formats = {DATE: day, MOMENT: moment}
        self._day = day
        self._own, self._most = own, most
        self._kinds = [one.type for one in own]
        self._sheets = 0
        self._begin()

    def row(self, cells: list[str]) -> None:
        """Write a row; nothing stands in a cell that is empty."""
        if self._at >= self._most:
            self._end()
            self._begin()
        text, sheet, at = self._text, self._sheet, self._at
        for place, (cell, kind) in enumerate(zip(cells, self._kinds, strict=True)):
            if not cell:
                continue
            if kind == "text":
                text(at, place, cell[:MOST_SIGNS])
            else:
                self._typed(sheet, at, place, cell, kind)
        self._at += 1

    def close(self) -> None:
        """Finish the last sheet and the file."""
        self._end()
        self._book.close()

    def _typed(self, sheet: "Worksheet", at: int, place: int, cell: str, kind: str) -> None:
        if kind == NUMBER:
            value = exporting.typed(cell, kind)
            if isinstance(value, int | float):
                sheet.write_number(at, place, value)
                return
        else:
            try:
                when = datetime.fromisoformat(cell)
                # Of a day alone there is no hour to show.
                form = self._day if len(cell) == 10 else self._formats[kind]
                if when.year >= 1900:
                    sheet.write_datetime(at, place, _bare(when), form)
                    return
            except ValueError:
                pass
        sheet.write_string(at, place, cell[:MOST_SIGNS])

    def _begin(self) -> None:
        self._sheets += 1
        name = "Record" if self._sheets == 1 else f"Record {self._sheets}"
        self._sheet = self._book.add_worksheet(name)
        self._text = self._sheet.write_string
        self._sheet.freeze_panes(1, 0)
        for place, one in enumerate(self._own):
            self._sheet.set_column(place, place, WIDTHS.get(one.name, max(11, len(one.name) + 2)))
            self._sheet.write_string(0, place, one.name, self._bold)
        self._at = 1

    def _end(self) -> None:
        self._sheet.autofilter(0, 0, max(self._at - 1, 1), len(self._own) - 1)


def _bare(when: datetime) -> datetime:
    """Return a moment in UTC without saying so: a workbook knows no zones."""
    return when.astimezone(UTC).replace(tzinfo=None) if when.tzinfo else when

