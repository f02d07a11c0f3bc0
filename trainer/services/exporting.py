"""Taking the record out as CSV: RFC 4180, UTF-8, ISO 8601 dates, no cell that runs as a formula."""

import csv
import io
from collections.abc import Iterator
from datetime import date

from sqlmodel import Session

from trainer.services import recording
from trainer.store import record
from trainer.store.tables import Entry

COLUMNS = (
    "worker number",
    "name",
    "worksite",
    "lesson",
    "lesson version",
    "language",
    "mode",
    "elements covered",
    "started",
    "completed",
    "score",
    "must-know right",
    "sittings taken",
    "questions asked",
    "questions answered",
    "practice watched by",
    "trainer",
    "trainer qualification",
    "respirators covered",
    "worksite part",
    "reason",
    "rule set",
    "due again",
    "recorded by",
    "entry number",
    "entry hash",
)
KINDS = ("lesson", "practice", "training", "credit")
"""Entries of training. Medical determinations have an access right of their own and stay out."""

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\x00")
"""What makes a spreadsheet run a cell: OWASP on CSV injection, ASVS 5.0 item 1.2.10, CWE-1236."""


def rows(
    db: Session, first: date, last: date, worksite: str | None = None
) -> Iterator[dict[str, str]]:
    """Give one row an entry of training, in the order of the record, as plain text.

    worksite    its name; None for every worksite
    """
    for entry in record.between(db, first, last, KINDS, worksite):
        yield _row(entry, record.body(entry))


def csv_lines(given: Iterator[dict[str, str]]) -> Iterator[str]:
    """Give the CSV line by line, the header first, with CR LF."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    yield out.getvalue()
    for row in given:
        out.seek(0)
        out.truncate()
        writer.writerow([harmless(row[column]) for column in COLUMNS])
        yield out.getvalue()


def harmless(text: str) -> str:
    """Return a cell that no spreadsheet runs: one that could begin a formula gets a quote mark."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def _row(entry: Entry, said: dict) -> dict[str, str]:
    watched = said.get("watched_by", {})
    # Who watched, who taught in a room, or who credited.
    by = watched or said.get("taught", {}).get("by", {}) or said.get("seen_by", {})
    # Of credit, no lesson was taught here, so none has a version.
    lessons = said.get("lessons", []) if entry.kind == "training" else []
    return {
        "worker number": entry.person_number,
        "name": said.get("name", ""),
        "worksite": entry.worksite,
        "lesson": said.get("lesson") or _name(entry, said),
        "lesson version": said.get("version", "")
        or "; ".join(f"{one['lesson']} {one['version']}" for one in lessons),
        "language": said.get("language", "") or "; ".join(said.get("languages", [])),
        "mode": _mode(said) or (recording.EARLIER if entry.kind == "credit" else ""),
        "elements covered": "; ".join(said.get("elements", [])),
        "started": said.get("started", ""),
        # Earlier training was done on a day, and nobody here knows the hour.
        "completed": said.get("completed", "") or said.get("counts_from", ""),
        "score": _share(said, "right", "asked"),
        "must-know right": _share(said, "must_right", "must_asked"),
        "sittings taken": str(said.get("sittings", "")),
        # Entries of lessons hold these; older ones were made before anybody could ask here.
        "questions asked": str(said.get("questions_asked", "")),
        "questions answered": str(said.get("questions_answered", "")),
        "practice watched by": watched.get("name", ""),
        "trainer": f"{by['name']} ({by['number']})" if by else "",
        "trainer qualification": by.get("qualification", ""),
        "respirators covered": "; ".join(_respirators(said)),
        "worksite part": _worksite_part(said),
        "reason": said.get("reason", ""),
        "rule set": said.get("rule_set", ""),
        "due again": said.get("due_again", ""),
        "recorded by": said.get("recorded_by", {}).get("number", ""),
        "entry number": str(entry.number),
        "entry hash": entry.hash,
    }


def _name(entry: Entry, said: dict) -> str:
    if entry.kind == "credit":
        return f"earlier training by {said['given_by']}; proof seen: {said['proof']}"
    if entry.kind == "training":
        return "training as a whole"
    return "practice" if said.get("passed") else "practice, not yet passed"


def _mode(said: dict) -> str:
    """Return how it was taught: read, heard, taught in person, read aloud; a talk with its day."""
    if "mode" not in said:
        return "; ".join(said.get("modes", []))
    parts = [said["mode"]]
    if "taught" in said:
        # Whoever read it all as well was taught in a room none the less.
        also = [] if said["taught"]["mode"] == said["mode"] else [said["taught"]["mode"]]
        parts = [f"{'; '.join([*parts, *also])} on {said['taught']['on']}"]
    return "; ".join([*parts, "sitting on paper"] if said.get("on_paper") else parts)


def _share(said: dict, right: str, asked: str) -> str:
    return f"{said[right]} of {said[asked]}" if asked in said else ""


def _worksite_part(said: dict) -> str:
    """Return what the worksite itself taught; entries from before there was such a part say so."""
    part = said.get("worksite_part") or []
    if isinstance(part, dict):
        # The lesson's own column holds its slug, which tells nobody what it was called.
        part = [part | {"title": said["title"]}]
    return "; ".join(
        f"{one['title']} ({one['worksite']}, version {one['version']})" for one in part
    )


def _respirators(said: dict) -> list[str]:
    if "trained_with" in said:
        return said["trained_with"]
    worn = said.get("respirators", []) or ([said["respirator"]] if "respirator" in said else [])
    return [
        " ".join(part for part in (one["class"], one["make"], one["model"], one["size"]) if part)
        for one in worn
    ]
