"""What must be done before a respirator is worn: one dated row a duty, never an `if` in code.

Source: 29 CFR 1910.134 (c)(2), (e)(1), (f)(1), (k); the paragraph stands in each row. A
federal change is proposed (90 FR 28463, not law when last seen): it would end a row by its
`until_date` and begin another.
"""

from collections.abc import Sequence
from datetime import date
from functools import cache
from typing import NamedTuple

from trainer.reference import respirator_classes, table


class Duty(NamedTuple):
    """One duty owed under a rule set from a day to a day."""

    rule_set: str
    use: str  # required, voluntary or escape
    # any, tight, not-filtering (all but filtering facepieces), the slugs of classes with a space
    # between, or "but" and the slugs of those to which it does not apply
    applies_to: str
    duty: str  # medical, training, practice, fit-test, appendix-d or upkeep
    from_date: date
    until_date: date
    source: str
    checked: str

    def holds(self, on: date) -> bool:
        """Say whether the duty is owed on this day."""
        return self.from_date <= on <= self.until_date


@cache
def rows() -> tuple[Duty, ...]:
    """Return every published duty, in the order in which the steps are done."""
    return tuple(duty_of(cells) for cells in table.read("duties"))


def owed(
    rule_set: str,
    use: str,
    *,
    class_slug: str,
    tight: bool,
    filtering: bool,
    on: date,
    given: Sequence[Duty] | None = None,
) -> tuple[Duty, ...]:
    """Return the duties for one use on a day; a state without rows has the federal ones.

    given   the rows to choose from, None: the published ones
    """
    given = rows() if given is None else given
    chosen = rule_set if rule_set in {row.rule_set for row in given} else "federal"
    return tuple(
        row
        for row in given
        if row.rule_set == chosen
        and row.use == use
        and row.holds(on)
        and _applies(row.applies_to, class_slug, tight, filtering)
    )


def _applies(to: str, class_slug: str, tight: bool, filtering: bool) -> bool:
    kinds = {"any": True, "tight": tight, "not-filtering": not filtering}
    if to in kinds:
        return kinds[to]
    first, *others = to.split()
    named = others if first == "but" else [first, *others]
    unknown = [slug for slug in named if respirator_classes.get(slug) is None]
    if unknown or not named:
        raise ValueError(f"duties.csv: {to!r} names no class of respirator: {unknown}")
    return (class_slug in named) is (first != "but")


def duty_of(cells: dict[str, str]) -> Duty:
    """Return the duty of one line of the table; an empty day is no bound."""
    days = {
        "from_date": date.fromisoformat(cells["from_date"]) if cells["from_date"] else date.min,
        "until_date": date.fromisoformat(cells["until_date"]) if cells["until_date"] else date.max,
    }
    return Duty(**(cells | days))
