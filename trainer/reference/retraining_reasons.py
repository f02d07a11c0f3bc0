"""Why a person is trained: 29 CFR 1910.134(k)(3) and (k)(5)."""

from functools import cache
from typing import NamedTuple

from trainer.reference import table


class RetrainingReason(NamedTuple):
    """One reason, with the paragraph it comes from."""

    slug: str
    english: str
    spanish: str
    source: str
    checked: str

    def name(self, language: str) -> str:
        """Return the reason in a few words, "en" or "es"."""
        return table.said(language, self.english, self.spanish)


@cache
def rows() -> tuple[RetrainingReason, ...]:
    """Return the reasons, the first training first."""
    return tuple(RetrainingReason(**cells) for cells in table.read("retraining_reasons"))


def get(slug: str) -> RetrainingReason | None:
    """Return the reason with that slug, or None."""
    return next((row for row in rows() if row.slug == slug), None)
