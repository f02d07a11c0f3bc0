"""Numbers of a worksite in the place of drawn ones, for every exercise that can take them.

The published values that are typed here are those of tests/bank/test_draw.py.
"""

import json
from dataclasses import replace
from functools import cache

import pytest

from tests.bank.test_draw import AGAIN, BY_HAND, UNKNOWN, VERDICTS, texts
from trainer import bank
from trainer.bank import Words, draw_at, mark
from trainer.bank.choose import draw_problems
from trainer.bank.draw import FACTS

DAYS = {
    "place": "Laminating Loft", "task": "Rolling", "day": Words("1 Nov 2026", "1 nov 2026"),
    "described": Words("3 Sep 2026", "3 sept 2026"), "listed": Words("4 Sep 2026", "4 sept 2026"),
    "respirator": Words("half mask, with OV, P100", "media cara, con OV, P100"),
}  # fmt: skip
SAMPLES = {
    "amounts": (310.0, 190.5, 122.0), "hours": (3.0, 4.0, 1.0), "first_amount": 310.0,
    "samples": Words("310 ppm for 3 h; 190.5 ppm for 4 h; 122 ppm for 1 h",
                     "310 ppm durante 3 h; 190.5 ppm durante 4 h; 122 ppm durante 1 h"),
    "products": Words("(310 ppm × 3 h)", "(310 ppm × 3 h)"),
}  # fmt: skip
LOFT = DAYS | SAMPLES | {
    "substance": "styrene", "unit": Words("ppm", "ppm"), "outside": 188.0,
    "outside_of_published_limit": 188.0, "limit_of_published_idlh": 50.0,
    "class": "apr-full", "class_that_may": "apr-full", "class_below_idlh": "apr-full",
    "facepiece": "full", "filter": "P100", "approval": "TC-23C", "schedule_hours": 6.0,
    "cartridge_limit": 1000.0, "named": Words("styrene", "estireno"), "percent_outside": 0.0188,
}  # fmt: skip
HALL = LOFT | {
    "substance": "toluene", "outside": 237.0, "outside_of_published_limit": 237.0,
    "limit_of_published_idlh": 200.0, "class": "apr-half", "class_that_may": "apr-half",
    "class_below_idlh": "apr-half", "facepiece": "half", "filter": "N95", "schedule_hours": 7.5,
    "second_substance": "xylenes", "second_outside": 41.3,
}  # fmt: skip
SHED = LOFT | {
    "substance": "silica", "unit": Words("mg/m³", "mg/m³"), "outside": 0.245,
    "outside_of_published_limit": 0.245, "limit_of_published_idlh": None, "class": "sar-flow-hood",
    "class_that_may": "sar-flow-hood", "class_below_idlh": "sar-flow-hood", "facepiece": None,
    "airline_fit": "loose", "oil_among_particles": False, "powered": True, "approval": "TC-19C",
    "schedule_hours": None, "cartridge_limit": None,
}  # fmt: skip
PIT = DAYS | {"oxygen": 17.0, "class": None, "unit": Words("ppm", "ppm")}
WASH = LOFT | {
    "unit": Words("mg/m³", "mg/m³"), "outside": None, "outside_of_published_limit": None,
    "outside_in_mg": 412.0, "substance": "toluene",
}
BELOW = HALL | {"outside": 82.5, "outside_of_published_limit": 82.5}
PLACES = {"loft": LOFT, "hall": HALL, "shed": SHED, "pit": PIT, "wash": WASH, "below": BELOW}
SEEDS = range(12)

# Which exercises the facts of a place must reach, at least.
REACHED = {
    "loft": {"inside-concentration", "required-factor", "maximum-use", "hazard-ratio",
             "minutes-unworn", "fit-verdict", "fit-factor", "overall-fit", "percent-to-ppm",
             "read-rating", "inward-leakage", "edge-leak", "approval-prefix",
             "cartridge-humidity", "cartridge-flow", "shift-average",
             "shift-with-respirator"},
    "hall": {"inside-concentration", "maximum-use", "hazard-ratio", "ppm-to-mg", "fit-verdict",
             "mixture", "shift-average", "cartridge-humidity", "minutes-unworn"},
    "shed": {"hazard-ratio", "airline-flow", "approval-prefix", "read-rating", "shift-average",
             "minutes-unworn", "which-filter"},
    "pit": {"oxygen-verdict"},
    "wash": {"mg-to-ppm"},
    "below": {"hazard-ratio", "mixture-room", "ppm-to-mg", "maximum-use"},
}  # fmt: skip


def able() -> list[bank.Exercise]:
    """Return the exercises that can take the numbers of a worksite."""
    return [one for one in bank.load().exercises.values() if one.worksite]


@cache
def found_in(slug: str, place: str) -> list[bank.Problem]:
    """Return the problems that some seeds give at one of the places."""
    return found_at(slug, PLACES[place])


def found_at(slug: str, facts: dict) -> list[bank.Problem]:
    """Return the problems that some seeds give at a worksite."""
    drawn = (draw_at(bank.load().exercises[slug], seed, facts) for seed in SEEDS)
    return [one for one in drawn if one]


@pytest.mark.parametrize("place", PLACES)
def test_the_facts_of_a_place_reach_its_exercises(place):
    reached = {one.slug for one in able() if found_in(one.slug, place)}
    assert REACHED[place] <= reached


def test_every_exercise_with_worksite_is_reached_somewhere():
    assert set().union(*REACHED.values()) == {one.slug for one in able()}


@pytest.mark.parametrize("slug", [one.slug for one in able()])
def test_a_problem_of_a_worksite_is_whole_and_right(slug):
    for place, facts in PLACES.items():
        for problem in found_in(slug, place):
            for language in ("en", "es"):
                for text in texts(problem, language):
                    assert not set(text) & set("{}~") and "None" not in text, text
                said = problem.text(language)
                assert "Laminating Loft" in said and "Rolling" in said
                assert any(facts[day](language) in said for day in ("day", "described", "listed"))
                cited = [step.cited(language) for step in problem.steps if step.cited]
                assert any(problem.source(language)[1:] in one for one in cited)
                assert all("Laminating Loft, Rolling" in one for one in cited)
                assert not {"{", "}"} & set("".join(cited))
                for blank in (problem.blank, *(step.blank for step in problem.steps)):
                    assert mark(blank, blank.typed, language).right
            assert bank.thaw(json.loads(json.dumps(problem.freeze()))) == problem
            right_again(problem)


def right_again(problem: bank.Problem) -> None:
    """Work the answer out once more by the formulas of tests/bank/test_draw.py."""
    if problem.calculation in BY_HAND or problem.exercise in UNKNOWN:
        return
    result = AGAIN[problem.calculation](problem.inputs)
    if problem.blank.kind == "number":
        assert problem.blank.value == pytest.approx(result)
    else:
        assert VERDICTS[problem.calculation](problem.inputs, result) == problem.blank.value


def test_the_worked_step_cites_the_value_and_its_day():
    (problem, *_) = found_at("inside-concentration", LOFT)
    factor, division = problem.steps
    assert division.text("en") == "188 ppm ÷ 50 = 3.76 ppm"
    assert division.cited("en") == "188 ppm: measured at Laminating Loft, Rolling, on 1 Nov 2026."
    assert division.cited("es") == "188 ppm: medido en Laminating Loft, Rolling, el 1 nov 2026."
    assert factor.cited("en") == "Worn at Laminating Loft, Rolling, as described on 4 Sep 2026."


def test_what_needs_more_figures_is_rounded_and_says_so():
    (problem, *_) = found_at("hazard-ratio", HALL)  # 237 ÷ 200 = 1.185
    assert problem.steps[-1].text("en") == "237 ppm ÷ 200 ppm ≈ 1.19"
    assert problem.blank.value == pytest.approx(1.185)
    # The smallest factor is never chosen beside a rounded ratio.
    assert found_at("required-factor", HALL) == []


@pytest.mark.parametrize("facts", [
    {"outside_of_published_limit": 80.0},  # below the limit: nothing is needed
    {"outside_of_published_limit": None},  # a stricter limit is used there
    {"outside_of_published_limit": 720.0},  # above the IDLH
    {"substance": "benzene"},  # a substance that the exercise does not know
    {"class_that_may": None},  # not enough, by the check of the worksite
    {"class_that_may": "scba-pressure-full"},
    {"cartridge_limit": 500.0},  # another than the published one
    {"day": None},
])  # fmt: skip
def test_what_makes_no_problem_is_left_to_the_lots(facts):
    assert found_at("inside-concentration", LOFT | facts) == []


def test_air_that_is_idlh_is_no_place_to_take_it_off():
    assert found_at("minutes-unworn", LOFT | {"class_below_idlh": None}) == []


def test_an_exercise_without_worksite_has_none():
    assert bank.load().exercises["cylinder-air"].worksite is None
    assert found_at("cylinder-air", LOFT) == []


def test_every_fact_is_taken_by_an_exercise():
    taken = {named for one in able() for named in one.worksite.given.values()
             if isinstance(named, str)}
    assert taken == set(FACTS) - {"class"}


def test_a_brace_in_the_name_of_a_place_is_no_gap():
    facts = LOFT | {"place": "Loft (west)", "task": "{substance.limit}".replace("{", "(")}
    assert found_at("inside-concentration", facts)


# Which problems of a sitting have the numbers of a worksite.


def slugs(*names: str) -> list[bank.Exercise]:
    return [bank.load().exercises[name] for name in names]


def test_one_of_the_exercises_that_can_is_chosen():
    order = slugs("cylinder-air", "breathing-air", "airline-flow")
    for seed in SEEDS:
        drawn = draw_problems(order, 2, seed, [SHED])
        assert [one.slug for one, _ in drawn] == ["cylinder-air", "airline-flow"]
        assert [bool(problem.source) for _, problem in drawn] == [False, True]


def test_where_none_can_one_of_elsewhere_comes_in():
    order, elsewhere = slugs("silica-limit", "breathing-air"), slugs("cylinder-air", "hazard-ratio")
    drawn = draw_problems(order, 2, 1, [LOFT], elsewhere)
    assert [one.slug for one, _ in drawn] == ["silica-limit", "hazard-ratio"]
    assert [one.slug for one, _ in draw_problems(order, 2, 1, [LOFT])] == [
        "silica-limit", "breathing-air",
    ]  # fmt: skip


def test_an_exercise_that_comes_twice_does_not_ask_the_same_numbers_twice():
    (_, first), (_, second) = draw_problems(slugs("approval-prefix"), 2, 5, [LOFT])
    assert first.source and not second.source


def test_without_a_worksite_all_is_drawn_from_the_seed():
    order = slugs("inside-concentration", "maximum-use", "required-factor")
    elsewhere = slugs("ppm-to-mg")
    for seed in SEEDS:
        drawn = draw_problems(order, 2, seed, [], elsewhere)
        assert [problem for _, problem in drawn] == [
            bank.draw(order[0], seed), bank.draw(order[1], seed + 1),
        ]  # fmt: skip
    assert draw_problems([], 2, 1, [LOFT], elsewhere) == []


def test_an_old_snapshot_without_a_source_is_thawed():
    (problem, *_) = found_at("inside-concentration", LOFT)
    frozen = problem.freeze()
    del frozen["source"]
    for step in frozen["steps"]:
        del step["cited"]
    steps = tuple(replace(step, cited=None) for step in problem.steps)
    assert bank.thaw(frozen) == replace(problem, source=None, steps=steps)
