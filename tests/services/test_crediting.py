"""Credit for earlier training in the record: what it closes, what stays, when it ends."""

from datetime import date, timedelta

import pytest

from tests.conftest import HALF_MASK, ZONE, Works, pass_lesson, right_answer, taken_out
from tests.services.test_observing import watch
from trainer import lessons
from trainer.calculations.periods import next_due
from trainer.services import assigning, joining, recording, sitting, standing, today
from trainer.services.refusal import Refusal
from trainer.store import record
from trainer.store.tables import Entry, Person

BEGIN_AGAIN_DAYS = 60  # as installed

SEVEN = [f"(k)(1)({place})" for place in ("i", "ii", "iii", "iv", "v", "vi", "vii")]
ALL = dict.fromkeys(SEVEN, "asked")
COURSE = [lesson.slug for lesson in lessons.load().all]


def credit(works: Works, by: str = "Tomas", days: int = 100, **fields) -> Entry:
    """Credit Lee's training of so many days ago."""
    given = {
        "once": "credit:1", "earlier_on": works.today - timedelta(days=days),
        "given_by": "Invented Harbor Works", "proof": "certificate with outline",
        "trained_with": ["apr-half"], "elements": ALL,
    } | fields  # fmt: skip
    with works.store.writing() as db:
        return recording.record_credit(
            db, works.scribe(by), db.get(Person, works.people["Lee"].id), **given
        )


def history(works: Works) -> standing.History:
    """Return Lee's history."""
    with works.store.reading() as db:
        return standing.History(db, db.get(Person, works.people["Lee"].id))


def to_do(works: Works, on: date | None = None) -> list[str]:
    """Return the lessons that are open for Lee."""
    return [one.slug for one in history(works).to_do(on or works.today)]


def but(*missing: str, how: str = "no") -> dict[str, str]:
    """Return all seven elements asked, but for these."""
    return ALL | dict.fromkeys(missing, how)


def step(works: Works, on: date | None = None):
    """Return the step of training on Lee's tag."""
    with works.store.reading() as db:
        [tag] = standing.tags(db, works.people["Lee"], on or works.today)
    return next(one for one in tag.clearance.steps if one.kind == "training")


def test_all_seven_elements_leave_no_lesson_but_practice(works):
    credit(works)
    assert to_do(works) == []
    assert step(works).state == "begun"  # practice is never credited
    with works.store.reading() as db:
        [tag] = standing.tags(db, works.people["Lee"], works.today)
    assert {"practice", "medical", "fit-test"} <= set(tag.clearance.missing)


def test_what_is_not_covered_stays_to_do(works):
    credit(works, elements=but("(k)(1)(iii)"))
    expected = [one.slug for one in lessons.load().all if "(k)(1)(iii)" in one.elements]
    assert to_do(works) == expected


def test_training_is_complete_with_practice_and_due_a_year_after_the_earlier_training(works):
    credit(works)
    watch(works)
    with works.store.reading() as db:
        said = record.body(standing.History(db, works.people["Lee"]).last_training())
    earlier = works.today - timedelta(days=100)
    assert said["due_again"] == next_due(earlier).isoformat()
    assert said["credited"] == sorted(COURSE)
    assert said["elements"] == SEVEN
    found = step(works)
    assert (found.state, found.why, found.due) == ("done", "credit", next_due(earlier))
    assert step(works, next_due(earlier) + timedelta(days=1)).why == "lapsed"


def test_with_credit_for_a_part_the_year_still_runs_from_the_earlier_training(works):
    credit(works, elements=but("(k)(1)(iii)"))
    for slug in to_do(works):
        pass_lesson(works, "Lee", slug, works.now)
    watch(works)
    assert step(works).due == next_due(works.today - timedelta(days=100))


def test_lessons_all_passed_here_count_from_today_in_spite_of_credit(works):
    credit(works)
    for slug in COURSE:
        pass_lesson(works, "Lee", slug, works.now)
    watch(works)
    assert step(works).due == next_due(works.today)
    assert step(works).why == ""


def test_the_next_training_opens_by_itself_before_the_year_of_the_earlier_one_is_over(works):
    credit(works)
    watch(works)
    due = next_due(works.today - timedelta(days=100))
    opens = due - timedelta(days=BEGIN_AGAIN_DAYS)
    assert to_do(works, opens - timedelta(days=1)) == []
    open_ = history(works).to_do(opens)
    assert [one.slug for one in open_] == COURSE
    assert {(one.reason, one.due) for one in open_} == {("yearly", due)}


def test_credit_that_was_never_completed_ends_with_its_year(works):
    credit(works)
    last = next_due(works.today - timedelta(days=100))
    assert to_do(works, last) == []
    assert to_do(works, last + timedelta(days=1)) == COURSE


@pytest.mark.parametrize("days", [-1, 367, 800])
def test_only_the_last_12_months_count(works, days):
    with pytest.raises(Refusal, match="last 12 months"):
        credit(works, days=days)
    with works.store.reading() as db:
        assert record.count(db) == 0


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"given_by": "  "}, "who gave"),
        ({"proof": ""}, "what you saw"),
        ({"elements": {}}, "each of the seven"),
        ({"elements": {**ALL, "(c)(1)(vii)": "asked"}}, "each of the seven"),
        ({"elements": ALL | {"(k)(1)(i)": "surely"}}, "each of the seven"),
        ({"elements": dict.fromkeys(SEVEN, "no")}, "at least one"),
        ({"trained_with": []}, "which respirators"),
        ({"trained_with": ["no-such-class"]}, "which respirators"),
        ({"trained_with": ["papr-loose"]}, "another type"),
        ({"by": "Ida"}, "qualification"),
    ],
)
def test_what_does_not_hold_is_refused_with_a_sentence(works, fields, says):
    with pytest.raises(Refusal, match=says):
        credit(works, **fields)
    with works.store.reading() as db:
        assert record.count(db) == 0


def test_training_with_another_type_counts_for_the_general_elements(works):
    general = but(*SEVEN[:5])
    credit(works, trained_with=["papr-loose"], elements=general)
    assert set(COURSE) - set(to_do(works)) == {"the-standard"}


def test_nobody_credits_their_own(works):
    with works.store.writing() as db, pytest.raises(Refusal, match="their own"):
        recording.record_credit(
            db, works.scribe("Tomas"), works.people["Tomas"], once="x", earlier_on=works.today,
            given_by="Works", proof="paper", trained_with=["apr-half"], elements=ALL,
        )  # fmt: skip


def test_sent_twice_it_is_one_entry_whatever_has_changed_since(works):
    first = credit(works)
    watch(works)
    assert credit(works).number == first.number
    with works.store.reading() as db:
        kinds = [one.kind for one in record.of_person(db, "00417")]
    assert kinds.count("credit") == 1


def test_who_was_trained_here_is_not_new(works):
    """(k)(4) is about a new employee; here training falls due again by itself, (k)(5)."""
    credit(works)
    watch(works)
    with pytest.raises(Refusal, match="trained here"):
        credit(works, once="credit:2", days=50)


def test_a_sitting_may_show_the_knowledge_without_reading_first(works):
    credit(works, elements=but("(k)(1)(vii)", how="sitting"))
    assert to_do(works) == ["the-standard"]
    lesson = lessons.load().get("the-standard")
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        assert set(standing.History(db, lee).to_be_shown(works.today)) == {"the-standard"}
        with pytest.raises(Refusal):
            sitting.begin(db, lee, lesson, works.now)
        there = sitting.begin(db, lee, lesson, works.now, unread=True)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        assert sitting.close(db, works.scribe("Lee"), there, "en", 80).passed
    said = record.body(history(works).entries[-1])
    assert (said["mode"], said["credit_entry"]) == (record.EARLIER, 1)
    assert said["counts_from"] == (works.today - timedelta(days=100)).isoformat()
    assert to_do(works) == []
    watch(works)
    assert step(works).due == next_due(works.today - timedelta(days=100))


def ask_again(works: Works, slug: str = "fit") -> None:
    """Let Tomas ask Lee for retraining in one lesson, a moment later."""
    works.now += timedelta(minutes=1)
    with works.store.writing() as db:
        due = works.today + timedelta(days=3)
        by = works.scribe("Tomas")
        assigning.assign(db, by, works.people["Lee"], [slug], due, "knowledge-or-use")
    works.now += timedelta(minutes=1)


def test_retraining_for_cause_comes_after_credit_too(works):
    """(k)(5)(ii)."""
    credit(works)
    watch(works)
    ask_again(works)
    assert to_do(works) == ["fit"]
    assert step(works).why == "retraining"


def test_retraining_for_cause_is_not_met_by_credit(works):
    """(k)(5)(ii): what was not retained is to be taught, whoever taught it before."""
    ask_again(works)
    credit(works)
    assert to_do(works) == ["fit"]
    assert history(works).retraining() == ("fit",)


def test_a_sitting_without_reading_does_not_meet_retraining_that_was_asked_meanwhile(works):
    credit(works, elements=but("(k)(1)(vii)", how="sitting"))
    lesson = lessons.load().get("the-standard")
    with works.store.writing() as db:
        there = sitting.begin(db, works.people["Lee"], lesson, works.now, unread=True)
    ask_again(works, lesson.slug)
    with works.store.writing() as db:
        there = db.get(type(there), there.id)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        assert sitting.close(db, works.scribe("Lee"), there, "en", 80).passed
    assert to_do(works) == [lesson.slug]
    pass_lesson(works, "Lee", lesson.slug, works.now + timedelta(minutes=1))
    assert to_do(works) == []


def test_a_lesson_asked_again_for_cause_is_credited_no_longer(works):
    """(k)(4): credit rests on knowledge that the person can show."""
    credit(works)
    ask_again(works)
    assert "fit" not in history(works).this_round(works.today)
    watch(works)
    assert history(works).last_training() is None


def test_first_training_that_was_assigned_is_met_by_credit(works):
    with works.store.writing() as db:
        due = works.today + timedelta(days=3)
        assigning.assign(
            db, works.scribe("Tomas"), works.people["Lee"], ["fit"], due, "first"
        )
    works.now += timedelta(minutes=1)
    credit(works)
    assert to_do(works) == []


def test_two_proofs_cover_a_lesson_together(works):
    credit(works, elements=but("(k)(1)(iii)"))
    credit(works, once="credit:2", days=30, elements=dict.fromkeys(SEVEN, "no") | {
        "(k)(1)(iii)": "asked"})  # fmt: skip
    assert to_do(works) == []
    watch(works)
    assert step(works).due == next_due(works.today - timedelta(days=100))


def test_the_day_of_the_trainer_sees_who_only_lacks_practice(works):
    credit(works)
    with works.store.reading() as db:
        loft = works.worksites["Laminating Loft"]
        [item] = today.waiting(db, [loft], works.today, ZONE)
        assert (item.kind, item.person.name) == ("practice", "Lee")
        lee = next(row for row in today.grid(db, loft.id, works.today) if row.person.name == "Lee")
    assert lee.done == len(COURSE)


def test_it_is_taken_out_with_its_proof_and_its_year(works):
    credit(works, elements=but("(k)(1)(vii)", how="sitting"))
    with works.store.reading() as db:
        [row] = taken_out(db, works.today, works.today)
    assert row["lesson"] == (
        "earlier training by Invented Harbor Works; proof seen: certificate with outline"
    )
    assert row["elements covered"] == "; ".join(SEVEN[:6])
    earlier = works.today - timedelta(days=100)
    assert (row["completed"], row["due again"]) == (
        earlier.isoformat(), next_due(earlier).isoformat(),
    )  # fmt: skip
    assert (row["mode"], row["trainer"]) == ("earlier training", "Tomas (00002)")
    assert row["respirators covered"] == "apr-half"


def test_a_second_respirator_that_it_was_not_about_asks_for_the_lessons(works):
    """(k)(5)(i): only training with every type that is worn counts for the respirator itself."""
    with works.store.writing() as db:
        lee = works.people["Lee"]
        joining.give_respirator(
            db, works.scribe(), lee, **(HALF_MASK | {"class_slug": "papr-full"})
        )
    with pytest.raises(Refusal, match="another type"):
        credit(works)
