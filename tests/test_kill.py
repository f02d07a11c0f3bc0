"""Killing the server (SIGKILL) while answers are sent loses nothing that a page acknowledged.

The server is real: its own process, sockets, sessions and forms. A nursery process has read
the program and forks a server each time, so that twenty starts take seconds.
"""

import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from http.client import HTTPConnection, HTTPException
from http.cookies import SimpleCookie
from pathlib import Path
from urllib.parse import urlencode

import pytest

from tests.conftest import PASSPHRASE, Works, right_answer
from trainer import bank, lessons
from trainer.services import joining, learning, signing_in, sitting
from trainer.store import record
from trainer.store.engine import Store
from trainer.store.tables import Person, Sitting

ROOT = Path(__file__).parent.parent
KILLS = 22
SLUG = "protection-factors"
ANSWERING = ("Lee", "Kim", "Noor")
ALL_DAYS = (date.min, date.max)

NURSERY = """
import os, sys
from waitress import create_server
from trainer import config
from trainer.app import create_app
from trainer.store.engine import Store

settings = config.read(data=sys.argv[1])
# The store opens nothing before it is asked, so each child opens the database for itself.
app = create_app(settings, Store(settings.database_url), "only for this test")
for _ in sys.stdin:
    child = os.fork()
    if child == 0:
        server = create_server(app, host="127.0.0.1", port=0, threads=4)
        print(os.getpid(), server.effective_port, flush=True)
        server.run()
    os.waitpid(child, 0)
"""


@dataclass
class Client:
    """A browser over the wire: cookies, and the token of the page last seen."""

    port: int = 0
    cookies: SimpleCookie = field(default_factory=SimpleCookie)
    token: str = ""

    def send(self, method: str, path: str, **fields: str) -> tuple[int, str]:
        """Send a request; return the status and where it leads. Errors: OSError, HTTPException."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            body = urlencode({"csrf_token": self.token, **fields}) if method == "POST" else None
            carried = "; ".join(f"{one.key}={one.value}" for one in self.cookies.values())
            heads = {"Cookie": carried, "Content-Type": "application/x-www-form-urlencoded"}
            connection.request(method, path, body, heads)
            answer = connection.getresponse()
            text = answer.read().decode()
        finally:
            connection.close()
        for line in answer.headers.get_all("Set-Cookie", ()):
            self.cookies.load(line)
        found = re.search(r'name="csrf_token" value="([^"]+)"', text)
        self.token = found.group(1) if found else self.token
        return answer.status, answer.headers.get("Location", "")

    def sign_in(self, number: str) -> None:
        """Sign in with the passphrase."""
        self.send("GET", "/sign-in")
        sent = {"number": number, "passphrase": PASSPHRASE, "with": "passphrase"}
        assert self.send("POST", "/sign-in", **sent)[0] == 303
        self.send("GET", "/still-there")


@dataclass
class Sender:
    """Somebody who sends answers to one open sitting, one after another, each a new one."""

    client: Client
    sitting: int
    answers: dict[int, list[tuple[str, str]]]  # as sent and as kept, by position; none: a problem
    count: int = 0
    kept: dict[int, str] = field(default_factory=dict)  # acknowledged, by position
    since: dict[int, list[str]] = field(default_factory=dict)  # sent after that, without its page
    acknowledged: int = 0

    def send_until_it_stops(self) -> None:
        """Send answers until the server is gone."""
        try:
            while True:
                self.count += 1
                position = 1 + self.count % len(self.answers)
                fit = self.answers[position]
                turn = self.count // len(self.answers)
                sent, given = fit[turn % len(fit)] if fit else (str(self.count),) * 2
                self.since.setdefault(position, []).append(given)
                path = f"/sittings/{self.sitting}/{position}"
                status, leads = self.client.send("POST", path, answer=sent)
                if status == 303 and leads.startswith("/sittings/"):
                    self.kept[position], self.since[position] = given, []
                    self.acknowledged += 1
        except (OSError, HTTPException):
            return


@pytest.fixture
def nursery(settings, works: Works) -> Iterator[subprocess.Popen]:
    """Give the process that forks servers."""
    process = subprocess.Popen(
        [sys.executable, "-c", NURSERY, str(settings.data)],
        cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )
    with process:
        yield process
        process.stdin.close()


@contextmanager
def serving(nursery: subprocess.Popen) -> Iterator[int]:
    """Give the port of a fresh server; at the end it is killed, whatever it is doing."""
    nursery.stdin.write("start\n")
    nursery.stdin.flush()
    pid, port = map(int, nursery.stdout.readline().split())
    try:
        yield port
    finally:
        os.kill(pid, signal.SIGKILL)


def opened(works: Works, person: Person, finished: bool) -> tuple[int, dict[int, int]]:
    """Open a sitting for a person, answered wholly and rightly where asked for."""
    lesson = lessons.load().get(SLUG)
    with works.store.writing() as db:
        for section in lesson.sections:
            learning.finish_section(db, person, lesson, section.id, works.now)
        there = sitting.begin(db, person, lesson, works.now)
        items = sitting.shown(db, there)
        for one in items if finished else ():
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        return there.id, {
            one.item.position: possible_answers(one.question) if one.question else []
            for one in items
        }


def possible_answers(question: bank.Question) -> list[tuple[str, str]]:
    """Return answers that the form of a question could send, and how they are kept."""
    places = [str(place) for place in range(len(question.options))]
    if not question.in_rows:
        return [(place, place) for place in places]
    return [(f"0:{place}", " ".join([place, *"-" * (len(places) - 1)])) for place in places]


def with_work_to_close(works: Works, hashes: dict[str, str], number: int) -> tuple[str, int]:
    """Add a person whose sitting waits to be closed; return worker number and sitting."""
    with works.store.writing() as db:
        place = works.worksites["Joinery"].id
        added = joining.add_person(
            db, works.now, number=f"7{number:03}", name=f"Imara {number}", roles=["worker"],
            worksites=[place], seed=f"seed {number}",
        )
        signing_in.set_passphrase(db, added, hashes["passphrase"])
    return added.number, opened(works, added, finished=True)[0]


def close(client: Client, number: int, closed: set[int]) -> None:
    """Close a sitting and note it where the page acknowledged it."""
    try:
        status, leads = client.send("POST", f"/sittings/{number}/close")
    except (OSError, HTTPException):
        return
    if (status, leads) == (303, f"/sittings/{number}/result"):
        closed.add(number)


def check_answers(store: Store, senders: list[Sender]) -> None:
    """Check that the database holds what was acknowledged, or a later answer."""
    with store.reading() as db:
        for sender in senders:
            for position, given in sender.kept.items():
                there = sitting.shown(db, db.get(Sitting, sender.sitting))[position - 1].item
                assert there.answer in (given, *sender.since[position])


def test_killing_the_server_loses_no_acknowledged_answer(nursery, works, hashes, settings):
    chance = random.Random(20)
    senders = [
        Sender(Client(), *opened(works, works.people[name], finished=False)) for name in ANSWERING
    ]
    waiting = [with_work_to_close(works, hashes, number) for number in range(KILLS)]
    closed: set[int] = set()
    with serving(nursery) as port:
        for name, sender in zip(ANSWERING, senders, strict=True):
            sender.client.port = port
            sender.client.sign_in(works.people[name].number)
    for number, there in waiting:
        closer = Client()
        with serving(nursery) as port:
            closer.port = port
            closer.sign_in(number)
            threads = [threading.Thread(target=close, args=(closer, there, closed))]
            for sender in senders:
                sender.client.port = port
                threads.append(threading.Thread(target=sender.send_until_it_stops))
            chance.shuffle(threads)
            for thread in threads:
                thread.start()
            time.sleep(chance.uniform(0.03, 0.5))
        for thread in threads:
            thread.join()
        # The folder is opened afresh, as the next start does, while that is not yet there.
        again = Store(settings.database_url)
        check_answers(again, senders)
        with again.reading() as db:
            assert [one for one in record.verify(db) if one] == []
            marked = {entry.once for entry in record.between(db, *ALL_DAYS, ("lesson",))}
            assert {f"sitting:{one}" for one in closed} <= marked
        again.close()
    assert min(sender.acknowledged for sender in senders) > KILLS
    assert len(closed) > KILLS // 4
