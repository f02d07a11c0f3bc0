"""The people of a packet: each with a paper of their own, and the tables that hold them all.

Paragraphs (e), (f), (g) and (k) of 29 CFR 1910.134, and Appendix D, (c)(2)(i). They are taken one
after another, so that a packet of many people asks for no more memory than one of a few.
"""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime

from trainer.calculations.clearance import NO_END
from trainer.calculations.periods import next_due
from trainer.reference import training_elements
from trainer.services import coverage, entry_words, sitting, standing
from trainer.services import paper_words as words
from trainer.services.packet import names, people_then
from trainer.services.packet.made import ROWS_OF_A_PAPER, Making
from trainer.services.packet.paper import Paper
from trainer.services.packet.people_then import Then, happened
from trainer.services.standing import Tag
from trainer.store import record
from trainer.store.tables import Entry, Sitting
from trainer.words import Words

NUMBER, NAME = Words("Number", "Número"), Words("Name", "Nombre")
DAY = Words("Day", "Día")
RESPIRATOR = Words("Respirator", "Respirador")
ENTRY = Words("Entry", "Entrada")
CLEAR = Words("Clear", "Puede usarlo")
NOT_CLEAR_APART = Words(
    "Not clear; why is kept apart", "No puede usarlo; el motivo se guarda aparte"
)
CLEAR_UNTIL = Words("Clear until {day}", "Puede usarlo hasta el {day}")
CLEAR_BUT_MEDICAL = Words(
    "Clear; all but the medical step holds until {day}",
    "Puede usarlo; todo, menos lo médico, vale hasta el {day}",
)
MISSING = Words("Not clear; missing: {steps}", "No puede usarlo; falta: {steps}")
NO_RESPIRATOR = Words("no respirator given", "sin respirador asignado")
LEFT_ON = Words("Left on {day}", "Se fue el {day}")
LEFT = Words("Left", "Se fue")
SINCE = Words("since {first}", "desde el {first}")
FROM_TO = Words("{first} to {last}", "del {first} al {last}")
HERE = Words("At {worksite}", "En {worksite}")
NO_STAY = Words(
    "not assigned there in the period; entries were made there",
    "sin asignación allí en el período; allí se hicieron entradas",
)
ON_THE_DAY = Words("Worksites on {day}", "Sitios de trabajo el {day}")
NOT_HERE = Words("Not at this worksite on the last day", "No estaba en este sitio el último día")


@dataclass
class Tables:
    """What the people of a packet come to, in rows: those of papers, and those of CSV files."""

    people: list[tuple] = field(default_factory=list)
    covered: list[tuple] = field(default_factory=list)
    covers: dict[str, frozenset[str]] = field(default_factory=dict)
    fit_tests: list[tuple] = field(default_factory=list)
    practices: list[tuple] = field(default_factory=list)
    acts: list[tuple] = field(default_factory=list)
    voluntary: list[tuple] = field(default_factory=list)
    medical: list[tuple] = field(default_factory=list)
    sittings: list[tuple] = field(default_factory=list)
    answers: list[tuple] = field(default_factory=list)
    corrections: list[tuple] = field(default_factory=list)
    entries: list[int] = field(default_factory=list)
    versions: set[str] = field(default_factory=set)
    questions_asked: int = 0
    for_cause: int = 0


def write(making: Making, ids: list[int], step: Callable[[], None]) -> Tables:
    """Write a paper for each person and the tables of them all; return the tables."""
    tables = Tables()
    for one in people_then.each(making.db, making.asked, making.worksite, ids):
        closed = people_then.sittings(making.db, making.asked, making.worksite, one.stood.numbers)
        _gather(making, one, closed, tables)
        _person(making, one, closed)
        step()
    _roster(making, tables)
    _coverage(making, tables)
    _fit_tests(making, tables)
    _practices(making, tables)
    _voluntary(making, tables)
    _medical(making, tables)
    _sittings(making, tables)
    return tables


# One person

RECORD_OF = Words("Record of {name}", "Registro de {name}")
STOOD = Words("On {day}", "Al {day}")
IN_PERIOD = Words("Entries of the period", "Entradas del período")
ENTRY_HEADS = (
    ENTRY, DAY, Words("What it is", "Qué es"), Words("What it says", "Qué dice"),
)  # fmt: skip
SITTINGS = Words("Sittings", "Intentos")
SITTING_HEADS = (
    DAY, Words("Lesson", "Lección"), Words("Result", "Resultado"),
    Words("Must-know", "Lo que debe saber"), Words("The rest", "Lo demás"),
)  # fmt: skip
ANSWER_HEADS = (
    Words("No.", "N.º"), Words("Question or problem", "Pregunta o problema"),
    Words("Answer given", "Respuesta dada"), Words("Right", "Correcta"),
)  # fmt: skip
REFRESHER = Words("Refresher", "Repaso")
NONE_GIVEN = Words("No answer", "Sin respuesta")
APART = Words(
    "Determinations of the medical evaluation are kept apart and are not in this packet; “clear” "
    "takes them into account.",
    "Las determinaciones de la evaluación médica se guardan aparte y no están en este expediente; "
    "«puede usarlo» las toma en cuenta.",
)


def _person(making: Making, one: Then, closed: list[Sitting]) -> None:
    language, person = making.language, one.person
    paper = making.paper(RECORD_OF, name=person.name)
    day = words.day(people_then.today(making.asked, making.worksite), language)
    paper.facts([
        (NUMBER, ", ".join(one.stood.numbers)),
        (NAME, person.name),
        (HERE.filled(worksite=making.worksite.name)(language), _stayed(making, one)),
        (ON_THE_DAY.filled(day=day)(language),
         ", ".join(stay.worksite.name for stay in one.stood.there) or words.NONE),
        (LEFT, words.day(one.left_on, language) if one.left_on else ""),
    ])  # fmt: skip
    _tags(making, one, paper)
    paper.head(IN_PERIOD)
    paper.table(
        ENTRY_HEADS, [_entry_row(entry, one, language) for entry in one.shown], (0, 0, 2, 7)
    )
    _sittings_of(making, closed, paper)
    path = (
        f"{making.folder('k')}/{names.PEOPLE(language)}/"
        f"{names.safe(person.number)} {names.safe(person.name)}.pdf"
    )
    about = f"{person.number}, {person.name}"
    making.archive.add("people", path, paper.pdf(making.asked.at), about)


def _stayed(making: Making, one: Then) -> str:
    """Return in words from when to when somebody belonged to the worksite, in the period."""
    language, asked, there = making.language, making.asked, making.worksite
    found = []
    for stay in one.stood.stays:
        gone = stay.left_at if stay.left_at and stay.left_at <= asked.at else None
        within = stay.joined_at <= asked.ends(there) and (
            gone is None or gone >= asked.begins(there)
        )
        if stay.worksite.id != there.id or not within:
            continue
        first = words.day(making.local(stay.joined_at), language)
        if gone:
            last = words.day(making.local(gone), language)
            found.append(FROM_TO.filled(first=first, last=last)(language))
        else:
            found.append(SINCE.filled(first=first)(language))
    return "; ".join(found) or NO_STAY(language)


def _is_here(making: Making, one: Then) -> bool:
    """Say whether somebody belonged to the worksite on the last day."""
    return any(stay.worksite.id == making.worksite.id for stay in one.stood.there)


def _tags(making: Making, one: Then, paper: Paper) -> None:
    language = making.language
    paper.head(STOOD, day=words.day(people_then.today(making.asked, making.worksite), language))
    for tag in one.tags:
        if tag.respirator is None:
            paper.say(f"{NO_RESPIRATOR(language)[:1].upper()}{NO_RESPIRATOR(language)[1:]}.")
            continue
        paper.head(words.held(tag, language), level=2)
        paper.say(f"{stands(making, one, tag)}.")
        paper.facts([
            (IN_USE, words.USES[tag.respirator.use](language)),
            *(
                (words.STEPS[step.kind], _step(step, language))
                for step in tag.clearance.steps
                if making.asked.medical or step.kind != "medical"
            ),
        ])  # fmt: skip
        paper.items(words.notes(tag, language))
    if not making.asked.medical:
        paper.say(APART)


IN_USE = Words("Use", "Uso")
_STATES = {
    "done": Words("done", "hecho"), "begun": Words("begun", "comenzado"),
    "todo": Words("to do", "por hacer"), "no": Words("not passed", "sin aprobar"),
}  # fmt: skip
_WHY = {
    "lapsed": Words("lapsed", "vencida"),
    "failed": Words("failed", "no aprobada"),
    "changed": Words("told since that the fit has changed; to be tested again",
                     "después se avisó que cambió el ajuste; hay que repetirla"),
    "not_yet": Words("not yet passed", "todavía sin aprobar"),
    "retraining": Words("retraining was asked for and is open",
                        "se pidió volver a capacitar y sigue pendiente"),
    "beyond": Words("a lesson asked beside it is not passed",
                    "falta una lección que se pide además"),
    "not_cleared": Words("not cleared", "sin autorización"),
    "powered_only": Words("cleared for powered respirators only",
                          "autorización solo para respiradores motorizados"),
}
"""Why a step that was done does not hold, as `clearance` names it."""
_STEP = Words("{state}, {day}; last good day {due}", "{state}, {day}; último día válido {due}")
_OPEN_SINCE = Words("since {day}", "desde el {day}")
_STEP_ON = Words("{state}, {day}", "{state}, {day}")


def _step(step, language: str) -> str:
    state = _WHY.get(step.why) or _STATES.get(step.state)
    said = state(language) if state else step.state
    if not step.on:
        return said
    on = words.day(step.on, language)
    if step.kind == "leak":
        return _OPEN_SINCE.filled(day=on)(language)
    if not step.due:
        return _STEP_ON.filled(state=said, day=on)(language)
    return _STEP.filled(state=said, day=on, due=words.day(step.due, language))(language)


def stands(making: Making, one: Then, tag: Tag) -> str:
    """Return in words whether somebody was clear with a respirator; medical only with the right."""
    language = making.language
    if one.left_on:
        return LEFT_ON.filled(day=words.day(one.left_on, language))(language)
    if tag.respirator is None:
        return MISSING.filled(steps=NO_RESPIRATOR(language))(language)
    if tag.clearance.clear:
        last = _until(making, tag)
        until = CLEAR_UNTIL if making.asked.medical else CLEAR_BUT_MEDICAL
        return until.filled(day=words.day(last, language))(language) if last else CLEAR(language)
    missing = [
        words.STEPS[kind](language)
        for kind in tag.clearance.missing
        if making.asked.medical or kind != "medical"
    ]
    if not missing:
        return NOT_CLEAR_APART(language)
    return MISSING.filled(steps="; ".join(missing))(language)


def _until(making: Making, tag: Tag) -> date | None:
    """Return the last good day of a clear tag; when a determination ends only with the right."""
    medical = making.asked.medical or all(step.kind != "medical" for step in tag.clearance.steps)
    last = tag.clearance.until if medical else standing.until_but_medical(tag.clearance)
    return None if not tag.clearance.clear or last == NO_END else last


def _entry_row(entry: Entry, one: Then, language: str) -> list[str]:
    said = one.bodies[entry.number]
    lines = [entry_words.text(entry, said, language)]
    lines += entry_words.beside(entry, one.corrected.get(entry.number, []), language)
    return [
        str(entry.number), words.day(entry.happened_on, language),
        entry_words.title(entry, said, language), "\n".join(lines),
    ]  # fmt: skip


def _sittings_of(making: Making, closed: list[Sitting], paper: Paper) -> None:
    language = making.language
    paper.head(SITTINGS)
    paper.table(SITTING_HEADS, [_sitting_row(making, one) for one in closed], (0, 4, 2, 1, 1),
                "lllrr")
    if not making.asked.answers:
        return
    for one in closed:
        row = _sitting_row(making, one)
        paper.head(f"{row[1]}, {row[0]}", level=2)
        paper.table(ANSWER_HEADS, [
            [str(at), ask, given or NONE_GIVEN(language),
             (words.YES if right else words.NO)(language)]
            for at, ask, given, right in _answered(making, one, language)
        ], (0, 6, 5, 0), "rlll", tongue=one.language)


def _sitting_row(making: Making, one: Sitting) -> list[str]:
    language = making.language
    title = entry_words.lesson_title({"lesson": one.lesson}, language) if one.lesson else \
        REFRESHER(language)
    result = entry_words.PASSED if one.passed else entry_words.FAILED
    return [
        words.day(making.local(one.closed_at), language), title, result(language),
        f"{one.must_right} / {one.must_asked}", f"{one.right} / {one.asked}",
    ]  # fmt: skip


def _answered(
    making: Making, one: Sitting, language: str
) -> Iterator[tuple[int, str, str, bool]]:
    """Give each item of a sitting: its place, what was asked, what was answered, was it right?"""
    tongue = one.language or language
    for shown in sitting.shown(making.db, one):
        if shown.question is not None:
            ask, given = shown.question.ask(tongue), _picked(shown, tongue)
        else:
            ask, given = shown.problem.text(tongue).replace("**", ""), _worked(shown, tongue)
        yield shown.item.position, ask, given, bool(shown.item.right)


def _picked(shown: sitting.Shown, language: str) -> str:
    options = shown.question.options
    if not shown.question.in_rows:
        return "; ".join(options[at].text(language) for at in shown.picked if at is not None)
    lines = []
    for at, got in enumerate(shown.picked):
        if got is None:
            continue
        to = options[got].to
        lines.append(f"{options[at].text(language)} → {to(language) if to else got + 1}")
    return "; ".join(lines)


def _worked(shown: sitting.Shown, language: str) -> str:
    given = shown.item.answer or ""
    labels = dict(shown.problem.blank.options(language)) if shown.problem.blank.kind == "pick" \
        else {}
    return labels.get(given, given)


# All of them


def _gather(making: Making, one: Then, closed: list[Sitting], tables: Tables) -> None:
    asked, person, language = making.asked, one.person, making.language
    who = (person.number, person.name)
    tables.entries += [entry.number for entry in one.shown]
    tables.people += [_people_row(making, one, tag) for tag in one.tags]
    tables.covered.append((*who, _covered(making, one, tables.covers)))
    for entry, said in _kept_fit_tests(one, asked.first, asked.last):
        tables.fit_tests.append((*who, entry, said, _marks(one, entry, language)))
    for entry, said in one.in_period("practice", asked.first, asked.last):
        tables.practices.append((*who, entry, said, _marks(one, entry, language)))
        tables.acts += [
            (*who, happened(entry, said).isoformat(), *_worn_cells(said["respirator"]),
             one_act["act"], one_act["seen"], "yes" if said["passed"] else "no",
             said["watched_by"]["number"], said["watched_by"]["name"], entry.number)
            # What was brought in says no act; that it was watched stands there all the same.
            for one_act in said["acts"] or [{"act": "", "seen": ""}]
        ]  # fmt: skip
    for entry, said in one.force:
        if entry.kind == "appendix-d" and happened(entry, said) <= asked.last:
            tables.voluntary.append((*who, happened(entry, said), entry.number))
        if entry.kind == "lesson" and asked.first <= happened(entry, said) <= asked.last:
            tables.versions.add(said["version"])
        if entry.kind == "retraining" and asked.first <= happened(entry, said) <= asked.last:
            tables.for_cause += 1
    if asked.medical:
        tables.medical += _determined(one, asked.last)
    for row in closed:
        tables.sittings.append((*who, record.moment(row.closed_at), row.lesson or "refresher",
                                row.ordinal, "yes" if row.passed else "no", row.must_right,
                                row.must_asked, row.right, row.asked, row.language,
                                "yes" if row.on_paper else "no", row.lesson_version))
        if asked.answers:
            tables.answers += [
                (*who, record.moment(row.closed_at), row.lesson or "refresher", at, ask, given,
                 "yes" if right else "no")
                for at, ask, given, right in _answered(making, row, language)
            ]  # fmt: skip
    _gather_corrections(one, tables, language)


def _people_row(making: Making, one: Then, tag: Tag) -> tuple:
    person, worn = one.person, tag.respirator
    trained = one.history.last_training()
    since = one.history.year_from()
    # A day that leaves the medical step out would read as a day until which all is well.
    last = words.until(tag, making.asked.medical)
    here = _is_here(making, one)
    stood = stands(making, one, tag)
    return (
        person.number, person.name, person.language,
        one.left_on.isoformat() if one.left_on else "",
        *((worn.class_slug, worn.make, worn.model, worn.style, worn.size, worn.filters, worn.use)
          if worn else ("",) * 7),
        "yes" if tag.clearance.clear and not one.left_on else "no",
        last.isoformat() if last and not one.left_on else "",
        trained.happened_on.isoformat() if trained else "",
        next_due(since).isoformat() if since else "", "yes" if here else "no",
        words.held(tag, making.language) if worn else words.NONE,
        stood if here or one.left_on else f"{stood}\n{NOT_HERE(making.language)}",
    )  # fmt: skip


def _covered(
    making: Making, one: Then, covers: dict[str, frozenset[str]]
) -> dict[str, tuple[str, str]]:
    """Return by element how it stood on the last day, as the page of coverage tells it, and the
    newest day on which it was taught, "" where it never was."""
    newest: dict[str, date] = {}
    for entry, said in one.force:
        if entry.kind in ("lesson", "credit", "training"):
            since = standing.counts_from(entry, said)
            for element in said["elements"]:
                newest[element] = max(newest.get(element, since), since)
        elif entry.kind == "appendix-d":
            newest[coverage.BY_CHOICE] = happened(entry, said)
    by_choice = [
        "appendix-d" not in tag.clearance.missing
        for tag in one.tags
        if tag.respirator and tag.respirator.use == "voluntary"
    ]
    states, _ = coverage.of_history(
        making.db, one.history, all(by_choice) if by_choice else None, covers,
        people_then.today(making.asked, making.worksite),
    )  # fmt: skip
    return {
        paragraph: (state, newest[paragraph].isoformat() if paragraph in newest else "")
        for paragraph, state in states.items()
    }


def _kept_fit_tests(one: Then, first: date, last: date) -> Iterator[tuple[Entry, dict]]:
    """Give the fit tests of the period, and before it the newest with each facepiece.

    A record is kept until the next test, (m)(2)(ii), so that is the one that held.
    """
    before: dict[tuple, tuple[Entry, dict]] = {}
    within = []
    for entry, said in sorted(one.force, key=_by_day):
        if entry.kind != "fit-test" or happened(entry, said) > last:
            continue
        if happened(entry, said) >= first:
            within.append((entry, said))
        else:
            before[tuple(said[part] for part in ("make", "model", "style", "size"))] = entry, said
    yield from sorted([*before.values(), *within], key=lambda pair: pair[0].number)


def _by_day(pair: tuple[Entry, dict]) -> tuple[date, int]:
    return happened(*pair), pair[0].number


def _marks(one: Then, entry: Entry, language: str) -> str:
    return " ".join(entry_words.beside(entry, one.corrected.get(entry.number, []), language))


def _determined(one: Then, last: date) -> Iterator[tuple]:
    # The newest by its day, as the tag reads it, and not the one that was recorded last.
    found = [
        (entry, said) for entry, said in one.force
        if entry.kind == "medical" and happened(entry, said) <= last
    ]  # fmt: skip
    newest = max(found, key=_by_day, default=None)
    if newest:
        entry, said = newest
        yield (
            one.person.number, one.person.name, happened(entry, said).isoformat(),
            said["outcome"], said["limit"], said["until"], entry.number,
        )  # fmt: skip


def _gather_corrections(one: Then, tables: Tables, language: str) -> None:
    shown = {entry.number: entry for entry in one.shown}
    for number, given in one.corrected.items():
        if number not in shown:
            continue
        entry = shown[number]
        before = entry_words.text(entry, one.bodies[number], language)
        for (correction, said), sentence in zip(
            given, entry_words.beside(entry, given, language), strict=True
        ):
            tables.corrections.append((
                one.person.number, one.person.name, number, entry.kind, correction.number,
                correction.recorded_at, said.get("why", ""), said.get("note", ""),
                json.dumps(said["said"], ensure_ascii=False, sort_keys=True), before, sentence,
            ))  # fmt: skip


def _worn_cells(said: dict) -> tuple[str, ...]:
    return tuple(str(said.get(part, "")) for part in ("class", "make", "model", "style", "size"))


# Tables

ROSTER = Words("Roster", "Lista de personas")
ROSTER_HEADS = (
    NUMBER, NAME, RESPIRATOR, Words("On the last day", "El último día"),
    Words("Trained on", "Capacitado el"), Words("Due again by", "Vence el"),
)  # fmt: skip
NOBODY = Words("Nobody belongs to this packet.", "Nadie pertenece a este expediente.")
PEOPLE_COLUMNS = (
    "worker number", "name", "language", "left on", "respirator class", "make", "model", "style",
    "size", "filters", "use", "clear on the last day", "clear until", "trained on", "due again",
    "at this worksite on the last day",
)  # fmt: skip


def papers(making: Making, paragraph: str, title: Words, rows: list, lay: Callable[[Paper, list],
           None], about: Words, wide: bool = False) -> None:
    """Put rows into as many papers as keep each of them small."""
    pieces = [rows[at : at + ROWS_OF_A_PAPER] for at in range(0, len(rows), ROWS_OF_A_PAPER)]
    for place, piece in enumerate(pieces or [[]], start=1):
        paper = making.paper(title, wide=wide)
        lay(paper, piece)
        name = title(making.language)
        making.put(paragraph, name if len(pieces) < 2 else f"{name} {place}", paper, about)


def _roster(making: Making, tables: Tables) -> None:
    language = making.language

    def lay(paper: Paper, rows: list) -> None:
        paper.table(ROSTER_HEADS, [
            [row[0], row[1], row[-2], row[-1], words.day(row[13], language),
             words.day(row[14], language)]
            for row in rows
        ], (0, 3, 6, 4, 0, 0), none=NOBODY)  # fmt: skip
        if not making.asked.medical:
            paper.say(APART)

    papers(making, "k", Words(f"1 {ROSTER.en}", f"1 {ROSTER.es}"), tables.people, lay, Words(
        "Everybody of this packet, with what respirator, clear or not",
        "Todas las personas de este expediente, con qué respirador, y si puede usarlo",
    ), wide=True)  # fmt: skip
    making.rows("k", "people", PEOPLE_COLUMNS, (row[:16] for row in tables.people))


COVERAGE = Words("2 Coverage of the elements", "2 Elementos cubiertos")
COVERAGE_SAYS = Words(
    "How each element of 29 CFR 1910.134(k)(1) stood on the last day. It is covered, with the "
    "newest day on which it was taught, once every lesson of the person's training that covers it "
    "is passed or credited under (k)(4), or training as a whole is complete, within the year. “In "
    "part”: some of these lessons. “Not now”: it was taught on that day and does not count any "
    "more. A dash: never. Practice is in folder (g).",
    "Cómo estaba cada elemento de 29 CFR 1910.134(k)(1) el último día. Está cubierto, con el "
    "último día en que se enseñó, cuando cada lección de la capacitación de la persona que lo "
    "cubre está aprobada o acreditada según (k)(4), o la capacitación está completa, dentro del "
    "año. «En parte»: algunas de esas lecciones. «Ya no»: se enseñó ese día y ya no cuenta. Una "
    "raya: nunca. La práctica está en la carpeta (g).",
)
COVERED = {
    "done": Words("{day}", "{day}"),
    "begun": Words("in part, {day}", "en parte, {day}"),
    "todo": Words("not now, {day}", "ya no, {day}"),
}
COVERED_SAID = {"done": "yes", "begun": "in part", "todo": "no", "none": "not asked"}
YES_COVERED = Words("yes", "sí")
THE_ELEMENTS = Words("The elements", "Los elementos")


def _coverage(making: Making, tables: Tables) -> None:
    language = making.language
    rows_of = [row for row in training_elements.rows() if row.kind != "voluntary"]
    heads = [Words(row.paragraph.removeprefix("(k)(1)"), row.paragraph.removeprefix("(k)(1)"))
             for row in rows_of]  # fmt: skip

    def cell(state: str, day: str) -> str:
        if not day:
            return YES_COVERED(language) if state == "done" else words.NONE
        said = COVERED.get(state, COVERED["todo"])
        return said.filled(day=words.day(day, language))(language)

    def lay(paper: Paper, rows: list) -> None:
        paper.say(COVERAGE_SAYS)
        paper.table((NUMBER, NAME, *heads), [
            [number, name, *(cell(*states[one.paragraph]) for one in rows_of)]
            for number, name, states in rows
        ], (0, 3, *[2] * len(heads)), none=NOBODY)
        paper.head(THE_ELEMENTS)
        paper.items(entry_words.element(row.paragraph, language) for row in rows_of)

    papers(making, "k", COVERAGE, tables.covered, lay, Words(
        "Each person against each element of (k)(1), with the day",
        "Cada persona frente a cada elemento de (k)(1), con el día",
    ), wide=True)  # fmt: skip
    every = [row.paragraph for row in training_elements.rows()]
    columns = ("worker number", "name", *every, *(f"{one} covered" for one in every))
    making.rows("k", "coverage", columns, (
        (number, name, *(states[one][1] for one in every),
         *(COVERED_SAID[states[one][0]] for one in every))
        for number, name, states in tables.covered
    ))  # fmt: skip


FIT_TESTS = Words("Fit tests", "Pruebas de ajuste")
FIT_HEADS = (
    NUMBER, NAME, DAY, Words("Kind of test", "Tipo de prueba"),
    Words("Make, model, style, size", "Marca, modelo, estilo, talla"),
    Words("Result", "Resultado"), Words("Fit factor", "Factor de ajuste"),
    Words("Recording", "Registro"), ENTRY,
)  # fmt: skip
FIT_SAYS = Words(
    "Each test with what 29 CFR 1910.134(m)(2)(i) asks for: the person, the kind of test, the "
    "make, model, style and size of the respirator, the day, pass or fail of a qualitative test, "
    "fit factor and recording of a quantitative one. Besides those of the period, the newest test "
    "before it with each facepiece.",
    "Cada prueba con lo que pide 29 CFR 1910.134(m)(2)(i): la persona, el tipo de prueba, la "
    "marca, el modelo, el estilo y la talla del respirador, el día, aprobada o no si es "
    "cualitativa, factor de ajuste y registro si es cuantitativa. Además de las del período, la "
    "última anterior con cada pieza facial.",
)
NO_FIT_TESTS = Words("No fit test is recorded for these people.",
                     "No hay pruebas de ajuste registradas de estas personas.")
FIT_COLUMNS = (
    "worker number", "name", "day", "test kind", "protocol", "make", "model", "style", "size",
    "passed", "fit factor", "exercises", "recording", "entry number", "correction",
)  # fmt: skip


def _fit_tests(making: Making, tables: Tables) -> None:
    language = making.language

    def row(given: tuple) -> list[str]:
        number, name, entry, said, marks = given
        kind = entry_words.KINDS_OF_TEST.get(said["test_kind"])
        test = f"{kind(language) if kind else said['test_kind']}: " \
               f"{entry_words.protocol(said['protocol'], language)}"
        factor = "\n".join(filter(None, (said.get("fit_factor", ""),
                                         entry_words.exercises(said))))
        result = (entry_words.PASSED if said["passed"] else entry_words.FAILED)(language)
        facepiece = ", ".join(said[part] for part in ("make", "model", "style", "size"))
        return [
            number, name, words.day(happened(entry, said), language), test, facepiece,
            "\n".join(filter(None, (result, marks))), factor or words.NONE,
            said.get("recording") or words.NONE, str(entry.number),
        ]  # fmt: skip

    def lay(paper: Paper, rows: list) -> None:
        paper.say(FIT_SAYS)
        paper.table(FIT_HEADS, [row(one) for one in rows], (0, 3, 0, 4, 5, 3, 2, 3, 0),
                    "llllllrlr", NO_FIT_TESTS)

    papers(making, "f", FIT_TESTS, tables.fit_tests, lay, Words(
        "Every test with the fields of (m)(2)(i)", "Cada prueba con los datos de (m)(2)(i)"
    ), wide=True)  # fmt: skip
    making.rows("f", "fit-tests", FIT_COLUMNS, (
        (number, name, happened(entry, said).isoformat(), said["test_kind"], said["protocol"],
         said["make"], said["model"], said["style"], said["size"],
         "yes" if said["passed"] else "no", said.get("fit_factor", ""),
         entry_words.exercises(said), said.get("recording", ""), entry.number, marks)
        for number, name, entry, said, marks in tables.fit_tests
    ))  # fmt: skip


USE = Words("Use and practice", "Uso y práctica")
EMERGENCY = Words("Steps in an emergency, as the worksite says them",
                  "Pasos en una emergencia, como los dice el sitio de trabajo")
NO_EMERGENCY = Words("The worksite has no steps entered.", "El sitio no tiene pasos anotados.")
PRACTICES = Words("Practice, watched act by act", "Práctica, observada acción por acción")
PRACTICE_HEADS = (
    NUMBER, NAME, DAY, RESPIRATOR, Words("Acts", "Acciones"), Words("Result", "Resultado"),
    Words("Watched by", "Observada por"), ENTRY,
)  # fmt: skip
SEAL = Words(
    "A user seal check is made each time a tight-fitting respirator is put on, 29 CFR "
    "1910.134(g)(1)(iii); below is what a trainer saw in practice, and no record of daily use.",
    "La verificación de sellado se hace cada vez que se pone un respirador de ajuste hermético, "
    "29 CFR 1910.134(g)(1)(iii); abajo está lo que un capacitador vio en la práctica, y no un "
    "registro del uso diario.",
)
NO_PRACTICES = Words("No practice was watched in this period.",
                     "En este período no se observó ninguna práctica.")
ACT_COLUMNS = (
    "worker number", "name", "day", "respirator class", "make", "model", "style", "size", "act",
    "seen", "passed", "watched by number", "watched by", "entry number",
)  # fmt: skip


def _practices(making: Making, tables: Tables) -> None:
    language = making.language
    steps = [line.strip() for line in making.worksite.emergency_steps.splitlines() if line.strip()]

    def row(given: tuple) -> list[str]:
        number, name, entry, said, marks = given
        acts = "\n".join(
            f"{words.act(act['act'], language)}: {words.seen(act['seen'], language)}"
            for act in said["acts"]
        ) or entry_words.no_acts(language)
        result = (entry_words.PASSED if said["passed"] else entry_words.NOT_YET)(language)
        return [
            number, name, words.day(happened(entry, said), language),
            words.worn(said["respirator"], language), acts,
            "\n".join(filter(None, (result, marks))), words.who(said["watched_by"]),
            str(entry.number),
        ]  # fmt: skip

    def lay(paper: Paper, rows: list) -> None:
        paper.head(EMERGENCY)
        if steps:
            paper.items(steps)
        else:
            paper.say(NO_EMERGENCY)
        paper.head(PRACTICES).say(SEAL)
        paper.table(PRACTICE_HEADS, [row(one) for one in rows], (0, 2, 0, 3, 6, 2, 3, 0),
                    "lllllllr", NO_PRACTICES)

    papers(making, "g", USE, tables.practices, lay, Words(
        "Steps in an emergency, and practice act by act",
        "Pasos en una emergencia, y práctica acción por acción",
    ), wide=True)  # fmt: skip
    making.rows("g", "practice", ACT_COLUMNS, tables.acts)


VOLUNTARY = Words("Voluntary use", "Uso voluntario")
VOLUNTARY_HEADS = (NUMBER, NAME, Words("Information given on", "Información entregada el"), ENTRY)
VOLUNTARY_SAYS = Words(
    "Who was given the information of Appendix D, 29 CFR 1910.134(c)(2)(i) and (k)(6).",
    "A quién se le dio la información del Apéndice D, 29 CFR 1910.134(c)(2)(i) y (k)(6).",
)
NO_VOLUNTARY = Words("None recorded for these people.", "Nada registrado de estas personas.")


def _voluntary(making: Making, tables: Tables) -> None:
    language = making.language

    def lay(paper: Paper, rows: list) -> None:
        paper.say(VOLUNTARY_SAYS)
        paper.table(VOLUNTARY_HEADS, [
            [number, name, words.day(on, language), str(entry)] for number, name, on, entry in rows
        ], (0, 4, 2, 0), "lllr", NO_VOLUNTARY)  # fmt: skip

    papers(making, "c", VOLUNTARY, tables.voluntary, lay, VOLUNTARY_SAYS)
    making.rows("c", "appendix-d", ("worker number", "name", "given on", "entry number"), (
        (number, name, on.isoformat(), entry) for number, name, on, entry in tables.voluntary
    ))  # fmt: skip


MEDICAL = Words("Medical evaluation", "Evaluación médica")
MEDICAL_HEADS = (
    NUMBER, NAME, Words("Cleared", "Con autorización"), Words("Limits on use", "Límites de uso"),
    Words("Recommendation of", "Recomendación del"),
    Words("Next evaluation by", "Próxima evaluación a más tardar"), ENTRY,
)  # fmt: skip
MEDICAL_SAYS = Words(
    "The newest written recommendation of each person, 29 CFR 1910.134(e)(6)(i)(A): whether they "
    "may use a respirator, limits on use, the next evaluation. No reason, symptom or answer is "
    "here; there is no place for one in this record. Give this page only to those who may see it.",
    "La última recomendación escrita de cada persona, 29 CFR 1910.134(e)(6)(i)(A): si puede usar "
    "un respirador, límites de uso, la próxima evaluación. Aquí no hay motivos, síntomas ni "
    "respuestas; este registro no tiene lugar para ellos. Entregue esta página solo a quien pueda "
    "verla.",
)
MEDICAL_APART = Words(
    "Determinations are kept apart from this packet. They stand in the employer's record, where "
    "only a coordinator sees them; ask {who}. Records of medical evaluations are retained and "
    "made available under 29 CFR 1910.1020: paragraph (m)(1).",
    "Las determinaciones se guardan aparte de este expediente. Están en el registro del "
    "empleador, donde solo las ve un coordinador; pregunte a {who}. Los registros de evaluaciones "
    "médicas se conservan y se entregan según 29 CFR 1910.1020: párrafo (m)(1).",
)
NOBODY_EVALUATED = Words("No determination is recorded for these people.",
                         "No hay determinaciones registradas de estas personas.")
CLEARED = {"cleared": words.YES, "limits": Words("Yes, with limits", "Sí, con límites"),
           "not": words.NO}  # fmt: skip


def _medical(making: Making, tables: Tables) -> None:
    language = making.language
    if not making.asked.medical:
        paper = making.paper(MEDICAL)
        paper.say(MEDICAL_APART, who=making.asked.asked_by)
        making.put("e", MEDICAL, paper, Words(
            "Kept apart: where, and whom to ask", "Se guardan aparte: dónde, y a quién preguntar"
        ))  # fmt: skip
        return

    def lay(paper: Paper, rows: list) -> None:
        paper.say(MEDICAL_SAYS)
        paper.table(MEDICAL_HEADS, [
            [number, name, CLEARED.get(outcome, words.NO)(language),
             entry_words.LIMITS[limit](language) if limit in entry_words.LIMITS else words.NONE,
             words.day(on, language), words.day(until, language), str(entry)]
            for number, name, on, outcome, limit, until, entry in rows
        ], (0, 3, 2, 3, 0, 0, 0), "llllllr", NOBODY_EVALUATED)  # fmt: skip

    papers(making, "e", MEDICAL, tables.medical, lay, Words(
        "Who is cleared, limits on use, next evaluation",
        "Quién tiene autorización, límites de uso, próxima evaluación",
    ), wide=True)  # fmt: skip
    making.rows("e", "determinations", (
        "worker number", "name", "recommendation of", "outcome", "limit", "next evaluation by",
        "entry number",
    ), tables.medical)  # fmt: skip


SITTINGS_PAPER = Words("4 Sittings", "4 Intentos")
ALL_SITTING_HEADS = (NUMBER, NAME, *SITTING_HEADS)
NO_SITTINGS = Words("No sitting was closed in this period.",
                    "En este período no se cerró ningún intento.")
SITTING_COLUMNS = (
    "worker number", "name", "closed", "lesson", "sitting", "passed", "must-know right",
    "must-know asked", "right", "asked", "language", "on paper", "lesson version",
)  # fmt: skip
ANSWERS_APART = Words(
    "What each person answered to each question is not in this packet; it was not asked for.",
    "Lo que cada persona respondió a cada pregunta no está en este expediente; no se pidió.",
)


def _sittings(making: Making, tables: Tables) -> None:
    language = making.language

    def row(given: tuple) -> list[str]:
        number, name, closed, lesson, _, passed, must, musts, right, asked, *_ = given
        title = REFRESHER(language) if lesson == "refresher" else \
            entry_words.lesson_title({"lesson": lesson}, language)
        result = (entry_words.PASSED if passed == "yes" else entry_words.FAILED)(language)
        day = making.local(datetime.fromisoformat(closed))
        return [number, name, words.day(day, language), title, result,
                f"{must} / {musts}", f"{right} / {asked}"]

    def lay(paper: Paper, rows: list) -> None:
        if not making.asked.answers:
            paper.say(ANSWERS_APART)
        paper.table(ALL_SITTING_HEADS, [row(one) for one in rows], (0, 3, 0, 5, 2, 1, 1),
                    "lllllrr", NO_SITTINGS)

    papers(making, "k", SITTINGS_PAPER, tables.sittings, lay, Words(
        "Every sitting with its score", "Cada intento con su resultado"
    ), wide=True)  # fmt: skip
    making.rows("k", "sittings", SITTING_COLUMNS, tables.sittings)
    if making.asked.answers:
        making.rows("k", "answers", (
            "worker number", "name", "closed", "lesson", "place", "asked", "answered", "right",
        ), tables.answers)  # fmt: skip
