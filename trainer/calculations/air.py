"""Oxygen: how much there is, at which altitude, and when it is too little."""

from trainer.calculations.faults import number, percentage
from trainer.reference import oxygen_altitude

DEFICIENT_BELOW = 19.5
"""Per cent by volume: 29 CFR 1910.134(b), oxygen deficient atmosphere."""

HEIGHTS_FT = -1_500, 36_000
"""From below all dry land to where the formula of the atmosphere ends."""


def pressure_at(altitude_ft: float) -> float:
    """Return the pressure of the standard atmosphere of 1976, in mmHg.

    760 x (1 - 6.8755856e-6 x h) ^ 5.2558797, below 11 km

    altitude_ft  -1,500 to 36,000
    Errors: CalculationFault. Source: U.S. Standard Atmosphere 1976

    >>> round(pressure_at(5000), 1)
    632.4
    """
    height = number("altitude_ft", altitude_ft, *HEIGHTS_FT)
    return 760 * (1 - 6.8755856e-6 * height) ** 5.2558797


def oxygen_partial_pressure(percent: float, altitude_ft: float) -> float:
    """Return the pressure of oxygen alone, in mmHg: its share x the pressure at that altitude.

    percent      oxygen by volume, 0 to 100
    altitude_ft  -1,500 to 36,000
    Errors: CalculationFault. Source: Dalton's law; U.S. Standard Atmosphere 1976

    >>> round(oxygen_partial_pressure(19.5, 0), 1)
    148.2
    """
    return percentage("percent", percent) / 100 * pressure_at(altitude_ft)


def oxygen_deficient(percent: float, altitude_ft: float = 0) -> bool:
    """Say whether air counts as oxygen-deficient: below 19.5 %, at any altitude.

    percent      oxygen by volume, 0 to 100
    altitude_ft  -1,500 to 36,000; it does not move the limit, since meters read per cent
    Errors: CalculationFault.
    Source: 29 CFR 1910.134(b); OSHA letter of 2 April 2007 (per cent, not partial pressure)

    >>> oxygen_deficient(19.4), oxygen_deficient(19.5, altitude_ft=8000)
    (True, False)
    """
    number("altitude_ft", altitude_ft, *HEIGHTS_FT)
    return percentage("percent", percent) < DEFICIENT_BELOW


def table_ii_exception_holds(percent: float, altitude_ft: float) -> bool:
    """Say whether oxygen lies in the range of Table II for that altitude.

    Then any atmosphere-supplying respirator will do, if the employer shows that the oxygen
    stays in the range under all foreseeable conditions; otherwise the air is IDLH.

    percent      oxygen by volume, 0 to 100
    altitude_ft  -1,500 to 36,000; between two printed bands the higher one counts
    Errors: CalculationFault. Source: 29 CFR 1910.134(d)(2)(iii), Table II

    >>> table_ii_exception_holds(16.0, 3000), table_ii_exception_holds(16.0, 3001)
    (True, False)
    """
    oxygen = percentage("percent", percent)
    height = number("altitude_ft", altitude_ft, *HEIGHTS_FT)
    for band in oxygen_altitude.rows():
        if band.to_ft is None or height <= band.to_ft:
            return band.exception_applies and band.low_percent <= oxygen <= band.high_percent
    return False
