"""2,000 drawings of each exercise: answerable, right, allowed by the rules, fit to be written.

The published values that the answers are worked out from again stand here, with their source,
and are read from no file of the project.
"""

import json
import math
import re
from functools import cache
from pathlib import Path
from random import Random

import pytest

from trainer import bank
from trainer.bank import Problem, draw, draw_questions, mark, read_folder, thaw

DRAWINGS = 2_000
SEEDS = [Random(f"seed {count}").getrandbits(48) for count in range(DRAWINGS)]
KINDS = ("approval-prefix", "inside-concentration", "maximum-use", "read-rating",
         "required-factor", "which-filter")
NUMERIC = ("inside-concentration", "maximum-use", "read-rating", "required-factor")
LANGUAGES = ("en", "es")

# 29 CFR 1910.134(d)(3)(i)(A), Table 1.
APF = {
    "apr-quarter": 5, "apr-half": 10, "apr-full": 50,
    "papr-half": 50, "papr-full": 1000, "papr-hood": 25, "papr-loose": 25,
    "sar-demand-half": 10, "sar-demand-full": 50,
    "sar-flow-half": 50, "sar-flow-full": 1000, "sar-flow-loose": 25,
    "sar-pressure-half": 50, "sar-pressure-full": 1000,
}
FACTORS = (5, 10, 25, 50, 1000, 10000)
# 29 CFR 1910.1000, Tables Z-1 and Z-2.
LIMIT = {
    "styrene": 100, "toluene": 200, "xylenes": 100, "ethylbenzene": 100,
    "methyl-ethyl-ketone": 200, "isopropyl-alcohol": 400, "ammonia": 50, "sulfur-dioxide": 5,
    "carbon-monoxide": 50, "manganese-fume": 5, "oil-mist": 5, "cobalt": 0.1,
}
# NIOSH Pocket Guide to Chemical Hazards.
IDLH = {
    "styrene": 700, "toluene": 500, "xylenes": 900, "ethylbenzene": 800,
    "methyl-ethyl-ketone": 3000, "isopropyl-alcohol": 2000, "ammonia": 300,
    "sulfur-dioxide": 100, "carbon-monoxide": 1200, "manganese-fume": 500, "oil-mist": 2500,
    "cobalt": 20,
}
# 42 CFR 84.190(a): the cartridge's own limit, in ppm.
CARTRIDGE = {"ammonia": 300, "sulfur-dioxide": 50} | dict.fromkeys(
    ("styrene", "toluene", "xylenes", "ethylbenzene", "methyl-ethyl-ketone",
     "isopropyl-alcohol"), 1000)
PARTICULATE = ("manganese-fume", "oil-mist", "cobalt")
# 42 CFR 84.170: the least efficiency of each class of filter, in percent.
EFFICIENCY = {f"{letter}{figure}": share for letter in "NRP"
              for figure, share in (("95", 95), ("99", 99), ("100", 99.97))} | {"HE": 99.97}
# NIOSH Certified Equipment List, general cautions page; NIOSH CA 2022-1044 for TC-21C.
APPROVAL = {"TC-84A": "particulate", "TC-21C": "powered", "TC-23C": "cartridge",
            "TC-14G": "gas-mask", "TC-19C": "airline", "TC-13F": "scba"}


@cache
def drawings(kind: str) -> tuple[Problem, ...]:
    exercise = bank.load().exercises[kind]
    return tuple(draw(exercise, seed) for seed in SEEDS)


def texts(problem: Problem, language: str) -> list[str]:
    blanks = [problem.blank, *(step.blank for step in problem.steps)]
    return [
        problem.text(language), problem.hint(language),
        *(text for step in problem.steps for text in (step.ask(language), step.text(language))),
        *(slip.say(language) for blank in blanks for slip in blank.slips),
        *(label for blank in blanks for _, label in blank.options(language)),
    ]


def figures(numeral: str) -> int:
    """Count significant figures; zeros at the end of a whole number do not count."""
    digits = numeral.replace(",", "")
    digits = digits.rstrip("0") if "." not in digits else digits.replace(".", "")
    return len(digits.lstrip("0"))


@pytest.mark.parametrize("kind", KINDS)
def test_every_blank_is_marked_right_by_its_own_answer_as_a_person_types_it(kind):
    for problem in drawings(kind):
        for blank in (problem.blank, *(step.blank for step in problem.steps)):
            alone = blank.typed.removesuffix(f" {blank.unit}") if blank.unit else blank.typed
            for typed in (alone, blank.typed, f" {alone}"):
                assert mark(blank, typed, "en").right, (problem, typed)


@pytest.mark.parametrize("kind", KINDS)
def test_no_slip_is_the_answer_and_each_is_named_when_typed(kind):
    for problem in drawings(kind):
        assert problem.blank.slips
        for blank in (problem.blank, *(step.blank for step in problem.steps)):
            for slip in blank.slips:
                typed = bank.Blank(blank.kind, slip.value).typed
                marking = mark(blank, typed, "es")
                if marking.verdict == "ambiguous":
                    continue
                assert marking.verdict == "wrong", (problem, slip)
                assert marking.slip == slip, (problem, slip)


@pytest.mark.parametrize("kind", KINDS)
def test_both_languages_are_filled_in(kind):
    for problem in drawings(kind):
        for language in LANGUAGES:
            for text in texts(problem, language):
                assert text.strip()
                assert not re.search(r"[{}]|None|  ", text), text
        assert problem.text("en") != problem.text("es")


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_shown_or_asked_has_more_than_three_figures(kind):
    for problem in drawings(kind):
        for text in (text for language in LANGUAGES for text in texts(problem, language)):
            plain = re.sub(r"1910\.\d+|84\.\d+|99\.97", "", text)
            for numeral in re.findall(r"\d[\d,]*(?:\.\d+)?", plain):
                assert figures(numeral) <= 3, (numeral, text)


@pytest.mark.parametrize("kind", NUMERIC)
def test_the_text_says_the_unit_and_so_does_the_blank(kind):
    for problem in drawings(kind):
        for language, bare in (("en", "no unit"), ("es", "no lleva unidad")):
            assert (problem.blank.unit or bare) in problem.text(language)


@pytest.mark.parametrize("kind", NUMERIC)
def test_numeric_kinds_have_many_distinct_problems(kind):
    assert len({json.dumps(problem.drawn, sort_keys=True) for problem in drawings(kind)}) >= 25


def test_the_share_that_gets_through_is_asked_of_all_nine_ratings():
    assert {problem.drawn["filter"] for problem in drawings("read-rating")} == \
        set(EFFICIENCY) - {"HE"}


@pytest.mark.parametrize("kind", KINDS)
def test_a_problem_survives_freezing(kind):
    exercise = bank.load().exercises[kind]
    for problem in drawings(kind)[:200]:
        again = json.loads(json.dumps(problem.freeze()))
        assert thaw(again, exercise) == problem
        assert Problem.thaw(again) == problem


def test_a_problem_is_not_thawed_as_another_kind(exercises):
    frozen = draw(exercises["read-rating"], 1).freeze()
    with pytest.raises(ValueError, match="read-rating"):
        thaw(frozen, exercises["which-filter"])


@pytest.mark.parametrize("kind", KINDS)
def test_the_last_step_asks_for_the_final_answer(kind):
    for problem in drawings(kind)[:200]:
        assert bank.Blank("word", problem.steps[-1].blank.value).typed == \
            bank.Blank("word", problem.blank.value).typed or \
            float(problem.steps[-1].blank.value) == problem.blank.value


def allowed(problem: Problem, concentration: float) -> bool:
    """Is the respirator worn allowed at the concentration, by the values above?"""
    substance, worn = problem.drawn["substance"], problem.drawn["class"]
    if concentration >= IDLH[substance] or concentration > APF[worn] * LIMIT[substance]:
        return False
    if not worn.startswith(("apr", "papr")) or substance in PARTICULATE:
        return True
    return concentration <= CARTRIDGE.get(substance, 0)


def test_inside_is_outside_divided_by_the_factor_and_the_mask_is_allowed():
    for problem in drawings("inside-concentration"):
        drawn = problem.drawn
        outside, apf = drawn["concentration"], APF[drawn["class"]]
        assert math.isclose(problem.blank.value, outside / apf)
        assert problem.steps[0].blank.value == apf
        assert outside > LIMIT[drawn["substance"]]
        assert allowed(problem, outside), problem
        assert outside / apf <= LIMIT[drawn["substance"]]


def test_the_required_factor_is_the_smallest_that_keeps_the_inside_at_the_limit():
    seen = set()
    for problem in drawings("required-factor"):
        outside = problem.drawn["concentration"]
        limit = LIMIT[problem.drawn["substance"]]
        enough = [apf for apf in FACTORS if apf * limit >= outside * (1 - 1e-12)]
        assert problem.blank.value == enough[0]
        assert math.isclose(problem.steps[0].blank.value, outside / limit)
        assert [value for value, _ in problem.steps[1].blank.options("en")] == \
            [str(apf) for apf in FACTORS]
        assert limit < outside < IDLH[problem.drawn["substance"]]
        seen.add(enough[0])
    assert seen == {5, 10, 25, 50, 1000}


def test_the_maximum_use_concentration_is_capped():
    capped = 0
    for problem in drawings("maximum-use"):
        substance, worn = problem.drawn["substance"], problem.drawn["class"]
        air_purifying = worn.startswith(("apr", "papr"))
        if air_purifying and substance not in PARTICULATE:
            assert substance in CARTRIDGE, "no cartridge serves against this"
            cap = min(IDLH[substance], CARTRIDGE[substance])
        else:
            cap = IDLH[substance]
        product = APF[worn] * LIMIT[substance]
        assert math.isclose(problem.blank.value, min(product, cap))
        assert math.isclose(problem.steps[0].blank.value, product)
        assert problem.steps[1].blank.value == cap
        capped += product > cap
    assert 0.3 < capped / DRAWINGS < 0.7


def test_what_gets_through_is_what_is_not_caught():
    for problem in drawings("read-rating"):
        rating = problem.drawn["filter"]
        assert math.isclose(problem.blank.value, 100 - EFFICIENCY[rating], rel_tol=1e-9)
        assert problem.steps[0].blank.value == rating[0]
        assert problem.steps[1].blank.value == EFFICIENCY[rating]
        assert not mark(problem.steps[1].blank, "100", "en").right


EQUATION = re.compile(
    r"([\d.,]+)(?: [^÷×−=\d]*| mg/m³ | ppm )([÷×−]) ([\d.,]+)[^=]*= ([\d.,]+)")
WORKED = {"÷": lambda a, b: a / b, "×": lambda a, b: a * b, "−": lambda a, b: a - b}


@pytest.mark.parametrize("kind", NUMERIC)
def test_the_numbers_shown_in_worked_steps_work_out(kind):
    met = 0
    for problem in drawings(kind):
        for text in (step.text(language) for step in problem.steps for language in LANGUAGES):
            for first, sign, second, result in EQUATION.findall(text):
                a, b, c = (float(shown.replace(",", "")) for shown in (first, second, result))
                assert math.isclose(WORKED[sign](a, b), c, rel_tol=1e-9), text
                met += 1
    assert met == 2 * DRAWINGS


def serves(name: str, drawn: dict) -> bool:
    """Does a filter serve a task? Oil: N no, R one shift, P yes (NIOSH Publication 96-101)."""
    if (name == "HE") != drawn["powered"] or EFFICIENCY[name] < drawn["efficiency"]:
        return False
    if not drawn["oil"] or name == "HE":
        return True
    return name[0] == "P" or (name[0] == "R" and drawn["shifts"] == 1)


def test_exactly_one_filter_offered_serves_the_task():
    answers = set()
    for problem in drawings("which-filter"):
        offered = [value for value, _ in problem.blank.options("en")]
        assert len(offered) == 4
        assert [name for name in offered if serves(name, problem.drawn)] == [problem.blank.value]
        assert {slip.value for slip in problem.blank.slips} == \
            set(offered) - {problem.blank.value}
        answers.add(problem.blank.value)
    assert {"HE", "P95", "R95", "N99", "N100", "P100"} <= answers


def test_a_prefix_names_its_kind():
    asked = set()
    for problem in drawings("approval-prefix"):
        prefix = problem.drawn["approval"]
        assert problem.blank.value == APPROVAL[prefix]
        assert problem.steps[0].blank.value == \
            ("brings" if prefix in ("TC-13F", "TC-19C") else "filters")
        asked.add(prefix)
    assert asked == set(APPROVAL)


@pytest.mark.parametrize("kind", KINDS)
def test_stored_drawings_stay_the_same_for_ever(kind):
    stored = json.loads((Path(__file__).parent / "drawings.json").read_text(encoding="utf-8"))
    exercise = bank.load().exercises[kind]
    for seed, inputs, answer in stored[kind]:
        problem = draw(exercise, seed)
        assert (problem.inputs, problem.blank.value) == (inputs, answer)


# The questions of a sitting.


def test_a_sitting_asks_every_must_know_and_nine_in_all(folder):
    found = read_folder(folder)
    for seed in range(200):
        asked = draw_questions(found, "factors", seed, set())
        assert len(asked) == len({question.slug for question in asked}) == 9
        assert sum(question.must_know for question in asked) == 4


def test_a_sitting_prefers_what_was_not_seen(folder):
    found = read_folder(folder)
    seen = {f"question-{number}" for number in range(4, 9)}
    for seed in range(100):
        asked = draw_questions(found, "factors", seed, seen)
        assert not {question.slug for question in asked} & seen


def test_a_sitting_draws_on_what_was_seen_when_nothing_else_is_left(folder):
    found = read_folder(folder)
    asked = draw_questions(found, "factors", 3, set(found.questions))
    assert len(asked) == 9


def test_sittings_differ_by_seed_and_repeat_by_seed(folder):
    found = read_folder(folder)
    orders = {tuple(q.slug for q in draw_questions(found, "factors", seed, set()))
              for seed in range(50)}
    assert len(orders) == 50
    assert draw_questions(found, "factors", 7, set()) == draw_questions(found, "factors", 7, set())
    assert [q.slug for q in draw_questions(found, "factors", 7, set())] == [
        f"question-{number}" for number in (0, 4, 3, 2, 10, 9, 13, 8, 1)
    ]
