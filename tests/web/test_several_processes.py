"""What is done at one web process holds at the others: they share the database and the key alone.

Two applications on one database stand for two processes; `tests/durability/test_several.py` has
real ones.
"""

import pytest

from tests.conftest import PASSPHRASE, Browser
from tests.web.test_people_pages import settings_shown
from trainer.app import create_app
from trainer.services import throttling
from trainer.store.engine import Store
from trainer.store.tables import SignInTry

pytestmark = pytest.mark.both_databases

KEY = "the same on every machine"


@pytest.fixture
def processes(settings, works):
    """Return two applications of one installation, each with a store of its own."""
    stores = [Store(works.store.url) for _ in range(2)]
    apps = [create_app(settings, one, KEY) for one in stores]
    for app in apps:
        app.config["TESTING"] = True
    yield apps
    for one in stores:
        one.close()


def at(app, other: Browser) -> Browser:
    """Return a person's browser, as another process meets it: with the same cookies."""
    client = app.test_client()
    client._cookies = other.client._cookies
    return Browser(client)


def test_who_signed_in_at_one_is_signed_in_at_the_other_until_they_sign_out(processes, works):
    here, there = processes
    lee = Browser(here.test_client()).sign_in(works.people["Lee"].number)
    again = at(there, lee)
    assert again.get("/tag").status_code == 200
    assert "Lee" in again.page
    lee.get("/tag")
    lee.post("/sign-out")
    # The cookie that was signed in is kept by somebody who goes on with it at the other.
    assert again.get("/tag").status_code == 302


def test_a_form_of_one_is_taken_by_the_other(processes, works):
    here, there = processes
    lee = Browser(here.test_client()).sign_in(works.people["Lee"].number)
    lee.get("/ask")
    again = at(there, lee)
    again.page = lee.page
    once = lee.soup.select_one("[name=once]")["value"]
    assert again.post("/ask", text="Over the hood?", once=once).status_code == 200
    assert "Over the hood?" in lee.get("/my-questions").text


def test_settings_chosen_at_one_hold_at_the_other_with_the_next_page(processes, works):
    here, there = processes
    ida = Browser(here.test_client()).sign_in(works.people["Ida"].number)
    again = at(there, ida)
    assert 'name="pass_mark"' in again.get("/settings").text
    shown = settings_shown(ida)
    ida.post("/settings", **shown | {"organisation": "Tern Quay", "pass_mark": "91"})
    assert "The settings are kept" in ida.page
    again.get("/settings")
    assert again.soup.select_one("[name=pass_mark]")["value"] == "91"
    assert again.soup.select_one("[name=organisation]")["value"] == "Tern Quay"


def test_wrong_tries_at_both_count_together(processes, works, settings):
    number = works.people["Lee"].number
    guessing = [Browser(app.test_client()) for app in processes]
    for count in range(settings.wrong_tries):
        one = guessing[count % 2]
        one.get("/sign-in")
        sent = {"number": number, "passphrase": "wrong", "with": "passphrase"}
        assert one.post("/sign-in", **sent).status_code in (422, 429)
        if count == 1:
            assert tries_of(works, number) == 2
    one = guessing[0]
    one.get("/sign-in")
    sent = {"number": number, "passphrase": PASSPHRASE, "with": "passphrase"}
    assert one.post("/sign-in", **sent).status_code == 429


def tries_of(works, number: str) -> int:
    """Return how many tries are counted for a number, whichever process they came to."""
    with works.store.reading() as db:
        names = throttling.scopes(None, number, "127.0.0.1", with_pin=False)
        return max(row.wrong for row in (db.get(SignInTry, name) for name in names) if row)
