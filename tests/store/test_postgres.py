"""What is PostgreSQL's own: transactions, text, numbers, triggers, a server that goes away."""

from contextlib import suppress
from datetime import UTC, date, datetime
from threading import Thread

import pytest
from sqlalchemy import func, select, text
from sqlalchemy.exc import DBAPIError, IntegrityError, NotSupportedError

from tests.databases import DURABLE, Cluster
from trainer.store import engine, postgres, record
from trainer.store.engine import Store
from trainer.store.tables import Installation, Worksite

pytestmark = pytest.mark.parametrize("database", [DURABLE], indirect=True, scope="session")

DAY = date(2026, 3, 9)


def shown(db, *names: str) -> list[str]:
    """Return settings of the server as a session has them."""
    return [db.execute(text(f"SHOW {name}")).scalar() for name in names]


def append(store: Store, once: str) -> None:
    """Append an entry."""
    with store.writing() as db:
        record.append(
            db, once=once, kind="lesson", person_number="00417", worksite="Joinery",
            happened_on=DAY, body={}, now=datetime(2026, 3, 9, 14, tzinfo=UTC),
        )


def test_readers_have_a_snapshot_and_writers_a_durable_commit_whatever_the_server_says(store):
    with store._writer.connect() as connection:
        name = connection.exec_driver_sql("SELECT current_database()").scalar()
        for setting in (
            "synchronous_commit = off", "default_transaction_isolation = serializable",
            "default_transaction_read_only = on",
        ):
            # Of the connections that come: the one that says so may still write.
            connection.exec_driver_sql(f"ALTER DATABASE {name} SET {setting}")
        connection.commit()
    there = Store(store.url)
    with there.writing() as db:
        assert shown(
            db, "transaction_isolation", "transaction_read_only", "synchronous_commit", "fsync",
            "full_page_writes",
        ) == ["read committed", "off", "on", "on", "on"]
        db.add(Installation(name="kept", value="yes"))
    with there.reading() as db:
        # The same connection, fresh from the writer.
        asked = shown(db, "transaction_isolation", "transaction_read_only")
        assert asked == ["repeatable read", "on"]
        assert db.get(Installation, "kept").value == "yes"
    there.close()


def test_a_writer_that_comes_while_another_is_at_it_waits_and_then_gives_up(store, monkeypatch):
    monkeypatch.setattr(engine, "WAIT_SECONDS", 0.05)
    other = Store(store.url)
    with store.writing() as db:
        db.add(Installation(name="first", value="1"))
        db.flush()  # a turn begins with the first question to the database
        with pytest.raises(DBAPIError, match="lock timeout"), other.writing() as second:
            second.add(Installation(name="second", value="2"))
        # Whoever reads waits for nobody.
        with other.reading() as reader:
            assert reader.get(Installation, "first") is None
    with other.writing() as db:
        assert db.get(Installation, "first").value == "1"
        assert db.get(Installation, "second") is None
    other.close()


@pytest.mark.filterwarnings("ignore:<psycopg.Connection.*deleted while still open")
def test_a_writer_that_says_nothing_any_more_is_ended_and_the_next_writes(store, monkeypatch):
    monkeypatch.setattr(postgres, "STUCK_MILLISECONDS", 100)
    stuck = Store(store.url)
    with pytest.raises(DBAPIError), stuck.writing() as db:
        db.add(Installation(name="stuck", value="1"))
        db.flush()
        append(store, "deed:1")  # which waits until the server has ended the other
        db.add(Installation(name="late", value="1"))
    with store.reading() as db:
        assert record.count(db) == 1
        assert db.get(Installation, "stuck") is None
    stuck.close()


def test_what_was_acknowledged_outlives_a_crash_of_the_server(store, of_kind: Cluster):
    append(store, "deed:1")
    with suppress(DBAPIError), store.writing() as db:
        db.add(Installation(name="half", value="done"))
        db.flush()
        of_kind.crash()
    of_kind.start()
    # The pool holds connections to a server that is no more, and finds it out by itself.
    append(store, "deed:2")
    with store.reading() as db:
        assert [one for one in record.verify(db) if one] == []
        assert record.count(db) == 2
        assert db.get(Installation, "half") is None


def why(store: Store, *statements: str) -> str:
    """Return why a writer was refused that asked for this first."""
    with pytest.raises(DBAPIError) as fault, store.writing() as db:
        for statement in statements:
            db.execute(text(statement))
        db.add(Installation(name="late", value="1"))
        db.flush()
    return store.why(fault.value)


def test_a_standby_is_read_and_said_to_take_nothing_until_it_leads(store, of_kind: Cluster):
    """As after a failover, while the address still leads to the wrong machine."""
    append(store, "deed:1")
    of_kind.stand_by()
    try:
        assert why(store) == "read-only"
        with store.reading() as db:
            assert record.count(db) == 1
    finally:
        of_kind.lead()
    append(store, "deed:2")
    with store.reading() as db:
        assert [one for one in record.verify(db) if one] == []
        assert record.count(db) == 2


def test_a_transaction_that_may_not_write_and_a_connection_that_was_ended_are_told(store):
    assert why(store, "SET TRANSACTION READ ONLY") == "read-only"  # 25006
    assert why(store, "SELECT pg_terminate_backend(pg_backend_pid())") == "away"  # 57P01
    append(store, "deed:1")


def test_what_the_server_cannot_do_at_all_stays_a_fault_of_the_program(store):
    """The same 0A000 as of a standby."""
    assert why(store, "SELECT count(*) FROM installation FOR UPDATE") == ""


def test_text_is_ordered_by_code_point_as_on_sqlite(of_kind: Cluster):
    """On a database that would have ordered it as a dictionary of Spanish does."""
    address = of_kind.address()
    of_kind.create(address, "LOCALE_PROVIDER icu ICU_LOCALE 'es'")
    store = Store(address)
    store.upgrade()
    names = ["Añil", "Zinc", "azul", "Árbol", "10", "9", "a b", "ab", "Ab", ""]
    with store.writing() as db:
        db.add_all(Worksite(name=name, time_zone="America/Chicago") for name in names)
    with store.reading() as db:
        found = list(db.execute(select(Worksite.name).order_by(Worksite.name)).scalars())
        other = text("SELECT name FROM worksite ORDER BY name COLLATE pg_catalog.\"default\"")
        assert list(db.execute(other).scalars()) != found
    store.close()
    of_kind.drop(address)
    assert found == sorted(names)


def test_every_text_column_is_ordered_so_and_every_number_has_64_bits(store):
    ask = (
        "SELECT table_name || '.' || column_name FROM information_schema.columns "
        "WHERE table_schema = 'public' AND table_name != 'alembic_version' AND "
    )
    with store.reading() as db:
        texts = "data_type = 'character varying'"
        assert db.execute(text(f"{ask} {texts}")).all()
        other = f"{ask} {texts} AND collation_name IS DISTINCT FROM 'C'"
        assert db.execute(text(other)).all() == []
        assert db.execute(text(f"{ask} data_type IN ('integer', 'smallint')")).all() == []


def test_a_number_too_large_for_any_column_finds_nothing_and_is_not_kept(store):
    with store.reading() as db:
        assert db.get(Worksite, 2**40) is None
        assert db.get(Worksite, 2**80) is None
    with pytest.raises(OverflowError), store.writing() as db:
        db.add(Worksite(id=2**80, name="far", time_zone="America/Chicago"))


def test_a_sum_of_numbers_is_a_number(store):
    with store.writing() as db:
        db.add_all(Worksite(id=at, name=f"{at}", time_zone="UTC") for at in (1, 2**40))
    with store.reading() as db:
        total = db.execute(select(func.sum(Worksite.id))).scalar_one()
    assert (total, type(total)) == (2**40 + 1, int)


def test_a_list_that_was_read_in_part_is_left_without_a_word(store):
    """Warnings are errors here, and the driver warns of a cursor that nobody closed."""
    for number in range(3):
        append(store, f"deed:{number}")
    with store.reading() as db:
        assert next(record.verify(db)) is None


def test_the_record_cannot_be_emptied_at_once(store):
    append(store, "deed:1")
    with (
        pytest.raises(IntegrityError, match="an entry of the record is never changed"),
        store.writing() as db,
    ):
        db.execute(text("TRUNCATE entry CASCADE"))
    with store.reading() as db:
        assert record.count(db) == 1


def test_a_database_that_cannot_keep_every_letter_is_refused(of_kind: Cluster):
    address = of_kind.address()
    of_kind.create(address, "ENCODING 'LATIN1' LOCALE 'C'")
    narrow = Store(address)
    with pytest.raises(NotSupportedError) as refused:
        narrow.upgrade()
    assert "LATIN1" in str(refused.value.orig)
    narrow.close()
    of_kind.drop(address)


def test_machines_that_start_at_the_same_moment_make_the_tables_once(of_kind: Cluster):
    address = of_kind.address()
    of_kind.create(address)
    stores, faults = [Store(address) for _ in range(3)], []

    def start(one: Store) -> None:
        try:
            one.upgrade()
        except Exception as fault:
            faults.append(fault)

    threads = [Thread(target=start, args=(one,)) for one in stores]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    for one in stores:
        assert one.is_there()
        one.close()
    of_kind.drop(address)


