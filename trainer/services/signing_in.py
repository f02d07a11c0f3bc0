"""Signing in: one-time codes, enrolled devices, PINs, passphrases and web sessions.

A 6-digit PIN is enough only on an enrolled device, which is the second factor (something one
has): ASVS 5.0, 6.2.1 and 6.3.3. Of a tablet that everybody shares that is so for workers only;
trainers and coordinators, who sign for others, give their passphrase there, since whoever stands
beside them has the tablet too and sees six digits typed. Anywhere else a passphrase, and where
they set one up a second step (`second_step`).

How secrets are hashed is in `hashing`, how wrong tries are counted in `throttling`, which secrets
are refused in `guessing`.
"""

import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta
from hashlib import sha256
from typing import NamedTuple

from sqlalchemy import Row, bindparam
from sqlalchemy import select as columns_of
from sqlmodel import Session, func, select

from trainer.running import metrics
from trainer.services import throttling, unsent
from trainer.services.hashing import fits as fits
from trainer.services.hashing import hashed as hashed
from trainer.services.refusal import Refusal
from trainer.services.throttling import Limits as Limits
from trainer.services.throttling import Wait as Wait
from trainer.store import changes, often, people, sign_ins
from trainer.store.tables import Device, OneTimeCode, Person, PersonRole, SignInEvent, WebSession

CODE_ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # without letters that look like digits
CODE_LETTERS = 10
HALF_FOR = timedelta(minutes=10)
"""So long the second step may take after the passphrase."""

KINDS = (
    "signed-in", "wrong", "signed-out", "lapsed", "ended", "code-made", "code-used", "code-wrong",
    "enrolled", "revoked", "pin", "passphrase", "step-wrong", "step-on", "step-off",
    "recovery-made", "recovery-used",
)  # fmt: skip
"""What the history of signing in tells: ASVS 5.0, 16.3.1. A try that has to wait is none of it:
it is not looked at, and whoever sends a thousand would fill the history."""


def secret_hash(text: str) -> str:
    """Return what is kept of a random secret; it needs no salt, since nobody chose it."""
    return sha256(text.encode()).hexdigest()


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
    _tell(db, "code-made", now, person, by=by, worksite_id=worksite_id)
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
    right = row and row.used_at is None and _within(now, row.made_at, row.expires_at - row.made_at)
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
        throttling.clear_tries(db, throttling.pin_scope(device, person.number))
        _tell(db, "code-used", now, person, device)
        return "", device, person
    if device and device.revoked_at is None:
        _revoke(db, device, now, person)
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
    _tell(db, "code-used", now, person, fresh)
    by = db.get(Person, row.made_by) if row.made_by else None
    _tell(db, "enrolled", now, person, fresh, by=by, worksite_id=row.worksite_id)
    return secret, fresh, person


_DEVICE = select(Device).where(Device.secret_hash == bindparam("secret"))


def device_of(db: Session, secret: str) -> Device | None:
    """Return the enrolled device that holds this secret."""
    if not secret:
        return None
    found = db.exec(_DEVICE, params={"secret": secret_hash(secret)}).first()
    return found if found and found.revoked_at is None else None


def set_pin(db: Session, person: Person, pin_hash: str, now: datetime | None = None) -> None:
    """Keep a person's PIN, hashed before; with the moment, it is told in the history."""
    row = db.get(Person, person.id)
    row.pin_hash = pin_hash
    db.add(row)
    if now:
        _tell(db, "pin", now, row)


def set_passphrase(
    db: Session, person: Person, phrase_hash: str, now: datetime | None = None
) -> None:
    """Keep a person's passphrase, hashed before; with the moment, it is told in the history."""
    row = db.get(Person, person.id)
    row.passphrase_hash = phrase_hash
    db.add(row)
    if now:
        _tell(db, "passphrase", now, row)


def still(db: Session, person: Person, kept: str) -> bool:
    """Say whether a hash that was compared is still the person's, who has not left since."""
    row = db.get(Person, person.id)
    return row.left_on is None and kept in (row.pin_hash, row.passphrase_hash)


def keep_stronger(db: Session, person: Person, before: str, fresh: str) -> None:
    """Keep the same PIN or passphrase hashed anew with today's parameters, if it still stands."""
    row = db.get(Person, person.id)
    for column in ("pin_hash", "passphrase_hash"):
        if getattr(row, column) == before:
            setattr(row, column, fresh)
    db.add(row)


def start_session(
    db: Session, person: Person, device: Device | None, now: datetime, *, half: bool = False
) -> str:
    """Begin a web session; return its token, which only the browser keeps.

    half    only the passphrase was right: it opens nothing but the page of the second step
    """
    token = secrets.token_urlsafe(32)
    db.add(
        WebSession(
            token_hash=secret_hash(token),
            person_id=person.id,
            device_id=device.id if device else None,
            started_at=now,
            seen_at=now,
            half=half,
        )
    )
    db.flush()
    if not half:
        _tell(db, "signed-in", now, person, device)
    return token


def half_of(db: Session, token: str, now: datetime) -> tuple[Person, Device | None] | None:
    """Return whose second step a half session waits for, and on which device."""
    row = _session(db, token)
    if row is None or not row.half or row.ended_at or not _within(now, row.started_at, HALF_FOR):
        return None
    person = db.get(Person, row.person_id)
    device = _device(db, row)
    if person.left_on or (device and device.revoked_at):
        return None
    return person, device


def renew_session(db: Session, number: int) -> str:
    """Give a session another token, as when its person's PIN is another one; return it."""
    token = secrets.token_urlsafe(32)
    row = db.get(WebSession, number)
    row.token_hash = secret_hash(token)
    db.add(row)
    db.flush()
    return token


def refused(
    db: Session, person: Person | None, device: Device | None, now: datetime, kind: str = "wrong"
) -> None:
    """Tell of a sign-in that did not fit, or of a code (`code-wrong`); of a number that nobody
    has, without the number."""
    metrics.wrong_sign_in()
    _tell(db, kind, now, person, device)


class Open(NamedTuple):
    """A session that runs, with its person, what they may do, and the device, if it is on one.

    Plain rows: each page asks for them, and changes none.
    """

    session: Row
    person: Row
    device: Row | None
    roles: frozenset[str]


_ROLES = (
    select(func.aggregate_strings(PersonRole.role, " "))
    .where(PersonRole.person_id == Person.id)
    .correlate(Person)
    .scalar_subquery()
)
_SESSION = often.Question(
    columns_of(*often.columns(WebSession, Person, Device), _ROLES.label("roles"))
    .select_from(WebSession)
    .join(Person, Person.id == WebSession.person_id)
    .join(Device, Device.id == WebSession.device_id, isouter=True)
    .where(
        WebSession.token_hash == bindparam("token"),
        WebSession.ended_at.is_(None),
        WebSession.half.is_(False),
    )
)


def session_of(db: Session, token: str, now: datetime, limits: Limits) -> Open | None:
    """Return the session of a token with whatever belongs to it, unless it has ended."""
    if not token:
        return None
    about = {"token": secret_hash(token)}
    found = often.joined(db, _SESSION, WebSession, Person, Device, **about)
    if not found:
        return None
    row, person, device, roles = found[0]
    over = _over(row, device, now, limits)
    if over or person.left_on or (device and device.revoked_at):
        return None
    return Open(row, person, device, frozenset((roles or "").split()))


def running(db: Session, person_id: int, now: datetime, limits: Limits) -> list[WebSession]:
    """Return the sessions of a person that neither were ended nor lapsed by themselves."""
    return [
        row
        for row in sign_ins.open_sessions(db, person_id)
        if not row.half and not _over(row, _device(db, row), now, limits)
    ]


def touch(db: Session, number: int, now: datetime) -> None:
    """Keep that a session is in use."""
    row = db.get(WebSession, number)
    row.seen_at = now
    db.add(row)


def end_session(db: Session, token: str, now: datetime, kind: str = "signed-out") -> None:
    """End a session: signed out, or `lapsed` by itself."""
    row = _session(db, token)
    if row and row.ended_at is None:
        _end(db, row, now, kind)


def end_everywhere(
    db: Session, person_ids: Iterable[int], now: datetime, by: Person, keep: int | None = None
) -> int:
    """End all sessions of these people, but the one to keep; return how many there were."""
    ended = 0
    for person_id in person_ids:
        for row in sign_ins.open_sessions(db, person_id):
            if row.id != keep:
                _end(db, row, now, "ended", by)
                ended += not row.half
    return ended


def is_open(db: Session, token: str) -> bool:
    """Say whether nobody has ended the session of a token; it may have lapsed."""
    row = _session(db, token)
    return row is not None and not row.half and row.ended_at is None


def lapsed_of(db: Session, token: str, now: datetime) -> Person | None:
    """Return whose session has run out since; nobody's once it is as old as what is kept."""
    row = _session(db, token)
    lately = row and not row.half and now - row.seen_at < unsent.KEPT
    return db.get(Person, row.person_id) if lately else None


def revoke(db: Session, by: Person, device: Device, now: datetime) -> None:
    """Let a device open nothing any more, and end what is signed in on it."""
    if device.revoked_at is None:
        _revoke(db, device, now, by)


def shut_out(db: Session, by: Person, person: Person, now: datetime) -> None:
    """End everything that a person could come in with: sessions, own devices, codes, secrets."""
    for device in sign_ins.own_devices(db, person.id):
        _revoke(db, device, now, by)
    for row in sign_ins.open_sessions(db, person.id):
        _end(db, row, now, "ended", by)
    for code in sign_ins.unused_codes(db, person.id):
        code.used_at = now
        db.add(code)
    row = db.get(Person, person.id)
    row.pin_hash = row.passphrase_hash = None
    db.add(row)
    sign_ins.drop_second_step(db, person.id)
    db.flush()


def tell(
    db: Session, kind: str, person: Person, now: datetime, by: Person | None = None
) -> None:
    """Add a line about a person to the history of signing in; `kind` is one of `KINDS`."""
    _tell(db, kind, now, person, by=by)


def _session(db: Session, token: str) -> WebSession | None:
    query = select(WebSession).where(WebSession.token_hash == secret_hash(token))
    return db.exec(query).first() if token else None


def _device(db: Session, row: WebSession) -> Device | None:
    return db.get(Device, row.device_id) if row.device_id else None


def _over(
    row: WebSession | Row, device: Device | Row | None, now: datetime, limits: Limits
) -> bool:
    """Say whether nobody was there for too long, or the longest time is over."""
    idle = limits.idle_shared if device and device.kind == "shared" else limits.idle_own
    return not (_within(now, row.seen_at, idle) and _within(now, row.started_at, limits.longest))


def _within(now: datetime, moment: datetime, so_long: timedelta) -> bool:
    """Say whether a moment is so near.

    One that lies further ahead is of a clock that was set back since: what began then would go on
    for as long as the clock was wrong. Whoever is signed out by that signs in again.
    """
    return abs(now - moment) <= so_long


def _revoke(db: Session, device: Device, now: datetime, by: Person | None) -> None:
    device.revoked_at = now
    db.add(device)
    owner = db.get(Person, device.person_id) if device.person_id else None
    _tell(db, "revoked", now, owner, device, by=by, worksite_id=device.worksite_id)
    for row in sign_ins.open_on(db, device.id):
        _end(db, row, now, "ended", by)


def _end(
    db: Session, row: WebSession, now: datetime, kind: str, by: Person | None = None
) -> None:
    row.ended_at = now
    db.add(row)
    if row.half:
        return  # nobody was signed in yet
    _tell(db, kind, now, db.get(Person, row.person_id), _device(db, row), by=by)


def _tell(
    db: Session,
    kind: str,
    now: datetime,
    person: Person | None,
    device: Device | None = None,
    *,
    by: Person | None = None,
    worksite_id: int | None = None,
) -> None:
    """Add a line to the history of signing in."""
    who: changes.By = db.info.get("by") or changes.By()
    db.add(
        SignInEvent(
            at=now,
            kind=kind,
            person_id=person.id if person else None,
            device_id=device.id if device else None,
            worksite_id=worksite_id,
            by_id=by.id if by else None,
            address=who.address,
        )
    )
    db.flush()
