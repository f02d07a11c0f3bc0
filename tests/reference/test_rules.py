"""Approvals, acts, elements, reasons, fit tests, duties and Table II against their sources."""

from datetime import date

import pytest

from trainer.reference import (
    approvals,
    duties,
    fit_test_protocols,
    oxygen_altitude,
    practice_acts,
    retraining_reasons,
    training_elements,
)

TODAY = date(2026, 11, 25)


def test_approval_prefixes_name_the_schedule():
    # NIOSH Certified Equipment List, general cautions page; TC-21C for powered respirators
    # also NIOSH letter CA 2022-1044. TC-13G was not read, so it is not used in marking.
    assert {row.prefix: row.kind for row in approvals.rows() if row.seen} == {
        "TC-13F": "scba",
        "TC-14G": "gas-mask",
        "TC-19C": "airline",
        "TC-21C": "powered",
        "TC-23C": "cartridge",
        "TC-84A": "particulate",
    }
    assert not approvals.get("TC-13G").seen


def test_the_seven_elements_are_those_of_the_standard():
    # 29 CFR 1910.134(k)(1)(i) to (vii).
    numerals = ("i", "ii", "iii", "iv", "v", "vi", "vii")
    assert [row.paragraph for row in training_elements.seven()] == [
        f"(k)(1)({numeral})" for numeral in numerals
    ]
    assert "seal" in training_elements.get("(k)(1)(iv)").name("en")
    assert "Medical" in training_elements.get("(k)(1)(vi)").name("en")


def test_appendix_d_is_not_one_of_the_seven():
    # 29 CFR 1910.134(k)(6): information for voluntary users, not training under (k)(1).
    assert training_elements.get("Appendix D").kind == "voluntary"
    assert training_elements.get("Appendix D").source == "29 CFR 1910.134(k)(6)"


def test_retraining_reasons_carry_their_paragraphs():
    # 29 CFR 1910.134(k)(3), (k)(5) and its three items.
    assert {row.slug: row.source.removeprefix("29 CFR 1910.134") for row in
            retraining_reasons.rows()} == {
        "first": "(k)(3)",
        "yearly": "(k)(5)",
        "changed-workplace": "(k)(5)(i)",
        "changed-respirator": "(k)(5)(i)",
        "knowledge-or-use": "(k)(5)(ii)",
        "other": "(k)(5)(iii)",
    }


def test_the_acts_that_need_a_seal_are_only_for_tight_fitting():
    # 29 CFR 1910.134(g)(1)(iii): a seal check is for tight-fitting respirators.
    tight = [act.slug for act in practice_acts.acts_for(tight=True)]
    loose = [act.slug for act in practice_acts.acts_for(tight=False)]
    assert tight == [
        "inspect", "put-on", "strap-tension", "seal-check-positive", "seal-check-negative",
        "take-off", "clean-and-store",
    ]  # fmt: skip
    assert loose == ["inspect", "put-on", "take-off", "clean-and-store"]


def test_the_acts_weak_in_studies_have_lines_of_their_own():
    # Harber 2013, J Occup Environ Hyg 10:556: inspection, strap tension, seal check, and
    # touching the mask when taking it off.
    weak = {act.slug for act in practice_acts.rows() if act.weak_in_studies}
    assert weak == {
        "inspect", "strap-tension", "seal-check-positive", "seal-check-negative", "take-off",
    }  # fmt: skip


def test_fit_test_protocols_are_of_two_kinds():
    # 29 CFR 1910.134 Appendix A, parts I.B (qualitative) and I.C (quantitative; two of them
    # added on 26 September 2019 by 84 FR 50739).
    kinds = {row.slug: row.kind for row in fit_test_protocols.rows()}
    qualitative = {"isoamyl-acetate", "saccharin", "denatonium-benzoate", "irritant-smoke"}
    assert {slug for slug, kind in kinds.items() if kind == "qualitative"} == qualitative
    assert {slug for slug, kind in kinds.items() if kind == "quantitative"} == {
        "generated-aerosol", "ambient-aerosol", "ambient-aerosol-elastomeric",
        "ambient-aerosol-filtering", "controlled-negative-pressure",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("use", "tight", "filtering", "owed"),
    [
        # Required and tight-fitting: (e)(1), (f)(1), (k)(3), practice by (k)(1)(iv).
        ("required", True, False, {"medical", "training", "practice", "fit-test"}),
        ("required", True, True, {"medical", "training", "practice", "fit-test"}),
        # Required, loose-fitting: no fit test, (f)(1) speaks of tight-fitting facepieces.
        ("required", False, False, {"medical", "training", "practice"}),
        # By choice, filtering facepiece: only Appendix D, (c)(2)(ii) and (k)(6).
        ("voluntary", True, True, {"appendix-d"}),
        # By choice, any other: medical fitness too, and upkeep, (c)(2)(ii).
        ("voluntary", True, False, {"appendix-d", "medical", "upkeep"}),
        ("voluntary", False, False, {"appendix-d", "medical", "upkeep"}),
        # For escape alone: as where it is required; no row waives anything.
        ("escape", True, False, {"medical", "training", "practice", "fit-test"}),
        ("escape", False, False, {"medical", "training", "practice"}),
    ],
)
def test_the_duties_of_a_wearer(use, tight, filtering, owed):
    slug = "apr-filtering" if filtering else "apr-half" if tight else "papr-loose"
    held = duties.owed(
        "federal", use, class_slug=slug, tight=tight, filtering=filtering, on=TODAY
    )
    assert {row.duty for row in held} == owed


def test_table_ii_is_as_printed():
    # 29 CFR 1910.134(d)(2)(iii), Table II: altitude in feet, oxygen in percent. The first line
    # reads "less than 3,001"; above 8,000 ft the exception does not apply (footnote 1).
    assert [
        (band.from_ft, band.to_ft, band.low_percent, band.high_percent)
        for band in oxygen_altitude.rows()
        if band.exception_applies
    ] == [
        (0, 3000, 16.0, 19.5),
        (3001, 4000, 16.4, 19.5),
        (4001, 5000, 17.1, 19.5),
        (5001, 6000, 17.8, 19.5),
        (6001, 7000, 18.5, 19.5),
        (7001, 8000, 19.3, 19.5),
    ]
