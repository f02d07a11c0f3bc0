"""How much a request may hold: a form everywhere, a file only where a view says that it takes one.

The size is set before anything reads the form, which the check of its token does first of all.
"""

from collections.abc import Callable

from flask import Flask, current_app, request, session

from trainer.services.refusal import Refusal

A_FORM = 256 * 1024

MOST = 32 * 1024 * 1024
"""Of any request: the server refuses more before it has read it. Above what any view takes, so
that a file a little too large is answered by a page, and not by the server's bare words."""


def takes(most: int, otherwise: Refusal) -> Callable:
    """Let a view take so many bytes; to whoever sends more, `otherwise` is said."""

    if not A_FORM < most < MOST:
        raise ValueError(f"a view takes more than a form and less than {MOST} bytes")

    def name(view: Callable) -> Callable:
        view.takes, view.otherwise = most, otherwise
        return view

    return name


def init_app(app: Flask) -> None:
    """Set the size of each request. Comes before whatever reads forms."""
    app.before_request(_allow)


def otherwise() -> Refusal | None:
    """Return what the view of this request says about too much; None where it takes no file."""
    return getattr(_view(), "otherwise", None)


def _allow() -> None:
    most = getattr(_view(), "takes", None)
    # Whoever is not signed in has no file to send: nothing large is read for them.
    if most and session.get("token"):
        request.max_content_length = most


def _view() -> Callable | None:
    return current_app.view_functions.get(request.endpoint)
