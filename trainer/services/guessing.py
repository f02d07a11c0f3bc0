"""PINs and passphrases that somebody would guess, and are refused.

A passphrase has 15 characters or more and any letters, spaces and signs (NIST SP 800-63B-4,
3.1.1.2: 15 where it is the only factor, no rules of composition, a blocklist of values that are
commonly used, expected or compromised). The blocklist is that of the library zxcvbn (MIT
licence): 30,000 passwords that were published after thefts, 30,000 words, names; with it what is
known here: the person's name and number, the employer, the worksites. NIST compares the whole
alone; a common password is short, so here that is not enough: zxcvbn works out how many guesses it
takes somebody who puts such parts together, repeats them, walks over the keyboard or counts on.
"""

from collections.abc import Iterable
from itertools import pairwise

from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import Person

PIN_DIGITS = 6
PASSPHRASE_LETTERS = 15
LONGEST_PASSPHRASE = 200
"""The most characters; NIST asks that at least 64 are taken."""
FEWEST_GUESSES = 10**10
"""What zxcvbn calls very hard to guess, its highest score of 4."""
LOOKED_AT = 72
"""So many characters zxcvbn looks at; it takes long for more."""


def refuse_pin(person: Person, pin: str) -> None:
    """Refuse a PIN that is not 6 digits, or that anybody would guess.

    Errors: Refusal.
    """
    if len(pin) != PIN_DIGITS or not (pin.isascii() and pin.isdigit()):
        raise Refusal("A PIN has exactly 6 digits.")
    if _is_a_row(pin) or _is_repeated(pin) or _is_of_number(pin, person.number):
        raise Refusal("This PIN is too easy to guess. Choose another.")


def refuse_passphrase(person: Person, phrase: str, known: Iterable[str] = ()) -> None:
    """Refuse a passphrase that is short or easily guessed.

    known   what else an attacker would try: the names of employer and worksites
    Errors: Refusal.
    """
    if len(phrase) < PASSPHRASE_LETTERS:
        raise Refusal("A passphrase has 15 characters or more; four or five words do well.")
    if len(phrase) > LONGEST_PASSPHRASE:
        raise Refusal("A passphrase has at most 200 characters.")
    plain = people.plain(phrase)
    guessed = len(set(plain)) < 6 or plain.replace(" ", "").isdigit()
    theirs = people.plain(person.name) in plain or person.number_key * 3 in plain
    if guessed or theirs or _guesses(person, phrase, known) < FEWEST_GUESSES:
        raise Refusal("This passphrase is too easy to guess. Choose other words.")


def _is_a_row(pin: str) -> bool:
    """Say whether both halves count up, down or stay: 123456, 987123, 111222, 123321."""
    return all(
        {(int(after) - int(before)) % 10 for before, after in pairwise(half)} in ({0}, {1}, {9})
        for half in (pin[:3], pin[3:])
    )


def _is_repeated(pin: str) -> bool:
    """Say whether the PIN is two or three digits said again, or pairs: 123123, 121212, 112233."""
    return pin[:3] == pin[3:] or pin[:2] * 3 == pin or pin[::2] == pin[1::2]


def _is_of_number(pin: str, number: str) -> bool:
    """Say whether the PIN is the worker number, forwards or backwards, or a part of it."""
    digits = "".join(letter for letter in number if letter.isascii() and letter.isdigit())
    bare = digits.lstrip("0")
    if not bare:
        return False
    for way in (bare, digits[::-1], bare[::-1]):
        if int(pin) == int(way) or pin in way or (len(way) >= 4 and way in pin):
            return True
    return pin in digits or pin == bare.ljust(PIN_DIGITS, "0")


def _guesses(person: Person, phrase: str, known: Iterable[str]) -> float:
    """Return how many guesses a passphrase takes, as zxcvbn works it out."""
    # Only where somebody chooses one: reading its lists takes a tenth of a second.
    from zxcvbn import zxcvbn

    around = [person.name, person.number, *known]
    words = [word for text in around for word in (text, people.plain(text), *text.split())]
    found = zxcvbn(people.plain(phrase)[:LOOKED_AT], user_inputs=[one for one in words if one])
    return float(found["guesses"])
