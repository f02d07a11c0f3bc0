"""Filter ratings and which filters suit a task, against 42 CFR 84.170 and NIOSH 96-101."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from trainer.calculations import filters, labels
from trainer.calculations.faults import CalculationFault


@pytest.mark.parametrize(
    ("efficiency", "through"), [(95, 5), (99, 1), (99.97, 0.03), (0, 100), (100, 0)]
)
def test_what_is_not_caught_may_get_through(efficiency, through):
    # 42 CFR 84.170(a)(3): 95, 99, 99.97; typed so that no binary dust shows: 0.03, not 0.0299...
    assert filters.filter_penetration(efficiency) == through


@pytest.mark.parametrize("efficiency", [-1, 100.1, float("nan"), float("inf"), "95", True, None])
def test_a_percentage_that_is_none_is_refused(efficiency):
    with pytest.raises(CalculationFault) as fault:
        filters.filter_penetration(efficiency)
    assert fault.value.parameter == "efficiency_percent"


@pytest.mark.parametrize(
    ("task", "suiting"),
    [
        # 42 CFR 84.170(a)(2): N only where no oil; R and P with oil.
        ({"oil": False, "powered": False},
         {"N95", "N99", "N100", "R95", "R99", "R100", "P95", "P99", "P100"}),
        ({"oil": True, "powered": False}, {"R95", "R99", "R100", "P95", "P99", "P100"}),
        # NIOSH 96-101: R with oil for one shift only.
        ({"oil": True, "powered": False, "shifts": 2}, {"P95", "P99", "P100"}),
        ({"oil": False, "powered": False, "shifts": 2, "efficiency_percent": 99.97},
         {"N100", "R100", "P100"}),
        ({"oil": True, "powered": False, "efficiency_percent": 99},
         {"R99", "R100", "P99", "P100"}),
        # 42 CFR 84.170(b): PAPR classes; those whose oil meaning was not read are left out.
        ({"oil": True, "powered": True}, {"HE"}),
        ({"oil": False, "powered": True}, {"HE"}),
        ({"oil": False, "powered": False, "efficiency_percent": 99.99}, set()),
    ],
)  # fmt: skip
def test_which_filters_suit_a_task(task, suiting):
    assert set(filters.filters_for(**task)) == suiting


def test_no_n_filter_is_ever_named_where_oil_is():
    for powered in (False, True):
        for efficiency in (0, 95, 99, 99.97):
            named = filters.filters_for(True, powered, efficiency)
            assert not [name for name in named if name.startswith("N")]


def test_of_several_only_the_one_that_serves_is_picked():
    assert filters.filter_for_task(True, 99, False, 1, ["N100", "R95", "R99"]) == "R99"
    with pytest.raises(CalculationFault, match="exactly one filter that serves, not 2"):
        filters.filter_for_task(True, 95, False, 1, ["R95", "P95"])


@given(some.floats(0, 50), some.floats(0, 50))
def test_leakage_is_never_less_than_either_way_in(through, around):
    total = filters.total_inward_leakage(through, around)
    assert max(through, around) <= total <= 100


def test_more_than_all_cannot_leak():
    with pytest.raises(CalculationFault):
        filters.total_inward_leakage(60, 50)


def test_a_prefix_that_was_not_read_is_refused():
    assert labels.approval_kind("TC-19C") == "airline"
    for unknown in ("TC-13G", "TC-99Z", "84A"):
        with pytest.raises(CalculationFault):
            labels.approval_kind(unknown)
