"""PINs and passphrases that somebody would guess.

15 characters, any of them, and a list of common ones: NIST SP 800-63B-4, 3.1.1.2.
"""

import pytest
from zxcvbn.frequency_lists import FREQUENCY_LISTS

from tests.conftest import PASSPHRASE, PIN
from trainer.services import guessing
from trainer.services.refusal import Refusal
from trainer.store.tables import Person

LEE = Person(number="00417", number_key="00417", name="Lee", search_key="", seed="")
KNOWN = ("Tern Quay Works", "Laminating Loft")


def person(number: str) -> Person:
    """Return somebody with a worker number."""
    return Person(number=number, number_key=number, name="Lee Quayside", search_key="", seed="")


@pytest.mark.parametrize(
    "pin", ["12345", "1234567", "12345a", "１２３４５６", "", " 12345", "1234.5", "-12345"]
)
def test_a_pin_has_six_digits_and_nothing_else(pin):
    with pytest.raises(Refusal, match="6 digits"):
        guessing.refuse_pin(LEE, pin)


@pytest.mark.parametrize(
    "pin",
    ["123456", "654321", "890123", "111111", "000000",  # up, down, around, the same
     "987123", "111222", "123321",  # both halves
     "121212", "123123", "112233", "010101"],  # said again, in pairs
)  # fmt: skip
def test_a_pin_that_anybody_would_guess_is_refused(pin):
    with pytest.raises(Refusal, match="easy to guess"):
        guessing.refuse_pin(LEE, pin)


@pytest.mark.parametrize(
    ("number", "pin"),
    [
        ("00417", "000417"),  # with zeros before
        ("00417", "417000"),  # and behind
        ("00417", "071400"),  # backwards
        ("00417", "714000"),
        ("274183", "274183"),
        ("274183", "381472"),
        ("W-274183", "274183"),  # its letters aside
        ("27418356", "274183"),  # its beginning
        ("27418356", "418356"),  # its end
        ("27418356", "653814"),  # both backwards
        ("2741", "274199"),  # all of a short one within
        ("2741", "991472"),
    ],
)
def test_a_pin_made_of_the_worker_number_is_refused(number, pin):
    with pytest.raises(Refusal, match="easy to guess"):
        guessing.refuse_pin(person(number), pin)


@pytest.mark.parametrize("number", ["00417", "1", "0", "QUAY", "²³"])
def test_other_pins_are_taken(number):
    for pin in (PIN, "000418", "135791", "904417"):
        guessing.refuse_pin(person(number), pin)


@pytest.mark.parametrize("phrase", ["", "fourteen chars", "x" * 201])
def test_a_passphrase_has_15_characters_or_more_and_200_at_most(phrase):
    with pytest.raises(Refusal, match="characters"):
        guessing.refuse_passphrase(LEE, phrase)


@pytest.mark.parametrize(
    "phrase",
    [
        "aaaaaaaaaaaaaaaaaaaa", "1234 5678 9012 3456", "abcdefghijklmnop",
        "Lee Lee Lee and Lee", "004170041700417",
        # Common passwords, said twice, with numbers behind, with signs for letters.
        "passwordpassword", "Password12345678", "iloveyouiloveyou1", "p4ssw0rdp4ssw0rd",
        "qwertyuiop123456", "letmein letmein letmein",
        # What is known here.
        "Tern Quay Works 1234", "laminating loft 2026", "LAMINATINGLOFTLAMINATINGLOFT",
    ],
)  # fmt: skip
def test_a_passphrase_that_is_guessed_is_refused(phrase):
    with pytest.raises(Refusal, match="easy to guess"):
        guessing.refuse_passphrase(LEE, phrase, KNOWN)


def test_names_of_here_make_a_passphrase_easy_only_here():
    guessing.refuse_passphrase(LEE, "Gannet Cove Works 1234")
    with pytest.raises(Refusal, match="easy to guess"):
        guessing.refuse_passphrase(LEE, "Gannet Cove Works 1234", ["Gannet Cove Works"])


def test_every_common_password_that_is_long_enough_is_refused():
    common = [one for one in FREQUENCY_LISTS["passwords"] if len(one) >= 15]
    assert len(common) > 5
    for one in common:
        with pytest.raises(Refusal, match="easy to guess"):
            guessing.refuse_passphrase(LEE, one)


def test_four_words_and_any_letters_are_taken():
    for phrase in (PASSPHRASE, "fifteen chars!!", "años, maña y leña", "x7 gulls on a roof " * 6):
        guessing.refuse_passphrase(LEE, phrase, KNOWN)
