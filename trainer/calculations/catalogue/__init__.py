"""The named calculations, from which exercises, worksheet and command line all read.

A calculation also names its intermediate steps (`parts`), what the usual mistakes give
(`slips`), and tells the steps in words (`steps`): so an exercise can ask for the first and
recognise the second, and the worksheet shows the third.

    GROUPS     by what a person wants to know
    CATALOGUE  all of them, by name
"""

from collections.abc import Iterator
from importlib import import_module

from trainer.calculations.catalogue.shapes import Calculation, Group, Parameter

__all__ = ["CATALOGUE", "GROUPS", "Calculation", "Group", "Parameter", "find"]

_MODULES = (
    "behind", "choosing", "measured", "fitting", "filtering", "oxygen", "brought", "cartridge",
    "dates",
)  # fmt: skip


def find(name: str) -> Calculation | None:
    """Return the calculation of that name, or None; reads no module after the one that has it.

    The command line works one calculation out and ends: to read all of them would take it longer.
    """
    return next((one for group in _groups() for one in group.calculations if one.name == name),
                None)  # fmt: skip


def _groups() -> Iterator[Group]:
    for name in _MODULES:
        yield import_module(f"{__name__}.{name}").GROUP


def __getattr__(name: str) -> object:
    """Return GROUPS or CATALOGUE, made when one of them is first asked for."""
    if name not in ("GROUPS", "CATALOGUE"):
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    groups = tuple(_groups())
    whole = {"GROUPS": groups,
             "CATALOGUE": {one.name: one for group in groups for one in group.calculations}}
    globals().update(whole)
    return whole[name]
