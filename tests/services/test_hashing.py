"""Hashing: how slow, how many at once, how many for whom, and never while the database waits.

OWASP's cheat sheet on storing passwords: argon2id, at least 19 MiB (19,456 KiB), 2 passes, 1 lane.
"""

import threading

import pytest
from argon2 import PasswordHasher, Type, extract_parameters

from tests.conftest import PASSPHRASE, PIN, SLOW_HASHER, Browser, Works
from trainer.services import hashing, second_step, signing_in
from trainer.services.hashing import Busy, Turns
from trainer.store.tables import Person

WEAKER = PasswordHasher(time_cost=1, memory_cost=16, parallelism=1)


def test_the_parameters_are_those_of_owasp_or_better():
    made = extract_parameters(SLOW_HASHER.hash(PIN))
    assert made.type is Type.ID
    assert (made.memory_cost >= 19_456, made.time_cost >= 2, made.parallelism >= 1) == (True,) * 3
    assert made.salt_len >= 16


def test_a_secret_fits_only_itself_and_nobodys_never():
    kept = hashing.hashed(PIN)
    assert hashing.fits(PIN, kept)
    assert not hashing.fits("271829", kept)
    assert not hashing.fits("", None)
    assert not hashing.fits(PIN, "not a hash")
    assert PIN not in kept


def test_the_same_letters_fit_however_a_keyboard_composes_them():
    assert hashing.fits("an\u0303os y len\u0303a, marzo", hashing.hashed("años y leña, marzo"))


def test_nobodys_hash_costs_as_much_as_a_real_one(monkeypatch):
    monkeypatch.setattr(hashing, "HASHER", SLOW_HASHER)
    assert extract_parameters(hashing._nobodys()) == extract_parameters(SLOW_HASHER.hash(PIN))
    assert hashing._nobodys() != hashing._nobodys()


# How many at once.


def test_there_are_as_many_turns_as_cores_and_at_least_one():
    assert hashing.cores() >= 1
    assert hashing.TURNS._free._initial_value == hashing.cores()


class Slow:
    """A hasher whose hashes wait until they are let go, and which counts those at once."""

    def __init__(self) -> None:
        self.go = threading.Event()
        self.guard = threading.Lock()
        self.now = self.most = self.done = 0

    def hash(self, text: str) -> str:
        """Wait, counted."""
        with self.guard:
            self.now += 1
            self.most = max(self.most, self.now)
        self.go.wait(30)
        with self.guard:
            self.now -= 1
            self.done += 1
        return text


def test_of_fifty_at_once_no_more_hash_than_there_are_turns_and_all_come_through(monkeypatch):
    slow = Slow()
    monkeypatch.setattr(hashing, "HASHER", slow)
    monkeypatch.setattr(hashing, "TURNS", Turns(2, 48, 30))
    threads = [threading.Thread(target=hashing.hashed, args=(PIN,)) for _ in range(50)]
    for one in threads:
        one.start()
    slow.go.set()
    for one in threads:
        one.join()
    assert (slow.most <= 2, slow.done) == (True, 50)


def test_whoever_would_be_too_many_is_told_at_once():
    turns = Turns(1, 1, 30)
    held, waits = threading.Event(), threading.Event()

    def wait() -> None:
        waits.set()
        with turns.turn():
            pass

    def hold() -> None:
        with turns.turn():
            held.set()
            waits.wait(30)
            while turns._room:  # until the second one stands and waits
                pass
            with pytest.raises(Busy), turns.turn():
                pass

    first, second = threading.Thread(target=hold), threading.Thread(target=wait)
    first.start()
    held.wait(30)
    second.start()
    first.join()
    second.join()
    with turns.turn():
        pass
    assert turns._room == 1


def test_whoever_waits_too_long_is_told():
    turns = Turns(1, 5, 0.01)
    with turns.turn(), pytest.raises(Busy), turns.turn():
        pass
    with turns.turn():
        pass


def test_a_turn_is_given_back_when_hashing_fails():
    turns = Turns(1, 1, 0.01)
    with pytest.raises(ZeroDivisionError), turns.turn():
        _ = 1 / 0
    with turns.turn():
        pass


def test_where_too_many_sign_in_it_is_said_and_counts_as_no_try(browser, works, monkeypatch):
    monkeypatch.setattr(hashing, "TURNS", Turns(1, 0, 0))
    nobody = browser()
    nobody.get("/sign-in")
    sent = {"number": "00417", "passphrase": PASSPHRASE, "with": "passphrase"}
    with hashing.TURNS.turn():
        for _ in range(5):
            answer = nobody.post("/sign-in", follow=False, **sent)
            assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")
            assert "Try again in a few seconds" in nobody.page
    assert nobody.post("/sign-in", follow=False, **sent).status_code == 303


# How many for whom: as many hashes are as much time, and no test has to measure it.


class Counting:
    """A hasher that counts, and looks whether somebody writes in the meantime."""

    def __init__(self, real: PasswordHasher, works: Works | None = None) -> None:
        self.real, self.works = real, works
        self.did: list[str] = []

    def _note(self, what: str) -> None:
        self.did.append(what)
        # One thread: whoever holds the writer's turn now is whoever hashes.
        assert self.works is None or not self.works.store._turn._held, "hashed inside writing()"

    def hash(self, text: str) -> str:
        """Count a hash."""
        self._note("hash")
        return self.real.hash(text)

    def verify(self, kept: str, text: str) -> bool:
        """Count a hash that is compared."""
        self._note("verify")
        return self.real.verify(kept, text)

    def __getattr__(self, name: str) -> object:
        return getattr(self.real, name)


@pytest.fixture
def counting(works: Works, monkeypatch) -> Counting:
    """Return a hasher in the place of the program's own, which counts."""
    made = Counting(hashing.HASHER, works)
    monkeypatch.setattr(hashing, "HASHER", made)
    return made


def change(works: Works, name: str, **columns) -> None:
    """Write into a person's row."""
    with works.store.writing() as db:
        row = db.get(Person, works.people[name].id)
        for column, value in columns.items():
            setattr(row, column, value)
        db.add(row)


def test_every_wrong_sign_in_takes_one_hash_and_the_same_words(browser, works, counting):
    change(works, "Kim", passphrase_hash=None)
    change(works, "Noor", left_on=works.today)
    answers = []
    for number, phrase in (
        ("00417", "not the passphrase of Lee"),
        ("99999", PASSPHRASE),  # nobody's number
        ("", PASSPHRASE),
        ("00418", PASSPHRASE),  # without a passphrase
        ("00500", PASSPHRASE),  # left
    ):
        counting.did.clear()
        nobody = browser()
        nobody.get("/sign-in")
        answer = nobody.post(
            "/sign-in", follow=False, number=number, passphrase=phrase, **{"with": "passphrase"}
        )
        answers.append(
            (answer.status_code, nobody.soup.select_one("[role=alert]").text, tuple(counting.did))
        )
    assert set(answers) == {(422, answers[0][1], ("verify",))}


def test_every_wrong_pin_takes_one_hash_and_the_same_words(app, browser, works, counting):
    change(works, "Kim", pin_hash=None)
    tablet = enrolled_tablet(app, works)
    answers = []
    for number, pin in (
        ("00417", "141421"), ("99999", PIN), ("00418", PIN),
        ("00002", PIN),  # a trainer, whose PIN is nothing on a shared tablet
    ):  # fmt: skip
        counting.did.clear()
        tablet.get("/sign-in")
        answer = tablet.post("/sign-in", follow=False, number=number, pin=pin)
        said = tablet.soup.select_one("[role=alert]").text
        answers.append((answer.status_code, said, tuple(counting.did)))
    assert set(answers) == {(422, answers[0][1], ("verify",))}


def enrolled_tablet(app, works: Works) -> Browser:
    """Return a tablet that everybody at the Loft shares."""
    with works.store.writing() as db:
        code, _ = signing_in.make_code(
            db, works.people["Ida"], works.now, signing_in.Limits(), worksite_id=1
        )
    tablet = Browser(app.test_client())
    tablet.get("/enrol?shared=yes")
    tablet.post("/enrol", code=code, number="", shared="yes")
    return tablet


def test_a_hash_made_with_weaker_parameters_is_made_anew_at_the_next_sign_in(browser, works):
    change(works, "Lee", passphrase_hash=WEAKER.hash(PASSPHRASE))
    change(works, "Kim", pin_hash=WEAKER.hash(PIN))
    for name in ("Lee", "Lee", "Kim"):
        assert browser(name).get("/tag").status_code == 200
    with works.store.reading() as db:
        lee, kim = (db.get(Person, works.people[name].id) for name in ("Lee", "Kim"))
    assert not hashing.made_weaker(lee.passphrase_hash)
    assert hashing.fits(PASSPHRASE, lee.passphrase_hash)
    assert hashing.made_weaker(kim.pin_hash)  # the passphrase says nothing of the PIN


def test_a_wrong_passphrase_is_never_kept(browser, works):
    kept = WEAKER.hash(PASSPHRASE)
    change(works, "Lee", passphrase_hash=kept)
    nobody = browser()
    nobody.get("/sign-in")
    nobody.post("/sign-in", number="00417", passphrase="another passphrase")
    with works.store.reading() as db:
        assert db.get(Person, works.people["Lee"].id).passphrase_hash == kept


def test_no_page_hashes_while_it_writes(app, browser, works, counting):
    change(works, "Lee", passphrase_hash=WEAKER.hash(PASSPHRASE))
    lee = browser("Lee")
    fresh = "four grey gulls by night"
    lee.get("/passphrase")
    lee.post("/passphrase", old=PASSPHRASE, passphrase=fresh, again=fresh)
    with works.store.writing() as db:
        limits = signing_in.Limits()
        code, _ = signing_in.make_code(
            db, works.people["Ida"], works.now, limits, person=works.people["Lee"]
        )
    lee.get("/enrol")
    lee.post("/enrol", code=code, number="00417")
    lee.post("/choose-pin", pin="904417", again="904417")
    lee.get("/choose-pin")
    lee.post("/choose-pin", old="904417", pin="904418", again="904418")
    ida = browser("Ida")
    ida.get("/my-sign-in/second-step")
    ida.post("/my-sign-in/second-step", act="begin", secret=PASSPHRASE)
    with works.store.reading() as db:
        keys = second_step.keys(app.secret_key)
        assert second_step.pending(db, works.people["Ida"], keys, works.now)
    tablet = enrolled_tablet(app, works)
    tablet.get("/sign-in")
    tablet.post("/sign-in", number="00417", pin="904418")
    assert tablet.get("/tag").status_code == 200
    assert counting.did.count("hash") == 4  # made anew, and chosen three times
    assert counting.did.count("verify") >= 6
