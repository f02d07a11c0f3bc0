"""A filled record of every earlier version is upgraded, killed while it is, and brought back."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import filled
from trainer.store import record
from trainer.store.engine import Store, migrations

ROOT = Path(__file__).parent.parent.parent
EARLIER = migrations()[:0:-1]
ADDS_TO = {"person_role": "0015"}
"""Tables to which a migration adds rows; every other keeps exactly those that it had."""

UPGRADE = """
import sys
from sqlalchemy import Engine, event
from trainer.store.engine import Store

store, left = Store(sys.argv[1]), int(sys.argv[2])

def stop(_connection, _cursor, statement, *_):
    global left
    left -= statement.startswith(("CREATE", "ALTER", "INSERT", "UPDATE", "DROP"))
    if left == 0:
        print(statement, flush=True)
        sys.stdin.readline()

event.listen(Engine, "before_cursor_execute", stop)
store.upgrade()
"""


@pytest.fixture
def old(of_kind, tmp_path: Path):
    """Give a database that is there and empty."""
    address = of_kind.address(tmp_path)
    of_kind.create(address)
    opened = Store(address)
    yield opened
    opened.close()
    of_kind.drop(address)


def stages(store: Store) -> Iterator[tuple[str, filled.Rows]]:
    """Bring a database up step by step, more rows put into every table at each; give each step."""
    for at, migration in enumerate(EARLIER):
        store.upgrade(migration)
        rows = filled.fill(store, at * filled.EACH)
        assert all(rows.values()), f"a table of {migration} is empty"
        yield migration, rows


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, filled.Rows]]:
    """Return a folder with a filled SQLite record of every earlier version, and their rows."""
    folder, held = tmp_path_factory.mktemp("versions"), {}
    store = Store(f"sqlite:///{folder / 'record.sqlite'}")
    for migration, rows in stages(store):
        store.copy_into(folder / f"{migration}.sqlite")
        held[migration] = rows
    store.close()
    return folder, held


def side_by_side(before: filled.Rows, after: filled.Rows) -> dict[str, tuple[set, set]]:
    """Return by table the rows before, and those after as far as their columns were there."""
    found = {}
    for name, was in before.items():
        columns = {column for row in was for column, _ in row}
        now = {tuple(one for one in row if one[0] in columns) for row in after[name]}
        found[name] = was, now
    return found


def lost(before: filled.Rows, after: filled.Rows, since: str) -> dict[str, set]:
    """Return by table the rows that are gone, changed, or there though nothing should add them."""
    found = {
        name: was - now if since < ADDS_TO.get(name, "") else was ^ now
        for name, (was, now) in side_by_side(before, after).items()
    }
    return {name: gone for name, gone in found.items() if gone}


def holds(store: Store) -> bool:
    """Say whether the chain of the record holds."""
    with store.reading() as db:
        return all(one is None for one in record.verify(db)) and record.count(db) > 0


@pytest.mark.parametrize("migration", EARLIER)
def test_a_filled_record_of_every_version_is_upgraded_in_one_go(files, migration: str):
    folder, held = files
    store = Store(f"sqlite:///{folder / migration}.sqlite")
    store.upgrade()
    assert store.migration() == migrations()[0]
    assert lost(held[migration], filled.rows(store), migration) == {}
    assert holds(store)
    with store._engine.connect() as connection:  # foreign keys were off meanwhile
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
    store.close()


@pytest.mark.parametrize("database", ["postgresql"], indirect=True, scope="session")
def test_rows_of_every_version_go_through_all_migrations_that_follow(old: Store):
    held = dict(stages(old))
    old.upgrade()
    after = filled.rows(old)
    for migration, rows in held.items():
        gone = {name: was - now for name, (was, now) in side_by_side(rows, after).items()}
        assert not any(gone.values()), migration
    assert lost(held[EARLIER[-1]], after, EARLIER[-1]) == {}
    assert holds(old)


@pytest.mark.both_databases
@pytest.mark.parametrize("statements", [1, 60])
def test_an_upgrade_that_is_killed_changes_nothing_and_is_started_again(
    old: Store, statements: int
):
    old.upgrade("0004")
    filled.fill(old)
    before = filled.rows(old)
    old.close()
    with subprocess.Popen(
        [sys.executable, "-c", UPGRADE, old.url, str(statements)],
        cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    ) as process:
        assert process.stdout.readline()  # it is in the middle
        process.kill()  # SIGKILL
    assert old.migration() == "0004"
    assert filled.rows(old) == before
    old.upgrade()
    assert lost(before, filled.rows(old), "0004") == {}
    assert holds(old)


