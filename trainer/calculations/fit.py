"""The fit factor of a quantitative fit test, and whether it passes."""

from trainer.calculations.faults import exactly, listed, not_negative, one_of, positive

PASS_LEVELS = {"half": 100.0, "full": 500.0}
"""Least fit factor by facepiece: 29 CFR 1910.134(f)(7)."""


def fit_factor(outside: float, inside: float) -> float:
    """Return how many times less there is inside than outside, on this person.

    outside   concentration outside, zero or above
    inside    concentration inside in the same unit, above zero
    Errors: CalculationFault.
    Source: 29 CFR 1910.134(b), fit factor

    >>> fit_factor(outside=2000.0, inside=10.0)
    200.0
    """
    return float(exactly(not_negative("outside", outside)) / exactly(positive("inside", inside)))


def overall_fit_factor(fit_factors: list[float]) -> float:
    """Return the overall fit factor of a test: the harmonic mean over its exercises.

    N / (1/ff1 + 1/ff2 + ... + 1/ffN)

    fit_factors   one an exercise, each above zero; the grimace is left out
    Errors: CalculationFault, also for an empty list.
    Source: 29 CFR 1910.134 Appendix A, Part I.C (formula from memory)

    >>> overall_fit_factor([100.0, 300.0])
    150.0
    """
    given = listed("fit_factors", fit_factors)
    factors = [exactly(positive("fit_factors", each)) for each in given]
    return float(len(factors) / sum(1 / factor for factor in factors))


def fit_test_passes(fit_factor: float, facepiece: str) -> bool:
    """Say whether a quantitative fit test passes.

    fit_factor   the overall one, zero or above
    facepiece    "half" (at least 100; quarter facepieces too) or "full" (at least 500)
    Errors: CalculationFault.
    Source: 29 CFR 1910.134(f)(7)

    >>> fit_test_passes(100.0, "half"), fit_test_passes(499.0, "full")
    (True, False)
    """
    level = PASS_LEVELS[one_of("facepiece", facepiece, PASS_LEVELS)]
    return not_negative("fit_factor", fit_factor) >= level
