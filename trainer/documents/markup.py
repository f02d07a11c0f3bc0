"""What the lessons' HTML and drawings become before Typst sets them."""

import re
from functools import cache
from html.parser import HTMLParser
from typing import Any

from trainer import config

Node = str | dict[str, Any]
"""Text, or an element: {"tag": ..., "kind": its classes, "start": of a list, "inner": [...]}."""

_SVG = re.compile(r"<svg\b.*?</svg>", re.DOTALL)
_VIEW = re.compile(r'viewBox="\S+ \S+ (\S+) (\S+)"')
_CAPTION = re.compile(r"<figcaption>(.*?)</figcaption>", re.DOTALL)
_WORDS = re.compile(r"<(title|desc)\b[^>]*>(.*?)</\1>", re.DOTALL)
_RULE = re.compile(r"^svg \.?[a-z-]+ \{[^}]*\}", re.MULTILINE)
_ON_PAPER = re.compile(r"@media print \{\s*:root \{([^}]*)\}")
_COLOUR = re.compile(r"--([a-z-]+):\s*(#[0-9a-f]{3,6})")
_FONT = "Atkinson Hyperlegible Next"


def tree(html: str) -> list[Node]:
    """Return safe HTML as nested nodes; blanks between blocks are dropped."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    return reader.top["inner"]


def drawing(figure: str) -> dict[str, Any]:
    """Return one of our drawings, given in its <figure>, as it is printed.

    Keys: svg (with the colours of paper in it), ratio (height to width), alt (title and
    description), caption (nodes)
    """
    svg = _SVG.search(figure)[0]
    width, height = (float(side) for side in _VIEW.search(svg).groups())
    said = dict(_WORDS.findall(svg))
    caption = _CAPTION.search(figure)
    svg = svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    svg = svg.replace(">", f"><style>{drawing_style()}</style>", 1)
    return {
        "svg": svg,
        "ratio": height / width,
        "alt": " ".join(tree(f"{said['title']}. {said['desc']}")),
        "caption": tree(caption[1]) if caption else [],
    }


@cache
def drawing_style() -> str:
    """Return how drawings look on paper: the page's own rules with the colours of print."""
    static = config.content_folder("static")
    colours = dict(_COLOUR.findall(_ON_PAPER.search((static / "print.css").read_text("utf-8"))[1]))
    rules = "".join(_RULE.findall((static / "lesson.css").read_text("utf-8")))
    rules = re.sub(r"var\(--([a-z-]+)\)", lambda name: colours[name[1]], rules)
    # Variable weights are for the screen; on paper there are two.
    return rules.replace("svg ", "").replace("font-family: inherit", f"font-family: '{_FONT}'") \
        .replace("font-weight: 450", "font-weight: 400")


class _Reader(HTMLParser):
    """Builds the tree; HTML from the renderer is always well nested."""

    def __init__(self) -> None:
        super().__init__()
        self.top: dict[str, Any] = {"tag": "top", "inner": []}
        self._open = [self.top]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        element = {
            "tag": tag,
            "kind": given.get("class") or "",
            "start": int(given.get("start") or 1),
            "to": given.get("href") or "",
            "inner": [],
        }
        self._open[-1]["inner"].append(element)
        if tag not in ("br", "hr"):
            self._open.append(element)

    def handle_endtag(self, tag: str) -> None:
        if tag not in ("br", "hr"):
            self._open.pop()

    def handle_data(self, data: str) -> None:
        text = re.sub(r"\s+", " ", data)
        # Between blocks there are only line ends.
        if text != " " or self._open[-1]["tag"] in _FLOWING:
            self._open[-1]["inner"].append(text)


_FLOWING = frozenset({"p", "li", "th", "td", "dt", "dd", "h3", "h4", "strong", "em", "a"})
