"""What is SQLite's own: settings of a connection, and the words of its triggers."""

import fcntl
import os
import sqlite3
from pathlib import Path
from threading import Thread
from time import monotonic, sleep

import pytest
from sqlalchemy import text

from trainer.store import engine
from trainer.store.engine import Store

NEVER_CHANGED = "'an entry of the record is never changed'"


@pytest.mark.parametrize("database", ["sqlite"], indirect=True, scope="session")
def test_what_is_kept_is_on_the_disk_and_points_to_something(store):
    """SQLite's own words: synchronous 2 is FULL, the one that survives a loss of power in WAL."""
    fresh = Store(store.url)  # whose connections no migration has touched
    for session in (fresh.reading, fresh.writing):
        with session() as db:
            asked = {
                name: db.execute(text(f"PRAGMA {name}")).scalar()
                for name in ("journal_mode", "synchronous", "foreign_keys")
            }
        assert asked == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
    fresh.close()


def test_the_triggers_of_databases_that_are_there_already_stay_as_they_are(tmp_path):
    """A migration that ran somewhere must go on making what it made."""
    file = tmp_path / "older.sqlite"
    older = Store(f"sqlite:///{file}")
    older.upgrade("0013")
    older.close()
    with sqlite3.connect(file) as db:
        made = dict(db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
    db.close()
    for deed in ("UPDATE", "DELETE"):
        assert made[f"entry_refuses_{deed.lower()}"] == (
            f"CREATE TRIGGER entry_refuses_{deed.lower()} BEFORE {deed} ON entry "
            f"BEGIN SELECT RAISE(ABORT, {NEVER_CHANGED}); END"
        )


def is_next(folder: Path) -> bool:
    """Say whether somebody waits to be the next one to write."""
    place = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(place)
    return False


def write(store: Store, name: str, came: list[str]) -> None:
    with store.writing():
        came.append(name)


@pytest.mark.parametrize("database", ["sqlite"], indirect=True, scope="session")
def test_a_process_whose_threads_queue_lets_another_one_write(store):
    """Two stores on one file stand for two processes: neither knows of the other's queue."""
    other, came = Store(store.url), []
    for _ in range(10):
        with store.writing():
            theirs = Thread(target=write, args=(other, "theirs", came))
            theirs.start()
            ends = monotonic() + 60
            while not is_next(store.file.parent):
                assert monotonic() < ends, "nobody waits"
                sleep(0.001)
            ours = Thread(target=write, args=(store, "ours", came))
            ours.start()
            while not store._turn._waiting:
                assert monotonic() < ends, "nobody waits"
                sleep(0.001)
        for one in (theirs, ours):
            one.join()
    assert came == ["theirs", "ours"] * 10
    other.close()


@pytest.mark.parametrize("database", ["sqlite"], indirect=True, scope="session")
def test_whoever_is_next_for_too_long_keeps_others_no_longer_than_they_wait(store):
    place = os.open(store.file.parent, os.O_RDONLY)
    try:
        fcntl.flock(place, fcntl.LOCK_EX)
        began = monotonic()
        with store.writing(seconds=0.2):  # nobody writes: it is only that somebody means to
            assert monotonic() - began >= 0.2
    finally:
        os.close(place)
    assert not is_next(store.file.parent)


@pytest.mark.parametrize("database", ["sqlite"], indirect=True, scope="session")
def test_a_writer_that_waits_in_vain_says_so_and_is_next_no_more(store):
    holding = sqlite3.connect(store.file, isolation_level=None)
    holding.execute("BEGIN IMMEDIATE")
    with pytest.raises(Exception) as met, store.writing(seconds=0.1):
        pass
    assert store.why(met.value) == engine.BUSY
    assert not is_next(store.file.parent)
    holding.execute("ROLLBACK")
    holding.close()
    with store.writing() as db:  # and readers of that connection wait as before
        assert db.execute(text("PRAGMA busy_timeout")).scalar() > 0
