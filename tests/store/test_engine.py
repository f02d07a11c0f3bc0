"""The database: its migrations, its writers and its readers."""

import threading
from datetime import UTC, datetime

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import create_engine, inspect, text
from sqlalchemy.exc import IntegrityError

from trainer.store import tables
from trainer.store.engine import FairLock, Store
from trainer.store.tables import Installation, Membership, SignInTry

WRITERS, TIMES = 8, 25


def test_the_migrations_make_exactly_the_tables_of_the_program(store):
    engine = create_engine(store.url)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, tables.METADATA) == []
        made = set(inspect(connection).get_table_names())
    engine.dispose()
    assert made == {*tables.METADATA.tables, "alembic_version"}
    assert len(made) > 15


def test_upgrading_again_is_harmless(store):
    with store.writing() as db:
        db.add(Installation(name="kept", value="yes"))
    store.upgrade()
    again = Store(store.url)
    again.upgrade()
    with again.reading() as db:
        assert db.get(Installation, "kept").value == "yes"
    again.close()


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


def test_a_row_that_points_nowhere_is_refused(store):
    with pytest.raises(IntegrityError, match="FOREIGN KEY"), store.writing() as db:
        db.add(Membership(person_id=1, worksite_id=1))


def counting(store: Store, times: int) -> None:
    """Read a number and write the next, many times."""
    for _ in range(times):
        with store.writing() as db:
            row = db.get(SignInTry, "count")
            row.wrong += 1
            db.add(row)


def begin_to_count(store: Store) -> None:
    """Put the number there."""
    with store.writing() as db:
        db.add(SignInTry(scope="count", wrong=0, last_at=datetime.now(UTC)))


def test_writers_side_by_side_lose_no_count(store):
    """Half of them have a store of their own, as another process would."""
    begin_to_count(store)
    other = Store(store.url)
    threads = [
        threading.Thread(target=counting, args=(store if at % 2 else other, TIMES))
        for at in range(WRITERS)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.reading() as db:
        assert db.get(SignInTry, "count").wrong == WRITERS * TIMES
    other.close()


def test_a_reader_sees_one_state_from_beginning_to_end(store):
    begin_to_count(store)
    with store.reading() as db:
        before = db.get(SignInTry, "count").wrong
        counting(store, 1)
        db.expire_all()
        assert db.get(SignInTry, "count").wrong == before == 0
    with store.reading() as db:
        assert db.get(SignInTry, "count").wrong == 1


def test_what_a_writer_leaves_half_done_is_not_kept(store):
    with pytest.raises(ZeroDivisionError), store.writing() as db:
        db.add(Installation(name="half", value="done"))
        db.flush()
        raise ZeroDivisionError
    with store.writing() as db:
        assert db.get(Installation, "half") is None


def test_what_a_reader_changes_is_not_kept(store):
    begin_to_count(store)
    with store.reading() as db:
        db.get(SignInTry, "count").wrong = 99
        db.flush()
    with store.reading() as db:
        assert db.get(SignInTry, "count").wrong == 0


def test_the_lock_is_given_in_the_order_it_was_asked_for():
    lock, order, waiting = FairLock(), [], []

    def take(name: int) -> None:
        with lock:
            order.append(name)

    with lock:
        for name in range(6):
            waiting.append(threading.Thread(target=take, args=(name,)))
            waiting[-1].start()
            while len(lock._waiting) <= name:
                pass
    for thread in waiting:
        thread.join()
    assert order == list(range(6))
    with lock:
        pass
