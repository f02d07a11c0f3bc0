"""Over the whole bank nothing gives the right answer away, and nothing is asked twice."""

from itertools import combinations
from math import comb

import pytest

from trainer import bank
from trainer.bank.rules import asks_the_same, says_all_of_them

QUESTIONS = list(bank.load().questions.values())
CHOICES = [question for question in QUESTIONS if question.form == "choice"]
# How rare a bank may be by chance before we call it a hint to those who guess.
RARE = 0.001


def by_chance(hits: int, shares: list[float]) -> float:
    """Return how likely so many hits or more are, when each question has its own chance.

    The distribution of a sum of unequal coin tosses (Poisson binomial), by convolution.
    """
    spread = [1.0]
    for share in shares:
        spread = [
            (spread[n] if n < len(spread) else 0) * (1 - share)
            + (spread[n - 1] if n else 0) * share
            for n in range(len(spread) + 1)
        ]
    return sum(spread[hits:])


def test_chance_is_reckoned_as_in_the_textbook():
    # Equal chances are the binomial distribution: 8 or more heads in 10 tosses, 56/1024.
    heads = sum(comb(10, n) for n in (8, 9, 10)) / 2**10
    assert by_chance(8, [0.5] * 10) == pytest.approx(heads)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("extreme", [max, min])
def test_neither_the_longest_nor_the_shortest_answer_is_the_right_one(language, extreme):
    hits = 0
    for question in CHOICES:
        lengths = [len(option.text(language)) for option in question.options]
        right = next(len(o.text(language)) for o in question.options if o.right)
        hits += right == extreme(lengths) and lengths.count(right) == 1
    shares = [1 / len(question.options) for question in CHOICES]
    assert by_chance(hits, shares) > RARE, f"{hits} of {len(CHOICES)}"


@pytest.mark.parametrize("place", [0, 1, 2])
def test_the_right_answer_stands_in_no_favourite_place_of_the_files(place):
    # Sittings shuffle; whoever reads the file should learn nothing from it either.
    hits = sum(question.options[place].right for question in CHOICES)
    shares = [1 / len(question.options) for question in CHOICES]
    assert by_chance(hits, shares) > RARE, f"{hits} of {len(CHOICES)}"


def test_of_several_choices_some_are_right_and_some_are_not():
    several = [question for question in QUESTIONS if question.form == "choices"]
    whole = sum(all(option.right for option in question.options) for question in several)
    assert whole <= len(several) / 4


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_two_questions_ask_the_same_in_other_words(language):
    for one, other in combinations(QUESTIONS, 2):
        first, second = (question.ask(language) for question in (one, other))
        assert not asks_the_same(first, second), f"{one.slug} and {other.slug}: {first} / {second}"


def test_no_option_says_all_or_none_of_the_above():
    for question in QUESTIONS:
        for option in question.options:
            assert not says_all_of_them(option.text.en), question.slug
            assert not says_all_of_them(option.text.es), question.slug


def test_at_least_five_ways_of_asking_are_used():
    ways = {question.form for question in QUESTIONS}
    ways |= {"drawing"} if any(question.drawing for question in QUESTIONS) else set()
    assert ways == {"choice", "choices", "order", "match", "drawing"}
