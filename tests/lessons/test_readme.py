"""The examples of lessons/README.md are read and checked, so that they cannot rot."""

import re
from pathlib import Path

import pytest

from trainer import lessons
from trainer.config import content_folder
from trainer.lessons.check import BOX_TITLES
from trainer.lessons.drawings import CLASSES, ELEMENTS, drawing_faults


@pytest.fixture
def readme() -> str:
    return (content_folder("lessons") / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def examples(readme: str, tmp_path: Path) -> Path:
    """Write the lesson and the drawing of the README into a folder."""
    lesson, geometry, words = re.findall(r"^```\n(.*?)^```$", readme, re.DOTALL | re.MULTILINE)
    for language in ("en", "es"):
        (tmp_path / language).mkdir()
        text = lesson
        for titles in BOX_TITLES.values():
            text = text.replace(f'"{titles["en"]}"', f'"{titles[language]}"')
        (tmp_path / language / "10-seal-checks.md").write_text(text, encoding="utf-8")
    (tmp_path / "drawings").mkdir()
    for ending, text in (("svg", geometry), ("toml", words)):
        path = tmp_path / "drawings" / f"air-through-half-mask.{ending}"
        path.write_text(text, encoding="utf-8")
    return tmp_path


def test_the_drawing_has_no_fault(examples: Path) -> None:
    assert drawing_faults(examples, "air-through-half-mask") == []


def test_the_lesson_is_only_too_short(examples: Path) -> None:
    (lesson,) = lessons.read(examples).all
    assert [section.id for section in lesson.sections] == ["when", "try"]
    found = lessons.faults(examples, {"inside-concentration"}, {"(k)(1)(iv)"})
    # Whether its Spanish reads well cannot be said: the example is in English in both files.
    sentences = {one.sentence for one in found if one.path.parent.name == "en"}
    assert sentences == {
        f"The lesson has {lesson.words('en')} words; it needs 600 to 1200.",
        "The lesson has fewer than 2 drawings.",
        "The lesson needs 3 to 5 sections.",
    }


def test_every_class_element_and_box_is_named(readme: str) -> None:
    names = [*CLASSES, *(ELEMENTS - {"svg", "title", "desc"})]
    assert [name for name in names if f"`{name}`" not in readme] == []
    titles = [(kind, title) for kind, each in BOX_TITLES.items() for title in each.values()]
    boxes = [f'`!!! {kind} "{title}"`' for kind, title in titles]
    assert [box for box in boxes if box not in readme] == []
