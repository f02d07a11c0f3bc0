"""Putting lines of a past record into the record, and striking them again."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import select as columns_of
from sqlmodel import Session, select

from trainer.services import recording, standing
from trainer.services.refusal import Refusal
from trainer.services.roster import Tried
from trainer.services.scribe import Scribe
from trainer.store import imports, people, record
from trainer.store.engine import Store
from trainer.store.record import Deed
from trainer.store.tables import Entry, ImportRun, Person, Worksite

TRAINED = ("lesson", "credit", "training", "practice")
AT_ONCE = 25
"""So many people are shown anew in one transaction: a fraction of a second."""


@dataclass(frozen=True)
class PastAct:
    """What one line of a past record puts into the record."""

    line: int
    number: str
    person_id: int
    said: dict


def trained_here(db: Session) -> frozenset[str]:
    """Return the numbers of those who have entries of training, wherever it was given."""
    query = columns_of(Entry.person_number).where(Entry.kind.in_(TRAINED)).distinct()
    return frozenset(db.execute(query).scalars())


def told_apart(db: Session, lines: Sequence[Tried]) -> list[Tried]:
    """Return the lines, those that the record holds already marked as such, and what stands twice.

    A line whose entry was struck is new again, under a key of its own.
    """
    struck = set(standing.struck(db))
    there = _of_keys(db, [one.said["once"] for one in lines if "once" in one.said])
    first: dict[str, int] = {}
    found = []
    for one in lines:
        key = one.said.get("once")
        if key is None:
            found.append(one)
            continue
        twin = first.setdefault(key, one.line)
        turns = there.get(key, {})
        if twin != one.line:
            text = "The same line stands in the file already, as line %(line)s."
            said = {"faults": [{"text": text, "values": {"line": twin}}], "cells": []}
            found.append(replace(one, state="bad", doubt="", said=said))
        elif any(number not in struck for number in turns.values()):
            found.append(replace(one, state="same", doubt="", said={}))
        else:
            found.append(replace(one, said=one.said | {"turn": len(turns)}))
    return found


def do(db: Session, by: Scribe, run: ImportRun, acts: Sequence[PastAct]) -> dict:
    """Put what the lines say into the record and return how much that was; inside `writing()`.

    Errors: Refusal where somebody of the lines is gone, or was trained here meanwhile.
    """
    known = {one.id: one for one in imports.everybody(db)}
    trained = trained_here(db)
    places = {one.id: one for one in people.all_worksites(db)}
    deeds = []
    for act in acts:
        person = known.get(act.person_id)
        whole = any(one["kind"] == "training" for one in act.said["entries"])
        if person is None or (whole and not trained.isdisjoint(person.numbers)):
            raise Refusal(
                "Since the lines were tried, something has changed that they touch: %(who)s. "
                "Nothing was done. Try the lines again.",
                who=act.number,
            )
        home = next((places[place] for place, _ in person.worksites), None)
        deeds += _deeds(by, run, act, person, home)
    numbers = record.append_many(db, deeds, by.now)
    return {"new": len(acts), "entries": len(numbers), "changed": 0, "back": 0, "left": 0,
            "history": sum(bool(act.said.get("lacks")) for act in acts),
            "day": "", "last_entry": imports.last_entry(db)}  # fmt: skip


def undo(db: Session, by: Scribe, run: ImportRun, acts: Sequence[PastAct]) -> dict:
    """Strike the entries of a run by corrections; they stay to be seen. Inside `writing()`.

    What leans on them is struck with them, as by `recording.correct`.
    """
    last = standing.newest_corrections(record.corrections(db))
    onces = [once for act in acts for once in _onces(act)]
    deeds, gone = [], set()
    for some in imports.chunks(onces):
        query = columns_of(
            Entry.number, Entry.kind, Entry.person_number, Entry.worksite, Entry.body
        ).where(Entry.once.in_(some))
        for row in db.execute(query.order_by(Entry.number)):
            correction, said = last.get(row.number, (None, {"said": {}}))
            # Whose body was let go, there is nothing to strike.
            if said["said"] is not None and row.body:
                deeds.append(_strike(by, run, row, correction.number if correction else None))
                gone.add(row.number)
    record.append_many(db, deeds, by.now)
    _strike_what_leans(db, by, run, {act.person_id for act in acts}, gone)
    return {"struck": len(deeds), "deleted": 0, "kept": 0, "back": 0}


def _strike_what_leans(
    db: Session, by: Scribe, run: ImportRun, persons: Iterable[int], gone: set[int]
) -> None:
    """Strike what was made since with the struck entries, and write the tag board anew."""
    for some in imports.chunks(_going_on(db, persons)):
        there = list(db.exec(select(Person).where(Person.id.in_(some)).order_by(Person.id)))
        numbers = people.numbers_of(db, there)
        every = [number for theirs in numbers.values() for number in theirs]
        trained = record.of_people(db, every, TRAINED)
        for person in there:
            rows = [row for one in numbers[person.id] for row in trained.get(one, ())]
            if any(row.number not in gone for row in rows):
                mine = {row.number for row in rows} & gone
                recording.take_with_them(db, by, person, mine, f"import:{run.id}:undo")
                recording.look_again(db, by, person)
            else:
                standing.refresh(db, person, standing.today(db, person, by.now, by.zone))


def _going_on(db: Session, persons: Iterable[int]) -> list[int]:
    """Return the ids of these people; of a record that was merged since, the one that goes on."""
    into = imports.merged(db)
    return sorted({into.get(who, who) for who in persons})


def _deeds(by: Scribe, run: ImportRun, act: PastAct, person, home: Worksite | None) -> list[Deed]:
    common = {
        "name": person.name,
        "zone": home.time_zone if home else by.zone.key,
        "rule_set": home.rule_set if home else "federal",
        "recorded_by": {"number": by.person.number, "name": by.person.name},
        "brought_in": {"run": run.id, "line": act.line, "source": run.file_name},
    }
    entries = act.said["entries"]
    made = []
    for one, once in zip(entries, _onces(act), strict=True):
        body = common | one["body"]
        if one["kind"] == "training":
            # The practices stand right before it.
            body["practice_entries"] = [at - len(entries) + 1 for at in range(len(entries) - 1)]
        made.append(Deed(
            once=once, kind=one["kind"], person_number=person.number,
            worksite=home.name if home else "",
            happened_on=date.fromisoformat(one.get("on", act.said["on"])), body=body,
        ))  # fmt: skip
    return made


def _onces(act: PastAct) -> list[str]:
    """Return the key of each entry of a line: from its content, so that a file brought twice is
    one; a line that was struck and comes again has a further turn."""
    turn = act.said["turn"]
    return [f"{act.said['once']}:{turn}:{at}" for at in range(len(act.said["entries"]))]


def _of_keys(db: Session, keys: Iterable[str]) -> dict[str, dict[int, int]]:
    """Return by key of a line the number of the first entry of each turn."""
    found: dict[str, dict[int, int]] = {}
    left, turn = list(dict.fromkeys(keys)), 0
    while left:
        there = {}
        for some in imports.chunks(f"{key}:{turn}:0" for key in left):
            query = columns_of(Entry.once, Entry.number).where(Entry.once.in_(some))
            there |= dict(db.execute(query).all())
        left = [key for key in left if f"{key}:{turn}:0" in there]
        for key in left:
            found.setdefault(key, {})[turn] = there[f"{key}:{turn}:0"]
        turn += 1
    return found


def _strike(by: Scribe, run: ImportRun, row, instead_of: int | None) -> Deed:
    said = record.body(row)
    body = {
        "name": said["name"], "zone": said["zone"], "rule_set": said["rule_set"],
        "recorded_by": {"number": by.person.number, "name": by.person.name},
        "corrects": row.number, "corrected_kind": row.kind, "instead_of": instead_of,
        "why": "other", "said": None,
    }  # fmt: skip
    medical = row.kind == "medical"
    if not medical:
        body["note"] = f"import {run.id} taken back"
    return Deed(
        once=f"import:{run.id}:undo:{row.number}",
        kind="medical-correction" if medical else "correction",
        person_number=row.person_number,
        worksite=row.worksite,
        happened_on=by.now.astimezone(by.zone).date(),
        body=body,
    )


def show(
    store: Store, by: Scribe, acts: Sequence[PastAct], progress: Callable[[int, int], None]
) -> None:
    """Write anew what the tag board shows of these people, some at a time.

    After the entries and not with them: working out where thousands stand would hold up every
    writer for minutes. Begun anew it comes out the same.
    """
    with store.reading() as db:
        persons = _going_on(db, {act.person_id for act in acts})
    for at in range(0, len(persons), AT_ONCE):
        progress(at, len(persons))
        with store.writing() as db:
            for who in persons[at : at + AT_ONCE]:
                person = db.get(Person, who)
                if person:
                    standing.refresh(db, person, standing.today(db, person, by.now, by.zone))
