"""What is wrong with the texts of a worksite's lesson, sentence by sentence, for its author.

A flaw that stops keeps the lesson from being published; any other is only pointed at.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from trainer import config
from trainer.config import LANGUAGES
from trainer.words import Words

from . import bare_numbers
from .drawings import drawing_faults
from .plain import blocks as plain_blocks
from .source import Chunk, SourceSection
from .written import TANGLED, Around, Text, as_html, inserted, open_places, read, tangled

NAMED = {"en": Words("English", "inglés"), "es": Words("Spanish", "español")}
_LONGEST_QUOTED = 80
_MUST_BOX = re.compile(
    r'<div class="admonition must">(?>\s*)(?>(?:<p class="admonition-title">.*?</p>)?)(?>\s*)'
    "(?!</div>)"
)
"""A must-know box as it is shown, with something in it."""


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


def of_texts(texts: Mapping[str, Text], around: Around) -> list[Flaw]:
    """Return what is wrong with the texts of a lesson, language by language."""
    if not texts:
        return [Flaw("", 0, Words("Nothing is written yet.", "Todavía no hay nada escrito."))]
    found = []
    for language, text in texts.items():
        sections = read(text.markdown)
        shown = _prose(sections, language)
        found += _of_head(text, language)
        found += _of_sections(sections, language)
        found += [
            Flaw(language, chunk.line, TANGLED) for chunk, _ in shown if tangled(chunk.text)
        ]
        found += _of_must(shown, language)
        found += _of_inserts(text, language, around)
        found += _of_exercises(sections, language)
        found += _of_numbers(shown, language)
    found += _of_pair(texts)
    return found


def _prose(sections: tuple[SourceSection, ...], language: str) -> list[tuple[Chunk, str]]:
    """Return what is written between what is inserted, and how it shows."""
    return [
        (chunk, as_html(chunk.text, language))
        for section in sections
        for chunk in section.chunks
        if chunk.kind == "html"
    ]


def _of_head(text: Text, language: str) -> Iterator[Flaw]:
    if not text.title.strip():
        yield Flaw(language, 0, Words(
            "Give the lesson a title.", "Póngale un título a la lección.",
        ))  # fmt: skip
    if not text.summary.strip():
        yield Flaw(language, 0, Words(
            "Say in one sentence what the reader will be able to do.",
            "Diga en una oración qué podrá hacer quien la lea.",
        ))  # fmt: skip


def _of_sections(sections: tuple[SourceSection, ...], language: str) -> Iterator[Flaw]:
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
    times = Counter(section.id for section in sections)
    for section in sections:
        if times[section.id] > 1:
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


def _of_must(shown: list[tuple[Chunk, str]], language: str) -> Iterator[Flaw]:
    if not any(_MUST_BOX.search(html) for _, html in shown):
        yield Flaw(language, 0, Words(
            "Put what everybody must know into a must-know box: a line !!! must \"Must know\", "
            "and on the next lines, four spaces in, what it is.",
            "Ponga lo que todos deben saber en un cuadro: una línea !!! must \"Debe saber\" y, en "
            "las líneas siguientes, con cuatro espacios delante, lo que es.",
        ))  # fmt: skip


def _of_inserts(text: Text, language: str, around: Around) -> Iterator[Flaw]:
    lines = text.markdown.splitlines()
    for number, what in open_places("\n".join(lines)):
        yield Flaw(language, number, Words(
            f"Still to write: {what}", f"Falta escribir: {what}",
        ))  # fmt: skip
        lines[number - 1] = ""
    for number, line in enumerate(lines, start=1):
        named = inserted(line)
        if named and not _there(*named, language, around):
            yield Flaw(language, number, Words(
                "What is inserted here is not there, or has no description in {language}: {line}",
                "Lo que se inserta aquí no existe, o le falta la descripción en {language}: {line}",
            ).filled(language=NAMED[language], line=_quoted(line)))  # fmt: skip
        if not named and "[[" in line:
            yield Flaw(language, number, Words(
                f"This cannot be inserted: {_quoted(line)}. Each stands alone on a line, as under "
                "“What can be inserted”.",
                f"Esto no se puede insertar: {_quoted(line)}. Cada cosa va sola en una línea, como "
                "en «Lo que se puede insertar».",
            ))  # fmt: skip


def _quoted(line: str) -> str:
    line = line.strip()
    return line if len(line) <= _LONGEST_QUOTED else f"{line[:_LONGEST_QUOTED]} …"


def _there(kind: str, name: str, language: str, around: Around) -> bool:
    match kind:
        case "exercise":
            return name in around.exercises
        case "site":
            return name in around.site
        case "picture":
            return language in around.pictures.get(name, {})
    return not drawing_faults(config.content_folder("lessons"), name)


def _of_exercises(sections: tuple[SourceSection, ...], language: str) -> Iterator[Flaw]:
    """Point at an exercise that stands twice: a person is at one place in it, not at two."""
    met = set()
    for section in sections:
        for chunk in section.chunks:
            if chunk.kind == "exercise" and chunk.text in met:
                yield Flaw(language, chunk.line, Words(
                    f"The exercise {chunk.text} stands in the lesson already.",
                    f"El ejercicio {chunk.text} ya está en la lección.",
                ))  # fmt: skip
            if chunk.kind == "exercise":
                met.add(chunk.text)


def _of_numbers(shown: list[tuple[Chunk, str]], language: str) -> Iterator[Flaw]:
    """Point at numbers without a unit; what a trainer means by one, only the trainer knows."""
    words = bare_numbers.unitless(config.content_folder("lessons")).get(language)
    if words is None:
        return
    for chunk, html in shown:
        bare = [
            *bare_numbers.in_prose(plain_blocks(html), words),
            *bare_numbers.in_tables(html, words),
        ]
        for around_it in bare:
            yield Flaw(language, chunk.line, Words(
                f"Does this number need a unit? “{around_it}”",
                f"¿Le falta la unidad a este número? «{around_it}»",
            ), stops=False)  # fmt: skip


def _of_pair(texts: Mapping[str, Text]) -> Iterator[Flaw]:
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
