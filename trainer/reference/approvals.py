"""Schedule prefixes of NIOSH approval numbers (TC-...)."""

from functools import cache
from typing import NamedTuple

from trainer.reference import table


class Approval(NamedTuple):
    """One prefix; `kind` is a short name for the device it stands for, unique in the table."""

    prefix: str
    kind: str
    english: str
    spanish: str
    covers_en: str
    covers_es: str
    source: str
    checked: str

    @property
    def seen(self) -> bool:
        """Return whether the meaning was read in the source; only these may be used in marking."""
        return self.checked == "yes"

    def name(self, language: str) -> str:
        """Return what kind of device carries the prefix, "en" or "es"."""
        return table.said(language, self.english, self.spanish)

    def covers(self, language: str) -> str:
        """Return what the device is for, "en" or "es"."""
        return table.said(language, self.covers_en, self.covers_es)


@cache
def rows() -> tuple[Approval, ...]:
    """Return the prefixes in the order of their numbers."""
    return tuple(Approval(**cells) for cells in table.read("approvals"))


def get(prefix: str) -> Approval | None:
    """Return the row of a prefix such as "TC-84A", or None."""
    return next((row for row in rows() if row.prefix == prefix), None)
