"""A roster brought in: what each line comes to, done in one go, and taken back as a whole."""

import json
import signal
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlmodel import func, select

from tests.conftest import HALF_MASK, Works
from tests.services.test_past_record import FIT, MASK
from tests.tables import ROSTER, again, bring, csv_of, do, undo, xlsx_of
from trainer.services import (
    errands,
    importing,
    joining,
    leaving,
    reading_tables,
    recording,
    roster_writing,
)
from trainer.services.refusal import Refusal
from trainer.store import imports, people, record
from trainer.store.tables import (
    Errand,
    ImportLine,
    ImportPart,
    ImportRun,
    Membership,
    Person,
    Respirator,
    Standing,
)

LOFT = "Laminating Loft"


def came_to(works: Works, run: ImportRun) -> dict[int | str, str]:
    """Return the state of each line, by its number; of whom the file does not hold, by name."""
    with works.store.reading() as db:
        return {one.line or one.name: one.state for one in imports.lines(db, run.id, "", 0, 99)}


def the_line(works: Works, run: ImportRun, number: int) -> tuple[ImportLine, dict]:
    """Return a line as it was tried, with what it says."""
    with works.store.reading() as db:
        found = next(one for one in imports.lines(db, run.id, "", 0, 99) if one.line == number)
    return found, json.loads(found.said or "{}")


def faults(works: Works, run: ImportRun, number: int) -> str:
    """Return what is wrong with a line."""
    return " ".join(str(one) for one in importing.faults_of(the_line(works, run, number)[1]))


def decide(works: Works, run: ImportRun, number: int, decision: str) -> None:
    """Decide about a line of the file."""
    with works.store.writing() as db:
        line, _ = the_line(works, run, number)
        importing.decide(db, db.get(ImportRun, run.id), {line.id: decision})


def everything(works: Works) -> list[str]:
    """Return everybody as they are, to compare."""
    with works.store.reading() as db:
        return [repr(one) for one in imports.everybody(db)]


def person(works: Works, number: str) -> Person | None:
    """Return somebody by number."""
    with works.store.reading() as db:
        return people.by_number(db, number)


def test_each_line_is_new_changed_the_same_or_bad_and_who_is_not_in_it_is_shown(works):
    run = bring(works, csv_of(
        (*ROSTER, "idioma"),
        ("00417", "Lee", LOFT, ""),
        ("00418", "Kim", "Joinery", "es"),
        ("00777", "Imara Sollis", LOFT, "Spanish"),
        ("", "Nobody", LOFT, ""),
        ("00778", "", LOFT, ""),
        ("00779", "Ravi", "Nowhere", "Klingon"),
        ("0=1", "Ravi", LOFT, ""),
        ("00780", "Ravi", "", ""),
    ))  # fmt: skip
    assert came_to(works, run) == {
        2: "same", 3: "changed", 4: "new", 5: "bad", 6: "bad", 7: "bad", 8: "bad", 9: "bad",
        "Tomas": "left", "Wren": "left", "Noor": "left",
    }  # fmt: skip
    _, said = the_line(works, run, 3)
    assert said["cases"][""]["changes"] == [
        ["language", "en", "es"], ["worksites", LOFT, "Joinery"],
    ]  # fmt: skip
    assert faults(works, run, 5) == "The worker number is missing."
    assert faults(works, run, 6) == "The name is missing."
    assert "no worksite named Nowhere" in faults(works, run, 7)
    assert "Klingon is no language" in faults(works, run, 7)
    assert "1 to 20 letters or digits" in faults(works, run, 8)
    assert faults(works, run, 9) == "The worksite is missing."


def test_nothing_is_done_before_it_is_confirmed_and_then_all_of_it(works):
    before = everything(works)
    run = bring(works, csv_of(
        (*ROSTER, "language", "respirator class", "make", "model", "style", "size"),
        ("00418", "Kim", LOFT, "es", "apr-half", "Invented", "Half 2", "elastomeric", "S"),
        ("00777", "Imara Sollis", f"{LOFT}; Joinery", "es", "", "", "", "", ""),
    ))  # fmt: skip
    assert everything(works) == before
    assert do(works, run) == ""
    imara, kim = person(works, "00777"), person(works, "00418")
    assert (imara.name, imara.language, kim.language) == ("Imara Sollis", "es", "es")
    with works.store.reading() as db:
        assert [one.name for one in people.worksites(db, imara.id)] == [LOFT, "Joinery"]
        assert people.roles(db, imara.id) == {"worker"}
        [worn] = people.respirators(db, kim.id)
        assert (worn.class_slug, worn.size, worn.use) == ("apr-half", "S", "required")
        rows = db.exec(select(Standing).where(Standing.person_id == kim.id)).all()
        assert [(one.respirator_id, one.missing) for one in rows] == [
            (worn.id, "medical training practice fit-test"),
        ]  # fmt: skip
        assert not imports.file_of(db, run.id)
        # Whoever stays keeps the day of coming.
        assert db.get(Membership, (kim.id, works.worksites[LOFT].id)).joined_at < run.brought_at
    assert again(works, run).state == "done"


def test_new_people_stand_as_joining_would_have_let_them_stand(works):
    cells = [("apr-half", "Invented", "Half 2", "elastomeric", "S"), ("", "", "", "", "")]
    run = bring(works, csv_of(
        (*ROSTER, "class", "make", "model", "style", "size"),
        *((f"N{at}", f"Person {chr(65 + at)}xq{at}", ("Joinery", LOFT)[at % 2], *cells[at // 3 % 2])
          for at in range(12)),
    ))  # fmt: skip
    with works.store.writing() as db:
        importing.decide_all(db, db.get(ImportRun, run.id), "doubtful", "other")
    assert do(works, run) == ""

    def stands(db) -> dict[str, list]:
        rows = db.exec(select(Person.number, Standing).join(Standing)).all()
        return {
            number: [one.respirator_id, one.missing, one.begun, one.clear_until, one.next_due]
            for number, one in rows if number.startswith("N")
        }  # fmt: skip

    from trainer.services import standing

    with works.store.writing() as db:
        copied = stands(db)
        for number in copied:
            standing.refresh(db, people.by_number(db, number), works.today)
        assert stands(db) == copied
        assert len(copied) == 12


def test_the_same_file_twice_changes_nothing(works):
    data = csv_of((*ROSTER, "language", "left on"), ("00417", "LEE", LOFT, "es", ""),
                  ("00777", "Sollis, Imara", LOFT, "es", ""),
                  ("00500", "Noor", "", "", "2026-01-05"))  # fmt: skip
    assert do(works, bring(works, data)) == ""
    after = everything(works)
    run = bring(works, data)
    assert set(came_to(works, run).values()) <= {"same", "left"}
    with pytest.raises(Refusal, match="nothing to do"):
        do(works, run)
    assert everything(works) == after
    assert bring(works, data, once="k").id == bring(works, data, once="k").id


def test_numbers_are_text_and_zeros_that_a_spreadsheet_dropped_are_noticed(works):
    run = bring(works, xlsx_of(ROSTER, (417, "Somebody Else", "Joinery"), (12345, "Ravi", LOFT)))
    line, _ = the_line(works, run, 2)
    assert (line.state, line.doubt, line.number) == ("doubtful", "zeros", "417")
    assert importing.said_of(run)["widths"] == [3, 5]


@pytest.mark.parametrize(
    ("number", "name", "place", "doubt"),
    [
        ("00417", "Ravi Odell", LOFT, "other-name"),
        ("00999", "LEE", "Joinery", "same-name"),  # whom the file does not hold
        ("417", "Ravi Odell", "Joinery", "zeros"),
        ("00417", "lee", LOFT, ""),
        ("00999", "Lee Ravindra", "Joinery", ""),
    ],
)
def test_what_is_doubtful(works, number, name, place, doubt):
    line, _ = the_line(works, bring(works, csv_of(ROSTER, (number, name, place))), 2)
    assert line.doubt == doubt
    assert (line.state == "doubtful") == bool(doubt)


def test_names_nearly_alike_at_one_worksite_are_doubtful_elsewhere_not(works):
    with works.store.writing() as db:
        joining.add_person(db, works.now, number="60", name="Imara Sollis", roles=["worker"],
                           worksites=[works.worksites[LOFT].id])  # fmt: skip
    run = bring(works, csv_of(
        ROSTER, ("61", "Imarah Sollis", LOFT), ("62", "Imarra Sollis", "Joinery"),
        ("63", "Ravi Odell", LOFT), ("64", "Odell, Ravi", LOFT), ("65", "Ravi Odell", "Joinery"),
        ("66", "Ravy Odell", "Joinery"),
    ))  # fmt: skip
    told = {line: the_line(works, run, line)[0].doubt for line in range(2, 8)}
    assert told == {2: "near-name", 3: "", 4: "", 5: "twice-named", 6: "", 7: "near-name"}


def test_a_doubtful_line_waits_for_a_person(works):
    run = bring(works, csv_of((*ROSTER, "language"), ("00999", "Lee", LOFT, "es"),
                              ("00418", "Ravi Odell", LOFT, "")))  # fmt: skip
    with pytest.raises(Refusal, match="Doubtful lines wait"):
        do(works, run)
    lee, kim = person(works, "00417"), person(works, "00418")
    with pytest.raises(Refusal, match="Choose one of these"):
        decide(works, run, 2, f"same:{kim.id}")
    decide(works, run, 2, f"same:{lee.id}")
    decide(works, run, 3, f"same:{kim.id}")
    assert do(works, run) == ""
    assert person(works, "00999") is None
    assert (person(works, "00417").language, person(works, "00418").name) == ("es", "Ravi Odell")
    # Said once, it is not asked again.
    twice = bring(works, csv_of((*ROSTER, "language"), ("00999", "Lee", LOFT, "es")))
    assert came_to(works, twice)[2] == "same"


def test_another_person_of_the_same_name_is_added_and_one_left_out_is_not(works):
    run = bring(works, csv_of(ROSTER, ("00999", "Lee", LOFT), ("00998", "Kim", LOFT)))
    decide(works, run, 2, "other")
    decide(works, run, 3, "out")
    assert do(works, run) == ""
    assert (person(works, "00999").name, person(works, "00998")) == ("Lee", None)


def test_two_lines_cannot_be_about_one_person(works):
    run = bring(works, csv_of((*ROSTER, "language"), ("00998", "Lee", LOFT, "es"),
                              ("00999", "Lee", "Joinery", "es")))  # fmt: skip
    lee = person(works, "00417")
    for line in (2, 3):
        decide(works, run, line, f"same:{lee.id}")
    assert "Lines 2 and 3 are both about Lee" in do(works, run)


def test_a_number_twice_in_the_file_is_bad_alike_or_not(works):
    run = bring(works, csv_of(
        ROSTER, ("70", "Ravi", LOFT), ("70", "Ravi", LOFT), ("71", "Ana", LOFT),
        ("71", "Anna", LOFT),
    ))  # fmt: skip
    assert came_to(works, run) | {} == {
        2: "new", 3: "bad", 4: "bad", 5: "bad", "Lee": "left", "Kim": "left", "Tomas": "left",
    }  # fmt: skip
    assert "already, as line 2" in faults(works, run, 3)
    assert "stands in line 5 too" in faults(works, run, 4)


def test_whom_the_file_does_not_hold_leaves_only_with_a_tick_of_their_own(works):
    data = csv_of(ROSTER, ("00417", "Lee", LOFT), ("70", "Ravi", LOFT))
    run = bring(works, data)
    with works.store.writing() as db:
        importing.decide_all(db, db.get(ImportRun, run.id), "left", "leave")
        tomas = next(one for one in imports.lines(db, run.id, "left", 0, 9) if one.name == "Tomas")
        importing.decide(db, db.get(ImportRun, run.id), {tomas.id: ""})
    assert do(works, run) == ""
    assert person(works, "00418").left_on and not person(works, "00002").left_on
    with works.store.reading() as db:
        [entry] = record.of_person(db, "00418")
        assert (entry.kind, record.body(entry)["left_on"]) == ("left", works.today.isoformat())
    # A roster that holds them again brings them back.
    back = bring(works, csv_of(ROSTER, ("00418", "Kim", LOFT)))
    assert came_to(works, back)[2] == "back"
    assert do(works, back) == ""
    assert person(works, "00418").left_on is None


def test_it_is_taken_back_as_a_whole(works):
    with works.store.writing() as db:
        noor = db.get(Person, works.people["Noor"].id)
        leaving.leave(db, works.scribe(), noor, once="left", on=works.today - timedelta(days=9))
    before = everything(works)
    run = bring(works, csv_of(
        (*ROSTER, "language", "class", "make", "model", "style", "size"),
        ("00417", "Lee", "Joinery", "es", "apr-half", "Invented", "Half 2", "elastomeric", "L"),
        ("00500", "Noor", "Joinery", "", "", "", "", "", ""),
        ("70", "Ravi", LOFT, "", "apr-half", "Invented", "Half 2", "elastomeric", "L"),
    ))  # fmt: skip
    with works.store.writing() as db:
        importing.decide_all(db, db.get(ImportRun, run.id), "left", "leave")
    assert do(works, run) == ""
    assert everything(works) != before
    assert undo(works, run) == ""
    assert everything(works) == before
    assert again(works, run).state == "undone"
    with works.store.reading() as db:
        # What was given is ended and not deleted; whoever was added and never used is gone.
        ended = db.exec(select(func.count()).where(Respirator.ended_at.is_not(None))).one()
        assert ended == 1
        assert next(record.verify(db)) is None


def test_where_something_was_recorded_or_changed_since_nothing_is_taken_back(works):
    run = bring(works, csv_of((*ROSTER, "language"), ("00417", "Lee", LOFT, "es"),
                              ("00418", "Kim", LOFT, "es"), ("70", "Ravi", LOFT, "")))  # fmt: skip
    assert do(works, run) == ""
    with works.store.writing() as db:
        lee, kim = (people.by_number(db, number) for number in ("00417", "00418"))
        recording.record_appendix_d(db, works.scribe(), lee, once="d", on=works.today)
        joining.change_person(db, works.scribe(), kim, name="Kim Vale", roles=["worker"],
                              language="es", worksites=[works.worksites[LOFT].id],
                              qualification="")  # fmt: skip
    after = everything(works)
    with works.store.reading() as db:
        found, count = importing.stands_in_the_way(db, db.get(ImportRun, run.id))
    assert [(one.number, one.why) for one in found] == [("00417", "recorded"), ("00418", "changed")]
    assert count == 2
    assert "Lee (00417), Kim Vale (00418)" in undo(works, run)
    assert everything(works) == after


def test_whoever_was_added_and_is_referred_to_is_kept_and_marked_as_left(works):
    run = bring(works, csv_of((*ROSTER, "class", "make", "model", "style", "size"),
                              ("70", "Ravi", LOFT, *["apr-half", "M", "H", "e", "S"])))  # fmt: skip
    assert do(works, run) == ""
    from trainer.services import asking

    with works.store.writing() as db:
        ravi = people.by_number(db, "70")
        asking.ask(db, ravi, "When?", once="q", language="en", now=works.now)
    assert undo(works, run) == ""
    assert person(works, "70").left_on


def test_what_changed_since_the_lines_were_tried_stops_all_of_it(works):
    run = bring(works, csv_of((*ROSTER, "language"), ("00417", "Lee", LOFT, "es"),
                              ("70", "Ravi", LOFT, "")))  # fmt: skip
    with works.store.writing() as db:
        worn = HALF_MASK | {"size": "L"}
        joining.give_respirator(db, works.scribe(), works.people["Lee"], **worn)
    after = everything(works)
    assert "something has changed that they touch: Lee (00417)" in do(works, run)
    assert everything(works) == after
    assert again(works, run).state == "tried"
    # Somebody of the same name has come meanwhile: that is for a person to look at.
    other = bring(works, csv_of(ROSTER, ("71", "Ana Ruiz", LOFT)))
    with works.store.writing() as db:
        joining.add_person(db, works.now, number="72", name="Ruiz, Ana", roles=["worker"],
                           worksites=[works.worksites[LOFT].id])  # fmt: skip
    assert "Ana Ruiz (71)" in do(works, other)


def test_asked_for_twice_it_is_done_once(works):
    run = bring(works, csv_of(ROSTER, ("70", "Ravi", LOFT)))
    with works.store.writing() as db:
        kept = db.get(ImportRun, run.id)
        seen = importing.foreseen(db, kept)
        asked = {importing.ask_do(db, works.scribe(), kept, seen, "k", "en").id for _ in range(2)}
    assert len(asked) == 1
    errands.run_all(works.store)
    with works.store.writing() as db:
        assert importing.ask_do(db, works.scribe(), kept, seen, "k", "en").id in asked
        with pytest.raises(Refusal, match="meanwhile"):
            importing.ask_do(db, works.scribe(), again(works, run), seen, "other", "en")


def test_a_coordinator_does_not_lose_the_role_by_their_own_file(works):
    run = bring(works, csv_of((*ROSTER, "role", "left on"), ("00001", "Ida", LOFT, "worker", ""),))
    assert "coordinator's role from yourself" in faults(works, run, 2)


def test_bad_lines_come_out_in_the_columns_of_the_file_and_go_in_again(works):
    data = csv_of((*ROSTER, "shoe size"), ("70", "Ravi", "Loft", "=44"), ("71", "Ana", LOFT, "40"))
    run = bring(works, data)
    with works.store.reading() as db:
        text = "".join(importing.bad_lines(db, db.get(ImportRun, run.id), ("Line", "Reason"), str))
    assert text.splitlines()[0].removeprefix("\ufeff") == (
        "worker number,name,worksite,shoe size,Line,Reason"
    )
    assert text.splitlines()[1].startswith("70,Ravi,Loft,'=44,2,\"There is no")
    right = bring(works, text.replace("Ravi,Loft", f"Ravi,{LOFT}").encode())
    assert came_to(works, right)[2] == "new"


THREE_THOUSAND = csv_of(ROSTER, *((f"M{at:04}", f"P{at}a Q{at}b", LOFT) for at in range(3000)))

KILLED = """
import os, signal, sys
from trainer import config
from trainer.services import errands, importing, roster_writing
from trainer.store.engine import Store

store = Store(config.read(data=sys.argv[1]).database_url)
write = roster_writing._Rows.write

def killed(rows, db):
    write(rows, db)
    os.kill(os.getpid(), signal.SIGKILL)

roster_writing._Rows.write = killed
errands.run_all(store)
"""


def test_a_process_killed_in_the_middle_leaves_nothing_and_the_next_does_it_all(works, settings):
    run = bring(works, THREE_THOUSAND)
    before = everything(works)
    with works.store.writing() as db:
        kept = db.get(ImportRun, run.id)
        importing.decide_all(db, kept, "doubtful", "other")
        importing.ask_do(db, works.scribe(), kept, importing.foreseen(db, kept), "k", "en")
    ended = subprocess.run([sys.executable, "-c", KILLED, str(settings.data)], check=False)
    assert ended.returncode == -signal.SIGKILL
    assert everything(works) == before
    with works.store.writing() as db:
        from trainer.store.tables import Errand

        waiting = db.exec(select(Errand).where(Errand.state == "running")).one()
        waiting.alive_at = datetime.now(UTC) - errands.QUIET * 2
        db.add(waiting)
    errands.run_all(works.store)
    assert len(everything(works)) == len(before) + 3000
    assert again(works, run).state == "done"


def test_what_fails_in_the_middle_leaves_nothing(works, monkeypatch):
    run = bring(works, csv_of((*ROSTER, "language"), ("70", "Ravi", LOFT, ""),
                              ("00417", "Lee", LOFT, "es")))  # fmt: skip
    before = everything(works)

    def fail(*_, **__):
        raise OSError("the disk is full")

    monkeypatch.setattr(roster_writing, "_show", fail)
    assert "could not be done" in do(works, run)
    assert everything(works) == before


@pytest.mark.parametrize(
    ("kind", "rows"),
    [
        ("roster", [ROSTER, ("09001", "Ana", LOFT), ("09002", "Ben", LOFT)]),
        ("fit-tests", [FIT, ("00417", "2026-03-02", "saccharin", *MASK, "passed", "", "")]),
    ],
)
def test_what_takes_too_long_to_try_is_refused_and_leaves_everything_as_it_was(
    works, monkeypatch, kind, rows
):
    run = bring(works, csv_of(*rows), kind)
    before = everything(works), came_to(works, run)
    with monkeypatch.context() as hurried:
        hurried.setattr(reading_tables, "MOST_SECONDS", -1.0)
        assert tried_again(works, run) == reading_tables.TOO_LONG.text
    assert (everything(works), came_to(works, run)) == before
    # The file is still there, and its lines may be tried once more.
    assert tried_again(works, run) == ""
    assert again(works, run).state == "tried"


def tried_again(works: Works, run: ImportRun) -> str:
    """Try the lines of a run once more; return "" or the sentence that refuses it."""
    with works.store.writing() as db:
        kept = db.get(ImportRun, run.id)
        asked = importing.try_again(db, works.scribe("Ida", datetime.now(UTC)), kept, "en")
    errands.run_all(works.store)
    with works.store.reading() as db:
        return errands.said(db.get(Errand, asked.id)).get("text", "")


def test_given_up_a_file_leaves_nothing_behind(works):
    run = bring(works, csv_of(ROSTER, ("70", "Ravi", LOFT)))
    with works.store.writing() as db:
        importing.give_up(db, db.get(ImportRun, run.id))
        assert db.exec(select(func.count()).select_from(ImportPart)).one() == 0
        assert db.exec(select(func.count()).select_from(ImportLine)).one() == 0
        with pytest.raises(Refusal, match="meanwhile"):
            importing.try_again(db, works.scribe(), db.get(ImportRun, run.id), "en")


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_the_template_is_read_and_its_example_refused(works, language, ending):
    from trainer.services import import_templates, matching_columns

    make = {"csv": import_templates.as_csv, "xlsx": import_templates.as_xlsx}[ending]
    for kind in matching_columns.KINDS:
        seen = importing.prepare(kind, make(kind, language))
        if kind != "medical":
            assert list(seen.columns) == import_templates.header(kind, language)
        run = bring(works, make(kind, language), kind=kind)
        assert list(came_to(works, run).values()) == ["bad"], kind


def test_a_day_that_can_be_read_in_two_ways_is_asked_about(works):
    data = csv_of((*ROSTER, "left on"), ("00417", "Lee", LOFT, "3/4/2026"))
    with pytest.raises(Refusal, match="two ways"):
        bring(works, data, days="")
    run = bring(works, data, days="dmy")
    assert the_line(works, run, 2)[1]["cases"][""]["after"]["left_on"] == "2026-04-03"
    assert date(2026, 4, 3) < works.today


