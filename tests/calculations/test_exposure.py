"""Protection factors at work: inside, ratio, enough, most, and minutes unworn."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from trainer.calculations import exposure
from trainer.calculations.faults import CalculationFault

FACTORS = (5, 10, 25, 50, 1000, 10_000)  # 29 CFR 1910.134 Table 1
factors = some.sampled_from(FACTORS)
concentrations = some.floats(0, 1e6)
limits = some.floats(0.001, 10_000)


@pytest.mark.parametrize(
    ("concentration", "limit", "enough"),
    [
        # A ratio equal to a factor is enough, (d)(3)(i)(A): also where binary floats are off.
        (50, 10, 5), (100, 10, 10), (0.3, 0.03, 10), (0.5, 0.1, 5), (1.5, 0.03, 50),
        # Just above it is not.
        (100.1, 10, 25), (0.30001, 0.03, 25), (251, 10, 50), (501, 10, 1000),
        (10_001, 10, 10_000), (100_000, 10, 10_000),
        # At or below the limit the smallest factor stands.
        (10, 10, 5), (0, 10, 5),
    ],
)  # fmt: skip
def test_the_smallest_factor_that_is_enough(concentration, limit, enough):
    assert exposure.required_apf(concentration, limit) == enough


def test_when_no_factor_is_enough_it_says_so():
    with pytest.raises(CalculationFault, match="no factor of Table 1 is enough") as fault:
        exposure.required_apf(concentration=100_001, limit=10)
    assert fault.value.parameter == "concentration"


@given(concentrations, limits)
def test_the_required_factor_is_enough_and_the_next_lower_is_not(concentration, limit):
    try:
        enough = exposure.required_apf(concentration, limit)
    except CalculationFault:
        assert exposure.hazard_ratio(concentration, limit) > FACTORS[-1]
        return
    assert exposure.inside_concentration(concentration, enough) <= limit * (1 + 1e-12)
    lower = [factor for factor in FACTORS if factor < enough]
    if lower:
        assert exposure.inside_concentration(concentration, lower[-1]) > limit * (1 - 1e-12)


@given(concentrations, factors, factors)
def test_a_larger_factor_never_gives_a_higher_inside(ambient, one, other):
    less, more = sorted((one, other))
    behind_more = exposure.inside_concentration(ambient, more)
    assert behind_more <= exposure.inside_concentration(ambient, less) <= ambient


@given(factors, limits, some.floats(0.001, 1e6), some.floats(0.001, 1e6))
def test_the_most_is_never_above_a_cap_nor_above_factor_times_limit(apf, limit, idlh, own):
    most = exposure.maximum_use_concentration(apf, limit, idlh, own)
    assert most <= min(idlh, own)
    assert most <= apf * limit * (1 + 1e-12)
    assert most in (idlh, own) or most == pytest.approx(apf * limit)


def test_the_cartridge_limit_caps_too():
    # 42 CFR 84.190(a): organic vapor 1,000 ppm; 29 CFR 1910.134(d)(3)(i)(B)(3).
    assert exposure.maximum_use_concentration(50, 100, idlh=2000, cartridge_limit=1000) == 1000


# Derived table of our reference notes (1 / (unworn + worn / APF)), to one decimal.
@pytest.mark.parametrize(
    ("apf", "worn_percent", "effective"),
    [
        (10, 100, 10), (10, 99, 9.2), (10, 95, 6.9), (10, 80, 3.6), (25, 90, 7.4),
        (50, 98, 25.3), (50, 95, 14.5), (1000, 99, 91.0), (1000, 90, 9.9), (10_000, 95, 20.0),
    ],
)  # fmt: skip
def test_minutes_unworn_cost_protection(apf, worn_percent, effective):
    result = exposure.effective_protection_factor(apf, worn_percent * 4.8, 480)
    assert result == pytest.approx(effective, abs=0.05)


@given(factors, some.floats(0, 479), some.floats(0.01, 479))
def test_the_effective_factor_falls_as_unworn_minutes_grow(apf, unworn, more):
    def effective(minutes: float) -> float:
        return exposure.effective_protection_factor(apf, 480 - minutes, 480)

    if unworn + more <= 480:
        assert effective(unworn + more) < effective(unworn) <= apf
    assert effective(more) <= 480 / more * (1 + 1e-9)  # never above one over the unworn share


def test_never_worn_is_no_protection():
    assert exposure.effective_protection_factor(1000, 0, 480) == 1


def test_it_cannot_be_worn_longer_than_the_shift():
    with pytest.raises(CalculationFault) as fault:
        exposure.effective_protection_factor(10, 481, 480)
    assert fault.value.parameter == "worn_minutes"


@pytest.mark.parametrize("apf", [0, 1, 7, 100, 2000, 10.5, -10])
def test_a_factor_that_no_class_has_is_refused(apf):
    calls = (
        lambda: exposure.inside_concentration(10, apf),
        lambda: exposure.maximum_use_concentration(apf, 10),
        lambda: exposure.effective_protection_factor(apf, 1, 2),
    )
    for call in calls:
        with pytest.raises(CalculationFault) as fault:
            call()
        assert fault.value.parameter == "apf"


@given(
    some.lists(
        some.tuples(some.floats(0.1, 12), some.floats(0, 1000), some.sampled_from((1, *FACTORS))),
        min_size=1, max_size=6,
    )
)
def test_the_average_breathed_lies_between_its_periods(segments):
    inside = [outside / apf for _, outside, apf in segments]
    average = exposure.exposure_with_respirator(segments)
    assert min(inside) * (1 - 1e-9) <= average <= max(inside) * (1 + 1e-9)


@given(some.floats(0.1, 1000), some.sampled_from(FACTORS), some.floats(0.1, 7.9))
def test_worn_and_unworn_periods_give_the_effective_factor(outside, apf, worn):
    # The same arithmetic by another road: outside divided by the effective factor.
    breathed = exposure.exposure_with_respirator([(worn, outside, apf), (8 - worn, outside, 1)])
    factor = exposure.effective_protection_factor(apf, worn * 60, 480)
    assert breathed == pytest.approx(outside / factor)


def test_the_hours_given_or_those_named_divide():
    # 29 CFR 1910.1000(d)(1)(i): an 8-hour average divides by 8, whatever was sampled.
    assert exposure.exposure_with_respirator([(4, 100, 1)]) == 100
    assert exposure.exposure_with_respirator([(4, 100, 1)], 8) == 50


@pytest.mark.parametrize(
    "segments", [[], [(1, 2)], [(0, 100, 1)], [(1, -1, 1)], [(1, 1, 7)], "6:500:50", [(1, 1, None)]]
)
def test_periods_that_cannot_be_are_refused(segments):
    with pytest.raises(CalculationFault) as fault:
        exposure.exposure_with_respirator(segments)
    assert fault.value.parameter == "segments"
