"""Sixteen clients writing at once: how evenly they come to their turn, and how long they wait.

    python -m tests.bench.writers [--database sqlite|postgresql] [--seconds 10]

Each keeps answers in a sitting of their own, one after another without a pause, in three ways: as
threads of one process, as threads of four processes, and as browsers of a default server over the
wire. Beside them a plain loop that writes a page of a file and calls fdatasync. Prints for each way
the writes a second, the slowest client as a share of the mean, the longest wait (for the turn; over
the wire for the page, which is made by the same six threads) and how many failed. Nothing is
asserted, since a machine's speed is no property of the program; with other work on the machine a
wait holds the time in which another process had the processor.
"""

import argparse
import multiprocessing
import os
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from statistics import mean, median
from threading import Thread

from argon2 import PasswordHasher

from tests.conftest import PASSPHRASE
from tests.databases import BOTH, Databases, durable
from tests.durability.client import BROKEN_OFF, Client, post
from tests.durability.nursery import nursery
from trainer import lessons
from trainer.services import joining, learning, signing_in, sitting
from trainer.store.engine import Store
from trainer.store.tables import Person, Sitting

CLIENTS, PROCESSES = 16, 4
LESSON = "protection-factors"
PAGE = 4096  # bytes


@dataclass
class Count:
    """What one client met."""

    writes: int = 0
    failed: int = 0
    longest: float = 0.0  # seconds

    def met(self, seconds: float) -> None:
        """Note a write and how long it was waited for."""
        self.writes += 1
        self.longest = max(self.longest, seconds)


def floor(folder: Path, seconds: float) -> float:
    """Return the median time of writing a page and fdatasync, in seconds."""
    taken, ends = [], time.monotonic() + seconds
    at = os.open(folder / "floor", os.O_CREAT | os.O_WRONLY)
    while time.monotonic() < ends:
        began = time.perf_counter()
        os.pwrite(at, os.urandom(PAGE), 0)
        os.fdatasync(at)
        taken.append(time.perf_counter() - began)
    os.close(at)
    return median(taken)


def opened(store: Store) -> list[tuple[Person, int, int]]:
    """Add the clients, each with an open sitting; return them with its number and a position."""
    lesson, now = lessons.load().get(LESSON), datetime.now(UTC)
    hashed = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSPHRASE)
    found = []
    with store.writing() as db:
        site = joining.add_worksite(
            db, name="Joinery", time_zone="America/Chicago", ask_name="R. Odell",
            ask_place="Bench 1", ask_telephone="555 0142", ask_hours="6:00 to 15:00",
        )  # fmt: skip
        for at in range(CLIENTS):
            person = joining.add_person(
                db, now, number=f"w{at:03}", name=f"Lee {at}", roles=["worker"],
                worksites=[site.id], seed=f"{at}",
            )  # fmt: skip
            signing_in.set_passphrase(db, person, hashed)
            for section in lesson.sections:
                learning.finish_section(db, person, lesson, section.id, now)
            there = sitting.begin(db, person, lesson, now)
            problem = next(one for one in sitting.shown(db, there) if one.problem)
            found.append((person, there.id, problem.item.position))
    return found


def side_by_side(clients: int, work: Callable[[int, Count], None]) -> list[Count]:
    """Let so many threads work, and return what each met."""
    counts = [Count() for _ in range(clients)]
    threads = [Thread(target=work, args=(at, counts[at])) for at in range(clients)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return counts


def by_the_store(
    address: str,
    of: list[tuple[int, int]],
    seconds: float,
    ready: Callable[[], object] = lambda: None,
) -> list[Count]:
    """Let threads of this process write into sittings; of each its number and a position.

    ready   waits until others are
    """
    store = Store(address)
    lessons.load()
    with store.reading() as db:
        sitting.shown(db, db.get(Sitting, of[0][0]))  # what is read once a process is read here
    ready()
    ends = time.monotonic() + seconds

    def work(at: int, count: Count) -> None:
        number, position = of[at]
        while time.monotonic() < ends:
            asked = time.perf_counter()
            try:
                with store.writing() as db:
                    there = db.get(Sitting, number)  # the turn begins with the first question
                    waited = time.perf_counter() - asked
                    sitting.answer(db, there, position, [str(count.writes)], datetime.now(UTC))
                count.met(waited)
            except Exception as fault:
                if not store.why(fault):
                    raise
                count.failed += 1

    counts = side_by_side(len(of), work)
    store.close()
    return counts


def by_processes(address: str, of: list[tuple[int, int]], seconds: float) -> list[Count]:
    """Let the clients be threads of several processes, which begin together."""
    context, each = multiprocessing.get_context("spawn"), len(of) // PROCESSES
    together, came = context.Barrier(PROCESSES), context.Queue()
    processes = [
        context.Process(
            target=_one_process,
            args=(address, of[at * each : (at + 1) * each], seconds, together, came),
        )
        for at in range(PROCESSES)
    ]
    for one in processes:
        one.start()
    counts = [count for _ in processes for count in came.get()]
    for one in processes:
        one.join()
    return counts


def _one_process(address: str, of: list[tuple[int, int]], seconds: float, together, came) -> None:
    came.put(by_the_store(address, of, seconds, together.wait))


def over_the_wire(
    folder: Path, address: str, of: list[tuple[Person, int, int]], seconds: float
) -> list[Count]:
    """Let the clients be browsers of a default server."""
    with nursery(folder, address) as servers:
        server = servers.start()
        browsers = [Client() for _ in of]
        for browser, (person, _, _) in zip(browsers, of, strict=True):
            browser.sign_in(server.port, person.number)
        ends = time.monotonic() + seconds

        def work(at: int, count: Count) -> None:
            _, number, position = of[at]
            while time.monotonic() < ends:
                asked = time.perf_counter()
                form = post(f"/sittings/{number}/{position}", answer=str(count.writes))
                try:
                    status = browsers[at].send(server.port, form).status
                except BROKEN_OFF:
                    status = 0
                if status == 303:
                    count.met(time.perf_counter() - asked)
                else:
                    count.failed += 1

        counts = side_by_side(len(of), work)
        server.kill()
        return counts


def line(way: str, counts: list[Count], seconds: float) -> str:
    """Return what a way came to."""
    of_each = [one.writes for one in counts]
    return (
        f"{way:>24} {sum(of_each) / seconds:9.0f} {min(of_each) / max(mean(of_each), 1):9.0%} "
        f"{1000 * max(one.longest for one in counts):10.1f} {sum(one.failed for one in counts):7}"
    )


@contextmanager
def works(databases: Databases, kind: str) -> Iterator[tuple[Path, Store]]:
    """Give a folder and an empty database."""
    with tempfile.TemporaryDirectory() as name:
        store = databases.fresh(durable(kind), Path(name))
        yield Path(name), store
        store.close()


def main() -> None:
    """Measure the three ways and print a table."""
    reader = argparse.ArgumentParser(prog="python -m tests.bench.writers")
    reader.add_argument("--database", choices=BOTH, default=BOTH[0])
    reader.add_argument("--seconds", type=float, default=10.0)
    asked = reader.parse_args()
    databases = Databases()
    try:
        with works(databases, asked.database) as (folder, store):
            of = opened(store)
            bare = [(number, position) for _, number, position in of]
            print(f"fdatasync of a page: {1000 * floor(folder, asked.seconds / 4):.2f} ms")
            print(f"{asked.database:>24}  writes/s  slowest  longest ms  failed")
            for way, measure in (
                ("threads of one process",
                 lambda: by_the_store(store.url, bare, asked.seconds)),
                (f"of {PROCESSES} processes",
                 lambda: by_processes(store.url, bare, asked.seconds)),
                ("over the wire",
                 lambda: over_the_wire(folder, store.url, of, asked.seconds)),
            ):  # fmt: skip
                print(line(way, measure(), asked.seconds), flush=True)
            print(f"fdatasync of a page: {1000 * floor(folder, asked.seconds / 4):.2f} ms")
    finally:
        databases.close()


if __name__ == "__main__":
    main()
