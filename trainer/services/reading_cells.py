"""What a cell of a table means, in English or Spanish; what is not known is refused."""

import re
from collections.abc import Iterable, Mapping
from datetime import date
from functools import cache

from trainer.reference import fit_test_protocols, respirator_classes, training_elements
from trainer.services.reading_tables import name_of
from trainer.services.refusal import Refusal
from trainer.words import tidy

ORDERS = ("iso", "mdy", "dmy")
"""How days may be written: 2026-11-25, 11/25/2026, 25/11/2026."""

_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]00:00(?::00(?:\.0+)?)?)?")
_TURNED = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4})")


def day(text: str, order: str) -> date:
    """Return the day that a cell names. Errors: Refusal for what is none.

    order   how the file writes days whose year comes last: mdy or dmy
    """
    if found := _ISO.fullmatch(text):
        parts = [int(part) for part in found.groups()]
    elif (found := _TURNED.fullmatch(text)) and order in ("mdy", "dmy"):
        one, two, year = (int(part) for part in found.groups())
        parts = [year, one, two] if order == "mdy" else [year, two, one]
    else:
        raise Refusal("%(said)s is no day. Write it as 2026-11-25.", said=text)
    try:
        return date(*parts)
    except ValueError:
        raise Refusal("%(said)s is no day. Write it as 2026-11-25.", said=text) from None


def order_of(texts: Iterable[str]) -> str:
    """Return how these days are written; "" where it could be month or day that comes first.

    >>> order_of(["2026-11-25", ""]), order_of(["3/14/2026"]), order_of(["14.3.2026"])
    ('iso', 'mdy', 'dmy')
    >>> order_of(["3/4/2026"])
    ''
    """
    turned = [found for text in texts if (found := _TURNED.fullmatch(text))]
    if not turned:
        return "iso"
    day_first = any(int(found[1]) > 12 for found in turned)
    month_first = any(int(found[2]) > 12 for found in turned)
    if day_first == month_first:
        return ""
    return "dmy" if day_first else "mdy"


def several(text: str) -> list[str]:
    """Return the parts of a cell that holds several, in order.

    >>> several("Joinery; Spray Hall"), several("worker, trainer")
    (['Joinery', 'Spray Hall'], ['worker', 'trainer'])
    """
    parts = re.split(r"[;|\n]", text) if re.search(r"[;|\n]", text) else text.split(",")
    return [tidied for part in parts if (tidied := tidy(part))]


_LANGUAGES = {
    "en": "en", "eng": "en", "english": "en", "ingles": "en",
    "es": "es", "spa": "es", "spanish": "es", "espanol": "es", "castellano": "es",
}  # fmt: skip
_ROLES = {
    "worker": "worker", "trabajador": "worker", "trabajadora": "worker",
    "trainer": "trainer", "capacitador": "trainer", "capacitadora": "trainer",
    "coordinator": "coordinator", "coordinador": "coordinator", "coordinadora": "coordinator",
}  # fmt: skip
_USES = {
    "required": "required", "requerido": "required", "obligatorio": "required",
    "obligatoria": "required", "mandatory": "required",
    "voluntary": "voluntary", "voluntario": "voluntary", "worn by choice": "voluntary",
    "by choice": "voluntary", "por decision propia": "voluntary",
    "lo usa por decision propia": "voluntary",
    "escape": "escape", "for getting out alone": "escape", "solo para salir": "escape",
}  # fmt: skip
_YES = frozenset({"yes", "si", "true", "verdadero", "passed", "pass", "aprobado", "aprobada",
                  "p", "y", "1"})  # fmt: skip
_NO = frozenset({"no", "false", "falso", "failed", "fail", "not passed", "reprobado",
                 "reprobada", "no aprobado", "no aprobada", "f", "n", "0"})  # fmt: skip
_OUTCOMES = {
    "cleared": "cleared", "autorizado": "cleared", "autorizada": "cleared", "apto": "cleared",
    "apta": "cleared",
    "limits": "limits", "cleared with limits": "limits", "cleared with limits on use": "limits",
    "autorizado con limites": "limits", "autorizada con limites": "limits", "limites": "limits",
    "not": "not", "not cleared": "not", "no autorizado": "not", "no autorizada": "not",
    "no apto": "not", "no apta": "not",
}  # fmt: skip
_LIMITS = {
    "powered only": "powered_only", "powered respirators only": "powered_only",
    "solo motorizados": "powered_only", "solo respiradores motorizados": "powered_only",
    "as written": "as_written", "as in the written recommendation": "as_written",
    "como esta escrito": "as_written", "segun la recomendacion escrita": "as_written",
}  # fmt: skip
_IN_PERSON = frozenset({"in person", "en persona", "presencial"})
_ALL = frozenset({"all", "all seven", "seven", "7", "1 7", "i vii", "todos", "los siete",
                  "todos los siete", "siete"})  # fmt: skip


def language(text: str) -> str:
    """Return en or es. Errors: Refusal for another."""
    return _one_of(_LANGUAGES, text, Refusal(
        "%(said)s is no language that the program speaks. Write English or Spanish.", said=text
    ))  # fmt: skip


def roles(text: str) -> list[str]:
    """Return the roles that a cell names, sorted. Errors: Refusal for another."""
    return sorted({
        _one_of(_ROLES, part, Refusal(
            "%(said)s is no role. Write worker, trainer or coordinator.", said=part
        ))
        for part in several(text)
    })  # fmt: skip


def use(text: str) -> str:
    """Return required or voluntary. Errors: Refusal for another."""
    return _one_of(_USES, text, Refusal(
        "%(said)s is no kind of use. Write required, worn by choice or escape.", said=text
    ))  # fmt: skip


def passed(text: str) -> bool | None:
    """Return whether a test was passed; None for an empty cell. Errors: Refusal for another."""
    if not text:
        return None
    if name_of(text) in _YES:
        return True
    if name_of(text) in _NO:
        return False
    raise Refusal("%(said)s is no result. Write passed or failed.", said=text)


def outcome(text: str) -> str:
    """Return cleared, limits or not. Errors: Refusal for another; its text is not repeated."""
    return _one_of(_OUTCOMES, text, Refusal(
        "The outcome is none that is taken. Write cleared, cleared with limits, or not cleared, "
        "and nothing else."
    ))  # fmt: skip


def limit(text: str) -> str:
    """Return which limits; "" for an empty cell. Errors: Refusal for another."""
    if not text:
        return ""
    return _one_of(_LIMITS, text, Refusal(
        "The limit is none that is taken. Write powered only, or as written, and nothing else."
    ))  # fmt: skip


def in_person(text: str) -> bool:
    """Say whether a practice was watched in person, with the equipment worn."""
    return name_of(text) in _IN_PERSON


def worksites(text: str, by_name: Mapping[str, int]) -> list[int]:
    """Return the worksites that a cell names. Errors: Refusal for one that is not known.

    by_name     ids by plain name
    """
    whole = by_name.get(name_of(text))
    if whole:
        return [whole]  # its name may hold a comma
    found = []
    for part in several(text):
        known = by_name.get(name_of(part))
        if known is None:
            raise Refusal(
                "There is no worksite named %(name)s. Add it under Worksites first, or put the "
                "name right.",
                name=part,
            )
        found.append(known)
    return list(dict.fromkeys(found))


@cache
def _classes() -> dict[str, str]:
    found: dict[str, str] = {}
    for row in respirator_classes.recognised():
        for name in (row.slug, row.english, row.spanish):
            found[name_of(name)] = row.slug
    return found


def respirator_class(text: str) -> str:
    """Return the class that a cell names, by its short word or its full name. Errors: Refusal."""
    return _one_of(_classes(), text, Refusal(
        "%(said)s is no class of respirator. Use the words of the list of classes.", said=text
    ))  # fmt: skip


def respirator_classes_of(text: str) -> list[str]:
    """Return the classes that a cell names; make and model may follow the short word of each."""
    whole = _classes().get(name_of(text))
    if whole:
        return [whole]
    slugs = {row.slug for row in respirator_classes.recognised()}
    parts = [part for part in re.split(r"[;|\n]", text) if part.strip()]
    return list(dict.fromkeys(
        part.split()[0] if part.split()[0] in slugs else respirator_class(tidy(part))
        for part in parts
    ))  # fmt: skip


@cache
def _protocols() -> dict[str, str]:
    return {
        name_of(name): row.slug
        for row in fit_test_protocols.rows()
        for name in (row.slug, row.english, row.spanish)
    }


def protocol(text: str) -> str:
    """Return the fit test protocol that a cell names. Errors: Refusal for another."""
    return _one_of(_protocols(), text, Refusal(
        "%(said)s is no kind of fit test. Use the words of the list of kinds.", said=text
    ))  # fmt: skip


@cache
def _elements() -> dict[str, str]:
    found: dict[str, str] = {}
    for place, row in enumerate(training_elements.seven(), start=1):
        roman = row.paragraph.removeprefix("(k)(1)")
        for name in (row.paragraph, roman, str(place), row.english, row.spanish):
            found[name_of(name)] = row.paragraph
    return found


def elements(text: str) -> list[str]:
    """Return which of the seven elements a cell names, in their order; others are passed over."""
    seven = [row.paragraph for row in training_elements.seven()]
    if name_of(text) in _ALL:
        return seven
    known = _elements()
    named = {known.get(name_of(part)) for part in re.split(r"[;,|\n]", text)}
    return [one for one in seven if one in named]


def _one_of(known: Mapping[str, str], text: str, otherwise: Refusal) -> str:
    found = known.get(name_of(text))
    if found is None:
        raise otherwise
    return found
