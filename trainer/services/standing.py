"""Where a person stands: facts from the record, and the clearance worked out from them."""

from collections.abc import Iterable
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
from trainer.store import people, record, site_lessons
from trainer.store.tables import Entry, Person, Respirator, Standing, Worksite

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

    def passed_since(self, slug: str, number: int) -> tuple[Entry, dict] | None:
        """Return the newest pass of a lesson after entry `number`."""
        passes = [
            (entry, said)
            for entry, said in self.of("lesson")
            if said["lesson"] == slug and entry.number > number
        ]
        return passes[-1] if passes else None

    def this_round(self, today: date) -> dict[str, tuple[Entry, dict]]:
        """Return the passes that count towards the whole: since the last one, within a year."""
        last = self.last_training()
        passes = {slug: self.passed_since(slug, last.number if last else 0) for slug in self.course}
        return {
            slug: found
            for slug, found in passes.items()
            if found and today <= next_due(found[0].happened_on)
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
            if item.reason in FOR_CAUSE and not self.done_since(item.lesson, item.assigned_at)
        )
        return tuple(dict.fromkeys(open_))

    def done_since(self, slug: str, moment: datetime) -> bool:
        """Say whether a lesson was passed after a moment."""
        since = record.moment(moment)
        return any(
            said["lesson"] == slug and entry.recorded_at > since
            for entry, said in self.of("lesson")
        )

    def to_do(self, today: date) -> list[LessonToDo]:
        """Return the lessons that are open, assigned ones first, then the rest of the course."""
        open_ = {
            item.lesson: LessonToDo(item.lesson, item.reason, item.due)
            for item in reversed(self.assignments)
            if not self.done_since(item.lesson, item.assigned_at)
        }
        last = self.last_training()
        reason = "yearly" if last else "first"
        due = next_due(last.happened_on) if last else None
        begins = last is None or (due - today).days <= BEGIN_AGAIN_DAYS
        if begins:
            passed = self.this_round(today)
            for slug in self.course:
                if slug not in passed:
                    open_.setdefault(slug, LessonToDo(slug, reason, due))
        order = {slug: place for place, slug in enumerate(self.course)}
        return sorted(
            open_.values(), key=lambda item: (item.due or NO_END, order.get(item.slug, len(order)))
        )

    def facts(self, respirator: Respirator, today: date) -> Facts:
        """Return what the clearance of one respirator is worked out from."""
        practice = self.practice(respirator.class_slug)
        training = self.last_training()
        given = [entry.happened_on for entry, _ in self.of("appendix-d")]
        return Facts(
            medical=self._medical(),
            appendix_d_on=max(given, default=None),
            trained_on=training.happened_on if training else None,
            lessons_passed=len(self.this_round(today)),
            lessons_asked=len(self.course),
            retraining=self.retraining(),
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
