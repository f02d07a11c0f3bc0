"""Reading the files of questions/."""

import tomllib

import pytest

from trainer import bank, lessons
from trainer.bank import BankFault, read_folder
from trainer.config import content_folder


def test_a_file_becomes_questions_with_their_options(folder):
    found = read_folder(folder)
    question = found.questions["question-0"]
    assert (question.lesson, question.section, question.element) == \
        ("factors", "inside", "(k)(1)(ii)")
    assert question.must_know
    assert question.ask("es") == "¿Cuál?"
    assert [option.right for option in question.options] == [True, False, False]
    assert question.options[2].text("en") == "Option 2 en"
    assert question.options[2].why("es") == "Porque sí."
    assert len(found.for_lesson("factors")) == 14
    assert found.for_lesson("other") == ()


def test_a_version_changes_with_every_word_and_with_nothing_else(folder):
    before = read_folder(folder).questions["question-3"].version
    path = folder / "factors.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text("# a remark\n" + text, encoding="utf-8")
    assert read_folder(folder).questions["question-3"].version == before
    path.write_text(text.replace("Porque sí.", "Porque no."), encoding="utf-8")
    after = read_folder(folder).questions["question-3"].version
    assert after != before
    assert len(after) == 12
    assert int(after, 16) >= 0


def test_the_files_of_a_lesson_can_be_kept(folder):
    text = (folder / "factors.toml").read_text(encoding="utf-8")
    assert read_folder(folder).files_for("factors") == {"questions/factors.toml": text}
    assert read_folder(folder).files_for("other") == {}


@pytest.mark.parametrize("break_it, says", [
    (lambda text: text.replace("Porque sí.\" }", "Porque sí.\""), "factors.toml"),
    (lambda text: text.replace(', es = "¿Cuál?"', ""), "'es'"),
    (lambda text: text.replace('section = "inside"', ""), "'section' of 'question-0'"),
    (lambda text: text.replace('"question-1"', '"question-0"'), "used twice"),
    (lambda text: text.replace('{ en = "Because.", es = "Porque sí." }', '"Because."'), "factors"),
])
def test_a_file_that_cannot_be_read_is_named(folder, break_it, says):
    path = folder / "factors.toml"
    path.write_text(break_it(path.read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(BankFault, match=says):
        read_folder(folder)


def test_an_exercise_that_names_a_lesson_stands_in_that_section_and_nowhere_else(exercises):
    shown = {
        name: (lesson.slug, section.id)
        for lesson in lessons.load().all for section in lesson.sections
        for name in section.exercises
    }
    named = {slug: (one.lesson, one.section) for slug, one in exercises.items() if one.lesson}
    assert shown == named
    assert [exercise.slug for exercise in bank.load().exercises_for("filter-ratings")] == \
        ["inward-leakage", "read-rating", "which-filter"]


def test_the_bank_is_read_once():
    assert bank.load() is bank.load()


def test_the_next_start_finds_the_very_same_questions_ready(folder, tmp_path_factory, monkeypatch):
    data = tmp_path_factory.mktemp("data")
    first = read_folder(folder, data)
    read = []
    real = tomllib.loads
    monkeypatch.setattr(tomllib, "loads", lambda text: read.append(text) or real(text))
    assert read_folder(folder, data) == first
    assert read == []
    path = folder / "factors.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("Porque sí.", "Porque no."),
                    encoding="utf-8")
    assert read_folder(folder, data) != first
    assert len(read) == len(first.files)


def test_our_own_bank_comes_out_ready_as_it_is_read(tmp_path):
    ours = content_folder("questions")
    assert read_folder(ours, tmp_path) == read_folder(ours, tmp_path) == bank.load()
