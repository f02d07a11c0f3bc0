"""Every dependency says between which versions it was tried."""

import re
import tomllib

from tests import lowest

# A change of the law must reach the record, whatever the year of the installation.
NO_UPPER_BOUND = {"tzdata"}
PROJECT = tomllib.loads((lowest.ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def test_each_dependency_has_a_lower_and_an_upper_bound() -> None:
    asked_for = lowest.asked_for(PROJECT)
    assert len(asked_for) == len(PROJECT["dependencies"]) + len(lowest.EXTRAS)
    assert len(lowest.lowest(asked_for)) == len(asked_for)
    bare = {re.match(r"[\w.-]+", one)[0] for one in asked_for if ",<" not in one}
    assert bare == NO_UPPER_BOUND


def test_what_runs_with_the_lowest_versions_exists() -> None:
    assert [one for one in lowest.SHORT if not (lowest.ROOT / one).exists()] == []
