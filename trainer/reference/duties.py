"""What must be done before a respirator is worn: one dated row a duty, never an `if` in code.

Source: 29 CFR 1910.134 (c)(2), (e)(1), (f)(1), (k); the paragraph stands in each row. A
federal change is proposed (90 FR 28463, not law when last seen): it would end a row by its
`until_date` and begin another.
"""

from dataclasses import dataclass
from datetime import date
from functools import cache

from trainer.reference import table


@dataclass(frozen=True)
class Duty:
    """One duty owed under a rule set from a day to a day."""

    rule_set: str
    use: str  # required or voluntary
    applies_to: str  # any, tight, or not-filtering (all but filtering facepieces)
    duty: str  # medical, training, practice, fit-test or appendix-d
    from_date: date
    until_date: date
    source: str
    checked: str

    def holds(self, on: date) -> bool:
        """Say whether the duty is owed on this day."""
        return self.from_date <= on <= self.until_date


@cache
def rows() -> tuple[Duty, ...]:
    """Return every duty, in the order in which the steps are done."""
    return tuple(_row(cells) for cells in table.read("duties"))


def owed(rule_set: str, use: str, *, tight: bool, filtering: bool, on: date) -> tuple[Duty, ...]:
    """Return the duties for one use on a day; a state without rows has the federal ones."""
    sets = {row.rule_set for row in rows()}
    chosen = rule_set if rule_set in sets else "federal"
    applies = {"any": True, "tight": tight, "not-filtering": not filtering}
    return tuple(
        row
        for row in rows()
        if row.rule_set == chosen and row.use == use and applies[row.applies_to] and row.holds(on)
    )


def _row(cells: dict[str, str]) -> Duty:
    days = {
        "from_date": date.fromisoformat(cells["from_date"]) if cells["from_date"] else date.min,
        "until_date": date.fromisoformat(cells["until_date"]) if cells["until_date"] else date.max,
    }
    return Duty(**(cells | days))
