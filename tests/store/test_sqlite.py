"""What is SQLite's own: settings of a connection, and the words of its triggers."""

import sqlite3

import pytest
from sqlalchemy import text

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
