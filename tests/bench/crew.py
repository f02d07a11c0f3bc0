"""How long Today, the grid and a tag take at a large worksite, and in how many questions.

    python -m tests.bench.crew

500 workers at one worksite with a lesson of its own: three years of training in the record of
each, half of them in their yearly round. Prints seconds and questions to the database; nothing
is asserted here, since a machine's speed is no property of the program.
"""

import json
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sqlalchemy import event, insert
from sqlalchemy.engine import Engine

from trainer import config, lessons
from trainer.services import joining, standing, today
from trainer.store import record
from trainer.store.engine import Store
from trainer.store.tables import Assignment, Entry, Person, Worksite

WORKERS, YEARS, TIMES = 500, 3, 3
OURS = [one.slug for one in lessons.load().all]


def counted(do: Callable[[], object]) -> tuple[float, int]:
    """Return the median of the processor's seconds, and how many questions it asks."""
    asked: list[str] = []

    def note(_conn, _cursor, statement, *_more) -> None:
        asked.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    taken = []
    try:
        for _ in range(TIMES):
            begun = time.process_time()
            do()
            taken.append(time.process_time() - begun)
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    return sorted(taken)[TIMES // 2], len(asked) // TIMES


def entries(person: Person, now: datetime) -> list[dict]:
    """Return rows of some years of training of one person, unchained: nothing here verifies."""
    rows = []
    for year in range(YEARS, 0, -1):
        at = now - timedelta(days=365 * year - (40 if person.id % 2 else 200))
        common = {
            "person_number": person.number, "worksite": "Bench", "happened_on": at.date(),
            "recorded_at": record.moment(at), "salt": "", "body_hash": "",
        }  # fmt: skip
        for slug in OURS:
            body = {
                "lesson": slug, "elements": ["(k)(1)(i)"], "started": record.moment(at),
                "title": "x" * 40, "reason": "yearly", "worksite_part": {}, "mode": "read",
                "recorded_by": {"number": person.number, "name": person.name}, "zone": "UTC",
            }  # fmt: skip
            rows.append(common | {"kind": "lesson", "body": body})
        whole = {"lessons": [{"lesson": slug, "version": "1"} for slug in OURS]}
        rows.append(common | {"kind": "training", "body": whole})
    return rows


def fill(store: Store, now: datetime) -> Worksite:
    """Fill a database and return its worksite."""
    with store.writing() as db:
        bench = joining.add_worksite(
            db, name="Bench", time_zone="UTC", ask_name="A", ask_telephone="555 0100"
        )
        persons = [
            joining.add_person(
                db, now - timedelta(days=1200), number=f"B{at:03}", name=f"Bench {at}",
                roles=["worker"], worksites=[bench.id], seed=str(at),
            )
            for at in range(WORKERS)
        ]  # fmt: skip
        rows = [row for person in persons for row in entries(person, now)]
        for number, row in enumerate(rows, start=1):
            row |= {"number": number, "once": str(number), "body": json.dumps(row["body"])}
            row |= {"previous": str(number - 1), "hash": str(number)}
        db.exec(insert(Entry), params=rows)
        first = now - timedelta(days=1190)
        db.exec(insert(Assignment), params=[
            {"person_id": person.id, "lesson": slug, "due": date(2020, 1, 1), "reason": "first",
             "assigned_by": person.id, "assigned_at": first, "seen": ""}
            for person in persons for slug in OURS
        ])  # fmt: skip
    return bench


def main() -> None:
    """Print what each takes."""
    now = datetime.now(UTC)
    with tempfile.TemporaryDirectory() as folder:
        store = Store(config.read(data=Path(folder)).database_url)
        store.upgrade()
        bench = fill(store, now)
        with store.reading() as db:
            person = db.get(Person, 1)
            for name, do in (
                ("grid", lambda: today.grid(db, bench.id, now.date())),
                ("today", lambda: today.waiting(db, [bench], now.date(), UTC)),
                ("tags", lambda: standing.tags(db, person, now.date())),
            ):
                taken, asked = counted(do)
                sys.stdout.write(f"{name}: {taken:.3f} s, {asked} questions\n")
        store.close()


if __name__ == "__main__":
    main()
