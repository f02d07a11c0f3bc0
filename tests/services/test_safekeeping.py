"""Backups, their way back and the move: whole, checked, and harmless where they are ended."""

import sqlite3
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pyrage
import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import select

from tests import filled
from trainer.services import safekeeping, sealing
from trainer.services.safekeeping import NotDone
from trainer.store import changes, copying, record
from trainer.store.engine import NewerRecord, Store, migrations
from trainer.store.tables import Installation, Worksite

ROOT = Path(__file__).parent.parent.parent
PASSPHRASE = "seven terns on a wet slipway"
NONE = sealing.Keys()


@contextmanager
def quiet(_label: str, _length: int):
    """Show nothing."""
    yield lambda _done: None


@pytest.fixture(scope="session")
def with_rows(tmp_path_factory, databases, database: str) -> str:
    """Return the address of a database with rows in every table, made once."""
    return databases.template(database, "rows", tmp_path_factory.mktemp("rows"), filled.fill)


@pytest.fixture
def kept(with_rows, settings, of_kind):
    """Give a record with rows in every table."""
    of_kind.copy(with_rows, settings.database_url)
    opened = Store(settings.database_url)
    yield opened
    opened.close()
    of_kind.drop(settings.database_url)


@pytest.fixture
def elsewhere(databases, tmp_path: Path):
    """Return a function that gives a place for a record, of either kind, empty."""
    made = []

    def place(kind: str) -> Store:
        of, folder = databases.of(kind), tmp_path / f"elsewhere-{len(made)}"
        folder.mkdir()
        address = of.address(folder)
        of.create(address)
        made.append((of, Store(address)))
        return made[-1][1]

    yield place
    for of, store in made:
        store.close()
        of.drop(store.url)


def back_up(store: Store, file: Path, **more) -> safekeeping.Note:
    """Make a backup."""
    return safekeeping.backup(store, file, file.parent, quiet, **more)[0]


def bring_back(store: Store, file: Path, keys=NONE, **more) -> tuple[safekeeping.Note, str]:
    """Restore a backup."""
    work = store.file.parent if store.file else file.parent
    return safekeeping.restore(store, file, work, quiet, keys=keys, place="there", **more)


def refused(deed, *given, **more) -> tuple[str, bool]:
    """Return the sentence with which something is refused, and whether something is broken."""
    with pytest.raises(NotDone) as fault:
        deed(*given, **more)
    return str(fault.value), fault.value.broken


def append(store: Store, once: str) -> record.Entry:
    """Append an entry."""
    with store.writing() as db:
        return record.append(
            db, once=once, kind="lesson", person_number="7", worksite="Joinery",
            happened_on=date(2026, 3, 1), body={}, now=datetime(2026, 3, 1, tzinfo=UTC),
        )


def sums(store: Store) -> dict[str, copying.Sum]:
    """Return what the tables of a record come to."""
    with store.reading() as db:
        return copying.sums(db.connection(), lambda _: None)


def left_in(folder: Path) -> set[str]:
    """Return what lies in a folder."""
    return {one.name for one in folder.iterdir()}


@pytest.mark.both_databases
@pytest.mark.parametrize("to", ["sqlite", "postgresql"])
def test_a_backup_becomes_the_same_record_on_either_database(kept, elsewhere, tmp_path, to):
    file = tmp_path / "kept"
    before = sums(kept)
    note = back_up(kept, file)
    assert note.sums == before
    assert all(one.rows for one in before.values())
    there = elsewhere(to)
    again, aside = bring_back(there, file)
    assert (again, aside) == (note, "")
    after = sums(there)
    log = after.pop("change"), before.pop("change")
    assert after == before
    assert log[0].rows == log[1].rows + 1  # which says that it was restored
    with there.reading() as db:
        assert [one for one in record.verify(db) if one] == []
        assert record.last_hash(db) == note.last_hash
    # It goes on: the chain, the numbers, and what the database refuses.
    assert append(there, "next").number == note.entries + 1
    with there.writing() as db:
        last = max(db.exec(select(Worksite.id)))
        db.add(Worksite(name="next", time_zone="UTC"))
        db.flush()
        assert max(db.exec(select(Worksite.id))) == last + 1
    for table in ("entry", "change", "taught_talk"):
        with pytest.raises(IntegrityError, match="never changed"), there.writing() as db:
            db.execute(text(f"DELETE FROM {table}"))


@pytest.mark.both_databases
def test_the_record_and_its_log_tell_of_the_last_backup(kept, tmp_path):
    with kept.reading() as db:
        assert safekeeping.last(db) is None
    first = back_up(kept, tmp_path / "first")
    append(kept, "between")
    second = back_up(kept, tmp_path / "second")
    with kept.reading() as db:
        told, lines = safekeeping.last(db), changes.page(db, kind="backup")
    assert (told.entries, told.last_hash) == (second.entries, second.last_hash)
    assert [first.last_hash in one.detail for one in lines] == [False, True]
    assert second.last_hash != first.last_hash


@pytest.mark.both_databases
def test_a_backup_is_of_one_moment_while_others_go_on_writing(kept, tmp_path):
    """What is appended after it has begun is not in it, and waits for nothing."""
    begun = []

    @contextmanager
    def meanwhile(_label: str, _length: int):
        if not begun:
            begun.append(append(kept, "meanwhile").number)
        yield lambda _done: None

    note, _ = safekeeping.backup(kept, tmp_path / "kept", tmp_path, meanwhile)
    assert begun == [note.entries + 1]


def test_what_was_let_go_does_not_travel_in_free_pages(kept, tmp_path):
    with kept.writing() as db:
        db.add(Installation(name="word", value="unmistakable" * 500))
    with kept.writing() as db:
        db.delete(db.get(Installation, "word"))
    back_up(kept, tmp_path / "kept")
    assert b"unmistakable" not in (tmp_path / "kept").read_bytes()


def test_a_backup_can_be_read_by_anybody_who_knows_sqlite(kept, tmp_path):
    note = back_up(kept, tmp_path / "kept")
    assert (tmp_path / "kept").stat().st_mode & 0o777 == 0o600
    with sqlite3.connect(tmp_path / "kept") as db:
        said = dict(db.execute("SELECT name, value FROM backup_note"))
        entries = db.execute("SELECT count(*) FROM entry").fetchone()[0]
    db.close()
    assert (said["last_hash"], int(said["entries"])) == (note.last_hash, entries)
    assert left_in(tmp_path) >= {"kept"} and not [
        name for name in left_in(tmp_path) if "unfinished" in name or name.startswith("kept-")
    ]


def test_a_file_is_replaced_only_where_that_is_said(kept, tmp_path):
    file = tmp_path / "kept"
    file.write_text("other")
    assert "is a file" in refused(back_up, kept, file)[0]
    assert file.read_text() == "other"
    back_up(kept, file, over=True)
    assert sealing.kind(file) == sealing.PLAIN


def test_a_file_that_comes_meanwhile_is_left_as_it_is(kept, tmp_path):
    file = tmp_path / "kept"

    @contextmanager
    def meanwhile(_label: str, _length: int):
        file.write_text("other")
        yield lambda _done: None

    said, _ = refused(safekeeping.backup, kept, file, tmp_path, meanwhile)
    assert "by now" in said and file.read_text() == "other"


def test_a_record_that_breaks_gives_no_backup(kept, tmp_path):
    with sqlite3.connect(kept.file) as db:
        db.execute("DROP TRIGGER entry_refuses_update")
        db.execute("UPDATE entry SET body = replace(body, 'Joinery', 'Joinerz') WHERE number = 3")
    db.close()
    said, broken = refused(back_up, kept, tmp_path / "kept")
    assert "breaks at entry 3" in said and broken
    assert not (tmp_path / "kept").exists()


# Encrypted.


def test_with_a_passphrase_nothing_can_be_read_and_only_it_opens(kept, elsewhere, tmp_path):
    file = tmp_path / "kept.zip"
    lock = sealing.Lock(passphrase=PASSPHRASE)
    note = back_up(kept, file, lock=lock)
    assert b"SQLite" not in file.read_bytes()
    there = elsewhere("sqlite")
    said, broken = refused(bring_back, there, file, sealing.Keys("seven terns on a wet slip"))
    assert "passphrase does not open" in said and not broken
    assert "none was given" in refused(bring_back, there, file)[0]
    assert left_in(there.file.parent) == set()
    assert bring_back(there, file, sealing.Keys(PASSPHRASE))[0] == note
    assert left_in(there.file.parent) == {"record.sqlite"}


def test_for_a_recipient_only_their_key_opens(kept, elsewhere, tmp_path):
    key, other = (pyrage.x25519.Identity.generate() for _ in range(2))
    file = tmp_path / "kept.age"
    note = back_up(kept, file, lock=sealing.Lock(recipients=(str(key.to_public()),)))
    there = elsewhere("sqlite")
    keys = sealing.Keys(identities=f"# mine\n{other}\n")
    assert "for another key" in refused(bring_back, there, file, keys)[0]
    assert "--identity" in refused(bring_back, there, file)[0]
    keys = sealing.Keys(identities=f"# mine\n{other}\n{key}\n")
    assert bring_back(there, file, keys)[0] == note
    # It is a file of the age format as any other.
    assert pyrage.decrypt(file.read_bytes(), [key]).startswith(sealing.PLAIN)


@pytest.mark.parametrize(
    "given",
    [
        {"passphrase": "short"}, {"recipients": ("age1short",)}, {},
        {"passphrase": PASSPHRASE, "recipients": ("age1",)},
    ],
)
def test_what_would_keep_nobody_out_is_refused(given):
    with pytest.raises(sealing.Unopened):
        sealing.Lock(**given)


# What is no good.


def test_a_file_that_is_damaged_anywhere_is_refused(kept, elsewhere, tmp_path):
    """Letters in the rows, letters of the tables, pages, the length: each is found."""
    back_up(kept, tmp_path / "good")
    good = (tmp_path / "good").read_bytes()
    there, file = elsewhere("sqlite"), tmp_path / "bad"
    row = good.index("Ñandú".encode())
    for name, bad in {
        "a row": good[:row] + b"\xc3\x93" + good[row + 2 :],
        "the rows of a table": good.replace(b"filled:0:1", b"filled:0:9"),
        "half": good[: len(good) // 2],
        "one page": good[:-4096],
        "zeros": good[:8192] + bytes(4096) + good[12288:],
        "the beginning": b"x" + good[1:],
        "nothing": b"",
        "no backup": b"SQLite format 3\0" + good[16:].replace(b"backup_note", b"backup_nott"),
    }.items():
        file.write_bytes(bad)
        said, broken = refused(bring_back, there, file)
        assert broken and said.endswith("."), name
        assert left_in(there.file.parent) == set(), name
    file.write_bytes(good)
    bring_back(there, file)


def test_an_encrypted_file_that_is_damaged_or_cut_short_is_refused(kept, elsewhere, tmp_path):
    key = pyrage.x25519.Identity.generate()
    file, there = tmp_path / "kept.age", elsewhere("sqlite")
    back_up(kept, file, lock=sealing.Lock(recipients=(str(key.to_public()),)))
    good, keys = file.read_bytes(), sealing.Keys(identities=str(key))
    other = bytes([good[5000] ^ 1])
    for bad in (good[:-1], good[:-70_000], good[:150], good[:5000] + other + good[5001:]):
        file.write_bytes(bad)
        said, broken = refused(bring_back, there, file, keys)
        assert "damaged or cut short" in said and broken
    assert left_in(there.file.parent) == set()


def change_note(file: Path, name: str, value: str) -> None:
    """Let a backup tell something else of itself."""
    with sqlite3.connect(file) as db:
        db.execute("UPDATE backup_note SET value = ? WHERE name = ?", (value, name))
    db.close()


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("migration", "9999", "by a newer version of this program: it is of migration 9999"),
        ("form", "2", "by a newer version of this program: it is of form 2"),
        ("migration", "", "has no tables"),
        ("last_hash", "0" * 64, "does not end where"), ("entries", "1", "does not end where"),
        ("sums", "{}", "is damaged"), ("migration", "0017", "is only in one of them"),
    ],
)
def test_a_file_that_tells_something_else_of_itself_is_refused(
    kept, elsewhere, tmp_path, name, value, says
):
    back_up(kept, tmp_path / "kept")
    change_note(tmp_path / "kept", name, value)
    there = elsewhere("sqlite")
    assert says in refused(bring_back, there, tmp_path / "kept")[0]
    assert left_in(there.file.parent) == set()


def test_a_record_of_a_newer_version_is_not_upgraded_nor_copied(kept, tmp_path):
    with kept.writing() as db:
        db.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(NewerRecord):
        kept.known_migration()
    assert "newer version of this program: it is of migration 9999" in refused(
        back_up, kept, tmp_path / "kept"
    )[0]


# Where there is a record.


@pytest.mark.both_databases
def test_a_record_that_is_there_is_kept_aside_and_only_where_that_is_said(
    kept, of_kind, tmp_path
):
    back_up(kept, tmp_path / "kept")
    append(kept, "later")
    before = sums(kept)
    (tmp_path / "secret.key").write_text("k" * 64)
    assert "is a record in there" in refused(bring_back, kept, tmp_path / "kept")[0]
    assert sums(kept) == before
    kept.close()
    note, aside = bring_back(kept, tmp_path / "kept", set_aside=True)
    with kept.reading() as db:
        assert record.count(db) == note.entries
    assert (tmp_path / aside / "secret.key").exists() and not (tmp_path / "secret.key").exists()
    if kept.file:
        old = Store(f"sqlite:///{tmp_path / aside / 'record.sqlite'}")
        assert sums(old) == before
        old.close()
    else:
        with kept.reading() as db:
            counted = db.execute(text(f'SELECT count(*) FROM "{aside}".entry')).scalar()
        assert counted == note.entries + 1
    append(kept, "goes on")


def test_a_record_that_somebody_has_open_is_not_moved_aside(kept, tmp_path):
    back_up(kept, tmp_path / "kept")
    other = Store(kept.url)
    with other.reading() as db:
        record.count(db)
    assert "in use" in refused(bring_back, kept, tmp_path / "kept", set_aside=True)[0]
    other.close()
    assert bring_back(kept, tmp_path / "kept", set_aside=True)[1]


def test_a_damaged_record_and_a_journal_without_one_go_out_of_the_way(kept, tmp_path):
    back_up(kept, tmp_path / "kept")
    kept.close()
    kept.file.write_bytes(b"no database" * 1000)
    Path(f"{kept.file}-wal").write_bytes(b"of another")
    assert "is a record in there" in refused(bring_back, kept, tmp_path / "kept")[0]
    note, aside = bring_back(kept, tmp_path / "kept", set_aside=True)
    assert {"record.sqlite", "record.sqlite-wal"} <= left_in(tmp_path / aside)
    with kept.reading() as db:
        assert record.last_hash(db) == note.last_hash


@pytest.mark.parametrize("database", ["postgresql"], indirect=True, scope="session")
def test_a_database_with_tables_of_something_else_is_refused(elsewhere, kept, tmp_path):
    back_up(kept, tmp_path / "kept")
    there = elsewhere("postgresql")
    with there._writer.begin() as connection:
        connection.execute(text("CREATE TABLE person (name text)"))
    assert "something else" in refused(bring_back, there, tmp_path / "kept")[0]


# The move.


def test_a_record_is_moved_whole_and_its_file_is_kept(kept, elsewhere, tmp_path):
    before, there = sums(kept), elsewhere("postgresql")
    assert "in use" in refused(safekeeping.move, kept.file, there, quiet, place="there")[0]
    kept.close()
    note, moved = safekeeping.move(kept.file, there, quiet, place="there")
    assert sums(there) == before == note.sums
    assert (moved.name, kept.file.exists()) == ("record-moved.sqlite", False)
    assert append(there, "next").number == note.entries + 1
    # Ended before the file had its other name, it is done again and only compared.
    moved.rename(kept.file)
    assert "another record" in refused(safekeeping.move, kept.file, there, quiet, place="there")[0]


def test_a_move_that_was_done_and_not_said_is_only_compared(kept, elsewhere):
    there = elsewhere("postgresql")
    kept.close()
    note, moved = safekeeping.move(kept.file, there, quiet, place="there")
    moved.rename(kept.file)
    again, _ = safekeeping.move(kept.file, there, quiet, place="there")
    assert again.sums == note.sums


def test_what_postgresql_cannot_keep_is_named_and_nothing_is_moved(kept, elsewhere):
    with kept.writing() as db:
        db.add(Installation(name="nul", value="a\0b"))
    kept.close()
    there = elsewhere("postgresql")
    said, broken = refused(safekeeping.move, kept.file, there, quiet, place="there")
    assert "the table installation has a row that is not taken" in said and broken
    assert not there.is_there() and kept.file.exists()


# Before an upgrade, and back.


def test_before_an_upgrade_a_copy_is_kept_that_is_the_way_back(tmp_path, elsewhere):
    old = Store(f"sqlite:///{tmp_path / 'record.sqlite'}")
    assert safekeeping.copy_before_upgrade(old, quiet) is None
    old.upgrade("0014")
    filled.fill(old)
    before = sums(old)
    copy = safekeeping.copy_before_upgrade(old, quiet)
    assert copy.name == f"record-before-{migrations()[0]}.sqlite"
    again = safekeeping.copy_before_upgrade(old, quiet)
    assert again.name == f"record-before-{migrations()[0]}-2.sqlite"
    old.upgrade()
    assert safekeeping.copy_before_upgrade(old, quiet) is None
    old.close()
    for kind in ("sqlite", "postgresql"):
        there = elsewhere(kind)
        bring_back(there, copy)
        assert (there.migration(), sums(there)) == ("0014", before)
        there.upgrade()
        append(there, "next")


# Killed.

WORK = """
import sys
from contextlib import contextmanager
from pathlib import Path
from trainer.services import safekeeping, sealing
from trainer.store import copying
from trainer.store.engine import Store

deed, url, file, work, where, times = sys.argv[1:]
left = int(times)
module, name = {
    "put": (copying, "_put"), "name": (safekeeping, "_give_name"),
    "walk": (safekeeping, "_walk"), "seal": (sealing, "seal"),
}[where]
real = getattr(module, name)

def stopping(*given, **more):
    global left
    left -= 1
    if left == 0:
        print("in the middle", flush=True)
        sys.stdin.readline()
    return real(*given, **more)

setattr(module, name, stopping)

@contextmanager
def quiet(label, length):
    yield lambda done: None

store, file, work = Store(url), Path(file), Path(work)
if deed == "backup":
    lock = sealing.Lock(recipients=(RECIPIENT,)) if where == "seal" else None
    safekeeping.backup(store, file, work, quiet, lock=lock)
elif deed == "restore":
    safekeeping.restore(store, file, work, quiet, keys=sealing.Keys(), place="there")
else:
    safekeeping.move(file, store, quiet, place="there")
"""
RECIPIENT = str(pyrage.x25519.Identity.generate().to_public())


def killed(deed: str, store: Store, file: Path, work: Path, where: str, times: int = 1) -> None:
    """Let another process do something, and kill it in the middle."""
    code = WORK.replace("RECIPIENT,", f"{RECIPIENT!r},")
    with subprocess.Popen(
        [sys.executable, "-c", code, deed, store.url, str(file), str(work), where, str(times)],
        cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    ) as process:
        assert process.stdout.readline() == "in the middle\n"
        process.kill()  # SIGKILL


@pytest.mark.both_databases
def test_a_killed_backup_leaves_no_file_of_its_name(kept, database, tmp_path):
    where = "put" if database == "postgresql" else "name"
    file = tmp_path / "kept"
    killed("backup", kept, file, tmp_path, where)
    assert not file.exists()
    assert [name.endswith(".unfinished") for name in left_in(tmp_path) if "donning" in name]
    back_up(kept, file)
    with kept.reading() as db:
        assert len(changes.page(db, kind="backup")) == 1


@pytest.mark.parametrize(("to", "where"), [("sqlite", "name"), ("postgresql", "walk")])
def test_a_killed_restore_leaves_no_record_and_is_begun_again(
    kept, elsewhere, tmp_path, to, where
):
    file, there = tmp_path / "kept", elsewhere(to)
    note = back_up(kept, file)
    work = there.file.parent if there.file else tmp_path
    killed("restore", there, file, work, where)
    assert not there.is_there()
    assert bring_back(there, file)[0] == note


def test_a_killed_move_leaves_the_record_where_it_was_and_is_begun_again(kept, elsewhere, tmp_path):
    there, before = elsewhere("postgresql"), sums(kept)
    kept.close()
    killed("move", there, kept.file, tmp_path, "put", 20)
    assert not there.is_there() and kept.file.exists()
    safekeeping.move(kept.file, there, quiet, place="there")
    assert sums(there) == before


def test_what_was_left_unfinished_goes_a_day_later(kept, tmp_path, monkeypatch):
    old, other = tmp_path / "donning-room-x.unfinished", tmp_path / "mine.unfinished"
    for one in (old, other):
        one.touch()
    back_up(kept, tmp_path / "first")
    assert old.exists()
    now = datetime.now(UTC).timestamp()
    monkeypatch.setattr(safekeeping, "time", lambda: now + safekeeping.DAY_SECONDS + 60)
    back_up(kept, tmp_path / "second")
    assert (old.exists(), other.exists()) == (False, True)


def test_two_notes_that_differ_are_not_the_same(kept, tmp_path):
    note = back_up(kept, tmp_path / "kept")
    one = next(iter(note.sums))
    for other in (copying.Sum(99, note.sums[one].sha256), copying.Sum(note.sums[one].rows, "0")):
        with pytest.raises(copying.Unlike, match=one):
            copying.compare(note.sums, replace(note, sums=note.sums | {one: other}).sums)
