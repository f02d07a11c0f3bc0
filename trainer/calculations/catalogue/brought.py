"""Air that is brought: how long it lasts, whether it flows enough, whether it is good."""

from trainer.calculations import supply
from trainer.calculations.catalogue.shapes import (
    ABOVE_ZERO,
    PERCENT_RANGE,
    ZERO_AND_ABOVE,
    Calculation,
    Group,
    Inputs,
    Named,
    Parameter,
    apart,
    beside,
    but,
    comes_to,
    only,
    step,
    yes_no,
)
from trainer.words import Words, as_typed, same


def _cylinder_parts(inputs: Inputs) -> Named:
    free = inputs.get("free_air_litres")
    if free is None and None not in (inputs.get("water_volume_litres"), inputs.get("pressure_bar")):
        free = inputs["water_volume_litres"] * inputs["pressure_bar"]
    result = supply.cylinder_minutes(**inputs)
    kept = inputs.get("reserve_percent", 0)
    return {
        "free_air": float(f"{free:.12g}"),
        "usable": float(f"{free * (100 - kept) / 100:.12g}"),
        "result": result,
    }


def _cylinder_slips(inputs: Inputs) -> Named:
    parts, rate = _cylinder_parts(inputs), inputs["breathing_litres_per_minute"]
    kept, size = inputs.get("reserve_percent", 0), inputs.get("water_volume_litres")
    slips = {
        "no-reserve": parts["free_air"] / rate,
        "reserve-alone": parts["free_air"] * kept / 100 / rate,
        "upside-down": rate / parts["usable"] if parts["usable"] else None,
        "pressure-left-out": size * (100 - kept) / 100 / rate if size else None,
    }
    return apart({key: value for key, value in slips.items() if value}, parts["result"])


def _cylinder_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    kept = inputs.get("reserve_percent", 0)
    size = inputs.get("water_volume_litres")
    free = [] if size is None else [
        step("Air in it: {size} L × {bar} bar {free} L", "Aire que contiene: {size} L × {bar} bar "
             "{free} L", size=size, bar=inputs["pressure_bar"], free=comes_to(parts["free_air"]))
    ]
    usable = [] if not kept else [
        step("Less {kept} % kept back: {free} L × {share} % {usable} L",
             "Menos {kept} % de reserva: {free} L × {share} % {usable} L", kept=kept,
             free=parts["free_air"], share=100 - kept, usable=comes_to(parts["usable"]))
    ]
    return [
        *free, *usable,
        step("{usable} L ÷ {rate} L/min {result} min", usable=parts["usable"],
             rate=inputs["breathing_litres_per_minute"], result=comes_to(parts["result"])),
    ]


def _alarm_slips(inputs: Inputs) -> Named:
    rated, share = inputs["rated_minutes"], inputs.get("alarm_percent", 25)
    slips = {"before-alarm": rated * (100 - share) / 100, "whole-time": rated}
    return apart(slips, supply.low_air_alarm_minutes(**inputs))


def _alarm_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        step("{rated} min × {share} % {result} min", rated=inputs["rated_minutes"],
             share=inputs.get("alarm_percent", 25), result=comes_to(parts["result"])),
        Words("Rated times are measured at 40 L/min; in hard work the air is gone sooner.",
              "Los tiempos nominales se miden a 40 L/min; con trabajo pesado el aire se acaba "
              "antes."),
    ]


def _flow_verdict(enough: bool, facepiece: str) -> str:
    return f"{'enough' if enough else 'too-little'}-{facepiece}"


def _flow_parts(inputs: Inputs) -> Named:
    enough = supply.airline_flow_adequate(**inputs)
    return {
        "needed": supply.least_flow(inputs["unit"], inputs["facepiece"]),
        "verdict": _flow_verdict(enough, inputs["facepiece"]),
        "result": enough,
    }


def _flow_slips(inputs: Inputs) -> Named:
    other = "loose" if inputs["facepiece"] == "tight" else "tight"
    enough = supply.airline_flow_adequate(**inputs)
    by_other = inputs["flow"] >= supply.least_flow(inputs["unit"], other)
    return but(_flow_verdict(enough, inputs["facepiece"]), {
        "other-least": _flow_verdict(by_other, other),
        "compared-wrongly": _flow_verdict(not enough, inputs["facepiece"]),
        "both": _flow_verdict(not by_other, other),
    })


def _flow_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    least = step("{what} needs at least {needed} {unit}.",
                 "{what} necesita por lo menos {needed} {unit}.",
                 what=_COVERINGS[inputs["facepiece"]], needed=parts["needed"],
                 unit=inputs["unit"])
    shown = beside(inputs["flow"], parts["needed"])
    return [least, step("{flow} {unit} is enough.", "{flow} {unit} alcanza.", flow=shown,
                        unit=inputs["unit"]) if parts["result"] else
            step("{flow} {unit} is too little.", "{flow} {unit} es muy poco.", flow=shown,
                 unit=inputs["unit"])]


def _grade_d_parts(inputs: Inputs) -> Named:
    broken = supply.broken_limits(**inputs)
    breaks = "none" if not broken else broken[0] if len(broken) == 1 else "several"
    return {"breaks": breaks, "broken": list(broken), "result": not broken}


def _grade_d_slips(inputs: Inputs) -> Named:
    verdicts = {name: name for name in ("none", *_GRADE_D)}
    return but(_grade_d_parts(inputs)["breaks"], verdicts)


def _grade_d_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    lines = []
    for name, (what, limit, its_unit) in _GRADE_D.items():
        broken = name in parts["broken"]
        if name == "odour":
            shown = _NOTICEABLE if inputs.get("odour") else _NO_ODOUR
        else:
            shown = same(f"{as_typed(inputs[name])} {its_unit}".strip())
        lines.append(step("{what}: {shown}; {limit}. {verdict}.", what=what, shown=shown,
                          limit=limit, verdict=_BROKEN if broken else _KEPT))
    return lines


_COVERINGS = {
    "tight": Words("A tight-fitting one", "Uno de ajuste hermético"),
    "loose": Words("A loose-fitting one", "Uno de ajuste holgado"),
}
_NO_ODOUR, _NOTICEABLE = Words("none", "ninguno"), Words("noticeable", "se nota")
_KEPT, _BROKEN = Words("Kept", "Se cumple"), Words("Broken", "No se cumple")
_GRADE_D = {
    "oxygen_percent": (Words("Oxygen", "Oxígeno"),
                       Words("19.5 to 23.5 % is right", "lo correcto es de 19.5 a 23.5 %"), "%"),
    "carbon_monoxide_ppm": (Words("Carbon monoxide", "Monóxido de carbono"),
                            Words("at most 10 ppm", "hasta 10 ppm"), "ppm"),
    "carbon_dioxide_ppm": (Words("Carbon dioxide", "Dióxido de carbono"),
                           Words("at most 1,000 ppm", "hasta 1,000 ppm"), "ppm"),
    "oil_mg_per_m3": (Words("Oil", "Aceite"), Words("at most 5 mg/m³", "hasta 5 mg/m³"), "mg/m³"),
    "odour": (Words("Odor", "Olor"), Words("there must be none", "no debe haber ninguno"), ""),
}  # fmt: skip

GROUP = Group(
    "brought",
    Words("Does the air last, and is it good?", "¿Alcanza el aire, y es bueno?"),
    (
        Calculation(
            "cylinder_minutes", supply.cylinder_minutes,
            Words("Minutes in a cylinder", "Minutos de un cilindro"),
            Words("How long does a cylinder last?", "¿Cuánto dura un cilindro?"),
            (
                Parameter("free_air_litres", "L", Words("Air in it, at 1 bar",
                                                        "Aire que contiene, a 1 bar"),
                          ABOVE_ZERO, needed=False),
                Parameter("water_volume_litres", "L", Words("Or its size", "O su tamaño"),
                          ABOVE_ZERO, needed=False),
                Parameter("pressure_bar", "bar", Words("with its pressure", "con su presión"),
                          Words("above 0, at most 1,000", "mayor que 0, hasta 1,000"),
                          needed=False),
                Parameter("breathing_litres_per_minute", "L/min",
                          Words("Breathing rate", "Aire que se respira"),
                          Words("1 to 500", "de 1 a 500")),
                Parameter("reserve_percent", "%", Words("Kept for the way out",
                                                        "Reserva para salir"),
                          PERCENT_RANGE, needed=False, usual=0),
            ),
            "min", "derived: volume divided by rate; Boyle's law. 40 L/min: 42 CFR part 84",
            _cylinder_parts, _cylinder_slips, _cylinder_steps,
            {"water_volume_litres": 6, "pressure_bar": 300, "breathing_litres_per_minute": 40,
             "reserve_percent": 25},
            caution=Words("Worked as an ideal gas. At 300 bar a cylinder holds about a tenth less "
                          "than its size says (from memory); the air it is rated for is on its "
                          "label.",
                          "Calculado como gas ideal. A 300 bar un cilindro contiene cerca de una "
                          "décima parte menos de lo que dice su tamaño (de memoria); el aire para "
                          "el que está clasificado figura en su etiqueta."),
        ),
        Calculation(
            "low_air_alarm_minutes", supply.low_air_alarm_minutes,
            Words("Minutes left at the low-air alarm", "Minutos que quedan al sonar la alarma"),
            Words("How long is left when the alarm begins?", "¿Cuánto queda al sonar la alarma?"),
            (
                Parameter("rated_minutes", "min", Words("Rated service time",
                                                        "Tiempo nominal de servicio"),
                          Words("above 0, at most 240", "mayor que 0, hasta 240")),
                Parameter("alarm_percent", "%", Words("Where the alarm is set",
                                                      "Punto de la alarma"),
                          Words("20 to 100", "de 20 a 100"), needed=False, usual=25),
            ),
            "min", "42 CFR 84.83(f), 78 FR 2618",
            only(supply.low_air_alarm_minutes), _alarm_slips, _alarm_steps,
            {"rated_minutes": 45},
        ),
        Calculation(
            "airline_flow_adequate", supply.airline_flow_adequate,
            Words("Does the airline flow enough?", "¿Alcanza el flujo de la línea de aire?"),
            Words("Does the airline give enough?", "¿Da suficiente la línea de aire?"),
            (
                Parameter("flow", "", Words("Measured flow", "Flujo medido"), ZERO_AND_ABOVE),
                Parameter("unit", "", Words("in", "en"), Words("L/min or cfm", "L/min o cfm"),
                          "word", choices=(("L/min", same("L/min")), ("cfm", same("cfm")))),
                Parameter("facepiece", "", Words("Inlet covering", "Pieza de entrada"),
                          Words("tight or loose", "hermética u holgada"), "word",
                          choices=(("tight", Words("tight-fitting", "de ajuste hermético")),
                                   ("loose", Words("loose-fitting: hood, helmet",
                                                   "de ajuste holgado: capucha, casco")))),
            ),
            "", "42 CFR part 84, subpart J, table 8; 84.162",
            _flow_parts, _flow_slips, _flow_steps,
            {"flow": 150, "unit": "L/min", "facepiece": "tight"},
        ),
        Calculation(
            "breathing_air_acceptable", supply.breathing_air_acceptable,
            Words("Is the breathing air acceptable?", "¿Es aceptable el aire para respirar?"),
            Words("Is the air fit to breathe (Grade D)?",
                  "¿Sirve el aire para respirar (Grado D)?"),
            (
                Parameter("oxygen_percent", "%", _GRADE_D["oxygen_percent"][0], PERCENT_RANGE),
                Parameter("carbon_monoxide_ppm", "ppm", _GRADE_D["carbon_monoxide_ppm"][0],
                          ZERO_AND_ABOVE),
                Parameter("carbon_dioxide_ppm", "ppm", _GRADE_D["carbon_dioxide_ppm"][0],
                          ZERO_AND_ABOVE),
                Parameter("oil_mg_per_m3", "mg/m³", _GRADE_D["oil_mg_per_m3"][0], ZERO_AND_ABOVE),
                yes_no("odour", "Is an odor noticeable?", "¿Se nota algún olor?"),
            ),
            "", "29 CFR 1910.134(i)(1)(ii), Grade D",
            _grade_d_parts, _grade_d_slips, _grade_d_steps,
            {"oxygen_percent": 20.9, "carbon_monoxide_ppm": 4, "carbon_dioxide_ppm": 600,
             "oil_mg_per_m3": 0.5, "odour": False},
            caution=Words("Moisture has limits of its own: 29 CFR 1910.134(i)(4)(iii) and "
                          "(i)(5)(ii).",
                          "La humedad tiene sus propios límites: 29 CFR 1910.134(i)(4)(iii) e "
                          "(i)(5)(ii)."),
        ),
    ),
)  # fmt: skip
