"""How an entry of the record reads to a person."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
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
from trainer.services import recording, standing
from trainer.store import record
from trainer.store.tables import Entry
from trainer.web import language, taught


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
    kind: str = ""
    version: str = ""  # of the lesson that was taught, to be read as it was
    beside: str = ""  # what a correction says of it
    by: int | None = None  # number of the newest correction
    now: "Line | None" = None  # how it reads since it was corrected
    corrects: int | None = None  # of a correction: the entry that it is about

    @property
    def may_be_corrected(self) -> bool:
        """Say whether there is something to correct in it; a correction has its own entry."""
        return self.kind not in ("", record.ERASURE, *record.CORRECTIONS)


def lines(
    entries: list[Entry], medical: bool, erased: Mapping[int, int] | None = None
) -> list[Line]:
    """Return entries newest first, each with what its newest correction says beside it.

    medical     has the reader the right to see determinations?
    erased      which entry says of an erased one that it was let go
    """
    shown = [entry for entry in entries if medical or entry.kind not in record.MEDICAL_KINDS]
    last = standing.newest_corrections(shown)
    return [_with_correction(entry, last, erased or {}) for entry in reversed(shown)]


def said_now(entry: Entry, said: dict) -> Line:
    """Return how an entry would read if it said this."""
    return _line(entry, said, date.fromisoformat(said["happened_on"]))


def why(slug: str) -> str:
    """Return why an entry was corrected, in words."""
    return {
        "wrong-person": gettext("entered for the wrong person"),
        "wrong-date": gettext("wrong day"),
        "wrong-value": gettext("wrong value"),
        "entered-twice": gettext("entered twice"),
        "not-done": gettext("it was not done"),
        recording.FOLLOWS: gettext("it leaned on an entry that was struck"),
        "other": gettext("another reason"),
    }[slug]


def _with_correction(
    entry: Entry, last: Mapping[int, tuple[Entry, dict]], erased: Mapping[int, int]
) -> Line:
    if entry.body is None:
        return _gone(entry, erased.get(entry.number))
    said = record.body(entry)
    line = _line(entry, said, entry.happened_on)
    if entry.number not in last:
        return line
    correction, how = last[entry.number]
    day = format_date(correction.happened_on, "d MMM yyyy")
    values = {"number": correction.number, "day": day, "why": why(how["why"])}
    if how["said"] is None:
        beside = gettext("Struck by entry %(number)s of %(day)s: %(why)s.", **values)
        line = replace(line, word=gettext("Struck"), state="void")
    elif how["said"] == said:
        beside = gettext("Struck once, and put back by entry %(number)s of %(day)s.", **values)
    else:
        beside = gettext("Corrected by entry %(number)s of %(day)s: %(why)s.", **values)
        line = replace(
            line, word=gettext("Corrected"), state="void", now=said_now(entry, how["said"])
        )
    return replace(line, beside=beside, by=correction.number)


def _gone(entry: Entry, erasure: int | None) -> Line:
    """Return the line of an entry whose body was let go: its number, day and hash are left."""
    text = gettext("What it said was let go when the time for keeping it had ended.")
    if erasure:
        text += " " + gettext("Entry %(number)s says so.", number=erasure)
    return Line(
        entry.number, entry.hash, entry.happened_on, gettext("Let go"), "void",
        kind_name(entry.kind), text,
    )  # fmt: skip


def kind_name(kind: str) -> str:
    """Return what a kind of entry is called."""
    return {
        "lesson": gettext("Lesson"),
        "practice": gettext("Practice, watched"),
        "training": gettext("Training as a whole"),
        "medical": gettext("Medical evaluation"),
        "fit-test": gettext("Fit test"),
        "appendix-d": gettext("Information for voluntary use (Appendix D)"),
        "credit": gettext("Credit for earlier training"),
        "retraining": gettext("Retraining asked for"),
        "correction": gettext("Correction"),
        "medical-correction": gettext("Correction"),
        record.ERASURE: gettext("Entries let go"),
        "left": gettext("Left the employer"),
        "returned": gettext("Came back"),
        "merged": gettext("Two records of one person joined"),
        "earlier-training": gettext("Earlier training"),
    }.get(kind, kind)


def reason(slug: str) -> str:
    """Return a retraining reason in words."""
    row = retraining_reasons.get(slug)
    return _named(row) if row else slug


def seen(what: Sequence[str]) -> list[str]:
    """Return what was seen of a person in words: acts of practice, wrong answers."""
    acts = filter(None, map(practice_acts.get, what))
    answers = [gettext("wrong answers")] if "answers" in what else []
    return [*(_named(act) for act in acts), *answers]


def _line(entry: Entry, said: dict, day: date) -> Line:
    word, state, what, text = _DESCRIBE[entry.kind](said)
    by = said.get("recorded_by", {}).get("name", "")
    recorded = gettext("Recorded by %(name)s.", name=by) if by else ""
    parts = " ".join(part for part in (text, _brought(said), recorded) if part)
    about = said["corrects"] if entry.kind in record.CORRECTIONS else None
    version = said.get("version", "") if entry.kind == "lesson" else ""
    return Line(
        entry.number, entry.hash, day, word, state, what, parts, kind=entry.kind, version=version,
        corrects=about,
    )  # fmt: skip


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
    if said.get("exercises"):
        factors = "; ".join(said["exercises"])
        text += " " + gettext("From its exercises: %(factors)s.", factors=factors)
    word = gettext("Passed") if said["passed"] else gettext("Failed")
    return word, "done" if said["passed"] else "no", gettext("Fit test"), text


def _appendix_d(_said: dict) -> tuple[str, str, str, str]:
    return gettext("Given"), "done", gettext("Information for voluntary use (Appendix D)"), ""


def _retraining(said: dict) -> tuple[str, str, str, str]:
    parts = [f"{reason(said['reason'])}."]
    if said["lessons"]:
        names = "; ".join(_lesson_name(slug) for slug in said["lessons"])
        parts.append(gettext("Lessons: %(names)s.", names=names))
    if said["practice_entry"]:
        parts.append(gettext("After practice, entry %(number)s.", number=said["practice_entry"]))
    if said["seen"]:
        parts.append(gettext("What was seen: %(what)s.", what="; ".join(seen(said["seen"]))))
    if said["due"]:
        day = format_date(date.fromisoformat(said["due"]), "d MMM yyyy")
        parts.append(gettext("Due by %(due)s.", due=day))
    parts.append(gettext("Asked for by %(who)s.", who=_who(said["asked_by"])))
    return gettext("Asked for"), "begun", gettext("Retraining"), " ".join(parts)


def _lesson_name(slug: str) -> str:
    lesson = lessons.load().get(slug)
    return lesson.title(language.current()) if lesson else taught.title(slug)


def _correction(said: dict) -> tuple[str, str, str, str]:
    values = {"number": said["corrects"], "kind": kind_name(said["corrected_kind"])}
    what = gettext("Correction of entry %(number)s: %(kind)s", **values)
    parts = [gettext("Why: %(why)s.", why=why(said["why"]))]
    if said.get("note"):
        parts.append(gettext("Note: %(note)s.", note=said["note"].rstrip(".")))
    if said["said"] is None:
        text = " ".join([gettext("The entry is struck."), *parts])
        return gettext("Correction"), "done", what, text
    word, _, _, text = _DESCRIBE[said["corrected_kind"]](said["said"])
    day = format_date(date.fromisoformat(said["said"]["happened_on"]), "d MMM yyyy")
    reads = gettext("It reads now: %(word)s, %(day)s. %(text)s", word=word, day=day, text=text)
    return gettext("Correction"), "done", what, f"{reads.strip()} {' '.join(parts)}"


def _erasure(said: dict) -> tuple[str, str, str, str]:
    numbers = ", ".join(str(one["number"]) for one in said["erased"])
    text = gettext(
        "Of entries %(numbers)s what they said was let go: the time for keeping it had ended "
        "(%(source)s).", numbers=numbers, source=said["source"],
    )  # fmt: skip
    return gettext("Let go"), "void", gettext("Entries let go"), text
def _left(_said: dict) -> tuple[str, str, str, str]:
    return gettext("Gone"), "void", gettext("Left the employer"), ""


def _returned(_said: dict) -> tuple[str, str, str, str]:
    text = gettext("What of the record still counts is worked out from its dates.")
    return gettext("Here again"), "done", gettext("Came back"), text


def _merged(said: dict) -> tuple[str, str, str, str]:
    text = gettext(
        "The record of %(name)s, worker number %(number)s, was of the same person. Its entries "
        "keep that number.",
        name=said["other_name"], number=said["other_number"],
    )  # fmt: skip
    return gettext("Joined"), "done", gettext("Two records of one person joined"), text


def _earlier_training(said: dict) -> tuple[str, str, str, str]:
    """Return training that was given before, which is history and makes nobody clear."""
    name = said["trainer"]["name"]
    parts = [
        said["lesson"],
        gettext("Trainer: %(who)s.", who=name) if name else "",
        gettext("History only: it does not make clear."),
    ]
    text = " ".join(part for part in parts if part)
    return gettext("Kept"), "todo", gettext("Earlier training"), text


def _brought(said: dict) -> str:
    """Return from which file an entry came, where it was brought in."""
    if "brought_in" not in said:
        return ""
    return gettext(
        "Brought in from a file, line %(line)s of %(source)s.",
        line=said["brought_in"]["line"],
        source=said["brought_in"]["source"],
    )


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
    "retraining": _retraining,
    "correction": _correction,
    "medical-correction": _correction,
    "erasure": _erasure,
    "left": _left,
    "returned": _returned,
    "merged": _merged,
    "earlier-training": _earlier_training,
}
