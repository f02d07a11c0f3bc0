"""Letters of any kind: whatever somebody typed is set, and nothing stops a page."""

import unicodedata
from io import BytesIO

from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from trainer import documents

PAPER = {
    "language": "en", "title": "A paper", "running": "", "foot": "", "about": [], "wide": False,
    "page": "Page",
}  # fmt: skip


def set_(text: str) -> str:
    """Return what stands on a page that says a text in every kind of block."""
    blocks = [
        {"kind": "text", "text": text}, {"kind": "heading", "level": 1, "text": text},
        {"kind": "facts", "rows": [[text, text]]}, {"kind": "list", "items": [text]},
        {"kind": "caution", "title": text, "text": text},
        {"kind": "links", "before": text, "links": [["a.pdf", text, text]]},
        {"kind": "table", "heads": [text], "rows": [[text]], "widths": [1], "sides": ["l"],
         "tongue": "es"},
    ]  # fmt: skip
    values = documents.printable(PAPER | {"title": f"x {text}", "blocks": blocks})
    pages = PdfReader(BytesIO(documents.pdf("papers", values))).pages
    return "".join(page.extract_text() for page in pages)


def test_every_letter_that_is_let_through_is_in_our_type():
    kept = "".join(
        chr(code) for code in range(0x20, 0x3000)
        if unicodedata.category(chr(code)) not in ("Cn", "Cs")
        and documents.printable(chr(code)) == chr(code)
    )  # fmt: skip
    assert len(kept) > 500
    set_(kept)  # PDF/UA-1 refuses an empty glyph


@settings(max_examples=40)
@given(st.text(min_size=1, max_size=60).filter(str.strip))
def test_whatever_was_typed_is_set(text: str):
    set_(text)


def test_a_letter_that_is_lacking_shows_and_a_hidden_one_is_gone():
    assert documents.printable("Ana 🙂 \u202eabc e\u0301") == "Ana □ abc é"
    assert documents.printable(["a\x00b", {"k": "ß"}, 3]) == ["a b", {"k": "ß"}, 3]
    assert "□" in set_("🙂")


def test_marks_of_typst_stay_letters():
    assert set_("#panic(1) $x$ *b* `c` @who").count("#panic(1)") >= 6
