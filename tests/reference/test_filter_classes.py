"""Filter classes of 42 CFR 84.170, typed here from the section."""

import pytest

from trainer.reference import filter_classes

# 42 CFR 84.170(a)(2) and (3): N only in workplaces free of oil aerosols; R and P for any
# particulate that includes oil; 100, 99, 95 mean at least 99.97, 99 and 95 percent.
# That an R filter serves one shift with oil: NIOSH Publication 96-101.
WITHOUT_BLOWER = {
    "N95": (95, 5, "no"), "N99": (99, 1, "no"), "N100": (99.97, 0.03, "no"),
    "R95": (95, 5, "one shift"), "R99": (99, 1, "one shift"), "R100": (99.97, 0.03, "one shift"),
    "P95": (95, 5, "yes"), "P99": (99, 1, "yes"), "P100": (99.97, 0.03, "yes"),
}  # fmt: skip


@pytest.mark.parametrize("name", WITHOUT_BLOWER)
def test_a_class_without_blower_is_as_published(name):
    row = filter_classes.get(name)
    assert (row.efficiency_percent, row.penetration_percent, row.oil) == WITHOUT_BLOWER[name]
    assert row.series == name[0]
    assert row.seen
    assert not row.powered


def test_there_are_nine_classes_without_blower_and_three_with():
    powered = {row.name for row in filter_classes.rows() if row.powered}
    # 42 CFR 84.170(b): PAPR classes HE and PAPR100 (N and P), each 99.97 percent.
    assert powered == {"HE", "PAPR100-N", "PAPR100-P"}
    assert {row.name for row in filter_classes.rows()} - powered == set(WITHOUT_BLOWER)
    assert {filter_classes.get(name).efficiency_percent for name in powered} == {99.97}


def test_what_is_from_memory_is_not_seen():
    unseen = {row.name for row in filter_classes.rows() if not row.seen}
    assert unseen == {"PAPR100-N", "PAPR100-P"}
