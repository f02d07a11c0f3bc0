"""What waits for a trainer today, and where everybody at a worksite is with each lesson.

Both are read in a handful of questions to the database, however many people there are.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from sqlmodel import Session, func, select

from trainer import lessons
from trainer.calculations.periods import next_due
from trainer.services import asking, describing, refreshing
from trainer.services.sitting import FAILED_BEFORE_TALK, NO_LESSON
from trainer.services.standing import BEGIN_AGAIN_DAYS, FOR_CAUSE, counts_from
from trainer.store import assignments, record
from trainer.store.tables import (
    Assignment,
    Entry,
    LessonPlace,
    Membership,
    Person,
    PersonRole,
    Respirator,
    Sitting,
    Standing,
    Talk,
    Worksite,
)

SOON_DAYS = 14

KINDS = (
    "inadequate", "need", "question", "overdue", "failed", "soon", "practice", "faded", "watch",
)  # fmt: skip
"""What may wait, the most urgent first: a respirator that is not enough lets people breathe it."""


@dataclass(frozen=True)
class Item:
    """One thing that waits.

    kind    one of KINDS
    person  whom it is about; None for a respirator of a worksite
    on      since when, or by when
    about   lesson slug, or kind of step that falls due, or what is worn
    count   how many people or lessons it is about
    """

    kind: str
    person: Person | None = None
    worksite: Worksite | None = None
    on: date | None = None
    about: str = ""
    count: int = 1


def waiting(db: Session, worksites: Sequence[Worksite], today: date) -> list[Item]:
    """Return what waits at these worksites, the most urgent first, the oldest of each first."""
    ids = [one.id for one in worksites]
    there = _People(db, ids, today)
    found = [
        *_inadequate(db, worksites),
        *_asked(db, ids),
        *_assigned(there, today),
        *_falling_due(db, there, today),
        *_failed(db, there),
        *_practice(db, there),
        *(Item(look.why, look.person, on=look.on)
          for look in refreshing.to_look_at(db, ids, today)),
    ]
    order = {kind: place for place, kind in enumerate(KINDS)}
    return sorted(found, key=lambda one: (order[one.kind], one.on or date.max, one.about))


@dataclass(frozen=True)
class Row:
    """A worker of the grid: done, begun or todo for each lesson of the course."""

    person: Person
    states: dict[str, str]
    done: int


def grid(db: Session, worksite: int, today: date, sort: str = "") -> list[Row]:
    """Return each worker of a worksite with the state of each lesson in this round.

    sort    "" by name, "done" by how many are done, the fewest first; or a lesson's slug, those
            who have still to do it first
    """
    there = _People(db, [worksite], today)
    course = [one.slug for one in lessons.load().all]
    rows = [_row(there, person, course) for person in there.workers]
    if sort == "done":
        return sorted(rows, key=lambda row: row.done)
    if sort in course:
        order = {"todo": 0, "begun": 1, "done": 2}
        return sorted(rows, key=lambda row: order[row.states[sort]])
    return rows


@dataclass
class _People:
    """The workers of some worksites, and what each has passed and begun in this round."""

    db: Session
    worksites: list[int]
    today: date
    workers: list[Person] = field(init=False)
    trained: dict[int, datetime] = field(init=False)  # when training as a whole was last complete
    year_from: dict[int, date] = field(init=False)  # the day from which its year runs
    credited: dict[tuple[int, str], datetime] = field(init=False)  # and good still, (k)(4)
    passed: dict[tuple[int, str], datetime] = field(init=False)
    begun: set[tuple[int, str]] = field(init=False)
    open: list[Assignment] = field(init=False)  # assigned and not passed since

    def __post_init__(self) -> None:
        at = select(Membership.person_id).where(Membership.worksite_id.in_(self.worksites))
        working = select(PersonRole.person_id).where(PersonRole.role == "worker")
        self.workers = list(
            self.db.exec(
                select(Person)
                .where(Person.id.in_(at), Person.id.in_(working), Person.left_on.is_(None))
                .order_by(Person.search_key)
            )
        )
        self.by_id = {one.id: one for one in self.workers}
        self.course = [one.slug for one in lessons.load().all]
        self.trained, self.year_from = self._trained()
        self.credited = self._credited()
        newest = (
            select(Sitting.person_id, Sitting.lesson, func.max(Sitting.closed_at))
            .where(Sitting.passed.is_(True), Sitting.lesson != NO_LESSON, self.mine(Sitting))
            .group_by(Sitting.person_id, Sitting.lesson)
        )
        self.passed = {(who, slug): at for who, slug, at in self.db.exec(newest)}
        places = select(LessonPlace.person_id, LessonPlace.lesson, LessonPlace.moved_at).where(
            self.mine(LessonPlace)
        )
        self.begun = {
            (who, slug) for who, slug, moved in self.db.exec(places)
            if moved > self.passed.get((who, slug), moved - timedelta(seconds=1))
        }  # fmt: skip

        assigned = select(Assignment).where(
            Assignment.withdrawn_at.is_(None), self.mine(Assignment)
        )
        self.open = [
            one for one in self.db.exec(assigned.order_by(Assignment.due))
            if one.person_id in self.by_id
            and not self._fulfilled(one)
        ]  # fmt: skip
        self.asked_again = {
            (one.person_id, one.lesson) for one in self.open if one.reason in FOR_CAUSE
        }

    def mine(self, table):
        """Return the condition that a row is about one of these people."""
        at = select(Membership.person_id).where(Membership.worksite_id.in_(self.worksites))
        return table.person_id.in_(at)

    def done(self, person_id: int, slug: str) -> bool:
        """Say whether a lesson is passed in this round, or the round itself is complete."""
        if (person_id, slug) in self.asked_again:
            return False
        whole = self.trained.get(person_id)
        if whole is None or self._open_again(person_id):
            return self._since(person_id, slug, whole) or (person_id, slug) in self.credited
        return True

    def when(self, person_id: int, slug: str) -> datetime | None:
        """Return when a lesson was last passed or credited."""
        both = (self.passed.get((person_id, slug)), self.credited.get((person_id, slug)))
        return max(filter(None, both), default=None)

    def owed(self) -> list[Assignment]:
        """Return what standing assignments ask by a day and was not done, as assignments."""
        return [
            Assignment(
                person_id=one.person_id, lesson=slug, due=one.due, reason="first",
                assigned_by=one.row.begun_by, assigned_at=one.row.begun_at,
            )
            for one in assignments.owed(self.db, list(self.by_id))
            if one.due
            for slug in ((one.row.lesson,) if one.row.lesson else self.course)
            if not self._done_for(one, slug)
        ]  # fmt: skip

    def _done_for(self, one: assignments.Owed, slug: str) -> bool:
        """Say whether a standing assignment asks nothing more; see `standing.History`."""
        if slug in self.course:
            year = self.year_from.get(one.person_id)
            came_trained = year is not None and one.begins <= next_due(year)
            return came_trained or self.done(one.person_id, slug)
        passed = self.passed.get((one.person_id, slug))
        return passed is not None and next_due(passed.date()) >= max(one.begins, self.today)

    def _fulfilled(self, one: Assignment) -> bool:
        if self._since(one.person_id, one.lesson, one.assigned_at):
            return True
        credited = self.credited.get((one.person_id, one.lesson))
        return one.reason not in FOR_CAUSE and credited is not None and credited > one.assigned_at

    def _since(self, person_id: int, slug: str, moment: datetime | None) -> bool:
        passed = self.passed.get((person_id, slug))
        return passed is not None and (moment is None or passed > moment)

    def _open_again(self, person_id: int) -> bool:
        """Say whether the yearly round is open; a day more or less is no matter here."""
        return (next_due(self.year_from[person_id]) - self.today).days <= BEGIN_AGAIN_DAYS

    def _trained(self) -> tuple[dict[int, datetime], dict[int, date]]:
        newest = select(func.max(Entry.number)).where(Entry.kind == "training")
        newest = Entry.number.in_(newest.group_by(Entry.person_number))
        found = dict(self._entries("training", newest))
        return (
            {who: datetime.fromisoformat(entry.recorded_at) for who, entry in found.items()},
            {who: counts_from(entry, record.body(entry)) for who, entry in found.items()},
        )

    def _credited(self) -> dict[tuple[int, str], datetime]:
        """Return the lessons credited since training was last complete, while they are good."""
        return {
            (who, one["lesson"]): datetime.fromisoformat(entry.recorded_at)
            for who, entry in self._entries("credit")
            for one in record.body(entry)["lessons"]
            if one["shown"]
            and self.today <= next_due(date.fromisoformat(one["counts_from"]))
            and not (who in self.trained
                     and datetime.fromisoformat(entry.recorded_at) <= self.trained[who])
        }  # fmt: skip

    def _entries(self, kind: str, *which) -> list[tuple[int, Entry]]:
        """Return the entries of a kind about these people, oldest first."""
        query = (
            select(Person.id, Entry)
            .join(Entry, Entry.person_number == Person.number)
            .where(Entry.kind == kind, Person.id.in_(list(self.by_id)), *which)
            .order_by(Entry.number)
        )
        return list(self.db.exec(query))


def _row(there: _People, person: Person, course: Iterable[str]) -> Row:
    def state(slug: str) -> str:
        if (person.id, slug) in there.begun:
            return "begun"
        return "done" if there.done(person.id, slug) else "todo"

    states = {slug: state(slug) for slug in course}
    return Row(person, states, sum(one == "done" for one in states.values()))


def _asked(db: Session, worksites: Sequence[int]) -> list[Item]:
    """Return questions that wait for an answer, and needs told in one tap."""
    found = asking.waiting(db, worksites)
    return [
        *(Item("need", one.person, on=one.need.told_at.date(), about=one.need.kind)
          for one in found.needs),
        *(Item("question", one.person, on=one.question.asked_at.date(), about=one.question.lesson)
          for one in found.questions),
    ]  # fmt: skip


def _inadequate(db: Session, worksites: Sequence[Worksite]) -> list[Item]:
    return [
        Item("inadequate", None, worksite, about=check.worn.class_slug, count=len(people))
        for worksite in worksites
        for check, people in describing.inadequate(db, worksite)
        if people
    ]


def _assigned(there: _People, today: date) -> list[Item]:
    """Return open assignments that are overdue or due soon, those of a person as one."""
    open_: dict[tuple[int, str], list[Assignment]] = {}
    for row in [*there.open, *there.owed()]:
        if row.due <= today + timedelta(days=SOON_DAYS):
            kind = "overdue" if row.due < today else "soon"
            open_.setdefault((row.person_id, kind), []).append(row)
    return [
        Item(
            kind, there.by_id[who], on=same[0].due, count=len({one.lesson for one in same}),
            about="cause" if any(one.reason in FOR_CAUSE for one in same) else "lessons",
        )
        for (who, kind), same in open_.items()
    ]  # fmt: skip


def _falling_due(db: Session, there: _People, today: date) -> list[Item]:
    """Return whose clear tag ends soon, with the step that ends first."""
    rows = db.exec(
        select(Standing).where(
            Standing.clear_until >= today,
            Standing.clear_until <= today + timedelta(days=SOON_DAYS),
            there.mine(Standing),
        )
    )
    return [
        Item("soon", there.by_id[row.person_id], on=row.clear_until, about=row.next_due_kind)
        for row in rows
        if row.person_id in there.by_id
    ]


def _failed(db: Session, there: _People) -> list[Item]:
    """Return who failed a lesson twice since the last pass or talk; see `sitting.needs_talk`."""
    talks = {
        (who, slug): at
        for who, slug, at in db.exec(
            select(Talk.person_id, Talk.lesson, func.max(Talk.at))
            .where(there.mine(Talk))
            .group_by(Talk.person_id, Talk.lesson)
        )
    }
    closed = db.exec(
        select(Sitting)
        .where(Sitting.closed_at.is_not(None), Sitting.lesson != NO_LESSON, there.mine(Sitting))
        .order_by(Sitting.id)
    )
    failed: Counter[tuple[int, str]] = Counter()
    last: dict[tuple[int, str], datetime] = {}
    for one in closed:
        what = (one.person_id, one.lesson)
        if what in talks and one.closed_at <= talks[what]:
            continue
        failed[what] = 0 if one.passed else failed[what] + 1
        last[what] = one.closed_at
    return [
        Item("failed", there.by_id[who], on=last[who, slug].date(), about=slug)
        for (who, slug), count in failed.items()
        if count >= FAILED_BEFORE_TALK and who in there.by_id
    ]


def _practice(db: Session, there: _People) -> list[Item]:
    """Return who has passed every lesson of this round and is still to be watched."""
    course = [one.slug for one in lessons.load().all]
    missing = set(
        db.exec(
            select(Standing.person_id)
            .join(Respirator, Respirator.id == Standing.respirator_id)
            .where(Standing.missing.contains("practice"), there.mine(Standing))
        )
    )
    return [
        Item("practice", person, on=max(there.when(person.id, slug) for slug in course).date())
        for person in there.workers
        if person.id in missing and person.id not in there.trained
        and all(there.when(person.id, slug) for slug in course)
    ]  # fmt: skip
