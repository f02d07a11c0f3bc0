"""How long a roster of 50,000 lines takes, beside plain executemany of the same rows.

    python -m tests.bench.roster [LINES]

Each in the same run and on the same disk: the file read and its lines tried, done in one
transaction (and how long that holds up every other writer), the same file again, one that
changes everybody's language, one that brings a respirator for everybody, and the first taken
back. Prints seconds and the peak of memory; nothing is asserted here, since a machine's speed is
no property of the program.
"""

import csv
import io
import random
import sqlite3
import sys
import tempfile
import time
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from sqlmodel import select

from tests.bench import memory
from trainer import config
from trainer.services import errands, importing, joining
from trainer.services.scribe import Scribe
from trainer.store import imports
from trainer.store.engine import Store
from trainer.store.tables import Errand, ImportRun, Person

LINES = 50_000
PLACES = 40
FIRST = ("Imara", "Ravi", "Lucía", "Tomás", "Wren", "Noor", "Joaquín", "Adaeze", "Linh", "Renske",
         "Calder", "Óscar", "Ines", "Bram")  # fmt: skip
PARTS = ("Ode", "Thorn", "Pedre", "Varn", "Whits", "Sol", "Mar", "Kest", "Bel", "Aldr", "Fenn",
         "Gor", "Hux", "Jarr", "Lund", "Quil")  # fmt: skip
ENDS = ("low", "gosa", "ham", "vale", "by", "lis", "sh", "ova", "ton", "mere", "wick", "dane")
WORN = ("apr-half", "Invented Aldermoor", "Half 2", "elastomeric", "M")


def table(lines: int, language: str = "en", worn: bool = False) -> bytes:
    """Return a roster as CSV: the same people each time, drawn from invented names."""
    drawn = random.Random(7)
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["worker number", "name", "worksite", "language", "respirator class", "make",
                     "model", "style", "size"])  # fmt: skip
    for at in range(lines):
        name = f"{drawn.choice(FIRST)} {drawn.choice(PARTS)}{drawn.choice(ENDS)} {_letters(at)}"
        worn_by = WORN if worn else ("",) * 5
        writer.writerow([f"B{at:06}", name, f"Works {at % PLACES}", language, *worn_by])
    return out.getvalue().encode()


def _letters(at: int) -> str:
    """Return a surname of its own for each number: five letters that look like no other's."""
    drawn = random.Random(at)
    return "".join(drawn.choice("bcdfghjklmnprstvz") + drawn.choice("aeiou") for _ in range(4))


@contextmanager
def timed(what: str, held: list[tuple[float, float]]):
    """Print what something takes, and how long it holds the lock of the writers."""
    begun, busy = time.perf_counter(), time.process_time()
    yield
    wall, busy = time.perf_counter() - begun, time.process_time() - busy
    lock = ", longest lock {:.2f} s ({:.2f} s of the processor)".format(*max(held)) if held else ""
    sys.stdout.write(
        f"{what}: {wall:.2f} s ({busy:.2f} s of the processor){lock}, "
        f"peak {memory.peak() // 1024} MB\n"
    )
    sys.stdout.flush()


class Watched(Store):
    """A store that notes how long each transaction held the lock."""

    def __init__(self, url: str) -> None:
        super().__init__(url)
        self.held: list[tuple[float, float]] = []

    @contextmanager
    def writing(self, *given, **more):
        """Give a session to write with, and note how long it was open."""
        with super().writing(*given, **more) as session:
            begun, busy = time.perf_counter(), time.process_time()
            yield session
            session.flush()
        self.held.append((time.perf_counter() - begun, time.process_time() - busy))


def plain(folder: Path) -> tuple[float, float]:
    """Write the rows that a run made into a fresh database by executemany; return the seconds."""
    source = sqlite3.connect(folder / "record.sqlite")
    path = folder / "plain.sqlite"
    target = sqlite3.connect(path)
    target.execute("PRAGMA journal_mode=WAL")
    target.execute("PRAGMA synchronous=FULL")
    names = ("person", "person_role", "membership", "standing", "respirator")
    rows = {}
    for name in names:
        for (sql,) in source.execute(
            "SELECT sql FROM sqlite_master WHERE tbl_name = ? AND sql IS NOT NULL", (name,)
        ):
            target.execute(sql)
        rows[name] = source.execute(f"SELECT * FROM {name}").fetchall()
    target.commit()
    begun, busy = time.perf_counter(), time.process_time()
    target.execute("BEGIN IMMEDIATE")
    for name, given in rows.items():
        if given:
            marks = ", ".join("?" * len(given[0]))
            target.executemany(f"INSERT INTO {name} VALUES ({marks})", given)
    target.commit()
    taken = time.perf_counter() - begun, time.process_time() - busy
    target.close()
    path.unlink()
    return taken


def bring(store: Watched, by: Person, data: bytes) -> ImportRun:
    """Bring a file and try its lines."""
    scribe = Scribe(by, datetime.now(UTC), config.read().zone)
    seen = importing.prepare("roster", data)
    with store.writing() as db:
        run = importing.bring(db, scribe, "roster", "bench.csv", data, str(time.time_ns()), seen)
        found = importing.matched_of(run)["columns"]
        importing.match(db, scribe, run, columns=found, worksite=0, days="iso", language="en")
    errands.run_all(store)
    return run


def do(store: Watched, by: Person, run: ImportRun) -> str:
    """Decide that whoever looks alike is somebody else, and do a run; return what came of it."""
    scribe = Scribe(by, datetime.now(UTC), config.read().zone)
    with store.writing() as db:
        kept = db.get(ImportRun, run.id)
        importing.decide_all(db, kept, "doubtful", "other")
        seen = importing.foreseen(db, kept)
        importing.ask_do(db, scribe, kept, seen, "k", "en")
    store.held.clear()
    errands.run_all(store)
    return _last(store)


def undo(store: Watched, by: Person, run: ImportRun) -> str:
    """Take a run back."""
    scribe = Scribe(by, datetime.now(UTC), config.read().zone)
    with store.writing() as db:
        importing.ask_undo(db, scribe, db.get(ImportRun, run.id), "en")
    store.held.clear()
    errands.run_all(store)
    return _last(store)


def _last(store: Watched) -> str:
    with store.reading() as db:
        errand = db.exec(select(Errand).order_by(Errand.id.desc())).first()
        return f"{errand.state} {errand.said}"


def main() -> None:
    """Print what each takes."""
    lines = int(sys.argv[1]) if len(sys.argv) > 1 else LINES
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = Watched(config.read(data=folder).database_url)
        store.upgrade()
        with store.writing() as db:
            for at in range(PLACES):
                joining.add_worksite(
                    db, name=f"Works {at}", time_zone="UTC", ask_name="A", ask_telephone="555 0100"
                )
            by = joining.add_person(
                db, datetime.now(UTC), number="1", name="Bench", roles=["coordinator"]
            )
        store.held.clear()
        with timed(f"{lines:,} new lines read and tried", store.held):
            run = bring(store, by, table(lines))
        with store.reading() as db:
            sys.stdout.write(f"  {imports.tally(db, run.id)} {imports.doubts(db, run.id)}\n")
        store.held.clear()
        with timed("done", store.held):
            said = do(store, by, run)
        sys.stdout.write(f"  {said}\n")
        store.held.clear()
        sys.stdout.write(
            "executemany of the same rows: {:.2f} s ({:.2f} s of the processor)\n".format(
                *plain(folder)
            )
        )
        with timed("the same file again, read and tried", store.held):
            again = bring(store, by, table(lines))
        with store.reading() as db:
            sys.stdout.write(f"  {imports.tally(db, again.id)}\n")
        for what, data in (
            ("another language for everybody", table(lines, "es")),
            ("a respirator for everybody", table(lines, "es", worn=True)),
        ):
            store.held.clear()
            with timed(f"{what}, tried", store.held):
                changed = bring(store, by, data)
            store.held.clear()
            with timed(f"{what}, done", store.held):
                said = do(store, by, changed)
            sys.stdout.write(f"  {said}\n")
            store.held.clear()
            with timed(f"{what}, taken back", store.held):
                said = undo(store, by, changed)
            sys.stdout.write(f"  {said}\n")
        store.held.clear()
        with timed("the first, taken back", store.held):
            said = undo(store, by, run)
        sys.stdout.write(f"  {said}\n")
        store.close()


if __name__ == "__main__":
    main()
