"""Arithmetic by command: `calculate`, `calculations`, `draw`, `exercises`. Needs no record."""

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from trainer.cli.command import Stop, commands

if TYPE_CHECKING:
    from trainer.bank import Blank, Exercise, Problem
    from trainer.calculations.catalogue import Calculation
    from trainer.calculations.worked import Worked

LANGUAGE = click.option(
    "--language", type=click.Choice(["en", "es"]), default="en", show_default=True,
    help="Language of the words.",
)  # fmt: skip
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@commands.command(short_help="Work one calculation out.")
@click.argument("name")
@click.argument("given", nargs=-1, metavar="[KEY=VALUE]...")
@LANGUAGE
@AS_JSON
def calculate(name: str, given: tuple[str, ...], language: str, as_json: bool) -> None:
    """Work calculation NAME out with KEY=VALUE for each parameter, step by step.

    Lists are written 150,75,50; periods hours:concentration:factor, as in 6:500:50,2:20:1; yes
    or no as true or false; dates as 2026-03-31. unit=ppm, mg/m³, µg/m³ or f/cm³ names the unit
    of concentration where one is shared. donning-room calculations lists names and parameters.
    """
    from trainer.cli import working

    try:
        worked = working.worked(name, given)
    except working.NotWorked as fault:
        raise Stop(str(fault)) from None
    if as_json:
        _print_json(_as_json(worked, language))
        return
    for line in working.lines(worked, language):
        click.echo(line)


@commands.command(short_help="List the calculations and their parameters.")
@LANGUAGE
@AS_JSON
def calculations(language: str, as_json: bool) -> None:
    """List every calculation with its parameters, by what a person wants to know."""
    from trainer.calculations.catalogue import GROUPS

    if as_json:
        _print_json([_described(one, language) for group in GROUPS for one in group.calculations])
        return
    for group in GROUPS:
        click.echo(group.asks(language))
        for one in group.calculations:
            click.echo(f"  {one.name}: {one.title(language)}")
            for parameter in one.parameters:
                needed = "" if parameter.needed else " *"
                unit = f", {parameter.unit}" if parameter.unit else ""
                click.echo(f"    {parameter.name}{needed}: {parameter.label(language)} "
                           f"({parameter.range(language)}{unit})")
    click.echo("* may be left out")


@commands.command(short_help="Draw one problem of an exercise.")
@click.argument("exercise")
@click.option("--seed", type=int, required=True, help="Whole number; the same one always gives "
              "the same problem.")
@LANGUAGE
@AS_JSON
def draw(exercise: str, seed: int, language: str, as_json: bool) -> None:
    """Draw the problem that a seed gives, with its steps and answer."""
    from trainer import bank

    problem = bank.draw(_exercise(exercise), seed)
    if as_json:
        _print_json(_problem_as_json(problem, language))
        return
    click.echo(_text(problem, language))
    for step in problem.steps:
        click.echo(f"  {step.text(language)}")
    click.echo(problem.blank.right_text(language))


@commands.command(short_help="List the exercises.")
@LANGUAGE
@AS_JSON
def exercises(language: str, as_json: bool) -> None:
    """List every exercise with the calculation behind it."""
    found = _exercises()
    if as_json:
        _print_json([{"exercise": one.slug, "version": one.version, "title": one.title(language),
                      "calculation": one.calculation, "lesson": one.lesson}
                     for one in found.values()])
        return
    for one in found.values():
        click.echo(f"{one.slug}: {one.title(language)} ({one.calculation})")


# Calculations.


def _as_json(worked: "Worked", language: str) -> dict[str, Any]:
    return {
        "name": worked.calculation.name,
        "inputs": worked.inputs,
        "result": worked.result,
        "unit": worked.unit,
        "steps": [step(language) for step in worked.steps],
        "source": worked.calculation.source,
    }


def _described(one: "Calculation", language: str) -> dict[str, Any]:
    return {
        "name": one.name,
        "title": one.title(language),
        "parameters": [
            {"name": p.name, "unit": one.unit_of_result("") if p.unit == "unit" else p.unit,
             "kind": p.kind, "needed": p.needed, "label": p.label(language),
             "range": p.range(language), "choices": [key for key, _ in p.choices]}
            for p in one.parameters
        ],
        "unit": one.unit_of_result(""),
        "source": one.source,
    }


# Exercises.


def _exercises() -> Mapping[str, "Exercise"]:
    from trainer import bank

    try:
        return bank.load().exercises
    except bank.BankFault as fault:
        raise Stop(str(fault)) from None


def _exercise(slug: str) -> "Exercise":
    found = _exercises().get(slug)
    if found is None:
        raise Stop(f"There is no exercise named {slug}; donning-room exercises lists them.")
    return found


def _text(problem: "Problem", language: str) -> str:
    """Return the problem as a person meets it: a pick with what there is to pick from."""
    options = [label for _, label in problem.blank.options(language)]
    return "\n- ".join([problem.text(language).replace("**", ""), *options])


def _problem_as_json(problem: "Problem", language: str) -> dict[str, Any]:
    return {
        "exercise": problem.exercise,
        "version": problem.version,
        "seed": problem.seed,
        "calculation": problem.calculation,
        "inputs": problem.inputs,
        "text": _text(problem, language),
        "answer": problem.blank.value,
        "unit": problem.blank.unit,
        "tolerance": problem.blank.within,
        "steps": [step.text(language) for step in problem.steps],
        "slips": _slips(problem.blank, language),
    }


def _slips(blank: "Blank", language: str) -> list[dict[str, Any]]:
    return [{"key": slip.key, "value": slip.value, "say": slip.say(language)}
            for slip in blank.slips]


def _print_json(value: Any) -> None:
    click.echo(json.dumps(value, ensure_ascii=False, indent=2, default=str))
