"""Numbers as a person would write them, and lots that are drawn alike everywhere."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.bank import number, shuffle
from trainer.bank.lots import Lots


@pytest.mark.parametrize("value, shown", [
    (2.5, "2.5"), (2.0, "2"), (0, "0"), (1000, "1,000"), (1250.0, "1,250"), (20000, "20,000"),
    (0.0027, "0.0027"), (0.03, "0.03"), (99.97, "99.97"), (99, "99"), (100, "100"),
    (12.345, "12.3"), (999.9, "1,000"), (1234.5, "1,230"), (-2.5, "-2.5"), ("R95", "R95"),
    (0.388 + 1e-17, "0.388"),
])
def test_a_number_is_written_as_a_person_would(value, shown):
    assert number(value, "en") == shown
    assert number(value, "es") == shown


@given(st.floats(min_value=1e-6, max_value=1e9))
def test_a_written_number_is_within_half_of_its_third_figure(value):
    read = float(number(value).replace(",", ""))
    assert math.isclose(read, value, rel_tol=0.005)


def test_lots_are_those_of_the_documented_recipe():
    # printf 'a|0' | sha256sum: its first 16 hexadecimal digits are the first lot.
    # Computed with GNU coreutils, not with the code under test.
    assert Lots("a").below(1 << 64) == int("e4f06efe13841f61", 16)


def test_a_shuffle_stays_the_same_for_ever():
    assert shuffle(range(8), 1) == [0, 4, 1, 6, 3, 2, 5, 7]
    assert shuffle("abcde", 2) == ["a", "b", "e", "d", "c"]


def test_every_order_of_three_comes_up_about_as_often():
    orders = [tuple(shuffle("abc", seed)) for seed in range(6_000)]
    counts = [orders.count(order) for order in set(orders)]
    assert len(counts) == 6
    assert min(counts) > 850  # 1,000 expected; five standard deviations are 144


def test_no_lot_is_favoured():
    lots = Lots("fair")
    drawn = [lots.below(6) for _ in range(6_000)]
    assert set(drawn) == set(range(6))
    assert min(drawn.count(face) for face in range(6)) > 850


def test_nothing_to_draw_from_is_a_fault():
    with pytest.raises(ValueError, match="nothing to draw"):
        Lots("none").below(0)
