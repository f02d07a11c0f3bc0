"""What a calculation says when it cannot be done with what it was given, and how it notices."""

from collections.abc import Iterable
from fractions import Fraction
from math import isfinite

from trainer.reference import respirator_classes

SMALLEST, LARGEST = 1e-9, 1e9
"""No limit of the trade is smaller and no concentration larger, whatever the unit."""


class CalculationFault(ValueError):
    """Bad input: `parameter` names it, the text is one sentence that says what is wrong."""

    def __init__(self, parameter: str, sentence: str) -> None:
        super().__init__(sentence)
        self.parameter = parameter


def number(parameter: str, value: object, low: float, high: float) -> float:
    """Return the value as a float. Errors: CalculationFault unless it is from low to high."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise CalculationFault(parameter, f"{parameter} must be a number.")
    if not low <= value <= high:
        raise CalculationFault(parameter, f"{parameter} must be from {low:,g} to {high:,g}.")
    return float(value)


def positive(parameter: str, value: object) -> float:
    """Return the value as a float. Errors: CalculationFault unless it is a number above zero."""
    found = not_negative(parameter, value)
    if found == 0:
        raise CalculationFault(parameter, f"{parameter} must be above zero.")
    return number(parameter, found, SMALLEST, LARGEST)


def not_negative(parameter: str, value: object) -> float:
    """Return the value as a float. Errors: CalculationFault unless it is zero or above."""
    found = number(parameter, value, -LARGEST, LARGEST)
    if found < 0:
        raise CalculationFault(parameter, f"{parameter} must not be below zero.")
    return found


def percentage(parameter: str, value: object) -> float:
    """Return the value as a float. Errors: CalculationFault unless it is from 0 to 100."""
    found = not_negative(parameter, value)
    if found > 100:
        raise CalculationFault(parameter, f"{parameter} must not be above 100 %.")
    return found


def whole(parameter: str, value: object, low: int, high: int) -> int:
    """Return the value as an int. Errors: CalculationFault unless whole, from low to high."""
    found = number(parameter, value, low, high)
    if found != int(found):
        raise CalculationFault(parameter, f"{parameter} must be a whole number.")
    return int(found)


def listed(parameter: str, values: object) -> list:
    """Return the values as a list. Errors: CalculationFault unless there is at least one."""
    if isinstance(values, str) or not isinstance(values, Iterable):
        raise CalculationFault(parameter, f"{parameter} must be a list of numbers.")
    found = list(values)
    if not found:
        raise CalculationFault(parameter, f"{parameter} must hold at least one number.")
    return found


def as_many(parameter: str, values: list, others: list) -> None:
    """Refuse a list that does not pair with the others. Errors: CalculationFault."""
    if len(values) != len(others):
        raise CalculationFault(parameter, f"{parameter} must hold {len(others)} numbers.")


def one_of(parameter: str, value: object, words: Iterable[str]) -> str:
    """Return the word. Errors: CalculationFault unless it is one of those allowed."""
    allowed = tuple(words)
    if value not in allowed:
        raise CalculationFault(parameter, f"{parameter} must be one of {', '.join(allowed)}.")
    return str(value)


def yes_or_no(parameter: str, value: object) -> bool:
    """Return the value. Errors: CalculationFault unless it is True or False."""
    if not isinstance(value, bool):
        raise CalculationFault(parameter, f"{parameter} must be yes or no.")
    return value


def assigned_factor(parameter: str, value: object) -> int:
    """Return the factor as an int. Errors: CalculationFault unless a class of Table 1 has it."""
    found = positive(parameter, value)
    if found not in respirator_classes.factors():
        raise CalculationFault(parameter, "No class of Table 1 has this factor.")
    return int(found)


def exactly(value: float) -> Fraction:
    """Return the number as it is written, 0.3 as three tenths.

    In binary floats 0.3 / 0.03 is a little above 10, and a respirator with a factor of 10
    would be refused; the boundaries of the trade are decimal and are compared as decimals.
    """
    return Fraction(repr(float(value)))
