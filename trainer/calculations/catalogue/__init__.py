"""The named calculations, from which exercises, worksheet and command line all read.

A calculation also names its intermediate steps (`parts`), what the usual mistakes give
(`slips`), and tells the steps in words (`steps`): so an exercise can ask for the first and
recognise the second, and the worksheet shows the third.
"""

from trainer.calculations.catalogue import (
    behind,
    brought,
    cartridge,
    dates,
    filtering,
    fitting,
    measured,
    oxygen,
)
from trainer.calculations.catalogue.shapes import Calculation, Group, Parameter

GROUPS: tuple[Group, ...] = (
    behind.GROUP,
    measured.GROUP,
    fitting.GROUP,
    filtering.GROUP,
    oxygen.GROUP,
    brought.GROUP,
    cartridge.GROUP,
    dates.GROUP,
)
"""By what a person wants to know."""

CATALOGUE: dict[str, Calculation] = {
    calculation.name: calculation for group in GROUPS for calculation in group.calculations
}

__all__ = ["CATALOGUE", "GROUPS", "Calculation", "Group", "Parameter"]
