"""What filter ratings promise, and which filter serves a task."""

from collections.abc import Sequence

from trainer.calculations.faults import (
    CalculationFault,
    exactly,
    not_negative,
    percentage,
    whole,
    yes_or_no,
)
from trainer.reference import filter_classes
from trainer.reference.filter_classes import FilterClass


def filter_penetration(efficiency_percent: float) -> float:
    """Return the largest share of the test particles that may get through, in percent.

    share = 100 - efficiency

    efficiency_percent  the least share that is caught, 0 to 100
    Errors: CalculationFault. Source: 42 CFR 84.170(a)

    >>> filter_penetration(99.97)
    0.03
    """
    return float(100 - exactly(percentage("efficiency_percent", efficiency_percent)))


def particles_through(efficiency_percent: float, particles: float) -> float:
    """Return how many of so many test particles may get through a filter, at most.

    particles x (100 - efficiency) / 100

    efficiency_percent  the least share that is caught, 0 to 100
    particles           how many reach the filter, zero or above
    Errors: CalculationFault. Source: 42 CFR 84.170(a)

    >>> particles_through(99.97, 20_000)
    6.0
    """
    reach = exactly(not_negative("particles", particles))
    return float(reach * exactly(filter_penetration(efficiency_percent)) / 100)


def total_inward_leakage(
    filter_penetration_percent: float, face_seal_leakage_percent: float
) -> float:
    """Return about how much of the outside air's particles is breathed, in percent.

    leakage = what gets through the filter + what gets in at the edge

    filter_penetration_percent, face_seal_leakage_percent   0 to 100, together at most 100
    Errors: CalculationFault. Source: derived (the two ways in, added; close for small shares)

    >>> total_inward_leakage(5, 2)
    7.0
    """
    through = exactly(percentage("filter_penetration_percent", filter_penetration_percent))
    around = exactly(percentage("face_seal_leakage_percent", face_seal_leakage_percent))
    if through + around > 100:
        raise CalculationFault(
            "face_seal_leakage_percent", "{it} is too large: both shares together are above 100 %.",
            "{it} es demasiado grande: las dos partes juntas pasan de 100 %.",
        )
    return float(through + around)


def filters_for(
    oil: bool, powered: bool, efficiency_percent: float = 95, shifts: int = 1
) -> list[str]:
    """Return the names of all classes that serve a task in which only particles are in the air.

    Parameters as for `filter_for_task`. A class whose meaning was not read in its source is
    left out, so that for a powered unit only HE is named.
    Errors: CalculationFault. Source: 42 CFR 84.170; NIOSH Publication 96-101

    >>> filters_for(oil=True, powered=False, efficiency_percent=99)
    ['R99', 'R100', 'P99', 'P100']
    """
    task = (
        yes_or_no("oil", oil),
        percentage("efficiency_percent", efficiency_percent),
        yes_or_no("powered", powered),
        shifts,
    )
    names = (row.name for row in filter_classes.rows() if row.seen)
    return [name for name in names if not why_not(name, *task)]


def filter_for_task(
    oil: bool, efficiency_percent: float, powered: bool, shifts: int, candidates: Sequence[str]
) -> str:
    """Return the one candidate that serves a task in which only particles are in the air.

    oil                 is there oil in the air?
    efficiency_percent  the least share that must be caught
    powered             is the filter for a powered unit (PAPR)?
    shifts              for how many shifts the same filter is used
    candidates          names of filter classes, such as "R95"
    Errors: CalculationFault, also when not exactly one candidate serves.
    Source: 42 CFR 84.170; oil and service time: NIOSH Publication 96-101

    >>> filter_for_task(True, 95, False, 1, ["N95", "N100", "R95"])
    'R95'
    """
    task = (oil, percentage("efficiency_percent", efficiency_percent), powered, shifts)
    serving = [name for name in candidates if not why_not(name, *task)]
    if len(serving) != 1:
        raise CalculationFault(
            "candidates", "{it} must hold exactly one filter that serves, not {count}.",
            "{it} necesita exactamente un filtro que sirva, no {count}.", count=str(len(serving)),
        )
    return serving[0]


def why_not(
    name: str, oil: bool, efficiency_percent: float, powered: bool, shifts: int
) -> str:
    """Return why a class of filter does not serve a task, or "" when it serves.

    The reasons, the weightiest first: "not-for-powered", "only-for-powered", "n-with-oil",
    "r-past-one-shift", "too-little-caught".
    Errors: CalculationFault for a class that is not known from its source.
    Source: 42 CFR 84.170; oil and service time: NIOSH Publication 96-101

    >>> why_not("N99", oil=True, efficiency_percent=95, powered=False, shifts=1)
    'n-with-oil'
    """
    found = _seen(name)
    whole("shifts", shifts, 1, 1000)
    if found.powered != powered:
        return "not-for-powered" if powered else "only-for-powered"
    if oil and found.oil == "no":
        return "n-with-oil"
    if oil and found.oil == "one shift" and shifts > 1:
        return "r-past-one-shift"
    return "too-little-caught" if found.efficiency_percent < efficiency_percent else ""


def letters_for(oil: bool, powered: bool, shifts: int) -> str:
    """Return which letters may be used: "N, R or P", "R or P", "P", or "HE" for powered units.

    Source: 42 CFR 84.170; oil and service time: NIOSH Publication 96-101

    >>> letters_for(oil=True, powered=False, shifts=3)
    'P'
    """
    if powered:
        return "HE"
    if not oil:
        return "N, R or P"
    return "R or P" if shifts <= 1 else "P"


def _seen(name: str) -> FilterClass:
    found = filter_classes.get(name)
    if found is None or not found.seen:
        raise CalculationFault(
            "candidates",
            "{it} must name a class of filter such as P100; {name} is none that is known.",
            "{it} tiene que nombrar una clase de filtro como P100; {name} no se conoce.", name=name,
        )
    return found
