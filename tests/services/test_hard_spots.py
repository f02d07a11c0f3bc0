"""Hard spots: whose first answers count, what they say, and what is never told."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import event

from tests.answering import CHOICE, EXERCISE, LESSON, OTHER, crowd, sit, work
from tests.conftest import ZONE, Works
from trainer import bank
from trainer.calculations.items import TooFew
from trainer.services import hard_spots, learning, sitting
from trainer.services.hard_spots import Scope
from trainer.services.refusal import Refusal
from trainer.store.tables import LessonAnswer, Membership, SittingItem

EVERYBODY = Scope()
DAY = timedelta(days=1)
ORDER, MATCH = "maximum-in-order", "factor-of-each"


@pytest.fixture
def loft(works: Works) -> int:
    """Return the id of the Laminating Loft."""
    return works.worksites["Laminating Loft"].id


@pytest.fixture
def dozen(works: Works, loft: int) -> list:
    """Return twelve workers at the Loft."""
    with works.store.writing() as db:
        return crowd(db, loft, 12, works.now)


def told(works: Works, within: Scope = EVERYBODY) -> dict[str, hard_spots.Spot]:
    """Return the hard spots by slug."""
    with works.store.reading() as db:
        return {one.slug: one for one in hard_spots.spots(db, within)}


def detail(works: Works, kind: str, slug: str, within: Scope = EVERYBODY):
    """Return one item."""
    with works.store.reading() as db:
        return hard_spots.detail(db, within, kind, slug)


def counts(spot: hard_spots.Spot) -> tuple[int, int]:
    """Return how many answered and how many of them rightly."""
    return spot.told.answered, spot.told.right


def test_every_answer_of_a_first_sitting_counts_with_its_commonest_mistake(works, dozen):
    with works.store.writing() as db:
        for at, person in enumerate(dozen):
            # Of the four options 0 is right; five take 2 and two take 3.
            given = {CHOICE: ["2"] if at < 5 else ["3"] if at < 7 else ["0"]}
            sit(db, person, works.now, given=given)
    spot = told(works)[CHOICE]
    assert counts(spot) == (12, 5)
    question = bank.load().questions[CHOICE]
    assert spot.wrong == question.options[2].text
    assert spot.told.commonest_count == 5
    assert (spot.about, spot.lesson, spot.section) == (question.ask, LESSON, question.section)
    assert spot.wrong("es") == question.options[2].text.es
    found = detail(works, "question", CHOICE)
    assert [line.count for line in found.lines] == [5, 0, 5, 2]
    assert [line.right for line in found.lines] == [True, False, False, False]
    assert found.spot.figures == spot.figures


def test_only_the_first_answer_of_a_person_counts(works, dozen):
    with works.store.writing() as db:
        for person in dozen:
            sit(db, person, works.now - 9 * DAY, wrong=[CHOICE])
            sit(db, person, works.now - 8 * DAY)
            sit(db, person, works.now - 7 * DAY)
    assert counts(told(works)[CHOICE]) == (12, 0)
    # Nor does it become a first one when the period begins after it.
    assert CHOICE not in told(works, Scope(since=works.now - 8.5 * DAY))
    assert counts(told(works, Scope(until=works.now - 8.5 * DAY))[CHOICE]) == (12, 0)


def test_the_period_takes_whole_days_of_the_worksite(works, dozen):
    # Half past ten in the evening of 4 March in Chicago is the next day in UTC.
    late = datetime(2026, 3, 5, 4, 30, tzinfo=UTC)
    with works.store.writing() as db:
        for person in dozen:
            sit(db, person, late)

    def answered(first: date | None, last: date | None) -> bool:
        return CHOICE in told(works, hard_spots.scope(None, first, last, ZONE))

    fourth = date(2026, 3, 4)
    assert answered(fourth, fourth)
    assert answered(None, fourth)
    assert answered(fourth, None)
    assert answered(None, date.max)
    assert not answered(fourth + DAY, None)
    assert not answered(None, fourth - DAY)
    with pytest.raises(Refusal):
        hard_spots.scope(None, fourth, fourth - DAY, ZONE)


def test_below_ten_nothing_is_told(works, dozen):
    with works.store.writing() as db:
        for person in dozen[:9]:
            sit(db, person, works.now, wrong=[CHOICE])
    spot = told(works)[CHOICE]
    assert spot.figures == TooFew(9)
    assert (spot.told, spot.wrong) == (None, None)
    found = detail(works, "question", CHOICE)
    assert {line.count for line in found.lines} == {None}
    assert (found.earlier, found.in_lessons) == (0, None)
    with works.store.writing() as db:
        sit(db, dozen[9], works.now)
    assert counts(told(works)[CHOICE]) == (10, 1)


def test_open_sittings_and_refreshers_are_left_out(works, dozen):
    with works.store.writing() as db:
        for person in dozen:
            sit(db, person, works.now, lesson=sitting.NO_LESSON, wrong=[CHOICE], asked=[CHOICE])
    assert told(works) == {}
    # Who met it in a refresher does not meet it for the first time afterwards.
    with works.store.writing() as db:
        for person in dozen:
            sit(db, person, works.now + DAY, wrong=[CHOICE])
    assert set(told(works)) == {OTHER}
    with works.store.writing() as db:
        for row in db.exec(sitting.select(sitting.Sitting)):
            row.closed_at = None
            db.add(row)
    assert told(works) == {}


def test_a_worksite_sees_its_own_people_alone(works, dozen, loft):
    joinery = works.worksites["Joinery"].id
    with works.store.writing() as db:
        for person in dozen:
            sit(db, person, works.now, wrong=[CHOICE])
        for person in crowd(db, joinery, 10, works.now):
            sit(db, person, works.now)
    assert counts(told(works, Scope((loft,)))[CHOICE]) == (12, 0)
    assert counts(told(works, Scope((joinery,)))[CHOICE]) == (10, 10)
    assert counts(told(works, Scope((joinery, loft)))[CHOICE]) == (22, 10)
    assert counts(told(works)[CHOICE]) == (22, 10)
    assert told(works, Scope(())) == {}
    assert detail(works, "question", CHOICE, Scope((joinery,))).lines[0].count == 10


def test_the_correlation_is_with_the_rest_of_the_same_sitting(works, dozen):
    """Those who are wrong here are wrong in the other too: it separates as well as can be."""
    with works.store.writing() as db:
        for at, person in enumerate(dozen):
            sit(db, person, works.now, wrong=[CHOICE, OTHER] if at < 4 else [])
    assert told(works)[CHOICE].told.correlation == pytest.approx(1)
    with works.store.writing() as db:
        for row in db.exec(sitting.select(SittingItem).where(SittingItem.slug == OTHER)):
            row.right = not row.right
            db.add(row)
    assert told(works)[CHOICE].told.correlation == pytest.approx(-1)


def test_a_later_sitting_does_not_lend_its_score(works, dozen):
    with works.store.writing() as db:
        for at, person in enumerate(dozen):
            sit(db, person, works.now, wrong=[CHOICE, OTHER] if at < 4 else [])
            sit(db, person, works.now + DAY, wrong=[] if at < 4 else [CHOICE, OTHER])
    assert told(works)[CHOICE].told.correlation == pytest.approx(1)


# Nobody is singled out by comparing two choices.


def one_a_day(works: Works, people: list, wrong: int = 0) -> None:
    """Let people sit one a day, the last of them today; the first so many are wrong."""
    with works.store.writing() as db:
        for at, person in enumerate(people):
            day = works.now - (len(people) - 1 - at) * DAY
            sit(db, person, day, wrong=[CHOICE] if at < wrong else [])


def shown(works: Works, within: Scope) -> tuple[int, int] | None:
    """Return what a choice tells of the question; None where it tells nothing."""
    spot = told(works, within).get(CHOICE)
    return counts(spot) if spot and spot.told else None


def test_periods_differ_by_ten_people_or_more(works, loft):
    with works.store.writing() as db:
        people = crowd(db, loft, 34, works.now)
    one_a_day(works, people, 3)
    ends = [None, *(works.now - (at - 0.5) * DAY for at in (34, 33, 25, 24, 23, 14, 13, 5, 1))]
    found = {
        shown(works, Scope((loft,), since=since, until=until)) for since in ends for until in ends
    }
    # Groups of 10, 10 and 14, in the order in which they answered.
    assert found == {None, (10, 7), (10, 10), (20, 17), (14, 14), (24, 24), (34, 31)}


def test_a_period_that_cuts_a_group_says_so(works, loft):
    with works.store.writing() as db:
        people = crowd(db, loft, 25, works.now)
    one_a_day(works, people)
    within = Scope((loft,), until=works.now - 4.5 * DAY)  # the first twenty of 10 and 15
    spot = told(works, within)[CHOICE]
    assert (counts(spot), spot.apart) == ((10, 10), 10)
    spot = told(works, Scope((loft,), since=works.now - 12.5 * DAY))[CHOICE]
    assert (spot.figures, spot.told) == (TooFew(13), None)
    assert {line.count for line in detail(works, "question", CHOICE, Scope(
        (loft,), since=works.now - 12.5 * DAY)).lines} == {None}


@pytest.mark.parametrize(("others", "told_alone"), [(0, True), (1, False), (9, False), (10, True)])
def test_a_worksite_is_not_told_where_all_less_it_are_a_few(works, dozen, loft, others, told_alone):
    joinery = works.worksites["Joinery"].id
    with works.store.writing() as db:
        for person in [*dozen, *(crowd(db, joinery, others, works.now) if others else [])]:
            sit(db, person, works.now)
    both = (joinery, loft)
    assert shown(works, Scope(both)) == (12 + others, 12 + others)
    assert shown(works, Scope(both, chosen=loft)) == ((12, 12) if told_alone else None)
    assert shown(works, Scope(both, chosen=joinery)) == ((10, 10) if others == 10 else None)
    # Whoever sees one worksite alone has nothing to take away from.
    assert shown(works, Scope((loft,), chosen=loft)) == (12, 12)


def test_a_person_of_two_worksites_counts_at_the_first(works, dozen, loft):
    joinery = works.worksites["Joinery"].id
    with works.store.writing() as db:
        for person in dozen[:1]:
            db.add(Membership(person_id=person.id, worksite_id=joinery))
        for person in [*dozen, *crowd(db, joinery, 12, works.now)]:
            sit(db, person, works.now)
    found = [shown(works, Scope((joinery, loft), chosen=one)) for one in (joinery, loft)]
    assert sorted(found) in ([(11, 11), (13, 13)], [(12, 12), (12, 12)])
    assert sum(one[0] for one in found) == 24


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Niue"])
def test_the_first_and_last_of_all_days_leave_an_end_open(zone):
    assert hard_spots.scope(None, date.min, date.max, ZoneInfo(zone)) == EVERYBODY


# Exercises.


def test_the_first_answer_in_a_lesson_comes_before_the_sitting(works, dozen):
    with works.store.writing() as db:
        for at, person in enumerate(dozen):
            work(db, person, works.now, typed="" if at < 5 else outside(person))
            if at >= 5:
                work(db, person, works.now)  # tried again, and right
            sit(db, person, works.now + DAY, exercises=[EXERCISE])
    spot = told(works)[EXERCISE]
    assert counts(spot) == (12, 5)
    assert spot.kind == "exercise"
    assert spot.about == bank.load().exercises[EXERCISE].title
    assert spot.told.commonest == "concentration"
    assert spot.told.correlation is None
    assert "what is outside" in spot.wrong("en")
    found = detail(works, "exercise", EXERCISE)
    assert (found.in_lessons, found.unnamed) == (12, 0)
    assert sum(line.count for line in found.lines) == 7


def outside(person) -> str:
    """Return the concentration outside, as somebody types it who did not divide."""
    exercise = bank.load().exercises[EXERCISE]
    problem = bank.draw(exercise, learning.seed(person, EXERCISE, exercise.version, 1))
    slip = next(one for one in problem.blank.slips if one.key == "concentration")
    return replace(problem.blank, value=slip.value).typed


def test_an_exercise_met_in_a_sitting_first_counts_there(works, dozen):
    with works.store.writing() as db:
        for at, person in enumerate(dozen):
            wrong = [EXERCISE, CHOICE] if at < 3 else []
            sit(db, person, works.now, wrong=wrong, exercises=[EXERCISE])
            work(db, person, works.now + DAY)
    spot = told(works)[EXERCISE]
    assert counts(spot) == (12, 9)
    assert spot.told.correlation == pytest.approx(1)
    assert spot.wrong is None
    found = detail(works, "exercise", EXERCISE)
    assert (found.in_lessons, found.unnamed) == (0, 3)


def test_what_could_not_be_read_or_was_shown_is_no_answer(works, dozen):
    with works.store.writing() as db:
        for person in dozen:
            work(db, person, works.now, typed="about a lot")
            work(db, person, works.now, typed="0.0123456")
        exercise = bank.load().exercises[EXERCISE]
        learning.go_on(db, works.people["Lee"], exercise, 0, works.now)
        state = learning.drill(db, works.people["Lee"], exercise, "en")
        learning.show_step(db, works.people["Lee"], exercise, 1, state.step, works.now)
        # Nor does the next problem become the first.
        for done in (1, 2):
            learning.go_on(db, works.people["Lee"], exercise, done, works.now)
        state = learning.drill(db, works.people["Lee"], exercise, "en")
        assert (state.ordinal, state.level) == (3, learning.PARTLY)
        typed = state.problem.steps[state.step].blank.typed
        learning.answer(
            db, works.people["Lee"], exercise, 3, state.step, typed, "en", works.now
        )
    assert counts(told(works)[EXERCISE]) == (12, 0)


def test_only_the_first_problem_of_ones_own_counts(works, dozen):
    exercise = bank.load().exercises[EXERCISE]
    with works.store.writing() as db:
        for person in dozen:
            work(db, person, works.now)
            learning.go_on(db, person, exercise, 1, works.now)
            at = learning.drill(db, person, exercise, "en")
            learning.answer(db, person, exercise, 2, at.step, "0.0123456", "en", works.now)
        later = list(db.exec(sitting.select(LessonAnswer).where(LessonAnswer.ordinal == 2)))
    assert len(later) == 12
    assert counts(told(works)[EXERCISE]) == (12, 12)


def test_each_exercise_has_an_example_with_words_for_every_slip():
    for exercise in bank.load().exercises.values():
        problem, said = hard_spots._example(exercise.slug, exercise.version)
        keys = hard_spots._slip_keys(exercise)
        assert problem.exercise == exercise.slug
        assert set(keys) - set(said) <= {"outside"}, exercise.slug
        assert list(said) == [key for key in keys if key in said]
        first = hard_spots._slips_of(problem)
        assert all(said[key] == say for key, say in first.items())


# Questions in other forms, and in other words.


def test_of_several_choices_what_was_left_out_counts_too(works, dozen):
    question = next(
        one for one in bank.load().for_lesson(LESSON)
        if one.form == "choices" and sum(option.right for option in one.options) > 1
    )
    right = [at for at, option in enumerate(question.options) if option.right]
    with works.store.writing() as db:
        for at, person in enumerate(dozen):
            given = right[1:] if at < 8 else right
            sit(db, person, works.now, asked=[question.slug],
                given={question.slug: [str(one) for one in given]})
    spot = told(works)[question.slug]
    assert counts(spot) == (12, 4)
    assert spot.wrong("en") == f"Left out: {question.options[right[0]].text.en}"
    assert spot.wrong("es").startswith("No marcó: ")
    lines = detail(works, "question", question.slug).lines
    assert (lines[right[0]].count, lines[right[1]].count) == (4, 12)


def test_of_an_order_and_a_match_the_lines_count(works, dozen):
    with works.store.writing() as db:
        for at, person in enumerate(dozen):
            swapped = ["0:1", "1:0", "2:2", "3:3"] if at < 7 else [f"{n}:{n}" for n in range(4)]
            sit(db, person, works.now, asked=[ORDER, MATCH],
                given={ORDER: swapped, MATCH: swapped})
    order, match = (bank.load().questions[slug] for slug in (ORDER, MATCH))
    found = told(works)
    assert counts(found[ORDER]) == counts(found[MATCH]) == (12, 5)
    assert found[ORDER].wrong("en") == f"{order.options[0].text.en} Given place 2."
    assert found[MATCH].wrong("en") == \
        f"{match.options[0].text.en} – {match.options[1].to.en}"
    lines = detail(works, "question", ORDER).lines
    assert [line.count for line in lines] == [5, 5, 12, 12]
    assert (lines[0].instead("en"), lines[0].instead_count) == ("2", 7)
    lines = detail(works, "question", MATCH).lines
    assert (lines[0].instead, lines[0].instead_count) == (match.options[1].to, 7)
    assert lines[2].instead is None


def test_an_option_is_told_by_its_text_whatever_its_place_was(works, dozen):
    """The question was changed after six had answered: two of its options changed places."""
    with works.store.writing() as db:
        for at, person in enumerate(dozen):
            there = sit(db, person, works.now + at * timedelta(minutes=1),
                        given={CHOICE: ["1"] if at < 6 else ["2"]})
            if at >= 6:
                there.lesson_version = "newer"
                [row] = db.exec(sitting.select(SittingItem).where(
                    SittingItem.sitting_id == there.id, SittingItem.slug == CHOICE))
                drawn = json.loads(row.drawn)
                options = drawn["question"]["options"]
                options[1], options[2] = options[2], options[1]
                drawn["question"]["version"] = "newer"
                row.drawn = json.dumps(drawn)
                db.add_all([row, there])
    spot, question = told(works)[CHOICE], bank.load().questions[CHOICE]
    assert spot.wrong == question.options[1].text
    assert spot.told.commonest_count == 12
    found = detail(works, "question", CHOICE)
    assert [line.count for line in found.lines] == [0, 0, 12, 0]
    assert found.lines[2].text == question.options[1].text
    assert found.earlier == 6


def test_an_item_that_nobody_answered_is_shown_as_it_would_be_asked(works):
    found = detail(works, "question", CHOICE)
    assert found.spot.figures == TooFew(0)
    assert found.question == bank.load().questions[CHOICE]
    assert detail(works, "exercise", EXERCISE).spot.figures == TooFew(0)
    pictured = next(one for one in bank.load().questions.values() if one.drawing)
    assert "<svg" in detail(works, "question", pictured.slug).figures["es"]
    for kind, slug in (("question", EXERCISE), ("exercise", CHOICE), ("question", "nothing")):
        assert detail(works, kind, slug) is None


def test_the_hardest_come_first_and_too_few_last(works, dozen):
    third = next(one.slug for one in bank.load().for_lesson(LESSON)
                 if one.slug not in (CHOICE, OTHER) and one.form == "choice")
    with works.store.writing() as db:
        for at, person in enumerate(dozen):
            wrong = [OTHER] if at < 6 else [CHOICE] if at < 8 else []
            sit(db, person, works.now, wrong=wrong,
                asked=[CHOICE, OTHER, third] if at < 9 else [CHOICE, OTHER])
    with works.store.reading() as db:
        found = hard_spots.spots(db, EVERYBODY)
        assert [one.slug for one in found] == [OTHER, CHOICE, third]
        assert hard_spots.spots(db, EVERYBODY, "filter-ratings") == []
        assert len(hard_spots.spots(db, EVERYBODY, LESSON)) == 3
    by = {order: [one.slug for one in hard_spots.ordered(found, order)]
          for order in hard_spots.ORDERS}
    assert by["hardest"] == by["answers"] == [OTHER, CHOICE, third]
    assert by["lesson"] == sorted([CHOICE, OTHER, third])
    assert by["separates"][2] == third
    same = replace(found[0], figures=replace(found[0].told, correlation=0.9))
    assert [one.slug for one in hard_spots.ordered([same, *found[1:]], "separates")] == \
        [CHOICE, OTHER, third]


def test_it_asks_the_database_a_few_questions_however_many_answer(works, dozen):
    asked: list[str] = []

    def count(_connection, _cursor, statement, *_):
        if statement.startswith("SELECT"):
            asked.append(statement)

    event.listen(works.store._engine, "before_cursor_execute", count)
    numbers = []
    for round_ in (dozen[:2], dozen[2:]):
        with works.store.writing() as db:
            for person in round_:
                sit(db, person, works.now, exercises=[EXERCISE])
        asked.clear()
        told(works)
        numbers.append(len(asked))
    assert numbers == [3, 3]


def test_nothing_told_names_a_person(works, dozen):
    with works.store.writing() as db:
        for person in dozen:
            sit(db, person, works.now, wrong=[CHOICE], exercises=[EXERCISE])
    every = [*told(works).values(), detail(works, "question", CHOICE),
             detail(works, "exercise", EXERCISE)]
    shown = repr(every)
    for person in dozen:
        assert person.name not in shown
        assert person.number not in shown
