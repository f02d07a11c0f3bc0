"""What a question must keep, wherever it was written: in a file of questions/, or on a page."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any

from trainer.config import LANGUAGES
from trainer.words import Words

FORMS = ("choice", "choices", "order", "match")
OPTIONS = {"choice": (3, 4), "choices": (4, 5), "order": (3, 6), "match": (3, 5)}
ALIKE = 0.82
"""Two questions whose words agree by more than this ask the same thing."""

LONGER, SHORTER = 1.5, 2.0
"""How many times as long, or as short, as every other answer the right one stands out.

Ours: none of the questions of the project has a right answer that is so much longer.
"""
LETTERS_APART = 15
"""Fewer letters than this tell nobody which answer is the right one: 5 ppm, 50 ppm."""

ALL_OF_THEM = ("of the above", "all of these", "none of these", "las anteriores")

_FIELDS = ("slug", "section", "element", "source", "form", "ask", "option")
_SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_A = {"choice": "a choice", "choices": "a set of choices", "order": "an order", "match": "a match"}
_LINES = {
    "choice": Words("answers", "respuestas"),
    "choices": Words("answers", "respuestas"),
    "order": Words("steps", "pasos"),
    "match": Words("pairs", "parejas"),
}
_LINE = {
    "choice": Words("answer {n}", "respuesta {n}"),
    "choices": Words("answer {n}", "respuesta {n}"),
    "order": Words("step {n}", "paso {n}"),
    "match": Words("pair {n}", "pareja {n}"),
}
_TONGUES = {"en": Words("English", "inglés"), "es": Words("Spanish", "español")}


@dataclass(frozen=True)
class FieldFault:
    """One thing that is wrong with one field.

    at        the keys that lead to the field, joined by dots: "ask.es", "option.0.why.en"; "right"
              is the marks of all options together, "option" their number
    sentence  for the author of a file, who knows the names of the fields
    says      for whoever filled in the field on a page
    """

    at: str
    sentence: str
    says: Words

    @property
    def place(self) -> int | None:
        """Return the index of the option that it is about, or None."""
        keys = self.at.split(".")
        return int(keys[1]) if keys[0] == "option" and len(keys) > 1 else None


def line_name(form: str, place: int) -> Words:
    """Return what an option is called on a page, counted from 0: answer 1, step 1, pair 1."""
    return _LINE.get(form, _LINE["choice"]).filled(n=str(place + 1))


def question_faults(
    raw: Mapping[str, Any],
    languages: Sequence[str] = LANGUAGES,
    lesson: str = "",
    sections: AbstractSet[str] | None = None,
    elements: AbstractSet[str] | None = None,
    drawings: AbstractSet[str] | None = None,
) -> list[FieldFault]:
    """Return everything that is wrong with one `[[question]]`, in the order of its fields.

    languages  those in which its texts must be there
    lesson     slug of its lesson, for the sentences
    sections, elements, drawings   those that exist; not looked at when left out
    """
    return list(_question_faults(raw, languages, lesson, sections, elements, drawings))


def _question_faults(
    raw: Mapping, languages: Sequence[str], lesson: str, sections: AbstractSet[str] | None,
    elements: AbstractSet[str] | None, drawings: AbstractSet[str] | None,
) -> Iterator[FieldFault]:  # fmt: skip
    # How many options there must be is said below, where the form is known.
    counted = ("option",) if raw.get("form") in FORMS else ()
    for name in _FIELDS:
        if not raw.get(name) and name not in counted:
            yield FieldFault(name, f"the field {name} is missing.", _MISSING[name])
    slug = raw.get("slug")
    if slug:
        yield from slug_faults(slug)
    yield from place_faults(raw, lesson, sections, elements)
    if not isinstance(raw.get("must_know", False), bool):
        yield FieldFault("must_know", "must_know is either true or false.", _MISSING["must_know"])
    drawing = raw.get("drawing")
    if drawing and drawings is not None and drawing not in drawings:
        yield FieldFault("drawing", f"there is no drawing {drawing!r}.", _MISSING["drawing"])
    yield from words_faults("ask", "ask", raw.get("ask"), languages, _QUESTION)
    yield from _option_faults(raw, languages)


_MISSING = {
    "slug": Words("The question has no name of its own.", "La pregunta no tiene nombre propio."),
    "section": Words(
        "Choose the section of the lesson that explains it.",
        "Elija la sección de la lección que lo explica.",
    ),
    "element": Words(
        "Choose what a right answer shows knowledge of.",
        "Elija qué conocimiento demuestra una respuesta correcta.",
    ),
    "source": Words(
        "Say where this is written, such as the paragraph of the rule.",
        "Diga dónde está escrito esto, como el párrafo de la norma.",
    ),
    "form": Words("Choose how it is asked.", "Elija cómo se pregunta."),
    "ask": Words("Write the question.", "Escriba la pregunta."),
    "option": Words("Write what there is to choose from.", "Escriba entre qué se puede elegir."),
    "must_know": Words("Say whether it is a must-know.", "Diga si es algo que se debe saber."),
    "drawing": Words("There is no such drawing.", "No existe ese dibujo."),
}
_QUESTION = Words("the question", "la pregunta")
_PARTS = {
    "text": Words("{line}, its text", "{line}, el texto"),
    "why": Words("{line}, the reason", "{line}, el porqué"),
    "to": Words("{line}, the other half", "{line}, la otra mitad"),
}


def slug_faults(slug: str) -> Iterator[FieldFault]:
    """Yield a fault for a slug that no address could carry."""
    if not _SLUG.fullmatch(slug):
        rest = "may hold small letters, digits and hyphens."
        yield FieldFault("slug", f"the slug {slug!r} {rest}", Words(
            "Its name may hold small letters, digits and hyphens.",
            "Su nombre puede tener letras minúsculas, dígitos y guiones.",
        ))  # fmt: skip


def place_faults(
    raw: Mapping, lesson: str, sections: AbstractSet[str] | None,
    elements: AbstractSet[str] | None,
) -> Iterator[FieldFault]:  # fmt: skip
    """Yield a fault for a section that the lesson does not have, or an element that is none."""
    section, element = raw.get("section"), raw.get("element")
    if sections is not None and section and section not in sections:
        yield FieldFault("section", f"the lesson {lesson!r} has no section {section!r}.", Words(
            "The lesson no longer has the section that was chosen. Choose another.",
            "La lección ya no tiene la sección elegida. Elija otra.",
        ))  # fmt: skip
    if elements is not None and element and element not in elements:
        yield FieldFault("element", f"there is no element {element!r}.", _MISSING["element"])


def words_faults(
    at: str, what: str, words: Any, languages: Sequence[str], called: Words,
    may_be_empty: bool = False,
) -> Iterator[FieldFault]:
    """Yield a fault for each language in which a text is missing, or that is not taught.

    what    the text as its author in a file knows it; called: as a page calls it
    """
    if words is None or not isinstance(words, Mapping):
        rest = " is missing." if words is None else \
            " must hold both languages: { en = ..., es = ... }."
        yield FieldFault(at, what + rest, _is_missing(called, LANGUAGES[0]))
        return
    for language in languages:
        text = words.get(language)
        if not (isinstance(text, str) and (may_be_empty or text.strip())):
            yield FieldFault(
                f"{at}.{language}", f"{what} has no {language!r}.", _is_missing(called, language)
            )
    for language in words:
        if language not in LANGUAGES:
            yield FieldFault(
                at, f"{what} has a language {language!r} that is not taught.",
                Words("There is no such language here.", "Aquí no hay tal idioma."),
            )  # fmt: skip


def _is_missing(called: Words, language: str) -> Words:
    said = Words("Missing in {tongue}: {called}.", "Falta en {tongue}: {called}.")
    return said.filled(called=called, tongue=_TONGUES[language])


def _option_faults(raw: Mapping, languages: Sequence[str]) -> Iterator[FieldFault]:
    options, form = raw.get("option", []), raw.get("form")
    if form not in FORMS:
        yield FieldFault(
            "form", f"the form is {form!r}; it must be one of {', '.join(FORMS)}.",
            _MISSING["form"],
        )  # fmt: skip
        return
    yield from _number_faults(form, options)
    for place, option in enumerate(options):
        for name in ("text", "why", "to") if form == "match" else ("text", "why"):
            called = _PARTS[name].filled(line=line_name(form, place))
            what = f"option {place + 1}, {name}"
            at = f"option.{place}.{name}"
            yield from words_faults(at, what, option.get(name), languages, called)
        if form in ("order", "match") and "right" in option:
            yield FieldFault(
                f"option.{place}.right",
                f"the options of {_A[form]} are right where they stand; leave `right` out.",
                Words("These lines are right where they stand.",
                      "Estas líneas son correctas donde están."),
            )  # fmt: skip
    for name in ("text", "to") if form == "match" else ("text",):
        yield from _repeat_faults(form, name, options)


def _number_faults(form: str, options: Sequence[Mapping]) -> Iterator[FieldFault]:
    """Yield a fault for too few or too many options, or right ones among them."""
    fewest, most = OPTIONS[form]
    if not fewest <= len(options) <= most:
        range_of = {"fewest": str(fewest), "most": str(most), "count": str(len(options)),
                    "lines": _LINES[form]}  # fmt: skip
        yield FieldFault(
            "option",
            f"{_A[form]} has {fewest} to {most} options, not {len(options)}.",
            Words("Write {fewest} to {most} {lines}; there are {count}.",
                  "Escriba de {fewest} a {most} {lines}; hay {count}.").filled(**range_of),
        )  # fmt: skip
    right = sum(option.get("right") is True for option in options)
    if form == "choice" and right != 1:
        yield FieldFault("right", f"exactly one option must be right, not {right}.", Words(
            "Mark one answer as the right one.", "Marque una respuesta como la correcta."
        ))  # fmt: skip
    if form == "choices" and not right:
        yield FieldFault("right", "at least one option must be right.", Words(
            "Mark each answer that is right; none is.",
            "Marque cada respuesta que sea correcta; no hay ninguna.",
        ))  # fmt: skip


def _repeat_faults(form: str, name: str, options: Sequence[Mapping]) -> Iterator[FieldFault]:
    """Yield a fault a language for an option that says what an earlier one says."""
    for language in LANGUAGES:
        first: dict[str, int] = {}
        for place, option in enumerate(options):
            text = option[name].get(language) if isinstance(option.get(name), Mapping) else None
            if text and text in first:
                says = Words("They say the same in {tongue}: {one} and {other}.",
                             "Dicen lo mismo en {tongue}: {one} y {other}.")  # fmt: skip
                yield FieldFault(
                    f"option.{place}.{name}.{language}",
                    f"two options say the same in {language!r}.",
                    says.filled(one=line_name(form, first[text]), other=line_name(form, place),
                                tongue=_TONGUES[language]),
                )  # fmt: skip
                break
            first[text] = place


# What gives an answer away. It is advice: a question may have its reasons.


def question_advice(
    raw: Mapping[str, Any],
    languages: Sequence[str] = LANGUAGES,
    others: Iterable[Mapping[str, str]] = (),
) -> list[Words]:
    """Return what would tell those who guess which answer is right, or asks a thing twice.

    others  the `ask` of the other questions of the lesson, by language
    """
    options = raw.get("option", [])
    found: list[Words] = []
    others = list(others)
    for language in languages:
        found += _length_advice(raw, language)
        asks = [other.get(language, "") for other in others]
        if any(asks_the_same(raw["ask"].get(language, ""), ask) for ask in asks):
            found.append(Words("Another question of this lesson asks almost the same.",
                               "Otra pregunta de esta lección pregunta casi lo mismo."))
    if raw.get("form") == "choices" and options and all(one.get("right") for one in options):
        found.append(Words("Every answer is right. Add a wrong one that people could believe.",
                           "Todas las respuestas son correctas. Agregue una incorrecta que "
                           "alguien pueda creer."))
    if any(says_all_of_them(text) for one in options for text in one["text"].values()):
        found.append(Words("Leave out “all of the above” and the like: the answers are shown in "
                           "another order each time.",
                           "No use «todas las anteriores» ni frases así: las respuestas salen "
                           "cada vez en otro orden."))  # fmt: skip
    return list(dict.fromkeys(found))


def _length_advice(raw: Mapping, language: str) -> Iterator[Words]:
    """Yield advice where the right one of a choice can be told by its length."""
    lengths = {True: [], False: []}
    for option in raw.get("option", []):
        lengths[bool(option.get("right"))].append(len(option["text"].get(language, "")))
    if raw.get("form") != "choice" or len(lengths[True]) != 1 or not lengths[False]:
        return
    [right] = lengths[True]
    if not right or 0 in lengths[False]:
        return
    longest, shortest = max(lengths[False]), min(lengths[False])
    tells = {"tongue": _TONGUES[language]}
    if right > LONGER * longest and right - longest >= LETTERS_APART:
        yield Words("In {tongue} the right answer is much longer than the others: those who "
                    "guess choose it.",
                    "En {tongue} la respuesta correcta es mucho más larga que las demás: quien "
                    "adivina la elige.").filled(**tells)  # fmt: skip
    if right * SHORTER < shortest and shortest - right >= LETTERS_APART:
        yield Words("In {tongue} the right answer is much shorter than the others: it stands "
                    "out.",
                    "En {tongue} la respuesta correcta es mucho más corta que las demás: salta "
                    "a la vista.").filled(**tells)  # fmt: skip


def asks_the_same(one: str, other: str) -> bool:
    """Say whether two questions ask the same, by how much their words agree."""
    if not one or not other:
        return False
    alike = SequenceMatcher(None, one.lower(), other.lower(), autojunk=False)
    return alike.real_quick_ratio() >= ALIKE and alike.quick_ratio() >= ALIKE \
        and alike.ratio() >= ALIKE


def says_all_of_them(text: str) -> bool:
    """Say whether an option speaks of the others, which stand elsewhere each time."""
    return any(phrase in text.lower() for phrase in ALL_OF_THEM)


