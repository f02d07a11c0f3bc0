"""Files that people bring, bent: read, or refused with a sentence."""

import io
import zipfile
from functools import cache

from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from tests.fuzz import HOSTILE, bounded, examples, mutated
from tests.tables import ROSTER, csv_of, xlsx_of
from trainer.services import importing, pictures, reading_tables
from trainer.services.refusal import Refusal

ROWS = (("00417", "Lee, Marsh", "Laminating Loft"), ("00418", '"Kim"', "Joinery"),
        ("=1+1", "Ñandú", ""))  # fmt: skip
WORKBOOK = xlsx_of(ROSTER, *ROWS)
MEMBERS = tuple(zipfile.ZipFile(io.BytesIO(WORKBOOK)).namelist())
TABLES = [
    csv_of(ROSTER, *ROWS, encoding=encoding, delimiter=delimiter)
    for encoding in ("utf-8", "utf-16", "windows-1252") for delimiter in (",", ";", "\t")
]  # fmt: skip
DRAWING = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9" viewBox="0 0 9 9">'
    b'<title>A</title>'
    b'<g transform="scale(2)" style="fill:red"><path d="M0 0L9 9"/><text x="1">b</text></g></svg>'
)


@cache
def photos() -> list[bytes]:
    """Return a small picture in each kind that is taken."""
    found = []
    for kind, mode in (("PNG", "RGBA"), ("PNG", "P"), ("JPEG", "CMYK"), ("WEBP", "RGB")):
        out = io.BytesIO()
        Image.radial_gradient("L").resize((40, 30)).convert(mode).save(out, kind)
        found.append(out.getvalue())
    return found


def repacked(member: str, data: bytes) -> bytes:
    """Return a workbook that opens as a ZIP, one member of it bent."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(WORKBOOK)) as good, zipfile.ZipFile(out, "w") as made:
        for one in good.namelist():
            made.writestr(one, data if one == member else good.read(one))
    return out.getvalue()


BENT_MEMBERS = st.sampled_from(MEMBERS).flatmap(
    lambda member: mutated([zipfile.ZipFile(io.BytesIO(WORKBOOK)).read(member)]).map(
        lambda data: repacked(member, data)
    )
)
BENT_CELLS = st.lists(st.lists(HOSTILE, max_size=8), max_size=8).map(
    lambda rows: "\n".join(",".join(row) for row in rows).encode("utf-8", "surrogatepass")
)


def brought(data: bytes, kind: str) -> None:
    """Read a file as the pages do; a refusal is a sentence."""
    try:
        importing.prepare(kind, data)
        read, _ = reading_tables.look(data)
        for line in reading_tables.below(data, read):
            assert all("\0" not in cell for cell in line.cells)
    except Refusal as refusal:
        assert str(refusal).endswith(".")


@examples(40)
@given(
    data=st.one_of(mutated(TABLES), mutated([WORKBOOK]), BENT_MEMBERS, BENT_CELLS),
    kind=st.sampled_from(["roster", "training", "fit-tests", "medical"]),
)
def test_a_bent_table_is_read_or_refused(data, kind):
    with bounded(data):
        brought(data, kind)


@examples(30)
@given(st.one_of(mutated([DRAWING]), st.deferred(lambda: mutated(photos()))))
def test_a_bent_picture_is_made_safe_or_refused(data):
    with bounded(data):
        try:
            safe = pictures.made_safe(data)
        except Refusal as refusal:
            assert str(refusal).endswith(".")
        else:
            assert max(safe.width, safe.height) <= 1_600
            assert b"<script" not in safe.data or safe.kind != "svg"
