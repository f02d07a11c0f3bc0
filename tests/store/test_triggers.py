"""Triggers that migrations make: the database refuses, lets through and follows, on either kind."""

from contextlib import contextmanager

import pytest
from alembic.migration import MigrationContext
from alembic.operations import Operations
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from trainer.store import triggers
from trainer.store.engine import Store

pytestmark = pytest.mark.both_databases


@contextmanager
def migrating(store: Store):
    """Give what a migration has: the connection, and operations on it."""
    with store._kind.migrating(store._engine, store._writer) as connection:
        with Operations.context(MigrationContext.configure(connection)):
            yield connection
        connection.commit()


def does(store: Store, statement: str) -> None:
    """Do something to the database by hand."""
    with store.writing() as db:
        db.execute(text(statement))


def value(store: Store, name: str) -> str | None:
    """Return what a row says."""
    with store.reading() as db:
        return db.execute(
            text("SELECT value FROM installation WHERE name = :name"), {"name": name}
        ).scalar()


@pytest.fixture
def rows(store: Store) -> Store:
    """Return a store with two rows."""
    does(store, "INSERT INTO installation (name, value) VALUES ('kept', 'a'), ('free', 'a')")
    return store


def test_rows_are_neither_changed_nor_deleted_until_nothing_is_refused_any_more(rows):
    sentence = "what is here stays: it's 100% kept"
    with migrating(rows):
        triggers.refuse_changes("installation", sentence)
    for statement in (
        "UPDATE installation SET value = 'b'", "DELETE FROM installation",
        "DELETE FROM installation WHERE name = 'kept'",
    ):
        with pytest.raises(IntegrityError, match=sentence):
            does(rows, statement)
    does(rows, "INSERT INTO installation (name, value) VALUES ('more', 'a')")
    with migrating(rows):
        triggers.refuse_nothing("installation")
    does(rows, "UPDATE installation SET value = 'b'")
    assert value(rows, "kept") == "b"
    does(rows, "DELETE FROM installation")
    with migrating(rows):
        triggers.refuse_changes("installation", sentence)  # made anew, it is whole again
    does(rows, "INSERT INTO installation (name, value) VALUES ('kept', 'a')")
    with pytest.raises(IntegrityError, match="stays"):
        does(rows, "DELETE FROM installation")


def test_a_change_is_let_through_under_its_condition_which_may_ask_other_tables(rows):
    allowed = (
        f"NEW.value = '' AND {triggers_same(rows)} AND EXISTS "
        "(SELECT 1 FROM sign_in_try WHERE scope = OLD.name)"
    )
    with migrating(rows):
        triggers.refuse_changes("installation", "not now", unless=allowed)
    does(
        rows,
        "INSERT INTO sign_in_try (scope, wrong, last_at) "
        "VALUES ('free', 0, '2026-03-09 00:00:00')",
    )
    for statement in (
        "UPDATE installation SET value = '' WHERE name = 'kept'",
        "UPDATE installation SET value = 'b' WHERE name = 'free'",
        "UPDATE installation SET value = '', name = 'other' WHERE name = 'free'",
        "DELETE FROM installation WHERE name = 'free'",
    ):
        with pytest.raises(IntegrityError, match="not now"):
            does(rows, statement)
    does(rows, "UPDATE installation SET value = '' WHERE name = 'free'")
    assert (value(rows, "free"), value(rows, "kept")) == ("", "a")


def triggers_same(store: Store) -> str:
    """Return the condition that the name stays."""
    with migrating(store):
        return triggers.same("name")


def test_a_column_that_is_empty_stays_the_same_when_it_stays_empty(store):
    with migrating(store):
        triggers.refuse_changes("person", "no", unless=triggers.same("pin_hash", "left_on"))
    does(
        store,
        "INSERT INTO person (number, number_key, name, search_key, language, qualification, seed, "
        "added_at) VALUES ('1', '1', 'Ida', 'ida', 'en', '', 's', '2026-03-09 00:00:00')",
    )
    does(store, "UPDATE person SET name = 'Ada'")
    with pytest.raises(IntegrityError, match="no"):
        does(store, "UPDATE person SET pin_hash = 'x'")


def test_one_deed_is_refused_until_its_trigger_is_dropped(rows):
    with migrating(rows):
        triggers.refuse("needs_a_value", "INSERT", "installation", "say something",
                        unless="NEW.value != ''")
    does(rows, "INSERT INTO installation (name, value) VALUES ('more', 'a')")
    with pytest.raises(IntegrityError, match="say something"):
        does(rows, "INSERT INTO installation (name, value) VALUES ('less', '')")
    with migrating(rows):
        triggers.drop("needs_a_value", "installation")
    does(rows, "INSERT INTO installation (name, value) VALUES ('less', '')")


def test_something_follows_a_change_of_a_column(rows):
    with migrating(rows):
        triggers.after_update(
            "free_follows", "installation", ("name", "value"),
            "UPDATE installation SET value = NEW.value WHERE name = 'free' AND OLD.name = 'kept'",
        )
    does(rows, "UPDATE installation SET value = 'c' WHERE name = 'kept'")
    assert value(rows, "free") == "c"
