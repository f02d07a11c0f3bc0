"""Tables that are brought in beside merged records, corrections, rights and the log."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import select

from tests.conftest import HALF_MASK, ZONE, Works
from tests.services.test_observing import watch
from tests.services.test_together import OURS, made_ready, take
from tests.tables import ROSTER, again, bring, csv_of, do, undo
from trainer.services import (
    errands,
    importing,
    joining,
    merging,
    recording,
    standing,
)
from trainer.services.refusal import Refusal
from trainer.store import board, imports, people, record
from trainer.store.tables import Change, Installation, Person, PersonRole, Standing

LOFT, JOINERY = "Laminating Loft", "Joinery"
WORN = ("respirator class", "make", "model", "style", "size")
MASK = ("apr-half", "Invented Aldermoor", "Half 2", "elastomeric", "M")


@pytest.fixture
def joined(works: Works) -> Works:
    """Let Lee have two numbers: what makes them clear stands under the one that was merged."""
    with works.store.writing() as db:
        by = works.scribe()
        leo = works.people["Leo"] = joining.add_person(
            db, works.now, number="L-9", name="Leo", roles=["worker"],
            worksites=[works.worksites[LOFT].id], seed="seed of Leo",
        )  # fmt: skip
        worn = joining.give_respirator(db, by, leo, **HALF_MASK)
        recording.record_medical(db, by, leo, once="m", on=works.today, outcome="cleared")
        recording.record_fit_test(
            db, by, leo, worn, once="f", on=works.today, protocol="ambient-aerosol",
            fit_factor=300.0, recording="sheet",
        )  # fmt: skip
    take(works, "Leo", *OURS)
    watch(works, trainer="Tomas", name="Leo")
    with works.store.writing() as db:
        for worn in people.respirators(db, works.people["Lee"].id):
            joining.take_respirator(db, works.scribe(), works.people["Lee"], worn.id)
        merging.merge(db, works.scribe(), works.people["Lee"], works.people["Leo"])
    return works


def clear(works: Works) -> set[str]:
    """Return the numbers of those whom the tag board shows clear."""
    with works.store.reading() as db:
        rows = board.rows(
            db, board.Filter(state="clear"), works.today, 0, None, medical=True, most=99
        )
        return {person.number for _, person, _ in rows}


def by_tags(works: Works) -> set[str]:
    """Return the numbers of those who are clear by their entries."""
    with works.store.reading() as db:
        return {
            one.number for one in db.exec(select(Person))
            if any(tag.clearance.clear for tag in standing.tags(db, one, works.today))
        }  # fmt: skip


def test_a_merged_number_in_a_roster_is_the_person_who_goes_on(joined):
    run = bring(joined, csv_of(ROSTER, ("L-9", "Lee", JOINERY)))
    with joined.store.reading() as db:
        lines = {one.line: one for one in imports.lines(db, run.id, "", 0, 99)}
    assert (lines[2].state, lines[2].person_id) == ("changed", joined.people["Lee"].id)
    assert "Lee" not in {one.name for one in lines.values() if one.state == "left"}
    assert do(joined, run) == ""
    with joined.store.reading() as db:
        lee, leo = (db.get(Person, joined.people[name].id) for name in ("Lee", "Leo"))
        assert [one.name for one in people.worksites(db, lee.id)] == [JOINERY]
        assert leo.left_on is not None
        assert people.worksites(db, leo.id) == []
    assert undo(joined, again(joined, run)) == ""
    with joined.store.reading() as db:
        assert [one.name for one in people.worksites(db, lee.id)] == [LOFT]


def test_two_numbers_of_one_person_in_a_roster_are_both_refused(joined):
    run = bring(joined, csv_of(ROSTER, ("L-9", "Lee", JOINERY), ("00417", "Lee", LOFT)))
    with joined.store.reading() as db:
        lines = imports.lines(db, run.id, "bad", 0, 99)
        said = [importing.faults_of(json.loads(one.said)) for one in lines]
    assert [one.line for one in lines] == [2, 3]
    assert all("both numbers are theirs" in fault[0].text for fault in said)


def test_a_new_name_in_a_roster_leaves_every_number_findable(joined):
    run = bring(joined, csv_of(ROSTER, ("00417", "Lee Anne", LOFT)))
    with joined.store.writing() as db:
        [line] = imports.lines(db, run.id, "doubtful", 0, 9)
        importing.decide(db, again_in(db, run), {line.id: f"same:{joined.people['Lee'].id}"})
    assert do(joined, run) == ""
    with joined.store.reading() as db:
        rows = board.rows(db, board.Filter(search="L-9"), joined.today, 0, None, medical=True)
        assert {(one.number, one.name) for _, one, _ in rows} == {("00417", "Lee Anne")}


def again_in(db, run):
    """Return a run in a session."""
    return db.get(type(run), run.id)


def new(works: Works, db, name: str, number: str) -> Person:
    """Add a worker at the Loft."""
    return joining.add_person(
        db, works.now, number=number, name=name, roles=["worker"],
        worksites=[works.worksites[LOFT].id],
    )  # fmt: skip


def test_the_same_past_record_after_a_merge_is_still_the_same(joined):
    given = csv_of(
        ("worker number", "date", "protocol", "make", "model", "style", "size", "class", "result"),
        ("L-9", f"{joined.today - timedelta(days=9)}", "saccharin", *MASK[1:], "apr-half", "pass"),
    )
    run = bring(joined, given, kind="fit-tests")
    assert do(joined, run) == ""
    with joined.store.reading() as db:
        [entry] = [one for one in record.of_person(db, ("00417", "L-9"), ("fit-test",))
                   if record.body(one).get("brought_in")]  # fmt: skip
        assert entry.person_number == "00417"
    run = bring(joined, given, kind="fit-tests")
    with joined.store.reading() as db:
        assert [one.state for one in imports.lines(db, run.id, "", 0, 9)] == ["same"]


def test_training_here_under_a_merged_number_leaves_what_is_brought_in_history(joined):
    given = csv_of(
        ("worker number", "date", "elements", "respirators", "trainer", "watched by",
         "how watched"),
        ("00417", f"{joined.today}", "all", "apr-half", "T. Ormond", "T. Ormond", "in person"),
    )
    run = bring(joined, given, kind="training")
    assert do(joined, run) == ""
    with joined.store.reading() as db:
        [entry] = [one for one in record.of_person(db, "00417")
                   if record.body(one).get("brought_in")]  # fmt: skip
    assert entry.kind == "earlier-training"
    assert "trained-here" in record.body(entry)["lacks"]


# Roles and rights


def coordinator(works: Works, name: str, number: str, medical: bool = False) -> Person:
    """Add a coordinator."""
    with works.store.writing() as db:
        works.people[name] = joining.add_person(
            db, works.now, number=number, name=name, roles=["coordinator"], medical=medical
        )
    return works.people[name]


def give_right(works: Works, name: str, has: bool) -> None:
    """Give or take the right to determinations, as a row."""
    with works.store.writing() as db:
        row = db.get(PersonRole, (works.people[name].id, people.MEDICAL))
        if has and row is None:
            db.add(PersonRole(person_id=works.people[name].id, role=people.MEDICAL))
        if not has and row is not None:
            db.delete(row)


@pytest.mark.parametrize("cells", [("worker", ""), ("", "2026-01-05")])
def test_a_roster_does_not_take_the_last_right_to_determinations_away(works, cells):
    coordinator(works, "Oda", "00009", medical=True)
    give_right(works, "Oda", True)
    give_right(works, "Ida", False)
    run = bring(works, csv_of((*ROSTER, "roles", "left on"), ("00009", "Oda", LOFT, *cells)))
    assert "right to medical determinations" in do(works, run)
    with works.store.reading() as db:
        assert people.holders(db, people.MEDICAL) == {works.people["Oda"].id}
        assert db.get(Person, works.people["Oda"].id).left_on is None


def test_taking_a_roster_back_leaves_somebody_who_coordinates(works):
    """It made Kim coordinator; since then Ida has left, and Kim takes it back."""
    run = bring(works, csv_of((*ROSTER, "roles"), ("00418", "Kim", LOFT, "worker; coordinator")))
    assert do(works, run) == ""
    give_right(works, "Kim", True)
    with works.store.writing() as db:
        db.delete(db.get(PersonRole, (works.people["Ida"].id, "coordinator")))
    with works.store.writing() as db:
        by = works.scribe("Kim", datetime.now(UTC))
        importing.ask_undo(db, by, db.get(type(run), run.id), "en")
    errands.run_all(works.store)
    with works.store.reading() as db:
        assert people.holders(db, "coordinator") == {works.people["Kim"].id}


# The log


def told(works: Works) -> list[tuple[str, str, str, str]]:
    """Return the log: kind, deed, about whom, by whom."""
    with works.store.reading() as db:
        rows = db.exec(select(Change).order_by(Change.id)).all()
        return [(one.kind, one.deed, one.about, one.by_name) for one in rows]


def test_the_log_tells_who_brought_a_roster_in_and_took_it_back_and_what_it_changed(works):
    before = len(told(works))
    run = bring(works, csv_of(
        (*ROSTER, "roles", *WORN),
        ("00417", "Lee", f"{LOFT}; {JOINERY}", "worker; trainer", *MASK[:-1], "L"),
        ("00777", "Imara Sollis", LOFT, "coordinator", *[""] * 5),
    ))  # fmt: skip
    assert do(works, run) == ""
    said = set(told(works)[before:])
    assert {
        ("import", "done", "people.csv", "Ida"),
        ("person", "added", "Imara Sollis", "Ida"),
        ("role", "added", "Imara Sollis", "Ida"),
        ("role", "added", "Lee", "Ida"),
        ("membership", "added", "Lee", "Ida"),
        ("respirator", "added", "Lee", "Ida"),
        ("respirator", "ended", "Lee", "Ida"),
    } <= said
    assert {by for *_, by in said} == {"Ida"}
    before = len(told(works))
    assert undo(works, run) == ""
    said = set(told(works)[before:])
    assert {
        ("import", "taken-back", "people.csv", "Ida"), ("person", "ended", "Imara Sollis", "Ida"),
        ("role", "ended", "Lee", "Ida"), ("membership", "ended", "Lee", "Ida"),
    } <= said  # fmt: skip


def test_leaving_by_a_roster_is_told_with_who_asked(works):
    run = bring(works, csv_of((*ROSTER, "left on"), ("00418", "Kim", LOFT, "2026-01-05")))
    before = len(told(works))
    assert do(works, run) == ""
    assert ("person", "changed", "Kim", "Ida") in told(works)[before:]


# A past record beside what came after it

PAST = ("worker number", "date", "elements", "respirators", "trainer", "watched by",
        "how watched")  # fmt: skip


def whole(works: Works, number: str = "00417") -> bytes:
    """Return a past record of one whole training, a month ago."""
    on = f"{works.today - timedelta(days=30)}"
    return csv_of(PAST, (number, on, "all", "apr-half", "T. Ormond", "T. Ormond", "in person"))


def entries(works: Works, kind: str, name: str = "Lee") -> list:
    """Return the entries in force of a kind, of one person."""
    with works.store.reading() as db:
        return standing.History(db, db.get(Person, works.people[name].id)).of(kind)


def test_taken_back_it_takes_with_it_what_leaned_on_its_practice(works):
    """Lessons taken here and the practice brought in make a whole; without the practice, none."""
    made_ready(works, "Lee")
    run = bring(works, whole(works), kind="training")
    assert do(works, run) == ""
    assert entries(works, "training") and entries(works, "practice")
    assert clear(works) == {"00417"} == by_tags(works)
    with works.store.writing() as db:
        # The training that was brought in is struck by hand, its practice stays.
        lee = works.people["Lee"]
        [training] = [one for one, _ in entries(works, "training")]
        row = record.get(db, training.number)
        recording._put_correction(
            db, works.scribe(), recording.as_it_stands(db, row.number), "by hand", "wrong-value",
            "", None,
        )  # fmt: skip
        standing.refresh(db, lee, works.today)
    take(works, "Lee", *OURS)
    [(made, said)] = entries(works, "training")
    assert set(said["practice_entries"]) <= {one.number for one, _ in entries(works, "practice")}
    assert clear(works) == {"00417"} == by_tags(works)
    assert undo(works, run) == ""
    assert entries(works, "practice") == []
    assert entries(works, "training") == [], "it rested on a practice that never was"
    assert clear(works) == set() == by_tags(works)
    with works.store.reading() as db:
        last = standing.newest_corrections(record.corrections(db))
        assert last[made.number][1]["why"] == recording.FOLLOWS
        assert all(one is None for one in record.verify(db))


def test_taken_back_a_corrected_line_is_struck_where_it_stands_now(works):
    given = csv_of(
        ("worker number", "date", "protocol", "make", "model", "style", "size", "class", "result"),
        ("00417", f"{works.today}", "saccharin", *MASK[1:], "apr-half", "fail"),
    )
    run = bring(works, given, kind="fit-tests")
    assert do(works, run) == ""
    [(entry, _)] = entries(works, "fit-test")
    with works.store.writing() as db:
        first = recording.correct(
            db, works.scribe(), entry.number, once="c", why="wrong-value", said={"passed": True}
        )
    assert undo(works, run) == ""
    assert entries(works, "fit-test") == []
    with works.store.reading() as db:
        _, said = standing.newest_corrections(record.corrections(db))[entry.number]
    assert (said["instead_of"], said["said"]) == (first.number, None)


def test_taken_back_after_a_merge_the_merged_record_stays_off_the_board(works):
    with works.store.writing() as db:
        works.people["Leo"] = new(works, db, "Leo", "L-9")
    run = bring(works, whole(works, "L-9"), kind="training")
    assert do(works, run) == ""
    with works.store.writing() as db:
        merging.merge(db, works.scribe(), works.people["Lee"], works.people["Leo"])
    assert undo(works, run) == ""
    with works.store.reading() as db:
        rows = db.exec(select(Standing).where(Standing.person_id == works.people["Leo"].id)).all()
    assert rows == []
    assert entries(works, "training") == []


def test_an_entry_from_before_a_merge_stays_right_when_the_board_is_worked_out_anew(joined):
    with joined.store.writing() as db:
        db.merge(Installation(name="board rows", value="1"))
        after = 0
        while after is not None:
            after = standing.catch_up(db, joined.now, ZONE, after)
    with joined.store.reading() as db:
        rows = db.exec(select(Standing.person_id)).all()
    assert joined.people["Leo"].id not in rows


# Determinations


MEDICAL = ("worker number", "date", "outcome")


def test_who_lost_the_right_brings_no_determination_in_and_takes_none_back(works):
    coordinator(works, "Oda", "00009", medical=True)
    given = csv_of(MEDICAL, ("00417", f"{works.today}", "cleared"))
    run = bring(works, given, kind="medical")
    give_right(works, "Ida", False)
    assert "a right that you do not have any more" in do(works, run)
    assert entries(works, "medical") == []
    give_right(works, "Ida", True)
    assert do(works, run) == ""
    assert len(entries(works, "medical")) == 1
    give_right(works, "Ida", False)
    assert "a right that you do not have any more" in undo(works, run)
    with pytest.raises(Refusal, match="right to medical determinations"):
        bring(works, given, kind="medical")
