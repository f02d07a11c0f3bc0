"""The catalogue: what it lists is there, described, guarded and light."""

import inspect
import math
import re
import subprocess
import sys
from datetime import date

import pytest

from trainer.calculations import selection
from trainer.calculations.catalogue import CATALOGUE, GROUPS, find
from trainer.calculations.catalogue.shapes import comes_to
from trainer.calculations.faults import CalculationFault
from trainer.calculations.selection import Hazard
from trainer.calculations.worked import read, work, written

WHOLE_HAZARD = {
    "peak": 650,
    "idlh": 700, "oxygen_percent": 20.9, "altitude_ft": 0, "cartridge_serves": True,
    "cartridge_limit": 1000, "change_schedule": True, "eye_irritation": True, "shifts": 1,
}  # fmt: skip
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
    "filters_for": {"oil": True, "powered": False, "efficiency_percent": 99, "shifts": 1},
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
    "silica_pel_formula": {"percent_sio2": 10},
    "fit_factor": {"outside": 5000, "inside": 20},
    "overall_fit_factor": {"fit_factors": [100, 200, 400]},
    "fit_test_passes": {"fit_factor": 480, "facepiece": "full"},
    "total_inward_leakage": {"filter_penetration_percent": 5, "face_seal_leakage_percent": 2},
    "oxygen_partial_pressure": {"percent": 20.9, "altitude_ft": 5000},
    "oxygen_deficient": {"percent": 19.0, "altitude_ft": 5000},
    "table_ii_exception_holds": {"percent": 18.0, "altitude_ft": 5000},
    "next_due": {"completed": date(2026, 1, 31), "months": 12},
    "exposure_with_respirator": {"segments": [[6, 500, 50], [2, 20, 1]], "reference_hours": 8},
    "selection": {"kind": "vapor", "concentration": 620, "limit": 100, **WHOLE_HAZARD},
    "class_for_hazard": {
        "kind": "vapor", "concentration": 620, "limit": 100, **WHOLE_HAZARD,
        "candidates": ["apr-half", "apr-full", "apr-filtering"],
    },
    "mixture_room": {"concentrations": [500, 45], "limits": [1000, 200], "next_limit": 200},
    "particles_through": {"efficiency_percent": 99.97, "particles": 20_000},
    "cylinder_minutes": {
        "water_volume_litres": 6, "pressure_bar": 300, "breathing_litres_per_minute": 40,
        "reserve_percent": 25,
    },
    "low_air_alarm_minutes": {"rated_minutes": 45, "alarm_percent": 25},
    "airline_flow_adequate": {"flow": 150, "unit": "L/min", "facepiece": "tight"},
    "breathing_air_acceptable": {
        "oxygen_percent": 20.9, "carbon_monoxide_ppm": 4, "carbon_dioxide_ppm": 600,
        "oil_mg_per_m3": 0.5, "odour": False,
    },
    "cartridge_hours": {
        "hours": 8, "concentration_from": 200, "concentration_to": 100, "flow_from": 35,
        "flow_to": 50, "humidity_percent": 90, "boiling_point_c": 111,
    },
}  # fmt: skip
TOLD_ELSEWHERE = {
    "selection": selection.selection, "class_for_hazard": selection.class_for_hazard,
}  # fmt: skip
ALL = pytest.mark.parametrize("calculation", CATALOGUE.values(), ids=lambda one: one.name)


def test_every_calculation_has_an_example_here():
    assert set(GOOD) == set(CATALOGUE)


@ALL
def test_it_is_listed_with_the_parameters_of_its_function(calculation):
    if calculation.name in ("selection", "class_for_hazard"):
        takes = dict(inspect.signature(Hazard).parameters)
        takes |= {"candidates": inspect.Parameter("candidates", 3)} \
            if calculation.name == "class_for_hazard" else {}
    else:
        takes = inspect.signature(calculation.function).parameters
        assert calculation.name == calculation.function.__name__
    assert {one.name for one in calculation.parameters} == set(takes)
    assert {one.name for one in calculation.parameters if one.needed} >= {
        name for name, one in takes.items() if one.default is one.empty
    }


@ALL
def test_it_says_its_source_and_shows_an_example(calculation):
    assert calculation.source
    said = TOLD_ELSEWHERE.get(calculation.name, calculation.function).__doc__
    assert "Source" in said or "as for" in said
    assert ">>>" in said
    for words in (calculation.title, calculation.asks,
                  *(one.label for one in calculation.parameters),
                  *(one.range for one in calculation.parameters)):
        assert words.en.strip()
        assert words.es.strip()


@ALL
def test_its_parts_end_in_its_result(calculation):
    inputs = GOOD[calculation.name]
    assert calculation.parts(inputs)["result"] == calculation.function(**inputs)


@ALL
@pytest.mark.parametrize("unit", ["", "mg/m³"])
def test_its_steps_are_told_in_both_languages_and_end_in_its_result(calculation, unit):
    worked = work(calculation, GOOD[calculation.name], unit)
    assert worked.steps
    for language in ("en", "es"):
        for step in worked.steps:
            assert step(language).strip() == step(language)
            assert not re.search(r"[{}]|  |None| [.,;)]", step(language)), step(language)
    if isinstance(worked.result, float):
        shown = comes_to(worked.result)[2:]
        assert any(shown in step("en") for step in worked.steps)
        assert any(shown in step("es") for step in worked.steps)
    if calculation.shares_unit and calculation.result_unit == "unit":
        assert worked.unit == (unit or f"as {first_shared(calculation)}")


def first_shared(calculation) -> str:
    """Return the first parameter in the unit that the person names."""
    return next(one.name for one in calculation.parameters if one.unit == "unit")


@ALL
def test_its_own_example_works_and_is_written_as_it_is_read(calculation):
    texts = written(calculation.example)
    inputs = read(calculation, texts)
    assert written(inputs) == texts
    assert work(calculation, inputs).result is not None


SUM = re.compile(
    r"([\d.,]+)(?: [^\d÷×=≈]+)? ([÷×]) ([\d.,]+)(?: [^\d÷×=≈]+)? ([=≈]) ([\d.,]+)"
)


@ALL
def test_the_sums_in_its_steps_work_out(calculation):
    for step in work(calculation, GOOD[calculation.name], "ppm").steps:
        for first, sign, second, how, result in SUM.findall(step("en")):
            if "(" in step("en") or step("en").count("÷") + step("en").count("×") != 1:
                continue
            a, b, c = (float(part.replace(",", "").rstrip(".")) for part in (first, second, result))
            if " %" in step("en"):
                b = b / 100
            right = a / b if sign == "÷" else a * b
            assert math.isclose(right, c, rel_tol=1e-9 if how == "=" else 1e-3), step("en")


@ALL
def test_no_slip_gives_the_right_result(calculation):
    inputs = GOOD[calculation.name]
    parts = calculation.parts(inputs)
    result = parts["result"]
    if isinstance(result, bool):
        result = parts.get("verdict", parts.get("breaks"))
    for key, slip in calculation.slips(inputs).items():
        if isinstance(result, str) and isinstance(slip, str):
            assert slip != result, key
        elif isinstance(slip, int | float):
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
    assert slips == {"plain-mean": 200, "lowest-only": 100, "not-times-count": 75}


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
    if parameter == "free_air_litres":
        inputs = {"free_air_litres": 1200, "breathing_litres_per_minute": 40}
    if name == "class_for_hazard":  # its hazard is that of selection
        return
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


def test_each_is_found_by_its_name_and_stands_in_one_group():
    assert all(find(name) is one and one.name == name for name, one in CATALOGUE.items())
    assert find("nothing") is None
    assert [one for group in GROUPS for one in group.calculations] == [*CATALOGUE.values()]
