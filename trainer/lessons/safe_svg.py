"""A drawing that somebody brings (SVG), built again from an allow list.

It is shown as a picture of its own and never put into a page, so it may have colours; what could
run, fetch, refer elsewhere or grow without end is refused by name, so that its author can take
it out. What only a drawing program reads (its own elements, attributes, comments) is left out.

The XML is read with the standard library's expat. Every danger that is XML's own begins with a
DOCTYPE, which is refused here as soon as it begins; depth and number are counted while reading.
"""

import re
from collections.abc import Iterator
from math import isfinite
from xml.etree import ElementTree
from xml.etree.ElementTree import Element
from xml.parsers import expat

from .fault import PictureFault

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
XHTML = "http://www.w3.org/1999/xhtml"
DEEPEST = 40
MOST_ELEMENTS = 20_000

# Drawn once for every place that refers to them.
DRAWN_OFTEN = frozenset({"marker", "clipPath"})
MOST_OFTEN = 50

GRADIENTS = frozenset({"linearGradient", "radialGradient"})
ELEMENTS = GRADIENTS | {
    "svg", "g", "defs", "title", "desc", "path", "line", "polyline", "polygon", "rect", "circle",
    "ellipse", "text", "tspan", "stop", "clipPath", "marker",
}  # fmt: skip
WITH_WORDS = frozenset({"title", "desc", "text", "tspan"})
# Read by drawing programs only; left out with all that is in them.
LEFT_OUT = frozenset({"metadata"})

# How a thing is painted: written as attributes of their own, or in a style attribute.
PAINT = frozenset({
    "fill", "fill-opacity", "fill-rule", "stroke", "stroke-width", "stroke-opacity",
    "stroke-linecap", "stroke-linejoin", "stroke-miterlimit", "stroke-dasharray",
    "stroke-dashoffset", "opacity", "color", "display", "visibility", "vector-effect",
    "paint-order", "stop-color", "stop-opacity", "clip-path", "clip-rule", "marker-start",
    "marker-mid", "marker-end", "font-family", "font-size", "font-style", "font-weight",
    "font-stretch", "text-anchor", "text-decoration", "letter-spacing", "word-spacing",
    "dominant-baseline", "alignment-baseline", "baseline-shift",
})  # fmt: skip
SHAPE = frozenset({
    "id", "d", "x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "rx", "ry", "dx", "dy", "fx",
    "fy", "fr", "points", "width", "height", "transform", "pathLength", "rotate", "textLength",
    "lengthAdjust", "viewBox", "preserveAspectRatio", "offset", "gradientUnits",
    "gradientTransform", "spreadMethod", "clipPathUnits", "markerUnits", "markerWidth",
    "markerHeight", "refX", "refY", "orient",
})  # fmt: skip
ATTRIBUTES = PAINT | SHAPE
REFERRING = frozenset({"fill", "stroke", "clip-path", "marker-start", "marker-mid", "marker-end"})

# Letters, numbers and the signs of lists: no colon, slash or backslash, so no address.
_VALUE = re.compile(r"[\w\s#.,%()+'\"-]*")
_FUNCTION = re.compile(r"([\w-]*)\s*\(")
_FUNCTIONS = frozenset({
    "rgb", "rgba", "hsl", "hsla", "matrix", "translate", "scale", "rotate", "skewX", "skewY",
})  # fmt: skip
_SVG_TAG = re.compile(rb"<(?:[\w.-]+:)?svg[\s/>]")
_ID = re.compile(r"[A-Za-z_][\w.-]*")
_OWN_ID = re.compile(r"#[A-Za-z_][\w.-]*")
_REFERENCE = re.compile(r"url\(\s*(['\"]?)(#[A-Za-z_][\w.-]*)\1\s*\)(\s+(?:#?\w+))?")
_LENGTH = re.compile(r"\s*([0-9]*\.?[0-9]+(?:e[+-]?[0-9]+)?)\s*([a-z]*)\s*", re.I)
# Source: CSS Values and Units Level 4, absolute lengths; em and % are no size of a file.
_PIXELS = {
    "": 1.0, "px": 1.0, "pt": 96 / 72, "pc": 16.0, "in": 96.0, "cm": 96 / 2.54, "mm": 96 / 25.4,
}  # fmt: skip


def looks_like_one(data: bytes) -> bool:
    """Say whether the bytes begin as XML does, and hold the tag of a drawing."""
    begins = data.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"<"
    return begins and _SVG_TAG.search(data) is not None


def made_anew(data: bytes, longest: int) -> tuple[int, int, bytes]:
    """Return width and height in pixels and the bytes of a drawing, built again.

    longest     the longest side that it is shown with, in pixels
    Errors: PictureFault for what is no SVG, is too deep or too long, or holds what is refused.
    """
    root = _Reader().read(data)
    width, height = _size(root)
    scale = min(1.0, longest / max(width, height))
    shown = max(1, round(width * scale)), max(1, round(height * scale))
    if "viewBox" not in root.attrib:
        root.set("viewBox", f"0 0 {width:g} {height:g}")
    for name in ("x", "y", "transform"):
        root.attrib.pop(name, None)
    root.set("width", str(shown[0]))
    root.set("height", str(shown[1]))
    root.set("xmlns", SVG)
    return *shown, ElementTree.tostring(root, encoding="utf-8")


class _Reader:
    """Reads XML and builds of it only what a drawing may hold."""

    def __init__(self) -> None:
        self.root: Element | None = None
        self._open: list[Element] = []
        self._count = 0
        self._depth = 0
        self._skipped_from: int | None = None  # the depth of an element that is left out

    def read(self, data: bytes) -> Element:
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = _refuse_doctype
        parser.EntityDeclHandler = _refuse_doctype
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._words
        try:
            parser.Parse(data, True)
        except PictureFault:
            raise
        except (expat.ExpatError, ValueError, LookupError) as error:
            raise PictureFault("broken") from error
        return self.root

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        self._count += 1
        self._depth += 1
        if self._count > MOST_ELEMENTS or self._depth > DEEPEST:
            raise PictureFault("parts")
        if self._skipped_from is not None:
            return
        space, _, name = tag.rpartition(" ")
        if self.root is None and (space not in ("", SVG) or name != "svg"):
            raise PictureFault("kind")
        if space not in ("", SVG, XHTML, XLINK) or name in LEFT_OUT:
            self._skipped_from = self._depth
            return
        if space in (XHTML, XLINK) or name not in ELEMENTS:
            raise PictureFault("element", f"<{name[:40]}>")
        for one in self._open:
            if one.tag in DRAWN_OFTEN and sum(1 for _ in one.iter()) > MOST_OFTEN:
                raise PictureFault("parts")
        element = Element(name, dict(self._kept(name, attributes)))
        if self._open:
            self._open[-1].append(element)
        else:
            self.root = element
        self._open.append(element)

    def _end(self, _: str) -> None:
        if self._skipped_from is None:
            self._open.pop()
        elif self._skipped_from == self._depth:
            self._skipped_from = None
        self._depth -= 1

    def _words(self, text: str) -> None:
        if self._skipped_from is not None or self._open[-1].tag not in WITH_WORDS:
            return
        element = self._open[-1]
        if len(element):
            element[-1].tail = (element[-1].tail or "") + text
        else:
            element.text = (element.text or "") + text

    def _kept(self, tag: str, attributes: dict[str, str]) -> Iterator[tuple[str, str]]:
        """Give the attributes that stay; a style attribute is taken apart into them."""
        for full, value in attributes.items():
            space, _, name = full.rpartition(" ")
            if name.lower().startswith("on"):
                raise PictureFault("attribute", name[:40])
            if name == "href":
                if tag not in GRADIENTS or not _OWN_ID.fullmatch(value):
                    raise PictureFault("attribute", f"{name}={value[:40]}")
                yield "href", value
            elif not space and name == "style":
                yield from self._kept_of_style(tag, value)
            elif not space and name in ATTRIBUTES:
                yield name, self._checked(tag, name, value)

    def _kept_of_style(self, tag: str, style: str) -> Iterator[tuple[str, str]]:
        for line in style.split(";"):
            name, _, value = line.partition(":")
            name, value = name.strip(), value.replace("!important", "").strip()
            if name in PAINT:
                yield name, self._checked(tag, name, value)
            elif "(" in value or "\\" in value or "@" in line:
                raise PictureFault("attribute", f"style={line.strip()[:40]}")

    def _checked(self, tag: str, name: str, value: str) -> str:
        refused = PictureFault("attribute", f"{name}={value[:40]}")
        if name == "id":
            if not _ID.fullmatch(value):
                raise refused
            return value
        if name in REFERRING and (found := _REFERENCE.fullmatch(value.strip())):
            # A marker in a marker, or a clip in a clip, would be drawn times without end.
            inside = {tag, *(one.tag for one in self._open)} & DRAWN_OFTEN
            if inside and name not in ("fill", "stroke"):
                raise refused
            return f"url({found[2]}){found[3] or ''}"
        named = all(one in _FUNCTIONS for one in _FUNCTION.findall(value))
        if not _VALUE.fullmatch(value) or not named:
            raise refused
        return value


def _refuse_doctype(*_: object) -> None:
    raise PictureFault("doctype")


def _size(root: Element) -> tuple[float, float]:
    """Return width and height in pixels: as the drawing says, else as its viewBox is."""
    given = [_pixels(root.get(side, "")) for side in ("width", "height")]
    box = [_number(one) for one in re.split(r"[\s,]+", root.get("viewBox", "").strip())]
    drawn = box[2:] if len(box) == 4 and None not in box else [None, None]
    if "viewBox" in root.attrib and not all(drawn):
        raise PictureFault("size")
    sides = given if all(given) else drawn
    if not all(side and isfinite(side) and 0.5 <= side <= 100_000 for side in sides):
        raise PictureFault("size")
    return sides[0], sides[1]


def _pixels(length: str) -> float | None:
    found = _LENGTH.fullmatch(length)
    unit = _PIXELS.get(found[2].lower()) if found else None
    return float(found[1]) * unit if unit else None


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
