"""What is wrong with the files of questions/, said so that an author can put it right."""

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trainer.bank.draw import CONSTRAINTS, FACTS, TABLES, DrawFault, Problem, draw
from trainer.bank.mark import mark
from trainer.bank.read import NO_GIVENS, Exercise, exercise_of
from trainer.bank.rules import place_faults, question_faults, slug_faults, words_faults
from trainer.calculations.catalogue import CATALOGUE
from trainer.config import LANGUAGES, content_folder
from trainer.words import same

FEWEST_QUESTIONS = 14
FEWEST_MUST_KNOW = 4
_FIELDS_OF_EXERCISE = ("title", "element", "source", "calculation", "ask", "hint", "inputs",
                       "given", "answer", "step")
_ROUGHEST = 0.005  # three figures are at most half a per cent off
_SEEDS_TRIED = 20


@dataclass(frozen=True, order=True)
class Fault:
    """One fault: the file, the line as well as it can be told, and a sentence."""

    path: Path
    line: int
    sentence: str

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.sentence}"


@dataclass
class _File:
    """A file under check: its text, what it holds, and the slugs met so far in the folder."""

    path: Path
    text: str
    content: dict[str, Any]
    slugs: dict[str, str]
    sections: Mapping[str, AbstractSet[str]] | None
    elements: AbstractSet[str] | None
    drawings: AbstractSet[str] | None
    lines: list[str] = field(init=False)

    def __post_init__(self) -> None:
        self.lines = self.text.splitlines()

    def fault(self, line: int, sentence: str) -> Fault:
        return Fault(self.path, line, sentence)

    def sections_of(self, lesson: str) -> AbstractSet[str] | None:
        """Return the ids of a lesson's sections; None where nobody says which there are."""
        return None if self.sections is None else self.sections.get(lesson, frozenset())

    def line_of(self, start: str, after: int = 0) -> int:
        """Return the first line below `after` that starts so, or `after`, counted from 1."""
        for number, line in enumerate(self.lines[after:], start=after + 1):
            if line.strip().startswith(start):
                return number
        return max(after, 1)

    def starts(self, header: str) -> list[int]:
        """Return the lines on which a table of that name begins."""
        return [number for number, line in enumerate(self.lines, start=1)
                if re.match(rf"\[\[{re.escape(header)}\]\]", line.strip())]


def faults(
    folder: Path | None = None,
    sections: Mapping[str, AbstractSet[str]] | None = None,
    elements: AbstractSet[str] | None = None,
    drawings: AbstractSet[str] | None = None,
) -> list[Fault]:
    """Return everything that is wrong with the questions and exercises of a folder.

    sections  lesson slug -> ids of its sections; not looked at when left out
    elements  elements of the training rule that exist; not looked at when left out
    drawings  names of the drawings that exist; not looked at when left out
    """
    found: list[Fault] = []
    slugs: dict[str, str] = {}
    for path in sorted((folder or content_folder("questions")).glob("*.toml")):
        try:
            text = path.read_text(encoding="utf-8")
            content = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
            line = re.search(r"line (\d+)", str(fault))
            found.append(Fault(path, int(line[1]) if line else 1, f"This is no TOML: {fault}."))
            continue
        file = _File(path, text, content, slugs, sections, elements, drawings)
        check = _exercise_faults if "calculation" in content else _question_file_faults
        found.extend(check(file))
    return found


# Questions.


def _question_file_faults(file: _File) -> Iterator[Fault]:
    lesson, questions = file.content.get("lesson"), file.content.get("question", [])
    if not lesson:
        yield file.fault(1, "The file does not say which lesson its questions belong to.")
    elif lesson != file.path.stem:
        yield file.fault(file.line_of("lesson"), f"The file of {lesson} must be {lesson}.toml.")
    if len(questions) < FEWEST_QUESTIONS:
        yield file.fault(1, f"There are {len(questions)} questions; {FEWEST_QUESTIONS} or more "
                            "are needed.")
    must = sum(question.get("must_know") is True for question in questions)
    if must < FEWEST_MUST_KNOW:
        yield file.fault(1, f"{must} questions are must-know; {FEWEST_MUST_KNOW} or more are "
                            "needed.")
    for question, line in zip(questions, file.starts("question"), strict=False):
        yield from _question_faults(file, question, line)


def _question_faults(file: _File, question: Mapping, line: int) -> Iterator[Fault]:
    slug, lesson = question.get("slug", "a question"), file.content.get("lesson", "")
    starts = [start for start in file.starts("question.option") if start > line]
    for found in question_faults(
        question, LANGUAGES, lesson, file.sections_of(lesson), file.elements, file.drawings
    ):
        of_option = found.place is not None and found.place < len(starts)
        at = starts[found.place] if of_option else line
        yield file.fault(at, f"{slug}: {found.sentence}")
    yield from _used_faults(file, question.get("slug"), line)


def _used_faults(file: _File, slug: str | None, line: int) -> Iterator[Fault]:
    """Yield a fault for a slug that is used already in the folder, and keep it."""
    if not slug:
        return
    if slug in file.slugs:
        yield file.fault(line, f"The slug {slug!r} is used already in {file.slugs[slug]}.")
    file.slugs.setdefault(slug, file.path.name)


def _words_faults(
    file: _File, what: str, words: Any, line: int, may_be_empty: bool = False
) -> Iterator[Fault]:
    for found in words_faults("", what, words, LANGUAGES, same(what), may_be_empty):
        yield file.fault(line, found.sentence)


# Exercises.


def _exercise_faults(file: _File) -> Iterator[Fault]:
    content, slug = file.content, file.path.stem
    missing = [name for name in _FIELDS_OF_EXERCISE if not content.get(name)]
    for name in missing:
        yield file.fault(1, f"{slug}: the field {name} is missing.")
    for found in slug_faults(slug):
        yield file.fault(1, f"{slug}: {found.sentence}")
    yield from _used_faults(file, slug, 1)
    lesson = content.get("lesson", "")
    if lesson or content.get("section"):
        for found in place_faults(content, lesson, file.sections_of(lesson), file.elements):
            yield file.fault(file.line_of("section"), f"{slug}: {found.sentence}")
    named = list(_named_faults(file))
    yield from named
    wordless = list(_exercise_words_faults(file))
    yield from wordless
    if not (missing or named or wordless):
        yield from _drawing_faults(file, slug)


def _named_faults(file: _File) -> Iterator[Fault]:
    """Yield a fault for every calculation, table, constraint or parameter that does not exist."""
    content = file.content
    calculation = CATALOGUE.get(content["calculation"])
    if calculation is None:
        yield file.fault(file.line_of("calculation"),
                         f"There is no calculation {content['calculation']!r} in the catalogue.")
    for name in content.get("constraints", ()):
        if name not in CONSTRAINTS:
            yield file.fault(file.line_of("constraints"), f"There is no constraint {name!r}.")
    for name, plan in content.get("given", {}).items():
        table = plan.get("from_table")
        if table is not None and table not in TABLES:
            yield file.fault(file.line_of(f"[given.{name}]"), f"There is no table {table!r}.")
    yield from _worksite_faults(file)
    known = {parameter.name for parameter in calculation.parameters} if calculation else None
    for name in content.get("inputs", {}):
        if known is not None and name not in known:
            yield file.fault(file.line_of(name, file.line_of("[inputs]")),
                             f"{content['calculation']} has no parameter {name!r}.")


def _worksite_faults(file: _File) -> Iterator[Fault]:
    """Yield what is wrong with `[worksite]`: its facts, and words without place or day."""
    plan, line = file.content.get("worksite"), file.line_of("[worksite]")
    if plan is None:
        return
    used = {*file.content.get("given", {}), *plan.get("inputs", {}).values()}
    said = []
    for name, named in plan.items():
        if isinstance(named, Mapping) and name != "inputs":
            yield from _words_faults(file, f"[worksite] {name}", named, line, may_be_empty=True)
            said.append(named)
        elif name not in NO_GIVENS and named not in FACTS:
            yield file.fault(line, f"A worksite has no fact {named!r}.")
        if name not in NO_GIVENS and name not in used:
            yield file.fault(line, f"[worksite] names {name!r}, which is no given.")
    for language in LANGUAGES:
        text = " ".join(str(one.get(language, "")) for one in said)
        if "{place}" not in text or "{task}" not in text or not _DAY.search(text):
            yield file.fault(line, f"[worksite] must say {{place}}, {{task}} and the day in "
                                   f"{language!r}.")


_DAY = re.compile(r"\{(day|described|listed)\}")


def _exercise_words_faults(file: _File) -> Iterator[Fault]:
    content = file.content
    for name in ("title", "ask", "hint"):
        if name in content:
            yield from _words_faults(file, name, content[name], file.line_of(f"[{name}]"))
    slips = content.get("answer", {}).get("slip", [])
    yield from _slip_faults(file, "answer", slips, file.starts("answer.slip"))
    step_lines = file.starts("step")
    for place, step in enumerate(content.get("step", [])):
        line = step_lines[place] if place < len(step_lines) else 1
        for name in ("ask", "text"):
            yield from _words_faults(file, f"step {place + 1}, {name}", step.get(name), line)
        later = [start for start in file.starts("step.slip") if start > line]
        yield from _slip_faults(file, f"step {place + 1}", step.get("slip", []), later)


def _slip_faults(
    file: _File, where: str, slips: Sequence[Mapping], lines: Sequence[int]
) -> Iterator[Fault]:
    for place, slip in enumerate(slips):
        line = lines[place] if place < len(lines) else 1
        key = slip.get("key", "a slip without a key")
        yield from _words_faults(file, f"{where}, {key}", slip.get("say"), line)


def _drawing_faults(file: _File, slug: str) -> Iterator[Fault]:
    """Draw a few problems and mark them by their own answer: what an author would see first."""
    try:
        exercise = exercise_of(slug, file.content)
    except (KeyError, TypeError, ValueError, AttributeError) as fault:
        yield file.fault(1, f"{slug} cannot be read: {fault}.")
        return
    for plan in (exercise.answer, *(step.blank for step in exercise.steps)):
        if plan.rounded and plan.within < _ROUGHEST:
            yield file.fault(1, f"{slug}: {plan.part} is rounded, so `within` must be 1 % or more.")
            return
    for seed in range(_SEEDS_TRIED):
        what = _what_is_wrong(exercise, seed)
        if what:
            yield file.fault(1, f"{slug}, seed {seed}: {what}")
            return


def _what_is_wrong(exercise: Exercise, seed: int) -> str:
    try:
        problem = draw(exercise, seed)
    except DrawFault as fault:
        return f"{fault}."
    except (KeyError, AttributeError, TypeError, ValueError) as fault:
        return f"a name in the file leads nowhere: {fault}."
    for language in LANGUAGES:
        if any("{" in text or "}" in text for text in _texts(problem, language)):
            return f"a text in {language!r} has a brace that is not filled."
        if not mark(problem.blank, problem.blank.typed, language).right:
            return f"its own answer, {problem.blank.typed}, is not marked right."
    return ""


def _texts(problem: Problem, language: str) -> Iterator[str]:
    yield problem.text(language)
    yield problem.hint(language)
    for step in problem.steps:
        yield step.ask(language)
        yield step.text(language)
    for blank in (problem.blank, *(step.blank for step in problem.steps)):
        yield from (slip.say(language) for slip in blank.slips)
        yield from (label for _, label in blank.options(language))
