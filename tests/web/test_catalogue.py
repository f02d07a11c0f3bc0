"""Every sentence of the pages has its Spanish, with the same places for values."""

import re
import tomllib
from pathlib import Path

import pytest
from babel.messages.catalog import Message
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po

from trainer.web.language import CATALOGUES

PROJECT = Path(__file__).parents[2]
KEYWORDS = {
    "_": None,
    "gettext": None,
    "ngettext": (1, 2),
    "lazy_gettext": None,
    "_l": None,
    "Refusal": None,
    "Wait": None,
}
# A place for a value, or a doubled percent sign; a single one breaks the page it stands on.
PLACE = re.compile(r"%(?:\(\w+\)\w|.?)")


@pytest.fixture(scope="module")
def spanish() -> dict:
    """Return the catalogue, message by message."""
    with (CATALOGUES / "es" / "LC_MESSAGES" / "messages.po").open("rb") as file:
        return {message.id: message for message in read_po(file, locale="es") if message.id}


def both(text) -> tuple[str, ...]:
    """Return a message as a tuple of its forms."""
    return (text,) if isinstance(text, str) else tuple(text)


def test_no_message_is_empty_or_unsure(spanish: dict):
    assert [key for key, one in spanish.items() if not all(both(one.string)) or one.fuzzy] == []


def test_each_message_has_the_places_of_the_english(spanish: dict):
    def differs(one: Message) -> bool:
        if not one.python_format:
            return False
        wanted = sorted(PLACE.findall(both(one.id)[0]))
        return any(sorted(PLACE.findall(text)) != wanted for text in both(one.string))

    assert [key for key, one in spanish.items() if differs(one)] == []


def test_every_sentence_of_the_program_is_in_the_catalogue(spanish: dict):
    mappings = tomllib.loads((PROJECT / "pyproject.toml").read_text())["tool"]["babel"]["mappings"]
    methods = [(one["pattern"], one["method"]) for one in mappings]
    found = extract_from_dir(
        PROJECT, method_map=methods, keywords=KEYWORDS, options_map={"**": {"silent": "false"}}
    )
    messages = {tuple(item[2]) if isinstance(item[2], list) else item[2] for item in found}
    known = set(spanish)
    assert len(messages) > 300
    assert sorted(str(one) for one in messages if one and one not in known) == []
