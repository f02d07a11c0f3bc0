"""Drawing lots: the same everywhere and for ever.

`random.Random` promises the same numbers only for some of its methods and may change, so the
bank has a generator of its own. Block number n (counting from 0) is

    SHA-256(key + "|" + n in decimal, as UTF-8)

and gives four whole numbers of 64 bits, big-endian. A number below `count` is taken from the
next of them that is below the largest multiple of `count`, so that no number is favoured.
"""

from collections.abc import Iterator, Sequence
from hashlib import sha256
from itertools import count as counting
from typing import TypeVar

Item = TypeVar("Item")
_RANGE = 1 << 64


class Lots:
    """A stream of lots that depends on its key and on nothing else."""

    def __init__(self, key: str) -> None:
        self._stream = _stream(key)

    def below(self, count: int) -> int:
        """Return a whole number from 0 to count - 1, each as likely. Errors: ValueError below 1."""
        if count < 1:
            raise ValueError("there is nothing to draw from")
        fair = _RANGE - _RANGE % count
        return next(lot for lot in self._stream if lot < fair) % count

    def one_of(self, items: Sequence[Item]) -> Item:
        """Return one of the items, each as likely."""
        return items[self.below(len(items))]

    def shuffled(self, items: Sequence[Item]) -> list[Item]:
        """Return the items in a drawn order (Fisher and Yates, from the end)."""
        order = list(items)
        for last in range(len(order) - 1, 0, -1):
            other = self.below(last + 1)
            order[last], order[other] = order[other], order[last]
        return order


def _stream(key: str) -> Iterator[int]:
    for block in counting():
        digest = sha256(f"{key}|{block}".encode()).digest()
        for start in range(0, 32, 8):
            yield int.from_bytes(digest[start : start + 8], "big")


def shuffle(items: Sequence[Item], seed: int) -> list[Item]:
    """Return the items in the order that the seed gives, the same on every machine."""
    return Lots(f"shuffle|{seed}").shuffled(items)
