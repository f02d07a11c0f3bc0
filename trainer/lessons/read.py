"""The lessons: each pair of files becomes one lesson with both languages, rendered once."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cache, cached_property
from importlib.metadata import version as installed
from itertools import pairwise
from pathlib import Path
from threading import Lock
from typing import Any

from trainer import config, ready
from trainer.config import LANGUAGES
from trainer.words import Words

from . import render
from .drawings import Drawing, drawing_files, read_drawing
from .fault import Fault, LessonFault
from .plain import words
from .source import Source, SourceSection, read_source
from .version import version


@dataclass(frozen=True)
class Part:
    """A stretch of a section.

    kind  "html", "drawing", "exercise", or "picture" in a worksite's lesson
    html  safe HTML, to be shown as it is; a drawing stands in its <figure>; "" for an exercise
    name  of the drawing, the exercise or the picture; "" for html
    """

    kind: str
    html: str
    name: str


@dataclass(frozen=True)
class Section:
    """One section of a lesson in every language; the id is the same in each."""

    id: str
    _titles: dict[str, str]
    _parts: dict[str, tuple[Part, ...]]

    def title(self, language: str) -> str:
        """Return the title; where it is not written in a language, in another, which is named."""
        return _named(self._titles, language)

    def parts(self, language: str) -> tuple[Part, ...]:
        """Return what the section shows, in order."""
        return self._parts[language]

    @property
    def exercises(self) -> tuple[str, ...]:
        """Return the slugs of its exercises; ours have one at most, as the last thing."""
        parts = next(iter(self._parts.values()))
        return tuple(part.name for part in parts if part.kind == "exercise")


@dataclass(frozen=True)
class Head:
    """What stands above a lesson in one language: title, one sentence, published sources."""

    title: str
    summary: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Lesson:
    """One lesson, in every language that it is written in: ours are in all.

    elements  of 29 CFR 1910.134(k)(1) that the lesson covers, as "(k)(1)(ii)"
    version   first 12 hexadecimal digits of a SHA-256 over its files and its drawings
    files     name to text of the same, so that what was taught can be kept
    """

    slug: str
    order: int
    elements: tuple[str, ...]
    sections: tuple[Section, ...]
    version: str
    files: dict[str, str]
    _heads: dict[str, Head]

    @property
    def languages(self) -> tuple[str, ...]:
        """Return the languages that it is written in."""
        return tuple(self._heads)

    def title(self, language: str) -> str:
        """Return the title; where it is not written in a language, in another, which is named."""
        return _named({one: head.title for one, head in self._heads.items()}, language)

    def summary(self, language: str) -> str:
        """Return one sentence: what the reader will be able to do."""
        return self._heads[language].summary

    def sources(self, language: str) -> tuple[str, ...]:
        """Return the published sources of the lesson."""
        return self._heads[language].sources

    def words(self, language: str) -> int:
        """Return how many words there are to read, tables included, drawings not."""
        shown = [part.html for section in self.sections for part in section.parts(language)
                 if part.kind == "html"]
        return sum(words(html) for html in shown)

    def section(self, id: str) -> Section | None:
        """Return the section of that id, or None."""
        return next((section for section in self.sections if section.id == id), None)


_IN = {"en": Words("in English", "en inglés"), "es": Words("in Spanish", "en español")}


def _named(titles: dict[str, str], language: str) -> str:
    if language in titles:
        return titles[language]
    other, title = next(iter(titles.items()))
    return f"{title} ({_IN[other](language)})"


@dataclass(frozen=True)
class Lessons:
    """All lessons, in the order of their numbers."""

    all: tuple[Lesson, ...]

    @cached_property
    def _by_slug(self) -> dict[str, Lesson]:
        return {lesson.slug: lesson for lesson in self.all}

    def get(self, slug: str) -> Lesson | None:
        """Return the lesson of that slug, or None."""
        return self._by_slug.get(slug)


_loaded: dict[Path, Lessons] = {}
_loading = Lock()


def load(folder: Path | None = None, data: Path | None = None) -> Lessons:
    """Return the lessons of a folder (ours, when none is given), rendered on the first call only.

    data  the data folder, where what was rendered is kept ready for the next start
    Errors: LessonFault at the first file that is wrong.
    """
    folder = folder or config.content_folder("lessons")
    # Threads that come early wait, so that nothing is ever rendered twice.
    with _loading:
        if folder not in _loaded:
            _loaded[folder] = _ready(folder, data)
        return _loaded[folder]


def _ready(folder: Path, data: Path | None) -> Lessons:
    """Return the lessons as they were rendered from the very same files, or rendered now."""
    if data is None:
        return read(folder)
    kept = ready.made(data, "lessons", lambda: _made_of(folder),
                      lambda: [asdict(one) for one in read(folder).all])
    return Lessons(tuple(_thawed(one) for one in kept))


def _made_of(folder: Path) -> str:
    """Return the digest of all that has a say in how a lesson comes out."""
    here = Path(__file__).parent
    files = [*folder.rglob("*.md"), *folder.rglob("*.svg"), *folder.rglob("*.toml"),
             *here.glob("*.py"), Path(config.__file__)]
    return ready.digest(files, *(f"{one} {installed(one)}" for one in ("markdown", "nh3")))


def _thawed(kept: Mapping[str, Any]) -> Lesson:
    """Return the lesson that was kept as plain data."""
    return Lesson(**{
        **kept,
        "elements": tuple(kept["elements"]),
        "sections": tuple(_thawed_section(one) for one in kept["sections"]),
        "_heads": {language: Head(**{**one, "sources": tuple(one["sources"])})
                   for language, one in kept["_heads"].items()},
    })


def _thawed_section(kept: Mapping[str, Any]) -> Section:
    parts = {language: tuple(Part(**one) for one in shown)
             for language, shown in kept["_parts"].items()}
    return Section(kept["id"], kept["_titles"], parts)


@cache
def figure(name: str, language: str) -> str:
    """Return one of our drawings for a question: without its caption. Errors: LessonFault."""
    folder = config.content_folder("lessons")
    return read_drawing(folder, name).figure(language, captioned=False)


def read(folder: Path) -> Lessons:
    """Return the lessons of a folder as it is now."""
    names = sorted({path.name for language in LANGUAGES
                    for path in (folder / language).glob("*.md")})
    lessons = sorted((_lesson(folder, name) for name in names), key=lambda one: one.order)
    for before, after in pairwise(lessons):
        if before.order == after.order or before.slug == after.slug:
            path = folder / LANGUAGES[0] / f"{after.order}-{after.slug}.md"
            sentence = f"{before.slug} and {after.slug} need two numbers and two slugs."
            raise LessonFault(Fault(path, 1, sentence))
    return Lessons(tuple(lessons))


def _lesson(folder: Path, name: str) -> Lesson:
    sources = {language: _source(folder / language / name) for language in LANGUAGES}
    first = sources[LANGUAGES[0]]
    _same_sections(first, *sources.values())
    # In their order, each once: the languages mostly show the same ones.
    named = dict.fromkeys(one for source in sources.values() for one in source.names("drawing"))
    drawings = {drawing: read_drawing(folder, drawing) for drawing in named}
    files = [source.path for source in sources.values()]
    files += [path for drawing in drawings for path in drawing_files(folder, drawing)]
    return Lesson(
        slug=first.slug,
        order=first.order,
        elements=first.elements,
        sections=_sections(sources, drawings),
        version=version(files, folder),
        files={f"lessons/{path.relative_to(folder).as_posix()}": path.read_text(encoding="utf-8")
               for path in sorted(set(files))},
        _heads={language: Head(one.title, one.summary, one.sources)
                for language, one in sources.items()},
    )


def _source(path: Path) -> Source:
    if not path.is_file():
        raise LessonFault(Fault(path, 1, "The lesson has no file in this language."))
    return read_source(path)


def _same_sections(first: Source, *others: Source) -> None:
    ids = [section.id for section in first.sections]
    for other in others:
        if [section.id for section in other.sections] != ids:
            sentence = f"The sections must be those of {first.path}: {', '.join(ids)}."
            raise LessonFault(Fault(other.path, 1, sentence))


def _sections(sources: dict[str, Source], drawings: dict[str, Drawing]) -> tuple[Section, ...]:
    parts = {language: _parts(source.sections, drawings, language)
             for language, source in sources.items()}
    return tuple(
        Section(
            id=section.id,
            _titles={lang: source.sections[at].title for lang, source in sources.items()},
            _parts={lang: parts[lang][at] for lang in sources},
        )
        for at, section in enumerate(sources[LANGUAGES[0]].sections)
    )


def _parts(
    sections: tuple[SourceSection, ...], drawings: dict[str, Drawing], language: str
) -> list[tuple[Part, ...]]:
    """Return the parts of each section; a drawing shown again gets other ids."""
    shown: dict[str, int] = {}
    made = []
    for section in sections:
        parts = []
        for chunk in section.chunks:
            if chunk.kind == "drawing":
                shown[chunk.text] = shown.get(chunk.text, 0) + 1
                figure = drawings[chunk.text].figure(language, shown[chunk.text])
                parts.append(Part("drawing", figure, chunk.text))
            elif chunk.kind == "exercise":
                parts.append(Part("exercise", "", chunk.text))
            else:
                parts.append(Part("html", render.html(chunk.text, language), ""))
        made.append(tuple(parts))
    return made
