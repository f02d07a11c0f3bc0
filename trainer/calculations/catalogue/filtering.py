"""What gets through a filter, which filter serves, what the approval number says."""

from collections.abc import Iterable

from trainer.calculations import filters, labels
from trainer.calculations.catalogue.shapes import (
    PERCENT_RANGE,
    ZERO_AND_ABOVE,
    Calculation,
    Group,
    Inputs,
    Named,
    Parameter,
    apart,
    comes_to,
    none,
    only,
    step,
    yes_no,
)
from trainer.reference import approvals, filter_classes
from trainer.words import Words, same


def _penetration_slips(inputs: Inputs) -> Named:
    through = filters.filter_penetration(**inputs)
    # Only a filter of 99.97 % has a name, 100, that differs from what it catches.
    by_name = {"name-taken-as-efficiency": 0.0, "number-in-name": 100.0}
    return {"share-for-percent": through / 100} | (by_name if 0 < through < 1 else {})


def _penetration_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [step("100 % − {efficiency} % {result} %", efficiency=inputs["efficiency_percent"],
                 result=comes_to(parts["result"]))]


def _through_parts(inputs: Inputs) -> Named:
    return {
        "penetration": filters.filter_penetration(inputs["efficiency_percent"]),
        "result": filters.particles_through(**inputs),
    }


def _through_slips(inputs: Inputs) -> Named:
    particles, result = inputs["particles"], filters.particles_through(**inputs)
    by_name = {"name-taken-as-efficiency": 0.0, "number-in-name": 100.0}
    high = inputs["efficiency_percent"] > 99
    slips = {
        "caught": particles - result,
        "share-for-percent": result * 100,
        "hundredth": result / 100,
    }
    return apart(slips, result) | (by_name if high else {})


def _through_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        *_penetration_steps(inputs, {"result": parts["penetration"]}, unit),
        step("{particles} × {share} % {result}", particles=inputs["particles"],
             share=parts["penetration"], result=comes_to(parts["result"])),
    ]


def _leakage_slips(inputs: Inputs) -> Named:
    filtered, sealed = inputs["filter_penetration_percent"], inputs["face_seal_leakage_percent"]
    result = filters.total_inward_leakage(**inputs)
    slips = {"filter-only": filtered, "seal-only": sealed, "multiplied": filtered * sealed,
             "subtracted": abs(filtered - sealed), "added-again": result + filtered}
    return apart(slips, result)


def _leakage_parts(inputs: Inputs) -> Named:
    result = filters.total_inward_leakage(**inputs)
    return {"result": result} | ({"protection": 100 / result} if result else {})


def _leakage_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    lines = [step("Through the filter + at the edge: {filtered} % + {sealed} % {result} %",
                  "Por el filtro + por el borde: {filtered} % + {sealed} % {result} %",
                  filtered=inputs["filter_penetration_percent"],
                  sealed=inputs["face_seal_leakage_percent"], result=comes_to(parts["result"]))]
    if parts["result"]:
        lines.append(step("So protection is about 100 ÷ {result} {protection} times.",
                          "Así, la protección es de unas 100 ÷ {result} {protection} veces.",
                          result=comes_to(parts["result"])[2:],
                          protection=comes_to(parts["protection"])))
    return lines


def _task(inputs: Inputs) -> Named:
    return {name: value for name, value in inputs.items() if name != "candidates"}


def _task_parts(inputs: Inputs) -> Named:
    letters = filters.letters_for(inputs["oil"], inputs["powered"], inputs["shifts"])
    return {"letters": letters, "result": filters.filter_for_task(**inputs)}


def _task_slips(inputs: Inputs) -> Named:
    found: Named = {}
    for name in inputs["candidates"]:
        reason = filters.why_not(name, **_task(inputs))
        if reason:
            found.setdefault(reason, []).append(name)
    return found


def _task_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return _verdicts(_task(inputs), inputs["candidates"])


def _all_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    usual = {"efficiency_percent": 95, "shifts": 1}
    fit = [row.name for row in filter_classes.rows()
           if row.seen and row.powered == inputs["powered"]]
    return _verdicts(usual | inputs, fit)


def _verdicts(task: Named, names: Iterable[str]) -> list[Words]:
    letters = filters.letters_for(task["oil"], task["powered"], task["shifts"])
    return [
        step("By the letters: {letters}", "Según las letras: {letters}",
             letters=_LETTERS[letters]),
        *(step("{name}: {why}", name=name, why=_WHY[filters.why_not(name, **task)])
          for name in names),
    ]


def _approval_slips(inputs: Inputs) -> Named:
    offered = inputs.get("candidates")
    kept = {key: [kind for kind in labels.other_kinds(inputs["prefix"], family)
                  if offered is None or kind in offered]
            for key, family in (("same-family", True), ("other-family", False))}
    return {key: kinds for key, kinds in kept.items() if kinds}


def _approval_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    row = approvals.get(inputs["prefix"])
    return [step("{prefix}: {name}; {covers}", prefix=row.prefix,
                 name=Words(row.english, row.spanish), covers=Words(row.covers_en, row.covers_es))]


_LETTERS = {
    "N, R or P": Words("N, R or P", "N, R o P"), "R or P": Words("R or P", "R o P"),
    "P": same("P"), "HE": same("HE"),
}  # fmt: skip
_WHY = {
    "": Words("serves", "sirve"),
    "not-for-powered": Words("not for powered units", "no es para equipos motorizados"),
    "only-for-powered": Words("for powered units only", "solo para equipos motorizados"),
    "n-with-oil": Words("not resistant to oil", "no resiste el aceite"),
    "r-past-one-shift": Words("with oil for one shift only", "con aceite, un solo turno"),
    "too-little-caught": Words("catches too little", "atrapa demasiado poco"),
}
_EFFICIENCY = Parameter(
    "efficiency_percent", "%", Words("Least share that is caught", "Parte mínima que atrapa"),
    PERCENT_RANGE,
)  # fmt: skip
_OIL = yes_no("oil", "Is there oil in the air?", "¿Hay aceite en el aire?", True)
_POWERED = yes_no("powered", "Is it for a powered unit?", "¿Es para un equipo motorizado?", True)
_SHIFTS = Parameter(
    "shifts", "", Words("Shifts that the same filter is used", "Turnos que se usa el mismo filtro"),
    Words("1 and above", "1 o más"), "whole",
)  # fmt: skip
_NAMES = tuple((row.name, same(row.name)) for row in filter_classes.rows() if row.seen)
_KINDS = tuple(
    (row.kind, Words(row.english, row.spanish)) for row in approvals.rows() if row.seen
)
_PREFIXES = tuple((row.prefix, same(row.prefix)) for row in approvals.rows() if row.seen)

GROUP = Group(
    "filters",
    Words("What does a filter stop?", "¿Qué detiene un filtro?"),
    (
        Calculation(
            "filter_penetration", filters.filter_penetration,
            Words("What gets through a filter", "Lo que pasa por un filtro"),
            Words("How much gets through a filter?", "¿Cuánto pasa por un filtro?"),
            (_EFFICIENCY,), "%", "42 CFR 84.170(a)",
            only(filters.filter_penetration), _penetration_slips, _penetration_steps,
            {"efficiency_percent": 99.97},
        ),
        Calculation(
            "particles_through", filters.particles_through,
            Words("Particles that get through", "Partículas que pasan"),
            Words("How many of so many particles get through?",
                  "¿Cuántas de tantas partículas pasan?"),
            (_EFFICIENCY, Parameter("particles", "", Words("Particles that reach the filter",
                                                           "Partículas que llegan al filtro"),
                                    ZERO_AND_ABOVE)),
            "", "42 CFR 84.170(a)", _through_parts, _through_slips, _through_steps,
            {"efficiency_percent": 99.97, "particles": 20_000},
        ),
        Calculation(
            "total_inward_leakage", filters.total_inward_leakage,
            Words("Total inward leakage", "Fuga total hacia adentro"),
            Words("How much gets in by filter and edge?", "¿Cuánto entra por filtro y borde?"),
            (
                Parameter("filter_penetration_percent", "%", Words("Through the filter",
                                                                   "Por el filtro"),
                          PERCENT_RANGE),
                Parameter("face_seal_leakage_percent", "%", Words("In at the edge",
                                                                  "Por el borde"),
                          Words("0 to 100, both at most 100", "de 0 a 100, los dos hasta 100")),
            ),
            "%", "derived: the two ways in, added",
            _leakage_parts, _leakage_slips, _leakage_steps,
            {"filter_penetration_percent": 5, "face_seal_leakage_percent": 2},
        ),
        Calculation(
            "filters_for", filters.filters_for,
            Words("Filters that serve", "Filtros que sirven"),
            Words("Which filters serve the task?", "¿Qué filtros sirven para la tarea?"),
            (
                _OIL, _POWERED,
                Parameter("efficiency_percent", "%", _EFFICIENCY.label, PERCENT_RANGE,
                          needed=False, usual=95),
                Parameter("shifts", "", _SHIFTS.label, _SHIFTS.range, "whole", False, usual=1),
            ),
            "", "42 CFR 84.170; oil and service time: NIOSH Publication 96-101",
            only(filters.filters_for), none, _all_steps,
            {"oil": True, "powered": False, "efficiency_percent": 99, "shifts": 1},
        ),
        Calculation(
            "filter_for_task", filters.filter_for_task,
            Words("Filter that serves", "Filtro que sirve"),
            Words("Which of these few filters serves?", "¿Cuál de estos pocos filtros sirve?"),
            (
                _OIL, _EFFICIENCY, _POWERED, _SHIFTS,
                Parameter("candidates", "", Words("Filters to choose from",
                                                  "Filtros para elegir"),
                          Words("exactly one of them serves", "exactamente uno sirve"), "words",
                          choices=_NAMES),
            ),
            "", "42 CFR 84.170; oil and service time: NIOSH Publication 96-101",
            _task_parts, _task_slips, _task_steps,
            {"oil": True, "efficiency_percent": 95, "powered": False, "shifts": 1,
             "candidates": ["N95", "N100", "R95"]},
        ),
        Calculation(
            "approval_kind", labels.approval_kind,
            Words("What an approval number says", "Lo que dice un número de aprobación"),
            Words("What does the approval number say?", "¿Qué dice el número de aprobación?"),
            (
                Parameter("prefix", "", Words("Start of the approval number",
                                              "Comienzo del número de aprobación"),
                          Words("such as TC-84A", "como TC-84A"), "word", choices=_PREFIXES),
                Parameter("candidates", "", Words("Kinds to choose from", "Tipos para elegir"),
                          Words("the right one among them", "el correcto entre ellos"), "words",
                          False, choices=_KINDS),
            ),
            "", "NIOSH Certified Equipment List, general cautions page; NIOSH CA 2022-1044",
            only(labels.approval_kind), _approval_slips, _approval_steps, {"prefix": "TC-84A"},
        ),
    ),
)  # fmt: skip
