"""Every format opened again by another library and compared with the record, entry by entry."""

import csv
import io
import json
import zipfile
from copy import deepcopy
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from uuid import UUID

import jsonschema
import openpyxl
import pandas
import polars
import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.utils.escape import unescape
from sqlmodel import select

from tests.services import told
from trainer.services import errands, exporting, record_on_paper, statements, wishes, workbook
from trainer.services.columns import NUMBER, Table
from trainer.services.exporting import Choice
from trainer.services.wishes import Wish
from trainer.store import record
from trainer.store.board import Filter
from trainer.store.record import Taken
from trainer.store.tables import Entry, Person

BASE = "https://training.example.org/"
LATER = told.NOW + timedelta(days=30)
DOCS = Path(__file__).parents[2] / "docs"
SCHEMA = json.loads((DOCS / "record.schema.json").read_text("utf-8"))
STATEMENT = json.loads((Path(__file__).parent / "xapi_statement.schema.json").read_text("utf-8"))
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\x00")
ALL = Choice(what="everything")
WITH_MEDICAL = Choice(what="everything", medical=True)


@pytest.fixture
def entries(works):
    """Return entries of a record that has every kind, hostile names and corrections."""
    return told.fill(works.store)


def rows(works, choice=ALL) -> list[dict[str, str]]:
    """Return the cells of what is taken out, by the names of their columns."""
    own = exporting.columns_of(choice)
    table = Table(own)
    with works.store.reading() as db:
        return [
            dict(zip([one.name for one in own], table.cells(*fact), strict=True))
            for fact in exporting.facts(db, choice)
        ]


def csv_of(works, choice=ALL) -> str:
    with works.store.reading() as db:
        return "".join(exporting.csv_lines(db, choice))


def recorded(works, *without: str) -> dict[int, Entry]:
    with works.store.reading() as db:
        found = db.exec(select(Entry).order_by(Entry.number)).all()
    return {one.number: one for one in found if one.kind not in without}


# What is in it


def test_each_choice_holds_its_kinds_and_no_determination(works, entries):
    kinds = {what: {row["kind"] for row in rows(works, Choice(what=what))} for what in
             exporting.WHAT}  # fmt: skip
    assert kinds["training"] == {*exporting.KINDS, "correction"}
    assert kinds["fit-tests"] == {"fit-test"}
    assert kinds["everything"] == set(told.BODIES) - {"medical"} | {"correction"}
    for what in exporting.WHAT:
        text = csv_of(works, Choice(what=what))
        assert "powered_only" not in text
        assert "medical" not in text


def test_determinations_come_out_only_where_they_are_asked_for(works, entries):
    found = {row["kind"]: row for row in rows(works, WITH_MEDICAL)}
    assert found["medical"]["medical limit"] == "powered_only"
    assert found["medical"]["medical until"] == "2027-02-28"
    assert found["medical"]["corrected by entry"] == str(entries["medical corrected"].number)
    assert found["medical-correction"]["medical outcome"] == "cleared"
    assert "medical" in {row["kind"] for row in rows(works, Choice(medical=True))}


def test_what_is_counted_is_what_comes_out(works, entries):
    for what in exporting.WHAT:
        for medical in (False, True):
            choice = Choice(what=what, medical=medical)
            with works.store.reading() as db:
                assert exporting.how_many(db, choice) == len(rows(works, choice))


def test_a_corrected_entry_stands_and_its_correction_stands_beside_it(works, entries):
    found = {int(row["entry number"]): row for row in rows(works)}
    first, correction = found[entries["lesson"].number], found[entries["corrected"].number]
    # Both say which one is the newest.
    assert first["corrected by entry"] == str(entries["again"].number)
    assert (first["score"], correction["score"]) == ("6 of 7", "7 of 7")
    assert correction["corrects entry"] == first["entry number"]
    assert correction["correction reason"] == "wrong-value: read it wrong"
    assert (first["kind"], correction["kind"]) == ("lesson", "correction")
    assert correction["corrected by entry"] == str(entries["again"].number)
    struck = found[entries["struck"].number]
    assert struck["lesson"] == f"struck: entry {entries['=1+1'].number} should not have been"
    assert (struck["score"], struck["correction reason"]) == ("", "not-done: read it wrong")


def test_a_correction_made_outside_of_the_period_follows(works, entries):
    day = date(2025, 2, 3)
    found = rows(works, Choice(day, day))
    assert [row["entry number"] for row in found] == [
        str(entries["brought in"].number), str(entries["late"].number),
    ]  # fmt: skip
    assert found[0]["brought in from"] == "=old.csv, line 7"


def test_a_body_that_was_erased_leaves_its_line(works):
    taken = Taken(5, "lesson", "00417", "Joinery", "2026-01-02", "2026-01-02T00:00:00Z", None, "f")
    own = exporting.columns_of(Choice())
    row = dict(zip([one.name for one in own],
                   Table(own).cells(taken, {}, exporting.NOTHING), strict=True))  # fmt: skip
    kept = {name: value for name, value in row.items() if value}
    assert kept == {
        "worker number": "00417", "worksite": "Joinery", "entry number": "5", "entry hash": "f",
        "kind": "lesson", "happened on": "2026-01-02", "recorded at": "2026-01-02T00:00:00Z",
        "lesson": "erased as retention allows",
    }  # fmt: skip


# Whose it is


def test_a_worksite_alone_is_what_was_recorded_there_by_whoever_left(works, entries):
    joinery = works.worksites["Joinery"].id
    with works.store.reading() as db:
        wish = Wish(filter=Filter(worksite=joinery))
        choice = wishes.choice(db, wish, works.today, 30, sees_medical=True)
    numbers = [row["worker number"] for row in rows(works, choice)]
    # Kim is of no worksite here, and the correction was recorded elsewhere.
    assert numbers == ["00510", "00510"]


def test_a_search_is_of_people_wherever_it_was_recorded(works, entries):
    with works.store.writing() as db:
        told.enter(db, "lesson", told.LESSON, worksite="Joinery")
    wish = Wish(filter=Filter(worksite=works.worksites["Laminating Loft"].id, search="lee"))
    with works.store.reading() as db:
        choice = wishes.choice(db, wish, works.today, 30, sees_medical=True)
    found = rows(works, choice)
    assert {row["worker number"] for row in found} == {"00417"}
    assert {row["worksite"] for row in found} == {"Laminating Loft", "Joinery"}


@pytest.mark.parametrize("wish", [
    Wish(),
    Wish(date(2026, 1, 2), date(2026, 3, 4), "everything", True, Filter(search="ñ & =")),
    Wish(what="fit-tests", filter=Filter(worksite=3, state="not", missing="practice", due=60)),
])  # fmt: skip
def test_an_address_keeps_a_wish(wish):
    assert Wish.of_address(wish.query()) == wish


# CSV and JSON


def test_pandas_and_polars_read_the_csv_as_it_is_recorded(works, entries):
    text = csv_of(works, WITH_MEDICAL)
    by_pandas = pandas.read_csv(io.StringIO(text, newline=""), dtype=str, keep_default_na=False)
    by_polars = polars.read_csv(text.encode(), infer_schema=False).fill_null("")
    kept = recorded(works)
    assert list(by_pandas["entry number"].astype(int)) == sorted(kept)
    assert by_polars["entry hash"].to_list() == [kept[at].hash for at in sorted(kept)]
    for row in by_pandas.to_dict("records"):
        entry = kept[int(row["entry number"])]
        said = record.body(entry)
        said = (said["said"] or said) if "said" in said else said
        assert row["name"].removeprefix("'") == said["name"]
        assert row["worker number"] == entry.person_number
        assert row["recorded by"] == "00001"
        assert row["kind"] == entry.kind
    names = set(by_pandas["name"])
    assert {"'=1+1", "'@SUM(A1)", "'\t=1", "'\r=1", 'Sollis, "Imara"\nÑandú'} <= names
    assert not any(cell.startswith(FORMULA) for column in by_pandas for cell in by_pandas[column])


def test_json_holds_what_the_schema_says_and_what_is_recorded(works, entries):
    with works.store.reading() as db:
        whole = json.loads("".join(exporting.json_array(db, WITH_MEDICAL)))
        lines = "".join(exporting.json_lines(db, WITH_MEDICAL)).splitlines()
    jsonschema.validate(whole, SCHEMA, cls=jsonschema.Draft202012Validator)
    assert [json.loads(line) for line in lines] == whole
    kept = recorded(works)
    assert {one["entry_number"]: one["said"] for one in whole} == {
        number: json.loads(entry.body) for number, entry in kept.items()
    }
    assert all(one["entry_hash"] == kept[one["entry_number"]].hash for one in whole)
    frame = pandas.read_json(io.StringIO("\n".join(lines)), lines=True, dtype=False)
    assert frame["fit_factor"].dropna().to_list() == [312.5]
    assert frame["entry_number"].to_list() == sorted(kept)


def test_the_schema_names_every_column_and_refuses_another(works, entries):
    keys = {one.key for one in exporting.columns_of(WITH_MEDICAL)}
    assert set(SCHEMA["items"]["properties"]) == keys | {"said"}
    with works.store.reading() as db:
        whole = json.loads("".join(exporting.json_array(db, ALL)))
    for broken in ({"entry_number": "1"}, {"name": 3}, {"due_again": "soon"}, {"more": 1}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate([whole[0] | broken], SCHEMA)


def test_nothing_to_take_out_is_a_header_and_an_empty_array(works):
    with works.store.reading() as db:
        assert json.loads("".join(exporting.json_array(db, ALL))) == []
        assert "".join(exporting.json_lines(db, ALL)) == ""
    assert csv_of(works).count("\r\n") == 1


TEXTS = st.text(max_size=12) | st.sampled_from(told.HOSTILE)


@given(name=TEXTS, title=TEXTS, proof=TEXTS, right=st.integers(0, 99))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_a_body_says_comes_back_whole_and_runs_nowhere(name, title, proof, right):
    body = told.LESSON | {
        "kind": "lesson", "name": name, "lesson": title, "reason": proof, "right": right,
        "person_number": "7", "worksite": title, "happened_on": "2026-11-20",
        "recorded_by": {"number": proof, "name": name},
    }  # fmt: skip
    entry = Taken(1, "lesson", "7", title, "2026-11-20", "2026-11-20T00:00:00Z", "{}", "ab" * 32)
    own = exporting.columns_of(Choice())
    cells = Table(own).cells(entry, body, exporting.NOTHING)
    line = exporting._Writer(own).line(cells)
    [back] = list(csv.reader(io.StringIO(line, newline="")))
    assert not any(cell.startswith(FORMULA) for cell in back)
    for cell, given_, column in zip(back, cells, own, strict=True):
        assert cell == given_ or (cell == f"'{given_}" and given_.startswith(FORMULA)), column.name


# XLSX


def book_of(works, choice=ALL, **more) -> openpyxl.Workbook:
    out = io.BytesIO()
    with works.store.reading() as db:
        workbook.write(db, choice, out, told.NOW, **more)
    return openpyxl.load_workbook(out)


def test_openpyxl_reads_days_numbers_and_text_and_no_formula(works, entries):
    sheet = book_of(works, WITH_MEDICAL).active
    own = exporting.columns_of(WITH_MEDICAL)
    head, *lines = sheet.iter_rows()
    assert [cell.value for cell in head] == [one.name for one in own]
    assert sheet.freeze_panes == "A2"
    assert sheet.auto_filter.ref.endswith(str(len(lines) + 1))
    expected = rows(works, WITH_MEDICAL)
    assert len(lines) == len(expected) == len(recorded(works))
    for line, row in zip(lines, expected, strict=True):
        for cell, column in zip(line, own, strict=True):
            text = row[column.name]
            assert cell.data_type != "f", (column.name, text)
            match column.type:
                case _ if not text:
                    assert cell.value is None
                case "number":
                    assert (cell.data_type, cell.value) == ("n", float(text))
                case "date" | "moment":
                    moment = datetime.fromisoformat(text).replace(tzinfo=None)
                    assert cell.is_date and abs(cell.value - moment) < timedelta(milliseconds=1)
                case "text":
                    assert cell.data_type == "s"
                    # A carriage return reads as a line end in XML, 2.11.
                    same = text.replace("\r", "\n")
                    assert unescape(cell.value).replace("\r", "\n") == same
    assert {row[0].value for row in lines} >= {"00417", "00500"}


def test_more_rows_than_a_sheet_holds_stand_on_further_ones(works, entries):
    book = book_of(works, most_rows=5)
    count = len(rows(works))
    assert book.sheetnames[:2] == ["Record", "Record 2"]
    assert len(book.sheetnames) == -(-count // 4)
    numbers = [
        line[24].value for sheet in book for line in sheet.iter_rows(min_row=2)
    ]
    assert numbers == [int(row["entry number"]) for row in rows(works)]
    assert all(sheet.freeze_panes == "A2" and sheet["A1"].value == "worker number"
               for sheet in book)  # fmt: skip


def asked(works, kind: str, wish: Wish, language: str = "en"):
    about = {"address": wish.query(), "today": works.today.isoformat(), "soon_days": 30}
    with works.store.writing() as db:
        errand = errands.ask(db, works.scribe(), kind, about, once=kind, language=language)
    errands.run_all(works.store)
    with works.store.reading() as db:
        errand = db.get(type(errand), errand.id)
        return errand, b"".join(errands.file_of(db, errand))


def test_the_errand_makes_the_workbook(works, entries):
    errand, data = asked(works, workbook.KIND, Wish(what="fit-tests"))
    assert errand.file_name.endswith(".xlsx")
    assert errands.said(errand) == {"rows": 1}
    [_, line] = openpyxl.load_workbook(io.BytesIO(data)).active.iter_rows(values_only=True)
    assert line[0] == "00417" and 312.5 in line


# xAPI


def statements_of(works, choice=ALL, now=LATER) -> list[dict]:
    with works.store.reading() as db:
        return json.loads("".join(statements.lines(db, choice, BASE, now)))


def faults(found: list[dict], now: datetime) -> list[str]:
    """Return what the standard forbids, beyond what a schema can say."""
    said = []
    check = jsonschema.Draft202012Validator(STATEMENT)
    for one in found:
        said += [fault.message for fault in check.iter_errors(one)]
    if said:
        return said
    ids = [one.get("id") for one in found]
    if len(set(ids)) != len(ids):
        said.append("2.4.1: an id twice")
    voiding = {one["id"] for one in found
               if one.get("verb", {}).get("id", "").endswith("/voided")}  # fmt: skip
    for one in found:
        if one.get("object", {}).get("id") in voiding:
            said.append("2.3.2: a voiding statement is voided")
        if datetime.fromisoformat(one["timestamp"]) > now:
            said.append("2.4.7: a timestamp to come")
        score = one.get("result", {}).get("score", {})
        low, high, raw = (score.get(key) for key in ("min", "max", "raw"))
        if low is not None and high is not None and not low < high:
            said.append("2.4.5.1: min is not below max")
        if raw is not None and not (low is None or low <= raw) & (high is None or raw <= high):
            said.append("2.4.5.1: raw is not between min and max")
        if "null" in json.dumps(one):
            said.append("2.2: null")
    return said


def test_every_statement_keeps_the_standards_rules(works, entries):
    found = statements_of(works, WITH_MEDICAL)
    assert faults(found, LATER) == []
    text = json.dumps(found)
    # No determination, no mail, nobody's domain but ours.
    for word in ("medical", "powered_only", "mbox", "mailto"):
        assert word not in text
    verbs = {one["verb"]["id"].rsplit("/", 1)[1] for one in found}
    assert verbs == {"passed", "failed", "completed", "waived", "voided"}
    assert {one["actor"]["account"]["homePage"] for one in found} == {BASE}


def test_a_lesson_is_told_as_it_is_recorded(works, entries):
    found = {one["id"]: one for one in statements_of(works)}
    lesson = found[str(statements.statement_id(BASE, entries["lesson"].hash))]
    assert lesson["actor"] == {
        "objectType": "Agent", "name": "Lee", "account": {"homePage": BASE, "name": "00417"},
    }  # fmt: skip
    assert lesson["object"]["id"] == f"{BASE}lessons/protection-factors"
    assert set(lesson["object"]["definition"]["name"]) == {"en", "es"}
    assert lesson["result"] == {
        "score": {"scaled": 0.9091, "raw": 10, "min": 0, "max": 11},
        "success": True, "completion": True, "duration": "PT12M30.5S",
    }  # fmt: skip
    assert lesson["context"]["language"] == "es"
    ours = f"{BASE}extensions/"
    kept = lesson["context"]["extensions"]
    assert kept[f"{ours}entry-hash"] == entries["lesson"].hash
    assert kept[f"{ours}content-hash"] == "0123456789ab"
    assert kept[f"{ours}elements"] == ["(k)(1)(i)"]
    assert kept[f"{ours}worksite"] == "Laminating Loft"
    assert lesson["timestamp"] == "2026-11-20T14:12:30.500Z"


def test_a_statement_is_the_same_each_time_and_another_under_another_domain(works, entries):
    first, again = statements_of(works), statements_of(works, now=LATER + timedelta(days=9))
    assert first == again
    assert {UUID(one["id"]).version for one in first} == {5}
    with works.store.reading() as db:
        other = list(statements.statements(db, ALL, "https://other.example.org/", LATER))
    assert not {one["id"] for one in first} & {one["id"] for one in other}


def test_a_correction_voids_what_it_corrects_and_says_it_anew(works, entries):
    found = statements_of(works)

    def of(name: str) -> str:
        return str(statements.statement_id(BASE, entries[name].hash))

    voided = {one["object"]["id"] for one in found if one["object"]["objectType"] == "StatementRef"}
    # The correction of a correction voids what that one put in its place.
    assert voided == {of("lesson"), of("=1+1"), of("corrected"), of("brought in")}
    by_id = {one["id"]: one for one in found}
    assert by_id[of("corrected")]["result"]["score"]["raw"] == 11
    assert of("struck") not in by_id
    voiding = next(one for one in found if one["object"].get("id") == of("=1+1"))
    assert voiding["actor"]["account"]["name"] == "00001"
    assert voiding["context"]["extensions"][f"{BASE}extensions/reason"] == "not-done"


def test_a_day_alone_is_noon_at_the_worksite_and_never_to_come(works, entries):
    found = {one["id"]: one for one in statements_of(works)}
    credit = found[str(statements.statement_id(BASE, entries["credit"].hash))]
    assert credit["timestamp"] == "2026-06-01T17:00:00.000Z"
    # Recorded at nine in the morning, noon of the day was still to come.
    fit_test = found[str(statements.statement_id(BASE, entries["fit-test"].hash))]
    assert fit_test["timestamp"] == "2026-11-20T15:00:00.000Z"


def test_statements_that_break_a_rule_are_refused(works, entries):
    good = next(one for one in statements_of(works) if "score" in one.get("result", {}))
    voiding = next(one for one in statements_of(works) if one["verb"]["id"].endswith("voided"))

    def broken(of: dict, path: str, value: object) -> list[dict]:
        one = deepcopy(of)
        *way, last = path.split("/")
        at = one
        for key in way:
            at = at[key]
        if value is None:
            del at[last]
        else:
            at[last] = value
        return [one]

    assert faults([good], LATER) == faults([voiding], LATER) == []
    for of, path, value in (
        (good, "actor", None), (good, "verb", None), (good, "object", None),
        (good, "id", "not-a-uuid"), (good, "version", "1.0"), (good, "actor/mbox", "mailto:a@b.c"),
        (good, "actor/account/homePage", "here"), (good, "verb/id", "passed"),
        (good, "verb/display", {"in english": "passed"}), (good, "object/id", "lesson 1"),
        (good, "result/score/scaled", 1.5), (good, "result/score/raw", 99),
        (good, "result/score/max", 0), (good, "result/success", "yes"),
        (good, "result/duration", "12 min"), (good, "result/duration", "PT1.234S"),
        (good, "context/language", "español"), (good, "context/extensions", {"worksite": "Loft"}),
        (good, "timestamp", "2026-11-20T14:12:30.500"), (good, "timestamp", "2026-11-20"),
        (good, "timestamp", "2030-01-01T00:00:00.000Z"), (good, "stored", good["timestamp"]),
        (voiding, "object/objectType", "Activity"), (voiding, "object/objectType", None),
        (voiding, "context/platform", "Here"), (voiding, "object/id", voiding["id"]),
    ):  # fmt: skip
        assert faults(broken(of, path, value), LATER), (path, value)
    assert faults([good, good], LATER)


# PDF


def pages_of(data: bytes) -> tuple[pypdf.PdfReader, str]:
    read = pypdf.PdfReader(io.BytesIO(data))
    return read, " ".join(" ".join(page.extract_text() for page in read.pages).split())


def tags(node, found=None) -> list[str]:
    """Return the names of a PDF's tags, in reading order."""
    found = [] if found is None else found
    node = node.get_object()
    if isinstance(node, pypdf.generic.ArrayObject):
        for one in node:
            tags(one, found)
    elif isinstance(node, pypdf.generic.DictionaryObject):
        if "/S" in node:
            found.append(str(node["/S"]))
        if "/K" in node:
            tags(node["/K"], found)
    return found


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_pdf_is_tagged_in_its_language_and_holds_every_entry(works, entries, language):
    errand, data = asked(works, record_on_paper.KIND, Wish(what="everything"), language)
    read, text = pages_of(data)
    root = read.trailer["/Root"]
    assert root["/Lang"] == language
    assert bool(root["/MarkInfo"]["/Marked"])
    assert b"pdfuaid:part" in root["/Metadata"].get_data()
    kept = recorded(works, *record.MEDICAL_KINDS)
    names = tags(root["/StructTreeRoot"]["/K"])
    people = len({entry.person_number for entry in kept.values()})
    assert names.count("/Table") >= people
    assert names.count("/TH") >= 4 * people
    assert names.count("/H1") == people
    for entry in kept.values():
        assert entry.hash[:8] in text, entry.number
    with works.store.reading() as db:
        assert record.last_hash(db) in text.replace(" ", "")
    words = {
        "en": ("Training record", "Caution", "CORRECTED by entry", "is struck", "Page 1 /"),
        "es": ("Registro de capacitación", "Precaución", "CORREGIDA por la entrada", "se anula",
               "Página 1 /"),
    }[language]  # fmt: skip
    for word in words:
        assert word in text
    assert "powered" not in text.lower().replace("powered respirators", "")
    assert errands.said(errand)["files"] == 1


def test_a_long_record_is_a_zip_of_parts_each_tagged(works, entries, monkeypatch):
    monkeypatch.setattr(record_on_paper, "OF_A_PART", 40)
    errand, data = asked(works, record_on_paper.KIND, Wish(what="everything"))
    assert errand.file_name.endswith(".zip")
    with zipfile.ZipFile(io.BytesIO(data)) as folder:
        parts = [pages_of(folder.read(name)) for name in folder.namelist()]
    assert len(parts) == errands.said(errand)["files"] > 1
    assert all(bool(read.trailer["/Root"]["/MarkInfo"]["/Marked"]) for read, _ in parts)
    assert f"Part 1 of {len(parts)}" in parts[0][1]
    whole = " ".join(text for _, text in parts)
    for entry in recorded(works, *record.MEDICAL_KINDS).values():
        assert entry.hash[:8] in whole


def test_more_than_anybody_reads_on_paper_is_refused(works, entries, monkeypatch):
    monkeypatch.setattr(record_on_paper, "MOST", 3)
    errand, _ = asked(works, record_on_paper.KIND, Wish())
    assert errand.state == "failed"
    assert "more than anybody reads" in errands.said(errand)["text"]


@pytest.mark.parametrize("medical", [False, True])
def test_one_persons_pdf_is_of_nobody_else(works, entries, medical):
    with works.store.reading() as db:
        lee = db.get(Person, works.people["Lee"].id)
        data = record_on_paper.of_person(db, lee, "en", LATER, works.today, medical=medical)
    _, text = pages_of(data)
    assert "Lee (00417)" in text
    assert "Imara" not in text
    assert ("Powered respirators only" in text) is medical


def test_every_number_column_reads_as_a_number(works, entries):
    for row in rows(works, WITH_MEDICAL):
        for column in exporting.columns_of(WITH_MEDICAL):
            if column.type == NUMBER and row[column.name]:
                assert isinstance(exporting.typed(row[column.name], NUMBER), int | float)


def test_the_stream_reads_no_further_than_it_gives(works, monkeypatch):
    """However long the record, a few hundred entries are in memory at a time."""
    with works.store.writing() as db:
        for _ in range(30):
            told.enter(db, "lesson", told.LESSON)
    monkeypatch.setattr(record, "BATCH", 10)
    seen = []
    real = exporting._read
    monkeypatch.setattr(exporting, "_read", lambda body: seen.append(1) or real(body))
    with works.store.reading() as db:
        lines = exporting.csv_lines(db, Choice())
        next(lines), next(lines)
        assert len(seen) == 10


def test_now_is_never_before_what_is_recorded():
    taken = Taken(1, "lesson", "1", "", "2026-11-20", told.NOW.isoformat(), "{}", "a" * 64)
    to_come = {"completed": "2027-01-01T00:00:00Z"}
    said = told.LESSON | {"kind": "lesson", "person_number": "1"} | to_come
    made = statements.of_entry(taken, said, BASE, datetime(2026, 11, 20, 14, tzinfo=UTC))
    assert made["timestamp"] == "2026-11-20T14:00:00.000Z"
