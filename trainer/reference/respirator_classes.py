"""Respirator classes: every cell of Table 1 in 29 CFR 1910.134(d)(3)(i)(A), blank cells too."""

from functools import cache
from typing import NamedTuple

from trainer.reference import table


class RespiratorClass(NamedTuple):
    """One cell of Table 1; `apf` is None where the cell is blank: no such class is recognised.

    kind        "apr", "papr", "sar" (airline) or "scba"
    mode        "demand", "flow", "pressure", or "" for air-purifying
    facepiece   "quarter", "half", "filtering", "full", "hood" (helmet or hood), "loose"
    needs_evidence   1,000 counts only with the maker's test evidence (footnote 4)
    """

    slug: str
    kind: str
    mode: str
    facepiece: str
    apf: int | None
    tight: bool
    air_purifying: bool
    powered: bool
    needs_evidence: bool
    english: str
    spanish: str
    note: str
    source: str
    checked: str

    def name(self, language: str) -> str:
        """Return the name in the words of the trade, "en" or "es"."""
        return table.said(language, self.english, self.spanish)


@cache
def rows() -> tuple[RespiratorClass, ...]:
    """Return the classes in the order of Table 1."""
    return tuple(_row(cells) for cells in table.read("respirator_classes"))


@cache
def recognised() -> tuple[RespiratorClass, ...]:
    """Return only the classes that have an assigned protection factor."""
    return tuple(row for row in rows() if row.apf is not None)


@cache
def factors() -> tuple[int, ...]:
    """Return the distinct assigned protection factors, smallest first."""
    return tuple(sorted({row.apf for row in rows() if row.apf is not None}))


def get(slug: str) -> RespiratorClass | None:
    """Return the class with that slug, or None."""
    return next((row for row in rows() if row.slug == slug), None)


def _row(cells: dict[str, str]) -> RespiratorClass:
    typed = {
        "apf": int(cells["apf"]) if cells["apf"] else None,
        "tight": table.yes(cells["tight"]),
        "air_purifying": table.yes(cells["air_purifying"]),
        "powered": table.yes(cells["powered"]),
        "needs_evidence": table.yes(cells["needs_evidence"]),
    }
    return RespiratorClass(**(cells | typed))
