"""Counting wrong tries, in the database, so that all processes count together.

A try is counted before it is judged, so that tries side by side cannot slip past a limit; a right
one is taken back. After some wrong ones there is a wait, which doubles with each further one.

Nobody is locked out for good, neither by their own mistakes nor by somebody who knows their worker
number (ASVS 5.0, 6.1.1 and 6.3.1; waits that grow up to an hour: NIST SP 800-63B-4, 3.2.2):

- Passphrases are never locked, they only wait, an hour at most. NIST would end one after 100 wrong
  tries in a row (3.2.2), which whoever knows a number could bring about; at a try an hour nobody
  guesses what takes as many as `guessing` asks for. Strangers who try a number make wait whoever
  tries it on a device that is not enrolled. An enrolled device counts for itself, so they do not
  reach a person there; and a one-time code, which a trainer or coordinator makes in a moment,
  enrols a device.
- A PIN is six digits, so at most so many wrong tries in a row are judged (10 here; NIST lets 100
  pass, of six digits too: 3.2.2), after which it opens nothing more: on that one device, for that
  one person. The passphrase goes on opening there, the PIN does on the person's other devices, and
  a fresh one-time code of theirs opens it again.
- A device as a whole, and a network address, only ever wait: they are of many people. Their tries
  fade with time and not with a right one, or somebody could guess at others and sign in themselves
  in between. With that, ten wrong PINs for each of many colleagues take days, not minutes.

Where the clock was set back, a wait that began ahead of it is over, or it would last as long as the
clock was wrong; what was counted within a day of now stays, so that the next wrong one waits long.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import ip_address, ip_network

from sqlalchemy import delete, or_
from sqlmodel import Session

from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import Device, SignInTry

FIRST_WAIT = timedelta(seconds=5)
FORGOTTEN_AFTER = timedelta(days=1)
"""After so long without any try all are forgotten, but for those of a PIN."""
CLOCKS_APART = timedelta(minutes=1)
"""So far the clocks of several machines may go apart; a moment further ahead is of a clock that was
set back since."""
MOST_LETTERS = 40
"""Of what was typed as a worker number, so much names what is counted."""


@dataclass(frozen=True)
class Limits:
    """The settings that signing in goes by."""

    wrong_tries: int = 10
    code_minutes: int = 30
    idle_shared: timedelta = timedelta(minutes=4)
    idle_own: timedelta = timedelta(minutes=30)
    longest: timedelta = timedelta(hours=12)


@dataclass(frozen=True)
class Rule:
    """How tries of one kind are counted.

    free      so many wrong ones make nobody wait
    longest   the longest wait
    fades     after so long one wrong try is forgotten; None: none is
    locks     at so many as the settings say, nothing is judged any more, and nothing is forgotten
    """

    free: int = 3
    longest: timedelta = timedelta(hours=1)
    fades: timedelta | None = None
    locks: bool = False


RULES = {
    "number": Rule(),  # a worker number, with the passphrase, on devices that are not enrolled
    "phrase": Rule(),  # the same on one enrolled device
    "pin": Rule(locks=True),  # a worker number with the PIN on one device
    "device": Rule(free=10, longest=timedelta(minutes=15), fades=timedelta(minutes=30)),
    "address": Rule(free=30, longest=timedelta(minutes=15), fades=timedelta(minutes=1)),
    "prove": Rule(),  # who is signed in and gives the PIN or passphrase once more
    "step": Rule(),  # the second step of a person
}
"""By the first word of what is counted."""

OF_MANY = ("device", "address")


class Wait(Refusal):
    """Too many wrong tries: wait, or bring a fresh one-time code."""


def network(address: str) -> str:
    """Return what counts as one network address: of IPv6 the first 64 bits.

    A household or a phone has a whole /64 and could take another address for each try
    (RFC 6177, 2; RFC 4291, 2.5.4).

    >>> network("2001:db8:1:2:3:4:5:6"), network("::ffff:192.0.2.7"), network("192.0.2.7")
    ('2001:db8:1:2::/64', '192.0.2.7', '192.0.2.7')
    """
    try:
        found = ip_address(address.partition("%")[0])
    except ValueError:
        return address[:MOST_LETTERS]
    if found.version == 4:
        return str(found)
    if found.ipv4_mapped:
        return str(found.ipv4_mapped)
    return str(ip_network((found, 64), strict=False))


def scopes(
    device: Device | None, number: str, address: str, *, with_pin: bool
) -> tuple[str, ...]:
    """Return what a try counts against: the person's own first, then what many share."""
    key = people.key(number)[:MOST_LETTERS]
    if device and with_pin:
        return (pin_scope(device, number), f"device:{device.id}")
    own = f"phrase:{device.id}:{key}" if device else f"number:{key}"
    return (own, of_address(address))


def pin_scope(device: Device, number: str) -> str:
    """Return what a PIN counts against: this person on this device."""
    return f"pin:{device.id}:{people.key(number)[:MOST_LETTERS]}"


def of_address(address: str) -> str:
    """Return what everything from a network address counts against."""
    return f"address:{network(address)}"


def count_try(db: Session, names: tuple[str, ...], now: datetime, limits: Limits) -> None:
    """Count a try before it is judged.

    Errors: Wait, before anything is counted, while a wait runs or a PIN is locked.
    """
    rows = [db.get(SignInTry, name) or SignInTry(scope=name, last_at=now) for name in names]
    for row in rows:
        _refuse_wait(row, now, limits)
    for row in rows:
        row.wrong = wrong_at(row, now) + 1
        row.last_at = now
        db.add(row)
    db.flush()
    _let_go(db, now)


def succeeded(db: Session, *names: str) -> None:
    """Forget a person's tries after a right one; of what many share, take this one back."""
    shared = [name for name in names if _kind(name) in OF_MANY]
    clear_tries(db, *(name for name in names if name not in shared))
    not_judged(db, *shared)


def not_judged(db: Session, *names: str) -> None:
    """Take back tries that nobody could judge."""
    for row in _counted(db, names):
        row.wrong = max(0, row.wrong - 1)
        db.add(row)
    db.flush()


def clear_tries(db: Session, *names: str) -> None:
    """Forget all tries, as after a fresh code."""
    for row in _counted(db, names):
        db.delete(row)
    db.flush()


def wrong_tries(db: Session, name: str, now: datetime) -> int:
    """Return how many wrong tries count at a moment."""
    return sum(wrong_at(row, now) for row in _counted(db, [name]))


def wrong_at(row: SignInTry, now: datetime) -> int:
    """Return how many wrong tries of a row count at a moment: they fade, or are forgotten."""
    rule, since = RULES[_kind(row.scope)], now - row.last_at
    if not rule.locks and abs(since) > FORGOTTEN_AFTER:
        return 0
    faded = max(0, since // rule.fades) if rule.fades else 0
    return max(0, row.wrong - faded)


def wait_after(wrong: int, scope: str) -> timedelta:
    """Return how long to wait after so many wrong tries; it doubles, up to the longest."""
    rule = RULES[_kind(scope)]
    if wrong < rule.free:
        return timedelta(0)
    return min(FIRST_WAIT * 2 ** min(wrong - rule.free, 12), rule.longest)


def _counted(db: Session, names: Iterable[str]) -> list[SignInTry]:
    """Return what is counted of these, where anything is."""
    return [row for name in names if (row := db.get(SignInTry, name))]


def _kind(scope: str) -> str:
    return scope.partition(":")[0]


def _let_go(db: Session, now: datetime) -> None:
    """Delete what is forgotten: whoever tries a thousand numbers leaves no thousand rows."""
    old = or_(
        SignInTry.last_at < now - FORGOTTEN_AFTER, SignInTry.last_at > now + FORGOTTEN_AFTER
    )
    locking = (SignInTry.scope.startswith(f"{kind}:") for kind, rule in RULES.items() if rule.locks)
    db.exec(delete(SignInTry).where(old, *(~one for one in locking)))


def _refuse_wait(row: SignInTry, now: datetime, limits: Limits) -> None:
    # As counted at the last try: while a wait runs, it must not fade away under it.
    if RULES[_kind(row.scope)].locks and row.wrong >= limits.wrong_tries:
        raise Wait("Too many wrong PINs. Ask your trainer for a fresh one-time code.")
    until = row.last_at + wait_after(row.wrong, row.scope)
    if now < until and row.last_at <= now + CLOCKS_APART:
        seconds = int((until - now).total_seconds()) + 1
        raise Wait("Too many wrong tries. Try again in %(seconds)s seconds.", seconds=seconds)
