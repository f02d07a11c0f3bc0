"""The second step of trainers and coordinators: time-based one-time codes (RFC 6238).

After the passphrase, an app on the person's phone gives six digits that hold for 30 seconds:
HMAC-SHA-1, the form that every app reads. The step before and the one after are taken too, since
clocks drift (RFC 6238, 5.2 and 6); no code is taken twice (5.2). Where the server's clock was set
back, the last code taken is one of a time to come, and would shut its person out until then: codes
of now are taken again.

The server has to read the secret, so it cannot be hashed. It is encrypted with AES-256-GCM; the
key is derived by HKDF (RFC 5869) from the installation's secret key, which lies beside the database
and not in it. Whoever steals only the database, or a backup of it, has no second step of anybody.
The person's id is authenticated with it, so that nobody who can write there puts their own secret
in another's place. Where the secret key is made anew, secrets cannot be read any more; a
coordinator takes those second steps off.

Recovery codes take the step's place once each. Their ten letters have 49 bits; where it is fewer
than 112, NIST SP 800-63B-4 (3.1.2.2) and ASVS 5.0 (6.5.2) ask for a salted hash as of passwords.
Here it is a keyed one (HMAC-SHA-256 under a key derived in the same way): nobody guesses without
the key, and a slow hash would have to be made ten times for each code that is typed. A one-time
code made by a coordinator opens too, on a device that it enrols.
"""

import hmac
import secrets
from base64 import b32encode
from dataclasses import dataclass
from datetime import datetime, timedelta
from urllib.parse import quote

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA1, SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.twofactor.totp import TOTP
from sqlmodel import Session

from trainer.services import signing_in
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import changes, sign_ins
from trainer.store.tables import Person, RecoveryCode, SecondStep

DIGITS = 6
SECONDS = 30
DRIFT = 1
"""So many steps of the clock before and after are taken too."""
SECRET_BYTES = 20
"""As long as the output of SHA-1: RFC 4226, 4, R6."""
SET_UP_WITHIN = timedelta(minutes=15)
CODES = 10
NONCE_BYTES = 12
STAFF = frozenset({"trainer", "coordinator"})
"""The roles whose second step it is."""


ANOTHER_KEY = Refusal(
    "Your second step cannot be read any more. Ask a coordinator to take it off."
)


class NotReadable(Refusal):
    """The installation's secret key is another one than when the secret was kept."""

    def __init__(self) -> None:
        super().__init__(ANOTHER_KEY.text)


@dataclass(frozen=True)
class Keys:
    """What secrets are encrypted with and recovery codes hashed with."""

    secrets: bytes
    codes: bytes


def keys(secret_key: str) -> Keys:
    """Return the keys derived from the installation's secret key."""
    return Keys(*(
        HKDF(algorithm=SHA256(), length=32, salt=None, info=what).derive(secret_key.encode())
        for what in (b"second step: secrets", b"second step: recovery codes")
    ))  # fmt: skip


def is_on(db: Session, person_id: int) -> bool:
    """Say whether a person's second step is asked for."""
    row = sign_ins.second_step(db, person_id)
    return row is not None and row.secret is not None


def begin(db: Session, person: Person, with_keys: Keys, now: datetime) -> None:
    """Make a fresh secret to set an app up with; one that is in use stays until that is done."""
    row = sign_ins.second_step(db, person.id) or SecondStep(person_id=person.id)
    row.pending = _locked(secrets.token_bytes(SECRET_BYTES), person.id, with_keys)
    row.pending_at = now
    db.add(row)
    db.flush()


def pending(db: Session, person: Person, with_keys: Keys, now: datetime) -> bytes | None:
    """Return the secret with which an app is being set up, or None where that is over."""
    row = sign_ins.second_step(db, person.id)
    if row is None or row.pending is None or abs(now - row.pending_at) > SET_UP_WITHIN:
        return None
    return _unlocked(row.pending, person.id, with_keys)


def in_letters(secret: bytes) -> str:
    """Return a secret as people type it into an app, in groups of four."""
    text = b32encode(secret).decode()
    return " ".join(text[at : at + 4] for at in range(0, len(text), 4))


def address(secret: bytes, person: Person, organisation: str) -> str:
    """Return the otpauth address that an app scans.

    >>> address(b"12345678901234567890", Person(number="00104", name="", seed=""), "Tern Quay")
    'otpauth://totp/Tern%20Quay:00104?secret=GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ\
&issuer=Tern%20Quay&algorithm=SHA1&digits=6&period=30'
    """
    # With %20, never +, which some apps show as it stands.
    issuer = quote(organisation.replace(":", " ") or "Donning Room")
    return (
        f"otpauth://totp/{issuer}:{quote(person.number)}?secret={b32encode(secret).decode()}"
        f"&issuer={issuer}&algorithm=SHA1&digits={DIGITS}&period={SECONDS}"
    )


def code_at(secret: bytes, moment: datetime) -> str:
    """Return the code of a moment."""
    return _code(secret, _step(moment))


def confirm(
    db: Session, person: Person, with_keys: Keys, typed: str, now: datetime
) -> list[str]:
    """Take the app that is being set up into use, and return fresh recovery codes.

    Sent twice, as by a double click, it comes out as if sent once: with codes that are good.
    Errors: Refusal where the code is not the app's, or setting up took too long.
    """
    row = sign_ins.second_step(db, person.id)
    secret = pending(db, person, with_keys, now)
    if secret is None:
        if row and row.secret and abs(now - row.since) < timedelta(minutes=1):
            secret = _unlocked(row.secret, person.id, with_keys)
            if hmac.compare_digest(_code(secret, row.last_step), _digits(typed)):
                return make_codes(db, person, with_keys, now)
        raise Refusal("Setting up took too long. Begin once more.")
    step = _fitting(secret, typed, now, after=0)
    if step is None:
        raise Refusal(
            "That is not the code that the app shows now. Wait for the next one and type that; if "
            "it still does not fit, set the clock of your phone to automatic."
        )
    row.secret, row.since, row.last_step = row.pending, now, step
    row.pending = row.pending_at = None
    db.add(row)
    signing_in.tell(db, "step-on", person, now, person)
    changes.note(db, "second-step", "added", changes.person_of(db, person.id))
    return make_codes(db, person, with_keys, now)


def make_codes(db: Session, person: Person, with_keys: Keys, now: datetime) -> list[str]:
    """Make fresh recovery codes, which are not kept as text; those before end."""
    for old in sign_ins.recovery_codes(db, person.id):
        db.delete(old)
    made = [
        "".join(secrets.choice(signing_in.CODE_ALPHABET) for _ in range(signing_in.CODE_LETTERS))
        for _ in range(CODES)
    ]
    db.add_all(
        RecoveryCode(person_id=person.id, code_hash=_hashed(code, with_keys), made_at=now)
        for code in made
    )
    signing_in.tell(db, "recovery-made", person, now, person)
    return made


def opens(db: Session, person: Person, with_keys: Keys, typed: str, now: datetime) -> bool:
    """Say whether a code of the app or a recovery code fits, and let it fit no more.

    Inside `writing()`, where one writes at a time: of two with the same code the second is refused.
    Errors: NotReadable.
    """
    code = signing_in.plain_code(typed)
    for row in sign_ins.recovery_codes(db, person.id):
        if hmac.compare_digest(row.code_hash, _hashed(code, with_keys)):
            row.used_at = now
            db.add(row)
            signing_in.tell(db, "recovery-used", person, now)
            return True
    row = sign_ins.second_step(db, person.id)
    if row is None or row.secret is None:
        return False
    secret = _unlocked(row.secret, person.id, with_keys)
    step = _fitting(secret, typed, now, after=row.last_step)
    if step is None:
        return False
    row.last_step = step
    db.add(row)
    db.flush()
    return True


def take_off(db: Session, by: Scribe, person: Person, why: str = "") -> None:
    """Let a person sign in without the second step; log and history say who took it off, and why.

    Errors: Refusal where somebody else gives no reason, or where there is none to take off.
    """
    if by.person.id != person.id and not why.strip():
        raise Refusal("Say why, such as that the phone was lost.", field="why")
    if not is_on(db, person.id):
        raise Refusal("There is no second step to take off.", field="why")
    sign_ins.drop_second_step(db, person.id)
    signing_in.tell(db, "step-off", person, by.now, by.person)
    about = changes.person_of(db, person.id)
    detail = [("why", "", why.strip())] if why.strip() else []
    changes.note(db, "second-step", "ended", about, detail)


def _totp(secret: bytes) -> TOTP:
    # Of SHA-1 only what keeps HMAC is needed here, and that holds: RFC 6238, 1.2; RFC 6194, 3.3.
    return TOTP(secret, DIGITS, SHA1(), SECONDS)  # noqa: S303  # nosec B303


def _step(moment: datetime) -> int:
    return int(moment.timestamp()) // SECONDS


def _code(secret: bytes, step: int) -> str:
    return _totp(secret).generate(step * SECONDS).decode()


def _digits(typed: str) -> str:
    return "".join(letter for letter in typed if letter.isascii() and letter.isdigit())


def _fitting(secret: bytes, typed: str, now: datetime, after: int) -> int | None:
    """Return the step of the clock whose code was typed, later than the last one used."""
    given, here = _digits(typed), _step(now)
    if after > here + DRIFT:
        after = 0  # no such code was ever taken by a clock that goes right
    steps = range(max(here - DRIFT, after + 1), here + DRIFT + 1)
    found = [step for step in steps if hmac.compare_digest(_code(secret, step), given)]
    return found[0] if found else None


def _locked(secret: bytes, person_id: int, with_keys: Keys) -> bytes:
    nonce = secrets.token_bytes(NONCE_BYTES)
    return nonce + AESGCM(with_keys.secrets).encrypt(nonce, secret, str(person_id).encode())


def _unlocked(kept: bytes, person_id: int, with_keys: Keys) -> bytes:
    nonce, locked = kept[:NONCE_BYTES], kept[NONCE_BYTES:]
    try:
        return AESGCM(with_keys.secrets).decrypt(nonce, locked, str(person_id).encode())
    except InvalidTag:
        raise NotReadable from None


def _hashed(code: str, with_keys: Keys) -> str:
    return hmac.new(with_keys.codes, code.encode(), "sha256").hexdigest()
