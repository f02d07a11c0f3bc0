"""Tables as people bring them, made in the tests."""

import csv
import io
from collections.abc import Sequence
from datetime import UTC, datetime

from openpyxl import Workbook
from sqlmodel import select

from tests.conftest import Works
from trainer.services import errands, importing
from trainer.store.tables import Errand, ImportRun

ROSTER = ("worker number", "name", "worksite")


def csv_of(header: Sequence[str], *rows: Sequence[str], encoding: str = "utf-8",
           delimiter: str = ",") -> bytes:  # fmt: skip
    """Return a table as CSV."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows([header, *rows])
    return out.getvalue().encode(encoding)


def xlsx_of(header: Sequence[object], *rows: Sequence[object]) -> bytes:
    """Return a table as a workbook."""
    book = Workbook()
    for row in (header, *rows):
        book.active.append(list(row))
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def bring(works: Works, data: bytes, kind: str = "roster", once: str = "", **more) -> ImportRun:
    """Bring a file as Ida and try its lines."""
    seen = importing.prepare(kind, data)
    by = works.scribe("Ida", datetime.now(UTC))
    with works.store.writing() as db:
        run = importing.bring(
            db, by, kind, "people.csv", data, once or f"{datetime.now(UTC)}", seen
        )
        found = importing.matched_of(run)
        given = {"columns": found["columns"], "worksite": 0, "days": found["days"] or "mdy"} | more
        importing.match(db, by, run, **given, language="en")
    errands.run_all(works.store)
    return again(works, run)


def again(works: Works, run: ImportRun) -> ImportRun:
    """Return a run as it is now."""
    with works.store.reading() as db:
        return db.get(ImportRun, run.id)


def do(works: Works, run: ImportRun) -> str:
    """Confirm a run; return "" or the sentence that refuses it."""
    with works.store.writing() as db:
        kept = db.get(ImportRun, run.id)
        seen = importing.foreseen(db, kept)
        importing.ask_do(
            db, works.scribe("Ida", datetime.now(UTC)), kept, seen, f"{datetime.now(UTC)}", "en"
        )
    return _ran(works)


def undo(works: Works, run: ImportRun) -> str:
    """Take a run back; return "" or the sentence that refuses it."""
    with works.store.writing() as db:
        importing.ask_undo(
            db, works.scribe("Ida", datetime.now(UTC)), db.get(ImportRun, run.id), "en"
        )
    return _ran(works)


def _ran(works: Works) -> str:
    errands.run_all(works.store)
    with works.store.reading() as db:
        last = db.exec(select(Errand).order_by(Errand.id.desc())).first()
    said = errands.said(last)
    return said["text"] % said["values"] if last.state == "failed" else ""
