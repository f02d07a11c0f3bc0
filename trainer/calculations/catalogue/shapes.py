"""What the catalogue says of a calculation and of each of its parameters.

Shapes here, and in most of what `calculate` imports, are named tuples: `dataclasses` takes longer
to import than all the arithmetic.
"""

import re
from collections.abc import Callable, Mapping
from math import isclose
from typing import Any, NamedTuple

from trainer.words import Words, as_typed, number, same

Inputs = Mapping[str, Any]
Named = dict[str, Any]

SAME_UNIT = "unit"
"""Stands for the unit of concentration that the person uses, one for the whole calculation."""

CONCENTRATION_UNITS = ("ppm", "mg/m³", "µg/m³", "f/cm³")
FIGURES = 4
_MOST_FIGURES = 12


class Parameter(NamedTuple):
    """One parameter.

    unit     "" for none, SAME_UNIT for the one of the calculation
    label    what it is, as a form asks for it
    range    what is valid, in words
    kind     "number", "numbers" (a list), "whole", "yes-no", "word", "words" (a list), "date",
             "factor" (one of Table 1), "segments" (a list of hours, concentration, factor)
    needed   False where it may be left out
    choices  of a word: (key, words); of words: likewise, some are chosen
    usual    what counts where it is left out, to be shown; None: nothing
    """

    name: str
    unit: str
    label: Words
    range: Words
    kind: str = "number"
    needed: bool = True
    choices: tuple[tuple[str, Words], ...] = ()
    usual: Any = None


class Calculation(NamedTuple):
    """One calculation.

    title        what it finds
    asks         what a person wants to know
    result_unit  SAME_UNIT, a unit, or ""
    parts        inputs -> the named results of its steps, "result" the last
    slips        inputs -> what each usual mistake gives; a list where it can give several
    steps        inputs, parts, unit -> the steps worked out, in words
    example      inputs that make sense
    caution      what must be said beside this one, or None
    plot         the name of a drawing of the result, or ""
    figures      how many of the result mean anything
    """

    name: str
    function: Callable[..., Any]
    title: Words
    asks: Words
    parameters: tuple[Parameter, ...]
    result_unit: str
    source: str
    parts: Callable[[Inputs], Named]
    slips: Callable[[Inputs], Named]
    steps: Callable[[Inputs, Named, str], list[Words]]
    example: Mapping[str, Any]
    caution: Words | None = None
    plot: str = ""
    figures: int = FIGURES

    def parameter(self, name: str) -> Parameter | None:
        """Return the parameter of that name, or None."""
        return next((one for one in self.parameters if one.name == name), None)

    @property
    def shares_unit(self) -> bool:
        """Say whether the person names the unit of concentration."""
        return any(one.unit == SAME_UNIT for one in self.parameters)

    def unit_of_result(self, unit: str) -> str:
        """Return the unit of the result; "as ambient" where it is that of an input, unnamed."""
        if self.result_unit != SAME_UNIT:
            return self.result_unit
        return unit or f"as {next(p.name for p in self.parameters if p.unit == SAME_UNIT)}"


class Group(NamedTuple):
    """Calculations that answer one kind of question."""

    slug: str
    asks: Words
    calculations: tuple[Calculation, ...]


def only(function: Callable[..., Any]) -> Callable[[Inputs], Named]:
    """Return parts that hold nothing but the result."""
    return lambda inputs: {"result": function(**inputs)}


def none(_inputs: Inputs) -> Named:
    """Return no slips."""
    return {}


def apart(slips: Named, result: float) -> Named:
    """Return the slips that differ from the right result."""
    return {key: value for key, value in slips.items() if not isclose(value, result)}


def but(right: str, verdicts: Named) -> Named:
    """Return the verdicts, by the mistake that leads to each, without the right one."""
    return {key: value for key, value in verdicts.items() if value != right}


# Steps in words.


def step(en: str, es: str = "", **values: Any) -> Words:
    """Return one step; numbers are written with every figure that was given.

    Text that is alike in both languages is given once.
    """
    parts = {name: _part(value) for name, value in values.items()}
    filled = (Words(en, es) if es else same(en)).filled(**parts)
    # Where no unit is named, none leaves a gap.
    return Words(*(re.sub(r" +(?=[ .,;:)]|$)", "", said) for said in (filled.en, filled.es)))


def comes_to(value: float, bound: float | None = None) -> str:
    """Return the result of a step: `= 2.8`, or `≈ 376.7` where figures are left out.

    bound  what it will be compared with: enough figures are kept to set the two apart

    >>> comes_to(2.8), comes_to(376.687), comes_to(1.00001, 1)
    ('= 2.8', '≈ 376.7', '= 1.00001')
    """
    shown = number(value, figures=FIGURES) if bound is None else beside(value, bound)
    exact = isclose(float(shown.replace(",", "")), value, rel_tol=1e-9)
    return f"{'=' if exact else '≈'} {shown}"


def beside(value: float, bound: float) -> str:
    """Return the number with as many figures as set it apart from a bound.

    >>> beside(99.9996, 100), beside(499.99, 500), beside(612.34, 500)
    ('99.9996', '499.99', '612.3')
    """
    for figures in range(FIGURES, _MOST_FIGURES):
        shown = number(value, figures=figures)
        if value == bound or float(shown.replace(",", "")) != bound:
            return shown
    return as_typed(value)


def added(terms: list[str]) -> str:
    """Return terms of a sum, joined."""
    return " + ".join(terms)


def _part(value: Any) -> str | Words:
    if isinstance(value, bool | str | Words):
        return value if isinstance(value, Words) else str(value)
    return as_typed(value) if isinstance(value, int | float) else str(value)


# Parameters that several calculations have.

ZERO_AND_ABOVE = Words("0 and above", "0 o más")
ABOVE_ZERO = Words("above 0", "mayor que 0")
PERCENT_RANGE = Words("0 to 100", "de 0 a 100")
YES_OR_NO = Words("yes or no", "sí o no")
TABLE_1 = "29 CFR 1910.134(d)(3)(i)(A), Table 1"

APF = Parameter(
    "apf", "",
    Words("Assigned protection factor", "Factor de protección asignado"),
    Words("a factor of Table 1", "un factor de la Tabla 1"), "factor",
)  # fmt: skip
CONCENTRATION = Parameter(
    "concentration", SAME_UNIT, Words("Concentration outside", "Concentración afuera"),
    ZERO_AND_ABOVE,
)  # fmt: skip
LIMIT = Parameter("limit", SAME_UNIT, Words("Exposure limit", "Límite de exposición"), ABOVE_ZERO)


def yes_no(name: str, en: str, es: str, needed: bool = False) -> Parameter:
    """Return a parameter that is yes or no; no where it is left out."""
    return Parameter(name, "", Words(en, es), YES_OR_NO, "yes-no", needed,
                     usual=None if needed else False)
