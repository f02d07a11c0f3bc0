"""Particulate filter classes of 42 CFR Part 84, subpart K."""

from functools import cache
from typing import NamedTuple

from trainer.reference import table


class FilterClass(NamedTuple):
    """One class of particulate filter.

    series               "N", "R", "P", "HE", "PAPR100-N" or "PAPR100-P"
    efficiency_percent   the least share of the test particles that is caught
    penetration_percent  the largest share that may get through
    oil                  "no", "one shift" or "yes": may it be used where oil is in the air
    """

    name: str
    series: str
    powered: bool
    efficiency_percent: float
    penetration_percent: float
    oil: str
    english: str
    spanish: str
    source: str
    checked: str

    @property
    def seen(self) -> bool:
        """Return whether every field was read in the source; only these may be used in marking."""
        return self.checked == "yes"


@cache
def rows() -> tuple[FilterClass, ...]:
    """Return the nine classes of filters without a blower, then those for powered respirators."""
    return tuple(_row(cells) for cells in table.read("filter_classes"))


def get(name: str) -> FilterClass | None:
    """Return the class with that name, such as "N95", or None."""
    return next((row for row in rows() if row.name == name), None)


def _row(cells: dict[str, str]) -> FilterClass:
    typed = {
        "powered": table.yes(cells["powered"]),
        "efficiency_percent": float(cells["efficiency_percent"]),
        "penetration_percent": float(cells["penetration_percent"]),
    }
    return FilterClass(**(cells | typed))
