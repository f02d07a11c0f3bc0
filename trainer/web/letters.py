"""No request brings the character NUL: nobody types it, and PostgreSQL cannot keep it."""

from collections.abc import Iterator

from flask import Flask, abort, request


def init_app(app: Flask) -> None:
    """Refuse it. Comes after the size of a request is set: this reads the form."""
    app.before_request(_refuse)


def _refuse() -> None:
    if any("\0" in one for one in _texts()):
        abort(400)


def _texts() -> Iterator[str]:
    yield request.path
    if request.endpoint is None:  # where there is no page, nobody reads what was sent
        return
    for given in (request.args, request.form):
        for name, value in given.items(multi=True):
            yield name
            yield value
