"""From what was written to a result: every kind of parameter, and every fault in a sentence."""

import pytest

from trainer.calculations.catalogue import CATALOGUE
from trainer.calculations.faults import CalculationFault
from trainer.calculations.worked import read, work


def refused(name: str, texts: dict[str, str], unit: str = "") -> CalculationFault:
    """Return the fault of what was written."""
    with pytest.raises(CalculationFault) as fault:
        work(CATALOGUE[name], read(CATALOGUE[name], texts), unit)
    return fault.value


@pytest.mark.parametrize("text", ["abc", "", "1,5", "0x10", "1_000", "１２", "nan", "inf", "1e999"])
def test_what_is_no_number_is_refused_in_both_languages(text):
    fault = refused("inside_concentration", {"ambient": text, "apf": "50"})
    assert fault.parameter == "ambient"
    assert str(fault).startswith("ambient ")
    assert fault.say("es", "Concentración afuera")
    assert "{it}" not in fault.say("es", "Concentración afuera")


def test_what_is_unknown_or_missing_is_named():
    assert str(refused("inside_concentration", {"ambient": "140"})) == "apf is missing."
    unknown = refused("inside_concentration", {"ambient": "140", "apf": "50", "size": "2"})
    assert str(unknown) == \
        "size is no parameter of inside_concentration; its parameters are ambient, apf."


def test_a_factor_that_no_class_has_is_refused_with_those_that_are():
    fault = refused("inside_concentration", {"ambient": "140", "apf": "100"})
    assert "5, 10, 25, 50, 1,000, 10,000" in str(fault)
    assert "Tabla 1" in fault.say("es", "Factor")


def test_lists_periods_words_and_dates_are_read():
    mixture = {"concentrations": "500,45", "limits": "1000, 200"}
    assert read(CATALOGUE["mixture_fraction"], mixture) == \
        {"concentrations": [500, 45], "limits": [1000, 200]}
    assert read(CATALOGUE["exposure_with_respirator"], {"segments": "6:500:50,2:20:1"}) == \
        {"segments": [[6, 500, 50], [2, 20, 1]]}
    assert refused("exposure_with_respirator", {"segments": "6:500"}).parameter == "segments"
    assert refused("exposure_with_respirator", {"segments": "6:500:7"}).parameter == "segments"
    assert refused("next_due", {"completed": "2026-02-30"}).parameter == "completed"
    assert refused("breathing_air_acceptable", {
        "oxygen_percent": "21", "carbon_monoxide_ppm": "4", "carbon_dioxide_ppm": "600",
        "oil_mg_per_m3": "1", "odour": "perhaps"}).parameter == "odour"


def test_words_are_read_whatever_their_case():
    flow = {"flow": "120", "unit": "l/min", "facepiece": "Tight"}
    assert work(CATALOGUE["airline_flow_adequate"],
                read(CATALOGUE["airline_flow_adequate"], flow)).result is True
    assert read(CATALOGUE["approval_kind"], {"prefix": "tc-84a"}) == {"prefix": "TC-84A"}


def test_what_is_left_out_is_not_there():
    given = {"apf": "10", "limit": "50", "idlh": " "}
    assert read(CATALOGUE["maximum_use_concentration"], given) == {"apf": 10, "limit": 50}


def test_the_unit_is_carried_to_result_and_steps():
    calculation = CATALOGUE["inside_concentration"]
    worked = work(calculation, {"ambient": 140, "apf": 50}, "mg/m3")
    assert (worked.result, worked.unit) == (2.8, "mg/m³")
    assert worked.steps[-1].es == "140 mg/m³ ÷ 50 = 2.8 mg/m³"
    assert work(calculation, {"ambient": 140, "apf": 50}).unit == "as ambient"
    assert "unit must be one of ppm" in str(
        refused("inside_concentration", {"ambient": "1", "apf": "5"}, "apples")
    )


def test_a_rounded_number_is_never_shown_on_the_wrong_side_of_its_bound():
    # 99.9996 would be shown as 100 by four figures, and 100 passes.
    worked = work(CATALOGUE["fit_test_passes"], {"fit_factor": 99.9996, "facepiece": "half"})
    assert worked.result is False
    assert "99.9996 is below 100" in worked.steps[-1].en
    worked = work(CATALOGUE["required_apf"], {"concentration": 100.001, "limit": 10})
    assert worked.result == 25
    assert "10.0001" in worked.steps[0].en
    worked = work(CATALOGUE["mixture_fraction"], {"concentrations": [100.001], "limits": [100]})
    assert "1.00001" in worked.steps[0].en
