"""Signing in: codes, devices, PINs, passphrases, tries and sessions.

Numbers typed here: at most 10 wrong tries and 15 characters, NIST SP 800-63B-4 as evidence.md
section 5 cites it; 12 hours, 30 minutes and 4 minutes are the program's own settings.
"""

from datetime import timedelta

import pytest

from tests.conftest import PIN, Browser, Works
from trainer.services import signing_in
from trainer.services.refusal import Refusal
from trainer.services.signing_in import Limits, Wait
from trainer.store.tables import Device

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


@pytest.mark.parametrize(
    "pin",
    ["12345", "1234567", "12345a", "１２３４５６", "", "123456", "654321", "890123", "111111",
     "121212", "123123", "000417"],
)
def test_a_pin_that_anybody_would_guess_is_refused(works, pin):
    with pytest.raises(Refusal):
        signing_in.refuse_pin(works.people["Lee"], pin)


def test_other_pins_are_taken(works):
    for pin in (PIN, "000418", "135791"):
        signing_in.refuse_pin(works.people["Lee"], pin)


@pytest.mark.parametrize(
    "phrase",
    ["fourteen chars", "aaaaaaaaaaaaaaaaaaaa", "1234 5678 9012 3456", "Lee Lee Lee and Lee",
     "004170041700417"],
)
def test_a_passphrase_that_is_short_or_guessed_is_refused(works, phrase):
    with pytest.raises(Refusal):
        signing_in.refuse_passphrase(works.people["Lee"], phrase)


def test_fifteen_characters_are_enough_in_any_letters(works):
    for phrase in ("fifteen chars!!", "años, maña y leña"):
        signing_in.refuse_passphrase(works.people["Lee"], phrase)


def test_a_secret_fits_only_itself_and_nobodys_never(works):
    kept = works.people["Lee"].pin_hash or signing_in.hashed(PIN)
    assert signing_in.fits(PIN, kept)
    assert not signing_in.fits("271829", kept)
    assert not signing_in.fits("", None)
    assert not signing_in.fits(PIN, "not a hash")
    assert PIN not in kept


def test_waits_grow_after_three_wrong_tries_up_to_an_hour():
    waits = [signing_in.wait_after(wrong, "number:1").total_seconds() for wrong in range(40)]
    assert waits[:6] == [0, 0, 0, 5, 10, 20]
    assert waits == sorted(waits)
    assert waits[-1] == 3600
    assert signing_in.wait_after(29, "address:10.0.0.1") == timedelta(0)


def test_a_try_during_a_wait_is_refused_and_not_counted(works):
    names = ("number:00417",)

    def tried(after: float) -> None:
        with works.store.writing() as db:
            signing_in.count_try(db, names, works.now + timedelta(seconds=after), LIMITS)

    for _ in range(3):
        tried(0)
    with pytest.raises(Wait):
        tried(4.9)
    tried(5)
    with pytest.raises(Wait):
        tried(14.9)
    with works.store.writing() as db:
        signing_in.clear_tries(db, *names)
    tried(15)


def test_ten_wrong_tries_lock_a_device_for_good_and_the_eleventh_is_never_judged(works):
    device = enrol(works, tablet_code(works), "")[1]
    names = signing_in.scopes(device, "00417", "")
    for at in range(10):
        with works.store.writing() as db:
            signing_in.count_try(db, names, works.now + at * timedelta(hours=2), LIMITS)
    for number in ("00417", "00418"):  # whoever tries next
        with pytest.raises(Wait, match="one-time code"), works.store.writing() as db:
            later = works.now + timedelta(days=400)
            signing_in.count_try(db, signing_in.scopes(device, number, ""), later, LIMITS)


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
    for hours in range(1, 13):
        with works.store.writing() as db:
            row, *_ = signing_in.session_of(db, token, works.now + timedelta(hours=0), LIMITS)
            signing_in.touch(db, row.id, works.now + timedelta(hours=hours))
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
        names = signing_in.scopes(db.get(Device, 1), "00417", "")
        for at in range(10, 0, -1):
            moment = works.now - at * timedelta(hours=2)
            signing_in.count_try(db, names, moment, LIMITS)
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
            signing_in.count_try(db, ("device:1:00417",), moment, LIMITS)
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
