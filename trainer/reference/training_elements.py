"""What training must cover: 29 CFR 1910.134(k)(1)(i)-(vii), the worksite part, Appendix D."""

from functools import cache
from typing import NamedTuple

from trainer.reference import table


class TrainingElement(NamedTuple):
    """One element; `kind` is "element" (one of the seven), "worksite" or "voluntary"."""

    paragraph: str
    kind: str
    english: str
    spanish: str
    source: str
    checked: str

    def name(self, language: str) -> str:
        """Return the short name, "en" or "es"."""
        return table.said(language, self.english, self.spanish)


@cache
def rows() -> tuple[TrainingElement, ...]:
    """Return the seven elements, then the further duties."""
    return tuple(TrainingElement(**cells) for cells in table.read("training_elements"))


@cache
def seven() -> tuple[TrainingElement, ...]:
    """Return only the seven elements of (k)(1)."""
    return tuple(row for row in rows() if row.kind == "element")


def get(paragraph: str) -> TrainingElement | None:
    """Return the element of a paragraph such as "(k)(1)(iv)", or None."""
    return next((row for row in rows() if row.paragraph == paragraph), None)
