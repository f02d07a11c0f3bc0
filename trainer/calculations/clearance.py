"""May this person wear this respirator today, from plain facts and a date.

Each duty comes from `reference.duties` with its paragraph. The due day itself is the last
good day (OSHA letter of 23 December 1998). Whatever is not shown counts as not done.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from trainer.calculations.periods import next_due
from trainer.reference import duties

NO_END = date.max
"""Stands for `until` where nothing falls due."""


@dataclass(frozen=True)
class Medical:
    """What the written recommendation allows, (e)(6)(i)(A); never more than that."""

    on: date
    outcome: str  # cleared, limits or not
    limit: str = ""  # powered_only or as_written, with the outcome limits
    until: date | None = None


@dataclass(frozen=True)
class FitTest:
    """A fit test with one make, model, style and size, (f)(2)."""

    on: date
    passed: bool
    fits: tuple[str, str, str, str]  # make, model, style, size
    qualitative: bool = False


@dataclass(frozen=True)
class Worn:
    """The respirator in question and how it is used."""

    class_slug: str
    tight: bool
    filtering: bool
    powered: bool
    use: str  # required, voluntary or escape (for getting out alone)
    fits: tuple[str, str, str, str]  # make, model, style, size
    negative_full: bool = False  # an air-purifying full facepiece without a blower


@dataclass(frozen=True)
class Facts:
    """What the record says of one person."""

    medical: Medical | None = None
    appendix_d_on: date | None = None
    trained_on: date | None = None  # training as a whole
    counts_from: date | None = None  # the earlier training, where credit was given, (k)(4)
    lessons_passed: int = 0
    lessons_asked: int = 0
    retraining: tuple[str, ...] = ()  # lessons asked again for cause and not passed since
    beyond: tuple[str, ...] = ()  # lessons of a worksite asked before wearing and not passed
    beyond_until: date | None = None  # the last good day of those that are passed
    practised_on: date | None = None  # the newest with this class of respirator
    practice_passed: bool = True
    fit_test: FitTest | None = None  # the newest with this respirator
    fit_changed: bool = False  # was it told since that test that the fit has changed?
    leaks_since: date | None = None  # a leak was told and is not dealt with


@dataclass(frozen=True)
class Step:
    """One line of the tag."""

    kind: str  # medical, training, practice, fit-test, appendix-d or leak
    state: str  # done, begun, todo or no
    on: date | None = None
    due: date | None = None  # the last good day
    why: str = ""  # a word for what is missing, such as lapsed
    source: str = ""


@dataclass(frozen=True)
class Note:
    """What holds while a respirator is worn, and is no step that could be done once."""

    kind: str  # upkeep, ten-times or escape
    source: str


@dataclass(frozen=True)
class Clearance:
    """Clear or not clear for one respirator on one day, and every step towards it."""

    steps: tuple[Step, ...]
    until: date | None  # the last day it stays clear; None: not clear
    notes: tuple[Note, ...] = ()

    @property
    def clear(self) -> bool:
        """Say whether the respirator may be worn that day."""
        return self.until is not None

    @property
    def missing(self) -> tuple[str, ...]:
        """Return the kinds of step that are not done."""
        return tuple(step.kind for step in self.steps if step.state != "done")

    @property
    def next_due(self) -> Step | None:
        """Return the done step that falls due first."""
        due = [step for step in self.steps if step.state == "done" and step.due]
        return min(due, key=lambda step: step.due, default=None)


def clearance(
    worn: Worn,
    facts: Facts,
    today: date,
    rule_set: str = "federal",
    rows: Sequence[duties.Duty] | None = None,
) -> Clearance:
    """Return whether `worn` may be worn on `today`.

    rows    duties to go by instead of the published ones
    Source: 29 CFR 1910.134 (c)(2), (e)(1), (f)(1), (f)(2), (k)(3), (k)(5), through the duties;
    (f)(3), (f)(6), (g)(2)(iii)
    """
    owed = duties.owed(
        rule_set, worn.use, class_slug=worn.class_slug, tight=worn.tight,
        filtering=worn.filtering, on=today, given=rows,
    )  # fmt: skip
    steps = tuple(
        _STEPS[duty.duty](worn, facts, today, duty.source)
        for duty in owed
        if duty.duty not in _NOTES
    )
    if facts.leaks_since:
        steps = (*steps, _leak(facts.leaks_since))
    notes = tuple(Note(duty.duty, duty.source) for duty in owed if duty.duty in _NOTES)
    notes = (*notes, *_ten_times(worn, facts), *_escape(worn))
    if not steps or any(step.state != "done" for step in steps):
        return Clearance(steps, None, notes)
    return Clearance(steps, min(step.due or NO_END for step in steps), notes)


def _leak(since: date) -> Step:
    # The respirator is replaced or repaired before the person goes back into the work area.
    return Step("leak", "no", since, why="leak", source="29 CFR 1910.134(g)(2)(iii)")


def _ten_times(worn: Worn, facts: Facts) -> tuple[Note, ...]:
    """Return the cap on a full facepiece that passed a qualitative test alone.

    Such a test shows a fit factor of 100 and no more, (f)(6); with the safety factor of 10 that
    leaves 10 times the limit. Powered and air-supplied facepieces may be tested either way, (f)(8).
    """
    test = facts.fit_test
    if worn.negative_full and test and test.qualitative and test.passed and test.fits == worn.fits:
        return (Note("ten-times", "29 CFR 1910.134(f)(6)"),)
    return ()


def _escape(worn: Worn) -> tuple[Note, ...]:
    """Return what a tag says of a respirator that is for getting out alone: never to go in with."""
    source = "29 CFR 1910.134(d)(2)(ii); Table 1, note 5: no protection factor holds for it"
    return (Note("escape", source),) if worn.use == "escape" else ()


def _medical(worn: Worn, facts: Facts, today: date, source: str) -> Step:
    # Before the fit test and before required use, (e)(1); no yearly end unless one is set.
    medical = facts.medical
    if medical is None:
        return Step("medical", "todo", source=source)
    if medical.outcome not in ("cleared", "limits"):
        return Step("medical", "no", medical.on, why="not_cleared", source=source)
    # Only is meant as it is written: neither an airline nor a self-contained one is powered.
    if medical.limit == "powered_only" and not worn.powered:
        return Step("medical", "no", medical.on, why="powered_only", source=source)
    step = Step("medical", "done", medical.on, medical.until, medical.outcome, source)
    return _unless_lapsed(step, today)


def _training(worn: Worn, facts: Facts, today: date, source: str) -> Step:
    if facts.retraining:  # (k)(5)(i)-(iii): at once, whatever the yearly date says
        return Step("training", "no", facts.trained_on, why="retraining", source=source)
    if facts.trained_on is None:
        state = "begun" if facts.lessons_passed else "todo"
        return Step("training", state, source=source)
    # What earlier training covered is due again within 12 months of that training, (k)(4).
    due = next_due(facts.counts_from or facts.trained_on)
    why = "credit" if facts.counts_from else ""
    step = _unless_lapsed(Step("training", "done", facts.trained_on, due, why, source), today)
    if step.state == "done" and facts.beyond:
        # The training is to be about this workplace, (c)(1)(vii) and (k)(3).
        return replace(step, state="no", why="beyond")
    return replace(step, due=min(due, facts.beyond_until or NO_END))


def _practice(worn: Worn, facts: Facts, today: date, source: str) -> Step:
    if facts.practised_on is None:
        return Step("practice", "todo", source=source)
    # Use that is not good enough undoes what was seen before, (k)(5)(ii).
    if not facts.practice_passed:
        return Step("practice", "no", facts.practised_on, why="not_yet", source=source)
    due = next_due(facts.practised_on)
    step = Step("practice", "done", facts.practised_on, due, source=source)
    return _unless_lapsed(step, today)


def _fit_test(worn: Worn, facts: Facts, today: date, source: str) -> Step:
    test = facts.fit_test
    if test is None or test.fits != worn.fits:
        return Step("fit-test", "todo", source=source)
    if not test.passed:
        return Step("fit-test", "no", test.on, why="failed", source=source)
    if facts.fit_changed:  # a further test whenever a change that could affect fit is reported
        return Step("fit-test", "no", test.on, why="changed", source="29 CFR 1910.134(f)(3)")
    step = Step("fit-test", "done", test.on, next_due(test.on), source=source)
    return _unless_lapsed(step, today)


def _appendix_d(worn: Worn, facts: Facts, today: date, source: str) -> Step:
    state = "done" if facts.appendix_d_on else "todo"
    return Step("appendix-d", state, facts.appendix_d_on, source=source)


def _unless_lapsed(step: Step, today: date) -> Step:
    """Return a done step as it is, or as lapsed once its last good day is past."""
    if step.due and today > step.due:
        return replace(step, state="no", why="lapsed")
    return step


_STEPS = {
    "medical": _medical,
    "training": _training,
    "practice": _practice,
    "fit-test": _fit_test,
    "appendix-d": _appendix_d,
}

_NOTES = frozenset({"upkeep"})
"""Duties that last as long as the respirator is worn: no entry could show them done."""
