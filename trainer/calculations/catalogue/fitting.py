"""Whether a facepiece fits, from what was measured."""

from trainer.calculations import fit
from trainer.calculations.catalogue.shapes import (
    ABOVE_ZERO,
    SAME_UNIT,
    ZERO_AND_ABOVE,
    Calculation,
    Group,
    Inputs,
    Named,
    Parameter,
    added,
    apart,
    beside,
    but,
    comes_to,
    only,
    step,
)
from trainer.words import Words, as_typed


def _fit_slips(inputs: Inputs) -> Named:
    outside, inside = inputs["outside"], inputs["inside"]
    factor = fit.fit_factor(**inputs)
    slips = {"subtracted": outside - inside, "multiplied-back": outside * factor}
    if outside:
        slips |= {"upside-down": inside / outside, "factor-over-outside": factor / outside}
    return apart(slips, factor)


def _fit_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        step("Divide outside by inside.", "Divida lo de afuera entre lo de adentro."),
        step("{outside} ÷ {inside} {result}", **inputs | {"result": comes_to(parts["result"])}),
    ]


def _overall_parts(inputs: Inputs) -> Named:
    factors = list(inputs["fit_factors"])
    return {
        "exercises": len(factors),
        "sum": sum(1 / one for one in factors),
        "result": fit.overall_fit_factor(factors),
    }


def _overall_slips(inputs: Inputs) -> Named:
    factors = list(inputs["fit_factors"])
    result = fit.overall_fit_factor(factors)
    slips = {
        "plain-mean": sum(factors) / len(factors),
        "lowest-only": min(factors),
        "not-times-count": result / len(factors),
    }
    return apart(slips, result)


def _overall_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    terms = added([f"1/{as_typed(one)}" for one in inputs["fit_factors"]])
    return [
        step("Add up one over each factor: {terms} {sum}",
             "Sume uno entre cada factor: {terms} {sum}", terms=terms,
             sum=comes_to(parts["sum"])),
        step("Divide the number of exercises by that sum: {count} ÷ {sum} {result}",
             "Divida el número de ejercicios entre esa suma: {count} ÷ {sum} {result}",
             count=parts["exercises"], sum=comes_to(parts["sum"])[2:],
             result=comes_to(parts["result"])),
    ]


def _verdict(passes: bool, facepiece: str) -> str:
    return f"{'passes' if passes else 'fails'}-{facepiece}"


def _passes_parts(inputs: Inputs) -> Named:
    passes = fit.fit_test_passes(**inputs)
    return {
        "needed": fit.PASS_LEVELS[inputs["facepiece"]],
        "verdict": _verdict(passes, inputs["facepiece"]),
        "result": passes,
    }


def _passes_slips(inputs: Inputs) -> Named:
    factor, facepiece = inputs["fit_factor"], inputs["facepiece"]
    other = "full" if facepiece == "half" else "half"
    by_other, passes = factor >= fit.PASS_LEVELS[other], fit.fit_test_passes(**inputs)
    return but(_verdict(passes, facepiece), {
        "other-level": _verdict(by_other, other),
        "compared-wrongly": _verdict(not passes, facepiece),
        "both": _verdict(not by_other, other),
    })


def _passes_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    needed, factor = parts["needed"], inputs["fit_factor"]
    compared = step("{factor} is not below {needed}: it passes.",
                    "{factor} no es menor que {needed}: aprueba.",
                    factor=beside(factor, needed), needed=needed) if parts["result"] else \
        step("{factor} is below {needed}: it does not pass.",
             "{factor} es menor que {needed}: no aprueba.",
             factor=beside(factor, needed), needed=needed)
    least = Words("A half mask needs at least 100.", "Una media cara necesita por lo menos 100.") \
        if inputs["facepiece"] == "half" else \
        Words("A full facepiece needs at least 500.",
              "Una de cara completa necesita por lo menos 500.")
    return [least, compared]


_NOT_A_FACTOR = Words(
    "A fit factor shows how a mask fitted one person on one day. Never work out with it how much "
    "may be outside: that takes the assigned protection factor.",
    "El factor de ajuste muestra cómo le quedó la máscara a una persona un día. Nunca calcule con "
    "él cuánto puede haber afuera: para eso está el factor de protección asignado.",
)

GROUP = Group(
    "fit",
    Words("Does it fit?", "¿Ajusta bien?"),
    (
        Calculation(
            "fit_factor", fit.fit_factor, Words("Fit factor", "Factor de ajuste"),
            Words("How well does it fit?", "¿Qué tan bien ajusta?"),
            (
                Parameter("outside", SAME_UNIT, Words("Outside", "Afuera"), ZERO_AND_ABOVE),
                Parameter("inside", SAME_UNIT, Words("Inside", "Adentro"), ABOVE_ZERO),
            ),
            "", "29 CFR 1910.134(b), fit factor",
            only(fit.fit_factor), _fit_slips, _fit_steps, {"outside": 2000, "inside": 10},
            caution=_NOT_A_FACTOR,
        ),
        Calculation(
            "overall_fit_factor", fit.overall_fit_factor,
            Words("Overall fit factor", "Factor de ajuste total"),
            Words("What do all exercises come to?", "¿Cuánto dan todos los ejercicios juntos?"),
            (
                Parameter("fit_factors", "", Words("Fit factor of each exercise, without the "
                                                   "grimace",
                                                   "Factor de ajuste de cada ejercicio, sin la "
                                                   "mueca"), ABOVE_ZERO, "numbers"),
            ),
            "", "29 CFR 1910.134 Appendix A, Part I.C (formula from memory)",
            _overall_parts, _overall_slips, _overall_steps,
            {"fit_factors": [250, 180, 400, 320, 150, 220, 300]}, caution=_NOT_A_FACTOR,
        ),
        Calculation(
            "fit_test_passes", fit.fit_test_passes,
            Words("Does the fit test pass?", "¿Aprueba la prueba de ajuste?"),
            Words("Is that enough to pass?", "¿Alcanza para aprobar?"),
            (
                Parameter("fit_factor", "", Words("Overall fit factor", "Factor de ajuste total"),
                          ZERO_AND_ABOVE),
                Parameter("facepiece", "", Words("Facepiece", "Pieza facial"),
                          Words("half or full", "media cara o cara completa"), "word",
                          choices=(("half", Words("half or quarter", "media cara o cuarto de "
                                                  "cara")),
                                   ("full", Words("full", "cara completa")))),
            ),
            "", "29 CFR 1910.134(f)(7)", _passes_parts, _passes_slips, _passes_steps,
            {"fit_factor": 212, "facepiece": "half"}, caution=_NOT_A_FACTOR,
        ),
    ),
)  # fmt: skip
