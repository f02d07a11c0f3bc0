"""All lessons of a language as one booklet to print, with a worked problem where one belongs."""

from functools import cache
from itertools import count
from typing import Any

from trainer import bank, documents, lessons
from trainer.words import Words

TITLE = Words("Respirators: all lessons", "Respiradores: todas las lecciones")
ABOUT = Words(
    "For those who wear one at work. Read it, work the problems, ask what is not clear. "
    "The questions that close each lesson, and the practice, are done with your trainer.",
    "Para quienes usan uno en el trabajo. Léalo, resuelva los problemas, pregunte lo que no esté "
    "claro. Las preguntas que cierran cada lección, y la práctica, se hacen con su capacitador.",
)
CAUTION = Words(
    "This teaches and checks arithmetic; it does not choose a respirator. Selection, medical "
    "decisions and fit tests belong to your employer's program and to qualified people. State "
    "rules, and rules for one substance, can be stricter. If unsure, stay out and ask.",
    "Esto enseña y revisa cálculos; no elige un respirador. La selección, las decisiones médicas "
    "y las pruebas de ajuste son del programa de su empleador y de personas calificadas. Las "
    "reglas del estado, y las de una sustancia, pueden ser más estrictas. Si tiene dudas, quédese "
    "afuera y pregunte.",
)
WORDS = {
    "caution": Words("Caution", "Precaución"),
    "ask": Words("Whom to ask here:", "A quién preguntar aquí:"),
    "contents": Words("Contents", "Contenido"),
    "worked": Words("An example, worked", "Un ejemplo resuelto"),
    "yours": Words("Your turn", "Ahora usted"),
    "answer": Words("Answer", "Respuesta"),
    "answers": Words("Answers to the problems", "Respuestas de los problemas"),
    "number": Words("No.", "N.º"),
    "problem": Words("Problem", "Problema"),
    "sources": Words("Sources", "Fuentes"),
    "version": Words("Version", "Versión"),
}
WORKED, YOURS = 1, 2
"""Seeds of the problem that is worked and of the one to do: the same in every booklet."""


@cache
def booklet(language: str) -> bytes:
    """Return the booklet as a tagged PDF, made once a run of the program: it takes seconds."""
    numbers = count(1)
    return documents.pdf("booklet", {
        "language": language,
        "title": TITLE(language),
        "about": ABOUT(language),
        "caution": CAUTION(language),
        "words": {key: words(language) for key, words in WORDS.items()},
        "lessons": [_lesson(one, language, numbers) for one in lessons.load().all],
    })


def _lesson(lesson: lessons.Lesson, language: str, numbers: "count[int]") -> dict[str, Any]:
    return {
        "title": lesson.title(language),
        "summary": lesson.summary(language),
        "version": lesson.version,
        "elements": list(lesson.elements),
        "sources": list(lesson.sources(language)),
        "sections": [
            {
                "title": section.title(language),
                "parts": [_part(part, language, numbers) for part in section.parts(language)],
            }
            for section in lesson.sections
        ],
    }


def _part(part: lessons.Part, language: str, numbers: "count[int]") -> dict[str, Any]:
    if part.kind == "html":
        return {"kind": "html", "nodes": documents.tree(part.html)}
    if part.kind == "drawing":
        return {"kind": "drawing", "drawing": documents.drawing(part.html)}
    exercise = bank.load().exercises[part.name]
    worked, yours = bank.draw(exercise, WORKED), bank.draw(exercise, YOURS)
    return {
        "kind": "problem",
        "problem": {
            "number": next(numbers),
            "title": exercise.title(language),
            "worked": {
                "ask": worked.text(language),
                "steps": [
                    {"ask": step.ask(language), "text": step.text(language)}
                    for step in worked.steps
                ],
            },
            "yours": {
                "ask": yours.text(language),
                "unit": yours.blank.unit,
                "options": [label for _, label in yours.blank.options(language)],
                "answer": yours.blank.right_text(language),
            },
        },
    }
