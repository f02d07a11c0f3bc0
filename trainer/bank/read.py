"""Reading questions/: one TOML file a lesson's questions, one an exercise.

Every field is explained in questions/README.md. What is read here is frozen and shared;
check.py says what is wrong with a file, all of it; here the first fault stops the reading.
"""

import json
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from threading import Lock
from typing import Any

from trainer import ready
from trainer.config import content_folder
from trainer.words import Words, words

NO_GIVENS = ("ask", "inputs", "rounded")
"""What `[worksite]` says beside the givens that take a fact."""


class BankFault(ValueError):
    """A file of the bank cannot be read; the text says which and why."""


@dataclass(frozen=True)
class Option:
    """One answer offered: is it right, what does it say, and why is it right or wrong.

    Of an order it is a step in its right place, of a match one of a pair, with `to` the other.
    """

    right: bool
    text: Words
    why: Words
    to: Words | None = None

    def freeze(self) -> dict:
        """Return a JSON-able snapshot."""
        to = {} if self.to is None else {"to": self.to.freeze()}
        return {"right": self.right, "text": self.text.freeze(), "why": self.why.freeze()} | to


@dataclass(frozen=True)
class Question:
    """One question.

    form     "choice" (one option is right), "choices" (one or more, all of them), "order" (put
             the options in order) or "match" (find the other half of each)
    drawing  name of the drawing that is asked about, or ""
    section  id of the section of the lesson to read again
    element  the item of 29 CFR 1910.134(k)(1), or further duty, that it shows knowledge of
    version  first 12 hexadecimal digits of the SHA-256 of its content
    """

    slug: str
    lesson: str
    section: str
    element: str
    must_know: bool
    source: str
    form: str
    ask: Words
    options: tuple[Option, ...]
    version: str
    drawing: str = ""

    @property
    def in_rows(self) -> bool:
        """Say whether each option gets an answer of its own: a place, or its other half."""
        return self.form in ("order", "match")

    def freeze(self) -> dict:
        """Return a JSON-able snapshot, which `thaw_question` turns back."""
        plain = {name: getattr(self, name) for name in _PLAIN_FIELDS}
        options = [one.freeze() for one in self.options]
        return plain | {"ask": self.ask.freeze(), "options": options}


_PLAIN_FIELDS = ("slug", "lesson", "section", "element", "must_know", "source", "form", "version",
                 "drawing")


def thaw_question(frozen: Mapping) -> Question:
    """Return the question of a snapshot, as it was asked, whatever became of its file since."""
    options = tuple(_option_of(one) for one in frozen["options"])
    # What was kept before questions had drawings has none.
    plain = {"drawing": ""} | {name: frozen[name] for name in _PLAIN_FIELDS if name in frozen}
    return Question(**plain, ask=words(frozen["ask"]), options=options)


@dataclass(frozen=True)
class BlankPlan:
    """How one blank is made: which named part of the calculation it asks for, and how."""

    kind: str
    part: str
    unit: str
    within: float
    options: str
    value: str
    label: str
    rounded: bool
    other_units: bool
    slips: tuple["SlipPlan", ...]


@dataclass(frozen=True)
class SlipPlan:
    """A slip by the name that the calculation gives it (or a part, or a given), and what to say."""

    key: str
    say: Words


@dataclass(frozen=True)
class StepPlan:
    """One step: what it asks for, and how it reads when worked."""

    ask: Words
    text: Words
    blank: BlankPlan


@dataclass(frozen=True)
class WorksitePlan:
    """How an exercise takes the numbers of a worksite.

    given    a given, or another name that the texts use -> the fact that stands for it, or words
    inputs   parameters of the calculation that take something else at a worksite
    ask      the problem as asked there; None: as everywhere
    rounded  may answers need more than three figures there? Then three are enough.
    """

    given: Mapping[str, Any]
    inputs: Mapping[str, Any] = field(default_factory=dict)
    ask: Words | None = None
    rounded: bool = False


@dataclass(frozen=True)
class Exercise:
    """A kind of problem: what may vary, which calculation answers it, and every text.

    given        name -> how it is drawn, in the order of the file
    inputs       parameter of the calculation -> the given (or a field of it) that it takes
    constraints  names of the rules that a drawing must keep
    bounds       a given or a part -> where its number must lie
    worksite     how it takes the numbers of a worksite; None: it cannot
    lesson, section   empty for an exercise that no lesson teaches yet
    version      first 12 hexadecimal digits of the SHA-256 of its content
    """

    slug: str
    title: Words
    lesson: str
    section: str
    element: str
    source: str
    calculation: str
    given: Mapping[str, Mapping[str, Any]]
    inputs: Mapping[str, Any]
    constraints: tuple[str, ...]
    bounds: Mapping[str, Mapping[str, Any]]
    ask: Words
    hint: Words
    answer: BlankPlan
    steps: tuple[StepPlan, ...]
    version: str
    worksite: WorksitePlan | None = None


@dataclass(frozen=True)
class Bank:
    """All questions and exercises, by slug.

    files  name -> (lesson, text) of every file read, so that what was asked can be kept
    """

    questions: Mapping[str, Question] = field(default_factory=dict)
    exercises: Mapping[str, Exercise] = field(default_factory=dict)
    files: Mapping[str, tuple[str, str]] = field(default_factory=dict, repr=False)

    def for_lesson(self, lesson: str) -> tuple[Question, ...]:
        """Return the questions of a lesson, in the order of its file."""
        return tuple(q for q in self.questions.values() if q.lesson == lesson)

    def exercises_for(self, lesson: str) -> tuple[Exercise, ...]:
        """Return the exercises of a lesson, by slug."""
        return tuple(e for e in self.exercises.values() if e.lesson == lesson)

    def files_for(self, lesson: str) -> dict[str, str]:
        """Return the text of the files that ask about a lesson, by their name in questions/."""
        return {name: text for name, (of, text) in self.files.items() if of == lesson}


_loaded: dict[Path, Bank] = {}
_loading = Lock()


def load(data: Path | None = None) -> Bank:
    """Return the bank of the installation, read once.

    data  the data folder, where what stands in its files is kept ready for the next start
    Errors: BankFault.
    """
    folder = content_folder("questions")
    with _loading:
        if folder not in _loaded:
            _loaded[folder] = read_folder(folder, data)
        return _loaded[folder]


def read_folder(folder: Path, data: Path | None = None) -> Bank:
    """Return the bank of a folder of TOML files. Errors: BankFault names the file and the fault."""
    paths = sorted(folder.glob("*.toml"))
    read = ready.made(data, "questions", lambda: ready.digest(paths),
                      lambda: [_content(path) for path in paths])
    questions: dict[str, Question] = {}
    exercises: dict[str, Exercise] = {}
    files: dict[str, tuple[str, str]] = {}
    for path, (text, content) in zip(paths, read, strict=True):
        files[f"questions/{path.name}"] = (content.get("lesson", ""), text)
        if "calculation" in content:
            exercises[path.stem] = _built(path, exercise_of, path.stem, content)
            continue
        for raw in content.get("question", []):
            question = _built(path, question_of, content.get("lesson", ""), raw)
            if question.slug in questions:
                raise BankFault(f"{path.name}: the slug {question.slug!r} is used twice.")
            questions[question.slug] = question
    return Bank(questions, exercises, files)


def _content(path: Path) -> tuple[str, dict]:
    try:
        text = path.read_text(encoding="utf-8")
        return text, tomllib.loads(text)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise BankFault(f"{path.name}: {fault}.") from None


def _built(path: Path, build: Callable, name: str, content: dict) -> Any:
    try:
        return build(name, content)
    except KeyError as fault:
        slug = f" of {content['slug']!r}" if "slug" in content else ""
        raise BankFault(f"{path.name}: the field {fault.args[0]!r}{slug} is missing.") from None
    except (TypeError, ValueError, AttributeError) as fault:
        raise BankFault(f"{path.name}: {fault}.") from None


def version_of(content: Mapping) -> str:
    """Return the first 12 hexadecimal digits of the SHA-256 of the content, whatever its order."""
    canonical = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return sha256(canonical.encode()).hexdigest()[:12]


def question_of(lesson: str, raw: Mapping) -> Question:
    """Return the question of one `[[question]]`. Errors: KeyError names a missing field."""
    return Question(
        slug=raw["slug"],
        lesson=lesson,
        section=raw["section"],
        element=raw["element"],
        must_know=raw.get("must_know", False),
        source=raw["source"],
        form=raw["form"],
        ask=words(raw["ask"]),
        options=tuple(_option_of(option) for option in raw["option"]),
        version=version_of({**raw, "lesson": lesson}),
        drawing=raw.get("drawing", ""),
    )


def _option_of(raw: Mapping) -> Option:
    to = words(raw["to"]) if "to" in raw else None
    return Option(raw.get("right", False), words(raw["text"]), words(raw["why"]), to)


def exercise_of(slug: str, raw: Mapping) -> Exercise:
    """Return the exercise of one file. Errors: KeyError names a missing field."""
    answer = _blank_plan(raw["answer"])
    return Exercise(
        slug=slug,
        title=words(raw["title"]),
        lesson=raw.get("lesson", ""),
        section=raw.get("section", ""),
        element=raw["element"],
        source=raw["source"],
        calculation=raw["calculation"],
        given=raw["given"],
        inputs=raw["inputs"],
        constraints=tuple(raw.get("constraints", ())),
        bounds=raw.get("bounds", {}),
        ask=words(raw["ask"]),
        hint=words(raw["hint"]),
        answer=answer,
        steps=tuple(
            StepPlan(words(step["ask"]), words(step["text"]),
                     answer if step.get("answer") else _blank_plan(step))
            for step in raw["step"]
        ),
        version=version_of({**raw, "slug": slug}),
        worksite=_worksite_plan(raw["worksite"]) if "worksite" in raw else None,
    )


def _worksite_plan(raw: Mapping) -> WorksitePlan:
    given = {name: named for name, named in raw.items() if name not in NO_GIVENS}
    ask = words(raw["ask"]) if "ask" in raw else None
    return WorksitePlan(given, raw.get("inputs", {}), ask, raw.get("rounded", False))


def _blank_plan(raw: Mapping) -> BlankPlan:
    return BlankPlan(
        kind=raw.get("kind", "number"),
        part=raw["part"],
        unit=raw.get("unit", ""),
        within=_share(raw.get("within", "0 %")),
        options=raw.get("options", ""),
        value=raw.get("value", ""),
        label=raw.get("label", "name"),
        rounded=raw.get("rounded", False),
        other_units=raw.get("other_units", True),
        slips=tuple(SlipPlan(slip["key"], words(slip["say"])) for slip in raw.get("slip", ())),
    )


def _share(text: str) -> float:
    """Return a tolerance such as "1 %" as a share, 0.01."""
    figure, _, sign = text.partition(" ")
    if sign != "%":
        raise ValueError(f"within must read like '1 %', not {text!r}")
    return float(figure) / 100
