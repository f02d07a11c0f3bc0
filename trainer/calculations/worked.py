"""A calculation worked out: from what was written to the result and its steps."""

import re
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from trainer.calculations.catalogue.shapes import CONCENTRATION_UNITS, Calculation, Parameter
from trainer.calculations.faults import CalculationFault, missing
from trainer.words import Words

if TYPE_CHECKING:
    from datetime import date

_NUMBER = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d{1,3})?", re.ASCII)
_YES, _NO = ("true", "yes", "sí", "si"), ("false", "no")
_UNITS = {"mg/m3": "mg/m³", "ug/m3": "µg/m³", "μg/m³": "µg/m³", "μg/m3": "µg/m³", "f/cm3": "f/cm³"}


class Worked(NamedTuple):
    """What came out.

    inputs  as the function got them
    parts   the named results of the steps
    unit    of the result
    shared_unit   of concentration, as the person named it; "" where they did not
    steps   in words
    """

    calculation: Calculation
    inputs: dict[str, Any]
    parts: dict[str, Any]
    unit: str
    shared_unit: str
    steps: tuple[Words, ...]

    @property
    def result(self) -> Any:
        """Return the result."""
        return self.parts["result"]


def work(calculation: Calculation, inputs: Mapping[str, Any], unit: str = "") -> Worked:
    """Work a calculation out.

    inputs  by parameter, each of its kind; what may be left out is not there
    unit    the unit of concentration, where the calculation lets the person name one
    Errors: CalculationFault names the parameter.
    """
    given = dict(inputs)
    unit = _unit(calculation, unit)
    calculation.function(**given)  # its faults come before those of the steps
    parts = calculation.parts(given)
    steps = tuple(calculation.steps(given, parts, unit))
    return Worked(
        calculation, given, parts, calculation.unit_of_result(unit), unit, steps
    )


def read(calculation: Calculation, texts: Mapping[str, str]) -> dict[str, Any]:
    """Return the inputs of what was written; an empty text counts as left out.

    texts   by parameter: `2.5`; a list `150,75,50`; periods `6:500:50,2:20:1`; `true`; a date
            `2026-03-31`
    Errors: CalculationFault, also for a parameter that there is not, or that is missing.
    """
    for name in texts:
        if calculation.parameter(name) is None:
            raise CalculationFault(
                name, "{it} is no parameter of {name}; its parameters are {all}.",
                "{it} no es un parámetro de {name}; sus parámetros son {all}.",
                name=calculation.name, all=", ".join(one.name for one in calculation.parameters),
            )
    inputs = {}
    for parameter in calculation.parameters:
        text = texts.get(parameter.name, "").strip()
        if text:
            inputs[parameter.name] = _READERS[parameter.kind](parameter, text)
        elif parameter.needed:
            raise missing(parameter.name)
    return inputs


def _unit(calculation: Calculation, unit: str) -> str:
    if not unit or not calculation.shares_unit:
        return ""
    known = _UNITS.get(unit, unit)
    if known not in CONCENTRATION_UNITS:
        raise CalculationFault(
            "unit", "{it} must be one of {all}.", "{it} tiene que ser una de estas: {all}.",
            all=", ".join(CONCENTRATION_UNITS),
        )
    return known


def _plain_number(parameter: str, text: str) -> float:
    if not _NUMBER.fullmatch(text):
        raise CalculationFault(
            parameter, "{it} must be a number.", "{it} tiene que ser un número."
        )
    return float(text)


def _number(parameter: Parameter, text: str) -> float:
    return _plain_number(parameter.name, text)


def _numbers(parameter: Parameter, text: str) -> list[float]:
    return [_plain_number(parameter.name, one.strip()) for one in text.split(",")]


def _segments(parameter: Parameter, text: str) -> list[list[float]]:
    return [[_plain_number(parameter.name, one.strip()) for one in period.split(":")]
            for period in text.split(",")]


def _yes_no(parameter: Parameter, text: str) -> bool:
    if text.lower() in (*_YES, *_NO):
        return text.lower() in _YES
    raise CalculationFault(
        parameter.name, "{it} must be true or false.", "{it} tiene que ser sí o no."
    )


def _word(parameter: Parameter, text: str) -> str:
    """Return the word, as it is written among the choices whatever its case."""
    known = {key.casefold(): key for key, _ in parameter.choices}
    return known.get(text.casefold(), text)


def _words(parameter: Parameter, text: str) -> list[str]:
    return [_word(parameter, one.strip()) for one in text.split(",")]


def _date(parameter: Parameter, text: str) -> "date":
    from datetime import date  # few calculations have one

    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CalculationFault(
            parameter.name, "{it} must be a date, such as 2026-03-31.",
            "{it} tiene que ser una fecha, como 2026-03-31.",
        ) from None


_READERS: dict[str, Callable[[Parameter, str], Any]] = {
    "number": _number, "whole": _number, "factor": _number, "numbers": _numbers,
    "segments": _segments, "yes-no": _yes_no, "word": _word, "text": _word, "words": _words,
    "date": _date,
}


def written(inputs: Mapping[str, Any]) -> dict[str, str]:
    """Return inputs as `read` would read them again.

    >>> written({"segments": [[6, 500, 50], [2, 20, 1]], "oil": True})
    {'segments': '6:500:50,2:20:1', 'oil': 'true'}
    """
    return {name: _written(value) for name, value in inputs.items()}


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return f"{value:.12g}"
    if isinstance(value, str) or not isinstance(value, Sequence):
        return str(value)
    return ",".join(_period(one) for one in value)


def _period(value: Any) -> str:
    """Return one of a list; what is itself a list is a period, `6:500:50`."""
    if isinstance(value, str) or not isinstance(value, Sequence):
        return _written(value)
    return ":".join(_written(one) for one in value)
