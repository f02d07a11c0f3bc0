"""The tag board's pages: filters in words, on paper, a day gone by; the year ahead; calendars."""

import re
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import icalendar
import pytest
from sqlmodel import select

from tests.conftest import HALF_MASK, Works, pass_lesson
from tests.services.test_feeds import fit_test
from tests.services.test_together import train
from trainer.calculations.clearance import Clearance, Step
from trainer.calculations.periods import next_due
from trainer.services import joining, recording, standing
from trainer.store import people, record
from trainer.store.tables import CalendarFeed, Person

LOFT = "Laminating Loft"


def names(page) -> list[str]:
    """Return whom the board on the page last seen shows, in order."""
    return [row.get_text() for row in page.soup.select("table.board tbody th > a")]


def asked(page) -> dict[str, str]:
    """Return the filter in words, each part with the address that takes it off."""
    return {
        one.span.get_text(): one.a["href"]
        for one in page.soup.select(".asked li")
        if one.span and one.span.get("class") is None
    }


@pytest.fixture
def tested(works: Works) -> Works:
    """Return the works; Lee passed a fit test, and is cleared until a day of the physician's."""
    fit_test(works, "Lee", works.today - timedelta(days=30), "f1")
    with works.store.writing() as db:
        recording.record_medical(
            db, works.scribe(), db.get(Person, works.people["Lee"].id), once="m1",
            on=works.today, outcome="cleared", until=works.today + timedelta(days=12),
        )  # fmt: skip
    return works


def test_every_part_of_a_filter_stands_in_words_and_can_be_taken_off(works, browser):
    ida = browser("Ida")
    ida.get("/board?q=lee&state=not&missing=respirator&due=60&sort=name&left=yes&worksite=1")
    said = asked(ida)
    assert list(said) == [
        "Name or number has “lee”", "Worksite: Laminating Loft", "Not clear",
        "Missing: A respirator", "Something falls due within 60 days", "Also people who left",
        "Order: Name",
    ]  # fmt: skip
    without = parse_qs(urlsplit(said["Not clear"]).query)
    assert "state" not in without
    assert without["q"] == ["lee"]
    assert without["due"] == ["60"]
    ida.get("/board")
    assert asked(ida) == {}


def test_the_board_says_what_is_missing_in_words(tested, browser):
    ida = browser("Ida")
    ida.get("/board?q=Lee")
    row = ida.soup.select_one("table.board tbody tr").get_text(" ")
    assert "Training; Practice, watched" in row
    ida.get("/board?missing=respirator")
    assert names(ida) == ["Kim", "Noor"]
    ida.get("/board?missing=fit-test")
    assert names(ida) == []


def test_several_tags_of_a_person_stand_together(works, browser):
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        joining.give_respirator(db, works.scribe(), lee, **HALF_MASK | {"size": "L"})
    ida = browser("Ida")
    ida.get("/board")
    assert names(ida) == ["Kim", "Lee", "Lee", "Noor"]
    assert "tag 2 of 2" in ida.page


def test_a_trainer_sees_yes_or_no_of_medical_and_never_its_date(tested, browser):
    """Not as what is due, nor in words, nor as a number of the year ahead."""
    day = tested.today + timedelta(days=12)
    written = re.compile(rf"\b{day.day} {day:%b} {day.year}\b")
    ida, tomas = browser("Ida"), browser("Tomas")
    ida.get("/board?due=30&kind=medical")
    assert names(ida) == ["Lee"]
    ida.get(f"/ahead?worksite={tested.worksites[LOFT].id}")
    assert "Medical evaluation" in ida.soup.select_one("table.due").get_text()
    for address in (
        "/people?due=30", "/people?due=30&kind=medical", f"/people?month={day:%Y-%m}&kind=medical",
        "/people?month=past",
    ):  # fmt: skip
        tomas.get(address)
        assert names(tomas) == [], address
    for address in ("/people", "/board/print", "/people?missing=medical"):
        tomas.get(address)
        assert not written.search(tomas.page), address
    tomas.get("/ahead")
    assert "Medical" not in tomas.soup.main.get_text()
    # Once it has ended, a trainer reads that it is missing, and not since when.
    with tested.store.writing() as db:
        person = db.get(Person, tested.people["Lee"].id)
        standing.refresh(db, person, day + timedelta(days=3))
    tomas.get("/people?missing=medical")
    assert "Lee" in names(tomas)
    assert "Medical evaluation" in tomas.soup.select_one("table.board").get_text()
    assert not written.search(tomas.page)


def test_a_persons_tag_tells_a_trainer_no_date_of_a_determination(tested, browser):
    train(tested, "Lee")
    ends = tested.today + timedelta(days=12)
    ida, tomas = browser("Ida"), browser("Tomas")
    for one, shown in ((ida, True), (tomas, False)):
        one.get("/people/00417")
        assert one.soup.select(".tag .verdict.yes")
        assert (f'datetime="{ends}"' in one.page) is shown


def test_on_paper_stands_every_row_with_the_filter_in_words(works, browser):
    with works.store.writing() as db:
        for at in range(60):
            joining.add_person(
                db, works.now, number=f"P{at:02}", name=f"Paper {at}", roles=["worker"],
                worksites=[works.worksites[LOFT].id],
            )  # fmt: skip
    tomas = browser("Tomas")
    tomas.get("/people?q=paper")
    assert len(names(tomas)) == 50
    assert "60 tags" in tomas.page
    tomas.get(tomas.soup.select_one("main .do a[href^='/board/print']")["href"])
    assert len(tomas.soup.select("table.board tbody tr")) == 60
    assert tomas.soup.select_one(".lead").get_text() == "Name or number has “paper”"
    assert tomas.soup.select("main form") == []
    assert tomas.soup.select_one("table.board thead th")
    wren = browser("Wren")
    wren.get("/board/print?q=paper")
    assert wren.soup.select("table.board") == []


def test_who_left_is_on_the_board_only_when_asked(works, browser):
    with works.store.writing() as db:
        kim = db.get(Person, works.people["Kim"].id)
        kim.left_on = works.today
        db.add(kim)
    ida = browser("Ida")
    ida.get("/board")
    assert "Kim" not in names(ida)
    ida.get("/board?left=yes")
    assert "Kim" in names(ida)


def clear_then(given):
    """Return a stand-in for `standing.tags_on`: Lee was clear, Kim lacked a fit test."""

    def tags_on(_db, persons, day):
        step = Step("fit-test", "done", day, day + timedelta(days=40))
        ends = Step("medical", "done", day, day + timedelta(days=4))
        said = {
            "Lee": Clearance((step, ends), day + timedelta(days=4)),
            "Kim": Clearance((Step("fit-test", "todo"),), None),
        }
        return {
            one.id: [standing.Tag(given, standing.worn(given), said[one.name])]
            for one in persons
            if one.name in said
        }

    return tags_on


def test_who_was_clear_on_a_day_gone_by(works, browser, monkeypatch):
    with works.store.reading() as db:
        [given] = people.respirators(db, works.people["Lee"].id)
    monkeypatch.setattr(standing, "tags_on", clear_then(given), raising=False)
    day = works.today - timedelta(days=90)
    ida, tomas = browser("Ida"), browser("Tomas")
    ida.get(f"/board?on={day}")
    assert names(ida) == ["Kim", "Lee"]
    assert any(words.startswith("As it was on ") for words in asked(ida))
    ida.get(f"/board?on={day}&state=clear")
    assert names(ida) == ["Lee"]
    assert f"{(day + timedelta(days=4)).day} " in ida.soup.select("table.board td time")[0].text
    ida.get(f"/board?on={day}&missing=fit-test")
    assert names(ida) == ["Kim"]
    tomas.get(f"/people?on={day}&state=clear")
    shown = tomas.soup.select_one("table.board td time")["datetime"]
    assert shown == (day + timedelta(days=40)).isoformat()  # and never the determination's
    monkeypatch.setattr("trainer.web.board.MOST_ON_A_PAST_DAY", 1)
    ida.get(f"/board?on={day}")
    assert names(ida) == []
    assert "Choose a worksite" in ida.page
    ida.get(f"/board?on={day}&q=Lee")
    assert names(ida) == ["Lee"]


def test_on_a_day_gone_by_the_tags_that_stand_there_are_counted(works, browser, monkeypatch):
    """Of two tags of which one was clear, that one stands alone; the tally tells of both."""
    with works.store.reading() as db:
        [given] = people.respirators(db, works.people["Lee"].id)
    day = works.today - timedelta(days=90)
    was = [
        standing.Tag(given, standing.worn(given), one) for one in (
            Clearance((Step("fit-test", "done", day, day + timedelta(days=40)),),
                      day + timedelta(days=40)),
            Clearance((Step("fit-test", "lapsed"),), None),
        )
    ]  # fmt: skip
    monkeypatch.setattr(
        standing, "tags_on", lambda _db, persons, _day: {works.people["Lee"].id: was}
    )
    ida = browser("Ida")
    ida.get(f"/board?on={day}&q=Lee")
    assert names(ida) == ["Lee", "Lee"]
    assert "tag 2 of 2" in ida.page
    ida.get(f"/board?on={day}&q=Lee&state=clear")
    assert names(ida) == ["Lee"]
    assert "of 2" not in ida.page
    tally = [one.text.split() for one in ida.soup.select("ul.tally li")]
    assert tally == [["1", "clear"], ["1", "not", "clear"], ["0", "new"]]


def test_a_day_to_come_is_today(works, browser):
    ida = browser("Ida")
    ida.get(f"/board?on={works.today + timedelta(days=9)}")
    assert asked(ida) == {}
    assert len(names(ida)) == 3


def test_a_number_of_the_year_leads_to_who_they_are(tested, browser):
    ida = browser("Ida")
    ida.get("/ahead")
    due = next_due(tested.today - timedelta(days=30))
    links = {one["href"] for one in ida.soup.select("table.due td a")}
    wanted = f"/board?kind=fit-test&month={due:%Y-%m}"
    assert wanted in links
    assert f"/board?worksite={tested.worksites[LOFT].id}&month={due:%Y-%m}" in links
    for address in links:
        ida.get(address)
        assert names(ida) == ["Lee"], address
    picture = ida.get("/ahead/drawing.svg?narrow=yes")
    assert picture.mimetype == "image/svg+xml"
    assert b"style" not in picture.data
    wren = browser("Wren")
    wren.get("/ahead")
    assert wren.soup.select("table.due") == []
    assert "Nothing falls due" in wren.page


def test_a_calendar_is_made_fetched_made_anew_and_revoked(tested, browser):
    tomas, nobody = browser("Tomas"), browser()
    tomas.get("/feeds")
    form = tomas.soup.select_one("form:has([value=worksites])")
    sent = {one["name"]: one["value"] for one in form.select("[type=hidden]")}
    sent["worksite"] = str(tested.worksites[LOFT].id)
    token = sent.pop("csrf_token")
    assert token
    tomas.post("/feeds", **sent)
    address = tomas.soup.select_one("#address")["value"]
    tomas.post("/feeds", **sent)  # sent twice, it is the same one
    assert tomas.soup.select_one("#address")["value"] == address
    path = urlsplit(address).path
    fetched = nobody.get(path)
    assert fetched.mimetype == "text/calendar"
    [event] = icalendar.Calendar.from_ical(fetched.data).walk("VEVENT")
    assert event["summary"] == "Fit test due: Lee (00417)"
    with tested.store.reading() as db:
        [entry] = record.of_person(db, "00417", ("fit-test",))
        [kept] = db.exec(select(CalendarFeed)).all()
    assert event["dtstart"].dt == next_due(entry.happened_on)
    assert path.removeprefix("/feeds/").removesuffix(".ics") not in str(kept.model_dump())
    tomas.get("/feeds")
    assert address not in tomas.page  # shown once
    key = tomas.soup.select_one("form[action$='/anew'] [name=key]")["value"]
    tomas.post(f"/feeds/{kept.id}/anew", key=key)
    fresh = urlsplit(tomas.soup.select_one("#address")["value"]).path
    assert nobody.get(path).status_code == 404
    assert nobody.get(fresh).status_code == 200
    tomas.get("/feeds")
    tomas.post(tomas.soup.select_one("form[action$='/revoke']")["action"])
    assert nobody.get(fresh).status_code == 404


def test_a_calendar_speaks_the_language_it_was_made_in(tested, browser):
    lee, nobody = browser("Lee"), browser()
    lee.get("/tag")
    lee.post("/language", language="es", next="/feeds")
    lee.get("/feeds")
    key = lee.soup.select_one("[name=key]")["value"]
    lee.post("/feeds", scope="own", key=key)
    fetched = nobody.get(urlsplit(lee.soup.select_one("#address")["value"]).path)
    [event] = icalendar.Calendar.from_ical(fetched.data).walk("VEVENT")
    assert event["summary"] == "Prueba de ajuste, vence: Lee (00417)"


def test_a_calendar_of_somebody_elses_people_is_refused(tested, browser):
    lee = browser("Lee")
    lee.get("/feeds")
    sent = lee.post(
        "/feeds", scope="worksites", key="a" * 32, worksite=str(tested.worksites[LOFT].id)
    )
    assert sent.status_code == 422
    assert "Only the trainers" in lee.page
    lee.get("/feeds")
    assert lee.post("/feeds", scope="own", key="short").status_code == 400


def test_coverage_leads_to_who_lacks_what_and_to_assigning_it(works, browser):
    pass_lesson(works, "Lee", "the-standard", works.now)
    tomas = browser("Tomas")
    tomas.get("/coverage")
    lacking = "/coverage" + next(
        one["href"] for one in tomas.soup.select("table.due td a") if "%28vii%29" in one["href"]
        and "c%29" not in one["href"]
    )  # fmt: skip
    tomas.get(lacking)
    rows = tomas.soup.select("table.grid tbody tr")
    assert [row.th.a.get_text() for row in rows] == ["Kim"]
    cells = [one.get_text() for one in rows[0].select("td .unseen")]
    assert set(cells[:7]) == {"Lacking"}
    # Nobody wrote the worksite's own part yet; nothing is worn by choice.
    assert cells[7:9] == ["Not asked", "Not asked"]
    tomas.get(rows[0].select("td a")[-1]["href"])
    assert tomas.soup.select_one("[name=lesson][value=the-standard]").has_attr("checked")


def test_a_trainer_reads_a_sitting_answer_by_answer(works, browser):
    sat = pass_lesson(works, "Lee", "the-standard", works.now)
    tomas, lee, wren = browser("Tomas"), browser("Lee"), browser("Wren")
    tomas.get("/people/00417")
    address = tomas.soup.select_one("a[href*='/sittings/']")["href"]
    assert address == f"/people/00417/sittings/{sat.id}"
    tomas.get(address)
    theirs = tomas.soup.select(".marked > li")
    lee.get(f"/sittings/{sat.id}/result")
    assert [one.get_text() for one in theirs] == [
        one.get_text() for one in lee.soup.select(".marked > li")
    ]
    assert theirs
    assert wren.get(address).status_code == 404
    assert tomas.get(f"/people/00418/sittings/{sat.id}").status_code == 404


def test_an_entry_leads_to_the_lesson_as_it_was_taught(works, browser):
    pass_lesson(works, "Lee", "the-standard", works.now)
    lee, kim = browser("Lee"), browser("Kim")
    lee.get("/my-record")
    address = lee.soup.select_one("a[href^='/taught/']")["href"]
    lee.get(address)
    assert lee.soup.select_one("article.lesson")["lang"] == "en"
    assert len(lee.soup.select(".kept-questions > li")) >= 14
    lee.get(f"{address}?tongue=es")
    assert lee.soup.select_one("article.lesson")["lang"] == "es"
    kim.get(address)  # may read it, and not the answers before having passed it
    assert kim.soup.select("article.lesson")
    assert kim.soup.select(".kept-questions") == []
    assert kim.get("/taught/nothing").status_code == 404


def test_a_long_record_is_read_by_year_and_page(works, browser):
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        for at in range(120):
            recording.record_appendix_d(
                db, works.scribe(), lee, once=f"d{at}", on=works.today - timedelta(days=at * 9)
            )
    tomas = browser("Tomas")
    tomas.get("/people/00417")
    assert len(tomas.soup.select(".entries > li")) == 20
    tomas.get(tomas.soup.select_one("a[href$='/record']")["href"])
    assert len(tomas.soup.select(".entries > li")) == 50
    years = [one.get_text() for one in tomas.soup.select("h3.year")]
    assert years == sorted(years, reverse=True)
    assert len(years) > 1
    tomas.get("/people/00417/record?page=3")
    assert len(tomas.soup.select(".entries > li")) == 20
