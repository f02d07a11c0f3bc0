"""Credit for earlier training: the sentences of 29 CFR 1910.134(k)(4), one a test."""

from datetime import date

import pytest

from trainer import lessons
from trainer.calculations.clearance import Facts, Worn, clearance
from trainer.calculations.credit import (
    Credited,
    covered,
    joined,
    may_be_credited,
    within_a_year,
)

SEVEN = tuple(f"(k)(1)({place})" for place in ("i", "ii", "iii", "iv", "v", "vi", "vii"))
DAY = date(2026, 3, 9)


@pytest.mark.parametrize(
    ("earlier", "today", "counts"),
    [
        (date(2026, 3, 9), date(2026, 3, 9), True),
        (date(2025, 11, 28), date(2026, 11, 28), True),  # the last good day
        (date(2025, 11, 27), date(2026, 11, 28), False),
        (date(2026, 11, 29), date(2026, 11, 28), False),  # still to come
        (date(2024, 2, 29), date(2025, 2, 28), True),  # a leap day ends on the 28th
        (date(2024, 2, 29), date(2025, 3, 1), False),
        (date(2023, 2, 28), date(2024, 2, 29), False),
        (date(2023, 3, 1), date(2024, 2, 29), True),
    ],
)
def test_it_counts_within_the_last_12_months(earlier, today, counts):
    """(k)(4), first sentence: "within the last 12 months"."""
    assert within_a_year(earlier, today) is counts


def test_it_counts_for_the_seven_elements_and_nothing_else():
    """(k)(4), first sentence: the elements "(k)(1)(i) through (vii)"."""
    assert may_be_credited(["apr-half"], ["apr-half", "apr-full"]) == frozenset(SEVEN)


@pytest.mark.parametrize(
    ("worn", "trained_with"),
    [
        (["apr-half"], ["scba-pressure-full"]),
        (["apr-half", "papr-loose"], ["apr-half"]),
        (["apr-half"], []),
        ([], []),
    ],
)
def test_another_type_of_respirator_leaves_only_what_is_about_respirators_in_general(
    worn, trained_with
):
    """(k)(5)(i): a change of the type of respirator makes earlier training obsolete."""
    assert may_be_credited(worn, trained_with) == frozenset({"(k)(1)(vi)", "(k)(1)(vii)"})


def test_a_lesson_is_covered_when_all_of_its_elements_are():
    """(k)(4): what is not covered is to be given."""
    known = {"(k)(1)(i)": Credited(DAY, True), "(k)(1)(ii)": Credited(DAY, True)}
    assert covered(["(k)(1)(i)", "(k)(1)(ii)"], known) == Credited(DAY, True)
    assert covered(["(k)(1)(i)", "(k)(1)(iii)"], known) is None


def test_knowledge_is_to_be_shown_of_each_element():
    """(k)(4): "the employee can demonstrate knowledge"; one that is not asked waits for it."""
    known = {"(k)(1)(i)": Credited(DAY, True), "(k)(1)(ii)": Credited(DAY, False)}
    assert covered(["(k)(1)(i)"], known).shown
    assert not covered(["(k)(1)(i)", "(k)(1)(ii)"], known).shown


def test_what_is_particular_to_a_worksite_is_never_covered():
    """(c)(1)(vii): the hazards of this workplace, which nobody taught elsewhere."""
    known = {element: Credited(DAY, True) for element in SEVEN}
    assert covered([*SEVEN, "(c)(1)(vii)"], known) is None
    assert covered([], known) is None


def test_all_seven_cover_every_lesson_of_the_course():
    known = {element: Credited(DAY, True) for element in SEVEN}
    assert all(covered(one.elements, known) for one in lessons.load().all)


def test_of_two_earlier_trainings_the_year_of_a_lesson_runs_from_the_first_that_it_rests_on():
    """(k)(4), second sentence: 12 months from the previous training."""
    later = date(2026, 5, 1)
    known = joined([
        {"(k)(1)(i)": Credited(DAY, True), "(k)(1)(ii)": Credited(DAY, True)},
        {"(k)(1)(ii)": Credited(later, False), "(k)(1)(v)": Credited(later, True)},
    ])  # fmt: skip
    assert covered(["(k)(1)(i)", "(k)(1)(ii)"], known) == Credited(DAY, True)
    assert covered(["(k)(1)(ii)", "(k)(1)(v)"], known) == Credited(later, True)


HOOD = Worn("papr-loose", False, False, True, "required", ("", "", "", ""))


def training(facts: Facts, today: date):
    """Return the step of training on a tag."""
    steps = clearance(HOOD, facts, today).steps
    return next(step for step in steps if step.kind == "training")


def test_the_year_runs_from_the_earlier_training_and_not_from_the_day_of_credit():
    """(k)(4), second sentence: "no later than 12 months from the date of the previous training"."""
    facts = Facts(trained_on=date(2026, 11, 28), counts_from=DAY)
    step = training(facts, date(2026, 11, 28))
    assert (step.state, step.why, step.on, step.due) == (
        "done", "credit", date(2026, 11, 28), date(2027, 3, 9),
    )  # fmt: skip
    assert training(facts, date(2027, 3, 9)).state == "done"
    late = training(facts, date(2027, 3, 10))
    assert (late.state, late.why) == ("no", "lapsed")


def test_retraining_for_cause_comes_in_spite_of_credit():
    """(k)(5)(ii): inadequate knowledge or use."""
    facts = Facts(trained_on=DAY, counts_from=DAY, retraining=("fit",))
    assert training(facts, DAY).why == "retraining"


def test_a_lesson_of_the_worksite_comes_before_wearing_and_ends_with_its_own_year():
    """(k)(3), before required use; (c)(1)(vii), the hazards of this workplace."""
    facts = Facts(trained_on=DAY, beyond=("site:1:1",))
    assert (training(facts, DAY).state, training(facts, DAY).why) == ("no", "beyond")
    passed = Facts(trained_on=DAY, beyond_until=date(2026, 12, 1))
    assert (training(passed, DAY).state, training(passed, DAY).due) == ("done", date(2026, 12, 1))
