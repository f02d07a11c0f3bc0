"""How much is in the air: averages, mixtures, units, limits for long shifts."""

from trainer.calculations import averages, units
from trainer.calculations.catalogue.shapes import (
    ABOVE_ZERO,
    PERCENT_RANGE,
    SAME_UNIT,
    ZERO_AND_ABOVE,
    Calculation,
    Group,
    Inputs,
    Named,
    Parameter,
    added,
    apart,
    comes_to,
    step,
)
from trainer.words import Words, as_typed


def _average_parts(inputs: Inputs) -> Named:
    result, reference = averages.time_weighted_average(**inputs), inputs.get("reference_hours", 8)
    return {
        "total": float(f"{result * reference:.12g}"),
        "reference": reference,
        "shift": sum(inputs["hours"]),
        "result": result,
    }


def _average_slips(inputs: Inputs) -> Named:
    result = averages.time_weighted_average(**inputs)
    hours, concentrations = sum(inputs["hours"]), list(inputs["concentrations"])
    given = {"divided-by-hours-given": _average_parts(inputs)["total"] / hours} if hours else {}
    without_eight = {"without-eight": result / concentrations[0]} if concentrations[0] else {}
    slips = {"plain-mean": sum(concentrations) / len(concentrations)} | given | without_eight
    return apart(slips, result)


def _average_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    pairs = zip(inputs["concentrations"], inputs["hours"], strict=True)
    terms = added([f"{as_typed(c)} × {as_typed(h)}" for c, h in pairs])
    return [
        step("Multiply each concentration by its hours and add up: {terms} {total} {unit} × h",
             "Multiplique cada concentración por sus horas y sume: {terms} {total} {unit} × h",
             terms=terms, total=comes_to(parts["total"]), unit=unit),
        step("Divide by {reference} h, whatever the sampled hours add up to: {total} ÷ {reference} "
             "{result} {unit}",
             "Divida entre {reference} h, sumen lo que sumen las horas medidas: {total} ÷ "
             "{reference} {result} {unit}", reference=parts["reference"],
             total=comes_to(parts["total"])[2:], result=comes_to(parts["result"]), unit=unit),
    ]


def _mixture_parts(inputs: Inputs) -> Named:
    pairs = zip(inputs["concentrations"], inputs["limits"], strict=True)
    result = averages.mixture_fraction(**inputs)
    return {
        "first_share": inputs["concentrations"][0] / inputs["limits"][0],
        "fractions": [c / m for c, m in pairs],
        "verdict": "over" if result > 1 else "not-over",
        "result": result,
    }


def _mixture_slips(inputs: Inputs) -> Named:
    concentrations, limits = list(inputs["concentrations"]), list(inputs["limits"])
    fractions = [c / m for c, m in zip(concentrations, limits, strict=True)]
    slips = {
        "summed-first": sum(concentrations) / sum(limits),
        "largest-only": max(fractions),
        "average-of-shares": sum(fractions) / len(fractions),
    }
    return apart(slips, averages.mixture_fraction(**inputs))


def _fractions(inputs: Inputs) -> str:
    pairs = zip(inputs["concentrations"], inputs["limits"], strict=True)
    return added([f"{as_typed(c)}/{as_typed(m)}" for c, m in pairs])


def _mixture_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    over = Words("Above 1: the mixture is over the limit, though each alone may not be.",
                 "Más de 1: la mezcla pasa del límite, aunque quizá ninguna sola.") \
        if parts["verdict"] == "over" else \
        Words("Not above 1: the mixture is not over the limit.",
              "No pasa de 1: la mezcla no pasa del límite.")
    return [
        step("Divide each concentration by its limit and add up: {terms} {result}",
             "Divida cada concentración entre su límite y sume: {terms} {result}",
             terms=_fractions(inputs), result=comes_to(parts["result"], 1)),
        over,
    ]


def _room_parts(inputs: Inputs) -> Named:
    used = averages.mixture_fraction(inputs["concentrations"], inputs["limits"])
    return {
        "used": used,
        "left": float(f"{1 - used:.12g}"),
        "result": averages.mixture_room(**inputs),
    }


def _room_slips(inputs: Inputs) -> Named:
    parts = _room_parts(inputs)
    slips = {
        "whole-limit": inputs["next_limit"],
        "used-share": parts["used"] * inputs["next_limit"],
        "limits-subtracted": inputs["next_limit"] - sum(inputs["concentrations"]),
    }
    return apart({key: value for key, value in slips.items() if value > 0}, parts["result"])


def _room_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        step("Used up: {terms} {used}", "Ya usado: {terms} {used}", terms=_fractions(inputs),
             used=comes_to(parts["used"])),
        step("Left: 1 − {used} {left}", "Queda: 1 − {used} {left}",
             used=comes_to(parts["used"])[2:], left=comes_to(parts["left"])),
        step("{left} × {limit} {unit} {result} {unit}", left=comes_to(parts["left"])[2:],
             limit=inputs["next_limit"], unit=unit, result=comes_to(parts["result"])),
    ]


def _molar_volume(inputs: Inputs) -> float:
    """Return litres of one mole in these conditions, from what one ppm weighs."""
    given = {name: inputs[name] for name in ("temperature_c", "pressure_mmhg") if name in inputs}
    weight = inputs["molecular_weight"]
    return weight / units.ppm_to_mg_per_m3(1, weight, **given)


def _to_mg_parts(inputs: Inputs) -> Named:
    return {
        "volume": float(f"{_molar_volume(inputs):.12g}"),
        "product": inputs["value"] * inputs["molecular_weight"],
        "result": units.ppm_to_mg_per_m3(**inputs),
    }


def _to_ppm_parts(inputs: Inputs) -> Named:
    volume = float(f"{_molar_volume(inputs):.12g}")
    return {
        "volume": volume,
        "product": inputs["value"] * volume,
        "result": units.mg_per_m3_to_ppm(**inputs),
    }


def _to_mg_slips(inputs: Inputs) -> Named:
    value, weight = inputs["value"], inputs["molecular_weight"]
    slips = {"other-way": units.mg_per_m3_to_ppm(**inputs), "no-molar-volume": value * weight}
    return apart(slips, units.ppm_to_mg_per_m3(**inputs))


def _to_ppm_slips(inputs: Inputs) -> Named:
    value, weight = inputs["value"], inputs["molecular_weight"]
    slips = {"other-way": units.ppm_to_mg_per_m3(**inputs), "no-molar-volume": value / weight}
    return apart(slips, units.mg_per_m3_to_ppm(**inputs))


def _volume_step(inputs: Inputs, parts: Named) -> list[Words]:
    warmth, pressure = inputs.get("temperature_c", 25), inputs.get("pressure_mmhg", 760)
    if (warmth, pressure) == (25, 760):
        return [Words("One mole of gas at 25 °C and 760 mmHg: 24.45 L",
                      "Un mol de gas a 25 °C y 760 mmHg: 24.45 L")]
    return [step("One mole of gas: 24.45 × (273.15 + {t}) ÷ 298.15 × 760 ÷ {p} {volume} L",
                 "Un mol de gas: 24.45 × (273.15 + {t}) ÷ 298.15 × 760 ÷ {p} {volume} L",
                 t=warmth, p=pressure, volume=comes_to(parts["volume"]))]


def _to_mg_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        *_volume_step(inputs, parts),
        step("{value} ppm × {weight} ÷ {volume} {result} mg/m³", value=inputs["value"],
             weight=inputs["molecular_weight"], volume=comes_to(parts["volume"])[2:],
             result=comes_to(parts["result"])),
    ]


def _to_ppm_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        *_volume_step(inputs, parts),
        step("{value} mg/m³ × {volume} ÷ {weight} {result} ppm", value=inputs["value"],
             weight=inputs["molecular_weight"], volume=comes_to(parts["volume"])[2:],
             result=comes_to(parts["result"])),
    ]


def _percent_parts(inputs: Inputs) -> Named:
    result = units.percent_to_ppm(**inputs)
    return {
        "in_one_percent": 10_000.0,
        "percent_found": float(f"{result / 10_000:.12g}"),
        "result": result,
    }


def _percent_slips(inputs: Inputs) -> Named:
    result = units.percent_to_ppm(**inputs)
    whole_lel = inputs.get("lel_percent")
    slips = {
        "ten-times-too-little": result / 10,
        "ten-times-too-much": result * 10,
        "divided": result / 10_000**2,
        "thousand-for-ten-thousand": result / 1_000,
        "share-for-percent": result / 1_000_000,
    }
    if whole_lel is not None:
        slips["whole-lel"] = units.percent_to_ppm(percent=whole_lel)
        slips["reading-as-percent"] = inputs["percent_lel"] * 10_000
    return apart(slips, result)


def _percent_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    share = [] if inputs.get("percent") is not None else [
        step("{reading} % of {lel} %: {reading} ÷ 100 × {lel} % {found} %",
             "{reading} % de {lel} %: {reading} ÷ 100 × {lel} % {found} %",
             reading=inputs["percent_lel"], lel=inputs["lel_percent"],
             found=comes_to(parts["percent_found"]))
    ]
    return [
        *share,
        step("One per cent is 10,000 ppm: {percent} × 10,000 {result} ppm",
             "Uno por ciento son 10,000 ppm: {percent} × 10,000 {result} ppm",
             percent=comes_to(parts["percent_found"])[2:], result=comes_to(parts["result"])),
    ]


def _long_shift_slips(inputs: Inputs) -> Named:
    raised = inputs["limit"] * inputs["hours_per_day"] / 8
    slips = {"limit-unchanged": inputs["limit"], "raised": raised}
    if inputs["basis"] != "osha_lead":
        slips["hours-only"] = inputs["limit"] * 8 / inputs["hours_per_day"]
    return apart(slips, averages.extended_shift_limit(**inputs))


def _long_shift_parts(inputs: Inputs) -> Named:
    result = averages.extended_shift_limit(**inputs)
    return {
        "eightfold": inputs["limit"] * 8,
        "factor": float(f"{result / inputs['limit']:.12g}"),
        "result": result,
    }


def _long_shift_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    day, week, limit = inputs["hours_per_day"], inputs.get("hours_per_week"), inputs["limit"]
    if inputs["basis"] == "osha_lead":
        how = step("Lead alone, by law: {limit} × 8 ÷ {day} {result} {unit}",
                   "Solo plomo, por ley: {limit} × 8 ÷ {day} {result} {unit}",
                   limit=limit, day=day, result=comes_to(parts["result"]), unit=unit)
        return [how] if day > 8 else [_NOT_LONGER]
    if inputs["basis"] == "brief_scala_daily":
        how = step("Factor: (8 ÷ {day}) × (24 − {day}) ÷ 16 {factor}", "Factor: (8 ÷ {day}) × (24 "
                   "− {day}) ÷ 16 {factor}", day=day, factor=comes_to(parts["factor"]))
        longer = day > 8
    else:
        how = step("Factor: (40 ÷ {week}) × (168 − {week}) ÷ 128 {factor}", "Factor: (40 ÷ {week}) "
                   "× (168 − {week}) ÷ 128 {factor}", week=week, factor=comes_to(parts["factor"]))
        longer = week > 40
    return [
        how if longer else _NOT_LONGER,
        step("{limit} {unit} × {factor} {result} {unit}", limit=limit, unit=unit,
             factor=comes_to(parts["factor"])[2:], result=comes_to(parts["result"])),
        Words("This is advice of Brief and Scala, not law.",
              "Esto es un consejo de Brief y Scala, no una ley."),
    ]


def _silica_slips(inputs: Inputs) -> Named:
    share = inputs["percent_sio2"]
    result = averages.silica_pel_formula(**inputs)
    return apart({"without-two": result * (share + 2) / share} if share else {}, result)


def _silica_parts(inputs: Inputs) -> Named:
    return {
        "above": 10,
        "divisor": inputs["percent_sio2"] + 2,
        "result": averages.silica_pel_formula(**inputs),
    }


def _silica_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        step("{above} ÷ ({share} + 2) {result} mg/m³", above=parts["above"],
             share=inputs["percent_sio2"], result=comes_to(parts["result"])),
        Words("Only where 29 CFR 1910.1053 does not apply. Where it does, the limit is 0.05 mg/m³ "
              "of respirable crystalline silica.",
              "Solo donde no rige 29 CFR 1910.1053. Donde rige, el límite es 0.05 mg/m³ de sílice "
              "cristalina respirable."),
    ]


_NOT_LONGER = Words("Not longer than usual: the limit stays.",
                    "No es más largo que lo normal: el límite queda igual.")
_CONCENTRATIONS = Parameter(
    "concentrations", SAME_UNIT, Words("Concentration", "Concentración"), ZERO_AND_ABOVE, "numbers"
)
_LIMITS = Parameter("limits", SAME_UNIT, Words("Its limit", "Su límite"), ABOVE_ZERO, "numbers")
_GAS = (
    Parameter("molecular_weight", "g/mol", Words("Molecular weight", "Peso molecular"),
              Words("1 to 2,000", "de 1 a 2,000")),
    Parameter("temperature_c", "°C", Words("Temperature", "Temperatura"),
              Words("-90 to 100", "de -90 a 100"), needed=False, usual=25),
    Parameter("pressure_mmhg", "mmHg", Words("Pressure", "Presión"),
              Words("100 to 10,000", "de 100 a 10,000"), needed=False, usual=760),
)  # fmt: skip
_GAS_SOURCE = "29 CFR 1910.1000 Table Z-1 footnote a (25 °C, 760 torr); gas law"

GROUP = Group(
    "measured",
    Words("How much is in the air?", "¿Cuánto hay en el aire?"),
    (
        Calculation(
            "time_weighted_average", averages.time_weighted_average,
            Words("Time-weighted average", "Promedio ponderado en el tiempo"),
            Words("What is the average over the shift?", "¿Cuál es el promedio del turno?"),
            (
                _CONCENTRATIONS,
                Parameter("hours", "h", Words("For how long", "Por cuánto tiempo"),
                          Words("0 to 168", "de 0 a 168"), "numbers"),
                Parameter("reference_hours", "h", Words("Hours to average over",
                                                        "Horas del promedio"),
                          Words("above 0, at most 168", "mayor que 0, hasta 168"), needed=False,
                          usual=8),
            ),
            SAME_UNIT, "29 CFR 1910.1000(d)(1)(i)",
            _average_parts, _average_slips, _average_steps,
            {"concentrations": [150, 75, 50], "hours": [2, 2, 4]}, plot="shift",
        ),
        Calculation(
            "mixture_fraction", averages.mixture_fraction,
            Words("Share of the mixture's limit", "Parte del límite de la mezcla"),
            Words("Is a mixture over the limit?", "¿Pasa una mezcla del límite?"),
            (_CONCENTRATIONS, _LIMITS), "", "29 CFR 1910.1000(d)(2)(i)",
            _mixture_parts, _mixture_slips, _mixture_steps,
            {"concentrations": [500, 45, 40], "limits": [1000, 200, 200]},
        ),
        Calculation(
            "mixture_room", averages.mixture_room,
            Words("Room left in a mixture", "Lo que queda en una mezcla"),
            Words("How much more of another is left?", "¿Cuánto queda para otra sustancia?"),
            (
                _CONCENTRATIONS, _LIMITS,
                Parameter("next_limit", SAME_UNIT, Words("Limit of the next one",
                                                         "Límite de la siguiente"), ABOVE_ZERO),
            ),
            SAME_UNIT, "derived from 29 CFR 1910.1000(d)(2)(i)",
            _room_parts, _room_slips, _room_steps,
            {"concentrations": [500, 45], "limits": [1000, 200], "next_limit": 200},
        ),
        Calculation(
            "ppm_to_mg_per_m3", units.ppm_to_mg_per_m3, Words("ppm in mg/m³", "ppm en mg/m³"),
            Words("How many mg/m³ are so many ppm?", "¿Cuántos mg/m³ son tantas ppm?"),
            (Parameter("value", "ppm", Words("Gas or vapor", "Gas o vapor"), ZERO_AND_ABOVE),
             *_GAS),
            "mg/m³", _GAS_SOURCE, _to_mg_parts, _to_mg_slips, _to_mg_steps,
            {"value": 100, "molecular_weight": 92.1},
        ),
        Calculation(
            "mg_per_m3_to_ppm", units.mg_per_m3_to_ppm, Words("mg/m³ in ppm", "mg/m³ en ppm"),
            Words("How many ppm are so many mg/m³?", "¿Cuántas ppm son tantos mg/m³?"),
            (Parameter("value", "mg/m³", Words("Gas or vapor", "Gas o vapor"), ZERO_AND_ABOVE),
             *_GAS),
            "ppm", _GAS_SOURCE, _to_ppm_parts, _to_ppm_slips, _to_ppm_steps,
            {"value": 375, "molecular_weight": 92.1},
        ),
        Calculation(
            "percent_to_ppm", units.percent_to_ppm,
            Words("Per cent in ppm", "Por ciento en ppm"),
            Words("How many ppm are so many per cent?", "¿Cuántas ppm es tanto por ciento?"),
            (
                Parameter("percent", "%", Words("Per cent by volume", "Por ciento en volumen"),
                          PERCENT_RANGE, needed=False),
                Parameter("percent_lel", "% LEL", Words("Instead: reading in % of the lower "
                                                        "explosive limit",
                                                        "En su lugar: lectura en % del límite "
                                                        "explosivo inferior"),
                          PERCENT_RANGE, needed=False),
                Parameter("lel_percent", "%", Words("with that limit, by volume",
                                                    "con ese límite, en volumen"),
                          PERCENT_RANGE, needed=False),
            ),
            "ppm", "per cent is parts in 100, ppm parts in 1,000,000; [10% LEL]: NIOSH Pocket "
            "Guide",
            _percent_parts, _percent_slips, _percent_steps,
            {"percent_lel": 10, "lel_percent": 2.5},
        ),
        Calculation(
            "extended_shift_limit", averages.extended_shift_limit,
            Words("Limit for a long shift", "Límite para un turno largo"),
            Words("What is the limit in a long shift?", "¿Cuál es el límite en un turno largo?"),
            (
                Parameter("limit", SAME_UNIT, Words("Limit for 8 hours", "Límite para 8 horas"),
                          ABOVE_ZERO),
                Parameter("hours_per_day", "h", Words("Hours a day", "Horas por día"),
                          Words("above 0, at most 24", "mayor que 0, hasta 24")),
                Parameter("basis", "", Words("What it rests on", "En qué se basa"),
                          Words("one of three", "uno de tres"), "word",
                          choices=(
                              ("osha_lead", Words("OSHA, for lead alone (law)",
                                                  "OSHA, solo para plomo (ley)")),
                              ("brief_scala_daily", Words("Brief and Scala, day (advice)",
                                                          "Brief y Scala, día (consejo)")),
                              ("brief_scala_weekly", Words("Brief and Scala, week (advice)",
                                                           "Brief y Scala, semana (consejo)")),
                          )),
                Parameter("hours_per_week", "h", Words("Hours a week, for the weekly basis",
                                                       "Horas por semana, para la base semanal"),
                          Words("above 0, below 168", "mayor que 0, menor que 168"), needed=False),
            ),
            SAME_UNIT, "29 CFR 1910.1025(c)(2), 1926.62(c)(2), lead alone; Brief and Scala 1975 "
            "(advice, not law; the weekly formula from memory)",
            _long_shift_parts, _long_shift_slips, _long_shift_steps,
            {"limit": 50, "hours_per_day": 10, "basis": "osha_lead"},
            caution=Words("Every 8-hour limit of OSHA but that of lead is compared with an "
                          "8-hour average, however long the shift (letter of 23 January 1997). "
                          "Ceilings and short-term limits stay as they are.",
                          "Todo límite de 8 horas de OSHA menos el del plomo se compara con un "
                          "promedio de 8 horas, dure lo que dure el turno (carta del 23 de enero "
                          "de 1997). Los valores techo y los límites de corto plazo quedan "
                          "igual."),
        ),
        Calculation(
            "silica_pel_formula", averages.silica_pel_formula,
            Words("Old limit for dust with silica", "Límite antiguo para polvo con sílice"),
            Words("What is the limit of Table Z-3 for this respirable dust?",
                  "¿Cuál es el límite de la Tabla Z-3 para este polvo respirable?"),
            (
                Parameter("percent_sio2", "%", Words("Crystalline silica in the dust",
                                                     "Sílice cristalina en el polvo"),
                          PERCENT_RANGE),
            ),
            "mg/m³", "29 CFR 1910.1000 Table Z-3 (81 FR 60272), only where 1910.1053 does not "
            "apply",
            _silica_parts, _silica_slips, _silica_steps, {"percent_sio2": 8},
        ),
    ),
)  # fmt: skip
