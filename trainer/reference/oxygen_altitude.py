"""Table II of 29 CFR 1910.134(d)(2)(iii): oxygen and altitude."""

from functools import cache
from typing import NamedTuple

from trainer.reference import table


class OxygenBand(NamedTuple):
    """One band of altitude in feet; `low_percent` is None where the exception never applies."""

    from_ft: int
    to_ft: int | None
    low_percent: float | None
    high_percent: float | None
    exception_applies: bool
    source: str
    checked: str


@cache
def rows() -> tuple[OxygenBand, ...]:
    """Return the bands, lowest first."""
    return tuple(_row(cells) for cells in table.read("oxygen_altitude"))


def _row(cells: dict[str, str]) -> OxygenBand:
    return OxygenBand(
        from_ft=int(cells["from_ft"]),
        to_ft=int(cells["to_ft"]) if cells["to_ft"] else None,
        low_percent=table.number(cells["low_percent"]),
        high_percent=table.number(cells["high_percent"]),
        exception_applies=table.yes(cells["exception_applies"]),
        source=cells["source"],
        checked=cells["checked"],
    )
