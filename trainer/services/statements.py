"""The record as xAPI statements: the data model of 1.0.3, which IEEE 9274.1.1 took up.

An entry becomes a statement whose id is made of the entry's hash, so that it has the same one each
time and a store that has it already knows it. A correction voids the statement of what it corrects
(2.3.2) and, where it puts something in its place, makes it anew. A statement, once made, is never
made otherwise: nothing in it depends on what came later. Determinations are never in it.

What is no experience of learning (somebody left, a body was let go) has no statement.
"""

import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from urllib.parse import quote
from uuid import NAMESPACE_URL, UUID, uuid5
from zoneinfo import ZoneInfo

import msgspec
from sqlmodel import Session

from trainer import lessons
from trainer.reference import fit_test_protocols, respirator_classes
from trainer.services import exporting
from trainer.services.columns import Beside, Said, teacher
from trainer.services.exporting import Choice
from trainer.store import record
from trainer.store.record import Taken
from trainer.words import Words, same

Statement = dict[str, Any]

VERBS = {
    "completed": ("http://adlnet.gov/expapi/verbs/completed", Words("completed", "completó")),
    "passed": ("http://adlnet.gov/expapi/verbs/passed", Words("passed", "aprobó")),
    "failed": ("http://adlnet.gov/expapi/verbs/failed", Words("failed", "no aprobó")),
    # Data, 2.3.2: the one verb that the standard itself keeps for a use.
    "voided": ("http://adlnet.gov/expapi/verbs/voided", Words("voided", "anuló")),
    # "Requirements were met by means other than completing the activity": cmi5 vocabulary.
    "waived": ("https://w3id.org/xapi/adl/verbs/waived", Words("waived", "convalidó")),
}
"""Each verb with its IRI and how it reads: people share verbs, so none is of our own making."""

_TYPE = "http://adlnet.gov/expapi/activities/"
COURSE = Words("Respirator training as a whole", "Capacitación completa en respiradores")
PRACTICE = Words("Practice with {what}", "Práctica con {what}")
FIT_TEST = Words("Fit test: {what}", "Prueba de ajuste: {what}")
APPENDIX_D = Words(
    "Information for voluntary use (Appendix D)", "Información para el uso voluntario (Apéndice D)"
)
EARLIER = Words("Earlier training elsewhere", "Capacitación anterior en otro lugar")

_read = msgspec.json.Decoder().decode
_write = msgspec.json.Encoder().encode


def lines(db: Session, choice: Choice, base: str, now: datetime) -> Iterator[str]:
    """Give the statements as one JSON array, in pieces of some lines; `base` as in `of_entry`."""
    return exporting.in_array(
        _write(statement).decode() for statement in statements(db, choice, base, now)
    )


def statements(db: Session, choice: Choice, base: str, now: datetime) -> Iterator[Statement]:
    """Give the statements of what is taken out, in the order of the record."""
    # Whoever may see determinations sees them nowhere here either.
    plain = Choice(choice.first, choice.last, choice.what, choice.worksite, choice.numbers)
    for entry, said, beside in exporting.facts(db, plain):
        if beside.corrects is not None:
            voided = voiding(db, entry, said, beside, base, now)
            if voided:
                yield voided
        if not beside.struck:
            made = of_entry(entry, said, base, now)
            if made:
                yield made


def of_entry(entry: Taken, said: Said, base: str, now: datetime) -> Statement | None:
    """Return the statement of an entry; None where it is of no learning, or its body is erased.

    said  what the entry says; of a correction what it puts in the place of another
    base  address under which everything of ours is named: `iri_base` of the settings
    now   nothing is said to have happened after it
    """
    kind = said.get("kind", entry.kind)
    if not said or kind not in _DESCRIBED:
        return None
    verb, activity, result = _DESCRIBED[kind](said, base)
    statement: Statement = {
        "id": str(statement_id(base, entry.hash)),
        "actor": agent(base, said["person_number"], said.get("name", "")),
        "verb": _verb(verb),
        "object": {"objectType": "Activity"} | activity,
    }
    if result:
        statement["result"] = result
    context: Statement = {"platform": "Donning Room"}
    if said.get("language"):
        context["language"] = said["language"]
    by = teacher(said)
    if by and by["number"] != said["person_number"]:
        context["instructor"] = agent(base, by["number"], by["name"])
    if kind != "training":
        context["contextActivities"] = {"parent": [{"id": f"{base}training"}]}
    context["extensions"] = _extensions(entry, said, base)
    return statement | {
        "context": context,
        "timestamp": _moment(_when(entry, said), entry, now),
    }


def voiding(
    db: Session, entry: Taken, said: Said, beside: Beside, base: str, now: datetime
) -> Statement | None:
    """Return the statement that voids the one in whose place a correction puts something: 2.3.2.

    None where what is corrected never had a statement of its own: it is of no learning, or it only
    struck another.
    """
    # Of an entry that was corrected before, that is the statement of the earlier correction.
    before = beside.instead_of or beside.corrects
    target = next(iter(record.numbered(db, [before])), None)
    if target is None or _kind_of(target) not in _DESCRIBED:
        return None
    by = said.get("recorded_by") or {"number": entry.person_number, "name": ""}
    return {
        "id": str(statement_id(base, f"{entry.hash}/voiding")),
        "actor": agent(base, by["number"], by["name"]),
        "verb": _verb("voided"),
        "object": {"objectType": "StatementRef", "id": str(statement_id(base, target.hash))},
        "context": {
            "extensions": {
                f"{base}extensions/reason": beside.why,
                f"{base}extensions/entry-number": entry.number,
                f"{base}extensions/entry-hash": entry.hash,
            }
        },
        "timestamp": _moment(datetime.fromisoformat(entry.recorded_at), entry, now),
    }


def _kind_of(entry: Taken) -> str:
    """Return the kind of entry that an entry tells of; "" of one that only strikes another."""
    if entry.kind != "correction" or not entry.body:
        return entry.kind
    said = _read(entry.body)["said"]
    return said["kind"] if said else ""


def statement_id(base: str, entry_hash: str) -> UUID:
    """Return the id of an entry's statement: the same whenever and wherever it is made."""
    return uuid5(NAMESPACE_URL, f"{base}entries/{entry_hash}")


def agent(base: str, number: str, name: str) -> Statement:
    """Return a person by their account here: worker number, and never an address for mail."""
    found = {"objectType": "Agent", "account": {"homePage": base, "name": number}}
    return found | ({"name": name} if name else {})


def _verb(name: str) -> Statement:
    iri, words = VERBS[name]
    return {"id": iri, "display": words.freeze()}


def _activity(base: str, path: str, name: Words, kind: str, text: Words | None = None) -> Statement:
    definition = {"name": name.freeze(), "type": f"{_TYPE}{kind}"}
    if text:
        definition["description"] = text.freeze()
    return {"id": f"{base}{path}", "definition": definition}


Described = tuple[str, Statement, Statement]
"""Verb, object and result."""


def _lesson(said: Said, base: str) -> Described:
    ours = lessons.load().get(said["lesson"])
    if ours:
        name, text = _both(ours.title), _both(ours.summary)
    else:
        name, text = same(said.get("title") or said["lesson"]), None
    # What was brought in from elsewhere may say nothing of marks.
    right = said.get("right", 0) + said.get("must_right", 0)
    asked = said.get("asked", 0) + said.get("must_asked", 0)
    result: Statement = {"success": True, "completion": True}
    if asked:
        # A score has a most that is above its least: 2.4.5.1.
        score = {"scaled": round(right / asked, 4), "raw": right, "min": 0, "max": asked}
        result = {"score": score} | result
    path = f"lessons/{quote(said['lesson'], safe='')}"
    return "passed", _activity(base, path, name, "lesson", text), result | _took(said)


def _practice(said: Said, base: str) -> Described:
    passed = bool(said.get("passed"))
    slug = said.get("respirator", {}).get("class", "other")
    activity = _activity(
        base, f"practice/{quote(slug, safe='')}", PRACTICE.filled(what=_class(slug)), "performance"
    )
    result = {"success": passed, "completion": passed}
    return "passed" if passed else "failed", activity, result | _took(said)


def _training(said: Said, base: str) -> Described:
    activity = _activity(base, "training", COURSE, "course")
    return "completed", activity, {"success": True, "completion": True} | _took(said)


def _credit(said: Said, base: str) -> Described:
    return "waived", _activity(base, "earlier-training", EARLIER, "course"), {"completion": True}


def _fit_test(said: Said, base: str) -> Described:
    passed = bool(said["passed"])
    row = fit_test_protocols.get(said["protocol"])
    what = _both(row.name) if row else same(said["protocol"])
    path = f"fit-tests/{quote(said['protocol'], safe='')}"
    activity = _activity(base, path, FIT_TEST.filled(what=what), "assessment")
    result: Statement = {"success": passed, "completion": True}
    if said.get("fit_factor"):
        result = {"score": {"raw": float(said["fit_factor"]), "min": 0}} | result
    return "passed" if passed else "failed", activity, result


def _appendix_d(_said: Said, base: str) -> Described:
    return "completed", _activity(base, "appendix-d", APPENDIX_D, "media"), {"completion": True}


_DESCRIBED: dict[str, Callable[[Said, str], Described]] = {
    "lesson": _lesson,
    "practice": _practice,
    "training": _training,
    "credit": _credit,
    "fit-test": _fit_test,
    "appendix-d": _appendix_d,
}


def _class(slug: str) -> Words:
    row = respirator_classes.get(slug)
    return _both(row.name) if row else same(slug)


def _both(text: Callable[[str], str]) -> Words:
    return Words(text("en"), text("es"))


def _extensions(entry: Taken, said: Said, base: str) -> Statement:
    """Return what has no place of its own in a statement, under our own names: 4.1."""
    given = {
        "entry-number": entry.number,
        "entry-hash": entry.hash,
        "entry-kind": said.get("kind", entry.kind),
        "happened-on": said.get("happened_on", entry.happened_on),
        "worksite": said.get("worksite", entry.worksite),
        "rule-set": said.get("rule_set", ""),
        "content-hash": said.get("version", ""),
        "elements": said.get("elements", []),
        "mode": said.get("mode", "") or "; ".join(said.get("modes", [])),
        "reason": said.get("reason", ""),
        "due-again": said.get("due_again", ""),
        "questions-asked": said.get("questions_asked"),
        "questions-answered": said.get("questions_answered"),
        "respirators": said.get("respirators")
        or ([said["respirator"]] if isinstance(said.get("respirator"), dict) else []),
    }
    if said.get("kind", entry.kind) == "fit-test":
        kept = ("make", "model", "style", "size", "class", "test_kind", "recording")
        given |= {f"fit-test-{key.replace('_', '-')}": said.get(key, "") for key in kept}
    # No value is null, and nothing is said where there is nothing to say: 2.2.
    nothing = (None, "", [])
    return {f"{base}extensions/{key}": said for key, said in given.items() if said not in nothing}


def _took(said: Said) -> Statement:
    """Return how long it took, ISO 8601 to a hundredth of a second: 4.6."""
    try:
        began = datetime.fromisoformat(said["started"])
        took = datetime.fromisoformat(said["completed"]) - began
    except (KeyError, ValueError):
        return {}
    if took < timedelta():
        return {}
    return {"duration": duration(took)}


def duration(took: timedelta) -> str:
    """Return a length of time in hours, minutes and seconds.

    >>> duration(timedelta(hours=30, minutes=5, seconds=1.239)), duration(timedelta())
    ('PT30H5M1.24S', 'PT0S')
    """
    hundredths = round(took / timedelta(milliseconds=10))
    minutes, rest = divmod(hundredths, 6000)
    hours, minutes = divmod(minutes, 60)
    parts = [f"{hours}H" if hours else "", f"{minutes}M" if minutes else ""]
    seconds = f"{rest / 100:.2f}".rstrip("0").rstrip(".")
    return "PT" + "".join(parts) + (f"{seconds}S" if rest or not any(parts) else "")


def _when(entry: Taken, said: Said) -> datetime:
    """Return when it was; of what has only a day, noon of it at the worksite."""
    if re.fullmatch(r"\d{4}-\d\d-\d\dT.+", said.get("completed", "")):
        return datetime.fromisoformat(said["completed"])
    day = said.get("counts_from") or said.get("happened_on") or entry.happened_on
    zone = ZoneInfo(said["zone"]) if said.get("zone") else UTC
    return datetime.combine(date.fromisoformat(day), time(12), zone)


def _moment(when: datetime, entry: Taken, now: datetime) -> str:
    """Return a timestamp with its zone, never one to come: 2.4.7 and 4.5."""
    recorded = datetime.fromisoformat(entry.recorded_at)
    when = min(when.replace(tzinfo=when.tzinfo or UTC), recorded, now)
    return when.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
