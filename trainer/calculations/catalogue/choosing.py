"""Which respirator classes may be worn in an air, and why not the others."""

from trainer.calculations import selection
from trainer.calculations.catalogue.behind import CARTRIDGE, IDLH, ratio_line
from trainer.calculations.catalogue.shapes import (
    ABOVE_ZERO,
    LIMIT,
    SAME_UNIT,
    Calculation,
    Group,
    Inputs,
    Named,
    Parameter,
    none,
    step,
    yes_no,
)
from trainer.calculations.selection import MAY, MAY_NOT, NOT_DECIDED, Hazard
from trainer.reference import filter_classes, respirator_classes
from trainer.words import Words, same


def _hazard(inputs: Inputs) -> Hazard:
    return Hazard(**{name: value for name, value in inputs.items() if name != "candidates"})


def _allowed(**inputs) -> list[str]:
    return list(selection.allowed(Hazard(**inputs)))


def _selection_parts(inputs: Inputs) -> Named:
    return {"result": _allowed(**inputs)}


def _selection_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    hazard = _hazard(inputs)
    lines = [] if hazard.ratio is None else [ratio_line(inputs, unit)]
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
    IDLH,
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
    CARTRIDGE,
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
    "choosing",
    Words("Which respirator may be worn?", "¿Qué respirador se puede usar?"),
    (
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
