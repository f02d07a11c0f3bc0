"""What a person breathes behind a facepiece, and whether the facepiece is enough."""

from math import isfinite

from trainer.calculations import exposure, selection
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
    none,
    step,
    yes_no,
)
from trainer.calculations.selection import MAY, MAY_NOT, NOT_DECIDED, Hazard
from trainer.reference import filter_classes, respirator_classes
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


def _ratio_line(inputs: Inputs, unit: str) -> Words:
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
    return [_ratio_line(inputs, unit), over]


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
        _ratio_line(inputs, unit),
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


# Which classes may be worn.


def _hazard(inputs: Inputs) -> Hazard:
    return Hazard(**{name: value for name, value in inputs.items() if name != "candidates"})


def _allowed(**inputs) -> list[str]:
    return list(selection.allowed(Hazard(**inputs)))


def _selection_parts(inputs: Inputs) -> Named:
    return {"result": _allowed(**inputs)}


def _selection_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    hazard = _hazard(inputs)
    lines = [] if hazard.ratio is None else [_ratio_line(inputs, unit)]
    among = inputs.get("candidates")
    found = selection.selection(hazard) if among is None else selection.verdicts(hazard, among)
    verdicts = [one for one in found if one.worn.apf is not None]
    for state, title in _STATES.items():
        lines += [_verdict_line(one, title) for one in verdicts if one.state == state]
    return lines


def _verdict_line(one: selection.Verdict, title: Words) -> Words:
    named = Words(one.worn.english, one.worn.spanish)
    because = Words(*(
        "; ".join(reason.sentence(language).rstrip(".") for reason in one.reasons)
        for language in ("en", "es")
    ))
    text = "{title}: {named} ({apf}). {because}." if one.reasons else "{title}: {named} ({apf})."
    return step(text, title=title, named=named, apf=one.worn.apf, because=_capital(because))


def _capital(text: Words) -> Words:
    return Words(*(said[:1].upper() + said[1:] for said in (text.en, text.es)))


def _one_class(candidates: list[str], **inputs) -> str:
    return selection.class_for_hazard(Hazard(**inputs), candidates)


def _one_class_parts(inputs: Inputs) -> Named:
    hazard = _hazard(inputs)
    return {
        "danger": hazard.idlh_because or "no",
        **({"ratio": hazard.ratio} if hazard.ratio is not None else {}),
        "result": _one_class(**inputs),
    }


def _one_class_slips(inputs: Inputs) -> Named:
    found: Named = {}
    for one in selection.verdicts(_hazard(inputs), inputs["candidates"]):
        if one.state == MAY_NOT:
            found.setdefault(one.reasons[0].key, []).append(one.worn.slug)
    return found


_STATES = {
    MAY: Words("May be worn", "Se puede usar"),
    NOT_DECIDED: Words("Not decided here", "No se decide aquí"),
    MAY_NOT: Words("May not be worn", "No se puede usar"),
}
_CARTRIDGE_LIMIT = Words("Limit of the cartridge", "Límite del cartucho")
_IDLH = Parameter("idlh", SAME_UNIT, Words("IDLH, if there is one", "IDLH, si lo hay"),
                  ABOVE_ZERO, needed=False)  # fmt: skip
_CARTRIDGE = Parameter(
    "cartridge_limit", SAME_UNIT,
    Words("Limit of the cartridge itself", "Límite del propio cartucho"), ABOVE_ZERO,
    needed=False,
)  # fmt: skip
_FILTERS = tuple(
    (row.name, same(row.name)) for row in filter_classes.rows() if row.seen and not row.powered
)
_HAZARD = (
    Parameter(
        "kind", "", Words("What is in the air", "Qué hay en el aire"),
        Words("one of four", "uno de cuatro"), "word",
        choices=(
            ("particulate", Words("particles: dust, fume, mist", "partículas: polvo, humo "
                                  "metálico, neblina")),
            ("vapor", Words("a vapor", "un vapor")),
            ("gas", Words("a gas", "un gas")),
            ("both", Words("particles with a gas or vapor", "partículas con un gas o vapor")),
        ),
    ),
    Parameter("concentration", SAME_UNIT,
              Words("Concentration outside; empty: nobody knows",
                    "Concentración afuera; vacío: nadie sabe"),
              Words("0 and above", "0 o más"), needed=False),
    Parameter("peak", SAME_UNIT,
              Words("Highest measured, where that is an average",
                    "Lo más alto medido, si eso es un promedio"),
              Words("0 and above", "0 o más"), needed=False),
    Parameter("limit", SAME_UNIT, LIMIT.label, ABOVE_ZERO, needed=False),
    _IDLH,
    Parameter("oxygen_percent", "%", Words("Oxygen", "Oxígeno"), Words("0 to 100", "de 0 a 100"),
              needed=False, usual=20.9),
    Parameter("altitude_ft", "ft", Words("Height above the sea", "Altura sobre el mar"),
              Words("-1,500 to 36,000", "de -1,500 a 36,000"), needed=False, usual=0),
    yes_no("oxygen_stays", "Can the employer show that the oxygen stays within Table II?",
           "¿Puede demostrar el empleador que el oxígeno queda dentro de la Tabla II?"),
    yes_no("cartridge_serves", "Is a cartridge made for this gas or vapor?",
           "¿Hay un cartucho hecho para este gas o vapor?"),
    Parameter("cartridge_fitted", "",
              Words("Would it be fitted, and not particle filters alone?",
                    "¿Se pondría, y no solo filtros para partículas?"),
              Words("yes or no", "sí o no"), "yes-no", False, usual=True),
    _CARTRIDGE,
    yes_no("end_of_service_indicator", "Does it have an end-of-service-life indicator?",
           "¿Tiene indicador de fin de vida útil?"),
    yes_no("change_schedule", "Is there a change schedule?", "¿Hay un programa de cambio?"),
    Parameter("filter", "", Words("Filter without a blower", "Filtro sin motor"),
              Words("N95 to P100", "de N95 a P100"), "word", False, choices=_FILTERS),
    Parameter("shifts", "", Words("Shifts that it is used", "Turnos que se usa"),
              Words("1 and above", "1 o más"), "whole", False, usual=1),
    yes_no("oil", "Is there oil in the air?", "¿Hay aceite en el aire?"),
    yes_no("eye_irritation", "Does it irritate the eyes?", "¿Irrita los ojos?"),
    yes_no("eye_protection", "Would sealed eye protection be worn?",
           "¿Se usaría protección sellada para los ojos?"),
    yes_no("seal_broken", "A beard or temples of glasses where the mask seals?",
           "¿Barba o patillas de lentes donde sella la máscara?"),
    yes_no("hood_evidence", "Is there test evidence of 1,000 for hoods?",
           "¿Hay prueba documentada de 1,000 para capuchas?"),
    Parameter("substance_standard", "",
              Words("Standard of the substance, such as 1910.1048",
                    "Norma propia de la sustancia, como 1910.1048"),
              Words("a number, or empty", "un número, o vacío"), "text", False),
)  # fmt: skip
_SELECTION_SOURCE = (
    "29 CFR 1910.134(d)(1) to (d)(3), (g)(1)(i); 42 CFR 84.170 and 84.190; hazard ratio and eyes: "
    "NIOSH Publication 2005-100"
)
_SELECTION_CAUTION = Words(
    "A teaching and checking aid. It does not choose a respirator; your program does. Above 14,000 "
    "ft oxygen-enriched breathing air must be supplied (Table II, footnote 1).",
    "Ayuda para aprender y comprobar. No elige un respirador; lo hace su programa. A más de 14,000 "
    "ft hay que suministrar aire respirable enriquecido con oxígeno (Tabla II, nota 1).",
)
_LOFT = {
    "kind": "vapor", "concentration": 620, "limit": 100, "idlh": 700, "cartridge_serves": True,
    "cartridge_limit": 1000, "change_schedule": True, "eye_irritation": True,
}  # fmt: skip

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
            (APF, LIMIT, _IDLH, _CARTRIDGE), SAME_UNIT, "29 CFR 1910.134(b) and (d)(3)(i)(B)",
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
        Calculation(
            "selection", _allowed,
            Words("Classes that may be worn", "Clases que se pueden usar"),
            Words("Which respirators may be worn here?", "¿Qué respiradores se pueden usar aquí?"),
            _HAZARD, "", _SELECTION_SOURCE,
            _selection_parts, none, _selection_steps, _LOFT, caution=_SELECTION_CAUTION,
        ),
        Calculation(
            "class_for_hazard", _one_class,
            Words("The one class that may be worn", "La única clase que se puede usar"),
            Words("Which of these few may be worn?", "¿Cuál de estos pocos se puede usar?"),
            (
                *_HAZARD,
                Parameter("candidates", "", Words("Classes to choose from", "Clases para elegir"),
                          Words("exactly one of them may be worn",
                                "exactamente una se puede usar"), "words",
                          choices=tuple((row.slug, Words(row.english, row.spanish))
                                        for row in respirator_classes.recognised())),
            ),
            "", _SELECTION_SOURCE, _one_class_parts, _one_class_slips,
            _selection_steps,
            {**_LOFT, "candidates": ["apr-half", "apr-full", "apr-filtering"]},
            caution=_SELECTION_CAUTION,
        ),
    ),
)  # fmt: skip
