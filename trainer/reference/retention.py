"""How long a record must be kept: one dated row a record, each with its source.

A row that nobody saw in its source (`checked` is "memory") is shown and never decides anything.
The written program lies outside this program; it has a row so that the page is complete.
Of training, paragraph (m) lists no record, so the federal rule states no period; Washington asks
for records with names and dates, and how long was not read.
"""

from datetime import date
from functools import cache
from typing import NamedTuple

from trainer.reference import table

KEEPS = ("until-next", "employment-and-years", "current-copy", "choice", "not-known")


class Retention(NamedTuple):
    """How long one kind of record is kept under a rule set, from a day to a day.

    kinds   of entries of the record; empty for what lies elsewhere
    keep    KEEPS: until the next one, so many years after employment, the current copy, the
            employer's choice, or not known
    years   after the last day of employment; None where the row names none
    """

    slug: str
    rule_set: str
    kinds: tuple[str, ...]
    english: str
    spanish: str
    keep: str
    years: int | None
    from_date: date
    until_date: date
    source: str
    checked: str

    def name(self, language: str) -> str:
        """Return what the record is called, "en" or "es"."""
        return table.said(language, self.english, self.spanish)

    def holds(self, on: date) -> bool:
        """Say whether the row holds on this day."""
        return self.from_date <= on <= self.until_date

    @property
    def decides(self) -> bool:
        """Say whether somebody saw the row in its source, or in a copy of it."""
        return self.checked != "memory"


@cache
def rows() -> tuple[Retention, ...]:
    """Return every row."""
    return tuple(_row(cells) for cells in table.read("retention"))


def get(slug: str) -> Retention | None:
    """Return the row with that slug, or None."""
    return next((row for row in rows() if row.slug == slug), None)


def of(kind: str, rule_set: str, on: date) -> Retention | None:
    """Return the row for a kind of entry on a day; a state without one has the federal row."""
    found = [row for row in rows() if kind in row.kinds and row.holds(on) and row.decides]
    mine = [row for row in found if row.rule_set == rule_set]
    federal = [row for row in found if row.rule_set == "federal"]
    return next(iter([*mine, *federal]), None)


def _row(cells: dict[str, str]) -> Retention:
    return Retention(
        **cells
        | {
            "kinds": tuple(cells["kinds"].split()),
            "years": int(cells["years"]) if cells["years"] else None,
            "from_date": _day(cells["from_date"], date.min),
            "until_date": _day(cells["until_date"], date.max),
        }
    )


def _day(cell: str, otherwise: date) -> date:
    return date.fromisoformat(cell) if cell else otherwise
