"""Hard spots: what people get wrong, for those who train them.

Only the first time counts that a person answered a question or an exercise: after that its
reasons were read. Nothing here says who answered what, nor do two lists of which one is the other
and a person or two more: what a choice of worksite and days shows is put together from whole
groups of ten people or more, and the groups are the same whatever is chosen.
"""

import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from sqlmodel import Session, func, select

from trainer import bank, lessons
from trainer.calculations import items
from trainer.calculations.items import Figures, TooFew
from trainer.config import LANGUAGES
from trainer.services import sitting
from trainer.services.refusal import Refusal
from trainer.store.tables import LessonAnswer, Membership, Sitting, SittingItem
from trainer.words import Words, same

KINDS = ("question", "exercise")
ORDERS = ("hardest", "answers", "separates", "lesson")
"""What a list may be sorted by: share right, number of answers, correlation, or the course."""

FIRST_OWN = 1
"""The problem of a lesson that comes after the worked example: the first with a step to do, and
that step is its last."""

READ_AS_AN_ANSWER = ("right", "wrong", "unit")
"""Verdicts of an answer that could be read. Anything else was asked again, or shown."""

_KIND_OF = {"question": "question", "problem": "exercise"}
_EXAMPLES = 30  # so many drawings of an exercise are looked through for its slips

LEFT_OUT = Words("Left out: {text}", "No marcó: {text}")
PLACED = Words("{text} Given place {place}.", "{text} Le dieron el lugar {place}.")
PAIRED = Words("{text} – {to}", "{text} – {to}")


@dataclass(frozen=True)
class Scope:
    """Whose first answers, and from when.

    worksites     ids of all that the reader may see; None: everybody
    since, until  moments, UTC; None: from the beginning, until now
    chosen        the one of them whose people are asked about; None: all
    """

    worksites: tuple[int, ...] | None = None
    since: datetime | None = None
    until: datetime | None = None
    chosen: int | None = None

    @property
    def narrow(self) -> bool:
        """Say whether it leaves out some of what the reader may see."""
        return (self.since, self.until, self.chosen) != (None, None, None)

    def holds(self, at: datetime) -> bool:
        """Say whether a moment, as the database gives it, lies in the period."""
        moment = at if at.tzinfo else at.replace(tzinfo=UTC)
        return (self.since is None or self.since <= moment) and \
            (self.until is None or moment < self.until)


@dataclass(frozen=True)
class Spot:
    """One question or exercise, and what the first answers say of it."""

    kind: str  # question or exercise
    slug: str
    lesson: str  # "" for an exercise that no lesson teaches
    section: str
    about: Words  # the question, or the title of the exercise
    figures: Figures | TooFew
    wrong: Words | None = None  # the commonest wrong answer, in words
    must_know: bool = False
    apart: int = 0  # answers of the choice that are not told, since their group lies across it

    @property
    def told(self) -> Figures | None:
        """Return the figures where there are answers enough."""
        return self.figures if isinstance(self.figures, Figures) else None


@dataclass(frozen=True)
class Line:
    """One option of a question, or one slip of an exercise, and how many gave it.

    count    None while there are too few answers to tell; of an order or a match: how many gave
             this line its own place or half
    instead  of an order or a match: what was given to it most often instead, and how often
    """

    text: Words
    right: bool
    why: Words | None = None
    to: Words | None = None
    count: int | None = None
    instead: Words | None = None
    instead_count: int = 0


@dataclass(frozen=True)
class Detail:
    """An item as it is asked, and how its options or slips were chosen.

    question, figures  the question as it was asked last, and its drawing by language
    problem            an example of the exercise
    unnamed            wrong answers without a known slip; None while there are too few answers
    in_lessons         how many of the first answers were given inside a lesson
    earlier            how many were given to an earlier wording of the question
    """

    spot: Spot
    lines: tuple[Line, ...]
    question: bank.Question | None = None
    figures: Mapping[str, str] = field(default_factory=dict)
    problem: bank.Problem | None = None
    unnamed: int | None = None
    in_lessons: int | None = None
    earlier: int = 0


@dataclass(slots=True)
class _First:
    """The first answer of a person to an item; there are tens of thousands, so it is a small one.

    item     kind and slug
    version  of the lesson's content, which fixes the wording of a question
    row      of SittingItem; None inside a lesson
    told     does it stand in a group that lies wholly in what was chosen?
    """

    person: int
    at: datetime
    item: tuple[str, str]
    lesson: str
    version: str
    right: bool
    row: int | None = None
    answer: str | None = None
    slip: str = ""
    rest: float | None = None
    told: bool = True

    @property
    def wording(self) -> tuple[str, str]:
        """Return what tells apart the wordings of a question."""
        return self.item[1], self.version


@dataclass(frozen=True)
class _Asked:
    """A question as it was asked, and its drawing by language."""

    question: bank.Question
    figures: Mapping[str, str]


def scope(
    worksites: tuple[int, ...] | None,
    first: date | None,
    last: date | None,
    zone: ZoneInfo,
    chosen: int | None = None,
) -> Scope:
    """Return the scope of whole days in a time zone; a missing day leaves that end open.

    Errors: Refusal when the last day comes before the first.
    """
    if first and last and last < first:
        raise Refusal("The last day must not be before the first.")
    # The first and the last of all days have no midnight before or after them everywhere.
    if first and first.year == date.min.year:
        first = None
    if last and last.year == date.max.year:
        last = None
    return Scope(
        worksites,
        _midnight(first, zone) if first else None,
        _midnight(last + timedelta(days=1), zone) if last else None,
        chosen,
    )


def spots(db: Session, within: Scope, lesson: str = "") -> list[Spot]:
    """Return every question and exercise that was answered, hardest first.

    lesson   its slug; "" for all of them
    Read in four questions to the database, however many answers there are.
    """
    found = _firsts(db, within)
    asked = _asked(db, found)
    made = [spot for spot, _ in _spots(found, asked) if not lesson or spot.lesson == lesson]
    return ordered(made, "hardest")


def detail(db: Session, within: Scope, kind: str, slug: str) -> Detail | None:
    """Return one item with all of its options or slips; None when nobody knows it.

    An item of the bank that nobody here has answered is shown as it would be asked.
    """
    found = _firsts(db, within, (kind, slug))
    asked = _asked(db, found)
    made = _spots(found, asked)
    if made:
        [(spot, given)] = made
        newest = asked.get(given[-1].wording) if kind == "question" else None
    else:
        given, newest = [], _from_bank(slug) if kind == "question" else None
        if newest is None and not (kind == "exercise" and slug in bank.load().exercises):
            return None
        about = _about(kind, slug, newest.question if newest else None)
        spot = Spot(kind, slug, figures=TooFew(0), **about)
    if newest:
        return _question_detail(spot, given, asked, newest)
    return _exercise_detail(spot, given)


def ordered(given: Iterable[Spot], by: str) -> list[Spot]:
    """Return items sorted by one of ORDERS; those with too few answers come last.

    Errors: KeyError for another order.
    """
    place = {one.slug: at for at, one in enumerate(lessons.load().all)}

    def course(spot: Spot) -> tuple:
        return place.get(spot.lesson, len(place)), spot.kind != "question", spot.slug

    def share(spot: Spot) -> tuple:
        return spot.told.share, -spot.figures.answered

    def separation(spot: Spot) -> tuple:
        related = spot.told.correlation
        return related is None, related or 0.0, *share(spot)

    keys = {
        "hardest": share,
        "answers": lambda spot: (-spot.figures.answered, *share(spot)),
        "separates": separation,
    }
    if by == "lesson":
        return sorted(given, key=course)
    key = keys[by]
    given = sorted(given, key=course)
    enough = sorted((spot for spot in given if spot.told), key=key)
    too_few = (spot for spot in given if not spot.told)
    return enough + sorted(too_few, key=lambda spot: -spot.figures.answered)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone).astimezone(UTC)


# First answers.


def _firsts(db: Session, within: Scope, item: tuple[str, str] | None = None) -> list[_First]:
    """Return the first answers of the scope, oldest first; of one item where it is named."""
    every = _ever(db, within, item)
    if not within.narrow:
        return every
    homes = _homes(db, within)
    by_item: dict[tuple[str, str], list[_First]] = defaultdict(list)
    for one in every:
        by_item[one.item].append(one)
    for given in by_item.values():
        for place, group in _groups(given, homes):
            told = (within.chosen in (None, place)) and all(within.holds(one.at) for one in group)
            for one in group:
                one.told = told
    return [
        one for one in every
        if within.holds(one.at) and within.chosen in (None, homes.get(one.person))
    ]  # fmt: skip


def _groups(
    given: Iterable[_First], homes: Mapping[int, int]
) -> Iterator[tuple[int | None, list[_First]]]:
    """Give the first answers to an item in groups of ten or more, each with its worksite.

    given   oldest first; fewer than ten of them are one group
    homes   person to worksite
    A worksite makes its own groups, in the order in which the answers came. Those with fewer than
    ten make groups together, without a worksite; where all of these are fewer than ten still, the
    next worksite joins them, or they could be told by taking away the others from all.
    """
    at: dict[int | None, list[_First]] = defaultdict(list)
    for one in given:
        at[homes.get(one.person)].append(one)
    own = sorted(at, key=lambda place: len(at[place]))
    together: list[_First] = []
    while own and (own[0] is None or len(at[own[0]]) < items.FEWEST
                   or 0 < len(together) < items.FEWEST):
        together += at[own.pop(0)]
    for place, those in [(None, sorted(together, key=lambda one: one.at)),
                         *((place, at[place]) for place in own)]:
        whole = max(len(those) // items.FEWEST, 1)
        for nth in range(whole):
            end = len(those) if nth == whole - 1 else (nth + 1) * items.FEWEST
            yield place, those[nth * items.FEWEST : end]


def _homes(db: Session, within: Scope) -> dict[int, int]:
    """Return the worksite at which each person counts: the first of those the reader may see."""
    query = select(Membership.person_id, func.min(Membership.worksite_id))
    if within.worksites is not None:
        query = query.where(Membership.worksite_id.in_(within.worksites))
    return dict(db.exec(query.group_by(Membership.person_id)).all())


def _ever(db: Session, within: Scope, item: tuple[str, str] | None) -> list[_First]:
    """Return all first answers that the reader may see, oldest first, whatever was chosen."""
    given: list[tuple[datetime, int, int | None, _First]] = []
    marks: dict[int, list[tuple[tuple[str, str], bool]]] = defaultdict(list)
    for row, at_sitting, kind, slug, right, slip, answer, person, lesson, version, at in \
            _sitting_rows(db, within, item):
        of = _KIND_OF[kind], slug
        marks[at_sitting].append((of, right))
        about = _lesson_of(of, lesson)
        first = _First(person, at, of, about, version, right, row, answer, slip)
        given.append((at, person, at_sitting, first))
    if item is None or item[0] == "exercise":
        for person, slug, lesson, verdict, slip, at in _lesson_rows(db, within, item):
            of, right = ("exercise", slug), verdict == "right"
            first = _First(person, at, of, lesson, "", right, slip=slip)
            given.append((at, person, None, first))
        given.sort(key=lambda one: one[0])
    rests = {at_sitting: items.rest_scores(of) for at_sitting, of in marks.items()}
    met, found = set(), []
    for _, person, at_sitting, first in given:
        if (person, first.item) in met or item not in (None, first.item):
            continue
        met.add((person, first.item))
        # A refresher does not count, yet whoever met an item there has met it.
        if at_sitting and first.lesson == sitting.NO_LESSON:
            continue
        first.rest = rests[at_sitting][first.item] if at_sitting else None
        found.append(first)
    return found


def _lesson_of(item: tuple[str, str], lesson: str) -> str:
    """Return the lesson of an item; a sitting can hold a problem of an earlier one."""
    kind, slug = item
    exercise = bank.load().exercises.get(slug) if kind == "exercise" else None
    return (exercise.lesson or lesson) if exercise and lesson != sitting.NO_LESSON else lesson


def _sitting_rows(db: Session, within: Scope, item: tuple[str, str] | None) -> Sequence:
    """Return the answers of closed sittings; of those sittings alone that hold the item named."""
    query = (
        select(
            SittingItem.id, SittingItem.sitting_id, SittingItem.kind, SittingItem.slug,
            SittingItem.right, SittingItem.slip, SittingItem.answer,
            Sitting.person_id, Sitting.lesson, Sitting.lesson_version, Sitting.closed_at,
        )
        .join(Sitting, Sitting.id == SittingItem.sitting_id)
        .where(Sitting.closed_at.is_not(None), SittingItem.right.is_not(None))
        .order_by(Sitting.closed_at, Sitting.id, SittingItem.position)
    )  # fmt: skip
    if item:
        query = query.where(
            Sitting.id.in_(select(SittingItem.sitting_id).where(SittingItem.slug == item[1]))
        )
    return db.exec(_at(query, Sitting.person_id, within)).all()


def _lesson_rows(db: Session, within: Scope, item: tuple[str, str] | None) -> Sequence:
    """Return the answers to the last step of the first problem that was not the worked example."""
    query = (
        select(
            LessonAnswer.person_id, LessonAnswer.exercise, LessonAnswer.lesson,
            LessonAnswer.verdict, LessonAnswer.slip, LessonAnswer.answered_at,
        )
        .where(
            LessonAnswer.ordinal == FIRST_OWN,
            LessonAnswer.step >= 0,
            LessonAnswer.verdict.in_(READ_AS_AN_ANSWER),
        )
        .order_by(LessonAnswer.id)
    )  # fmt: skip
    if item:
        query = query.where(LessonAnswer.exercise == item[1])
    return db.exec(_at(query, LessonAnswer.person_id, within)).all()


def _at(query, person_id, within: Scope):
    """Return the query for people of the worksites alone."""
    if within.worksites is None:
        return query
    there = select(Membership.person_id).where(Membership.worksite_id.in_(within.worksites))
    return query.where(person_id.in_(there))


# Questions as they were asked.


def _asked(db: Session, found: Iterable[_First]) -> dict[tuple[str, str], _Asked]:
    """Return each wording of each question that was answered.

    What was drawn is long, and the same for everybody who got the same wording: one row of each
    is read.
    """
    samples = {one.wording: one.row for one in found if one.item[0] == "question"}
    query = select(SittingItem.id, SittingItem.drawn).where(SittingItem.id.in_(samples.values()))
    drawn = dict(db.exec(query).all()) if samples else {}
    made = {}
    for wording, row in samples.items():
        kept = json.loads(drawn[row])
        made[wording] = _Asked(bank.thaw_question(kept["question"]), kept.get("figures", {}))
    return made


def _from_bank(slug: str) -> _Asked | None:
    """Return a question as it would be asked now."""
    question = bank.load().questions.get(slug)
    if question is None:
        return None
    name = question.drawing
    figures = {language: lessons.figure(name, language) for language in LANGUAGES} if name else {}
    return _Asked(question, figures)


def _wrong(first: _First, asked: Mapping[tuple[str, str], _Asked]) -> tuple[Words | str, ...]:
    """Return what was wrong about a first answer: in words, or the key of its slip."""
    if first.right:
        return ()
    if first.item[0] == "question":
        return _wrong_picks(asked[first.wording].question, sitting.picks(first.answer))
    return (first.slip,) if first.slip else ()


def _wrong_picks(
    question: bank.Question, picked: Sequence[int | None]
) -> tuple[Words, ...]:
    """Return in words what was wrong about an answer: options picked or left out, lines given.

    In words, so that an option counts as the same whatever its place in an earlier wording.
    """
    options = question.options
    if question.in_rows:
        return tuple(
            _given(question, at, got)
            for at, got in enumerate(picked)
            if got != at and got is not None and max(at, got) < len(options)
        )
    chosen = set(picked)
    wrong = tuple(
        one.text for at, one in enumerate(options) if at in chosen and not one.right
    )
    if question.form == "choice":
        return wrong
    return wrong + tuple(
        LEFT_OUT.filled(text=one.text)
        for at, one in enumerate(options) if one.right and at not in chosen
    )


def _given(question: bank.Question, at: int, got: int) -> Words:
    """Return in words that a line was given a place, or another one's half."""
    line = question.options[at].text
    if question.form == "match":
        return PAIRED.filled(text=line, to=question.options[got].to)
    return PLACED.filled(text=line, place=str(got + 1))


# Spots.


def _spots(
    found: Iterable[_First], asked: Mapping[tuple[str, str], _Asked]
) -> list[tuple[Spot, list[_First]]]:
    """Return each item with the first answers that are told, oldest first; else with all."""
    by_item: dict[tuple[str, str], list[_First]] = {}
    for first in found:
        by_item.setdefault(first.item, []).append(first)
    told = items.items(
        items.FirstAnswer(first.item, first.right, first.rest, _wrong(first, asked))
        for given in by_item.values() for first in given if first.told
    )
    made = []
    for item, given in by_item.items():
        shown = [first for first in given if first.told]
        figures = told.get(item)
        if not isinstance(figures, Figures):
            shown, figures = given, TooFew(len(given))
        spot = _spot(shown[-1], figures, asked.get(shown[-1].wording))
        made.append((replace(spot, apart=len(given) - len(shown)), shown))
    return made


def _spot(newest: _First, figures: Figures | TooFew, asked: _Asked | None) -> Spot:
    kind, slug = newest.item
    about = _about(kind, slug, asked.question if asked else None)
    name = figures.commonest if isinstance(figures, Figures) else None
    wrong = _slip_words(slug, name) if isinstance(name, str) else name
    # An exercise that is no longer in the bank keeps the lesson that it was worked in.
    about["lesson"] = about["lesson"] or newest.lesson
    return Spot(kind, slug, figures=figures, wrong=wrong, **about)


def _about(kind: str, slug: str, question: bank.Question | None) -> dict[str, object]:
    """Return what an item is about, and where it is explained."""
    if kind == "question":
        return {
            "about": question.ask, "lesson": question.lesson, "section": question.section,
            "must_know": question.must_know,
        }
    exercise = bank.load().exercises.get(slug)
    if exercise is None:
        return {"about": same(slug), "lesson": "", "section": ""}
    return {"about": exercise.title, "lesson": exercise.lesson, "section": exercise.section}


# Exercises.


@lru_cache(maxsize=512)
def _example(slug: str, _version: str) -> tuple[bank.Problem, dict[str, Words]]:
    """Return an example of an exercise, and what is said of each slip.

    The sentences hold numbers: of the example where it has the slip, else of another drawing.
    """
    exercise = bank.load().exercises[slug]
    keys = _slip_keys(exercise)
    drawn: list[tuple[bank.Problem, dict[str, Words]]] = []
    sentences: dict[str, Words] = {}
    for seed in range(_EXAMPLES):
        problem = bank.draw(exercise, seed)
        drawn.append((problem, _slips_of(problem)))
        sentences = drawn[-1][1] | sentences
        if len(sentences) == len(keys):
            break
    best, said = max(drawn, key=lambda one: len(one[1]))
    sentences |= said
    return best, {key: sentences[key] for key in keys if key in sentences}


def _slips_of(problem: bank.Problem) -> dict[str, Words]:
    """Return what is said of the slips of the answer and of the last step, by their keys."""
    blanks = (problem.blank, problem.steps[-1].blank)
    return {slip.key: slip.say for blank in blanks for slip in reversed(blank.slips)}


def _slip_keys(exercise: bank.Exercise) -> list[str]:
    """Return the slips that the answer or the last step can have, in the order of the file."""
    plans = (*exercise.answer.slips, *exercise.steps[-1].blank.slips)
    return list(dict.fromkeys(plan.key for plan in plans))


def _slip_words(slug: str, key: str) -> Words:
    """Return what is said of a slip, or its key where the exercise is gone or has it no more."""
    exercise = bank.load().exercises.get(slug)
    return _example(slug, exercise.version)[1].get(key, same(key)) if exercise else same(key)


# Details.


def _question_detail(
    spot: Spot, given: Sequence[_First], asked: Mapping[tuple[str, str], _Asked], newest: _Asked
) -> Detail:
    question = newest.question
    answers = [(asked[one.wording].question, sitting.picks(one.answer)) for one in given]
    count = _in_row_lines if question.in_rows else _option_lines
    earlier = sum(of.version != question.version for of, _ in answers) if spot.told else 0
    return Detail(
        spot, count(question, answers if spot.told else None), question, newest.figures,
        in_lessons=0 if spot.told else None, earlier=earlier,
    )


def _option_lines(
    question: bank.Question, answers: Sequence[tuple[bank.Question, Sequence]] | None
) -> tuple[Line, ...]:
    """Return the options, each with how many chose it; without answers, the options alone."""
    chosen = Counter(
        of.options[at].text for of, picked in answers or () for at in picked if at is not None
    )
    return tuple(
        Line(one.text, one.right, one.why, count=None if answers is None else chosen[one.text])
        for one in question.options
    )


def _in_row_lines(
    question: bank.Question, answers: Sequence[tuple[bank.Question, Sequence]] | None
) -> tuple[Line, ...]:
    """Return the lines of an order or a match, each with how many gave it its own."""
    got: dict[Words, Counter] = defaultdict(Counter)
    for of, picked in answers or ():
        for at, given in enumerate(picked):
            if given is not None and max(at, given) < len(of.options):
                to = of.options[given].to if of.form == "match" else same(str(given + 1))
                got[of.options[at].text][to] += 1
    lines = []
    for at, one in enumerate(question.options):
        own = one.to if question.form == "match" else same(str(at + 1))
        instead, often = items.commonest(
            name for name, times in got[one.text].items() if name != own for _ in range(times)
        )
        lines.append(Line(
            one.text, True, one.why, one.to, None if answers is None else got[one.text][own],
            instead, often,
        ))
    return tuple(lines)


def _exercise_detail(spot: Spot, given: Sequence[_First]) -> Detail:
    exercise = bank.load().exercises.get(spot.slug)
    problem, said = _example(spot.slug, exercise.version) if exercise else (None, {})
    if not spot.told:
        lines = tuple(Line(say, False) for say in said.values())
        return Detail(spot, lines, problem=problem)
    slipped = Counter(one.slip for one in given if one.slip and not one.right)
    wrong = sum(not one.right for one in given)
    keys = [*said, *(key for key in slipped if key not in said)]
    return Detail(
        spot,
        tuple(Line(said.get(key, same(key)), False, count=slipped[key]) for key in keys),
        problem=problem,
        unnamed=wrong - slipped.total(),
        in_lessons=sum(one.row is None for one in given),
    )
