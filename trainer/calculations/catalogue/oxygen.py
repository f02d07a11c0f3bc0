"""Whether there is oxygen enough."""

from trainer.calculations import air
from trainer.calculations.catalogue.shapes import (
    PERCENT_RANGE,
    Calculation,
    Group,
    Inputs,
    Named,
    Parameter,
    apart,
    but,
    comes_to,
    step,
)
from trainer.reference import oxygen_altitude
from trainer.words import Words, as_typed


def _pressure_parts(inputs: Inputs) -> Named:
    return {
        "share": inputs["percent"] / 100,
        "pressure": air.pressure_at(inputs["altitude_ft"]),
        "result": air.oxygen_partial_pressure(**inputs),
    }


def _pressure_slips(inputs: Inputs) -> Named:
    pressure = air.pressure_at(inputs["altitude_ft"])
    result = air.oxygen_partial_pressure(**inputs)
    slips = {
        "sea-level": inputs["percent"] / 100 * 760,
        "all-of-the-air": pressure,
        "hundredfold": result * 100,
    }
    return apart(slips, result)


def _pressure_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        step("Air at {height} ft: 760 × (1 − 0.0000068756 × {height})^5.2559 {pressure} mmHg",
             "Aire a {height} ft: 760 × (1 − 0.0000068756 × {height})^5.2559 {pressure} mmHg",
             height=inputs["altitude_ft"], pressure=comes_to(parts["pressure"])),
        step("Oxygen alone: {percent} ÷ 100 × {pressure} mmHg {result} mmHg",
             "El oxígeno solo: {percent} ÷ 100 × {pressure} mmHg {result} mmHg",
             percent=inputs["percent"], pressure=comes_to(parts["pressure"])[2:],
             result=comes_to(parts["result"])),
    ]


def _deficient_parts(inputs: Inputs) -> Named:
    deficient = air.oxygen_deficient(**inputs)
    return {"verdict": "deficient" if deficient else "enough", "result": deficient}


def _deficient_slips(inputs: Inputs) -> Named:
    deficient = air.oxygen_deficient(**inputs)
    mistakes = {
        "height-excuses": "normal-here", "height-anyway": "thin-here", "other-side": "enough",
    } if deficient else {
        "height-counts": "thin-here", "height-anyway": "normal-here", "other-side": "deficient",
    }  # fmt: skip
    return but("deficient" if deficient else "enough", mistakes)


def _deficient_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        Words("The line is 19.5 % by volume, at any height: meters read per cent.",
              "La línea es 19.5 % en volumen, a cualquier altura: los medidores dan por ciento."),
        step("{percent} % is below 19.5 %: oxygen-deficient.",
             "{percent} % es menos de 19.5 %: deficiente en oxígeno.", percent=inputs["percent"])
        if parts["result"] else
        step("{percent} % is not below 19.5 %: not oxygen-deficient.",
             "{percent} % no es menos de 19.5 %: no es deficiente en oxígeno.",
             percent=inputs["percent"]),
    ]


def _band(altitude_ft: float) -> oxygen_altitude.OxygenBand:
    return next(band for band in oxygen_altitude.rows()
                if band.to_ft is None or altitude_ft <= band.to_ft)


def _exception_parts(inputs: Inputs) -> Named:
    holds, band = air.table_ii_exception_holds(**inputs), _band(inputs["altitude_ft"])
    low = {} if band.low_percent is None else {"low": band.low_percent}
    return low | {"verdict": "any-brought-air" if holds else "idlh", "result": holds}


def _exception_slips(inputs: Inputs) -> Named:
    holds = air.table_ii_exception_holds(**inputs)
    return but("any-brought-air" if holds else "idlh", {
        "other-side": "idlh" if holds else "any-brought-air",
        "cleans-air": "air-purifying",
        "fan-helps": "powered",
    })


def _exception_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    band = _band(inputs["altitude_ft"])
    if band.low_percent is None:
        range_ = step("Table II at {height} ft: no range; the exception never applies there.",
                      "Tabla II a {height} ft: sin rango; la excepción nunca vale ahí.",
                      height=inputs["altitude_ft"])
    else:
        range_ = step("Table II at {height} ft: {low} to {high} %.",
                      "Tabla II a {height} ft: de {low} a {high} %.",
                      height=inputs["altitude_ft"], low=as_typed(band.low_percent),
                      high=as_typed(band.high_percent))
    if parts["result"]:
        return [range_, step(
            "{percent} % lies in it. Any respirator that brings its air will do, if the employer "
            "shows that the oxygen stays in the range under all foreseeable conditions.",
            "{percent} % está en el rango. Sirve cualquier respirador que trae su aire, si el "
            "empleador demuestra que el oxígeno queda en el rango en toda condición previsible.",
            percent=inputs["percent"])]
    return [range_, step(
        "{percent} % does not lie in it. Below 19.5 % the air is IDLH.",
        "{percent} % no está en el rango. Con menos de 19.5 % el aire es IDLH.",
        percent=inputs["percent"])]


_HIGH = Words(
    "Above 14,000 ft oxygen-enriched breathing air must be supplied: Table II, footnote 1.",
    "A más de 14,000 ft hay que suministrar aire respirable enriquecido con oxígeno: Tabla II, "
    "nota 1.",
)
_PERCENT = Parameter("percent", "%", Words("Oxygen by volume", "Oxígeno en volumen"),
                     PERCENT_RANGE)  # fmt: skip
_HEIGHT_LABEL = Words("Height above the sea", "Altura sobre el mar")
_HEIGHT_RANGE = Words("-1,500 to 36,000", "de -1,500 a 36,000")
_HEIGHT = Parameter("altitude_ft", "ft", _HEIGHT_LABEL, _HEIGHT_RANGE)
_USUAL_HEIGHT = Parameter("altitude_ft", "ft", _HEIGHT_LABEL, _HEIGHT_RANGE, needed=False, usual=0)

GROUP = Group(
    "oxygen",
    Words("Is there oxygen enough?", "¿Hay suficiente oxígeno?"),
    (
        Calculation(
            "oxygen_deficient", air.oxygen_deficient,
            Words("Oxygen-deficient?", "¿Deficiente en oxígeno?"),
            Words("Does this air lack oxygen?", "¿Le falta oxígeno a este aire?"),
            (_PERCENT, _USUAL_HEIGHT), "", "29 CFR 1910.134(b); OSHA letter of 2 April 2007",
            _deficient_parts, _deficient_slips, _deficient_steps,
            {"percent": 19.2, "altitude_ft": 0}, caution=_HIGH,
        ),
        Calculation(
            "table_ii_exception_holds", air.table_ii_exception_holds,
            Words("Does Table II except it?", "¿Lo exceptúa la Tabla II?"),
            Words("Will any respirator that brings air do?",
                  "¿Sirve cualquier respirador que trae aire?"),
            (_PERCENT, _HEIGHT), "", "29 CFR 1910.134(d)(2)(iii), Table II",
            _exception_parts, _exception_slips, _exception_steps,
            {"percent": 17.5, "altitude_ft": 4500}, caution=_HIGH,
        ),
        Calculation(
            "oxygen_partial_pressure", air.oxygen_partial_pressure,
            Words("Pressure of oxygen", "Presión del oxígeno"),
            Words("How much does height take away?", "¿Cuánto quita la altura?"),
            (_PERCENT, _HEIGHT), "mmHg", "Dalton's law; U.S. Standard Atmosphere 1976",
            _pressure_parts, _pressure_slips, _pressure_steps,
            {"percent": 20.9, "altitude_ft": 5000}, plot="oxygen",
        ),
    ),
)  # fmt: skip
