"""`serve`: the pages, and the demo."""

import errno
import os
import signal
import socket
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
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

if TYPE_CHECKING:
    from flask import Flask
    from waitress.server import TcpWSGIServer

    from trainer.config import Settings
    from trainer.services.demonstrating import SignIn
    from trainer.store.engine import Store

DEMO_FOLDER = Path("donning-room-demo")


@commands.command()
@click.option("--demo", is_flag=True, help="Serve the invented Tern Quay Works, filled in on "
              f"the first start; its folder is {DEMO_FOLDER} unless --data names another.")
@click.option("--host", metavar="NAME", help="Address to listen on (default: this machine only).")
@click.option("--port", type=int, metavar="NUMBER", help="Port to listen on (default: 8000); "
              "0 takes a free one.")
@data_option
def serve(demo: bool, host: str | None, port: int | None, data: Path | None) -> None:
    """Serve the pages until Ctrl+C or SIGTERM."""
    from trainer.app import create_app

    data = data or (DEMO_FOLDER if demo else None)
    settings = settings_of(host=host, port=port, data=data)
    with record_of(settings, make=True) as store, _listening(settings) as port, _content_faults():
        key = _secret_key(settings.data)
        if demo:
            settings = _fill_demo(settings, store)
        server = _server(create_app(settings, store, key), port, settings)
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
        address = address_of(settings, port.getsockname()[1])
        click.echo(f"Donning Room is at {address} (Ctrl+C ends it).")
        if demo:
            _print_sign_ins(_demo_sign_ins(store), address)
        # What is being answered when the end comes is finished first.
        server.run()
        server.close()


def _secret_key(folder: Path) -> str:
    """Return the key that signs cookies, made on the first start and readable by its owner only."""
    import secrets

    path = folder / "secret.key"
    try:
        if not path.exists():
            # Written whole before it has its name: a second start at the same moment reads
            # this key or makes it first, but never half of one.
            with tempfile.NamedTemporaryFile("w", dir=folder, prefix="secret-") as fresh:
                fresh.write(secrets.token_hex(32))
                fresh.flush()
                os.fsync(fresh.fileno())
                with suppress(FileExistsError):
                    os.link(fresh.name, path)
        path.chmod(0o600)
        key = path.read_text().strip()
    except OSError as fault:
        raise Stop(f"The secret key {path} cannot be used: {fault.strerror}.") from None
    if len(key) < 32:
        raise Stop(f"The secret key {path} is too short; delete it and a fresh one is made.")
    return key


# Serving.


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

    # Behind a proxy every request comes from the proxy, which says whose it was.
    proxy = {
        "url_scheme": "https",
        "trusted_proxy": "*",
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"},
        "clear_untrusted_proxy_headers": True,
    }
    return create_server(
        app, sockets=[port], threads=settings.threads, ident=None,
        **(proxy if settings.behind_tls else {}),
    )


# The demo.


def _fill_demo(settings: "Settings", store: "Store") -> "Settings":
    """Fill a folder without people; return the settings with the demo's name on the pages."""
    from trainer.services import demonstrating

    with store.reading() as db:
        fresh = demonstrating.is_fresh(db)
        if not fresh and not demonstrating.holds_demo(db):
            raise Stop(f"The folder {settings.data} holds people who are not the demo's; "
                       "give the demo a folder of its own with --data.")
    if fresh:
        demonstrating.fill(store, datetime.now(UTC), _with_a_bar)
    named = settings.organisation or demonstrating.ORGANISATION
    return settings.model_copy(update={"organisation": named})


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
