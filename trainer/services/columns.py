"""What each column of a record taken out is called, what it holds and where it stands in an entry.

Every column gives text, as it stands in a CSV; its type says what else it is: a workbook and JSON
have dates and numbers of their own.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from trainer.store import record
from trainer.store.record import Taken

Said = dict[str, Any]
"""What an entry says: its body, or what a correction puts in its place."""

TEXT, DATE, MOMENT, NUMBER = "text", "date", "moment", "number"


@dataclass(frozen=True)
class Beside:
    """What stands about an entry outside of what it says.

    corrects        of a correction: which entry
    struck          of a correction: is nothing put in its place?
    corrected_by    the newest correction of the entry
    instead_of      of a correction: the entry, or its earlier correction, whose place it takes
    """

    corrects: int | None = None
    struck: bool = False
    why: str = ""
    note: str = ""
    corrected_by: int | None = None
    instead_of: int | None = None


NOTHING = Beside()

Take = Callable[[Taken, Said, Beside], str]


KINDS = frozenset({
    "lesson", "practice", "training", "credit", "fit-test", "appendix-d", "medical",
})  # fmt: skip
"""Kinds of entry whose every column is known; of another kind, everything is looked for."""


@dataclass(frozen=True)
class Column:
    """One column, and how its text is taken from an entry.

    plain   the field of the body that it is, where it is one
    take    what is asked instead: the entry's row, what it says, what stands beside it
    within  the kinds of entry for which `take` is asked, where `plain` is not enough; None: all

    A column is asked of each entry, a million times over, so an ordinary entry of a known kind is
    asked for no more than such a one can hold. One with something seldom in it (a correction
    beside it, a talk in a room, a part of the worksite's own) is asked for everything.
    """

    name: str
    type: str
    plain: str = ""
    take: Take | None = None
    within: tuple[str, ...] | None = None

    @property
    def key(self) -> str:
        """Return what the column is called in JSON."""
        return self.name.replace(" ", "_").replace("-", "_")

    def way(self, kind: str) -> tuple[str, Take | None]:
        """Return how the column is taken from an entry of a kind: a field of its body, or `take`.

        kind    "" for an entry with something beside it, or of a kind that is not known
        """
        asked = not kind or self.within is None or kind in self.within
        return (self.plain, self.take if asked else None)


class Table:
    """Rows of text, made of entries by the columns of a table."""

    def __init__(self, columns: tuple[Column, ...]) -> None:
        self.columns = columns
        self._ways = {kind: [one.way(kind) for one in columns] for kind in (*KINDS, "")}

    def cells(self, entry: Taken, said: Said, beside: Beside) -> list[str]:
        """Return the text of each column; "" where the entry holds nothing of it."""
        get = said.get
        ordinary = (
            beside is NOTHING
            and said
            and not get("worksite_part")
            and not get("taught")
            and not get("on_paper")
            and not get("brought_in")
        )
        way = (ordinary and self._ways.get(entry.kind)) or self._ways[""]
        return [
            get(plain, "") if take is None else take(entry, said, beside)
            for plain, take in way
        ]


def _numeral(key: str) -> Take:
    return lambda _entry, said, _beside: str(said.get(key, ""))


def _share(right: str, asked: str) -> Take:
    def take(_entry: Taken, said: Said, _beside: Beside) -> str:
        return f"{said[right]} of {said[asked]}" if asked in said else ""

    return take


def _only(kind: str, key: str) -> Take:
    """Take a field that means this only in entries of one kind."""

    def take(_entry: Taken, said: Said, _beside: Beside) -> str:
        return said.get(key, "") if said.get("kind") == kind else ""

    return take


def _lesson(entry: Taken, said: Said, beside: Beside) -> str:
    if beside.struck:
        return f"struck: entry {beside.corrects} should not have been"
    return said.get("lesson") or named(entry.kind, said)


def named(kind: str, said: Said) -> str:
    """Return in English what an entry is of, which is about no lesson."""
    kind = said.get("kind", kind)
    if not said:
        return "erased as retention allows"
    if kind == "credit":
        by, proof = said.get("given_by", ""), said.get("proof", "")
        return f"earlier training by {by}; proof seen: {proof}"
    if kind == "practice":
        return "practice" if said.get("passed") else "practice, not yet passed"
    if kind == "retraining":
        asked = "; ".join(said.get("lessons", []))
        return f"retraining asked for: {asked}" if asked else "retraining asked for"
    if kind == "erasure":
        return "bodies erased as retention allows: " + ", ".join(
            str(one["number"]) for one in said.get("erased", [])
        )
    return _NAMES.get(kind, kind)


_NAMES = {
    "training": "training as a whole",
    "fit-test": "fit test",
    "appendix-d": "information for voluntary use (Appendix D)",
    "medical": "medical determination",
    "left": "left",
    "returned": "came back",
    "merged": "two numbers of one person",
}


def _version(_entry: Taken, said: Said, _beside: Beside) -> str:
    if "version" in said:
        return said["version"]
    # Of credit, no lesson was taught here, so none has a version.
    if said.get("kind") != "training":
        return ""
    return "; ".join(f"{one['lesson']} {one['version']}" for one in said.get("lessons", []))


def _language(_entry: Taken, said: Said, _beside: Beside) -> str:
    return said.get("language", "") or "; ".join(said.get("languages", ()))


def _mode(_entry: Taken, said: Said, _beside: Beside) -> str:
    """Return how it was taught: read, heard, taught in person, read aloud; a talk with its day."""
    if "mode" not in said:
        # Only credit is of training elsewhere.
        return "; ".join(said.get("modes", ())) or (
            record.EARLIER if said.get("kind") == "credit" else ""
        )
    if "taught" not in said:
        return f"{said['mode']}; sitting on paper" if said.get("on_paper") else said["mode"]
    # Whoever read it all as well was taught in a room none the less.
    also = [] if said["taught"]["mode"] == said["mode"] else [said["taught"]["mode"]]
    parts = [f"{'; '.join([said['mode'], *also])} on {said['taught']['on']}"]
    return "; ".join([*parts, "sitting on paper"] if said.get("on_paper") else parts)


def _elements(_entry: Taken, said: Said, _beside: Beside) -> str:
    return "; ".join(said.get("elements", ()))


def _completed(_entry: Taken, said: Said, _beside: Beside) -> str:
    # Earlier training was done on a day, and nobody here knows the hour.
    return said.get("completed") or said.get("counts_from", "")


def teacher(said: Said) -> dict[str, str]:
    """Return who watched, who taught in a room, or who credited; empty where nobody did."""
    if "watched_by" in said:
        return said["watched_by"]
    return said["taught"]["by"] if "taught" in said else said.get("seen_by", _NOBODY)


_NOBODY: dict[str, str] = {}


def _watcher(_entry: Taken, said: Said, _beside: Beside) -> str:
    return said["watched_by"]["name"] if "watched_by" in said else ""


def _trainer(_entry: Taken, said: Said, _beside: Beside) -> str:
    by = teacher(said)
    return f"{by['name']} ({by['number']})" if by else ""


def _qualification(_entry: Taken, said: Said, _beside: Beside) -> str:
    return teacher(said).get("qualification", "")


def _respirators(_entry: Taken, said: Said, _beside: Beside) -> str:
    if "trained_with" in said:
        return "; ".join(said["trained_with"])
    if "respirators" in said:
        return "; ".join([_worn(one) for one in said["respirators"]])
    return _worn(said["respirator"]) if isinstance(said.get("respirator"), dict) else ""


def _worn(one: Said) -> str:
    return " ".join(filter(None, map(one.get, ("class", "make", "model", "size"))))


def _worksite_part(_entry: Taken, said: Said, _beside: Beside) -> str:
    """Return what the worksite itself taught; entries from before there was such a part say so."""
    part = said.get("worksite_part")
    if not part:
        return ""
    if isinstance(part, dict):
        # The lesson's own column holds its slug, which tells nobody what it was called.
        part = [part | {"title": said.get("title", "")}]
    return "; ".join(
        f"{one['title']} ({one['worksite']}, version {one['version']})" for one in part
    )


def _recorder(_entry: Taken, said: Said, _beside: Beside) -> str:
    return said["recorded_by"]["number"] if "recorded_by" in said else ""


def _number(entry: Taken, said: Said, _beside: Beside) -> str:
    return said.get("person_number") or entry.person_number


def _worksite(entry: Taken, said: Said, _beside: Beside) -> str:
    return said.get("worksite") or entry.worksite


def _happened_on(entry: Taken, said: Said, _beside: Beside) -> str:
    return said.get("happened_on") or entry.happened_on


def _brought_in(_entry: Taken, said: Said, _beside: Beside) -> str:
    brought = said.get("brought_in")
    return f"{brought['source']}, line {brought['line']}" if brought else ""


def _corrects(_entry: Taken, _said: Said, beside: Beside) -> str:
    return "" if beside.corrects is None else str(beside.corrects)


def _why(_entry: Taken, _said: Said, beside: Beside) -> str:
    return f"{beside.why}: {beside.note}" if beside.note else beside.why


def _corrected_by(_entry: Taken, _said: Said, beside: Beside) -> str:
    return "" if beside.corrected_by is None else str(beside.corrected_by)


def _fit_passed(_entry: Taken, said: Said, _beside: Beside) -> str:
    return ("pass" if said.get("passed") else "fail") if said.get("kind") == "fit-test" else ""


_TAUGHT = ("practice", "training", "credit")

TRAINING = (
    Column("worker number", TEXT, "person_number", _number, ()),
    Column("name", TEXT, "name"),
    Column("worksite", TEXT, "worksite", _worksite, ()),
    Column("lesson", TEXT, "lesson", _lesson, tuple(KINDS - {"lesson"})),
    Column("lesson version", TEXT, "version", _version, ("training",)),
    Column("language", TEXT, "language", _language, ("training",)),
    Column("mode", TEXT, "mode", _mode, ("training", "credit")),
    Column("elements covered", TEXT, "", _elements, ("lesson", "training", "credit")),
    Column("started", MOMENT, "started"),
    Column("completed", MOMENT, "completed", _completed, ("credit",)),
    Column("score", TEXT, "", _share("right", "asked"), ("lesson",)),
    Column("must-know right", TEXT, "", _share("must_right", "must_asked"), ("lesson",)),
    Column("sittings taken", NUMBER, "", _numeral("sittings"), ("lesson",)),
    # Entries of lessons hold these; older ones were made before anybody could ask here.
    Column("questions asked", NUMBER, "", _numeral("questions_asked"), ("lesson",)),
    Column("questions answered", NUMBER, "", _numeral("questions_answered"), ("lesson",)),
    Column("practice watched by", TEXT, "", _watcher, ("practice", "training")),
    Column("trainer", TEXT, "", _trainer, _TAUGHT),
    Column("trainer qualification", TEXT, "", _qualification, _TAUGHT),
    Column("respirators covered", TEXT, "", _respirators, ("practice", "training", "credit")),
    Column("worksite part", TEXT, "", _worksite_part, ()),
    Column("reason", TEXT, "reason"),
    Column("rule set", TEXT, "rule_set"),
    Column("due again", DATE, "due_again"),
    Column("recorded by", TEXT, "", _recorder),
    Column("entry number", NUMBER, "", lambda entry, _said, _beside: str(entry.number)),
    Column("entry hash", TEXT, "", lambda entry, _said, _beside: entry.hash),
)
"""The first columns of every table, in this order for ever: people have made sheets of them."""

ABOUT_THE_ENTRY = (
    Column("kind", TEXT, "kind", lambda entry, _said, _beside: entry.kind, ()),
    Column("happened on", DATE, "happened_on", _happened_on, ()),
    Column("recorded at", MOMENT, "", lambda entry, _said, _beside: entry.recorded_at),
    Column("corrects entry", NUMBER, "", _corrects, ()),
    Column("correction reason", TEXT, "", _why, ()),
    Column("corrected by entry", NUMBER, "", _corrected_by, ()),
    Column("brought in from", TEXT, "", _brought_in, ()),
)

_FIT = ("fit-test",)
FIT_TEST = (
    Column("fit test protocol", TEXT, "protocol"),
    Column("fit test kind", TEXT, "test_kind"),
    Column("fit test make", TEXT, "", _only("fit-test", "make"), _FIT),
    Column("fit test model", TEXT, "", _only("fit-test", "model"), _FIT),
    Column("fit test style", TEXT, "", _only("fit-test", "style"), _FIT),
    Column("fit test size", TEXT, "", _only("fit-test", "size"), _FIT),
    Column("fit test result", TEXT, "", _fit_passed, _FIT),
    Column("fit factor", NUMBER, "fit_factor"),
    Column("fit test recording", TEXT, "recording"),
)
"""What 29 CFR 1910.134(m)(2)(i) asks for, beside who and when."""

_MEDICAL = ("medical",)
MEDICAL = (
    Column("medical outcome", TEXT, "", _only("medical", "outcome"), _MEDICAL),
    Column("medical limit", TEXT, "", _only("medical", "limit"), _MEDICAL),
    Column("medical until", DATE, "", _only("medical", "until"), _MEDICAL),
)
"""What a determination says, 29 CFR 1910.134(e)(6)(i)(A); there is no more of it to be had."""
