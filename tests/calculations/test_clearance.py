"""May this person wear this respirator today: the sentences of 29 CFR 1910.134, one a test.

Expected days and outcomes are worked out from the paragraph named, never from duties.csv.
"""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from trainer.calculations.clearance import (
    NO_END,
    Facts,
    FitTest,
    Medical,
    Worn,
    clearance,
)
from trainer.reference import duties

FITS = ("invented aldermoor", "half 2", "elastomeric", "m")
HALF = Worn("apr-half", True, False, False, "required", FITS)
FILTERING = Worn("apr-filtering", True, True, False, "required", FITS)
FULL = Worn("apr-full", True, False, False, "required", FITS, negative_full=True)
LOOSE = Worn("papr-loose", False, False, True, "required", ("", "", "", ""))
AIRLINE = Worn("sar-flow-half", True, False, False, "required", FITS)
DONE = date(2026, 3, 9)
LAST_GOOD_DAY = date(2027, 3, 9)
READY = Facts(
    medical=Medical(DONE, "cleared"),
    trained_on=DONE,
    practised_on=DONE,
    fit_test=FitTest(DONE, True, FITS),
)


def by_kind(worn: Worn, facts: Facts, today: date = DONE) -> dict[str, tuple[str, str]]:
    """Return state and reason of each step by its kind."""
    return {step.kind: (step.state, step.why) for step in clearance(worn, facts, today).steps}


def test_whoever_has_done_all_is_clear_until_the_same_day_next_year():
    found = clearance(HALF, READY, DONE)
    assert (found.clear, found.until, found.missing) == (True, LAST_GOOD_DAY, ())


def test_nothing_shown_counts_as_nothing_done():
    found = clearance(HALF, Facts(), DONE)
    assert found.missing == ("medical", "training", "practice", "fit-test")
    assert not found.clear


@pytest.mark.parametrize(
    ("fact", "kind"),
    [
        ("medical", "medical"),  # (e)(1): an evaluation before fit test and required use
        ("trained_on", "training"),  # (k)(3): training before required use
        ("practised_on", "practice"),  # (k)(1)(iv): show how to put on, take off, check seals
        ("fit_test", "fit-test"),  # (f)(1): a fit test before required use
    ],
)
def test_each_one_thing_missing_is_enough_to_keep_it_off(fact, kind):
    found = clearance(HALF, replace(READY, **{fact: None}), DONE)
    assert (found.clear, found.missing) == (False, (kind,))


@pytest.mark.parametrize("kind", ["training", "practice", "fit-test"])
def test_the_due_day_is_the_last_good_day(kind):
    """(k)(5) and (f)(2), "at least annually"; OSHA letter of 23 December 1998."""
    later = DONE + timedelta(days=30)
    fresh = {"trained_on": later, "practised_on": later, "fit_test": FitTest(later, True, FITS)}
    of = {"training": "trained_on", "practice": "practised_on", "fit-test": "fit_test"}
    del fresh[of[kind]]
    facts = replace(READY, **fresh)
    assert clearance(HALF, facts, LAST_GOOD_DAY).until == LAST_GOOD_DAY
    day_after = clearance(HALF, facts, LAST_GOOD_DAY + timedelta(days=1))
    assert (day_after.clear, day_after.missing) == (False, (kind,))
    assert by_kind(HALF, facts, LAST_GOOD_DAY + timedelta(days=1))[kind] == ("no", "lapsed")


def test_what_was_done_on_29_february_is_good_until_the_28th():
    """(f)(2); the stricter reading of a year from a leap day."""
    leap = date(2028, 2, 29)
    facts = replace(
        READY, trained_on=leap, practised_on=leap, fit_test=FitTest(leap, True, FITS)
    )
    assert clearance(HALF, facts, leap).until == date(2029, 2, 28)
    assert not clearance(HALF, facts, date(2029, 3, 1)).clear


def test_retraining_for_cause_voids_the_training_at_once():
    """(k)(5)(i)-(iii): retraining "annually, and when" something changes."""
    facts = replace(READY, retraining=("protection-factors",))
    assert by_kind(HALF, facts)["training"] == ("no", "retraining")
    assert not clearance(HALF, facts, DONE).clear


@pytest.mark.parametrize("part", range(4))
def test_a_fit_test_holds_only_for_the_same_make_model_style_and_size(part):
    """(f)(1) "the same make, model, style, and size of respirator that will be used"."""
    other = tuple("other" if at == part else named for at, named in enumerate(FITS))
    facts = replace(READY, fit_test=FitTest(DONE, True, other))
    assert clearance(HALF, facts, DONE).missing == ("fit-test",)


def test_a_failed_fit_test_keeps_it_off():
    """(f)(1): "must be fit tested", that is pass an appropriate test."""
    facts = replace(READY, fit_test=FitTest(DONE, False, FITS))
    assert by_kind(HALF, facts)["fit-test"] == ("no", "failed")


def test_every_tight_fitting_facepiece_is_fit_tested_air_line_and_filtering_too():
    """(f): "a negative or positive pressure tight-fitting facepiece"; Table 1 footnote 3."""
    for worn in (AIRLINE, FILTERING):
        assert clearance(worn, replace(READY, fit_test=None), DONE).missing == ("fit-test",)


def test_a_loose_fitting_facepiece_takes_no_fit_test():
    """(f): only a "tight-fitting facepiece respirator"."""
    found = clearance(LOOSE, replace(READY, fit_test=None), DONE)
    assert [step.kind for step in found.steps] == ["medical", "training", "practice"]
    assert found.clear


def test_a_filtering_facepiece_worn_by_choice_needs_appendix_d_alone():
    """(c)(2)(i) and the exception in (c)(2)(ii)."""
    by_choice = replace(FILTERING, use="voluntary")
    assert clearance(by_choice, Facts(), DONE).missing == ("appendix-d",)
    given = clearance(by_choice, Facts(appendix_d_on=DONE), DONE + timedelta(days=2000))
    assert (given.clear, given.until) == (True, NO_END)


def test_any_other_respirator_worn_by_choice_needs_medical_clearance_too():
    """(c)(2)(ii): that the person is "medically able to use that respirator"."""
    for worn in (replace(HALF, use="voluntary"), replace(LOOSE, use="voluntary")):
        assert set(clearance(worn, Facts(), DONE).missing) == {"appendix-d", "medical"}
        given = Facts(appendix_d_on=DONE, medical=Medical(DONE, "cleared"))
        assert clearance(worn, given, DONE).clear
        assert not clearance(worn, Facts(appendix_d_on=DONE), DONE).clear


def test_appendix_d_is_not_asked_where_the_respirator_is_required():
    """(k)(6): "when such use is not required by this section or by the employer"."""
    assert "appendix-d" not in by_kind(HALF, READY)


def test_whoever_is_not_medically_cleared_wears_nothing_whatever_else_is_done():
    """(e)(6)(i)(A): the recommendation says whether the person is medically able."""
    facts = replace(READY, medical=Medical(DONE, "not"), appendix_d_on=DONE)
    for worn in (HALF, LOOSE, AIRLINE, replace(HALF, use="voluntary")):
        assert by_kind(worn, facts)["medical"] == ("no", "not_cleared")
        assert not clearance(worn, facts, DONE).clear


def test_cleared_for_powered_alone_lets_a_powered_respirator_pass_and_no_other():
    """(e)(6)(ii): a PAPR where a negative pressure respirator would put health at risk."""
    facts = replace(READY, medical=Medical(DONE, "limits", "powered_only"))
    for worn in (HALF, FILTERING, AIRLINE):
        assert by_kind(worn, facts)["medical"] == ("no", "powered_only")
    assert clearance(LOOSE, facts, DONE).clear


def test_medical_clearance_has_no_yearly_end_but_the_one_that_is_set():
    """(e)(7) lists when to evaluate again; no yearly date is among them."""
    by_choice = replace(LOOSE, use="voluntary")
    facts = Facts(appendix_d_on=DONE, medical=Medical(DONE, "cleared"))
    assert clearance(by_choice, facts, DONE + timedelta(days=4000)).clear
    ends = replace(facts, medical=Medical(DONE, "cleared", until=date(2026, 9, 1)))
    assert clearance(by_choice, ends, date(2026, 9, 1)).until == date(2026, 9, 1)
    assert by_kind(by_choice, ends, date(2026, 9, 2))["medical"] == ("no", "lapsed")


def test_a_failed_practice_undoes_the_one_before():
    """(k)(5)(ii): what was seen shows that skill was not retained."""
    facts = replace(READY, practice_passed=False)
    assert by_kind(HALF, facts)["practice"] == ("no", "not_yet")
    assert not clearance(HALF, facts, DONE).clear


def test_lessons_begun_show_as_begun_and_do_not_clear():
    facts = replace(READY, trained_on=None, lessons_passed=2, lessons_asked=3)
    assert by_kind(HALF, facts)["training"] == ("begun", "")
    assert not clearance(HALF, facts, DONE).clear


def test_what_falls_due_first_is_said_and_ends_the_clearance():
    facts = replace(READY, practised_on=DONE - timedelta(days=100))
    found = clearance(HALF, facts, DONE)
    assert found.next_due.kind == "practice"
    assert found.until == LAST_GOOD_DAY - timedelta(days=100)


def test_a_state_without_rows_of_its_own_goes_by_the_federal_ones():
    """29 CFR 1902: a state plan is at least as effective as the federal standard."""
    here, there = (clearance(HALF, Facts(), DONE, which) for which in ("federal", "elsewhere"))
    assert here == there
    assert len(there.steps) == 4


def test_each_step_names_the_paragraph_it_comes_from():
    named = {step.kind: step.source for step in clearance(HALF, READY, DONE).steps}
    for kind, paragraph in (
        ("medical", "(e)(1)"),
        ("training", "(k)(3)"),
        ("practice", "(k)(1)(iv)"),
        ("fit-test", "(f)(1)"),
    ):
        assert f"29 CFR 1910.134{paragraph}" in named[kind]


# Which class needs an evaluation, and from when: dated rows


CHANGE = date(2027, 1, 1)


def with_the_pending_change() -> tuple[duties.Duty, ...]:
    """Return the duties as 90 FR 28463 proposes them, from an invented day on.

    The evaluation would end for filtering facepieces and loose-fitting powered respirators.
    """
    rest = [row for row in duties.rows() if (row.use, row.duty) != ("required", "medical")]
    cells = {
        "rule_set": "federal", "use": "required", "duty": "medical", "source": "a test",
        "checked": "no", "from_date": "", "until_date": "",
    }  # fmt: skip
    before = cells | {"applies_to": "any", "until_date": (CHANGE - timedelta(days=1)).isoformat()}
    after = cells | {
        "applies_to": "but apr-filtering papr-loose", "from_date": CHANGE.isoformat()
    }
    return (*map(duties.duty_of, (before, after)), *rest)


@pytest.mark.parametrize(
    ("worn", "on", "asked"),
    [
        (FILTERING, CHANGE - timedelta(days=1), True),
        (FILTERING, CHANGE, False),
        (LOOSE, CHANGE, False),
        (HALF, CHANGE, True),
        (AIRLINE, CHANGE, True),
    ],
)
def test_the_pending_change_of_who_needs_an_evaluation_is_rows_and_no_code(worn, on, asked):
    found = clearance(worn, Facts(), on, rows=with_the_pending_change())
    assert ("medical" in found.missing) is asked
    assert "training" in found.missing


def test_a_duty_may_name_the_classes_that_it_is_for():
    cells = {
        "rule_set": "federal", "use": "required", "applies_to": "apr-half sar-flow-half",
        "duty": "medical", "source": "a test", "checked": "no", "from_date": "", "until_date": "",
    }  # fmt: skip
    rows = (duties.duty_of(cells),)
    asked = [clearance(one, Facts(), DONE, rows=rows).missing for one in (HALF, AIRLINE, LOOSE)]
    assert asked == [("medical",), ("medical",), ()]
    with pytest.raises(ValueError, match="names no class"):
        clearance(HALF, Facts(), DONE, rows=(duties.duty_of(cells | {"applies_to": "apr-haf"}),))


def test_where_no_duty_is_known_nobody_is_clear():
    assert not clearance(HALF, READY, DONE, rows=()).clear


# For getting out alone


def test_one_for_escape_alone_asks_for_all_that_a_required_one_asks_for():
    """No row waives anything; (d)(2)(ii) asks for one that is certified for escape."""
    escape = replace(HALF, use="escape")
    assert clearance(escape, Facts(), DONE).missing == clearance(HALF, Facts(), DONE).missing
    found = clearance(escape, READY, DONE)
    assert (found.clear, [note.kind for note in found.notes]) == (True, ["escape"])
    loose = clearance(replace(LOOSE, use="escape"), Facts(), DONE)
    assert loose.missing == ("medical", "training", "practice")


# What makes it void, and what holds while it is worn


def test_a_fit_that_was_told_to_have_changed_asks_for_a_further_test():
    """(f)(3): whenever the person reports a change that could affect respirator fit."""
    found = clearance(HALF, replace(READY, fit_changed=True), DONE)
    [step] = [one for one in found.steps if one.kind == "fit-test"]
    assert (found.clear, step.state, step.why) == (False, "no", "changed")
    assert step.source == "29 CFR 1910.134(f)(3)"
    assert clearance(LOOSE, replace(READY, fit_changed=True), DONE).clear  # it has no seal


def test_a_leak_keeps_it_off_until_it_is_dealt_with():
    """(g)(2)(iii): replaced or repaired before the person returns to the work area."""
    by_choice = Facts(medical=Medical(DONE, "cleared"), appendix_d_on=DONE, leaks_since=DONE)
    for worn, facts in ((HALF, replace(READY, leaks_since=DONE)),
                        (replace(HALF, use="voluntary"), by_choice)):  # fmt: skip
        assert clearance(worn, facts, DONE).missing == ("leak",)


def test_upkeep_of_one_worn_by_choice_is_said_and_is_no_step():
    """(c)(2)(ii): cleaned, stored and maintained; no entry could show it done for good."""
    given = Facts(appendix_d_on=DONE, medical=Medical(DONE, "cleared"))
    for worn in (replace(HALF, use="voluntary"), replace(LOOSE, use="voluntary")):
        [note] = clearance(worn, given, DONE).notes
        assert (note.kind, note.source) == ("upkeep", "29 CFR 1910.134(c)(2)(ii)")
    assert clearance(replace(FILTERING, use="voluntary"), given, DONE).notes == ()
    assert clearance(HALF, READY, DONE).notes == ()


@pytest.mark.parametrize(
    ("worn", "qualitative", "passed", "capped"),
    [
        (FULL, True, True, True),  # (f)(6): a fit factor of 100 and no more is shown
        (FULL, False, True, False),  # a quantitative test shows 500, (f)(7)
        (FULL, True, False, False),
        (HALF, True, True, False),  # its own factor is 10
        (AIRLINE, True, True, False),  # (f)(8): air-supplied and powered ones, either kind of test
    ],
)
def test_a_full_facepiece_with_a_qualitative_test_goes_to_10_times_the_limit(
    worn, qualitative, passed, capped
):
    facts = replace(READY, fit_test=FitTest(DONE, passed, FITS, qualitative))
    notes = [note.kind for note in clearance(worn, facts, DONE).notes]
    assert notes == (["ten-times"] if capped else [])
