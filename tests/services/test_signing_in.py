"""Signing in: codes, devices, sessions, and the pages that lead in.

12 hours, 30 minutes and 4 minutes are the program's own settings.
"""

from datetime import timedelta

import pytest

from tests.conftest import PASSPHRASE, PIN, Browser, Works
from tests.tables import ROSTER, bring, csv_of, do, undo
from trainer.app import create_app
from trainer.services import hashing, joining, signing_in, throttling
from trainer.services.refusal import Refusal
from trainer.services.throttling import Limits
from trainer.store.tables import Device, Person

LIMITS = Limits()
MINUTE = timedelta(minutes=1)


def code_for(works: Works, name: str, after: timedelta = timedelta(0)) -> str:
    """Make a one-time code for one of the cast."""
    with works.store.writing() as db:
        by, person = works.people["Tomas"], works.people[name]
        return signing_in.make_code(db, by, works.now + after, LIMITS, person=person)[0]


def tablet_code(works: Works) -> str:
    """Make a one-time code for a tablet that everyone at the Loft shares."""
    with works.store.writing() as db:
        loft = works.worksites["Laminating Loft"].id
        by = works.people["Tomas"]
        return signing_in.make_code(db, by, works.now, LIMITS, worksite_id=loft)[0]


def enrol(works: Works, code: str, number: str, device: Device | None = None, after=timedelta(0)):
    """Use a code; return the secret, the device and the person."""
    with works.store.writing() as db:
        held = db.get(Device, device.id) if device else None
        return signing_in.enrol(db, code, number, held, works.now + after)


def refusal_of(*call) -> str:
    """Return the sentence with which a code is refused."""
    with pytest.raises(Refusal) as refused:
        enrol(*call)
    return str(refused.value)


def test_a_code_enrols_one_device_once(works):
    code = code_for(works, "Lee")
    secret, device, person = enrol(works, f" {code[:5].lower()}-{code[5:]} ", "00417")
    assert (person.name, device.kind, device.person_id) == ("Lee", "own", person.id)
    with works.store.reading() as db:
        assert signing_in.device_of(db, secret).id == device.id
        assert signing_in.device_of(db, code) is None
    assert "do not go together" in refusal_of(works, code, "00417")


def test_every_wrong_code_is_refused_in_the_same_words(works):
    used, late, old = code_for(works, "Lee"), code_for(works, "Kim"), code_for(works, "Noor")
    enrol(works, used, "00417")
    code_for(works, "Noor")  # a fresh one ends the one before
    said = {
        refusal_of(works, used, "00417"),
        refusal_of(works, late, "00418", None, 30 * MINUTE + timedelta(seconds=1)),
        refusal_of(works, old, "00500"),
        refusal_of(works, late, "00417"),  # somebody else's number
        refusal_of(works, late, ""),
        refusal_of(works, "", "00418"),
        refusal_of(works, "ABCDEFGHJK", "99999"),
        refusal_of(works, tablet_code(works), "00418"),
    }
    assert len(said) == 1
    assert enrol(works, late, "00418", None, 30 * MINUTE)[2].name == "Kim"


def test_a_fresh_code_of_ones_own_ends_the_device_before(works):
    first_secret, first, _ = enrol(works, code_for(works, "Lee"), "00417")
    enrol(works, code_for(works, "Lee"), "00417", first)
    with works.store.reading() as db:
        assert signing_in.device_of(db, first_secret) is None


def session(works: Works, device: Device | None) -> str:
    """Begin a session of Lee's."""
    with works.store.writing() as db:
        held = db.get(Device, device.id) if device else None
        return signing_in.start_session(db, works.people["Lee"], held, works.now)


def holds(works: Works, token: str, after: timedelta) -> bool:
    """Say whether a session still holds."""
    with works.store.reading() as db:
        return signing_in.session_of(db, token, works.now + after, LIMITS) is not None


def test_a_session_ends_when_nobody_is_there(works):
    own = enrol(works, code_for(works, "Lee"), "00417")[1]
    shared = enrol(works, tablet_code(works), "")[1]
    for device, idle in ((None, 30 * MINUTE), (own, 30 * MINUTE), (shared, 4 * MINUTE)):
        token = session(works, device)
        assert holds(works, token, idle)
        assert not holds(works, token, idle + timedelta(seconds=1))


def test_a_session_ends_after_twelve_hours_however_busy(works):
    token = session(works, None)
    with works.store.writing() as db:
        row, *_ = signing_in.session_of(db, token, works.now, LIMITS)
        signing_in.touch(db, row.id, works.now + timedelta(hours=12))
    assert holds(works, token, timedelta(hours=12))
    assert not holds(works, token, timedelta(hours=12, seconds=1))


def test_a_session_ends_with_its_device_its_person_or_a_sign_out(works):
    device = enrol(works, code_for(works, "Lee"), "00417")[1]
    first, second = session(works, device), session(works, None)
    enrol(works, code_for(works, "Lee"), "00417", device)
    assert not holds(works, first, MINUTE)
    assert holds(works, second, MINUTE)
    with works.store.writing() as db:
        signing_in.end_session(db, second, works.now)
    assert not holds(works, second, MINUTE)
    assert not holds(works, "", MINUTE)
    third = session(works, None)
    with works.store.writing() as db:
        lee = db.get(type(works.people["Lee"]), works.people["Lee"].id)
        lee.left_on = works.today
        db.add(lee)
    assert not holds(works, third, MINUTE)


def test_a_session_ends_when_its_persons_roles_change_and_stays_when_they_do_not(works):
    def change(roles: list[str]) -> None:
        with works.store.writing() as db:
            lee = db.get(Person, works.people["Lee"].id)
            joining.change_person(
                db, works.scribe(), lee, name="Lea", roles=roles, language="en", worksites=[1],
                qualification="",
            )

    token = session(works, None)
    change(["worker"])
    assert holds(works, token, MINUTE)
    for roles in (["worker", "trainer"], ["worker"]):
        change(roles)
        assert not holds(works, token, MINUTE)
        token = session(works, None)


def test_a_roster_that_changes_roles_ends_the_sessions_of_those_alone(works):
    lee = session(works, None)
    with works.store.writing() as db:
        kim = signing_in.start_session(db, works.people["Kim"], None, works.now)
    run = bring(works, csv_of(
        (*ROSTER, "role", "language"),
        ("00417", "Lee", "Laminating Loft", "trainer", "en"),
        ("00418", "Kim", "Laminating Loft", "worker", "es"),
    ))  # fmt: skip
    assert do(works, run) == ""
    assert [holds(works, token, MINUTE) for token in (lee, kim)] == [False, True]
    lee = session(works, None)
    undo(works, run)
    assert [holds(works, token, MINUTE) for token in (lee, kim)] == [False, True]


def test_all_sessions_of_a_person_are_ended_but_the_one_kept(works):
    tokens = [session(works, None) for _ in range(3)]
    with works.store.writing() as db:
        lee = works.people["Lee"]
        keep = signing_in.session_of(db, tokens[1], works.now, LIMITS)[0].id
        assert len(signing_in.running(db, lee.id, works.now, LIMITS)) == 3
        assert signing_in.running(db, lee.id, works.now + timedelta(hours=1), LIMITS) == []
        assert signing_in.end_everywhere(db, [lee.id], works.now, lee, keep=keep) == 2
        assert len(signing_in.running(db, lee.id, works.now, LIMITS)) == 1
    assert [holds(works, token, MINUTE) for token in tokens] == [False, True, False]


# The same through the pages.


def on_device(app, works: Works, code: str, **fields: str) -> Browser:
    """Enrol a browser and sign out again."""
    browser = Browser(app.test_client())
    browser.get("/enrol")
    browser.post("/enrol", code=code, **fields)
    browser.get("/still-there")
    browser.post("/sign-out")
    return browser


def with_pin(browser: Browser, number: str, pin: str = PIN):
    """Try number and PIN."""
    browser.get("/sign-in")
    return browser.post("/sign-in", follow=False, number=number, pin=pin)


def test_an_own_device_takes_its_owners_pin_and_nobody_elses(app, works):
    browser = on_device(app, works, code_for(works, "Lee"), number="00417")
    assert with_pin(browser, "00418").status_code == 422
    assert with_pin(browser, "00417").status_code == 303
    assert browser.get("/tag").status_code == 200


def test_a_pin_is_nothing_on_a_device_that_is_not_enrolled(app, works):
    browser = Browser(app.test_client())
    assert with_pin(browser, "00417").status_code == 422
    assert browser.get("/tag").status_code == 302


def test_wrong_number_and_wrong_pin_are_answered_in_the_same_words(app, works):
    browser = on_device(app, works, tablet_code(works), number="", shared="yes")

    def words(number: str, pin: str) -> str:
        answer = with_pin(browser, number, pin)
        assert answer.status_code == 422
        return browser.soup.select_one("[role=alert]").get_text(" ", strip=True)

    assert words("00417", "271829") == words("99999", PIN)


def test_a_locked_tablet_opens_with_a_fresh_code(app, works):
    browser = on_device(app, works, tablet_code(works), number="", shared="yes")
    with works.store.writing() as db:
        names = throttling.scopes(db.get(Device, 1), "00417", "", with_pin=True)
        for at in range(10, 0, -1):
            moment = works.now - at * timedelta(hours=2)
            throttling.count_try(db, names, moment, LIMITS)
    assert with_pin(browser, "00417").status_code == 429
    assert "one-time code" in browser.page
    code = tablet_code(works)
    browser.get("/enrol?shared=yes")
    assert browser.post("/enrol", code=code, number="", shared="yes").status_code == 200
    assert with_pin(browser, "00417").status_code == 303


def test_a_person_locked_on_a_tablet_is_let_in_there_by_their_own_code(app, works):
    browser = on_device(app, works, tablet_code(works), number="", shared="yes")
    with works.store.writing() as db:
        for at in range(10, 0, -1):
            moment = works.now - at * timedelta(hours=2)
            throttling.count_try(db, ("pin:1:00417",), moment, LIMITS)
    assert with_pin(browser, "00417").status_code == 429
    assert with_pin(browser, "00418").status_code == 303
    browser.get("/still-there")
    browser.post("/sign-out")
    browser.get("/enrol")
    sent = browser.post("/enrol", code=code_for(works, "Lee"), number="00417")
    assert sent.request.path == "/choose-pin"
    browser.get("/still-there")
    browser.post("/sign-out")
    assert with_pin(browser, "00417").status_code == 303
    with works.store.reading() as db:
        assert db.get(Device, 1).revoked_at is None


def test_a_pin_is_changed_only_by_whoever_knows_the_one_before(app, works):
    browser = on_device(app, works, code_for(works, "Lee"), number="00417")
    with_pin(browser, "00417")
    browser.get("/choose-pin")
    fresh = "135791"
    for old, again, status in (("000000", fresh, 422), (PIN, "135792", 422), (PIN, fresh, 200)):
        sent = browser.post("/choose-pin", old=old, pin=fresh, again=again)
        assert sent.status_code == status
    browser.get("/still-there")
    browser.post("/sign-out")
    assert with_pin(browser, "00417").status_code == 422
    assert with_pin(browser, "00417", "135791").status_code == 303


# What a browser holds is another thing after each sign-in.


def held(browser: Browser) -> dict:
    """Return what the signed cookie holds."""
    with browser.client.session_transaction() as found:
        return dict(found)


def test_token_and_form_token_are_others_after_a_sign_in(app, browser, works):
    lee = browser()
    lee.get("/sign-in")
    before = held(lee)
    lee.sign_in("00417")
    lee.get("/tag")
    first = held(lee)
    assert before["csrf_token"] != first["csrf_token"]
    lee.sign_in("00417")  # once more, without signing out
    lee.get("/tag")
    second = held(lee)
    assert {first["token"], first["csrf_token"]}.isdisjoint(second.values())
    stolen = Browser(app.test_client())
    with stolen.client.session_transaction() as found:
        found.update(first)
    assert stolen.get("/tag").status_code == 302


def test_nothing_that_was_in_the_session_before_is_there_after(browser):
    lee = browser()
    with lee.client.session_transaction() as found:
        found.update({"choose_pin": True, "planted": "by somebody else"})
    lee.sign_in("00417")
    assert {"choose_pin", "planted"}.isdisjoint(held(lee))


@pytest.mark.parametrize(
    ("path", "fields"),
    [
        ("/passphrase", {"old": PASSPHRASE, "passphrase": "four grey gulls by night",
                         "again": "four grey gulls by night"}),
        ("/choose-pin", {"pin": "904417", "again": "904417"}),
    ],
)  # fmt: skip
def test_a_new_secret_gives_another_token_and_ends_what_is_open_elsewhere(
    app, browser, path, fields
):
    elsewhere, lee, kim = browser("Lee"), browser("Lee"), browser("Kim")
    with lee.client.session_transaction() as found:
        found["choose_pin"] = path == "/choose-pin"  # as after a one-time code
    before = held(lee)
    lee.get(path)
    assert lee.post(path, follow=False, **fields).status_code == 303
    assert lee.get("/tag").status_code == 200
    assert held(lee)["token"] != before["token"]
    stolen = Browser(app.test_client())
    with stolen.client.session_transaction() as found:
        found.update(before)
    assert [one.get("/tag").status_code for one in (elsewhere, stolen, kim)] == [302, 302, 200]


def test_a_session_goes_on_in_another_process_and_ends_in_all(app, browser, works, settings):
    lee = browser("Lee")
    other = Browser(create_app(settings, works.store, app.secret_key).test_client())
    with other.client.session_transaction() as found:
        found.update(held(lee))
    assert other.get("/tag").status_code == 200
    lee.get("/tag")
    lee.post("/sign-out")
    assert other.get("/tag").status_code == 302


def test_who_changes_between_looking_and_signing_in_is_not_let_in(browser, works, monkeypatch):
    """Somebody leaves while their passphrase is being hashed."""
    real = hashing.fits

    def leaves_meanwhile(text: str, kept: str | None) -> bool:
        with works.store.writing() as db:
            lee = db.get(Person, works.people["Lee"].id)
            lee.left_on = works.today
            db.add(lee)
        return real(text, kept)

    monkeypatch.setattr(hashing, "fits", leaves_meanwhile)
    assert browser("Lee").get("/tag").status_code == 302
