"""When something falls due. Due dates are dates, never moments."""

from calendar import monthrange
from datetime import date, datetime

from trainer.calculations.faults import CalculationFault, whole


def next_due(completed: date, months: int = 12) -> date:
    """Return the last good day: the same day `months` months later.

    completed   the day on which it was done
    months      1 to 120; 12 for training and fit tests
    29 February falls to the 28th, and the 31st to the last day of a shorter month: our own,
    stricter reading. "Annual" means on or before the anniversary.
    Errors: CalculationFault.
    Source: 29 CFR 1910.134(k)(5) and (f)(2); OSHA letter of 23 December 1998

    >>> next_due(date(1999, 2, 1))
    datetime.date(2000, 2, 1)
    >>> next_due(date(2024, 2, 29))
    datetime.date(2025, 2, 28)
    """
    if isinstance(completed, datetime) or not isinstance(completed, date):
        raise CalculationFault(
            "completed", "{it} must be a date, such as 2026-03-31.",
            "{it} tiene que ser una fecha, como 2026-03-31.",
        )
    years, place = divmod(completed.month - 1 + whole("months", months, 1, 120), 12)
    year, month = completed.year + years, place + 1
    if year > date.max.year:
        raise CalculationFault(
            "completed", "{it} is too far in the future.", "{it} está demasiado lejos en el futuro."
        )
    return date(year, month, min(completed.day, monthrange(year, month)[1]))
