"""The look keeps its promises: contrast, the content policy, every shape a drawing may use."""

import re
from pathlib import Path

import pytest

from trainer import config

STATIC = config.content_folder("static")
TEMPLATES = Path(config.__file__).parent / "web" / "templates"
SHEETS = sorted(STATIC.glob("*.css"))
GROUND = (STATIC / "ground.css").read_text()
DRAWING_CLASSES = (
    *("ink", "thin", "air", "leak", "body", "sheet", "dots"),
    *("fill-ink", "fill-accent", "fill-warn"),
    *("say", "small", "end", "mid"),
)


def palette(scheme: str) -> dict[str, str]:
    """Return colour names to #rrggbb, for "light" or "dark"."""
    light, dark = GROUND.split("@media screen and (prefers-color-scheme: dark)", 1)
    colour = re.compile(r"--([a-z-]+): (#[0-9a-f]{6});")
    chosen = dict(colour.findall(light))
    return chosen if scheme == "light" else chosen | dict(colour.findall(dark))


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours. Source: WCAG 2.2, relative luminance."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        red, green, blue = (
            p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts
        )
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_reckoned_as_published():
    # WCAG 2.2, "contrast ratio": 21:1 for black on white; #767676 on white is the usual 4.54:1.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet", "stock", "wash"])
def test_words_and_controls_stand_out(scheme, ground):
    colours = palette(scheme)
    for words in ("ink", "soft", "accent", "warn"):  # WCAG 2.2, 1.4.3: text 4.5:1
        assert contrast(colours[words], colours[ground]) >= 4.5, (words, ground)
    # WCAG 2.2, 1.4.11: outlines of controls 3:1
    assert contrast(colours["edge"], colours[ground]) >= 3, ground


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_on_solid_colour_stand_out(scheme):
    colours = palette(scheme)
    for solid in ("accent", "warn"):
        assert contrast(colours[f"on-{solid}"], colours[solid]) >= 4.5, solid


@pytest.mark.parametrize("name", DRAWING_CLASSES)
def test_every_class_of_a_drawing_is_defined(name):
    assert f"svg .{name} {{" in (STATIC / "lesson.css").read_text()


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_a_sheet_asks_nobody_else_and_uses_known_colours(sheet):
    text = sheet.read_text()
    assert text.count("{") == text.count("}")
    assert not re.search(r"@import|data:|https?:", text)
    for address in re.findall(r"url\(([^)]+)\)", text):
        assert (STATIC / address).is_file(), address
    known = set(re.findall(r"--([a-z-]+):", "".join(s.read_text() for s in SHEETS)))
    assert set(re.findall(r"var\(--([a-z-]+)\)", text)) <= known


@pytest.mark.parametrize("name", ["_layout.html", "_shapes.html"])
def test_a_template_holds_nothing_that_the_content_policy_forbids(name):
    text = (TEMPLATES / name).read_text()
    assert not re.search(r"\sstyle=|<style|\son[a-z]+=|hx-on|javascript:", text)
    assert not re.search(r"<script(?![^>]*\bsrc=)", text)


def test_the_layout_links_every_sheet_and_print_is_last():
    text = (TEMPLATES / "_layout.html").read_text()
    linked = re.search(r"for sheet in \(([^)]+)\)", text).group(1)
    names = re.findall(r'"([a-z]+)"', linked)
    assert sorted(names) == [sheet.stem for sheet in SHEETS]
    assert names[-1] == "print"


def test_licences_travel_with_what_others_made():
    assert "SIL OPEN FONT LICENSE" in (STATIC / "fonts" / "LICENSE").read_text().upper()
    assert "Zero-Clause BSD" in (STATIC / "htmx-LICENSE.txt").read_text()
