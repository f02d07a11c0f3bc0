"""The reader's language, and the catalogues of the pages' words.

Catalogues are kept as text (messages.po) and read at start: no compiled file can go stale.
"""

from contextlib import AbstractContextManager
from datetime import date, datetime
from functools import cache, lru_cache
from io import BytesIO
from pathlib import Path

from babel import dates
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import Translations
from flask import Flask, g, has_request_context, request, session
from flask_babel import Babel, Domain, force_locale, format_date, get_locale
from markupsafe import Markup

from trainer.web import access
from trainer.words import LOCALES

CATALOGUES = Path(__file__).parent / "translations"


def init_app(app: Flask) -> None:
    """Choose the language and the clock of each request, and load the catalogues."""
    babel = Babel()
    babel.init_app(
        app,
        locale_selector=lambda: LOCALES[current()],
        timezone_selector=lambda: access.settings().time_zone,
    )
    babel.domain_instance = _Words()
    app.add_template_filter(_day, "dateformat")
    app.jinja_env.globals |= {"_": _in_page, "gettext": _in_page}


def current() -> str:
    """Return the language: chosen in this browser, the person's own, or asked for.

    One that is not offered here is none of them.
    """
    if not has_request_context():
        return "en"
    offered = access.settings().offered
    chosen = session.get("language")
    if chosen in offered:
        return chosen
    person = g.get("person")
    if person is not None and person.language in offered:
        return person.language
    if g.get("without_record") and session.get("speaks") in offered:
        return session["speaks"]
    return request.accept_languages.best_match(offered, offered[0])


def speaking(language: str) -> AbstractContextManager[None]:
    """Let the words of a part of a page be in another language than the reader's."""
    return force_locale(LOCALES[language])


class _Words(Domain):
    """The words of the pages, found by the reader's language alone."""

    def get_translations(self) -> Translations:
        """Return the catalogue of the reader's language; outside of a page, English."""
        return _catalogue(spoken())


def spoken() -> str:
    """Return the language that words are said in just now; outside of a page, English."""
    locale = get_locale()
    return locale.language if locale else "en"


def _in_page(text: str, /, **values: object) -> Markup:
    """Return a text of a template in the reader's language; what is put into it is escaped."""
    found = said(spoken(), text)
    return found % values if "%" in found else found


@lru_cache(maxsize=4096)
def said(language: str, text: str) -> Markup:
    """Return a text of a template in a language, as HTML."""
    # A text of ours, out of a template or a catalogue; never what somebody typed.
    return Markup(_catalogue(language).ugettext(text))  # noqa: S704  # nosec B704


def _day(day: date, form: str) -> str:
    """Return a day, or the day of a moment by the clock of the works, in the reader's language."""
    if isinstance(day, datetime):
        return format_date(day, form)
    return _written(day, form, LOCALES[spoken()])


@lru_cache(maxsize=4096)
def _written(day: date, form: str, locale: str) -> str:
    """Return a day in words; to put one together anew takes as long as a look-up in the record."""
    return dates.format_date(day, form, locale)


@cache
def _catalogue(language: str) -> Translations:
    if language == "en":
        return Translations()
    path = CATALOGUES / language / "LC_MESSAGES" / "messages.po"
    compiled = BytesIO()
    with path.open("rb") as file:
        write_mo(compiled, read_po(file, locale=language))
    compiled.seek(0)
    return Translations(compiled)
