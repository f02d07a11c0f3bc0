"""Averages, mixtures and long shifts."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from trainer.calculations import averages
from trainer.calculations.faults import CalculationFault

amounts = some.floats(0, 10_000)


@given(some.lists(amounts, min_size=8, max_size=8))
def test_the_average_lies_between_least_and_greatest(concentrations):
    average = averages.time_weighted_average(concentrations, [1] * 8)
    assert min(concentrations) * (1 - 1e-9) <= average <= max(concentrations) * (1 + 1e-9)


@given(some.lists(some.tuples(amounts, some.floats(0.1, 4)), min_size=1, max_size=6))
def test_it_does_so_whenever_the_hours_are_the_reference(periods):
    concentrations, hours = zip(*periods, strict=True)
    average = averages.time_weighted_average(concentrations, hours, reference_hours=sum(hours))
    assert min(concentrations) * (1 - 1e-9) <= average <= max(concentrations) * (1 + 1e-9)


def test_eight_hours_divide_whatever_was_sampled():
    # 29 CFR 1910.1000(d)(1)(i): the sum is divided by 8.
    assert averages.time_weighted_average([100], [4]) == 50
    assert averages.time_weighted_average([100], [10]) == 125


@given(some.lists(some.tuples(amounts, some.floats(1, 1000)), min_size=1, max_size=5))
def test_a_mixture_is_never_below_its_worst_part(parts):
    concentrations, limits = zip(*parts, strict=True)
    worst = max(c / m for c, m in parts)
    assert averages.mixture_fraction(concentrations, limits) >= worst * (1 - 1e-9)


def test_tenths_that_make_one_are_not_over_the_limit():
    # In binary floats 0.1 + 0.7 + 0.2 is a little below and 0.7 + 0.1 + 0.2 is not; the sum of
    # these decimals is 1, which is not above 1.
    assert averages.mixture_fraction([1, 2, 7], [10, 10, 10]) == 1
    assert averages.mixture_fraction([0.7, 0.1, 0.2], [1, 1, 1]) == 1


def test_the_weekly_reduction_of_brief_and_scala():
    # From memory: (40/h) x (168 - h)/128; 50 hours give 0.8 x 118/128.
    reduced = averages.extended_shift_limit(100, 10, "brief_scala_weekly", hours_per_week=50)
    assert reduced == pytest.approx(73.75)


@given(some.floats(0.01, 1000), some.floats(0.5, 23.5), some.sampled_from(averages.BASES))
def test_a_long_shift_never_raises_a_limit(limit, hours, basis):
    assert averages.extended_shift_limit(limit, hours, basis, hours_per_week=hours * 5) <= limit


@pytest.mark.parametrize("basis", ["osha_lead", "brief_scala_daily"])
def test_a_shift_of_eight_hours_or_less_leaves_the_limit(basis):
    assert averages.extended_shift_limit(50, 8, basis) == 50
    assert averages.extended_shift_limit(50, 4, basis) == 50


@pytest.mark.parametrize(
    ("inputs", "parameter"),
    [
        ({"hours_per_day": 10, "basis": "something"}, "basis"),
        ({"hours_per_day": 25, "basis": "osha_lead"}, "hours_per_day"),
        ({"hours_per_day": 24, "basis": "brief_scala_daily"}, "hours_per_day"),
        ({"hours_per_day": 10, "basis": "brief_scala_weekly"}, "hours_per_week"),
        (
            {"hours_per_day": 10, "basis": "brief_scala_weekly", "hours_per_week": 168},
            "hours_per_week",
        ),
    ],
)
def test_a_long_shift_that_cannot_be_is_refused(inputs, parameter):
    with pytest.raises(CalculationFault) as fault:
        averages.extended_shift_limit(limit=50, **inputs)
    assert fault.value.parameter == parameter


@pytest.mark.parametrize(
    ("concentrations", "hours", "parameter"),
    [([], [], "concentrations"), ([1, 2], [4], "hours"), ([1], [], "hours"),
     ([-1], [8], "concentrations"), ("12", [8], "concentrations"), (5, [8], "concentrations")],
)  # fmt: skip
def test_lists_that_do_not_pair_are_refused(concentrations, hours, parameter):
    with pytest.raises(CalculationFault) as fault:
        averages.time_weighted_average(concentrations, hours)
    assert fault.value.parameter == parameter
