"""Letters that our type has: what people typed is set, whatever it is, and never stops a page."""

import re
import unicodedata
from typing import Any

LACKING = "□"
"""Stands for a letter that the type lacks. PDF/UA-1 refuses a page with an empty glyph."""

# Latin with its extensions, Greek and Cyrillic, punctuation, signs of sums and units, arrows.
_LACKED = re.compile(
    "[^\n\x20-\x7e\xa0-\xac\xae-\u017f\u0192\u0218-\u021b\u0386\u0388-\u038a\u038c\u038e-\u03a1"
    "\u03a3-\u03ce\u0400-\u045f\u1e80-\u1e85\u1e9e\u1ef2\u1ef3\u2010-\u2015\u2018-\u201e"
    "\u2020-\u2022\u2026\u2030\u2032\u2033\u2039\u203a\u2044\u2070\u2074-\u2079\u2080-\u2089"
    "\u20ac\u2122\u2126\u2190-\u2195\u2202\u2206\u220f\u2211\u2212\u221a\u221e\u222b\u2248\u2260"
    "\u2264\u2265\u25a0\u25a1\u25cf\u25cb\u2610-\u2612]"
)


def printable(value: Any) -> Any:
    """Return plain values with every letter that the type lacks shown as LACKING.

    What has no shape of its own, such as a sign that turns the direction of reading round, is
    left out: it could make a name look like another.
    """
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, dict):
        return {key: printable(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [printable(inner) for inner in value]
    return value


def breakable(text: str, longest: int = 20) -> str:
    """Return a text whose words of more letters than that may break anywhere, as in a table.

    >>> breakable("a" * 5, 2).split("\u200b")
    ['a', 'a', 'a', 'a', 'a']
    """
    if len(text) <= longest:
        return text
    return re.sub(rf"\S{{{longest + 1},}}", lambda word: "\u200b".join(word[0]), text)


def _text(text: str) -> str:
    if not text.isascii():
        text = unicodedata.normalize("NFC", text)
    if not _LACKED.search(text):
        return text
    kept = "".join(one for one in text if unicodedata.category(one) not in ("Cf", "Mn", "Me"))
    # What was nothing but that stands there all the same: a heading must not be empty.
    return _LACKED.sub(lambda one: " " if one[0] < " " else LACKING, kept).strip() or LACKING
