"""Oxygen at altitude against another library, and Table II."""

import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given
from hypothesis import strategies as some

from trainer.calculations import air
from trainer.calculations.faults import CalculationFault

FOOT, MMHG, EARTH = 0.3048, 133.322387415, 6_356_766  # metres, pascals, metres


@pytest.mark.parametrize("feet", [-1000, 0, 1000, 3000, 5000, 8000, 10_000, 14_000, 30_000])
def test_the_pressure_is_that_of_the_standard_atmosphere(feet):
    # The formula takes geopotential height, fluids geometric height: a little more of it.
    height = feet * FOOT
    theirs = ATMOSPHERE_1976(Z=EARTH * height / (EARTH - height)).P / MMHG
    assert air.pressure_at(feet) == pytest.approx(theirs, rel=1e-4)


# Millimetres of mercury for normal air (20.9 %), from tables of the 1976 atmosphere.
@pytest.mark.parametrize(
    ("feet", "mmhg"), [(0, 158.8), (2000, 147.7), (5000, 132.2), (8000, 118.0), (14_000, 93.3)]
)
def test_the_oxygen_in_normal_air(feet, mmhg):
    assert air.oxygen_partial_pressure(20.9, feet) == pytest.approx(mmhg, abs=0.1)


@given(some.floats(0, 100), some.floats(0, 30_000), some.floats(1, 5000))
def test_there_is_never_more_oxygen_higher_up(percent, feet, climb):
    low = air.oxygen_partial_pressure(percent, feet)
    assert air.oxygen_partial_pressure(percent, feet + climb) <= low


@pytest.mark.parametrize(
    ("percent", "feet", "deficient"),
    [
        # 29 CFR 1910.134(b): below 19.5 percent by volume, whatever the altitude.
        (19.5, 0, False), (19.49, 0, True), (20.9, 14_000, False), (19.4, 5000, True),
    ],
)  # fmt: skip
def test_below_nineteen_and_a_half_is_deficient(percent, feet, deficient):
    assert air.oxygen_deficient(percent, feet) is deficient


@pytest.mark.parametrize(
    ("percent", "feet", "holds"),
    [
        # 29 CFR 1910.134(d)(2)(iii), Table II, both ends of each band.
        (16.0, 0, True), (15.9, 0, False), (16.0, 3000, True), (16.3, 3001, False),
        (16.4, 3001, True), (16.4, 4000, True), (17.0, 4001, False), (17.1, 5000, True),
        (17.7, 5001, False), (17.8, 6000, True), (18.4, 6001, False), (18.5, 7000, True),
        (19.2, 7001, False), (19.3, 8000, True),
        # Footnote 1: never above 8,000 ft. Above 19.5 the table does not speak.
        (19.4, 8001, False), (19.4, 14_001, False), (19.6, 0, False),
    ],
)  # fmt: skip
def test_table_ii(percent, feet, holds):
    assert air.table_ii_exception_holds(percent, feet) is holds


@pytest.mark.parametrize(("percent", "feet", "parameter"),
                         [(101, 0, "percent"), (-1, 0, "percent"), (20, 40_000, "altitude_ft")])
def test_air_that_cannot_be_is_refused(percent, feet, parameter):
    for call in (air.oxygen_partial_pressure, air.oxygen_deficient, air.table_ii_exception_holds):
        with pytest.raises(CalculationFault) as fault:
            call(percent, feet)
        assert fault.value.parameter == parameter
