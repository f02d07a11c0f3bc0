"""Turns at making pages."""

import threading
from collections.abc import Callable

from trainer.running import turns
from trainer.running.turns import Busy, FairLock


def test_the_lock_is_given_in_the_order_it_was_asked_for():
    lock, order, waiting = FairLock(), [], []

    def take(name: int) -> None:
        with lock.taken():
            order.append(name)

    with lock.taken():
        for name in range(6):
            waiting.append(threading.Thread(target=take, args=(name,)))
            waiting[-1].start()
            while len(lock._waiting) <= name:
                pass
    for thread in waiting:
        thread.join()
    assert order == list(range(6))
    with lock.taken():
        pass


def test_whoever_waits_too_long_for_the_lock_leaves_the_queue():
    lock, order, late = FairLock(), [], []

    def take(name: str, seconds: float) -> None:
        try:
            with lock.taken(seconds):
                order.append(name)
        except Busy:
            late.append(name)

    with lock.taken():
        threads = [threading.Thread(target=take, args=args) for args in (("a", 0.01), ("b", -1))]
        threads[0].start()
        threads[1].start()
        threads[0].join()
        assert late == ["a"]
    threads[1].join()
    assert order == ["b"]
    with lock.taken(0.01):
        pass


def apart(deed: Callable[[], None]) -> threading.Thread:
    """Do something in another thread."""
    thread = threading.Thread(target=deed)
    thread.start()
    return thread


def make(made: list, name: str, inside: Callable[[], None] = lambda: None) -> None:
    """Make a page in this thread."""
    with turns.page():
        inside()
        made.append(name)


def test_pages_are_made_one_after_another(monkeypatch):
    monkeypatch.setattr(turns, "PATIENCE", 60)
    made: list[str] = []
    with turns.page():
        later = apart(lambda: make(made, "later"))
        while not turns._pages._waiting:
            pass
        made.append("first")
    later.join()
    assert made == ["first", "later"]


def test_whoever_waits_for_something_else_lets_others_make_their_pages(monkeypatch):
    monkeypatch.setattr(turns, "PATIENCE", 60)
    made: list[str] = []
    with turns.page():
        with turns.waiting():
            apart(lambda: make(made, "another")).join(30)
        # And has its turn back afterwards.
        later = apart(lambda: make(made, "later"))
        while not turns._pages._waiting:
            pass
        made.append("first")
    later.join()
    assert made == ["another", "first", "later"]


def test_a_page_that_takes_long_keeps_nobody_for_long(monkeypatch):
    monkeypatch.setattr(turns, "PATIENCE", 0.01)
    made: list[str] = []
    with turns.page():
        apart(lambda: make(made, "beside")).join(30)
        assert made == ["beside"]
    assert not turns._pages._held


def test_whoever_has_no_turn_waits_for_none():
    made: list[str] = []
    with turns.page():
        apart(lambda: turns.waiting().__enter__()).join(30)
        assert turns._pages._held  # nobody gave away what another has
    with turns.waiting():
        apart(lambda: make(made, "a page")).join(30)
    assert made == ["a page"] and not turns._pages._held


def test_a_page_that_fails_ends_its_turn():
    try:
        with turns.page(), turns.waiting():
            raise ZeroDivisionError
    except ZeroDivisionError:
        assert not turns._pages._held


def test_whoever_writes_lets_others_make_their_pages(store, monkeypatch):
    """Even while it waits for the writer before it."""
    monkeypatch.setattr(turns, "PATIENCE", 60)
    made: list[str] = []
    asks = threading.Event()

    def write() -> None:
        asks.set()
        with store.writing():
            made.append("written")

    with store.writing():
        writes = apart(lambda: make(made, "its page", write))
        asks.wait(30)
        apart(lambda: make(made, "another page")).join(30)
        assert made == ["another page"]
    writes.join()
    assert made == ["another page", "written", "its page"]
