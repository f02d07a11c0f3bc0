"""Brought air, against the figures of 42 CFR part 84 and 29 CFR 1910.134(i), typed here."""

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as some

from trainer.calculations import supply
from trainer.calculations.faults import CalculationFault

registry = pint.UnitRegistry()


def test_a_cylinder_of_1200_litres_at_the_rated_flow_lasts_30_minutes():
    # Rated times are measured at 40 L/min, 42 CFR part 84: 30 min are 1,200 L, 60 min 2,400 L.
    assert supply.cylinder_minutes(40, free_air_litres=1200) == 30
    assert supply.cylinder_minutes(40, free_air_litres=2400) == 60


@given(some.floats(1, 20), some.floats(50, 400), some.floats(10, 150), some.floats(0, 90))
def test_the_minutes_of_a_cylinder_agree_with_pint(size, bar, rate, kept):
    # Boyle's law: what fills the cylinder at so many bar fills so many times its size at one.
    fills = registry.Quantity(bar, "bar") / registry.Quantity(1, "bar")
    air = registry.Quantity(size, "liter") * fills
    usable = air * (1 - registry.Quantity(kept, "percent"))
    minutes = (usable / registry.Quantity(rate, "liter/minute")).to("minute").magnitude
    ours = supply.cylinder_minutes(
        rate, reserve_percent=kept, water_volume_litres=size, pressure_bar=bar
    )
    assert ours == pytest.approx(minutes)


@given(some.floats(100, 5000), some.floats(10, 150), some.floats(0, 90), some.floats(0, 10))
def test_more_kept_back_or_harder_breathing_never_lasts_longer(air, rate, kept, more):
    usual = supply.cylinder_minutes(rate, reserve_percent=kept, free_air_litres=air)
    assert supply.cylinder_minutes(rate, reserve_percent=kept + more, free_air_litres=air) <= usual
    assert supply.cylinder_minutes(rate + more, reserve_percent=kept, free_air_litres=air) <= usual


@pytest.mark.parametrize(
    ("inputs", "parameter"),
    [
        ({}, "free_air_litres"),
        ({"pressure_bar": 300}, "water_volume_litres"),
        ({"water_volume_litres": 6}, "pressure_bar"),
        ({"free_air_litres": 1200, "pressure_bar": 300}, "free_air_litres"),
        ({"free_air_litres": 0}, "free_air_litres"),
        ({"free_air_litres": 1200, "reserve_percent": 101}, "reserve_percent"),
    ],
)
def test_a_cylinder_that_is_not_told_is_refused(inputs, parameter):
    with pytest.raises(CalculationFault) as fault:
        supply.cylinder_minutes(40, **inputs)
    assert fault.value.parameter == parameter


# 42 CFR 84.83(f): alarm at 25 % of rated time. 30 min: 7.5, 45 min: 11.25, 60 min: 15.
@pytest.mark.parametrize(("rated", "left"), [(30, 7.5), (45, 11.25), (60, 15)])
def test_the_low_air_alarm_leaves_a_quarter_of_the_rated_time(rated, left):
    assert supply.low_air_alarm_minutes(rated) == left
    assert supply.low_air_alarm_minutes(rated, 50) == rated / 2


def test_an_alarm_below_what_was_ever_allowed_is_refused():
    with pytest.raises(CalculationFault, match="alarm_percent must be from 20 to 100"):
        supply.low_air_alarm_minutes(30, 19)


# 42 CFR part 84, subpart J, table 8.
@pytest.mark.parametrize(
    ("unit", "facepiece", "least"),
    [("L/min", "tight", 115), ("cfm", "tight", 4), ("L/min", "loose", 170), ("cfm", "loose", 6)],
)
def test_an_airline_must_reach_the_least_flow_printed_in_its_unit(unit, facepiece, least):
    assert supply.airline_flow_adequate(least, unit, facepiece)
    assert not supply.airline_flow_adequate(least * 0.999, unit, facepiece)


def test_the_two_printed_units_are_about_alike():
    # The rule rounds: 4 cfm are 113 L/min, printed 115; 6 cfm are 170.
    for cfm, litres in ((4, 115), (6, 170)):
        exact = registry.Quantity(cfm, "foot**3/minute").to("liter/minute").magnitude
        assert exact == pytest.approx(litres, rel=0.02)


# 29 CFR 1910.134(i)(1)(ii), Grade D: the last good value of each, and the first bad one.
GOOD = {
    "oxygen_percent": 20.9, "carbon_monoxide_ppm": 4, "carbon_dioxide_ppm": 600,
    "oil_mg_per_m3": 0.5, "odour": False,
}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "last", "first_bad"),
    [
        ("oxygen_percent", 19.5, 19.4), ("oxygen_percent", 23.5, 23.6),
        ("carbon_monoxide_ppm", 10, 10.1), ("carbon_dioxide_ppm", 1000, 1001),
        ("oil_mg_per_m3", 5, 5.1), ("odour", False, True),
    ],
)  # fmt: skip
def test_grade_d_holds_to_its_last_value_and_no_further(name, last, first_bad):
    assert supply.breathing_air_acceptable(**GOOD | {name: last})
    assert not supply.breathing_air_acceptable(**GOOD | {name: first_bad})
    assert supply.broken_limits(**GOOD | {name: first_bad}) == (name,)


def test_every_broken_limit_is_named():
    worst = {"oxygen_percent": 18, "carbon_monoxide_ppm": 50, "carbon_dioxide_ppm": 2000,
             "oil_mg_per_m3": 9, "odour": True}
    assert supply.broken_limits(**worst) == tuple(worst)
