"""What a person breathes behind a facepiece, and whether the facepiece is enough."""

from math import isfinite

from trainer.calculations import exposure
from trainer.calculations.catalogue.shapes import (
    ABOVE_ZERO,
    APF,
    CONCENTRATION,
    LIMIT,
    SAME_UNIT,
    TABLE_1,
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
from trainer.reference import respirator_classes
from trainer.words import Words, as_typed, same


def _inside_parts(inputs: Inputs) -> Named:
    return {"result": exposure.inside_concentration(**inputs)}


def _inside_slips(inputs: Inputs) -> Named:
    ambient, apf = inputs["ambient"], inputs["apf"]
    upside_down = {"upside-down": apf / ambient} if ambient else {}
    return {"multiplied": ambient * apf, "divided-again": ambient / apf / apf} | upside_down


def _inside_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        step("Divide what is outside by the factor.", "Divida lo que hay afuera entre el factor."),
        step("{ambient} {unit} ÷ {apf} {result} {unit}", unit=unit,
             **inputs | {"result": comes_to(parts["result"])}),
    ]


def _ratio_parts(inputs: Inputs) -> Named:
    return {"result": exposure.hazard_ratio(**inputs)}


def _ratio_slips(inputs: Inputs) -> Named:
    concentration, limit = inputs["concentration"], inputs["limit"]
    upside_down = {"upside-down": limit / concentration} if concentration else {}
    return {"multiplied": concentration * limit} | upside_down


def ratio_line(inputs: Inputs, unit: str) -> Words:
    """Return the step that works the hazard ratio out, of `concentration` and `limit` in a unit."""
    ratio = exposure.hazard_ratio(inputs["concentration"], inputs["limit"])
    return step(
        "Hazard ratio: {concentration} {unit} ÷ {limit} {unit} {result}",
        "Razón de peligro: {concentration} {unit} ÷ {limit} {unit} {result}",
        concentration=inputs["concentration"], limit=inputs["limit"], unit=unit,
        result=comes_to(ratio, _next_factor(ratio)),
    )


def _next_factor(ratio: float) -> float:
    """Return what a ratio is compared with: 1, or the nearest factor."""
    return min((1, *respirator_classes.factors()), key=lambda factor: abs(factor - ratio))


def _ratio_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    over = step("Above 1: the air is over the limit.", "Más de 1: el aire pasa del límite.") \
        if inputs["concentration"] > inputs["limit"] else \
        step("Not above 1: the air is not over the limit.",
             "No pasa de 1: el aire no pasa del límite.")
    return [ratio_line(inputs, unit), over]


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


def _required_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    factors = ", ".join(f"{one:,}" for one in respirator_classes.factors())
    return [
        ratio_line(inputs, unit),
        step("Factors of Table 1: {factors}. The smallest that is not below the ratio: {result}",
             "Factores de la Tabla 1: {factors}. El más pequeño que no es menor que la razón: "
             "{result}", factors=factors, result=parts["result"]),
    ]


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


def _maximum_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    lines = [step("Factor × limit: {apf} × {limit} {unit} {product} {unit}",
                  "Factor × límite: {apf} × {limit} {unit} {product} {unit}",
                  apf=inputs["apf"], limit=inputs["limit"], unit=unit,
                  product=comes_to(parts["product"]))]
    for name, words in (("idlh", same("IDLH")), ("cartridge_limit", _CARTRIDGE_LIMIT)):
        if inputs.get(name) is not None:
            lines.append(step("{what}: {value} {unit}", what=words, value=inputs[name], unit=unit))
    lines.append(step("The lowest counts: {result} {unit}", "Cuenta el más bajo: {result} {unit}",
                      result=parts["result"], unit=unit))
    return lines


def _effective_parts(inputs: Inputs) -> Named:
    return {
        "off": inputs["shift_minutes"] - inputs["worn_minutes"],
        "through": inputs["worn_minutes"] / inputs["apf"],
        "result": exposure.effective_protection_factor(**inputs),
    }


def _effective_slips(inputs: Inputs) -> Named:
    worn_share = inputs["worn_minutes"] / inputs["shift_minutes"]
    off = inputs["shift_minutes"] - inputs["worn_minutes"]
    alone = {"off-alone": inputs["shift_minutes"] / off} if off else {}
    slips = {
        "factor-unchanged": inputs["apf"],
        "share-of-factor": inputs["apf"] * worn_share,
    } | alone
    return apart(slips, exposure.effective_protection_factor(**inputs))


def _effective_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    off, worn, apf, through = parts["off"], inputs["worn_minutes"], inputs["apf"], parts["through"]
    return [
        step("Off: {shift} min − {worn} min {off} min. Each of these counts in full.",
             "Sin respirador: {shift} min − {worn} min {off} min. Cada uno cuenta entero.",
             shift=inputs["shift_minutes"], worn=worn, off=comes_to(off)),
        step("On: {worn} min ÷ {apf} {through} min", "Con respirador: {worn} min ÷ {apf} {through} "
             "min", worn=worn, apf=apf, through=comes_to(through)),
        step("Factor left: {shift} min ÷ ({off} min + {through} min) {result}",
             "Factor que queda: {shift} min ÷ ({off} min + {through} min) {result}",
             shift=inputs["shift_minutes"], off=off, through=comes_to(through)[2:],
             result=comes_to(parts["result"])),
    ]


def _breathed_parts(inputs: Inputs) -> Named:
    segments = [tuple(map(float, one)) for one in inputs["segments"]]
    hours = inputs.get("reference_hours") or sum(one[0] for one in segments)
    result = exposure.exposure_with_respirator(**inputs)
    first = segments[0]
    return {
        "inside": first[1] / first[2],
        "total": float(f"{result * hours:.12g}"),
        "hours": hours,
        "result": result,
    }


def _breathed_slips(inputs: Inputs) -> Named:
    segments = [tuple(map(float, one)) for one in inputs["segments"]]
    whole = inputs.get("reference_hours") or sum(one[0] for one in segments)
    largest = max(one[2] for one in segments)
    average = sum(hours * outside for hours, outside, _ in segments) / whole
    slips = {
        "no-respirator": average,
        "factor-for-all": average / largest,
        "only-worn": sum(h * c / f for h, c, f in segments if f > 1) / whole,
        "plain-mean": sum(c / f for _, c, f in segments) / len(segments),
    }
    return apart(slips, exposure.exposure_with_respirator(**inputs))


def _breathed_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    lines, terms = [], []
    for hours, outside, apf in inputs["segments"]:
        inside = float(outside) / apf
        worn = step("{hours} h with factor {apf}: {outside} {unit} ÷ {apf} {inside} {unit}",
                    "{hours} h con factor {apf}: {outside} {unit} ÷ {apf} {inside} {unit}",
                    hours=hours, apf=apf, outside=outside, unit=unit, inside=comes_to(inside))
        bare = step("{hours} h without: {outside} {unit}", "{hours} h sin respirador: {outside} "
                    "{unit}", hours=hours, outside=outside, unit=unit)
        lines.append(bare if apf == 1 else worn)
        terms.append(f"{as_typed(hours)} × {comes_to(inside)[2:]}")
    lines.append(step("Average: ({terms}) ÷ {hours} h {result} {unit}",
                      "Promedio: ({terms}) ÷ {hours} h {result} {unit}", terms=added(terms),
                      hours=parts["hours"], result=comes_to(parts["result"]), unit=unit))
    return lines


_CARTRIDGE_LIMIT = Words("Limit of the cartridge", "Límite del cartucho")
IDLH = Parameter("idlh", SAME_UNIT, Words("IDLH, if there is one", "IDLH, si lo hay"),
                  ABOVE_ZERO, needed=False)  # fmt: skip
CARTRIDGE = Parameter(
    "cartridge_limit", SAME_UNIT,
    Words("Limit of the cartridge itself", "Límite del propio cartucho"), ABOVE_ZERO,
    needed=False,
)  # fmt: skip

GROUP = Group(
    "behind",
    Words("What do I breathe behind it, and is it enough?",
          "¿Qué respiro detrás del respirador, y alcanza?"),
    (
        Calculation(
            "inside_concentration", exposure.inside_concentration,
            Words("Concentration inside", "Concentración adentro"),
            Words("How much is inside the facepiece?", "¿Cuánto hay dentro de la pieza facial?"),
            (Parameter("ambient", SAME_UNIT, CONCENTRATION.label, CONCENTRATION.range), APF),
            SAME_UNIT, "29 CFR 1910.134(b), assigned protection factor",
            _inside_parts, _inside_slips, _inside_steps, {"ambient": 140, "apf": 50},
            plot="factors",
        ),
        Calculation(
            "hazard_ratio", exposure.hazard_ratio,
            Words("Hazard ratio", "Razón de peligro"),
            Words("How many times over the limit is the air?",
                  "¿Cuántas veces pasa el aire del límite?"),
            (CONCENTRATION, LIMIT), "", "NIOSH Publication 2005-100; 29 CFR 1910.134(d)(3)(i)(A)",
            _ratio_parts, _ratio_slips, _ratio_steps, {"concentration": 620, "limit": 100},
        ),
        Calculation(
            "required_apf", exposure.required_apf,
            Words("Required protection factor", "Factor de protección necesario"),
            Words("Which factor is enough?", "¿Qué factor alcanza?"),
            (CONCENTRATION, LIMIT), "", TABLE_1,
            _required_parts, _required_slips, _required_steps,
            {"concentration": 620, "limit": 100}, plot="factors",
            caution=Words("Not above the IDLH, in unknown air or with too little oxygen: there no "
                          "factor decides, (d)(2). Nor above the limit of the cartridge itself.",
                          "No vale por encima del IDLH, en aire desconocido ni con muy poco "
                          "oxígeno: ahí no decide ningún factor, (d)(2). Tampoco por encima del "
                          "límite del propio cartucho."),
        ),
        Calculation(
            "maximum_use_concentration", exposure.maximum_use_concentration,
            Words("Maximum use concentration", "Concentración máxima de uso"),
            Words("How much may be outside?", "¿Cuánto puede haber afuera?"),
            (APF, LIMIT, IDLH, CARTRIDGE), SAME_UNIT, "29 CFR 1910.134(b) and (d)(3)(i)(B)",
            _maximum_parts, _maximum_slips, _maximum_steps,
            {"apf": 10, "limit": 200, "idlh": 500, "cartridge_limit": 1000}, plot="factors",
        ),
        Calculation(
            "effective_protection_factor", exposure.effective_protection_factor,
            Words("Factor left", "Factor que queda"),
            Words("What do minutes without it cost?", "¿Cuánto cuestan los minutos sin él?"),
            (
                APF,
                Parameter("worn_minutes", "min", Words("Time worn", "Tiempo con respirador"),
                          Words("0 to the time in the contaminated air",
                                "de 0 al tiempo en el aire contaminado")),
                Parameter("shift_minutes", "min",
                          Words("Time in the contaminated air", "Tiempo en el aire contaminado"),
                          Words("above 0, at most 1,440", "mayor que 0, hasta 1,440")),
            ),
            "", "derived from 29 CFR 1910.134(b); averaging as in 29 CFR 1926.62(c)(3)",
            _effective_parts, _effective_slips, _effective_steps,
            {"apf": 50, "worn_minutes": 456, "shift_minutes": 480}, plot="minutes",
        ),
        Calculation(
            "exposure_with_respirator", exposure.exposure_with_respirator,
            Words("Average breathed", "Promedio respirado"),
            Words("How much do I breathe over the whole shift?",
                  "¿Cuánto respiro en todo el turno?"),
            (
                Parameter("segments", SAME_UNIT, Words("Periods", "Períodos"),
                          Words("hours, concentration outside, factor (1: none worn)",
                                "horas, concentración afuera, factor (1: sin respirador)"),
                          "segments"),
                Parameter("reference_hours", "h",
                          Words("Hours to average over; empty: those given",
                                "Horas del promedio; vacío: las dadas"),
                          Words("above 0, at most 168; 8 compares with an 8-hour limit",
                                "mayor que 0, hasta 168; 8 compara con un límite de 8 horas"),
                          needed=False),
            ),
            SAME_UNIT, "derived from 29 CFR 1910.134(b) and 1910.1000(d)(1)(i); averaging as in "
            "29 CFR 1926.62(c)(3)",
            _breathed_parts, _breathed_slips, _breathed_steps,
            {"segments": [[6, 500, 50], [2, 20, 1]]}, plot="shift",
        ),
    ),
)  # fmt: skip
