"""The database: its migrations, its writers and its readers."""

import threading
from contextlib import suppress
from datetime import UTC, datetime

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import inspect, text
from sqlalchemy.exc import DBAPIError, IntegrityError, InternalError

from trainer.store import engine, people, tables
from trainer.store.engine import Busy, Store
from trainer.store.tables import Installation, Membership, SignInTry

pytestmark = pytest.mark.both_databases
WRITERS, TIMES = 8, 25


def test_the_migrations_make_exactly_the_tables_of_the_program(store):
    with store._engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, tables.METADATA) == []
        made = set(inspect(connection).get_table_names())
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


def test_the_migrations_can_be_taken_back_and_done_again(store):
    """Whatever a migration made, its way back takes away: else making it anew would fail."""
    store.downgrade()
    with store._engine.connect() as connection:
        assert inspect(connection).get_table_names() == ["alembic_version"]
    store.upgrade()
    begin_to_count(store)


def test_there_is_a_record_where_the_tables_are(store, of_kind, tmp_path):
    assert store.is_there()
    elsewhere = of_kind.address(tmp_path / "nowhere")
    of_kind.create(elsewhere)
    fresh = Store(elsewhere)
    assert not fresh.is_there()
    assert not (tmp_path / "nowhere").exists()
    fresh.close()
    of_kind.drop(elsewhere)


def test_a_row_that_points_nowhere_is_refused(store):
    with pytest.raises(IntegrityError, match=r"(?i)foreign key"), store.writing() as db:
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


def test_after_somebody_waited_in_vain_others_wait_for_a_moment_until_one_has_a_turn(
    store, monkeypatch
):
    """Otherwise whoever wants to write holds all threads, and nobody sees a page."""
    monkeypatch.setattr(engine, "WAIT_SECONDS", 0.2)
    monkeypatch.setattr(engine, "KEPT_OUT_SECONDS", 0.1)
    begin_to_count(store)
    other = Store(store.url)
    with other.writing() as db:
        db.add(Installation(name="long", value="work"))
        db.flush()
        refused(store, seconds=0.05)
        assert store._patience() == 0.2  # this one did not mean to wait
        refused(store)
        assert store._patience() == 0.1
        refused(store)
        assert store._patience() == 0.1
    counting(store, 1)
    assert store._patience() == 0.2
    other.close()


def refused(store: Store, **more: float) -> None:
    """Ask for a turn that does not come."""
    with pytest.raises((Busy, DBAPIError)) as fault, store.writing(**more) as db:
        db.add(Installation(name="late", value="1"))
    assert store.why(fault.value) == engine.BUSY


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
    # PostgreSQL refuses at once; SQLite forgets at the end.
    with store.reading() as db, suppress(InternalError):
        db.get(SignInTry, "count").wrong = 99
        db.flush()
    with store.reading() as db:
        assert db.get(SignInTry, "count").wrong == 0


def test_whoever_coordinated_before_the_right_was_one_has_it_after(tmp_path):
    """A record as an earlier version left it, upgraded by this one."""
    old = Store(f"sqlite:///{tmp_path / 'old.sqlite'}")
    old.upgrade("0012")
    with old.writing() as db:
        for who, role in ((1, "coordinator"), (2, "worker"), (3, "coordinator")):
            db.execute(text(
                "INSERT INTO person (id, number, number_key, name, search_key, language, "
                f"qualification, seed, added_at) VALUES ({who}, '{who}', '{who}', 'N', '{who}', "
                "'en', '', 's', '2026-01-01 00:00:00')"
            ))  # fmt: skip
            db.execute(text(f"INSERT INTO person_role VALUES ({who}, '{role}')"))
    old.upgrade()
    with old.reading() as db:
        assert people.holders(db, people.MEDICAL) == {1, 3}
    old.close()
