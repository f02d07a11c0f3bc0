"""Typst templates of this folder, filled with plain values and set as PDF/UA."""

import json
import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import typst

from trainer.running import turns

_HERE = Path(__file__).parent
_OF_THREAD = threading.local()
BEGINNING = datetime(1970, 1, 1, tzinfo=UTC)


def pdf(template: str, values: dict[str, Any], made_at: datetime = BEGINNING) -> bytes:
    """Return a template set with values, as a tagged PDF that a screen reader can follow.

    template  name of a .typ file of this folder
    values    plain values that JSON can hold; never pasted into the markup
    made_at   the moment that stands in its properties, never that of the clock
    Standard: PDF/UA-1, ISO 14289-1; the setting refuses what has no title or no words for a picture
    """
    # The same values give the same bytes: no date, and no fonts but our own and Typst's.
    with turns.waiting():
        return _compiler(template).compile(
            format="pdf",
            sys_inputs={"values": json.dumps(values, ensure_ascii=False)},
            pdf_standards=["ua-1"],
            timestamp=int(made_at.timestamp()),
        )


def _compiler(template: str) -> typst.Compiler:
    """Return what sets a template; fonts are read once a thread, which takes most of a page."""
    made = _OF_THREAD.__dict__.setdefault("made", {})
    if template not in made:
        made[template] = typst.Compiler(
            _HERE / f"{template}.typ", font_paths=[_HERE / "fonts"], ignore_system_fonts=True
        )
    return made[template]
