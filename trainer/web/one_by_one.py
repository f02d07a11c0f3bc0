"""Pages are made one after another by the threads of a process; see `running.turns` for why."""

from collections.abc import Callable, Iterable
from typing import Any

from flask import Flask

from trainer.running import turns


def init_app(app: Flask) -> None:
    """Let the threads of this process take turns; what is sent bit by bit needs no turn."""
    app.wsgi_app = _OneByOne(app.wsgi_app)


class _OneByOne:
    def __init__(self, app: Callable) -> None:
        self._app = app

    def __call__(self, environ: dict[str, Any], start_response: Callable) -> Iterable[bytes]:
        with turns.page():
            return self._app(environ, start_response)
