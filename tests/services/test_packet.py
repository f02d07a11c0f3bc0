"""The inspection packet, opened again by zipfile, pypdf and polars, compared with the record."""

import json
import re
from base64 import b64decode
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from html import escape
from itertools import pairwise
from urllib.parse import unquote

import pytest
import rfc8785
from bs4 import BeautifulSoup

from tests.clear import add, correct, make_clear
from tests.conftest import HALF_MASK, pass_lesson
from tests.documents.test_booklet import elements
from tests.packets import Opened, asked, made
from tests.services.test_cards import erase
from tests.services.test_pictures import add as add_picture
from tests.site_lessons import ENGLISH, TEXT, begun
from trainer import bank, lessons
from trainer.lessons.written import Text
from trainer.reference import retention
from trainer.services import asking, authoring, describing, joining, packet, paper_words, teaching
from trainer.services.packet import names
from trainer.services.packet.archive import Archive
from trainer.services.refusal import Refusal
from trainer.store import people, record, site_lessons
from trainer.store.tables import Person, TaughtContent, Worksite

SLUG = "protection-factors"
DRAWING = "cartridge-wren"
SPANISH = Text("Rodar en el taller", "Puede decir qué hay en el aire.", TEXT)
PARAGRAPHS = ["c", "d", "e", "f", "g", "h", "i", "j", "k", "l", "m"]


def describe(works) -> None:
    """Describe the Loft: air that was measured, a respirator too weak for it, steps, storage."""
    by = works.scribe("Tomas")
    with works.store.writing() as db:
        site = db.get(Worksite, works.worksites["Laminating Loft"].id)
        describing.describe(db, site, emergency="Leave by the east door.\nRing 14.",
                            storage="Locker row B")
        task = describing.add_task(db, site, "Rolling gel coat")
        hazard = describing.add_hazard(db, by, task, substance="styrene")
        describing.add_sample(db, by, hazard, on=works.today, hours=8, concentration=2_000)
        describing.add_respirator(
            db, by, task, class_slug="apr-half", make="Invented Aldermoor", model="Half 2",
            cartridge="organic vapor", serves=True, cartridge_limit=1000.0, approval="TC-23C-0000",
            schedule_hours=6, schedule_basis="invented tests",
        )  # fmt: skip
        describing.add_respirator(db, by, task, class_slug="sar-flow-hood")


def fill(works) -> dict:
    """Let much happen at the Loft; return the entries of Lee by kind."""
    describe(works)
    entries = make_clear(works, "Lee", days_ago=10)
    pass_lesson(works, "Lee", SLUG, works.now)
    with works.store.writing() as db:
        lee, tomas = (people.by_number(db, number) for number in ("00417", "00002"))
        question = asking.ask(db, lee, "Over the hood or under?", once="q", language="en",
                              now=works.now - timedelta(hours=2), lesson=SLUG)
        asking.answer(db, tomas, question, "Under it, always.", once="a",
                      now=works.now - timedelta(hours=1))
        site = db.get(Worksite, works.worksites["Laminating Loft"].id)
        teaching.give(
            db, works.scribe("Tomas"), site, once="talk", day=works.today - timedelta(days=1),
            began=None, minutes=45, language="es", mode="read aloud", slugs=["fit"],
            numbers=["00417", "00418"],
        )  # fmt: skip
    return entries


@pytest.fixture
def opened(works) -> Opened:
    """Return a packet of a Loft where much happened."""
    fill(works)
    return made(works, asked(works))


def test_its_files_stand_in_the_order_of_the_standard(opened):
    listed = opened.zip.namelist()
    assert listed == sorted(listed)
    folders = list(dict.fromkeys(name.split("/")[0] for name in opened.names))
    assert folders[:2] == ["01 Cover and contents.html", "01 Cover and contents.pdf"]
    assert [re.search(r"\((\w)\)", name)[1] for name in folders[2:]] == PARAGRAPHS
    assert opened.zip.testzip() is None
    for name in listed:
        assert len(name) < 180 and not re.search(r'[<>:"\\|?*\x00-\x1f]', name), name
        assert all(part.strip(" .") == part and part for part in name.split("/")), name


def test_every_paper_is_pdf_ua_with_title_and_language_and_heads_on_its_tables(opened):
    papers = [name for name in opened.names if name.endswith(".pdf")]
    assert len(papers) > 20
    for name in papers:
        reader = opened.pdf(name)
        root = reader.trailer["/Root"]
        assert root["/Lang"] == "en", name
        assert reader.metadata.title, name
        assert b"pdfuaid:part>1<" in root["/Metadata"].get_object().get_data(), name
        kinds = [str(one["/S"]) for one in elements(root["/StructTreeRoot"])]
        assert kinds.count("/TH") >= 2 * kinds.count("/Table"), name
        levels = [int(kind[2:]) for kind in kinds if re.fullmatch(r"/H\d", kind)]
        assert all(after <= before + 1 for before, after in pairwise(levels)), name


def test_the_cover_says_what_it_is_and_leads_to_every_file(opened, works):
    text = opened.text("01 Cover and contents.pdf")
    for said in ("Inspection packet: Laminating Loft", "Tern Quay Works", "Ida (00001)",
                 "It does not certify that the standard is met",
                 f"entry {opened.said['number']} of the record", opened.said["hash"]):
        assert said in text, said
    page = BeautifulSoup(opened.page("01 Cover and contents.html"), "html.parser")
    targets = {unquote(way["href"]) for way in page.select("a")}
    files = {name for name in opened.names if not name.startswith("01 ")}
    assert targets == {name for name in files if not name.endswith(".json")}
    links = {
        unquote(note.get_object()["/A"]["/URI"])
        for leaf in opened.pdf("01 Cover and contents.pdf").pages
        for note in leaf.get("/Annots", [])
        if "/A" in note.get_object()
    }
    assert links and links <= files


def test_it_says_plainly_when_the_written_program_is_not_entered(opened, works):
    for part in ("01 Cover and contents.pdf", "Written program.pdf"):
        text = opened.text(part)
        assert "These were not entered: where it is kept, its date, who administers it." in text
        assert "Whether there are any cannot be told from here." in text
    with works.store.writing() as db:
        site = db.get(Worksite, works.worksites["Laminating Loft"].id)
        site.program_place, site.program_by = "Safety office, shelf 2", "R. Odell"
    text = made(works, asked(works), "two").text("Written program.pdf")
    assert "Safety office, shelf 2" in text and "R. Odell" in text
    assert "These were not entered: its date." in text


def test_air_respirators_checks_and_schedules_are_as_the_worksite_said(opened):
    text = opened.text("Air and respirators.pdf")
    assert "Rolling gel coat" in text and "2,000 ppm" in text and "Not enough" in text
    [air] = opened.rows("/air.csv")
    assert (air["task"], air["outside"], air["unit"]) == ("Rolling gel coat", "2000.0", "ppm")
    [measured] = opened.rows("measurements.csv")
    assert measured["hours"] == "8.0"
    assert {row["check"] for row in opened.rows("checks.csv")} == {"may not"}
    filters = opened.text("Filters, cartridges")
    for said in ("organic vapor", "TC-23C-0000", "6 h", "invented tests"):
        assert said in filters, said
    assert "continuous flow" in opened.text("Breathing air.pdf")
    assert "Locker row B" in opened.text("Storage and upkeep.pdf")
    assert "Leave by the east door." in opened.text("Use and practice.pdf")


def test_fit_tests_hold_what_the_standard_asks_for(opened, works):
    [row] = opened.rows("fit-tests.csv")
    on = works.today - timedelta(days=10)
    assert (row["worker number"], row["day"], row["test kind"], row["protocol"]) == (
        "00417", on.isoformat(), "quantitative", "ambient-aerosol",
    )  # fmt: skip
    assert [row[part] for part in ("make", "model", "style", "size")] == [
        HALF_MASK[part] for part in ("make", "model", "style", "size")
    ]
    assert (row["passed"], row["fit factor"]) == ("yes", "640")
    assert row["recording"] == "binder 1, sheet 7"
    text = opened.text("Fit tests.pdf")
    for said in ("Lee", paper_words.day(on, "en"), "Half 2", "640", "binder 1, sheet 7"):
        assert said in text, said


def test_practice_stands_act_by_act(opened):
    rows = opened.rows("practice.csv")
    assert len(rows) == 7 and {row["seen"] for row in rows} == {"unprompted"}
    assert {row["watched by"] for row in rows} == {"Tomas"}
    assert "Negative pressure seal check: unprompted" in opened.text("Use and practice.pdf")


def test_determinations_are_in_it_only_when_they_are_asked_for(works):
    fill(works)
    without = made(works, asked(works))
    assert not [name for name in without.names if "determinations" in name]
    apart = "Determinations are kept apart from this packet."
    assert apart in without.text("Medical evaluation.pdf")
    assert {row["kind"] for row in without.rows("entries.csv")}.isdisjoint(
        {"medical", "medical-correction"}
    )
    person = without.text("00417 Lee.pdf")
    assert "Medical evaluation done" not in person and "Cleared" not in person
    with_them = made(works, asked(works, medical=True), "two")
    [row] = with_them.rows("determinations.csv")
    assert (row["worker number"], row["outcome"], row["next evaluation by"]) == (
        "00417", "cleared", "",
    )  # fmt: skip
    assert "medical" in {row["kind"] for row in with_them.rows("entries.csv")}
    assert "Lee" in with_them.text("Medical evaluation.pdf")


def test_a_persons_paper_holds_their_entries_and_where_they_stood(opened, works):
    text = opened.text("00417 Lee.pdf")
    clear = paper_words.day(works.today - timedelta(days=10) + timedelta(days=365), "en")
    assert f"Clear; all but the medical step holds until {clear}" in text
    with works.store.reading() as db:
        mine = [one for one in record.of_person(db, "00417") if one.kind != "medical"]
    assert mine
    for entry in mine:
        assert str(entry.number) in text
    assert "Protection factors" in text or lessons.load().get(SLUG).title("en") in text
    assert "No respirator given." in opened.text("00418 Kim.pdf")
    roster = {row["worker number"]: row for row in opened.rows("people.csv")}
    assert roster["00417"]["clear on the last day"] == "yes"
    assert roster["00418"]["clear on the last day"] == "no"
    assert "00500" not in roster, "Noor belongs to another worksite"


def test_coverage_talks_sittings_and_questions(opened, works):
    row = next(one for one in opened.rows("coverage.csv") if one["worker number"] == "00417")
    covered = lessons.load().get(SLUG).elements
    assert all(row[element] == works.today.isoformat() for element in covered)
    assert {row["worker number"] for row in opened.rows("talks.csv")} == {"00417", "00418"}
    assert "read aloud, Spanish, 45 min" in opened.text("3 Talks in rooms.pdf")
    [sat] = opened.rows("sittings.csv")
    assert (sat["lesson"], sat["passed"]) == (SLUG, "yes")
    [asked_] = opened.rows("questions.csv")
    assert (asked_["question"], asked_["answer"], asked_["answered by"]) == (
        "Over the hood or under?", "Under it, always.", "Tomas",
    )  # fmt: skip
    assert "Under it, always. (Tomas (00002)" in opened.text("5 Questions and answers.pdf")
    assert not [name for name in opened.names if "answers.csv" in name]


def test_answers_are_in_it_only_when_they_are_asked_for(works):
    fill(works)
    opened = made(works, asked(works, answers=True))
    rows = opened.rows("/answers.csv")
    [sat] = opened.rows("sittings.csv")
    right = sum(row["right"] == "yes" for row in rows)
    assert right == int(sat["right"]) + int(sat["must-know right"])
    assert all(row["asked"] and row["answered"] for row in rows)
    assert rows[0]["asked"][:30] in opened.text("00417 Lee.pdf")


def test_lessons_stand_as_they_were_taught_whatever_is_taught_now(works):
    fill(works)
    with works.store.writing() as db:
        version = next(
            record.body(one)["version"] for one in record.of_person(db, "00417", ("lesson",))
        )
        kept = db.get(TaughtContent, version)
        title = lessons.load().get(SLUG).title("en")
        # Another version that was taught: as our files stood before.
        old = json.loads(kept.files)
        name = next(one for one in old if one.startswith("lessons/en/"))
        old[name] = old[name].replace(title, "Factors, as they once were")
        db.add(TaughtContent(version="0123456789ab", lesson=SLUG,
                             files=json.dumps(old), kept_at=works.now))
        entry = record.of_person(db, "00417", ("lesson",))[0]
        add(works, db, people.by_number(db, "00417"), "lesson", works.today,
            record.body(entry) | {"version": "0123456789ab"})
    opened = made(works, asked(works))
    page = opened.page(f"{version}/English.html")
    assert f"<h1>{title}</h1>" in page and version in page
    assert "Factors, as they once were" in opened.page("0123456789ab/English.html")
    spanish = opened.page(f"{version}/Español.html")
    assert lessons.load().get(SLUG).title("es") in spanish and '<html lang="es">' in spanish
    for question in bank.load().for_lesson(SLUG):
        assert escape(question.ask("en")).replace("**", "") in page.replace("<b>", "").replace(
            "</b>", ""
        )
    assert "<script" not in page and "http://" not in page.replace("http://www.w3.org", "")
    assert opened.page(f"{version}/as kept.json") == kept.files
    listed = {row["version"]: row for row in opened.rows("lessons.csv")}
    assert listed[version]["sha-256 of what was kept"] == sha256(kept.files.encode()).hexdigest()
    text = opened.text("6 Lessons as taught.pdf")
    assert "the same" in text and "not worked out" in text


def test_a_lesson_of_the_worksite_is_in_it_with_what_it_said_of_itself(works):
    describe(works)
    with works.store.writing() as db:
        lesson = begun(works, db, {"en": ENGLISH, "es": SPANISH})
        authoring.publish(db, works.scribe("Tomas"), lesson)
        slug = site_lessons.slug_of(lesson.id)
        site = db.get(Worksite, works.worksites["Laminating Loft"].id)
        teaching.give(
            db, works.scribe("Tomas"), site, once="t", day=works.today - timedelta(days=1),
            began=None, minutes=20, language="en", mode="read aloud", slugs=[slug],
            numbers=["00417"],
        )  # fmt: skip
    opened = made(works, asked(works))
    [english] = [name for name in opened.names if name.endswith("English.html")]
    page = opened.page(english)
    assert f"<h1>{ENGLISH.title}</h1>" in page
    assert BeautifulSoup(page, "html.parser").h2.text in ENGLISH.markdown
    [spanish] = [name for name in opened.names if name.endswith("Español.html")]
    assert SPANISH.title in opened.page(spanish)


def test_photos_and_drawings_of_a_lesson_stand_in_its_file(works):
    """The file opens anywhere: what it shows is in it, and it asks for nothing."""
    photo = add_picture(works)
    shown = TEXT + f"\n[[picture {photo.id}]]\n\n[[drawing {DRAWING}]]\n"
    with works.store.writing() as db:
        lesson = begun(works, db, {"en": Text("With a photo", "What it shows.", shown)})
        authoring.publish(db, works.scribe("Tomas"), lesson)
        slug = site_lessons.slug_of(lesson.id)
        site = db.get(Worksite, works.worksites["Laminating Loft"].id)
        teaching.give(
            db, works.scribe("Tomas"), site, once="t", day=works.today - timedelta(days=1),
            began=None, minutes=20, language="en", mode="read aloud", slugs=[slug],
            numbers=["00417"],
        )  # fmt: skip
    page = BeautifulSoup(made(works, asked(works)).page("English.html"), "html.parser")
    [image] = page.select("img")
    assert image["alt"] == "A drum of gel coat."
    kind, data = image["src"].split(",")
    assert kind == "data:image/png;base64" and b64decode(data) == photo.data
    assert page.select_one("figure svg title")
    for one in page.select("[src], [href]"):
        assert one.get("src", "data:").startswith("data:")
        assert one.get("href", "#").startswith("#")


def test_the_drawing_of_a_question_stands_beside_it(works):
    pass_lesson(works, "Lee", "cartridges", works.now)
    page = BeautifulSoup(made(works, asked(works)).page("English.html"), "html.parser")
    drawn = [one for one in bank.load().for_lesson("cartridges") if one.drawing]
    asked_ = page.select("section > ol > li")
    assert drawn and sum(bool(one.select("svg")) for one in asked_) == len(drawn)


def test_retention_is_told_by_the_rows_of_the_table(opened):
    text = opened.text("1 The record.pdf")
    for row in retention.rows():
        if row.rule_set == "federal":
            assert row.name("en") in text and row.source.split(";")[0] in text, row.slug
    assert "only from memory, look it up" in text


def test_a_correction_stands_beside_what_it_corrects(works):
    entries = fill(works)
    correct(works, "Lee", entries["fit-test"], {"fit_factor": "460"}, why="wrong-value")
    correct(works, "Lee", entries["practice"], None, why="entered-twice")
    correct(works, "Lee", entries["medical"], None, why="not-done")
    opened = made(works, asked(works))
    text = opened.text("00417 Lee.pdf")
    assert "Fit factor 640" in text, "an entry is shown as it is"
    assert "(wrong value). It now reads:" in text and "Fit factor 460" in text
    assert "(entered twice): it does not count." in text
    [row] = opened.rows("fit-tests.csv")
    assert row["fit factor"] == "460" and "wrong value" in row["correction"]
    assert opened.rows("practice.csv") == []
    rows = opened.rows("corrections.csv")
    assert [row["entry kind"] for row in rows] == ["fit-test", "practice"]
    assert json.loads(rows[0]["reads now"])["fit_factor"] == "460"
    assert json.loads(rows[1]["reads now"]) is None
    assert "Fit factor 640" in opened.text("2 Corrections.pdf")
    roster = {row["worker number"]: row for row in opened.rows("people.csv")}
    assert roster["00417"]["clear on the last day"] == "no"


def test_an_erased_body_is_told_and_stops_nothing(works):
    entries = fill(works)
    with works.store.writing() as db:
        add(works, db, people.by_number(db, "00417"), "erasure", works.today, {
            "erased": [{"number": entries["fit-test"].number, "kind": "fit-test"}],
            "row": "fit-test", "source": "29 CFR 1910.134(m)(2)(ii)", "why": "A newer one.",
        })  # fmt: skip
    erase(works, entries["fit-test"].number)
    opened = made(works, asked(works))
    assert "What it said was erased" in opened.text("00417 Lee.pdf")
    assert opened.rows("fit-tests.csv") == []
    erased = next(row for row in opened.rows("entries.csv") if row["kind"] == "fit-test")
    assert (erased["body"], erased["salt"]) == ("", "") and len(erased["hash"]) == 64


def test_the_hashes_of_its_entries_can_be_worked_out_again(opened, works):
    rows = opened.rows("entries.csv")
    assert len(rows) == opened.said["entries"] >= 4
    for row in rows:
        body = row["body"].removeprefix("'")
        assert sha256(f"{row['salt']}{body}".encode()).hexdigest() == row["body_hash"]
        head = {key: row[key] for key in ("once", "kind", "recorded_at", "previous", "body_hash")}
        head["number"] = int(row["number"])
        assert sha256(rfc8785.dumps(head)).hexdigest() == row["hash"]
    with works.store.reading() as db:
        last = record.of_person(db, "00417")[-1]
    assert opened.said["hash"] == last.hash
    assert f"from the first to number {last.number}" in opened.text("1 The record.pdf")


def test_a_chain_that_does_not_hold_is_said_on_the_cover(works):
    entries = fill(works)
    with works.store.writing() as db:
        connection = db.connection()
        for name in connection.exec_driver_sql(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'entry'"
        ).scalars().all():
            connection.exec_driver_sql(f'DROP TRIGGER "{name}"')
        connection.exec_driver_sql(
            "UPDATE entry SET body = replace(body, '640', '900') WHERE number = ?",
            (entries["fit-test"].number,),
        )
    opened = made(works, asked(works))
    assert opened.said["holds"] is False
    said = f"The chain does not hold at entry {entries['fit-test'].number}"
    assert said in opened.text("01 Cover and contents.pdf")


@pytest.mark.parametrize("language", ["en", "es"])
def test_made_twice_it_is_the_same_byte_for_byte(works, language):
    fill(works)
    of = asked(works, medical=True, answers=True, language=language)
    one = made(works, of)
    # What comes later is not in it.
    make_clear(works, "Kim")
    pass_lesson(works, "Kim", "fit", datetime.now(UTC))
    with works.store.writing() as db:
        lee = people.by_number(db, "00417")
        asking.ask(db, lee, "And now?", once="later", language="en",
                   now=datetime.now(UTC) + timedelta(seconds=2))
    assert made(works, of, "two").data == one.data


def test_in_spanish_it_is_spanish_throughout(works):
    fill(works)
    with works.store.writing() as db:
        people.by_number(db, "00417").language = "es"
    opened = made(works, asked(works, language="es", medical=True))
    assert opened.name.startswith("Expediente de inspección Laminating Loft")
    for name in opened.names:
        if name.endswith(".pdf"):
            reader = opened.pdf(name)
            assert reader.trailer["/Root"]["/Lang"] == "es", name
    text = " ".join(opened.text(one) for one in opened.names if one.endswith(".pdf"))
    for english in ("Recorded by", "Watched by", "Must-know", "Not entered", "Nothing in this",
                    "Clear until", "Elements:", "Page 1"):
        assert english not in text, english
    assert "Puede usarlo hasta el" in text and "Anotó: " in text


def test_nothing_at_all_in_the_period_is_a_packet_that_says_so(works):
    opened = made(works, asked(works, "Joinery", days=1))
    assert "Nothing in this period." in opened.text("00500 Noor.pdf")
    assert "There are no entries yet." in opened.text("01 Cover and contents.pdf")
    assert opened.rows("entries.csv") == []
    assert "No lesson was taught in this period." in opened.text("6 Lessons as taught.pdf")
    assert "There are too few answers" in opened.text("Program evaluation.pdf")


def test_whoever_left_in_the_period_is_in_it_and_before_it_not(works):
    make_clear(works, "Lee")
    with works.store.writing() as db:
        people.by_number(db, "00417").left_on = works.today
        people.by_number(db, "00418").left_on = works.today - timedelta(days=300)
    opened = made(works, asked(works))
    assert "Left on" in opened.text("00417 Lee.pdf")
    roster = {row["worker number"]: row for row in opened.rows("people.csv")}
    assert roster["00417"]["left on"] == works.today.isoformat()
    assert roster["00417"]["clear on the last day"] == "no"
    assert "00418" not in roster


HOSTILE = (
    "../../etc/passwd", "C:\\Lee\\..", "=HYPERLINK(1)", "@sum", "-1+1", "W" * 80, "🙂🙂🙂",
    "שלום \u202eabc", "CON", "nul.pdf", "a/b/c", "...", "<script>alert(1)</script>", "#panic(1)",
    "Ñandú  Ó'Brien", "x. ", "a\tb\nc",
)  # fmt: skip


def test_hostile_names_are_safe_everywhere(works):
    with works.store.writing() as db:
        for at, name in enumerate(HOSTILE):
            person = joining.add_person(
                db, works.now - timedelta(minutes=1), number=f"7{at:02}.-", name="x",
                roles=["worker"], worksites=[works.worksites["Laminating Loft"].id],
            )
            person.name = name
        site = db.get(Worksite, works.worksites["Laminating Loft"].id)
        site.name = site.storage_place = "=1+1 / ..\\ 🙂"
    opened = made(works, asked(works))
    assert len(opened.names) == len({name.casefold() for name in opened.names})
    for name in opened.zip.namelist():
        assert ".." not in name and not name.startswith("/") and "\\" not in name
        assert all(part.strip(" .") == part and part for part in name.split("/")), name
        stem = name.rsplit("/", 1)[-1].split(".")[0].casefold()
        assert stem not in ("con", "nul")
        assert len(name.encode()) < 220
    rows = opened.rows("people.csv")
    named = {row["name"] for row in rows}
    assert "'=HYPERLINK(1)" in named and "🙂🙂🙂" in named
    raw = opened.zip.read(opened.find("people.csv")).decode("utf-8-sig")
    assert not re.search(r'(^|,)"?[=+@-]', raw, re.MULTILINE)
    assert "<script>alert" not in opened.page("01 Cover and contents.html")
    assert "□" in opened.text("1 Roster.pdf")


def test_names_of_files_are_safe_and_never_alike():
    archive = Archive(datetime(2026, 3, 3, tzinfo=UTC))
    for name in ("A.pdf", "a.PDF", "a.pdf"):
        archive.add("k", f"x/{name}", b"")
    assert [one.path for one in archive.files] == ["x/A.pdf", "x/a 2.PDF", "x/a 3.pdf"]
    archive.drop()
    for text in HOSTILE:
        assert re.fullmatch(r"[A-Za-z0-9._' -]+", names.safe(text)), text


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"first": timedelta(days=1)}, "last"), ({"last": timedelta(days=2)}, "last")],
)
def test_a_period_that_cannot_be_is_refused(works, changes, field):
    given = {name: works.today + after for name, after in changes.items()}
    with pytest.raises(Refusal) as refusal:
        asked(works, **given)
    assert refusal.value.field == field


def test_what_is_asked_for_comes_back_as_it_was(works):
    of = asked(works, medical=True)
    assert packet.Asked.read(json.loads(json.dumps(of.about))) == of


def test_nobody_of_another_worksite_is_in_it(works):
    with works.store.writing() as db:
        add(works, db, db.get(Person, works.people["Noor"].id), "appendix-d", works.today, {})
    opened = made(works, asked(works))
    assert not [name for name in opened.names if "00500" in name]
    assert [row for row in opened.rows("entries.csv") if row["person_number"] == "00500"] == []
