"""Nobody reads or changes what is another's: the walk of `test_access.py` with strangers' numbers.

Everything that Lee has at the Laminating Loft, Noor has at the Joinery. Names are such as stand
in no sentence, so that a page that shows one can be told.
"""

import re
import sqlite3
from hashlib import sha256

import pytest
from sqlmodel import SQLModel, select

from tests.conftest import Works
from tests.web.test_access import (
    A_PICTURE,
    ANY,
    TABLE,
    address,
    places,  # noqa: F401 (a fixture)
    refused_at_the_door,
)
from trainer import lessons
from trainer.lessons.written import Text
from trainer.services import (
    asking,
    assigning,
    authoring,
    describing,
    errands,
    feeds,
    joining,
    learning,
    observing,
    on_paper,
    pictures,
    recording,
    signing_in,
    site_questions,
    sitting,
    teaching,
)
from trainer.services.signing_in import Limits
from trainer.store import people
from trainer.store.tables import Person, Sitting, Worksite

LEES_NAME, NOORS_NAME = "Leeland Marshgatt", "Noorvana Quillbracken"
NOORS_WORDS = "Whetherfore the planer snarls"
OTHERS = ("PUT", "DELETE", "PATCH")
# What a card says to whoever holds it: its address is signed.
HELD_IN_HAND = "/card/<signed>"


@pytest.fixture
def named(works: Works, places) -> dict[str, str]:  # noqa: F811
    """Give Lee and Noor names that stand in no sentence; return the addresses of what Lee has."""
    with works.store.writing() as db:
        for name, said in (("Lee", LEES_NAME), ("Noor", NOORS_NAME)):
            row = db.get(Person, works.people[name].id)
            row.name = said
            db.add(row)
    return places


@pytest.fixture
def noors(works: Works, named) -> dict[str, str]:
    """Give Noor at the Joinery what Lee has at the Loft; return the same parts of addresses."""
    by, lesson = works.scribe("Wren"), lessons.load().get("protection-factors")
    with works.store.writing() as db:
        noor = db.get(Person, works.people["Noor"].id)
        site = db.get(Worksite, works.worksites["Joinery"].id)
        worn = joining.give_respirator(
            db, works.scribe(), noor, class_slug="apr-half", use="required",
            make="Invented Rowan", model="Half 9", style="elastomeric", size="L", filters="P100",
        )  # fmt: skip
        for section in lesson.sections:
            learning.finish_section(db, noor, lesson, section.id, works.now)
        sat = sitting.begin(db, noor, lesson, works.now)
        seen = observing.begin(db, by, noor, worn)
        task = describing.add_task(db, site, "Planing boards")
        hazard = describing.add_hazard(db, by, task, substance="toluene")
        asked = asking.ask(db, noor, NOORS_WORDS, once="", language="en", now=works.now)
        shown = pictures.add(db, by, site, A_PICTURE, en="A planer.", es="")
        told = asking.tell(db, noor, "leak", worn, works.now)
        written = authoring.begin(db, by, site, "en")
        draft = authoring.begin_language(db, by, written, "en")
        text = Text("Planing", "You can.", f"## Why\n{NOORS_WORDS}\n")
        authoring.save(db, by, written, "en", text, since=draft.revision, page="one", turn=1)
        other = Text("Planing", "You can.", "## Another")
        aside = authoring.save(
            db, works.scribe("Ida"), written, "en", other, since=0, page="other", turn=1
        ).aside
        raw = {"form": "choice", "ask": {"en": "Which board comes first?"}}
        own = site_questions.save(db, by, written, None, raw, 0)
        [given] = assigning.assign(db, by, noor, [lesson.slug], works.today, "knowledge-or-use")
        talk = teaching.give(
            db, by, site, once="noors talk", day=works.today, began=None, minutes=45,
            language="en", mode="read aloud", slugs=[lesson.slug], numbers=[noor.number],
        )  # fmt: skip
        entry = recording.record_appendix_d(
            db, works.scribe(), noor, once="noors appendix-d", on=works.today
        )
        paper = on_paper.draw(db, by, noor, lesson, "en")
        paper.paper.code = "NRSPAP"
        db.add(paper.paper)
        code, _ = signing_in.make_code(db, works.people["Ida"], works.now, Limits(), person=noor)
        _, device, _ = signing_in.enrol(db, code, noor.number, None, works.now)
        [stands] = assigning.begin_standing(db, by, site, [assigning.FULL])
        errand = errands.ask(db, by, "trial", {}, once="noors trial", language="en")
        feed = feeds.make(db, works.scribe("Noor"), "noors-own", feeds.OWN, (), "en")
        done, left_open = (
            Sitting(
                person_id=noor.id, lesson=lesson.slug, ordinal=at, seed=1, started_at=works.now,
                lesson_version=sat.lesson_version, closed_at=closed, passed=False, language="en",
            )
            for at, closed in ((9, works.now), (10, None))
        )  # fmt: skip
        db.add_all([done, left_open])
        db.flush()
        return {
            "/errands/<int:errand>": f"/errands/{errand.id}",
            "/feeds/<int:number>": f"/feeds/{feed.id}",
            "/sittings/<int:row>": f"/sittings/{done.id}",
            "/standing/<int:number>": f"/standing/{stands.id}",
            "/sittings/<int:number>": f"/sittings/{sat.id}",
            "/practice/<int:number>": f"/practice/{seen.id}",
            "/crew/talks/<int:number>": f"/crew/talks/{talk.id}",
            "<numbers>": str(seen.id),
            "<code>": "NRS-PAP",
            "/assignments/<int:number>": f"/assignments/{given.id}",
            "/sites/<int:number>": f"/sites/{site.id}",
            "<int:picture>": str(shown.id),
            "<int:task>": str(task.id),
            "<int:row>": str(hazard.id),
            "<int:lesson>": str(written.id),
            "<int:aside>": str(aside.id),
            "<int:question>": str(own.id),
            "/questions/<int:number>": f"/questions/{asked.id}",
            "/tell/<int:number>/take-back": f"/tell/{told.id}/take-back",
            "/told/<int:number>": f"/told/{told.id}",
            "<int:respirator>": str(worn.id),
            "<int:entry>": str(entry.number),
            "<int:device>": str(device.id),
            "<int:number_of>": str(left_open.id),
            "<number>": noor.number,
        }


class Kept:
    """All that the database holds, as a digest that is worked out anew after a writing."""

    def __init__(self, works: Works, address: str) -> None:
        self._works = works
        here = address.startswith("sqlite:///")
        self._line = sqlite3.connect(address.removeprefix("sqlite:///")) if here else None
        self._version, self._digest = None, ""

    def __call__(self) -> str:
        """Return the digest; that somebody is still there changes nothing of it."""
        # SQLite tells a connection whether another one wrote since it asked last.
        version = self._line and self._line.execute("PRAGMA data_version").fetchone()
        if version is None or version != self._version:
            self._version, self._digest = version, self._worked_out()
        return self._digest

    def _worked_out(self) -> str:
        digest = sha256()
        with self._works.store.reading() as db:
            for table in SQLModel.metadata.sorted_tables:
                columns = [one for one in table.columns if one.name != "seen_at"]
                rows = sorted(repr(tuple(row)) for row in db.execute(select(*columns)))
                digest.update(f"{table.name} {rows}".encode())
        return digest.hexdigest()

    def close(self) -> None:
        """Let go of the file."""
        if self._line:
            self._line.close()


@pytest.fixture
def kept(works: Works, settings):
    """Return a function that gives a digest of every row."""
    made = Kept(works, settings.database_url)
    yield made
    made.close()


def sent(browser, method: str, path: str, **fields):
    """Send a row of the table with a token that holds, as a whole browser does."""
    if method == "GET":
        return browser.get(path, query_string=fields)
    if not re.search('name="csrf_token"', browser.page):
        browser.get("/still-there")
    return browser.post(path, follow=False, **fields)


def words(answer) -> str:
    """Return what an answer says, of a picture or a document too."""
    return answer.data.decode(errors="replace")


def refused(answer) -> bool:
    """Say whether nothing was done: forbidden, not there, not now, or signed out."""
    return answer.status_code in (403, 404, 409) or refused_at_the_door(answer)


@pytest.mark.parametrize("name", ["", "Kim", "Noor", "Wren"])
def test_no_stranger_reads_lee_or_changes_anything_by_what_is_refused(browser, kept, named, name):
    """A colleague of Lee, a worker and a trainer of another worksite, and nobody."""
    walker = browser(name)
    walker.get("/still-there")
    before = kept()
    for method, template, *_, fields in TABLE:
        answer = sent(walker, method, address(template, named), **fields)
        if template != HELD_IN_HAND:
            assert LEES_NAME not in words(answer), template
        if method == "POST":
            after = kept()
            if refused(answer):
                assert after == before, template
            before = after


def swapped(template: str, own: dict[str, str], strange: dict[str, str]) -> list[str]:
    """Return the addresses of a route in which one part, and no more, is the stranger's."""
    right = address(template, own)
    found = {address(template, {**own, part: there}) for part, there in strange.items()}
    return sorted(found - {right})


@pytest.mark.parametrize("name", ["Lee", "Tomas", "Ida"])
def test_a_number_of_another_is_never_taken_for_ones_own(browser, kept, named, noors, name):
    """Ida may see both people: for her a strange number beside another is none."""
    walker, roles = browser(name), {"Lee": "worker", "Tomas": "trainer", "Ida": "coordinator"}
    walker.get("/still-there")
    before, tried = kept(), 0
    for method, template, who, which, fields in TABLE:
        if who == ANY or roles[name] not in who or (not which and name != "Ida"):
            continue
        paths = swapped(template, named, noors)
        if name == "Ida" and len(paths) < 2 and which != "lee":
            continue
        for path in paths:
            tried += 1
            answer = sent(walker, method, path, **fields)
            assert refused(answer), (method, path)
            assert NOORS_NAME not in words(answer), (method, path)
            if method == "POST":
                assert kept() == before, path
    assert tried > {"Lee": 6, "Tomas": 80, "Ida": 60}[name]


QUESTIONS = ("worksite", "site", "person", "q", "search", "number", "lesson", "entry", "line",
             "scope", "everyone", "mine", "rows", "shown", "on", "respirator")  # fmt: skip


@pytest.mark.parametrize("name", ["Tomas", "Lee"])
def test_no_question_that_an_address_asks_shows_a_stranger(browser, works, named, noors, name):
    walker, joinery = browser(name), str(works.worksites["Joinery"].id)
    asked = [
        dict.fromkeys(QUESTIONS, joinery), dict.fromkeys(QUESTIONS, "00500"),
        dict.fromkeys(QUESTIONS, "Noorvana"), {"worksite": ["1", joinery]},
        {"worksite": joinery, "mine": "no", "everyone": "yes", "left": "yes"},
    ]  # fmt: skip
    for method, template, *_, fields in TABLE:
        if method == "GET" and template != HELD_IN_HAND and not template.endswith(".pdf"):
            for one in asked:
                answer = walker.get(address(template, named), query_string={**fields, **one})
                assert NOORS_NAME not in words(answer), (template, one)
                assert NOORS_WORDS not in words(answer), (template, one)


def test_no_form_takes_a_person_or_a_worksite_of_another(browser, works, named, noors):
    """What Tomas may not see he can neither name in a form of his own people's."""
    tomas, joinery = browser("Tomas"), str(works.worksites["Joinery"].id)
    worn = noors["<int:respirator>"]
    people_too = {"person": "00500", "number": "00500", "people": "00500", "worn": worn,
                  "respirator": worn, "worksite": joinery}  # fmt: skip
    forms = (
        ("/people/00417/practice", {"respirator": worn}),
        ("/crew/paper", {"person": "00500", "lesson": "protection-factors"}),
        ("/codes", {"person": ["00417", "00500"]}),
        ("/codes/tablet", {"worksite": joinery}),
        ("/feeds", {"scope": "worksites", "worksite": joinery, "key": "c" * 32}),
        ("/crew/talks", {"act": "record", "lesson": "protection-factors", "language": "en",
                         "day": works.today.isoformat(), "minutes": "30", "mode": "read aloud",
                         "once": "x", **people_too}),
        ("/crew/practices", {"act": "begin", **people_too}),
        ("/assign", {"to": "person", "lessons": "protection-factors", "lesson": [
            "protection-factors"], "due": works.today.isoformat(), "reason": "other",
            "why": "x", **people_too}),
        ("/people/00417/talk", {"lesson": "protection-factors", **people_too}),
        ("/tell", {"kind": "leak", "respirator": worn}),
    )  # fmt: skip
    before = about_noor(works)
    for path, fields in forms:
        tomas.get("/still-there")
        answer = sent(tomas, "POST", path, **fields)
        assert NOORS_NAME not in words(answer), path
        assert answer.status_code < 500, path
        assert about_noor(works) == before, path


def about_noor(works: Works) -> tuple:
    """Return how much there is that is about Noor."""
    with works.store.reading() as db:
        noor = people.by_number(db, "00500")
        return tuple(
            len(db.execute(select(*table.columns).where(column == noor.id)).all())
            for table in SQLModel.metadata.sorted_tables
            for column in table.columns
            if column.name == "person_id"
        )


@pytest.mark.parametrize("name", ["", "Ida"])
def test_no_other_method_does_anything(browser, kept, named, name):
    """GET and POST are all there is; whoever asks for a head gets what a page says of itself."""
    walker = browser(name)
    walker.get("/still-there")
    before = kept()
    for path in sorted({address(template, named) for _, template, *_ in TABLE}):
        for method in OTHERS:
            answer = walker.client.open(path, method=method, data={"act": "end"})
            assert answer.status_code in (400, 405), (method, path)
        for method in ("OPTIONS", "TRACE"):
            answer = walker.client.open(path, method=method)
            assert answer.status_code in (200, 302, 400, 403, 404, 405), (method, path)
    assert kept() == before
    for method, template, *_, fields in TABLE:
        if method == "GET":
            answer = walker.client.head(address(template, named), query_string=fields)
            assert (answer.data, answer.status_code < 500) == (b"", True), template


def test_the_token_of_one_is_none_of_another(browser, named):
    lee, kim = browser("Lee"), browser("Kim")
    lee.get("/ask")
    kim.get("/ask")
    theirs = re.search(r'name="csrf_token" value="([^"]+)"', kim.page)[1]
    for method, template, *_, fields in TABLE:
        if method == "POST":
            answer = lee.client.post(
                address(template, named), data={**fields, "csrf_token": theirs}
            )
            assert answer.status_code == 400, template
