"""The rules of one question: without a file, in the languages that its lesson has."""

import pytest

from trainer import bank
from trainer.bank.check import faults as file_faults
from trainer.bank.rules import FORMS, OPTIONS, FieldFault

QUESTIONS = bank.load().questions.values()


def a_question(form: str = "choice") -> dict:
    """Return a sound question of a form, in both languages."""
    options = []
    for n in range(OPTIONS[form][1]):
        option = {"text": said(f"Option {n}"), "why": said("Because.")}
        if form in ("choice", "choices"):
            option["right"] = n == 0
        if form == "match":
            option["to"] = said(f"Half {n}")
        options.append(option)
    return {
        "slug": "site-1-q1", "section": "inside", "element": "(k)(1)(ii)", "must_know": True,
        "source": "29 CFR 1910.134(b)", "form": form, "ask": said("Which?"), "option": options,
    }  # fmt: skip


def said(text: str) -> dict[str, str]:
    """Return a text in both languages."""
    return {"en": f"{text} en", "es": f"{text} es"}


def changed(form: str, at: str, value: object) -> dict:
    """Return a sound question with one field of another value."""
    raw = a_question(form)
    *way, last = (int(key) if key.isdigit() else key for key in at.split("."))
    holder = raw
    for key in way:
        holder = holder[key]
    holder[last] = value
    return raw


def found(raw: dict, **known) -> list[FieldFault]:
    known = {"sections": {"inside"}, "elements": {"(k)(1)(ii)"}, "drawings": {"sun"}} | known
    return bank.question_faults(raw, **known)


@pytest.mark.parametrize("form", FORMS)
def test_a_sound_question_has_no_fault(form):
    assert found(a_question(form)) == []


FAULTS = [
    # form, field, its value, where the fault is said to be, and the sentence on a page
    ("choice", "source", "", "source", "Say where this is written"),
    ("choice", "section", "", "section", "Choose the section"),
    ("choice", "section", "outside", "section", "no longer has the section"),
    ("choice", "element", "(k)(1)(x)", "element", "shows knowledge of"),
    ("choice", "slug", "Question 1", "slug", "small letters"),
    ("choice", "form", "essay", "form", "Choose how it is asked"),
    ("choice", "must_know", "yes", "must_know", "must-know"),
    ("choice", "drawing", "ghost", "drawing", "no such drawing"),
    ("choice", "ask.es", " ", "ask.es", "Missing in Spanish: the question."),
    ("choice", "option.1.text.en", "", "option.1.text.en", "Missing in English: answer 2, its"),
    ("choice", "option.0.why.es", "", "option.0.why.es", "Missing in Spanish: answer 1, the r"),
    ("choice", "option.0.right", False, "right", "Mark one answer as the right one."),
    ("choice", "option.1.right", True, "right", "Mark one answer as the right one."),
    ("choices", "option.0.right", False, "right", "Mark each answer that is right"),
    ("choice", "option", [], "option", "Write 3 to 4 answers; there are 0."),
    ("order", "option.0.right", True, "option.0.right", "right where they stand"),
    ("order", "option.2.text.en", "Option 0 en", "option.2.text.en", "step 1 and step 3"),
    ("match", "option.1.to.es", "", "option.1.to.es", "Missing in Spanish: pair 2, the other"),
    ("match", "option.1.to.es", "Half 0 es", "option.1.to.es", "in Spanish: pair 1 and pair 2"),
]


@pytest.mark.parametrize(("form", "field", "value", "at", "says"), FAULTS)
def test_a_fault_leads_to_its_field_and_is_said_in_both_languages(form, field, value, at, says):
    one = next(one for one in found(changed(form, field, value)) if one.at == at)
    assert says in one.says.en
    assert one.says.es not in ("", one.says.en)
    assert "{" not in one.says.en + one.says.es


@pytest.mark.parametrize(("form", "field", "value", "at", "says"), FAULTS)
def test_a_file_with_the_same_question_has_the_same_faults(
    tmp_path, form, field, value, at, says
):
    raw = changed(form, field, value)
    lines = ["lesson = 'factors'", "", "[[question]]"]
    lines += [f"{key} = {toml(raw[key])}" for key in raw if key != "option"]
    for option in raw["option"]:
        lines += ["[[question.option]]", *(f"{key} = {toml(option[key])}" for key in option)]
    (tmp_path / "factors.toml").write_text("\n".join(lines), encoding="utf-8")
    told = file_faults(tmp_path, {"factors": {"inside"}}, {"(k)(1)(ii)"}, {"sun"})
    about_it = [one for one in told if one.line > 1]
    expected = found(raw, lesson="factors")
    assert [one.sentence for one in about_it] == [f"{raw['slug']}: {one.sentence}"
                                                  for one in expected]
    starts = [at + 1 for at, line in enumerate(lines) if line == "[[question.option]]"]
    assert [one.line for one in about_it] == [
        3 if one.place is None else starts[one.place] for one in expected
    ]


def toml(value: object) -> str:
    """Return a value as a file of questions writes it."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml(one)}" for key, one in value.items()) + " }"
    return str(value).lower() if isinstance(value, bool) else f'"{value}"'


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("language", ["en", "es"])
def test_only_the_languages_of_the_lesson_must_be_there(form, language):
    raw = a_question(form)
    for words in (raw["ask"], *(option[key] for option in raw["option"] for key in option
                                if key != "right")):
        words["es" if language == "en" else "en"] = ""
    assert found(raw, languages=(language,)) == []
    assert {one.at.rsplit(".")[-1] for one in found(raw)} == {"es" if language == "en" else "en"}


def test_an_order_with_a_right_mark_may_not_hide_behind_false():
    raw = changed("order", "option.0.right", False)
    assert [one.at for one in found(raw)] == ["option.0.right"]


# Advice.


def advised(raw: dict, others=()) -> list[str]:
    return [one.en for one in bank.question_advice(raw, others=others)]


def test_a_sound_question_gets_no_advice():
    assert [advised(a_question(form), [said("Why?")]) for form in FORMS] == [[]] * 4


def test_the_questions_of_the_project_hardly_ever_get_any():
    told = [one for one in QUESTIONS if advised(raw_of(one))]
    assert len(told) <= len(QUESTIONS) / 20


def raw_of(question: bank.Question) -> dict:
    """Return a question as its file has it."""
    frozen = question.freeze()
    return frozen | {"option": frozen["options"]}


@pytest.mark.parametrize(("text", "says"), [
    ("Option 0, and that is so because the air behind it is cleaned twice",
     ["In English the right answer is much longer than the others: those who guess choose it."]),
    ("Option 0 en", []),
])
def test_a_right_answer_that_stands_out_by_its_length_is_pointed_out(text, says):
    assert advised(changed("choice", "option.0.text.en", text)) == says


def test_a_short_right_answer_among_long_ones_is_pointed_out():
    raw = a_question()
    for place, option in enumerate(raw["option"][1:]):
        option["text"]["es"] = f"Una respuesta larga que dice mucho más, número {place}"
    assert advised(raw) == [
        "In Spanish the right answer is much shorter than the others: it stands out."
    ]


def test_numbers_of_different_length_are_nothing_to_point_out():
    raw = a_question()
    for option, text in zip(raw["option"], ("1,000 ppm", "5 ppm", "50 ppm", "1 ppm"), strict=True):
        option["text"] = {"en": text, "es": text}
    assert advised(raw) == []


def test_several_choices_that_are_all_right_are_pointed_out():
    raw = a_question("choices")
    for option in raw["option"]:
        option["right"] = True
    assert advised(raw) == ["Every answer is right. Add a wrong one that people could believe."]


def test_all_of_the_above_is_pointed_out_once():
    raw = changed("choice", "option.3.text", {"en": "All of the above", "es": "Las anteriores"})
    [told] = advised(raw)
    assert told.startswith("Leave out")


def test_a_thing_asked_twice_is_pointed_out():
    raw = changed("choice", "ask.en", "How long may the blasting helmet be used?")
    other = {"en": "How long may a blasting helmet be used?", "es": "Otra cosa"}
    assert advised(raw, [other]) == [
        "Another question of this lesson asks almost the same."
    ]
    assert advised(raw, [{"en": "", "es": ""}]) == []
