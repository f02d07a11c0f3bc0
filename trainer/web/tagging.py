"""How a tag and its steps read: the words for what the clearance works out."""

from dataclasses import dataclass
from datetime import date, timedelta

from flask_babel import gettext

from trainer.calculations.clearance import NO_END, Step
from trainer.services.standing import Tag


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
    return {
        "medical": gettext("Medical evaluation"),
        "training": gettext("Training"),
        "practice": gettext("Practice, watched"),
        "fit-test": gettext("Fit test"),
        "appendix-d": gettext("Information for voluntary use (Appendix D)"),
    }[kind]


def told(kind: str) -> str:
    """Return a need that was told in one tap, as those who deal with it read it."""
    return {
        "fit": gettext("says that the fit has changed"),
        "leak": gettext("says that it leaks"),
        "health": gettext("wants to talk to the health professional"),
    }[kind]


def lines(
    tag: Tag, passed: int, asked: int, today: date, soon_days: int, medical: bool
) -> list[Line]:
    """Return the lines of a tag.

    passed, asked   lessons of this round
    medical         may the reader see a determination's date and limits; else only yes or no
    """
    soon = today + timedelta(days=soon_days)
    return [_line(step, passed, asked, soon, medical) for step in tag.clearance.steps]


def until(tag: Tag) -> date | None:
    """Return the last day of a clear tag; None where nothing falls due."""
    return None if tag.clearance.until in (None, NO_END) else tag.clearance.until


def because(tag: Tag) -> str:
    """Return in a sentence what is missing, or nothing on a clear tag."""
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
    if state == "begun":
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
    notes = {
        "not_cleared": gettext("Talk with the health professional or your coordinator."),
        "powered_only": gettext("Cleared for powered respirators only."),
        "limits": gettext("With limits on use."),
        "lapsed": gettext("The last good day is past."),
        "retraining": gettext("Training was asked for again."),
        "not_yet": gettext("Not every act was seen unprompted."),
        "beyond": gettext("A lesson of your worksite comes before wearing."),
        "failed": gettext("The last test did not pass. Choose another size or model."),
    }
    if step.why in notes:
        return notes[step.why]
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
