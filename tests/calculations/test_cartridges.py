"""The rules of thumb for organic vapor cartridges, as OSHA's page quotes them from AIHA."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from trainer.calculations.cartridges import cartridge_hours
from trainer.calculations.faults import CalculationFault


def test_a_tenth_of_the_concentration_lasts_five_times_as_long():
    assert cartridge_hours(8, concentration_from=200, concentration_to=20) == 40
    assert cartridge_hours(8, concentration_from=200, concentration_to=2) == 200
    assert cartridge_hours(8, concentration_from=20, concentration_to=200) == pytest.approx(1.6)


def test_twice_the_work_rate_halves_it():
    assert cartridge_hours(8, flow_from=30, flow_to=60) == 4


@pytest.mark.parametrize(("humidity", "hours"), [(50, 8), (85, 8), (85.1, 4), (100, 4)])
def test_humidity_above_85_percent_halves_it(humidity, hours):
    assert cartridge_hours(8, humidity_percent=humidity) == hours


def test_changes_come_together():
    both = cartridge_hours(8, flow_from=30, flow_to=60, humidity_percent=90)
    assert both == 2


@pytest.mark.parametrize("boils", [-33, 56, 69, 70])
def test_a_vapor_that_boils_at_70_or_below_is_refused(boils):
    with pytest.raises(CalculationFault, match="boiling_point_c must be above 70"):
        cartridge_hours(8, boiling_point_c=boils)
    assert cartridge_hours(8, boiling_point_c=70.1) == 8


@pytest.mark.parametrize(
    ("inputs", "parameter"),
    [
        ({"concentration_from": 200}, "concentration_to"),
        ({"concentration_to": 200}, "concentration_from"),
        ({"flow_from": 30}, "flow_to"),
        ({"flow_to": 30}, "flow_from"),
        ({"flow_from": 30, "flow_to": 0}, "flow_to"),
        ({"humidity_percent": 101}, "humidity_percent"),
    ],
)
def test_half_a_pair_is_refused(inputs, parameter):
    with pytest.raises(CalculationFault) as fault:
        cartridge_hours(8, **inputs)
    assert fault.value.parameter == parameter


@given(some.floats(1, 100), some.floats(1, 1000), some.floats(1, 1000), some.floats(1, 10))
def test_more_in_the_air_never_lasts_longer(hours, before, after, more):
    usual = cartridge_hours(hours, concentration_from=before, concentration_to=after)
    dirtier = cartridge_hours(hours, concentration_from=before, concentration_to=after * more)
    assert dirtier <= usual * (1 + 1e-9)


@given(some.floats(1, 100), some.floats(1, 1000), some.floats(1, 1000))
def test_there_and_back(hours, before, after):
    there = cartridge_hours(hours, concentration_from=before, concentration_to=after)
    if there <= 1000:
        back = cartridge_hours(there, concentration_from=after, concentration_to=before)
        assert back == pytest.approx(hours)
