"""Bars as a picture of its own: what is drawn, and that a strict policy has nothing to refuse."""

from xml.etree import ElementTree as ET

import pytest

from trainer.documents import chart

ROWS = ["Past", "Nov 2026", "Dec 2026"]
SERIES = [chart.Series("Training", (1, 2, 3)), chart.Series("Fit test", (3, 0, 1))]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("ink", [chart.LIGHT, chart.DARK])
@pytest.mark.parametrize("narrow", [False, True])
def test_it_is_a_picture_in_our_ink_without_styles_or_anything_from_elsewhere(ink, narrow):
    drawn = chart.bars(ROWS, SERIES, ink=ink, narrow=narrow)
    root = ET.fromstring(drawn)
    assert root.get("viewBox").split()[2] == ("340" if narrow else "720")
    assert [one for one in root.iter() if one.get("style") or one.tag.endswith("style")] == []
    assert [one for one in root.iter() if one.tag.endswith(("script", "image"))] == []
    links = {value for one in root.iter() for name, value in one.items() if name.endswith("href")}
    assert all(link.startswith("#") for link in links)
    assert ink.accent.encode() in drawn
    assert ink.ink.encode() in drawn
    assert ink.paper.encode() not in drawn  # on paper the sheet is white


def test_a_bar_is_as_long_as_its_number():
    root = ET.fromstring(chart.bars(ROWS, [chart.Series("One", (1, 0, 4))]))
    bars = [
        path.get("d") for path in root.iter(f"{SVG}path")
        if path.get("fill") == chart.LIGHT.accent and "clip-path" in path.attrib
    ]  # fmt: skip
    across = [
        [float(word) for at, word in enumerate(one.replace("z", "").split()) if at % 3 == 1]
        for one in bars
    ]
    lengths = [max(one) - min(one) for one in across]
    assert lengths[0] * 4 == pytest.approx(lengths[2], rel=0.01)
    assert lengths[1] == pytest.approx(0, abs=0.01)


def test_the_same_numbers_give_the_same_bytes_and_none_are_no_fault():
    assert chart.bars(ROWS, SERIES) == chart.bars(ROWS, SERIES)
    assert chart.bars(["Past"], [chart.Series("Training", (0,))]).startswith(b"<?xml")
