"""Conversions against pint and against the figures that NIOSH prints."""

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as some

from trainer.calculations import units
from trainer.calculations.faults import CalculationFault

registry = pint.UnitRegistry()


def by_gas_law(ppm: float, weight: float, celsius: float, mmhg: float) -> float:
    """Return mg/m³ by pint and the gas law with the full gas constant."""
    pressure = registry.Quantity(mmhg, "mmHg")
    warmth = registry.Quantity(celsius, "degC").to("kelvin")
    moles = ppm * 1e-6 * pressure / (registry.molar_gas_constant * warmth)
    return (moles * registry.Quantity(weight, "g/mol")).to("mg/m**3").magnitude


@pytest.mark.parametrize("celsius", [-10, 0, 25, 40])
@pytest.mark.parametrize("mmhg", [565, 632, 760])
def test_it_follows_the_gas_law(celsius, mmhg):
    # 24.45 is 24.465 rounded down by the agencies: 0.07 %.
    ours = units.ppm_to_mg_per_m3(100, 92.1, celsius, mmhg)
    assert ours == pytest.approx(by_gas_law(100, 92.1, celsius, mmhg), rel=1e-3)


# NIOSH Pocket Guide, "Conversion: 1 ppm = ... mg/m3", and the weight printed beside it.
@pytest.mark.parametrize(
    ("weight", "printed"),
    [(92.1, 3.77), (106.2, 4.34), (104.2, 4.26), (58.1, 2.38), (86.2, 3.53), (17.0, 0.70),
     (70.9, 2.90), (64.1, 2.62), (28.0, 1.15), (60.1, 2.46), (32.1, 1.31), (48.0, 1.96)],
)  # fmt: skip
def test_one_ppm_is_as_printed(weight, printed):
    assert units.ppm_to_mg_per_m3(1, weight) == pytest.approx(printed, abs=0.011)


@given(
    some.floats(0.001, 1e5), some.floats(2, 500), some.floats(-40, 60), some.floats(400, 1000)
)
def test_there_and_back(value, weight, celsius, mmhg):
    there = units.ppm_to_mg_per_m3(value, weight, celsius, mmhg)
    assert units.mg_per_m3_to_ppm(there, weight, celsius, mmhg) == pytest.approx(value)


@given(some.floats(0, 100))
def test_percent_to_ppm_agrees_with_pint(percent):
    there = registry.Quantity(percent, "percent").to("ppm").magnitude
    assert units.percent_to_ppm(percent) == pytest.approx(there)


@pytest.mark.parametrize(
    ("inputs", "parameter"),
    [
        ({}, "percent_lel"),
        ({"percent_lel": 10}, "lel_percent"),
        ({"percent": 101}, "percent"),
        ({"percent": 2, "percent_lel": 10, "lel_percent": 2.5}, "percent"),
    ],
)
def test_a_percentage_that_cannot_be_read_is_refused(inputs, parameter):
    with pytest.raises(CalculationFault) as fault:
        units.percent_to_ppm(**inputs)
    assert fault.value.parameter == parameter


@pytest.mark.parametrize(
    ("changed", "parameter"),
    [({"molecular_weight": 0}, "molecular_weight"), ({"temperature_c": -300}, "temperature_c"),
     ({"pressure_mmhg": 0}, "pressure_mmhg"), ({"value": -1}, "value")],
)  # fmt: skip
def test_a_gas_that_cannot_be_is_refused(changed, parameter):
    for conversion in (units.ppm_to_mg_per_m3, units.mg_per_m3_to_ppm):
        with pytest.raises(CalculationFault) as fault:
            conversion(**({"value": 1, "molecular_weight": 92.1} | changed))
        assert fault.value.parameter == parameter
