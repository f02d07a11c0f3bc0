"""The highest concentration for which a chemical cartridge is approved, 42 CFR 84.190(a)."""

from functools import cache
from typing import NamedTuple

from trainer.reference import table


class CartridgeLimit(NamedTuple):
    """One kind of chemical cartridge, with its own limit in `unit`, whatever the mask."""

    slug: str
    english: str
    spanish: str
    limit: float
    unit: str
    source: str
    checked: str

    def name(self, language: str) -> str:
        """Return the name of the cartridges, "en" or "es"."""
        return table.said(language, self.english, self.spanish)


@cache
def rows() -> tuple[CartridgeLimit, ...]:
    """Return the kinds of cartridge by name."""
    return tuple(
        CartridgeLimit(**(cells | {"limit": float(cells["limit"])}))
        for cells in table.read("cartridge_limits")
    )


def get(slug: str) -> CartridgeLimit | None:
    """Return the limit of a kind of cartridge, or None."""
    return next((row for row in rows() if row.slug == slug), None)
