"""HTML of the lessons as nodes, and drawings with the colours of paper."""

import re

import pytest

from trainer import documents, lessons
from trainer.config import LANGUAGES


def test_blanks_between_blocks_are_dropped_and_within_a_line_kept():
    (first, second) = documents.tree("<p>One <strong>two</strong> three</p>\n<p>Four</p>")
    assert [one if isinstance(one, str) else one["tag"] for one in first["inner"]] == [
        "One ", "strong", " three"
    ]
    assert second["inner"] == ["Four"]


def test_a_list_keeps_its_start_and_a_cell_its_side():
    (numbered,) = documents.tree('<ol start="3"><li>c</li></ol>')
    assert numbered["start"] == 3
    (cell,) = documents.tree('<td class="number">7</td>')
    assert cell["kind"] == "number"


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_drawing_has_words_a_shape_and_only_colours_of_paper(language):
    for lesson in lessons.load().all:
        for section in lesson.sections:
            for part in section.parts(language):
                if part.kind != "drawing":
                    continue
                one = documents.drawing(part.html)
                assert "var(" not in one["svg"] and "{{" not in one["svg"]
                assert re.search(r"\.ink\{|\.ink \{", one["svg"])
                assert 0.1 < one["ratio"] < 2
                assert len(one["alt"]) > 40 and "<" not in one["alt"]
                assert one["caption"], part.name
