"""Standing assignments: worked out from dates, so they need no process and survive a restart."""

from datetime import datetime, timedelta

import pytest

from tests.conftest import HALF_MASK, ZONE, Works, pass_lesson
from tests.services.test_crediting import ALL
from tests.services.test_observing import watch
from trainer import lessons
from trainer.calculations.periods import next_due
from trainer.services import assigning, joining, recording, standing, today
from trainer.services.refusal import Refusal
from trainer.store import assignments, board, people, record
from trainer.store.engine import Store
from trainer.store.tables import Person, StandingAssignment

BEGIN_AGAIN_DAYS = 60  # as installed

COURSE = [lesson.slug for lesson in lessons.load().all]
SITE = "site:1:1"  # a lesson beyond the course; nothing here asks what it says


def begin(works: Works, slugs=(assigning.FULL,), place="Laminating Loft", **more) -> list:
    """Let Tomas set up a standing assignment."""
    with works.store.writing() as db:
        return assigning.begin_standing(
            db, works.scribe("Tomas"), works.worksites[place], list(slugs), **more
        )


def beyond(works: Works, **more) -> StandingAssignment:
    """Set up one for a lesson beyond the course."""
    fields = {
        "worksite_id": works.worksites["Laminating Loft"].id, "lesson": SITE,
        "begun_at": works.now, "begun_by": works.people["Tomas"].id,
    } | more  # fmt: skip
    with works.store.writing() as db:
        row = StandingAssignment(**fields)
        db.add(row)
    return row


def come(works: Works, number: str = "00600", place: str = "Laminating Loft", **gear) -> Person:
    """Let somebody new come to a worksite, a moment later, with a half mask."""
    works.now += timedelta(minutes=1)
    with works.store.writing() as db:
        person = works.people[number] = joining.add_person(
            db, works.now, number=number, name=number, roles=["worker"],
            worksites=[works.worksites[place].id],
        )  # fmt: skip
        if gear is not None:
            joining.give_respirator(db, works.scribe(), person, **(HALF_MASK | gear))
    return person


def to_do(works: Works, name: str, on=None) -> list[standing.LessonToDo]:
    """Return what somebody has to do."""
    with works.store.reading() as db:
        person = db.get(Person, works.people[name].id)
        return standing.History(db, person).to_do(on or works.today)


def passed(works: Works, name: str, slug: str = SITE, days_ago: int = 0) -> None:
    """Put a pass of a lesson beyond the course into the record."""
    at = works.now - timedelta(days=days_ago)
    with works.store.writing() as db:
        record.append(
            db, once=f"{name}{slug}{days_ago}", kind="lesson",
            person_number=works.people[name].number, worksite="", happened_on=at.date(),
            body={"lesson": slug, "elements": ["(c)(1)(vii)"]}, now=at,
        )  # fmt: skip
        standing.refresh(db, works.people[name], works.today)


def training(works: Works, name: str, on=None):
    """Return the step of training on somebody's tag."""
    with works.store.reading() as db:
        [tag] = standing.tags(db, works.people[name], on or works.today)
    return next(one for one in tag.clearance.steps if one.kind == "training")


def train(works: Works, name: str) -> None:
    """Let somebody complete training as a whole."""
    for slug in COURSE:
        pass_lesson(works, name, slug, works.now)
    watch(works, name=name)


def test_a_new_person_has_it_on_the_tag_before_first_wearing(works):
    begin(works)
    come(works)
    open_ = to_do(works, "00600")
    assert [one.slug for one in open_] == COURSE
    assert {(one.reason, one.due, one.before_wearing) for one in open_} == {("first", None, True)}


def test_with_days_it_is_due_so_many_days_after_coming(works):
    begin(works, ["fit"], days=14)
    come(works)
    due = {one.slug: one.due for one in to_do(works, "00600")}
    assert due["fit"] == works.today + timedelta(days=14)
    assert due["upkeep"] is None


def test_whoever_was_there_before_does_not_get_it(works):
    begin(works)
    assert not any(one.before_wearing for one in to_do(works, "Lee"))


def test_another_worksite_is_not_meant(works):
    begin(works)
    come(works, place="Joinery")
    assert not any(one.before_wearing for one in to_do(works, "00600"))


def test_somebody_who_comes_over_from_another_worksite_gets_it_and_loses_it_on_leaving(works):
    beyond(works)
    works.now += timedelta(minutes=1)
    loft, joinery = (works.worksites[one].id for one in ("Laminating Loft", "Joinery"))

    def move(*places: int) -> None:
        with works.store.writing() as db:
            noor = db.get(Person, works.people["Noor"].id)
            joining.change_person(
                db, works.scribe(), noor, name="Noor", roles=["worker"], language="en",
                worksites=list(places), qualification="",
            )  # fmt: skip

    move(joinery, loft)
    assert SITE in [one.slug for one in to_do(works, "Noor")]
    move(joinery)
    assert SITE not in [one.slug for one in to_do(works, "Noor")]


def test_a_change_of_name_makes_nobody_new(works):
    beyond(works)
    works.now += timedelta(minutes=1)
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        joining.change_person(
            db, works.scribe(), lee, name="Lee Ann", roles=["worker"], language="en",
            worksites=[works.worksites["Laminating Loft"].id], qualification="",
        )  # fmt: skip
    assert SITE not in [one.slug for one in to_do(works, "Lee")]


def test_an_ended_one_asks_nothing_any_more_and_is_kept(works):
    row = beyond(works)
    come(works)
    train(works, "00600")
    assert training(works, "00600").why == "beyond"
    with works.store.writing() as db:
        by = works.scribe("Tomas")
        assigning.end_standing(db, by, db.get(StandingAssignment, row.id))
        later = works.scribe("Tomas", works.now + timedelta(hours=1))
        assigning.end_standing(db, later, db.get(StandingAssignment, row.id))
        assert db.get(StandingAssignment, row.id).ended_at == works.now
    assert training(works, "00600").state == "done"
    assert to_do(works, "00600") == []
    with works.store.reading() as db:
        assert assignments.standing_at(db, [row.worksite_id]) == []


def test_one_for_a_class_meets_who_gets_that_class_and_nobody_else(works):
    beyond(works, class_slug="papr-full")
    come(works)
    assert SITE not in [one.slug for one in to_do(works, "00600")]
    come(works, "00601", class_slug="papr-full")
    assert SITE in [one.slug for one in to_do(works, "00601")]


def test_one_for_a_class_meets_who_was_there_and_gets_the_class_now(works):
    beyond(works, class_slug="papr-full")
    works.now += timedelta(minutes=1)
    with works.store.writing() as db:
        gear = HALF_MASK | {"class_slug": "papr-full"}
        worn = joining.give_respirator(db, works.scribe(), works.people["Lee"], **gear)
    assert SITE in [one.slug for one in to_do(works, "Lee")]
    with works.store.writing() as db:
        joining.take_respirator(db, works.scribe(), works.people["Lee"], worn.id)
    assert SITE not in [one.slug for one in to_do(works, "Lee")]


def test_a_new_mask_of_the_same_class_is_nothing_new(works):
    beyond(works, class_slug="apr-half")
    works.now += timedelta(minutes=1)
    with works.store.writing() as db:
        lee = works.people["Lee"]
        [old] = people.respirators(db, lee.id)
        joining.take_respirator(db, works.scribe(), lee, old.id)
        joining.give_respirator(db, works.scribe(), lee, **HALF_MASK)
    assert SITE not in [one.slug for one in to_do(works, "Lee")]


def test_before_first_wearing_keeps_the_tag_from_clear_until_it_is_passed(works):
    """29 CFR 1910.134(k)(3) and (c)(1)(vii)."""
    beyond(works)
    come(works)
    train(works, "00600")
    assert (training(works, "00600").state, training(works, "00600").why) == ("no", "beyond")
    passed(works, "00600")
    assert training(works, "00600").state == "done"


def test_with_days_it_keeps_nobody_from_wearing(works):
    beyond(works, days=10)
    come(works)
    train(works, "00600")
    assert training(works, "00600").state == "done"
    [open_] = to_do(works, "00600")
    assert (open_.slug, open_.due) == (SITE, works.today + timedelta(days=10))


def test_one_for_a_class_keeps_only_that_class_from_being_worn(works):
    beyond(works, class_slug="papr-full")
    come(works)
    with works.store.writing() as db:
        gear = HALF_MASK | {"class_slug": "papr-full"}
        joining.give_respirator(db, works.scribe(), works.people["00600"], **gear)
        lesson = standing.History(db, works.people["00600"])
        half, full = people.respirators(db, works.people["00600"].id)
        assert lesson.facts(half, works.today).beyond == ()
        assert lesson.facts(full, works.today).beyond == (SITE,)


def test_a_lesson_beyond_the_course_falls_due_again_every_year_by_itself(works):
    """(k)(5): yearly."""
    beyond(works)
    come(works)
    train(works, "00600")
    passed(works, "00600", days_ago=100)
    due = next_due(works.now.date() - timedelta(days=100))
    assert training(works, "00600").due == due
    open_ = to_do(works, "00600", due - timedelta(days=10))
    assert (SITE, "yearly", due) in [(one.slug, one.reason, one.due) for one in open_]
    assert training(works, "00600", due + timedelta(days=1)).why == "beyond"


def test_whoever_passed_it_within_the_year_elsewhere_has_it_already(works):
    beyond(works)
    come(works)
    passed(works, "00600", days_ago=200)
    assert SITE not in [one.slug for one in to_do(works, "00600")]


def test_whoever_comes_with_training_that_is_good_owes_it_on_its_yearly_day_alone(works):
    train_day = works.now
    come(works, place="Joinery")
    for slug in COURSE:
        pass_lesson(works, "00600", slug, works.now)
    watch(works, trainer="Wren", name="00600")
    begin(works)
    works.now += timedelta(minutes=1)
    with works.store.writing() as db:
        joining.change_person(
            db, works.scribe(), db.get(Person, works.people["00600"].id), name="N",
            roles=["worker"], language="en", qualification="",
            worksites=[works.worksites["Laminating Loft"].id],
        )  # fmt: skip
    assert to_do(works, "00600") == []
    due = next_due(train_day.astimezone(ZONE).date())
    late = to_do(works, "00600", due + timedelta(days=3))
    assert {(one.reason, one.due, one.before_wearing) for one in late} == {("yearly", due, False)}


def test_credit_for_earlier_training_meets_it(works):
    begin(works)
    come(works)
    with works.store.writing() as db:
        recording.record_credit(
            db, works.scribe("Tomas"), works.people["00600"], once="credit",
            earlier_on=works.today, given_by="Works", proof="paper",
            trained_with=["apr-half"], elements=ALL,
        )  # fmt: skip
    assert to_do(works, "00600") == []


def test_credit_meets_no_lesson_of_the_worksite(works):
    """(k)(4) names the elements (i) to (vii); the worksite's own hazards are not among them."""
    beyond(works)
    come(works)
    with works.store.writing() as db:
        recording.record_credit(
            db, works.scribe("Tomas"), works.people["00600"], once="credit",
            earlier_on=works.today, given_by="Works", proof="paper",
            trained_with=["apr-half"], elements=ALL,
        )  # fmt: skip
    assert [one.slug for one in to_do(works, "00600")] == [SITE]


def test_set_up_twice_it_stands_once(works):
    assert len(begin(works)) == 1
    assert begin(works) == []
    assert len(begin(works, days=14)) == 1


@pytest.mark.parametrize(
    ("slugs", "more"),
    [
        ([], {}),
        (["no-such-lesson"], {}),
        (["fit"], {"class_slug": "no-such-class"}),
        (["fit"], {"days": 0}),
        (["fit"], {"days": 366}),
    ],
)
def test_what_cannot_stand_is_refused(works, slugs, more):
    with pytest.raises(Refusal):
        begin(works, slugs, **more)


def test_it_is_there_after_a_restart_and_nothing_was_written_for_the_person(works, settings):
    begin(works)
    come(works)
    works.store.close()
    works.store = Store(settings.database_url)
    assert all(one.before_wearing for one in to_do(works, "00600"))
    with works.store.reading() as db:
        assert people.assignments(db, works.people["00600"].id) == []
    works.store.close()


def test_yearly_training_falls_due_by_itself_without_any_process(works, settings):
    """(k)(5). Nothing runs between the pass and the question a year later but the calendar."""
    train(works, "Lee")
    works.store.close()
    works.store = Store(settings.database_url)
    due = next_due(works.today)
    before = due - timedelta(days=BEGIN_AGAIN_DAYS + 1)
    assert to_do(works, "Lee", before) == []
    open_ = to_do(works, "Lee", due)
    assert {(one.reason, one.due) for one in open_} == {("yearly", due)}
    assert [one.slug for one in open_] == COURSE
    assert training(works, "Lee", due).state == "done"
    assert training(works, "Lee", due + timedelta(days=1)).why == "lapsed"
    with works.store.reading() as db:
        asked = board.Filter(state="not", search="Lee")
        rows = board.rows(db, asked, due + timedelta(days=1), 0, None, medical=True)
    assert [person.name for _, person, _ in rows] == ["Lee"]
    works.store.close()


def test_what_is_overdue_waits_for_the_trainer(works):
    begin(works, ["fit", "upkeep"], days=3)
    come(works)
    later = works.today + timedelta(days=4)
    with works.store.reading() as db:
        loft = works.worksites["Laminating Loft"]
        found = [
            (one.kind, one.person.number, one.count, one.on)
            for one in today.waiting(db, [loft], later, ZONE)
        ]
    assert found == [("overdue", "00600", 2, works.today + timedelta(days=3))]


def test_the_day_of_coming_is_that_of_the_worksite(works):
    begin(works, ["fit"], days=1)
    works.now = datetime(2027, 1, 2, 3, 30, tzinfo=works.now.tzinfo)  # still 1 January there
    come(works)
    with works.store.reading() as db:
        [owed] = assignments.owed(db, [works.people["00600"].id])
    assert owed.begins.isoformat() == "2027-01-01"
    assert owed.due.isoformat() == "2027-01-02"
