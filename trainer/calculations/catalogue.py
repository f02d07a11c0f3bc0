"""The named calculations, from which exercises, worksheet and command line all read.

A calculation also names its intermediate steps (`parts`) and what the usual mistakes give
(`slips`), so that an exercise can ask for the ones and recognise the others.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isclose, isfinite
from typing import Any

from trainer.calculations import air, averages, exposure, filters, fit, labels, periods, units
from trainer.reference import respirator_classes

Inputs = Mapping[str, Any]
Named = dict[str, Any]


@dataclass(frozen=True)
class Parameter:
    """One parameter: unit ("" for none), meaning, and the range that is valid, in words.

    kind    "number", "numbers" (a list), "whole", "yes-no", "word", "words" or "date"
    needed  False where it may be left out
    """

    name: str
    unit: str
    meaning: str
    range: str
    kind: str = "number"
    needed: bool = True


@dataclass(frozen=True)
class Calculation:
    """One calculation.

    parts  inputs -> the named results of its steps, "result" the last
    slips  inputs -> what each usual mistake gives; a list where it can give several
    """

    name: str
    function: Callable[..., Any]
    parameters: tuple[Parameter, ...]
    result_unit: str
    source: str
    parts: Callable[[Inputs], Named]
    slips: Callable[[Inputs], Named]


def _inside_parts(inputs: Inputs) -> Named:
    return {"result": exposure.inside_concentration(**inputs)}


def _inside_slips(inputs: Inputs) -> Named:
    ambient, apf = inputs["ambient"], inputs["apf"]
    upside_down = {"upside-down": apf / ambient} if ambient else {}
    return {"multiplied": ambient * apf} | upside_down


def _ratio_parts(inputs: Inputs) -> Named:
    return {"result": exposure.hazard_ratio(**inputs)}


def _ratio_slips(inputs: Inputs) -> Named:
    concentration, limit = inputs["concentration"], inputs["limit"]
    upside_down = {"upside-down": limit / concentration} if concentration else {}
    return {"multiplied": concentration * limit} | upside_down


def _required_parts(inputs: Inputs) -> Named:
    return {
        "hazard_ratio": float(f"{exposure.hazard_ratio(**inputs):.12g}"),
        "result": exposure.required_apf(**inputs),
    }


def _required_slips(inputs: Inputs) -> Named:
    factors = respirator_classes.factors()
    place = factors.index(exposure.required_apf(**inputs))
    below = {"factor-below": factors[place - 1]} if place else {}
    above = {"factor-above": factors[place + 1]} if place + 1 < len(factors) else {}
    return _ratio_slips(inputs) | below | above


def _maximum_parts(inputs: Inputs) -> Named:
    cap = exposure.cap(inputs.get("idlh"), inputs.get("cartridge_limit"))
    return {
        "product": exposure.maximum_use_concentration(inputs["apf"], inputs["limit"]),
        **({"cap": cap} if isfinite(cap) else {}),
        "result": exposure.maximum_use_concentration(**inputs),
    }


def _maximum_slips(inputs: Inputs) -> Named:
    return {
        "not-capped": inputs["apf"] * inputs["limit"],
        "divided": inputs["limit"] / inputs["apf"],
    }


def _penetration_parts(inputs: Inputs) -> Named:
    return {"result": filters.filter_penetration(**inputs)}


def _penetration_slips(inputs: Inputs) -> Named:
    through = filters.filter_penetration(**inputs)
    # Only a filter of 99.97 % has a name, 100, that differs from what it catches.
    by_name = {"name-taken-as-efficiency": 0.0, "number-in-name": 100.0}
    return {"share-for-percent": through / 100} | (by_name if 0 < through < 1 else {})


def _task_parts(inputs: Inputs) -> Named:
    letters = filters.letters_for(inputs["oil"], inputs["powered"], inputs["shifts"])
    return {"letters": letters, "result": filters.filter_for_task(**inputs)}


def _task_slips(inputs: Inputs) -> Named:
    task = {name: value for name, value in inputs.items() if name != "candidates"}
    found: Named = {}
    for name in inputs["candidates"]:
        reason = filters.why_not(name, **task)
        if reason:
            found.setdefault(reason, []).append(name)
    return found


def _approval_parts(inputs: Inputs) -> Named:
    return {"result": labels.approval_kind(**inputs)}


def _approval_slips(inputs: Inputs) -> Named:
    return {
        "same-family": list(labels.other_kinds(inputs["prefix"], same_family=True)),
        "other-family": list(labels.other_kinds(inputs["prefix"], same_family=False)),
    }


def _only(function: Callable[..., Any]) -> Callable[[Inputs], Named]:
    """Return parts that hold nothing but the result."""
    return lambda inputs: {"result": function(**inputs)}


def _none(_inputs: Inputs) -> Named:
    """Return no slips: a yes or no has only one other answer."""
    return {}


def _apart(slips: Named, result: float) -> Named:
    """Return the slips that differ from the right result."""
    return {key: value for key, value in slips.items() if not isclose(value, result)}


def _effective_parts(inputs: Inputs) -> Named:
    return {
        "unworn_minutes": inputs["shift_minutes"] - inputs["worn_minutes"],
        "result": exposure.effective_protection_factor(**inputs),
    }


def _effective_slips(inputs: Inputs) -> Named:
    worn_share = inputs["worn_minutes"] / inputs["shift_minutes"]
    slips = {"factor-unchanged": inputs["apf"], "share-of-factor": inputs["apf"] * worn_share}
    return _apart(slips, exposure.effective_protection_factor(**inputs))


def _average_parts(inputs: Inputs) -> Named:
    result = averages.time_weighted_average(**inputs)
    return {"total": result * inputs.get("reference_hours", 8), "result": result}


def _average_slips(inputs: Inputs) -> Named:
    result = averages.time_weighted_average(**inputs)
    hours, concentrations = sum(inputs["hours"]), list(inputs["concentrations"])
    given = {"divided-by-hours-given": _average_parts(inputs)["total"] / hours} if hours else {}
    slips = {"plain-mean": sum(concentrations) / len(concentrations)} | given
    return _apart(slips, result)


def _mixture_slips(inputs: Inputs) -> Named:
    concentrations, limits = list(inputs["concentrations"]), list(inputs["limits"])
    fractions = [c / m for c, m in zip(concentrations, limits, strict=True)]
    slips = {"summed-first": sum(concentrations) / sum(limits), "largest-only": max(fractions)}
    return _apart(slips, averages.mixture_fraction(**inputs))


def _to_mg_slips(inputs: Inputs) -> Named:
    value, weight = inputs["value"], inputs["molecular_weight"]
    slips = {"other-way": units.mg_per_m3_to_ppm(**inputs), "no-molar-volume": value * weight}
    return _apart(slips, units.ppm_to_mg_per_m3(**inputs))


def _to_ppm_slips(inputs: Inputs) -> Named:
    value, weight = inputs["value"], inputs["molecular_weight"]
    slips = {"other-way": units.ppm_to_mg_per_m3(**inputs), "no-molar-volume": value / weight}
    return _apart(slips, units.mg_per_m3_to_ppm(**inputs))


def _percent_slips(inputs: Inputs) -> Named:
    result = units.percent_to_ppm(**inputs)
    whole_lel = inputs.get("lel_percent")
    slips = {"ten-times-too-little": result / 10} | (
        {"whole-lel": units.percent_to_ppm(percent=whole_lel)} if whole_lel is not None else {}
    )
    return _apart(slips, result)


def _long_shift_slips(inputs: Inputs) -> Named:
    raised = inputs["limit"] * inputs["hours_per_day"] / 8
    slips = {"limit-unchanged": inputs["limit"], "raised": raised}
    return _apart(slips, averages.extended_shift_limit(**inputs))


def _silica_slips(inputs: Inputs) -> Named:
    other = "total" if inputs["fraction"] == "respirable" else "respirable"
    share = inputs["percent_sio2"]
    result = averages.silica_pel_formula(**inputs)
    without_two = {"without-two": result * (share + 2) / share} if share else {}
    return _apart(
        {"other-fraction": averages.silica_pel_formula(share, other)} | without_two, result
    )


def _fit_slips(inputs: Inputs) -> Named:
    outside, inside = inputs["outside"], inputs["inside"]
    upside_down = {"upside-down": inside / outside} if outside else {}
    return _apart({"subtracted": outside - inside} | upside_down, fit.fit_factor(**inputs))


def _overall_slips(inputs: Inputs) -> Named:
    factors = list(inputs["fit_factors"])
    slips = {"plain-mean": sum(factors) / len(factors), "lowest-only": min(factors)}
    return _apart(slips, fit.overall_fit_factor(factors))


def _leakage_slips(inputs: Inputs) -> Named:
    filtered, sealed = inputs["filter_penetration_percent"], inputs["face_seal_leakage_percent"]
    slips = {"filter-only": filtered, "multiplied": filtered * sealed}
    return _apart(slips, filters.total_inward_leakage(**inputs))


def _oxygen_parts(inputs: Inputs) -> Named:
    return {
        "pressure": air.pressure_at(inputs["altitude_ft"]),
        "result": air.oxygen_partial_pressure(**inputs),
    }


def _oxygen_slips(inputs: Inputs) -> Named:
    pressure = air.pressure_at(inputs["altitude_ft"])
    slips = {"sea-level": inputs["percent"] / 100 * 760, "all-of-the-air": pressure}
    return _apart(slips, air.oxygen_partial_pressure(**inputs))


_APF = Parameter("apf", "", "assigned protection factor", "a factor of Table 1")
_CONCENTRATION = Parameter("concentration", "ppm or mg/m³", "concentration outside", "0 and above")
_LIMIT = Parameter("limit", "ppm or mg/m³", "exposure limit, in the same unit", "above 0")
_CONCENTRATIONS = Parameter(
    "concentrations", "ppm or mg/m³", "one a period or a substance", "0 and above", "numbers"
)
_VALUE_OF_GAS = (
    Parameter("molecular_weight", "g/mol", "of the gas or vapor", "1 to 2,000"),
    Parameter("temperature_c", "°C", "25 where left out", "-90 to 100", needed=False),
    Parameter("pressure_mmhg", "mmHg", "760 where left out", "100 to 10,000", needed=False),
)
_OXYGEN = (
    Parameter("percent", "%", "oxygen by volume", "0 to 100"),
    Parameter("altitude_ft", "ft", "height above the sea", "-1,500 to 36,000"),
)
_TABLE_1 = "29 CFR 1910.134(d)(3)(i)(A), Table 1"
_FILTER_SOURCE = "42 CFR 84.170; oil and service time: NIOSH Publication 96-101"

CATALOGUE: dict[str, Calculation] = {
    calculation.name: calculation
    for calculation in (
        Calculation(
            "inside_concentration",
            exposure.inside_concentration,
            (Parameter("ambient", "ppm or mg/m³", "concentration outside", "0 and above"), _APF),
            "as ambient",
            "29 CFR 1910.134(b), assigned protection factor",
            _inside_parts,
            _inside_slips,
        ),
        Calculation(
            "hazard_ratio",
            exposure.hazard_ratio,
            (_CONCENTRATION, _LIMIT),
            "",
            "NIOSH Publication 2005-100; 29 CFR 1910.134(d)(3)(i)(A)",
            _ratio_parts,
            _ratio_slips,
        ),
        Calculation(
            "required_apf",
            exposure.required_apf,
            (_CONCENTRATION, _LIMIT),
            "",
            _TABLE_1,
            _required_parts,
            _required_slips,
        ),
        Calculation(
            "maximum_use_concentration",
            exposure.maximum_use_concentration,
            (
                _APF,
                _LIMIT,
                Parameter(
                    "idlh", "as limit", "IDLH concentration, if there is one", "above 0",
                    needed=False,
                ),
                Parameter(
                    "cartridge_limit", "as limit", "limit of the cartridge", "above 0",
                    needed=False,
                ),
            ),
            "as limit",
            "29 CFR 1910.134(b) and (d)(3)(i)(B)",
            _maximum_parts,
            _maximum_slips,
        ),
        Calculation(
            "filter_penetration",
            filters.filter_penetration,
            (Parameter("efficiency_percent", "%", "least share that is caught", "0 to 100"),),
            "%",
            "42 CFR 84.170(a)",
            _penetration_parts,
            _penetration_slips,
        ),
        Calculation(
            "filter_for_task",
            filters.filter_for_task,
            (
                Parameter("oil", "", "is there oil in the air?", "true or false", "yes-no"),
                Parameter("efficiency_percent", "%", "least share to be caught", "0 to 100"),
                Parameter("powered", "", "is it for a powered unit?", "true or false", "yes-no"),
                Parameter("shifts", "", "shifts the same filter is used", "1 and above", "whole"),
                Parameter("candidates", "", "filters to choose from", "names such as R95", "words"),
            ),
            "",
            _FILTER_SOURCE,
            _task_parts,
            _task_slips,
        ),
        Calculation(
            "approval_kind",
            labels.approval_kind,
            (Parameter("prefix", "", "prefix of the approval number", "such as TC-84A", "word"),),
            "",
            "NIOSH Certified Equipment List, general cautions page; NIOSH CA 2022-1044",
            _approval_parts,
            _approval_slips,
        ),
        Calculation(
            "effective_protection_factor",
            exposure.effective_protection_factor,
            (
                _APF,
                Parameter("worn_minutes", "min", "time worn", "0 to shift_minutes"),
                Parameter(
                    "shift_minutes", "min", "time in the contaminated air", "above 0, at most 1,440"
                ),
            ),
            "",
            "derived from 29 CFR 1910.134(b); averaging as in 29 CFR 1926.62(c)(3)",
            _effective_parts,
            _effective_slips,
        ),
        Calculation(
            "time_weighted_average",
            averages.time_weighted_average,
            (
                _CONCENTRATIONS,
                Parameter("hours", "h", "how long each lasts", "0 to 168", "numbers"),
                Parameter(
                    "reference_hours", "h", "8 where left out", "above 0, at most 168", needed=False
                ),
            ),
            "as concentrations",
            "29 CFR 1910.1000(d)(1)(i)",
            _average_parts,
            _average_slips,
        ),
        Calculation(
            "mixture_fraction",
            averages.mixture_fraction,
            (
                _CONCENTRATIONS,
                Parameter("limits", "as concentrations", "limit of each", "above 0", "numbers"),
            ),
            "",
            "29 CFR 1910.1000(d)(2)(i)",
            _only(averages.mixture_fraction),
            _mixture_slips,
        ),
        Calculation(
            "ppm_to_mg_per_m3",
            units.ppm_to_mg_per_m3,
            (Parameter("value", "ppm", "of a gas or vapor", "0 and above"), *_VALUE_OF_GAS),
            "mg/m³",
            "29 CFR 1910.1000 Table Z-1 footnote a; gas law",
            _only(units.ppm_to_mg_per_m3),
            _to_mg_slips,
        ),
        Calculation(
            "mg_per_m3_to_ppm",
            units.mg_per_m3_to_ppm,
            (Parameter("value", "mg/m³", "of a gas or vapor", "0 and above"), *_VALUE_OF_GAS),
            "ppm",
            "29 CFR 1910.1000 Table Z-1 footnote a; gas law",
            _only(units.mg_per_m3_to_ppm),
            _to_ppm_slips,
        ),
        Calculation(
            "percent_to_ppm",
            units.percent_to_ppm,
            (
                Parameter("percent", "%", "by volume", "0 to 100", needed=False),
                Parameter(
                    "percent_lel", "% of LEL", "instead of percent: share of the lower explosive "
                    "limit", "0 to 100", needed=False,
                ),
                Parameter(
                    "lel_percent", "%", "with percent_lel: that limit by volume", "0 to 100",
                    needed=False,
                ),
            ),
            "ppm",
            "per cent is parts in 100, ppm parts in 1,000,000; [10% LEL] in the Pocket Guide",
            _only(units.percent_to_ppm),
            _percent_slips,
        ),
        Calculation(
            "extended_shift_limit",
            averages.extended_shift_limit,
            (
                Parameter("limit", "ppm, mg/m³ or µg/m³", "limit for 8 hours", "above 0"),
                Parameter("hours_per_day", "h", "worked a day", "above 0, at most 24"),
                Parameter("basis", "", "what it rests on", ", ".join(averages.BASES), "word"),
                Parameter(
                    "hours_per_week", "h", "for the weekly basis", "above 0, below 168",
                    needed=False,
                ),
            ),
            "as limit",
            "29 CFR 1910.1025(c)(2), lead alone; Brief and Scala 1975 (advice, not law; the "
            "weekly formula from memory)",
            _only(averages.extended_shift_limit),
            _long_shift_slips,
        ),
        Calculation(
            "silica_pel_formula",
            averages.silica_pel_formula,
            (
                Parameter("percent_sio2", "%", "crystalline silica in the dust", "0 to 100"),
                Parameter("fraction", "", "which dust", "respirable, total", "word"),
            ),
            "mg/m³",
            "29 CFR 1910.1000 Table Z-3 (58 FR 40191), only where 1910.1053 does not apply",
            _only(averages.silica_pel_formula),
            _silica_slips,
        ),
        Calculation(
            "fit_factor",
            fit.fit_factor,
            (
                Parameter("outside", "any", "concentration outside", "0 and above"),
                Parameter("inside", "as outside", "concentration inside", "above 0"),
            ),
            "",
            "29 CFR 1910.134(b), fit factor",
            _only(fit.fit_factor),
            _fit_slips,
        ),
        Calculation(
            "overall_fit_factor",
            fit.overall_fit_factor,
            (
                Parameter(
                    "fit_factors", "", "one an exercise, without the grimace", "above 0", "numbers"
                ),
            ),
            "",
            "29 CFR 1910.134 Appendix A, Part I.C (formula from memory)",
            _only(fit.overall_fit_factor),
            _overall_slips,
        ),
        Calculation(
            "fit_test_passes",
            fit.fit_test_passes,
            (
                Parameter("fit_factor", "", "overall fit factor", "0 and above"),
                Parameter("facepiece", "", "which one", "half, full", "word"),
            ),
            "",
            "29 CFR 1910.134(f)(7)",
            _only(fit.fit_test_passes),
            _none,
        ),
        Calculation(
            "total_inward_leakage",
            filters.total_inward_leakage,
            (
                Parameter("filter_penetration_percent", "%", "through the filter", "0 to 100"),
                Parameter(
                    "face_seal_leakage_percent", "%", "in at the edge", "0 to 100, both at most 100"
                ),
            ),
            "%",
            "derived: the two ways in, added",
            _only(filters.total_inward_leakage),
            _leakage_slips,
        ),
        Calculation(
            "oxygen_partial_pressure",
            air.oxygen_partial_pressure,
            _OXYGEN,
            "mmHg",
            "Dalton's law; U.S. Standard Atmosphere 1976",
            _oxygen_parts,
            _oxygen_slips,
        ),
        Calculation(
            "oxygen_deficient",
            air.oxygen_deficient,
            _OXYGEN,
            "",
            "29 CFR 1910.134(b); OSHA letter of 2 April 2007",
            _only(air.oxygen_deficient),
            _none,
        ),
        Calculation(
            "table_ii_exception_holds",
            air.table_ii_exception_holds,
            _OXYGEN,
            "",
            "29 CFR 1910.134(d)(2)(iii), Table II",
            _only(air.table_ii_exception_holds),
            _none,
        ),
        Calculation(
            "next_due",
            periods.next_due,
            (
                Parameter("completed", "", "the day it was done", "a date", "date"),
                Parameter("months", "months", "12 where left out", "1 to 120", "whole", False),
            ),
            "",
            "29 CFR 1910.134(k)(5) and (f)(2); OSHA letter of 23 December 1998",
            _only(periods.next_due),
            _none,
        ),
    )
}
