"""Several processes write into one record: the chain never forks, and nothing is lost."""

import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from operator import ne
from pathlib import Path
from time import monotonic, sleep

import pytest
from sqlmodel import select

from trainer.store import record
from trainer.store.engine import Store
from trainer.store.record import Asked
from trainer.store.tables import Entry

pytestmark = pytest.mark.both_databases

ROOT = Path(__file__).parent.parent.parent
PROCESSES = 4
EACH = 20
PATIENCE = 120  # seconds, on a busy machine
ALL_DAYS = (date.min, date.max)

WRITER = """
import random, sys, time
from datetime import UTC, date, datetime
from trainer.store import record
from trainer.store.engine import Store

address, name, first, end, of, hold = sys.argv[1], sys.argv[2], *map(int, sys.argv[3:])
deeds = [deed % of for deed in range(first, end)]
chance = random.Random(name)
chance.shuffle(deeds)
store = Store(address)
print("ready", flush=True)
sys.stdin.readline()
for deed in deeds:
    with store.writing() as db:
        number = record.append(
            db, once=f"deed:{deed}", kind="lesson", person_number="00417",
            worksite="Laminating Loft", happened_on=date(2026, 3, 9), body={"by": name},
            now=datetime.now(UTC),
        ).number
        if hold:
            print("holding", flush=True)
            sys.stdin.readline()
    # Only now is it acknowledged, as a page is that answers after writing().
    print(deed, number, flush=True)
    time.sleep(chance.uniform(0, 0.01))
"""


@dataclass
class Writer:
    """A process that writes, and what it acknowledged: the number of the entry by deed."""

    process: subprocess.Popen
    said: list[str] = field(default_factory=list)

    def begin(self) -> None:
        """Let it write."""
        self.process.stdin.write("go\n")
        self.process.stdin.flush()

    def kill(self) -> None:
        """End it in the middle of whatever it does."""
        self.process.kill()  # SIGKILL
        self.process.wait()

    def listen(self) -> None:
        """Hear what it says until it ends."""
        for line in self.process.stdout:
            # A line without its end was cut off by the kill and acknowledges nothing.
            if line.endswith("\n"):
                self.said.append(line.strip())

    @property
    def acknowledged(self) -> dict[int, int]:
        """Return the numbers of the entries by deed."""
        pairs = [line.split() for line in self.said if " " in line]
        return {int(deed): int(number) for deed, number in pairs}


@contextmanager
def writers(
    store: Store, *slices: tuple[int, int], of: int, hold: bool = False
) -> Iterator[list[Writer]]:
    """Give a process for each slice of the deeds, all ready to write; end them all."""
    there, hearing = [], []
    for at, (first, end) in enumerate(slices):
        there.append(Writer(subprocess.Popen(
            [sys.executable, "-c", WRITER, store.url, f"writer {at}", str(first), str(end),
             str(of), str(int(hold))],
            cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )))  # fmt: skip
        hearing.append(threading.Thread(target=there[-1].listen))
        hearing[-1].start()
    try:
        wait_until(lambda: all("ready" in one.said for one in there))
        yield there
    finally:
        for one in there:
            one.kill()
        for thread in hearing:
            thread.join()
        for one in there:
            one.process.stdin.close()
            one.process.stdout.close()


def wait_until(done: Callable[[], bool]) -> None:
    """Wait for something, as long as a busy machine may take."""
    ends = monotonic() + PATIENCE
    while not done():
        assert monotonic() < ends, "it takes too long"
        sleep(0.01)


def check(store: Store, there: list[Writer]) -> list[str]:
    """Check that the chain is whole and holds what was acknowledged; return its deeds in order."""
    fresh = Store(store.url)
    with fresh.reading() as db:
        assert [one for one in record.verify(db) if one] == []
        entries = list(db.exec(select(Entry).order_by(Entry.number)))
    fresh.close()
    # Verifying walks from one to the next, so what is counted here is all there is.
    assert [one.number for one in entries] == list(range(1, len(entries) + 1))
    assert len({one.previous for one in entries}) == len(entries)
    by_number = {one.number: one.once for one in entries}
    for writer in there:
        for deed, number in writer.acknowledged.items():
            assert by_number[number] == f"deed:{deed}"
    return [one.once for one in entries]


def test_processes_side_by_side_make_one_chain_and_a_deed_sent_twice_one_entry(store):
    """Each deed is sent by two of the processes, at moments that nobody chose."""
    of = PROCESSES * EACH
    slices = [(at * EACH, (at + 2) * EACH) for at in range(PROCESSES)]
    with writers(store, *slices, of=of) as there:
        for one in there:
            one.begin()
        wait_until(lambda: all(one.process.poll() is not None for one in there))
    assert [len(one.acknowledged) for one in there] == [2 * EACH] * PROCESSES
    deeds = check(store, there)
    assert sorted(deeds) == sorted(f"deed:{deed}" for deed in range(of))
    assert takes_turns(store)


def takes_turns(store: Store) -> bool:
    """Say whether the processes wrote by turns: one after another they would prove nothing."""
    with store.reading() as db:
        by = [record.body(one)["by"] for one in record.between(db, Asked(*ALL_DAYS, ("lesson",)))]
    return len(set(by)) == PROCESSES and sum(map(ne, by, by[1:])) >= 2 * PROCESSES


def test_killing_processes_that_write_loses_nothing_that_was_acknowledged(store):
    many = 100_000
    slices = [(at * many, (at + 1) * many) for at in range(PROCESSES)]
    with writers(store, *slices, of=PROCESSES * many) as there:
        for one in there:
            one.begin()
        wait_until(lambda: all(len(one.acknowledged) >= 5 for one in there))
        for at, one in enumerate(there[:-1]):
            one.kill()
            left = there[at + 1 :]
            before = [len(other.acknowledged) for other in left]
            # The others go on: whoever died held no turn for ever.
            wait_until(lambda left=left, before=before: all(
                len(other.acknowledged) > was + 3
                for other, was in zip(left, before, strict=True)
            ))  # fmt: skip
    deeds = check(store, there)
    acknowledged = sum(len(one.acknowledged) for one in there)
    # What a process did and had no time to say is there as well, one each at the most.
    assert acknowledged <= len(deeds) <= acknowledged + PROCESSES


def test_a_process_killed_in_its_turn_leaves_nothing_and_the_next_writes(store):
    with writers(store, (0, 1), of=1, hold=True) as [holder]:
        holder.begin()
        wait_until(lambda: "holding" in holder.said)
        holder.kill()
        with store.writing() as db:
            assert record.count(db) == 0
            record.append(
                db, once="deed:1", kind="lesson", person_number="00417", worksite="Joinery",
                happened_on=date(2026, 3, 9), body={}, now=datetime.now(UTC),
            )
    assert check(store, [holder]) == ["deed:1"]
