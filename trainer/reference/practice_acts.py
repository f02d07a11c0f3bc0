"""The acts that a trainer watches when a person practises with the real respirator."""

from functools import cache
from typing import NamedTuple

from trainer.reference import table


class PracticeAct(NamedTuple):
    """One act.

    tight_only    it exists only where a facepiece seals against the face
    in_refresher  it is watched again six months after training
    lessons       slugs of the lessons that teach it, for retraining, (k)(5)(ii)
    """

    slug: str
    english: str
    spanish: str
    tight_only: bool
    weak_in_studies: bool
    in_refresher: bool
    lessons: tuple[str, ...]
    source: str
    checked: str

    def name(self, language: str) -> str:
        """Return the act in a few words, "en" or "es"."""
        return table.said(language, self.english, self.spanish)


@cache
def rows() -> tuple[PracticeAct, ...]:
    """Return the acts in the order in which they are done."""
    return tuple(_row(cells) for cells in table.read("practice_acts"))


def acts_for(tight: bool) -> tuple[PracticeAct, ...]:
    """Return the acts for a tight-fitting respirator, or for any other."""
    return tuple(row for row in rows() if tight or not row.tight_only)


def get(slug: str) -> PracticeAct | None:
    """Return the act with that slug, or None."""
    return next((row for row in rows() if row.slug == slug), None)


def _row(cells: dict[str, str]) -> PracticeAct:
    flags = ("tight_only", "weak_in_studies", "in_refresher")
    typed = {name: table.yes(cells[name]) for name in flags}
    return PracticeAct(**(cells | typed | {"lessons": tuple(cells["lessons"].split())}))
