"""Where a person stands: facts from the record, and the clearance worked out from them.

Of the entries those in force count: a corrected one with what it says now, a struck one not at
all.
"""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Row
from sqlmodel import Session, delete, select

from trainer import lessons
from trainer.calculations.clearance import (
    NO_END,
    Clearance,
    Facts,
    FitTest,
    Medical,
    Worn,
    clearance,
)
from trainer.calculations.periods import next_due
from trainer.reference import respirator_classes
from trainer.services import settings
from trainer.store import assignments, people, record, site_lessons
from trainer.store.tables import (
    Assignment,
    Entry,
    Installation,
    MergedPerson,
    Need,
    Person,
    Respirator,
    Standing,
)

FOR_CAUSE = frozenset({"changed-workplace", "changed-respirator", "knowledge-or-use", "other"})
"""Retraining reasons that make earlier training no longer count, 29 CFR 1910.134(k)(5)(i)-(iii)."""

@dataclass(frozen=True)
class LessonToDo:
    """A lesson that is open for a person, and why."""

    slug: str
    reason: str
    due: date | None
    before_wearing: bool = False  # a standing assignment, due before first wearing


@dataclass(frozen=True)
class Counted:
    """An entry as it counts, where that is not as it was recorded; its number stays.

    It was corrected, or recorded by a clock that was ahead.
    """

    number: int
    kind: str
    person_number: str
    happened_on: date
    recorded_at: str
    body: str  # what it says now, JSON


@dataclass(frozen=True)
class Done:
    """What counts as done: by an entry, and the day from which its year runs."""

    entry: Entry
    said: dict
    since: date

    @property
    def credited(self) -> bool:
        """Say whether it was not taught here, but stands in for it, (k)(4)."""
        return self.entry.kind == "credit"


@dataclass(frozen=True)
class Beyond:
    """A lesson that the training as a whole is without, and that is asked of a person beside it.

    class_slug  only for who wears this class; "" for everybody
    wearing     is it to be passed before wearing?
    until       the last good day of the newest pass, None without one that counts
    todo        what is to be done, None for now
    """

    slug: str
    class_slug: str
    wearing: bool
    until: date | None
    todo: LessonToDo | None


@dataclass(frozen=True)
class Tag:
    """One respirator of a person, and what is still needed before wearing it."""

    respirator: Respirator | None
    worn: Worn | None
    clearance: Clearance


def in_force(entries: Iterable[Entry]) -> list[tuple[Entry, dict]]:
    """Return the entries that count, in order, each with what it says now.

    entries     of whole people, their corrections among them; plain rows will do
    The newest correction of an entry decides: it says how the entry reads, or that it never should
    have been. Corrections themselves, and entries whose body was let go, are left out.
    """
    there = list(entries)
    last = newest_corrections(there)
    found = []
    for entry in there:
        if entry.kind in record.CORRECTIONS or entry.kind == record.ERASURE or entry.body is None:
            continue
        correction = last.get(entry.number)
        if correction is None:
            found.append((entry, record.body(entry)))
            continue
        said = correction[1]["said"]
        if said is not None:
            found.append((_as_corrected(entry, said), said))
    return found


def newest_corrections(entries: Iterable[Entry]) -> dict[int, tuple[Entry, dict]]:
    """Return by the number of a corrected entry its newest correction, with what that one says.

    A correction whose own body was let go says nothing any more, and neither does its entry.
    """
    found = {}
    made = [one for one in entries if one.kind in record.CORRECTIONS and one.body is not None]
    for entry in sorted(made, key=lambda one: one.number):
        said = record.body(entry)
        found[said["corrects"]] = (entry, said)
    return found


def struck(db: Session, kind: str = "") -> list[int]:
    """Return the numbers of the entries that were struck, whosesoever they are; "": of any kind."""
    found = newest_corrections(record.corrections(db))
    return [
        number
        for number, (_, said) in found.items()
        if kind in ("", said["corrected_kind"]) and said["said"] is None
    ]


def _as_corrected(entry: Entry, said: dict) -> Counted:
    return Counted(
        number=entry.number,
        kind=entry.kind,
        person_number=said["person_number"],
        happened_on=date.fromisoformat(said["happened_on"]),
        recorded_at=entry.recorded_at,
        body=json.dumps(said),
    )


def _not_ahead(
    db: Session, entry: Entry, said: dict, last: int | None
) -> tuple[Entry | Counted, dict]:
    """Return an entry of a moment to come, and what it says, as of when the clock was put right.

    Nothing was done after what was recorded later, whosesoever that is: the first such entry says
    by when this one was done. Without it, what was done would fall due years too late, and would
    count as done after whatever is asked for meanwhile. Until there is one, it counts as it is.

    last    the last entry that was known; None: all are
    """
    later = record.put_right_at(db, entry, last)
    if later is None:
        return entry, said
    day = min(entry.happened_on, _day_of(later, said))
    if said.get("counts_from"):
        said = said | {"counts_from": min(counts_from(entry, said), day).isoformat()}
    counted = Counted(
        entry.number, entry.kind, entry.person_number, day, later, json.dumps(said)
    )
    return counted, said


def home_worksite(db: Session, person: Person) -> Row | None:
    """Return the worksite that gives a person's days their time zone, as a plain row."""
    return next(iter(people.places(db, person.id)), None)


def today(db: Session, person: Person, now: datetime, zone: ZoneInfo) -> date:
    """Return the day it is at the person's worksite."""
    worksite = home_worksite(db, person)
    return now.astimezone(ZoneInfo(worksite.time_zone) if worksite else zone).date()


def worn(respirator: Respirator) -> Worn:
    """Return what the clearance needs to know of a respirator."""
    row = respirator_classes.get(respirator.class_slug)
    return Worn(
        class_slug=row.slug,
        tight=row.tight,
        filtering=row.slug == "apr-filtering",
        powered=row.powered,
        negative_full=row.slug == "apr-full",
        use=respirator.use,
        fits=fits(respirator),
    )


def fits(respirator: Respirator) -> tuple[str, str, str, str]:
    """Return make, model, style and size as they are matched with a fit test, (f)(2)."""
    named = (respirator.make, respirator.model, respirator.style, respirator.size)
    return tuple(people.key(part) for part in named)


@dataclass
class Read:
    """What a history is made of; entries and assignments may be plain rows.

    told    what the person told of their respirators in one tap
    until   entries of later days do not count, None: all do
    last    the last entry of the record that was known, None: all are
    """

    entries: Sequence[Entry]
    assignments: Sequence[Assignment]
    owed: Sequence[assignments.Owed]
    theirs: Sequence[site_lessons.InCourse]
    told: Sequence[tuple[Need, Respirator]] = ()
    until: date | None = None
    last: int | None = None


def histories(db: Session, persons: Sequence[Person]) -> dict[int, "History"]:
    """Return by id what lessons and assignments say of each of these people, and nothing else.

    Read in a handful of questions to the database, however many people there are.
    """
    ids = [person.id for person in persons]
    numbers = people.numbers_of(db, persons)
    every = [number for theirs in numbers.values() for number in theirs]
    kinds = ("lesson", "credit", "training", *record.CORRECTIONS)
    entries = record.of_people(db, every, kinds)
    assigned, theirs = people.assignments_of(db, ids), site_lessons.courses(db, ids)
    owed: dict[int, list[assignments.Owed]] = {}
    for one in assignments.owed(db, ids):
        owed.setdefault(one.person_id, []).append(one)
    return {
        who: History(db, person, Read(
            _joined(entries, numbers[who]), assigned.get(who, ()), owed.get(who, ()),
            theirs.get(who, ()),
        ))
        for who, person in zip(ids, persons, strict=True)
    }  # fmt: skip


def _joined(entries: dict[str, list], numbers: tuple[str, ...]) -> Sequence[Entry]:
    """Return the entries of all numbers of a person in the order of the record."""
    if len(numbers) == 1:
        return entries.get(numbers[0], ())
    found = [entry for number in numbers for entry in entries.get(number, ())]
    return sorted(found, key=lambda entry: entry.number)


class History:
    """A person's entries, read once, and the questions asked of them."""

    def __init__(self, db: Session, person: Person, read: Read | None = None) -> None:
        read = read or Read(
            record.rows_of_person(db, people.numbers(db, person)),
            people.assignments(db, person.id),
            assignments.owed(db, [person.id]),
            site_lessons.course(db, person.id),
            people.told(db, [person.id]).get(person.id, ()),
        )
        self.entries = read.entries
        self._said: dict[str, list[tuple[Entry, dict]]] = {}
        soon = record.moment(datetime.now(UTC))
        for entry, said in in_force(self.entries):
            if entry.recorded_at > soon:
                entry, said = _not_ahead(db, entry, said, read.last)
            if read.until is None or entry.happened_on <= read.until:
                self._said.setdefault(entry.kind, []).append((entry, said))
        place = home_worksite(db, person) if read.told else None
        zone = ZoneInfo(place.time_zone if place else "UTC")
        self._told = [(need, need.told_at.astimezone(zone), worn) for need, worn in read.told]
        self._last = _newest(self.of("training"))
        # How long before the yearly date the lessons open again is our own choice, no source.
        self._begin_again_days = settings.of(db).begin_again_days
        self.assignments = read.assignments
        self.owed = read.owed
        self.theirs = read.theirs
        # What is learnt as a whole: our lessons, then those that the person's worksites wrote.
        ours = tuple(lesson.slug for lesson in lessons.load().all)
        self.course = ours + tuple(one.slug for one in self.theirs)
        # By lesson, the oldest first.
        self._passes: dict[str, list[Done]] = {}
        for entry, said in self.of("lesson"):
            one = Done(entry, said, counts_from(entry, said))
            self._passes.setdefault(said["lesson"], []).append(one)

    def of(self, *kinds: str) -> list[tuple[Entry, dict]]:
        """Return the entries of these kinds, or of all, with what they say, oldest first."""
        if len(kinds) == 1:
            return self._said.get(kinds[0], [])
        found = (pair for kind in kinds or self._said for pair in self._said.get(kind, ()))
        return sorted(found, key=lambda pair: pair[0].number)

    def last_training(self) -> Entry | None:
        """Return the newest entry that training as a whole is complete."""
        return self._last[0] if self._last else None

    def year_from(self) -> date | None:
        """Return the day from which the year of the last training as a whole runs."""
        return counts_from(*self._last) if self._last else None

    def passed_since(self, slug: str, number: int) -> Done | None:
        """Return the newest pass of a lesson after entry `number`."""
        newest = next(reversed(self._passes.get(slug, [])), None)
        return newest if newest and newest.entry.number > number else None

    def this_round(self, today: date) -> dict[str, Done]:
        """Return the lessons that count towards the whole: since the last one, within a year.

        A pass counts, and credit for earlier training where nothing better was shown since;
        neither while the lesson is asked again for cause.
        """
        again = self.retraining()
        last = self.last_training()
        number = last.number if last else 0
        credited = self.credited()
        found = {
            slug: [self.passed_since(slug, number), credited.get(slug)] for slug in self.course
        }
        best = {
            slug: max(filter(None, both), key=lambda one: one.since)
            for slug, both in found.items()
            if any(both)
        }
        return {
            slug: one
            for slug, one in best.items()
            if today <= next_due(one.since) and slug not in again
        }

    def credits(self, today: date) -> list[tuple[date, dict]]:
        """Return the credits of this round that are still good: the earlier day, what was said."""
        last = self.last_training()
        found = [
            (counts_from(entry, said), said)
            for entry, said in self.of("credit")
            if entry.number > (last.number if last else 0)
        ]
        return [(on, said) for on, said in found if today <= next_due(on)]

    def credited(self) -> dict[str, Done]:
        """Return by lesson the newest credit of this round, knowledge of it shown.

        A lesson that was asked again for cause is credited no longer: knowledge is what credit
        rests on, (k)(4).
        """
        again = self._asked_again()
        found = self._credit(shown=True).items()
        return {slug: one for slug, one in found if slug not in again}

    def earlier(self, slug: str) -> Done | None:
        """Return the credit of this round for which a sitting is to show the knowledge."""
        return self._credit(shown=False).get(slug)

    def _credit(self, shown: bool) -> dict[str, Done]:
        last = self.last_training()
        return {
            one["lesson"]: Done(entry, said, date.fromisoformat(one["counts_from"]))
            for entry, said in self.of("credit")
            if entry.number > (last.number if last else 0)
            for one in said["lessons"]
            if one["shown"] is shown
        }

    def _asked_again(self) -> set[str]:
        """Return the lessons asked for cause in this round, passed since or not."""
        last = self.last_training()
        since = last.recorded_at if last else ""
        return {
            item.lesson
            for item in self.assignments
            if item.reason in FOR_CAUSE and record.moment(item.assigned_at) > since
        }

    def to_be_shown(self, today: date) -> dict[str, Done]:
        """Return the lessons whose sitting may begin unread: earlier training covered them."""
        closed = {*self.this_round(today), *self._asked_again()}
        return {
            slug: one
            for slug, one in self._credit(shown=False).items()
            if slug not in closed and today <= next_due(one.since)
        }

    def practice(self, class_slug: str) -> tuple[Entry, dict] | None:
        """Return the newest practice with a class of respirator, passed or not."""
        return _newest(
            (entry, said)
            for entry, said in self.of("practice")
            if said["respirator"]["class"] == class_slug
        )

    def retraining(self) -> tuple[str, ...]:
        """Return the lessons assigned for cause and not passed since."""
        open_ = (
            item.lesson
            for item in self.assignments
            if item.reason in FOR_CAUSE and not self.fulfilled(item)
        )
        return tuple(dict.fromkeys(open_))

    def fulfilled(self, item: Assignment) -> bool:
        """Say whether an assigned lesson was passed since, or credited.

        For cause it is to be taught and passed here, in a sitting begun since: what was taught
        before, here or elsewhere, is what did not last, (k)(5).
        """
        since = record.moment(item.assigned_at)
        for_cause = item.reason in FOR_CAUSE
        passed = any(
            not (for_cause and _not_taught_since(one, since))
            for one in self._passes.get(item.lesson, ())
            if one.entry.recorded_at > since
        )
        if passed or for_cause:
            return passed
        return any(
            one["lesson"] == item.lesson and one["shown"]
            for entry, said in self.of("credit")
            if entry.recorded_at > since
            for one in said["lessons"]
        )

    def done(self, today: date, reason: str) -> frozenset[str]:
        """Return the lessons that need not be assigned as first or yearly training any more.

        Those of this round; and, as first training, the course once training is complete, but for
        what a worksite taught without this person.
        """
        year = self.year_from()
        complete = reason == "first" and year is not None and today <= next_due(year)
        return self._but_asked(self.course if complete else self.this_round(today), today)

    def learnt(self, today: date) -> frozenset[str]:
        """Return the lessons of the course that are done: in this round, or in the last one."""
        between = self.last_training() is not None and not self.open_again(today)
        return self._but_asked(self.course if between else self.this_round(today), today)

    def _but_asked(self, slugs: Iterable[str], today: date) -> frozenset[str]:
        """Return these lessons but for those that are asked beside the whole, or for cause."""
        lacking = {one.slug for one in self.beyond(today) if one.until is None}
        return frozenset(slugs) - lacking - set(self.retraining())

    def open_again(self, today: date) -> bool:
        """Say whether the yearly round is open after the last training as a whole."""
        year = self.year_from()
        return year is not None and (next_due(year) - today).days <= self._begin_again_days

    def owing(self, today: date) -> Iterator[tuple[assignments.Owed, str]]:
        """Give what standing assignments ask by a day and is not done, each with its lesson."""
        done = self.learnt(today)
        for one in self.owed:
            if one.due is None:
                continue
            if self._is_beyond(one):
                if self._asked_beyond(one, today).until is None:
                    yield one, one.row.lesson
            elif not self._came_trained(one):
                yield from ((one, slug) for slug in self._of_course(one) if slug not in done)

    def to_do(self, today: date) -> list[LessonToDo]:
        """Return the lessons that are open, assigned ones first, then the rest of the course."""
        open_ = {
            item.lesson: LessonToDo(item.lesson, item.reason, item.due)
            for item in reversed(self.assignments)
            if not self.fulfilled(item)
        }
        # Of two that ask for the same lesson, the one before wearing counts.
        beside = filter(None, (beyond.todo for beyond in self.beyond(today)))
        for one in sorted(beside, key=lambda one: not one.before_wearing):
            open_.setdefault(one.slug, one)
        for one in self._course_to_do(today):
            open_.setdefault(one.slug, one)
        order = {slug: place for place, slug in enumerate(self.course)}
        return sorted(
            open_.values(),
            key=lambda item: (
                date.min if item.before_wearing else item.due or NO_END,
                order.get(item.slug, len(order)),
            ),
        )

    def _course_to_do(self, today: date) -> Iterator[LessonToDo]:
        """Give the lessons of the course that are open in this round."""
        begun = self.year_from()
        due = next_due(begun) if begun else None
        if due and not self.open_again(today):
            return
        passed = self.this_round(today)
        reason = "yearly" if due else "first"
        asked: dict[str, assignments.Owed] = {}
        for one in sorted(self.owed, key=lambda one: one.due or date.min):
            if not self._came_trained(one):
                for slug in self._of_course(one):
                    asked.setdefault(slug, one)
        for slug in self.course:
            if slug in asked and slug not in passed:
                wanted = asked[slug].due
                yield LessonToDo(slug, reason, wanted, before_wearing=wanted is None)
            elif slug not in passed:
                yield LessonToDo(slug, reason, due)

    def _came_trained(self, one: assignments.Owed) -> bool:
        """Say whether somebody came with training that was still good: due on its yearly day."""
        year = self.year_from()
        return year is not None and one.begins <= next_due(year)

    def _of_course(self, one: assignments.Owed) -> tuple[str, ...]:
        return (one.row.lesson,) if one.row.lesson else self.course

    def beyond(self, today: date) -> list[Beyond]:
        """Return the lessons that are asked of the person beside the training as a whole.

        Standing assignments ask for those that are not of the course, when the person comes and
        every year after: (k)(5). A worksite asks for those that it teaches everybody and that the
        last training was without, such as somebody's who was trained at another worksite.
        """
        standing = [self._asked_beyond(one, today) for one in self.owed if self._is_beyond(one)]
        return [*standing, *(self._of_worksite(one, today) for one in self._not_in_the_whole())]

    def _not_in_the_whole(self) -> list[site_lessons.InCourse]:
        if self._last is None or not self.theirs:  # then all of them are still part of it
            return []
        had = {one["lesson"] for one in self._last[1].get("lessons", ())}
        return [one for one in self.theirs if one.slug not in had]

    def _is_beyond(self, one: assignments.Owed) -> bool:
        slug = one.row.lesson
        without = (lesson.slug for lesson in self._not_in_the_whole())
        return bool(slug) and (slug not in self.course or slug in without)

    def _asked_beyond(self, one: assignments.Owed, today: date) -> Beyond:
        about = (one.row.lesson, one.row.class_slug, one.due is None)
        passed = self.passed_since(one.row.lesson, 0)
        until = next_due(passed.since) if passed else None
        if until is None or until < one.begins:
            return Beyond(*about, None, LessonToDo(about[0], "first", one.due, one.due is None))
        if until < today:
            return Beyond(*about, None, LessonToDo(about[0], "yearly", until))
        again = (until - today).days <= self._begin_again_days
        return Beyond(*about, until, LessonToDo(about[0], "yearly", until) if again else None)

    def _of_worksite(self, one: site_lessons.InCourse, today: date) -> Beyond:
        """Return how a worksite asks for a lesson that the training as a whole is without.

        Whoever came when it was taught there owes it before wearing there, (k)(3) and (k)(5)(i);
        whoever was there and trained when it was published, on the yearly day.
        """
        slug, wearing = one.slug, one.came_after
        last, passed = self.last_training(), self.passed_since(slug, 0)
        until = next_due(passed.since) if passed else None
        if until is None or until < today:
            due = None if wearing else next_due(self.year_from())
            reason = "yearly" if passed else "first"
            return Beyond(slug, "", wearing, None, LessonToDo(slug, reason, due, wearing))
        # What was passed since counts in the next round, which asks for it in time.
        again = passed.entry.number < last.number and (until - today).days <= self._begin_again_days
        todo = LessonToDo(slug, "yearly", until) if again else None
        return Beyond(slug, "", wearing, until, todo)

    def facts(self, respirator: Respirator, today: date) -> Facts:
        """Return what the clearance of one respirator is worked out from."""
        practice = self.practice(respirator.class_slug)
        training = self.last_training()
        since = self.year_from()
        # Those with days to do it in are asked too, but only these keep a respirator off.
        beyond = [
            one
            for one in self.beyond(today)
            if one.wearing and one.class_slug in ("", respirator.class_slug)
        ]
        given = [entry.happened_on for entry, _ in self.of("appendix-d")]
        return Facts(
            medical=self._medical(),
            appendix_d_on=max(given, default=None),
            trained_on=training.happened_on if training else None,
            counts_from=since if training and since < training.happened_on else None,
            lessons_passed=len(self.this_round(today)),
            lessons_asked=len(self.course),
            retraining=self.retraining(),
            beyond=tuple(dict.fromkeys(one.slug for one in beyond if one.until is None)),
            beyond_until=min((one.until for one in beyond if one.until), default=None),
            practised_on=practice[0].happened_on if practice else None,
            practice_passed=bool(practice and practice[1]["passed"]),
            fit_test=self._fit_test(fits(respirator)),
            fit_changed=self._fit_changed(fits(respirator)),
            leaks_since=self._leaks_since(respirator),
        )

    def _fit_changed(self, wanted: tuple[str, str, str, str]) -> bool:
        """Say whether the person told that the fit has changed, with no fit test since, (f)(3)."""
        told = [
            at for need, at, worn in self._told if need.kind == "fit" and fits(worn) == wanted
        ]
        test = self._newest_fit_test(wanted)
        if not told or test is None:
            return False
        # On the day itself the moment at which the test was recorded tells which came first.
        entry, last = test[0], max(told)
        return entry.happened_on < last.date() or entry.recorded_at <= record.moment(last)

    def _leaks_since(self, respirator: Respirator) -> date | None:
        """Return since when a leak of this very respirator waits to be dealt with."""
        told = [
            at
            for need, at, worn in self._told
            if need.kind == "leak" and need.dealt_with_at is None and worn.id == respirator.id
        ]
        return min(told).date() if told else None

    def _medical(self) -> Medical | None:
        found = _newest(self.of("medical"))
        if not found:
            return None
        entry, said = found
        until = date.fromisoformat(said["until"]) if said["until"] else None
        return Medical(entry.happened_on, said["outcome"], said["limit"], until)

    def _fit_test(self, wanted: tuple[str, str, str, str]) -> FitTest | None:
        found = self._newest_fit_test(wanted)
        if not found:
            return None
        entry, said = found
        qualitative = said["test_kind"] == "qualitative"
        return FitTest(entry.happened_on, said["passed"], wanted, qualitative)

    def _newest_fit_test(self, wanted: tuple[str, str, str, str]) -> tuple[Entry, dict] | None:
        parts = ("make", "model", "style", "size")
        return _newest(
            (entry, said)
            for entry, said in self.of("fit-test")
            if tuple(people.key(said[part]) for part in parts) == wanted
        )


def counts_from(entry: Entry, said: dict) -> date:
    """Return the day from which the year of an entry runs: earlier training's, where it says so."""
    earlier = said.get("counts_from")
    return date.fromisoformat(earlier) if earlier else entry.happened_on


def _not_taught_since(one: Done, moment: str) -> bool:
    """Say whether a pass shows what was learnt before a moment, or elsewhere."""
    return "credit_entry" in one.said or one.said.get("started", moment) < moment


def _newest(found: Iterable[tuple[Entry, dict]]) -> tuple[Entry, dict] | None:
    """Return the newest by the day it happened; of two on one day, the later entry.

    found   in the order of the record
    Nothing happened after what was recorded later. Where an entry says so, the clock was set back
    between the two, and it counts as of the day of the later one; otherwise whatever is done since
    would count for nothing until the day that it says.
    """
    newest, day = None, date.min
    for pair in found:
        if pair[0].happened_on < day:
            day = min(day, _recorded_on(*pair))
        if pair[0].happened_on >= day:
            newest, day = pair, pair[0].happened_on
    return newest


def _recorded_on(entry: Entry, said: dict) -> date:
    """Return the day on which an entry was recorded, at its worksite."""
    return _day_of(entry.recorded_at, said)


def _day_of(moment: str, said: dict) -> date:
    """Return the day of a moment of the record by the clock of the worksite of an entry."""
    return datetime.fromisoformat(moment).astimezone(ZoneInfo(said.get("zone", "UTC"))).date()


NOTHING_WORN = Tag(None, None, Clearance((), None))
"""The tag of whoever has no respirator."""


def tags(db: Session, person: Person, today: date, history: History | None = None) -> list[Tag]:
    """Return a person's tags, one a respirator; one without a respirator where none is given.

    history     the person's, where it was read already
    """
    history = history or History(db, person)
    worksite = home_worksite(db, person)
    rule_set = worksite.rule_set if worksite else "federal"
    given = people.wears(db, person.id)
    return [_tag(history, item, today, rule_set) for item in given] or [NOTHING_WORN]


PERSONS_AT_ONCE = 500
"""A question to the database names so many people at most."""


def tags_on(db: Session, persons: Sequence[Person], day: date) -> dict[int, list[Tag]]:
    """Return by id the tags of these people as they stood at the end of a day gone by.

    From the entries that had happened by then and are in force now: what was corrected since
    counts as it reads today. With the respirators that people had, the worksites where they
    belonged, and what was assigned and told by then. Read in a handful of questions, however many
    people there are.
    """
    found: dict[int, list[Tag]] = {}
    for at in range(0, len(persons), PERSONS_AT_ONCE):
        some = stood_on(db, persons[at : at + PERSONS_AT_ONCE], day)
        found |= {who: one.tags for who, one in some.items()}
    return found


@dataclass(frozen=True)
class Stood:
    """Where a person stood at the end of a day gone by, and what that is worked out from.

    numbers     all worker numbers
    entries     all that were known, oldest first: those of later days and corrections too
    stays       where they belong and belonged, later too
    there       where they belonged on that day
    left_on     the day on which they had left; None: they had not, or had come back
    """

    person: Person
    numbers: tuple[str, ...]
    entries: Sequence[Entry]
    history: History
    tags: list[Tag]
    stays: Sequence[people.Stay]
    there: Sequence[people.Stay]
    left_on: date | None


def stood_on(
    db: Session,
    persons: Sequence[Person],
    day: date,
    last: int | None = None,
    at: datetime | None = None,
    stays: dict[int, list[people.Stay]] | None = None,
) -> dict[int, Stood]:
    """Return by id where these people stood at the end of a day gone by.

    last    the last entry of the record that was known; None: all are
    at      the moment after which nothing was known; None: all is
    stays   where they belong and belonged, where it was read already
    Read in a handful of questions; at most PERSONS_AT_ONCE people.
    """
    ids = [person.id for person in persons]
    numbers = people.numbers_of(db, persons, at)
    every = [number for theirs in numbers.values() for number in theirs]
    entries = record.of_people(db, every, last=last)
    ever = people.respirators_ever(db, ids)
    assigned = people.assignments_ever(db, ids)
    told = people.told(db, ids)
    stays = people.stays(db, ids) if stays is None else stays
    there = {who: [one for one in stays.get(who, ()) if one.covers(day, at)] for who in ids}
    all_there = [stay for theirs in there.values() for stay in theirs]
    owed: dict[int, list[assignments.Owed]] = {}
    # Of what was given after that day, nobody knew then.
    ends = {
        who: people.end_of(day, _zone_on(there[who], stays.get(who, ())), at) for who in ids
    }
    worn = {who: [one for one in ever.get(who, ()) if one.given_at < ends[who]] for who in ids}
    for one in assignments.owed_on(db, all_there, worn, day, at):
        owed.setdefault(one.person_id, []).append(one)
    theirs = site_lessons.courses_on(db, all_there, day, at)
    found = {}
    for person in persons:
        who, end = person.id, ends[person.id]
        known = _joined(entries, numbers[who])
        history = History(db, person, Read(
            known,
            [one for one in assigned.get(who, ())
             if _between(one.assigned_at, one.withdrawn_at, end)],
            owed.get(who, ()),
            theirs.get(who, ()),
            [(_as_told(need, end), on) for need, on in told.get(who, ()) if need.told_at < end],
            until=day,
            last=last,
        ))  # fmt: skip
        left_on = left_by(db, person, entries, numbers[who], day, last)
        rule_set = there[who][0].worksite.rule_set if there[who] else "federal"
        held = [one for one in worn[who] if _between(one.given_at, one.ended_at, end)]
        if left_on and left_on < day:
            held = []  # what was not taken back by then is worn no more
        found[who] = Stood(
            person, numbers[who], known, history,
            [_tag(history, one, day, rule_set) for one in held] or [NOTHING_WORN],
            stays.get(who, ()), there[who], left_on,
        )  # fmt: skip
    return found


def left_by(
    db: Session,
    person: Person,
    entries: dict[str, list[Entry]],
    numbers: tuple[str, ...],
    day: date,
    last: int | None = None,
) -> date | None:
    """Return the day on which a person had left by the end of a day; None: they had not.

    entries  by worker number those that were known, which may be only `left` and `returned` and
             what corrects them
    last     the last entry that was known; None: all are
    """
    places = [
        entry for entry in _joined(entries, numbers)
        if entry.kind in ("left", "returned", *record.CORRECTIONS)
    ]  # fmt: skip
    said = [
        (entry, body) for entry, body in in_force(places)
        if entry.kind in ("left", "returned") and entry.happened_on <= day
    ]  # fmt: skip
    if said:
        entry, body = said[-1]
        return date.fromisoformat(body["left_on"]) if entry.kind == "left" else None
    if person.left_on is None or person.left_on > day:
        return None
    # Set without an entry it counts; an entry that came since tells that it was set later.
    later = record.of_people(db, numbers, ("left",))
    known = last or 0
    return None if any(one.number > known for rows in later.values() for one in rows) \
        else person.left_on


def _zone_on(there: Sequence[people.Stay], ever: Sequence[people.Stay]) -> str:
    """Return the time zone of a person's day: that of the worksite then, else of any since."""
    stay = next(iter([*there, *ever]), None)
    return stay.worksite.time_zone if stay else "UTC"


def _between(begun: datetime, ended: datetime | None, moment: datetime) -> bool:
    return begun < moment and (ended is None or ended >= moment)


def _as_told(need: Need, end: datetime) -> Need:
    """Return what was told as it stood at a moment: dealt with later, it was open."""
    if need.dealt_with_at is None or need.dealt_with_at < end:
        return need
    return Need(
        id=need.id, person_id=need.person_id, kind=need.kind, respirator_id=need.respirator_id,
        told_at=need.told_at,
    )  # fmt: skip


def _tag(history: History, respirator: Respirator, today: date, rule_set: str) -> Tag:
    about = worn(respirator)
    return Tag(
        respirator,
        about,
        clearance(about, history.facts(respirator, today), today, rule_set),
    )


def refresh(db: Session, person: Person, today: date) -> None:
    """Write anew what the tag board shows of a person; called by whatever changes it."""
    db.exec(delete(Standing).where(Standing.person_id == person.id))
    history = History(db, person)
    rows = [_on_board(person, history, tag, today) for tag in tags(db, person, today, history)]
    lead = min(rows, key=_urgency)
    others = [row.others_until for row in rows if row.others_until]
    for row in rows:
        row.lead_until, row.lead_begun = lead.clear_until, lead.begun
        row.lead_others_until = min(others, default=None)
    db.add_all(rows)
    db.flush()


def _on_board(person: Person, history: History, tag: Tag, today: date) -> Standing:
    """Return one tag as a row of the board."""
    due = tag.clearance.next_due
    by_kind = {step.kind: step.due for step in tag.clearance.steps}
    year = history.year_from()
    return Standing(
        person_id=person.id,
        search_key=person.search_key,
        left_on=person.left_on,
        respirator_id=tag.respirator.id if tag.respirator else None,
        clear_until=tag.clearance.until,
        missing=" ".join(tag.clearance.missing),
        next_due=due.due if due else None,
        next_due_kind=due.kind if due else "",
        begun=any(step.state != "todo" for step in tag.clearance.steps),
        others_until=until_but_medical(tag.clearance),
        medical_due=by_kind.get("medical"),
        training_due=next_due(year) if year and "training" in by_kind else None,
        practice_due=by_kind.get("practice"),
        fit_test_due=by_kind.get("fit-test"),
        lessons_due=_lessons_due(history, tag, today),
    )


def until_but_medical(clearance: Clearance) -> date | None:
    """Return the last good day of all steps but the medical one; None while one is not done."""
    steps = [step for step in clearance.steps if step.kind != "medical"]
    if not clearance.steps or any(step.state != "done" for step in steps):
        return None
    return min((step.due or NO_END for step in steps), default=NO_END)


def _lessons_due(history: History, tag: Tag, today: date) -> date | None:
    """Return by when the first of the worksite's lessons is to be done again."""
    if tag.respirator is None:
        return None
    classes = ("", tag.respirator.class_slug)
    asked = (one for one in history.beyond(today) if one.class_slug in classes)
    return min((one.until for one in asked if one.until), default=None)


def _urgency(row: Standing) -> tuple[bool, bool, date]:
    """Return what orders the tags of one person: not clear, what was begun, the sooner."""
    return row.clear_until is not None, not row.begun, row.clear_until or date.max


def put_right(db: Session, now: datetime, zone: ZoneInfo) -> None:
    """Work out anew where people stand of whom an entry tells of a day to come.

    A clock that was ahead recorded it, and the board still shows what was worked out by that clock.
    Inside `writing()`.
    """
    found = (people.by_number(db, number) for number in ahead(db, now))
    for person in {one.id: one for one in found if one}.values():
        refresh(db, person, today(db, person, now, zone))


def ahead(db: Session, now: datetime) -> list[str]:
    """Return the worker numbers of which an entry tells of a day to come, wherever they are."""
    return record.told_of_later(db, now.date() + timedelta(days=1))


KEPT_AS = "2"
"""How the rows of the board are worked out; raised by whatever changes what stands in them."""

AT_A_TIME = 200


def catch_up(db: Session, now: datetime, zone: ZoneInfo, after: int = 0) -> int | None:
    """Work out anew the board's rows that an earlier version made, some people at a time.

    after   the id of the person that was the last one
    Return the id of the last person done, to go on from; None once all of them are as `KEPT_AS`.
    """
    kept = db.get(Installation, "board rows")
    if kept and kept.value == KEPT_AS:
        return None
    query = (
        select(Person)
        # A record that was merged into another has no place on the board.
        .where(Person.id > after, Person.id.not_in(select(MergedPerson.person_id)))
        .order_by(Person.id)
        .limit(AT_A_TIME)
    )
    persons = list(db.exec(query))
    for person in persons:
        refresh(db, person, today(db, person, now, zone))
    if persons:
        return persons[-1].id
    db.merge(Installation(name="board rows", value=KEPT_AS))
    return None
