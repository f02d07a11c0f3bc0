"""A lesson written in the browser, for one worksite: read as it stands, checked, composed.

It is Markdown like ours, in one language or in both, cut into sections by `## Title`. What a text
inserts stands alone on a line: `[[exercise SLUG]]`, `[[drawing NAME]]`, `[[picture 12]]`,
`[[site hazards]]` for what the worksite itself says, and `[[write ...]]` or `[[escribir ...]]` for
what is still to be written. Nothing here refuses a text: a draft may be as unfinished as it likes,
and `flaws` tells what is to be put right before it is published.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from html import escape
from pathlib import Path

from trainer import config
from trainer.config import LANGUAGES
from trainer.words import Words

from . import bare_numbers, render
from .drawings import read_drawing
from .fault import LessonFault
from .plain import blocks as plain_blocks
from .read import Lesson, Part, Section
from .source import Chunk, Source, SourceSection
from .version import LENGTH

MOST_LETTERS = 60_000
"""A text longer than some thirty pages is no lesson, and would make a page slow."""

_HEAD = re.compile(r"##(?!#)\s*(?P<title>.*?)\s*(?:\{#(?P<id>[a-z][a-z0-9-]*)\}\s*)?")
_INSERT = re.compile(
    r"\[\[(?P<kind>exercise|drawing|picture|site) (?P<name>[a-z0-9][a-z0-9-]*)\]\]\s*"
)
_TO_WRITE = re.compile(r"\[\[(?:write|escribir)\b\s*(?P<what>[^\]]*)\]\]")
_STRANGE = re.compile(r"\[\[.*\]\]\s*")
_MUST = re.compile(r"!!!\s+must\b")


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


@dataclass(frozen=True)
class Flaw:
    """One thing to put right in the text of a language.

    line   of the text, counted from 1; 0 where it is about the whole
    stops  whether it keeps the lesson from being published
    """

    language: str
    line: int
    sentence: Words
    stops: bool = True


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
    for place, (head, end) in enumerate(zip(heads, [*heads[1:], len(lines)], strict=True), start=1):
        said = _HEAD.fullmatch(lines[head])
        chunks = _chunks(lines, head + 1, end)
        found.append(SourceSection(said["id"] or f"part-{place}", said["title"], head + 1, chunks))
    return tuple(found)


def to_write(text: str) -> list[str]:
    """Return what a text says is still to be written."""
    return [found["what"].strip() for found in _TO_WRITE.finditer(text)]


def compose(
    slug: str,
    texts: Mapping[str, Text],
    around: Around,
    *,
    order: int,
    elements: tuple[str, ...],
    sources: Mapping[str, tuple[str, ...]],
) -> Lesson:
    """Return a lesson of these texts, to be read and sat like one of ours.

    Its version changes with a word of the texts, and with what the worksite says in it.
    Errors: LessonFault where the texts have flaws that stop.
    """
    read_ = {language: read(text.markdown) for language, text in texts.items()}
    first = next(iter(read_.values()))
    files = {f"{slug}/{language}.md": _whole(text) for language, text in texts.items()}
    for name in sorted({one.text for sections in read_.values() for one in _of(sections, "site")}):
        for language in texts:
            files[f"{slug}/{name}.{language}.md"] = around.site[name][language]
    sections = tuple(
        Section(
            id=section.id,
            _titles={language: there[at].title for language, there in read_.items()},
            _parts={
                language: tuple(_part(chunk, language, around) for chunk in there[at].chunks)
                for language, there in read_.items()
            },
        )
        for at, section in enumerate(first)
    )
    return Lesson(
        slug=slug,
        order=order,
        elements=elements,
        sections=sections,
        version=_version(files),
        files=files,
        _sources={
            language: Source(
                Path(f"{slug}.{language}.md"), order, slug, text.title, text.summary, elements,
                sources[language], read_[language],
            )
            for language, text in texts.items()
        },
    )  # fmt: skip


def preview(markdown: str, language: str, around: Around) -> list[tuple[str, str]]:
    """Return the title and the safe HTML of each section, as a reader would see them.

    An exercise shows as a line that says where it will stand.
    """
    return [
        (section.title, "\n".join(_shown(chunk, language, around) for chunk in section.chunks))
        for section in read(markdown)
    ]


def flaws(texts: Mapping[str, Text], around: Around) -> list[Flaw]:
    """Return what is wrong with the texts of a lesson, language by language."""
    if not texts:
        return [Flaw("", 0, Words("Nothing is written yet.", "Todavía no hay nada escrito."))]
    found = []
    for language, text in texts.items():
        found += _head_flaws(text, language)
        found += _section_flaws(text, language)
        found += _insert_flaws(text, language, around)
        found += _number_flaws(text, language)
    found += _pair_flaws(texts)
    return found


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
        inserted, open_ = _INSERT.fullmatch(lines[at]), _TO_WRITE.fullmatch(lines[at].rstrip())
        if inserted or open_:
            close()
            kind, name = inserted.groups() if inserted else ("write", open_["what"].strip())
            chunks.append(Chunk(kind, name, at + 1))
            begun = at + 1
        else:
            prose.append(lines[at])
    close()
    return tuple(chunks)


def _of(sections: tuple[SourceSection, ...], kind: str) -> Iterator[Chunk]:
    return (chunk for section in sections for chunk in section.chunks if chunk.kind == kind)


def _whole(text: Text) -> str:
    return f"# {text.title}\n\n{text.summary}\n\n{text.markdown}"


def _version(files: Mapping[str, str]) -> str:
    digest = sha256()
    for name in sorted(files):
        content = files[name].replace("\r\n", "\n").encode()
        digest.update(b"%d %s %d\n" % (len(name), name.encode(), len(content)) + content)
    return digest.hexdigest()[:LENGTH]


def _part(chunk: Chunk, language: str, around: Around) -> Part:
    if chunk.kind == "exercise":
        return Part("exercise", "", chunk.text)
    kind = chunk.kind if chunk.kind in ("drawing", "picture") else "html"
    return Part(kind, _shown(chunk, language, around), chunk.text if kind != "html" else "")


def _shown(chunk: Chunk, language: str, around: Around) -> str:
    """Return a chunk as safe HTML; what it names and is not there shows as a sentence."""
    match chunk.kind:
        case "html":
            return render.html(chunk.text, language, ids=False)
        case "site" if chunk.text in around.site:
            return render.html(around.site[chunk.text][language], language, ids=False)
        case "picture" if language in around.pictures.get(chunk.text, {}):
            return around.pictures[chunk.text][language]
        case "drawing":
            try:
                return read_drawing(config.content_folder("lessons"), chunk.text).figure(language)
            except LessonFault:
                return _note(_MISSING(language))
        case "exercise" if chunk.text in around.exercises:
            title = around.exercises[chunk.text](language)
            return _note(_EXERCISE_HERE(language).format(title))
        case "write":
            return _note(f"{_STILL(language)} {chunk.text}")
    return _note(_MISSING(language))


_NAMED = {"en": Words("English", "inglés"), "es": Words("Spanish", "español")}
_EXERCISE_HERE = Words("Here stands the exercise “{}”.", "Aquí va el ejercicio «{}».")
_STILL = Words("Still to write:", "Falta escribir:")
_MISSING = Words(
    "What is inserted here is not there, or has no description in this language.",
    "Lo que se inserta aquí no existe, o no tiene descripción en este idioma.",
)


def _note(sentence: str) -> str:
    return f'<p class="to-write">{escape(sentence)}</p>'


# What is wrong.


def _head_flaws(text: Text, language: str) -> Iterator[Flaw]:
    if not text.title.strip():
        yield Flaw(language, 0, Words(
            "Give the lesson a title.", "Póngale un título a la lección.",
        ))  # fmt: skip
    if not text.summary.strip():
        yield Flaw(language, 0, Words(
            "Say in one sentence what the reader will be able to do.",
            "Diga en una oración qué podrá hacer quien la lea.",
        ))  # fmt: skip


def _section_flaws(text: Text, language: str) -> Iterator[Flaw]:
    sections = read(text.markdown)
    if not any(section.title for section in sections):
        yield Flaw(language, 1, Words(
            "Begin each section with a line such as: ## Why we wear it here",
            "Comience cada sección con una línea como: ## Por qué lo usamos aquí",
        ))  # fmt: skip
    elif sections[0].id == "part-0":
        yield Flaw(language, 1, Words(
            "Put the beginning under a heading too, a line that starts with ##.",
            "Ponga también el comienzo bajo un título, una línea que empiece con ##.",
        ))  # fmt: skip
    ids = [section.id for section in sections]
    for section in sections:
        if ids.count(section.id) > 1:
            yield Flaw(language, section.line, Words(
                f"Two sections have the same id: {section.id}.",
                f"Dos secciones tienen el mismo id: {section.id}.",
            ))  # fmt: skip
        if section.id != "part-0" and not section.title:
            yield Flaw(language, section.line, Words(
                "This section has no title.", "Esta sección no tiene título.",
            ))  # fmt: skip
        if not section.chunks:
            yield Flaw(language, section.line, Words(
                "Nothing is written in this section.", "No hay nada escrito en esta sección.",
            ))  # fmt: skip
    if not _MUST.search(text.markdown):
        yield Flaw(language, 0, Words(
            "Put what everybody must know into a must-know box: a line !!! must \"Must know\".",
            "Ponga lo que todos deben saber en un cuadro: una línea !!! must \"Debe saber\".",
        ))  # fmt: skip


def _insert_flaws(text: Text, language: str, around: Around) -> Iterator[Flaw]:
    for number, line in enumerate(text.markdown.splitlines(), start=1):
        for what in to_write(line):
            yield Flaw(language, number, Words(
                f"Still to write: {what}", f"Falta escribir: {what}",
            ))  # fmt: skip
        inserted = _INSERT.fullmatch(line)
        if inserted and not _there(inserted["kind"], inserted["name"], language, around):
            yield Flaw(language, number, Words(
                "What is inserted here is not there, or has no description in {language}: {line}",
                "Lo que se inserta aquí no existe, o le falta la descripción en {language}: {line}",
            ).filled(language=_NAMED[language], line=line.strip()))  # fmt: skip
        if not inserted and _STRANGE.fullmatch(line.strip()) and not to_write(line):
            yield Flaw(language, number, Words(
                f"This cannot be inserted: {line.strip()}. See “What can be inserted”.",
                f"Esto no se puede insertar: {line.strip()}. Vea «Lo que se puede insertar».",
            ))  # fmt: skip


def _there(kind: str, name: str, language: str, around: Around) -> bool:
    match kind:
        case "exercise":
            return name in around.exercises
        case "site":
            return name in around.site
        case "picture":
            return language in around.pictures.get(name, {})
    try:
        read_drawing(config.content_folder("lessons"), name)
    except LessonFault:
        return False
    return True


def _number_flaws(text: Text, language: str) -> Iterator[Flaw]:
    """Point at numbers without a unit; what a trainer means by one, only the trainer knows."""
    words = bare_numbers.unitless(config.content_folder("lessons")).get(language)
    if words is None:
        return
    for section in read(text.markdown):
        for chunk in section.chunks:
            if chunk.kind != "html":
                continue
            html = render.html(chunk.text, language, ids=False)
            bare = [
                *bare_numbers.in_prose(plain_blocks(html), words),
                *bare_numbers.in_tables(html, words),
            ]
            for around_it in bare:
                yield Flaw(language, chunk.line, Words(
                    f"Does this number need a unit? “{around_it}”",
                    f"¿Le falta la unidad a este número? «{around_it}»",
                ), stops=False)  # fmt: skip


def _pair_flaws(texts: Mapping[str, Text]) -> Iterator[Flaw]:
    """Compare the languages: a reader of either gets the same sections and exercises."""
    if set(texts) != set(LANGUAGES):
        return
    english, spanish = (read(texts[language].markdown) for language in LANGUAGES)
    if [one.id for one in english] != [one.id for one in spanish]:
        yield Flaw("es", 0, Words(
            f"The sections differ: {len(english)} in English, {len(spanish)} in Spanish. They need "
            "the same ids in the same order.",
            f"Las secciones no coinciden: {len(english)} en inglés, {len(spanish)} en español. "
            "Deben tener los mismos id en el mismo orden.",
        ))  # fmt: skip
        return
    for one, two in zip(english, spanish, strict=True):
        for kind in ("exercise", "picture", "site", "drawing"):
            if one.names(kind) != two.names(kind):
                yield Flaw("es", two.line, Words(
                    f"Section “{two.title}” does not insert the same as in English.",
                    f"La sección «{two.title}» no inserta lo mismo que en inglés.",
                ))  # fmt: skip
                break
