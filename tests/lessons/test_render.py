"""Markdown becomes HTML that cannot run anything, with the marks that the style sheet needs."""

import re

import pytest
from bs4 import BeautifulSoup

from trainer.lessons import html, render


def page(text: str, language: str = "en") -> BeautifulSoup:
    return BeautifulSoup(html(text, language), "html.parser")


@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        "a <script>alert(1)</script> b",
        '<img src="x" onerror="alert(1)">',
        "![x](x.png)",
        '![x](x"onerror="alert(1))',
        "<svg><script>alert(1)</script></svg>",
        "<svg/onload=alert(1)>",
        "[x](javascript:alert(1))",
        "[x](JaVaScRiPt:alert(1))",
        "[x](&#106;avascript:alert(1))",
        "[x](data:text/html;base64,PHNjcmlwdD4=)",
        "[x]: javascript:alert(1)\n\n[x]",
        "<javascript:alert(1)>",
        "[x](https://example.org){onclick=alert(1)}",
        "### Head {onmouseover=alert(1) style=color:red}",
        "para\n{: style='position:fixed' class='tag-board' }",
        '| a {onclick="x"} |\n|---|\n| b {style="x"} |',
        '| <img src=x onerror=alert(1)> |\n|---|\n| b |',
        '!!! must "<script>alert(1)</script>"\n    <iframe src=x></iframe>',
        '!!! "must evil" "x"\n    text',
        "<style>p{}</style>\n\n<form action=x><input name=pin></form>",
        "<!-- <script> -->",
        "\x02wzxhzdk:0\x03 <b>x</b>",
    ],
)
def test_nothing_that_could_run_or_disguise_comes_out(text: str) -> None:
    shown = page(text)
    # The harmful bits of HTML as OWASP lists them: elements, handlers, style, addresses.
    forbidden = ["script", "img", "svg", "iframe", "style", "form", "input", "object", "base"]
    assert shown.find_all(forbidden) == []
    for element in shown.find_all(True):
        assert [name for name in element.attrs if name.startswith("on") or name == "style"] == []
        assert element.get("href", "https:").startswith("https:")
        assert not {"evil", "tag-board"} & set(element.get("class", []))


def test_raw_html_shows_as_the_letters_typed() -> None:
    assert page("A <b>bold</b> claim: x < 5 ppm.").get_text() == "A <b>bold</b> claim: x < 5 ppm."


def test_headings_begin_below_the_sections_own_title() -> None:
    shown = page("# One\n\n## Two\n\n### Three {#three}\n\nFour\n----")
    assert [one.name for one in shown.find_all(["h1", "h2", "h3"])] == ["h3"] * 4
    assert shown.find(id="three").name == "h3"


def test_an_id_that_is_no_plain_word_is_dropped() -> None:
    assert page("### Head {#Object.prototype}").h3.attrs == {}


@pytest.mark.parametrize("kind", ["must", "talk", "caution"])
def test_a_box_keeps_its_kind_and_title(kind: str) -> None:
    shown = page(f'!!! {kind} "Debe saber"\n    No entre.\n\n    - Pregunte.')
    (box,) = shown.select(f"div.admonition.{kind}")
    assert box.select_one("p.admonition-title").get_text() == "Debe saber"
    assert box.li.get_text() == "Pregunte."


def test_a_column_of_numbers_is_marked_by_class_not_style() -> None:
    table = "| Class | Factor | Note |\n|:--|--:|:-:|\n| Half mask | 10 | `a` |"
    shown = page(table)
    marks = [cell.get("class") for cell in shown.find_all("td")]
    assert marks == [None, ["number"], ["mid"]]
    assert [cell["scope"] for cell in shown.find_all("th")] == ["col"] * 3
    assert "style" not in str(shown)


@pytest.mark.parametrize(
    ("language", "name"),
    [("en", 'Table: Class & "kind", APF'), ("es", 'Tabla: Class & "kind", APF')],
)
def test_a_wide_table_scrolls_in_a_named_region(language: str, name: str) -> None:
    shown = page('Before\n\n| **Class** & "kind" | APF |\n|---|---|\n| a | 1 |\n\nAfter', language)
    (region,) = shown.select("div.scroll")
    assert (region["role"], region["tabindex"], region["aria-label"]) == ("region", "0", name)
    assert region.find("table").find("td").get_text() == "a"
    assert shown.get_text().split()[-1] == "After"


def test_links_definitions_numbered_lists_and_languages_are_kept() -> None:
    shown = page("[rule](https://www.osha.gov)\n\nAPF\n:   a number\n\n3. three\n\n*gas*{lang=es}")
    assert shown.a["href"] == "https://www.osha.gov"
    assert (shown.dt.get_text(), shown.dd.get_text()) == ("APF", "a number")
    assert shown.ol["start"] == "3"
    assert shown.em["lang"] == "es"


def test_quotes_and_dashes_stay_as_typed() -> None:
    assert page('"10" -- 20...').get_text() == '"10" -- 20...'


class _Counting:
    """A pattern that counts what it finds."""

    def __init__(self, pattern: re.Pattern) -> None:
        self.pattern, self.found = pattern, 0

    def finditer(self, text: str, *span: int):
        for one in self.pattern.finditer(text, *span):
            self.found += 1
            yield one


@pytest.mark.parametrize("text", ["[", "![", "[a](", "[[a](b ", "[a](x("])
def test_what_is_looked_at_for_brackets_grows_with_the_text_alone(text: str, monkeypatch) -> None:
    counts = []
    for many in (200, 2_000):
        counting = _Counting(render._BRACKET)
        with monkeypatch.context() as patch:
            patch.setattr(render, "_BRACKET", counting)
            page(text * many)
        counts.append(counting.found)
    assert 0 < counts[1] < 12 * counts[0]


def test_a_link_ends_near_by_or_is_none() -> None:
    near, far = "x" * (render.LONGEST_NAME - 2), "x" * (render.LONGEST_NAME + 1)
    assert page(f"[{near}](https://example.org)").a.get_text() == near
    assert page(f"[{far}](https://example.org)").a is None
    address = "https://example.org/" + "y" * render.LONGEST_ADDRESS
    assert page(f"[near]({address})").a is None
    assert page("[a [b] c](https://example.org)").a.get_text() == "a [b] c"
    assert page("[a]\n\n[a]: https://example.org").a["href"] == "https://example.org"
    assert page("[a][b]\n\n[b]: https://example.org").a["href"] == "https://example.org"
