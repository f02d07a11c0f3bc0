"""Wrong tries: growing waits, shared by all processes, and nobody locked out for good.

At most 10 PINs on a device and waits of up to an hour: NIST SP 800-63B-4, 3.2.2; no lock-out that
a stranger can bring about: ASVS 5.0, 6.1.1.
"""

from datetime import timedelta

import pytest

from tests.conftest import PASSPHRASE, PIN, Browser, Works
from trainer.app import create_app
from trainer.services import signing_in, throttling
from trainer.services.throttling import Limits, Wait
from trainer.store.engine import Store
from trainer.store.tables import Device, SignInTry

LIMITS = Limits()
SECOND = timedelta(seconds=1)
HOUR = timedelta(hours=1)
OWN, TABLET = Device(id=7), Device(id=8)


def tried(works: Works, after: timedelta, *names: str) -> None:
    """Count a wrong try so long after now."""
    with works.store.writing() as db:
        throttling.count_try(db, names, works.now + after, LIMITS)


def wrong(works: Works, name: str, after: timedelta = timedelta(0)) -> int:
    """Return how many wrong tries count."""
    with works.store.reading() as db:
        return throttling.wrong_tries(db, name, works.now + after)


@pytest.mark.parametrize(
    ("address", "counts_as"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2::1", "2001:db8:1:2::/64"),
        ("2001:db8:1:2:ffff:ffff:ffff:ffff", "2001:db8:1:2::/64"),
        ("2001:db8:1:3::1", "2001:db8:1:3::/64"),
        ("::ffff:192.0.2.7", "192.0.2.7"),  # IPv4 in the clothes of IPv6
        ("fe80::1%eth0", "fe80::/64"),
        ("::1", "::/64"),
        ("", ""),
        ("no address" * 90, ("no address" * 90)[:40]),
    ],
)
def test_a_network_of_ipv6_counts_as_one_address(address, counts_as):
    assert throttling.network(address) == counts_as


def test_what_a_try_counts_against():
    found = throttling.scopes
    assert found(TABLET, " Ab1 ", "192.0.2.7", with_pin=True) == ("pin:8:ab1", "device:8")
    assert found(None, "Ab1", "192.0.2.7", with_pin=False) == ("number:ab1", "address:192.0.2.7")
    own = found(OWN, "Ab1", "2001:db8::1", with_pin=False)
    assert own == ("phrase:7:ab1", "address:2001:db8::/64")
    assert len(found(None, "9" * 5000, "", with_pin=False)[0]) < 60


def test_waits_grow_up_to_an_hour_and_of_what_many_share_to_a_quarter():
    def waits(scope: str) -> list[float]:
        return [throttling.wait_after(wrong, scope).total_seconds() for wrong in range(60)]

    assert waits("number:1")[:6] == [0, 0, 0, 5, 10, 20]
    for scope, free, longest in (
        ("number:1", 3, 3600), ("phrase:1:1", 3, 3600), ("pin:1:1", 3, 3600), ("step:1", 3, 3600),
        ("prove:1", 3, 3600), ("device:1", 10, 900), ("address:1", 30, 900),
    ):  # fmt: skip
        found = waits(scope)
        assert found == sorted(found)
        assert (found[free - 1], found[free], found[-1]) == (0, 5, longest)


def test_a_try_during_a_wait_is_refused_and_not_counted(works):
    for _ in range(3):
        tried(works, 0 * SECOND, "number:00417")
    with pytest.raises(Wait):
        tried(works, 4.9 * SECOND, "number:00417")
    tried(works, 5 * SECOND, "number:00417")
    with pytest.raises(Wait):
        tried(works, 14.9 * SECOND, "number:00417")
    with works.store.writing() as db:
        throttling.succeeded(db, "number:00417")
    tried(works, 15 * SECOND, "number:00417")


def test_where_one_has_to_wait_nothing_else_is_counted(works):
    for _ in range(3):
        tried(works, 0 * SECOND, "number:00417")
    with pytest.raises(Wait):
        tried(works, SECOND, "address:192.0.2.7", "number:00417")
    assert wrong(works, "address:192.0.2.7") == 0


def test_all_processes_count_together(works):
    other = Store(works.store.url)
    for at in range(3):
        with (works.store if at % 2 else other).writing() as db:
            throttling.count_try(db, ("number:00417",), works.now, LIMITS)
    with pytest.raises(Wait), other.writing() as db:
        throttling.count_try(db, ("number:00417",), works.now, LIMITS)
    other.close()


def test_a_passphrase_only_ever_waits(works):
    """Whoever tries a number for years keeps nobody out for longer than an hour."""
    after = timedelta(0)
    for _ in range(300):
        tried(works, after, "number:00417")
        after += HOUR
    with pytest.raises(Wait):
        tried(works, after - SECOND, "number:00417")
    tried(works, after, "number:00417")


def test_after_a_day_without_a_try_all_is_forgotten_but_of_a_pin(works):
    names = ("number:00417", "pin:8:00417")
    for _ in range(3):
        tried(works, 0 * SECOND, *names)
    assert [wrong(works, name, 24 * HOUR) for name in names] == [3, 3]
    assert [wrong(works, name, 24 * HOUR + SECOND) for name in names] == [0, 3]
    tried(works, 24 * HOUR + SECOND, "number:99999")
    with works.store.reading() as db:
        assert db.get(SignInTry, "number:00417") is None
        assert db.get(SignInTry, "pin:8:00417") is not None


def test_ten_wrong_pins_close_the_pin_of_one_person_on_one_device(works):
    for at in range(10):
        tried(works, at * 2 * HOUR, "pin:8:00417", "device:8")
    late = timedelta(days=400)
    with pytest.raises(Wait, match="one-time code"):
        tried(works, late, "pin:8:00417", "device:8")
    tried(works, late, "pin:8:00418", "device:8")  # others there
    tried(works, late, "pin:9:00417", "device:9")  # they elsewhere
    tried(works, late, "phrase:8:00417", "address:192.0.2.7")  # their passphrase there


def test_what_many_share_fades_with_time_and_not_with_a_right_try(works):
    """Whoever guesses at others and signs in themselves in between gains nothing by that."""
    for _ in range(9):
        tried(works, 0 * SECOND, "device:8")
    with works.store.writing() as db:
        throttling.count_try(db, ("device:8",), works.now, LIMITS)
        throttling.succeeded(db, "device:8")
    assert wrong(works, "device:8") == 9
    assert wrong(works, "device:8", 59 * timedelta(minutes=1)) == 8
    assert wrong(works, "device:8", 3 * HOUR) == 3
    assert wrong(works, "device:8", 8 * HOUR) == 0


def test_a_device_of_many_is_never_closed_and_a_row_of_pranks_takes_days(works):
    """Ten wrong PINs for each of twenty colleagues: how long that takes whoever stands there."""
    after, most = timedelta(0), timedelta(0)
    for person in range(20):
        for _ in range(10):
            while True:
                try:
                    tried(works, after, f"pin:8:{person}", "device:8")
                    break
                except Wait:
                    after += timedelta(seconds=30)
                    most += timedelta(seconds=30)
    assert most > timedelta(days=1)
    tried(works, after + timedelta(minutes=15), "pin:8:77", "device:8")


# Through the pages.


def phrase_sent(browser: Browser, phrase: str, number: str = "00417", **more):
    """Send number and passphrase."""
    browser.get("/sign-in?with=passphrase")
    sent = {"number": number, "passphrase": phrase, "with": "passphrase", **more}
    return browser.post("/sign-in", follow=False, **sent)


def own_phone(app, works: Works) -> Browser:
    """Return Lee's own phone, enrolled, nobody signed in."""
    with works.store.writing() as db:
        code, _ = signing_in.make_code(
            db, works.people["Ida"], works.now, LIMITS, person=works.people["Lee"]
        )
    phone = Browser(app.test_client())
    phone.get("/enrol")
    phone.post("/enrol", code=code, number="00417")
    phone.get("/still-there")
    phone.post("/sign-out")
    return phone


def test_a_stranger_who_knows_the_number_keeps_nobody_from_their_own_device(app, browser, works):
    phone = own_phone(app, works)
    stranger = browser()
    for _ in range(3):
        assert phrase_sent(stranger, "a guess at a passphrase").status_code == 422
    assert phrase_sent(stranger, "a guess at a passphrase").status_code == 429
    assert phrase_sent(browser(), PASSPHRASE).status_code == 429
    assert phrase_sent(phone, PASSPHRASE).status_code == 303
    phone.get("/still-there")
    phone.post("/sign-out")
    phone.get("/sign-in")
    assert phone.post("/sign-in", follow=False, number="00417", pin=PIN).status_code == 303


def test_a_fresh_code_lets_in_whoever_a_stranger_keeps_waiting(app, browser, works):
    for _ in range(4):
        phrase_sent(browser(), "a guess at a passphrase")
    assert phrase_sent(browser(), PASSPHRASE).status_code == 429
    phone = own_phone(app, works)
    assert phrase_sent(phone, PASSPHRASE).status_code == 303


def test_a_number_that_nobody_has_waits_in_the_same_words(browser):
    def said(number: str) -> list[tuple[int, str]]:
        found = []
        for _ in range(4):
            one = browser()
            status = phrase_sent(one, "a guess at a passphrase", number).status_code
            text = one.soup.select_one("[role=alert]").text
            found.append((status, "".join(sign for sign in text if not sign.isdigit())))
        return found

    assert said("00417") == said("99999")


def test_an_address_that_tries_many_numbers_waits_and_others_do_not(app):
    here, there = app.test_client(), app.test_client()

    def answer(client, number: int, address: str) -> int:
        browser = Browser(client)
        browser.client.environ_base["REMOTE_ADDR"] = address
        return phrase_sent(browser, "a guess at a passphrase", str(number)).status_code

    for at in range(30):
        # Another address of the same network each time.
        assert answer(here, 90_000 + at, f"2001:db8:1:2::{at + 1:x}") == 422
    assert answer(here, 90_030, "2001:db8:1:2::ffff") == 429
    assert answer(there, 90_031, "2001:db8:1:3::1") == 422
    assert answer(there, 90_032, "192.0.2.7") == 422


def test_a_page_left_open_is_no_way_to_guess_the_pin(app, browser, works):
    """Each old PIN counts, the waits grow, and the tenth wrong one signs the person out."""
    lee = browser("Lee")
    scope = f"prove:{works.people['Lee'].id}"
    for path, fields in (
        ("/choose-pin", {"old": "141421", "pin": "904417", "again": "904417"}),
        ("/passphrase", {"old": "a guess at it", "passphrase": PASSPHRASE, "again": PASSPHRASE}),
    ):
        for _ in range(2):
            lee.get(path)
            lee.post(path, **fields)
    assert "Try again in" in lee.page  # the fourth
    for at in range(6, 0, -1):
        with works.store.writing() as db:
            moment = works.now - at * 2 * HOUR
            row = db.get(SignInTry, scope)
            row.last_at = moment - 2 * HOUR
            throttling.count_try(db, (scope,), moment, LIMITS)
    lee.get("/choose-pin")
    last = lee.post("/choose-pin", old="141421", pin="904417", again="904417")
    assert last.request.path == "/signed-out"
    assert "Too many wrong tries: you are signed out" in lee.page
    assert lee.get("/tag").status_code == 302
    # Whoever knows the passphrase comes in, and is not held up by what was tried.
    assert browser("Lee").get("/tag").status_code == 200
    assert wrong(works, scope) == 0


def test_another_process_refuses_what_the_first_one_counted(app, works, settings):
    other = create_app(settings, works.store, "only for tests")
    for _ in range(3):
        phrase_sent(Browser(app.test_client()), "a guess at a passphrase")
    answer = phrase_sent(Browser(other.test_client()), "a guess at a passphrase")
    assert answer.status_code == 429
