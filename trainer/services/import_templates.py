"""Empty tables to fill in: a header in the reader's language, and one invented line."""

import csv
import io

from trainer.services import matching_columns
from trainer.services.exporting import harmless
from trainer.words import Words, same

TEXT = "@"
"""The format of a cell that holds text: 00417 keeps its zeros."""
LINES = 2_000
"""So many empty lines of the workbook are cells of text already."""
_EXAMPLE = {
    "number": Words("EXAMPLE-1", "EJEMPLO-1"),
    "name": Words("Example Person (leave this line out)", "Persona de ejemplo (quite esta línea)"),
    "worksites": same("Laminating Loft"),
    "roles": Words("worker", "trabajador"),
    "language": Words("English", "español"),
    "class": same("apr-half"),
    "make": Words("Invented make", "Marca inventada"),
    "model": Words("Invented model", "Modelo inventado"),
    "style": Words("elastomeric", "elastomérico"),
    "size": same("M"),
    "filters": same("P100"),
    "use": Words("required", "obligatorio"),
    "on": same("2026-11-25"),
    "trainer": Words("Example Trainer", "Capacitador de ejemplo"),
    "qualification": Words("Industrial hygienist", "Higienista industrial"),
    "elements": Words("all", "todos"),
    "respirators": same("apr-half"),
    "watched_by": Words("Example Trainer", "Capacitador de ejemplo"),
    "watched_on": same("2026-11-25"),
    "watched_how": Words("in person", "en persona"),
    "protocol": same("saccharin"),
    "passed": Words("passed", "aprobado"),
    "outcome": Words("cleared", "autorizado"),
}
_LEFT_OUT = ("first_name", "last_name")


def header(kind: str, language: str) -> list[str]:
    """Return the column names of a template."""
    return [field.words(language) for field in _fields(kind)]


def example(kind: str, language: str) -> list[str]:
    """Return the invented line of a template, which is refused when it is brought."""
    empty = same("")
    qualified = kind != "roster"  # the worker of the example trains nobody
    return [
        _EXAMPLE.get(field.slug, empty)(language)
        if field.slug != "qualification" or qualified else ""
        for field in _fields(kind)
    ]  # fmt: skip


def as_csv(kind: str, language: str) -> bytes:
    """Return a template as CSV, with the mark that lets a spreadsheet read accents."""
    out = io.StringIO()
    out.write("\ufeff")
    writer = csv.writer(out, lineterminator="\r\n")
    for row in (header(kind, language), example(kind, language)):
        writer.writerow(harmless(cell) for cell in row)
    return out.getvalue().encode()


def as_xlsx(kind: str, language: str) -> bytes:
    """Return a template as a workbook whose cells are text."""
    # Imported here: it takes half a second of every start, and few ask for a template.
    from openpyxl import Workbook
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    book = Workbook()
    sheet = book.active
    sheet.title = kind
    names = header(kind, language)
    for row in (names, example(kind, language)):
        sheet.append(row)
    for at, name in enumerate(names, start=1):
        letter = get_column_letter(at)
        sheet.column_dimensions[letter].width = max(14, len(name) + 2)
        sheet.cell(1, at).font = Font(bold=True)
        for line in range(1, LINES + 1):
            sheet.cell(line, at).number_format = TEXT
    sheet.freeze_panes = "A2"
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def _fields(kind: str) -> list[matching_columns.Field]:
    return [one for one in matching_columns.fields(kind) if one.slug not in _LEFT_OUT]
