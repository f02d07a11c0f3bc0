"""Fit test protocols of 29 CFR 1910.134 Appendix A, by their generic names."""

from functools import cache
from typing import NamedTuple

from trainer.reference import table


class FitTestProtocol(NamedTuple):
    """One protocol; `kind` is "qualitative" (pass or fail) or "quantitative" (a fit factor)."""

    slug: str
    kind: str
    english: str
    spanish: str
    source: str
    checked: str

    def name(self, language: str) -> str:
        """Return the generic name, "en" or "es"."""
        return table.said(language, self.english, self.spanish)


@cache
def rows() -> tuple[FitTestProtocol, ...]:
    """Return the qualitative protocols, then the quantitative ones."""
    return tuple(FitTestProtocol(**cells) for cells in table.read("fit_test_protocols"))


def get(slug: str) -> FitTestProtocol | None:
    """Return the protocol with that slug, or None."""
    return next((row for row in rows() if row.slug == slug), None)
