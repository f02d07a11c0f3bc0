"""Backups of the record, their way back, and the move to another database.

A backup is one SQLite database, whatever the record itself is kept on: its tables as of one
moment, and a table `backup_note` that tells of them. So a backup can be read without this
program, a record goes back to either database, and a move is the same work without a file.

Nothing counts before it is checked: what is being made has another name until then, or is a
transaction that is not yet kept; a kill in the middle leaves what was there before.
"""

import json
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from time import time

from sqlalchemy import Connection, text
from sqlalchemy.exc import DatabaseError, IntegrityError
from sqlmodel import Session

from trainer.services import sealing
from trainer.store import changes, copying, record, sqlite
from trainer.store.copying import NOTE, Step, Sum
from trainer.store.engine import NewerRecord, NotEmpty, Store, known_migration, migrations
from trainer.store.tables import Installation

FORM = 1
"""How a backup is made; a later form has a larger number."""
LAST = "last_backup"
"""The row of Installation that tells of the newest backup."""
UNFINISHED = ("donning-room-", ".unfinished")
"""How the name of a file begins and ends that is not finished."""
DAY_SECONDS = 86_400
KEY_FILE = "secret.key"
SIDES = ("-wal", "-shm", "-journal")

Bar = Callable[[str, int], AbstractContextManager[Step]]
"""Shows how far something is: what is being done, and of how many rows."""


class NotDone(Exception):
    """It could not be done; the text is a sentence that says why.

    broken  it is the record or the backup that is at fault, and not the asking
    """

    def __init__(self, sentence: str, broken: bool = False) -> None:
        super().__init__(sentence)
        self.broken = broken


@dataclass(frozen=True)
class Note:
    """What a backup tells of itself.

    made_at     UTC, ISO 8601
    program     the version that made it; database: what the record was kept on
    migration   the newest that its tables have had
    last_hash   of the last entry, which stands for the whole chain before it
    sums        by table how many rows, and the SHA-256 of what they say
    """

    made_at: str
    program: str
    database: str
    migration: str
    entries: int
    last_hash: str
    sums: dict[str, Sum]
    form: int = FORM


@dataclass(frozen=True)
class Last:
    """The newest backup, as the record itself remembers it."""

    made_at: datetime
    entries: int
    last_hash: str


def backup(
    store: Store,
    file: Path,
    work: Path,
    bar: Bar,
    *,
    lock: sealing.Lock | None = None,
    over: bool = False,
    walked: bool = True,
) -> tuple[Note, bool]:
    """Make a backup, checked, while the program may be in use; return what it tells of itself.

    work    folder where it lies before it is encrypted: never beside the encrypted one
    lock    what it is encrypted for; None: it is not
    over    may it take the place of a file of this name?
    walked  is the chain of the record to be verified in it?
    The record notes the backup and its last hash; whether it could comes back as well. It cannot
    while somebody else writes for long, nor where its tables are not those of this program.
    Errors: NotDone, OSError, DatabaseError.
    """
    if file.exists() and not over:
        raise NotDone(f"There is a file {file} already; choose another name, or let it be "
                      "replaced with --replace.")
    migration = _known(store.migration())
    with _unfinished(work if lock else file.parent) as made:
        note = _copied(store, made, migration, bar)
        _check(made, note, bar, walked)
        if lock:
            with _unfinished(file.parent) as sealed:
                sealing.seal(made, sealed, lock)
                _give_name(sealed, file, over)
        else:
            _give_name(made, file, over)
    return note, _remember(store, note)


def restore(
    store: Store,
    file: Path,
    work: Path,
    bar: Bar,
    *,
    keys: sealing.Keys,
    place: str,
    set_aside: bool = False,
) -> tuple[Note, str]:
    """Make a backup the record of an installation that has none; return its note.

    work        the data folder: what was encrypted lies there while it is read
    place       where the record is to be, as a sentence names it
    set_aside   may a record that is there be moved out of the way? The name it then has comes
                back as well
    The key that signs cookies goes out of the way too: whoever is signed in signs in anew, so that
    nobody goes on as somebody who was signed out after the backup was made.
    Errors: NotDone, OSError, DatabaseError.
    """
    if not file.is_file():
        raise NotDone(f"There is no file {file}.")
    there = _holds(store)
    if there and not set_aside:
        raise NotDone(f"There is a record in {place} already. Restore into an empty place, or let "
                      "the record be moved out of the way, and kept, with --set-aside.")
    aside = f"set-aside-{datetime.now(UTC):%Y%m%dT%H%M%SZ}"
    with _opened(file, keys, work) as plain, sqlite.reading_file(plain) as source:
        note = _read_note(file, source)
        if store.file:
            store.close()  # it asked whether there is a record, and would be somebody else there
            _into_file(store.file, source, note, bar, aside)
        else:
            _into(store, source, note, bar, place, aside if there else "")
    _move(work, aside, KEY_FILE)
    return note, aside if there else ""


def move(file: Path, target: Store, bar: Bar, *, place: str) -> tuple[Note, Path]:
    """Bring the record of a SQLite file into another database; return what it comes to.

    place   where it goes, as a sentence names it
    The file is kept, under another name, which comes back as well. A record that was moved
    already, by a go that was ended before it could say so, is compared and taken as moved.
    Errors: NotDone, OSError, DatabaseError.
    """
    if not file.is_file():
        raise NotDone(f"There is no record {file}.")
    with sqlite.alone(file) as free:
        if not free:
            raise NotDone("The record is in use: end donning-room serve first, so that nothing is "
                          "written that would stay behind.")
        with sqlite.reading_file(file) as source:
            note = _moved(source, target, bar, place)
    kept = _free_name(file, "-moved")
    os.rename(file, kept)
    return note, kept


def copy_before_upgrade(store: Store, bar: Bar) -> Path | None:
    """Keep a copy beside a SQLite record that an upgrade would change; return its name, if any.

    It is a backup as any other. Errors: NotDone, OSError, DatabaseError.
    """
    if store.file is None or not store.is_there():
        return None
    newest, migration = migrations()[0], store.migration()
    if migration in ("", newest):
        return None
    file = _free_name(store.file, f"-before-{newest}")
    # The upgrade does not wait for a chain to be walked, which it does not touch.
    backup(store, file, file.parent, bar, walked=False)
    return file


def last(db: Session) -> Last | None:
    """Return the newest backup that the record knows of."""
    row = db.get(Installation, LAST)
    if row is None:
        return None
    said = json.loads(row.value)
    return Last(datetime.fromisoformat(said["made_at"]), said["entries"], said["last_hash"])


# Making one.


def _copied(store: Store, made: Path, migration: str, bar: Bar) -> Note:
    """Write the tables of one moment into an empty file, and the note; return it."""
    if store.file:
        store.copy_into(made)
        with sqlite.reading_file(made) as there, _steps(bar, "Reading it again", there) as step:
            found = copying.sums(there, step)
            note = _noted(there, found, migration, "SQLite")
    else:
        fresh = Store(f"sqlite:///{made}")
        with store.reading() as db:
            source = db.connection()
            with _steps(bar, "Copying", source, 2) as step, fresh.filling(migration) as target:
                found = copying.fill(source, target, step)
                fresh.settle(target)
            note = _noted(source, found, migration, "PostgreSQL")
        fresh.close()
    _write_note(made, note)
    return note


def _noted(connection: Connection, found: dict[str, Sum], migration: str, database: str) -> Note:
    with Session(connection) as db:
        entries, last_hash = record.count(db), record.last_hash(db)
    return Note(
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
        program=version("donning-room"),
        database=database,
        migration=migration,
        entries=entries,
        last_hash=last_hash,
        sums=found,
    )


def _write_note(file: Path, note: Note) -> None:
    with sqlite.writing_file(file) as connection:
        # A record that is a backup under another name still has the note of that one.
        connection.exec_driver_sql(f"DROP TABLE IF EXISTS {NOTE}")
        connection.exec_driver_sql(f"CREATE TABLE {NOTE} (name TEXT PRIMARY KEY, value TEXT)")
        for name, value in asdict(note).items():
            said = json.dumps(value) if name == "sums" else str(value)
            # The table has a name of ours.
            connection.exec_driver_sql(f"INSERT INTO {NOTE} VALUES (?, ?)", (name, said))  # noqa: S608  # nosec B608


def _check(file: Path, note: Note, bar: Bar, walked: bool) -> None:
    """See to it that what was written is whole. Errors: NotDone."""
    with sqlite.reading_file(file) as connection:
        flaw = sqlite.flaw(connection)
        if flaw:
            raise NotDone(f"What was written cannot be read again ({flaw}). No backup was made; "
                          "look at the disk.", broken=True)
        if walked:
            _walk(connection, note, bar, "The record breaks", "No backup was made; keep those you "
                  "have, and see donning-room verify-record.")


def _remember(store: Store, note: Note) -> bool:
    """Let the record tell of its newest backup, and its log of every one; say whether it does."""
    if note.migration != migrations()[0]:
        return False
    told = {"made_at": note.made_at, "entries": note.entries, "last_hash": note.last_hash}
    try:
        with store.writing() as db:
            row = db.get(Installation, LAST) or Installation(name=LAST, value="")
            row.value = json.dumps(told)
            db.add(row)
            _tell(db, note, "made")
    except DatabaseError:
        return False  # the backup is there, and good, all the same
    return True


def _tell(db: Session, note: Note, deed: str) -> None:
    made = note.made_at.replace("T", " ")[:16]
    changes.note(db, "backup", deed, changes.About(name=f"{made} UTC"), [
        ("entries", "", str(note.entries)), ("hash", "", note.last_hash),
    ])  # fmt: skip


# Bringing one back.


@contextmanager
def _opened(file: Path, keys: sealing.Keys, work: Path) -> Iterator[Path]:
    """Give the SQLite file of a backup, which lies in the data folder where it was encrypted."""
    begins = sealing.kind(file)
    if begins == sealing.PLAIN:
        yield file
    elif not begins:
        raise NotDone(f"The file {file} is no backup of this program, or its beginning is damaged.",
                      broken=True)
    else:
        with _unfinished(work) as plain:
            try:
                sealing.open_into(file, plain, keys)
            except sealing.Unopened as fault:
                raise NotDone(str(fault), broken=fault.broken) from None
            yield plain


def _read_note(file: Path, source: Connection) -> Note:
    """Return what a file tells of itself, its pages looked at first. Errors: NotDone."""
    damaged = NotDone(f"The file {file} is damaged or cut short; take an earlier backup.",
                      broken=True)
    try:
        if sqlite.flaw(source):
            raise damaged
        if not source.dialect.has_table(source, NOTE):
            raise NotDone(f"The file {file} is a database, and no backup of this program.",
                          broken=True)
        # The table has a name of ours.
        said = dict(source.execute(text(f"SELECT name, value FROM {NOTE}")).all())  # noqa: S608  # nosec B608
        if int(said["form"]) > FORM:
            raise NotDone(NewerRecord(f"form {said['form']}").sentence(f"The file {file}"))
        sums = {
            name: Sum(int(one["rows"]), str(one["sha256"]))
            for name, one in json.loads(said.pop("sums")).items()
        }
        note = Note(**said | {"sums": sums, "form": int(said["form"]),
                              "entries": int(said["entries"])})
    except (DatabaseError, KeyError, TypeError, ValueError, UnicodeError):
        raise damaged from None
    _known(note.migration, f"The file {file}")
    return note


def _into_file(record_file: Path, source: Connection, note: Note, bar: Bar, aside: str) -> None:
    """Make a backup the SQLite record; what is there goes out of the way at the last moment."""
    if _is_database(record_file):
        with sqlite.alone(record_file) as free:
            if not free:
                raise NotDone("The record is in use: end donning-room serve first.")
    with _unfinished(record_file.parent) as made:
        fresh = Store(f"sqlite:///{made}")
        _into(fresh, source, note, bar, "", "")
        fresh.close()
        # A journal without its record belongs to another one, and would be taken for this one's.
        for side in ("", *SIDES):
            _move(record_file.parent, aside, record_file.name + side)
        _give_name(made, record_file, over=False)


def _into(
    target: Store, source: Connection, note: Note, bar: Bar, place: str, aside: str
) -> None:
    """Fill fresh tables from a backup, and keep them once all is as its note says."""
    try:
        with target.filling(note.migration, aside) as there:
            with bar("Restoring", 2 * sum(one.rows for one in note.sums.values())) as step:
                found = copying.fill(source, there, step)
            target.settle(there)
            copying.compare(note.sums, found)
            _walk(there, note, bar, "The record in the backup breaks", "Nothing was restored; take "
                  "an earlier backup.")
            if "change" in found:
                with Session(there) as db:
                    _tell(db, note, "restored")
    except NotEmpty:
        raise NotDone(f"There are tables of something else in {place}; give the record a database "
                      "of its own.") from None
    except copying.Unlike as fault:
        raise NotDone(f"The backup is damaged: {fault}. Nothing was restored; take an earlier "
                      "one.", broken=True) from None
    except IntegrityError as fault:
        why = " ".join(str(fault.orig).split())
        raise NotDone(f"The backup is damaged: {why}. Nothing was restored; take an earlier "
                      "one.", broken=True) from None


def _moved(source: Connection, target: Store, bar: Bar, place: str) -> Note:
    """Bring every row over and keep it once it is the same; return what it comes to."""
    migration = _known(_migration_of(source))
    if target.is_there():
        return _there_already(source, target, bar, place, migration)
    try:
        with target.filling(migration) as there:
            with _steps(bar, "Moving", source, 2) as step:
                found = copying.fill(source, there, step)
            target.settle(there)
            note = _noted(source, found, migration, "SQLite")
            _walk(there, note, bar, "The record breaks", "Nothing was moved; see donning-room "
                  "verify-record.")
    except NotEmpty:
        raise NotDone(f"There are tables of something else in {place}; give the record a database "
                      "of its own.") from None
    except copying.Unlike as fault:
        raise NotDone(f"The record cannot be moved: {fault}. Nothing was moved.",
                      broken=True) from None
    return note


def _there_already(
    source: Connection, target: Store, bar: Bar, place: str, migration: str
) -> Note:
    with target.reading() as db, _steps(bar, "Comparing", source, 2) as step:
        try:
            wanted = copying.sums(source, step)
            copying.compare(wanted, copying.sums(db.connection(), step))
        except copying.Unlike:
            raise NotDone(f"There is another record in {place} already; give this one an empty "
                          "database.") from None
    return _noted(source, wanted, migration, "SQLite")


# What they need.


def _holds(store: Store) -> bool:
    """Say whether a place holds a record, or what may have been one."""
    if not store.is_there():
        return False
    if store.file and not _is_database(store.file):
        return store.file.stat().st_size > 0
    try:
        # A first start that was killed leaves a file without tables.
        return store.migration() != ""
    except DatabaseError:
        if store.file:
            return True
        raise


def _is_database(file: Path) -> bool:
    """Say whether SQLite may open a file; of one that it cannot read it would clear the journal."""
    return file.is_file() and sealing.kind(file) == sealing.PLAIN


def _known(migration: str, what: str = "The record") -> str:
    """Return a migration that this program knows. Errors: NotDone."""
    if not migration:
        raise NotDone(f"{what} has no tables: it was never brought to any version.", broken=True)
    try:
        return known_migration(migration)
    except NewerRecord as newer:
        raise NotDone(newer.sentence(what)) from None


def _migration_of(connection: Connection) -> str:
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar() or ""


def _walk(connection: Connection, note: Note, bar: Bar, where: str, then: str) -> None:
    """Verify the chain, and that it ends where the note says. Errors: NotDone."""
    tally = record.Tally()
    with Session(connection) as db, bar("Verifying", note.entries) as step:
        try:
            for found in record.verify(db, tally):
                if found:
                    raise NotDone(f"{where} at entry {found.number}: {found.why}. {then}",
                                  broken=True)
                step(1)
        except (ValueError, KeyError, TypeError, AttributeError):
            # A cell that is not even of its kind: a body that is no JSON.
            raise NotDone(f"{where} after entry {tally.entries}: the next cannot be read. {then}",
                          broken=True) from None
    if (tally.entries, tally.last) != (note.entries, note.last_hash):
        raise NotDone(f"{where}: it does not end where its note says. {then}", broken=True)


@contextmanager
def _steps(bar: Bar, label: str, connection: Connection, times: int = 1) -> Iterator[Step]:
    """Show how far all rows are, which are gone through so many times."""
    with bar(label, times * copying.how_many(connection)) as step:
        yield step


# Files that get their name last.


@contextmanager
def _unfinished(folder: Path) -> Iterator[Path]:
    """Give an empty file, its owner's alone; it goes at the end where it got no name.

    A kill leaves it; it says of itself that it is not finished, and goes a day later.
    """
    begins, ends = UNFINISHED
    for left in folder.glob(f"{begins}*{ends}*"):
        with suppress(OSError):
            if left.stat().st_mtime < time() - DAY_SECONDS:
                left.unlink()
    handle, path = tempfile.mkstemp(prefix=begins, suffix=ends, dir=folder)
    os.close(handle)
    try:
        yield Path(path)
    finally:
        for side in ("", *SIDES):
            Path(path + side).unlink(missing_ok=True)


def _give_name(made: Path, file: Path, over: bool) -> None:
    """Give a file its name once it is on the disk. Errors: NotDone where the name is taken."""
    with made.open("rb+") as opened:
        os.fsync(opened.fileno())
    if over:
        os.replace(made, file)
    else:
        try:
            os.link(made, file)  # which, unlike a renaming, never takes the place of another
        except FileExistsError:
            raise NotDone(f"There is a file {file} by now; it was left as it is.") from None
        except OSError:  # memory sticks know no links
            if file.exists():
                raise NotDone(f"There is a file {file} by now; it was left as it is.") from None
            os.rename(made, file)
    with suppress(OSError):  # Windows opens no folders
        folder = os.open(file.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _move(folder: Path, aside: str, name: str) -> None:
    """Move a file of a folder out of the way, if it is there."""
    if (folder / name).exists():
        (folder / aside).mkdir(mode=0o700, exist_ok=True)
        os.rename(folder / name, folder / aside / name)


def _free_name(file: Path, more: str) -> Path:
    """Return a name beside a file that nothing has yet."""
    found, number = file.with_stem(file.stem + more), 1
    while found.exists():
        number += 1
        found = file.with_stem(f"{file.stem}{more}-{number}")
    return found
