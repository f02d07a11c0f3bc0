"""Signing in: one-time codes, enrolled devices, PINs, passphrases, tries and web sessions.

A 6-digit PIN is enough only on an enrolled device, which is the second factor (something one
has): ASVS 5.0, 6.2.1 and 6.3.3; at most 10 wrong tries: NIST SP 800-63B-4, draft. Anywhere
else a passphrase of 15 characters or more: NIST SP 800-63B-4.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from itertools import pairwise
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError
from sqlmodel import Session, select

from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import Device, OneTimeCode, Person, SignInTry, WebSession

PIN_DIGITS = 6
PASSPHRASE_LETTERS = 15
CODE_ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # without letters that look like digits
CODE_LETTERS = 10
FREE_TRIES = 3
FREE_ADDRESS_TRIES = 30
LONGEST_WAIT = timedelta(hours=1)

_HASHER = PasswordHasher()
# Each hash takes 64 MiB: never more at once than a small machine has cores.
_HASHING = BoundedSemaphore(2)
_NOBODY = _HASHER.hash(secrets.token_hex(16))


@dataclass(frozen=True)
class Limits:
    """The settings that signing in goes by."""

    wrong_tries: int = 10
    code_minutes: int = 30
    idle_shared: timedelta = timedelta(minutes=4)
    idle_own: timedelta = timedelta(minutes=30)
    longest: timedelta = timedelta(hours=12)


class Wait(Refusal):
    """Too many wrong tries: wait, or bring a fresh one-time code."""


def secret_hash(text: str) -> str:
    """Return what is kept of a random secret; it needs no salt, since nobody chose it."""
    return sha256(text.encode()).hexdigest()


def hashed(text: str) -> str:
    """Return the argon2id hash of a PIN or passphrase; slow by design, never inside `writing()`."""
    with _HASHING:
        return _HASHER.hash(text)


def fits(text: str, kept: str | None) -> bool:
    """Say whether a PIN or passphrase is the one kept; as slow where nobody is there."""
    with _HASHING:
        try:
            return _HASHER.verify(kept or _NOBODY, text) and kept is not None
        except (VerifyMismatchError, InvalidHashError):
            return False


def make_code(
    db: Session,
    by: Person | None,
    now: datetime,
    limits: Limits,
    *,
    person: Person | None = None,
    worksite_id: int | None = None,
) -> tuple[str, OneTimeCode]:
    """Make a one-time code for a person's own device, or for a worksite's shared tablet.

    Codes made before for the same, and not used, end. Returns the code as text, which is
    not kept, and its row.
    """
    query = select(OneTimeCode).where(
        OneTimeCode.used_at.is_(None),
        OneTimeCode.person_id == (person.id if person else None),
        OneTimeCode.worksite_id == worksite_id,
    )
    for old in db.exec(query):
        old.used_at = now
        db.add(old)
    text = "".join(secrets.choice(CODE_ALPHABET) for _ in range(CODE_LETTERS))
    row = OneTimeCode(
        code_hash=secret_hash(text),
        person_id=person.id if person else None,
        worksite_id=worksite_id,
        made_by=by.id if by else None,
        made_at=now,
        expires_at=now + timedelta(minutes=limits.code_minutes),
    )
    db.add(row)
    db.flush()
    return text, row


def plain_code(typed: str) -> str:
    """Return a code as it was made: capitals, no dashes or spaces."""
    return "".join(letter for letter in typed.upper() if letter.isalnum())


def enrol(
    db: Session, typed: str, number: str, device: Device | None, now: datetime
) -> tuple[str, Device, Person | None]:
    """Use a one-time code: enrol this browser; return its new secret, its row and whose it is.

    number  the worker number; empty for a shared tablet's code
    device  what this browser was enrolled as before, if it was; it ends
    Errors: Refusal, the same for every wrong code.
    """
    row = db.exec(
        select(OneTimeCode).where(OneTimeCode.code_hash == secret_hash(plain_code(typed)))
    ).first()
    person = db.get(Person, row.person_id) if row and row.person_id else None
    right = row and row.used_at is None and now <= row.expires_at
    whose = person.number_key if person else ""
    if not right or people.key(number) != whose or (person and person.left_on):
        raise Refusal(
            "This number and code do not go together, or the code was used or is too old. "
            "Ask your trainer for a fresh code."
        )
    row.used_at = now
    db.add(row)
    # On a shared tablet a person's own code only unlocks that person there again.
    if device and device.kind == "shared" and person and device.revoked_at is None:
        clear_tries(db, f"device:{device.id}:{person.number_key}")
        return "", device, person
    if device and device.revoked_at is None:
        device.revoked_at = now
        db.add(device)
    secret = secrets.token_urlsafe(32)
    fresh = Device(
        secret_hash=secret_hash(secret),
        kind="own" if person else "shared",
        person_id=person.id if person else None,
        worksite_id=row.worksite_id,
        enrolled_by=row.made_by,
        enrolled_at=now,
    )
    db.add(fresh)
    db.flush()
    return secret, fresh, person


def device_of(db: Session, secret: str) -> Device | None:
    """Return the enrolled device that holds this secret."""
    if not secret:
        return None
    found = db.exec(select(Device).where(Device.secret_hash == secret_hash(secret))).first()
    return found if found and found.revoked_at is None else None


def refuse_pin(person: Person, pin: str) -> None:
    """Refuse a PIN that is not 6 digits, or that anybody would guess.

    Errors: Refusal.
    """
    if len(pin) != PIN_DIGITS or not (pin.isascii() and pin.isdigit()):
        raise Refusal("A PIN has exactly 6 digits.")
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    digits = "".join(letter for letter in person.number if letter.isdigit())
    repeated = pin[:3] == pin[3:] or pin[:2] * 3 == pin
    if steps in ({0}, {1}, {9}) or repeated or (digits and int(pin) == int(digits)):
        raise Refusal("This PIN is too easy to guess. Choose another.")


def refuse_passphrase(person: Person, phrase: str) -> None:
    """Refuse a passphrase that is short or easily guessed.

    Errors: Refusal.
    """
    if len(phrase) < PASSPHRASE_LETTERS:
        raise Refusal("A passphrase has 15 characters or more; four or five words do well.")
    plain = people.plain(phrase)
    guessed = len(set(plain)) < 6 or plain.replace(" ", "").isdigit()
    if guessed or people.plain(person.name) in plain or person.number_key * 3 in plain:
        raise Refusal("This passphrase is too easy to guess. Choose other words.")


def set_pin(db: Session, person: Person, pin_hash: str) -> None:
    """Keep a person's PIN, hashed before."""
    row = db.get(Person, person.id)
    row.pin_hash = pin_hash
    db.add(row)


def set_passphrase(db: Session, person: Person, phrase_hash: str) -> None:
    """Keep a person's passphrase, hashed before."""
    row = db.get(Person, person.id)
    row.passphrase_hash = phrase_hash
    db.add(row)


def scopes(device: Device | None, number: str, address: str) -> tuple[str, ...]:
    """Return what a try counts against: with a PIN the device, else the number and the address."""
    key = people.key(number)
    if device:
        return (f"device:{device.id}", f"device:{device.id}:{key}")
    return (f"number:{key}", f"address:{address}")


def count_try(db: Session, names: tuple[str, ...], now: datetime, limits: Limits) -> None:
    """Count a try before it is judged, so that tries side by side cannot slip past the limit.

    Errors: Wait, before anything is counted, while a wait runs or a device is locked.
    """
    rows = [db.get(SignInTry, name) or SignInTry(scope=name, last_at=now) for name in names]
    for row in rows:
        _refuse_wait(row, now, limits)
    for row in rows:
        row.wrong += 1
        row.last_at = now
        db.add(row)
    db.flush()


def clear_tries(db: Session, *names: str) -> None:
    """Forget the tries after a right one, or a fresh code."""
    for name in names:
        row = db.get(SignInTry, name)
        if row:
            db.delete(row)
    db.flush()


def wait_after(wrong: int, scope: str) -> timedelta:
    """Return how long to wait after so many wrong tries in a row; it doubles, up to an hour."""
    free = FREE_ADDRESS_TRIES if scope.startswith("address:") else FREE_TRIES
    if wrong < free:
        return timedelta(0)
    return min(timedelta(seconds=5 * 2 ** min(wrong - free, 12)), LONGEST_WAIT)


def start_session(db: Session, person: Person, device: Device | None, now: datetime) -> str:
    """Begin a web session; return its token, which only the browser keeps."""
    token = secrets.token_urlsafe(32)
    db.add(
        WebSession(
            token_hash=secret_hash(token),
            person_id=person.id,
            device_id=device.id if device else None,
            started_at=now,
            seen_at=now,
        )
    )
    db.flush()
    return token


def session_of(
    db: Session, token: str, now: datetime, limits: Limits
) -> tuple[WebSession, Person, Device | None] | None:
    """Return the session of a token with its person and device, unless it has ended."""
    if not token:
        return None
    row = db.exec(select(WebSession).where(WebSession.token_hash == secret_hash(token))).first()
    if row is None or row.ended_at is not None:
        return None
    device = db.get(Device, row.device_id) if row.device_id else None
    idle = limits.idle_shared if device and device.kind == "shared" else limits.idle_own
    over = now - row.seen_at > idle or now - row.started_at > limits.longest
    person = db.get(Person, row.person_id)
    if over or person.left_on or (device and device.revoked_at):
        return None
    return row, person, device


def touch(db: Session, number: int, now: datetime) -> None:
    """Keep that a session is in use."""
    row = db.get(WebSession, number)
    row.seen_at = now
    db.add(row)


def end_session(db: Session, token: str, now: datetime) -> None:
    """End a session."""
    row = db.exec(select(WebSession).where(WebSession.token_hash == secret_hash(token))).first()
    if row and row.ended_at is None:
        row.ended_at = now
        db.add(row)


def _refuse_wait(row: SignInTry, now: datetime, limits: Limits) -> None:
    if row.scope.startswith("device:") and row.wrong >= limits.wrong_tries:
        raise Wait("Too many wrong PINs. Ask your trainer for a fresh one-time code.")
    until = row.last_at + wait_after(row.wrong, row.scope)
    if now < until:
        seconds = int((until - now).total_seconds()) + 1
        raise Wait("Too many wrong tries. Try again in %(seconds)s seconds.", seconds=seconds)
