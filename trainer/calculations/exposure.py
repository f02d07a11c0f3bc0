"""Concentration inside a facepiece, hazard ratio, how much may be outside, minutes unworn."""

from collections.abc import Sequence
from fractions import Fraction
from math import inf

from trainer.calculations.faults import (
    CalculationFault,
    assigned_factor,
    exactly,
    listed,
    not_negative,
    number,
    positive,
)
from trainer.reference import respirator_classes

_HOURS_IN_WEEK = 168


def inside_concentration(ambient: float, apf: float) -> float:
    """Return the highest concentration to expect inside a facepiece, in the unit of `ambient`.

    inside = ambient / apf

    ambient  concentration outside, zero or above
    apf      assigned protection factor, one of Table 1
    Errors: CalculationFault. Source: 29 CFR 1910.134(b), assigned protection factor

    >>> inside_concentration(ambient=140, apf=50)
    2.8
    """
    outside = not_negative("ambient", ambient)
    return float(exactly(outside) / assigned_factor("apf", apf))


def hazard_ratio(concentration: float, limit: float) -> float:
    """Return how many times over the exposure limit the air is, a plain number.

    ratio = concentration / limit, both in the same unit

    concentration  outside, zero or above
    limit          exposure limit, above zero
    Errors: CalculationFault. Source: NIOSH Publication 2005-100, which names it;
    29 CFR 1910.134(d)(3)(i)(A)

    >>> hazard_ratio(concentration=620, limit=100)
    6.2
    """
    return float(_ratio(concentration, limit))


def required_apf(concentration: float, limit: float) -> int:
    """Return the smallest factor of Table 1 that is not less than the hazard ratio.

    concentration  outside, zero or above
    limit          exposure limit in the same unit, above zero
    Errors: CalculationFault, also when no factor is enough.
    Source: 29 CFR 1910.134(d)(3)(i)(A), Table 1

    >>> required_apf(concentration=620, limit=100)
    10
    >>> required_apf(concentration=0.3, limit=0.03)
    10
    """
    ratio = _ratio(concentration, limit)
    for factor in respirator_classes.factors():
        if factor >= ratio:
            return factor
    raise CalculationFault(
        "concentration", "{it} is too high: no factor of Table 1 is enough.",
        "{it} es demasiado alta: ningún factor de la Tabla 1 alcanza.",
    )


def maximum_use_concentration(
    apf: float, limit: float, idlh: float | None = None, cartridge_limit: float | None = None
) -> float:
    """Return the highest concentration in which a respirator may be worn.

    apf x limit, but never above the IDLH or the limit of the cartridge, whichever is lower

    apf    assigned protection factor, one of Table 1
    limit  exposure limit, above zero; idlh, cartridge_limit and the result in the same unit
    Errors: CalculationFault. Source: 29 CFR 1910.134(b) and (d)(3)(i)(B)

    >>> maximum_use_concentration(apf=10, limit=200, idlh=500, cartridge_limit=1000)
    500.0
    """
    product = assigned_factor("apf", apf) * exactly(positive("limit", limit))
    return min(float(product), cap(idlh, cartridge_limit))


def cap(idlh: float | None = None, cartridge_limit: float | None = None) -> float:
    """Return the lower of IDLH and cartridge limit, or infinity where there is neither.

    Errors: CalculationFault. Source: 29 CFR 1910.134(d)(3)(i)(B)(3)

    >>> cap(idlh=900, cartridge_limit=1000)
    900.0
    """
    named = {"idlh": idlh, "cartridge_limit": cartridge_limit}
    return min((positive(n, value) for n, value in named.items() if value is not None), default=inf)


def effective_protection_factor(apf: float, worn_minutes: float, shift_minutes: float) -> float:
    """Return the factor over the whole time when the respirator is off for part of it.

    T / (u + (T - u) / apf), with T the time in the contaminated air and u the time unworn

    apf            assigned protection factor, one of Table 1
    worn_minutes   zero to shift_minutes
    shift_minutes  minutes in the contaminated air, above zero, at most 1,440
    Errors: CalculationFault. Source: derived from 29 CFR 1910.134(b); that time worn and time
    unworn are averaged is 29 CFR 1926.62(c)(3)

    >>> round(effective_protection_factor(apf=50, worn_minutes=456, shift_minutes=480), 1)
    14.5
    """
    factor = assigned_factor("apf", apf)
    shift = exactly(number("shift_minutes", positive("shift_minutes", shift_minutes), 0, 1440))
    worn = exactly(not_negative("worn_minutes", worn_minutes))
    if worn > shift:
        raise CalculationFault(
            "worn_minutes", "{it} must not be above the time in the contaminated air.",
            "{it} no puede ser mayor que el tiempo en el aire contaminado.",
        )
    return float(shift / (shift - worn + worn / factor))


def exposure_with_respirator(
    segments: Sequence[Sequence[float]], reference_hours: float | None = None
) -> float:
    """Return the average breathed over periods with and without a respirator.

    (T1 C1 / F1 + T2 C2 / F2 + ...) / reference hours

    segments         one (hours, concentration, apf) a period; concentration outside, in the unit
                     of the result; apf one of Table 1, or 1 where no respirator is worn
    reference_hours  above zero, at most 168; the hours given where left out; 8 compares with an
                     8 h limit
    Errors: CalculationFault, also for an empty list.
    Source: derived from 29 CFR 1910.134(b) and 1910.1000(d)(1)(i); that time worn and time unworn
    are averaged is 29 CFR 1926.62(c)(3)

    >>> exposure_with_respirator([(6, 500, 50), (2, 20, 1)])
    12.5
    """
    periods = [_segment(each) for each in listed("segments", segments)]
    whole = sum(hours for hours, _, _ in periods)
    if reference_hours is not None:
        whole = exactly(number("reference_hours", positive("reference_hours", reference_hours),
                               0, _HOURS_IN_WEEK))
    if not whole:
        raise CalculationFault(
            "segments", "{it} must last longer than zero hours.",
            "{it}: la suma de las horas tiene que ser mayor que cero.",
        )
    return float(sum(hours * outside / apf for hours, outside, apf in periods) / whole)


def _segment(given: Sequence[float]) -> tuple[Fraction, Fraction, Fraction]:
    """Return hours, concentration and factor of one period, each checked."""
    if isinstance(given, str) or not isinstance(given, Sequence) or len(given) != 3:
        raise CalculationFault(
            "segments", "{it} must each hold three numbers: hours, concentration, factor.",
            "{it}: cada uno lleva tres números: horas, concentración, factor.",
        )
    hours, outside, apf = given
    return (
        exactly(number("segments", hours, 0, _HOURS_IN_WEEK)),
        exactly(not_negative("segments", outside)),
        Fraction(1) if apf == 1 else Fraction(assigned_factor("segments", apf)),
    )


def _ratio(concentration: float, limit: float) -> Fraction:
    outside = not_negative("concentration", concentration)
    return exactly(outside) / exactly(positive("limit", limit))
