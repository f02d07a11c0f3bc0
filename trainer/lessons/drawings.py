"""Our own drawings: one geometry, the words of each language put in, shown in line.

A drawing comes from our own folder, yet is checked against an allow list all the same, because
it goes into the page as it stands.
"""

import re
import tomllib
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from trainer.config import LANGUAGES

from .fault import Fault, LessonFault
from .plain import numbers_in

ELEMENTS = frozenset({
    "svg", "title", "desc", "g", "path", "line", "polyline", "polygon", "rect", "circle",
    "ellipse", "text", "tspan",
})
ATTRIBUTES = frozenset({
    "class", "id", "d", "x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "rx", "ry", "dx",
    "dy", "points", "width", "height", "transform", "pathLength", "fill-rule", "stroke-width",
    "stroke-linecap", "stroke-linejoin", "stroke-dasharray", "dominant-baseline", "text-anchor",
})
ROOT_ATTRIBUTES = frozenset({"viewBox", "role", "aria-labelledby"})
# Every class that the style sheet gives to drawings.
CLASSES = frozenset({
    "ink", "thin", "air", "leak", "body", "sheet", "fill-ink", "fill-accent", "fill-warn",
    "dots", "say", "small", "end", "mid",
})
ALWAYS = ("title", "description", "caption")
_SVG = "{http://www.w3.org/2000/svg}"
_PLACE = re.compile(r"\{\{\s*([a-z0-9_-]+)\s*\}\}")
# A unit or a rating (ppm, N95) reads the same in both languages; a longer word does not.
_WORD = re.compile(r"[a-záéíóúüñ]{4,}")
_SAME_IN_BOTH = frozenset({"factor"})


@dataclass(frozen=True)
class Drawing:
    """A checked drawing: its tree, without namespaces, and the words of each language."""

    name: str
    root: Element
    words: dict[str, dict[str, str]]

    def figure(self, language: str, nth: int = 1, captioned: bool = True) -> str:
        """Return the drawing in line in a <figure>, ids unlike those of an earlier showing.

        captioned  False where a question asks what the caption would tell
        """
        words = self.words[language]
        root = deepcopy(self.root)
        for element in root.iter():
            element.text = _filled(element.text, words)
            element.tail = _filled(element.tail, words)
        _rename(root, self.name, "" if nth == 1 else f"-{nth}")
        svg = ElementTree.tostring(root, encoding="unicode").strip()
        said = escape(words["caption"], quote=False)
        caption = f"<figcaption>{said}</figcaption>" if captioned else ""
        return f'<figure class="drawing">{svg}{caption}</figure>'


def drawing_files(folder: Path, name: str) -> tuple[Path, Path]:
    """Return where the geometry and the words of a drawing lie."""
    return folder / "drawings" / f"{name}.svg", folder / "drawings" / f"{name}.toml"


def read_drawing(folder: Path, name: str) -> Drawing:
    """Return the drawing of that name.

    Errors: LessonFault when a file is missing or holds what a page must not show.
    """
    found = _looked_at(folder, name)
    if isinstance(found, Drawing):
        return found
    raise LessonFault(found[0])


def drawing_faults(folder: Path, name: str) -> list[Fault]:
    """Return everything that is wrong with a drawing."""
    found = _looked_at(folder, name)
    return [] if isinstance(found, Drawing) else found


def _looked_at(folder: Path, name: str) -> Drawing | list[Fault]:
    """Return a drawing, or everything that is wrong with it."""
    geometry, words = drawing_files(folder, name)
    missing = [path for path in (geometry, words) if not path.is_file()]
    if missing:
        return [Fault(path, 1, f"The drawing {name} has no such file.") for path in missing]
    try:
        root = _tree(geometry)
        given = tomllib.loads(words.read_text(encoding="utf-8"))
    except LessonFault as error:
        return [error.fault]
    except tomllib.TOMLDecodeError as error:
        return [Fault(words, 1, f"The words of the drawing are not TOML: {error}.")]
    shape = [*_shape_faults(root, name), *_root_faults(root, name)]
    lines = geometry.read_text(encoding="utf-8").splitlines()
    faults = [Fault(geometry, _line(lines, needle), sentence) for needle, sentence in shape]
    faults += [Fault(words, 1, sentence) for sentence in _word_faults(root, given)]
    return faults or Drawing(name, root, given)


def _tree(path: Path) -> Element:
    text = path.read_text(encoding="utf-8")
    # An entity could grow without end or fetch a file; a drawing needs neither.
    if "<!DOCTYPE" in text.upper() or "<!ENTITY" in text.upper():
        raise LessonFault(Fault(path, 1, "A drawing has no DOCTYPE and no entities."))
    try:
        # Refused above: all that makes XML unsafe.
        root = ElementTree.fromstring(text)  # noqa: S314  # nosec B314
    except ElementTree.ParseError as error:
        raise LessonFault(Fault(path, error.position[0], f"This is not XML: {error}.")) from None
    for element in root.iter():
        element.tag = element.tag.removeprefix(_SVG)
    return root


def _shape_faults(root: Element, name: str) -> list[tuple[str, str]]:
    """Return pairs of what to look for in the file and the sentence about it."""
    found = []
    for element in root.iter():
        if element.tag not in ELEMENTS:
            tag = element.tag.rpartition("}")[2]
            found.append((f"<{tag}", f"The element <{tag}> may not be in a drawing."))
        allowed = ATTRIBUTES | ROOT_ATTRIBUTES if element is root else ATTRIBUTES
        for attribute, value in element.attrib.items():
            found += _attribute_faults(element.tag, attribute, value, name, allowed)
        found += _literal_faults(element)
    return found


def _attribute_faults(
    tag: str, attribute: str, value: str, name: str, allowed: frozenset[str]
) -> list[tuple[str, str]]:
    short = attribute.rpartition("}")[2]
    # `fill="none"` is geometry (an outline only); any other fill is a colour.
    if attribute not in allowed and (attribute, value) != ("fill", "none"):
        return [(f" {short}=", f"The attribute {short} on <{tag}> may not be in a drawing.")]
    if "url(" in value or "{{" in value:
        return [(value, f"The attribute {short} may refer to nothing: {value}.")]
    if attribute == "class":
        strange = [word for word in value.split() if word not in CLASSES]
        return [(word, f"The class {word} is not in the style sheet.") for word in strange]
    if attribute == "id" and not value.startswith(f"{name}-"):
        return [(f'"{value}"', f"The id {value} must begin with {name}-, to be the only one.")]
    return []


def _literal_faults(element: Element) -> list[tuple[str, str]]:
    texts = [element.text or "", *(child.tail or "" for child in element)]
    return [
        (f">{text.splitlines()[0]}", f"Put the word {word} into the .toml, in both languages.")
        for text in texts
        for word in _WORD.findall(_PLACE.sub("", text))
        if word not in _SAME_IN_BOTH
    ]


def _root_faults(root: Element, name: str) -> list[tuple[str, str]]:
    """Check what a screen reader needs: a picture with a title and a description."""
    found = []
    if root.tag != "svg" or not root.get("viewBox"):
        found.append(("<svg", "The drawing must be an <svg> with a viewBox."))
    if root.get("role") != "img" or root.get("aria-labelledby") != f"{name}-title {name}-desc":
        labels = f'role="img" and aria-labelledby="{name}-title {name}-desc"'
        found.append(("<svg", f"The <svg> needs {labels}."))
    for tag, key in (("title", "title"), ("desc", "description")):
        element = root.find(tag)
        good = element is not None and element.get("id") == f"{name}-{tag}"
        if not good or (element.text or "").strip() != f"{{{{{key}}}}}":
            line = f'<{tag} id="{name}-{tag}">{{{{{key}}}}}</{tag}>'
            found.append(("<svg", f"The drawing needs {line}."))
    return found


def _word_faults(root: Element, given: dict[str, Any]) -> Iterator[str]:
    wanted = {*ALWAYS, *_PLACE.findall("".join(root.itertext()))}
    tables = {language: given.get(language) for language in LANGUAGES}
    for language, words in tables.items():
        if not isinstance(words, dict) or not all(isinstance(one, str) for one in words.values()):
            yield f"The words need a table [{language}], every value a text."
            return
        lacking = sorted(key for key in wanted if not words.get(key, "").strip())
        yield from (f"[{language}] lacks the words for {key}." for key in lacking)
        spare = sorted(set(words) - wanted)
        yield from (f"[{language}] has words for {key}, which is not drawn." for key in spare)
    for key in sorted(wanted):
        numbers = {tuple(sorted(set(numbers_in(words.get(key, ""))))) for words in tables.values()}
        if len(numbers) > 1:
            yield f"The numbers in {key} are not the same in each language."


def _line(lines: list[str], needle: str) -> int:
    """Return the first line that holds the needle, else 1."""
    return next((number for number, line in enumerate(lines, 1) if needle in line), 1)


def _filled(text: str | None, words: dict[str, str]) -> str | None:
    return text and _PLACE.sub(lambda place: words[place[1]], text)


def _rename(root: Element, name: str, suffix: str) -> None:
    for element in root.iter():
        if "id" in element.attrib:
            element.set("id", element.get("id") + suffix)
    root.set("aria-labelledby", f"{name}-title{suffix} {name}-desc{suffix}")
