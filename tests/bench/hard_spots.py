"""How long the hard spots of a large works take to gather and to show.

    python -m tests.bench.hard_spots

500 workers at five worksites, 50,000 answers in closed sittings, 5,000 in lessons. Prints
seconds; nothing is asserted, since a machine's speed is no property of the program.
"""

import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from sqlalchemy import insert
from sqlmodel import Session

from trainer import bank, config, lessons
from trainer.app import create_app
from trainer.services import curriculum, hard_spots, joining, signing_in, sitting
from trainer.services.hard_spots import Scope
from trainer.store.engine import Store
from trainer.store.tables import LessonAnswer, Sitting, SittingItem

WORKERS, ANSWERS, WORKSITES, IN_LESSONS = 500, 50_000, 5, 10
TIMES = 5


def seconds(do: Callable[[], object]) -> float:
    """Return the median of how long it takes."""
    taken = []
    for _ in range(TIMES):
        begun = time.perf_counter()
        do()
        taken.append(time.perf_counter() - begun)
    return sorted(taken)[TIMES // 2]


def drawn(db: Session, lesson: lessons.Lesson, person: int, now: datetime) -> list[SittingItem]:
    """Return the items of a real sitting of a lesson, which is then thrown away."""
    there = Sitting(
        person_id=person, lesson=lesson.slug, ordinal=1, seed=person, started_at=now,
        lesson_version=curriculum.content_version(lesson),
    )  # fmt: skip
    items = [one.item for one in _opened(db, there)]
    for item in items:
        db.expunge(item)
    return items


def _opened(db: Session, there: Sitting) -> list[sitting.Shown]:
    drawn = sitting._draw(db, there, [], bank.load())
    return sitting.shown(db, sitting.open_drawn(db, there, *drawn))


def given(lots: Random, item: SittingItem) -> dict[str, object]:
    """Return a row of an answer to an item, right more often than not."""
    right = lots.random() < 0.7
    answer, slip = "1", ""
    if item.kind == "question":
        options = sitting._show(item).question.options
        places = [at for at, one in enumerate(options) if one.right is right] or [0]
        answer = str(lots.choice(places))
    elif not right:
        slip = lots.choice(bank.load().exercises[item.slug].answer.slips).key
    return {"kind": item.kind, "slug": item.slug, "drawn": item.drawn, "position": item.position,
            "must_know": item.must_know, "answer": answer, "right": right, "slip": slip,
            "savings": 0}  # fmt: skip


def fill(store: Store, now: datetime) -> int:
    """Fill the database; return how many answers of sittings there are."""
    lots, course = Random(1), lessons.load().all
    with store.writing() as db:
        places = [
            joining.add_worksite(db, name=f"Invented {at}", time_zone="America/Chicago",
                                 ask_name="R. Odell", ask_telephone="555 0142")
            for at in range(WORKSITES)
        ]
        people = [
            joining.add_person(db, now, number=f"W{at}", name=f"Worker {at}", roles=["worker"],
                               worksites=[places[at % WORKSITES].id])
            for at in range(WORKERS)
        ]
        forms = {one.slug: [drawn(db, one, person.id, now) for person in people[:8]]
                 for one in course}
        db.rollback()
    with store.writing() as db:
        places = [joining.add_worksite(db, name=f"Invented {at}", time_zone="America/Chicago",
                                       ask_name="R. Odell", ask_telephone="555 0142").id
                  for at in range(WORKSITES)]
        people = [joining.add_person(db, now, number=f"W{at}", name=f"Worker {at}",
                                     roles=["worker"], worksites=[places[at % WORKSITES]]).id
                  for at in range(WORKERS)]
        items, sat = [], []
        for number, (person, lesson, ordinal) in enumerate(_turns(people, course), start=1):
            if len(items) >= ANSWERS:
                break
            at = now - timedelta(minutes=lots.randrange(500_000))
            sat.append({"id": number, "person_id": person, "lesson": lesson.slug,
                        "ordinal": ordinal, "seed": 1, "started_at": at, "closed_at": at,
                        "lesson_version": curriculum.content_version(lesson), "passed": True})
            form = lots.choice(forms[lesson.slug])
            items += [given(lots, one) | {"sitting_id": number} for one in form]
        db.execute(insert(Sitting), sat)
        db.execute(insert(SittingItem), items)
        db.execute(insert(LessonAnswer), list(_in_lessons(lots, people, now)))
    return len(items)


def _turns(people: list[int], course) -> Iterator[tuple[int, lessons.Lesson, int]]:
    for ordinal in range(1, 9):
        for lesson in course:
            for person in people:
                yield person, lesson, ordinal


def _in_lessons(lots: Random, people: list[int], now: datetime) -> Iterator[dict[str, object]]:
    exercises = [one for one in bank.load().exercises.values() if one.lesson]
    for person in people:
        for one in lots.sample(exercises, IN_LESSONS):
            right = lots.random() < 0.6
            yield {"person_id": person, "lesson": one.lesson, "exercise": one.slug,
                   "version": one.version, "ordinal": 1, "step": len(one.steps) - 1, "attempt": 0,
                   "typed": "1", "verdict": "right" if right else "wrong",
                   "slip": "" if right else lots.choice(one.answer.slips).key,
                   "answered_at": now}  # fmt: skip


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        settings = config.read(data=Path(folder))
        store = Store(settings.database_url)
        store.upgrade()
        now = datetime.now(UTC)
        print(f"answers in sittings: {fill(store, now):,}")
        with store.reading() as db:
            found = hard_spots.spots(db, Scope())
            print(f"items: {len(found)}")
            slug = next(one.slug for one in found if one.kind == "question")
            for what, do in (
                ("all of them", lambda: hard_spots.spots(db, Scope())),
                ("one worksite", lambda: hard_spots.spots(db, Scope((1,)))),
                ("one question", lambda: hard_spots.detail(db, Scope(), "question", slug)),
            ):
                print(f"seconds to gather, {what}: {seconds(do):.2f}")
        client = _signed_in(settings, store, now)
        for path in ("/hard-spots", "/hard-spots?worksite=1", f"/hard-spots/question/{slug}"):
            print(f"seconds for a page, {path}: {seconds(lambda path=path: client.get(path)):.2f}")
        store.close()


def _signed_in(settings: config.Settings, store: Store, now: datetime):
    with store.writing() as db:
        person = joining.add_person(db, now, number="1", name="Ada Quayside",
                                    roles=["coordinator"], worksites=[])
        token = signing_in.start_session(db, person, None, now)
    client = create_app(settings, store, "only for the benchmark").test_client()
    with client.session_transaction() as session:
        session["token"] = token
    assert client.get("/hard-spots").status_code == 200
    return client


if __name__ == "__main__":
    main()
