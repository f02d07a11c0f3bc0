"""Drawing problems from exercises, and the questions of a sitting.

A drawing takes the givens one after the other from the lots of exercise and seed, and is thrown
away, and drawn anew from the same lots, when a constraint is broken, when a number could not be
written with three significant figures, or when a slip could not be told from the answer.
A given with `keep` is drawn once, before all others, and stays: what is rare is then not lost.
So the same exercise and seed give the same problem on every machine, for ever.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache, lru_cache, reduce
from operator import ge, gt, le, lt
from typing import Any, NamedTuple

from trainer.bank.lots import Lots
from trainer.bank.mark import SLIP_WITHIN, Blank, Slip, thaw_blank
from trainer.bank.read import Bank, BlankPlan, Exercise, Question, SlipPlan, StepPlan
from trainer.calculations.catalogue import CATALOGUE
from trainer.calculations.faults import CalculationFault
from trainer.reference import approvals, cartridge_limits, contaminants, filter_classes
from trainer.reference import respirator_classes as classes
from trainer.words import Words, few_figures, number, same, words

TRIES = 5_000
TRIES_AT_A_WORKSITE = 100
MEASURED, DESCRIBED, WORN = "measured", "described", "worn"
FACTS = {
    "substance": "", "second_substance": "", "unit": "",
    "outside": MEASURED, "percent_outside": MEASURED, "outside_in_mg": MEASURED,
    "outside_of_published_limit": MEASURED, "second_outside": MEASURED,
    "amounts": MEASURED, "first_amount": MEASURED, "hours": MEASURED, "samples": MEASURED,
    "products": MEASURED,
    "limit_of_published_idlh": DESCRIBED, "oxygen": DESCRIBED,
    "oil_among_particles": DESCRIBED, "powered": WORN,
    "class": WORN, "class_that_may": WORN, "class_below_idlh": WORN, "facepiece": WORN,
    "airline_fit": WORN, "filter": WORN, "approval": WORN, "schedule_hours": WORN,
}  # fmt: skip
"""What a worksite may tell an exercise, and how a step says where it comes from ("": not at all).

Exercises work with the limit and IDLH of the tables, so a number is told only beside the same one:
a stricter limit of the employer is not taught away."""

WORDS_OF_A_WORKSITE = ("place", "task", "named", "day", "described", "listed", "respirator")
"""What words of `[worksite]` may say: where and at which task; what is in the air; the days of
measuring, of describing the air and of listing the respirator; it with what it carries."""

_COMES_FROM = {
    MEASURED: Words("measured at {place}, {task}, on {day}", "medido en {place}, {task}, el {day}"),
    DESCRIBED: Words("described at {place}, {task}, on {described}",
                     "descrito en {place}, {task}, el {described}"),
    WORN: Words("worn at {place}, {task}, as described on {listed}",
                "se usa en {place}, {task}, según lo descrito el {listed}"),
}  # fmt: skip
QUESTIONS_IN_A_SITTING = 9
# How many times farther from the answer a slip must be than a right answer may be.
_APART = 3
# What is rounded to three figures may be half a per cent off.
_ROUNDED_WITHIN = 0.01

TABLES: dict[str, Callable[[], tuple]] = {
    "approvals": approvals.rows,
    "cartridge_limits": cartridge_limits.rows,
    "contaminants": contaminants.rows,
    "filter_classes": filter_classes.rows,
    "respirator_classes": classes.recognised,
}


class DrawFault(ValueError):
    """No problem could be drawn: the constraints of the exercise leave none."""


class _Again(Exception):
    """This drawing breaks a rule; the next one is tried."""


@dataclass(frozen=True)
class Choice:
    """One of the words an exercise lists itself, with the key that the calculation gets."""

    key: Any
    words: Words

    def name(self, language: str) -> str:
        """Return the words in the language."""
        return self.words(language)


@dataclass(frozen=True)
class Step:
    """One step: `ask(language)` before, `text(language)` worked out, and the blank between.

    cited  where a number of a worksite that it takes comes from, with the day; None: it takes none
    """

    ask: Words
    text: Words
    blank: Blank
    cited: Words | None = None

    def freeze(self) -> dict:
        """Return a JSON-able snapshot."""
        cited = {} if self.cited is None else {"cited": self.cited.freeze()}
        return cited | {"ask": self.ask.freeze(), "text": self.text.freeze(),
                        "blank": self.blank.freeze()}


@dataclass(frozen=True)
class Problem:
    """One drawing of an exercise: the numbers that this person gets.

    inputs  what the calculation was given, JSON-able
    drawn   every given by name: a number, or the slug of a row
    text    the problem as asked, `text(language)`; hint likewise
    blank   the final answer; steps lead to it
    source  where the numbers of a worksite come from, with the day; None: all are drawn
    """

    exercise: str
    version: str
    seed: int
    calculation: str
    inputs: dict[str, Any]
    drawn: dict[str, Any]
    text: Words
    hint: Words
    blank: Blank
    steps: tuple[Step, ...]
    source: Words | None = None

    def freeze(self) -> dict:
        """Return a JSON-able snapshot that holds every word and number of the problem."""
        source = {} if self.source is None else {"source": self.source.freeze()}
        return source | {
            "exercise": self.exercise, "version": self.version, "seed": self.seed,
            "calculation": self.calculation, "inputs": self.inputs, "drawn": self.drawn,
            "text": self.text.freeze(), "hint": self.hint.freeze(), "blank": self.blank.freeze(),
            "steps": [step.freeze() for step in self.steps],
        }

    @staticmethod
    def thaw(frozen: Mapping, exercise: Exercise | None = None) -> "Problem":
        """Return the problem of a snapshot; see the function `thaw`."""
        return thaw(frozen, exercise)


def thaw(frozen: Mapping, exercise: Exercise | None = None) -> Problem:
    """Return the problem of a snapshot, as it was asked, whatever became of the exercise since.

    Errors: ValueError when an exercise is given and the snapshot is of another.
    """
    if exercise is not None and exercise.slug != frozen["exercise"]:
        raise ValueError(f"this is a problem of {frozen['exercise']}, not of {exercise.slug}")
    plain = {name: frozen[name] for name in
             ("exercise", "version", "seed", "calculation", "inputs", "drawn")}
    # What was kept before worksites were cited says nothing of them.
    steps = tuple(Step(words(step["ask"]), words(step["text"]), thaw_blank(step["blank"]),
                       words(step["cited"]) if "cited" in step else None)
                  for step in frozen["steps"])
    source = words(frozen["source"]) if "source" in frozen else None
    return Problem(**plain, text=words(frozen["text"]), hint=words(frozen["hint"]),
                   blank=thaw_blank(frozen["blank"]), steps=steps, source=source)


def draw(exercise: Exercise, seed: int) -> Problem:
    """Return the problem that a seed gives. Errors: DrawFault when the exercise allows none."""
    found = _drawn(_Wanted(exercise, seed))
    # Whoever gets it may do with these as they like.
    return replace(found, inputs=_own(found.inputs), drawn=_own(found.drawn))


def _own(value: Any) -> Any:
    """Return a copy of what is JSON."""
    if isinstance(value, dict):
        return {name: _own(one) for name, one in value.items()}
    return [_own(one) for one in value] if isinstance(value, list) else value


@dataclass(frozen=True)
class _Wanted:
    """What a drawing depends on: all that an exercise says, and a seed."""

    exercise: Exercise
    seed: int

    def __hash__(self) -> int:
        return hash((self.exercise.slug, self.exercise.version, self.seed))


@lru_cache(maxsize=512)
def _drawn(wanted: _Wanted) -> Problem:
    # A problem is shown, answered step by step and shown again: drawn once for all of that.
    exercise, seed = wanted.exercise, wanted.seed
    lots = Lots(f"problem|{exercise.slug}|{seed}")
    kept = {name: _given(plan, {}, lots) for name, plan in exercise.given.items()
            if plan.get("keep")}
    for _ in range(TRIES):
        try:
            return _problem(exercise, seed, lots, kept)
        except (_Again, CalculationFault):
            continue
    raise DrawFault(f"{exercise.slug}: no drawing of seed {seed} keeps the constraints")


def draw_at(exercise: Exercise, seed: int, facts: Mapping[str, Any]) -> Problem | None:
    """Return a problem with the numbers of a worksite, or None where they make none.

    facts  what the exercise's `[worksite]` may name: a number, the key of a row, or words
    The rules of the exercise hold as ever: a concentration below the limit makes no problem
    about a respirator that is needed.
    """
    plan = exercise.worksite
    if plan is None:
        return None
    fixed = {name: _fact(exercise.given.get(name, {}), named, facts)
             for name, named in plan.given.items()}
    ask = _with_facts(plan.ask, facts) if plan.ask else exercise.ask
    if ask is None or any(value is None for value in fixed.values()):
        return None
    there = replace(exercise, ask=ask, inputs={**exercise.inputs, **plan.inputs})
    lots = Lots(f"problem|{exercise.slug}|{seed}")
    varies = any(_varies(given) for name, given in exercise.given.items() if name not in fixed)
    for _ in range(TRIES_AT_A_WORKSITE if varies else 1):
        try:
            found = _problem(there, seed, lots, fixed, plan.rounded)
        except (_Again, CalculationFault):
            continue
        return None if _contradicted(found, facts) else _cited(found, there, facts)
    return None


def _varies(plan: Mapping) -> bool:
    """Say whether lots are drawn for a given."""
    return not any(name in plan for name in ("look_up", "take", "list"))


def _fact(plan: Mapping, named: Any, facts: Mapping[str, Any]) -> Any:
    """Return what stands for a given: a row or choice that the exercise knows, a number, words."""
    if isinstance(named, Mapping):
        return _with_facts(words(named), facts)
    value = facts.get(named)
    if "from_table" in plan:
        known = (*_pool(plan, {}), *_rows(plan["from_table"], plan["also"])) \
            if "also" in plan else _pool(plan, {})
        return next((row for row in known if _key(row) == value), None)
    if any(isinstance(one, Mapping) for one in plan.get("one_of", ())):
        offered = map(_chosen, _pool(plan, {}))
        return next((one for one in offered if one.key == value), None)
    return value


def _with_facts(text: Words, facts: Mapping[str, Any]) -> Words | None:
    """Return words with the facts that are words; the names of givens stay for later.

    None where a fact is wanted that the worksite does not have.
    """
    wanted = [name for name in WORDS_OF_A_WORKSITE if f"{{{name}}}" in text.en + text.es]
    if any(facts.get(name) is None for name in wanted):
        return None
    said = {name: facts[name] if isinstance(facts[name], Words) else same(facts[name])
            for name in wanted}
    return Words(*(
        reduce(lambda filled, name: filled.replace(f"{{{name}}}", said[name](language)),
               wanted, text(language))
        for language in ("en", "es")
    ))


def _contradicted(problem: Problem, facts: Mapping[str, Any]) -> bool:
    """Say whether the worksite's cartridge has another limit than the problem tells of it."""
    row = next((row for row in TABLES["cartridge_limits"]()
                if row.slug == problem.drawn.get("cartridge")), None)
    worn = next((row for row in TABLES["respirator_classes"]()
                 if row.slug == problem.drawn.get("class")), None)
    if row is None or worn is None or not worn.air_purifying:
        return False
    return facts.get("cartridge_limit") != row.limit


def _cited(problem: Problem, exercise: Exercise, facts: Mapping[str, Any]) -> Problem:
    """Return the problem with its source, and each fact cited where a worked step first takes it.
    """
    taken = {name: named for name, named in exercise.worksite.given.items()
             if isinstance(named, str) and FACTS[named]}
    steps, left = [], dict(taken)
    for step, plan in zip(problem.steps, exercise.steps, strict=True):
        named = _named_in(plan, left)
        left = {name: fact for name, fact in left.items() if fact not in named}
        steps.append(replace(step, cited=_sources(named, facts)))
    if left == taken:  # no step names one by itself: the last one rests on them
        steps[-1] = replace(steps[-1], cited=_sources([*taken.values()], facts))
    first = next(kind for kind in _COMES_FROM if kind in {FACTS[fact] for fact in taken.values()})
    return replace(problem, steps=tuple(steps), source=_with_facts(_COMES_FROM[first], facts))


def _named_in(plan: StepPlan, taken: Mapping[str, str]) -> list[str]:
    """Return the facts whose givens a step names."""
    names = {found[2].partition(".")[0] for found in _NAME.finditer(plan.ask.en + plan.text.en)}
    return [fact for name, fact in taken.items() if name in names]


def _sources(named: list[str], facts: Mapping[str, Any]) -> Words | None:
    """Return where the weightiest of some facts come from; None where there are none."""
    kinds = {FACTS[fact] for fact in named}
    kind = next((kind for kind in _COMES_FROM if kind in kinds), None)
    if kind is None:
        return None
    source = _with_facts(_COMES_FROM[kind], facts)
    amounts = _amounts((fact for fact in named if FACTS[fact] == kind), facts)
    cited = (f"{amounts}{source(language)}." for language in ("en", "es"))
    return Words(*(one[:1].upper() + one[1:] for one in cited))


def _amounts(named: Iterable[str], facts: Mapping[str, Any]) -> str:
    """Return the concentrations among some facts with their unit, or nothing."""
    amounts = [f"{number(facts[fact])} {facts['unit'].en}" for fact in named
               if fact.startswith(("outside", "second_outside"))]
    return f"{', '.join(amounts)}: " if amounts else ""


def _problem(
    exercise: Exercise, seed: int, lots: Lots, kept: Mapping, rounded: bool = False
) -> Problem:
    """Return one drawing. rounded: numbers may need more than three figures.

    Errors: _Again when it breaks a rule, or CalculationFault.
    """
    drawn = dict(kept)
    for name, plan in exercise.given.items():
        if name not in drawn:
            drawn[name] = _given(plan, drawn, lots)
    if not all(CONSTRAINTS[name](drawn) for name in exercise.constraints):
        raise _Again
    calculation = CATALOGUE[exercise.calculation]
    inputs = _inputs(exercise, drawn)
    values = {**drawn, **calculation.parts(inputs)}
    if not all(_lies(path, plan, values) for path, plan in exercise.bounds.items()):
        raise _Again
    texts = _Texts(values, rounded)
    mistakes = {**values, **calculation.slips(inputs)}
    blank = _blank(exercise.answer, texts, mistakes)
    if exercise.answer.slips and not blank.slips:
        raise _Again
    steps = tuple(_step(plan, texts, mistakes) for plan in exercise.steps)
    return Problem(
        exercise=exercise.slug, version=exercise.version, seed=seed,
        calculation=exercise.calculation, inputs=inputs,
        drawn={name: _key(value) for name, value in drawn.items()},
        text=texts.shown(exercise.ask), hint=texts.shown(exercise.hint), blank=blank, steps=steps,
    )


def _step(plan: StepPlan, texts: "_Texts", mistakes: Mapping) -> Step:
    """Return one step; its worked text may say `{answer}`, the right answer with its unit."""
    blank = _blank(plan.blank, texts, mistakes)
    answer = Words(blank.right_text("en"), blank.right_text("es"))
    return Step(texts.shown(plan.ask), texts.shown(plan.text, answer=answer), blank)


def _inputs(exercise: Exercise, drawn: Mapping) -> dict[str, Any]:
    """Return the calculation's inputs; one whose given is nothing (no cartridge) is left out."""
    found = {name: _input(path, drawn) for name, path in exercise.inputs.items()}
    return {name: value for name, value in found.items() if value is not None}


def _input(path: Any, drawn: Mapping) -> Any:
    """Return what a name, a list of them or `{ is = ... }` stands for; a number is itself."""
    if isinstance(path, list):
        return [_input(one, drawn) for one in path]
    if isinstance(path, Mapping):
        return path["is"]
    return _key(_find(path, drawn)) if isinstance(path, str) else path


_ENDS: dict[str, Callable[[float, float], bool]] = {
    "from": ge, "above": gt, "to": le, "below": lt,
}


def _lies(path: str, plan: Mapping, values: Mapping) -> bool:
    """Return whether a number lies where `[bounds]` says; an end may be a number or a name."""
    value = _find(path, values)
    ends = {name: _find(end, values) if isinstance(end, str) else end for name, end in plan.items()}
    return all(_ENDS[name](value, end) for name, end in ends.items())


# Givens.


def _given(plan: Mapping, drawn: Mapping, lots: Lots) -> Any:
    """Return what one given is in this drawing: a number, a row, words, or a list of them."""
    if "look_up" in plan:
        return _looked_up(plan, drawn)
    if "take" in plan:
        return _find(plan["take"], drawn) if _find(plan["when"], drawn) else None
    if "list" in plan:
        return tuple(_chosen(item) for item in plan["list"])
    pool = _pool(plan, drawn)
    if not pool:
        raise _Again
    if "sample" in plan:
        return tuple(_chosen(item) for item in lots.shuffled(pool)[: plan["sample"]])
    return _chosen(lots.one_of(pool))


def _pool(plan: Mapping, drawn: Mapping) -> Sequence:
    """Return what a given is one of; what the exercise lists itself is still to be `_chosen`."""
    if "one_of" in plan:
        return plan["one_of"]
    if "from_table" in plan:
        return _rows(plan["from_table"], plan.get("needs", {}))
    low, high = (_bound(plan[end], drawn) for end in ("from", "to"))
    if "figures" in plan:
        return _rounded_numbers(low, high, plan["figures"])
    return _stepped_numbers(low, high, _exact(plan["step"]))


def _chosen(item: Any) -> Any:
    return Choice(item["key"], words(item)) if isinstance(item, Mapping) else item


def _rows(table: str, needs: Mapping) -> tuple:
    """Return the rows whose fields are as needed, by their key, so that order is not chance."""
    return _fitting(table, tuple(
        (name, tuple(wanted) if isinstance(wanted, list) else wanted)
        for name, wanted in needs.items()
    ))


@lru_cache(maxsize=256)
def _fitting(table: str, needs: tuple[tuple[str, Any], ...]) -> tuple:
    rows = [row for row in TABLES[table]() if all(_fits(row, *need) for need in needs)]
    return tuple(sorted(rows, key=_key))


def _fits(row: Any, name: str, wanted: Any) -> bool:
    value = getattr(row, name)
    return value in wanted if isinstance(wanted, tuple) else value == wanted


def _looked_up(plan: Mapping, drawn: Mapping) -> Any:
    found = _key(_find(plan["look_up"], drawn))
    name = str(found).lower() if isinstance(found, bool) else str(found)
    value = plan["values"].get(name, plan["values"].get("otherwise"))
    if "from_table" in plan:
        return next((row for row in TABLES[plan["from_table"]]() if _key(row) == value), None)
    if isinstance(value, Mapping):
        return _find(value["given"], drawn) if "given" in value else words(value)
    return value


def _bound(end: Any, drawn: Mapping) -> Decimal:
    found = _find(end, drawn) if isinstance(end, str) else end
    if found is None:
        raise _Again
    return _exact(found)


def _exact(value: float) -> Decimal:
    return Decimal(repr(float(value)))


@cache
def _stepped_numbers(low: Decimal, high: Decimal, step: Decimal) -> list[float]:
    return [float(low + step * count) for count in range(int((high - low) / step) + 1)]


@cache
def _rounded_numbers(low: Decimal, high: Decimal, figures: int) -> list[float]:
    """Return every number from low to high that has at most so many significant figures."""
    found, value = [], low
    while value <= high:
        step = Decimal(1).scaleb(value.adjusted() - figures + 1)
        value = (value / step).to_integral_value(rounding="ROUND_CEILING") * step
        if value <= high:
            found.append(float(value))
        value += step
    return found


# Constraints, by the names that exercises use. They read the givens `concentration`,
# `substance` (a contaminant), `limit` (the employer's own), `class` (a respirator class),
# `cartridge`, `case` and `aim`.


def _above_limit(drawn: Mapping) -> bool:
    """Is there a need for the respirator at all?"""
    return drawn["concentration"] > drawn["substance"].limit


def _below_idlh(drawn: Mapping) -> bool:
    """At the IDLH and above it only the two choices of 29 CFR 1910.134(d)(2)(i) may be worn."""
    idlh = drawn["substance"].idlh
    return idlh is not None and drawn["concentration"] < idlh


def _class_is_enough(drawn: Mapping) -> bool:
    """Is the factor of the class not less than the hazard ratio, (d)(3)(i)(A)?"""
    return drawn["concentration"] <= drawn["class"].apf * drawn["substance"].limit


def _within_cartridge(drawn: Mapping) -> bool:
    """Is the concentration within the cartridge's own limit, 42 CFR 84.190(a)?"""
    cartridge = _cartridge(drawn)
    return cartridge is None or drawn["concentration"] <= cartridge.limit


def _cartridge_serves(drawn: Mapping) -> bool:
    """An air-purifying respirator needs a cartridge that serves, or a filter for particulates."""
    if not drawn["class"].air_purifying or drawn["substance"].kind == "particulate":
        return True
    return drawn["cartridge"] is not None


def _case_holds(drawn: Mapping) -> bool:
    """Is factor times limit above the lower cap ("capped"), or below it, as `case` says?"""
    substance, cartridge = drawn["substance"], _cartridge(drawn)
    cap = min(substance.idlh, cartridge.limit) if cartridge else substance.idlh
    product = drawn["class"].apf * drawn.get("limit", substance.limit)
    return product > cap if drawn["case"] == "capped" else product < cap


def _factor_is_aim(drawn: Mapping) -> bool:
    """Is the smallest factor that is enough the one in `aim`? Most hazards need only 5 or 10."""
    ratio = drawn["concentration"] / drawn["substance"].limit
    return min(apf for apf in classes.factors() if apf >= ratio) == drawn["aim"]


def _cartridge(drawn: Mapping) -> Any:
    return drawn["cartridge"] if drawn["class"].air_purifying else None


CONSTRAINTS: dict[str, Callable[[Mapping], bool]] = {
    "above-limit": _above_limit,
    "below-idlh": _below_idlh,
    "class-is-enough": _class_is_enough,
    "within-cartridge": _within_cartridge,
    "cartridge-serves": _cartridge_serves,
    "case-holds": _case_holds,
    "factor-is-aim": _factor_is_aim,
}


# Blanks and texts.


def _blank(plan: BlankPlan, texts: "_Texts", mistakes: Mapping) -> Blank:
    found = _find(plan.part, texts.values)
    value = _clean(found) if plan.kind == "number" else _text_key(found)
    rounded = plan.rounded or (texts.rounds and plan.within >= _ROUNDED_WITHIN)
    if plan.kind == "number" and not rounded and not few_figures(value):
        raise _Again
    choices = tuple(_option(item, plan) for item in texts.values[plan.options]) \
        if plan.options else ()
    if choices and value not in [key for key, _ in choices]:
        raise _Again
    unit = texts.unit(plan.unit)
    slips = tuple(_slips(plan, value, texts, mistakes, dict(choices)))
    return Blank(plan.kind, value, unit, plan.within, choices, slips, plan.other_units)


def _option(item: Any, plan: BlankPlan) -> tuple[str, Words]:
    if isinstance(item, _PLAIN):
        return _text_key(item), same(number(item))
    label = getattr(item, plan.label)
    value = getattr(item, plan.value) if plan.value else item
    return _text_key(value), \
        Words(label("en"), label("es")) if callable(label) else same(str(label))


def _slips(plan: BlankPlan, right: Any, texts: "_Texts", mistakes: Mapping,
           offered: Mapping[str, Words]) -> Iterable[Slip]:
    """Yield the slips whose answers differ from the right one and from each other."""
    taken = [right]
    for slip in plan.slips:
        for value in _slip_values(plan, slip, mistakes):
            if offered and value not in offered:
                continue
            if not any(_alike(plan, value, other) for other in taken):
                taken.append(value)
                this = offered.get(value, value)
                yield Slip(slip.key, value, texts.rounded(slip.say, this=this))


def _slip_values(plan: BlankPlan, slip: SlipPlan, mistakes: Mapping) -> list:
    """Return what a slip gives: nothing in this drawing, one answer, or several of a pick."""
    try:
        found = _find(slip.key, mistakes)
    except KeyError:
        return []
    every = found if _are_several(found) else [] if found is None else [found]
    read = _clean if plan.kind == "number" else _text_key
    return [read(one) for one in every]


def _clean(value: float) -> float:
    """Return the number without the last digits, which binary fractions leave behind."""
    return float(f"{value:.12g}")


def _alike(plan: BlankPlan, value: Any, other: Any) -> bool:
    if plan.kind != "number":
        return value == other
    apart = _APART * max(plan.within, SLIP_WITHIN)
    return abs(value - other) <= apart * max(abs(value), abs(other))


_NAME, _GAP = re.compile(r"(= )?\{([a-z_0-9.]+)(~?)\}"), re.compile(r" {2,}")


class _Texts:
    """Fills `{names}` in texts with the values of a drawing.

    rounds  a number with more than three figures is rounded, and its "=" becomes "≈"
    """

    def __init__(self, values: Mapping[str, Any], rounds: bool = False) -> None:
        self.values = values
        self.rounds = rounds

    def shown(self, text: Words, **more: Any) -> Words:
        """Return the text filled in; drawn again when a number would have to be rounded."""
        return self._both(text, more, True)

    def rounded(self, text: Words, **more: Any) -> Words:
        """Return the text filled in, with long numbers rounded."""
        return self._both(text, more, False)

    def unit(self, unit: str) -> str:
        """Return the unit, which may be `{substance.unit}`."""
        return self._fill(unit, "en", self.values, False)

    def _both(self, text: Words, more: Mapping, exact: bool) -> Words:
        values = {**self.values, **more} if more else self.values
        return Words(
            self._fill(text.en, "en", values, exact), self._fill(text.es, "es", values, exact)
        )

    def _fill(self, text: str, language: str, values: Mapping, exact: bool) -> str:
        filled = text
        if "{" in text:
            filled, names = _parted(text)
            for name, after in names:
                filled += self._say(name, language, values, exact) + after
        return _GAP.sub(" ", filled).strip() if "  " in filled else filled.strip()

    def _say(self, name: "_Name", language: str, values: Mapping, exact: bool) -> str:
        value = _find(name.path, values)
        if not isinstance(value, (int, float)):
            return name.sign + self._fill(_said(value, language), language, values, exact)
        if few_figures(value):
            return name.sign + number(value)
        if exact and not name.rounded and not self.rounds:
            raise _Again
        return (name.sign.replace("=", "≈") if self.rounds else name.sign) + number(value)


class _Name(NamedTuple):
    """A `{name}` in a text: the "= " before it, what it names, may its number be rounded?"""

    sign: str
    path: str
    rounded: bool


@lru_cache(maxsize=2**12)
def _parted(text: str) -> tuple[str, tuple[tuple[_Name, str], ...]]:
    """Return what stands before the first name of a text, and each name with what follows it."""
    before, *rest = _NAME.split(text)
    return before, tuple(
        (_Name(sign or "", path, bool(rounded)), after)
        for sign, path, rounded, after in zip(*[iter(rest)] * 4, strict=True)
    )


def _said(value: Any, language: str) -> str:
    if isinstance(value, str):
        return value
    named = value if callable(value) else value.name
    return named(language) if callable(named) else named


def _find(path: str, values: Mapping) -> Any:
    """Return a value by its name, or a field of it as in `class.apf`. Errors: KeyError.

    Of a list it is that field of each.
    """
    name, _, attribute = path.partition(".")
    value = values[name]
    if not attribute or value is None:
        return value
    if _are_several(value):
        return tuple(getattr(one, attribute) for one in value)
    return getattr(value, attribute)


def _are_several(value: Any) -> bool:
    """Say whether a value is a list of values; a row of a table is one, named tuple or not."""
    return type(value) in (tuple, list)


_PLAIN = (str, int, float)


def _key(value: Any) -> Any:
    """Return what stands for a value in JSON: itself, or the slug of a row."""
    if value is None or isinstance(value, _PLAIN):
        return value
    if _are_several(value):
        return [_key(item) for item in value]
    if isinstance(value, Words):
        return value.en
    for attribute in ("slug", "prefix", "key", "name"):
        if isinstance(key := getattr(value, attribute, None), _PLAIN):
            return key
    return value


def _text_key(value: Any) -> str:
    key = _key(value)
    if isinstance(key, str):
        return key
    return f"{key:g}" if isinstance(key, (int, float)) and not isinstance(key, bool) else str(key)


# The questions of a sitting.


def draw_questions(
    bank: Bank, lesson: str, seed: int, seen: set[str], missed: AbstractSet[str] = frozenset()
) -> tuple[Question, ...]:
    """Return the questions of a sitting: every must-know, and others up to nine, in mixed order.

    Each element that the lesson asks about is asked at least once. Questions that the person has
    not had (slugs in `seen`) come before those they last missed, and these before the rest.
    """
    lots = Lots(f"questions|{lesson}|{seed}")
    questions = bank.for_lesson(lesson)
    must = [question for question in questions if question.must_know]
    others = lots.shuffled([question for question in questions if not question.must_know])
    others.sort(key=lambda question: (question.slug in seen, question.slug not in missed))
    firsts = _one_of_each_element(others, {question.element for question in must})
    rest = [question for question in others if question not in firsts]
    wanted = max(len(firsts), QUESTIONS_IN_A_SITTING - len(must))
    return tuple(lots.shuffled(must + (firsts + rest)[:wanted]))


def _one_of_each_element(questions: list[Question], covered: set[str]) -> list[Question]:
    """Return the first question of each element that is not covered yet."""
    firsts: dict[str, Question] = {}
    for question in questions:
        if question.element not in covered:
            firsts.setdefault(question.element, question)
    return list(firsts.values())
