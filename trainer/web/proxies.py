"""Whose a request is, where a proxy stands in front: the same on every server we run on.

A proxy says so in X-Forwarded-For, and so can anybody else; only those that the setting names
are believed. Of several addresses the last one counts that is not itself such a proxy: what
stands before it came from whoever asked. RFC 7239, section 8.1.
"""

import logging
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from ipaddress import IPv4Network, IPv6Network, ip_address
from typing import Any

from flask import Flask

from trainer.config import Settings
from trainer.running import logs

FOR, HOST, PROTO = "HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_HOST", "HTTP_X_FORWARDED_PROTO"
OTHERS = ("HTTP_FORWARDED", "HTTP_X_FORWARDED_PORT", "HTTP_X_FORWARDED_BY",
          "HTTP_X_FORWARDED_PREFIX")  # fmt: skip

Networks = Sequence[IPv4Network | IPv6Network]


def init_app(app: Flask, settings: Settings) -> None:
    """Let the application see who asked, not which proxy passed it on."""
    app.wsgi_app = _Behind(
        app.wsgi_app, settings.proxies if settings.behind_tls else (), settings.behind_tls
    )


class _Behind:
    def __init__(self, app: Callable, believed: Networks, tls: bool) -> None:
        self._app, self._believed, self._tls = app, tuple(believed), tls
        self._warned = False

    def __call__(self, environ: dict[str, Any], start_response: Callable) -> Iterable[bytes]:
        said = {name: environ.pop(name, "") for name in (FOR, HOST, PROTO, *OTHERS)}
        if self._tls:
            environ["wsgi.url_scheme"] = "https"
            if _is_in(environ.get("REMOTE_ADDR", ""), self._believed):
                _take(environ, said, self._believed)
            elif said[FOR] and not self._warned:
                self._warned = True
                # Else everybody would seem to be the proxy, and wait for each other's wrong PINs.
                logs.say("proxy is not believed", logging.WARNING,
                         setting="DONNING_ROOM_TRUSTED_PROXIES")
        return self._app(environ, start_response)


def _take(environ: dict[str, Any], said: dict[str, str], believed: Networks) -> None:
    if said[FOR]:
        environ["REMOTE_ADDR"] = client(said[FOR], believed) or environ["REMOTE_ADDR"]
    if said[HOST]:
        environ["HTTP_HOST"] = said[HOST].rpartition(",")[2].strip()


def client(forwarded: str, believed: Networks) -> str:
    """Return who asked, of the addresses in X-Forwarded-For; nothing where none can be told.

    >>> from ipaddress import ip_network
    >>> client("6.6.6.6, 203.0.113.7, 10.0.3.4", [ip_network("10.0.3.0/24")])
    '203.0.113.7'
    """
    for one in reversed(forwarded.split(",")):
        address = one.strip()
        try:
            ip_address(address)
        except ValueError:
            return ""  # what stands before it is no better
        if not _is_in(address, believed):
            return address
    return ""


@lru_cache(maxsize=1024)
def _holds(address: str, believed: tuple[IPv4Network | IPv6Network, ...]) -> bool:
    try:
        there = ip_address(address)
    except ValueError:
        return False
    there = getattr(there, "ipv4_mapped", None) or there
    return any(there in network for network in believed)


def _is_in(address: str, believed: Networks) -> bool:
    return _holds(address, tuple(believed))
