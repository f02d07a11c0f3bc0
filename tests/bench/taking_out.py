"""How quickly the record comes out, and in how much memory, beside plain loops that do the same.

    python -m tests.bench.taking_out [entries ...]

Fills a database of its own with so many entries (10,000 and 1,000,000 where none is named) and
takes them out as CSV beside a plain sqlite3 cursor that hands the very same cells, lying ready in a
table, to csv.writer; as a workbook beside a plain XlsxWriter loop over the same cells; as JSON
lines and as xAPI statements. Rows a second are by the processor's clock, since other work on the
machine is no property of the program. Each of ours runs in a process of its own that imports no
more than it needs; its peak memory is printed with what the program takes before the first row.
Nothing is asserted here.
"""

import csv
import multiprocessing
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import rfc8785
from sqlalchemy import insert

from tests.bench import memory
from tests.services import told
from trainer.services import exporting
from trainer.services.columns import Table
from trainer.services.exporting import Choice
from trainer.store import record
from trainer.store.engine import Store
from trainer.store.tables import Entry

NOW = datetime(2026, 11, 20, 15, tzinfo=UTC)
SIZES = (10_000, 1_000_000)
MOST_OF_SLOW = 100_000
"""Workbooks and statements take minutes for more, and each row takes the same."""
LESSON = {key: value for key, value in told.LESSON.items() if key not in ("started", "completed")}


def entries(count: int) -> Iterator[dict]:
    """Give rows of a record of lessons, with practice and training as a whole among them.

    Unchained: nothing here verifies.
    """
    for number in range(1, count + 1):
        kind = {15: "practice", 16: "training"}.get(number % 17, "lesson")
        at = NOW - timedelta(minutes=count - number)
        who = f"{number // 17 % 50_000:05}"
        body = {
            **(LESSON if kind == "lesson" else told.BODIES[kind]),
            "started": record.moment(at - timedelta(minutes=12)), "completed": record.moment(at),
            "kind": kind, "person_number": who, "worksite": "Bench",
            "happened_on": at.date().isoformat(), "name": f"Bench {who}", "rule_set": "federal",
            "zone": "America/Chicago", "recorded_by": {"number": who, "name": f"Bench {who}"},
        }  # fmt: skip
        digest = sha256(str(number).encode()).hexdigest()
        yield {
            "number": number, "once": str(number), "kind": kind, "person_number": who,
            "worksite": "Bench", "happened_on": at.date(), "recorded_at": record.moment(at),
            "body": rfc8785.dumps(body).decode(), "salt": "", "body_hash": "",
            "previous": str(number), "hash": digest,
        }  # fmt: skip


def fill(path: Path, count: int) -> None:
    """Fill a database, and beside it a table of the cells that its CSV has."""
    store = Store(f"sqlite:///{path}")
    store.upgrade()
    with store.writing() as db:
        batch: list[dict] = []
        for row in entries(count):
            batch.append(row)
            if len(batch) == 5_000:
                db.execute(insert(Entry), batch)
                batch = []
        if batch:
            db.execute(insert(Entry), batch)
    own = exporting.columns_of(Choice())
    flat = sqlite3.connect(path.with_suffix(".flat"))
    flat.execute("PRAGMA synchronous=OFF")
    flat.execute(f"CREATE TABLE flat ({', '.join(f'c{at} TEXT' for at in range(len(own)))})")
    cells = Table(own).cells
    with store.reading() as db:
        flat.executemany(
            f"INSERT INTO flat VALUES ({', '.join('?' * len(own))})",
            (cells(*fact) for fact in exporting.facts(db, Choice())),
        )
    flat.commit()
    flat.close()
    store.close()


# Each of these goes through all entries and returns how many bytes it wrote.


def plain_csv(path: Path) -> int:
    """Hand every row of a sqlite3 cursor to csv.writer, and do nothing else."""
    flat = sqlite3.connect(path.with_suffix(".flat"))
    with path.with_suffix(".plain.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\r\n")
        for row in flat.execute("SELECT * FROM flat"):
            writer.writerow(row)
        return file.tell()


def our_csv(path: Path) -> int:
    """Take the record out as CSV."""
    with path.with_suffix(".our.csv").open("w", encoding="utf-8", newline="") as file:
        with Store(f"sqlite:///{path}").reading() as db:
            file.writelines(exporting.csv_lines(db, Choice()))
        return file.tell()


def our_json_lines(path: Path) -> int:
    """Take the record out as JSON lines."""
    with Store(f"sqlite:///{path}").reading() as db:
        return sum(map(len, exporting.json_lines(db, Choice())))


def our_statements(path: Path) -> int:
    """Take the record out as xAPI statements."""
    from trainer.services import statements

    with Store(f"sqlite:///{path}").reading() as db:
        return sum(map(len, statements.lines(db, Choice(), "https://bench.invalid/", NOW)))


def plain_workbook(path: Path) -> int:
    """Hand every row of a sqlite3 cursor to XlsxWriter as it is meant: typed, with formats."""
    import xlsxwriter

    flat = sqlite3.connect(path.with_suffix(".flat"))
    out = path.with_suffix(".plain.xlsx")
    book = xlsxwriter.Workbook(out, {"constant_memory": True})
    sheet = book.add_worksheet()
    moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
    kinds = [one.type for one in exporting.columns_of(Choice())]
    for at, row in enumerate(flat.execute("SELECT * FROM flat")):
        for place, (cell, kind) in enumerate(zip(row, kinds, strict=True)):
            if not cell:
                continue
            if kind == "text":
                sheet.write_string(at, place, cell)
            elif kind == "number":
                sheet.write_number(at, place, int(cell))
            else:
                when = datetime.fromisoformat(cell).replace(tzinfo=None)
                sheet.write_datetime(at, place, when, moment)
    book.close()
    return out.stat().st_size


def our_workbook(path: Path) -> int:
    """Take the record out as a workbook."""
    from trainer.services import workbook

    out = path.with_suffix(".our.xlsx")
    with Store(f"sqlite:///{path}").reading() as db, out.open("w+b") as file:
        workbook.write(db, Choice(), file, NOW)
    return out.stat().st_size


def _apart(do: Callable[[Path], int], path: Path, told_to) -> None:
    before = memory.peak()
    begun = time.process_time()
    size = do(path)
    taken = time.process_time() - begun
    told_to.send((taken, size, before, memory.peak()))


def measured(do: Callable[[Path], int], path: Path) -> tuple[float, int, int, int]:
    """Return seconds, bytes written, and KiB of memory before and at the peak, of a fresh process.

    The better of two goes: what else the machine does makes a loop slower and never quicker.
    """
    spawn = multiprocessing.get_context("spawn")
    found = []
    for _ in range(2):
        ours, theirs = spawn.Pipe()
        child = spawn.Process(target=_apart, args=(do, path, theirs))
        child.start()
        found.append(ours.recv())
        child.join()
    return min(found)


def main(sizes: list[int]) -> None:
    """Print rows a second and the peak of memory of each."""
    with tempfile.TemporaryDirectory() as folder:
        for count in sizes:
            path = Path(folder) / f"{count}.sqlite"
            fill(path, count)
            slow = ((None, our_statements), (plain_workbook, our_workbook))
            for plain, ours in (
                (plain_csv, our_csv), (None, our_json_lines),
                *(slow if count <= MOST_OF_SLOW else ()),
            ):  # fmt: skip
                first = measured(plain, path)[0] if plain else None
                taken, size, before, peak = measured(ours, path)
                beside = f", {first / taken:.0%} of {count / first:,.0f} plain" if first else ""
                sys.stdout.write(
                    f"{count:,} {ours.__name__}: {count / taken:,.0f} rows/s{beside}; "
                    f"{size / count:.0f} bytes a row; peak {peak / 1024:.0f} MiB, "
                    f"{(peak - before) / 1024:.0f} of it for the rows\n"
                )
                sys.stdout.flush()


if __name__ == "__main__":
    main([int(one) for one in sys.argv[1:]] or list(SIZES))
