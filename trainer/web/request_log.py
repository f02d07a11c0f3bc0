"""What is told of each request: in the log a line, in the metrics a count.

A request is told by the pattern of its route, never by its address: an address holds worker
numbers, and that of a card or a calendar is a secret by itself.
"""

import logging
import secrets
from collections.abc import Callable, Iterable, Iterator
from time import perf_counter
from typing import Any

from flask import Flask, Response, request

from trainer.running import logs, metrics
from trainer.store import spent

SEEN = "room.seen"
NOWHERE = "(no page)"
METHODS = ("GET", "HEAD", "POST", "OPTIONS", "PUT", "DELETE", "PATCH")
QUIET_BELOW = 400
"""A machine that asks every few seconds whether all is well is told of only where it is not."""


def init_app(app: Flask) -> None:
    """Watch every request from its first byte to its last; comes before whatever answers any."""
    app.wsgi_app = _Watching(app.wsgi_app)
    app.before_request(_name_route)
    app.after_request(_name_request)


def tell_fault(fault: BaseException, why: str | None = None) -> None:
    """Write of a request that failed where in the program it did.

    why     what kept the database from doing what it was asked, where that is known
    """
    seen: _Seen = request.environ[SEEN]
    level = logging.WARNING if why else logging.ERROR
    logs.say("fault", level, fault, id=seen.id, method=seen.method, route=seen.route, why=why)


class _Seen:
    def __init__(self, method: str) -> None:
        self.id = secrets.token_hex(8)
        self.method = method if method in METHODS else "other"
        self.route, self.quiet = NOWHERE, False
        self.status, self.size = 500, 0
        self.began = perf_counter()

    def tell(self) -> None:
        seconds = perf_counter() - self.began
        metrics.answered(self.route, self.method, self.status, seconds)
        if not logs.tells() or (self.quiet and self.status < QUIET_BELOW):
            return
        logs.say(
            "request", id=self.id, method=self.method, route=self.route, status=self.status,
            ms=round(seconds * 1000, 1), bytes=self.size,
            database_ms=round(spent.seconds() * 1000, 1),
        )


class _Watching:
    def __init__(self, app: Callable) -> None:
        self._app = app

    def __call__(self, environ: dict[str, Any], start_response: Callable) -> Iterable[bytes]:
        environ[SEEN] = seen = _Seen(environ["REQUEST_METHOD"])
        spent.begin_anew()

        def start(status: str, headers: list, *more: Any) -> Any:
            seen.status = int(status[:3])
            return start_response(status, headers, *more)

        try:
            return _Sending(self._app(environ, start), seen)
        except BaseException:
            seen.tell()
            raise


class _Sending:
    """An answer on its way; it is told of once it has gone."""

    def __init__(self, chunks: Iterable[bytes], seen: _Seen) -> None:
        self._chunks, self._seen = chunks, seen

    def __iter__(self) -> Iterator[bytes]:
        for chunk in self._chunks:
            self._seen.size += len(chunk)
            yield chunk

    def close(self) -> None:
        """End the answer, sent whole or not."""
        try:
            if hasattr(self._chunks, "close"):
                self._chunks.close()
        finally:
            self._seen.tell()


def _name_route() -> None:
    seen: _Seen = request.environ[SEEN]
    if request.url_rule is not None:
        seen.route = request.url_rule.rule
    seen.quiet = request.blueprint == "health"


def _name_request(response: Response) -> Response:
    response.headers["X-Request-Id"] = request.environ[SEEN].id
    return response
