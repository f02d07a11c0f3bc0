"""The tag board: filters as addresses, who is found by which, and in which order."""

from dataclasses import replace
from datetime import date, timedelta
from urllib.parse import parse_qsl

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import event
from sqlmodel import select

from tests.conftest import HALF_MASK, Works
from trainer.store import board
from trainer.store.board import Filter
from trainer.store.tables import Membership, Person, PersonRole, Respirator, Standing

TODAY = date(2026, 11, 28)
SOON = 30

FILTERS = st.builds(
    Filter,
    worksite=st.none() | st.integers(1, 10**9 - 1),
    state=st.sampled_from(("", *board.STATES)),
    missing=st.sampled_from(("", *board.MISSING)),
    due=st.sampled_from((None, *board.DUE)),
    search=st.text(max_size=80).map(lambda text: " ".join(text.split())[:60].strip()),
    sort=st.sampled_from(("", *board.SORTS)),
    kind=st.sampled_from(("", *board.DUE_KINDS)),
    month=st.sampled_from(("", "past", "2026-12", "2027-01")),
    left=st.booleans(),
    on=st.none() | st.dates(),
)


@given(FILTERS)
def test_an_address_keeps_the_whole_filter(asked: Filter):
    assert Filter.read(dict(parse_qsl(asked.query(), keep_blank_values=True))) == asked


def test_what_is_not_known_counts_as_not_asked():
    odd = {
        "worksite": "one", "state": "ready", "missing": "helmet", "due": "31", "sort": "shoe",
        "kind": "x", "month": "2026-13", "left": "perhaps", "on": "yesterday",
    }  # fmt: skip
    assert Filter.read(odd) == Filter()
    assert Filter.read({"worksite": "9" * 30, "on": "2026-02-30"}) == Filter()


def test_an_address_says_only_what_is_asked():
    asked = Filter(state="not", search="Núñez")
    assert Filter().query() == ""
    assert asked.query() == "q=N%C3%BA%C3%B1ez&state=not"
    assert asked.query(state="", page=3) == "q=N%C3%BA%C3%B1ez&page=3"


PLACES = ("Laminating Loft", "Joinery")


def put(works: Works, number: str, name: str, place: str, *tags: dict, left: date | None = None):
    """Put a worker with these tags on the board, each a row of `standing` as it would be kept."""
    with works.store.writing() as db:
        person = Person(
            number=number, number_key=number.casefold(), name=name, seed="1",
            search_key=board.people.plain(f"{name} {number}"), added_at=works.now, left_on=left,
        )  # fmt: skip
        db.add(person)
        db.flush()
        db.add(PersonRole(person_id=person.id, role="worker"))
        db.add(Membership(person_id=person.id, worksite_id=works.worksites[place].id))
        rows = []
        for tag in tags:
            given = Respirator(
                person_id=person.id, given_at=works.now, given_by=1,
                **(HALF_MASK if tag.pop("worn", True) else HALF_MASK | {"use": "voluntary"}),
            )  # fmt: skip
            db.add(given)
            db.flush()
            rows.append(Standing(
                person_id=person.id, respirator_id=given.id, search_key=person.search_key,
                left_on=left, **tag,
            ))  # fmt: skip
        lead = min(
            rows, key=lambda row: (row.clear_until is not None, not row.begun,
                                   row.clear_until or date.max),
        )  # fmt: skip
        for row in rows:
            row.lead_until, row.lead_begun = lead.clear_until, lead.begun
            row.lead_others_until = lead.others_until
        db.add_all(rows)


def clear(days: int, medical: int | None = None, **more) -> dict:
    """Return a tag that is clear for so many days; medical: until a determination ends."""
    others = TODAY + timedelta(days=days)
    ends = TODAY + timedelta(days=medical) if medical is not None else None
    until = min(others, ends) if ends else others
    return {
        "clear_until": until, "others_until": others, "begun": True, "medical_due": ends,
        "training_due": others, "practice_due": others, "fit_test_due": others,
    } | more  # fmt: skip


def lacking(missing: str, **more) -> dict:
    """Return a tag that is not clear."""
    return {"missing": missing, "begun": True} | more


@pytest.fixture
def people(works: Works) -> Works:
    """Fill a board, the cast aside."""
    with works.store.writing() as db:
        for row in db.exec(select(Standing)):
            db.delete(row)
    put(works, "B10", "Zoë Adler", "Joinery", clear(100))
    put(works, "B2", "José Núñez", "Laminating Loft", clear(20))
    put(works, "B3", "Abel Quill", "Laminating Loft", lacking("fit-test"))
    put(works, "B4", "Ines Vale", "Joinery", {"missing": "medical training", "begun": False})
    put(works, "B5", "Omar Byrd", "Joinery", clear(-3))
    put(works, "B6", "Two Tags", "Joinery", clear(200), lacking("practice"))
    put(works, "B7", "Medi Cal", "Laminating Loft", clear(150, medical=10))
    put(works, "B8", "Gone Now", "Joinery", clear(50), left=TODAY - timedelta(days=5))
    return works


def found(works: Works, asked: Filter, *, medical: bool = True, mine=None) -> list[str]:
    """Return the numbers on the board in order."""
    with works.store.reading() as db:
        rows = board.rows(db, asked, TODAY, SOON, mine, medical=medical)
        total = board.page(
            db, asked, TODAY, SOON, mine, medical=medical, first=0, most=1
        ).total
        ids = set(db.scalars(board.person_ids(asked, TODAY, SOON, mine, medical=medical)))
    assert total == len(rows)
    assert ids == {person.id for _, person, _ in rows}
    return [person.number for _, person, _ in rows]


def test_the_most_urgent_comes_first_and_the_tags_of_a_person_together(people):
    assert found(people, Filter()) == ["B5", "B3", "B6", "B6", "B4", "B7", "B2", "B10"]


@pytest.mark.parametrize(("asked", "numbers"), [
    (Filter(state="clear"), ["B6", "B7", "B2", "B10"]),
    (Filter(state="soon"), ["B7", "B2"]),
    (Filter(state="not"), ["B5", "B3", "B6"]),
    (Filter(state="new"), ["B4"]),
    (Filter(missing="fit-test"), ["B5", "B3"]),
    (Filter(missing="medical"), ["B4"]),
    (Filter(missing="practice"), ["B5", "B6"]),
    (Filter(due=30), ["B7", "B2"]),
    (Filter(due=30, kind="medical"), ["B7"]),
    (Filter(due=30, kind="fit-test"), ["B2"]),
    (Filter(month="past"), ["B5"]),
    (Filter(month="2026-12", kind="training"), ["B2"]),
    (Filter(month="2026-11"), []),
    (Filter(search="NUNEZ"), ["B2"]),
    (Filter(search="b1"), ["B10"]),
    (Filter(search="50%"), []),
    (Filter(left=True, search="gone"), ["B8"]),
    (Filter(sort="name"), ["B3", "B4", "B2", "B7", "B5", "B6", "B6", "B10"]),
    (Filter(sort="number"), ["B10", "B2", "B3", "B4", "B5", "B6", "B6", "B7"]),
    (Filter(sort="worksite"), ["B4", "B5", "B6", "B6", "B10", "B3", "B2", "B7"]),
    (Filter(sort="until"), ["B5", "B7", "B2", "B10", "B3", "B6", "B6", "B4"]),
])  # fmt: skip
def test_each_filter_finds_those_it_names_in_its_order(people, asked, numbers):
    assert found(people, asked) == numbers


def test_a_worksite_and_a_trainers_own_narrow_the_board(people):
    loft, joinery = (people.worksites[name].id for name in PLACES)
    assert found(people, Filter(worksite=joinery, state="clear")) == ["B6", "B10"]
    assert found(people, Filter(sort="number"), mine=(loft,)) == ["B2", "B3", "B7"]
    assert found(people, Filter(worksite=joinery), mine=(loft,)) == []
    assert found(people, Filter(), mine=()) == []


def test_nobody_without_the_right_finds_anybody_by_a_determinations_date(people):
    assert found(people, Filter(state="soon"), medical=False) == ["B2"]
    assert found(people, Filter(due=30), medical=False) == ["B2"]
    assert found(people, Filter(due=30, kind="medical"), medical=False) == []
    assert found(people, Filter(month="2026-12"), medical=False) == ["B2"]
    # Nor by where it stands: B7's other steps last longer than B10's.
    assert found(people, Filter(state="clear"), medical=False) == ["B6", "B2", "B10", "B7"]
    # Whether somebody is cleared at all may be known.
    assert found(people, Filter(missing="medical"), medical=False) == ["B4"]


def test_pages_are_the_whole_order_cut(people):
    with people.store.reading() as db:
        for sort in ("", *board.SORTS):
            asked = Filter(sort=sort)
            whole = board.rows(db, asked, TODAY, SOON, None, medical=True)
            cut = [
                row
                for first in range(0, 10, 3)
                for row in board.rows(
                    db, asked, TODAY, SOON, None, medical=True, first=first, most=3
                )
            ]
            assert [row.id for row, *_ in cut] == [row.id for row, *_ in whole], sort


def test_few_and_many_are_found_alike(people, monkeypatch):
    asked = Filter(search="e", sort="name")
    with people.store.reading() as db:
        few = board.page(db, asked, TODAY, SOON, None, medical=True, first=0, most=9)
        monkeypatch.setattr(board, "FEW", 1)
        many = board.page(db, asked, TODAY, SOON, None, medical=True, first=0, most=9)
    assert few.total == many.total > 1
    assert few.tally == many.tally
    assert [row.id for row, *_ in few.rows] == [row.id for row, *_ in many.rows]


@pytest.mark.parametrize("medical", [True, False])
@pytest.mark.parametrize("asked", [
    Filter(), Filter(worksite=1), Filter(search="e"), Filter(missing="practice"), Filter(due=30),
    Filter(state="not"), Filter(state="not", search="e"), Filter(left=True),
])  # fmt: skip
def test_the_tally_counts_what_each_state_finds(people, asked, medical):
    """A number of the tally leads to as many tags, whatever else is asked for."""
    with people.store.reading() as db:
        page = board.page(db, asked, TODAY, SOON, None, medical=medical, first=0, most=9)
    each = {
        state: len(found(people, replace(asked, state=state), medical=medical))
        for state in board.STATES
    }
    assert page.tally == each
    assert any(each.values())


@pytest.mark.parametrize("database", ["sqlite"], indirect=True, scope="session")
def test_whatever_is_left_out_is_left_out_in_an_index(people, monkeypatch):
    """No row is looked at to count it: 50,000 are counted in milliseconds.

    PostgreSQL plans by what it has counted of a table, and so never as for 50,000 here.
    """
    monkeypatch.setattr(board, "_few", lambda *_: None)
    asked = [Filter(), Filter(search="e"), Filter(due=30), Filter(month="past"), Filter(worksite=1),
             *(Filter(missing=one) for one in board.MISSING)]  # fmt: skip
    said = []
    with people.store.reading() as db:
        event.listen(
            db.bind, "before_cursor_execute", lambda *about: said.append((about[2], about[3]))
        )
        for one in asked:
            board.page(db, one, TODAY, SOON, None, medical=True, first=0, most=9)
        counted = [about for about in said if about[0].startswith("SELECT count(*)")]
        plans = [
            step[3]
            for words, values in counted
            for step in db.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {words}", values)
        ]
    of_standing = [step for step in plans if " standing " in step]
    assert len(of_standing) >= len(asked)
    assert [step for step in of_standing if "COVERING INDEX" not in step] == []


def test_a_name_and_a_leaving_reach_the_board_by_themselves(people):
    with people.store.writing() as db:
        person = db.exec(select(Person).where(Person.number == "B2")).one()
        person.search_key = "yusuf nunez b2"
        db.add(person)
    assert found(people, Filter(search="yusuf")) == ["B2"]
    with people.store.writing() as db:
        person.left_on = TODAY
        db.add(person)
    assert found(people, Filter(search="yusuf")) == []
    assert found(people, Filter(search="yusuf", left=True)) == ["B2"]


def test_what_falls_due_is_counted_by_month_kind_and_worksite(people):
    end = date(2027, 12, 1)
    loft, joinery = (people.worksites[name].id for name in PLACES)
    with people.store.reading() as db:
        by_kind = board.due_by_kind(db, TODAY, end, None, None, medical=True)
        known = board.due_by_kind(db, TODAY, end, None, None, medical=False)
        there = board.due_by_worksite(db, TODAY, end, None, medical=True)
        own = board.due_by_worksite(db, TODAY, end, (loft,), medical=True)
    counts = {(one.month, one.kind): one.people for one in by_kind}
    assert counts["2026-12", "medical"] == 1
    assert (counts["past", "fit-test"], counts["2026-12", "training"]) == (1, 1)
    assert {one.kind for one in known} == {"training", "practice", "fit-test"}
    # Of three things due in one month a person counts once.
    assert {(one.month, one.where): one.people for one in there} == {
        ("past", joinery): 1, ("2026-12", loft): 2, ("2027-03", joinery): 1,
        ("2027-04", loft): 1, ("2027-06", joinery): 1,
    }  # fmt: skip
    assert {one.where for one in own} == {loft}


def test_each_number_of_the_year_is_what_its_filter_finds(people):
    with people.store.reading() as db:
        for one in board.due_by_kind(db, TODAY, date(2027, 12, 1), None, None, medical=True):
            asked = Filter(kind=one.kind, month=one.month)
            ids = db.scalars(board.person_ids(asked, TODAY, SOON, None, medical=True))
            assert len(set(ids)) == one.people, one
