"""How a tag and its steps read: the words for what the clearance works out."""

from dataclasses import dataclass
from datetime import date, timedelta

from flask_babel import gettext
from flask_babel import lazy_gettext as _l

from trainer.calculations.clearance import NO_END, Step
from trainer.services.standing import Tag, until_but_medical

_NAMES = {
    "medical": _l("Medical evaluation"),
    "training": _l("Training"),
    "practice": _l("Practice, watched"),
    "fit-test": _l("Fit test"),
    "appendix-d": _l("Information for voluntary use (Appendix D)"),
    "leak": _l("Leak, told and open"),
}

_WHILE_WORN = {
    "upkeep": _l("Keep it clean, store it well and look after it, so that it does no harm itself."),
    "ten-times": _l(
        "Its fit test was a qualitative one: wear it only where there is at most 10 times the "
        "limit in the air."
    ),
    "escape": _l("For getting out alone. Never go in with it."),
}

_TOLD = {
    "fit": _l("says that the fit has changed"),
    "leak": _l("says that it leaks"),
    "health": _l("wants to talk to the health professional"),
}

_BECAUSE = {
    "not_cleared": _l("Talk with the health professional or your coordinator."),
    "powered_only": _l("Cleared for powered respirators only."),
    "limits": _l("With limits on use."),
    "lapsed": _l("The last good day is past."),
    "retraining": _l("Training was asked for again."),
    "not_yet": _l("Not every act was seen unprompted."),
    "beyond": _l("A lesson of your worksite comes before wearing."),
    "failed": _l("The last test did not pass. Choose another size or model."),
    "changed": _l("The fit was told to have changed: a new fit test comes first."),
    "leak": _l("It is repaired or replaced before it is worn again."),
}


@dataclass(frozen=True)
class Line:
    """One line of a tag as it is shown."""

    kind: str
    state: str  # done, begun, todo, soon or no
    what: str
    day: date | None
    note: str
    word: str | None


def name(kind: str) -> str:
    """Return what a kind of step is called."""
    return str(_NAMES[kind])


def notes(tag: Tag) -> list[tuple[str, str]]:
    """Return what holds while a respirator is worn, each with its source."""
    return [(str(_WHILE_WORN[note.kind]), note.source) for note in tag.clearance.notes]


def told(kind: str) -> str:
    """Return a need that was told in one tap, as those who deal with it read it."""
    return str(_TOLD[kind])


def lines(
    tag: Tag, passed: int, asked: int, today: date, soon_days: int, medical: bool
) -> list[Line]:
    """Return the lines of a tag.

    passed, asked   lessons of this round; of a day gone by 0 and 0
    medical         may the reader see a determination's date and limits; else only yes or no
    """
    soon = today + timedelta(days=soon_days)
    return [_line(step, passed, asked, soon, medical) for step in tag.clearance.steps]


def until(tag: Tag, medical: bool = True) -> date | None:
    """Return the last day of a clear tag; None where nothing falls due.

    medical     may the reader see a determination's date? Else it is that of the other steps
    """
    ends = tag.clearance.until
    if ends is not None and not medical:
        ends = until_but_medical(tag.clearance)
    return None if ends in (None, NO_END) else ends


def because(tag: Tag, own: bool = True) -> str:
    """Return in a sentence what is missing, or nothing on a clear tag.

    own     whether its wearer reads it, or somebody else
    """
    if tag.respirator is None and not own:
        return gettext("No respirator is given yet.")
    if tag.respirator is None:
        return gettext("No respirator is given to you yet. Ask your coordinator.")
    missing = [_within(name(kind)) for kind in tag.clearance.missing]
    if not missing:
        return ""
    return gettext("Do not wear it yet. Missing: %(steps)s.", steps="; ".join(missing))


def _within(words: str) -> str:
    """Return words as they stand within a sentence; only the first letter changes."""
    return words[:1].lower() + words[1:]


def _line(step: Step, passed: int, asked: int, soon: date, medical: bool) -> Line:
    state = step.state
    if state == "done" and step.due and step.due <= soon:
        state = "soon"
    day, word = step.on if state in ("done", "soon") else None, None
    if state == "begun" and asked:
        word = gettext("%(passed)s of %(asked)s", passed=passed, asked=asked)
    if step.kind == "medical" and not medical:
        return Line(step.kind, state, name(step.kind), None, "", _medical_word(step))
    if step.kind == "medical" and state != "todo":
        word = _medical_word(step)
    return Line(step.kind, state, name(step.kind), day, _note(step, state), word)


def _medical_word(step: Step) -> str:
    if step.state == "done":
        return gettext("Cleared")
    return gettext("To do") if step.state == "todo" else gettext("Not cleared")


def _note(step: Step, state: str) -> str:
    if step.why in _BECAUSE:
        return str(_BECAUSE[step.why])
    soon = gettext("Falls due soon.") if state == "soon" else ""
    if step.why == "credit":
        return " ".join([gettext("With credit for earlier training."), soon]).strip()
    if soon:
        return soon
    if step.kind == "fit-test" and state == "todo":
        return gettext("Come clean-shaven where the facepiece seals.")
    return ""


def state_of(until_day: date | None, begun: bool, today: date, soon_days: int) -> str:
    """Return the state of a tag board row: done, soon, no or todo."""
    if until_day is not None and until_day >= today:
        return "soon" if until_day <= today + timedelta(days=soon_days) else "done"
    return "no" if begun or until_day is not None else "todo"
