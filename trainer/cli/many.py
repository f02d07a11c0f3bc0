"""Several processes that answer requests, on Linux and macOS, and the one that watches them.

The watching process keeps the listening socket, starts the others, starts one anew that died,
and ends them; it answers no page. Each starts afresh (spawn) rather than as a copy of a process
that has threads and open files, so Linux and macOS do the same. All take from one socket: what
waits in it when a process dies is taken by the next.
"""

import logging
import multiprocessing
import os
import signal
import socket
import sys
import threading
from collections.abc import Callable
from functools import partial
from multiprocessing.util import Finalize
from pathlib import Path
from typing import TYPE_CHECKING

from trainer.cli.command import Stop
from trainer.cli.settling import settling
from trainer.running import logs, metrics

if TYPE_CHECKING:
    from trainer.config import Settings

END_SECONDS = 30
"""So long a process may take over what it is answering when the end comes."""
BACKLOG = 1024


def check() -> None:
    """Refuse where there cannot be several. Errors: Stop."""
    if sys.platform == "win32":
        raise Stop("On Windows one process answers; leave DONNING_ROOM_PROCESSES out.")
    try:
        import granian  # noqa: F401
    except ImportError:
        raise Stop("Several processes take another server; install donning-room[many], or leave "
                   "DONNING_ROOM_PROCESSES out.") from None


def run(settings: "Settings", key: str, port: socket.socket, folder: Path | None) -> None:
    """Let the processes answer until SIGINT or SIGTERM.

    key     signs cookies
    port    the socket that they listen on together
    folder  where they add up what they count; None: they count nothing
    Errors: Stop where they die as soon as they are started.
    """
    from granian.net import SocketHolder
    from granian.server.mp import MPServer

    class Watching(MPServer):
        """The watching process, with a socket that was there before it."""

        def _init_shared_socket(self) -> None:
            self._sso, self._sfd = port, port.fileno()
            self._shd = SocketHolder(self._sfd, False, BACKLOG)

        def _drop_shared_socket(self) -> None:
            """Leave the socket to whoever made it."""

    multiprocessing.set_start_method("spawn", force=True)
    server = Watching(
        "", *port.getsockname()[:2], interface="wsgi", workers=settings.processes,
        blocking_threads=settings.at_once, backlog=BACKLOG, respawn_failed_workers=True,
        workers_kill_timeout=END_SECONDS, websockets=False, log_dictconfig=_through_our_log(),
    )
    loader = partial(_application, settings, key, folder)
    try:
        server.serve(target_loader=loader, wrap_loader=False)
    except SystemExit as end:
        if end.code:
            raise Stop("The processes that answer requests ended as soon as they were started; "
                       "the log says why.", int(end.code)) from None


def _through_our_log() -> dict:
    """Return settings of logging that leave ours as it is; the server's words go through it."""
    return {
        "version": 1, "incremental": False, "disable_existing_loggers": False,
        "formatters": {}, "handlers": {},
        "loggers": {"_granian": {"propagate": True}, "granian.access": {"propagate": True}},
    }  # fmt: skip


def _application(settings: "Settings", key: str, folder: Path | None) -> Callable:
    """Return what answers requests, in a process of its own."""
    os.umask(0o077)
    logs.start(settings.log)
    logging.getLogger(logs.SPEAKS).setLevel(logging.INFO)
    if folder is not None:
        metrics.start(folder)
    with settling() as settled:
        from trainer.app import create_app
        from trainer.services.errands import Runner
        from trainer.store.engine import Store

        store = Store(settings.database_url, settings)
        app = create_app(settings, store, key)
        settled()
    runner = Runner(store)
    runner.start()
    Finalize(None, _end, args=(runner, store), exitpriority=10)
    threading.Thread(target=_end_with_watcher, name="watcher", daemon=True).start()
    logs.say("process started", process=os.getpid())
    return app


def _end(runner: "Callable", store: "Callable") -> None:
    runner.stop()
    store.close()
    logs.say("process ended", process=os.getpid())


def _end_with_watcher() -> None:
    """End this process when the one that watches it was killed: nobody else would."""
    multiprocessing.parent_process().join()
    os.kill(os.getpid(), signal.SIGTERM)
