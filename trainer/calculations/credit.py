"""Credit for training that somebody had elsewhere, 29 CFR 1910.134(k)(4).

An employer who can show that a new employee was trained within the last 12 months on the
elements of (k)(1)(i) to (vii) need not repeat that training, provided that the person can show
that they know those elements, as (k)(1) asks. What was not repeated at first is to be given no
later than 12 months from the day of the earlier training. Whatever is not covered stays to do.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from trainer.calculations.periods import next_due
from trainer.reference import training_elements

OF_THE_RESPIRATOR = frozenset(f"(k)(1)({place})" for place in ("i", "ii", "iii", "iv", "v"))
"""Elements that are about the respirator that is worn, and not about respirators in general: with
another type, earlier training no longer serves. Source: 29 CFR 1910.134(k)(1), (k)(5)(i)."""


@dataclass(frozen=True)
class Credited:
    """What earlier training covered.

    on      the day of that training: the year runs from it
    shown   has the person shown already that they know it? else a sitting is to show it
    """

    on: date
    shown: bool


def within_a_year(earlier: date, today: date) -> bool:
    """Say whether earlier training lies within the last 12 months, the last good day included.

    Source: 29 CFR 1910.134(k)(4)

    >>> within_a_year(date(2025, 11, 28), today=date(2026, 11, 28))
    True
    >>> within_a_year(date(2025, 11, 27), today=date(2026, 11, 28))
    False
    """
    return earlier <= today <= next_due(earlier)


def may_be_credited(worn: Collection[str], trained_with: Collection[str]) -> frozenset[str]:
    """Return the elements that earlier training can count for.

    worn            classes of the respirators that the person has to wear here
    trained_with    classes of those that the earlier training was about
    Source: 29 CFR 1910.134(k)(4): the elements (k)(1)(i) to (vii) and nothing else; (k)(5)(i)
    """
    seven = frozenset(row.paragraph for row in training_elements.seven())
    same = bool(trained_with) and set(worn) <= set(trained_with)
    return seven if same else seven - OF_THE_RESPIRATOR


def joined(credits: Iterable[Mapping[str, Credited]]) -> dict[str, Credited]:
    """Return what several earlier trainings covered together: of two, the later one counts.

    What was shown once is shown.
    """
    together: dict[str, Credited] = {}
    for one in credits:
        for element, new in one.items():
            old = together.get(element, new)
            together[element] = Credited(max(old.on, new.on), old.shown or new.shown)
    return together


def covered(elements: Collection[str], credited: Mapping[str, Credited]) -> Credited | None:
    """Return since when a lesson counts as covered; None where anything of it is not.

    elements    what the lesson covers; one about a worksite names more than the seven, and one
                that names nothing is covered by nothing
    The earliest of the days counts. Source: 29 CFR 1910.134(k)(4)
    """
    if not elements or not set(elements) <= set(credited):
        return None
    parts = [credited[element] for element in elements]
    return Credited(min(part.on for part in parts), all(part.shown for part in parts))
