"""A server whose database or disk is hindered under the hands of people at work.

Sixteen people work as in `killing`, another one reads pages. The hindrance is real: another program
holds the database; a disk of its own is filled to its last block, or mounted to be read alone.
Whoever is told that nothing was saved sends the same form again, as a browser does, and nobody
starts the server anew; afterwards everything acknowledged is looked up.
"""

import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event, Thread
from time import monotonic, sleep

from tests.databases import Databases
from tests.durability.client import BROKEN_OFF, Client, get
from tests.durability.killing import MOST_DEEDS, Lost, Works, opened
from tests.durability.nursery import nursery

DISK = "size=32m"
PATIENCE = 120.0  # seconds, on a busy machine

_HOLD = """
import sqlite3, sys
other = sqlite3.connect(sys.argv[1], isolation_level=None, timeout=60)
other.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.read()
other.execute("ROLLBACK")
"""


@contextmanager
def hold(works: Works) -> Iterator[None]:
    """Hold the database from a process of its own, as another program does that writes."""
    with subprocess.Popen(
        [sys.executable, "-c", _HOLD, str(works.store.file)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    ) as other:  # fmt: skip
        assert other.stdout.readline() == "held\n"
        yield
        other.stdin.close()


@contextmanager
def full(works: Works) -> Iterator[None]:
    """Fill the disk to its last block, and take whatever room others give back."""
    other, over = works.store.file.parent / "other", Event()

    def fill() -> None:
        with other.open("wb", buffering=0) as file:
            while not over.wait(0.01):
                with suppress(OSError):
                    while True:
                        file.write(b"0" * 512)

    filling = Thread(target=fill)
    filling.start()
    try:
        yield
    finally:
        over.set()
        filling.join()
        other.unlink()


@contextmanager
def read_only(works: Works) -> Iterator[None]:
    """Mount the disk to be read alone; Linux does so once nobody writes to a file on it."""
    works.store.close()
    _mount("remount,ro", works.store.file.parent)
    try:
        yield
    finally:
        _mount("remount,rw", works.store.file.parent)


HINDRANCES = {"hold": hold, "full": full, "read-only": read_only}


@dataclass
class Seen:
    """What was seen, in seconds."""

    pages: Counter = field(default_factory=Counter)  # read, by status
    longest_page: float = 0.0
    first_told: float | None = None  # after it began
    kept: int = 0  # deeds acknowledged while it lasted
    went_on: float = 0.0  # from the cure to the next deed acknowledged
    told: Counter = field(default_factory=Counter)  # sentences to people whose form was put off

    def lines(self) -> Iterator[str]:
        """Give it in words."""
        yield from (f"told {times} times: {words}" for words, times in self.told.most_common())
        first = "nobody" if self.first_told is None else f"after {self.first_told:.1f} s"
        yield f"first told: {first}; acknowledged meanwhile: {self.kept}"
        pages = ", ".join(f"{times} with {status}" for status, times in sorted(self.pages.items()))
        yield f"pages read: {pages}; the longest took {self.longest_page:.1f} s"
        yield f"went on by itself {self.went_on:.1f} s after the cure; nothing lost"


def hindering(
    what: str, seconds: float, databases: Databases, folder: Path, hashes: dict[str, str], seed: int
) -> Seen:
    """Hinder a server at work for so long, and look; return what was seen.

    what    one of HINDRANCES
    Errors: Lost where anything was lost, or where it did not go on by itself.
    """
    seen, hinders = Seen(), HINDRANCES[what]
    with (
        _place(folder / "place", of_its_own=what != "hold") as place,
        opened(databases, "sqlite", place, hashes, f"{seed}") as works,
        nursery(folder, works.store.url) as servers,  # whose log lies elsewhere
        ExitStack() as hindered,
    ):
        server = servers.start()
        works.sign_in(server.port)
        reader = Client()
        reader.sign_in(server.port, works.everybody[-1].person.number)
        with works.at_work([server.port]):
            works.let_pass(MOST_DEEDS)
        if what == "read-only":  # as after a fault of the disk: the server starts on it
            server.kill()
            sleep(1)
            hindered.enter_context(hinders(works))
            server = servers.start()
        with works.at_work([server.port]):
            if what != "read-only":
                works.let_pass(MOST_DEEDS)
                hindered.enter_context(hinders(works))
            with _pages_read(reader, server.port, seen):
                _look_on(works, seconds, seen)
                hindered.close()
                _see_it_go_on(works, seen)
        works.check()
        # Whoever is in the middle of something comes to its end.
        with works.at_work([server.port], rests=1):
            pass
        server.kill()
        works.check()
    return seen


@contextmanager
def _pages_read(reader: Client, port: int, seen: Seen) -> Iterator[None]:
    """Let somebody read one page after another."""
    over = Event()

    def read_on() -> None:
        while not over.wait(0.1):
            asked = monotonic()
            with suppress(*BROKEN_OFF):
                seen.pages[reader.send(port, get("/tag")).status] += 1
                seen.longest_page = max(seen.longest_page, monotonic() - asked)

    reading = Thread(target=read_on)
    reading.start()
    try:
        yield
    finally:
        over.set()
        reading.join()


def _look_on(works: Works, seconds: float, seen: Seen) -> None:
    """Look for so long what people are told, and what is kept."""
    began, before = monotonic(), works.deeds()
    while monotonic() < began + seconds:
        if seen.first_told is None and works.tally()["put off"]:
            seen.first_told = monotonic() - began
        sleep(0.05)
    seen.kept = works.deeds() - before


def _see_it_go_on(works: Works, seen: Seen) -> None:
    """Wait for the next deed that is acknowledged. Errors: Lost where none comes."""
    began, before = monotonic(), works.deeds()
    while works.deeds() == before:
        if monotonic() > began + PATIENCE:
            raise Lost("it did not go on by itself")
        sleep(0.05)
    seen.went_on = monotonic() - began
    for one in works.everybody:
        seen.told += one.told


@contextmanager
def _place(folder: Path, *, of_its_own: bool) -> Iterator[Path]:
    """Give a folder, or a small disk of its own. Errors: CalledProcessError where none may be."""
    folder.mkdir()
    if not of_its_own:
        yield folder
        return
    subprocess.run(["mount", "-t", "tmpfs", "-o", DISK, "tmpfs", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def _mount(how: str, disk: Path) -> None:
    subprocess.run(["mount", "-o", how, str(disk)], check=True)
