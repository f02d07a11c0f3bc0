"""Where a person stands: facts from the record, and the clearance worked out from them."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session, delete

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
from trainer.store import assignments, people, record, site_lessons
from trainer.store.tables import Assignment, Entry, Person, Respirator, Standing, Worksite

FOR_CAUSE = frozenset({"changed-workplace", "changed-respirator", "knowledge-or-use", "other"})
"""Retraining reasons that make earlier training no longer count, 29 CFR 1910.134(k)(5)(i)-(iii)."""

BEGIN_AGAIN_DAYS = 60
"""Days before the yearly date at which the lessons open again (our own choice, no source)."""


@dataclass(frozen=True)
class LessonToDo:
    """A lesson that is open for a person, and why."""

    slug: str
    reason: str
    due: date | None
    before_wearing: bool = False  # a standing assignment, due before first wearing


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
    """A lesson that is not of the course, as a standing assignment asks it of a person.

    until   the last good day of the newest pass, None without one that counts
    todo    what is to be done, None for now
    """

    owed: assignments.Owed
    until: date | None
    todo: LessonToDo | None


@dataclass(frozen=True)
class Tag:
    """One respirator of a person, and what is still needed before wearing it."""

    respirator: Respirator | None
    worn: Worn | None
    clearance: Clearance


def home_worksite(db: Session, person: Person) -> Worksite | None:
    """Return the worksite that gives a person's days their time zone."""
    return next(iter(people.worksites(db, person.id)), None)


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
        use=respirator.use,
        fits=fits(respirator),
    )


def fits(respirator: Respirator) -> tuple[str, str, str, str]:
    """Return make, model, style and size as they are matched with a fit test, (f)(2)."""
    named = (respirator.make, respirator.model, respirator.style, respirator.size)
    return tuple(people.key(part) for part in named)


class History:
    """A person's entries, read once, and the questions asked of them."""

    def __init__(self, db: Session, person: Person) -> None:
        self.entries = record.of_person(db, person.number)
        self._said = [(entry, record.body(entry)) for entry in self.entries]
        self.assignments = people.assignments(db, person.id)
        self.owed = assignments.owed(db, [person.id])
        # What is learnt as a whole: our lessons, then those that the person's worksites wrote.
        ours = tuple(lesson.slug for lesson in lessons.load().all)
        self.course = ours + site_lessons.in_course(db, person.id)

    def of(self, *kinds: str) -> list[tuple[Entry, dict]]:
        """Return the entries of these kinds with what they say, oldest first."""
        return [(entry, said) for entry, said in self._said if entry.kind in kinds]

    def last_training(self) -> Entry | None:
        """Return the newest entry that training as a whole is complete."""
        found = _newest(self.of("training"))
        return found[0] if found else None

    def year_from(self) -> date | None:
        """Return the day from which the year of the last training as a whole runs."""
        last = self.last_training()
        return counts_from(last, record.body(last)) if last else None

    def passed_since(self, slug: str, number: int) -> Done | None:
        """Return the newest pass of a lesson after entry `number`."""
        passes = [
            Done(entry, said, counts_from(entry, said))
            for entry, said in self.of("lesson")
            if said["lesson"] == slug and entry.number > number
        ]
        return passes[-1] if passes else None

    def this_round(self, today: date) -> dict[str, Done]:
        """Return the lessons that count towards the whole: since the last one, within a year.

        A pass counts, and credit for earlier training where nothing better was shown since.
        """
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
        return {slug: one for slug, one in best.items() if today <= next_due(one.since)}

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

        For cause it is to be taught and passed here, by a sitting that was begun since: earlier
        training is what did not last, and questions drawn before it ask what was taught before,
        (k)(5).
        """
        since = record.moment(item.assigned_at)
        for_cause = item.reason in FOR_CAUSE
        passed = any(
            said["lesson"] == item.lesson and not (for_cause and "credit_entry" in said)
            for entry, said in self.of("lesson")
            if (said["started"] if for_cause else entry.recorded_at) > since
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

        Those of this round; and, as first training, the course once training is complete.
        """
        year = self.year_from()
        complete = reason == "first" and year is not None and today <= next_due(year)
        return frozenset(self.course if complete else self.this_round(today))

    def to_do(self, today: date) -> list[LessonToDo]:
        """Return the lessons that are open, assigned ones first, then the rest of the course."""
        open_ = {
            item.lesson: LessonToDo(item.lesson, item.reason, item.due)
            for item in reversed(self.assignments)
            if not self.fulfilled(item)
        }
        for one in self._course_to_do(today):
            open_.setdefault(one.slug, one)
        for beyond in self.beyond(today):
            if beyond.todo:
                open_.setdefault(beyond.todo.slug, beyond.todo)
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
        if due and (due - today).days > BEGIN_AGAIN_DAYS:
            return
        passed = self.this_round(today)
        reason = "yearly" if due else "first"
        asked: dict[str, assignments.Owed] = {}
        for one in sorted(self.owed, key=lambda one: one.due or date.min):
            # Whoever came with training that was still good owes it on its yearly day alone.
            if due is None or one.begins > due:
                for slug in (one.row.lesson,) if one.row.lesson else self.course:
                    asked.setdefault(slug, one)
        for slug in self.course:
            if slug in asked and slug not in passed:
                wanted = asked[slug].due
                yield LessonToDo(slug, reason, wanted, before_wearing=wanted is None)
            elif slug not in passed:
                yield LessonToDo(slug, reason, due)

    def beyond(self, today: date) -> list[Beyond]:
        """Return the lessons beyond the course that standing assignments ask of the person.

        Each is asked when the person comes, and every year after: (k)(5).
        """
        return [
            self._beyond(one, today)
            for one in self.owed
            if one.row.lesson and one.row.lesson not in self.course
        ]

    def _beyond(self, one: assignments.Owed, today: date) -> Beyond:
        slug, wearing = one.row.lesson, one.due is None
        passed = self.passed_since(slug, 0)
        until = next_due(passed.since) if passed else None
        if until is None or until < one.begins:
            return Beyond(one, None, LessonToDo(slug, "first", one.due, wearing))
        if until < today:
            return Beyond(one, None, LessonToDo(slug, "yearly", until))
        again = (until - today).days <= BEGIN_AGAIN_DAYS
        return Beyond(one, until, LessonToDo(slug, "yearly", until) if again else None)

    def facts(self, respirator: Respirator, today: date) -> Facts:
        """Return what the clearance of one respirator is worked out from."""
        practice = self.practice(respirator.class_slug)
        training = self.last_training()
        since = self.year_from()
        # Those with days to do it in are asked too, but only these keep a respirator off.
        beyond = [
            one
            for one in self.beyond(today)
            if one.owed.due is None and one.owed.row.class_slug in ("", respirator.class_slug)
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
            beyond=tuple(one.owed.row.lesson for one in beyond if one.until is None),
            beyond_until=min((one.until for one in beyond if one.until), default=None),
            practised_on=practice[0].happened_on if practice else None,
            practice_passed=bool(practice and practice[1]["passed"]),
            fit_test=self._fit_test(fits(respirator)),
        )

    def _medical(self) -> Medical | None:
        found = _newest(self.of("medical"))
        if not found:
            return None
        entry, said = found
        until = date.fromisoformat(said["until"]) if said["until"] else None
        return Medical(entry.happened_on, said["outcome"], said["limit"], until)

    def _fit_test(self, wanted: tuple[str, str, str, str]) -> FitTest | None:
        parts = ("make", "model", "style", "size")
        found = _newest(
            (entry, said)
            for entry, said in self.of("fit-test")
            if tuple(people.key(said[part]) for part in parts) == wanted
        )
        return FitTest(found[0].happened_on, found[1]["passed"], wanted) if found else None


def counts_from(entry: Entry, said: dict) -> date:
    """Return the day from which the year of an entry runs: earlier training's, where it says so."""
    earlier = said.get("counts_from")
    return date.fromisoformat(earlier) if earlier else entry.happened_on


def _newest(found: Iterable[tuple[Entry, dict]]) -> tuple[Entry, dict] | None:
    """Return the newest by the day it happened; of two on one day, the later entry."""
    return max(found, key=lambda pair: (pair[0].happened_on, pair[0].number), default=None)


def tags(db: Session, person: Person, today: date, history: History | None = None) -> list[Tag]:
    """Return a person's tags, one a respirator; one without a respirator where none is given.

    history     the person's, where it was read already
    """
    history = history or History(db, person)
    worksite = home_worksite(db, person)
    rule_set = worksite.rule_set if worksite else "federal"
    given = people.respirators(db, person.id)
    return [_tag(history, item, today, rule_set) for item in given] or [
        Tag(None, None, Clearance((), None))
    ]


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
    for tag in tags(db, person, today):
        due = tag.clearance.next_due
        db.add(
            Standing(
                person_id=person.id,
                respirator_id=tag.respirator.id if tag.respirator else None,
                clear_until=tag.clearance.until,
                missing=" ".join(tag.clearance.missing),
                next_due=due.due if due else None,
                next_due_kind=due.kind if due else "",
                begun=any(step.state != "todo" for step in tag.clearance.steps),
            )
        )
    db.flush()
