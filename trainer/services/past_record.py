"""A record that was kept elsewhere: training, fit tests and determinations, line by line.

Each good line becomes an entry that says which file it came from. Nothing is added to what a line
says: training counts for clear only where the line names everything that training here would
show; else it is kept as history and makes nobody clear.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from hashlib import sha256

from trainer.calculations import credit
from trainer.calculations.faults import CalculationFault
from trainer.calculations.fit import fit_test_passes
from trainer.calculations.periods import next_due
from trainer.reference import fit_test_protocols, respirator_classes, training_elements
from trainer.services import reading_cells, recording
from trainer.services.likenesses import name_key
from trainer.services.matching_columns import values
from trainer.services.reading_tables import Line
from trainer.services.refusal import Refusal
from trainer.services.roster import Choices, Tried
from trainer.store import people, record
from trainer.store.imports import Known
from trainer.words import tidy

HISTORY = "earlier-training"
"""The kind of entry of training that was given before or elsewhere and makes nobody clear."""

LACKS = ("trainer", "elements", "respirators", "watched_by", "watched_how", "lesson", "older",
         "trained-here", "other-respirator")  # fmt: skip
"""Why a training is history: what its line does not name; it was one lesson of several; it is
older than a year; the person has training here; they wear another class of respirator."""


@dataclass(frozen=True)
class Past:
    """What is known before the lines are tried.

    trained_here    worker numbers of those who have entries of training already
    by              the number of whoever brings the file
    """

    people: Mapping[str, Known]
    trained_here: frozenset[str]
    choices: Choices
    today: date
    by: str


def tried(kind: str, line: Line, matched: Mapping[str, int], past: Past) -> Tried:
    """Return what one line of a past record comes to."""
    cells = values(line, matched)
    number, name = tidy(cells.get("number", "")), tidy(cells.get("name", ""))
    person = past.people.get(people.key(number))
    try:
        if not number:
            raise Refusal("The worker number is missing.")
        if person is None:
            raise Refusal(
                "Nobody has the worker number %(number)s. Bring the roster first.",
                number=number[:40],
            )
        on = _day(cells, "on", past)
        said = _SAYS[kind](cells, person, on, past)
    except Refusal as refusal:
        return Tried(line.number, "bad", number[:40], name[:80],
                     _bad(kind, line, matched, refusal))  # fmt: skip
    # By the number of the line, so that it is the same line after two records were joined.
    content = [kind, people.key(number), on.isoformat(), cells_of(kind, cells)]
    said |= {"on": on.isoformat(), "once": _key(content)}
    if name and name_key(name) != name_key(person.name):
        doubts = [{"id": person.id, "number": person.number, "name": person.name,
                   "worksites": [], "left": ""}]  # fmt: skip
        said["doubts"] = doubts
        said["cases"] = {f"same:{person.id}": {}}
        return Tried(line.number, "doubtful", number, name[:80], said, "other-name", person.id)
    return Tried(line.number, "new", number, person.name, said, person_id=person.id)


def cells_of(kind: str, cells: Mapping[str, str]) -> dict[str, str]:
    """Return what tells a line from another, whatever its columns are called."""
    return {slug: tidy(text) for slug, text in sorted(cells.items()) if slug != "name" and text}


def _key(content: list) -> str:
    text = json.dumps(content, ensure_ascii=False, sort_keys=True)
    return f"brought-in:{sha256(text.encode()).hexdigest()}"


def _bad(kind: str, line: Line, matched: Mapping[str, int], refusal: Refusal) -> dict:
    # Only what was asked for is kept: another column may hold what must not be here.
    asked = set(matched.values())
    cells = [cell if at in asked else "" for at, cell in enumerate(line.cells)]
    return {"faults": [refusal.keep()], "cells": cells}


def _day(cells: Mapping[str, str], slug: str, past: Past) -> date:
    if not cells.get(slug):
        raise Refusal("The day is missing.")
    found = reading_cells.day(cells[slug], past.choices.days)
    if found > past.today:
        raise Refusal("The day lies in the future. Give the day on which it was done.")
    return found


def _medical(cells: Mapping[str, str], person: Known, on: date, past: Past) -> dict:
    """Return a determination, (e)(6)(i)(A): three words and two days, and never anything else."""
    outcome = reading_cells.outcome(cells.get("outcome", ""))
    limit = reading_cells.limit(cells.get("limit", ""))
    if outcome == "limits":
        limit = limit or "as_written"
    elif limit:
        raise Refusal("A limit belongs to cleared with limits, and to nothing else.")
    until = cells.get("until", "")
    if until:
        until = reading_cells.day(until, past.choices.days).isoformat()
        if until < on.isoformat():
            raise Refusal("The last day must not be before the day of the recommendation.")
    body = {"outcome": outcome, "limit": limit, "until": until}
    return {"entries": [{"kind": "medical", "body": body}]}


def _fit_test(cells: Mapping[str, str], person: Known, on: date, past: Past) -> dict:
    """Return a fit test with all that (m)(2)(i) asks."""
    protocol = fit_test_protocols.get(reading_cells.protocol(cells.get("protocol", "")))
    made = {part: tidy(cells.get(part, ""))[:60] for part in ("make", "model", "style", "size")}
    if not all(made.values()):
        raise Refusal(
            "A fit test needs make, model, style and size: it holds for exactly these."
        )
    row = respirator_classes.get(_class_of(cells, person, made))
    if not row.tight:
        raise Refusal("A loose-fitting respirator has no seal, so it takes no fit test.")
    passed = reading_cells.passed(cells.get("passed", ""))
    factor = cells.get("fit_factor", "")
    kept = tidy(cells.get("recording", ""))[: recording.LINE]
    if protocol.kind == "quantitative":
        by_factor = _passes(factor, row.facepiece == "full")
        if not kept or (passed is not None and passed != by_factor):
            raise Refusal(
                "A quantitative test needs its fit factor and where its recording is kept; its "
                "result is that of the factor."
            )
        passed, factor = by_factor, format(_number(factor), "g")
    elif passed is None or factor:
        raise Refusal("A qualitative test has pass or fail, and no fit factor.")
    body = {
        "protocol": protocol.slug, "test_kind": protocol.kind, **made, "class": row.slug,
        "passed": passed, "fit_factor": factor, "recording": kept,
    }  # fmt: skip
    return {"entries": [{"kind": "fit-test", "body": body}]}


def _class_of(cells: Mapping[str, str], person: Known, made: Mapping[str, str]) -> str:
    """Return the class of the respirator: as the line says, or of the one that the person has."""
    if cells.get("class"):
        return reading_cells.respirator_class(cells["class"])
    wanted = tuple(people.key(text) for text in made.values())
    has = {one.what[0] for one in person.worn
           if tuple(people.key(part) for part in one.what[2:6]) == wanted}  # fmt: skip
    if len(has) != 1:
        raise Refusal(
            "The class of the respirator is missing, and the person has none of this make, "
            "model, style and size."
        )
    return has.pop()


def _number(text: str) -> float:
    try:
        return float(text.replace(",", ""))
    except ValueError:
        raise Refusal("%(said)s is no fit factor. Write it as 2500.", said=text) from None


def _passes(factor: str, full: bool) -> bool:
    if not factor:
        raise Refusal(
            "A quantitative test needs its fit factor and where its recording is kept.",
        )
    try:
        return fit_test_passes(_number(factor), "full" if full else "half")
    except CalculationFault:
        raise Refusal("%(said)s is no fit factor. Write it as 2500.", said=factor) from None


def _training(cells: Mapping[str, str], person: Known, on: date, past: Past) -> dict:
    """Return training that was given before: as a whole where nothing is lacking, else history."""
    if person.number == past.by:
        raise Refusal("Nobody can bring in their own training. Ask another coordinator.")
    elements = reading_cells.elements(cells.get("elements", ""))
    classes = reading_cells.respirator_classes_of(cells.get("respirators", ""))
    trainer = _who(cells.get("trainer", ""), cells.get("qualification", ""))
    watcher = _who(cells.get("watched_by", ""), "")
    watched_on = _day(cells, "watched_on", past) if cells.get("watched_on") else on
    lesson = tidy(cells.get("lesson", ""))[: recording.LINE]
    lacks = {
        "trainer": not trainer["name"],
        "elements": len(elements) < len(training_elements.seven()),
        "respirators": not classes,
        "watched_by": not watcher["name"],
        # Practice is to be watched with the equipment worn, in the trainer's presence: OSHA's
        # letter of 11 July 2019. A film of oneself is none.
        "watched_how": not reading_cells.in_person(cells.get("watched_how", "")),
        "lesson": bool(lesson) and not _whole(lesson),
        "older": not (credit.within_a_year(on, past.today)
                      and credit.within_a_year(watched_on, past.today)),
        "trained-here": not past.trained_here.isdisjoint(person.numbers),
        # Elements (i) to (v) are about the respirator that is worn, (k)(5)(i).
        "other-respirator": not {one.what[0] for one in person.worn if one.what[1] != "voluntary"}
        <= set(classes),
    }  # fmt: skip
    lacking = [why for why in LACKS if lacks[why]]
    if lacking:
        body = {
            "lesson": lesson, "trainer": trainer, "elements": elements, "trained_with": classes,
            "watched_by": watcher, "watched_on": watched_on.isoformat() if watcher["name"] else "",
            "lacks": lacking,
        }  # fmt: skip
        return {"entries": [{"kind": HISTORY, "body": body}], "lacks": lacking}
    named = [{"class": slug, "make": "", "model": "", "style": "", "size": "", "filters": ""}
             for slug in classes]  # fmt: skip
    practices = [
        {"kind": "practice", "on": watched_on.isoformat(),
         "body": {"acts": [], "passed": True, "respirator": one, "watched_by": watcher}}
        for one in named
    ]  # fmt: skip
    whole = {
        "lessons": [], "elements": elements, "languages": [], "modes": [record.EARLIER],
        "reason": "first", "practice_entries": [], "lesson_entries": [], "watched_by": watcher,
        "trainer": trainer, "respirators": named, "due_again": next_due(on).isoformat(),
        "worksite_part": [],
    }  # fmt: skip
    return {"entries": [*practices, {"kind": "training", "body": whole}], "lacks": []}


def _whole(lesson: str) -> bool:
    """Say whether a title is that of training as a whole, as our own export calls it."""
    return name_key(lesson) in {
        name_key("training as a whole"), name_key("capacitación completa"),
        name_key("whole training"), name_key("all"),
    }  # fmt: skip


def _who(name: str, qualification: str) -> dict[str, str]:
    return {"number": "", "name": tidy(name)[:80], "qualification": tidy(qualification)[:120]}


_SAYS: dict[str, Callable[..., dict]] = {
    "training": _training,
    "fit-tests": _fit_test,
    "medical": _medical,
}
