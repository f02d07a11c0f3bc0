"""What only a worksite can tell its people, and the text that its lesson starts from."""

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from trainer import config
from trainer.words import Words, words

from .written import read, to_write

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


def elements(ids: Iterable[str]) -> tuple[str, ...]:
    """Return the elements that sections of these ids cover."""
    there = set(ids)
    return tuple(one.element for one in matters() if one.id in there)


def _open(chunks) -> bool:
    return not chunks or any(
        chunk.kind == "write" or (chunk.kind == "html" and to_write(chunk.text))
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
