"""Exposure over a shift: averages, mixtures, long shifts, and the old silica formula."""

from fractions import Fraction

from trainer.calculations.faults import (
    CalculationFault,
    as_many,
    exactly,
    listed,
    not_negative,
    number,
    one_of,
    percentage,
    positive,
)

BASES = ("osha_lead", "brief_scala_daily", "brief_scala_weekly")
"""What a limit for a long shift may rest on; only the first is law, and for lead alone."""

_HOURS_IN_WEEK = 168


def time_weighted_average(
    concentrations: list[float], hours: list[float], reference_hours: float = 8
) -> float:
    """Return the average over a shift: (C1 T1 + C2 T2 + ... + Cn Tn) / reference hours.

    concentrations   one a period, zero or above, all in the unit of the result
    hours            how long each period lasts, 0 to 168
    reference_hours  above zero, at most 168; 8 compares with an 8 h limit, whatever was sampled
    Errors: CalculationFault, also for empty or unequal lists.
    Source: 29 CFR 1910.1000(d)(1)(i)

    >>> time_weighted_average([150, 75, 50], [2, 2, 4])
    81.25
    """
    given = listed("concentrations", concentrations)
    amounts = [not_negative("concentrations", each) for each in given]
    periods = [number("hours", each, 0, _HOURS_IN_WEEK) for each in listed("hours", hours)]
    as_many("hours", periods, amounts)
    reference = number("reference_hours", positive("reference_hours", reference_hours), 0, 168)
    total = sum(exactly(c) * exactly(t) for c, t in zip(amounts, periods, strict=True))
    return float(total / exactly(reference))


def mixture_fraction(concentrations: list[float], limits: list[float]) -> float:
    """Return C1/L1 + C2/L2 + ... for substances with the same effect; above 1 is over the limit.

    concentrations  one a substance, zero or above
    limits          the limit of each in the unit of its concentration, above zero
    Errors: CalculationFault, also for empty or unequal lists.
    Source: 29 CFR 1910.1000(d)(2)(i)

    >>> mixture_fraction([500, 45, 40], [1000, 200, 200])
    0.925
    """
    given = listed("concentrations", concentrations)
    amounts = [not_negative("concentrations", each) for each in given]
    bounds = [positive("limits", each) for each in listed("limits", limits)]
    as_many("limits", bounds, amounts)
    return float(sum(exactly(c) / exactly(m) for c, m in zip(amounts, bounds, strict=True)))


def mixture_room(concentrations: list[float], limits: list[float], next_limit: float) -> float:
    """Return how much of one more substance with the same effect brings a mixture to its limit.

    (1 - C1/L1 - C2/L2 - ...) x limit of the next one

    concentrations, limits  as for `mixture_fraction`
    next_limit              limit of the next substance, above zero; the result has its unit
    Errors: CalculationFault, also where the mixture is over its limit already.
    Source: derived from 29 CFR 1910.1000(d)(2)(i)

    >>> mixture_room([500, 45], [1000, 200], 200)
    55.0
    """
    given = listed("concentrations", concentrations)
    amounts = [exactly(not_negative("concentrations", each)) for each in given]
    bounds = [exactly(positive("limits", each)) for each in listed("limits", limits)]
    as_many("limits", bounds, amounts)
    left = 1 - sum(c / m for c, m in zip(amounts, bounds, strict=True))
    if left < 0:
        raise CalculationFault(
            "concentrations", "{it} are over the limit of the mixture already.",
            "{it} ya pasan del límite de la mezcla.",
        )
    return float(left * exactly(positive("next_limit", next_limit)))


def extended_shift_limit(
    limit: float, hours_per_day: float, basis: str, hours_per_week: float | None = None
) -> float:
    """Return a limit for a shift of more than 8 hours (or a week of more than 40).

    limit           limit for 8 hours (a week of 40), above zero; the result has its unit
    hours_per_day   above zero, at most 24; below 24 for Brief and Scala
    basis           osha_lead: limit x 8 / hours, the law for lead and for nothing else
                    brief_scala_daily: limit x (8/h) x (24 - h)/16, advice, not law
                    brief_scala_weekly: limit x (40/h) x (168 - h)/128, advice (from memory)
    hours_per_week  for brief_scala_weekly: above zero, below 168
    A shift or week that is not longer leaves the limit as it is.
    Errors: CalculationFault.
    Source: 29 CFR 1910.1025(c)(2) and 1926.62(c)(2); Brief and Scala 1975

    >>> extended_shift_limit(limit=50, hours_per_day=10, basis="osha_lead")
    40.0
    """
    usual = exactly(positive("limit", limit))
    day = exactly(number("hours_per_day", positive("hours_per_day", hours_per_day), 0, 24))
    basis = one_of("basis", basis, BASES)
    if basis == "osha_lead":
        return float(usual * min(1, 8 / day))
    if basis == "brief_scala_daily":
        return float(usual * _reduction("hours_per_day", day, 8, 24))
    if hours_per_week is None:
        raise CalculationFault(
            "hours_per_week", "{it} is needed for a weekly limit.",
            "{it} hace falta para un límite semanal.",
        )
    week = exactly(positive("hours_per_week", hours_per_week))
    return float(usual * _reduction("hours_per_week", week, 40, _HOURS_IN_WEEK))


def silica_pel_formula(percent_sio2: float) -> float:
    """Return the limit for respirable dust with quartz by Table Z-3, in mg/m³: 10 / (percent + 2).

    It holds only where 29 CFR 1910.1053 does not apply; elsewhere the limit is 0.05 mg/m³. The
    line for total dust, 30 / (percent + 2), is in the table no more.

    percent_sio2  crystalline silica in the dust, 0 to 100
    Errors: CalculationFault. Source: 29 CFR 1910.1000 Table Z-3, as amended in 2016 (81 FR 60272)

    >>> round(silica_pel_formula(100), 3)
    0.098
    """
    share = exactly(percentage("percent_sio2", percent_sio2))
    return float(10 / (share + 2))


def _reduction(parameter: str, worked: Fraction, usual: int, whole: int) -> Fraction:
    """Return Brief and Scala's factor: less for the longer dose, less for the shorter rest."""
    if worked >= whole:
        raise CalculationFault(
            parameter, "{it} must be below {whole}.", "{it} tiene que ser menor que {whole}.",
            whole=str(whole),
        )
    if worked <= usual:
        return Fraction(1)
    return (usual / worked) * (whole - worked) / (whole - usual)
