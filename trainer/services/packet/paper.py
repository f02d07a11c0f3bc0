"""A paper of the packet: blocks of plain values, set by `documents/papers.typ`."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from trainer import documents
from trainer.words import Words

PAGE = Words("Page", "Página")
Block = dict


@dataclass
class Paper:
    """One PDF as it is put together.

    running  what stands at the head of each page: whose, of which days
    foot     what it is as of
    wide     is the page turned, for tables of many columns?
    """

    language: str
    title: str
    running: str
    foot: str
    about: list[str] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    wide: bool = False

    def say(self, words: Words | str, **parts: object) -> "Paper":
        """Add a sentence."""
        self.blocks.append({"kind": "text", "text": self._in(words, parts)})
        return self

    def head(self, words: Words | str, level: int = 1, **parts: object) -> "Paper":
        """Add a heading."""
        self.blocks.append({"kind": "heading", "level": level, "text": self._in(words, parts)})
        return self

    def box(self, title: Words, words: Words | str, kind: str = "note") -> "Paper":
        """Add a note, or a caution, with a bar beside it."""
        block = {"kind": kind, "title": title(self.language), "text": self._in(words, {})}
        self.blocks.append(block)
        return self

    def facts(self, rows: Iterable[tuple[Words | str, str]]) -> "Paper":
        """Add terms and what stands against them; those without a value are left out."""
        said = [[self._in(term, {}), value] for term, value in rows if value]
        if said:
            self.blocks.append({"kind": "facts", "rows": said})
        return self

    def items(self, rows: Iterable[Words | str]) -> "Paper":
        """Add a list."""
        said = [self._in(row, {}) for row in rows]
        if said:
            self.blocks.append({"kind": "list", "items": said})
        return self

    def links(self, rows: Iterable[tuple[str, str, str]], before: str = "") -> "Paper":
        """Add a list of links: address, words, what there is to say of it.

        before  what stands before them in one line; "" for a line each
        """
        said = [list(row) for row in rows]
        if said:
            self.blocks.append({"kind": "links", "links": said, "before": before})
        return self

    def table(
        self,
        heads: Sequence[Words],
        rows: Sequence[Sequence[str]],
        widths: Sequence[int] = (),
        sides: str = "",
        none: Words | None = None,
        tongue: str = "",
    ) -> "Paper":
        """Add a table whose head is repeated on each page; a sentence where it has no rows.

        widths  shares of the width; 0: as wide as what stands in it
        sides   l or r for each column
        tongue  the language of what stands in it, where it is not that of the paper
        """
        if not rows:
            return self.say(none or NOTHING)
        self.blocks.append({
            "kind": "table",
            "tongue": "" if tongue == self.language else tongue,
            "heads": [head(self.language) for head in heads],
            "rows": [list(row) for row in rows],
            "widths": list(widths) or [1] * len(heads),
            "sides": list(sides) or ["l"] * len(heads),
        })  # fmt: skip
        return self

    def pdf(self, made_at: datetime) -> bytes:
        """Return it set."""
        values = documents.printable({
            "language": self.language, "title": self.title, "running": self.running,
            "foot": self.foot, "about": self.about, "blocks": self.blocks, "wide": self.wide,
            "page": PAGE(self.language),
        })  # fmt: skip
        return documents.pdf("papers", _breaking(values), made_at)

    def _in(self, words: Words | str, parts: dict) -> str:
        if isinstance(words, str):
            return words
        return (words.filled(**parts) if parts else words)(self.language)


LINE = 70
"""Letters of a word that fit the width of a page: a hash stays whole, to be copied."""


def _breaking(values: dict) -> dict:
    """Return values whose long words may break: anywhere in a table, elsewhere beyond a line."""
    for block in values["blocks"]:
        if block["kind"] == "table":
            block["rows"] = [[documents.breakable(cell) for cell in row] for row in block["rows"]]
        elif block["kind"] == "facts":
            block["rows"] = [[term, documents.breakable(said, LINE)] for term, said in
                             block["rows"]]
        elif "text" in block:
            block["text"] = documents.breakable(block["text"], LINE)
    values["title"] = documents.breakable(values["title"], 30)
    values["running"] = documents.breakable(values["running"], LINE)
    return values


NOTHING = Words("Nothing in this period.", "Nada en este período.")
