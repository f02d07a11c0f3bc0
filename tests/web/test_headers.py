"""What every answer says about itself, over every route there is, and what a browser keeps."""

import re
from pathlib import Path

import pytest

from tests.conftest import Browser
from tests.web.test_access import TABLE, address, walk
from tests.web.test_access import places as places
from trainer import config
from trainer.app import create_app
from trainer.services import signing_in
from trainer.web import headers

HSTS = "Strict-Transport-Security"


@pytest.fixture
def behind_tls(settings, store):
    """Return the application as it runs behind a proxy that speaks HTTPS."""
    made = create_app(settings.model_copy(update={"behind_tls": True}), store, "only for tests")
    made.config["TESTING"] = True
    return made


class OverTls(Browser):
    """A browser whose requests come over HTTPS, with the Referer that goes with it."""

    def get(self, path: str, **more):
        """Open a page."""
        return super().get(path, base_url="https://localhost", **more)

    def post(self, path: str, follow: bool = True, **fields):
        """Send a form."""
        found = re.search(r'name="csrf_token" value="([^"]+)"', self.page)
        data = {"csrf_token": found.group(1) if found else "", **fields}
        response = self.client.post(
            path, data=data, follow_redirects=follow, base_url="https://localhost",
            headers={"Referer": "https://localhost/"},
        )
        if response.mimetype == "text/html" and response.text:
            self.page = response.text
        return response


def look(answer, template: str) -> None:
    """Check the headers that hold for whatever is answered."""
    head = answer.headers
    policy = head["Content-Security-Policy"]
    assert "unsafe" not in policy, template
    assert "frame-ancestors 'none'" in policy, template
    assert head["X-Content-Type-Options"] == "nosniff", template
    assert head["Referrer-Policy"] == "same-origin", template
    assert "camera=()" in head["Permissions-Policy"], template
    # A picture is asked for anew each time, all the rest is kept nowhere.
    kept = head["Cache-Control"]
    assert kept == "no-store" or (answer.mimetype.startswith("image/") and kept ==
                                  "private, no-cache"), template  # fmt: skip


@pytest.mark.parametrize("name", ["", "Ida"])
def test_every_answer_over_tls_is_protected_and_its_cookies_too(behind_tls, works, places, name):
    browser = OverTls(behind_tls.test_client())
    if name:
        browser.sign_in(works.people[name].number)
        assert browser.get("/board").status_code == 200
    cookies = 0
    for (template, *_), answer in walk(browser, places):
        look(answer, template)
        assert answer.headers[HSTS] == "max-age=31536000", template
        for cookie in answer.headers.getlist("Set-Cookie"):
            cookies += 1
            parts = {part.strip() for part in cookie.split(";")}
            assert {"Secure", "HttpOnly", "SameSite=Lax", "Path=/"} <= parts, cookie
            assert cookie.startswith("__Host-"), cookie
            assert not any(part.startswith("Domain=") for part in parts), cookie
    assert cookies


def test_without_tls_cookies_are_still_kept_from_scripts_and_other_sites(browser):
    nobody = browser()
    answer = nobody.get("/sign-in")
    assert HSTS not in answer.headers
    [cookie] = answer.headers.getlist("Set-Cookie")
    assert {"HttpOnly", "SameSite=Lax"} <= {part.strip() for part in cookie.split(";")}


def test_the_cookie_of_an_enrolled_device_is_as_safe(behind_tls, works):
    with works.store.writing() as db:
        code, _ = signing_in.make_code(
            db, None, works.now, signing_in.Limits(), person=works.people["Lee"]
        )
    browser = OverTls(behind_tls.test_client())
    browser.get("/enrol")
    answer = browser.post("/enrol", follow=False, number="00417", code=code)
    [device] = [one for one in answer.headers.getlist("Set-Cookie") if "device" in one]
    parts = {part.strip() for part in device.split(";")}
    assert {"Secure", "HttpOnly", "SameSite=Lax", "Path=/"} <= parts
    assert device.startswith("__Host-device=")
    assert browser.get("/choose-pin").status_code == 200


def test_every_answer_that_is_a_fault_is_protected_too(browser):
    lee = browser("Lee")
    lee.get("/tag")
    for answer, code in (
        (lee.get("/nowhere"), 404), (lee.get("/board"), 403), (lee.get("/sign-out"), 405),
        (lee.client.post("/sign-out"), 400),
        (lee.post("/ask", text="x" * 300_000), 413),
    ):  # fmt: skip
        assert answer.status_code == code
        look(answer, str(code))


def test_signing_out_tells_the_browser_to_forget(browser):
    lee = browser("Lee")
    lee.get("/tag")
    sent = lee.post("/sign-out", follow=False)
    for answer in (sent, lee.get("/signed-out")):
        assert answer.headers["Clear-Site-Data"] == '"cache", "storage"'
    assert "Clear-Site-Data" not in lee.get("/sign-in").headers


def test_the_table_has_every_page_that_a_browser_can_open(app):
    """What is walked above is all there is: test_access compares the table with the routes."""
    assert {template for method, template, *_ in TABLE if method == "GET"} == {
        rule.rule for rule in app.url_map.iter_rules()
        if "GET" in rule.methods and rule.endpoint != "static"
    }  # fmt: skip
    assert address("/tag", {}) == "/tag"
    assert "unsafe" not in headers.POLICY


KEEPS = re.compile(r"localStorage|sessionStorage|indexedDB|openDatabase|caches\.|document\.cookie"
                   r"|serviceWorker|showSaveFilePicker")  # fmt: skip
READING_SPEED = (
    'try { part("speed").value = sessionStorage.getItem(SPEED) ?? "1"; } catch',
    "try { sessionStorage.setItem(SPEED, event.target.value); } catch",
)


def test_no_script_keeps_anything_in_the_browser_but_how_fast_it_reads_aloud():
    found = {
        (path.name, line.strip())
        for path in Path(config.content_folder("static")).glob("*.js")
        for line in path.read_text(encoding="utf-8").splitlines()
        if KEEPS.search(line)
    }
    assert {name for name, _ in found} == {"read-aloud.js"}
    for _, line in found:
        assert line.startswith(READING_SPEED), line
