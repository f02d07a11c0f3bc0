"""Words in both languages, and numbers as a person would write them."""

import re
import unicodedata
from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from typing import NamedTuple

LOCALES = {"en": "en_US", "es": "es_US"}
"""Readers in the United States: decimal point and comma thousands in both languages."""

FIGURES = 3
_NEARLY_100 = Decimal("99.95")


class Words(NamedTuple):
    """One text in English and in Spanish; called with a language it gives the text."""

    en: str
    es: str

    def __call__(self, language: str) -> str:
        """Return the text in `es`, or in English for any other language."""
        return self.es if language == "es" else self.en

    def freeze(self) -> dict[str, str]:
        """Return the words as a JSON-able dict."""
        return {"en": self.en, "es": self.es}

    def filled(self, **parts: "str | Words") -> "Words":
        """Return the words with their `{parts}` filled in, each in its language."""
        return Words(*(_filled(self(language), language, parts) for language in ("en", "es")))


def words(given: Mapping[str, str]) -> Words:
    """Return the Words of `{en = ..., es = ...}`. Errors: KeyError when a language is missing."""
    return Words(given["en"], given["es"])


def same(text: str) -> Words:
    """Return words that are alike in both languages: a number, a class such as R95."""
    return Words(text, text)


def tidy(text: str) -> str:
    """Return a line that a person typed: composed (NFC), without outer or double spaces."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def number(value: float | str, language: str = "en", figures: int = FIGURES) -> str:
    """Return a number as a person would write it: 3 significant figures, thousands separated.

    Both languages show a decimal point and comma thousands, as people in the United States write.
    A number with two decimals that three figures would turn into 100 keeps them: of 99.97 % what
    matters is the 0.03 that is missing (42 CFR 84.170). Text passes unchanged.

    >>> number(1250), number(0.0270), number(99.97), number(20000), number(-2.5)
    ('1,250', '0.027', '99.97', '20,000', '-2.5')
    """
    return value if isinstance(value, str) else _rounded(float(value), figures)


def as_typed(value: float) -> str:
    """Return a number that a person gave, with every figure of it.

    >>> as_typed(81.25), as_typed(12500.0), as_typed(0.00005)
    ('81.25', '12,500', '0.00005')
    """
    exact = Decimal(repr(float(value)))
    return _grouped(exact, max(0, -exact.as_tuple().exponent)) if exact else "0"


def few_figures(value: float | str) -> bool:
    """Return whether `number` shows the value exactly, so that nothing is lost by writing it.

    >>> few_figures(12.5), few_figures(12.55), few_figures(99.97)
    (True, False, True)
    """
    if isinstance(value, str):
        return True
    return _shows_all(value)


@lru_cache(maxsize=2**14)
def _shows_all(value: float) -> bool:
    shown = float(number(value).replace(",", ""))
    return abs(shown - value) <= 1e-9 * abs(value)


@lru_cache(maxsize=2**14)
def _rounded(value: float, figures: int) -> str:
    # The same few numbers stand in every text of a problem.
    exact = Decimal(repr(value))
    if not exact:
        return "0"
    decimals = figures - 1 - exact.adjusted()
    told_apart = _NEARLY_100 <= exact < 100 and exact == round(exact, 2)
    return _grouped(exact, max(2, decimals) if told_apart else decimals)


def _grouped(exact: Decimal, decimals: int) -> str:
    rounded = exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    shown = f"{rounded:,f}"
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def _filled(text: str, language: str, parts: Mapping) -> str:
    def said(name: re.Match) -> str:
        part = parts[name[1]]
        return part(language) if isinstance(part, Words) else str(part)

    return re.sub(r"\{([a-z_0-9]+)\}", said, text)
