"""Problems with the numbers of a person's worksite: in sittings, refreshers, lessons, exercises."""

from datetime import timedelta

import pytest
from sqlmodel import select

from tests.conftest import HALF_MASK, Works, pass_lesson
from tests.services.test_describing import OV, loft, sample, wear
from tests.services.test_learning import exercise, give, slip, where, work_rightly
from trainer import bank, lessons
from trainer.services import describing, joining, learning, own_numbers, sitting
from trainer.store.tables import LessonAnswer, Person, SiteHazard, Worksite

SLUG = "inside-concentration"
WORN = {"eye_protection": True, "filter_class": "P100", "approval": "TC-23C-0000", **OV}


def described(works: Works, substance: str = "toluene", *parts: tuple[float, float], **more):
    """Describe the air of the Loft, and a half mask as Lee's own; return the hazard."""
    _, task, hazard = loft(works, substance=substance)
    sample(works, hazard, *(parts or ((2, 300), (6, 220))))
    wear(works, task, "apr-half", **WORN | more)
    return hazard


def told(works: Works, name: str = "Lee") -> list[bank.Facts]:
    """Return the facts of somebody's worksites."""
    with works.store.reading() as db:
        return own_numbers.facts(db, works.people[name])


def go_on(works: Works, slug: str, ordinal: int | None = None):
    """Go on to the next problem, as the page does."""
    at = where(works, slug).ordinal if ordinal is None else ordinal
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        facts = own_numbers.facts(db, lee)
        learning.go_on(db, lee, exercise(slug), at, works.now, facts)
    return where(works, slug)


def of_sittings(works: Works) -> list[bank.Problem]:
    """Let Lee pass every lesson; return the problems of all sittings."""
    found = []
    for count, lesson in enumerate(lessons.load().all):
        at = pass_lesson(works, "Lee", lesson.slug, works.now + timedelta(minutes=count))
        assert at.passed
        with works.store.reading() as db:
            found += [one.problem for one in sitting.shown(db, at) if one.problem]
    return found


def of_drills(works: Works, problems: int) -> list[bank.Problem]:
    """Let Lee work so many problems of every exercise that a lesson has; return them all."""
    found = []
    for one in bank.load().exercises.values():
        if not one.lesson:
            continue
        found.append(where(works, one.slug).problem)
        for _ in range(problems - 1):
            found.append(go_on(works, one.slug).problem)
            work_rightly(works, one.slug)
    return found


# What a worksite tells.


def test_a_number_has_three_figures_and_is_never_less_than_was_measured(works):
    described(works, "styrene", (8, 187.51))
    (facts,) = told(works)
    assert facts["outside"] == facts["outside_of_published_limit"] == 188
    assert (facts["class"], facts["class_that_may"], facts["filter"]) == \
        ("apr-half", "apr-half", "P100")
    assert facts["respirator"]("es").endswith("media cara, con P100, organic vapor")


def test_who_wears_none_is_told_of_no_respirator(works):
    described(works)
    (facts,) = told(works, "Kim")
    assert (facts["class"], facts["outside"]) == (None, 240)
    assert "facepiece" not in facts
    assert told(works, "Noor") == []  # of another worksite


@pytest.mark.parametrize(("more", "published", "beside_idlh"), [
    ({}, 187, 100),
    ({"limit": 20.0, "limit_source": "our program"}, None, 20),
    ({"limit": 150.0, "limit_source": "an error"}, None, None),
    ({"limit_kind": "ceiling", "limit": 100.0, "limit_source": "our program"}, None, 100),
    ({"idlh": 500.0}, 187, None),
    ({"unit": "mg/m³", "limit": 100.0, "limit_source": "x"}, None, None),
])  # fmt: skip
def test_a_number_is_told_only_beside_the_published_one(works, more, published, beside_idlh):
    _, task, hazard = loft(works, substance="styrene", **more)
    sample(works, hazard, (8, 187))
    wear(works, task, "apr-half", **WORN)
    (facts,) = told(works)
    assert facts["outside_of_published_limit"] == published
    assert facts["limit_of_published_idlh"] == beside_idlh


def test_a_concentration_in_another_unit_is_not_taken_for_ppm(works):
    _, _, hazard = loft(works, substance="toluene", unit="mg/m³", limit=750.0, limit_source="x")
    sample(works, hazard, (8, 412))
    (facts,) = told(works)
    assert (facts["outside"], facts["outside_in_mg"]) == (None, 412)


def test_a_respirator_that_is_too_weak_is_not_told_as_enough(works):
    described(works, "styrene", (8, 187), eye_protection=False)
    (facts,) = told(works)
    assert (facts["class"], facts["class_that_may"]) == ("apr-half", None)


def test_one_that_is_enough_for_one_substance_only_is_not_enough(works):
    _, task, hazard = loft(works, substance="styrene")
    sample(works, hazard, (8, 187))
    wear(works, task, "apr-half", **WORN)
    with works.store.writing() as db:
        toluene = describing.add_hazard(db, works.scribe("Tomas"), task, substance="toluene")
    assert [one["class_that_may"] for one in told(works)] == [None, None]  # nobody measured it
    assert [one["class_below_idlh"] for one in told(works)] == [None, None]
    sample(works, toluene, (8, 60))
    assert [one["class_that_may"] for one in told(works)] == ["apr-half", "apr-half"]
    assert told(works)[1]["second_substance"] == "styrene"


def test_the_hours_that_nobody_measured_count_like_the_worst(works):
    described(works, "toluene", (2, 150), (4, 90))
    (facts,) = told(works)
    assert (facts["amounts"], facts["hours"]) == ((150, 90, 150), (2, 4, 2))
    assert "150 ppm for the 2 h that nobody measured" in facts["samples"]("en")
    found = bank.draw_at(exercise("shift-average"), 1, facts)
    assert found.blank.value == facts["outside"] == pytest.approx(120)


def test_one_sample_makes_no_average_to_work_out(works):
    described(works, "toluene", (8, 150))
    assert bank.draw_at(exercise("shift-average"), 1, told(works)[0]) is None


def test_oxygen_is_told_where_somebody_gave_it(works):
    described(works)
    assert told(works)[0]["oxygen"] is None
    loft_of_low_oxygen(works)
    assert [one["oxygen"] for one in told(works)] == [None, 17]


def loft_of_low_oxygen(works: Works) -> None:
    """Describe air that is low in oxygen beside the rest."""
    with works.store.writing() as db:
        worksite = db.get(Worksite, works.worksites["Laminating Loft"].id)
        task = describing.add_task(db, worksite, "Cleaning the pit")
        describing.add_hazard(db, works.scribe("Tomas"), task, name="Air low in oxygen",
                              kind="gas", unit="ppm", oxygen_percent=17.0)


def test_braces_in_a_name_are_made_harmless(works):
    described(works)
    with works.store.writing() as db:
        place = db.get(Worksite, works.worksites["Laminating Loft"].id)
        place.name = "Loft {substance.limit}"
        db.add(place)
    found = bank.draw_at_any(exercise(SLUG), 1, told(works))
    assert "At Loft (substance.limit) (Rolling gel coat), 240 ppm of toluene" in found.text("en")
    assert "measured at Loft (substance.limit), Rolling gel coat" in found.steps[1].cited("en")


# Kept problems.


def test_a_problem_under_a_persons_hands_stays_when_the_worksite_changes(works):
    hazard = described(works)
    at = go_on(works, SLUG)
    assert "240 ppm" in at.problem.text("en")
    sample(works, hazard, (8, 480), days_ago=2)
    assert told(works)[0]["outside"] == 480
    assert where(works, SLUG) == at
    with works.store.writing() as db:
        describing.end(db, works.scribe("Tomas"), db.get(SiteHazard, hazard.id))
    assert told(works) == []
    assert where(works, SLUG) == at
    after = give(works, SLUG, slip(at))
    assert (after.problem, after.like.source) == (at.problem, None)
    assert work_rightly(works, SLUG).done
    assert where(works, SLUG).problem == at.problem
    assert go_on(works, SLUG).problem.source is None  # nothing is described any more


def test_two_clicks_make_one_row(works):
    described(works)
    at = go_on(works, SLUG)
    assert go_on(works, SLUG, ordinal=0) == at
    with works.store.reading() as db:
        (row,) = db.exec(select(LessonAnswer)).all()
    assert row.following


def test_the_worked_example_and_every_other_problem_is_general(works):
    described(works)
    with works.store.writing() as db:  # enough of the worksite's were met elsewhere
        for ordinal in range(9):
            db.add(LessonAnswer(
                person_id=works.people["Lee"].id, lesson="", exercise="other", version="",
                ordinal=ordinal, step=learning.WENT_ON, attempt=0, typed="", verdict="right",
                following="{}", answered_at=works.now,
            ))  # fmt: skip
    slug = "minutes-unworn"
    sources = [where(works, slug).problem.source]
    for _ in range(4):
        sources.append(go_on(works, slug).problem.source)
        work_rightly(works, slug)
    assert [bool(one) for one in sources] == [False, True, False, True, False]


def test_the_same_numbers_do_not_come_twice_in_a_row(works):
    described(works)
    met = []
    for _ in range(5):
        met.append(go_on(works, SLUG).problem)
        work_rightly(works, SLUG)
    assert [bool(one.source) for one in met] == [True, False, True, False, True]


def test_rows_from_before_problems_were_kept_draw_as_ever(works):
    slug = SLUG
    first = go_on_without_facts(works, slug)
    work_rightly(works, slug)
    second = go_on_without_facts(works, slug)
    described(works)
    assert where(works, slug) == second
    lee = works.people["Lee"]
    for at in (first, second):
        seed = learning.seed(lee, slug, exercise(slug).version, at.ordinal)
        assert at.problem == bank.draw(exercise(slug), seed)


def go_on_without_facts(works: Works, slug: str):
    with works.store.writing() as db:
        at = where(works, slug).ordinal
        learning.go_on(db, works.people["Lee"], exercise(slug), at, works.now)
    return where(works, slug)


# At least a third.


AIR = {
    "below the limit": ("toluene", ((2, 150), (6, 60))),
    "silica": ("silica", ((4, 0.31), (4, 0.18))),
}


@pytest.mark.parametrize("air", AIR)
def test_at_least_a_third_of_all_problems_has_the_worksites_numbers(works, air):
    substance, parts = AIR[air]
    described(works, substance, *parts)
    met = of_sittings(works)
    own = [one for one in met if one.source]
    assert len(own) * 3 >= len(met), (len(own), len(met))
    met += of_drills(works, 5)
    own = [one for one in met if one.source]
    assert len(own) * 3 >= len(met), (len(own), len(met))
    for one in own:
        assert "Laminating Loft" in one.text("en") and "Laminating Loft" in one.text("es")


def test_a_worksite_without_numbers_changes_nothing(works):
    with works.store.writing() as db:
        joining.give_respirator(
            db, works.scribe(), works.people["Noor"], **HALF_MASK | {"model": "Half 3"}
        )
    described(works)  # at another worksite
    assert told(works, "Noor") == []
    noor = works.people["Noor"]
    for lesson in lessons.load().all:
        at = pass_lesson(works, "Noor", lesson.slug, works.now)
        exercises = bank.shuffle(bank.load().exercises_for(lesson.slug), at.seed)
        with works.store.reading() as db:
            met = [one.problem for one in sitting.shown(db, at) if one.problem]
        assert sorted(met, key=lambda one: one.seed) == [
            bank.draw(exercises[place % len(exercises)], at.seed + place)
            for place in range(sitting.PROBLEMS if exercises else 0)
        ]
    with works.store.writing() as db:
        learning.go_on(db, noor, exercise(SLUG), 0, works.now, own_numbers.facts(db, noor))
        assert db.exec(select(LessonAnswer)).one().following == ""


def test_an_exercise_of_an_earlier_lesson_comes_in_only_when_that_was_passed(works):
    described(works, "silica", (4, 0.31), (4, 0.18), cartridge="", approval="")
    upkeep = pass_lesson(works, "Lee", "upkeep", works.now)
    with works.store.reading() as db:
        met = [one for one in sitting.shown(db, upkeep) if one.problem]
    assert {one.lesson for one in met} == {"upkeep"}
    assert not any(one.problem.source for one in met)
    pass_lesson(works, "Lee", "filter-ratings", works.now)
    again = pass_lesson(works, "Lee", "upkeep", works.now + timedelta(days=1))
    with works.store.reading() as db:
        met = [one for one in sitting.shown(db, again) if one.problem]
    own = [one for one in met if one.problem.source]
    assert [one.lesson for one in own] == ["filter-ratings"]
    assert len(met) == sitting.PROBLEMS
