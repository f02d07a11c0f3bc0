"""Read a published table from the CSV file beside this module."""

import csv
import os

# Not pathlib, which takes longer to import than a table to read: `calculate` is to be quick.
_HERE = os.path.dirname(__file__)


def read(name: str) -> list[dict[str, str]]:
    """Return the rows of `name`.csv, each a dictionary of text by column."""
    with open(os.path.join(_HERE, f"{name}.csv"), encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def yes(cell: str) -> bool:
    """Return whether a cell says yes; anything but yes or no is a fault of the table."""
    return {"yes": True, "no": False}[cell]


def number(cell: str) -> float | None:
    """Return the number in a cell, or None where the published cell is blank."""
    return float(cell) if cell else None


def said(language: str, english: str, spanish: str) -> str:
    """Return the words of one language ("en" or "es"). Errors: KeyError for any other."""
    return {"en": english, "es": spanish}[language]
