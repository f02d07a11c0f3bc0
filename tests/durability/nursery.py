"""Servers on call: a process that has read the program forks one whenever it is asked.

    python -m tests.durability.nursery FOLDER DATABASE KEY
"""

import logging
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent


@dataclass(frozen=True)
class Server:
    """A serving process."""

    pid: int
    port: int

    def kill(self) -> None:
        """End it in the middle of whatever it does."""
        os.kill(self.pid, signal.SIGKILL)


class Nursery:
    """Forks servers of one installation."""

    def __init__(self, process: subprocess.Popen) -> None:
        self._process = process

    def start(self) -> Server:
        """Return a server that listens."""
        self._process.stdin.write("start\n")
        self._process.stdin.flush()
        return Server(*map(int, self._process.stdout.readline().split()))


@contextmanager
def nursery(folder: Path, database: str, key: str = "only for this test") -> Iterator[Nursery]:
    """Give the process that forks servers; at the end they are all gone.

    What they log stands in a file of the folder.
    """
    with (folder / "log").open("a") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.durability.nursery", str(folder), database, key],
            cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log, text=True,
        )  # fmt: skip
        with process:
            yield Nursery(process)
            process.stdin.close()


def main(folder: str, database: str, key: str) -> None:
    """Fork a server for each line that comes in, and end them all with the last."""
    from trainer import config
    from trainer.app import create_app
    from trainer.cli.settling import settling
    from trainer.services import errands
    from trainer.store.engine import Store

    # An errand whose runner was killed is taken up after a minute and a half, three times at the
    # most. Here a kill comes each half second, so it is taken up sooner and as often as needed.
    errands.QUIET, errands.SAY_EVERY = timedelta(seconds=1.5), 0.4
    errands.MOST_TRIES = 10**6
    settings = config.read(data=folder)
    # The store opens nothing before it is asked, so each child opens the database for itself.
    store = Store(database)
    with settling() as settled:
        app = create_app(settings, store, key)
        settled()
    os.setpgrp()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for them
    for _ in sys.stdin:
        if os.fork() == 0:
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            serve(app, store, settings.at_once)
    os.killpg(0, signal.SIGKILL)


def serve(app, store, threads: int) -> None:
    """Serve as the command does, on any free port."""
    from waitress import create_server

    from trainer.services.errands import Runner

    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a queue is what is wanted here
    port = socket.create_server(("127.0.0.1", 0))
    server = create_server(app, sockets=[port], threads=threads, ident=None)
    Runner(store, every=0.05).start()
    print(os.getpid(), port.getsockname()[1], flush=True)
    server.run()


if __name__ == "__main__":
    main(*sys.argv[1:])
