"""The record on paper: a tagged PDF (PDF/UA-1), each person on pages of their own.

What is too long for one file becomes several in a ZIP, each made by itself, so that as much memory
is taken for two hundred people as for twenty. Tags do not survive the joining of files.
"""

import tempfile
import zipfile
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from sqlmodel import Session

from trainer import documents, lessons
from trainer.reference import (
    fit_test_protocols,
    practice_acts,
    respirator_classes,
    retraining_reasons,
)
from trainer.services import entry_words, errands, exporting, wishes
from trainer.services.booklet import CAUTION
from trainer.services.columns import Beside, Said, teacher
from trainer.services.errands import Made
from trainer.services.exporting import Choice
from trainer.services.refusal import Refusal
from trainer.services.wishes import Wish
from trainer.store import people, record
from trainer.store.engine import Store
from trainer.store.record import Taken
from trainer.store.tables import Errand, Person, Worksite
from trainer.words import Words, same

KIND = "record-on-paper"

MOST = 50_000
"""Entries that are put on paper at once: two thousand pages. More is for a spreadsheet."""
OF_A_PART, OF_A_PERSON = 1_500, 8
"""The size of a file in entries, more or less, a person counted as some more: each begins a page.
Measured: one of this size takes some 220 MB to set."""

TITLE = Words("Training record", "Registro de capacitación")
WORDS = {
    "caution": Words("Caution", "Precaución"),
    "day": Words("Day", "Día"),
    "what": Words("What", "Qué"),
    "result": Words("Result", "Resultado"),
    "entry": Words("Entry", "Entrada"),
    "page": Words("Page", "Página"),
    "none": Words("There is no entry.", "No hay ninguna entrada."),
}
PARTS = {
    "training": Words("Lessons, practice, training, credit",
                      "Lecciones, práctica, capacitación, crédito"),
    "fit-tests": Words("Fit tests", "Pruebas de ajuste"),
    "everything": Words("All kinds of entry", "Todas las clases de entrada"),
}  # fmt: skip
_OF, _PERIOD, _AS_OF, _PART, _CHAIN, _MEDICAL = (
    Words("Of", "De"),
    Words("Period", "Período"),
    Words("As of", "Al día"),
    Words("Holds", "Contiene"),
    Words("Last hash of the record", "Último hash del registro"),
    Words("Medical determinations", "Determinaciones médicas"),
)


@errands.does(KIND)
def make(store: Store, errand: Errand, progress: errands.Progress) -> Made:
    """Make the PDF that was asked for, or a ZIP of several.

    Errors: Refusal for more than MOST entries.
    """
    about = errands.about(errand)
    wish, today = Wish.of_address(about["address"]), date.fromisoformat(about["today"])
    with store.reading() as db:
        chosen = wishes.of_errand(db, errand, about)
        count = exporting.how_many(db, chosen)
        if count > MOST:
            raise Refusal(
                "These are %(count)s entries, more than anybody reads on paper. Choose a shorter "
                "period or one worksite, or take them out as a workbook.",
                count=count,
            )
        about_it = _About(
            errand.language, of_whom(db, wish, errand.language), wish, errand.asked_at, today,
            record.last_hash(db),
        )  # fmt: skip
        parts = _parts(record.tally_of_people(db, chosen.asked()))
        name = wishes.file_name(wish, today, "pdf")
        if len(parts) <= 1:
            numbers = parts[0] if parts else ()
            made = _pdf(db, replace(chosen, numbers=numbers), about_it)
            return Made({"rows": count, "files": 1}, name, "application/pdf", [made])
        with ExitStack() as unless_made:
            file = unless_made.enter_context(tempfile.TemporaryFile())
            folder = unless_made.enter_context(zipfile.ZipFile(file, "w"))
            for at, numbers in enumerate(parts, start=1):
                made = _pdf(db, replace(chosen, numbers=numbers), about_it, at, len(parts))
                # One moment for every file: begun anew it comes out the same.
                entry = zipfile.ZipInfo(f"{name[:-4]}_{at:03}.pdf", errand.asked_at.timetuple()[:6])
                folder.writestr(entry, made)
                progress(at, len(parts))
            folder.close()
            unless_made.pop_all()  # it is read on after this function ends
    said = {"rows": count, "files": len(parts)}
    return Made(said, f"{name[:-4]}.zip", "application/zip", errands.pieces(file))


def of_person(
    db: Session, person: Person, language: str, now: datetime, today: date, *, medical: bool
) -> bytes:
    """Return one person's record as a PDF; medical: with determinations, for who may see them."""
    wish = Wish(what="everything", medical=medical)
    chosen = Choice(what="everything", numbers=people.numbers(db, person), medical=medical)
    whom = f"{person.name} ({person.number})"
    about = _About(language, whom, wish, now, today, record.last_hash(db))
    return _pdf(db, chosen, about, name=person.name, number=person.number)


def of_whom(db: Session, wish: Wish, language: str) -> str:
    """Return in words whose entries a wish is for."""
    asked = wish.filter
    worksite = db.get(Worksite, asked.worksite) if asked.worksite else None
    parts = [worksite.name if worksite else _EVERYWHERE(language)]
    if asked.state:
        parts.append(_STATES[asked.state](language))
    for words, value in (
        (_LACKS, asked.missing),
        (_DUE, asked.due),
        (_DUE_IN, asked.month),
        (_NAMED, asked.search),
    ):
        if value:
            said = _MISSING.get(value, same(str(value)))
            parts.append(words.filled(what=said)(language))
    return "; ".join(parts)


_EVERYWHERE = Words("every worksite", "todos los sitios de trabajo")
_STATES = {
    "clear": Words("clear", "puede usarlo"),
    "soon": Words("due soon", "vence pronto"),
    "not": Words("not clear", "no puede usarlo"),
    "new": Words("new", "sin empezar"),
}
_LACKS = Words("missing: {what}", "falta: {what}")
_DUE = Words("due within {what} days", "vence en {what} días")
_DUE_IN = Words("due in {what}", "vence en {what}")
_NAMED = Words("name or number: {what}", "nombre o número: {what}")
_MISSING = {
    "medical": Words("medical evaluation", "evaluación médica"),
    "training": Words("training", "capacitación"),
    "practice": Words("practice", "práctica"),
    "fit-test": Words("fit test", "prueba de ajuste"),
    "appendix-d": Words("Appendix D", "Apéndice D"),
    "respirator": Words("respirator", "respirador"),
}


class _About:
    """What stands at the head of each file."""

    def __init__(
        self, language: str, whom: str, wish: Wish, now: datetime, today: date, last: str
    ) -> None:
        self.language, self.whom, self.wish = language, whom, wish
        self.now, self.today, self.last = now, today, last

    def facts(self, at: int, parts: int) -> list[list[str]]:
        """Return terms and what stands against them."""
        of = self.language
        wish = self.wish
        first = wish.first.isoformat() if wish.first > date.min else "…"
        last = wish.last.isoformat() if wish.last < date.max else self.today.isoformat()
        found = [
            [_OF(of), self.whom],
            [_PART(of), PARTS[wish.what](of) + (f"; {_MEDICAL(of)}" if wish.medical else "")],
            [_PERIOD(of), f"{first} – {last}"],
            [_AS_OF(of), f"{self.today.isoformat()} ({self.now:%Y-%m-%d %H:%M} UTC)"],
            [_CHAIN(of), self.last],
        ]
        if parts > 1:
            words = Words("Part {at} of {parts}", "Parte {at} de {parts}")
            found.append(["PDF", words.filled(at=str(at), parts=str(parts))(of)])
        return found


def _parts(tally: list[tuple[str, int]]) -> list[tuple[str, ...]]:
    """Return the worker numbers of each file, so that none is much longer than the others."""
    parts: list[list[str]] = []
    size = OF_A_PART
    for number, count in tally:
        if size + count > OF_A_PART:
            parts.append([])
            size = 0
        parts[-1].append(number)
        size += count + OF_A_PERSON
    return [tuple(part) for part in parts]


def _pdf(
    db: Session, chosen: Choice, about: _About, at: int = 1, parts: int = 1, name: str = "",
    number: str = "",
) -> bytes:  # fmt: skip
    language = about.language
    found: dict[str, list[exporting.Fact]] = {}
    for fact in exporting.facts(db, chosen):
        found.setdefault(fact[0].person_number, []).append(fact)
    title = TITLE(language) + (f": {name} ({number})" if name else "")
    return documents.pdf_apart("record", {
        "language": language,
        "title": title,
        "facts": about.facts(at, parts),
        "caution": CAUTION(language),
        "words": {key: words(language) for key, words in WORDS.items()},
        "foot": f"{about.whom} · {about.today.isoformat()} · {about.last[:16]}",
        "people": [_person(key, facts, language) for key, facts in found.items()],
    })  # fmt: skip


def _person(number: str, facts: list[exporting.Fact], language: str) -> dict[str, Any]:
    names = [said["name"] for _, said, _ in facts if said.get("name")]
    places = dict.fromkeys(entry.worksite for entry, _, _ in facts if entry.worksite)
    return {
        "title": f"{names[-1]} ({number})" if names else number,
        "where": ", ".join(places),
        "lines": [line(*fact, language) for fact in facts],
    }


def line(entry: Taken, said: Said, beside: Beside, language: str) -> dict[str, str]:
    """Return an entry as it stands on paper: day, what, how, result, number and hash."""
    kind = said.get("kind", entry.kind)
    what, result, how = (
        _DESCRIBE.get(kind, _other)(said, language) if said.get("kind") else ("", "", [])
    )
    if beside.corrects is not None:
        words = _STRUCK if beside.struck else _CORRECTS
        first = words.filled(number=str(beside.corrects))(language)
        what = f"{first}: {what}" if what else first
        how = [*how, f"{beside.why}: {beside.note}" if beside.note else beside.why]
    elif not said:
        what = _ERASED(language)
    if beside.corrected_by is not None:
        how = [_CORRECTED.filled(number=str(beside.corrected_by))(language), *how]
    by = said.get("recorded_by")
    if by:
        how = [*how, _RECORDED.filled(who=f"{by['name']} ({by['number']})")(language)]
    if said.get("brought_in"):
        brought = said["brought_in"]
        parts = {"file": brought["source"], "line": str(brought["line"])}
        how = [*how, _BROUGHT.filled(**parts)(language)]
    return {
        "day": said.get("happened_on") or entry.happened_on,
        "what": what or entry.kind,
        "result": result,
        "how": ". ".join(part.rstrip(".") for part in how if part),
        "number": str(entry.number),
        "hash": entry.hash[:8],
    }


_CORRECTS = Words("Correction of entry {number}", "Corrección de la entrada {number}")
_STRUCK = Words("Entry {number} is struck: it should not have been",
                "La entrada {number} se anula: no debió existir")  # fmt: skip
_CORRECTED = Words("CORRECTED by entry {number}", "CORREGIDA por la entrada {number}")
_ERASED = Words("Body erased as retention allows",
                "Contenido borrado, como permite el plazo de conservación")  # fmt: skip
_RECORDED = Words("Recorded by {who}", "Registró: {who}")
_BROUGHT = Words("Brought in from {file}, line {line}", "Traída de {file}, línea {line}")
_PASSED, _FAILED = Words("Passed", "Aprobada"), Words("Failed", "No aprobada")

Described = tuple[str, str, list[str]]
"""What it was, what came of it, and how it was done."""


def _lesson(said: Said, of: str) -> Described:
    ours = lessons.load().get(said["lesson"])
    title = ours.title(of) if ours else said.get("title") or said["lesson"]
    version = Words("Version {version}", "Versión {version}")
    mode = said.get("mode", "")
    taught = ", ".join(filter(None, [
        version.filled(version=said["version"])(of) if said.get("version") else "",
        _tongue(said.get("language", ""), of),
        _MODES.get(mode, same(mode))(of),
    ]))  # fmt: skip
    how = [taught, _marks(said, of), _reason(said, of), _by(said, of)]
    return Words("Lesson: {title}", "Lección: {title}").filled(title=title)(of), _PASSED(of), how


def _marks(said: Said, of: str) -> str:
    """Return what was right; what was brought in from elsewhere may say nothing of it."""
    if "asked" not in said:
        return ""
    words = Words(
        "{right} of {asked} right; must-know {must} of {musts}; sitting {sitting}",
        "{right} de {asked} correctas; lo que debe saber, {must} de {musts}; intento {sitting}",
    )
    return words.filled(
        right=str(said["right"]), asked=str(said["asked"]), must=str(said.get("must_right", "–")),
        musts=str(said.get("must_asked", "–")), sitting=str(said.get("sittings", "–")),
    )(of)  # fmt: skip


def _practice(said: Said, of: str) -> Described:
    weak = [
        _named(practice_acts.get(act["act"]), act["act"], of)
        for act in said.get("acts", [])
        if act["seen"] != "unprompted"
    ]
    again = [Words("To work on: {acts}", "Por mejorar: {acts}").filled(acts="; ".join(weak))(of)]
    word = _PASSED if said.get("passed") else Words("Not yet", "Todavía no")
    worn = _worn(said["respirator"], of) if said.get("respirator") else ""
    how = [worn, *(again if weak else []), _by(said, of)]
    return Words("Practice, watched", "Práctica, observada")(of), word(of), how


def _training(said: Said, of: str) -> Described:
    due = Words("Complete; due again by {day}", "Completa; vence el {day}")
    worn = "; ".join(_worn(one, of) for one in said.get("respirators", []))
    how = [worn, _reason(said, of), _by(said, of)]
    what = Words("Training as a whole", "Capacitación completa")
    if not said.get("due_again"):
        return what(of), Words("Complete", "Completa")(of), how
    return what(of), due.filled(day=said["due_again"])(of), how


def _credit(said: Said, of: str) -> Described:
    words = Words(
        "Trained on {day} by {by}. Proof seen: {proof}. Covered: {parts}",
        "Capacitación del {day}, impartida por {by}. Prueba vista: {proof}. Abarca: {parts}",
    ).filled(
        day=said["counts_from"], by=said["given_by"], proof=said["proof"],
        parts=", ".join(one["element"] for one in said["elements_shown"]),
    )  # fmt: skip
    what = Words("Credit for earlier training", "Crédito por capacitación anterior")
    return what(of), Words("Credited", "Acreditada")(of), [words(of), _by(said, of)]


def _fit_test(said: Said, of: str) -> Described:
    how = [
        _named(fit_test_protocols.get(said["protocol"]), said["protocol"], of),
        " ".join(filter(None, map(said.get, ("make", "model", "style", "size")))),
    ]
    if said.get("fit_factor"):
        words = Words("Fit factor {factor}; recording: {kept}",
                      "Factor de ajuste {factor}; registro: {kept}")  # fmt: skip
        how.append(words.filled(factor=str(said["fit_factor"]), kept=said.get("recording", ""))(of))
    if said.get("exercises"):
        words = Words("From its exercises: {factors}", "De sus ejercicios: {factors}")
        how.append(words.filled(factors=entry_words.exercises(said))(of))
    word = _PASSED if said.get("passed") else _FAILED
    return Words("Fit test", "Prueba de ajuste")(of), word(of), how


def _appendix_d(_said: Said, of: str) -> Described:
    words = Words("Information for voluntary use (Appendix D)",
                  "Información para el uso voluntario (Apéndice D)")  # fmt: skip
    return words(of), Words("Given", "Entregada")(of), []


def _medical(said: Said, of: str) -> Described:
    """A determination and nothing else, 29 CFR 1910.134(e)(6)(i)(A)."""
    word = (
        Words("Not cleared", "Sin autorización")
        if said["outcome"] == "not"
        else Words("Cleared", "Con autorización")
    )
    limits = {
        "powered_only": Words("Powered respirators only", "Solo respiradores motorizados"),
        "as_written": Words("Limits as in the written recommendation",
                            "Límites según la recomendación escrita"),
    }  # fmt: skip
    how = [limits[said["limit"]](of)] if said["limit"] in limits else []
    if said["until"]:
        words = Words("Next evaluation by {day}", "Próxima evaluación a más tardar el {day}")
        how.append(words.filled(day=said["until"])(of))
    return Words("Medical evaluation", "Evaluación médica")(of), word(of), how


def _retraining(said: Said, of: str) -> Described:
    what = Words("Retraining asked for", "Se pidió volver a capacitar")
    return what(of), "", entry_words.told("retraining", said, of)


def _other(said: Said, of: str) -> Described:
    words = _OTHERS.get(said["kind"], same(said["kind"]))
    return words(of), "", entry_words.told(said["kind"], said, of)


_OTHERS = {
    "left": Words("Left", "Se fue"),
    "returned": Words("Came back", "Regresó"),
    "merged": Words("Two numbers of one person", "Dos números de una persona"),
    "earlier-training": entry_words.KINDS["earlier-training"],
    "erasure": Words("Bodies erased as retention allows",
                     "Contenido borrado, como permite el plazo de conservación"),
}  # fmt: skip
_MODES = {
    "read": Words("read", "leída"),
    "heard": Words("heard", "escuchada"),
    "taught in person": Words("taught in person", "impartida en persona"),
    "read aloud": Words("read aloud", "leída en voz alta"),
    "earlier training": Words("earlier training", "capacitación anterior"),
}
_DESCRIBE: dict[str, Callable[[Said, str], Described]] = {
    "lesson": _lesson,
    "practice": _practice,
    "training": _training,
    "credit": _credit,
    "fit-test": _fit_test,
    "appendix-d": _appendix_d,
    "medical": _medical,
    "retraining": _retraining,
}


def _by(said: Said, of: str) -> str:
    by = teacher(said)
    if not by:
        return ""
    who = f"{by['name']} ({by['number']})"
    who += f", {by['qualification']}" if by.get("qualification") else ""
    if "taught" in said:
        on = Words("Taught on {day} by {who}", "Impartida el {day} por {who}")
        return on.filled(day=said["taught"]["on"], who=who)(of)
    seen = Words("Seen by {who}", "Vio: {who}") if "seen_by" in said else \
        Words("Watched by {who}", "Observó: {who}")
    return seen.filled(who=who)(of)


def _reason(said: Said, of: str) -> str:
    row = retraining_reasons.get(said.get("reason", ""))
    return row.name(of) if row else said.get("reason", "")


def _tongue(code: str, of: str) -> str:
    known = {"en": Words("English", "inglés"), "es": Words("Spanish", "español")}
    return known.get(code, same(code))(of)


def _worn(one: Said, of: str) -> str:
    named = _named(respirator_classes.get(one["class"]), one["class"], of)
    text = " ".join(filter(None, (named, *map(one.get, ("make", "model", "size")))))
    return text[:1].upper() + text[1:]


def _named(row: Any, slug: str, of: str) -> str:
    return row.name(of) if row else slug

