"""The page of the inspection packet: asked for, followed, downloaded, listed."""

import secrets
from datetime import timedelta

from tests.clear import make_clear
from trainer.services import errands
from trainer.store.tables import Worksite


def fields(works, **more) -> dict:
    """Return a form that asks for a packet of the Loft."""
    return {
        "deed": secrets.token_hex(16), "worksite": "1", "language": "en",
        "first": (works.today - timedelta(days=30)).isoformat(), "last": works.today.isoformat(),
    } | more  # fmt: skip


def test_it_is_asked_for_followed_and_downloaded(browser, works):
    make_clear(works, "Lee")
    ida = browser("Ida")
    ida.get("/packet?worksite=2")
    assert ida.soup.select_one("#worksite option[selected]")["value"] == "2"
    assert "Never inside:" in ida.page
    sent = fields(works)
    first = ida.post("/packet", follow=False, **sent)
    ida.get("/packet")
    again = ida.post("/packet", follow=False, **sent)
    assert first.status_code == 303 and first.location == again.location
    assert errands.run_all(works.store) == 1
    ida.get(first.location)
    assert "3 people and 3 entries." in ida.page  # Lee, Kim and Tomas; nothing medical
    way = ida.soup.select_one("a[download]")
    assert way["download"].endswith(".zip")
    file = ida.client.get(way["href"])
    assert file.data[:2] == b"PK" and file.mimetype == "application/zip"
    ida.get("/packet")
    row = ida.soup.select_one("main tbody tr")
    assert row.select_one(f'a[href="{first.location}"]') and "Ida" in row.text
    assert len(row.code.text) == 17
    ida.get("/log?kind=export")
    [noted] = ida.soup.select("main tbody tr")
    assert "Worksite: Laminating Loft" in noted.text and "Format: zip" in noted.text


def test_what_is_missing_of_the_written_program_is_asked_for(browser, works):
    ida = browser("Ida")
    ida.get("/packet")
    assert ida.soup.select_one('main a[href="/worksites/1"]')
    ida.get("/worksites/1")
    ida.post(
        "/worksites/1", name="Laminating Loft", time_zone="America/Chicago", ask_name="R. Odell",
        ask_telephone="555 0142", program_place="Office, shelf 2", program_on="2026-02-01",
        program_by="M. Osterquay",
    )  # fmt: skip
    with works.store.reading() as db:
        site = db.get(Worksite, 1)
    assert (site.program_place, site.program_on.isoformat(), site.program_by) == (
        "Office, shelf 2", "2026-02-01", "M. Osterquay",
    )  # fmt: skip
    ida.get("/packet")
    assert not ida.soup.select_one('main a[href="/worksites/1"]')
    ida.get("/worksites/1")
    assert ida.soup.select_one("#program_on")["value"] == "2026-02-01"


def test_a_form_that_cannot_be_is_told_at_its_field(browser, works):
    ida = browser("Ida")
    ida.get("/packet")
    late = (works.today + timedelta(days=3)).isoformat()
    for sent, said in (
        (fields(works, last=late), "The last day lies in the future."),
        (fields(works, first=works.today.isoformat(), last="2026-01-01"),
         "The last day must not be before the first."),
        (fields(works, first="soon"), "Give a date"),
        (fields(works, worksite="99"), "Choose one of these."),
        (fields(works, deed="x"), "Choose one of these."),
    ):
        answer = ida.post("/packet", **sent)
        assert answer.status_code == 422, said
        assert said in ida.soup.select_one(".faults").text
        ida.get("/packet")
    assert errands.run_all(works.store) == 0


def test_the_chosen_ticks_stay_and_determinations_need_one(browser, works):
    ida = browser("Ida")
    ida.get("/packet")
    ida.post("/packet", **fields(works, first="soon", medical="yes"))
    assert ida.soup.select_one("#medical").has_attr("checked")
    assert not ida.soup.select_one("#answers").has_attr("checked")


def test_ways_lead_there_from_the_board_and_a_persons_page(browser, works):
    ida = browser("Ida")
    ida.get("/board?worksite=1")
    assert ida.soup.select_one('main a[href="/packet?worksite=1"]')
    ida.get("/people/00417")
    assert ida.soup.select_one('main a[href="/packet?worksite=1"]')
    tomas = browser("Tomas")
    tomas.get("/people/00417")
    assert not tomas.soup.select_one('main a[href^="/packet"]')
    tomas.get("/people")
    assert not tomas.soup.select_one('main a[href^="/packet"], main a[href^="/cards"]')
