"""Marking what a person typed or picked.

Nothing typed here is ever evaluated: a number is read by the patterns below, a unit is looked
up in the table below, and only names out of that table reach pint.
"""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache

from trainer.words import Words, number, same, words

LONGEST = 60
_CLOSE = 1e-9
# A slip is named though its last figures were rounded; an answer may be stricter than that.
SLIP_WITHIN = 0.005

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

RIGHT = Words("Right: {shown}.", "Correcto: {shown}.")
WRONG = Words("{shown} is not the answer. Go through the steps one at a time.",
              "{shown} no es la respuesta. Siga los pasos uno por uno.")
NOT_IT = Words("That is not the answer. Go through the steps one at a time.",
               "Esa no es la respuesta. Siga los pasos uno por uno.")
WRONG_UNIT = Words("The number is right, the unit is not. The answer is in {unit}.",
                   "El número es correcto, la unidad no. La respuesta va en {unit}.")
NO_UNIT_HERE = Words("The number is right, but it has no unit. Write the number alone.",
                     "El número es correcto, pero no lleva unidad. Escriba solo el número.")
UNREADABLE = Words("This cannot be read as a number. Write one number, such as 2.5.",
                   "Esto no se puede leer como un número. Escriba un número, por ejemplo 2.5.")
NOT_OFFERED = Words("Choose one of the answers.", "Elija una de las respuestas.")
EMPTY = Words("Nothing is written yet.", "Todavía no hay nada escrito.")
AMBIGUOUS = Words(
    "{typed} can be read in two ways: {first} or {second}. Write it without the separator.",
    "{typed} se puede leer de dos maneras: {first} o {second}. Escríbalo sin el separador.",
)


@dataclass(frozen=True)
class Slip:
    """A usual mistake: the answer that it gives, and what to say to the person who made it."""

    key: str
    value: float | str
    say: Words


@dataclass(frozen=True)
class Blank:
    """A place for one answer.

    kind    "number", "word" (typed, such as R95) or "pick" (one of the choices)
    unit    the unit printed beside it, as text; empty for a plain number
    value   the right answer: a float, a word, or the value of a choice
    within  how far off a number may be, as a share of the right one; 0 means exactly it
    other_units   may it be given in another unit of the same kind, to be converted?
    """

    kind: str
    value: float | str
    unit: str = ""
    within: float = 0.0
    choices: tuple[tuple[str, Words], ...] = ()
    slips: tuple[Slip, ...] = ()
    other_units: bool = True

    def options(self, language: str) -> list[tuple[str, str]]:
        """Return the choices of a "pick" as (value, label) in the language."""
        return [(value, label(language)) for value, label in self.choices]

    def right_text(self, language: str) -> str:
        """Return the right answer as a person would read it, with its unit."""
        return _shown(self, self.value)(language)

    @property
    def typed(self) -> str:
        """Return the right answer as a person could type it: no separators, its unit behind."""
        shown = str(self.value) if self.kind != "number" else number(self.value).replace(",", "")
        return f"{shown} {self.unit}".strip()

    def freeze(self) -> dict:
        """Return a JSON-able dict that `thaw_blank` turns back."""
        return {
            "kind": self.kind, "value": self.value, "unit": self.unit, "within": self.within,
            "other_units": self.other_units,
            "choices": [[value, label.freeze()] for value, label in self.choices],
            "slips": [{"key": slip.key, "value": slip.value, "say": slip.say.freeze()}
                      for slip in self.slips],
        }


def thaw_blank(frozen: dict) -> Blank:
    """Return the Blank of a frozen one."""
    return Blank(
        kind=frozen["kind"], value=frozen["value"], unit=frozen["unit"], within=frozen["within"],
        choices=tuple((value, words(label)) for value, label in frozen["choices"]),
        slips=tuple(Slip(slip["key"], slip["value"], words(slip["say"]))
                    for slip in frozen["slips"]),
        other_units=frozen.get("other_units", True),  # problems kept before there was this
    )


@dataclass(frozen=True)
class Marking:
    """What came out: the verdict, the slip if one is known, and a sentence for the person.

    verdict  "right", "wrong", "unit" (right number, wrong unit), "unreadable" or "ambiguous"
    value    what was understood, in the blank's unit; None when nothing was
    """

    verdict: str
    value: float | str | None
    sentence: Words = field(repr=False)
    slip: Slip | None = None

    def say(self, language: str) -> str:
        """Return the sentence in the language."""
        return self.sentence(language)

    @property
    def right(self) -> bool:
        """Return whether the answer counts as right."""
        return self.verdict == "right"


def mark(blank: Blank, typed: str, language: str = "en") -> Marking:
    """Return the marking of what was typed or picked; whatever the text, nothing is raised.

    The language does not change the marking, since both write numbers alike here; it is part
    of the call so that a language which does not can be added.
    """
    text = (typed or "").strip()
    if not text:
        return Marking("unreadable", None, EMPTY)
    if blank.kind == "number":
        return _mark_number(blank, text)
    return _mark_pick(blank, text) if blank.kind == "pick" else _mark_word(blank, text)


# Numbers.


@dataclass(frozen=True)
class Reading:
    """One way to read a numeral; `printed` when it is how our own pages would print it."""

    value: Decimal
    printed: bool = False


def _mark_number(blank: Blank, typed: str) -> Marking:
    read = read_quantity(typed)
    if read is None:
        return Marking("unreadable", None, UNREADABLE)
    readings, unit = read
    markings = [_judge(blank, float(reading.value), unit) for reading in readings]
    if len({marking.verdict for marking in markings}) == 1:
        return next((marking for marking in markings if marking.slip), markings[0])
    for reading, marking in zip(readings, markings, strict=True):
        if reading.printed and marking.right:
            return marking
    first, second = (number(float(reading.value)) for reading in readings[:2])
    return Marking("ambiguous", None, _fill(AMBIGUOUS, typed=typed, first=first, second=second))


def _judge(blank: Blank, value: float, unit: str | None) -> Marking:
    """Mark one reading; unit is None when none was typed, "?" when it is not known."""
    factor = 1.0 if unit is None else _factor(unit, blank.unit)
    if unit != blank.unit and unit is not None and not blank.other_units:
        factor = None
    if factor is not None and _near(value * factor, blank.value, blank.within):
        return Marking("right", value * factor, _fill(RIGHT, shown=_shown(blank, blank.value)))
    if factor != 1.0 and _near(value, blank.value, blank.within):
        sentence = _fill(WRONG_UNIT, unit=blank.unit) if blank.unit else NO_UNIT_HERE
        return Marking("unit", value, sentence)
    meant = value if factor is None else value * factor
    slip = _slip(blank, meant)
    sentence = slip.say if slip else _not_the_answer(blank, meant, factor)
    return Marking("wrong", meant, sentence, slip)


def _not_the_answer(blank: Blank, value: float, factor: float | None) -> Words:
    """Return the sentence for a wrong number, which it repeats unless that would mislead."""
    if factor is None or not (value == 0 or 1e-6 < abs(value) < 1e9):
        return NOT_IT
    # A number that we would round is not the one that was typed.
    if float(number(value).replace(",", "")) != value:
        return NOT_IT
    return _fill(WRONG, shown=_shown(blank, value))


def _slip(blank: Blank, value: float) -> Slip | None:
    numeric = (slip for slip in blank.slips if not isinstance(slip.value, str))
    within = max(blank.within, SLIP_WITHIN)
    return next((slip for slip in numeric if _near(value, slip.value, within)), None)


def _near(value: float, wanted: float | str, within: float) -> bool:
    return abs(value - float(wanted)) <= max(within, _CLOSE) * abs(float(wanted))


def read_quantity(typed: str) -> tuple[tuple[Reading, ...], str | None] | None:
    """Return the readings of the number and the unit typed; None when it is no number.

    The unit is None when none was typed, and "?" when it is not one we know.

    >>> read_quantity("2,5 ppm")
    ((Reading(value=Decimal('2.5'), printed=False),), 'ppm')
    """
    if len(typed) > LONGEST:
        return None
    text = _LEAD.sub("", _plain(typed))
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
    return tuple(Reading(sign * reading.value, reading.printed) for reading in readings), unit


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
        readings.append(Reading(Decimal(re.sub(r"\D", "", numeral)), printed))
    if plain := _DECIMAL.fullmatch(numeral):
        readings.append(Reading(Decimal(f"{plain[1] or 0}.{plain[3] or 0}")))
    mixed = _GROUPED_DECIMAL.fullmatch(numeral)
    if mixed and mixed[2] != mixed[3] and not numeral.startswith("0"):
        readings.append(Reading(Decimal(re.sub(r"\D", "", mixed[1]) + "." + (mixed[4] or "0"))))
    return readings


def _plain(typed: str) -> str:
    """Return the text with every script's digits, spaces, minus signs and slashes made plain."""
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


def _factor(typed: str, wanted: str) -> float | None:
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


# Picks and words.


def _mark_pick(blank: Blank, typed: str) -> Marking:
    picked = next((value for value, label in blank.choices
                   if typed in (str(value), label.en, label.es)), None)
    if picked is None:
        return Marking("unreadable", None, NOT_OFFERED)
    return _mark_text(blank, picked, picked == str(blank.value))


def _mark_word(blank: Blank, typed: str) -> Marking:
    return _mark_text(blank, typed, _letters(typed) == _letters(str(blank.value)))


def _mark_text(blank: Blank, text: str, right: bool) -> Marking:
    if right:
        return Marking("right", blank.value, _fill(RIGHT, shown=_shown(blank, blank.value)))
    slip = next((slip for slip in blank.slips if _letters(str(slip.value)) == _letters(text)), None)
    return Marking("wrong", text, slip.say if slip else NOT_IT, slip)


def _letters(text: str) -> str:
    return re.sub(r"[\s\-]", "", _plain(text)).casefold()


def mark_choice(question, picked: Sequence[int]) -> bool:
    """Return whether exactly the right options of a question were picked, by their positions."""
    right = {place for place, option in enumerate(question.options) if option.right}
    return set(picked) == right


# Sentences.


def _shown(blank: Blank, value: float | str) -> Words:
    label = next((label for choice, label in blank.choices if choice == str(value)), None)
    if label:
        return label
    unit = f" {blank.unit}" if blank.unit else ""
    return same(f"{number(value)}{unit}")


def _fill(sentence: Words, **parts: str | Words) -> Words:
    """Return the sentence with its parts filled in, each in its language."""
    return Words(*(
        sentence(language).format(**{
            name: part(language) if isinstance(part, Words) else part
            for name, part in parts.items()
        })
        for language in ("en", "es")
    ))
