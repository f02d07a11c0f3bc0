"""Many people who answer, as hard spots need them: sittings and problems by the dozen."""

from collections.abc import Collection, Sequence
from datetime import datetime

from sqlmodel import Session

from tests.conftest import ZONE, right_answer, wrong_answer
from trainer import bank, lessons
from trainer.services import curriculum, joining, learning, sitting
from trainer.services.scribe import Scribe
from trainer.store.tables import Person, Sitting

LESSON = "protection-factors"
CHOICE, OTHER = "factor-means", "which-breathes-less"
EXERCISE = "inside-concentration"


def crowd(db: Session, worksite: int, count: int, now: datetime, first: int = 1) -> list[Person]:
    """Add so many workers to a worksite."""
    return [
        joining.add_person(
            db, now, number=f"C{worksite}-{at:03}", name=f"Quillfeather {at}", roles=["worker"],
            worksites=[worksite], seed=f"crowd {worksite} {at}",
        )
        for at in range(first, first + count)
    ]  # fmt: skip


def sit(
    db: Session,
    person: Person,
    at: datetime,
    wrong: Collection[str] = (),
    asked: Sequence[str] = (CHOICE, OTHER),
    exercises: Sequence[str] = (),
    lesson: str = LESSON,
    given: dict[str, list[str]] | None = None,
) -> Sitting:
    """Let a person take a sitting of these questions and exercises, with some of them wrong.

    given   what is answered instead, by slug
    """
    found = bank.load()
    earlier = sitting.of_person(db, person, lesson)
    of = lessons.load().get(lesson)
    seed = learning.seed(person, lesson, len(earlier))
    there = sitting.open_drawn(
        db,
        Sitting(
            person_id=person.id, lesson=lesson, ordinal=len(earlier) + 1,
            seed=seed, started_at=at,
            lesson_version=curriculum.content_version(of) if of else "refresher",
        ),
        [found.questions[slug] for slug in asked],
        bank.draw_problems([found.exercises[slug] for slug in exercises], len(exercises), seed, ()),
    )  # fmt: skip
    for one in sitting.shown(db, there):
        slug = one.item.slug
        answered = wrong_answer(one) if slug in wrong else right_answer(one)
        sitting.answer(db, there, one.item.position, (given or {}).get(slug, answered), at)
    # A mark above all reach: no pass, and so no entry in the record.
    return sitting.close(db, Scribe(person, at, ZONE), there, "en", 1000)


def work(db: Session, person: Person, at: datetime, typed: str = "", slug: str = EXERCISE) -> None:
    """Let a person answer the first problem after the worked example, rightly if nothing else."""
    exercise = bank.load().exercises[slug]
    learning.go_on(db, person, exercise, 0, at)
    drill = learning.drill(db, person, exercise, "en")
    blank = drill.problem.steps[drill.step].blank
    learning.answer(
        db, person, exercise, drill.ordinal, drill.step, typed or blank.typed, "en", at
    )
