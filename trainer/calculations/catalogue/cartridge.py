"""How long a cartridge may last."""

from trainer.calculations import cartridges
from trainer.calculations.catalogue.shapes import (
    ABOVE_ZERO,
    PERCENT_RANGE,
    SAME_UNIT,
    Calculation,
    Group,
    Inputs,
    Named,
    Parameter,
    apart,
    comes_to,
    step,
)
from trainer.words import Words


def _changes(inputs: Inputs) -> Named:
    return cartridges.share_left(**{name: one for name, one in inputs.items() if name != "hours"})


def _cartridge_parts(inputs: Inputs) -> Named:
    shares = {f"{name}_share": float(f"{one:.12g}") for name, one in _changes(inputs).items()}
    return shares | {"result": cartridges.cartridge_hours(**inputs)}


def _cartridge_slips(inputs: Inputs) -> Named:
    result, hours = cartridges.cartridge_hours(**inputs), inputs["hours"]
    slips = {"unchanged": hours}
    for name, share in _changes(inputs).items():
        slips[f"{name}-upside-down"] = result / share**2
        slips[f"{name}-left-out"] = result / share
    if inputs.get("concentration_from") is not None:
        tenfold = inputs["concentration_from"] / inputs["concentration_to"]
        slips["in-proportion"] = hours * tenfold
    return apart(slips, result)


def _cartridge_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    lines = []
    if "concentration_share" in parts:
        lines.append(step(
            "A tenth of the concentration, five times the hours: 5^log10({first} ÷ {then}) {share}",
            "La décima parte de la concentración, cinco veces las horas: 5^log10({first} ÷ {then}) "
            "{share}", first=inputs["concentration_from"], then=inputs["concentration_to"],
            share=comes_to(parts["concentration_share"])))
    if "flow_share" in parts:
        lines.append(step(
            "Twice the breathing, half the hours: {first} ÷ {then} {share}",
            "El doble de respiración, la mitad de las horas: {first} ÷ {then} {share}",
            first=inputs["flow_from"], then=inputs["flow_to"], share=comes_to(parts["flow_share"])))
    if "humidity_share" in parts:
        lines.append(step(
            "Humidity {humidity} %: above 85 % it halves: × {share}",
            "Humedad {humidity} %: más de 85 % la reduce a la mitad: × {share}",
            humidity=inputs["humidity_percent"], share=parts["humidity_share"]))
    terms = "".join(f" × {comes_to(parts[name])[2:]}" for name in parts if name != "result")
    lines.append(step("{hours} h{terms} {result} h", hours=inputs["hours"], terms=terms,
                      result=comes_to(parts["result"])))
    return lines


CAUTION = Words(
    "A rule of thumb for organic vapors, never the only basis: the change schedule comes from "
    "objective data. If you taste or smell something, leave.",
    "Una regla práctica para vapores orgánicos, nunca la única base: el programa de cambio sale de "
    "datos objetivos. Si nota un sabor o un olor, salga.",
)

GROUP = Group(
    "cartridge",
    Words("How long does a cartridge last?", "¿Cuánto dura un cartucho?"),
    (
        Calculation(
            "cartridge_hours", cartridges.cartridge_hours,
            Words("Hours of a cartridge", "Horas de un cartucho"),
            Words("What if the air or the work changes?", "¿Y si cambia el aire o el trabajo?"),
            (
                Parameter("hours", "h", Words("Lasts now", "Dura ahora"),
                          Words("above 0, at most 1,000", "mayor que 0, hasta 1,000")),
                Parameter("concentration_from", SAME_UNIT, Words("Concentration now",
                                                                 "Concentración ahora"),
                          ABOVE_ZERO, needed=False),
                Parameter("concentration_to", SAME_UNIT, Words("Concentration then",
                                                               "Concentración después"),
                          ABOVE_ZERO, needed=False),
                Parameter("flow_from", "L/min", Words("Breathing rate now",
                                                      "Aire que se respira ahora"),
                          ABOVE_ZERO, needed=False),
                Parameter("flow_to", "L/min", Words("Breathing rate then",
                                                    "Aire que se respira después"),
                          ABOVE_ZERO, needed=False),
                Parameter("humidity_percent", "%", Words("Relative humidity then",
                                                         "Humedad relativa después"),
                          PERCENT_RANGE, needed=False),
                Parameter("boiling_point_c", "°C", Words("Boiling point of the vapor",
                                                         "Punto de ebullición del vapor"),
                          Words("above 70", "mayor que 70"), needed=False),
            ),
            "h", "AIHA, The Occupational Environment, chapter 36, as quoted by OSHA (rule of "
            "thumb); (d)(3)(iii) and (g)(2)(ii) of 29 CFR 1910.134",
            _cartridge_parts, _cartridge_slips, _cartridge_steps,
            {"hours": 8, "concentration_from": 200, "concentration_to": 100, "flow_from": 35,
             "flow_to": 50, "humidity_percent": 90, "boiling_point_c": 111}, caution=CAUTION,
            figures=2,
        ),
    ),
)  # fmt: skip
