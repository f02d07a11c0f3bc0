"""Turns: a lock that is fair, and the turn at making pages that the threads of a process take.

Python runs one thread at a time. SQLite lets another go on with each row it reads, so that threads
which make pages side by side hand Python to and fro hundreds of times for a page, and wake each
other each time: six of them made half as many pages a second as one alone. So they make one after
another; whoever waits for something else than Python lets the next one go on meanwhile.
"""

from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock, local

PATIENCE = 0.1
"""After so many seconds a page is made beside the one that takes so long, such as a large import.
Our own choice: many times what a page takes, and little beside what people notice."""


class Busy(Exception):
    """Whoever was before did not end in time; nothing was changed."""


class FairLock:
    """A lock that is given in the order it was asked for, so that nobody starves."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._waiting: deque[Lock] = deque()
        self._held = False

    @contextmanager
    def taken(self, seconds: float = -1) -> Iterator[None]:
        """Hold the lock. Errors: Busy where it does not come within so many seconds; -1: never."""
        self.take(seconds)
        try:
            yield
        finally:
            self.give()

    def take(self, seconds: float = -1) -> None:
        """Wait for the lock. Errors: Busy, as above."""
        with self._guard:
            if not self._held:
                self._held = True
                return
            turn = Lock()
            turn.acquire()
            self._waiting.append(turn)
        if turn.acquire(timeout=seconds):
            return
        with self._guard:
            # Whoever is no longer among those who wait was given it at the last moment.
            if turn in self._waiting:
                self._waiting.remove(turn)
                raise Busy

    def give(self) -> None:
        """Give the lock to whoever has waited longest."""
        with self._guard:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._held = False


_pages = FairLock()
_here = local()


@contextmanager
def page() -> Iterator[None]:
    """Make a page, when those that were asked for before are made or wait for something."""
    _take()
    try:
        yield
    finally:
        _give()


@contextmanager
def waiting() -> Iterator[None]:
    """Let other pages be made, while this thread waits for a disk, a writer or another program.

    Outside of a page it does nothing.
    """
    had = _give()
    try:
        yield
    finally:
        if had:
            _take()


def _take() -> None:
    try:
        _pages.take(PATIENCE)
    except Busy:
        return
    _here.turn = True


def _give() -> bool:
    """End this thread's turn; say whether it had one."""
    had = getattr(_here, "turn", False)
    if had:
        _here.turn = False
        _pages.give()
    return had
