"""Words that cards and papers share: days, respirators, the steps of a tag, reasons."""

from datetime import date
from functools import lru_cache

from babel.dates import format_date

from trainer.calculations.clearance import NO_END
from trainer.reference import practice_acts, respirator_classes, retraining_reasons
from trainer.services.standing import Tag, until_but_medical
from trainer.words import LOCALES, Words

STEPS = {
    "medical": Words("Medical evaluation", "Evaluación médica"),
    "training": Words("Training", "Capacitación"),
    "practice": Words("Practice, watched", "Práctica observada"),
    "fit-test": Words("Fit test", "Prueba de ajuste"),
    "appendix-d": Words(
        "Information for voluntary use (Appendix D)",
        "Información para el uso voluntario (Apéndice D)",
    ),
    "leak": Words("A leak was told and is open", "Se avisó de una fuga y sigue abierta"),
}
USES = {
    "required": Words("Required", "Obligatorio"),
    "voluntary": Words("Voluntary", "Voluntario"),
    "escape": Words("Escape only", "Solo para salir"),
}
NOTES = {
    "upkeep": Words(
        "Keep it clean, store it well and look after it, so that it does no harm itself.",
        "Manténgalo limpio, guárdelo bien y cuídelo, para que el propio respirador no le "
        "haga daño.",
    ),
    "ten-times": Words(
        "Its fit test was a qualitative one: wear it only where there is at most 10 times the "
        "limit in the air.",
        "Su prueba de ajuste fue cualitativa: úselo solo donde en el aire haya como máximo 10 "
        "veces el límite.",
    ),
    "escape": Words(
        "For getting out alone. Never go in with it.", "Solo para salir. Nunca entre con él."
    ),
}
"""What holds while a respirator is worn, as `Clearance.notes` names it."""
SEEN = {
    "unprompted": Words("unprompted", "sin ayuda"),
    "helped": Words("with help", "con ayuda"),
    "not_yet": Words("not yet", "todavía no"),
}
TONGUES = {"en": Words("English", "inglés"), "es": Words("Spanish", "español")}
SIZE = Words("size {size}", "talla {size}")
YES, NO = Words("Yes", "Sí"), Words("No", "No")
NONE = "–"


@lru_cache(maxsize=2**12)
def day(given: date | str | None, language: str) -> str:
    """Return a day as people write it; a dash where there is none."""
    if not given:
        return NONE
    when = date.fromisoformat(given) if isinstance(given, str) else given
    return format_date(when, "d MMM yyyy", locale=LOCALES[language])


def respirator(
    language: str, class_slug: str, make: str, model: str, style: str, size: str, filters: str
) -> str:
    """Return a respirator in a line: class, make, model and style, size, filters."""
    row = respirator_classes.get(class_slug)
    named = " ".join(part for part in (make, model, style) if part)
    sized = SIZE.filled(size=size)(language) if size else ""
    parts = [row.name(language) if row else class_slug, named, sized, filters]
    line = ", ".join(part for part in parts if part)
    return line[:1].upper() + line[1:]


def worn(said: dict, language: str) -> str:
    """Return a respirator as an entry names it, in a line."""
    parts = ("class", "make", "model", "style", "size", "filters")
    return respirator(language, *(str(said.get(part, "")) for part in parts))


def held(tag: Tag, language: str) -> str:
    """Return the respirator of a tag in a line."""
    one = tag.respirator
    return respirator(
        language, one.class_slug, one.make, one.model, one.style, one.size, one.filters
    )


def until(tag: Tag, medical: bool = True) -> date | None:
    """Return the last day of a clear tag; None where nothing falls due.

    medical     may the reader see a determination's date? Else, where that one ends the tag
                first, there is no day to be told
    """
    ends = tag.clearance.until
    if not medical and ends != until_but_medical(tag.clearance):
        return None
    return None if ends in (None, NO_END) else ends


def notes(tag: Tag, language: str) -> list[str]:
    """Return what holds while the respirator of a tag is worn, each with its source."""
    return [f"{NOTES[note.kind](language)} ({note.source})" for note in tag.clearance.notes]


def reason(slug: str, language: str) -> str:
    """Return a retraining reason in words."""
    row = retraining_reasons.get(slug)
    return row.name(language) if row else slug


def act(slug: str, language: str) -> str:
    """Return an act of practice in words."""
    row = practice_acts.get(slug)
    return row.name(language) if row else slug


def seen(how: str, language: str) -> str:
    """Return how an act was seen, in words."""
    return SEEN[how](language) if how in SEEN else how


def who(named: dict) -> str:
    """Return somebody as the record names them: name, number, qualification."""
    if not named:
        return NONE
    words = named.get("name", "")
    # Whoever trained elsewhere has no number here.
    if named.get("number"):
        words += f" ({named['number']})"
    return f"{words}, {named['qualification']}" if named.get("qualification") else words
