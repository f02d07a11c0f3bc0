"""Cards on pages: one's own, somebody's, many, and the page behind the code."""

from io import BytesIO

import zxingcpp
from pypdfium2 import PdfDocument

from tests.clear import correct, make_clear
from trainer.services import errands


def scanned(data: bytes) -> str:
    """Return the path that the code of a card leads to."""
    [code] = zxingcpp.read_barcodes(PdfDocument(BytesIO(data))[0].render(scale=4).to_pil())
    return "/card/" + code.text.rsplit("/", 1)[1]


def test_a_worker_takes_their_card_and_anybody_reads_whether_it_holds(browser, works):
    made = make_clear(works, "Lee")
    lee = browser("Lee")
    assert lee.get("/tag").status_code == 200
    assert lee.soup.select_one('a[href="/my-card.pdf"]')
    card = lee.get("/my-card.pdf")
    assert card.mimetype == "application/pdf"
    assert card.headers["Cache-Control"] == "no-store"
    passer_by = browser()
    answer = passer_by.get(scanned(card.data))
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "no-store"
    assert "noindex" in answer.headers["X-Robots-Tag"]
    assert "Set-Cookie" not in answer.headers or "token" not in answer.headers["Set-Cookie"]
    main = passer_by.soup.main.get_text(" ", strip=True)
    assert "Clear today" in main and "00417" in main and "size M" in main
    for kept_back in ("edical", "Training", "Tomas", str(works.today.year)):
        assert kept_back not in main, kept_back
    correct(works, "Lee", made["training"], None, why="not-done")
    passer_by.get(scanned(card.data))
    assert "Not clear today" in passer_by.soup.main.get_text(" ", strip=True)
    assert "R. Odell" in passer_by.page


def test_whatever_is_no_card_gets_one_and_the_same_page(browser, works):
    make_clear(works, "Lee")
    browser("Lee").get("/my-card.pdf")
    nobody = browser()
    pages = set()
    for signed in ("1-1.AAAA", "x", "4-1.%s" % ("A" * 43), "1-1", "x" * 300):
        answer = nobody.get(f"/card/{signed}")
        assert answer.status_code == 404
        assert "noindex" in answer.headers["X-Robots-Tag"]
        pages.add(nobody.soup.main.get_text(" ", strip=True))
    assert len(pages) == 1
    assert "no card of ours" in pages.pop()


def test_who_is_not_clear_is_led_back_with_the_reason(browser, works):
    lee = browser("Lee")
    lee.get("/tag")
    assert not lee.soup.select_one('a[href="/my-card.pdf"]')
    answer = lee.client.get("/my-card.pdf")
    assert (answer.status_code, answer.location) == (303, "/tag")
    lee.get("/tag")
    assert "No card: only what is clear stands on one." in lee.page
    assert "Fit test" in lee.soup.select_one("#status").text


def test_a_coordinator_takes_the_card_of_somebody_from_their_page(browser, works):
    make_clear(works, "Lee")
    ida = browser("Ida")
    ida.get("/people/00417")
    assert ida.soup.select_one('a[href="/people/00417/card.pdf"]')
    assert ida.get("/people/00417/card.pdf").mimetype == "application/pdf"
    assert browser("Wren").get("/people/00417/card.pdf").status_code == 404


def test_cards_of_many_are_asked_for_by_the_filter_of_the_board(browser, works):
    make_clear(works, "Lee")
    ida = browser("Ida")
    ida.get("/board?state=clear")
    [way] = ida.soup.select('a[href^="/cards"]:not(nav a)')
    ida.get(way["href"])
    assert "1 person found." in ida.page
    fields = {one["name"]: one["value"] for one in ida.soup.select("main form[method=post] input")}
    assert fields["state"] == "clear"
    first = ida.post("/cards", follow=False, **fields, cards="es")
    again = ida.post("/cards", follow=False, **fields, cards="es")
    assert first.location == again.location
    assert errands.run_all(works.store) == 1
    ida.get(first.location)
    assert "1 card." in ida.page
    assert "wallet cards.pdf" in ida.page


def test_the_page_says_it_in_spanish(browser, works):
    make_clear(works, "Lee")
    path = scanned(browser("Lee").get("/my-card.pdf").data)
    answer = browser().client.get(path, headers={"Accept-Language": "es"})
    assert "Puede usarlo hoy" in answer.text
    assert '<html lang="es">' in answer.text
