"""Signing in with a second step, setting it up, and how one signs in, on the pages."""

import re
from base64 import b32decode
from datetime import timedelta

import pytest
import zxingcpp
from PIL import Image
from sqlmodel import select

from tests.conftest import PASSPHRASE, PIN, Browser, Works
from trainer.app import create_app
from trainer.services import joining, second_step, signing_in, throttling
from trainer.services import settings as set_here
from trainer.services.signing_in import Limits
from trainer.store import sign_ins
from trainer.store.tables import SignInTry, WebSession

STEP = timedelta(seconds=30)
PAGE = "/my-sign-in/second-step"


@pytest.fixture
def keys(app) -> second_step.Keys:
    """Return the keys of the application under test."""
    return second_step.keys(app.secret_key)


@pytest.fixture
def secret(works: Works, keys) -> bytes:
    """Set Ida's app up, five minutes ago; return its secret."""
    ida, then = works.people["Ida"], works.now - 10 * STEP
    with works.store.writing() as db:
        second_step.begin(db, ida, keys, then)
        made = second_step.pending(db, ida, keys, then)
        second_step.confirm(db, ida, keys, second_step.code_at(made, then), then)
    return made


def passphrase(browser: Browser, number: str = "00001", **more):
    """Send number and passphrase."""
    browser.get("/sign-in?with=passphrase")
    return browser.post(
        "/sign-in", follow=False, number=number, passphrase=PASSPHRASE,
        **{"with": "passphrase"}, **more,
    )  # fmt: skip


def step(browser: Browser, code: str, **more):
    """Send the code of the second step."""
    if browser.get("/sign-in/step").status_code != 200:
        browser.get("/still-there")  # as from a page that was open before
    return browser.post("/sign-in/step", follow=False, code=code, **more)


def now_shown(works: Works, secret: bytes, steps: int = 2) -> str:
    """Return what the app shows: the fixed moment of the works lies a minute back."""
    return second_step.code_at(secret, works.now + steps * STEP)


def test_after_the_passphrase_the_code_is_asked_and_nothing_opens_before(browser, works, secret):
    ida = browser()
    answer = passphrase(ida, next="/settings")
    assert (answer.status_code, answer.location) == (303, "/sign-in/step?next=/settings")
    for path in ("/board", "/settings", "/my-sign-in", PAGE):
        assert ida.get(path).status_code == 302
    answer = step(ida, now_shown(works, secret), next="/settings")
    assert (answer.status_code, answer.location) == (303, "/settings")
    assert ida.get("/settings").status_code == 200


def test_a_half_session_counts_nowhere_as_signed_in(browser, works, secret):
    passphrase(browser())
    with works.store.reading() as db:
        kinds = [one.kind for one, *_ in sign_ins.history(db, [works.people["Ida"].id])]
        running = signing_in.running(db, works.people["Ida"].id, works.now, Limits())
    assert "signed-in" not in kinds
    assert running == []


def test_a_wrong_code_is_told_and_a_code_opens_once(browser, works, secret):
    first, second = browser(), browser()
    passphrase(first)
    passphrase(second)
    assert step(first, "000000").status_code == 422
    code = now_shown(works, secret)
    assert step(first, code).status_code == 303
    assert step(second, code).status_code == 422
    assert "used before" in second.page
    with works.store.reading() as db:
        kinds = [one.kind for one, *_ in sign_ins.history(db, [works.people["Ida"].id])]
    assert kinds.count("step-wrong") == 2


def test_a_half_session_opens_once_and_ends_after_ten_minutes(browser, works, secret, keys):
    ida = browser()
    passphrase(ida)
    half = dict(session_of(ida))
    assert step(ida, now_shown(works, secret)).status_code == 303
    other = browser()
    with other.client.session_transaction() as held:
        held.update(half)
    other.get("/still-there")
    codes = fresh_codes(works, keys)
    assert step(other, codes[0]).location == "/sign-in"
    late = browser()
    passphrase(late)
    with works.store.writing() as db:
        for row in db.exec(select(WebSession).where(WebSession.half)):
            row.started_at -= timedelta(minutes=10, seconds=1)
            db.add(row)
    assert step(late, codes[0]).location == "/sign-in"


def session_of(browser: Browser):
    """Return what the browser's signed cookie holds."""
    with browser.client.session_transaction() as held:
        return dict(held)


def fresh_codes(works: Works, keys) -> list[str]:
    """Make recovery codes of Ida's."""
    with works.store.writing() as db:
        return second_step.make_codes(db, works.people["Ida"], keys, works.now)


def test_a_recovery_code_opens_once(browser, works, secret, keys):
    codes = fresh_codes(works, keys)
    for expected in (303, 422):
        ida = browser()
        passphrase(ida)
        assert step(ida, codes[0]).status_code == expected


def test_wrong_codes_wait_whatever_browser_and_process_they_come_from(
    app, browser, works, secret, settings
):
    other = Browser(create_app(settings, works.store, app.secret_key).test_client())
    for one in (browser(), other, browser()):
        passphrase(one)
        assert step(one, "000000").status_code == 422
    last = browser()
    passphrase(last)
    assert step(last, now_shown(works, secret)).status_code == 429
    assert "Try again in" in last.page
    with works.store.writing() as db:
        row = db.get(SignInTry, f"step:{works.people['Ida'].id}")
        row.last_at -= timedelta(seconds=6)
        db.add(row)
    assert step(last, now_shown(works, secret)).status_code == 303
    with works.store.reading() as db:
        assert throttling.wrong_tries(db, row.scope, works.now) == 0


def test_another_process_takes_the_code_too(app, browser, works, secret, settings):
    ida = browser()
    passphrase(ida)
    other = Browser(create_app(settings, works.store, app.secret_key).test_client())
    with other.client.session_transaction() as held:
        held.update(session_of(ida))
    assert step(other, now_shown(works, secret)).status_code == 303
    assert other.get("/board").status_code == 200


def test_on_the_own_enrolled_device_the_pin_is_enough(app, browser, works, secret):
    with works.store.writing() as db:
        code, _ = signing_in.make_code(db, None, works.now, Limits(), person=works.people["Ida"])
    phone = Browser(app.test_client())
    phone.get("/enrol")
    phone.post("/enrol", code=code, number="00001")
    phone.get("/still-there")
    phone.post("/sign-out")
    phone.get("/sign-in")
    assert phone.post("/sign-in", follow=False, number="00001", pin=PIN).location == "/"
    phone.get("/still-there")
    phone.post("/sign-out")
    assert passphrase(phone).location.startswith("/sign-in/step")


def test_on_a_shared_tablet_staff_give_the_passphrase_and_workers_the_pin(app, works):
    with works.store.writing() as db:
        code, _ = signing_in.make_code(
            db, works.people["Ida"], works.now, Limits(), worksite_id=1
        )
    tablet = Browser(app.test_client())
    tablet.get("/enrol?shared=yes")
    tablet.post("/enrol", code=code, number="", shared="yes")
    for number, status in (("00002", 422), ("00417", 303)):
        tablet.get("/sign-in")
        assert tablet.post("/sign-in", follow=False, number=number, pin=PIN).status_code == status
    tablet.get("/still-there")
    tablet.post("/sign-out")
    assert passphrase(tablet, "00002").status_code == 303
    assert tablet.get("/today").status_code == 200
    tablet.get("/passphrase")
    assert tablet.soup.select_one("#old")["autocomplete"] == "current-password"


# Setting it up.


def begin(browser: Browser) -> bytes:
    """Begin to set an app up; return the secret that the page shows."""
    browser.get(PAGE)
    browser.post(PAGE, act="begin", secret=PASSPHRASE)
    return b32decode(browser.soup.select_one(".code").text.replace(" ", ""))


def test_an_app_is_set_up_by_scanning_or_typing_and_codes_are_shown_once(browser, works, app):
    ida = browser("Ida")
    secret = begin(ida)
    with works.store.reading() as db:
        address = second_step.address(secret, works.people["Ida"], "")
        assert second_step.pending(
            db, works.people["Ida"], second_step.keys(app.secret_key), works.now
        ) == secret
    assert scanned(ida) == address
    ida.post(PAGE, act="confirm", code="000000")
    assert "not the code that the app shows now" in ida.page
    assert begin_is_shown(ida)
    ida.post(PAGE, act="confirm", code=now_shown(works, secret))
    codes = [one.text for one in ida.soup.select(".recovery .code")]
    assert len(codes) == second_step.CODES
    ida.get(PAGE)
    assert codes[0] not in ida.page
    assert ida.soup.select_one(".qr") is None
    other = browser()
    assert passphrase(other).location.startswith("/sign-in/step")
    assert step(other, codes[0]).status_code == 303


def begin_is_shown(browser: Browser) -> bool:
    """Say whether the code to scan still stands on the page."""
    return browser.soup.select_one(".qr svg") is not None


def scanned(browser: Browser) -> str:
    """Read the drawing on the page as an app's camera does: its rows of squares."""
    drawing = browser.soup.select_one(".qr svg")
    path = drawing.select_one("path.qrline, path")["d"]
    size = int(float(drawing["viewbox" if drawing.has_attr("viewbox") else "viewBox"].split()[2]))
    picture = Image.new("L", (size * 8, size * 8), 255)
    x = y = 0.0
    for kind, numbers in re.findall(r"([Mmh])([^Mmh]*)", path):
        given = [float(one) for one in re.findall(r"-?[\d.]+", numbers)]
        if kind == "M":
            x, y = given
        elif kind == "m":
            x, y = x + given[0], y + given[1]
        else:
            top = int((y - 0.5) * 8)
            picture.paste(0, (int(x * 8), top, int((x + given[0]) * 8), top + 8))
            x += given[0]
    return zxingcpp.read_barcode(picture).text


def test_setting_up_needs_the_secret_once_more(browser, works):
    ida = browser("Ida")
    ida.get(PAGE)
    assert ida.post(PAGE, act="begin", secret="a guess at it").status_code == 422
    assert ida.soup.select_one(".qr") is None
    assert ida.soup.select_one("#secret-begin")["aria-invalid"] == "true"


def test_setting_up_signs_out_elsewhere(browser, works):
    elsewhere, ida = browser("Ida"), browser("Ida")
    secret = begin(ida)
    ida.post(PAGE, act="confirm", code=now_shown(works, secret))
    assert ida.get("/board").status_code == 200
    assert elsewhere.get("/board").status_code == 302


def test_a_worker_is_offered_none(browser):
    lee = browser("Lee")
    lee.get("/my-sign-in")
    assert PAGE not in lee.page
    assert lee.get(PAGE).status_code == 403


def test_it_is_taken_off_with_the_passphrase_and_not_where_it_is_required(browser, works, secret):
    ida = browser()
    passphrase(ida)
    step(ida, now_shown(works, secret))
    require(works)
    ida.get(PAGE)
    assert ida.soup.select_one("input[value=off]") is None
    assert ida.post(PAGE, act="off", secret=PASSPHRASE).status_code == 422
    require(works, "optional")
    ida.get(PAGE)
    assert ida.post(PAGE, act="off", secret="a guess at it").status_code == 422
    assert ida.post(PAGE, act="off", secret=PASSPHRASE).status_code == 200
    assert passphrase(browser()).location == "/"


def require(works: Works, value: str = "required") -> None:
    """Choose the setting."""
    with works.store.writing() as db:
        set_here.put(db, works.scribe(), "second_step", value)


def test_where_it_is_required_nothing_else_opens_for_staff_until_it_is_set_up(browser, works):
    require(works)
    ida = browser("Ida")
    for path in ("/board", "/settings", "/tag", "/people/00417"):
        answer = ida.get(path)
        assert (answer.status_code, answer.location) == (302, PAGE)
    ida.get(PAGE)
    assert ida.post("/settings", follow=False, second_step="optional").location == PAGE
    assert ida.get("/my-sign-in").status_code == 200
    assert browser("Lee").get("/tag").status_code == 200
    secret = begin(ida)
    assert "Set it up first" in ida.page
    ida.post(PAGE, act="confirm", code=now_shown(works, secret))
    assert ida.get("/board").status_code == 200


def test_a_coordinator_takes_it_off_with_a_reason_and_a_trainer_does_not(
    browser, works, secret, hashes
):
    with works.store.writing() as db:
        for number, medical in (("00004", True), ("00005", False)):
            one = joining.add_person(
                db, works.now, number=number, name=f"Odell {number}", roles=["coordinator"],
                medical=medical,
            )
            signing_in.set_passphrase(db, one, hashes["passphrase"])
            works.people[number] = one
    path, page = "/people/00001/second-step/off", "/people/00001/sign-ins"
    tomas = browser("Tomas")
    tomas.get("/my-sign-in")
    assert tomas.post(path, why="I say so.").status_code == 403
    # Whoever may not see determinations does not open the way to somebody who may.
    without = browser("00005")
    without.get(page)
    assert without.post(path, why="I say so.").status_code == 403
    odell = browser("00004")
    odell.get(page)
    assert odell.post(path, why=" ").status_code == 422
    assert passphrase(browser()).location.startswith("/sign-in/step")
    odell.post(path, why="The phone fell into the quay.")
    assert "Second step taken off" in odell.page
    assert passphrase(browser()).location == "/"
    odell.get("/log")
    assert "The phone fell into the quay." in odell.page


def test_nobody_takes_their_own_off_as_somebody_elses(browser, works, secret):
    ida = browser()
    passphrase(ida)
    step(ida, now_shown(works, secret))
    ida.get("/people/00001/sign-ins")
    assert ida.post("/people/00001/second-step/off", why="Mine.").status_code == 422
    assert passphrase(browser()).location.startswith("/sign-in/step")


def test_another_secret_key_is_told_and_a_coordinator_can_help(app, browser, works, secret):
    app.secret_key = app.config["SECRET_KEY"] = "another secret key, just as long"
    ida = browser()
    passphrase(ida)
    assert step(ida, now_shown(works, secret)).status_code == 422
    assert "cannot be read any more" in ida.page


# How one signs in.


def test_signing_out_everywhere_ends_every_session_of_that_person_alone(browser, works):
    here, there, kim = browser("Lee"), browser("Lee"), browser("Kim")
    here.get("/my-sign-in")
    assert "signed in at 1 other place" in here.page
    answer = here.post("/my-sign-in/sign-out-everywhere", follow=False)
    assert (answer.status_code, answer.location) == (303, "/signed-out")
    assert answer.headers["Clear-Site-Data"] == '"cache", "storage"'
    assert [one.get("/tag").status_code for one in (here, there, kim)] == [302, 302, 200]


def test_a_trainer_signs_out_a_worker_and_no_colleague(browser, works):
    lee, tomas = browser("Lee"), browser("Tomas")
    tomas.get("/people/00417")
    tomas.post("/people/00417/sign-out")
    assert "Signed out at 1 place" in tomas.page
    assert lee.get("/tag").status_code == 302
    tomas.get("/people/00417")
    tomas.post("/people/00417/sign-out")
    assert "signed in nowhere" in tomas.page
    with works.store.writing() as db:
        joining.add_person(
            db, works.now, number="00600", name="Odell", roles=["trainer"], worksites=[1]
        )
    tomas.get("/people/00417")
    assert tomas.post("/people/00600/sign-out").status_code == 403


def test_own_devices_are_listed_and_ended_and_nobody_elses(app, browser, works):
    phones = {}
    for name, number in (("Lee", "00417"), ("Kim", "00418")):
        with works.store.writing() as db:
            code, _ = signing_in.make_code(
                db, works.people["Ida"], works.now, Limits(), person=works.people[name]
            )
        phones[name] = Browser(app.test_client())
        phones[name].get("/enrol")
        phones[name].post("/enrol", code=code, number=number)
    lee = browser("Lee")
    lee.get("/my-sign-in")
    [action] = [one["action"] for one in lee.soup.select("form[action*=devices]")]
    assert lee.post(action.replace("/1/", "/2/"), follow=False).status_code == 404
    assert phones["Kim"].get("/tag").status_code == 200
    lee.get("/my-sign-in")
    lee.post(action)
    assert phones["Lee"].get("/tag").status_code == 302
    assert lee.get("/tag").status_code == 200
