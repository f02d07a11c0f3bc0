"""Several processes on one record: they answer as one, one that dies comes again, all end."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
from contextlib import contextmanager
from pathlib import Path
from time import monotonic, sleep

import pytest

from tests.durability.client import Client, get
from tests.test_metrics import told
from trainer.store import record
from trainer.store.engine import Store

pytestmark = [
    pytest.mark.both_databases,
    pytest.mark.skipif(sys.platform == "win32", reason="Windows has one process"),
]

ROOT = Path(__file__).parent.parent
RUN = "from trainer.cli import main; main()"
PATIENCE = 180  # seconds, on a busy machine
IDA = "00001"
BOARD = 'requests_total{method="GET",route="/board",status="200"}'


class Served:
    """The program in two processes, its log, and its metrics."""

    def __init__(self, settings, folder: Path) -> None:
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.metrics_port = free.getsockname()[1]
        self.log = (folder / "log").open("w+")
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-c", RUN, "serve", "--port", "0", "--data", str(settings.data)],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=self.log, text=True,
            env=os.environ | {
                "DONNING_ROOM_PROCESSES": "2", "DONNING_ROOM_LOG": "json",
                "DONNING_ROOM_METRICS_PORT": str(self.metrics_port),
                "DONNING_ROOM_DATABASE_URL": (
                    "" if settings.database_url.startswith("sqlite") else settings.database_url),
            },
        )  # fmt: skip
        self.printed = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+) ", self.printed)
        assert found, self.said()
        self.port = int(found[1])

    def said(self) -> list[dict]:
        """Return the lines of the log."""
        return [json.loads(line) for line in Path(self.log.name).read_text().splitlines()]

    def processes(self) -> list[int]:
        """Return the numbers of the processes that answer, in the order they were ready."""
        return [one["process"] for one in self.said() if one["event"] == "process started"]

    def wait_for_processes(self, count: int) -> list[int]:
        """Wait until so many have been ready since the start; return them."""
        ends = monotonic() + PATIENCE
        while len(self.processes()) < count:
            assert self.process.poll() is None and monotonic() < ends, self.said()
            sleep(0.1)
        return self.processes()

    def end(self) -> str:
        """End it as a machine that shuts down does; return what else it printed."""
        self.process.send_signal(signal.SIGTERM)
        rest, _ = self.process.communicate(timeout=PATIENCE)
        assert self.process.returncode == 0, self.said()
        return rest


@contextmanager
def serving(settings, folder: Path):
    """Give the program in two processes, and leave none of it behind."""
    served = Served(settings, folder)
    try:
        yield served
    finally:
        if served.process.poll() is None:
            served.process.kill()
            served.process.communicate()
        served.log.close()


def is_there(process: int) -> bool:
    """Say whether a process has not ended."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


def ask(served: Served, client: Client, times: int, *statuses: int) -> int:
    """Ask for a page over and over; return how often it was answered with one of the statuses."""
    return sum(client.send(served.port, get("/board")).status in statuses for _ in range(times))


def counted(served: Served, times: int) -> dict[str, float]:
    """Wait until so many answers are counted; return what is told then.

    An answer is with whoever asked for it a moment before it is counted.
    """
    ends = monotonic() + PATIENCE
    while (there := told(served.metrics_port)).get(BOARD, 0) < times:
        assert monotonic() < ends, there
        sleep(0.05)
    return there


def test_two_processes_answer_as_one_and_one_that_dies_comes_again(works, settings, tmp_path):
    with serving(settings, tmp_path) as served:
        first = served.wait_for_processes(2)
        ida = Client()
        ida.sign_in(served.port, IDA)
        assert ask(served, ida, 20, 200) == 20  # signed in for both, whichever answers
        counted(served, 20)
        os.kill(first[0], signal.SIGKILL)
        third = served.wait_for_processes(3)[-1]
        assert third not in first
        crowd = [threading.Thread(target=ask, args=(served, ida, 5, 200)) for _ in range(4)]
        for one in crowd:
            one.start()
        for one in crowd:
            one.join()
        assert ask(served, ida, 10, 200) == 10
        there = counted(served, 50)
        assert there[BOARD] == 50  # what the killed one had counted is counted still
        assert there["database_up"] == 1
        assert served.end() == ""  # the address was printed once
        assert [one for one in (*first, third) if is_there(one)] == []
    said = served.said()
    assert [one["event"] for one in said].count("started") == 1
    assert said[-1]["event"] == "stopped"
    assert not [one for one in said if one["event"] == "fault"]
    fresh = Store(settings.database_url)
    with fresh.reading() as db:
        assert [one for one in record.verify(db) if one] == []
    fresh.close()


def test_the_processes_end_with_the_one_that_watches_them(works, settings, tmp_path):
    with serving(settings, tmp_path) as served:
        there = served.wait_for_processes(2)
        served.process.kill()
        served.process.communicate()
        ends = monotonic() + PATIENCE
        while any(map(is_there, there)):
            assert monotonic() < ends
            sleep(0.1)
