"""The catalogue: what it lists is there, described, guarded and light."""

import inspect
import math
import subprocess
import sys
from datetime import date

import pytest

from trainer.calculations.catalogue import CATALOGUE
from trainer.calculations.faults import CalculationFault

# One set of good inputs for each calculation.
GOOD = {
    "inside_concentration": {"ambient": 140, "apf": 50},
    "hazard_ratio": {"concentration": 140, "limit": 10},
    "required_apf": {"concentration": 140, "limit": 10},
    "maximum_use_concentration": {"apf": 10, "limit": 200, "idlh": 500, "cartridge_limit": 1000},
    "filter_penetration": {"efficiency_percent": 99.97},
    "filter_for_task": {
        "oil": True, "efficiency_percent": 95, "powered": False, "shifts": 1,
        "candidates": ["N95", "N100", "R95"],
    },
    "approval_kind": {"prefix": "TC-84A"},
    "effective_protection_factor": {"apf": 50, "worn_minutes": 450, "shift_minutes": 480},
    "time_weighted_average": {
        "concentrations": [150, 75, 50], "hours": [2, 2, 3], "reference_hours": 8,
    },
    "mixture_fraction": {"concentrations": [500, 45], "limits": [1000, 200]},
    "ppm_to_mg_per_m3": {
        "value": 100, "molecular_weight": 92.1, "temperature_c": 20, "pressure_mmhg": 700,
    },
    "mg_per_m3_to_ppm": {
        "value": 100, "molecular_weight": 92.1, "temperature_c": 20, "pressure_mmhg": 700,
    },
    "percent_to_ppm": {"percent_lel": 10, "lel_percent": 2.5},
    "extended_shift_limit": {
        "limit": 50, "hours_per_day": 10, "basis": "brief_scala_weekly", "hours_per_week": 50,
    },
    "silica_pel_formula": {"percent_sio2": 10, "fraction": "respirable"},
    "fit_factor": {"outside": 5000, "inside": 20},
    "overall_fit_factor": {"fit_factors": [100, 200, 400]},
    "fit_test_passes": {"fit_factor": 480, "facepiece": "full"},
    "total_inward_leakage": {"filter_penetration_percent": 5, "face_seal_leakage_percent": 2},
    "oxygen_partial_pressure": {"percent": 20.9, "altitude_ft": 5000},
    "oxygen_deficient": {"percent": 19.0, "altitude_ft": 5000},
    "table_ii_exception_holds": {"percent": 18.0, "altitude_ft": 5000},
    "next_due": {"completed": date(2026, 1, 31), "months": 12},
}  # fmt: skip
ALL = pytest.mark.parametrize("calculation", CATALOGUE.values(), ids=lambda one: one.name)


def test_every_calculation_has_an_example_here():
    assert set(GOOD) == set(CATALOGUE)


@ALL
def test_it_is_listed_with_the_parameters_of_its_function(calculation):
    signature = inspect.signature(calculation.function)
    assert calculation.name == calculation.function.__name__
    assert [one.name for one in calculation.parameters] == list(signature.parameters)
    assert {one.name for one in calculation.parameters if one.needed} >= {
        name for name, one in signature.parameters.items() if one.default is one.empty
    }


@ALL
def test_it_says_its_source_and_shows_an_example(calculation):
    assert calculation.source
    assert "Source" in calculation.function.__doc__ or "as for" in calculation.function.__doc__
    assert ">>>" in calculation.function.__doc__
    assert all(one.meaning and one.range for one in calculation.parameters)


@ALL
def test_its_parts_end_in_its_result(calculation):
    inputs = GOOD[calculation.name]
    assert calculation.parts(inputs)["result"] == calculation.function(**inputs)


@ALL
def test_no_slip_gives_the_right_result(calculation):
    inputs = GOOD[calculation.name]
    result = calculation.function(**inputs)
    for key, slip in calculation.slips(inputs).items():
        if isinstance(slip, int | float):
            assert not math.isclose(slip, result), key
        else:
            assert result not in slip, key


def test_the_usual_slips_are_known():
    slips = CATALOGUE["inside_concentration"].slips({"ambient": 140, "apf": 50})
    assert slips["multiplied"] == 7000
    slips = CATALOGUE["maximum_use_concentration"].slips({"apf": 10, "limit": 200, "idlh": 500})
    assert slips["not-capped"] == 2000
    slips = CATALOGUE["effective_protection_factor"].slips(
        {"apf": 50, "worn_minutes": 432, "shift_minutes": 480}
    )
    assert slips["share-of-factor"] == pytest.approx(45)
    slips = CATALOGUE["overall_fit_factor"].slips({"fit_factors": [100, 300]})
    assert slips == {"plain-mean": 200, "lowest-only": 100}


NUMBERS = [
    (calculation.name, parameter.name, bad)
    for calculation in CATALOGUE.values()
    for parameter in calculation.parameters
    if parameter.kind in {"number", "numbers", "whole"}
    for bad in (math.nan, math.inf, -math.inf, -1e6, "12", True)
]


@pytest.mark.parametrize(("name", "parameter", "bad"), NUMBERS)
def test_a_number_that_is_none_is_refused_by_name(name, parameter, bad):
    inputs = dict(GOOD[name])
    if name == "percent_to_ppm" and parameter == "percent":
        inputs = {"percent": 1}
    listed = isinstance(inputs[parameter], list)
    inputs[parameter] = [bad, *inputs[parameter][1:]] if listed else bad
    with pytest.raises(CalculationFault) as fault:
        CATALOGUE[name].function(**inputs)
    assert fault.value.parameter == parameter
    assert str(fault.value).endswith(".")
    assert str(fault.value).count(". ") == 0


def test_it_loads_nothing_heavy():
    code = (
        "import sys, trainer.calculations.catalogue; "
        "print([name for name in ('flask', 'sqlalchemy', 'sqlmodel', 'pydantic', 'pint', 'babel')"
        " if name in sys.modules] + [name for name in sys.modules if name == 'trainer.config'])"
    )
    asked = [sys.executable, "-c", code]
    answer = subprocess.run(asked, capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"
