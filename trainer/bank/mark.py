"""Marking what a person typed or picked."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from trainer.bank.numerals import plain, read_quantity, unit_ratio
from trainer.bank.read import Question
from trainer.words import Words, number, same, words

_CLOSE = 1e-9
# A slip is named though its last figures were rounded; an answer may be stricter than that.
SLIP_WITHIN = 0.005


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

    The language decides between two ways to read a number such as 1,250. Where it leaves a
    doubt, and only one of the two is right, the person is asked again.
    """
    text = (typed or "").strip()
    if not text:
        return Marking("unreadable", None, EMPTY)
    if blank.kind == "number":
        return _mark_number(blank, text, language)
    return _mark_pick(blank, text) if blank.kind == "pick" else _mark_word(blank, text)


# Numbers.


def _mark_number(blank: Blank, typed: str, language: str) -> Marking:
    read = read_quantity(typed)
    if read is None:
        return Marking("unreadable", None, UNREADABLE)
    readings, unit = read
    markings = [_judge(blank, float(reading.value), unit) for reading in readings]
    if len({marking.verdict for marking in markings}) == 1:
        return next((marking for marking in markings if marking.slip), markings[0])
    for reading, marking in zip(readings, markings, strict=True):
        if reading.usual_in(language) and marking.right:
            return marking
    first, second = (number(float(reading.value)) for reading in readings[:2])
    return Marking("ambiguous", None, _fill(AMBIGUOUS, typed=typed, first=first, second=second))


def _judge(blank: Blank, value: float, unit: str | None) -> Marking:
    """Mark one reading; unit is None when none was typed, "?" when it is not known."""
    factor = 1.0 if unit is None else unit_ratio(unit, blank.unit)
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
    return re.sub(r"[\s\-]", "", plain(text)).casefold()


def mark_question(question: Question, picked: Sequence[int]) -> bool:
    """Return whether a question is answered rightly.

    picked  the options picked, by their positions; of an order or a match what each option got:
            its place, or the position of the option whose other half it was given
    """
    if question.in_rows:
        return list(picked) == list(range(len(question.options)))
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
