"""A clock that was ahead and was set back, by a correction or because its battery is dead.

Nobody is shut out for as long as it was ahead, and nothing that was begun lives for so long.
What is done `ahead` is done by the wrong clock, everything else by the right one.
"""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlmodel import select

from tests.clear import make_clear
from tests.conftest import Works, pass_lesson, wrong_answer
from tests.services.test_on_paper import SLUG, draw, enter, read_all
from tests.services.test_second_step import KEYS, STEP, opens, set_up
from tests.services.test_signing_in import code_for, enrol, holds, refusal_of, session, tablet_code
from tests.store.test_many_processes import wait_until
from trainer import lessons
from trainer.calculations.periods import next_due
from trainer.services import (
    assigning,
    errands,
    learning,
    recording,
    second_step,
    signing_in,
    sitting,
    standing,
    throttling,
    unsent,
)
from trainer.services.refusal import Refusal
from trainer.services.throttling import RULES, Limits, Wait
from trainer.store import people, record
from trainer.store.tables import SignInTry, Standing, Unsent, WebSession

LIMITS = Limits()
SECOND, MINUTE, HOUR, DAY = (timedelta(**{what: 1}) for what in (
    "seconds", "minutes", "hours", "days"
))  # fmt: skip
AHEAD = (HOUR, 2 * DAY, 4000 * DAY)


def ahead(works: Works, how_far: timedelta) -> Works:
    """Return the works as its clock shows it that goes wrong."""
    return replace(works, now=works.now + how_far)


# Sessions and codes


@pytest.mark.parametrize("wrong", AHEAD)
def test_a_session_of_before_is_over_and_a_fresh_one_holds_as_long_as_any(works, wrong):
    shared = enrol(works, tablet_code(works), "")[1]
    for device in (None, shared):
        assert not holds(works, session(ahead(works, wrong), device), timedelta(0))
    fresh = session(works, None)
    assert holds(works, fresh, 30 * MINUTE)
    assert not holds(works, fresh, 30 * MINUTE + SECOND)


def test_a_small_correction_signs_nobody_out_and_lengthens_nothing_by_more(works):
    token = session(ahead(works, 20 * SECOND), None)
    assert holds(works, token, timedelta(0))
    assert not holds(works, token, 30 * MINUTE + 21 * SECOND)


@pytest.mark.parametrize("wrong", AHEAD)
def test_who_was_signed_in_signs_in_again_and_finds_what_was_typed(browser, works, wrong):
    lee = browser("Lee")
    lee.get("/ask")
    once = lee.soup.select_one("[name=once]")["value"]
    with works.store.writing() as db:
        for row in db.exec(select(WebSession)):
            row.seen_at, row.started_at = row.seen_at + wrong, row.started_at + wrong
            db.add(row)
    lee.post("/ask", text="Over the hood?", once=once)
    assert "what you typed comes back" in lee.page
    lee.sign_in("00417")
    assert lee.get("/ask").status_code == 200
    assert "Over the hood?" in lee.page


def test_the_second_step_is_not_waited_for_longer(works):
    with works.store.writing() as db:
        def half(at: timedelta) -> bool:
            ida, then = works.people["Ida"], works.now + at
            token = signing_in.start_session(db, ida, None, then, half=True)
            return signing_in.half_of(db, token, works.now) is not None

        assert [half(at) for at in (SECOND, signing_in.HALF_FOR, HOUR)] == [True, True, False]


@pytest.mark.parametrize("wrong", AHEAD)
def test_a_code_of_before_is_too_old_and_a_fresh_one_opens(works, wrong):
    made = code_for(works, "Lee", wrong)
    assert "too old" in refusal_of(works, made, "00417")
    assert enrol(works, code_for(works, "Lee"), "00417")[2].name == "Lee"


def test_a_code_made_by_a_clock_a_little_ahead_opens(works):
    assert enrol(works, code_for(works, "Lee", MINUTE), "00417")[2].name == "Lee"


# Wrong tries


def tried(works: Works, name: str, after: timedelta = timedelta(0)) -> None:
    """Count a wrong try so long after now."""
    with works.store.writing() as db:
        throttling.count_try(db, (name,), works.now + after, LIMITS)


def used_up(works: Works, name: str, wrong: int, at: timedelta) -> None:
    """Let so many wrong tries be counted, the last one at a moment."""
    with works.store.writing() as db:
        db.add(SignInTry(scope=name, wrong=wrong, last_at=works.now + at))


@pytest.mark.parametrize("wrong", AHEAD)
@pytest.mark.parametrize("kind", sorted(RULES))
def test_nobody_waits_until_the_clock_comes_there_again(works, kind, wrong):
    used_up(works, f"{kind}:7:00417", 9 if RULES[kind].locks else 40, wrong)
    tried(works, f"{kind}:7:00417")


def test_what_was_counted_stays_counted(works):
    used_up(works, "number:00417", 9, HOUR)
    tried(works, "number:00417")
    wait = throttling.wait_after(10, "number:00417")
    with pytest.raises(Wait):
        tried(works, "number:00417", wait - SECOND)
    tried(works, "number:00417", wait)


@pytest.mark.parametrize("wrong", AHEAD)
def test_a_pin_that_was_locked_stays_locked_until_a_fresh_code(works, wrong):
    tablet = enrol(works, tablet_code(works), "")[1]
    name = throttling.pin_scope(tablet, "00417")
    used_up(works, name, LIMITS.wrong_tries, wrong)
    with pytest.raises(Wait, match="fresh one-time code"):
        tried(works, name)
    enrol(works, code_for(works, "Lee"), "00417", tablet)
    tried(works, name)


def test_machines_whose_clocks_are_a_little_apart_give_no_more_tries(works):
    used_up(works, "number:00417", 5, 2 * SECOND)
    with pytest.raises(Wait):
        tried(works, "number:00417")


def test_what_strangers_left_behind_goes_all_the_same(works):
    used_up(works, "number:99999", 1, 4000 * DAY)
    used_up(works, "pin:7:00417", 1, 4000 * DAY)
    tried(works, "number:00417")
    with works.store.reading() as db:
        assert sorted(db.exec(select(SignInTry.scope))) == ["number:00417", "pin:7:00417"]


# The second step


@pytest.mark.parametrize("wrong", AHEAD)
def test_codes_of_now_open_though_one_of_a_time_to_come_was_taken(works, wrong):
    secret, _ = set_up(works, at=wrong)
    code = second_step.code_at(secret, works.now)
    assert opens(works, code, timedelta(0))
    assert not opens(works, code, timedelta(0))
    assert opens(works, second_step.code_at(secret, works.now + STEP), STEP)


def test_a_clock_set_back_by_one_step_lets_no_code_be_taken_twice(works):
    secret, _ = set_up(works, at=STEP)
    assert not opens(works, second_step.code_at(secret, works.now + STEP), timedelta(0))


def test_setting_an_app_up_does_not_stay_open(works):
    ida = works.people["Ida"]
    with works.store.writing() as db:
        second_step.begin(db, ida, KEYS, works.now + HOUR)
        assert second_step.pending(db, ida, KEYS, works.now) is None
        second_step.begin(db, ida, KEYS, works.now + MINUTE)
        assert second_step.pending(db, ida, KEYS, works.now) is not None


# What was typed and not sent


@pytest.mark.parametrize("wrong", AHEAD)
def test_what_was_typed_comes_back_and_goes_in_its_time(works, wrong):
    lee, kim = works.people["Lee"], works.people["Kim"]
    with works.store.writing() as db:
        unsent.keep(db, lee, "/ask", "/ask", [("text", "x")], works.now + wrong)
        assert len(unsent.waiting(db, lee, works.now)) == 1
        unsent.keep(db, kim, "/ask", "/ask", [("text", "y")], works.now)
        assert len(unsent.waiting(db, lee, works.now)) == 1
        later = works.now + unsent.KEPT + SECOND
        unsent.keep(db, kim, "/tag", "/tag", [("text", "z")], later)
        assert list(db.exec(select(Unsent.action))) == ["/tag"]


def test_a_form_that_was_sent_is_not_taken_twice(works):
    with works.store.writing() as db:
        assert unsent.first(db, "a key", works.now + 2 * DAY)
        assert not unsent.first(db, "a key", works.now)
        assert unsent.first(db, "another", works.now)
        assert not unsent.first(db, "a key", works.now)
        assert unsent.first(db, "a key", works.now + unsent.KEPT + SECOND)


# The record, and what falls due


def test_a_paper_printed_on_a_day_to_come_is_entered(works):
    read_all(works)
    paper = draw(ahead(works, 2 * DAY))
    assert enter(works, paper).passed


@pytest.mark.parametrize("wrong", [HOUR, DAY, 2 * DAY, 400 * DAY])
def test_whoever_was_trained_is_clear_and_training_anew_falls_due_a_year_from_now(works, wrong):
    make_clear(ahead(works, wrong), "Lee")
    assert until(works) is not None
    make_clear(works, "Lee")
    assert until(works) == next_due(works.today)
    with works.store.reading() as db:
        assert [one for one in record.verify(db) if one] == []


@pytest.mark.parametrize("wrong", AHEAD)
def test_what_was_done_falls_due_as_of_the_first_entry_by_the_right_clock(works, wrong):
    """Whosesoever that is: by then it was done."""
    make_clear(ahead(works, wrong), "Lee")
    pass_lesson(works, "Kim", SLUG, works.now)
    assert until(works) == next_due(works.today)
    with works.store.reading() as db:
        then = standing.tags_on(db, [people.by_number(db, "00417")], works.today)
        assert [one.clearance.until for [one] in then.values()] == [next_due(works.today)]


def test_what_was_known_before_the_clock_was_put_right_stays_as_it_was_known(works):
    """A packet that is made anew as of an entry says what it said."""
    make_clear(ahead(works, 2 * DAY), "Lee")
    with works.store.reading() as db:
        last = record.newest(db).number
    pass_lesson(works, "Kim", SLUG, works.now)
    day = works.today + 2 * DAY
    with works.store.reading() as db:
        lee = people.by_number(db, "00417")
        then, now = (
            standing.stood_on(db, [lee], day, last=known)[lee.id].tags[0].clearance.until
            for known in (last, None)
        )
    assert then == next_due(day)
    assert now == next_due(works.today)


def test_by_a_clock_that_goes_right_everything_falls_due_a_year_from_its_own_day(works):
    make_clear(works, "Lee", days_ago=40)
    pass_lesson(works, "Kim", SLUG, works.now + HOUR)
    assert until(works) == next_due(works.today - 40 * DAY)


@pytest.mark.parametrize("wrong", AHEAD)
def test_what_was_passed_before_retraining_was_asked_for_does_not_end_it(works, wrong):
    """29 CFR 1910.134(k)(5): a pass of a day to come was not made after what is asked today."""
    pass_lesson(works, "Lee", SLUG, works.now + wrong)
    pass_lesson(works, "Kim", SLUG, works.now)
    with works.store.writing() as db:
        by, due = works.scribe("Tomas", works.now + SECOND), works.today + DAY
        assigning.assign(db, by, works.people["Lee"], [SLUG], due, "knowledge-or-use")
    assert retraining(works) == (SLUG,)


@pytest.mark.parametrize("when", ["with the next start", "as it goes on"])
def test_the_board_is_put_right_with_the_clock(works, monkeypatch, when):
    make_clear(ahead(works, 4000 * DAY), "Lee")
    shown = on_the_board(works)
    assert shown == next_due(works.today + 4000 * DAY)
    runner = errands.Runner(works.store, every=0.01)
    if when == "as it goes on":
        monkeypatch.setattr(errands, "LOOK_EVERY", 0.0)
        runner.start()
    pass_lesson(works, "Kim", SLUG, works.now)
    if when == "with the next start":
        assert on_the_board(works) == shown
        runner.start()
    wait_until(lambda: on_the_board(works) != shown)
    runner.stop(60)
    assert on_the_board(works) == until(works) == next_due(works.today)


def on_the_board(works: Works):
    """Return to which day the board shows Lee clear."""
    with works.store.reading() as db:
        lee = people.by_number(db, "00417")
        return db.exec(select(Standing).where(Standing.person_id == lee.id)).one().clear_until


def test_what_failed_by_the_clock_of_before_is_mended_by_passing_now(works):
    """Otherwise it would be the newest until its day comes."""
    make_clear(works, "Lee")
    wrong = ahead(works, 30 * DAY)
    fit_test(wrong, passed=False)
    assert until(works) is None
    fit_test(works, passed=True)
    assert until(works) is not None


@pytest.mark.parametrize("wrong", AHEAD)
def test_retraining_for_cause_ends_with_the_lesson_and_not_before(works, wrong):
    """29 CFR 1910.134(k)(5): what was passed before it was asked for does not fulfil it."""
    pass_lesson(works, "Lee", SLUG, works.now - HOUR)
    with works.store.writing() as db:
        by, due = works.scribe("Tomas", works.now + wrong), works.today + wrong + DAY
        assigning.assign(db, by, works.people["Lee"], [SLUG], due, "knowledge-or-use")
    assert retraining(works) == (SLUG,)
    with works.store.writing() as db:
        lesson = lessons.load().get(SLUG)
        sitting.begin(db, works.people["Lee"], lesson, works.now, unread=True)
    assert retraining(works) == (SLUG,)
    pass_lesson(works, "Lee", SLUG, works.now + SECOND)
    assert retraining(works) == ()


def retraining(works: Works) -> tuple[str, ...]:
    """Return the lessons that are asked of Lee again for cause."""
    with works.store.reading() as db:
        return standing.History(db, people.by_number(db, "00417")).retraining()


@pytest.mark.parametrize("wrong", AHEAD)
def test_after_the_trainers_talk_another_sitting_begins(works, wrong):
    lee, lesson = works.people["Lee"], lessons.load().get(SLUG)
    with works.store.writing() as db:
        for part in lesson.sections:
            learning.finish_section(db, lee, lesson, part.id, works.now)
        for _ in range(sitting.FAILED_BEFORE_TALK):
            there = sitting.begin(db, lee, lesson, works.now + wrong)
            for one in sitting.shown(db, there):
                sitting.answer(db, there, one.item.position, wrong_answer(one), works.now + wrong)
            sitting.close(db, works.scribe("Lee", works.now + wrong), there, "en", 80)
        with pytest.raises(Refusal, match="Talk with your trainer"):
            sitting.begin(db, lee, lesson, works.now)
        sitting.talked(db, works.scribe("Tomas"), lee, SLUG)
        assert sitting.begin(db, lee, lesson, works.now).closed_at is None


def test_a_day_entered_late_does_not_count_as_newer(works):
    """Only a clock that was set back makes the later entry the newer one."""
    make_clear(works, "Lee")
    fit_test(works, passed=False, days_ago=30)
    assert until(works) is not None


def fit_test(works: Works, *, passed: bool, days_ago: int = 0) -> None:
    """Record a fit test of Lee's."""
    with works.store.writing() as db:
        lee = people.by_number(db, "00417")
        recording.record_fit_test(
            db, works.scribe(), lee, people.respirators(db, lee.id)[0],
            once=f"fit {works.now} {passed}", on=works.today - days_ago * DAY,
            protocol="ambient-aerosol", fit_factor=640 if passed else 40, recording="sheet 7",
        )  # fmt: skip


def until(works: Works):
    """Return to which day Lee is clear today; None: not clear."""
    with works.store.reading() as db:
        [tag] = standing.tags(db, people.by_number(db, "00417"), works.today)
        return tag.clearance.until
