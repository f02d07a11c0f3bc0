"""The booklet, opened again by another library (pypdf): tagged, whole, the same each time."""

from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from functools import cache
from io import BytesIO
from itertools import pairwise

import pypdfium2
import pytest
from pypdf import PdfReader

from trainer import bank, documents, lessons
from trainer.config import LANGUAGES
from trainer.services import booklet


@pytest.fixture(scope="module", params=LANGUAGES)
def opened(request: pytest.FixtureRequest) -> tuple[str, PdfReader]:
    """Return a language and its booklet, read again."""
    return request.param, PdfReader(BytesIO(booklet.booklet(request.param)))


@cache
def told(language: str) -> str:
    """Return all words of a booklet; read by pdfium, which takes a hundredth of pypdf's time."""
    with closing(pypdfium2.PdfDocument(booklet.booklet(language))) as document:
        pages = [page.get_textpage().get_text_bounded() for page in document]
    return words_of("".join(pages))


def elements(node) -> Iterator:
    """Give every element of a tagged PDF's structure, in reading order."""
    node = node.get_object()
    if "/S" in node:
        yield node
    inner = node.get("/K", [])
    for one in inner if isinstance(inner, list) else [inner]:
        if hasattr(one.get_object(), "get"):
            yield from elements(one)


def words_of(text: str) -> str:
    """Return a text without the blanks and hyphens that setting it may change."""
    return "".join(text.replace("-", "").replace("\u00ad", "").split())


def test_it_says_that_it_is_pdf_ua_and_in_which_language(opened):
    language, reader = opened
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] is True or root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"] == language
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title == booklet.TITLE(language)
    # PDF/UA-1 is told in the metadata. Source: ISO 14289-1, clause 5.
    assert b"pdfuaid:part>1<" in root["/Metadata"].get_object().get_data()


def test_every_picture_has_words_and_every_table_has_heads(opened):
    language, reader = opened
    tags = list(elements(reader.trailer["/Root"]["/StructTreeRoot"]))
    kinds = Counter(str(one["/S"]) for one in tags)
    shown = [part for lesson in lessons.load().all for section in lesson.sections
             for part in section.parts(language) if part.kind == "drawing"]
    pictures = [one for one in tags if one["/S"] == "/Figure"]
    assert len([one for one in pictures if len(str(one.get("/Alt", ""))) > 40]) == len(shown)
    tables = sum(part.html.count("<table") for lesson in lessons.load().all
                 for section in lesson.sections for part in section.parts(language))
    assert kinds["/Table"] == tables + 1  # and the answers
    assert kinds["/TH"] >= 2 * kinds["/Table"]


def test_headings_go_down_a_level_at_a_time(opened):
    _, reader = opened
    kinds = [str(one["/S"]) for one in elements(reader.trailer["/Root"]["/StructTreeRoot"])]
    levels = [int(kind[2:]) for kind in kinds if kind[:2] == "/H" and kind[2:].isdigit()]
    assert levels[0] == 1 and set(levels) <= {1, 2, 3}
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_every_lesson_section_and_must_know_stands_in_it(opened):
    language, _ = opened
    text = told(language)
    for lesson in lessons.load().all:
        assert words_of(lesson.title(language)) in text
        for section in lesson.sections:
            assert words_of(section.title(language)) in text
        assert words_of(lesson.sources(language)[0])[:40] in text
        assert lesson.version in text


def test_each_exercise_is_worked_and_another_is_left_to_do(opened):
    language, _ = opened
    text = told(language)
    named = [name for lesson in lessons.load().all for section in lesson.sections
             for name in section.exercises]
    assert named
    for slug in named:
        problem = bank.draw(bank.load().exercises[slug], booklet.WORKED)
        assert words_of(problem.steps[-1].text(language).replace("**", "")) in text, slug
    assert text.count(words_of(booklet.WORDS["yours"](language))) >= len(named)


def test_fonts_are_ours_and_inside(opened):
    _, reader = opened
    fonts = {font.get_object()["/BaseFont"] for page in reader.pages
             for font in page["/Resources"]["/Font"].values()}
    assert any("AtkinsonHyperlegibleNext" in name for name in fonts)
    assert all("+" in name for name in fonts), "a subset that is inside has a tag and a plus"


def test_it_is_the_same_each_time():
    assert booklet.booklet.__wrapped__("en") == booklet.booklet("en")


def test_marks_of_typst_in_a_text_stay_letters():
    hostile = "#panic(1) $x$ @who *b* `c` <d> \\ // e"
    values = {
        "language": "en", "title": hostile, "about": hostile, "caution": hostile,
        "words": dict.fromkeys(booklet.WORDS, hostile),
        "lessons": [{
            "title": hostile, "summary": hostile, "version": "v", "elements": ["(k)(1)(i)"],
            "sources": [hostile],
            "sections": [{"title": hostile, "parts": [
                {"kind": "html", "nodes": documents.tree("<p>#panic(1) <b>$x$</b></p>")},
            ]}],
        }],
    }  # fmt: skip
    text = "".join(
        page.extract_text() for page in PdfReader(BytesIO(documents.pdf("booklet", values))).pages
    )
    assert text.count("#panic(1)") >= 6
