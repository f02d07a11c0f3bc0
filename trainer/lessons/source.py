"""One lesson file as its author wrote it: the head between +++ lines, sections, chunks."""

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .fault import Fault, LessonFault

FILE_NAME = re.compile(r"(?P<order>\d+)-(?P<slug>[a-z0-9]+(?:-[a-z0-9]+)*)\.md")
_SECTION = re.compile(r"##\s+(?P<title>.*?\S)\s*\{#(?P<id>[a-z][a-z0-9-]*)\}\s*")
_INSERT = re.compile(r"\[\[(?P<kind>drawing|exercise) (?P<name>[a-z0-9][a-z0-9-]*)\]\]\s*")
_FENCE = "+++"


@dataclass(frozen=True)
class Chunk:
    """A stretch of a section: kind "html" with Markdown, or "drawing" / "exercise" with a name."""

    kind: str
    text: str
    line: int


@dataclass(frozen=True)
class SourceSection:
    """One section: its id (the same in each language), its title, its chunks in order."""

    id: str
    title: str
    line: int
    chunks: tuple[Chunk, ...]

    def names(self, kind: str) -> list[str]:
        """Return the names of the drawings or exercises shown, in order."""
        return [chunk.text for chunk in self.chunks if chunk.kind == kind]


@dataclass(frozen=True)
class Source:
    """One lesson file in one language."""

    path: Path
    order: int
    slug: str
    title: str
    summary: str
    elements: tuple[str, ...]
    sources: tuple[str, ...]
    sections: tuple[SourceSection, ...]

    def names(self, kind: str) -> list[str]:
        """Return the names of all drawings or exercises shown, in order."""
        return [name for section in self.sections for name in section.names(kind)]


def read_source(path: Path) -> Source:
    """Return the lesson file as written.

    Errors: LessonFault at the first place that cannot be understood.
    """
    named = FILE_NAME.fullmatch(path.name)
    if named is None:
        _refuse(path, 1, "Name the file by number and slug, as 10-seal-checks.md.")
    lines = path.read_text(encoding="utf-8").splitlines()
    head, start = _head(path, lines)
    return Source(
        path=path,
        order=int(named["order"]),
        slug=named["slug"],
        title=_text(path, head, "title"),
        summary=_text(path, head, "summary"),
        elements=_texts(path, head, "elements"),
        sources=_texts(path, head, "sources"),
        sections=_sections(path, lines, start),
    )


def _refuse(path: Path, line: int, sentence: str) -> None:
    raise LessonFault(Fault(path, line, sentence))


def _head(path: Path, lines: list[str]) -> tuple[dict[str, Any], int]:
    """Return the TOML between the two +++ lines, and the index of the line after them."""
    fences = [index for index, line in enumerate(lines) if line.rstrip() == _FENCE][:2]
    if len(fences) < 2 or fences[0] != 0:
        _refuse(path, 1, "Begin the file with a head between two lines of +++.")
    try:
        return tomllib.loads("\n".join(lines[1 : fences[1]])), fences[1] + 1
    except tomllib.TOMLDecodeError as error:
        _refuse(path, 2, f"The head is not TOML: {error}.")


def _text(path: Path, head: dict[str, Any], key: str) -> str:
    value = head.get(key)
    if not isinstance(value, str) or not value.strip():
        _refuse(path, 1, f"The head needs `{key}`, a text.")
    return value.strip()


def _texts(path: Path, head: dict[str, Any], key: str) -> tuple[str, ...]:
    value = head.get(key, [])
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        _refuse(path, 1, f"The head's `{key}` must be a list of texts.")
    return tuple(value)


def _sections(path: Path, lines: list[str], start: int) -> tuple[SourceSection, ...]:
    heads = [index for index in range(start, len(lines)) if re.match(r"##(?!#)", lines[index])]
    for index in range(start, heads[0] if heads else len(lines)):
        if lines[index].strip():
            _refuse(path, index + 1, "Put this into a section: nothing may stand before the first.")
    ends = [*heads[1:], len(lines)]
    found = [_section(path, lines, *span) for span in zip(heads, ends, strict=True)]
    seen: set[str] = set()
    for section in found:
        if section.id in seen:
            _refuse(path, section.line, f"The section id {section.id} is there twice.")
        seen.add(section.id)
    if not found:
        _refuse(path, len(lines) or 1, "The lesson has no section; write one as ## Title {#id}.")
    return tuple(found)


def _section(path: Path, lines: list[str], head: int, end: int) -> SourceSection:
    titled = _SECTION.fullmatch(lines[head])
    if titled is None:
        _refuse(path, head + 1, "Write a section as ## Title {#id}, the id in small letters.")
    chunks = _chunks(lines, head + 1, end)
    return SourceSection(titled["id"], titled["title"], head + 1, chunks)


def _chunks(lines: list[str], start: int, end: int) -> tuple[Chunk, ...]:
    """Cut a section at its drawings and exercises, so that Markdown never sees them."""
    chunks: list[Chunk] = []
    begin = start
    for index in range(start, end):
        inserted = _INSERT.fullmatch(lines[index])
        if inserted:
            chunks += _prose(lines, begin, index)
            chunks.append(Chunk(inserted["kind"], inserted["name"], index + 1))
            begin = index + 1
    return (*chunks, *_prose(lines, begin, end))


def _prose(lines: list[str], start: int, end: int) -> list[Chunk]:
    """Return the lines as one chunk, or none when they are blank."""
    while start < end and not lines[start].strip():
        start += 1
    text = "\n".join(lines[start:end]).rstrip()
    return [Chunk("html", text, start + 1)] if text else []
