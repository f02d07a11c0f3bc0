"""A number in a lesson has its unit, or a word beside it of what has none."""

import re

import pytest

from trainer.lessons import bare_numbers
from trainer.lessons.plain import blocks

WORDS = re.compile(r"\b(factor|ratio)\b", re.IGNORECASE)


@pytest.mark.parametrize("text", [
    "The air holds 140 ppm.",
    "It lasts 3, 5 or 10 minutes.",
    "At most 43 °C (110 °F).",
    "A factor of 50 is enough, and 25 is not.",
    "See 29 CFR 1910.134 and 42 CFR 84.170, or NIOSH 96-101 of 1996.",
    "Grade N95, Appendix B-1, 99.97 % of it.",
])  # fmt: skip
def test_what_has_its_unit_passes(text):
    assert list(bare_numbers.in_prose(blocks(f"<p>{text}</p>"), WORDS)) == []


@pytest.mark.parametrize(("text", "found"), [
    ("The air holds 140.", "The air holds 140."),
    ("That is 140 and no more.", "That is 140 and no more."),
    ("It makes 600 ÷ 8 hours.", "It makes 600 ÷ 8 hours."),
    ("Divide 600 by 8 hours.", "Divide 600 by 8 hours."),
])  # fmt: skip
def test_what_has_none_is_found(text, found):
    assert found in list(bare_numbers.in_prose(blocks(f"<p>{text}</p>"), WORDS))


def test_a_line_of_sources_may_be_full_of_numbers():
    shown = "<p><em>Source: Table 7.2.1 of 2011, record 20041146.</em></p>"
    assert list(bare_numbers.in_prose(blocks(shown), WORDS)) == []


@pytest.mark.parametrize(("head", "good"), [
    ("Factor", True), ("Limit (ppm)", True), ("Hours", True), ("Mask", False),
])  # fmt: skip
def test_the_head_of_a_column_may_say_the_unit(head, good):
    shown = f"<table><tr><th>Who</th><th>{head}</th></tr><tr><td>Lee</td><td>50</td></tr></table>"
    assert (list(bare_numbers.in_tables(shown, WORDS)) == []) is good
