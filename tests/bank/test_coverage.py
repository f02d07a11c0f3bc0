"""The bank is large and wide enough, and a full training asks about every element."""

from collections import Counter
from itertools import product

import pytest

from trainer import bank, lessons
from trainer.bank import draw_questions
from trainer.reference import training_elements

QUESTIONS = list(bank.load().questions.values())
ELEMENTS = [row.paragraph for row in training_elements.seven()]
COURSE = [lesson.slug for lesson in lessons.load().all]


def test_there_are_enough_questions_of_enough_kinds():
    assert len(QUESTIONS) >= 220
    forms = Counter(question.form for question in QUESTIONS)
    assert set(forms) == {"choice", "choices", "order", "match"}
    assert min(forms.values()) >= 10
    # The fifth kind: read a picture or a label.
    assert sum(bool(question.drawing) for question in QUESTIONS) >= 15


@pytest.mark.parametrize("slug", COURSE)
def test_each_lesson_has_enough_and_shows_every_section(slug):
    asked = bank.load().for_lesson(slug)
    assert len(asked) >= 14
    assert sum(question.must_know for question in asked) >= 4
    assert {question.section for question in asked} == {
        section.id for section in lessons.load().get(slug).sections
    }


@pytest.mark.parametrize("element", ELEMENTS)
def test_each_element_has_at_least_twelve(element):
    # 29 CFR 1910.134(k)(1)(i) to (vii).
    assert sum(question.element == element for question in QUESTIONS) >= 12


@pytest.mark.parametrize("seed", range(20))
def test_a_full_training_asks_about_each_element_whatever_was_asked_before(seed):
    asked: set[str] = set()
    seen = {question.slug for question in QUESTIONS if seed % 2}
    for slug in COURSE:
        drawn = draw_questions(bank.load(), slug, seed, seen)
        of_lesson = {question.element for question in bank.load().for_lesson(slug)}
        assert {question.element for question in drawn} == of_lesson, slug
        asked |= of_lesson
    assert asked == set(ELEMENTS)


def test_a_lesson_names_the_elements_that_its_questions_show():
    for lesson, question in product(lessons.load().all, QUESTIONS):
        if question.lesson == lesson.slug:
            assert question.element in lesson.elements, question.slug
