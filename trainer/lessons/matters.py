"""What only a worksite can tell its people, and the text that its lesson starts from."""

import tomllib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cache

from trainer import config
from trainer.words import Words, words

from .source import Chunk, SourceSection
from .written import open_places, read

WORKSITE_ELEMENT = "(c)(1)(vii)"
"""Training in the hazards of the worksite, 29 CFR 1910.134(c)(1)(vii)."""

HAZARDS = "hazards"
"""The name of what a worksite itself says is in its air."""

WHY = "(k)(1)(i)"
STARTING_TEXT = "starting-text.toml"
_WRITE = Words("write", "escribir")
_MUST = Words('!!! must "Must know"', '!!! must "Debe saber"')


@dataclass(frozen=True)
class Matter:
    """One matter of 29 CFR 1910.134(k)(1) as a section of a worksite's lesson.

    shows  names of what the worksite itself says, such as "hazards"
    write  what is still to be written, a line each
    must   what the must-know box is to say; None: it has none
    """

    id: str
    element: str
    source: str
    title: Words
    shows: tuple[str, ...]
    write: tuple[Words, ...]
    must: Words | None


@cache
def matters() -> tuple[Matter, ...]:
    """Return the matters in the order of the rule."""
    text = (config.content_folder("lessons") / STARTING_TEXT).read_text(encoding="utf-8")
    return tuple(
        Matter(
            id=one["id"],
            element=one["element"],
            source=one["source"],
            title=words(one["title"]),
            shows=tuple(one["shows"]),
            write=tuple(words(line) for line in one["write"]),
            must=words(one["must"]) if "must" in one else None,
        )
        for one in tomllib.loads(text)["matter"]
    )


def starting_text(language: str) -> str:
    """Return the text that a worksite's lesson starts from."""
    return "\n".join(_section(one, language) for one in matters())


def covered(markdown: str) -> dict[str, str]:
    """Return by matter how far a text is with it: done, begun (still to write), or todo."""
    sections = {section.id: section for section in read(markdown)}
    return {
        one.id: "todo" if one.id not in sections
        else "begun" if _open(sections[one.id].chunks) else "done"
        for one in matters()
    }  # fmt: skip


def elements(markdown: str, empty: Collection[str]) -> tuple[str, ...]:
    """Return the elements that a text covers: those of the matters that it says something about.

    The hazards of the worksite are one, (c)(1)(vii), wherever they stand.
    empty   names of what the worksite has nothing to say about yet
    """
    sections = {section.id: section for section in read(markdown)}
    found = [
        one.element
        for one in matters()
        if one.id in sections and _says_something(sections[one.id], empty)
    ]
    hazards = HAZARDS not in empty and any(HAZARDS in one.names("site") for one in read(markdown))
    return tuple([*found, WORKSITE_ELEMENT] if hazards or WHY in found else found)


def _says_something(section: SourceSection, empty: Collection[str]) -> bool:
    return any(
        chunk.text not in empty if chunk.kind == "site" else chunk.kind in ("html", "picture")
        for chunk in section.chunks
    )


def _open(chunks: Iterable[Chunk]) -> bool:
    return not chunks or any(
        chunk.kind == "write" or (chunk.kind == "html" and open_places(chunk.text))
        for chunk in chunks
    )


def _section(matter: Matter, language: str) -> str:
    lines = [f"## {matter.title(language)} {{#{matter.id}}}", ""]
    for name in matter.shows:
        lines += [f"[[site {name}]]", ""]
    for line in matter.write:
        lines += [_to_write(line, language), ""]
    if matter.must:
        lines += [_MUST(language), f"    {_to_write(matter.must, language)}", ""]
    return "\n".join(lines)


def _to_write(line: Words, language: str) -> str:
    return f"[[{_WRITE(language)} {line(language)}]]"
