"""Typst templates of this folder, filled with plain values and set as PDF/UA."""

import json
from pathlib import Path
from typing import Any

import typst

_HERE = Path(__file__).parent


def pdf(template: str, values: dict[str, Any]) -> bytes:
    """Return a template set with values, as a tagged PDF that a screen reader can follow.

    template  name of a .typ file of this folder
    values    plain values that JSON can hold; never pasted into the markup
    Standard: PDF/UA-1, ISO 14289-1; the setting refuses what has no title or no words for a picture
    """
    # The same values give the same bytes: no date, and no fonts but our own and Typst's.
    return typst.compile(
        _HERE / f"{template}.typ",
        format="pdf",
        font_paths=[_HERE / "fonts"],
        ignore_system_fonts=True,
        sys_inputs={"values": json.dumps(values, ensure_ascii=False)},
        pdf_standards=["ua-1"],
        timestamp=0,
    )
