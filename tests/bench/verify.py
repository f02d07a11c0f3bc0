"""How fast the record is verified, beside the bare work of reading and hashing it.

    python -m tests.bench.verify 100000 1000000

Makes a record of so many entries, chained as the program chains them, then walks it three ways in
processes of their own: the bare loop (sqlite3 hands over each stored row, hashlib hashes its body
and its head), `record.verify`, and the command with its progress bar. Prints seconds, entries per
second and peak memory of each; nothing is asserted here, since a machine's speed is no property of
the program.
"""

import json
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

from tests.bench import memory
from trainer.store import record
from trainer.store.engine import Store

TIMES = 3
"""Each way is walked so often, the quickest counts; a record of MANY entries once."""

MANY = 500_000
COLUMNS = (
    "once", "kind", "person_number", "worksite", "happened_on", "recorded_at", "body", "salt",
    "body_hash", "previous", "hash",
)  # fmt: skip
KINDS = ("lesson", "lesson", "lesson", "practice", "fit-test")
WORKSITES = ("Blast Shed", "Laminating Loft", "Spray Hall", "Joinery", "Tank Pit")
TITLE = "How much a respirator holds back, and where it does not"


def body(number: int) -> dict:
    """Return a body as long as one of a lesson is."""
    return {
        "asked": 10, "completed": "2026-03-09T14:30:05.000250Z",
        "elements": ["(k)(1)(i)", "(k)(1)(ii)", "(k)(1)(vii)"], "happened_on": "2026-03-09",
        "kind": KINDS[number % 5], "language": "es", "lesson": "protection-factors",
        "mode": "read", "must_asked": 4, "must_right": 4, "name": "Imara Sollis Añil",
        "person_number": f"{number % 50_000:05}", "questions_answered": 1, "questions_asked": 1,
        "reason": "yearly", "recorded_by": {"name": "Imara Sollis", "number": "00417"},
        "right": 9, "rule_set": "federal", "sittings": 1,
        "started": "2026-03-09T14:10:05.000250Z", "title": TITLE, "version": "a" * 64,
        "worksite": WORKSITES[number % 5], "worksite_part": {}, "zone": "America/Chicago",
    }  # fmt: skip


def rows(count: int) -> Iterator[tuple]:
    """Give chained rows, in the order of the table's columns."""
    previous = record.BEGINNING
    for number in range(1, count + 1):
        said = body(number)
        text = json.dumps(said, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        salt = f"{number:032x}"
        body_hash = sha256(f"{salt}{text}".encode()).hexdigest()
        head = (number, f"sitting:{number}", said["kind"], said["completed"], previous, body_hash)
        hash_ = sha256(record._head(*head)).hexdigest()
        yield (
            number, head[1], said["kind"], said["person_number"], said["worksite"],
            said["happened_on"], said["completed"], text, salt, body_hash, previous, hash_,
        )  # fmt: skip
        previous = hash_


def fill(folder: Path, count: int) -> None:
    """Make a record of so many entries.

    Without the indexes, which take most of the time to fill and play no part in a walk in order.
    """
    store = Store(f"sqlite:///{folder / 'record.sqlite'}")
    store.upgrade()
    store.close()
    with sqlite3.connect(folder / "record.sqlite") as db:
        for pragma in ("synchronous=OFF", "journal_mode=OFF", "cache_size=-600000"):
            db.execute(f"PRAGMA {pragma}")
        db.execute("DROP TABLE entry")
        db.execute(f"CREATE TABLE entry (number INTEGER PRIMARY KEY, {', '.join(COLUMNS)})")
        db.executemany(f"INSERT INTO entry VALUES ({','.join('?' * 12)})", rows(count))
    db.close()


def bare(folder: Path) -> int:
    """Read and hash every stored row, and compare nothing."""
    db = sqlite3.connect(folder / "record.sqlite")
    query = (
        "SELECT number, once, kind, recorded_at, body, salt, body_hash, previous FROM entry "
        "ORDER BY number"
    )
    count = 0
    for number, once, kind, at, text, salt, body_hash, before in db.execute(query):
        sha256((salt + text).encode()).hexdigest()
        sha256(f"{body_hash}{kind}{number}{once}{before}{at}".encode()).hexdigest()
        count += 1
    return count


def ours(folder: Path) -> int:
    """Verify the record as the program does."""
    store = Store(f"sqlite:///{folder / 'record.sqlite'}")
    with store.reading() as db:
        found = [one for one in record.verify(db) if one]
        assert not found, found
        return record.count(db)


def command(folder: Path) -> int:
    """Verify the record with the command, its progress bar drawn into a file."""
    from trainer.cli import commands

    commands.main(["verify-record", "--data", str(folder)])
    return 0


WAYS = {"bare": bare, "verify": ours, "command": command}


def measured(way: str, folder: Path) -> tuple[float, float]:
    """Return seconds of the processor and peak memory in MiB of one way, in its own process."""
    again = [sys.executable, "-m", "tests.bench.verify", "--way", way, str(folder)]
    done = subprocess.run(again, capture_output=True, text=True, check=True)
    seconds, peak = done.stdout.splitlines()[-1].split()
    return float(seconds), float(peak)


def one_way(way: str, folder: Path) -> None:
    """Walk the record one way and print what it took, once this process is ready."""
    begun = time.process_time()
    try:
        WAYS[way](folder)
    except SystemExit as left:
        assert not left.code, left
    taken = time.process_time() - begun
    print(f"\n{taken:.3f} {memory.peak() / 1024:.1f}")


def main(counts: list[int]) -> None:
    """Measure each size and print a table."""
    print("  entries      way  seconds  entries/s times bare    MiB")
    for count in counts:
        with tempfile.TemporaryDirectory() as folder:
            # In a process of its own: what a parent once held counts as a child's peak memory.
            again = [sys.executable, "-m", "tests.bench.verify", "--fill", folder, str(count)]
            subprocess.run(again, check=True)
            plain = None
            for way in WAYS:
                times = TIMES if count < MANY else 1
                seconds, peak = min(measured(way, Path(folder)) for _ in range(times))
                plain = plain or seconds
                print(
                    f"{count:9,} {way:>8} {seconds:8.2f} {count / seconds:10,.0f} "
                    f"{seconds / plain:10.2f} {peak:6.1f}",
                    flush=True,
                )


if __name__ == "__main__":
    if sys.argv[1] == "--way":
        one_way(sys.argv[2], Path(sys.argv[3]))
    elif sys.argv[1] == "--fill":
        fill(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        main([int(one) for one in sys.argv[1:]])
