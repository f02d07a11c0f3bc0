"""How long the database took, of what the thread at hand asked it."""

from threading import local
from time import perf_counter
from typing import Any

from sqlalchemy import Engine, event

_here = local()


def listen(engine: Engine) -> None:
    """Measure every statement."""
    event.listen(engine, "before_cursor_execute", _begins)
    event.listen(engine, "after_cursor_execute", _ends)


def begin_anew() -> None:
    """Forget what this thread asked until now."""
    _here.seconds = 0.0


def seconds() -> float:
    """Return the seconds that the database took since `begin_anew`, in this thread."""
    return getattr(_here, "seconds", 0.0)


def _begins(*_: Any) -> None:
    _here.began = perf_counter()


def _ends(*_: Any) -> None:
    # A statement that failed has no end; the next one begins anew.
    _here.seconds = seconds() + perf_counter() - _here.began
