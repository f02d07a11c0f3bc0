"""Names that may be those of one person: written otherwise, or nearly alike.

Two people may have one name, and one person two ways to write it: nothing here decides. It only
says what a person should look at.
"""

import re
from collections.abc import Hashable, Iterable, Iterator, Sequence

from trainer.store.people import plain

NEAR = 90.0
"""Per cent of likeness, letters moved and changed, from which two names are shown to a person."""
_WORDS = re.compile(r"[^\W_]+")
FAMILIAR = 400
"""A part of a name that more people than this have at one place tells nobody apart: left aside."""


def name_key(name: str) -> str:
    """Return a name as it is compared: no accents, capitals, signs; its parts in one order.

    >>> name_key("Sollís, Imara") == name_key("IMARA  SOLLIS")
    True
    """
    return " ".join(sorted(_WORDS.findall(plain(name))))


def near(one: str, other: str) -> bool:
    """Say whether two name keys are nearly alike, or one is the other with a part more.

    >>> near("imara sollis", "imara solis"), near("garcia jose", "garcia jose lopez")
    (True, True)
    >>> near("imara sollis", "odell ravi")
    False
    """
    from rapidfuzz import fuzz  # slow to import, and a start compares no names

    if fuzz.ratio(one, other) >= NEAR:
        return True
    mine, theirs = set(one.split()), set(other.split())
    shorter = min(mine, theirs, key=len)
    return len(shorter) >= 2 and (mine <= theirs or theirs <= mine)


class Neighbours:
    """Names by place, so that each new one is compared with few: those that share a whole part,
    or the first letters of one."""

    def __init__(self, named: Iterable[tuple[Hashable, str, int]]) -> None:
        """Take (place, name key, id) of everybody."""
        self._by: dict[tuple[Hashable, str], tuple[list[str], list[int]]] = {}
        for place, key, who in named:
            for part in _parts(key):
                names, ids = self._by.setdefault((place, part), ([], []))
                names.append(key)
                ids.append(who)

    def of(self, places: Iterable[Hashable], key: str) -> Iterator[int]:
        """Give the ids of those at these places whose names are near, each once."""
        seen: set[int] = set()
        for place in places:
            for part in _parts(key):
                names, ids = self._by.get((place, part), ((), ()))
                if len(names) <= FAMILIAR:
                    yield from self._near(key, names, ids, seen)

    def _near(
        self, key: str, names: Sequence[str], ids: Sequence[int], seen: set[int]
    ) -> Iterator[int]:
        from rapidfuzz import fuzz, process

        # A quick look first; `near` has the last word.
        for name, _, at in process.extract(
            key, names, scorer=fuzz.token_set_ratio, score_cutoff=NEAR, limit=None
        ):
            who = ids[at]
            if who not in seen and near(key, name):
                seen.add(who)
                yield who


def _parts(key: str) -> set[str]:
    """Return what a name is looked up by: its parts; of a single part its first letters too."""
    parts = key.split()
    return {*parts, f"{key[:3]}*"} if len(parts) == 1 else set(parts)
