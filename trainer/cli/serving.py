"""`serve`: the pages, in one process or several, and the demo."""

import errno
import os
import signal
import socket
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trainer.cli.command import (
    BROKEN,
    Stop,
    address_of,
    commands,
    data_option,
    enrol_address,
    record_of,
    settings_of,
    spaced,
)
from trainer.cli.settling import settling

if TYPE_CHECKING:
    from flask import Flask
    from waitress.server import TcpWSGIServer

    from trainer.config import Settings
    from trainer.services.demonstrating import SignIn
    from trainer.store.engine import Store

DEMO_FOLDER = Path("donning-room-demo")
CHANNEL_SECONDS, CLEANUP_SECONDS, CONNECTIONS = 60, 10, 500


@commands.command()
@click.option("--demo", is_flag=True, help="Serve the invented Tern Quay Works, filled in on "
              f"the first start; its folder is {DEMO_FOLDER} unless --data names another.")
@click.option("--host", metavar="NAME", help="Address to listen on (default: this machine only).")
@click.option("--port", type=int, metavar="NUMBER", help="Port to listen on (default: 8000); "
              "0 takes a free one.")
@data_option
def serve(demo: bool, host: str | None, port: int | None, data: Path | None) -> None:
    """Serve the pages until Ctrl+C or SIGTERM."""
    from trainer.cli import many, secret_key
    from trainer.running import logs

    data = data or (DEMO_FOLDER if demo else None)
    settings = settings_of(host=host, port=port, data=data)
    if settings.processes > 1:
        many.check()
    logs.start(settings.log)
    with (settling() as settled, record_of(settings, make=True) as store,
          _listening(settings) as port, _content_faults()):  # fmt: skip
        key = secret_key.read(settings)
        _read_content(settings)
        if demo:
            settled()
            _fill_demo(settings, store)

        def say_where(port: int) -> None:
            settled()
            _say_where(settings, store, demo, port)

        answering = _with_processes if settings.processes > 1 else _alone
        with _metrics(settings, store) as folder:
            answering(settings, store, key, port, folder, say_where)
        logs.say("stopped")


def _say_where(settings: "Settings", store: "Store", demo: bool, port: int) -> None:
    from trainer.running import logs

    address = address_of(settings, port)
    click.echo(f"Donning Room is at {address} (Ctrl+C ends it).")
    if demo:
        _print_sign_ins(_demo_sign_ins(store), address)
    logs.say("started", version=version("donning-room"), processes=settings.processes)


def _alone(
    settings: "Settings", store: "Store", key: str, port: socket.socket, _folder: Path | None,
    say_where: Callable[[int], None],
) -> None:
    """Answer requests in this process."""
    from trainer.app import create_app
    from trainer.services.errands import Runner

    server = _server(create_app(settings, store, key), port, settings)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    say_where(port.getsockname()[1])
    runner = Runner(store)
    runner.start()
    # What is being answered when the end comes is finished first.
    server.run()
    server.close()
    runner.stop()


def _with_processes(
    settings: "Settings", _store: "Store", key: str, port: socket.socket, folder: Path | None,
    say_where: Callable[[int], None],
) -> None:
    """Let several processes answer requests, and watch them."""
    from trainer.cli import many

    say_where(port.getsockname()[1])
    many.run(settings, key, port, folder)


@contextmanager
def _metrics(settings: "Settings", store: "Store") -> Iterator[Path | None]:
    """Tell metrics where that is asked for; give the folder where several processes add up."""
    if not settings.metrics_port:
        yield None
        return
    from trainer.running import metrics
    from trainer.services import wellbeing

    several = settings.processes > 1
    with tempfile.TemporaryDirectory(prefix="donning-room-") as made:
        folder = Path(made) if several else None
        if folder is None:
            metrics.start()
        try:
            end = metrics.tell(settings.metrics_host, settings.metrics_port,
                               partial(wellbeing.figures, store), folder)
        except OSError as fault:
            raise Stop(f"Metrics cannot be told on port {settings.metrics_port} of "
                       f"{settings.metrics_host}: {os.strerror(fault.errno or 0)}.") from None
        try:
            yield folder
        finally:
            end()


# Serving.


def _read_content(settings: "Settings") -> None:
    """Read lessons and questions before whatever else asks for them.

    So a fault in them ends the start, and they are kept ready for the next one and for the other
    processes of this one. Errors: LessonFault, BankFault.
    """
    from trainer import bank, lessons

    lessons.load(data=settings.data)
    bank.load(settings.data)


@contextmanager
def _content_faults() -> Iterator[None]:
    from trainer.bank import BankFault
    from trainer.lessons import LessonFault

    try:
        yield
    except (BankFault, LessonFault) as fault:
        raise Stop(f"{fault} (donning-room check-content lists every fault)", BROKEN) from None


def _listening(settings: "Settings") -> socket.socket:
    """Return the socket, bound before the work of a start, so that a fault shows at once."""
    host, port = settings.host, settings.port
    try:
        found = socket.getaddrinfo(
            host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )
        family, *_, where = found[0]
        return socket.create_server(where[:2], family=family)
    except (socket.gaierror, UnicodeError):
        raise Stop(f"{host} is no address that this machine knows.") from None
    except OSError as fault:
        if fault.errno == errno.EADDRINUSE:
            raise Stop(f"Port {port} of {host} is taken; "
                       "choose another with --port, or 0 for any free one.") from None
        raise Stop(f"Port {port} of {host} cannot be listened on: "
                   f"{os.strerror(fault.errno)}.") from None


def _server(app: "Flask", port: socket.socket, settings: "Settings") -> "TcpWSGIServer":
    from waitress import create_server

    from trainer.web import sizes

    # What a proxy says is weighed in web/proxies.py, the same for every server.
    return create_server(
        app, sockets=[port], threads=settings.at_once, ident=None,
        clear_untrusted_proxy_headers=False, **_bounds(sizes.MOST),
    )


def _bounds(most: int) -> dict[str, int | bool]:
    """Return what one sender may take of the server (our own choices, no source).

    What is sent is kept until it is whole, before anything of ours looks at it: the server's own
    bound, 1 GiB, would let anybody fill the disk without signing in.
    """
    return {
        "max_request_body_size": most,
        "max_request_header_size": 32 * 1024,
        # Whoever sends nothing for so long is gone; nobody waits here while a page is made.
        "channel_timeout": CHANNEL_SECONDS,
        "cleanup_interval": CLEANUP_SECONDS,
        # Open connections cost little: a few that are held open keep nobody else out.
        "connection_limit": CONNECTIONS,
        # More than the 1,024 files that select() can name.
        "asyncore_use_poll": True,
    }


# The demo.


def _fill_demo(settings: "Settings", store: "Store") -> None:
    """Fill a folder without people."""
    from trainer.services import demonstrating

    with store.reading() as db:
        fresh = demonstrating.is_fresh(db)
        if not fresh and not demonstrating.holds_demo(db):
            raise Stop(f"In {settings.place} are people who are not the demo's; "
                       "give the demo a folder or a database of its own.")
    if fresh:
        demonstrating.fill(store, datetime.now(UTC), _with_a_bar)


def _with_a_bar(deeds: Sequence) -> Iterator:
    """Give the deeds one by one, and show how far they are; where nobody looks, say it once."""
    label = "Filling in Tern Quay Works, once"
    with click.progressbar(deeds, label=label, file=sys.stderr) as shown:
        yield from shown


def _demo_sign_ins(store: "Store") -> list["SignIn"]:
    from trainer.services import demonstrating

    with store.writing() as db:
        return demonstrating.sign_ins(db, datetime.now(UTC))


def _print_sign_ins(found: list["SignIn"], address: str) -> None:
    click.echo("Everyone here is invented. Sign in as:")
    for one in found:
        click.echo(f"  {one.who:<15}  {one.number}  {one.name}")
        if one.code:
            click.echo(f"      one-time code {spaced(one.code)}, today, at "
                       f"{enrol_address(address, one.number)}")
        else:
            click.echo(f"      passphrase: {one.passphrase}")
