"""What check.py finds in files of questions and exercises."""

import re
import shutil

import pytest

from trainer.bank import faults
from trainer.config import content_folder


def said(folder, **known) -> list[str]:
    return [fault.sentence for fault in faults(folder, **known)]


def test_a_sound_file_has_no_fault(folder):
    assert faults(folder, sections={"factors": {"inside"}}, elements={"(k)(1)(ii)"}) == []


@pytest.mark.parametrize("old, new, says", [
    (', es = "¿Cuál?"', "", "question-0: ask has no 'es'"),
    ('en = "Option 1 en", ', "", "question-0: option 2, text has no 'en'"),
    ('why = { en = "Because.", es = "Porque sí." }', "", "question-0: option 1, why is missing"),
    ('es = "Porque sí."', 'es = " "', "question-0: option 1, why has no 'es'"),
    ('es = "Porque sí."', 'fr = "Oui."', "'fr' that is not taught"),
    ("right = true", "right = false", "question-0: exactly one option must be right, not 0"),
    ("right = false", "right = true", "question-0: exactly one option must be right, not 2"),
    ('"question-1"', '"question-0"', "'question-0' is used already in factors.toml"),
    ('"question-1"', '"Question 1"', "'Question 1' may hold small letters"),
    ('source = "29 CFR 1910.134(b)"', "", "question-0: the field source is missing"),
    ('form = "choice"', 'form = "essay"', "question-0: the form is 'essay'"),
    ('form = "choice"', 'form = "choices"', "a set of choices has 4 to 5 options, not 3"),
    ('form = "choice"', 'form = "order"', "options of an order are right where they stand"),
    ('form = "choice"', 'form = "match"', "question-0: option 1, to is missing"),
    ('form = "choice"', 'form = "choice"\ndrawing = "ghost"', "there is no drawing 'ghost'"),
    ("must_know = true", "must_know = false", "3 questions are must-know; 4 or more"),
    ("must_know = true", 'must_know = "yes"', "question-0: must_know is either true or false"),
    ('"Option 1 en"', '"Option 0 en"', "question-0: two options say the same in 'en'"),
    ('lesson = "factors"', 'lesson = "filters"', "The file of filters must be filters.toml"),
    ('lesson = "factors"', "", "does not say which lesson"),
])
def test_a_fault_is_found_and_said(folder, old, new, says):
    path = folder / "factors.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    found = said(folder, drawings={"sun"})
    assert any(says in sentence for sentence in found), found


def test_too_few_questions_is_a_fault(folder):
    path = folder / "factors.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.rindex("[[question]]")], encoding="utf-8")
    assert said(folder) == ["There are 13 questions; 14 or more are needed."]


def test_sections_and_elements_are_checked_against_those_given(folder):
    known = {"sections": {"factors": {"outside"}}, "elements": {"(k)(1)(i)"}}
    assert "question-0: the lesson 'factors' has no section 'inside'." in said(folder, **known)
    assert "question-0: there is no element '(k)(1)(ii)'." in said(folder, **known)
    assert said(folder) == []


def test_a_fault_names_the_line(folder):
    path = folder / "factors.toml"
    lines = path.read_text(encoding="utf-8").splitlines()
    start = [number for number, line in enumerate(lines, 1) if line == "[[question]]"][2]
    at = next(number for number, line in enumerate(lines, 1)
              if number > start and line.startswith("ask"))
    lines[at - 1] = 'ask = { en = "Which?" }'
    path.write_text("\n".join(lines), encoding="utf-8")
    [fault] = faults(folder)
    assert (fault.path, fault.line) == (path, start)
    assert str(fault).startswith(f"{path}:{start}: question-2")


def test_a_file_that_is_no_toml_is_one_fault_with_its_line(folder):
    (folder / "broken.toml").write_text('lesson = "x"\nask = \n', encoding="utf-8")
    [fault] = faults(folder)
    assert (fault.path.name, fault.line) == ("broken.toml", 2)


@pytest.fixture
def exercise_folder(tmp_path):
    for name in ("inside-concentration", "read-rating"):
        shutil.copy(content_folder("questions") / f"{name}.toml", tmp_path)
    return tmp_path


def test_the_exercises_of_the_project_have_no_fault():
    slugs = ("inside-concentration", "required-factor", "maximum-use", "read-rating",
             "which-filter", "approval-prefix")
    assert [str(fault) for fault in faults() if fault.path.stem in slugs] == []


@pytest.mark.parametrize("old, new, says", [
    ('"inside_concentration"', '"inside_out"', "There is no calculation 'inside_out'"),
    ('"below-idlh"', '"below-all"', "There is no constraint 'below-all'"),
    ('from_table = "contaminants"', 'from_table = "poisons"', "There is no table 'poisons'"),
    ("ambient = ", "outside = ", "inside_concentration has no parameter 'outside'"),
    ('part = "result"', 'part = "outcome"', "leads nowhere: 'outcome'"),
    ("{worn}", "{wornn}", "leads nowhere: 'wornn'"),
    ("{worn}", "{Worn}", "a brace that is not filled"),
    ('within = "1 %"', 'within = "1"', "within must read like '1 %'"),
    ('to = "highest"', 'to = "cartridge.limit"', "leads nowhere: 'cartridge'"),
    ("from = \"substance.limit\"\n", "from = 1e9\n", "no drawing of seed 0"),
    ('substance = "substance"\n', 'air = "substance"\n', "names 'air', which is no given"),
    ('"outside_of_published_limit"', '"weather"', "A worksite has no fact 'weather'"),
    (" was measured on {day}.", " was measured.", "must say {place}, {task} and the day in 'en'"),
    ("En {place} ({task}) se", "Se", "must say {place}, {task} and the day in 'es'"),
    ('es = "{respirator}"', 'fr = "{respirator}"', "[worksite] worn has no 'es'"),
])
def test_a_fault_of_an_exercise_is_found(exercise_folder, old, new, says):
    path = exercise_folder / "inside-concentration.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    found = faults(exercise_folder)
    assert found
    assert {fault.path for fault in found} == {path}
    assert any(says in fault.sentence for fault in found), found


def test_a_missing_language_of_a_slip_is_found_with_its_line(exercise_folder):
    path = exercise_folder / "inside-concentration.toml"
    text = re.sub(r'(key = "upside-down"\nsay\.en = [^\n]*\n)say\.es[^\n]*\n', r"\1",
                  path.read_text(encoding="utf-8"))
    path.write_text(text, encoding="utf-8")
    [fault] = faults(exercise_folder)
    assert fault.sentence == "answer, upside-down has no 'es'."
    assert text.splitlines()[fault.line - 1] == "[[answer.slip]]"
    assert text.splitlines()[fault.line] == 'key = "upside-down"'
