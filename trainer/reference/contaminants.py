"""Contaminants with their limits. A limit or IDLH that was not read in its source is None."""

import re
from functools import cache
from typing import NamedTuple

from trainer.reference import table

_NUMBERS = (
    "molecular_weight",
    "boiling_point_c",
    "pel",
    "ceiling",
    "stel",
    "idlh",
    "conversion",
)


class Contaminant(NamedTuple):
    """One contaminant. What lessons, exercises and rules use is `limit`, `idlh`, `factor`.

    The `printed` values were copied; those whose field is not in `checked_fields` stay
    unused: `limit`, `idlh` and `factor` are None for them.

    unit        of `limit`: "ppm", "mg/m³" or "fibres/cm³"
    limit_kind  "TWA" (8 h average), "ceiling" or "none"
    factor      mg/m³ for 1 ppm at 25 °C and 760 mmHg, as the Pocket Guide prints it
    tern_quay   slug of the worksite of Tern Quay Works that has it, or ""
    """

    slug: str
    english: str
    spanish: str
    cas: str
    kind: str
    formula: str
    molecular_weight: float | None
    boiling_point_c: float | None
    unit: str
    limit_kind: str
    limit_source: str
    other_limits: str
    idlh_unit: str
    idlh_note: str
    oil_aerosol: bool
    eye_irritant: bool
    substance_standard: str
    tern_quay: str
    source: str
    checked_fields: frozenset[str]
    printed: dict[str, float | None]

    def name(self, language: str) -> str:
        """Return the name, "en" or "es"."""
        return table.said(language, self.english, self.spanish)

    def in_text(self, language: str) -> str:
        """Return the name as it stands inside a sentence, without a capital."""
        name = self.name(language)
        return re.sub(r"^(n-)?[A-ZÁÉÍÓÚ]", lambda start: start[0].lower(), name)

    @property
    def limit(self) -> float | None:
        """Return OSHA's permissible exposure limit in `unit`, or None where it was not seen."""
        return self._if_seen("pel")

    @property
    def idlh(self) -> float | None:
        """Return the IDLH concentration in `idlh_unit`, or None where it was not seen."""
        return self._if_seen("idlh")

    @property
    def factor(self) -> float | None:
        """Return mg/m³ for 1 ppm as printed, or None where it was not seen."""
        return self._if_seen("conversion")

    def _if_seen(self, field: str) -> float | None:
        return self.printed[field] if field in self.checked_fields else None


@cache
def rows() -> tuple[Contaminant, ...]:
    """Return all contaminants, gases and vapors first."""
    return tuple(_row(cells) for cells in table.read("contaminants"))


def get(slug: str) -> Contaminant | None:
    """Return the contaminant with that slug, or None."""
    return next((row for row in rows() if row.slug == slug), None)


def _row(cells: dict[str, str]) -> Contaminant:
    values = {name: table.number(cells[name]) for name in _NUMBERS}
    return Contaminant(
        slug=cells["slug"],
        english=cells["english"],
        spanish=cells["spanish"],
        cas=cells["cas"],
        kind=cells["kind"],
        formula=cells["formula"],
        molecular_weight=values["molecular_weight"],
        boiling_point_c=values["boiling_point_c"],
        unit=cells["pel_unit"],
        limit_kind=cells["pel_kind"],
        limit_source=cells["pel_source"],
        other_limits=cells["other_limits"],
        idlh_unit=cells["idlh_unit"],
        idlh_note=cells["idlh_note"],
        oil_aerosol=table.yes(cells["oil_aerosol"]),
        eye_irritant=table.yes(cells["eye_irritant"]),
        substance_standard=cells["substance_standard"],
        tern_quay=cells["tern_quay"],
        source=cells["source"],
        checked_fields=frozenset(filter(None, cells["checked_fields"].split("+"))),
        printed={name: values[name] for name in ("pel", "ceiling", "stel", "idlh", "conversion")},
    )
