"""A worksite described: what was measured comes to, and whether a respirator is enough."""

from datetime import timedelta

import pytest

from tests.conftest import Works
from trainer.calculations.selection import MAY, MAY_NOT, NOT_DECIDED
from trainer.services import describing
from trainer.services.refusal import Refusal
from trainer.store.tables import Sample, SiteHazard, Task, TaskRespirator, Worksite

OV = {"cartridge": "organic vapor", "serves": True, "cartridge_limit": 1000.0,
      "schedule_hours": 6.0, "schedule_basis": "maker's data of this year"}


def loft(works: Works, **more: object) -> tuple[Worksite, Task, SiteHazard]:
    """Describe toluene in the air of a task of the Laminating Loft."""
    with works.store.writing() as db:
        worksite = db.get(Worksite, works.worksites["Laminating Loft"].id)
        task = describing.add_task(db, worksite, "Rolling gel coat")
        given = {"substance": "toluene"} | more
        return worksite, task, describing.add_hazard(db, works.scribe("Tomas"), task, **given)


def sample(works: Works, hazard: SiteHazard, *parts: tuple[float, float], days_ago: int = 1):
    """Enter what was measured on one day: (hours, concentration) a sample."""
    with works.store.writing() as db:
        for hours, concentration in parts:
            describing.add_sample(
                db, works.scribe("Tomas"), hazard, hours=hours, concentration=concentration,
                on=works.today - timedelta(days=days_ago),
            )  # fmt: skip


def wear(works: Works, task: Task, class_slug: str, **more: object) -> TaskRespirator:
    """Say that a respirator is worn for a task."""
    with works.store.writing() as db:
        return describing.add_respirator(
            db, works.scribe("Tomas"), task, class_slug=class_slug, **more
        )


def checked(works: Works, worksite: Worksite) -> list[describing.Check]:
    """Return the checks of a worksite."""
    with works.store.reading() as db:
        return describing.checks(describing.site(db, worksite))


def test_the_numbers_of_a_substance_come_from_the_published_tables(works):
    _, _, hazard = loft(works)
    # 29 CFR 1910.1000 Table Z-2; NIOSH Pocket Guide.
    assert (hazard.limit, hazard.unit, hazard.idlh) == (200, "ppm", 500)
    assert "Table Z-2" in hazard.limit_source
    assert hazard.eye_irritation


def test_a_stricter_limit_of_the_employer_counts_and_names_its_source(works):
    _, _, hazard = loft(works, limit=10, limit_source="Title 8, section 5155")
    assert (hazard.limit, hazard.limit_source) == (10, "Title 8, section 5155")


def test_a_limit_of_ones_own_needs_a_source(works):
    with pytest.raises(Refusal, match="where the limit comes from"):
        loft(works, substance="", name="House blend", kind="vapor", unit="ppm", limit=40)


def test_samples_of_a_day_are_averaged_over_8_hours(works):
    # The worked example of 29 CFR 1910.1000(d)(1)(i): 2 h at 150, 2 h at 75, 4 h at 50 ppm.
    worksite, task, hazard = loft(works)
    sample(works, hazard, (2, 150), (2, 75), (4, 50))
    wear(works, task, "apr-full", **OV)
    (one,) = checked(works, worksite)
    assert one.measured.outside == pytest.approx(81.25)
    assert one.measured.assumed == 0


def test_hours_that_nobody_measured_count_like_the_worst_sample(works):
    worksite, task, hazard = loft(works)
    sample(works, hazard, (2, 150), (2, 50))
    wear(works, task, "apr-full", **OV)
    (one,) = checked(works, worksite)
    assert one.measured.assumed == 4
    assert one.measured.outside == pytest.approx((2 * 150 + 2 * 50 + 4 * 150) / 8)


def test_the_worst_day_counts_and_for_a_ceiling_the_highest_sample(works):
    worksite, task, hazard = loft(works, limit=300, limit_kind="ceiling", limit_source="Table Z-2")
    sample(works, hazard, (0.5, 120), (0.5, 260), days_ago=3)
    sample(works, hazard, (8, 90))
    wear(works, task, "apr-full", **OV)
    (one,) = checked(works, worksite)
    assert (one.measured.outside, one.measured.on) == (260, works.today - timedelta(days=3))


def test_enough_with_how_much_to_spare(works):
    worksite, task, hazard = loft(works)
    sample(works, hazard, (8, 250))
    wear(works, task, "apr-full", **OV)
    (one,) = checked(works, worksite)
    assert one.verdict.state == MAY
    # Factor 50 x 200 ppm is more than the IDLH of 500 ppm, (d)(3)(i)(B)(3).
    assert one.most == 500
    assert one.spare == pytest.approx(2)


@pytest.mark.parametrize(("class_slug", "more", "why"), [
    ("apr-half", OV, "eyes"),
    ("apr-full", OV | {"schedule_hours": None}, "schedule"),
    ("apr-full", {"filter_class": "P100"}, "filter"),
    ("apr-full", OV | {"serves": False}, "cartridge"),
])  # fmt: skip
def test_not_enough_says_why(works, class_slug, more, why):
    worksite, task, hazard = loft(works)
    sample(works, hazard, (8, 250))
    wear(works, task, class_slug, **more)
    (one,) = checked(works, worksite)
    assert one.verdict.state == MAY_NOT
    assert any(why in reason.sentence("en").lower() for reason in one.verdict.reasons)


def test_unknown_air_counts_as_idlh(works):
    """29 CFR 1910.134(d)(1)(iii)."""
    worksite, task, _ = loft(works)
    wear(works, task, "apr-full", **OV)
    wear(works, task, "scba-pressure-full")
    purifying, carried = checked(works, worksite)
    assert (purifying.verdict.state, carried.verdict.state) == (MAY_NOT, MAY)


def test_a_substance_standard_is_not_decided_here(works):
    worksite, task, hazard = loft(works, substance="formaldehyde")
    sample(works, hazard, (8, 1))
    wear(works, task, "sar-pressure-full")
    (one,) = checked(works, worksite)
    assert one.verdict.state == NOT_DECIDED


def test_a_change_that_leaves_a_respirator_too_weak_names_who_wears_it(works):
    worksite, task, hazard = loft(works, substance="styrene", limit=100.0,
                                  limit_source="29 CFR 1910.1000 Table Z-2")
    sample(works, hazard, (8, 300))
    worn = wear(works, task, "apr-half", eye_protection=True, **OV)
    with works.store.reading() as db:
        assert describing.inadequate(db, worksite) == []
    sample(works, hazard, (8, 1100), days_ago=0)
    with works.store.reading() as db:
        ((check, people),) = describing.inadequate(db, worksite)
    assert check.worn.id == worn.id
    assert [person.name for person in people] == ["Lee"]  # Kim wears none, Noor is elsewhere


def test_what_is_ended_counts_no_more_and_stays(works):
    worksite, task, hazard = loft(works)
    sample(works, hazard, (8, 250))
    wear(works, task, "apr-full", **OV)
    with works.store.writing() as db:
        describing.end(db, works.scribe("Tomas"), db.get(SiteHazard, hazard.id))
    assert checked(works, worksite) == []
    with works.store.reading() as db:
        assert db.get(SiteHazard, hazard.id).ended_at is not None
        assert db.get(Sample, 1).concentration == 250


@pytest.mark.parametrize(("how", "says"), [
    ({"substance": "none"}, "from the list"),
    ({"substance": "", "name": ""}, "a name"),
    ({"substance": "", "name": "x", "kind": "ghost", "unit": "ppm"}, "particles, gas"),
    ({"limit": -1.0, "limit_source": "a"}, "above zero"),
    ({"oxygen_percent": 120.0}, "0 to 100"),
])  # fmt: skip
def test_a_hazard_that_cannot_be_is_refused(works, how, says):
    with pytest.raises(Refusal, match=says):
        loft(works, **how)


@pytest.mark.parametrize(("how", "says"), [
    ({"class_slug": "apr-hood"}, "a class"),
    ({"class_slug": "apr-full", "filter_class": "P97"}, "by its class"),
    ({"class_slug": "apr-full", "approval": "TC-99"}, "looks like"),
    ({"class_slug": "apr-full", "schedule_hours": 6.0}, "on which data"),
])  # fmt: skip
def test_a_respirator_that_cannot_be_is_refused(works, how, says):
    _, task, _ = loft(works)
    with pytest.raises(Refusal, match=says):
        wear(works, task, **how)


@pytest.mark.parametrize(("hours", "amount", "days_ago", "says"), [
    (0, 5, 1, "above 0"), (25, 5, 1, "above 0"), (8, -1, 1, "zero or above"), (8, 5, -1, "future"),
])  # fmt: skip
def test_a_sample_that_cannot_be_is_refused(works, hours, amount, days_ago, says):
    _, _, hazard = loft(works)
    with pytest.raises(Refusal, match=says):
        sample(works, hazard, (hours, amount), days_ago=days_ago)


def test_a_sample_in_the_other_unit_is_converted_and_kept_as_it_was_typed(works):
    _, _, hazard = loft(works)
    with works.store.writing() as db:
        made = describing.add_sample(
            db, works.scribe("Tomas"), hazard, on=works.today, hours=8, concentration=377,
            unit="mg/m³",
        )  # fmt: skip
    # NIOSH Pocket Guide, toluene: 1 ppm is 3.77 mg/m³.
    assert made.concentration == pytest.approx(100, rel=0.002)
    assert made.as_measured == "377 mg/m³"


def test_ones_own_substance_is_converted_by_its_molecular_weight(works):
    _, _, hazard = loft(
        works, substance="", name="House blend", kind="vapor", unit="mg/m³", limit=50,
        limit_source="our program", molecular_weight=98.96,
    )  # fmt: skip
    with works.store.writing() as db:
        made = describing.add_sample(
            db, works.scribe("Tomas"), hazard, on=works.today, hours=8, concentration=10,
            unit="ppm",
        )  # fmt: skip
    # 29 CFR 1910.1000 Table Z-1 footnote a: 25 °C, 760 torr; 24.45 L/mol.
    assert made.concentration == pytest.approx(10 * 98.96 / 24.45)


@pytest.mark.parametrize("more", [
    {"kind": "vapor"},  # whose weight nobody gave
    {"kind": "particulate", "molecular_weight": 150.0},  # dust has no ppm
])
def test_without_a_weight_that_counts_nothing_is_converted(works, more):
    given = {"substance": "", "name": "House dust", "unit": "mg/m³", "limit": 5,
             "limit_source": "our program"}
    _, _, hazard = loft(works, **given, **more)
    with works.store.writing() as db, pytest.raises(Refusal, match="Enter it in mg/m³"):
        describing.add_sample(
            db, works.scribe("Tomas"), hazard, on=works.today, hours=8, concentration=1, unit="ppm"
        )


STYRENE = {"substance": "styrene"}  # 100 ppm over 8 hours; IDLH 700 ppm: NIOSH Pocket Guide


@pytest.mark.parametrize(("peak", "class_slug", "why"), [
    (1000, "apr-full", ["idlh", "cartridge"]),  # (d)(2)(i): whatever the average of the day
    (690, "apr-full", ["cartridge"]),  # (d)(3)(i)(B)(3): the limit of the cartridge at any moment
    (490, "apr-full", []),
    (1000, "sar-pressure-full", []),
])  # fmt: skip
def test_a_good_average_hides_no_moment_above_the_idlh_or_the_cartridges_limit(
    works, peak, class_slug, why
):
    worksite, task, hazard = loft(works, **STYRENE)
    sample(works, hazard, (0.5, peak), (7.5, 20))
    wear(works, task, class_slug, **(OV | {"cartridge_limit": 500.0}))
    (one,) = checked(works, worksite)
    assert one.measured.outside < 100 < one.measured.highest == peak
    assert one.verdict.state == (MAY_NOT if why else MAY)
    if why:
        assert [reason.key for reason in one.verdict.reasons] == why
    assert one.idlh == (peak > 700)


def test_the_highest_sample_is_that_of_any_day(works):
    worksite, task, hazard = loft(works, **STYRENE)
    sample(works, hazard, (0.1, 800), (7.9, 0), days_ago=5)
    sample(works, hazard, (8, 60))
    wear(works, task, "apr-full", **OV)
    (one,) = checked(works, worksite)
    assert (one.measured.outside, one.measured.highest) == (60, 800)
    assert [reason.key for reason in one.verdict.reasons] == ["idlh"]


def test_what_is_to_spare_is_told_by_what_is_reached_first(works):
    worksite, task, hazard = loft(works, **STYRENE)
    sample(works, hazard, (1, 350), (7, 10))
    wear(works, task, "apr-full", **OV)
    (one,) = checked(works, worksite)
    # 50 x 100 ppm is far above the average, but twice the highest sample is the IDLH.
    assert one.spare == pytest.approx(700 / 350)
