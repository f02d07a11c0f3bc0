"""The bank of the project, and a folder with one small file of questions."""

from pathlib import Path

import pytest

from trainer import bank

OPTION = """
[[question.option]]
right = {right}
text = {{ en = "{text} en", es = "{text} es" }}
why = {{ en = "Because.", es = "Porque sí." }}
"""


def a_question(slug: str, must_know: bool = False, right: int = 0) -> str:
    """Return the TOML of one sound question, whose option number `right` is right."""
    head = f'''
[[question]]
slug = "{slug}"
section = "inside"
element = "(k)(1)(ii)"
must_know = {str(must_know).lower()}
source = "29 CFR 1910.134(b)"
form = "choice"
ask = {{ en = "Which?", es = "¿Cuál?" }}
'''
    options = (OPTION.format(right=str(place == right).lower(), text=f"Option {place}")
               for place in range(3))
    return head + "".join(options)


def a_file(count: int = 14, must_know: int = 4, lesson: str = "factors") -> str:
    """Return the TOML of a sound file of questions."""
    return f'lesson = "{lesson}"\n' + "".join(
        a_question(f"question-{number}", must_know=number < must_know) for number in range(count)
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with one sound file, factors.toml."""
    (tmp_path / "factors.toml").write_text(a_file(), encoding="utf-8")
    return tmp_path


@pytest.fixture(scope="session")
def exercises() -> dict[str, bank.Exercise]:
    """Return the exercises of the project, by slug."""
    return dict(bank.load().exercises)
