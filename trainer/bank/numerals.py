"""Numbers and units as people type them.

Nothing typed here is ever evaluated: a number is read by the patterns below, a unit is looked
up in the table below, and only names out of that table reach pint.
"""

import re
import unicodedata
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache

LONGEST = 60

# Spellings of each unit, as they stand after `_tidy_unit`; the key is the unit as we print it.
SPELLINGS: dict[str, tuple[str, ...]] = {
    "ppm": ("ppm", "partspermillion", "partespormillón", "partespormillon"),
    "ppb": ("ppb", "partsperbillion", "partespormilmillones"),
    "%": ("%", "percent", "pct", "porciento", "porcentaje"),
    "mg/m³": ("mg/m3", "mg/m^3", "mgm3", "mgperm3", "mgporm3", "mg/cubicmeter", "mg/cubicmetre",
              "mgpercubicmeter", "mg/metrocúbico", "mg/metrocubico", "mgpormetrocúbico"),
    "µg/m³": ("ug/m3", "ug/m^3", "ugm3", "ugperm3", "ugporm3", "mcg/m3", "ug/cubicmeter",
              "ug/metrocúbico", "ug/metrocubico"),
    "g/m³": ("g/m3", "g/m^3"),
    "mmHg": ("mmhg", "torr"),
    "kPa": ("kpa",),
    "min": ("min", "mins", "minute", "minutes", "minuto", "minutos"),
    "h": ("h", "hr", "hrs", "hour", "hours", "hora", "horas"),
    "s": ("s", "sec", "second", "seconds", "segundo", "segundos"),
    "L/min": ("l/min", "lpm", "liters/min", "litros/min", "lperminute"),
    "cfm": ("cfm", "ft3/min"),
    "L": ("l", "liter", "liters", "litre", "litres", "litro", "litros"),
    "bar": ("bar",),
    "psi": ("psi",),
    "ft": ("ft", "feet", "foot", "pie", "pies"),
    "m": ("m", "meter", "meters", "metro", "metros"),
    "": ("", "x", "times", "veces", "apf", "fpa"),
}
_PRINTED = {spelling: unit for unit, all_ in SPELLINGS.items() for spelling in all_}
_PINT = {
    "ppm": "ppm", "ppb": "ppb", "%": "percent", "": "dimensionless",
    "mg/m³": "milligram / meter ** 3", "µg/m³": "microgram / meter ** 3",
    "g/m³": "gram / meter ** 3", "mmHg": "mmHg", "kPa": "kilopascal", "bar": "bar", "psi": "psi",
    "min": "minute", "h": "hour", "s": "second", "L/min": "liter / minute",
    "cfm": "foot ** 3 / minute", "L": "liter", "ft": "foot", "m": "meter",
}

_LEAD = re.compile(r"^(?:[=~≈]|apf\b|fpa\b)\s*", re.IGNORECASE)
_NUMERAL = re.compile(r"\d(?:[\d.,' ]*\d)?[.,]?|[.,]\d+")
_EXPONENT = re.compile(r"[eE]([+-]?\d{1,2})(?![\d\w.,])")
_OVER = re.compile(r"\s*/\s*(\d(?:[\d.,']*\d)?)(?![\w])")


@dataclass(frozen=True)
class Reading:
    """One way to read a numeral.

    printed  it is how our own pages would print it
    english  it is how everyone who reads English would take it
    """

    value: Decimal
    printed: bool = False
    english: bool = False

    def usual_in(self, language: str) -> bool:
        """Return whether readers of the language read it so, and no other way.

        In English a comma parts thousands and a point decimals. Of those who read Spanish in the
        United States some grew up with the one and some with the other, so for them only what
        our own pages print is sure.
        """
        return self.printed or (language == "en" and self.english)


def read_quantity(typed: str) -> tuple[tuple[Reading, ...], str | None] | None:
    """Return the readings of the number and the unit typed; None when it is no number.

    The unit is None when none was typed, and "?" when it is not one we know.

    >>> [reading.value for reading in read_quantity("1,250 ppm")[0]], read_quantity("2,5 ppm")[1]
    ([Decimal('1250'), Decimal('1.250')], 'ppm')
    """
    if len(typed) > LONGEST:
        return None
    text = _LEAD.sub("", plain(typed))
    sign, text = (-1, text[1:].lstrip()) if text[:1] == "-" else (1, text.removeprefix("+"))
    found = _NUMERAL.match(text)
    if not found:
        return None
    readings, end = _value(text, found)
    if not readings:
        return None
    unit = _unit(text[end:])
    if unit == "?" and re.search(r"\d", text[end:]):
        return None  # a second number, as in `2 or 3`
    return tuple(replace(reading, value=sign * reading.value) for reading in readings), unit


def _value(text: str, found: re.Match) -> tuple[list[Reading], int]:
    """Return the readings of the number at the start of the text, and where it ends."""
    numeral = found.group()
    over = _OVER.match(text, found.end())
    if over:
        return _fraction(numeral, over.group(1)), over.end()
    exponent = _EXPONENT.match(text, found.end())
    if exponent:
        scaled = [Reading(r.value.scaleb(int(exponent[1]))) for r in _readings(numeral)]
        return scaled, exponent.end()
    return _readings(numeral), found.end()


def _fraction(numeral: str, below: str) -> list[Reading]:
    """Return the readings of a fraction, `1/4`, or of a mixed number, `2 1/4`."""
    whole, _, above = numeral.rpartition(" ")
    if whole and len(above) == 3:
        return []  # `1 250/5` could be 51 or 250; it is asked again
    wholes = _readings(whole.strip()) if whole else [Reading(Decimal(0))]
    return [
        Reading(w.value + a.value / b.value)
        for w in wholes for a in _readings(above) for b in _readings(below) if b.value
    ]


_GROUPED = re.compile(r"\d{1,3}(?:([,.' ])\d{3})(?:\1\d{3})*")
_GROUPED_DECIMAL = re.compile(r"(\d{1,3}(?:([,.' ])\d{3})(?:\2\d{3})*)([.,])(\d*)")
_DECIMAL = re.compile(r"(\d*)([.,])(\d*)")


def _readings(numeral: str) -> list[Reading]:
    """Return every way to read digits with separators: one, two (`1,250`) or none (`1,2,3`)."""
    if numeral.isdigit():
        return [Reading(Decimal(numeral))]
    readings = []
    if _GROUPED.fullmatch(numeral) and not numeral.startswith("0"):
        # Our pages print 1,000 for a thousand, and nobody writes a whole number as 1,000.
        printed = bool(re.fullmatch(r"\d{1,3}(,000)+", numeral))
        readings.append(Reading(Decimal(re.sub(r"\D", "", numeral)), printed, "," in numeral))
    if alone := _DECIMAL.fullmatch(numeral):
        value = Decimal(f"{alone[1] or 0}.{alone[3] or 0}")
        readings.append(Reading(value, english=alone[2] == "."))
    mixed = _GROUPED_DECIMAL.fullmatch(numeral)
    if mixed and mixed[2] != mixed[3] and not numeral.startswith("0"):
        readings.append(Reading(Decimal(re.sub(r"\D", "", mixed[1]) + "." + (mixed[4] or "0"))))
    return readings


def plain(typed: str) -> str:
    """Return the text with every script's digits, spaces, minus signs and slashes made plain."""
    if typed.isascii():
        return " ".join(typed.split())
    text = re.sub(r"(?<=[mM])\s?³", "3", typed)
    text = "".join(_plain_character(character) for character in text)
    return re.sub(r"\s+", " ", text).strip()


_ALIKE = {
    **dict.fromkeys("\u2212\u2010\u2011\u2012\u2013\u2014\ufe63\uff0d", "-"),
    **dict.fromkeys("\u2044\u2215\u00f7\uff0f", "/"),
    **dict.fromkeys("\u2019\u02bc\u066c", "'"),
    **dict.fromkeys("\u066b\uff0e", "."),
    **dict.fromkeys("\u00b5\u03bc", "u"),
    "\uff0c": ",", "\uff05": "%", "\u066a": "%",
    "\u00bc": " 1/4", "\u00bd": " 1/2", "\u00be": " 3/4",
}


def _plain_character(character: str) -> str:
    digit = unicodedata.decimal(character, None)
    if digit is not None:
        return str(digit)
    invisible = unicodedata.category(character) == "Cf"
    return "" if invisible else _ALIKE.get(character, " " if character.isspace() else character)


# Units.


def _unit(typed: str) -> str | None:
    """Return the unit as we print it, None when nothing is typed, "?" when it is not known."""
    tidy = _tidy_unit(typed)
    return _PRINTED.get(tidy, "?") if tidy else None


def _tidy_unit(typed: str) -> str:
    return re.sub(r"\s", "", typed).rstrip(".!").casefold()


def unit_ratio(typed: str, wanted: str) -> float | None:
    """Return what turns the typed unit into the wanted one; None when they do not compare."""
    if typed == wanted:
        return 1.0
    return _conversion(typed, wanted) if typed in _PINT and wanted in _PINT else None


@cache
def _conversion(typed: str, wanted: str) -> float | None:
    # pint takes a while to import, and most answers are typed in the unit that is printed.
    registry, mismatch = _pint()
    try:
        return float(registry.Quantity(1.0, _PINT[typed]).to(_PINT[wanted]).magnitude)
    except mismatch:
        return None


@cache
def _pint() -> tuple:
    import pint

    registry = pint.UnitRegistry()
    registry.define("ppb = 1e-9")
    return registry, pint.DimensionalityError
