"""`calculate` itself: it needs the arithmetic and nothing else, so that it is quick."""

import sys
from collections.abc import Iterator, Sequence
from typing import Any

from trainer.calculations.catalogue import Calculation, find
from trainer.calculations.faults import CalculationFault
from trainer.calculations.worked import Worked, read, work
from trainer.words import as_typed

BAD_USE = 2


class NotWorked(ValueError):
    """It cannot be worked out; one sentence says why."""


def run(name: str, given: Sequence[str]) -> int:
    """Print a calculation worked out, in English; return the exit code."""
    try:
        for line in lines(worked(name, given), "en"):
            print(line)
    except NotWorked as fault:
        print(fault, file=sys.stderr)
        return BAD_USE
    return 0


def worked(name: str, given: Sequence[str]) -> Worked:
    """Work a calculation out with what was written as KEY=VALUE. Errors: NotWorked."""
    calculation, pairs = _calculation(name), _pairs(given)
    unit = "" if calculation.parameter("unit") else pairs.pop("unit", "")
    try:
        return work(calculation, read(calculation, pairs), unit)
    except CalculationFault as fault:
        raise NotWorked(str(fault)) from None


def lines(worked: Worked, language: str) -> Iterator[str]:
    """Give the result with its unit, then the steps, the source and the caution."""
    yield f"{_shown(worked.result)} {worked.unit}".strip()
    yield from (f"  {step(language)}" for step in worked.steps)
    yield f"  {worked.calculation.source}"
    if worked.calculation.caution:
        yield f"  {worked.calculation.caution(language)}"


def _calculation(name: str) -> Calculation:
    found = find(name)
    if found is None:
        raise NotWorked(
            f"There is no calculation named {name}; donning-room calculations lists them."
        )
    return found


def _pairs(given: Sequence[str]) -> dict[str, str]:
    pairs: dict[str, str] = {}
    for one in given:
        key, sign, value = one.partition("=")
        if not sign:
            raise NotWorked(f"{one} must be written KEY=VALUE, such as apf=50.")
        if key in pairs:
            raise NotWorked(f"{key} is given twice.")
        pairs[key] = value
    return pairs


def _shown(result: Any) -> str:
    if isinstance(result, bool):
        return str(result).lower()
    if isinstance(result, int | float):
        return as_typed(float(f"{result:.12g}"))
    return ", ".join(result) if isinstance(result, list) else str(result)
