"""Who may come in where: every route walked as nobody, as each role, and as the wrong person.

The table is typed here and not read from the program: a route without a row fails.
"""

import re
from datetime import timedelta
from urllib.parse import urljoin, urlsplit

import pytest

from tests.conftest import PASSPHRASE, Works
from tests.site_lessons import ENGLISH, begun
from trainer import bank, lessons
from trainer.lessons.pictures import Picture
from trainer.lessons.written import Text
from trainer.services import (
    asking,
    assigning,
    authoring,
    cards,
    describing,
    errands,
    feeds,
    importing,
    joining,
    learning,
    merging,
    observing,
    on_paper,
    pictures,
    recording,
    signing_in,
    site_questions,
    sitting,
    standing,
    teaching,
)
from trainer.services.signing_in import Limits
from trainer.store import people
from trainer.store.tables import ErrandPart, SiteDraftAside, SiteLesson, Sitting, Worksite
from trainer.web import errands as errand_pages

ANY = "anybody"
ALL = "worker trainer coordinator"
STAFF = "trainer coordinator"
MEDICAL = "medical"  # a right beside the roles
OWN_QUESTIONS = "/sites/<int:number>/lessons/<int:lesson>/questions"
# What only some of a role may reach: Lee's own, those who see Lee, or all of Lee's worksite.
LEES, SEES_LEE, WATCHES_LEE, WITH_LEE = "lee", "sees lee", "watches lee", "with lee"
IDAS = "ida"

# method, address, who, which of them, what is sent
TABLE = (
    ("GET", "/", ANY, "", {}),
    ("GET", "/sign-in", ANY, "", {}),
    ("POST", "/sign-in", ANY, "", {}),
    ("GET", "/sign-in/step", ANY, "", {}),
    ("POST", "/sign-in/step", ANY, "", {"code": "123456"}),
    ("GET", "/enrol", ANY, "", {}),
    ("POST", "/enrol", ANY, "", {}),
    ("POST", "/language", ANY, "", {"language": "en"}),
    ("GET", "/still-there", ANY, "", {}),
    ("GET", "/health", ANY, "", {}),
    ("GET", "/health/live", ANY, "", {}),
    ("POST", "/still-here", ALL, "", {}),
    ("GET", "/choose-pin", ALL, "", {}),
    ("POST", "/choose-pin", ALL, "", {"pin": "1"}),
    ("GET", "/passphrase", ALL, "", {}),
    ("POST", "/passphrase", ALL, "", {"passphrase": "short"}),
    ("GET", "/my-sign-in", ALL, "", {}),
    ("GET", "/my-sign-in/second-step", STAFF, "", {}),
    ("POST", "/my-sign-in/second-step", STAFF, "", {"act": "begin"}),
    ("GET", "/tag", ALL, "", {}),
    ("GET", "/my-record", ALL, "", {}),
    ("GET", "/booklet-<language>.pdf", ALL, "", {}),
    ("GET", "/lessons/<slug>", ALL, "", {}),
    ("GET", "/lessons/<slug>/<section>", ALL, "", {}),
    ("POST", "/lessons/<slug>/<section>/done", ALL, "", {}),
    (
        "POST",
        "/lessons/<slug>/<section>/problem/<exercise>",
        ALL,
        "",
        {"ordinal": "0", "step": "0"},
    ),
    ("POST", "/lessons/<slug>/sitting", ALL, "", {}),
    ("POST", "/refresher", ALL, "", {}),
    ("GET", "/sittings/<int:number>/<int:position>", ALL, LEES, {}),
    ("POST", "/sittings/<int:number>/<int:position>", ALL, LEES, {"answer": "0"}),
    ("GET", "/sittings/<int:number>/review", ALL, LEES, {}),
    ("POST", "/sittings/<int:number>/close", ALL, LEES, {}),
    ("GET", "/sittings/<int:number>/result", ALL, LEES, {}),
    ("GET", "/errands", ALL, "", {}),
    ("GET", "/errands/<int:errand>", ALL, IDAS, {}),
    ("GET", "/errands/<int:errand>/file", ALL, IDAS, {}),
    ("GET", "/worksheet", ALL, "", {}),
    ("GET", "/worksheet/<name>", ALL, "", {}),
    ("GET", "/exercises", ALL, "", {}),
    ("GET", "/exercises/<exercise>", ALL, "", {}),
    ("POST", "/exercises/<exercise>", ALL, "", {"ordinal": "0", "step": "0"}),
    ("GET", "/ask", ALL, "", {}),
    ("POST", "/ask", ALL, "", {"text": "Does the strap go over the hood?"}),
    ("GET", "/my-questions", ALL, "", {}),
    ("POST", "/my-questions/read", ALL, "", {"up_to": "1"}),
    ("GET", "/tell", ALL, "", {"kind": "health"}),
    ("POST", "/tell", ALL, "", {"kind": "health"}),
    ("POST", "/tell/<int:number>/take-back", ALL, LEES, {}),
    ("GET", "/questions", STAFF, "", {}),
    ("GET", "/questions/<int:number>", STAFF, SEES_LEE, {}),
    ("POST", "/questions/<int:number>", "trainer", SEES_LEE, {"text": "Under it."}),
    ("POST", "/questions/<int:number>/hide", "trainer", SEES_LEE, {}),
    ("POST", "/told/<int:number>", STAFF, SEES_LEE, {}),
    ("GET", "/people", "trainer", "", {}),
    ("GET", "/people/<number>", STAFF, SEES_LEE, {}),
    ("POST", "/people/<number>/code", STAFF, SEES_LEE, {}),
    ("GET", "/codes", STAFF, "", {}),
    ("POST", "/codes", STAFF, SEES_LEE, {"person": "00417"}),
    ("POST", "/codes/tablet", STAFF, "", {}),
    ("POST", "/people/<number>/sign-out", STAFF, SEES_LEE, {}),
    ("GET", "/assign", "trainer", "", {}),
    ("POST", "/assign", "trainer", "", {}),
    ("POST", "/standing/<int:number>/end", "trainer", SEES_LEE, {}),
    ("GET", "/people/<number>/seen", "trainer", SEES_LEE, {}),
    ("GET", "/people/<number>/credit", STAFF, SEES_LEE, {}),
    ("POST", "/people/<number>/credit", STAFF, SEES_LEE, {}),
    ("POST", "/people/<number>/talk", "trainer", SEES_LEE, {"lesson": "protection-factors"}),
    ("POST", "/people/<number>/practice", "trainer", SEES_LEE, {"respirator": "1"}),
    ("GET", "/practice/<int:number>", "trainer", WATCHES_LEE, {}),
    ("POST", "/practice/<int:number>", "trainer", WATCHES_LEE, {}),
    ("POST", "/assignments/<int:number>/withdraw", "trainer", SEES_LEE, {}),
    ("GET", "/crew", "trainer", "", {}),
    ("GET", "/crew/teach", "trainer", "", {"lesson": "protection-factors", "tongue": "en"}),
    ("GET", "/crew/lessons/<slug>/<tongue>/<section>", "trainer", "", {}),
    ("GET", "/crew/lessons/<slug>/<tongue>/<section>/<exercise>", "trainer", "", {"seed": "7"}),
    ("GET", "/crew/talks", "trainer", "", {}),
    ("POST", "/crew/talks", "trainer", "", {}),
    ("POST", "/crew/talks/<int:number>/back", "trainer", WATCHES_LEE, {}),
    ("GET", "/crew/practices", "trainer", "", {}),
    ("POST", "/crew/practices", "trainer", "", {}),
    ("GET", "/crew/practices/<numbers>", "trainer", WATCHES_LEE, {}),
    ("POST", "/crew/practices/<numbers>", "trainer", WATCHES_LEE, {}),
    ("GET", "/crew/paper", "trainer", "", {}),
    ("POST", "/crew/paper", "trainer", SEES_LEE,
     {"person": "00417", "lesson": "protection-factors"}),
    ("GET", "/crew/paper/print", "trainer", SEES_LEE, {"code": "LEESPR"}),
    ("GET", "/crew/paper/enter", "trainer", "", {"code": "LEESPR"}),
    ("GET", "/crew/paper/<code>/<int:position>", "trainer", SEES_LEE, {}),
    ("POST", "/crew/paper/<code>/<int:position>", "trainer", SEES_LEE, {"answer": "0"}),
    ("GET", "/crew/paper/<code>/review", "trainer", SEES_LEE, {}),
    ("POST", "/crew/paper/<code>/close", "trainer", SEES_LEE, {}),
    ("POST", "/crew/paper/<code>/withdraw", "trainer", SEES_LEE, {}),
    ("GET", "/today", "trainer", "", {}),
    ("GET", "/grid", STAFF, "", {}),
    ("GET", "/sites", STAFF, "", {}),
    ("GET", "/sites/<int:number>", STAFF, SEES_LEE, {}),
    ("POST", "/sites/<int:number>", STAFF, SEES_LEE, {"act": "about"}),
    ("POST", "/sites/<int:number>/end", STAFF, SEES_LEE, {"kind": "sample", "row": "1"}),
    *(
        (method, f"/sites/<int:number>/{page}", STAFF, SEES_LEE, {})
        for page in ("tasks/<int:task>/hazard", "tasks/<int:task>/respirator",
                     "hazards/<int:row>/sample")
        for method in ("GET", "POST")
    ),
    ("GET", "/sites/<int:number>/lessons", STAFF, SEES_LEE, {}),
    ("POST", "/sites/<int:number>/lessons", STAFF, SEES_LEE, {"language": "en"}),
    *(
        (method, f"/sites/<int:number>/lessons/<int:lesson>{page}", STAFF, SEES_LEE, sent)
        for method, page, sent in (
            ("GET", "", {}),
            ("POST", "", {"act": "language", "language": "es"}),
            ("GET", "/write/<language>", {}),
            ("POST", "/write/<language>", {"text": "## Uno"}),
            ("POST", "/preview/<language>", {"text": "## Uno"}),
            ("GET", "/beside/<int:aside>", {}),
            ("POST", "/beside/<int:aside>", {"act": "leave"}),
            ("POST", "/publish", {}),
            ("GET", "/versions/<int:ordinal>", {}),
        )
    ),
    ("GET", OWN_QUESTIONS, STAFF, SEES_LEE, {}),
    ("GET", f"{OWN_QUESTIONS}/new", STAFF, SEES_LEE, {"form": "choice"}),
    ("POST", f"{OWN_QUESTIONS}/new", STAFF, SEES_LEE, {"form": "choice", "ask-en": "Why?"}),
    ("GET", f"{OWN_QUESTIONS}/<int:question>", STAFF, SEES_LEE, {}),
    ("POST", f"{OWN_QUESTIONS}/<int:question>", STAFF, SEES_LEE, {"ask-en": "How?", "since": "1"}),
    ("POST", f"{OWN_QUESTIONS}/<int:question>/end", STAFF, SEES_LEE, {"since": "1"}),
    ("GET", "/sites/<int:number>/pictures", STAFF, SEES_LEE, {}),
    ("POST", "/sites/<int:number>/pictures", STAFF, SEES_LEE, {"en": "A drum."}),
    ("POST", "/sites/<int:number>/pictures/<int:picture>", STAFF, SEES_LEE, {"en": "A tank."}),
    ("GET", "/pictures/<int:picture>", ALL, WITH_LEE, {}),
    ("POST", "/sites/<int:number>/pictures/<int:picture>/end", STAFF, SEES_LEE, {}),
    ("GET", "/hard-spots", STAFF, "", {}),
    ("GET", "/hard-spots/question/<question>", STAFF, "", {}),
    ("GET", "/hard-spots/exercise/<exercise>", STAFF, "", {}),
    ("GET", "/card/<signed>", ANY, "", {}),
    ("GET", "/my-card.pdf", ALL, "", {}),
    ("GET", "/people/<number>/card.pdf", STAFF, SEES_LEE, {}),
    ("GET", "/cards", "coordinator", "", {}),
    ("POST", "/cards", "coordinator", "", {}),
    ("GET", "/packet", "coordinator", "", {}),
    ("POST", "/packet", "coordinator", "", {}),
    ("GET", "/board", "coordinator", "", {}),
    ("GET", "/board/print", STAFF, "", {}),
    ("GET", "/ahead", STAFF, "", {}),
    ("GET", "/ahead/drawing.svg", STAFF, "", {"dark": "yes"}),
    ("GET", "/coverage", STAFF, "", {}),
    ("GET", "/feeds", ALL, "", {}),
    ("POST", "/feeds", ALL, "", {"scope": "own", "key": "a" * 32}),
    ("POST", "/feeds/<int:number>/anew", ALL, LEES, {"key": "b" * 32}),
    ("POST", "/feeds/<int:number>/revoke", ALL, LEES, {}),
    ("GET", "/feeds/<secret>.ics", ANY, "", {}),
    ("GET", "/taught/<version>", ALL, "", {}),
    ("GET", "/people/<number>/sittings/<int:row>", STAFF, SEES_LEE, {}),
    ("GET", "/people/<number>/record", STAFF, SEES_LEE, {}),
    ("GET", "/people/new", "coordinator", "", {}),
    ("POST", "/people/new", "coordinator", "", {}),
    *(
        (method, f"/people/<number>/{page}", "coordinator", "", {})
        for page in ("change", "respirators", "appendix-d", "fit-test", "leave", "return", "merge")
        for method in ("GET", "POST")
    ),
    ("GET", "/people/<number>/entries/<int:entry>/correct", "coordinator", "", {}),
    ("POST", "/people/<number>/entries/<int:entry>/correct", "coordinator", "",
     {"how": "strike", "act": "look"}),
    ("GET", "/witness", "coordinator", "", {}),
    ("GET", "/people/<number>/medical", MEDICAL, "", {}),
    ("POST", "/people/<number>/medical", MEDICAL, "", {}),
    ("GET", "/people/<number>/unfinished/<int:number_of>", STAFF, SEES_LEE, {}),
    ("GET", "/people/<number>/sign-ins", "coordinator", "", {}),
    ("POST", "/people/<number>/devices/<int:device>/end", "coordinator", "", {}),
    ("POST", "/people/<number>/second-step/off", "coordinator", "", {"why": "A lost phone."}),
    ("GET", "/left", "coordinator", "", {}),
    ("GET", "/tablets", "coordinator", "", {}),
    ("POST", "/tablets/<int:device>/end", "coordinator", "", {}),
    ("GET", "/log", "coordinator", "", {}),
    ("GET", "/settings", "coordinator", "", {}),
    ("POST", "/settings", "coordinator", "", {"pass_mark": "80", "was-pass_mark": "80"}),
    ("GET", "/retention", "coordinator", "", {}),
    ("POST", "/retention/look", "coordinator", "", {"row": "fit-test"}),
    ("POST", "/retention/erase", "coordinator", "", {"row": "fit-test"}),
    ("GET", "/worksites", "coordinator", "", {}),
    ("GET", "/worksites/new", "coordinator", "", {}),
    ("POST", "/worksites/new", "coordinator", "", {}),
    ("GET", "/worksites/<int:number>", "coordinator", "", {}),
    ("POST", "/worksites/<int:number>", "coordinator", "", {}),
    ("GET", "/export", "coordinator", "", {}),
    ("POST", "/export", "coordinator", "", {"format": "csv"}),
    ("POST", "/export/found", "coordinator", "", {}),
    *(
        ("GET", f"/export.{ending}", "coordinator", "", {"from": "2020-01-01", "to": "2020-02-01"})
        for ending in ("csv", "json", "jsonl", "xapi.json")
    ),
    ("GET", "/people/<number>/record.pdf", STAFF, SEES_LEE, {}),
    ("GET", "/my-record.pdf", ALL, "", {}),
    ("POST", "/people/<number>/respirators/<int:respirator>/end", "coordinator", "", {}),
    ("GET", "/import", "coordinator", "", {}),
    ("POST", "/import", "coordinator", "", {}),
    ("GET", "/import/template-<kind>.<ending>", "coordinator", "", {}),
    ("GET", "/import/<int:run>", "coordinator", "", {}),
    ("GET", "/import/<int:run>/columns", "coordinator", "", {}),
    ("POST", "/import/<int:run>/columns", "coordinator", "", {}),
    ("GET", "/import/<int:run>/lines", "coordinator", "", {}),
    ("POST", "/import/<int:run>/lines", "coordinator", "", {"act": "all-left-leave"}),
    ("GET", "/import/<int:run>/bad.csv", "coordinator", "", {}),
    ("GET", "/import/<int:run>/do", "coordinator", "", {}),
    ("POST", "/import/<int:run>/do", "coordinator", "", {"deed": "0" * 32}),
    ("POST", "/import/<int:run>/try", "coordinator", "", {}),
    ("GET", "/import/<int:run>/undo", "coordinator", "", {}),
    ("POST", "/import/<int:run>/undo", "coordinator", "", {}),
    ("POST", "/import/<int:run>/give-up", "coordinator", "", {}),
    ("GET", "/unsent", ALL, "", {}),
    ("POST", "/unsent", ANY, "", {}),
    ("POST", "/unsent/<int:number>/forget", ALL, "", {}),
    # Last, since they sign out whoever walks the table.
    ("POST", "/my-sign-in/devices/<int:device>/end", ALL, LEES, {}),
    ("POST", "/my-sign-in/sign-out-everywhere", ALL, "", {}),
    ("POST", "/sign-out", ANY, "", {}),
    ("GET", "/signed-out", ANY, "", {}),
)

A_PICTURE = Picture("svg", 4, 3, b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 3"/>')

WALKERS = {
    "Lee": ("worker", {LEES, WITH_LEE}),
    "Noor": ("worker", set()),  # another worker: nothing of Lee's
    "Tomas": ("trainer", {SEES_LEE, WATCHES_LEE, WITH_LEE}),
    "Wren": ("trainer", set()),  # a trainer of another worksite
    "Ida": ("coordinator medical", {SEES_LEE, WITH_LEE, IDAS}),
    "Odell": ("coordinator", {SEES_LEE, WITH_LEE}),  # without the right to determinations
}

ELSEWHERE = (
    "https://elsewhere.example/",
    "//elsewhere.example/",
    "/\\elsewhere.example/",
    "\\\\elsewhere.example",
    "/\t/elsewhere.example/",
    "/\t\\elsewhere.example/",
    "/\n/elsewhere.example/",
    " //elsewhere.example/",
    "javascript:alert(1)",
    "https:elsewhere.example",
    "http:///elsewhere.example",
)


@pytest.fixture
def places(works: Works, monkeypatch) -> dict[str, str]:
    """Give Lee a sitting, a practice watched by Tomas, an assignment, a question and a need.

    Ida asked for some long work, which is done. Return their addresses.
    """
    monkeypatch.setitem(errand_pages.TITLES, "trial", "A trial")
    monkeypatch.setitem(errand_pages._RESULTS, "trial", lambda *_: ("It is done.", ""))
    lesson = lessons.load().get("protection-factors")
    exercise = bank.load().exercises_for(lesson.slug)[0]
    with works.store.writing() as db:
        lee = works.people["Lee"]
        for section in lesson.sections:
            learning.finish_section(db, lee, lesson, section.id, works.now)
        sat = sitting.begin(db, lee, lesson, works.now)
        worn = people.respirators(db, lee.id)[0]
        seen = observing.begin(db, works.scribe("Tomas"), lee, worn)
        site = db.get(Worksite, works.worksites["Laminating Loft"].id)
        task = describing.add_task(db, site, "Rolling gel coat")
        by = works.scribe("Tomas")
        hazard = describing.add_hazard(db, by, task, substance="toluene")
        describing.add_sample(db, by, hazard, on=works.today, hours=8, concentration=90)
        asked = asking.ask(
            db, lee, "Does it fit over a beard?", once="", language="en", now=works.now
        )
        shown = pictures.add(db, by, site, A_PICTURE, en="A drum of gel coat.", es="")
        told = asking.tell(db, lee, "leak", worn, works.now)
        written, aside = _lesson_with_another_text(works, db)
        raw = {"form": "choice", "ask": {"en": "Which comes first?"}}
        own = site_questions.save(db, by, written, None, raw, 0)
        given = assigning.assign(
            db, works.scribe("Tomas"), lee, [lesson.slug], works.today, "knowledge-or-use"
        )
        talk = teaching.give(
            db, works.scribe("Tomas"), site, once="talk", day=works.today - timedelta(days=1),
            began=None, minutes=45, language="en", mode="read aloud", slugs=[lesson.slug],
            numbers=[lee.number],
        )
        given_d = recording.record_appendix_d(
            db, works.scribe(), lee, once="appendix-d", on=works.today
        )
        paper = on_paper.draw(db, works.scribe("Tomas"), lee, lesson, "en")
        paper.paper.code = "LEESPR"
        db.add(paper.paper)
        tablet = signing_in.make_code(db, works.people["Ida"], works.now, Limits(), worksite_id=1)
        _, shared, _ = signing_in.enrol(db, tablet[0], "", None, works.now)
        code, _ = signing_in.make_code(db, works.people["Ida"], works.now, Limits(), person=lee)
        _, own_device, _ = signing_in.enrol(db, code, lee.number, None, works.now)
        left_open = _begun_under_another_number(works, db, lesson)
        [stands] = assigning.begin_standing(db, by, site, [assigning.FULL])
        errand = errands.ask(db, works.scribe("Ida"), "trial", {}, once="trial", language="en")
        errand.state, errand.file_name, errand.file_type, errand.file_size = (
            "done", "plan.txt", "text/plain", 4,
        )  # fmt: skip
        db.add_all([errand, ErrandPart(errand_id=errand.id, place=0, data=b"plan")])
        feed = feeds.make(db, works.scribe("Lee"), "an-own-one", feeds.OWN, (), "en")
        feeds.make(db, works.scribe("Ida"), "open-to-all", feeds.OWN, (), "en")
        done = Sitting(
            person_id=lee.id, lesson=lesson.slug, ordinal=9, seed=1, started_at=works.now,
            lesson_version=sat.lesson_version, closed_at=works.now, passed=False, language="en",
        )  # fmt: skip
        db.add(done)
        db.flush()
        table = b"worker number,name,worksite\n00417,Lee,Laminating Loft\n"
        run = importing.bring(
            db, works.scribe("Ida"), "roster", "people.csv", table, "import",
            importing.prepare("roster", table),
        )
        found = importing.matched_of(run)["columns"]
        importing.match(db, works.scribe("Ida"), run, columns=found, worksite=0, days="iso",
                        language="en")
        tag = standing.tags(db, lee, works.today)[0]
        signed = cards.address("", cards.key(db), cards.OnCard(lee, None, (tag,)))
        signed = signed.removeprefix("/card/")
    errands.run_all(works.store)
    return {
        "/errands/<int:errand>": f"/errands/{errand.id}",
        "/feeds/<int:number>": f"/feeds/{feed.id}",
        "/feeds/<secret>": "/feeds/open-to-all",
        "/sittings/<int:row>": f"/sittings/{done.id}",
        "<version>": sat.lesson_version,
        "/import/<int:run>": f"/import/{run.id}",
        "<kind>.<ending>": "roster.csv",
        "/standing/<int:number>": f"/standing/{stands.id}",
        "/sittings/<int:number>": f"/sittings/{sat.id}",
        "/practice/<int:number>": f"/practice/{seen.id}",
        "/crew/talks/<int:number>": f"/crew/talks/{talk.id}",
        "<numbers>": str(seen.id),
        "<code>": "LEE-SPR",
        "<tongue>": "es",
        "/assignments/<int:number>": f"/assignments/{given[0].id}",
        "/worksites/<int:number>": "/worksites/1",
        "/sites/<int:number>": f"/sites/{site.id}",
        "<int:picture>": str(shown.id),
        "<int:task>": str(task.id),
        "<int:row>": str(hazard.id),
        "<int:lesson>": str(written.id),
        "<int:aside>": str(aside.id),
        "<int:ordinal>": "1",
        "<int:question>": str(own.id),
        "/questions/<int:number>": f"/questions/{asked.id}",
        "/unsent/<int:number>/forget": "/unsent/1/forget",  # of whoever it is, or of nobody
        "/tell/<int:number>/take-back": f"/tell/{told.id}/take-back",
        "/told/<int:number>": f"/told/{told.id}",
        "<int:respirator>": str(worn.id),
        "<int:entry>": str(given_d.number),
        "/tablets/<int:device>": f"/tablets/{shared.id}",
        "<int:device>": str(own_device.id),
        "<int:number_of>": str(left_open.id),
        "<int:position>": "1",
        "<number>": lee.number,
        "<slug>": lesson.slug,
        "<section>": exercise.section,
        "<exercise>": exercise.slug,
        "<question>": bank.load().for_lesson(lesson.slug)[0].slug,
        "<name>": "inside_concentration",
        "<language>": "es",
        "<signed>": signed,
    }


def _begun_under_another_number(works: Works, db, lesson: lessons.Lesson) -> Sitting:
    """Let Lee begin a sitting under a second number, and join that record to the first."""
    loft = works.worksites["Laminating Loft"].id
    second = joining.add_person(
        db, works.now, number="00499", name="Lee", roles=["worker"], worksites=[loft]
    )
    begun = sitting.draw_new(db, second, lesson, works.now, unread=True)
    merging.merge(db, works.scribe("Ida"), works.people["Lee"], second)
    return begun


def _lesson_with_another_text(works: Works, db) -> tuple[SiteLesson, SiteDraftAside]:
    """Return a published lesson of the Loft, and a text that stands beside its draft."""
    lesson = begun(works, db, {"en": ENGLISH, "es": ENGLISH})
    authoring.publish(db, works.scribe("Tomas"), lesson)
    other = Text(ENGLISH.title, ENGLISH.summary, "## Another")
    saved = authoring.save(
        db, works.scribe("Ida"), lesson, "en", other, since=0, page="other", turn=1
    )
    return lesson, saved.aside


def address(template: str, places: dict[str, str]) -> str:
    """Return a route's address with everything filled in."""
    for part, value in places.items():
        template = template.replace(part, value)
    assert "<" not in template
    return template


def walk(browser, places):
    """Send every row of the table, in order; give each row with its answer."""
    browser.get("/still-there")
    for method, template, who, which, sent in TABLE:
        path = address(template, places)
        if method == "GET":
            yield (template, who, which), browser.get(path, query_string=sent)
        else:
            if not re.search('name="csrf_token"', browser.page):
                browser.get("/still-there")
            yield (template, who, which), browser.post(path, follow=False, **sent)


def refused_at_the_door(answer) -> bool:
    """Say whether somebody was sent to sign in."""
    return answer.status_code == 302 and answer.location.startswith("/sign-in")


def look_protected(answer) -> None:
    """Check what every answer has to say about itself."""
    head = answer.headers
    if answer.mimetype.startswith("image/"):
        # Nothing at all may run in a picture, and a tablet asks each time before it shows one.
        assert "default-src 'none'; sandbox" in head["Content-Security-Policy"]
        assert head["Cache-Control"] == "private, no-cache"
    else:
        assert "default-src 'self'" in head["Content-Security-Policy"]
        assert head["Cache-Control"] == "no-store"
    assert "unsafe" not in head["Content-Security-Policy"]
    assert "frame-ancestors 'none'" in head["Content-Security-Policy"]
    assert head["X-Content-Type-Options"] == "nosniff"


def as_a_browser_goes(target: str) -> str:
    """Return the host that a browser would go to: it drops tabs and turns backslashes round."""
    cleaned = re.sub(r"[\t\r\n]", "", target).strip().replace("\\", "/")
    parts = urlsplit(urljoin("http://localhost/sign-in", cleaned))
    return f"{parts.scheme}://{parts.hostname}"


def test_every_route_has_a_row_and_names_the_same_roles(app):
    rows = {(method, template): frozenset(who.split()) for method, template, who, *_ in TABLE}
    assert len(rows) == len(TABLE)
    found = {
        (method, rule.rule): app.view_functions[rule.endpoint].allowed
        for rule in app.url_map.iter_rules()
        if rule.endpoint != "static"
        for method in rule.methods - {"HEAD", "OPTIONS"}
    }
    assert found == rows


def test_nobody_comes_further_than_the_sign_in(browser, places):
    for (template, who, _), answer in walk(browser(), places):
        look_protected(answer)
        if who == ANY:
            assert answer.status_code in (200, 302, 303, 422), template
        else:
            assert refused_at_the_door(answer), template


@pytest.mark.parametrize("name", WALKERS)
def test_each_role_comes_where_it_may_and_nowhere_else(browser, places, works, hashes, name):
    role, reaches = WALKERS[name]
    if name == "Odell":
        with works.store.writing() as db:
            works.people[name] = joining.add_person(
                db, works.now, number="00004", name="Odell", roles=["coordinator"]
            )
            signing_in.set_passphrase(db, works.people[name], hashes["passphrase"])
    for (template, who, which), answer in walk(browser(name), places):
        look_protected(answer)
        if who != ANY and not {*role.split()} & {*who.split()}:
            assert answer.status_code == 403, template
        elif which and which not in reaches:
            assert answer.status_code == 404, template
        else:
            assert answer.status_code in (200, 204, 302, 303, 409, 422), template
            assert who == ANY or not refused_at_the_door(answer), template


def test_a_trainer_of_another_worksite_changes_nothing_of_lee(browser, places, works):
    def kept():
        with works.store.reading() as db:
            lee = people.by_number(db, "00417").id
            answers = [one.answers for one in asking.of_person(db, works.people["Lee"])]
            dealt = [one.need.dealt_with_at for one in asking.needs_of(db, works.people["Lee"])]
            own = [(one.content, one.revision) for one in site_questions.of_lesson(db, 1)]
            return (
                len(people.respirators(db, lee)),
                len(people.assignments(db, lee)),
                answers,
                dealt,
                own,
            )

    before = kept()
    for _ in walk(browser("Wren"), places):
        pass
    assert kept() == before
    assert before[:4] == (1, 1, [()], [None])
    assert len(before[4]) == 4


def test_a_trainer_makes_no_code_for_a_colleague_or_a_coordinator(browser, works):
    """With such a code one could sign in as them, and sign one's own practice."""
    loft = works.worksites["Laminating Loft"].id
    with works.store.writing() as db:
        for number, roles in (("00600", ["coordinator"]), ("00601", ["worker", "trainer"])):
            joining.add_person(
                db, works.now, number=number, name="Odell", roles=roles, worksites=[loft]
            )
    tomas, ida = browser("Tomas"), browser("Ida")
    for number in ("00600", "00601"):
        tomas.get("/codes")
        assert tomas.post(f"/people/{number}/code").status_code == 403
        tomas.get("/codes")
        assert tomas.post("/codes", person=number).status_code == 403
        ida.get("/codes")
        assert ida.post(f"/people/{number}/code").status_code == 200


def test_a_form_without_its_token_is_refused_in_plain_words(app, browser, places):
    nobody, lee = app.test_client(), browser("Lee").client
    for method, template, *_, sent in TABLE:
        if method == "POST":
            for client in (nobody, lee):
                answer = client.post(address(template, places), data=sent)
                assert answer.status_code == 400, template
                assert "Please send it again" in answer.text
                look_protected(answer)
    assert lee.get("/tag").status_code == 200


def test_an_unknown_page_has_the_headers_too(browser):
    answer = browser().get("/nowhere")
    assert answer.status_code == 404
    look_protected(answer)


@pytest.mark.parametrize("target", ELSEWHERE)
def test_next_never_leads_off_site(browser, target):
    nobody = browser()
    nobody.get("/sign-in")
    sent = nobody.post("/language", follow=False, language="es", next=target)
    assert as_a_browser_goes(sent.location) == "http://localhost"
    nobody.get("/still-there", query_string={"next": target})
    links = [link["href"] for link in nobody.soup.select("a[href]")]
    forms = [form.get("action", "/") for form in nobody.soup.select("form")]
    assert links
    assert {as_a_browser_goes(link) for link in links + forms} <= {
        "http://localhost",
        "tel://None",
    }


def test_signing_in_never_leads_off_site_but_comes_back_to_a_page(browser):
    for target, end in (("//elsewhere.example/", "/"), ("/my-record", "/my-record")):
        lee = browser()
        lee.get("/sign-in", query_string={"next": target})
        hidden = lee.soup.select_one("form[action='/sign-in'] [name=next]")["value"]
        sent = lee.post(
            "/sign-in", follow=False, number="00417", passphrase=PASSPHRASE, next=hidden,
            **{"with": "passphrase"},
        )
        assert (sent.status_code, sent.location) == (303, end)


def test_htmx_is_sent_to_sign_in_as_a_whole_page(browser):
    nobody = browser()
    nobody.get("/sign-in")
    sent = nobody.post("/still-here", headers={"HX-Request": "true"}, here="/tag")
    read = nobody.get("/tag", headers={"HX-Request": "true"})
    for answer in (read, sent):
        assert (answer.status_code, answer.data) == (204, b"")
        assert answer.headers["HX-Redirect"] == "/sign-in?next=/tag"


def test_a_number_too_large_for_the_database_names_nothing(browser):
    huge = "9" * 30
    assert browser("Lee").get(f"/sittings/{huge}/1").status_code == 404
    ida = browser("Ida")
    assert ida.get(f"/worksites/{huge}").status_code == 404
    assert ida.get(f"/board?page={huge}").status_code in (200, 404)
