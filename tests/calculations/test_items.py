"""What first answers say of an item, against scipy, pandas and published intervals."""

from random import Random

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as some
from scipy import stats

from trainer.calculations import items
from trainer.calculations.faults import CalculationFault
from trainer.calculations.items import Figures, FirstAnswer, TooFew

# Newcombe 1998, Statistics in Medicine 17:857-872, Table I, method 3 (score, uncorrected);
# the values from memory, and each compared with scipy below as well.
NEWCOMBE = (
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0000, 0.1611),
    (1, 29, 0.0061, 0.1718),
)


def drawn_sittings(seed: int, people: int = 60, asked: int = 11) -> list[dict[str, bool]]:
    """Draw sittings of people who know more or less, on items easier or harder."""
    lots = Random(seed)
    harder = [lots.uniform(-1.5, 1.5) for _ in range(asked)]
    return [
        {f"q{at}": lots.gauss(knows, 1) > hard for at, hard in enumerate(harder)}
        for knows in (lots.gauss(0.5, 1) for _ in range(people))
    ]


def first_answers(sittings: list[dict[str, bool]]) -> list[FirstAnswer]:
    """Return every answer of the sittings with the score of the rest."""
    return [
        FirstAnswer(item, marks[item], rest)
        for marks in sittings for item, rest in items.rest_scores(marks.items()).items()
    ]


def made(right: int, wrong: int, *names: str) -> list[FirstAnswer]:
    """Return so many right and wrong answers, the wrong ones with these names."""
    return [FirstAnswer("a", True)] * right + [FirstAnswer("a", False, wrong=names)] * wrong


@pytest.mark.parametrize(("right", "answered", "low", "high"), NEWCOMBE)
def test_the_interval_is_as_published(right, answered, low, high):
    assert items.wilson_interval(right, answered) == pytest.approx((low, high), abs=0.00005)


@given(some.integers(1, 5_000), some.data())
def test_the_interval_is_that_of_scipy(answered, data):
    right = data.draw(some.integers(0, answered))
    theirs = stats.binomtest(right, answered).proportion_ci(0.95, method="wilson")
    ours = items.wilson_interval(right, answered)
    assert ours == pytest.approx((theirs.low, theirs.high), abs=1e-12)
    assert 0 <= ours[0] <= right / answered <= ours[1] <= 1


@pytest.mark.parametrize("seed", range(12))
def test_the_correlation_is_that_of_pandas_and_scipy(seed):
    sittings = drawn_sittings(seed)
    table = pd.DataFrame(sittings).astype(float)
    told = items.items(first_answers(sittings))
    assert list(told) == list(table.columns)
    for name, found in told.items():
        rest = table.drop(columns=name).sum(axis=1)  # a count: of as many items in every sitting
        if table[name].nunique() < 2:
            assert found.correlation is None
            continue
        assert found.correlation == pytest.approx(table[name].corr(rest), abs=1e-12)
        related = stats.pointbiserialr(table[name].astype(bool), rest).statistic
        assert found.correlation == pytest.approx(related, abs=1e-12)
        assert (found.answered, found.right) == (len(table), table[name].sum())
        assert found.share == pytest.approx(table[name].mean())


def test_the_item_itself_is_left_out_of_its_score():
    """With it, an item that has nothing to do with the rest would seem to have."""
    sittings = [{"a": True, "b": True}, {"a": True, "b": False},
                {"a": False, "b": True}, {"a": False, "b": False}] * 3
    told = items.items(first_answers(sittings))
    assert told["a"].correlation == pytest.approx(0)
    table = pd.DataFrame(sittings).astype(float)
    assert table["a"].corr(table.sum(axis=1)) == pytest.approx(0.5**0.5)  # what it would be


def test_a_correlation_worked_by_hand():
    # Marks 1 1 0 0, rest 1.0 0.5 0.5 0.0: covariance 0.5 / 4, spreads 0.5 and √(0.5 / 4).
    found = items.corrected_item_total([True, True, False, False], [1.0, 0.5, 0.5, 0.0])
    assert found == pytest.approx(0.125 / (0.5 * 0.125**0.5))


@pytest.mark.parametrize(
    ("right", "rest"),
    [([], []), ([True], [0.5]), ([True] * 4, [0.1, 0.2, 0.3, 0.4]),
     ([True, False, True], [0.1, 0.1, 0.1]), ([True, False] * 20, [1 / 3] * 40)],
)  # fmt: skip
def test_without_spread_there_is_no_correlation(right, rest):
    assert items.corrected_item_total(right, rest) is None


def test_the_rest_of_a_sitting_leaves_the_item_out_as_often_as_it_stands_there():
    marks = [("a", True), ("a", True), ("b", False), ("c", True)]
    assert items.rest_scores(marks) == {"a": 0.5, "b": 1, "c": pytest.approx(2 / 3)}
    assert items.rest_scores([("a", True)]) == {"a": None}
    assert items.rest_scores([]) == {}


@pytest.mark.parametrize("answered", range(1, 10))
def test_below_ten_nothing_is_told_but_how_many_there_are(answered):
    found = items.item_figures(made(0, answered, "x"))
    assert found == TooFew(answered, 10)
    assert not hasattr(found, "right")


def test_at_ten_it_is_told():
    found = items.item_figures(made(4, 6, "x"))
    assert isinstance(found, Figures)
    assert (found.answered, found.right, found.share) == (10, 4, 0.4)
    assert (found.commonest, found.commonest_count) == ("x", 6)
    assert found.correlation is None
    assert found.compared == 0


def test_a_correlation_of_fewer_than_ten_is_not_told_either():
    compared = [FirstAnswer("a", at % 2 == 0, at / 10) for at in range(9)]
    found = items.item_figures(made(3, 3) + compared)
    assert (found.answered, found.compared, found.correlation) == (15, 9, None)
    one_more = items.item_figures([*made(3, 3), *compared, FirstAnswer("a", True, 0.2)])
    assert one_more.compared == 10
    assert one_more.correlation is not None


def test_the_commonest_wrong_answer_counts_wrong_answers_alone():
    some_right = [FirstAnswer("a", True, wrong=("x",))] * 8
    found = items.item_figures([*some_right, *made(0, 1, "x"), *made(0, 2, "y")])
    assert (found.commonest, found.commonest_count) == ("y", 2)
    assert items.item_figures(made(10, 0)).commonest is None
    assert items.commonest(["b", "a", "a", "b"]) == ("b", 2)


@pytest.mark.parametrize(
    ("correlation", "compared", "word"),
    [
        (0.2, 1000, "well"),
        (0.19, 1000, "little"),
        (-0.19, 1000, "little"),
        (-0.2, 1000, "wrong way"),
        (1.0, 10, "well"),
        (-1.0, 10, "wrong way"),
        # Of twelve answers, 0.41 and less may be chance; of thirty it hardly is.
        (0.41, 12, "unclear"),
        (-0.41, 12, "unclear"),
        (-0.41, 30, "wrong way"),
        (0.0, 10, "little"),
    ],
)
def test_a_correlation_has_a_word(correlation, compared, word):
    assert items.separates(correlation, compared) == word


@pytest.mark.parametrize(("given", "other"), [(3, 11), (5, 40), (8, 200)])
def test_the_interval_of_a_correlation_is_that_of_scipy(given, other):
    lots = Random(given)
    xs = [lots.gauss(0, 1) for _ in range(other)]
    ys = [x + lots.gauss(0, given) for x in xs]
    theirs = stats.pearsonr(xs, ys)
    ours = items.correlation_interval(float(theirs.statistic), other)
    assert ours == pytest.approx(tuple(theirs.confidence_interval(0.95)))


@pytest.mark.parametrize(
    ("do", "parameter"),
    [
        (lambda: items.wilson_interval(1, 0), "answered"),
        (lambda: items.wilson_interval(5, 4), "right"),
        (lambda: items.wilson_interval(-1, 4), "right"),
        (lambda: items.wilson_interval(1.5, 4), "right"),
        (lambda: items.corrected_item_total([True, False], [0.5]), "rest"),
        (lambda: items.corrected_item_total([True, False], [0.5, 1.5]), "rest"),
        (lambda: items.corrected_item_total([1, 0], [0.5, 0.5]), "right"),
        (lambda: items.item_figures([]), "answers"),
        (lambda: items.items([FirstAnswer("a", None)]), "right"),
        (lambda: items.separates(1.01, 10), "correlation"),
        (lambda: items.separates(0.5, 9), "compared"),
        (lambda: items.commonest(["x", ""]), "names"),
    ],
)
def test_what_cannot_be_worked_out_is_refused(do, parameter):
    with pytest.raises(CalculationFault) as fault:
        do()
    assert fault.value.parameter == parameter
    assert fault.value.say("es", "x") != fault.value.say("en", "x")


@pytest.mark.parametrize(
    ("wrong", "commonest", "others"),
    [("aab", ("a", 2), 0), ("abab", ("a", 2), 1), ("abc", ("a", 1), 2), ("", (None, 0), 0)],
)
def test_names_that_are_just_as_common_are_counted(wrong, commonest, others):
    slips = [FirstAnswer("x", False, wrong=(name,)) for name in wrong]
    told = items.item_figures(slips + [FirstAnswer("x", True)] * 10)
    assert ((told.commonest, told.commonest_count), told.as_common) == (commonest, others)
