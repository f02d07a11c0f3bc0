"""A lesson written in the browser, for one worksite: read as it stands, and composed.

It is Markdown like ours, in one language or in both, cut into sections by `## Title`. What a text
inserts stands alone on a line: `[[exercise SLUG]]`, `[[drawing NAME]]`, `[[picture 12]]`,
`[[site hazards]]` for what the worksite itself says, and `[[write ...]]` or `[[escribir ...]]` for
what is still to be written. Nothing here refuses a text: a draft may be as unfinished as it likes,
and `flaws.py` tells what is to be put right before it is published.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from html import escape

from trainer import config
from trainer.words import Words

from . import render
from .drawings import read_drawing
from .fault import LessonFault
from .read import Head, Lesson, Part, Section
from .source import Chunk, SourceSection
from .version import LENGTH

MOST_LETTERS = 60_000
"""A text longer than some thirty pages is no lesson, and would make a page slow."""

MOST_INSERTED = 200
"""Each thing that a text inserts cuts it, and each piece is made by itself."""

MOST_WAYS = 1_000_000
MOST_LINES, MOST_IN_A_STRETCH = 150, 6_000
MOST_DEFINITIONS = 100

# None of these goes over a stretch of the text more than once, however it is written.
_LISTS_IN_LISTS = re.compile(r"(?:[-*+][ \t]+|>[ \t]?){20}")
_EMPTY_LINE = re.compile(r"\n[ \t]*\n")
_ID = re.compile(r"[a-z][a-z0-9-]*")
_INSERT = re.compile(
    r"\[\[(?P<kind>exercise|drawing|picture|site) (?P<name>[a-z0-9][a-z0-9-]*)\]\]"
)
_OPEN = re.compile(r"\[\[(?:write|escribir)\b(?P<what>[^\]]{0,500})\]\]")


@dataclass(frozen=True)
class Text:
    """What a lesson says in one language."""

    title: str
    summary: str
    markdown: str


@dataclass(frozen=True)
class Around:
    """What a text may insert.

    exercises  slug -> title
    site       name of what the worksite says -> language -> Markdown
    pictures   number -> language -> a safe <figure>; without a language that lacks a description
    """

    exercises: Mapping[str, Words] = field(default_factory=dict)
    site: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    pictures: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


def read(markdown: str) -> tuple[SourceSection, ...]:
    """Return the sections of a text; what stands before the first is one without a title.

    A section without an id of its own is named by its place, `part-1` for the first.
    """
    lines = markdown.splitlines()
    heads = [at for at, line in enumerate(lines) if re.match(r"##(?!#)", line)]
    first = heads[0] if heads else len(lines)
    found = []
    if any(line.strip() for line in lines[:first]):
        found.append(SourceSection("part-0", "", 1, _chunks(lines, 0, first)))
    ends = [*heads, len(lines)][1:]
    for place, (head, end) in enumerate(zip(heads, ends, strict=True), start=1):
        title, id_ = _head(lines[head])
        chunks = _chunks(lines, head + 1, end)
        found.append(SourceSection(id_ or f"part-{place}", title, head + 1, chunks))
    return tuple(found)


def inserted(line: str) -> tuple[str, str] | None:
    """Return the kind and the name of what a line inserts; None where it inserts nothing."""
    found = _INSERT.fullmatch(line.rstrip())
    return (found["kind"], found["name"]) if found else None


def too_long(markdown: str) -> bool:
    """Say whether a text is longer, or cut into more pieces, than a lesson may be."""
    cuts = sum(line.startswith("[[") for line in markdown.splitlines())
    return len(markdown) > MOST_LETTERS or cuts > MOST_INSERTED


def open_places(text: str) -> list[tuple[int, str]]:
    """Return what is still to be written, with the line that it begins on, counted from 1."""
    return [
        (text.count("\n", 0, found.start()) + 1, " ".join(found["what"].split()))
        for found in _OPEN.finditer(text)
    ]


def compose(
    slug: str,
    texts: Mapping[str, Text],
    around: Around,
    *,
    order: int,
    elements: tuple[str, ...],
    sources: Mapping[str, tuple[str, ...]],
    about: Mapping[str, str],
) -> Lesson:
    """Return a lesson of these texts, to be read and sat like one of ours.

    Its version changes with a word of the texts, with a picture that they insert or its
    description, with what the worksite says in them, and with `about`: further files to be kept
    with it, name to text. What they insert and is not there any more shows as a sentence.
    """
    read_ = {language: read(text.markdown) for language, text in texts.items()}
    first = next(iter(read_.values()))
    files = {f"{slug}/{language}.md": _whole(text) for language, text in texts.items()}
    for language, sections in read_.items():
        files |= dict(_inserted_files(slug, language, sections, around))
    parts = {language: _parts(sections, language, around) for language, sections in read_.items()}
    files |= about
    return Lesson(
        slug=slug,
        order=order,
        elements=elements,
        sections=tuple(
            Section(
                id=section.id,
                _titles={language: there[at].title for language, there in read_.items()},
                _parts={language: there[at] for language, there in parts.items()},
            )
            for at, section in enumerate(first)
        ),
        version=_version(files),
        files=files,
        _heads={language: Head(text.title, text.summary, sources[language])
                for language, text in texts.items()},
    )


def preview(
    markdown: str, language: str, around: Around, drawn: Counter[str] | None = None
) -> list[tuple[str, str]]:
    """Return the title and the safe HTML of each section, as a reader would see them.

    An exercise shows as a line that says where it will stand.
    drawn   how often each drawing stands on the page already, which goes on counting: a drawing
            that is shown again gets other ids
    """
    drawn = Counter() if drawn is None else drawn
    return [
        (
            section.title,
            "\n".join(_shown(chunk, language, around, drawn) for chunk in section.chunks),
        )
        for section in read(markdown)
    ]


def as_kept(
    slug: str,
    files: Mapping[str, str],
    language: str,
    exercise: Callable[[str], str] | None = None,
) -> tuple[Text, list[tuple[str, str]]]:
    """Return a text as it was kept with its insertions: itself, and title and HTML of each section.

    files       those that `compose` gave the lesson, whatever was changed since
    exercise    returns the HTML that stands for an exercise by its slug; None: only its name
    Errors: KeyError for a language that it was not written in.
    """
    head, summary, markdown = (*files[f"{slug}/{language}.md"].split("\n\n", 2), "")[:3]
    text = Text(head.removeprefix("# "), summary, markdown)
    sections = [
        (
            section.title,
            "\n".join(
                _kept_chunk(chunk, slug, files, language, exercise) for chunk in section.chunks
            ),
        )
        for section in read(markdown)
    ]
    return text, sections


def _kept_chunk(
    chunk: Chunk,
    slug: str,
    files: Mapping[str, str],
    language: str,
    exercise: Callable[[str], str] | None,
) -> str:
    """Return a chunk as it was shown then."""
    if chunk.kind == "html":
        return as_html(chunk.text, language)
    name = f"{slug}/{chunk.text}.{language}.md"
    if chunk.kind == "site" and name in files:
        return render.html(files[name], language, ids=False)
    shown = files.get(f"{slug}/{chunk.kind}-{chunk.text}.{language}.html")
    if shown is not None:
        return shown
    if chunk.kind == "exercise":
        return exercise(chunk.text) if exercise else exercise_here(chunk.text, language)
    return _note(_MISSING(language))


def exercise_here(title: str, language: str) -> str:
    """Return the line that stands for an exercise where nobody works it."""
    return _note(_EXERCISE_HERE(language).format(title))


def tangled(text: str) -> bool:
    """Say whether the making of Markdown would take seconds, or give up, over a stretch of text.

    Every open bracket is followed to the end, every definition and every list in a list goes a
    step deeper, and after each line the rest is looked through anew as far as the next empty one
    (our own choice of limits, no source).
    """
    definitions = sum(line.startswith(":") for line in text.splitlines())
    return (
        text.count("[") * len(text) > MOST_WAYS
        or any(len(one) > MOST_IN_A_STRETCH or one.count("\n") > MOST_LINES
               for one in _EMPTY_LINE.split(text))
        or definitions > MOST_DEFINITIONS
        or _LISTS_IN_LISTS.search(text) is not None
    )


def as_html(text: str, language: str) -> str:
    """Return what an author wrote as safe HTML, or a sentence where it is tangled."""
    if tangled(text):
        return _note(TANGLED(language))
    try:
        return render.html(text, language, ids=False)
    except RecursionError:
        return _note(TANGLED(language))


def _head(line: str) -> tuple[str, str]:
    """Return the title of a section and its id, "" where it has none of its own."""
    said = line.removeprefix("##").strip()
    title, mark, id_ = said.removesuffix("}").rpartition("{#")
    if said.endswith("}") and mark and _ID.fullmatch(id_):
        return title.rstrip(), id_
    return said, ""


def _chunks(lines: list[str], start: int, end: int) -> tuple[Chunk, ...]:
    """Cut a section at what it inserts, so that Markdown never sees it."""
    chunks: list[Chunk] = []
    prose: list[str] = []
    begun = start

    def close() -> None:
        if any(line.strip() for line in prose):
            chunks.append(Chunk("html", "\n".join(prose).strip("\n").rstrip(), begun + 1))
        prose.clear()

    for at in range(start, end):
        named, open_ = inserted(lines[at]), _OPEN.fullmatch(lines[at].rstrip())
        if named or open_:
            close()
            kind, name = named or ("write", open_["what"].strip())
            chunks.append(Chunk(kind, name, at + 1))
            begun = at + 1
        else:
            prose.append(lines[at])
    close()
    return tuple(chunks)


def _inserted_files(
    slug: str, language: str, sections: tuple[SourceSection, ...], around: Around
) -> Iterator[tuple[str, str]]:
    """Give the files that keep what a text inserts beside the exercises, which are versions."""
    drawn = Counter()
    for section in sections:
        for chunk in section.chunks:
            name = f"{slug}/{chunk.text}.{language}"
            if chunk.kind == "site" and chunk.text in around.site:
                yield f"{name}.md", around.site[chunk.text][language]
            if chunk.kind in ("picture", "drawing"):
                shown = _shown(chunk, language, around, drawn)
                yield f"{slug}/{chunk.kind}-{chunk.text}.{language}.html", shown


def _whole(text: Text) -> str:
    return f"# {text.title}\n\n{text.summary}\n\n{text.markdown}"


def _version(files: Mapping[str, str]) -> str:
    digest = sha256()
    for name in sorted(files):
        content = files[name].replace("\r\n", "\n").encode()
        digest.update(b"%d %s %d\n" % (len(name), name.encode(), len(content)) + content)
    return digest.hexdigest()[:LENGTH]


def _parts(
    sections: tuple[SourceSection, ...], language: str, around: Around
) -> list[tuple[Part, ...]]:
    drawn: Counter[str] = Counter()
    return [
        tuple(_part(chunk, language, around, drawn) for chunk in section.chunks)
        for section in sections
    ]


def _part(chunk: Chunk, language: str, around: Around, drawn: Counter[str]) -> Part:
    if chunk.kind == "exercise" and chunk.text in around.exercises:
        return Part("exercise", "", chunk.text)
    kind = chunk.kind if chunk.kind in ("drawing", "picture") else "html"
    shown = _shown(chunk, language, around, drawn)
    return Part(kind, shown, chunk.text if kind != "html" else "")


def _shown(chunk: Chunk, language: str, around: Around, drawn: Counter[str]) -> str:
    """Return a chunk as safe HTML; what it names and is not there shows as a sentence."""
    match chunk.kind:
        case "html":
            return as_html(chunk.text, language)
        case "site" if chunk.text in around.site:
            return render.html(around.site[chunk.text][language], language, ids=False)
        case "picture" if language in around.pictures.get(chunk.text, {}):
            return around.pictures[chunk.text][language]
        case "drawing":
            drawn[chunk.text] += 1
            try:
                found = read_drawing(config.content_folder("lessons"), chunk.text)
            except LessonFault:
                return _note(_MISSING(language))
            return found.figure(language, drawn[chunk.text])
        case "exercise" if chunk.text in around.exercises:
            title = around.exercises[chunk.text](language)
            return _note(_EXERCISE_HERE(language).format(title))
        case "write":
            return _note(f"{_STILL(language)} {chunk.text}")
    return _note(_MISSING(language))


_EXERCISE_HERE = Words("Here stands the exercise “{}”.", "Aquí va el ejercicio «{}».")
_STILL = Words("Still to write:", "Falta escribir:")
TANGLED = Words(
    "This part is too tangled to be shown: too many brackets, definitions or lists in lists, or "
    "too much without an empty line.",
    "Esta parte está demasiado enredada para mostrarse: demasiados corchetes, definiciones o "
    "listas dentro de listas, o demasiado sin una línea vacía.",
)
_MISSING = Words(
    "What is inserted here is not there, or has no description in this language.",
    "Lo que se inserta aquí no existe, o no tiene descripción en este idioma.",
)


def _note(sentence: str) -> str:
    return f'<p class="to-write">{escape(sentence)}</p>'
