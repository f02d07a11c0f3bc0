"""Hashing PINs and passphrases: argon2id, slow by design, and only so many at once.

The parameters are the second recommended set of RFC 9106, section 4 (64 MiB of memory, 3 passes,
4 lanes), which is also what argon2-cffi takes by default. They are named here, so that a newer
library can only make them stronger by our own doing. OWASP's cheat sheet on storing passwords
asks for at least 19 MiB, 2 passes, 1 lane.

A hash takes 64 MiB and a core. A process never makes more at once than it has cores, so that a
change of shift takes no more than cores × 64 MiB, and the others wait their turn. Whoever would
wait too long, or would be too many, is told to try again, and that counts as no try.
"""

import os
import secrets
import unicodedata
from base64 import b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from threading import BoundedSemaphore, Lock

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError
from argon2.profiles import RFC_9106_LOW_MEMORY

from trainer.running import turns
from trainer.services.refusal import Refusal

WAITING = 64
"""So many wait for their turn; each holds a thread of the server, but no memory to speak of."""
LONGEST_SECONDS = 30
"""So long somebody waits for their turn."""

HASHER = PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)


TOO_MANY = Refusal("Many people are signing in at this moment. Try again in a few seconds.")


class Busy(Refusal):
    """So many sign in at this moment that one more would wait too long."""

    def __init__(self) -> None:
        super().__init__(TOO_MANY.text)


def cores() -> int:
    """Return how many cores this process may use, at least one."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


class Turns:
    """So many at once; the others wait, neither too many nor too long."""

    def __init__(self, at_once: int, waiting: int, seconds: float) -> None:
        """Let `at_once` in, `waiting` more wait, each at most so many seconds."""
        self._free = BoundedSemaphore(at_once)
        self._guard = Lock()
        self._room = waiting
        self._seconds = seconds

    @contextmanager
    def turn(self) -> Iterator[None]:
        """Wait for a turn and hold it. Errors: Busy."""
        if not self._free.acquire(blocking=False):
            self._wait()
        try:
            yield
        finally:
            self._free.release()

    def _wait(self) -> None:
        with self._guard:
            if not self._room:
                raise Busy
            self._room -= 1
        try:
            if not self._free.acquire(timeout=self._seconds):
                raise Busy
        finally:
            with self._guard:
                self._room += 1


TURNS = Turns(cores(), WAITING, LONGEST_SECONDS)


def plain(text: str) -> str:
    """Return a secret as it is hashed, however a keyboard composes its letters.

    Source: NIST SP 800-63B-4, 3.1.1.2 (normalised by NFKC before hashing).
    """
    return unicodedata.normalize("NFKC", text)


def hashed(text: str) -> str:
    """Return the argon2id hash of a PIN or passphrase; slow by design, never inside `writing()`.

    Errors: Busy.
    """
    with turns.waiting(), TURNS.turn():
        return HASHER.hash(plain(text))


def fits(text: str, kept: str | None) -> bool:
    """Say whether a PIN or passphrase is the one kept; as slow where nobody is there.

    Errors: Busy.
    """
    with turns.waiting(), TURNS.turn():
        try:
            return HASHER.verify(kept or _nobodys(), plain(text)) and kept is not None
        except (VerifyMismatchError, InvalidHashError):
            return False


def made_weaker(kept: str) -> bool:
    """Say whether a hash was made with other parameters than those of today."""
    return HASHER.check_needs_rehash(kept)


def _nobodys() -> str:
    """Return a hash that nothing fits, of the same cost as a real one; it costs nothing to make."""
    salt, digest = (
        b64encode(secrets.token_bytes(size)).decode().rstrip("=")
        for size in (HASHER.salt_len, HASHER.hash_len)
    )
    cost = f"m={HASHER.memory_cost},t={HASHER.time_cost},p={HASHER.parallelism}"
    return f"$argon2id$v=19${cost}${salt}${digest}"
