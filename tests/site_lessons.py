"""A lesson of the Laminating Loft, for the tests: begun, published, passed."""

import json
from datetime import timedelta

from tests.conftest import ZONE, Works, right_answer
from trainer.lessons.written import Text
from trainer.services import authoring, curriculum, learning, sitting
from trainer.services.scribe import Scribe
from trainer.store import site_lessons
from trainer.store.tables import Person, SiteLesson, SiteQuestion, Sitting

TEXT = """## Why we wear it here {#why}
The resin gives off styrene.

[[site hazards]]

!!! must "Must know"
    No mask, no rolling.

## The way out {#emergency}
[[site emergency]]

Go out by the **west door**.
"""
ENGLISH = Text("Rolling at the Loft", "You can say what is in the air.", TEXT)


def question(n: int, must: bool = False) -> dict:
    """Return a question as its author writes it."""
    return {
        "slug": f"site-1-q{n}", "section": "why", "element": "(c)(1)(vii)", "must_know": must,
        "source": "Rule of the Laminating Loft", "form": "choice",
        "ask": {"en": f"What do you wear to roll, case {n}?", "es": f"¿Qué usa, caso {n}?"},
        "option": [
            {"right": True, "text": {"en": "The half mask", "es": "La media cara"},
             "why": {"en": "It is on the list.", "es": "Está en la lista."}},
            {"text": {"en": "Nothing", "es": "Nada"},
             "why": {"en": "Styrene is in the air.", "es": "Hay estireno en el aire."}},
            {"text": {"en": "A dust mask", "es": "Una mascarilla para polvo"},
             "why": {"en": "It stops no vapor.", "es": "No detiene vapores."}},
        ],
    }  # fmt: skip


def begun(works: Works, db, texts: dict[str, Text] | None = None) -> SiteLesson:
    """Return a lesson of the Loft with these texts and three questions."""
    loft, by = works.worksites["Laminating Loft"], works.scribe("Tomas")
    lesson = authoring.begin(db, by, loft, "en")
    for language, text in (texts or {"en": ENGLISH}).items():
        draft = authoring.begin_language(db, by, lesson, language)
        authoring.save(db, by, lesson, language, text, since=draft.revision, page=language, turn=1)
    for n in range(3):
        db.add(SiteQuestion(
            lesson_id=lesson.id, content=json.dumps(question(n, must=n == 0)),
            saved_at=works.now, saved_by=by.person.id,
        ))  # fmt: skip
    db.flush()
    return lesson


def published(works: Works, texts: dict[str, Text] | None = None) -> SiteLesson:
    """Return a lesson of the Loft that is taught."""
    with works.store.writing() as db:
        lesson = begun(works, db, texts)
        authoring.publish(db, works.scribe("Tomas"), lesson)
    return lesson


def pass_site_lesson(works: Works, name: str, lesson: SiteLesson, language: str = "en") -> Sitting:
    """Let a person read a worksite's lesson and pass its sitting."""
    now = works.now + timedelta(minutes=1)
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        found = curriculum.find_for(db, person, site_lessons.slug_of(lesson.id))
        for section in found.sections:
            learning.finish_section(db, person, found, section.id, now)
        there = sitting.begin(db, person, found, now)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), now)
        return sitting.close(db, Scribe(person, now, ZONE), there, language, 80)
