"""How an entry of the record reads on paper: what it is, and everything that it says."""

from collections.abc import Callable
from functools import cache

from trainer import lessons
from trainer.reference import fit_test_protocols, retention, training_elements
from trainer.services import paper_words as words
from trainer.store import record
from trainer.store.tables import Entry
from trainer.words import Words

KINDS = {
    "lesson": Words("Lesson passed", "Lección aprobada"),
    "practice": Words("Practice, watched", "Práctica observada"),
    "training": Words("Training as a whole complete", "Capacitación completa"),
    "credit": Words("Credit for earlier training", "Crédito por capacitación anterior"),
    "earlier-training": Words("Earlier training, history only",
                              "Capacitación anterior, solo como historial"),
    "fit-test": Words("Fit test", "Prueba de ajuste"),
    "appendix-d": Words("Appendix D information given", "Información del Apéndice D entregada"),
    "medical": Words("Medical evaluation", "Evaluación médica"),
    "retraining": Words("Retraining asked for", "Se pidió volver a capacitar"),
    "correction": Words("Correction of entry {corrects}", "Corrección de la entrada {corrects}"),
    "medical-correction": Words(
        "Correction of entry {corrects}", "Corrección de la entrada {corrects}"
    ),
    "erasure": Words("Content of entries erased", "Contenido de entradas borrado"),
    "left": Words("Left", "Se fue"),
    "returned": Words("Came back", "Regresó"),
    "merged": Words("Two records of one person joined", "Dos expedientes de una persona, unidos"),
}
WHY = {
    "wrong-person": Words("wrong person", "persona equivocada"),
    "wrong-date": Words("wrong date", "fecha equivocada"),
    "wrong-value": Words("wrong value", "dato equivocado"),
    "entered-twice": Words("entered twice", "anotada dos veces"),
    "not-done": Words("it was not done", "no se hizo"),
    "follows": Words("what it rested on was struck", "se anuló aquello en que se apoyaba"),
    "other": Words("another reason", "otro motivo"),
}
ERASED = Words(
    "What it said was erased, as retention allows; its hash stays and the chain holds.",
    "Su contenido se borró, como permite el plazo de conservación; su hash queda y la cadena "
    "se mantiene.",
)
PASSED, FAILED = Words("Passed", "Aprobó"), Words("Failed", "No aprobó")
NOT_YET = Words("Not yet passed", "Todavía no")
STRUCK = Words(
    "Struck by entry {number} on {day} ({why}): it does not count.",
    "Anulada por la entrada {number} el {day} ({why}): no cuenta.",
)
CORRECTED = Words(
    "Corrected by entry {number} on {day} ({why}). It now reads: {now}",
    "Corregida por la entrada {number} el {day} ({why}). Ahora dice: {now}",
)
PUT_BACK = Words(
    "Put back by entry {number} on {day} ({why}): it counts as it was made.",
    "Restablecida por la entrada {number} el {day} ({why}): cuenta como se hizo.",
)
BROUGHT_IN = Words(
    "Brought in from a file of past records: {source}, line {line}",
    "Traída de un archivo de registros anteriores: {source}, línea {line}",
)
MODES = {
    "read": Words("read", "leída"),
    "heard": Words("heard", "escuchada"),
    "taught in person": Words("taught in person", "enseñada en persona"),
    "read aloud": Words("read aloud", "leída en voz alta"),
    "earlier training": Words("taught elsewhere, credit", "enseñada en otro lugar, crédito"),
}
OUTCOMES = {
    "cleared": Words("Cleared", "Con autorización"),
    "limits": Words("Cleared with limits on use", "Con autorización, con límites de uso"),
    "not": Words("Not cleared", "Sin autorización"),
}
LIMITS = {
    "powered_only": Words("Powered respirators only", "Solo respiradores motorizados"),
    "as_written": Words("As in the written recommendation", "Como dice la recomendación escrita"),
}


def title(entry: Entry, said: dict, language: str) -> str:
    """Return what an entry is, in a few words."""
    named = KINDS.get(entry.kind)
    if named is None:
        return entry.kind
    return named.filled(corrects=said["corrects"])(language) if "corrects" in said \
        else named(language)


def text(entry: Entry, said: dict, language: str) -> str:
    """Return everything that an entry says, a line each."""
    if not said:
        return ERASED(language)
    tell = _TELL.get(entry.kind, _plain)
    lines = [*tell(said, language), *_common(said, language)]
    return "\n".join(line for line in lines if line)


def told(kind: str, said: dict, language: str) -> list[str]:
    """Return what an entry of a kind says, but for who recorded it and from which file it came."""
    return [line for line in _TELL.get(kind, _plain)(said, language) if line]


def beside(
    entry: Entry, given: list[tuple[Entry, dict]], language: str
) -> list[str]:
    """Return what stands beside an entry that was corrected, a sentence a correction."""
    found = []
    for correction, said in given:
        parts = {
            "number": correction.number,
            "day": words.day(correction.happened_on, language),
            "why": WHY.get(said.get("why", ""), WHY["other"])(language),
        }
        if said["said"] is None:
            found.append(STRUCK.filled(**parts)(language))
        elif entry.body and said["said"] == record.body(entry):
            found.append(PUT_BACK.filled(**parts)(language))
        else:
            now = "; ".join(text(entry, said["said"], language).split("\n"))
            found.append(CORRECTED.filled(now=now, **parts)(language))
        if said.get("note"):
            found[-1] += f" {said['note']}"
    return found


def lesson_title(said: dict, language: str) -> str:
    """Return what the lesson of an entry is called, in the reader's language where it can be."""
    slug = said.get("lesson", "")
    return _our_title(slug, language) or said.get("title", slug)


@cache
def _our_title(slug: str, language: str) -> str:
    ours = lessons.load().get(slug)
    return ours.title(language) if ours else ""


def elements(given: list[str]) -> str:
    """Return elements as the standard numbers them, in its order."""
    return ", ".join(sorted(given, key=_place))


def element(paragraph: str, language: str) -> str:
    """Return an element with its paragraph and its words."""
    row = training_elements.get(paragraph)
    return f"{paragraph} {row.name(language)}" if row else paragraph


def protocol(slug: str, language: str) -> str:
    """Return a kind of fit test in words."""
    row = fit_test_protocols.get(slug)
    return row.name(language) if row else slug


def _place(paragraph: str) -> tuple[int, str]:
    order = [row.paragraph for row in training_elements.rows()]
    return (order.index(paragraph) if paragraph in order else len(order)), paragraph


def _line(en: str, es: str) -> Callable[..., str]:
    both = Words(en, es)
    return lambda language, **parts: both.filled(**parts)(language)


_SCORE = _line(
    "Sitting {n}: {right} of {asked} right, must-know {must} of {musts}.",
    "Intento {n}: {right} de {asked} correctas, lo que debe saber, {must} de {musts}.",
)
_TAUGHT = _line(
    "How: {mode}, in {tongue}; version {version}.", "Cómo: {mode}, en {tongue}; versión {version}."
)
_TALK = _line(
    "By {who} on {day}, {minutes} min, in {tongue}.",
    "Por {who} el {day}, {minutes} min, en {tongue}.",
)
_COVERS = _line("Elements: {elements}.", "Elementos: {elements}.")
_QUESTIONS = _line(
    "Questions asked: {asked}, of them answered: {answered}.",
    "Preguntas hechas: {asked}, de ellas respondidas: {answered}.",
)
_REASON = _line("Reason: {reason}.", "Motivo: {reason}.")
_SITE = _line(
    "Written by {worksite}, version {version}.", "Escrita por {worksite}, versión {version}."
)
_PAPER = _line("On paper, entered by {who}.", "En papel, anotada por {who}.")
_WITH = _line("With: {worn}.", "Con: {worn}.")
_WATCHED = _line("Watched by {who}.", "Observada por {who}.")
_FOR = _line("Respirators: {worn}.", "Respiradores: {worn}.")
_DUE = _line("Due again by {day}.", "Vence otra vez el {day}.")
_EARLIER = _line(
    "Trained on {day} by {who}. Proof seen: {proof}. Seen by {seen}.",
    "Capacitado el {day} por {who}. Prueba vista: {proof}. Vista por {seen}.",
)
_FIT = _line("{kind}, {protocol}.", "{kind}, {protocol}.")
_FACTOR = _line(
    "Fit factor {factor}; recording: {kept}.", "Factor de ajuste {factor}; registro: {kept}."
)
_EXERCISES = _line("Exercises: {factors}.", "Ejercicios: {factors}.")
_NEXT = _line("Next evaluation by {day}.", "Próxima evaluación a más tardar el {day}.")
_RECORDED = _line("Recorded by {who}.", "Anotó: {who}.")
KINDS_OF_TEST = {
    "qualitative": Words("Qualitative", "Cualitativa"),
    "quantitative": Words("Quantitative", "Cuantitativa"),
}
_ERASED_ENTRIES = _line(
    "What these said was erased: {entries}.", "Se borró lo que decían: {entries}."
)
_ERASED_BY = _line("Allowed by: {row}, {source}; {keep}.", "Lo permite: {row}, {source}; {keep}.")
_JOINED = _line(
    "The record of {name}, number {number}, was of the same person. Its entries keep that number.",
    "El expediente de {name}, número {number}, era de la misma persona. Sus entradas conservan "
    "ese número.",
)
_LEFT = _line("Last day of employment: {day}.", "Último día de trabajo: {day}.")
_BACK = _line("First day of being back: {day}.", "Primer día de vuelta: {day}.")
_ENTRY_STRUCK = _line("The entry is struck: it does not count.",
                      "La entrada se anula: no cuenta.")
_READS_NOW = _line("It now reads, for {day}: {now}", "Ahora dice, para el {day}: {now}")
_WHY = _line("Why: {why}.", "Por qué: {why}.")
_NOTE = _line("Note: {note}.", "Nota: {note}.")
_ASKED_LESSONS = _line("Lessons: {lessons}.", "Lecciones: {lessons}.")
_AFTER = _line("After practice, entry {number}.", "Después de la práctica, entrada {number}.")
_WHAT_WAS_SEEN = _line("What was seen: {what}.", "Lo que se vio: {what}.")
_DUE_BY = _line("Due by {day}.", "Vence el {day}.")
_ASKED_BY = _line("Asked for by {who}.", "Lo pidió: {who}.")
_HISTORY = _line("It makes nobody clear.", "No da permiso de usar el respirador.")
_TRAINER = _line("Trainer: {who}.", "Capacitador: {who}.")
_NO_ACTS = _line("Act by act it was not brought in.", "No se trajo acción por acción.")
_CREDITED = _line("With credit for earlier training of {day}.",
                  "Con crédito por capacitación anterior del {day}.")
_OF_WORKSITE = _line("With the worksite's own: {lessons}.",
                     "Con las propias del sitio de trabajo: {lessons}.")
WRONG_ANSWERS = Words("wrong answers", "respuestas incorrectas")


def _lesson(said: dict, language: str) -> list[str]:
    found = [
        f"{lesson_title(said, language)}.",
        _SCORE(language, n=said["sittings"], right=said["right"], asked=said["asked"],
               must=said["must_right"], musts=said["must_asked"]),
        _TAUGHT(language, mode=mode(said["mode"], language), tongue=tongue(said["language"],
                language), version=said["version"]),
    ]
    if "taught" in said:
        talk = said["taught"]
        found.append(_TALK(
            language, who=words.who(talk["by"]), day=words.day(talk["on"], language),
            minutes=talk["minutes"], tongue=tongue(talk["language"], language),
        ))  # fmt: skip
    if said.get("worksite_part"):
        found.append(_SITE(language, **said["worksite_part"]))
    if said.get("on_paper"):
        found.append(_PAPER(language, who=words.who(said["entered_by"])))
    if "questions_asked" in said:
        found.append(_QUESTIONS(language, asked=said["questions_asked"],
                                answered=said["questions_answered"]))
    return [*found, _COVERS(language, elements=elements(said["elements"])),
            _REASON(language, reason=words.reason(said["reason"], language))]


def _practice(said: dict, language: str) -> list[str]:
    acts = "; ".join(
        f"{words.act(one['act'], language)}: {words.seen(one['seen'], language)}"
        for one in said["acts"]
    ) + "."
    return [
        f"{(PASSED if said['passed'] else NOT_YET)(language)}.",
        _WITH(language, worn=words.worn(said["respirator"], language)),
        _WATCHED(language, who=words.who(said["watched_by"])),
        acts if said["acts"] else _NO_ACTS(language),
    ]


def _training(said: dict, language: str) -> list[str]:
    worn = "; ".join(words.worn(one, language) for one in said["respirators"])
    own = "; ".join(
        f"{one['title']} ({one['worksite']})" for one in said.get("worksite_part", ())
    )
    return [
        _TRAINER(language, who=words.who(said["trainer"])) if said.get("trainer") else "",
        _WATCHED(language, who=words.who(said["watched_by"])) if said.get("watched_by") else "",
        _OF_WORKSITE(language, lessons=own) if own else "",
        _CREDITED(language, day=words.day(said["counts_from"], language))
        if said.get("counts_from") else "",
        _FOR(language, worn=worn),
        _COVERS(language, elements=elements(said["elements"])),
        _REASON(language, reason=words.reason(said["reason"], language)),
        _DUE(language, day=words.day(said["due_again"], language)),
    ]


def _credit(said: dict, language: str) -> list[str]:
    return [
        _EARLIER(language, day=words.day(said["counts_from"], language), who=said["given_by"],
                 proof=said["proof"], seen=words.who(said["seen_by"])),
        _COVERS(language, elements=elements([one["element"] for one in said["elements_shown"]])),
        _DUE(language, day=words.day(said["due_again"], language)),
    ]


def _fit_test(said: dict, language: str) -> list[str]:
    kind = KINDS_OF_TEST.get(said["test_kind"])
    found = [
        f"{(PASSED if said['passed'] else FAILED)(language)}.",
        _FIT(language, kind=kind(language) if kind else said["test_kind"],
             protocol=protocol(said["protocol"], language)),
        _WITH(language, worn=words.worn(said, language)),
    ]
    if said.get("fit_factor"):
        found.append(_FACTOR(language, factor=said["fit_factor"],
                             kept=said.get("recording") or words.NONE))
    if said.get("exercises"):
        found.append(_EXERCISES(language, factors=exercises(said)))
    return found


def no_acts(language: str) -> str:
    """Return what stands where a practice says no act: it was brought in from elsewhere."""
    return _NO_ACTS(language)


def exercises(said: dict) -> str:
    """Return the fit factor of each exercise of a test, where they were entered."""
    return "; ".join(_exercise(one) for one in said.get("exercises", ()))


def _exercise(one: object) -> str:
    if isinstance(one, dict):
        return " ".join(str(value) for value in one.values())
    return str(one)


def _medical(said: dict, language: str) -> list[str]:
    outcome = OUTCOMES.get(said["outcome"])
    found = [f"{outcome(language) if outcome else said['outcome']}."]
    if said.get("limit") in LIMITS:
        found.append(f"{LIMITS[said['limit']](language)}.")
    if said.get("until"):
        found.append(_NEXT(language, day=words.day(said["until"], language)))
    return found


def _correction(said: dict, language: str) -> list[str]:
    why = WHY.get(said.get("why", ""), WHY["other"])(language)
    now = said["said"]
    reads = _ENTRY_STRUCK(language)
    if now is not None:
        lines = told(said["corrected_kind"], now, language)
        reads = _READS_NOW(
            language, day=words.day(now.get("happened_on"), language), now=" ".join(lines)
        )
    note = said.get("note", "").rstrip(".")
    return [reads, _WHY(language, why=why), _NOTE(language, note=note) if note else ""]


def _retraining(said: dict, language: str) -> list[str]:
    titles = "; ".join(lesson_title({"lesson": one}, language) for one in said.get("lessons", ()))
    seen = "; ".join(
        WRONG_ANSWERS(language) if one == "answers" else words.act(one, language)
        for one in said.get("seen", ())
    )
    return [
        _REASON(language, reason=words.reason(said.get("reason", ""), language)),
        _ASKED_LESSONS(language, lessons=titles) if titles else "",
        _AFTER(language, number=said["practice_entry"]) if said.get("practice_entry") else "",
        _WHAT_WAS_SEEN(language, what=seen) if seen else "",
        _DUE_BY(language, day=words.day(said["due"], language)) if said.get("due") else "",
        _ASKED_BY(language, who=words.who(said["asked_by"])) if said.get("asked_by") else "",
    ]


def _earlier_training(said: dict, language: str) -> list[str]:
    trainer, watcher = said.get("trainer", {}), said.get("watched_by", {})
    return [
        f"{said['lesson']}." if said.get("lesson") else "",
        _TRAINER(language, who=words.who(trainer)) if trainer.get("name") else "",
        _WATCHED(language, who=words.who(watcher)) if watcher.get("name") else "",
        _COVERS(language, elements=elements(said["elements"])) if said.get("elements") else "",
        _HISTORY(language),
    ]


def _erasure(said: dict, language: str) -> list[str]:
    named = "; ".join(_erased(one, language) for one in said.get("erased", ()))
    row = retention.get(said.get("row", ""))
    return [
        _ERASED_ENTRIES(language, entries=named),
        _ERASED_BY(
            language, row=row.name(language) if row else said.get("row", ""),
            source=said.get("source", ""), keep=how_long(row, language) if row else words.NONE,
        ),
    ]  # fmt: skip


def _erased(one: dict, language: str) -> str:
    kind = KINDS[one["kind"]](language) if one.get("kind") in KINDS else one.get("kind", "")
    day = words.day(one.get("happened_on"), language)
    return f"{one['number']} ({', '.join(filter(None, (kind, day)))})"


KEPT_A_YEAR = Words(
    "kept for employment and a year after", "se conserva mientras dure el empleo y un año después"
)
KEPT = {
    "until-next": Words("kept until the next one", "se conserva hasta la siguiente"),
    "employment-and-years": Words(
        "kept for employment and {years} years after",
        "se conserva mientras dure el empleo y {years} años después",
    ),
    "current-copy": Words("the current copy is kept", "se conserva la copia vigente"),
    "choice": Words(
        "no period is stated there; the employer chooses",
        "allí no se fija un plazo; lo elige el empleador",
    ),
    "not-known": Words(
        "how long was not read by whoever made this table; look it up",
        "quien hizo esta tabla no leyó el plazo; consúltelo",
    ),
}


def how_long(row: retention.Retention, language: str) -> str:
    """Return in words how long a kind of record is kept."""
    if row.years == 1 and row.keep == "employment-and-years":
        return KEPT_A_YEAR(language)
    return KEPT[row.keep].filled(years=row.years or "")(language)


def _left(said: dict, language: str) -> list[str]:
    return [_LEFT(language, day=words.day(said.get("left_on"), language))]


def _returned(said: dict, language: str) -> list[str]:
    return [_BACK(language, day=words.day(said.get("back_on"), language))]


def _merged(said: dict, language: str) -> list[str]:
    return [_JOINED(language, number=said.get("other_number", ""),
                    name=said.get("other_name", ""))]


def _plain(_said: dict, _language: str) -> list[str]:
    return []


def _common(said: dict, language: str) -> list[str]:
    found = []
    if said.get("recorded_by"):
        found.append(_RECORDED(language, who=words.who(said["recorded_by"])))
    if said.get("brought_in"):
        whence = said["brought_in"]
        found.append(BROUGHT_IN.filled(
            source=whence.get("source", ""), line=whence.get("line", "")
        )(language) + ".")  # fmt: skip
    return found


def mode(said: str, language: str) -> str:
    """Return how a lesson reached somebody, in words."""
    return MODES[said](language) if said in MODES else said


def tongue(code: str, language: str) -> str:
    """Return a language in words."""
    return words.TONGUES[code](language) if code in words.TONGUES else code


_TELL: dict[str, Callable[[dict, str], list[str]]] = {
    "lesson": _lesson,
    "practice": _practice,
    "training": _training,
    "credit": _credit,
    "fit-test": _fit_test,
    "medical": _medical,
    "correction": _correction,
    "medical-correction": _correction,
    "retraining": _retraining,
    "erasure": _erasure,
    "left": _left,
    "returned": _returned,
    "earlier-training": _earlier_training,
    "merged": _merged,
}

