"""What first answers say of each question or exercise: how many get it right, how surely one
knows, whether it tells those who know from those who do not, and what goes wrong most often.
"""

from collections import Counter
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from math import atanh, sqrt, tanh
from statistics import correlation

from trainer.calculations.faults import (
    CalculationFault,
    as_many,
    listed,
    number,
    whole,
    yes_or_no,
)

FEWEST = 10
"""First answers below which nothing is told of an item (our own choice, no source)."""

WELL = 0.2
"""Correlation from which an item separates well; as far below zero, it does so the wrong way
round. Ours to choose; 0.2 is a usual rule of thumb (*from memory*: Everitt 2002, The Cambridge
Dictionary of Statistics, "item-total correlation")."""

_Z_95 = 1.959963984540054  # the standard normal quantile of 0.975
_MOST_ANSWERS = 10**9


@dataclass(frozen=True)
class FirstAnswer:
    """How one person answered an item the first time.

    item   which question or exercise
    right  was the answer right?
    rest   share of the other items of the same sitting that were right, 0 to 1 (`rest_scores`);
           None where there was no sitting, or nothing else in it
    wrong  what was wrong about it, a name each: options or slips; empty where no name is known
    """

    item: Hashable
    right: bool
    rest: float | None = None
    wrong: tuple[Hashable, ...] = ()


@dataclass(frozen=True)
class TooFew:
    """Nothing is told yet of an item: so many first answers there are, and so many it takes."""

    answered: int
    needed: int = FEWEST


@dataclass(frozen=True)
class Figures:
    """What the first answers say of an item.

    share, low, high   share right, 0 to 1, with its 95 % Wilson interval
    correlation        corrected item-total correlation; None where it cannot be worked out
    compared           how many of the answers the correlation could be worked out from
    commonest          the name of what is wrong most often, and how often; None: nothing named
    as_common          how many other names are just as common
    """

    answered: int
    right: int
    share: float
    low: float
    high: float
    correlation: float | None
    compared: int
    commonest: Hashable | None
    commonest_count: int
    as_common: int = 0


def items(answers: Iterable[FirstAnswer]) -> dict[Hashable, Figures | TooFew]:
    """Return what the first answers say of each item, in the order in which items first appear.

    answers  one a person and item; whoever gathers them leaves later answers out
    Errors: CalculationFault.
    Source: as for the functions below

    >>> items([FirstAnswer("factor-means", True)] * 7)
    {'factor-means': TooFew(answered=7, needed=10)}
    """
    by_item: dict[Hashable, list[FirstAnswer]] = {}
    for one in answers:
        by_item.setdefault(one.item, []).append(one)
    return {item: item_figures(given) for item, given in by_item.items()}


def item_figures(answers: Sequence[FirstAnswer]) -> Figures | TooFew:
    """Return what the first answers to one item say of it, or that they are too few.

    answers  at least one, all of the same item
    The correlation is told only where it rests on 10 answers or more as well.
    Errors: CalculationFault.
    Source: as for the functions below

    >>> told = item_figures([FirstAnswer("a", True)] * 9 + [FirstAnswer("a", False, wrong=("x",))])
    >>> told.answered, told.right, told.commonest, told.commonest_count, told.correlation
    (10, 9, 'x', 1, None)
    """
    given = listed("answers", answers)
    right = [yes_or_no("right", one.right) for one in given]
    if len(given) < FEWEST:
        return TooFew(len(given))
    low, high = wilson_interval(sum(right), len(given))
    compared = [one for one in given if one.rest is not None]
    related = corrected_item_total(
        [one.right for one in compared], [one.rest for one in compared]
    ) if len(compared) >= FEWEST else None
    wrong = [name for one in given if not one.right for name in one.wrong]
    name, count = commonest(wrong)
    tied = sum(times == count for times in Counter(wrong).values())
    return Figures(
        len(given), sum(right), sum(right) / len(given), low, high, related, len(compared),
        name, count, max(tied - 1, 0),
    )


def wilson_interval(right: int, answered: int) -> tuple[float, float]:
    """Return the 95 % score interval of a share: (low, high), each 0 to 1.

    (p + z²/2n ± z √(p(1 - p)/n + z²/4n²)) / (1 + z²/n), with p = right / n and z = 1.96

    right     how many were right, 0 to `answered`
    answered  how many there were, n, 1 or more
    Errors: CalculationFault.
    Source: Wilson 1927, Journal of the American Statistical Association 22:209-212; without
    correction for continuity, as method 3 of Newcombe 1998, Statistics in Medicine 17:857-872

    >>> [round(end, 4) for end in wilson_interval(81, 263)]
    [0.2553, 0.3662]
    """
    n = whole("answered", answered, 1, _MOST_ANSWERS)
    p = whole("right", right, 0, n) / n
    z2 = _Z_95**2
    middle = p + z2 / (2 * n)
    half = _Z_95 * sqrt(p * (1 - p) / n + z2 / (4 * n * n))
    low, high = ((middle + side * half) / (1 + z2 / n) for side in (-1, 1))
    # At either end the formula gives exactly 0 or 1, and a float may miss it by a hair.
    return (low if p > 0 else 0.0), (high if p < 1 else 1.0)


def rest_scores(marks: Iterable[tuple[Hashable, bool]]) -> dict[Hashable, float | None]:
    """Return for each item of a sitting the share of the others that was right, 0 to 1.

    marks  item and whether it was right, one an answer of the sitting; an item that stands there
           twice is left out of its own share twice. A share and not a count, since sittings
           differ in length; where they do not, both give the same correlation.
    None for an item beside which nothing else was asked.

    >>> rest_scores([("a", True), ("b", False), ("c", True)])
    {'a': 0.5, 'b': 1.0, 'c': 0.5}
    """
    given = list(marks)
    asked = Counter(item for item, _ in given)
    right = Counter(item for item, mark in given if mark)
    every, well = len(given), right.total()
    return {
        item: (well - right[item]) / (every - times) if every > times else None
        for item, times in asked.items()
    }


def corrected_item_total(right: Sequence[bool], rest: Sequence[float]) -> float | None:
    """Return the corrected item-total correlation, -1 to 1: Pearson's, of an item with the rest.

    right  was the item right? One a person
    rest   score of the same sitting WITHOUT the item, 0 to 1 (`rest_scores`), one for each:
           with it the item would be compared with itself
    None where it cannot be worked out: fewer than two, everybody alike in the item, or in the rest.
    Errors: CalculationFault, also for unequal lists.
    Source: Guilford 1953, "The correlation of an item with a composite of the remaining items in
    a test", Educational and Psychological Measurement 13:87-93 (by its title, and as Cureton
    1966, Psychometrika 31:93-96, describes it; the paper itself was not read)

    >>> corrected_item_total([True, True, False, False], [1.0, 0.5, 0.5, 0.0])
    0.7071067811865475
    >>> corrected_item_total([True, True, True], [1.0, 0.5, 0.0])
    """
    marks = [float(yes_or_no("right", one)) for one in right]
    scores = [number("rest", one, 0, 1) for one in rest]
    as_many("rest", scores, marks)
    # Asked of the values: a variance of equal floats may miss zero by a hair.
    if len(set(marks)) < 2 or len(set(scores)) < 2:
        return None
    return max(-1.0, min(1.0, correlation(marks, scores)))


def separates(correlation: float, compared: int) -> str:
    """Return in a word how an item tells those who know from those who do not.

    correlation  corrected item-total correlation, -1 to 1
    compared     how many answers it rests on, 10 or more
    "well" from 0.2 up, "wrong way" from -0.2 down, "little" between. From few answers chance alone
    gives either sign: where its 95 % interval reaches zero, it is "unclear" instead of the first
    two.
    Errors: CalculationFault.
    Source: as for `correlation_interval`

    >>> separates(0.35, 50), separates(-0.05, 50), separates(-0.4, 50), separates(-0.4, 15)
    ('well', 'little', 'wrong way', 'unclear')
    """
    found = number("correlation", correlation, -1, 1)
    if abs(found) < WELL:
        return "little"
    low, high = correlation_interval(found, compared)
    if low <= 0 <= high:
        return "unclear"
    return "well" if found > 0 else "wrong way"


def correlation_interval(correlation: float, compared: int) -> tuple[float, float]:
    """Return about the 95 % interval of a correlation: (low, high), each -1 to 1.

    tanh(artanh(r) ± z / √(n - 3)), with z = 1.96; of right or wrong with a share it is rough

    correlation  r, -1 to 1
    compared     n, how many answers it rests on, 10 or more
    Errors: CalculationFault.
    Source: the transformation of Fisher 1921, Metron 1:3-32 (*from memory*; compared with scipy)

    >>> [round(end, 3) for end in correlation_interval(0.5, 28)]
    [0.156, 0.736]
    """
    r = number("correlation", correlation, -1, 1)
    n = whole("compared", compared, FEWEST, _MOST_ANSWERS)
    if abs(r) == 1:
        return r, r
    half = _Z_95 / sqrt(n - 3)
    return tanh(atanh(r) - half), tanh(atanh(r) + half)


def commonest(names: Iterable[Hashable]) -> tuple[Hashable | None, int]:
    """Return the name that comes most often, and how often; of several the one that came first.

    (None, 0) where there is none.
    Errors: CalculationFault for an empty name, which would stand for nothing.

    >>> commonest(["multiplied", "upside-down", "upside-down"])
    ('upside-down', 2)
    """
    counted = Counter(names)
    if None in counted or "" in counted:
        raise CalculationFault(
            "names", "{it} must not hold an empty name.", "{it} no puede tener un nombre vacío."
        )
    return counted.most_common(1)[0] if counted else (None, 0)
