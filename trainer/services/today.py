"""What waits for a trainer today, and where everybody at a worksite is with each lesson.

Both are read in a handful of questions to the database, however many people there are.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, tzinfo

from sqlmodel import Session, func, select

from trainer import lessons
from trainer.calculations.periods import next_due
from trainer.services import asking, describing, refreshing
from trainer.services.sitting import FAILED_BEFORE_TALK, NO_LESSON
from trainer.services.standing import FOR_CAUSE, History, histories
from trainer.store import board, site_lessons
from trainer.store.tables import (
    Assignment,
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
    about   lesson slug, or kind of step that falls due or is past its date, or what is worn
    count   how many people or lessons it is about
    number  of the question, where it is one
    """

    kind: str
    person: Person | None = None
    worksite: Worksite | None = None
    on: date | None = None
    about: str = ""
    count: int = 1
    number: int = 0


def waiting(
    db: Session, worksites: Sequence[Worksite], today: date, zone: tzinfo,
    by: Person | None = None, *, medical: bool = False,
) -> list[Item]:
    """Return what waits at these worksites, the most urgent first, the oldest of each first.

    zone     the time zone in which a moment becomes a day
    by       the trainer it waits for, who cannot deal with what is their own: another one does
    medical  may the reader know when determinations end?
    """
    ids = [one.id for one in worksites]
    there = _People(db, ids, today, zone)
    assigned = _assigned(there, today)
    late = {one.person.id for one in assigned if one.kind == "overdue"}
    found = [
        *_inadequate(db, worksites),
        *_asked(there),
        *assigned,
        *_falling_due(there, today, late, medical),
        *_failed(there),
        *_practice(there, today),
        *(Item(look.why, look.person, on=look.on)
          for look in refreshing.to_look_at(db, ids, today, zone)),
    ]
    theirs = (one for one in found if by is None or one.person is None or one.person.id != by.id)
    order = {kind: place for place, kind in enumerate(KINDS)}
    return sorted(theirs, key=lambda one: (order[one.kind], one.on or date.max))


@dataclass(frozen=True)
class Row:
    """A worker of the grid: done, begun or todo for each lesson of the course."""

    person: Person
    states: dict[str, str]
    done: int


def course_at(db: Session, worksite: int) -> list[str]:
    """Return what everybody at a worksite learns: our lessons, then those that it wrote."""
    theirs = (one for one in site_lessons.taught_at(db, [worksite]) if one.for_everyone)
    return [
        *(one.slug for one in lessons.load().all),
        *(site_lessons.slug_of(one.id) for one in theirs),
    ]


def grid(db: Session, worksite: int, today: date, sort: str = "") -> list[Row]:
    """Return each worker of a worksite with the state of each lesson in this round.

    sort    "" by name, "done" by how many are done, the fewest first; or a lesson's slug, those
            who have still to do it first
    Of two who are alike the name decides.
    """
    there = _People(db, [worksite], today)
    course = course_at(db, worksite)
    rows = [_row(there, person, course) for person in there.workers]
    if sort == "done":
        return sorted(rows, key=lambda row: row.done)
    if sort in course:
        order = {"todo": 0, "begun": 1, "done": 2}
        return sorted(rows, key=lambda row: order[row.states[sort]])
    return rows


@dataclass
class _People:
    """The workers of some worksites, what each has done, as `standing` says, and begun."""

    db: Session
    worksites: list[int]
    today: date
    zone: tzinfo = UTC
    workers: list[Person] = field(init=False)
    history: dict[int, History] = field(init=False)
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
        self.history = histories(self.db, self.workers)
        self.learnt = {who: one.learnt(self.today) for who, one in self.history.items()}
        newest = (
            select(Sitting.person_id, Sitting.lesson, func.max(Sitting.closed_at))
            .where(Sitting.passed.is_(True), Sitting.lesson != NO_LESSON, self.mine(Sitting))
            .group_by(Sitting.person_id, Sitting.lesson)
        )
        passed = {(who, slug): at for who, slug, at in self.db.exec(newest)}
        places = select(LessonPlace.person_id, LessonPlace.lesson, LessonPlace.moved_at).where(
            self.mine(LessonPlace)
        )
        self.begun = {
            (who, slug) for who, slug, moved in self.db.exec(places)
            if moved > passed.get((who, slug), moved - timedelta(seconds=1))
        }  # fmt: skip
        found = [
            item for one in self.history.values() for item in one.assignments
            if not one.fulfilled(item)
        ]  # fmt: skip
        self.open = sorted(found, key=lambda item: item.due)

    def day(self, moment: datetime) -> date:
        """Return the day on which a moment lies here."""
        return moment.astimezone(self.zone).date()

    def mine(self, table):
        """Return the condition that a row is about one of these people."""
        at = select(Membership.person_id).where(Membership.worksite_id.in_(self.worksites))
        return table.person_id.in_(at)

    def course_done(self, person: Person) -> datetime | None:
        """Return when the last lesson of this round was done; None while one is missing."""
        theirs = self.history[person.id]
        if not self.learnt[person.id].issuperset(theirs.course):
            return None
        credited = theirs.credited()
        done = [(theirs.passed_since(slug, 0), credited.get(slug)) for slug in theirs.course]
        moments = (one.entry.recorded_at for both in done for one in both if one)
        newest = max(moments, default=None)
        return datetime.fromisoformat(newest) if newest else None

    def owed(self) -> list[Assignment]:
        """Return what standing assignments ask by a day and was not done, as assignments."""
        return [
            Assignment(
                person_id=one.person_id, lesson=slug, due=one.due, reason="first",
                assigned_by=one.row.begun_by, assigned_at=one.row.begun_at,
            )
            for theirs in self.history.values()
            for one, slug in theirs.owing(self.today)
        ]  # fmt: skip


def _row(there: _People, person: Person, course: Iterable[str]) -> Row:
    def state(slug: str) -> str:
        if (person.id, slug) in there.begun:
            return "begun"
        return "done" if slug in there.learnt[person.id] else "todo"

    states = {slug: state(slug) for slug in course}
    return Row(person, states, sum(one == "done" for one in states.values()))


def _asked(there: _People) -> list[Item]:
    """Return questions that wait for an answer, and needs told in one tap."""
    found = asking.waiting(there.db, there.worksites)
    return [
        *(Item("need", one.person, on=there.day(one.need.told_at), about=one.need.kind)
          for one in found.needs),
        *(Item("question", one.person, on=there.day(one.question.asked_at),
               about=one.question.lesson, number=one.question.id)
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


def _falling_due(
    there: _People, today: date, late: Collection[int], medical: bool
) -> list[Item]:
    """Return whose clear tag ends soon or has ended, with the step that ends it.

    late    who has overdue lessons, which say as much
    """
    soon = today + timedelta(days=SOON_DAYS)
    rows = there.db.exec(
        select(Standing).where(there.mine(Standing), Standing.clear_until <= soon)
        .order_by(Standing.clear_until.desc(), Standing.id)
    )
    found: dict[tuple[int, str], date] = {}
    past_medical = []
    for row in rows:
        if row.person_id not in there.by_id:
            continue
        kind, day = _end(row, today, medical)
        if kind == "medical" and not medical:
            # That it is over stands on the tag, too; since when does not.
            past_medical += [row.person_id] if row.clear_until < today else []
        elif day <= soon:
            found[row.person_id, kind] = day  # of two respirators, the one that ends first
    ended = {who for (who, _), day in found.items() if day < today} | {*past_medical}
    for who, theirs in there.history.items():
        year = theirs.year_from()
        # An entry since then has made the tag say "not clear", and no longer since when.
        if year and next_due(year) < today and who not in ended:
            found[who, "training"] = next_due(year)
    return [
        Item("soon" if day >= today else "overdue", there.by_id[who], on=day, about=kind)
        for (who, kind), day in found.items()
        if who in there.by_id
        and not (day < today and who in late and kind in ("training", "practice"))
    ] + [
        Item("overdue", there.by_id[who], about="medical") for who in dict.fromkeys(past_medical)
    ]


def _end(row: Standing, today: date, medical: bool) -> tuple[str, date]:
    """Return the step that ends a clear tag, and its last good day.

    Whoever may not know when determinations end gets the step after it that does, or
    `medical` where the tag has ended with one, or nothing else ends it.
    """
    ends, others = row.clear_until, row.others_until
    if medical or row.next_due_kind != "medical" or ends < today:
        return row.next_due_kind, ends
    kinds = [
        kind for kind, column in board.DUE_KINDS.items()
        if kind != "medical" and others and getattr(row, column.key) == others
    ]
    return (kinds[0], others) if kinds else ("medical", ends)


def _failed(there: _People) -> list[Item]:
    """Return who failed a lesson twice since the last pass or talk; see `sitting.needs_talk`."""
    talks = {
        (who, slug): at
        for who, slug, at in there.db.exec(
            select(Talk.person_id, Talk.lesson, func.max(Talk.at))
            .where(there.mine(Talk))
            .group_by(Talk.person_id, Talk.lesson)
        )
    }
    closed = there.db.exec(
        select(Sitting.person_id, Sitting.lesson, Sitting.closed_at, Sitting.passed)
        .where(Sitting.closed_at.is_not(None), Sitting.lesson != NO_LESSON, there.mine(Sitting))
        .order_by(Sitting.id)
    )
    failed: Counter[tuple[int, str]] = Counter()
    last: dict[tuple[int, str], datetime] = {}
    for who, slug, at, passed in closed:
        what = (who, slug)
        if what in talks and at <= talks[what]:
            continue
        failed[what] = 0 if passed else failed[what] + 1
        last[what] = at
    return [
        Item("failed", there.by_id[who], on=there.day(last[who, slug]), about=slug)
        for (who, slug), count in failed.items()
        if count >= FAILED_BEFORE_TALK and who in there.by_id
    ]


def _practice(there: _People, today: date) -> list[Item]:
    """Return who has done every lesson of this round and is still to be watched.

    That is also whoever was trained and got a respirator of another class; and, in the yearly
    round, whoever has a practice that still counts for the tag and not for this round.
    """
    missing = set(
        there.db.exec(
            select(Standing.person_id)
            .join(Respirator, Respirator.id == Standing.respirator_id)
            .where(Standing.missing.contains("practice"), there.mine(Standing))
        )
    )
    required = set(
        there.db.exec(
            select(Respirator.person_id).where(
                Respirator.use != "voluntary", Respirator.ended_at.is_(None),
                there.mine(Respirator),
            )
        )
    )  # fmt: skip
    found = []
    for person in there.workers:
        last = there.course_done(person)
        again = there.history[person.id].open_again(today) and person.id in required
        if last and (person.id in missing or again):
            found.append(Item("practice", person, on=there.day(last)))
    return found
