"""An empty installation is taken by a coordinator to a first cleared worker, pages alone."""

import csv
import io
import re
from datetime import UTC, datetime

from tests.conftest import PIN, Browser, right_answer, wrong_answer
from trainer import lessons
from trainer.services import joining, signing_in, sitting
from trainer.store import people
from trainer.store.tables import Sitting


def first_sign_in(app, number: str, code: str) -> Browser:
    """Enrol a fresh browser with a one-time code and choose a PIN."""
    browser = Browser(app.test_client())
    browser.get("/enrol")
    assert browser.post("/enrol", number=number, code=code).request.path == "/choose-pin"
    browser.post("/choose-pin", pin=PIN, again=PIN)
    return browser


def shown_code(browser: Browser) -> str:
    """Return the one-time code on the page last seen."""
    return browser.soup.select_one(".code").text


def work_lesson(store, browser: Browser, number: str, slug: str, answer=right_answer) -> str:
    """Read a lesson to its end and hand in its sitting; return the result page's address."""
    lesson = lessons.load().get(slug)
    for section in lesson.sections:
        assert browser.get(f"/lessons/{slug}/{section.id}").status_code == 200
        browser.post(f"/lessons/{slug}/{section.id}/done")
    address = browser.post(f"/lessons/{slug}/sitting").request.path
    there = int(re.search(r"/sittings/(\d+)/", address).group(1))
    with store.reading() as db:
        items = sitting.shown(db, db.get(Sitting, there))
    for one in items:
        browser.get(f"/sittings/{there}/{one.item.position}")
        sent = browser.post(f"/sittings/{there}/{one.item.position}", answer=answer(one))
        assert sent.status_code == 200, sent.text
    closed = browser.post(f"/sittings/{there}/close")
    assert closed.request.path == f"/sittings/{there}/result", closed.text
    return closed.request.path


def test_an_empty_installation_comes_to_a_first_cleared_worker(app, store, settings):
    with store.writing() as db:
        first = joining.add_person(
            db, datetime.now(UTC), number="1", name="Ida Marrow", roles=["coordinator"]
        )
        limits = signing_in.Limits()
        code, _ = signing_in.make_code(db, None, datetime.now(UTC), limits, person=first)
    ida = first_sign_in(app, "1", code)
    assert ida.get("/").location == "/board"

    ida.get("/worksites/new")
    ida.post(
        "/worksites/new", name="Laminating Loft", time_zone="America/Chicago",
        ask_name="R. Odell", ask_telephone="555 0142",
    )
    for number, name, role, qualification in (
        ("2", "Ravi Odell", "trainer", "Industrial hygienist"),
        ("00417", "Imara Sollis", "worker", ""),
    ):
        ida.get("/people/new")
        added = ida.post(
            "/people/new", number=number, name=name, language="en", roles=role,
            worksites="1", qualification=qualification,
        )
        assert added.request.path == f"/people/{number}", added.text
    ida.get("/people/00417/respirators")
    ida.post(
        "/people/00417/respirators", class_slug="apr-half", use="required",
        make="Invented Aldermoor", model="Half 2", style="elastomeric", size="M",
        filters="organic vapor",
    )
    ida.get("/people/00417/medical")
    deed = ida.soup.select_one("[name=deed]")["value"]
    day = ida.soup.select_one("[name=on]")["value"]
    ida.post("/people/00417/medical", deed=deed, on=day, outcome="cleared", limit="", until="")
    ida.post("/people/2/code")
    odell = first_sign_in(app, "2", shown_code(ida))
    odell.get("/people/00417")
    odell.post("/people/00417/code")
    imara = first_sign_in(app, "00417", shown_code(odell))

    imara.get("/tag")
    assert "Not clear yet" in imara.page
    slugs = [lesson.slug for lesson in lessons.load().all]
    failed = work_lesson(store, imara, "00417", slugs[0], answer=wrong_answer)
    assert "Not passed yet" in imara.get(failed).text
    for slug in slugs:
        work_lesson(store, imara, "00417", slug)
        assert imara.soup.select_one(".verdict.yes"), imara.page

    odell.get("/people/00417")
    page = odell.post("/people/00417/practice", respirator="1")
    acts = [field["name"] for field in odell.soup.select("fieldset input[type=radio]")]
    assert len(set(acts)) == 7
    odell.post(page.request.path, act="sign", **dict.fromkeys(acts, "unprompted"))
    assert "Training as a whole" in odell.page

    ida.get("/people/00417/fit-test")
    deed = ida.soup.select_one("[name=deed]")["value"]
    ida.post(
        "/people/00417/fit-test", deed=deed, on=day, respirator="1",
        protocol="ambient-aerosol", fit_factor="180", recording="shelf 3",
    )
    imara.get("/tag")
    assert imara.soup.select_one(".verdict.yes"), imara.page

    sent = ida.get(f"/export.csv?from=2020-01-01&to={day}&worksite=Laminating+Loft")
    rows = list(csv.DictReader(io.StringIO(sent.text)))
    assert [row["lesson"] for row in rows] == [*slugs, "practice", "training as a whole"]
    assert rows[0]["sittings taken"] == "2"
    assert rows[-1]["trainer qualification"] == "Industrial hygienist"
    with store.reading() as db:
        assert people.by_number(db, "00417").name == "Imara Sollis"
