"""A small lesson about a drawing, written into a folder of its own for each test."""

from collections.abc import Callable
from pathlib import Path

import pytest

HEAD = """+++
title = "{title}"
summary = "{summary}"
elements = ["(k)(1)(iv)"]
sources = ["29 CFR 1910.134(g)(1)(iii)"]
+++
"""

SVG = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 360 90" role="img" \
aria-labelledby="{name}-title {name}-desc">
  <title id="{name}-title">{{{{title}}}}</title>
  <desc id="{name}-desc">{{{{description}}}}</desc>
  <path class="air" d="M10 20 H300"/>
  <text class="say" x="10" y="60">{{{{outside}}}}</text>
</svg>
"""

WORDS = """
[en]
title = "Air outside"
description = "An arrow goes to the right."
caption = "Air & dust < 5 ppm"
outside = "Outside"

[es]
title = "Aire afuera"
description = "Una flecha va a la derecha."
caption = "Aire y polvo < 5 ppm"
outside = "Afuera"
"""

PLAIN = {
    "en": "Put the mask on. Check the seal each time. Ask when you are not sure. ",
    "es": "Ponga la cara en su sitio. Mire el sello cada vez. Si no sabe, pida ayuda. ",
}
TITLES = {
    "en": ("When", "How", "Try it", "Must know", "Caution"),
    "es": ("Cuándo", "Cómo", "Inténtelo", "Debe saber", "Precaución"),
}


def body(language: str) -> str:
    """Return three sections without a fault: about 630 words, two drawings, one exercise."""
    when, how, attempt, must, caution = TITLES[language]
    prose = PLAIN[language] * 14
    return f"""## {when} {{#when}}
{prose}

!!! must "{must}"
    {PLAIN[language]}

[[drawing air-outside]]

## {how} {{#how}}
{prose}

[[drawing air-inside]]

## {attempt} {{#try}}
{prose}

!!! caution "{caution}"
    {PLAIN[language]}

[[exercise inside-concentration]]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with one whole lesson, seal-checks, that has no fault."""
    for language in ("en", "es"):
        (tmp_path / language).mkdir()
        head = HEAD.format(title=f"Seal checks {language}", summary="You can check.")
        path = tmp_path / language / "20-seal-checks.md"
        path.write_text(head + body(language), encoding="utf-8")
    (tmp_path / "drawings").mkdir()
    for name in ("air-outside", "air-inside"):
        (tmp_path / "drawings" / f"{name}.svg").write_text(SVG.format(name=name), encoding="utf-8")
        (tmp_path / "drawings" / f"{name}.toml").write_text(WORDS, encoding="utf-8")
    return tmp_path


@pytest.fixture
def edit(folder: Path) -> Callable[[str, str, str], None]:
    """Replace a text, which must be there, in a file of the folder."""

    def change(name: str, old: str, new: str) -> None:
        path = folder / name
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")

    return change
