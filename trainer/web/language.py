"""The reader's language, and the catalogues of the pages' words.

Catalogues are kept as text (messages.po) and read at start: no compiled file can go stale.
"""

from contextlib import AbstractContextManager
from functools import cache
from io import BytesIO
from pathlib import Path

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import Translations
from flask import Flask, current_app, g, has_request_context, request, session
from flask_babel import Babel, force_locale

from trainer.config import LANGUAGES

CATALOGUES = Path(__file__).parent / "translations"
# Readers in the United States: decimal point and comma thousands in both languages.
LOCALES = {"en": "en_US", "es": "es_US"}


def init_app(app: Flask) -> None:
    """Choose the language and the clock of each request, and load the catalogues."""
    babel = Babel()
    babel.init_app(
        app,
        locale_selector=lambda: LOCALES[current()],
        timezone_selector=lambda: current_app.extensions["settings"].time_zone,
    )
    with app.app_context():
        cache = babel.domain_instance.cache
        cache["en_US", "messages"] = Translations()
        cache["es_US", "messages"] = _catalogue("es")


def current() -> str:
    """Return the language: chosen in this browser, the person's own, or asked for."""
    if not has_request_context():
        return "en"
    chosen = session.get("language")
    if chosen in LANGUAGES:
        return chosen
    person = g.get("person")
    if person is not None:
        return person.language
    return request.accept_languages.best_match(LANGUAGES, "en")


def speaking(language: str) -> AbstractContextManager[None]:
    """Let the words of a part of a page be in another language than the reader's."""
    return force_locale(LOCALES[language])


@cache
def _catalogue(language: str) -> Translations:
    path = CATALOGUES / language / "LC_MESSAGES" / "messages.po"
    compiled = BytesIO()
    with path.open("rb") as file:
        write_mo(compiled, read_po(file, locale=language))
    compiled.seek(0)
    return Translations(compiled)
