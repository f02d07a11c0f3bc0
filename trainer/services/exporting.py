"""Taking the record out: which entries, and as lines of CSV or JSON.

CSV is RFC 4180, UTF-8, with ISO 8601 dates and no cell that runs as a formula. JSON is described in
docs/record.schema.json. Whatever is made here is a stream: of the record, a few hundred entries are
in memory at a time, however many there are.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

import msgspec
from sqlalchemy import Select
from sqlmodel import Session

from trainer.services import columns
from trainer.services.columns import DATE, MOMENT, NOTHING, NUMBER, Beside, Column, Said, Table
from trainer.store import people, record
from trainer.store.record import Taken

KINDS = ("lesson", "practice", "training", "credit")
"""Entries of training."""

WHAT: dict[str, tuple[str, ...] | None] = {
    "training": KINDS,
    "fit-tests": ("fit-test",),
    "everything": None,
}
"""What can be taken out, and the kinds of entry that it is. Medical determinations have an access
right of their own, 29 CFR 1910.134(m)(1), and stay out of each unless they are asked for."""

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\x00")
"""What makes a spreadsheet run a cell: OWASP on CSV injection, ASVS 5.0 item 1.2.10, CWE-1236."""

Fact = tuple[Taken, Said, Beside]
"""An entry, what it says (of a correction: what it puts in its place), what stands beside it."""

# The body of every entry is read here; this reader takes a third of the time of json.loads.
_read = msgspec.json.Decoder().decode
_write = msgspec.json.Encoder().encode


@dataclass(frozen=True)
class Choice:
    """Which entries are taken out.

    what      a key of WHAT
    worksite  where they were made; None: anywhere
    numbers   worker numbers, or a select of them; None: everybody's, who left included
    medical   determinations too; only for those with the right to see them
    """

    first: date = date.min
    last: date = date.max
    what: str = "training"
    worksite: str | None = None
    numbers: Select | tuple[str, ...] | None = None
    medical: bool = False

    @property
    def kinds(self) -> tuple[str, ...] | None:
        """Return the kinds of entry, their corrections aside; None for every kind."""
        kinds = WHAT[self.what]
        return (*kinds, "medical") if kinds and self.medical else kinds

    def asked(self) -> record.Asked:
        """Return the choice as the record is asked for it."""
        hidden = () if self.medical else record.MEDICAL_KINDS
        kinds = self.kinds
        return record.Asked(
            self.first,
            self.last,
            kinds and tuple({*kinds, *record.CORRECTIONS} - set(hidden)),
            self.worksite,
            self.numbers,
            hidden,
        )


@dataclass(frozen=True)
class Corrected:
    """How corrections follow one another, as numbers: all that is in memory of them.

    after   by entry or correction, the correction that took its place
    before  by correction, the entry or earlier correction whose place it took
    newest  by entry or correction, the newest correction of that entry, if it is another
    """

    after: dict[int, int]
    before: dict[int, int]
    newest: dict[int, int]


def of_people(ids: Select) -> Select:
    """Return a select of the worker numbers of people, for `Choice.numbers`."""
    return people.every_number(ids)


def columns_of(choice: Choice) -> tuple[Column, ...]:
    """Return the columns of what is taken out."""
    fit = columns.FIT_TEST if choice.what != "training" else ()
    medical = columns.MEDICAL if choice.medical else ()
    return columns.TRAINING + columns.ABOUT_THE_ENTRY + fit + medical


def how_many(db: Session, choice: Choice) -> int:
    """Return how many entries are taken out, corrections made outside of the period aside."""
    if choice.kinds is None:
        return record.how_many(db, choice.asked())
    plain = replace(choice.asked(), kinds=choice.kinds)
    kinds = set(record.CORRECTIONS) - set(() if choice.medical else record.MEDICAL_KINDS)
    corrections = replace(choice.asked(), kinds=tuple(kinds))
    counted: set[int] = set()
    for one in record.between(db, corrections):
        said = _read(one.body) if one.body else {}
        # A correction of one that counts, counts.
        if not _is_of_others(said, choice) or said["corrects"] in counted:
            counted.add(one.number)
    return record.how_many(db, plain) + len(counted)


def facts(db: Session, choice: Choice) -> Iterator[Fact]:
    """Give what is taken out, in the order of the record.

    A correction that was made outside of the period, or by other rules is not chosen, follows at
    the end where what it corrects is among what was given.
    """
    corrected = _corrected(db, choice.medical)
    owed: set[int] = set()
    for entry in record.between(db, choice.asked()):
        said = _read(entry.body) if entry.body else {}
        correction = entry.kind in record.CORRECTIONS
        if not correction and entry.number not in corrected.after:
            yield entry, said, NOTHING
            continue
        if correction and _is_of_others(said, choice) and entry.number not in owed:
            continue
        owed.discard(entry.number)
        if entry.number in corrected.after:
            owed.add(corrected.after[entry.number])
        yield _fact(entry, said, corrected)
    while owed:
        late = record.numbered(db, sorted(owed)[: record.BATCH])
        owed -= {one.number for one in late}
        for entry in late:
            if entry.number in corrected.after:
                owed.add(corrected.after[entry.number])
            yield _fact(entry, _read(entry.body) if entry.body else {}, corrected)


def _is_of_others(said: Said, choice: Choice) -> bool:
    """Say whether a correction is of a kind of entry that is not taken out."""
    return bool(choice.kinds and said) and said["corrected_kind"] not in choice.kinds


def _fact(entry: Taken, said: Said, corrected: Corrected) -> Fact:
    newest = corrected.newest.get(entry.number)
    if entry.kind in record.CORRECTIONS and said:
        beside = Beside(
            said["corrects"], said["said"] is None, said["why"], said.get("note", ""),
            newest, corrected.before.get(entry.number),
        )  # fmt: skip
        # A struck entry has nothing in its place; who it was about is told all the same.
        return entry, said["said"] or _about(said), beside
    return entry, said, Beside(corrected_by=newest)


def _about(said: Said) -> Said:
    kept = ("name", "person_number", "worksite", "happened_on", "recorded_by", "rule_set")
    return {key: said[key] for key in kept if key in said}


def _corrected(db: Session, medical: bool) -> Corrected:
    """Return which corrections there are. They are made by hand, one by one."""
    kinds = record.CORRECTIONS if medical else set(record.CORRECTIONS) - set(record.MEDICAL_KINDS)
    chains: dict[int, list[int]] = {}
    for one in record.of_kinds(db, tuple(kinds)):
        if one.body:
            chains.setdefault(_read(one.body)["corrects"], []).append(one.number)
    found = Corrected({}, {}, {})
    for root, corrections in chains.items():
        for before, after in pairwise([root, *corrections]):
            found.after[before], found.before[after] = after, before
            found.newest[before] = corrections[-1]
    return found


# CSV


def csv_lines(db: Session, choice: Choice) -> Iterator[str]:
    """Give the CSV in pieces of some lines, the header first, with CR LF."""
    own = columns_of(choice)
    write, cells = _Writer(own).line, Table(own).cells
    yield write([one.name for one in own])
    lines: list[str] = []
    for entry, said, beside in facts(db, choice):
        lines.append(write(cells(entry, said, beside)))
        if len(lines) >= record.BATCH:
            yield "".join(lines)
            lines.clear()
    yield "".join(lines)


def harmless(text: str) -> str:
    """Return a cell that no spreadsheet runs: one that could begin a formula gets a quote mark."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


class _Writer:
    """Writes lines of CSV; one without any sign that matters to a reader is joined as it is."""

    def __init__(self, own: tuple[Column, ...]) -> None:
        self._numbers = [one.type == NUMBER for one in own]
        self._commas = len(own) - 1
        self._out = io.StringIO()
        self._writer = csv.writer(self._out, lineterminator="\r\n")

    def line(self, cells: list[str]) -> str:
        """Return the line of these cells."""
        line = ",".join(cells)
        if _BEGINS_FORMULA("," + line):
            cells = [
                cell if number and _NUMBER(cell) else harmless(cell)
                for cell, number in zip(cells, self._numbers, strict=True)
            ]
        elif (
            line.count(",") == self._commas
            and '"' not in line
            and "\r" not in line
            and "\n" not in line
        ):
            return line + "\r\n"
        self._out.seek(0)
        self._out.truncate()
        self._writer.writerow(cells)
        return self._out.getvalue()


_BEGINS_FORMULA = re.compile(",[" + re.escape("".join(FORMULA_STARTS)) + "]").search
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?", re.ASCII).fullmatch


# JSON


def json_lines(db: Session, choice: Choice) -> Iterator[str]:
    """Give one JSON object a line and entry, in pieces of some lines."""
    for lines in _batches(_objects(db, choice)):
        yield "\n".join(lines) + "\n"


def json_array(db: Session, choice: Choice) -> Iterator[str]:
    """Give one JSON array with an object an entry, in pieces of some lines."""
    return in_array(_objects(db, choice))


def in_array(objects: Iterable[str]) -> Iterator[str]:
    """Give a JSON array of these values, each on a line of its own, in pieces of some lines."""
    before = "[\n"
    for lines in _batches(objects):
        yield before + ",\n".join(lines)
        before = ",\n"
    yield "[]\n" if before == "[\n" else "\n]\n"


def _objects(db: Session, choice: Choice) -> Iterator[str]:
    own = columns_of(choice)
    cells = Table(own).cells
    kinds = [(one.key, one.type) for one in own]
    for entry, said, beside in facts(db, choice):
        given = zip(kinds, cells(entry, said, beside), strict=True)
        values = _write({key: typed(cell, kind) for (key, kind), cell in given}).decode()
        # What the entry says is put in as it stands in the record, to the last sign.
        yield f'{values[:-1]},"said":{entry.body or "null"}}}'


def _batches(values: Iterable[str]) -> Iterator[list[str]]:
    found: list[str] = []
    for value in values:
        found.append(value)
        if len(found) >= record.BATCH:
            yield found
            found = []
    if found:
        yield found


def typed(text: str, kind: str) -> str | int | float | None:
    """Return a cell as JSON has it: nothing is null, numbers are numbers, dates stay text."""
    if not text:
        return None
    if kind == NUMBER and _NUMBER(text):
        return int(text) if text.lstrip("-").isdigit() else float(text)
    return text


def day(text: str, kind: str) -> date | None:
    """Return the day of a cell of a column of days or moments; None where it holds none."""
    if kind not in (DATE, MOMENT):
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
