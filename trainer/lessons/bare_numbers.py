"""Numbers that stand without a unit: nobody may be told one.

A number is bare when no word, % or ° follows it. That is right for what has no unit, such as a
factor: `unitless.toml` lists those words, and one of them must stand in the same paragraph, or
in the head of the column, or another head may name the unit in brackets.
"""

import re
import tomllib
from collections.abc import Iterator
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

from .plain import Block

UNITLESS_FILE = "unitless.toml"
_NUMBER = re.compile(r"(?<![\w.,/“\"(-])\d(?:[\d,]*\d)?(?:\.\d+)?(?![\w”\"-]|[.,]\d)")
# "3, 5 or 10 minutes" has a unit, "of 25 and" has none.
_UNIT_BEHIND = re.compile(
    r"(?:,?[\s  ]*(?:or|and|to|o|y|a)?[\s  ]*\d[\d,.]*\d?)*[\s  ]*"
    r"(?!(?:and|or|to|by|is|are|in|at|y|o|a|por|es|en)\b)[%°µA-Za-zÀ-ÖØ-öø-ÿ]"
)
_CITED = re.compile(
    r"(CFR|NIOSH|PubMed|NIOSHTIC|OSHA|Table|Tabla|[Cc]hapter|capítulo|[Ss]lide|lámina"
    r"|[Ff]ootnote|nota|steps?|pasos?|[Mm]arch|[Mm]arzo)[\s  ]+$"
)
_SOURCES = ("Source", "Fuente")
_YEAR = re.compile(r"(?:19|20)\d\d")  # our own thousands have a comma
_HEAD_UNIT = re.compile(
    r"\([^)]*[%°µA-Za-z][^)]*\)|%|°|\b(ppm|mg/m³|hours|horas|minutes|minutos)\b", re.IGNORECASE
)


@cache
def unitless(folder: Path) -> dict[str, re.Pattern[str]]:
    """Return by language what finds the words of things that have no unit."""
    path = folder / UNITLESS_FILE
    listed = tomllib.loads(path.read_text(encoding="utf-8")) if path.is_file() else {}
    return {
        language: re.compile(rf"\b({'|'.join(map(re.escape, words))})\b", re.IGNORECASE)
        for language, words in listed.items()
    }


def in_prose(blocks: list[Block], words: re.Pattern[str]) -> Iterator[str]:
    """Give the bare numbers of paragraphs and items, each with a few words around it."""
    for block in blocks:
        # The line of sources is full of numbers of paragraphs and publications.
        if block.tag not in ("th", "td") and not block.text.startswith(_SOURCES):
            yield from _bare(block.text, words)


def in_tables(html: str, words: re.Pattern[str]) -> Iterator[str]:
    """Give the bare numbers of tables, where the head of the column says no unit either."""
    reader = _Tables()
    reader.feed(html)
    for head, cell in reader.cells:
        if not _HEAD_UNIT.search(head) and not words.search(head):
            yield from _bare(cell, words)


def _bare(text: str, words: re.Pattern[str]) -> Iterator[str]:
    if words.search(text):
        return
    for found in _NUMBER.finditer(text):
        cited = _YEAR.fullmatch(found[0]) or _CITED.search(text[: found.start()])
        if cited or _UNIT_BEHIND.match(text, found.end()):
            continue
        yield text[max(0, found.start() - 20) : found.end() + 20].strip()


class _Tables(HTMLParser):
    """Collects each cell of each table with the head of its column."""

    def __init__(self) -> None:
        super().__init__()
        self.cells: list[tuple[str, str]] = []
        self._heads: list[str] = []
        self._column = 0
        self._text: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "table":
            self._heads = []
        if tag == "tr":
            self._column = 0
        if tag in ("th", "td"):
            self._text = ""

    def handle_data(self, data: str) -> None:
        if self._text is not None:
            self._text += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "th":
            self._heads.append(self._text)
        if tag == "td":
            self.cells.append((self._heads[self._column], self._text))
            self._column += 1
        if tag in ("th", "td"):
            self._text = None
