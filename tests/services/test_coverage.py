"""Coverage: who was taught which element, as it counts today."""

from datetime import timedelta

import pytest

from tests.conftest import Works, pass_lesson
from tests.services.test_together import OURS, train
from tests.site_lessons import pass_site_lesson, published
from trainer.calculations.periods import next_due
from trainer.reference import training_elements
from trainer.services import assigning, coverage, joining, recording, today
from trainer.store.tables import Person

SEVEN = [one.paragraph for one in training_elements.seven()]
WORKSITE, BY_CHOICE = "(c)(1)(vii)", "Appendix D"


def look(works: Works, place: str = "Laminating Loft", on=None, **more) -> coverage.Look:
    """Return a page of a worksite."""
    with works.store.reading() as db:
        return coverage.look(db, works.worksites[place].id, on or works.today, **more)


def states(works: Works, name: str, on=None) -> dict[str, str]:
    """Return somebody's row."""
    rows = {row.person.name: row.states for row in look(works, on=on).rows}
    return rows[name]


def test_an_element_is_covered_once_every_lesson_that_covers_it_is_done(works):
    assert set(states(works, "Lee").values()) == {"todo", "none"}
    pass_lesson(works, "Lee", "the-standard", works.now)
    pass_lesson(works, "Lee", "why-respirators", works.now)
    there = states(works, "Lee")
    assert there["(k)(1)(vii)"] == "done"  # one lesson alone covers it
    assert there["(k)(1)(i)"] == "begun"
    assert there["(k)(1)(vi)"] == "todo"
    assert set(states(works, "Kim").values()) == {"todo", "none"}


def test_training_counts_until_its_day_and_not_after_it(works):
    train(works, "Lee")
    assert {states(works, "Lee")[one] for one in SEVEN} == {"done"}
    due = next_due(works.today)
    # The round opens again before the day; what was taught counts all the same.
    assert {states(works, "Lee", due)[one] for one in SEVEN} == {"done"}
    assert {states(works, "Lee", due + timedelta(days=1))[one] for one in SEVEN} == {"todo"}


def test_a_lesson_asked_again_for_cause_is_lacking(works):
    train(works, "Lee")
    works.now += timedelta(minutes=1)
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        assigning.assign(
            db, works.scribe("Tomas"), lee, ["the-standard"], works.today, "knowledge-or-use"
        )
    assert states(works, "Lee")["(k)(1)(vii)"] == "todo"


def test_the_worksites_part_is_covered_by_its_own_lesson_alone(works):
    with works.store.reading() as db:
        course = today.course_at(db, works.worksites["Laminating Loft"].id)
        assert coverage.without_lesson(db, course) == [WORKSITE]
    assert states(works, "Lee")[WORKSITE] == "none"
    lesson = published(works)
    with works.store.reading() as db:
        course = today.course_at(db, works.worksites["Laminating Loft"].id)
        untaught = coverage.without_lesson(db, course)
    covers = WORKSITE not in untaught
    pass_site_lesson(works, "Lee", lesson)
    assert states(works, "Lee")[WORKSITE] == ("done" if covers else "none")


def test_appendix_d_is_asked_of_who_wears_one_by_choice(works):
    assert states(works, "Kim")[BY_CHOICE] == "none"
    with works.store.writing() as db:
        kim = db.get(Person, works.people["Kim"].id)
        joining.give_respirator(
            db, works.scribe(), kim, class_slug="apr-filtering", use="voluntary"
        )
    assert states(works, "Kim")[BY_CHOICE] == "todo"
    with works.store.writing() as db:
        recording.record_appendix_d(db, works.scribe(), kim, once="d", on=works.today)
    assert states(works, "Kim")[BY_CHOICE] == "done"


@pytest.mark.parametrize("most_counted", [2000, 1])
def test_who_lacks_an_element_is_found_page_by_page(works, monkeypatch, most_counted):
    monkeypatch.setattr(coverage, "MOST_COUNTED", most_counted)
    monkeypatch.setattr(coverage, "AT_ONCE", 2)
    with works.store.writing() as db:
        for number in range(3):
            joining.add_person(
                db, works.now, number=f"N{number}", name=f"N{number}", roles=["worker"],
                worksites=[works.worksites["Laminating Loft"].id],
            )  # fmt: skip
    pass_lesson(works, "Lee", "the-standard", works.now)
    lacks = "(k)(1)(vii)"
    first = look(works, lacks=lacks, most=3)
    last = look(works, lacks=lacks, first=3, most=3)
    assert [row.person.name for row in first.rows] == ["Kim", "N0", "N1"]
    assert [row.person.name for row in last.rows] == ["N2"]
    assert (first.more, last.more) == (True, False)
    if most_counted > 1:
        assert first.counts[lacks] == {"done": 1, "begun": 0, "todo": 4, "none": 0}
    else:
        assert first.counts == {}
    assert [row.person.name for row in look(works, first=2, most=2).rows] == ["N0", "N1"]


def test_what_is_to_be_assigned_is_what_is_missing(works):
    pass_lesson(works, "Lee", "why-respirators", works.now)
    [row] = [row for row in look(works).rows if row.person.name == "Lee"]
    missing = {slug for one in row.missing.values() for slug in one}
    assert missing == set(OURS) - {"why-respirators"}


