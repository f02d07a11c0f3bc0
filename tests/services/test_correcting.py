"""Corrections: an entry beside an entry, what leans on it, and what counts from then on."""

from datetime import timedelta

import pytest

from tests.conftest import HALF_MASK, ZONE, Works, right_answer
from tests.services.test_observing import watch
from tests.services.test_recording import fit_test, medical, step
from tests.services.test_together import (
    OURS,
    credit,
    history,
    later,
    made_ready,
    on_board,
    take,
    train,
    training,
)
from trainer import lessons
from trainer.services import assigning, joining, recording, sitting, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people, record
from trainer.store.tables import Entry, Person

DAY = timedelta(days=1)


def correct(works: Works, number: int, said: dict | None = None, **how: str) -> Entry:
    """Correct an entry as the coordinator; struck, where nothing is said."""
    given = {"once": f"correction:{number}", "why": "wrong-value"} | how
    with works.store.writing() as db:
        return recording.correct(db, works.scribe(), number, said=said, **given)


def newest(works: Works, kind: str, name: str = "Lee") -> Entry:
    """Return the newest entry of a kind that somebody has, in force or not."""
    with works.store.reading() as db:
        return record.of_person(db, works.people[name].number, (kind,))[-1]


def now(works: Works, number: int) -> dict | None:
    """Return what an entry says now."""
    with works.store.reading() as db:
        return recording.as_it_stands(db, number).said


def holds(works: Works) -> bool:
    """Say whether the chain holds."""
    with works.store.reading() as db:
        return not any(record.verify(db))


def trained(works: Works, name: str = "Lee") -> Entry:
    """Let somebody be ready and trained; return training as a whole."""
    made_ready(works, name)
    train(works, name)
    return newest(works, "training", name)


def show(works: Works) -> None:
    """Let Lee pass a sitting of each lesson, unread, as credit allows."""
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        for slug in OURS:
            lesson = lessons.load().get(slug)
            there = sitting.begin(db, lee, lesson, works.now, unread=True)
            for one in sitting.shown(db, there):
                sitting.answer(db, there, one.item.position, right_answer(one), works.now)
            sitting.close(db, Scribe(lee, works.now, ZONE), there, "en", 80)


# What a correction is


def test_a_correction_points_to_its_entry_and_leaves_it_as_it_is(works):
    entry = fit_test(works)
    made = correct(works, entry.number, why="not-done", note="the  sheet was of\nKim ")
    said = record.body(made)
    assert (made.kind, made.person_number, made.worksite) == (
        "correction", "00417", "Laminating Loft",
    )  # fmt: skip
    assert {key: said[key] for key in ("corrects", "corrected_kind", "why", "note", "said")} == {
        "corrects": entry.number, "corrected_kind": "fit-test", "why": "not-done",
        "note": "the sheet was of Kim", "said": None,
    }  # fmt: skip
    assert said["recorded_by"]["name"] == "Ida"
    with works.store.reading() as db:
        assert record.get(db, entry.number).body == entry.body
    assert holds(works)


def test_a_struck_fit_test_does_not_count_any_more(works):
    entry = fit_test(works)
    assert step(works, "fit-test").state == "done"
    correct(works, entry.number, why="wrong-person")
    assert step(works, "fit-test").state == "todo"


def test_the_one_before_counts_again_once_the_newer_one_is_struck(works):
    medical(works, on=works.today - 3 * DAY)
    wrong = medical(works, once="medical:2", outcome="not")
    assert step(works, "medical").state == "no"
    made = correct(works, wrong.number, why="wrong-person")
    assert (step(works, "medical").state, made.kind) == ("done", "medical-correction")


def test_a_day_that_was_typed_wrong_is_put_right(works):
    """The step then shows the right day, and falls due by it."""
    entry = fit_test(works)
    with works.store.writing() as db:
        lee = works.people["Lee"]
        said = recording.fit_test_said(
            db, works.scribe(), lee, people.respirators(db, lee.id)[0],
            on=works.today - 40 * DAY, protocol="ambient-aerosol", fit_factor=180.0,
            recording="shelf 3",
        )  # fmt: skip
    correct(works, entry.number, said, why="wrong-date")
    assert step(works, "fit-test").on == works.today - 40 * DAY
    assert now(works, entry.number)["happened_on"] == (works.today - 40 * DAY).isoformat()
    assert now(works, entry.number)["fit_factor"] == "180"
    assert holds(works)


def test_a_determination_is_replaced_with_nothing_but_its_own_fields(works):
    entry = medical(works)
    with works.store.writing() as db:
        said = recording.medical_said(
            db, works.scribe(), works.people["Lee"], on=works.today, outcome="not"
        )
    made = correct(works, entry.number, said)
    assert step(works, "medical").why == "not_cleared"
    assert "note" not in record.body(made)
    with pytest.raises(Refusal, match="takes no note"):
        correct(works, made.number, once="again", note="high blood pressure")


def test_what_is_right_goes_through_the_checks_of_the_entry(works):
    entry = medical(works)
    with works.store.writing() as db:
        by, lee = works.scribe(), works.people["Lee"]
        for how in ({"on": works.today + DAY, "outcome": "cleared"},
                    {"on": works.today, "outcome": "limits", "limit": "asthma"}):  # fmt: skip
            with pytest.raises(Refusal):
                recording.medical_said(db, by, lee, **how)
    for said in ({"diagnosis": "asthma"}, {"exercises": ["asthma"]}, {"outcome": "asthma"},
                 {"limit": "asthma"}, {"until": "asthma"}):  # fmt: skip
        with pytest.raises(Refusal, match="does not say that"):
            correct(works, entry.number, said)


# Two people, and twice


def test_a_double_click_makes_one_correction(works):
    entry = fit_test(works)
    first = correct(works, entry.number, why="not-done")
    assert correct(works, entry.number, why="not-done").number == first.number


def test_the_second_of_two_windows_is_told_and_changes_nothing(works):
    entry = fit_test(works)
    first = correct(works, entry.number, once="window one", why="not-done")
    with pytest.raises(Refusal, match=f"Meanwhile entry {first.number} has corrected"):
        correct(works, entry.number, once="window two", why="wrong-person")
    assert newest(works, "correction").number == first.number


def test_a_correction_is_corrected_by_its_own_number_and_the_newest_decides(works):
    entry = fit_test(works)
    struck = correct(works, entry.number, why="not-done")
    back = correct(works, struck.number, record.body(entry), once="back", why="other")
    assert step(works, "fit-test").state == "done"
    said = record.body(back)
    assert (said["corrects"], said["instead_of"]) == (entry.number, struck.number)
    correct(works, back.number, once="again", why="entered-twice")
    assert step(works, "fit-test").state == "todo"


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"why": "because"}, "Choose why"),
        ({"why": "follows"}, "Choose why"),  # never chosen by hand
        ({"why": "other"}, "in a few words"),
        ({"why": "not-done", "said": {"happened_on": "2026-01-01"}}, "strikes an entry"),
        ({"why": "wrong-value", "said": {}}, "says this already"),
    ],
)
def test_a_correction_that_says_too_little_is_refused(works, how, says):
    entry = fit_test(works)
    with pytest.raises(Refusal, match=says):
        correct(works, entry.number, **how)


def test_an_entry_that_is_not_there_struck_or_an_erasure_is_refused(works):
    with pytest.raises(Refusal, match="no entry"):
        correct(works, 99)
    entry = fit_test(works)
    struck = correct(works, entry.number, why="not-done")
    with pytest.raises(Refusal, match="says this already"):
        correct(works, struck.number, once="again", why="not-done")


# What leans on it


def test_a_struck_lesson_takes_training_as_a_whole_with_it(works):
    whole = trained(works)
    assert on_board(works, "Lee")
    lesson = newest(works, "lesson")
    assert lesson.number in record.body(whole)["lesson_entries"]
    correct(works, lesson.number, why="wrong-person", note="was Kim's sitting")
    assert not on_board(works, "Lee")
    assert (training(works, "Lee").state, training(works, "Lee").on) == ("begun", None)
    follows = record.body(newest(works, "correction"))
    assert (follows["corrects"], follows["why"], follows["said"]) == (whole.number, "follows", None)
    slug = record.body(lesson)["lesson"]
    assert [one.slug for one in history(works, "Lee").to_do(works.today)] == [slug]
    take(later(works, minutes=1), "Lee", slug)
    assert on_board(works, "Lee")
    assert holds(works)


def test_a_lesson_put_back_makes_training_complete_again(works):
    trained(works)
    lesson = newest(works, "lesson")
    struck = correct(works, lesson.number, why="not-done")
    assert not on_board(works, "Lee")
    for turn in range(2):
        back = correct(works, struck.number, record.body(lesson), once=f"b{turn}", why="other")
        assert on_board(works, "Lee")
        assert training(works, "Lee").on == works.today
        struck = correct(works, back.number, once=f"s{turn}", why="not-done")
        assert not on_board(works, "Lee")


def test_a_struck_practice_takes_training_with_it_and_asks_for_practice(works):
    trained(works)
    correct(works, newest(works, "practice").number, why="not-done")
    assert step(works, "practice").state == "todo"
    assert not on_board(works, "Lee")
    watch(works)
    assert on_board(works, "Lee")


def test_training_with_parts_is_not_struck_by_itself(works):
    whole = trained(works)
    with pytest.raises(Refusal, match="follows from its parts"):
        correct(works, whole.number, why="not-done")


def test_a_wrong_credit_is_taken_back_with_all_that_rests_on_it(works):
    made_ready(works, "Lee")
    granted = credit(works)
    watch(works)
    assert on_board(works, "Lee")
    correct(works, granted.number, why="wrong-person")
    assert not on_board(works, "Lee")
    assert {one.slug for one in history(works, "Lee").to_do(works.today)} == set(OURS)


def test_a_lesson_taken_with_a_wrong_credit_was_not_taught_and_goes_with_it(works):
    """(k)(4): the sitting showed what earlier training was to have taught."""
    made_ready(works, "Lee")
    shown = {f"(k)(1)({place})": "sitting" for place in ("i", "ii", "iii", "iv", "v", "vi", "vii")}
    granted = credit(works, **shown)
    with works.store.reading() as db:
        assert standing.History(db, works.people["Lee"]).to_be_shown(works.today)
    show(works)
    watch(works)
    lessons_ = [said for _, said in history(works, "Lee").of("lesson")]
    assert {one["credit_entry"] for one in lessons_} == {granted.number}
    assert on_board(works, "Lee")
    correct(works, granted.number, why="not-done")
    assert history(works, "Lee").of("lesson", "training", "credit") == []
    assert not on_board(works, "Lee")
    lesson = newest(works, "lesson")
    last = newest(works, "correction")
    assert last.number > lesson.number
    with works.store.reading() as db:
        leans = recording.as_it_stands(db, lesson.number)
    with pytest.raises(Refusal, match="leans on entry"):
        correct(works, leans.newest, record.body(lesson), once="x", why="other")


def test_retraining_asked_of_the_wrong_person_is_withdrawn_with_its_entry(works):
    trained(works)
    works = later(works, minutes=1)
    with works.store.writing() as db:
        assigning.assign(
            db, works.scribe("Tomas"), works.people["Lee"], ["fit"], works.today, "knowledge-or-use"
        )
    asked = newest(works, "retraining")
    assert record.body(asked)["lessons"] == ["fit"]
    assert not on_board(works, "Lee")
    correct(works, asked.number, why="wrong-person")
    assert on_board(works, "Lee")
    assert history(works, "Lee").assignments == []


# What is foreseen


def test_what_follows_is_foreseen_and_nothing_is_kept(works):
    whole = trained(works)
    lesson = newest(works, "lesson")
    with works.store.writing() as db:
        seen = recording.foresee(
            db, works.scribe(), lesson.number, once="trial", why="not-done", said=None
        )
    assert (seen.before[0].clearance.clear, seen.after[0].clearance.clear) == (True, False)
    assert (seen.struck, seen.made, seen.said) == ([(whole.number, "training")], [], None)
    with works.store.reading() as db:
        assert record.corrections(db, ["00417"]) == []
    assert on_board(works, "Lee")
    struck = correct(works, lesson.number, why="not-done")
    with works.store.writing() as db:
        back = recording.foresee(
            db, works.scribe(), struck.number, once="trial", why="other",
            said=record.body(lesson),
        )  # fmt: skip
    assert [kind for _, kind in back.made] == ["training"]
    assert back.after[0].clearance.clear
    assert not on_board(works, "Lee")


# Whoever reads the record works with what is in force


def test_of_many_people_read_at_once_the_same_counts(works):
    trained(works)
    lesson = newest(works, "lesson")
    correct(works, lesson.number, why="not-done")
    with works.store.reading() as db:
        lee = db.get(Person, works.people["Lee"].id)
        many = standing.histories(db, [lee])[lee.id]
        alone = standing.History(db, lee)
    slug = record.body(lesson)["lesson"]
    assert slug not in many.this_round(works.today)
    assert set(many.this_round(works.today)) == set(alone.this_round(works.today))
    assert many.last_training() is None
    with works.store.reading() as db:
        assert standing.struck(db, "training") == [newest(works, "training").number]
        assert standing.struck(db, "lesson") == [lesson.number]


def test_an_entry_whose_body_was_let_go_counts_no_more(works):
    entry = fit_test(works)
    with works.store.writing() as db:
        record.erase(
            db, [entry.number], once="e", row="fit-test", source="29 CFR 1910.134(m)(2)(ii)",
            why="newer", confirmed_by={}, happened_on=works.today, now=works.now,
        )
    assert step(works, "fit-test").state == "todo"
    with pytest.raises(Refusal, match="let go"):
        correct(works, entry.number)
    with works.store.writing() as db:
        joining.give_respirator(db, works.scribe(), works.people["Lee"], **HALF_MASK)


# The fit factor of the exercises


@pytest.mark.parametrize(
    ("factors", "overall", "passed"),
    [
        ((100.0, 300.0), "150", True),  # 2 / (1/100 + 1/300)
        ((80.0, 80.0, 80.0), "80", False),
        ((99.99999, 99.99999), "99.9999", False),  # never rounded up to the level it missed
    ],
)
def test_the_overall_factor_follows_from_the_exercises_and_both_are_kept(
    works, factors, overall, passed
):
    said = record.body(fit_test(works, fit_factor=None, exercises=factors))
    assert (said["fit_factor"], said["passed"]) == (overall, passed)
    assert len(said["exercises"]) == len(factors)


@pytest.mark.parametrize(
    "fields",
    [
        {"exercises": (100.0,)},  # beside the overall one
        {"fit_factor": None, "exercises": (0.0, 100.0)},
        {"fit_factor": None, "exercises": (float("nan"),)},
        {"fit_factor": None, "exercises": (100.0,), "protocol": "saccharin", "passed": True},
    ],
)
def test_exercises_that_do_not_add_up_are_refused(works, fields):
    with pytest.raises(Refusal):
        fit_test(works, **fields)


def test_a_fit_test_before_any_clearance_is_known_as_one(works):
    """(e)(1): the evaluation comes before the fit test."""
    lee = works.people["Lee"]
    with works.store.reading() as db:
        assert recording.before_medical(db, lee, works.today)
    medical(works, on=works.today - 3 * DAY)
    with works.store.reading() as db:
        assert not recording.before_medical(db, lee, works.today - 3 * DAY)
        assert recording.before_medical(db, lee, works.today - 4 * DAY)
    medical(works, once="m2", outcome="not")
    with works.store.reading() as db:
        assert recording.before_medical(db, lee, works.today)


# Retraining


def test_a_failed_practice_of_who_was_trained_is_retraining_asked_for(works):
    """(k)(5)(ii): use that shows the skill was not kept."""
    trained(works)
    failed = watch(works, strap_tension="not_yet")
    said = record.body(newest(works, "retraining"))
    assert (said["reason"], said["seen"], said["lessons"], said["practice_entry"]) == (
        "knowledge-or-use", ["strap-tension"], [], failed.number,
    )  # fmt: skip
    assert said["asked_by"]["name"] == "Tomas"
    correct(works, failed.number, why="wrong-person")
    assert history(works, "Lee").of("retraining") == []
    assert on_board(works, "Lee")


def test_a_first_practice_that_fails_is_no_retraining(works):
    watch(works, strap_tension="not_yet")
    assert history(works, "Lee").of("retraining") == []


@pytest.mark.parametrize("reason", ["first", "yearly"])
def test_what_is_assigned_for_no_cause_makes_no_entry(works, reason):
    with works.store.writing() as db:
        assigning.assign(
            db, works.scribe("Tomas"), works.people["Lee"], ["fit"], works.today, reason
        )
    assert history(works, "Lee").of("retraining") == []
