"""Drawings carry the words of the language, can be heard, and hold only lines and words."""

from collections.abc import Callable
from pathlib import Path

import pytest
from bs4 import BeautifulSoup

from trainer.lessons import LessonFault, read
from trainer.lessons.drawings import drawing_faults, read_drawing

Edit = Callable[[str, str, str], None]


def figure(folder: Path, language: str, nth: int = 1) -> BeautifulSoup:
    return BeautifulSoup(read_drawing(folder, "air-outside").figure(language, nth), "html.parser")


@pytest.mark.parametrize(
    ("language", "title", "outside"),
    [("en", "Air outside", "Outside"), ("es", "Aire afuera", "Afuera")],
)
def test_one_geometry_says_the_words_of_each_language(
    folder: Path, language: str, title: str, outside: str
) -> None:
    shown = figure(folder, language)
    assert shown.select_one("figure.drawing > svg > title").get_text() == title
    assert shown.find("text").get_text() == outside
    assert shown.find("path")["d"] == "M10 20 H300"
    assert "{{" not in str(shown)


def test_words_are_escaped(folder: Path, edit: Edit) -> None:
    edit("drawings/air-outside.toml", "Outside", "</text><script>alert()</script>")
    text = read_drawing(folder, "air-outside").figure("en")
    assert "<script" not in text
    assert "<figcaption>Air &amp; dust &lt; 5 ppm</figcaption>" in text


@pytest.mark.parametrize("nth", [1, 2])
def test_the_picture_is_named_by_its_title_and_description(folder: Path, nth: int) -> None:
    shown = figure(folder, "en", nth)
    named = [shown.find(id=one).name for one in shown.svg["aria-labelledby"].split()]
    assert (shown.svg["role"], named) == ("img", ["title", "desc"])


def test_a_drawing_shown_twice_has_no_id_twice(folder: Path, edit: Edit) -> None:
    for language in ("en", "es"):
        edit(f"{language}/20-seal-checks.md", "drawing air-inside", "drawing air-outside")
    (lesson,) = read(folder).all
    text = "".join(part.html for one in lesson.sections for part in one.parts("en"))
    ids = [element["id"] for element in BeautifulSoup(text, "html.parser").find_all(id=True)]
    assert len(ids) == 4
    assert len(set(ids)) == 4


AIR = '<path class="air" d="M10 20 H300"/>'


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        (AIR, "<script>x</script>", 4, "element <script>"),
        (AIR, "<style>x</style>", 4, "element <style>"),
        (AIR, '<use href="#x"/>', 4, "element <use>"),
        (AIR, '<a href="x"><text>5</text></a>', 4, "element <a>"),
        (AIR, '<image x="1"/>', 4, "element <image>"),
        (AIR, "<foreignObject/>", 4, "element <foreignObject>"),
        (AIR, '<h:p xmlns:h="http://www.w3.org/1999/xhtml"/>', 1, "element <p>"),
        (AIR, '<path style="fill:red" d="M1 1"/>', 4, "attribute style"),
        (AIR, '<path onclick="x" d="M1 1"/>', 4, "attribute onclick"),
        (AIR, '<path fill="red" d="M1 1"/>', 4, "attribute fill"),
        (AIR, '<path transform="url(x)" d="M1 1"/>', 4, "refer to nothing"),
        (AIR, '<path class="air pretty" d="M1 1"/>', 4, "class pretty"),
        (AIR, '<path id="head" d="M1 1"/>', 4, "id head"),
        (AIR, "<text>breathe in</text>", 4, "word breathe"),
        (AIR, "<text>15</text>\n<text>title</text>", 5, "word title"),
        (AIR, "<path>", 6, "not XML"),
        ("<svg ", "<!DOCTYPE svg [<!ENTITY a 'b'>]><svg ", 1, "DOCTYPE"),
        ("{{title}}", "", 1, "needs <title"),
        ('<desc id="air-outside-desc">', '<desc id="air-outside-words">', 1, "needs <desc"),
        ('role="img"', 'role="presentation"', 1, 'role="img"'),
        ('viewBox="0 0 360 90"', "", 1, "viewBox"),
    ],
)
def test_what_a_page_must_not_show_is_refused(
    folder: Path, edit: Edit, old: str, new: str, line: int, says: str
) -> None:
    edit("drawings/air-outside.svg", old, new)
    assert [(one.line, True) for one in drawing_faults(folder, "air-outside")
            if says in one.sentence] == [(line, True)]
    with pytest.raises(LessonFault):
        read(folder)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('outside = "Afuera"\n', "", "[es] lacks the words for outside"),
        ('caption = "Air & dust < 5 ppm"\n', "", "[en] lacks the words for caption"),
        ('description = "Una flecha va a la derecha."', 'description = " "', "[es] lacks"),
        ("[es]\n", '[es]\nleak = "fuga"\n', "leak, which is not drawn"),
        ("polvo < 5 ppm", "polvo < 50 ppm", "numbers in caption"),
        ("[es]", "[fr]", "need a table [es]"),
        ("[en]", "en = ", "not TOML"),
    ],
)
def test_words_that_are_missing_or_differ_are_told(
    folder: Path, edit: Edit, old: str, new: str, says: str
) -> None:
    edit("drawings/air-outside.toml", old, new)
    assert any(says in fault.sentence for fault in drawing_faults(folder, "air-outside"))


def test_geometry_without_fill_and_ratings_as_words_are_allowed(folder: Path, edit: Edit) -> None:
    edit("drawings/air-outside.svg", AIR, '<path fill="none" d="M1 1"/><text>N95, factor 10</text>')
    assert drawing_faults(folder, "air-outside") == []
