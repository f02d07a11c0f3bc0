"""What a calculation says when it cannot be done with what it was given, and how it notices."""

from collections.abc import Iterable
from fractions import Fraction
from functools import lru_cache
from math import isfinite

from trainer.reference import respirator_classes
from trainer.words import Words

SMALLEST, LARGEST = 1e-9, 1e9
"""No limit of the trade is smaller and no concentration larger, whatever the unit."""


class CalculationFault(ValueError):
    """Bad input: `parameter` names it, and one sentence says what is wrong and what is right.

    sentence  both languages; `{it}` stands for the parameter, which code and command line call
              by its name and a page by its label
    """

    def __init__(self, parameter: str, en: str, es: str, **parts: str | Words) -> None:
        self.parameter = parameter
        self.sentence = Words(en, es).filled(**{"it": "{it}", **parts})
        super().__init__(self.say("en", parameter))

    def say(self, language: str, label: str) -> str:
        """Return the sentence in the language, with the label that the reader knows."""
        return self.sentence(language).replace("{it}", label)


def missing(parameter: str) -> CalculationFault:
    """Return the fault of a parameter that was not given."""
    return CalculationFault(parameter, "{it} is missing.", "Falta {it}.")


def number(parameter: str, value: object, low: float, high: float) -> float:
    """Return the value as a float. Errors: CalculationFault unless it is from low to high."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise CalculationFault(
            parameter, "{it} must be a number.", "{it} tiene que ser un número."
        )
    if not low <= value <= high:
        raise CalculationFault(
            parameter, "{it} must be from {low} to {high}.",
            "{it} tiene que estar entre {low} y {high}.",
            low=f"{low:,g}", high=f"{high:,g}",
        )
    return float(value)


def positive(parameter: str, value: object) -> float:
    """Return the value as a float. Errors: CalculationFault unless it is a number above zero."""
    found = not_negative(parameter, value)
    if found == 0:
        raise CalculationFault(
            parameter, "{it} must be above zero.", "{it} tiene que ser mayor que cero."
        )
    return number(parameter, found, SMALLEST, LARGEST)


def not_negative(parameter: str, value: object) -> float:
    """Return the value as a float. Errors: CalculationFault unless it is zero or above."""
    found = number(parameter, value, -LARGEST, LARGEST)
    if found < 0:
        raise CalculationFault(
            parameter, "{it} must not be below zero.", "{it} no puede ser menor que cero."
        )
    return found


def percentage(parameter: str, value: object) -> float:
    """Return the value as a float. Errors: CalculationFault unless it is from 0 to 100."""
    found = not_negative(parameter, value)
    if found > 100:
        raise CalculationFault(
            parameter, "{it} must not be above 100 %.", "{it} no puede ser mayor que 100 %."
        )
    return found


def whole(parameter: str, value: object, low: int, high: int) -> int:
    """Return the value as an int. Errors: CalculationFault unless whole, from low to high."""
    found = number(parameter, value, low, high)
    if found != int(found):
        raise CalculationFault(
            parameter, "{it} must be a whole number.", "{it} tiene que ser un número entero."
        )
    return int(found)


def listed(parameter: str, values: object) -> list:
    """Return the values as a list. Errors: CalculationFault unless there is at least one."""
    if isinstance(values, str) or not isinstance(values, Iterable):
        raise CalculationFault(
            parameter, "{it} must be a list.", "{it} tiene que ser una lista."
        )
    found = list(values)
    if not found:
        raise CalculationFault(
            parameter, "{it} must hold at least one number.",
            "{it} necesita por lo menos un número.",
        )
    return found


def as_many(parameter: str, values: list, others: list) -> None:
    """Refuse a list that does not pair with the others. Errors: CalculationFault."""
    if len(values) != len(others):
        raise CalculationFault(
            parameter, "{it} must hold {count} numbers, one for each.",
            "{it} necesita {count} números, uno para cada uno.", count=str(len(others)),
        )


def one_of(parameter: str, value: object, words: Iterable[str]) -> str:
    """Return the word. Errors: CalculationFault unless it is one of those allowed."""
    allowed = tuple(words)
    if value not in allowed:
        raise CalculationFault(
            parameter, "{it} must be one of {allowed}.",
            "{it} tiene que ser uno de estos: {allowed}.",
            allowed=", ".join(allowed),
        )
    return str(value)


def yes_or_no(parameter: str, value: object) -> bool:
    """Return the value. Errors: CalculationFault unless it is True or False."""
    if not isinstance(value, bool):
        raise CalculationFault(
            parameter, "{it} must be yes or no.", "{it} tiene que ser sí o no."
        )
    return value


def assigned_factor(parameter: str, value: object) -> int:
    """Return the factor as an int. Errors: CalculationFault unless a class of Table 1 has it."""
    found = positive(parameter, value)
    if found not in respirator_classes.factors():
        raise CalculationFault(
            parameter, "{it} must be a factor of Table 1: {allowed}.",
            "{it} tiene que ser un factor de la Tabla 1: {allowed}.",
            allowed=", ".join(f"{one:,}" for one in respirator_classes.factors()),
        )
    return int(found)


@lru_cache(maxsize=2**12)
def exactly(value: float) -> Fraction:
    """Return the number as it is written, 0.3 as three tenths.

    In binary floats 0.3 / 0.03 is a little above 10, and a respirator with a factor of 10
    would be refused; the boundaries of the trade are decimal and are compared as decimals.
    """
    return Fraction(repr(float(value)))
