"""The words of rendered HTML, without its marks: for counting and for measuring how it reads."""

import re
from dataclasses import dataclass
from html.parser import HTMLParser

from .render import BOXES

_WORD = re.compile(r"\w[^\s()]*")
_NUMBER = re.compile(r"\d(?:[\d,]*\d)?(?:\.\d+)?")
_BLOCKS = frozenset({"p", "li", "dt", "dd", "h3", "h4", "h5", "h6", "th", "td", "pre"})


@dataclass(frozen=True)
class Block:
    """One paragraph, item or cell.

    box    kind of the box that it stands in, "" outside
    tag    of the innermost block, such as "p", "li", "h3" or "td"
    title  true for the title of a box
    """

    text: str
    box: str
    tag: str
    title: bool


def blocks(html: str) -> list[Block]:
    """Return the blocks of rendered HTML, in order."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    reader.end_block()
    return reader.blocks


def words(html: str) -> int:
    """Return how many words there are to read."""
    return sum(len(_WORD.findall(block.text)) for block in blocks(html))


def numbers_in(text: str) -> list[str]:
    """Return the numbers in a text as they are written, as "1,000" or "2.5"."""
    return _NUMBER.findall(text)


class _Reader(HTMLParser):
    """Collects blocks; HTML from the renderer is always well nested."""

    def __init__(self) -> None:
        super().__init__()
        self.blocks: list[Block] = []
        self._text = ""
        self._open: list[tuple[str, list[str]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("br", "hr"):
            self._text += " "
            return
        if tag in _BLOCKS:
            self.end_block()
        self._open.append((tag, (dict(attrs).get("class") or "").split()))

    def handle_endtag(self, tag: str) -> None:
        if tag in _BLOCKS:
            self.end_block()
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        self._text += data

    def end_block(self) -> None:
        """Keep the text since the last block, if there is any."""
        text, self._text = " ".join(self._text.split()), ""
        if not text:
            return
        marks = [mark for _, marks in self._open for mark in marks]
        box = next((mark for mark in marks if mark in BOXES), "")
        tags = [tag for tag, _ in self._open if tag in _BLOCKS]
        tag = tags[-1] if tags else "p"
        self.blocks.append(Block(text, box, tag, "admonition-title" in marks))
