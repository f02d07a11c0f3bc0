"""A start makes half a million objects, and nearly all of them stay.

To look for garbage among them over and over took a sixth of a start, and each later look would go
through all of them again. So nobody looks until the application is made, and what is there by
then is left out of every look after (`gc.freeze`).
"""

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def settling() -> Iterator[Callable[[], None]]:
    """Look for no garbage, until the end or until what is given is called."""
    gc.disable()
    try:
        yield _settled
    finally:
        gc.enable()


def _settled() -> None:
    gc.freeze()
    gc.enable()
