"""The threat model names tests: each of them exists, and each part says all that it should."""

import ast
import re
from pathlib import Path

import pytest

import trainer

ROOT = Path(trainer.__file__).parent.parent
TEXT = (ROOT / "docs" / "threats.md").read_text(encoding="utf-8")
NAMED = re.findall(r"`(tests/[\w/.]+)::(\w+)`", TEXT)
PARTS = re.split(r"^## ", TEXT, flags=re.MULTILINE)[1:]


def test_every_test_it_names_exists() -> None:
    assert len(NAMED) > 30
    missing = []
    for path, name in NAMED:
        tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
        if name not in {one.name for one in tree.body if isinstance(one, ast.FunctionDef)}:
            missing.append(f"{path}::{name}")
    assert missing == []


def test_it_names_the_threats_that_were_thought_of() -> None:
    assert len(PARTS) == 7
    assert TEXT.count("`tests/") == len(NAMED) + 1  # the first names this very file


@pytest.mark.parametrize("part", PARTS, ids=[part.partition("\n")[0] for part in PARTS])
def test_each_says_what_they_want_what_stops_it_and_what_remains(part: str) -> None:
    for head in ("**They want**", "**What stops it**", "**What remains**"):
        assert part.count(head) == 1
    assert re.search(r"`tests/[\w/.]+::test_", part)
