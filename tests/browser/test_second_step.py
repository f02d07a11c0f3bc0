"""The second step in a real browser: set up with an app, asked for, in both languages."""

import re
from base64 import b32decode
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, PHONE, Served, Window
from tests.conftest import PASSPHRASE
from trainer.services import joining, second_step, signing_in

NUMBER = "1"
WORDS = {
    "en": ("Second step", "Recovery codes", "That code does not fit"),
    "es": ("Segundo paso", "Códigos de recuperación", "Ese código no coincide"),
}


@pytest.fixture
def add(served: Served, hashes: dict[str, str]):
    """Return a function that adds a coordinator who has a passphrase."""

    def added(number: str, name: str, language: str = "en") -> None:
        with served.store.writing() as db:
            person = joining.add_person(
                db, datetime.now(UTC), number=number, name=name, roles=["coordinator"],
                language=language,
            )
            signing_in.set_passphrase(db, person, hashes["passphrase"])

    return added


def give_passphrase(window: Window, number: str = NUMBER) -> None:
    """Sign in with number and passphrase, as far as that leads."""
    window.open("/sign-in")
    window.page.fill("#number", number)
    window.page.fill("#passphrase", PASSPHRASE)
    window.go("main form button")


def shown_by_the_app(letters: str) -> str:
    """Return what an app shows that was given these letters: of the step to come, which is taken
    too, so that a test that works in one step of the clock has two codes."""
    return second_step.code_at(_bytes(letters), datetime.now(UTC) + timedelta(seconds=30))


def set_up(window: Window) -> tuple[str, list[str]]:
    """Set an app up; return the letters that it was given, and the recovery codes."""
    window.page.locator("a.whose").click()
    window.page.wait_for_url("**/my-sign-in")
    window.look()
    window.go("main a[href='/my-sign-in/second-step']")
    window.page.fill("#secret-begin", PASSPHRASE)
    window.go("main form button")
    letters = window.page.locator("#set-up .code").inner_text()
    window.page.fill("#code", "000000")
    window.go("#set-up form button")
    expect(window.page.locator(".faults")).to_be_visible()
    secret_now = second_step.code_at(_bytes(letters), datetime.now(UTC))
    window.page.fill("#code", secret_now)
    window.go("#set-up form button")
    codes = window.page.locator(".recovery .code").all_inner_texts()
    window.look("codes")
    assert len(codes) == second_step.CODES
    window.go("main .do a.button")
    return letters, codes


def _bytes(letters: str) -> bytes:
    return b32decode(letters.replace(" ", ""))


def sign_out(window: Window) -> None:
    """Sign out."""
    window.go("header form[action='/sign-out'] button")


@pytest.mark.parametrize(("language", "size", "script"), [
    ("en", DESKTOP, True), ("es", PHONE, True), ("en", PHONE, False),
])  # fmt: skip
def test_a_coordinator_sets_an_app_up_and_signs_in_with_it(
    served: Served, add, language: str, size: dict, script: bool
):
    add(NUMBER, "Ida Marrow", language)
    title, codes_title, does_not_fit = WORDS[language]
    window = served.window(language, size, script)
    give_passphrase(window)
    letters, codes = set_up(window)
    sign_out(window)
    give_passphrase(window)
    expect(window.page.locator("h1")).to_have_text(title)
    window.page.fill("#code", "000000")
    window.go("main form button")
    expect(window.page.locator(".faults")).to_contain_text(does_not_fit)
    window.look("fault")
    window.page.fill("#code", shown_by_the_app(letters))
    window.go("main form button")
    assert window.page.url.endswith("/board")
    sign_out(window)
    # The phone is lost: a recovery code, once.
    give_passphrase(window)
    window.page.fill("#code", codes[0].lower())
    window.go("main form button")
    assert window.page.url.endswith("/board")
    window.open("/my-sign-in/second-step")
    expect(window.page.locator("main h2").first).to_have_text(codes_title)
    expect(window.page.locator("main")).to_contain_text(re.compile(r"\b9\b"))


def test_another_coordinator_takes_it_off_and_signing_out_everywhere_ends_both(
    served: Served, add
):
    add(NUMBER, "Ida Marrow")
    add("2", "Ravi Odell")
    odell, elsewhere = served.window(), served.window()
    for window in (odell, elsewhere):
        give_passphrase(window, "2")
    set_up(odell)
    first = served.window(size=DESKTOP)
    give_passphrase(first)
    first.open("/people/2/sign-ins")
    first.page.fill("#why", "The phone fell into the quay.")
    first.go("form[action$='/second-step/off'] button")
    expect(first.page.locator("#status")).to_contain_text("taken off")
    # Setting it up signed out elsewhere; now the passphrase alone opens there again.
    elsewhere.open("/board")
    assert "/sign-in" in elsewhere.page.url
    give_passphrase(elsewhere, "2")
    assert elsewhere.page.url.endswith("/board")
    odell.open("/my-sign-in")
    odell.go("form[action$='/sign-out-everywhere'] button")
    assert odell.page.url.endswith("/signed-out")
    odell.look()
    elsewhere.open("/board")
    assert "/sign-in" in elsewhere.page.url
