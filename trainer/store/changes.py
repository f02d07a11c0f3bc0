"""The log of who changed what, written in the same transaction as the change.

Every change passes one place, the flush of a session that writes; whatever is named in `WATCHED`
is noted there, so no service has to think of it. What has no row of its own, such as taking the
record out, calls `note`. The log holds names and settings, and never a medical value, a PIN or
what somebody answered.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime

from sqlalchemy import event, func, insert
from sqlalchemy.orm.attributes import PASSIVE_NO_INITIALIZE, get_history
from sqlmodel import Session, SQLModel, select

from trainer.store.tables import (
    Change,
    Entry,
    Membership,
    MergedPerson,
    Person,
    PersonRole,
    Respirator,
    Sample,
    Setting,
    SiteHazard,
    SiteLesson,
    SiteLessonVersion,
    StandingAssignment,
    Task,
    TaskRespirator,
    Worksite,
)

MANY = 1_000
"""So many lines go to the database at a time."""
SHORT = 200
"""The most letters of a value that the log repeats."""
NOTED_ENTRIES = ("medical", "medical-correction", "erasure")
"""Entries that the log tells of; all the others are told by the record itself."""


@dataclass(frozen=True)
class By:
    """Who changes something, when, and from where; "" where it is done on no page."""

    number: str = ""
    name: str = ""
    at: datetime | None = None
    address: str = ""  # of the network


@dataclass(frozen=True)
class About:
    """Whom or what a change is about."""

    number: str = ""
    name: str = ""


@dataclass(frozen=True)
class _Watch:
    """How changes of one table are told.

    about   finds out whom or what a row is about
    fields  the columns that are told, before and after
    ends    the column that says when the row ended
    named   what else is told, where the columns are only numbers: field and what it is called
    where   only rows of which this is so
    """

    kind: str
    about: Callable[[Session, SQLModel], About]
    fields: tuple[str, ...] = ()
    ends: str = ""
    named: Callable[[Session, SQLModel], tuple[str, str]] | None = None
    where: Callable[[SQLModel], bool] = field(default=lambda _row: True)


def begin(db: Session, by: By | None) -> None:
    """Say who works with a session, and note from now on what they change."""
    db.info["by"] = by or By()
    event.listen(db, "after_flush", _note_flush)


def note(
    db: Session,
    kind: str,
    deed: str,
    about: About | None = None,
    detail: Iterable[tuple[str, str, str]] = (),
) -> None:
    """Note something that was done, as the one who works with this session.

    detail  field, before and after, in plain words
    """
    db.execute(insert(Change), [_row(db, kind, deed, about or About(), detail)])


Told = tuple[str, str, About, Iterable[tuple[str, str, str]]]
"""Kind, deed, whom it is about, and the detail, as `note` takes them."""


def note_many(db: Session, told: Sequence[Told]) -> None:
    """Note many things at once, as `note` does each: for bulk statements, which pass it by."""
    for at in range(0, len(told), MANY):
        db.execute(insert(Change), [_row(db, *one) for one in told[at : at + MANY]])


def newest(db: Session, kinds: Sequence[str]) -> int:
    """Return the number of the newest change of these kinds; 0 where there is none."""
    return db.exec(select(func.max(Change.id)).where(Change.kind.in_(kinds))).one() or 0


def page(
    db: Session,
    *,
    by: str = "",
    about: Sequence[str] = (),
    kind: str = "",
    first: datetime | None = None,
    last: datetime | None = None,
    skip: int = 0,
    most: int = 50,
) -> list[Change]:
    """Return changes, the newest first, and one more than `most` where there are further ones.

    by          worker number of who changed it
    about       worker numbers of whom it is about
    first, last moments between which it was
    """
    query = select(Change).order_by(Change.id.desc()).offset(skip).limit(most + 1)
    if by:
        query = query.where(Change.by_number == by)
    if about:
        query = query.where(Change.about_number.in_(about))
    if kind:
        query = query.where(Change.kind == kind)
    if first:
        query = query.where(Change.at >= first)
    if last:
        query = query.where(Change.at < last)
    return list(db.exec(query))


def _note_flush(db: Session, _flush: object) -> None:
    """Note what a flush writes: the rows are numbered by now, and still tell what they were."""
    # Those of this very flush are not yet where `get` looks.
    named = (row for row in db.new if isinstance(row, (Person, Worksite)))
    db.info["fresh"] = {(type(row), row.id): row for row in named}
    rows = [row for found in _flushed(db) for row in [_told(db, *found)] if row]
    if rows:
        db.execute(insert(Change), rows)


def _flushed(db: Session) -> Iterator[tuple[SQLModel, str]]:
    for row in db.new:
        yield row, "added"
    for row in db.dirty:
        if db.is_modified(row):
            yield row, "changed"
    for row in db.deleted:
        yield row, "ended"


def _told(db: Session, row: SQLModel, deed: str) -> dict | None:
    """Return a line of the log about a row, or nothing where the log tells nothing of it."""
    watch = WATCHED.get(type(row))
    if watch is None or not watch.where(row):
        return None
    detail = list(_differences(row, watch.fields))
    if deed == "changed":
        ended = watch.ends and _history(row, watch.ends)
        if not detail and not ended:
            return None
        if ended:
            deed = "ended" if getattr(row, watch.ends) else "back"
    if watch.named:
        name, called = watch.named(db, row)
        detail.append((name, called, "") if deed == "ended" else (name, "", called))
    return _row(db, watch.kind, deed, watch.about(db, row), detail)


def _row(
    db: Session, kind: str, deed: str, about: About, detail: Iterable[tuple[str, str, str]]
) -> dict:
    by: By = db.info.get("by") or By()
    told = [(name, before[:SHORT], after[:SHORT]) for name, before, after in detail]
    return {
        "at": by.at or datetime.now(UTC),
        "by_number": by.number,
        "by_name": by.name,
        "kind": kind,
        "deed": deed,
        "about_number": about.number,
        "about": about.name,
        "detail": json.dumps(told, ensure_ascii=False),
    }


def _differences(row: SQLModel, fields: Iterable[str]) -> Iterator[tuple[str, str, str]]:
    for name in fields:
        found = _history(row, name)
        if found:
            before, after = found
            if _plain(before) != _plain(after):
                yield name, _plain(before), _plain(after)


def _history(row: SQLModel, name: str) -> tuple[object, object] | None:
    """Return what a column was and is now, or None where it did not change."""
    found = get_history(row, name, PASSIVE_NO_INITIALIZE)
    if not found.has_changes():
        return None
    return (found.deleted or [""])[0], (found.added or [""])[0]


def _plain(value: object) -> str:
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    return value.isoformat() if isinstance(value, date) else str(value)


# Whom or what a row is about.


def person_of(db: Session, person_id: int) -> About:
    """Return a person as the log names them."""
    return _named(_found(db, Person, person_id))


def _found(db: Session, table: type[SQLModel], number: int) -> SQLModel:
    """Return a row, read once a flush: a roster names the same worksite fifty thousand times."""
    fresh = db.info.setdefault("fresh", {})
    if (table, number) not in fresh:
        fresh[table, number] = db.get(table, number)
    return fresh[table, number]


def _named(person: Person) -> About:
    return About(person.number, person.name)


def _name_in(entry: Entry) -> str:
    return json.loads(entry.body or "{}").get("name", "")


def _worksite(db: Session, worksite_id: int) -> str:
    return _found(db, Worksite, worksite_id).name


def _task(db: Session, task_id: int) -> str:
    task = db.get(Task, task_id)
    return f"{_worksite(db, task.worksite_id)}: {task.name}"


def _hazard(db: Session, hazard_id: int) -> str:
    hazard = db.get(SiteHazard, hazard_id)
    return f"{_task(db, hazard.task_id)}: {hazard.name}"


def _title(version: SiteLessonVersion) -> str:
    texts = json.loads(version.content).get("texts", {})
    return next((text.get("title", "") for text in texts.values()), "")


def _lesson_about(db: Session, row: SiteLessonVersion) -> About:
    lesson = db.get(SiteLesson, row.lesson_id)
    return About(name=f"{_worksite(db, lesson.worksite_id)}: {_title(row)}")


WATCHED: dict[type[SQLModel], _Watch] = {
    Person: _Watch(
        "person", lambda _db, row: _named(row),
        ("number", "name", "language", "qualification", "left_on"),
    ),
    PersonRole: _Watch("role", lambda db, row: person_of(db, row.person_id), ("role",)),
    MergedPerson: _Watch(
        "merger", lambda db, row: person_of(db, row.person_id),
        named=lambda db, row: ("into", person_of(db, row.into_id).number),
    ),
    Respirator: _Watch(
        "respirator", lambda db, row: person_of(db, row.person_id),
        ("class_slug", "make", "model", "style", "size", "filters", "use"), "ended_at",
    ),
    Worksite: _Watch(
        "worksite", lambda _db, row: About(name=row.name),
        ("name", "time_zone", "rule_set", "ask_name", "ask_place", "ask_telephone", "ask_hours",
         "emergency_steps", "storage_place"),
    ),
    Setting: _Watch("setting", lambda _db, row: About(name=row.name), ("value",)),
    Task: _Watch("task", lambda db, row: About(name=_task(db, row.id)), (), "ended_at"),
    SiteHazard: _Watch(
        "hazard", lambda db, row: About(name=f"{_task(db, row.task_id)}: {row.name}"),
        ("substance", "kind", "unit", "molecular_weight", "limit", "limit_kind", "limit_source",
         "idlh", "oil", "eye_irritation", "oxygen_percent"), "ended_at",
    ),
    Sample: _Watch(
        "sample", lambda db, row: About(name=_hazard(db, row.hazard_id)),
        ("measured_on", "hours", "concentration", "as_measured"), "ended_at",
    ),
    TaskRespirator: _Watch(
        "task-respirator", lambda db, row: About(name=_task(db, row.task_id)),
        ("class_slug", "make", "model", "style", "sizes", "filter_class", "cartridge", "approval",
         "schedule_hours", "schedule_basis"), "ended_at",
    ),
    StandingAssignment: _Watch(
        "standing", lambda db, row: About(name=_worksite(db, row.worksite_id)),
        ("lesson", "class_slug", "days"), "ended_at",
    ),
    SiteLessonVersion: _Watch("lesson", _lesson_about, ("version", "why")),
    Membership: _Watch(
        "membership", lambda db, row: person_of(db, row.person_id),
        named=lambda db, row: ("worksite", _worksite(db, row.worksite_id)),
    ),
    Entry: _Watch(
        "entry", lambda _db, row: About(row.person_number, _name_in(row)),
        ("kind",), where=lambda row: row.kind in NOTED_ENTRIES,
    ),
}  # fmt: skip
"""What the log tells of."""
