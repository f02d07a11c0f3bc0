"""Taking the record out: RFC 4180, and no cell that a spreadsheet would run."""

import csv
import io
from datetime import date, timedelta

import polars
import pytest

from tests.conftest import Works, pass_lesson, right_answer
from trainer import lessons
from trainer.services import exporting, joining, recording, sitting, teaching
from trainer.store.tables import Person, Worksite

# Issue 2, "Coordinator", in the order named there.
IN_ORDER = (
    "worker number, name, worksite, lesson, lesson version, language, mode, elements covered, "
    "started, completed, score, must-know right, sittings taken, questions asked, "
    "questions answered, practice watched by, trainer, "
    "trainer qualification, respirators covered, worksite part, reason, rule set, due again, "
    "recorded by, entry number, entry hash"
)
BEHIND = (
    "kind, happened on, recorded at, corrects entry, correction reason, corrected by entry, "
    "brought in from"
)
COLUMNS = [*IN_ORDER.split(", "), *BEHIND.split(", ")]
ALL_DAYS = (date(2000, 1, 1), date(2100, 1, 1))


def taken_out(works: Works, first=ALL_DAYS[0], last=ALL_DAYS[1], worksite=None) -> str:
    """Return the record as CSV."""
    with works.store.reading() as db:
        choice = exporting.Choice(first, last, worksite=worksite)
        return "".join(exporting.csv_lines(db, choice))


def rename(works: Works, name: str, new: str) -> None:
    """Give somebody another name."""
    with works.store.writing() as db:
        joining.change_person(
            db, works.scribe(), db.get(Person, works.people[name].id), name=new,
            roles=["worker"], language="en", worksites=[1], qualification="",
        )


def test_every_column_in_its_order_and_every_line_ends_in_cr_lf(works):
    """RFC 4180, 2.1 and 2.3; the columns of issue 2."""
    pass_lesson(works, "Lee", "protection-factors", works.now)
    text = taken_out(works)
    lines = text.split("\r\n")
    assert lines[0] == ",".join(COLUMNS)
    assert (len(lines), lines[-1]) == (3, "")
    assert "\n" not in text.replace("\r\n", "")


def test_another_reader_reads_what_was_written(works):
    """A name with comma, quotes and a line's end inside, read by polars."""
    name = 'Sollis, "Imara" Ñ'
    rename(works, "Lee", name)
    pass_lesson(works, "Lee", "protection-factors", works.now)
    table = polars.read_csv(taken_out(works).encode(), infer_schema=False)
    row = table.row(0, named=True)
    assert list(row) == COLUMNS
    assert (row["name"], row["worker number"]) == (name, "00417")
    assert (row["worksite"], row["lesson"]) == ("Laminating Loft", "protection-factors")
    assert (row["mode"], row["sittings taken"], row["recorded by"]) == ("read", "1", "00417")
    assert (row["questions asked"], row["questions answered"]) == ("0", "0")
    assert (row["score"], row["reason"], row["rule set"]) == ("7 of 7", "first", "federal")
    assert (row["entry number"], len(row["entry hash"])) == ("1", 64)
    # ISO 8601, with the moment's zone.
    assert row["started"].endswith("Z")
    assert row["completed"][:10] == works.now.date().isoformat()


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "\x00"])
def test_no_cell_begins_a_formula(start):
    """OWASP on CSV injection, and ASVS 5.0 item 1.2.10."""
    assert exporting.harmless(f"{start}1+1") == f"'{start}1+1"
    assert exporting.harmless(f"1{start}") == f"1{start}"


def test_a_name_that_would_run_comes_out_harmless(works):
    rename(works, "Lee", '=HYPERLINK("https://elsewhere.example")')
    pass_lesson(works, "Lee", "protection-factors", works.now)
    [row] = csv.DictReader(io.StringIO(taken_out(works)))
    assert row["name"] == '\'=HYPERLINK("https://elsewhere.example")'
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in row.values())


def test_medical_fit_test_and_appendix_d_never_come_out(works):
    """29 CFR 1910.134(m)(1): medical records go by 1910.1020, with an access right of their own."""
    with works.store.writing() as db:
        by, lee = works.scribe(), works.people["Lee"]
        recording.record_medical(db, by, lee, once="m", on=works.today, outcome="not")
        recording.record_appendix_d(db, by, lee, once="d", on=works.today)
    pass_lesson(works, "Lee", "protection-factors", works.now)
    text = taken_out(works)
    assert [row["entry number"] for row in csv.DictReader(io.StringIO(text))] == ["3"]
    assert "medical" not in text


def test_a_period_and_a_worksite_choose_the_rows(works):
    for name in ("Lee", "Noor"):
        pass_lesson(works, name, "protection-factors", works.now)
    day, tomorrow = works.today, works.today + timedelta(days=1)

    def numbers(*period, worksite=None) -> list[str]:
        given = csv.DictReader(io.StringIO(taken_out(works, *period, worksite)))
        return [row["worker number"] for row in given]

    assert numbers(day, day) == ["00417", "00500"]
    assert numbers(day, day, worksite="Joinery") == ["00500"]
    assert numbers(tomorrow, tomorrow) == []
    assert numbers(day, day, worksite="Join") == []


@pytest.mark.parametrize("on_paper", [False, True])
def test_a_lesson_taught_in_a_room_says_so_and_by_whom(works, on_paper):
    lesson = lessons.load().get("protection-factors")
    day = works.today - timedelta(days=1)
    with works.store.writing() as db:
        lee, by = db.get(Person, works.people["Lee"].id), works.scribe("Tomas")
        teaching.give(
            db, by, db.get(Worksite, works.worksites["Laminating Loft"].id), once="talk", day=day,
            began=None, minutes=45, language="en", mode="taught in person", slugs=[lesson.slug],
            numbers=[lee.number],
        )  # fmt: skip
        there = sitting.draw_new(db, lee, lesson, works.now, on_paper=on_paper)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        scribe = by if on_paper else works.scribe("Lee")
        sitting.close(db, scribe, there, "en", 80, works.today if on_paper else None)
    row = polars.read_csv(taken_out(works).encode(), infer_schema=False).row(0, named=True)
    paper = "; sitting on paper" if on_paper else ""
    assert row["mode"] == f"taught in person on {day.isoformat()}{paper}"
    assert row["trainer"] == "Tomas (00002)"
    assert row["trainer qualification"] == "Industrial hygiene technician"
    assert row["practice watched by"] in ("", None)
    assert row["recorded by"] == ("00002" if on_paper else "00417")
