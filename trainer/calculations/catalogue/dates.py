"""When something falls due."""

from trainer.calculations import periods
from trainer.calculations.catalogue.shapes import (
    Calculation,
    Group,
    Inputs,
    Named,
    Parameter,
    none,
    only,
    step,
)
from trainer.words import Words


def _due_steps(inputs: Inputs, parts: Named, unit: str) -> list[Words]:
    return [
        step("{completed} + {months} months: {result}", "{completed} + {months} meses: {result}",
             completed=inputs["completed"].isoformat(), months=inputs.get("months", 12),
             result=parts["result"].isoformat()),
        Words("That day itself is the last good one.", "Ese mismo día es el último válido."),
    ]


GROUP = Group(
    "dates",
    Words("When is it due?", "¿Cuándo vence?"),
    (
        Calculation(
            "next_due", periods.next_due, Words("Last good day", "Último día válido"),
            Words("Until when is it good?", "¿Hasta cuándo vale?"),
            (
                Parameter("completed", "", Words("Done on", "Hecho el"),
                          Words("a date", "una fecha"), "date"),
                Parameter("months", "", Words("Good for (months)", "Vale por (meses)"),
                          Words("1 to 120", "de 1 a 120"), "whole", False, usual=12),
            ),
            "", "29 CFR 1910.134(k)(5) and (f)(2); OSHA letter of 23 December 1998",
            only(periods.next_due), none, _due_steps, {"completed": "2024-02-29"},
        ),
    ),
)  # fmt: skip
