"""Markdown to HTML that a page may show as it is.

Two walls: raw HTML is never read as HTML (it shows as the letters typed), and what Markdown
makes of the rest passes an allow list. Nothing here is kept between calls, because a shared
Markdown object mixes up pages that are rendered at the same time (Python-Markdown/markdown#812).
"""

import re
from typing import Any
from xml.etree.ElementTree import Element

import markdown
import nh3
from markdown.extensions import Extension
from markdown.treeprocessors import Treeprocessor

BOXES = ("must", "talk", "caution")
_TABLE = {"en": "Table", "es": "Tabla"}
# The policy for style forbids `style`, so a column's alignment becomes a class.
_ALIGNMENT = {"right": "number", "center": "mid"}
_BRACKET = re.compile(r"[\[\]]")
_ID = re.compile(r"[a-z][a-z0-9-]*")

_PLAIN = {
    "p", "br", "hr", "em", "strong", "code", "pre", "blockquote", "ul", "li", "dl", "dt", "dd",
    "table", "thead", "tbody", "tr",
}
_HEADINGS = ("h3", "h4", "h5", "h6")
_ALLOWED: dict[str, Any] = {
    "tags": {*_PLAIN, *_HEADINGS, "ol", "th", "td", "div", "a"},
    "attributes": {
        **{heading: {"id"} for heading in _HEADINGS},
        "a": {"href"},
        "ol": {"start"},
        "div": {"aria-label"},
    },
    "tag_attribute_values": {
        "div": {"role": {"region"}, "tabindex": {"0"}},
        "th": {"scope": {"col"}},
        "em": {"lang": {"en", "es"}},
        "strong": {"lang": {"en", "es"}},
    },
    "allowed_classes": {
        "div": {"admonition", "scroll", *BOXES},
        "p": {"admonition-title"},
        "th": set(_ALIGNMENT.values()),
        "td": set(_ALIGNMENT.values()),
    },
    "url_schemes": {"http", "https", "mailto", "tel"},
}
_LINKS = (
    "reference", "link", "image_link", "image_reference", "short_reference", "short_image_ref",
)
"""What looks for the end of something that a bracket opens."""

LONGEST_NAME, LONGEST_ADDRESS = 300, 500
"""Letters of a link between its brackets (our own choice, no source)."""
DEEPEST_NAME = 5
"""Brackets within the brackets of a link's name."""

_EXTENSIONS = ("tables", "attr_list", "admonition", "def_list", "sane_lists")


def html(text: str, language: str, ids: bool = True) -> str:
    """Return Markdown as safe HTML; headings start at h3, under the section's own title.

    ids  False where the author is not one of ours: no heading can then pass for a part of the page
    """
    made = markdown.markdown(text, extensions=[*_EXTENSIONS, _House(language)])
    return nh3.clean(made, attribute_filter=_keep if ids else _without_ids, **_ALLOWED)


def _keep(tag: str, attribute: str, value: str) -> str | None:
    """Drop an id that is not a plain word: it could shadow a name that a script looks for."""
    if attribute == "id" and not _ID.fullmatch(value):
        return None
    return value


def _without_ids(_tag: str, attribute: str, value: str) -> str | None:
    return None if attribute == "id" else value


class _House(Extension):
    """Our ways on top of Markdown's own."""

    def __init__(self, language: str) -> None:
        super().__init__()
        self.language = language

    def extendMarkdown(self, md: markdown.Markdown) -> None:
        md.preprocessors.deregister("html_block")
        md.inlinePatterns.deregister("html")
        for name in _LINKS:
            _look_no_further(md.inlinePatterns[name])
        # Below 0, so that it runs after every step of Markdown's own on the tree.
        md.treeprocessors.register(_Tree(md, self.language), "house", -1)


def _look_no_further(pattern: Any) -> None:
    """Let a pattern look for the end of a link near by only.

    It would go through all that follows for each bracket, so that ten thousand of them, which
    nobody closes, would keep a page for a minute.
    """
    address_of = pattern.getLink

    def near_text(data: str, index: int) -> tuple[str, int, bool]:
        depth = 1
        for found in _BRACKET.finditer(data, index, index + LONGEST_NAME):
            depth += 1 if found[0] == "[" else -1
            if depth == 0:
                return data[index : found.start()], found.end(), True
            if depth > DEEPEST_NAME:
                break
        return "", index, False

    def near_address(data: str, index: int) -> tuple[str, str | None, int, bool]:
        end = index + LONGEST_ADDRESS
        if not data.startswith("(", index) or data.find(")", index, end) < 0:
            return "", None, index, False
        return address_of(data[:end], index)

    pattern.getText, pattern.getLink = near_text, near_address


class _Tree(Treeprocessor):
    """Lower the headings, turn alignment into classes, let wide tables scroll."""

    def __init__(self, md: markdown.Markdown, language: str) -> None:
        super().__init__(md)
        self.language = language

    def run(self, root: Element) -> None:
        for element in root.iter():
            if element.tag in ("h1", "h2"):
                element.tag = "h3"
            if element.tag in ("th", "td"):
                _align(element)
        for table in list(root.iter("table")):
            self._scroll(table)

    def _scroll(self, table: Element) -> None:
        """Put the table into a region that a keyboard can reach and a screen reader can name."""
        heads = ["".join(cell.itertext()).strip() for cell in table.iter("th")]
        inner = Element("table", table.attrib)
        inner.extend(list(table))
        inner.tail = "\n"
        table[:] = [inner]
        table.tag = "div"
        table.attrib = {
            "class": "scroll",
            "tabindex": "0",
            "role": "region",
            "aria-label": f"{_TABLE[self.language]}: {', '.join(filter(None, heads))}",
        }


def _align(cell: Element) -> None:
    """Take the alignment out of the style of a table cell and into a class."""
    side = cell.attrib.pop("style", "").removeprefix("text-align:").strip(" ;")
    if side in _ALIGNMENT:
        cell.set("class", _ALIGNMENT[side])
    if cell.tag == "th":
        cell.set("scope", "col")
