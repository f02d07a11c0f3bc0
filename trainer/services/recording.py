"""What goes into the record, each with what an inspector would ask for.

Every function works inside `writing()`, appends one entry and writes the tag board anew.
`once` names the deed (a form's own key): sent twice, it is one entry.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_DOWN, Context
from zoneinfo import ZoneInfo

from sqlmodel import Session, func, select

from trainer import lessons
from trainer.calculations import credit
from trainer.calculations.faults import CalculationFault
from trainer.calculations.fit import fit_test_passes, overall_fit_factor
from trainer.calculations.periods import next_due
from trainer.reference import fit_test_protocols, respirator_classes, training_elements
from trainer.services import asking, curriculum, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people, record
from trainer.store.tables import (
    Assignment,
    Entry,
    Person,
    Practice,
    PracticeAct,
    Respirator,
    Sitting,
)

OUTCOMES = ("cleared", "limits", "not")
LIMITS = ("powered_only", "as_written")
SHOWN, NOT_COVERED = ("asked", "sitting"), "no"
"""How a person shows knowledge of what earlier training covered, (k)(1) and (k)(4): asked in
person and known, or in the closing questions of the lessons."""

LINE = 160
TYPED = ("medical", "fit-test", "appendix-d")
"""Kinds of entry that can be replaced by what is right; the others can only be struck."""

WHY_STRUCK = ("wrong-person", "entered-twice", "not-done", "wrong-date", "wrong-value", "other")
WHY_REPLACED = ("wrong-date", "wrong-value", "other")
FOLLOWS = "follows"
"""Why an entry is struck that leans on one that was struck."""


def record_medical(
    db: Session,
    by: Scribe,
    person: Person,
    *,
    once: str,
    on: date,
    outcome: str,
    limit: str = "",
    until: date | None = None,
) -> Entry:
    """Record what the written recommendation allows, (e)(6)(i)(A); no medical detail, no free text.

    Errors: Refusal as in `medical_said`.
    """
    said = medical_said(db, by, person, on=on, outcome=outcome, limit=limit, until=until)
    return _append(db, by, person, once=once, kind="medical", on=on, body=said)


def medical_said(
    db: Session,
    by: Scribe,
    person: Person,
    *,
    on: date,
    outcome: str,
    limit: str = "",
    until: date | None = None,
) -> dict[str, object]:
    """Return what an entry of a determination says.

    Errors: Refusal for an unknown outcome or limit, a day to come, an end before its beginning.
    """
    if outcome not in OUTCOMES or (outcome == "limits") != (limit in LIMITS):
        raise Refusal("Choose cleared, cleared with limits and which, or not cleared.")
    _not_to_come(db, by, person, on)
    if until and until < on:
        raise Refusal(
            "The last day must not be before the day of the recommendation.", field="until"
        )
    return {
        "happened_on": on.isoformat(),
        "outcome": outcome,
        "limit": limit,
        "until": until.isoformat() if until else "",
    }


def record_appendix_d(db: Session, by: Scribe, person: Person, *, once: str, on: date) -> Entry:
    """Record that the information of Appendix D was given, (k)(6)."""
    said = appendix_d_said(db, by, person, on=on)
    return _append(db, by, person, once=once, kind="appendix-d", on=on, body=said)


def appendix_d_said(db: Session, by: Scribe, person: Person, *, on: date) -> dict[str, object]:
    """Return what an entry of Appendix D says. Errors: Refusal for a day to come."""
    _not_to_come(db, by, person, on)
    return {"happened_on": on.isoformat()}


def record_fit_test(
    db: Session,
    by: Scribe,
    person: Person,
    respirator: Respirator,
    *,
    once: str,
    on: date,
    protocol: str,
    passed: bool | None = None,
    fit_factor: float | None = None,
    recording: str = "",
    exercises: Sequence[float] = (),
) -> Entry:
    """Record a fit test with the fields of (m)(2)(i).

    passed      of a qualitative test; a quantitative one is judged by its fit factor, (f)(7)
    recording   where the strip chart or other recording of a quantitative test is kept
    exercises   the fit factors of its exercises, from which the overall one follows
    Errors: Refusal as in `fit_test_said`.
    """
    said = fit_test_said(
        db, by, person, respirator, on=on, protocol=protocol, passed=passed,
        fit_factor=fit_factor, recording=recording, exercises=exercises,
    )  # fmt: skip
    return _append(db, by, person, once=once, kind="fit-test", on=on, body=said)


def fit_test_said(
    db: Session,
    by: Scribe,
    person: Person,
    respirator: Respirator,
    *,
    on: date,
    protocol: str,
    passed: bool | None = None,
    fit_factor: float | None = None,
    recording: str = "",
    exercises: Sequence[float] = (),
) -> dict[str, object]:
    """Return what an entry of a fit test says; parameters as in `record_fit_test`.

    Errors: Refusal where a field is missing or does not belong to the kind of test.
    """
    _not_to_come(db, by, person, on)
    row = respirator_classes.get(respirator.class_slug)
    if not row.tight:
        raise Refusal("A loose-fitting respirator has no seal, so it takes no fit test.")
    if not all(standing.fits(respirator)):
        raise Refusal(
            "First give the respirator its make, model, style and size: "
            "a fit test holds for exactly these."
        )
    named = fit_test_protocols.get(protocol)
    if named is None:
        raise Refusal("Choose one of these.")
    kind = named.kind
    if kind == "quantitative":
        fit_factor = _overall(fit_factor, exercises)
        full = row.facepiece == "full"
        try:
            # What is no number (none typed, "nan", one below zero) is refused there.
            passed = fit_test_passes(fit_factor, "full" if full else "half")
        except CalculationFault:
            passed = None
        if passed is None or not recording.strip():
            raise Refusal(
                "A quantitative test needs its fit factor and where its recording is kept.",
                field="fit_factor",
            )
    elif passed is None or fit_factor is not None or exercises:
        raise Refusal("A qualitative test has pass or fail, and no fit factor.", field="passed")
    said = {
        "happened_on": on.isoformat(),
        "protocol": protocol,
        "test_kind": kind,
        "make": respirator.make,
        "model": respirator.model,
        "style": respirator.style,
        "size": respirator.size,
        "class": respirator.class_slug,
        "passed": passed,
        "fit_factor": "" if fit_factor is None else _factor(fit_factor),
        "recording": recording.strip(),
    }
    return said | ({"exercises": [_factor(one) for one in exercises]} if exercises else {})


def _overall(typed: float | None, exercises: Sequence[float]) -> float | None:
    """Return the overall fit factor: that of the exercises where they are given, else as typed."""
    if not exercises:
        return typed
    if typed is not None:
        raise Refusal(
            "Give the overall fit factor or the factors of the exercises, not both: "
            "the one follows from the other.",
            field="exercises",
        )
    try:
        return overall_fit_factor(list(exercises))
    except CalculationFault:
        raise Refusal(
            "Give the fit factor of each exercise as a number above zero, one a line.",
            field="exercises",
        ) from None


def _factor(value: float) -> str:
    """Return a fit factor as it goes into the record, never rounded up to a level it missed."""
    rounded = Context(prec=6, rounding=ROUND_DOWN).create_decimal(repr(float(value)))
    return format(rounded.normalize(), "f")


def tested_with(said: dict) -> Respirator:
    """Return the respirator that the entry of a fit test names, which nobody may have any more."""
    parts = {part: said[part] for part in ("make", "model", "style", "size")}
    return Respirator(class_slug=said["class"], **parts)


def before_medical(db: Session, person: Person, on: date) -> bool:
    """Say whether nothing in the record clears a person medically on the day of a fit test.

    The evaluation comes before the fit test, (e)(1). The test is no less a fact, so it is recorded
    all the same, by whoever says that they know.
    """
    found = [pair for pair in standing.History(db, person).of("medical")
             if pair[0].happened_on <= on]  # fmt: skip
    newest = max(found, key=lambda pair: (pair[0].happened_on, pair[0].number), default=None)
    return newest is None or newest[1]["outcome"] == "not"


def record_credit(
    db: Session,
    by: Scribe,
    person: Person,
    *,
    once: str,
    earlier_on: date,
    given_by: str,
    proof: str,
    trained_with: list[str],
    elements: dict[str, str],
) -> Entry:
    """Record credit for training that a new employee had elsewhere, (k)(4).

    earlier_on      the day of that training
    given_by        the employer or trainer who gave it
    proof           what was seen that shows it, such as a certificate; no medical detail
    trained_with    classes of the respirators that it was about
    elements        each of the seven with how knowledge of it was shown: SHOWN
    Practice and what is particular to a worksite are never credited.
    Errors: Refusal for training that is not within 12 months or adds nothing, for elements that
    it cannot count for, without proof, for oneself, or without a qualification named.
    """
    # A second click finds the entry, and nothing is judged anew.
    done = record.done(db, once)
    if done:
        return done
    if by.person.id == person.id:
        raise Refusal("Nobody can credit their own training. Ask another trainer.")
    if not by.person.qualification:
        raise Refusal("Ask the coordinator to enter your qualification: the record names it.")
    today = standing.today(db, person, by.now, by.zone)
    history = standing.History(db, person)
    _may_be_credited(history, today, earlier_on)
    given_by, proof = _line(given_by), _line(proof)
    if not given_by or not proof:
        raise Refusal("Say who gave the earlier training, and what you saw that shows it.")
    counted = _counted(db, person, trained_with, elements)
    new = {one: credit.Credited(earlier_on, elements[one] == "asked") for one in counted}
    before = [
        {
            one["element"]: credit.Credited(on, one["shown"] == "asked")
            for one in said["elements_shown"]
        }
        for on, said in history.credits(today)
    ]
    together = credit.joined([*before, new])
    covered = {
        lesson.slug: credit.covered(lesson.elements, together) for lesson in lessons.load().all
    }
    body = {
        "counts_from": earlier_on.isoformat(),
        "given_by": given_by,
        "proof": proof,
        "trained_with": sorted(trained_with),
        "elements": [one for one in counted if elements[one] == "asked"],
        "elements_shown": [{"element": one, "shown": elements[one]} for one in counted],
        "lessons": [
            {"lesson": slug, "counts_from": one.on.isoformat(), "shown": one.shown}
            for slug, one in covered.items()
            if one
        ],
        "seen_by": _who(by.person),
        "reason": "first",
        "due_again": next_due(earlier_on).isoformat(),
    }
    entry = _append(db, by, person, once=once, kind="credit", on=today, body=body)
    complete_training(db, by, person)
    return entry


def _may_be_credited(history: standing.History, today: date, earlier_on: date) -> None:
    if not credit.within_a_year(earlier_on, today):
        raise Refusal(
            "Earlier training counts only when it lies within the last 12 months: "
            "29 CFR 1910.134(k)(4). Older training is given anew."
        )
    ours = history.year_from()
    if ours and (today <= next_due(ours) or earlier_on <= history.last_training().happened_on):
        raise Refusal(
            "This person was trained here. Credit is for new people, 29 CFR 1910.134(k)(4); "
            "training here falls due again by itself."
        )


def _counted(
    db: Session, person: Person, trained_with: list[str], elements: dict[str, str]
) -> list[str]:
    """Return the elements that are credited, in the order of the standard."""
    seven = [row.paragraph for row in training_elements.seven()]
    if set(elements) != set(seven) or not set(elements.values()) <= {*SHOWN, NOT_COVERED}:
        raise Refusal("Mark each of the seven elements.")
    counted = [one for one in seven if elements[one] in SHOWN]
    if not counted:
        raise Refusal("Mark at least one element that the earlier training covered.")
    known = {row.slug for row in respirator_classes.recognised()}
    if not trained_with or not set(trained_with) <= known:
        raise Refusal("Choose which respirators the earlier training was about.")
    worn = {one.class_slug for one in people.respirators(db, person.id) if one.use != "voluntary"}
    if not set(counted) <= credit.may_be_credited(worn, trained_with):
        raise Refusal(
            "The earlier training was about another type of respirator. Elements (i) to (v) are "
            "about the respirator that is worn here, so they are to be taught: "
            "29 CFR 1910.134(k)(5)(i)."
        )
    return counted


def record_lesson(
    db: Session,
    by: Scribe,
    person: Person,
    sitting: Sitting,
    mode: str,
    beside: dict[str, object] | None = None,
) -> Entry:
    """Record that a lesson was completed by a passed sitting.

    by      the person, or the trainer who entered what was written on paper
    mode    how the lesson reached the person: read, heard, taught in person, read aloud, or
            record.EARLIER
    beside  who taught it in a room (`taught`); of one on paper `on_paper` and `written_on`
    """
    lesson = curriculum.as_taught(db, sitting.lesson, sitting.lesson_version, sitting.language)
    beside = beside or {}
    written_on = str(beside.get("written_on", ""))
    today = standing.today(db, person, by.now, by.zone)
    on = date.fromisoformat(written_on) if written_on else today
    if beside.get("on_paper"):
        beside = beside | {"entered_by": _who(by.person)}
    history = standing.History(db, person)
    reasons = {item.slug: item.reason for item in history.to_do(on)}
    earlier = history.earlier(sitting.lesson) if mode == record.EARLIER else None
    questions_asked, questions_answered = asking.in_round(db, person, sitting)
    body = {
        "lesson": sitting.lesson,
        "title": lesson.title,
        "version": sitting.lesson_version,
        "language": sitting.language,
        "mode": mode,
        "elements": list(lesson.elements),
        "started": record.moment(sitting.started_at),
        "completed": record.moment(by.now),
        "right": sitting.right,
        "asked": sitting.asked,
        "must_right": sitting.must_right,
        "must_asked": sitting.must_asked,
        "sittings": _closed_until(db, sitting),
        "questions_asked": questions_asked,
        "questions_answered": questions_answered,
        "reason": reasons.get(sitting.lesson, "other"),
        "worksite_part": lesson.part,
    }
    body |= beside
    if earlier:
        # Not taught here: its year runs from the earlier training, (k)(4).
        body |= {"counts_from": earlier.since.isoformat(), "credit_entry": earlier.entry.number}
    once = f"sitting:{sitting.id}"
    entry = _append(db, by, person, once=once, kind="lesson", on=on, body=body)
    complete_training(db, by, person)
    return entry


def _closed_until(db: Session, sitting: Sitting) -> int:
    """Return which sitting of the lesson this was, those printed and never used aside."""
    query = select(func.count()).where(
        Sitting.person_id == sitting.person_id,
        Sitting.lesson == sitting.lesson,
        Sitting.closed_at.is_not(None),
        Sitting.closed_at <= sitting.closed_at,
    )
    return db.exec(query).one()


def record_practice(
    db: Session,
    by: Scribe,
    person: Person,
    practice: Practice,
    respirator: Respirator,
    acts: list[PracticeAct],
) -> Entry:
    """Record a practice that a trainer watched, act by act, and whether all was seen unprompted."""
    on = standing.today(db, person, by.now, by.zone)
    body = {
        "acts": [{"act": act.act, "seen": act.seen} for act in acts],
        "passed": bool(practice.passed),
        "respirator": _named(respirator),
        "watched_by": _who(by.person),
        "started": record.moment(practice.started_at),
        "completed": record.moment(by.now),
    }
    once = f"practice:{practice.id}"
    entry = _append(db, by, person, once=once, kind="practice", on=on, body=body)
    if practice.passed:
        complete_training(db, by, person)
    elif standing.History(db, person).last_training():
        # Who was trained and does it no more as trained is retrained, (k)(5)(ii): by practice.
        record_retraining(
            db, by, person, once=f"retraining:{once}", reason="knowledge-or-use",
            seen=[act.act for act in acts if act.seen != "unprompted"], practice=entry.number,
        )  # fmt: skip
    return entry


def record_retraining(
    db: Session,
    by: Scribe,
    person: Person,
    *,
    once: str,
    reason: str,
    lessons: Sequence[str] = (),
    seen: Sequence[str] = (),
    due: date | None = None,
    assigned: Sequence[int] = (),
    practice: int | None = None,
) -> Entry:
    """Record that retraining was asked for, and why, (k)(5)(i)-(iii).

    lessons     those asked for; none where practice alone is to be watched again
    seen        acts not seen unprompted, or "answers" for wrong ones
    assigned    the assignments that ask for it
    practice    number of the entry of the practice that raised it
    """
    on = standing.today(db, person, by.now, by.zone)
    body = {
        "reason": reason,
        "lessons": list(lessons),
        "seen": list(seen),
        "due": due.isoformat() if due else "",
        "asked_by": _who(by.person),
        "assignments": list(assigned),
        "practice_entry": practice,
    }
    return _append(db, by, person, once=once, kind="retraining", on=on, body=body)


def record_left(db: Session, by: Scribe, person: Person, *, once: str, on: date) -> Entry:
    """Record that a person has left; what follows is done in `leaving`."""
    _not_to_come(db, by, person, on)
    body = {"left_on": on.isoformat()}
    return _append(db, by, person, once=once, kind="left", on=on, body=body)


def record_returned(db: Session, by: Scribe, person: Person, *, once: str, on: date) -> Entry:
    """Record that a person has come back; what follows is done in `leaving`."""
    _not_to_come(db, by, person, on)
    body = {"back_on": on.isoformat()}
    return _append(db, by, person, once=once, kind="returned", on=on, body=body)


def record_merged(db: Session, by: Scribe, person: Person, other: Person, *, once: str) -> Entry:
    """Record, with the person who goes on, that another record was of the same person."""
    on = standing.today(db, person, by.now, by.zone)
    body = {"other_number": other.number, "other_name": other.name}
    return _append(db, by, person, once=once, kind="merged", on=on, body=body)


def complete_training(db: Session, by: Scribe, person: Person) -> Entry | None:
    """Record training as a whole when all lessons are passed or credited and practice was watched.

    Where a part of it is credit, the year runs from the earlier training, (k)(4).
    Practice counts for the respirators that need it, each class of them, when it was watched
    since training was last complete, and within the year; it is never credited.
    The day is that of its last part: what is recorded later, because a lesson was taken off or a
    paper entered, lengthens no year.
    Returns None while something is missing.
    """
    today = standing.today(db, person, by.now, by.zone)
    history = standing.History(db, person)
    done = history.this_round(today)
    worn = [item for item in people.respirators(db, person.id) if item.use != "voluntary"]
    before = history.last_training()
    current = [
        found[0]
        for found in (history.practice(item.class_slug) for item in worn)
        if found
        and found[1]["passed"]
        and found[0].number > (before.number if before else 0)
        and today <= next_due(found[0].happened_on)
    ]
    if not worn or len(current) < len(worn) or len(done) < len(history.course):
        return None
    parts = [*(one.entry for one in done.values()), *current]
    on = max(entry.happened_on for entry in parts)
    # Lessons taught here count from that day, whatever that of each; earlier training never does.
    since = min([on, *(one.since for one in done.values() if "counts_from" in one.said)])
    said = [one.said for one in done.values()]
    taught = [one for one in done.values() if not one.credited]
    last = record.body(max(current, key=lambda entry: entry.number))
    body = {
        "lessons": [
            {"lesson": one.said["lesson"], "version": one.said["version"]} for one in taught
        ],
        "elements": sorted({element for one in said for element in one["elements"]}),
        "languages": sorted({one.said["language"] for one in taught}),
        "modes": sorted({one.get("mode", record.EARLIER) for one in said}),
        "started": min(one.get("started", record.moment(by.now)) for one in said),
        "completed": max(record.body(part).get("completed", part.recorded_at) for part in parts),
        "reason": _whole_reason(said),
        "practice_entries": [entry.number for entry in current],
        "lesson_entries": [one.entry.number for one in taught],
        "watched_by": last["watched_by"],
        "respirators": [_named(item) for item in worn],
        "due_again": next_due(since).isoformat(),
        "worksite_part": [
            {"lesson": one["lesson"], "title": one["title"], **one["worksite_part"]}
            for one in said
            if one.get("worksite_part")
        ],
    }
    if since < on:
        body |= _in_place(done, since)
    once = _not_struck(db, history, f"training:{person.number}:{max(p.number for p in parts)}")
    return _append(db, by, person, once=once, kind="training", on=on, body=body)


def _not_struck(db: Session, history: standing.History, once: str) -> str:
    """Return the name of a deed; a further one where the entry that it made was struck since."""
    last = standing.newest_corrections(history.entries)
    there = record.done(db, once)
    while there and there.number in last and last[there.number][1]["said"] is None:
        once = f"{once}:{last[there.number][0].number}"
        there = record.done(db, once)
    return once


def look_again(db: Session, by: Scribe, person: Person) -> None:
    """Write anew what the tag board shows, and training, where something else counts than did."""
    if complete_training(db, by, person) is None:
        standing.refresh(db, person, standing.today(db, person, by.now, by.zone))


def _in_place(done: dict[str, standing.Done], since: date) -> dict[str, object]:
    """Return what a training as a whole says of the earlier training that stands in for a part."""
    granted = {slug: one.entry.number for slug, one in done.items() if one.credited}
    shown = {one.said["credit_entry"] for one in done.values() if "credit_entry" in one.said}
    return {
        "counts_from": since.isoformat(),
        "credited": sorted(granted),
        "credit_entries": sorted({*granted.values(), *shown}),
    }


def _whole_reason(said: list[dict]) -> str:
    """Return the weightiest reason among the lessons: for cause, then yearly, then first."""
    reasons = [one["reason"] for one in said]
    for_cause = [reason for reason in reasons if reason in standing.FOR_CAUSE - {"other"}]
    return (
        for_cause or [reason for reason in reasons if reason in ("yearly", "first")] or reasons
    )[0]


@dataclass(frozen=True)
class Stands:
    """An entry with its newest correction, as a person saw it who corrects it.

    said    what it says now, None once struck
    """

    entry: Entry
    last: Entry | None
    said: dict | None

    @property
    def newest(self) -> int:
        """Return the number that a correction has to name: that of what was seen last."""
        return self.last.number if self.last else self.entry.number


@dataclass(frozen=True)
class Foreseen:
    """What a correction would bring about.

    said    what the entry would say, None struck
    struck  what leans on the entry and would be struck with it: number and kind
    made    what would be complete by it: number and kind
    """

    said: dict | None
    before: list[standing.Tag]
    after: list[standing.Tag]
    struck: list[tuple[int, str]]
    made: list[tuple[int, str]]


def as_it_stands(db: Session, number: int) -> Stands | None:
    """Return an entry as it stands now, by its number or that of a correction of it."""
    entry = record.get(db, number)
    if entry is None:
        return None
    if entry.kind in record.CORRECTIONS and entry.body is not None:
        entry = record.get(db, record.body(entry)["corrects"])
    last = standing.newest_corrections(record.corrections(db, [entry.person_number]))
    if entry.number not in last:
        return Stands(entry, None, record.body(entry) or None)
    correction, said = last[entry.number]
    return Stands(entry, correction, said["said"])


def correct(
    db: Session,
    by: Scribe,
    entry_number: int,
    *,
    once: str,
    why: str,
    note: str = "",
    said: dict | None = None,
) -> Entry:
    """Put a correction of an entry into the record and return it.

    entry_number    of the entry, or of its newest correction: of what the person saw last
    why             WHY_STRUCK or WHY_REPLACED
    note            a short line; never of a medical entry
    said            what the entry is to say: of its own fields those that change, as made by
                    `medical_said` and its like; None strikes it
    What leans on a struck entry is struck with it: training as a whole that names it, lessons that
    were taken with a struck credit. Retraining that was asked for in it is withdrawn.
    Errors: Refusal for a reason that does not go with it, an entry of a kind that cannot be
    corrected so, one that says this already, and one that was corrected since it was seen.
    """
    there = record.done(db, once)
    if there:
        return there
    now = as_it_stands(db, entry_number)
    if now is None:
        raise Refusal("There is no entry with this number.")
    _may_be_corrected(now, entry_number, why, note)
    person = people.by_number(db, now.entry.person_number)
    if person is None:
        raise Refusal("Nobody has the worker number of this entry any more.")
    whole = None if said is None else _whole(db, now, said)
    if now.said == whole:
        raise Refusal("The entry says this already: there is nothing to correct.")
    made = _put_correction(db, by, now, once, why, note, whole)
    if whole is None:
        _withdraw(db, by, now.entry)
        take_with_them(db, by, person, {now.entry.number}, once)
    look_again(db, by, person)
    # Less may count than before, with nothing new complete.
    standing.refresh(db, person, standing.today(db, person, by.now, by.zone))
    return made


def foresee(db: Session, by: Scribe, entry_number: int, **how: object) -> Foreseen:
    """Return what `correct` with the same parameters would bring about; nothing is kept.

    Errors: Refusal as in `correct`.
    """
    now = as_it_stands(db, entry_number)
    person = people.by_number(db, now.entry.person_number) if now else None
    today = standing.today(db, person, by.now, by.zone) if person else None
    before = standing.tags(db, person, today) if person else []
    with db.begin_nested() as trial:
        correction = correct(db, by, entry_number, **how)
        after = standing.tags(db, person, today)
        since = [
            entry
            for entry in record.of_person(db, people.numbers(db, person))
            if entry.number > correction.number
        ]
        struck = [record.body(one) for one in since if one.kind in record.CORRECTIONS]
        whole = record.body(correction)["said"]
        made = [(one.number, one.kind) for one in since if one.kind not in record.CORRECTIONS]
        trial.rollback()
    struck = [(one["corrects"], one["corrected_kind"]) for one in struck]
    return Foreseen(whole, before, after, struck, made)


def _may_be_corrected(now: Stands, seen: int, why: str, note: str) -> None:
    entry = now.entry
    if entry.kind == record.ERASURE or entry.kind in record.CORRECTIONS:
        raise Refusal("An entry of this kind is not corrected.")
    if entry.body is None:
        raise Refusal("What this entry said was let go: there is nothing to correct.")
    if seen != now.newest:
        raise Refusal(
            "Meanwhile entry %(newest)s has corrected this one. Look at what it says now.",
            newest=now.newest,
        )
    if why not in WHY_STRUCK:
        raise Refusal("Choose why it is corrected.", field="why")
    if entry.kind in record.MEDICAL_KINDS and note.strip():
        raise Refusal("A medical entry takes no note.", field="note")
    needs_note = why == "other" and now.said is not None
    if needs_note and not note.strip() and entry.kind not in record.MEDICAL_KINDS:
        raise Refusal("Say in a few words what was wrong.", field="note")
    if entry.kind == "training" and parts(record.body(entry)):
        raise Refusal(
            "Training as a whole follows from its parts. Strike the lesson, the practice or the "
            "credit that is wrong; the whole goes with it."
        )


def _whole(db: Session, now: Stands, said: dict) -> dict:
    """Return the whole body as it is to read.

    Errors: Refusal where a struck entry of no typed kind is to say anything but what it said.
    """
    original = record.body(now.entry)
    whole = (now.said or original) | said
    more = {"exercises"} if now.entry.kind == "fit-test" else set()
    if set(whole) - set(original) - more or not _is_a_determination(now.entry.kind, whole):
        raise Refusal("An entry of this kind does not say that.")
    if "exercises" in whole and "exercises" not in said and "fit_factor" in said:
        del whole["exercises"]  # the factor was typed anew, without them
    if now.entry.kind not in TYPED and whole != original:
        raise Refusal("An entry of this kind can be struck, and put back as it was.")
    if now.entry.kind == "lesson" and "credit_entry" in original:
        credit_ = as_it_stands(db, original["credit_entry"])
        if credit_ is None or credit_.said is None:
            raise Refusal(
                "This entry leans on entry %(credit)s, which is struck.",
                credit=original["credit_entry"],
            )
    return whole


def _is_a_determination(kind: str, whole: dict) -> bool:
    """Say whether a medical body holds what a recommendation allows and no word beside it."""
    if kind not in record.MEDICAL_KINDS:
        return True
    until = whole["until"]
    try:
        known_day = until == "" or bool(date.fromisoformat(until))
    except (TypeError, ValueError):
        return False
    limited = whole["outcome"] == "limits"
    return whole["outcome"] in OUTCOMES and known_day and (
        whole["limit"] in LIMITS if limited else whole["limit"] == ""
    )


def _put_correction(
    db: Session, by: Scribe, now: Stands, once: str, why: str, note: str, whole: dict | None
) -> Entry:
    entry = now.entry
    medical = entry.kind in record.MEDICAL_KINDS
    if whole is not None and now.said is not None and why not in WHY_REPLACED:
        raise Refusal("This reason strikes an entry; it does not change one.", field="why")
    original = record.body(entry)
    body = {
        "name": original.get("name", ""),
        "zone": original.get("zone", by.zone.key),
        "rule_set": original.get("rule_set", "federal"),
        "recorded_by": {"number": by.person.number, "name": by.person.name},
        "corrects": entry.number,
        "corrected_kind": entry.kind,
        "instead_of": now.last.number if now.last else None,
        "why": why,
        "said": whole,
    }
    return record.append(
        db,
        once=once,
        kind="medical-correction" if medical else "correction",
        person_number=entry.person_number,
        worksite=entry.worksite,
        happened_on=by.now.astimezone(ZoneInfo(body["zone"])).date(),
        body=body if medical else body | {"note": _line(note)},
        now=by.now,
    )


def take_with_them(
    db: Session, by: Scribe, person: Person, struck: Iterable[int], once: str
) -> None:
    """Strike what leans on struck entries of a person, in the order of the record.

    struck  their numbers; inside `writing()`, with `look_again` after it
    """
    gone = set(struck)
    for entry, said in standing.in_force(record.of_person(db, people.numbers(db, person))):
        if entry.number in gone or not gone & parts(said):
            continue
        gone.add(entry.number)
        now = as_it_stands(db, entry.number)
        _put_correction(db, by, now, f"{once}:{entry.number}", FOLLOWS, "", None)
        _withdraw(db, by, now.entry)


def parts(said: dict) -> set[int]:
    """Return the numbers of the entries that an entry leans on."""
    several = ("lesson_entries", "practice_entries", "credit_entries")
    named = [number for part in several for number in said.get(part, ())]
    return {*named, *filter(None, (said.get("credit_entry"), said.get("practice_entry")))}


def _withdraw(db: Session, by: Scribe, struck: Entry) -> None:
    """Withdraw the retraining that a struck entry asked for: it should never have been."""
    if struck.kind != "retraining":
        return
    for number in record.body(struck)["assignments"]:
        row = db.get(Assignment, number)
        if row and row.withdrawn_at is None:
            row.withdrawn_at = by.now
            db.add(row)
    db.flush()


def _append(
    db: Session, by: Scribe, person: Person, *, once: str, kind: str, on: date, body: dict
) -> Entry:
    worksite = standing.home_worksite(db, person)
    common = {
        "name": person.name,
        "zone": worksite.time_zone if worksite else by.zone.key,
        "rule_set": worksite.rule_set if worksite else "federal",
        "recorded_by": {"number": by.person.number, "name": by.person.name},
    }
    entry = record.append(
        db,
        once=once,
        kind=kind,
        person_number=person.number,
        worksite=worksite.name if worksite else "",
        happened_on=on,
        body=common | body,
        now=by.now,
    )
    standing.refresh(db, person, standing.today(db, person, by.now, by.zone))
    return entry


def _line(text: str) -> str:
    """Return a line as it goes into the record: short, without double spaces."""
    return " ".join(text.split())[:LINE]


def _not_to_come(db: Session, by: Scribe, person: Person, on: date) -> None:
    if on > standing.today(db, person, by.now, by.zone):
        raise Refusal("The day lies in the future. Give the day on which it was done.")


def _named(respirator: Respirator) -> dict:
    return {
        "class": respirator.class_slug,
        "make": respirator.make,
        "model": respirator.model,
        "style": respirator.style,
        "size": respirator.size,
        "filters": respirator.filters,
    }


def _who(person: Person) -> dict:
    return {
        "number": person.number,
        "name": person.name,
        "qualification": person.qualification,
    }
