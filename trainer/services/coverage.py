"""Who was taught what: workers against the elements that training must cover.

29 CFR 1910.134(k)(1)(i)-(vii), Appendix D for those who wear one by choice, (k)(6), and what only
the worksite can tell, (c)(1)(vii). Lessons say which elements they cover; an element counts as
covered once every lesson of the person's course that covers it is done.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from trainer.reference import training_elements
from trainer.services import curriculum, standing
from trainer.store import board
from trainer.store.tables import Person

STATES = ("done", "begun", "todo", "none")
"""Covered; in part; not at all; not asked of the person, or told by no lesson."""

BY_CHOICE = "Appendix D"
OF_WORKSITE = "(c)(1)(vii)"
MOST_COUNTED = 2000
"""So many people are counted element by element; a larger worksite is paged through uncounted."""

AT_ONCE = 250


@dataclass(frozen=True)
class Row:
    """A worker and, by paragraph of the element, one of STATES; missing: lessons still to do."""

    person: Person
    states: dict[str, str]
    missing: dict[str, tuple[str, ...]]


@dataclass(frozen=True)
class Look:
    """A page of the workers of a worksite.

    more    are there further ones after these?
    asked   how many people are counted; None where they are too many
    counts  by paragraph and state, how many people; {} where they are too many
    """

    rows: list[Row]
    more: bool
    asked: int | None
    counts: dict[str, dict[str, int]]


def look(
    db: Session, worksite: int, today: date, *, lacks: str = "", first: int = 0, most: int = 50
) -> Look:
    """Return workers of a worksite by name with what each was taught, as it counts today.

    lacks   paragraph of an element: only those who are without it, in part or in whole
    """
    many = board.workers_count(db, worksite)
    if many > MOST_COUNTED:
        found = _first(_rows(db, worksite, today, 0 if lacks else first), lacks,
                       first if lacks else 0, most + 1)  # fmt: skip
        return Look(found[:most], len(found) > most, None, {})
    every = list(_rows(db, worksite, today, 0))
    counts = {
        one.paragraph: dict.fromkeys(STATES, 0) for one in training_elements.rows()
    }
    for row in every:
        for paragraph, state in row.states.items():
            counts[paragraph][state] += 1
    asked = [row for row in every if not lacks or _lacks(row, lacks)]
    return Look(asked[first : first + most], len(asked) > first + most, many, counts)


def _first(rows: Iterator[Row], lacks: str, first: int, most: int) -> list[Row]:
    """Return the rows of a page, looking no further than it needs."""
    found: list[Row] = []
    for row in rows:
        if lacks and not _lacks(row, lacks):
            continue
        if first:
            first -= 1
            continue
        found.append(row)
        if len(found) == most:
            break
    return found


def _lacks(row: Row, paragraph: str) -> bool:
    return row.states.get(paragraph) in ("begun", "todo")


def _rows(db: Session, worksite: int, today: date, first: int) -> Iterator[Row]:
    """Give the workers of a worksite from the one at `first`, read some at a time."""
    covers: dict[str, frozenset[str]] = {}
    while persons := board.workers(db, worksite, first, AT_ONCE):
        given = board.appendix_d(db, [one.id for one in persons])
        histories = standing.histories(db, persons)
        for person in persons:
            yield _row(db, person, histories[person.id], given.get(person.id), covers, today)
        first += AT_ONCE


def _row(
    db: Session,
    person: Person,
    history: standing.History,
    given: bool | None,
    covers: dict[str, frozenset[str]],
    today: date,
) -> Row:
    """Return one worker's row.

    given   was the information for voluntary use given? None where nothing is worn by choice
    covers  the elements of each lesson looked up so far
    """
    states, missing = of_history(db, history, given, covers, today)
    return Row(person, states, missing)


def of_history(
    db: Session,
    history: standing.History,
    given: bool | None,
    covers: dict[str, frozenset[str]],
    today: date,
) -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    """Return by paragraph of the element one of STATES, and the lessons that are still to do.

    Parameters as in `_row`.
    """
    done = history.done(today, "first")
    states, missing = {}, {}
    for element in training_elements.rows():
        if element.paragraph == BY_CHOICE:
            states[element.paragraph] = "none" if given is None else "done" if given else "todo"
            continue
        about = [
            slug for slug in history.course if element.paragraph in _covered(db, slug, covers)
        ]
        left = tuple(slug for slug in about if slug not in done)
        # Nobody can be behind with what no lesson tells; `without_lesson` says what that is.
        states[element.paragraph] = (
            "none" if not about
            else "todo" if len(left) == len(about) else "begun" if left else "done"
        )
        missing[element.paragraph] = left
    return states, missing


def _covered(db: Session, slug: str, covers: dict[str, frozenset[str]]) -> frozenset[str]:
    if slug not in covers:
        lesson = curriculum.find(db, slug)
        covers[slug] = frozenset(lesson.elements if lesson else ())
    return covers[slug]


def without_lesson(db: Session, course: Sequence[str]) -> list[str]:
    """Return the elements that no lesson of a worksite's course covers."""
    covers: dict[str, frozenset[str]] = {}
    there = {one for slug in course for one in _covered(db, slug, covers)}
    return [
        one.paragraph
        for one in training_elements.rows()
        if one.paragraph != BY_CHOICE and one.paragraph not in there
    ]

