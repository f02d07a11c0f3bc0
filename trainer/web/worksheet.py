"""The worksheet: a page a calculation, with one's own numbers in its address."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from flask import Blueprint, abort, render_template, request
from flask_babel import gettext
from werkzeug.datastructures import MultiDict

from trainer import bank
from trainer.calculations.catalogue import CATALOGUE, GROUPS, Calculation, Parameter
from trainer.calculations.catalogue.shapes import CONCENTRATION_UNITS, SAME_UNIT
from trainer.calculations.faults import CalculationFault
from trainer.calculations.selection import (
    MAY,
    MAY_NOT,
    NOT_DECIDED,
    Hazard,
    Verdict,
    selection,
)
from trainer.calculations.worked import Worked, read, work, written
from trainer.reference import contaminants, respirator_classes
from trainer.web import htmx
from trainer.web.access import may
from trainer.web.language import current
from trainer.web.plots import plot
from trainer.web.typed import typed_number
from trainer.words import Words, number

bp = Blueprint("worksheet", __name__)

SEGMENT = ("hours", "concentration", "apf")
"""What a period of a shift holds, in the order in which it is written."""
_FEWEST_ROWS, _SPARE_ROWS, _MOST_ROWS = 4, 1, 24


@dataclass(frozen=True)
class Column:
    """One column of a table to fill in: one line a period or a substance."""

    name: str
    label: str
    unit: str
    values: list[str]
    choices: list[tuple[str, str]]


@dataclass(frozen=True)
class Fault:
    """What cannot be worked out: the field, and the sentence."""

    field: str
    sentence: str


@bp.get("/worksheet")
@may()
def index():
    """List the calculations by what a person wants to know."""
    return render_template("worksheet/index.html", groups=GROUPS)


@bp.get("/worksheet/<name>")
@may()
def page(name: str):
    """Show a calculation with the numbers of the address, worked out; without any, an example."""
    calculation = CATALOGUE.get(name) or abort(404)
    given = request.args
    if "take" in given:
        return htmx.go(f"/worksheet/{name}?{urlencode(_taken(calculation, given), doseq=True)}")
    example = not any(key != "rows" for key in given)
    if example:
        given = _example(calculation)
    worked, fault = _worked(calculation, given)
    around = {
        "one": calculation, "worked": worked, "fault": fault, "example": example,
        "plot": plot(worked) if worked else None,
        "verdicts": _verdicts(worked) if worked else None,
        "answer": _answer(worked) if worked else "",
        "unit": given.get("unit", ""),
    }
    if htmx.wants_part():
        return render_template("worksheet/_worked.html", **around)
    return render_template(
        "worksheet/page.html",
        **around,
        fields=[p for p in calculation.parameters if p.kind not in ("numbers", "segments")],
        columns=_columns(calculation, given),
        values=given,
        units=[(unit, unit) for unit in CONCENTRATION_UNITS] if calculation.shares_unit else [],
        unit_of=lambda p: _unit_of(p, given),
        choices_of=_choices,
        same=_same_calculation(calculation),
        substances=_substances(calculation),
        is_field=calculation.parameter,
    )


def _example(calculation: Calculation) -> MultiDict:
    """Return the example as a form would send it."""
    given = MultiDict({"unit": CONCENTRATION_UNITS[0]} if calculation.shares_unit else {})
    texts = written(calculation.example)
    for parameter in calculation.parameters:
        text = texts.get(parameter.name)
        if text is None:
            continue
        if parameter.kind == "segments":
            for period in text.split(","):
                for name, part in zip(SEGMENT, period.split(":"), strict=True):
                    given.add(name, part)
        elif parameter.kind in ("numbers", "words"):
            given.setlist(parameter.name, text.split(","))
        else:
            given[parameter.name] = text
    return given


def _worked(calculation: Calculation, given: MultiDict) -> tuple[Worked | None, Fault | None]:
    try:
        inputs = read(calculation, {p.name: _text(p, given) for p in calculation.parameters})
        unit = "" if calculation.parameter("unit") else given.get("unit", "")
        return work(calculation, inputs, unit), None
    except CalculationFault as fault:
        parameter = calculation.parameter(fault.parameter)
        label = parameter.label(current()) if parameter else gettext("The unit")
        field = SEGMENT[0] if parameter and parameter.kind == "segments" else fault.parameter
        return None, Fault(field, fault.say(current(), label))


def _text(parameter: Parameter, given: MultiDict) -> str:
    """Return what the form holds for a parameter, as the command line would write it.

    Numbers are read here, one by one: a person may write them with a comma.
    """
    if parameter.kind == "segments":
        rows = zip(*(given.getlist(name) for name in SEGMENT), strict=False)
        filled = [row for row in rows if any(cell.strip() for cell in row[:2])]
        return ",".join(":".join(_cell(parameter, cell) for cell in row) for row in filled)
    if parameter.kind == "numbers":
        cells = [cell for cell in given.getlist(parameter.name) if cell.strip()]
        return ",".join(_cell(parameter, cell) for cell in cells)
    if parameter.kind == "words":
        return ",".join(given.getlist(parameter.name))
    text = given.get(parameter.name, "").strip()
    return _cell(parameter, text) if text and parameter.kind in ("number", "whole") else text


def _cell(parameter: Parameter, text: str) -> str:
    return repr(typed_number(parameter.name, text))


# Numbers of a substance, out of the tables.

_OF_A_SUBSTANCE = {"limit", "idlh", "molecular_weight"}


def _substances(calculation: Calculation) -> list[tuple[str, str]]:
    """Return the substances whose numbers this calculation can take."""
    wanted = _OF_A_SUBSTANCE & {one.name for one in calculation.parameters}
    if calculation.name == "extended_shift_limit":  # what it may be used for differs by substance
        return []
    rows = [row for row in contaminants.rows() if wanted & set(_numbers_of(row))]
    named = sorted((row.name(current()), row) for row in rows)
    ceiling = gettext("ceiling")
    return [(row.slug, f"{name} ({ceiling})" if row.limit_kind == "ceiling" else name)
            for name, row in named]


def _numbers_of(row: contaminants.Contaminant) -> dict[str, float]:
    """Return what was read of a substance in its source, by parameter."""
    idlh = row.idlh if row.idlh_unit == row.unit else None
    found = {"limit": row.limit, "idlh": idlh, "molecular_weight": row.molecular_weight}
    return {name: value for name, value in found.items() if value is not None}


def _taken(calculation: Calculation, given: MultiDict) -> MultiDict:
    """Return the address with the numbers of the chosen substance in their boxes."""
    filled = MultiDict(given)
    row = contaminants.get(filled.pop("substance", ""))
    filled.poplist("take")
    if row is None:
        return filled
    numbers = _numbers_of(row)
    for parameter in calculation.parameters:
        if parameter.name in _OF_A_SUBSTANCE:
            value = numbers.get(parameter.name)
            filled[parameter.name] = "" if value is None else f"{value:g}"
    if calculation.shares_unit and "limit" in numbers and row.unit in CONCENTRATION_UNITS:
        filled["unit"] = row.unit
    return filled


# What the page shows.


def _columns(calculation: Calculation, given: MultiDict) -> list[Column]:
    """Return the columns of what comes in lists; they stand side by side in one table."""
    parameters = [p for p in calculation.parameters if p.kind in ("numbers", "segments")]
    if not parameters:
        return []
    shared = given.get("unit", "")
    if parameters[0].kind == "segments":
        named = [
            ("hours", gettext("For how long"), "h", []),
            ("concentration", gettext("Outside"), shared, []),
            ("apf", gettext("Factor worn"), "",
             [("1", gettext("none")), *_factor_choices()]),
        ]
    else:
        named = [(p.name, p.label(current()), _unit_of(p, given), []) for p in parameters]
    rows = _rows([given.getlist(name) for name, *_ in named])
    return [
        Column(name, label, unit, (given.getlist(name) + [""] * rows)[:rows], choices)
        for name, label, unit, choices in named
    ]


def _rows(columns: list[list[str]]) -> int:
    filled = max((at + 1 for cells in columns for at, cell in enumerate(cells)
                  if cell.strip() and cell != "1"), default=0)
    more = request.args.get("rows", type=int) or 0
    return min(_MOST_ROWS, max(_FEWEST_ROWS, filled + _SPARE_ROWS, more))


def _unit_of(parameter: Parameter, given: Mapping[str, str]) -> str:
    return given.get("unit", "") if parameter.unit == SAME_UNIT else parameter.unit


def _choices(parameter: Parameter) -> list[tuple[str, str]]:
    """Return what a drop-down or a row of boxes offers."""
    if parameter.kind == "factor":
        return _factor_choices()
    if parameter.kind == "yes-no":
        return [("true", gettext("Yes")), ("false", gettext("No"))]
    return [(key, said(current())) for key, said in parameter.choices]


def _factor_choices() -> list[tuple[str, str]]:
    return [(str(one), f"{one:,}") for one in respirator_classes.factors()]


def _answer(worked: Worked) -> str:
    """Return the result as the page writes it large."""
    result, language = worked.result, current()
    if isinstance(result, bool):
        return gettext("Yes") if result else gettext("No")
    if isinstance(result, int | float):
        rounded = number(result, figures=worked.calculation.figures)
        return f"{rounded} {worked.unit if worked.unit[:3] != 'as ' else ''}".strip()
    if isinstance(result, list):
        if worked.calculation.parameter("seal_broken"):  # too many names for one line
            return gettext("%(count)s classes", count=len(result))
        return ", ".join(result) or gettext("None")
    named = _named(worked.calculation, result)
    return named(language) if isinstance(named, Words) else str(named)


def _verdicts(worked: Worked) -> dict[str, list[Verdict]] | None:
    """Return the verdicts on the classes of Table 1 by state, where those were asked for."""
    if worked.calculation.parameter("seal_broken") is None:
        return None
    hazard = Hazard(**{key: one for key, one in worked.inputs.items() if key != "candidates"})
    among = worked.inputs.get("candidates")
    found: dict[str, list[Verdict]] = {state: [] for state in (MAY, NOT_DECIDED, MAY_NOT)}
    for one in selection(hazard):
        if one.worn.apf is not None and (among is None or one.worn.slug in among):
            found[one.state].append(one)
    return found


def _named(calculation: Calculation, result: Any) -> Any:
    """Return the words of a result that is one of the choices of a parameter."""
    every = {key: said for parameter in calculation.parameters for key, said in parameter.choices}
    return every.get(result, result)


def _same_calculation(calculation: Calculation) -> list[bank.Exercise]:
    return [one for one in bank.load().exercises.values()
            if one.calculation == calculation.name]
