"""Lesson texts and question files with anything in them: safe HTML, or a sentence of the fault."""

import re
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

from bs4 import BeautifulSoup
from hypothesis import given
from hypothesis import strategies as st

from tests.fuzz import HOSTILE, bounded, examples, mutated
from trainer import config
from trainer.bank import BankFault, check, numerals, read
from trainer.lessons import flaws, written
from trainer.lessons.written import Around, Text

PIECES = (
    "[", "![", "](", ")", "*", "**", "_", "`", "```\n", ">", "> ", "- ", "1. ", "    ", "\t", "|",
    "|-|-|\n", "# ", "## ", "### x {#x}\n", "{: a=b }", "{#", "!!! must\n", "    x", ": x\n",
    "<a>", "<!--", "&#", "&amp;", "\\", "<http://x>", "a@b", "\n", "\n\n", "[[write x]]\n",
    "[[site hazards]]\n", "[[picture 9]]\n", "[[exercise x]]\n", "[a]: b\n", "===\n", "---\n", "x",
    "\x02", "\x03", "\x02wzxhzdk:0\x03", "\x02amp\x03", "\u202e", "é", "😀",
)  # fmt: skip
MARKDOWN = st.one_of(
    st.lists(st.sampled_from(PIECES), max_size=60).map("".join),
    st.builds(lambda piece, times: piece * times, st.sampled_from(PIECES), st.integers(1, 10_000)),
    st.builds(
        lambda one, other, times: (one + other) * times + other * times,
        st.sampled_from(PIECES), st.sampled_from(PIECES), st.integers(1, 5_000),
    ),
    mutated([
        path.read_bytes()
        for path in sorted((config.content_folder("lessons") / "en").glob("*.md"))[:4]
    ]).map(lambda data: data.decode("utf-8", "replace")),
)  # fmt: skip
QUESTIONS = sorted(config.content_folder("questions").glob("*.toml"))


def look_safe(shown: str) -> None:
    """Check that nothing of a text could run."""
    for element in BeautifulSoup(shown, "html.parser").find_all(True):
        # A drawing may stand in it: it is one of ours, by its name.
        assert element.name not in {"script", "img", "iframe", "style", "form", "input", "object"}
        assert [one for one in element.attrs if one.startswith("on") or one == "style"] == []
        # Browsers leave out what cannot be seen at the beginning, and ends of lines anywhere.
        leads = re.sub(r"^[\0-\x20]+|[\t\r\n]", "", element.get("href", ""))
        # URL Standard, 4.4: without a scheme it leads to a page of this program.
        scheme = re.match(r"([a-z][a-z0-9+.-]*):", leads, re.I)
        assert scheme is None or scheme[1].lower() in {"http", "https", "mailto", "tel"}, leads


@examples(60)
@given(MARKDOWN)
def test_a_text_comes_out_safe_or_as_a_sentence(text: str) -> None:
    text = text[: written.MOST_LETTERS]
    if written.too_long(text):
        return
    with bounded(text):
        shown = written.preview(text, "en", Around(), Counter())
    look_safe("\n".join(html for _, html in shown))
    if len(text) < 3_000:  # our own lessons are not as long as a hostile text may be
        with bounded(text):
            look_safe(written.as_html(text, "es"))


@examples(30)
@given(MARKDOWN, *[HOSTILE.map(lambda text: text.encode(errors="replace").decode())] * 2)
def test_what_is_wrong_with_a_text_is_told(text: str, title: str, summary: str) -> None:
    text = text[:20_000]
    if written.too_long(text):
        return
    with bounded(text):
        whole = written.compose(
            "site-1", {"en": Text(title, summary, text)}, Around(), order=100, elements=(),
            sources={"en": ()}, about={},
        )  # fmt: skip
        for section in whole.sections:
            section.parts("en")
        flaws.of_texts({"en": Text(title, summary, text)}, Around())


@examples(40)
@given(path=st.sampled_from(QUESTIONS), data=st.data())
def test_a_question_file_is_read_or_its_fault_is_named(path, data) -> None:
    bent = data.draw(mutated([path.read_bytes()]))
    with TemporaryDirectory() as folder, bounded(bent):
        (Path(folder) / path.name).write_bytes(bent)
        found = check.faults(Path(folder))
        try:
            read.read_folder(Path(folder))
        except BankFault as fault:
            # Whoever is refused a file at the start is told by the check what is wrong with it.
            assert str(fault) and found


@examples(200)
@given(st.one_of(HOSTILE, st.text("0123456789.,/ ×^eE-+µgmp³%", max_size=60)))
def test_a_number_that_somebody_types_is_read_or_is_none(text: str) -> None:
    with bounded(text):
        numerals.read_quantity(text)
