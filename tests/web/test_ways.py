"""The ways to go: what stands in the bar and behind "More", and what is said to whoever is lost."""

import ast
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import select

from tests.conftest import PASSPHRASE, pass_lesson
from trainer import lessons
from trainer.services import joining, signing_in
from trainer.store.tables import Person, Sitting, WebSession
from trainer.web import request_log, surroundings


def in_the_bar(page) -> list[str]:
    """Return the names of the ways in sight."""
    return [one.get_text() for one in page.soup.select("header nav > ul > li > a")]


def behind_more(page) -> dict[str, list[str]]:
    """Return the ways behind "More" by the heading of their group."""
    return {
        page.soup.find(id=group["aria-labelledby"]).get_text(): [
            one.get_text() for one in group.select("a")
        ]
        for group in page.soup.select("header nav details ul[aria-labelledby]")
    }


@pytest.fixture
def of_all_trades(works, hashes) -> str:
    """Return the number of somebody who works, trains and coordinates."""
    with works.store.writing() as db:
        person = joining.add_person(
            db, works.now, number="00700", name="Perpetua",
            roles=["worker", "trainer", "coordinator"],
            worksites=[one.id for one in works.worksites.values()],
        )  # fmt: skip
        signing_in.set_passphrase(db, db.get(Person, person.id), hashes["passphrase"])
    return "00700"


def test_a_coordinator_has_five_ways_in_sight_and_the_rest_in_groups(browser):
    ida = browser("Ida")
    ida.get("/board")
    assert in_the_bar(ida) == [
        "Tag board", "Year ahead", "Bring in", "Take out", "Inspection packet",
    ]  # fmt: skip
    more = behind_more(ida)
    assert list(more) == [
        "Training", "People and places", "The record", "Settings and changes", "Numbers",
    ]  # fmt: skip
    assert "Shared tablets" in more["Settings and changes"]
    assert {"Who has left", "Wallet cards"} <= set(more["People and places"])


def test_somebody_with_every_role_finds_every_way_once(browser, of_all_trades):
    page = browser().sign_in(of_all_trades)
    page.get("/board")
    bar, more = in_the_bar(page), behind_more(page)
    assert len(bar) == 6
    assert bar[:2] == ["Today", "Tag board"]
    assert more["My own"] == ["My tag", "My record"]
    every = [*bar, *(name for names in more.values() for name in names)]
    assert len(every) == len(set(every))
    assert {"My people", "Questions", "Assign", "Inspection packet", "Settings"} <= set(every)
    for one in page.soup.select("header nav a"):
        assert page.get(one["href"]).status_code == 200, one["href"]


def test_the_bar_says_where_one_is_also_on_a_persons_page(browser):
    for name, way in (("Ida", "Tag board"), ("Tomas", "My people")):
        page = browser(name)
        page.get("/people/00417")
        [here] = page.soup.select("header nav a[aria-current=page]")
        assert here.get_text() == way
    ida = browser("Ida")
    ida.get("/log")
    assert ida.soup.select_one("header nav summary.current")
    assert ida.soup.select_one("header nav a[aria-current]").get_text() == "What changed"


def let_lapse(works) -> None:
    """End every session, as a night does."""
    with works.store.writing() as db:
        for session in db.exec(select(WebSession)):
            session.seen_at = works.now - timedelta(days=1)
            db.add(session)


def test_a_form_sent_after_the_session_ran_out_is_not_lost_in_silence(browser, works):
    ida = browser("Ida")
    ida.get("/people/00417/appendix-d")
    let_lapse(works)
    sent = ida.post("/people/00417/appendix-d", follow=False, on=str(works.today))
    assert sent.location == "/sign-in?next=/people/00417/appendix-d"
    ida.get(sent.location)
    assert "what you just sent was not recorded" in ida.soup.select_one("#status").get_text()
    kept = ida.soup.select_one("form[action='/sign-in'] [name=next]")["value"]
    back = ida.post(
        "/sign-in", follow=False, number="00001", passphrase=PASSPHRASE, next=kept,
        **{"with": "passphrase"},
    )  # fmt: skip
    assert back.location == "/people/00417/appendix-d"


def test_what_only_takes_a_form_leads_to_the_first_page(browser, works):
    ida = browser("Ida")
    ida.get("/people/00417")
    let_lapse(works)
    assert ida.post("/people/00417/code", follow=False).location == "/sign-in?next=/"


def test_a_page_that_was_open_too_long_says_that_nothing_was_recorded(browser):
    ida = browser("Ida")
    ida.get("/people/00417")
    answer = ida.post("/people/00417/appendix-d", csrf_token="stale")
    assert answer.status_code == 400
    assert "Nothing was recorded" in ida.page
    assert ida.soup.select_one("main a.button")["href"] == "/people/00417/appendix-d"


def test_whoever_is_added_is_a_worker_unless_said_otherwise(browser):
    ida = browser("Ida")
    ida.get("/people/new")
    ticked = [one["value"] for one in ida.soup.select("[name=roles][checked]")]
    assert ticked == ["worker"]


def test_what_one_can_do_for_a_person_stands_in_groups(browser):
    ida, tomas = browser("Ida"), browser("Tomas")
    ida.get("/people/00417")
    groups = {
        ida.soup.find(id=one["aria-labelledby"]).get_text(): [
            link["href"].rsplit("/", 1)[-1] for link in one.select("a")
        ]
        for one in ida.soup.select("main ul.go-list[aria-labelledby]")
    }
    assert list(groups) == ["Record something", "Papers", "Change", "Look up"]
    assert groups["Record something"] == ["medical", "fit-test", "appendix-d", "credit"]
    assert groups["Change"] == ["change", "respirators", "leave", "merge"]
    tomas.get("/people/00417")
    assert "/people/00417/seen" in tomas.page
    assert "/people/00417/merge" not in tomas.page


def test_a_tag_speaks_to_its_wearer_and_of_others_to_everybody_else(browser):
    ida, kim = browser("Ida"), browser("Kim")
    ida.get("/people/00418")
    assert ida.soup.select_one(".tag .because").get_text() == "No respirator is given yet."
    kim.get("/tag")
    assert "given to you" in kim.soup.select_one(".tag .because").get_text()


def test_a_worker_finds_the_calendar_of_their_own_dates(browser):
    lee = browser("Lee")
    lee.get("/tag")
    assert lee.get(lee.soup.select_one("main a[href='/feeds']")["href"]).status_code == 200


def test_an_entry_has_the_version_behind_its_link_and_days_are_of_the_works(browser, works):
    slug = lessons.load().all[0].slug
    late = datetime(2026, 8, 6, 1, 30, tzinfo=UTC)  # half past eight in the evening before, there
    done = pass_lesson(works, "Lee", slug, late)
    with works.store.reading() as db:
        assert db.get(Sitting, done.id).closed_at == late
    ida = browser("Ida")
    ida.get("/people/00417")
    [entry] = ida.soup.select(".entries > li")
    assert "ersion" not in entry.select_one("div > p + p").get_text()
    version = entry.select_one("a[href^='/taught/']")["href"].removeprefix("/taught/")
    assert version not in ida.soup.get_text()
    ida.get(f"/taught/{version}")
    assert version in ida.soup.get_text()
    ida.get("/people/00417")
    days = {one["datetime"] for one in ida.soup.select(".plain-list time, .entries time")}
    assert days == {"2026-08-05"}


def test_what_concerns_the_rows_stands_with_them(browser, works):
    ida, tomas = browser("Ida"), browser("Tomas")
    place = works.worksites["Laminating Loft"].id
    ida.get(f"/board?worksite={place}&q=Lee")
    asked = f"q=Lee&worksite={place}"
    links = [one["href"] for one in ida.soup.select("main .with-rows a")]
    assert links == [
        f"/board/print?{asked}", f"/export?{asked}", f"/cards?{asked}",
        f"/packet?worksite={place}",
    ]  # fmt: skip
    ida.get("/board?q=nobody-of-this-name")
    assert not ida.soup.select("main .with-rows")
    assert ida.soup.select("main a[href='/board']")[-1].get_text() == "Show every tag"
    tomas.get("/people")
    assert [one["href"].split("?")[0] for one in tomas.soup.select("main .with-rows a")] == [
        "/board/print"
    ]
    assert not tomas.soup.select("main a[href='/people/new']")


def test_who_has_left_says_when_nobody_has(browser):
    ida = browser("Ida")
    ida.get("/left")
    assert "Nobody has left." in ida.page
    ida.get("/left?q=Odd")
    assert "Nobody who left has “Odd” in the name or number." in ida.page


def test_no_page_takes_a_name_that_the_layout_needs(app, browser):
    watched = {request_log.SEEN: request_log._Seen("GET")}
    with app.test_request_context("/", environ_overrides=watched):
        app.preprocess_request()
        around = set(surroundings._around()) | {"idle_seconds", "warning_seconds"}
    taken = {
        (path.stem, word.arg)
        for path in Path(surroundings.__file__).parent.glob("*.py")
        for call in ast.walk(ast.parse(path.read_text()))
        if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "render_template"
        for word in call.keywords
        if word.arg in around
    }
    # Whoever scans a card is told whom to ask at the worksite of the card.
    assert taken == {("cards", "ask")}
