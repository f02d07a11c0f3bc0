"""How an entry of the record reads to a person."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from flask_babel import format_date, gettext

from trainer import lessons
from trainer.reference import (
    fit_test_protocols,
    practice_acts,
    respirator_classes,
    retraining_reasons,
    training_elements,
)
from trainer.store import record
from trainer.store.tables import Entry
from trainer.web import language


@dataclass(frozen=True)
class Line:
    """One entry as it is shown."""

    number: int
    hash: str
    day: date
    word: str
    state: str
    what: str
    text: str


def lines(entries: list[Entry], medical: bool) -> list[Line]:
    """Return entries newest first; determinations only for those with the right."""
    shown = [entry for entry in entries if medical or entry.kind != "medical"]
    return [_line(entry, record.body(entry)) for entry in reversed(shown)]


def reason(slug: str) -> str:
    """Return a retraining reason in words."""
    row = retraining_reasons.get(slug)
    return _named(row) if row else slug


def seen(what: Sequence[str]) -> list[str]:
    """Return what was seen of a person in words: acts of practice, wrong answers."""
    acts = filter(None, map(practice_acts.get, what))
    answers = [gettext("wrong answers")] if "answers" in what else []
    return [*(_named(act) for act in acts), *answers]


def _line(entry: Entry, said: dict) -> Line:
    word, state, what, text = _DESCRIBE[entry.kind](said)
    by = said.get("recorded_by", {}).get("name", "")
    recorded = gettext("Recorded by %(name)s.", name=by) if by else ""
    parts = f"{text} {recorded}".strip()
    return Line(entry.number, entry.hash, entry.happened_on, word, state, what, parts)


def _lesson(said: dict) -> tuple[str, str, str, str]:
    lesson = lessons.load().get(said["lesson"])
    title = lesson.title(language.current()) if lesson else said["title"]
    result = gettext(
        "Sitting %(n)s: %(right)s of %(asked)s right, must-know %(must)s of %(musts)s.",
        n=said["sittings"],
        right=said["right"],
        asked=said["asked"],
        must=said["must_right"],
        musts=said["must_asked"],
    )
    text = " ".join([result, *_how(said), f"{reason(said['reason'])}."])
    return gettext("Passed"), "done", gettext("Lesson: %(title)s", title=title), text


def _how(said: dict) -> list[str]:
    """Return how a lesson reached the person, who wrote it, and what was asked beside."""
    tongue = _tongue(said["language"])
    in_tongue = gettext("Questions in %(tongue)s.", tongue=tongue)
    if "credit_entry" in said:
        credit = said["credit_entry"]
        how = [gettext("Taught elsewhere: credit, entry %(credit)s.", credit=credit), in_tongue]
    elif "taught" in said:
        how = [_taught(said["taught"]), in_tongue]
    else:
        how = [gettext("Taught in %(tongue)s.", tongue=tongue)]
    if said.get("on_paper"):
        how.append(gettext("Written on paper, entered by %(who)s.", who=_who(said["entered_by"])))
    if said.get("worksite_part"):
        part = said["worksite_part"]
        how.append(gettext("Written by %(worksite)s, version %(version)s.", **part))
    if said.get("questions_asked"):
        how.append(
            gettext(
                "Questions asked: %(asked)s, of them answered: %(answered)s.",
                asked=said["questions_asked"],
                answered=said["questions_answered"],
            )
        )
    return how


def _taught(taught: dict) -> str:
    """Return who taught a lesson in a room, when, for how long, in which language."""
    values = {
        "day": format_date(date.fromisoformat(taught["on"]), "d MMM yyyy"),
        "who": _who(taught["by"]),
        "tongue": _tongue(taught["language"]),
        "minutes": taught["minutes"],
    }
    if taught["mode"] == "read aloud":
        return gettext(
            "Read aloud on %(day)s in %(tongue)s, %(minutes)s min, by %(who)s.", **values
        )
    return gettext(
        "Taught in person on %(day)s in %(tongue)s, %(minutes)s min, by %(who)s.", **values
    )


def _who(named: dict) -> str:
    """Return a trainer as the record names one: number, name, qualification."""
    words = f"{named['name']} ({named['number']})"
    return f"{words}, {named['qualification']}" if named["qualification"] else words


def _tongue(code: str) -> str:
    return {"en": gettext("English"), "es": gettext("Spanish")}[code]


def _practice(said: dict) -> tuple[str, str, str, str]:
    watched = gettext(
        "%(respirator)s. Watched by %(name)s.",
        respirator=_respirator(said["respirator"]),
        name=said["watched_by"]["name"],
    )
    weak = [
        _named(practice_acts.get(act["act"])) for act in said["acts"] if act["seen"] != "unprompted"
    ]
    if said["passed"]:
        return gettext("Passed"), "done", gettext("Practice, watched"), watched
    again = gettext("To work on: %(acts)s.", acts="; ".join(weak))
    return gettext("Not yet"), "no", gettext("Practice, watched"), f"{watched} {again}"


def _training(said: dict) -> tuple[str, str, str, str]:
    worn = "; ".join(_respirator(one) for one in said["respirators"])
    due = format_date(date.fromisoformat(said["due_again"]), "d MMM yyyy")
    text = gettext("For: %(worn)s. Due again by %(due)s.", worn=worn, due=due)
    part = [f"{one['title']} ({one['worksite']})" for one in said.get("worksite_part", [])]
    if part:
        text += " " + gettext("With the worksite's own: %(lessons)s.", lessons="; ".join(part))
    if "counts_from" in said:
        day = format_date(date.fromisoformat(said["counts_from"]), "d MMM yyyy")
        text += " " + gettext("With credit for earlier training of %(day)s.", day=day)
    return gettext("Complete"), "done", gettext("Training as a whole"), text


def _credit(said: dict) -> tuple[str, str, str, str]:
    earlier = format_date(date.fromisoformat(said["counts_from"]), "d MMM yyyy")
    by_how = {"asked": gettext("asked in person"), "sitting": gettext("to be shown in a sitting")}
    parts = [
        f"{_element(one['element'])} ({by_how[one['shown']]})" for one in said["elements_shown"]
    ]
    text = gettext(
        "Trained on %(day)s by %(given_by)s. Proof seen: %(proof)s. Covered: %(parts)s. Seen by "
        "%(name)s. Due again by %(due)s. Practice and what is particular to a worksite are not "
        "credited.",
        day=earlier,
        given_by=said["given_by"],
        proof=said["proof"],
        parts="; ".join(parts),
        name=said["seen_by"]["name"],
        due=format_date(date.fromisoformat(said["due_again"]), "d MMM yyyy"),
    )
    return gettext("Credited"), "done", gettext("Credit for earlier training"), text


def _element(paragraph: str) -> str:
    row = training_elements.get(paragraph)
    return f"{paragraph.removeprefix('(k)(1)')} {_named(row)}" if row else paragraph


def _medical(said: dict) -> tuple[str, str, str, str]:
    limit = {
        "powered_only": gettext("Powered respirators only."),
        "as_written": gettext("Limits as in the written recommendation."),
    }.get(said["limit"], "")
    until = ""
    if said["until"]:
        day = format_date(date.fromisoformat(said["until"]), "d MMM yyyy")
        until = gettext("Next evaluation by %(day)s.", day=day)
    cleared = said["outcome"] != "not"
    word = gettext("Cleared") if cleared else gettext("Not cleared")
    state = "done" if cleared else "no"
    return word, state, gettext("Medical evaluation"), f"{limit} {until}".strip()


def _fit_test(said: dict) -> tuple[str, str, str, str]:
    protocol = _named(fit_test_protocols.get(said["protocol"]))
    facepiece = " ".join(said[part] for part in ("make", "model", "style", "size"))
    text = f"{protocol}. {facepiece}."
    if said["fit_factor"]:
        text += " " + gettext(
            "Fit factor %(factor)s; recording: %(kept)s.",
            factor=said["fit_factor"],
            kept=said["recording"],
        )
    word = gettext("Passed") if said["passed"] else gettext("Failed")
    return word, "done" if said["passed"] else "no", gettext("Fit test"), text


def _appendix_d(_said: dict) -> tuple[str, str, str, str]:
    return gettext("Given"), "done", gettext("Information for voluntary use (Appendix D)"), ""


def _respirator(said: dict) -> str:
    parts = [
        _named(respirator_classes.get(said["class"])),
        said["make"],
        said["model"],
        said["size"],
    ]
    line = " ".join(part for part in parts if part)
    return line[:1].upper() + line[1:]


def _named(row) -> str:
    return row.name(language.current())


_DESCRIBE = {
    "lesson": _lesson,
    "practice": _practice,
    "training": _training,
    "medical": _medical,
    "fit-test": _fit_test,
    "appendix-d": _appendix_d,
    "credit": _credit,
}
