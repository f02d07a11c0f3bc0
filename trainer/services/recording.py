"""What goes into the record, each with what an inspector would ask for.

Every function works inside `writing()`, appends one entry and writes the tag board anew.
`once` names the deed (a form's own key): sent twice, it is one entry.
"""

from datetime import date

from sqlmodel import Session, func, select

from trainer import lessons
from trainer.calculations import credit
from trainer.calculations.faults import CalculationFault
from trainer.calculations.fit import fit_test_passes
from trainer.calculations.periods import next_due
from trainer.reference import fit_test_protocols, respirator_classes, training_elements
from trainer.services import asking, curriculum, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people, record
from trainer.store.tables import Entry, Person, Practice, PracticeAct, Respirator, Sitting

OUTCOMES = ("cleared", "limits", "not")
LIMITS = ("powered_only", "as_written")
SHOWN, NOT_COVERED = ("asked", "sitting"), "no"
"""How a person shows knowledge of what earlier training covered, (k)(1) and (k)(4): asked in
person and known, or in the closing questions of the lessons."""

LINE = 160
EARLIER = "earlier training"
"""The mode of a lesson that reached a person elsewhere."""


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

    Errors: Refusal for an unknown outcome or limit, a day to come, an end before its beginning.
    """
    if outcome not in OUTCOMES or (outcome == "limits") != (limit in LIMITS):
        raise Refusal("Choose cleared, cleared with limits and which, or not cleared.")
    _not_to_come(db, by, person, on)
    if until and until < on:
        raise Refusal("The last day must not be before the day of the recommendation.")
    body = {"outcome": outcome, "limit": limit, "until": until.isoformat() if until else ""}
    return _append(db, by, person, once=once, kind="medical", on=on, body=body)


def record_appendix_d(db: Session, by: Scribe, person: Person, *, once: str, on: date) -> Entry:
    """Record that the information of Appendix D was given, (k)(6)."""
    _not_to_come(db, by, person, on)
    return _append(db, by, person, once=once, kind="appendix-d", on=on, body={})


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
) -> Entry:
    """Record a fit test with the fields of (m)(2)(i).

    passed      of a qualitative test; a quantitative one is judged by its fit factor, (f)(7)
    recording   where the strip chart or other recording of a quantitative test is kept
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
    elif passed is None or fit_factor is not None:
        raise Refusal("A qualitative test has pass or fail, and no fit factor.", field="passed")
    body = {
        "protocol": protocol,
        "test_kind": kind,
        "make": respirator.make,
        "model": respirator.model,
        "style": respirator.style,
        "size": respirator.size,
        "class": respirator.class_slug,
        "passed": passed,
        "fit_factor": "" if fit_factor is None else format(fit_factor, "g"),
        "recording": recording.strip(),
    }
    return _append(db, by, person, once=once, kind="fit-test", on=on, body=body)


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
    worn = {one.class_slug for one in people.respirators(db, person.id) if one.use == "required"}
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
    mode    read, heard, taught in person, read aloud, or EARLIER: how the lesson reached the person
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
    earlier = history.earlier(sitting.lesson) if mode == EARLIER else None
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
    return entry


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
    worn = [item for item in people.respirators(db, person.id) if item.use == "required"]
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
        "modes": sorted({one.get("mode", EARLIER) for one in said}),
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
    newest = max(part.number for part in parts)
    once = f"training:{person.number}:{newest}"
    return _append(db, by, person, once=once, kind="training", on=on, body=body)


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
