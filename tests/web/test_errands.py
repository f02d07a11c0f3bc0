"""The page of long work: how far it is, what came of it, its file."""

import pytest

from trainer.services import errands
from trainer.services.refusal import Refusal
from trainer.web import errands as pages


@pytest.fixture
def ask(works, monkeypatch):
    """Return a function that asks for an errand as Ida and leaves it to be done."""
    monkeypatch.setitem(pages.TITLES, "trial", "A trial")
    monkeypatch.setitem(pages._RESULTS, "trial", lambda _, said: (f"{said['n']} lines.", "/board"))

    def asked(doing):
        monkeypatch.setitem(errands._DOINGS, "trial", doing)
        with works.store.writing() as db:
            return errands.ask(db, works.scribe(), "trial", {}, once="1", language="en").id

    return asked


def test_it_is_followed_until_it_is_done_and_its_file_comes_whole(browser, works, ask):
    number = ask(lambda *_: errands.Made({"n": 2}, "año.txt", "text/plain", [b"one", b"two"]))
    ida = browser("Ida")
    ida.get(f"/errands/{number}")
    assert "Waits for its turn" in ida.page
    assert "every 1s" in ida.page
    errands.run_all(works.store)
    part = ida.client.get(f"/errands/{number}", headers={"HX-Request-Type": "partial"}).text
    assert "2 lines." in part
    assert "every 1s" not in part
    assert "<html" not in part
    ida.get(f"/errands/{number}")
    file = ida.client.get(ida.soup.select_one("a[download]")["href"])
    assert file.data == b"onetwo"
    assert "filename*=UTF-8''a%C3%B1o.txt" in file.headers["Content-Disposition"]


def test_one_that_could_not_be_done_says_why(browser, works, ask):
    def refuse(*_):
        raise Refusal("The worker number %(number)s is taken already.", number="007")

    number = ask(refuse)
    errands.run_all(works.store)
    ida = browser("Ida")
    assert "The worker number 007 is taken already." in ida.get(f"/errands/{number}").text
    assert ida.get(f"/errands/{number}/file").status_code == 404


def test_the_list_shows_ones_own_only(browser, works, ask):
    number = ask(lambda *_: errands.Made({"n": 1}))
    assert f"/errands/{number}" in browser("Ida").get("/errands").text
    tomas = browser("Tomas")
    assert f"/errands/{number}" not in tomas.get("/errands").text
    assert tomas.get(f"/errands/{number}").status_code == 404
