"""A worksite's text: read as it stands, told what is wrong with it, composed whatever is gone."""

import re
from collections import Counter

import pytest

from trainer.config import content_folder
from trainer.lessons import flaws, matters, written
from trainer.lessons.drawings import drawing_files
from trainer.lessons.written import Around, Text
from trainer.words import Words

MUST = '!!! must "Must know"\n    No mask, no rolling.\n'
DRAWING = sorted(
    path.stem for path in drawing_files(content_folder("lessons"), "any")[0].parent.glob("*.svg")
)[0]
AROUND = Around(
    exercises={"mixture": Words("A mixture", "Una mezcla")},
    site={"hazards": {"en": "| a |\n|---|\n| b |", "es": "x"}},
    pictures={"7": {"en": "<figure>A valve</figure>"}},
)


def sentences(markdown: str, language: str = "en") -> list[str]:
    """Return what is wrong with a text in one language."""
    found = flaws.of_texts({language: Text("Rolling", "You can.", markdown)}, AROUND)
    return [one.sentence("en") for one in found if one.stops]


def composed(markdown: str, around: Around = AROUND, **about: str):
    """Return the English lesson of a text."""
    return written.compose(
        "site-1", {"en": Text("Rolling", "You can.", markdown)}, around, order=1, elements=(),
        sources={"en": ()}, about=about,
    )  # fmt: skip


def test_a_text_without_a_flaw_has_none() -> None:
    assert sentences(f"## Why {{#why}}\n[[site hazards]]\n\n[[picture 7]]\n\n{MUST}") == []


@pytest.mark.parametrize(
    ("line", "title", "id_"),
    [
        ("## Why", "Why", "part-1"),
        ("##Why {#why}", "Why", "why"),
        ("## Why {#Why}", "Why {#Why}", "part-1"),
        ("## {#why}", "", "why"),
        ("## a {#b} {#c}  ", "a {#b}", "c"),
    ],
)
def test_a_section_has_its_own_id_or_that_of_its_place(line: str, title: str, id_: str) -> None:
    [section] = written.read(f"{line}\ntext")
    assert (section.title, section.id) == (title, id_)


@pytest.mark.parametrize("text", ["", "No heading at all.", "\n\n"])
def test_a_text_without_sections_is_read_and_told_so(text: str) -> None:
    assert [section.title for section in written.read(text)] == ([""] if text.strip() else [])
    assert written.preview(text, "en", AROUND) is not None
    assert any("Begin each section" in sentence for sentence in sentences(text))


@pytest.mark.parametrize("line", [
    "##a" + " " * 50_000 + "b", "[[write" + " " * 50_000, "[[write " * 7_000, "##" * 25_000,
])  # fmt: skip
def test_a_text_made_to_take_for_ever_is_read_at_once(line: str) -> None:
    sections = written.read(f"{line}\ntext")
    assert len(sections) == 1
    assert written.open_places(line) == []


def test_what_is_still_to_be_written_stops_it_also_when_it_goes_over_two_lines() -> None:
    text = f"## Why {{#why}}\nFirst.\n\n[[write What this air\ndoes to a person.]]\n\n{MUST}"
    assert sentences(text) == ["Still to write: What this air does to a person."]
    assert matters.covered(text)["why"] == "begun"
    [found] = [one for one in flaws.of_texts({"en": Text("a", "b", text)}, AROUND) if one.stops]
    assert found.line == 4


@pytest.mark.parametrize(
    "line", ["See [[site hazards]] here.", "[[write it", "    [[picture 7]]", "- [[site hazards]]"]
)
def test_what_would_show_as_typed_stops_it(line: str) -> None:
    [sentence] = sentences(f"## Why\n{line}\n\n{MUST}")
    assert sentence.startswith("This cannot be inserted")


@pytest.mark.parametrize(
    "box", ["", '!!! must "Must know"', '!!! must "Must know"\n\nNot four spaces in.',
            "Write !!! must boxes."]
)  # fmt: skip
def test_an_empty_must_know_box_is_none(box: str) -> None:
    [sentence] = sentences(f"## Why\nText.\n\n{box}\n")
    assert sentence.startswith("Put what everybody must know")


def test_an_exercise_stands_once_in_a_lesson() -> None:
    text = f"## Why\n[[exercise mixture]]\n\n{MUST}\n## Then\n[[exercise mixture]]\n"
    assert sentences(text) == ["The exercise mixture stands in the lesson already."]


def test_what_is_gone_shows_as_a_sentence_and_breaks_nothing() -> None:
    text = "## Why\n[[site hazards]]\n[[exercise mixture]]\n[[picture 7]]\n[[drawing nothing]]\n"
    lesson = composed(text, Around())
    [section] = lesson.sections
    assert section.exercises == ()
    shown = [part.html for part in section.parts("en")]
    assert len(shown) == 4
    assert all("is not there" in html for html in shown)


def test_a_drawing_shown_again_has_other_ids() -> None:
    text = f"## One\n[[drawing {DRAWING}]]\n\n## Two\n[[drawing {DRAWING}]]\n"
    of_lesson = "".join(
        part.html for section in composed(text).sections for part in section.parts("en")
    )
    drawn = Counter()
    of_page = "".join(
        html
        for language in ("en", "es")
        for _, html in written.preview(text, language, AROUND, drawn)
    )
    for html in (of_lesson, of_page):
        ids = re.findall(r'\bid="([^"]+)"', html)
        assert ids
        assert len(ids) == len(set(ids))


def test_a_version_changes_with_a_picture_and_with_what_is_kept_beside() -> None:
    text = "## Why\n[[picture 7]]\n"
    one = composed(text)
    other = Around(pictures={"7": {"en": "<figure>A broken valve</figure>"}})
    assert composed(text).version == one.version
    assert composed(text, other).version != one.version
    assert composed(text, published="2").version != one.version
    assert "<figure>A valve</figure>" in one.files.values()


def test_a_title_in_a_language_that_is_missing_says_so() -> None:
    [section] = composed("## Why\nText").sections
    assert section.title("es") == "Why (en inglés)"
    with pytest.raises(KeyError):
        section.parts("es")


def test_an_element_is_claimed_only_where_the_text_says_something_of_it() -> None:
    text = "## Way out {#emergency}\n[[site emergency]]\n\n## Care {#care}\nEsme cleans them.\n"
    assert matters.elements(text, {"emergency"}) == ("(k)(1)(v)",)
    assert matters.elements(text, ()) == ("(k)(1)(iii)", "(k)(1)(v)")
    hazards = "## The air\n[[site hazards]]\n"
    assert matters.elements(hazards, ()) == ("(c)(1)(vii)",)
    assert matters.elements(hazards, {"hazards"}) == ()
    assert matters.elements("## Why {#why}\nStyrene.\n", ()) == ("(k)(1)(i)", "(c)(1)(vii)")


@pytest.mark.parametrize(
    "text",
    ["[ " * 10_000, "![" * 10_000, "([" * 490 + "x " * 20_000, "- " * 15_000 + "x",
     "> " * 3_000 + "x", "Word\n: What it means.\n" * 600, "### x {#x}\n" * 5_000,
     "===\n" * 5_000, "- \n" * 300, "\\\\```\n" * 300],
)  # fmt: skip
def test_a_tangled_text_shows_as_a_sentence_and_stops_it(text: str) -> None:
    whole = f"## Why\n{text}\n\n[[picture 7]]\n\n{MUST}"
    [sentence] = sentences(whole)
    assert "too tangled" in sentence
    [(_, html)] = written.preview(whole, "en", AROUND)
    assert "too tangled" in html
    assert "No mask, no rolling." in html


def test_a_usual_text_is_not_tangled() -> None:
    rule = f"| a | b |\n|{'-' * 80}|{'-' * 80}|\n| [c](/d) | e |\n\n{'-' * 80}\n\n"
    assert not written.tangled(rule + "- one\n    - two\n        - three\n\n" * 90)
    assert not written.tangled(f"### A part\n{'Some words of it. ' * 33}\n\n" * 99)


def test_a_text_in_which_the_making_gives_up_breaks_no_page(monkeypatch) -> None:
    def give_up(*_, **__):
        raise RecursionError

    monkeypatch.setattr(written.render, "html", give_up)
    assert "too tangled" in written.as_html("text", "en")


def test_a_text_may_be_long_or_cut_into_pieces_but_not_without_end() -> None:
    piece = "[[write why]]\nWords.\n"
    assert not written.too_long(piece * written.MOST_INSERTED)
    assert written.too_long(piece * (written.MOST_INSERTED + 1))
    assert written.too_long("x" * (written.MOST_LETTERS + 1))
