"""From ppm to mg/m³ and back, and from per cent by volume to ppm."""

from fractions import Fraction

from trainer.calculations.faults import (
    CalculationFault,
    exactly,
    missing,
    not_negative,
    number,
    percentage,
)

MOLAR_VOLUME = 24.45
"""Litres of one mole of gas at 25 °C and 760 mmHg, as OSHA and NIOSH use it."""

_PPM_IN_PERCENT = 10_000


def ppm_to_mg_per_m3(
    value: float, molecular_weight: float, temperature_c: float = 25, pressure_mmhg: float = 760
) -> float:
    """Return mg/m³ of a gas or vapor: ppm x molecular weight / molar volume.

    molar volume = 24.45 x (273.15 + t) / 298.15 x 760 / P, in litres

    value             ppm, zero or above
    molecular_weight  g/mol, 1 to 2,000
    temperature_c     -90 to 100; the tables are for 25
    pressure_mmhg     100 to 10,000; the tables are for 760
    Errors: CalculationFault.
    Source: 29 CFR 1910.1000 Table Z-1 footnote a (25 °C, 760 torr); the rest is the gas law

    >>> round(ppm_to_mg_per_m3(100, 92.1))
    377
    """
    amount = exactly(not_negative("value", value))
    return float(amount * _mg_per_ppm(molecular_weight, temperature_c, pressure_mmhg))


def mg_per_m3_to_ppm(
    value: float, molecular_weight: float, temperature_c: float = 25, pressure_mmhg: float = 760
) -> float:
    """Return ppm of a gas or vapor: mg/m³ x molar volume / molecular weight.

    value in mg/m³, zero or above; all else as for `ppm_to_mg_per_m3`

    >>> round(mg_per_m3_to_ppm(375, 92.1), 1)
    99.6
    """
    amount = exactly(not_negative("value", value))
    return float(amount / _mg_per_ppm(molecular_weight, temperature_c, pressure_mmhg))


def percent_to_ppm(
    percent: float | None = None,
    percent_lel: float | None = None,
    lel_percent: float | None = None,
) -> float:
    """Return ppm: per cent by volume x 10,000.

    Give either `percent`, or `percent_lel` with `lel_percent`.

    percent      per cent by volume, 0 to 100
    percent_lel  reading in per cent of the lower explosive limit, 0 to 100
    lel_percent  that limit in per cent by volume, 0 to 100
    Errors: CalculationFault.
    Source: per cent is parts in a hundred, ppm parts in a million; the Pocket Guide marks an
    IDLH so found [10% LEL]

    >>> percent_to_ppm(percent_lel=10, lel_percent=2.5)
    2500.0
    """
    if percent is not None:
        if percent_lel is not None or lel_percent is not None:
            raise CalculationFault(
                "percent", "{it} stands alone, or leave it out and give both others.",
                "{it} va solo; si no, déjelo vacío y dé los otros dos.",
            )
        return float(exactly(percentage("percent", percent)) * _PPM_IN_PERCENT)
    for parameter, value in (("percent_lel", percent_lel), ("lel_percent", lel_percent)):
        if value is None:
            raise missing(parameter)
    share = exactly(percentage("percent_lel", percent_lel)) / 100
    return float(share * exactly(percentage("lel_percent", lel_percent)) * _PPM_IN_PERCENT)


def _mg_per_ppm(weight: float, temperature_c: float, pressure_mmhg: float) -> Fraction:
    grams = exactly(number("molecular_weight", weight, 1, 2000))
    warmth = exactly(number("temperature_c", temperature_c, -90, 100)) + exactly(273.15)
    pressure = exactly(number("pressure_mmhg", pressure_mmhg, 100, 10_000))
    volume = exactly(MOLAR_VOLUME) * warmth / exactly(298.15) * 760 / pressure
    return grams / volume
