"""The lessons that we ship have no fault. That their exercises exist, the bank's tests say."""

from trainer import lessons
from trainer.config import LANGUAGES

# 29 CFR 1910.134(k)(1)(i) to (vii), the seven things that training must cover.
ELEMENTS = {f"(k)(1)({number})" for number in ("i", "ii", "iii", "iv", "v", "vi", "vii")}


def test_the_lessons_have_no_fault() -> None:
    shown = {name for lesson in lessons.load().all for section in lesson.sections
             for name in section.exercises}
    assert [str(fault) for fault in lessons.faults(None, shown - {None}, ELEMENTS)] == []


def test_every_lesson_says_its_cautions_and_sources_in_each_language() -> None:
    assert lessons.load().all
    for lesson in lessons.load().all:
        for language in LANGUAGES:
            assert lesson.sources(language)
            last = lesson.sections[-1].parts(language)
            assert any('class="admonition caution"' in part.html for part in last)
