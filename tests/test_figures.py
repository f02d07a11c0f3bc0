"""calculate, calculations, draw, exercises: what they print, and how they refuse."""

import json
import os
import re
import subprocess
import sys

import pytest
from click.testing import CliRunner, Result

from trainer import bank, cli
from trainer.calculations.catalogue import CATALOGUE
from trainer.calculations.worked import written

INSIDE = ("calculate", "inside_concentration", "ambient=140", "apf=50")


def run(*arguments: str) -> Result:
    """Run a command."""
    return CliRunner().invoke(cli.commands, arguments, catch_exceptions=False)


def told(*arguments: str) -> dict:
    """Return what a command prints as JSON."""
    done = run(*arguments, "--json")
    assert (done.exit_code, done.stderr) == (0, "")
    return json.loads(done.stdout)


def test_the_result_comes_first_with_its_unit_then_the_steps():
    lines = run(*INSIDE, "unit=ppm").stdout.splitlines()
    assert lines[0] == "2.8 ppm"
    assert "  140 ppm ÷ 50 = 2.8 ppm" in lines
    assert "29 CFR 1910.134(b)" in lines[-1]
    assert run(*INSIDE, "--language", "es").stdout.splitlines()[1] == \
        "  Divida lo que hay afuera entre el factor."


def test_json_holds_what_went_in_and_what_came_out():
    assert told(*INSIDE) == {
        "name": "inside_concentration",
        "inputs": {"ambient": 140, "apf": 50},
        "result": 2.8,
        "unit": "as ambient",
        "steps": ["Divide what is outside by the factor.", "140 ÷ 50 = 2.8"],
        "source": "29 CFR 1910.134(b), assigned protection factor",
    }


@pytest.mark.parametrize(
    ("name", "pairs", "result", "unit"),
    [
        # 29 CFR 1910.1000(d)(1)(ii) and (d)(2)(ii)
        ("time_weighted_average", ["concentrations=150,75,50", "hours=2,2,4", "unit=ppm"],
         81.25, "ppm"),
        ("mixture_fraction", ["concentrations=500,45,40", "limits=1000,200,200"], 0.925, ""),
        ("exposure_with_respirator", ["segments=6:500:50,2:20:1"], 12.5, "as segments"),
        ("fit_test_passes", ["fit_factor=499", "facepiece=full"], False, ""),
        ("breathing_air_acceptable",
         ["oxygen_percent=20.9", "carbon_monoxide_ppm=4", "carbon_dioxide_ppm=600",
          "oil_mg_per_m3=0.5", "odour=false"], True, ""),
        ("airline_flow_adequate", ["flow=5", "unit=cfm", "facepiece=loose"], False, ""),
        ("next_due", ["completed=2024-02-29"], "2025-02-28", ""),
        ("selection", ["kind=gas"], ["sar-pressure-full", "scba-pressure-full"], ""),
        ("low_air_alarm_minutes", ["rated_minutes=45"], 11.25, "min"),
        ("approval_kind", ["prefix=TC-84A"], "particulate", ""),
    ],
)
def test_every_kind_of_value_is_read_and_printed(name, pairs, result, unit):
    found = told("calculate", name, *pairs)
    assert (found["result"], found["unit"]) == (result, unit)


@pytest.mark.parametrize("name", CATALOGUE)
def test_each_calculation_works_out_its_example(name):
    pairs = [f"{key}={value}" for key, value in written(CATALOGUE[name].example).items()]
    for language in ("en", "es"):
        assert told("calculate", name, *pairs, "--language", language)["steps"]
        assert run("calculate", name, *pairs).exit_code == 0


def test_every_calculation_is_listed_with_its_parameters():
    listed = run("calculations").stdout
    for calculation in CATALOGUE.values():
        assert f"  {calculation.name}: {calculation.title.en}\n" in listed
        for parameter in calculation.parameters:
            assert f"    {parameter.name}{'' if parameter.needed else ' *'}: " in listed
    assert {one["name"] for one in told("calculations")} == set(CATALOGUE)
    assert "¿Cuánto hay en el aire?" in run("calculations", "--language", "es").stdout


KEYS = {"exercise", "version", "seed", "calculation", "inputs", "text", "answer", "unit",
        "tolerance", "steps", "slips"}


@pytest.mark.parametrize("slug", bank.load().exercises)
def test_a_drawing_comes_out_whole_and_again_the_same(slug):
    for language in ("en", "es"):
        one = told("draw", slug, "--seed", "7", "--language", language)
        assert set(one) == KEYS
        assert one == told("draw", slug, "--seed", "7", "--language", language)
        problem = bank.draw(bank.load().exercises[slug], 7)
        assert (one["answer"], one["inputs"]) == (problem.blank.value, problem.inputs)
        assert all(slip["say"] and slip["value"] != one["answer"] for slip in one["slips"])
        assert len(one["steps"]) == len(problem.steps)
        for _, label in problem.blank.options(language):
            assert label in one["text"]


def test_a_drawing_reads_like_a_problem():
    shown = run("draw", "inside-concentration", "--seed", "7").stdout
    assert "What is the highest concentration to expect inside it" in shown
    assert re.search(r"÷ [\d,]+ = ", shown)


def test_checking_the_content_prints_what_is_in_it_and_what_is_asked_of_each_element():
    done = run("check-content")
    assert done.exit_code == 0
    lines = [line.split() for line in done.stdout.splitlines()]
    rows = {line[0]: line[1:] for line in lines if line}
    # words en, es, grade, ease, sections, drawings, exercises, questions, must-know, elements
    factors = rows["protection-factors"]
    asked = bank.load().for_lesson("protection-factors")
    taught = bank.load().exercises_for("protection-factors")
    assert factors[6:9] == [str(len(taught)), str(len(asked)), str(sum(q.must_know for q in asked))]
    assert float(factors[2]) <= 8
    assert float(factors[3]) >= 60
    every = bank.load().questions.values()
    parts = ("i", "ii", "iii", "iv", "v", "vi", "vii")
    assert sum(int(rows[f"(k)(1)({part})"][0]) for part in parts) == len(every)


def test_every_exercise_is_listed():
    listed = told("exercises")
    assert {one["exercise"] for one in listed} == set(bank.load().exercises)
    assert "maximum-use: How much may be outside? (maximum_use_concentration)" in \
        run("exercises").stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["calculate", "alchemy"], "There is no calculation named alchemy"),
        (["calculate"], "NAME"),
        ([*INSIDE[:3], "apf=51"], "apf must be a factor of Table 1"),
        ([*INSIDE[:3], "apf=nan"], "apf must be a number"),
        ([*INSIDE[:3], "apf"], "apf must be written KEY=VALUE"),
        ([*INSIDE, "apf=10"], "apf is given twice"),
        ([*INSIDE, "size=3"], "size is no parameter of inside_concentration"),
        ([*INSIDE[:3]], "apf is missing"),
        ([*INSIDE, "unit=apples"], "unit must be one of ppm"),
        (["calculate", "hazard_ratio", "concentration=1e9", "limit=-2"], "limit must"),
        (["draw", "juggling", "--seed", "1"], "There is no exercise named juggling"),
        (["draw", "maximum-use"], "--seed"),
        (["draw", "maximum-use", "--seed", "many"], "many"),
    ],
)
def test_bad_use_is_answered_with_one_sentence_and_2(arguments, says):
    done = run(*arguments)
    assert (done.exit_code, done.stdout) == (2, "")
    assert says in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("arguments", "heavy"),
    [
        ([*INSIDE], {"flask", "sqlalchemy", "sqlmodel", "pydantic", "pint", "babel", "markdown"}),
        ([*INSIDE], {"dataclasses", "click", "json"}),
        (["calculations"], {"flask", "sqlalchemy", "sqlmodel", "pydantic", "pint", "babel"}),
        (["draw", "maximum-use", "--seed", "1"], {"flask", "sqlalchemy", "sqlmodel", "pint"}),
        (["exercises"], {"flask", "sqlalchemy", "sqlmodel", "pint"}),
    ],
)
def test_arithmetic_needs_neither_pages_nor_record(arguments, heavy):
    code = (f"import sys; sys.argv[1:] = {arguments!r}\n"
            "from trainer import cli\n"
            "try: cli.main()\n"
            "finally: print(sorted(sys.modules), file=sys.stderr)")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {name.split(".")[0] for name in re.findall(r"'([^']+)'", done.stderr)}
    assert not heavy & loaded


# The quick way, without options: the same words as the other way, and no more than arithmetic.

RUN = "from trainer.cli import main; main()"
LEAN = RUN.replace("main()", """
try:
    main()
finally:
    import sys
    print(*sorted({name.partition(".")[0] for name in sys.modules}), file=sys.stderr)
""")


def plainly(*arguments: str, code: str = RUN) -> subprocess.CompletedProcess:
    """Run a command in a process of its own, as a person does."""
    return subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True,
                          encoding="utf-8", env=os.environ | {"PYTHONIOENCODING": "utf-8"},
                          check=False)  # fmt: skip


@pytest.mark.parametrize(
    "given",
    [
        INSIDE, (*INSIDE, "unit=ppm"),
        ("calculate", "time_weighted_average", "concentrations=150,75", "hours=2,6", "unit=ppm"),
        ("calculate", "selection", "kind=gas"), ("calculate", "next_due", "completed=2024-02-29"),
        ("calculate", "fit_test_passes", "fit_factor=499", "facepiece=full"),
        ("calculate",), ("calculate", "nothing"), (*INSIDE, "apf=10"), (*INSIDE, "10"),
        ("calculate", "inside_concentration", "ambient=140", "apf=7"),
        ("calculate", "inside_concentration", "ambient=-1", "apf=10"),
        ("calculate", "inside_concentration", "ambient=140"), (*INSIDE, "unit=furlong"),
    ],
)
def test_without_options_it_says_the_very_same(given):
    quick, other = plainly(*given), run(*given)
    assert (quick.returncode, quick.stdout, quick.stderr) == \
        (other.exit_code, other.stdout, other.stderr)


def test_arithmetic_imports_neither_flask_nor_sqlalchemy():
    done = plainly(*INSIDE, code=LEAN)
    assert done.stdout.startswith("2.8")
    outside = set(done.stderr.split()) - set(sys.stdlib_module_names)
    # Whatever an environment imports by itself, before a word of ours, is not the command's.
    of_itself = plainly(code="import sys; print(*sys.modules)").stdout.split()
    assert outside - {one.partition(".")[0] for one in of_itself} - {"__main__"} == {"trainer"}
    for options in (("--json",), ("--language", "es")):
        done = plainly(*INSIDE, *options, code=LEAN)
        assert done.returncode == 0
        assert not {"flask", "sqlalchemy", "sqlmodel", "pydantic"} & set(done.stderr.split())
