"""When a year is over."""

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.calculations.faults import CalculationFault
from trainer.calculations.periods import next_due


def test_a_year_ends_on_the_same_day():
    """OSHA letter of 23 December 1998: tested on 1 February 1999, due by 1 February 2000."""
    assert next_due(date(1999, 2, 1)) == date(2000, 2, 1)


@pytest.mark.parametrize(
    ("completed", "months", "due"),
    [
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2023, 2, 28), 12, date(2024, 2, 28)),
        (date(2025, 12, 31), 12, date(2026, 12, 31)),
        (date(2025, 8, 31), 6, date(2026, 2, 28)),
        (date(2025, 10, 31), 1, date(2025, 11, 30)),
        (date(2025, 11, 15), 2, date(2026, 1, 15)),
    ],
)
def test_months_end_on_the_calendar_and_never_later(completed, months, due):
    assert next_due(completed, months) == due


@given(st.dates(date(1900, 1, 1), date(9000, 1, 1)))
def test_a_year_is_never_longer_than_a_year(completed):
    due = next_due(completed)
    assert timedelta(364) <= due - completed <= timedelta(366)
    assert (due.year, due.month) == (completed.year + 1, completed.month)


@pytest.mark.parametrize(
    ("completed", "months", "parameter"),
    [
        (datetime(2025, 1, 1, 12), 12, "completed"),
        ("2025-01-01", 12, "completed"),
        (date(9999, 6, 1), 12, "completed"),
        (date(2025, 1, 1), 0, "months"),
        (date(2025, 1, 1), 1.5, "months"),
        (date(2025, 1, 1), 121, "months"),
    ],
)
def test_bad_input_is_refused_by_name(completed, months, parameter):
    with pytest.raises(CalculationFault) as fault:
        next_due(completed, months)
    assert fault.value.parameter == parameter
