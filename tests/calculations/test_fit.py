"""Fit factors and the levels that pass."""

from statistics import harmonic_mean

import pytest
from hypothesis import given
from hypothesis import strategies as some

from trainer.calculations import fit
from trainer.calculations.faults import CalculationFault

fit_factors = some.lists(some.floats(1, 100_000), min_size=1, max_size=12)


@pytest.mark.parametrize(
    ("fit_factor", "facepiece", "passes"),
    [
        # 29 CFR 1910.134(f)(7): at least 100 for half, at least 500 for full facepieces.
        (100, "half", True), (99.9, "half", False), (500, "full", True), (499.9, "full", False),
        (250, "half", True), (250, "full", False), (0, "half", False),
    ],
)  # fmt: skip
def test_the_pass_levels(fit_factor, facepiece, passes):
    assert fit.fit_test_passes(fit_factor, facepiece) is passes


@given(fit_factors)
def test_the_overall_factor_is_the_harmonic_mean(factors):
    assert fit.overall_fit_factor(factors) == pytest.approx(harmonic_mean(factors))


@given(fit_factors)
def test_it_lies_between_the_least_and_the_greatest(factors):
    overall = fit.overall_fit_factor(factors)
    assert min(factors) * (1 - 1e-9) <= overall <= max(factors) * (1 + 1e-9)


def test_one_bad_exercise_pulls_the_overall_factor_down():
    # 4 / (3/1000 + 1/10) = 38.8, far below the plain mean of 752.5.
    assert fit.overall_fit_factor([1000, 1000, 1000, 10]) == pytest.approx(38.83, abs=0.01)


@given(some.floats(0.1, 10_000), some.floats(0.1, 10_000))
def test_the_fit_factor_is_outside_over_inside(outside, inside):
    assert fit.fit_factor(outside, inside) * inside == pytest.approx(outside)


@pytest.mark.parametrize(
    ("call", "parameter"),
    [
        (lambda: fit.fit_factor(100, 0), "inside"),
        (lambda: fit.fit_factor(-1, 1), "outside"),
        (lambda: fit.overall_fit_factor([]), "fit_factors"),
        (lambda: fit.overall_fit_factor([100, 0]), "fit_factors"),
        (lambda: fit.fit_test_passes(100, "hood"), "facepiece"),
        (lambda: fit.fit_test_passes(-1, "half"), "fit_factor"),
    ],
)
def test_what_cannot_be_is_refused(call, parameter):
    with pytest.raises(CalculationFault) as fault:
        call()
    assert fault.value.parameter == parameter
