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
from trainer.calculations.catalogue import CATALOGUE

DRAWINGS = 2_000
SEEDS = [Random(f"seed {count}").getrandbits(48) for count in range(DRAWINGS)]
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
    """Return 2,000 problems of an exercise; for the few whose own rules are tested below."""
    return drawn(bank.load().exercises[kind])


def drawn(exercise: bank.Exercise) -> tuple[Problem, ...]:
    """Return 2,000 problems of an exercise."""
    return tuple(draw(exercise, seed) for seed in SEEDS)


@pytest.fixture(scope="module", params=sorted(bank.load().exercises))
def problems(request) -> tuple[Problem, ...]:
    """Return 2,000 problems of each exercise in turn; one exercise at a time is in memory."""
    return drawn(bank.load().exercises[request.param])


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


def test_every_blank_is_marked_right_by_its_own_answer_as_a_person_types_it(problems):
    for problem in problems:
        for blank in (problem.blank, *(step.blank for step in problem.steps)):
            alone = blank.typed.removesuffix(f" {blank.unit}") if blank.unit else blank.typed
            for typed in (f" {alone}", blank.typed):
                assert mark(blank, typed, "en").right, (problem, typed)


def test_no_slip_is_the_answer_and_each_is_named_when_typed(problems):
    exercise = bank.load().exercises[problems[0].exercise]
    assert len(exercise.answer.slips) >= 2
    for problem in problems:
        assert problem.blank.slips
        for blank in (problem.blank, *(step.blank for step in problem.steps)):
            for slip in blank.slips:
                typed = bank.Blank(blank.kind, slip.value).typed
                marking = mark(blank, typed, "es")
                if marking.verdict == "ambiguous":
                    continue
                assert marking.verdict == "wrong", (problem, slip)
                assert marking.slip == slip, (problem, slip)


def test_two_slips_are_known_in_nearly_every_problem(problems):
    few = sum(len(problem.blank.slips) < 2 for problem in problems)
    assert few < DRAWINGS / 8


def test_both_languages_are_filled_in(problems):
    exercise = bank.load().exercises[problems[0].exercise]
    assert exercise.title("en") != exercise.title("es")
    for problem in problems:
        for language in LANGUAGES:
            for text in texts(problem, language):
                assert text.strip()
                assert not re.search(r"[{}~]|None|  ", text), text
        assert problem.text("en") != problem.text("es")


# Figures that are printed in a rule or formula and not asked for.
PRINTED = re.compile(r"1910\.\d+|1926\.\d+|84\.\d+|99\.97|24\.45|\d+ FR \d+")


def test_nothing_shown_or_asked_has_more_than_three_figures(problems):
    for problem in problems:
        for text in (text for language in LANGUAGES for text in texts(problem, language)):
            for numeral in re.findall(r"\d[\d,]*(?:\.\d+)?", PRINTED.sub("", text)):
                assert figures(numeral) <= 3, (numeral, text)


def test_the_text_says_the_unit_and_so_does_the_blank(problems):
    if problems[0].blank.kind != "number":
        return
    for problem in problems:
        for language, bare in (("en", "no unit"), ("es", "no lleva unidad")):
            assert (problem.blank.unit or bare) in problem.text(language)


def test_there_are_many_distinct_problems(problems):
    assert len({json.dumps(problem.inputs, sort_keys=True) for problem in problems}) >= 200


def test_a_problem_survives_freezing(problems):
    exercise = bank.load().exercises[problems[0].exercise]
    for problem in problems[:50]:
        again = json.loads(json.dumps(problem.freeze()))
        assert thaw(again, exercise) == problem
        assert Problem.thaw(again) == problem


def test_the_last_step_asks_for_the_final_answer(problems):
    for problem in problems[:200]:
        assert len(problem.steps) >= 2
        last = problem.steps[-1].blank
        if last.kind == problem.blank.kind:
            assert last == problem.blank
        else:  # typed alone, picked among the steps
            assert last.value == f"{problem.blank.value:g}"


# Each calculation once more, by formulas typed here from the sources named in its catalogue row.

LEAST_FLOW = {("L/min", "tight"): 115, ("L/min", "loose"): 170, ("cfm", "tight"): 4,
              ("cfm", "loose"): 6}  # 42 CFR part 84, subpart J, table 8
# Table II of 29 CFR 1910.134(d)(2)(iii): up to so many feet, the lowest per cent.
TABLE_II = ((3000, 16.0), (4000, 16.4), (5000, 17.1), (6000, 17.8), (7000, 18.5), (8000, 19.3))
AGAIN = {
    "inside_concentration": lambda i: i["ambient"] / i["apf"],
    "hazard_ratio": lambda i: i["concentration"] / i["limit"],
    "required_apf": lambda i: min(
        apf for apf in FACTORS if apf * i["limit"] >= i["concentration"] * (1 - 1e-12)),
    "maximum_use_concentration": lambda i: min(
        i["apf"] * i["limit"], i.get("idlh", math.inf), i.get("cartridge_limit", math.inf)),
    "effective_protection_factor": lambda i: 1 / (
        1 - i["worn_minutes"] / i["shift_minutes"] * (1 - 1 / i["apf"])),
    "exposure_with_respirator": lambda i: sum(h * c / f for h, c, f in i["segments"]) / i.get(
        "reference_hours", sum(h for h, _, _ in i["segments"])),
    "time_weighted_average": lambda i: sum(
        c * h for c, h in zip(i["concentrations"], i["hours"], strict=True)) / 8,
    "mixture_fraction": lambda i: sum(
        c / m for c, m in zip(i["concentrations"], i["limits"], strict=True)),
    "mixture_room": lambda i: i["next_limit"] * (1 - sum(
        c / m for c, m in zip(i["concentrations"], i["limits"], strict=True))),
    "ppm_to_mg_per_m3": lambda i: i["value"] * i["molecular_weight"] / 24.45,
    "mg_per_m3_to_ppm": lambda i: i["value"] * 24.45 / i["molecular_weight"],
    "percent_to_ppm": lambda i: 10_000 * (
        i["percent"] if "percent" in i else i["percent_lel"] * i["lel_percent"] / 100),
    "extended_shift_limit": lambda i: i["limit"] * 8 / i["hours_per_day"] * (
        1 if i["basis"] == "osha_lead" else (24 - i["hours_per_day"]) / 16),
    "silica_pel_formula": lambda i: 10 / (i["percent_sio2"] + 2),
    "fit_factor": lambda i: i["outside"] / i["inside"],
    "overall_fit_factor": lambda i: len(i["fit_factors"]) / sum(1 / f for f in i["fit_factors"]),
    "fit_test_passes": lambda i: i["fit_factor"] >= {"half": 100, "full": 500}[i["facepiece"]],
    "particles_through": lambda i: i["particles"] * (100 - i["efficiency_percent"]) / 100,
    "total_inward_leakage": lambda i: (
        i["filter_penetration_percent"] + i["face_seal_leakage_percent"]),
    "oxygen_partial_pressure": lambda i: i["percent"] / 100 * 760 * (
        1 - 6.8755856e-6 * i["altitude_ft"]) ** 5.2558797,
    "oxygen_deficient": lambda i: i["percent"] < 19.5,
    "table_ii_exception_holds": lambda i: i["altitude_ft"] <= 8000 and i["percent"] >= min(
        (low for top, low in TABLE_II if i["altitude_ft"] <= top)) and i["percent"] <= 19.5,
    "cylinder_minutes": lambda i: (
        i.get("free_air_litres") or i["water_volume_litres"] * i["pressure_bar"]
    ) * (1 - i.get("reserve_percent", 0) / 100) / i["breathing_litres_per_minute"],
    "airline_flow_adequate": lambda i: i["flow"] >= LEAST_FLOW[i["unit"], i["facepiece"]],
    "breathing_air_acceptable": lambda i: (
        19.5 <= i["oxygen_percent"] <= 23.5 and i["carbon_monoxide_ppm"] <= 10
        and i["carbon_dioxide_ppm"] <= 1000 and i["oil_mg_per_m3"] <= 5 and not i["odour"]),
    "cartridge_hours": lambda i: i["hours"] * (
        5 ** math.log10(i["concentration_from"] / i["concentration_to"])
        if "concentration_from" in i else 1
    ) * (i["flow_from"] / i["flow_to"] if "flow_from" in i else 1) * (
        0.5 if i.get("humidity_percent", 0) > 85 else 1),
}
BY_HAND = {"filter_for_task", "approval_kind", "class_for_hazard"}  # tested by rules of their own
# Where a given is asked for, and the text tells the result.
UNKNOWN = {
    "outside-from-inside": "ambient", "last-hours": "concentrations", "hours-allowed": "hours",
    "ppm-to-percent": "percent", "inside-at-fit-factor": "inside",
    "breathing-rate": "breathing_litres_per_minute", "edge-leak": "face_seal_leakage_percent",
}  # fmt: skip


def test_the_answer_is_right_by_a_formula_typed_here(problems):
    if problems[0].calculation in BY_HAND:
        return
    again, unknown = AGAIN[problems[0].calculation], UNKNOWN.get(problems[0].exercise)
    for problem in problems:
        result = again(problem.inputs)
        if unknown:
            asked = problem.inputs[unknown]
            assert problem.blank.value in (asked if isinstance(asked, list) else [asked])
            assert bank.number(result) in problem.text("en"), problem
        elif problem.blank.kind == "number":
            assert math.isclose(problem.blank.value, result, rel_tol=1e-9), problem
        else:
            assert VERDICTS[problem.calculation](problem.inputs, result) == problem.blank.value


# What a pick calls the result, by the words of each exercise.
VERDICTS = {
    "fit_test_passes": lambda i, passes: f"{'passes' if passes else 'fails'}-{i['facepiece']}",
    "oxygen_deficient": lambda i, deficient: "deficient" if deficient else "enough",
    "table_ii_exception_holds": lambda i, holds: "any-brought-air" if holds else "idlh",
    "airline_flow_adequate":
        lambda i, enough: f"{'enough' if enough else 'too-little'}-{i['facepiece']}",
    "breathing_air_acceptable": lambda i, fine: "none" if fine else next(
        name for name, bad in {
            "oxygen_percent": not 19.5 <= i["oxygen_percent"] <= 23.5,
            "carbon_monoxide_ppm": i["carbon_monoxide_ppm"] > 10,
            "carbon_dioxide_ppm": i["carbon_dioxide_ppm"] > 1000,
            "oil_mg_per_m3": i["oil_mg_per_m3"] > 5, "odour": i["odour"],
        }.items() if bad),
}


UNIT = r"(?: [^\d÷×−+=≈()]+)?"
SUM = re.compile(rf"([\d.,]+){UNIT} ([÷×−+]) ([\d.,]+){UNIT} ([=≈]) ([\d.,]+)")
WORKED = {"÷": lambda a, b: a / b, "×": lambda a, b: a * b, "−": lambda a, b: a - b,
          "+": lambda a, b: a + b}


def test_the_sums_shown_in_worked_steps_work_out(problems):
    for problem in problems:
        for text in (step.text(language) for step in problem.steps for language in LANGUAGES):
            signs = sum(text.count(sign) for sign in "÷×−+")
            for first, sign, second, how, result in SUM.findall(text):
                if signs != 1 or "(" in text or "% of" in text:
                    continue
                a, b, c = (float(shown.replace(",", "").rstrip("."))
                           for shown in (first, second, result))
                # Two rounded numbers give a third that is off by twice the rounding.
                within = 1e-9 if how == "=" else 0.0101
                assert math.isclose(WORKED[sign](a, b), c, rel_tol=within), text


def test_the_share_that_gets_through_is_asked_of_all_nine_ratings():
    assert {problem.drawn["filter"] for problem in drawings("read-rating")} == \
        set(EFFICIENCY) - {"HE"}


def test_a_problem_is_not_thawed_as_another_kind(exercises):
    frozen = draw(exercises["read-rating"], 1).freeze()
    with pytest.raises(ValueError, match="read-rating"):
        thaw(frozen, exercises["which-filter"])


def test_every_calculation_that_is_a_number_to_teach_has_an_exercise():
    # The catalogue's rest: what is a step of another, a list, a date or a table of its own.
    without = set(CATALOGUE) - {one.calculation for one in bank.load().exercises.values()}
    assert without <= {
        "filter_penetration", "filters_for", "selection", "next_due", "low_air_alarm_minutes"
    }
    assert len(bank.load().exercises) >= 30


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
        assert problem.drawn["limit"] <= LIMIT[substance]
        product = APF[worn] * problem.drawn["limit"]
        assert math.isclose(problem.blank.value, min(product, cap))
        assert math.isclose(problem.steps[0].blank.value, product)
        assert problem.steps[1].blank.value == cap
        capped += product > cap
    assert 0.3 < capped / DRAWINGS < 0.7


def test_what_gets_through_is_what_is_not_caught():
    for problem in drawings("read-rating"):
        rating, reach = problem.drawn["filter"], problem.drawn["particles"]
        share = 100 - EFFICIENCY[rating]
        assert math.isclose(problem.blank.value, reach * share / 100, rel_tol=1e-9)
        assert problem.steps[0].blank.value == rating[0]
        assert problem.steps[1].blank.value == EFFICIENCY[rating]
        assert math.isclose(problem.steps[2].blank.value, share, rel_tol=1e-9)
        assert not mark(problem.steps[1].blank, "100", "en").right


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


STORED = json.loads((Path(__file__).parent / "drawings.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("kind", bank.load().exercises)
def test_stored_drawings_stay_the_same_for_ever(kind):
    exercise = bank.load().exercises[kind]
    for seed, inputs, answer in STORED[kind]:
        problem = draw(exercise, seed)
        assert (problem.inputs, problem.blank.value) == (inputs, answer)


def test_a_drawing_is_stored_of_every_exercise_and_of_no_other():
    assert set(STORED) == set(bank.load().exercises)


MORE_APF = {"apr-filtering": 10, "scba-demand-full": 50, "scba-pressure-full": 10000}
# 29 CFR 1910.134(d)(2)(i): the two choices for IDLH.
IDLH_CHOICES = {"scba-pressure-full", "sar-pressure-full"}


def test_exactly_one_class_offered_may_be_worn():
    cases, met = {}, 0
    for problem in drawings("which-class"):
        given, case = problem.inputs, problem.drawn["case"]
        right = problem.blank.value
        offered = [value for value, _ in problem.blank.options("en")]
        assert len(offered) == 4
        others = set(offered) - {right}
        assert {slip.value for slip in problem.blank.slips} == others
        if case in ("unknown", "oxygen"):
            assert right in IDLH_CHOICES
            assert not others & IDLH_CHOICES
            met += 1
        else:
            ratio = given["concentration"] / given["limit"]
            assert (APF | MORE_APF)[right] >= ratio
            if case in ("no-schedule", "filters-only", "above-cartridge"):
                assert right.startswith(("sar", "scba"))
            if case == "oil":
                assert not right.startswith("apr")
            if case == "beard":
                assert "loose" in right
            if case != "oil":
                assert not right.endswith("half")
        cases[case] = cases.get(case, 0) + 1
    assert len(cases) == 8
    assert met > 200


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


def test_of_what_was_seen_a_sitting_asks_first_what_was_missed(folder):
    found = read_folder(folder)
    every = set(found.questions)
    missed = {"question-5", "question-9"}
    for seed in range(100):
        asked = {q.slug for q in draw_questions(found, "factors", seed, every, missed)}
        assert missed <= asked
    # What was never asked comes before both.
    seen = every - {f"question-{number}" for number in range(9, 14)}
    for seed in range(100):
        asked = {q.slug for q in draw_questions(found, "factors", seed, seen, {"question-5"})}
        assert asked & {f"question-{number}" for number in range(4, 9)} == set()


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
