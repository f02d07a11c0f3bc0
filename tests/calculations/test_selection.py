"""Which classes may be worn: a test for each sentence of the rules, quoted by paragraph."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as some

from trainer.calculations.faults import CalculationFault
from trainer.calculations.selection import (
    MAY,
    MAY_NOT,
    NOT_DECIDED,
    Hazard,
    allowed,
    class_for_hazard,
    selection,
)
from trainer.reference import respirator_classes

# Table 1 of 29 CFR 1910.134(d)(3)(i)(A), typed from the rule: every class with a factor.
TABLE_1 = {
    "apr-quarter": 5, "apr-half": 10, "apr-filtering": 10, "apr-full": 50,
    "papr-half": 50, "papr-full": 1000, "papr-hood": 25, "papr-hood-1000": 1000, "papr-loose": 25,
    "sar-demand-half": 10, "sar-demand-full": 50,
    "sar-flow-half": 50, "sar-flow-full": 1000, "sar-flow-hood": 25, "sar-flow-hood-1000": 1000,
    "sar-flow-loose": 25,
    "sar-pressure-half": 50, "sar-pressure-full": 1000,
    "scba-demand-half": 10, "scba-demand-full": 50, "scba-demand-hood": 50,
    "scba-pressure-full": 10000, "scba-pressure-hood": 10000,
}  # fmt: skip
IDLH_CHOICES = {"scba-pressure-full", "sar-pressure-full"}  # (d)(2)(i)
BRINGS_AIR = {slug for slug in TABLE_1 if slug.startswith(("sar", "scba"))}

DUST = Hazard("particulate", concentration=9, limit=1, filter="P100")
VAPOR = Hazard("vapor", concentration=90, limit=10, idlh=500, cartridge_serves=True,
               cartridge_limit=1000, change_schedule=True)  # fmt: skip


def verdict(hazard: Hazard, slug: str):
    """Return the verdict on one class."""
    return next(one for one in selection(hazard) if one.worn.slug == slug)


def why(hazard: Hazard, slug: str) -> list[str]:
    """Return the keys of the reasons against a class."""
    found = verdict(hazard, slug)
    assert found.state == MAY_NOT
    return [reason.key for reason in found.reasons]


@pytest.mark.parametrize("ratio", [1, 5, 5.01, 10, 10.1, 25, 26, 50, 51, 1000, 1001, 10000])
def test_a_class_may_be_worn_up_to_its_factor_times_the_limit(ratio):
    # (d)(3)(i)(A): the employer must use the assigned protection factors of Table 1.
    hazard = replace(DUST, concentration=ratio, hood_evidence=True)
    assert set(allowed(hazard)) == {slug for slug, apf in TABLE_1.items() if apf >= ratio}


def test_a_hazard_ratio_above_all_factors_leaves_none():
    assert allowed(replace(DUST, concentration=10001)) == ()
    assert why(replace(DUST, concentration=10001), "scba-pressure-full") == ["ratio"]


def test_the_boundary_is_decimal():
    # 0.3 / 0.03 is 10, whatever binary fractions make of it.
    assert "apr-half" in allowed(Hazard("particulate", concentration=0.3, limit=0.03))


def test_a_blank_cell_of_table_1_is_no_class():
    blank = {row.slug for row in respirator_classes.rows()} - set(TABLE_1)
    for slug in blank:
        assert why(DUST, slug) == ["no-factor"]


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"concentration": None}, "unknown"),  # (d)(1)(iii)
        ({"concentration": 501}, "idlh"),  # (d)(2)(i)
        ({"oxygen_percent": 19.4}, "oxygen"),  # (d)(2)(iii)
        ({"oxygen_percent": 19.4, "oxygen_stays": True, "altitude_ft": 9000}, "oxygen"),  # Table II
        ({"oxygen_percent": 15.9, "oxygen_stays": True}, "oxygen"),  # Table II, sea level: 16.0
    ],
)
def test_in_idlh_air_only_two_may_be_worn(changed, reason):
    hazard = replace(VAPOR, **changed)
    assert set(allowed(hazard)) == IDLH_CHOICES
    assert why(hazard, "apr-full")[0] == reason
    assert why(hazard, "scba-pressure-hood") == [reason]
    conditions = {slug: [one.key for one in verdict(hazard, slug).reasons] for slug in IDLH_CHOICES}
    assert "rated-30" in conditions["scba-pressure-full"]
    assert "auxiliary" in conditions["sar-pressure-full"]


def test_at_the_idlh_itself_the_pocket_guide_still_lets_them_be_worn():
    # NIOSH Pocket Guide, n-hexane: "up to 1,100 ppm" (its IDLH) at APF 25, 50.
    hexane = replace(VAPOR, concentration=1100, limit=50, idlh=1100, cartridge_limit=None)
    assert "papr-loose" in allowed(hexane)
    assert set(allowed(replace(hexane, concentration=1101))) == IDLH_CHOICES


def test_within_table_ii_any_respirator_that_brings_air_will_do():
    # (d)(2)(iii): under all foreseeable conditions; cartridges bring no oxygen.
    hazard = replace(DUST, oxygen_percent=17.5, altitude_ft=4500, oxygen_stays=True)
    assert set(allowed(hazard)) == {slug for slug in BRINGS_AIR if TABLE_1[slug] >= 9} - {
        "sar-flow-hood-1000"
    }
    assert why(hazard, "papr-full")[0] == "brings-no-air"


def test_particle_filters_alone_stop_no_vapor():
    hazard = replace(VAPOR, cartridge_fitted=False)
    assert set(allowed(hazard)) <= BRINGS_AIR
    assert why(hazard, "apr-full") == ["filter-only"]
    assert why(VAPOR, "apr-filtering") == ["filter-only"]


def test_without_a_cartridge_that_serves_air_must_be_brought():
    hazard = replace(VAPOR, cartridge_serves=False)
    assert set(allowed(hazard)) <= BRINGS_AIR
    assert why(hazard, "papr-full") == ["no-cartridge"]


def test_a_cartridge_needs_an_indicator_or_a_change_schedule():
    # (d)(3)(iii)(B)
    bare = replace(VAPOR, change_schedule=False)
    assert why(bare, "apr-full") == ["no-schedule"]
    assert "apr-full" in allowed(replace(bare, end_of_service_indicator=True))
    assert "apr-full" in allowed(replace(bare, change_schedule=True))


def test_above_the_cartridges_own_limit_it_may_not_be_worn():
    # 42 CFR 84.190(a): sulfur dioxide 50 ppm.
    fumes = replace(VAPOR, concentration=51, limit=5, idlh=100, cartridge_limit=50)
    assert why(fumes, "apr-full") == ["cartridge"]
    assert "sar-flow-full" in allowed(fumes)
    assert "apr-full" in allowed(replace(fumes, concentration=50))


def test_a_substance_with_its_own_standard_is_not_decided_here():
    hazard = replace(VAPOR, substance_standard="1910.1048")
    assert allowed(hazard) == ()
    found = verdict(hazard, "apr-full")
    assert found.state == NOT_DECIDED
    assert "1910.1048" in found.reasons[0].sentence.en
    assert verdict(hazard, "apr-quarter").state == MAY_NOT


def test_without_a_limit_the_employer_sets_one():
    # (b), maximum use concentration
    found = verdict(replace(VAPOR, limit=None), "apr-full")
    assert (found.state, found.reasons[0].key) == (NOT_DECIDED, "no-limit")


def test_a_hood_counts_25_without_recorded_test_evidence():
    # Table 1, footnote 4
    strong = replace(DUST, concentration=30)
    assert why(strong, "papr-hood") == ["ratio"]
    assert why(strong, "papr-hood-1000") == ["evidence"]
    assert "papr-hood-1000" in allowed(replace(strong, hood_evidence=True))


def test_irritated_eyes_need_a_full_facepiece_or_eye_protection():
    hazard = replace(VAPOR, eye_irritation=True)
    assert why(hazard, "apr-half") == ["eyes"]
    assert {"apr-full", "papr-loose", "papr-hood"} <= set(allowed(hazard))
    assert "apr-half" in allowed(replace(hazard, eye_protection=True))


@pytest.mark.parametrize(
    ("filter_class", "shifts", "reason"),
    [("N95", 1, "n-with-oil"), ("N100", 1, "n-with-oil"), ("R95", 2, "r-past-one-shift"),
     ("R95", 1, ""), ("P95", 9, "")],
)  # fmt: skip
def test_oil_rules_out_n_and_limits_r(filter_class, shifts, reason):
    # NIOSH Publication 96-101
    hazard = replace(DUST, oil=True, filter=filter_class, shifts=shifts)
    if reason:
        assert why(hazard, "apr-half") == [reason]
        assert "papr-half" in allowed(hazard)  # takes HE
    else:
        assert "apr-half" in allowed(hazard)


def test_a_beard_under_the_seal_rules_out_every_tight_fit():
    # (g)(1)(i)
    bearded = replace(DUST, seal_broken=True)
    tight = {row.slug for row in respirator_classes.recognised() if row.tight}
    assert not set(allowed(bearded)) & tight
    assert {"papr-loose", "papr-hood", "sar-flow-loose"} <= set(allowed(bearded))
    assert allowed(replace(bearded, concentration=None)) == ()


def test_every_verdict_says_why_in_both_languages_with_its_paragraph():
    for hazard in (DUST, VAPOR, replace(VAPOR, concentration=None), Hazard("both")):
        for one in selection(hazard):
            assert one.reasons or one.state == MAY
            for reason in one.reasons:
                assert reason.sentence.en
                assert reason.sentence.es
                assert "CFR" in reason.source


def test_nothing_is_taken_for_granted():
    # A vapor about which nothing else is said: no cartridge, no schedule, no limit.
    bare = Hazard("vapor", concentration=1)
    assert allowed(bare) == ()
    assert set(allowed(replace(bare, limit=10))) <= BRINGS_AIR


@pytest.mark.parametrize(
    ("changed", "parameter"),
    [({"kind": "smell"}, "kind"), ({"concentration": -1}, "concentration"), ({"limit": 0}, "limit"),
     ({"idlh": -5}, "idlh"), ({"oil": "yes"}, "oil"), ({"filter": "N96"}, "filter"),
     ({"shifts": 0}, "shifts")],
)  # fmt: skip
def test_a_hazard_that_cannot_be_is_refused(changed, parameter):
    with pytest.raises(CalculationFault) as fault:
        replace(VAPOR, **changed)
    assert fault.value.parameter == parameter


@given(some.floats(0, 2000), some.floats(0.1, 500), some.floats(0, 2000))
def test_more_in_the_air_never_allows_another_class(concentration, limit, more):
    hazard = replace(VAPOR, concentration=concentration, limit=limit)
    dirtier = replace(hazard, concentration=concentration + more)
    assert set(allowed(dirtier)) <= set(allowed(hazard)) | IDLH_CHOICES


def test_the_one_of_a_few_is_found_or_refused():
    few = ["apr-filtering", "apr-quarter", "apr-full"]
    assert class_for_hazard(VAPOR, few) == "apr-full"
    with pytest.raises(CalculationFault, match="exactly one class that may be worn, not 2"):
        class_for_hazard(VAPOR, [*few, "papr-full"])
    with pytest.raises(CalculationFault):
        class_for_hazard(VAPOR, ["apr-gigantic"])


def test_the_idlh_and_the_limit_of_a_cartridge_hold_at_every_moment():
    # (d)(2)(i), (d)(3)(i)(B)(2) and (3); the factor is held against the average, (d)(3)(i)(A).
    short = replace(VAPOR, concentration=9, peak=501)
    assert set(allowed(short)) == IDLH_CHOICES
    assert "apr-half" in allowed(replace(short, peak=500))
    assert why(replace(short, peak=400, cartridge_limit=399), "apr-half") == ["cartridge"]
    assert allowed(replace(short, peak=3)) == allowed(replace(short, peak=None))
    assert replace(short, concentration=None).highest is None  # unknown stays unknown
    with pytest.raises(CalculationFault, match="peak"):
        replace(VAPOR, peak=-1)
