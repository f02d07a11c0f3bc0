"""How long a wallet card and an inspection packet take, beside Typst alone, and how much memory.

    python -m tests.bench.papers

A card beside a warm setting of the same page; a packet of 200 people with a year of training each
beside the time that setting its papers takes. Prints seconds of this process and the peak of its
memory; nothing is asserted here, since a machine's speed is no property of the program.
"""

import json
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

from sqlmodel import Session

from tests.bench import memory
from trainer import bank, config, documents, lessons
from trainer.reference import practice_acts
from trainer.services import cards, curriculum, joining, packet, recording, standing
from trainer.services.cards import Around
from trainer.services.packet import paper
from trainer.services.scribe import Scribe
from trainer.store import people, record
from trainer.store.engine import Store
from trainer.store.tables import Errand, Person, Worksite

ZONE = ZoneInfo("America/Chicago")
PEOPLE = 200
HALF_MASK = {
    "class_slug": "apr-half", "use": "required", "make": "Invented Aldermoor", "model": "Half 2",
    "style": "elastomeric", "size": "M", "filters": "organic vapor",
}  # fmt: skip


def main() -> None:
    """Print what a card and a packet take."""
    lessons.load(), bank.load()
    with tempfile.TemporaryDirectory() as folder:
        settings = config.read(data=Path(folder))
        store = Store(settings.database_url, settings)  # as the program opens it
        store.upgrade()
        now = datetime.now(UTC)
        began = time.perf_counter()
        fill(store, now)
        print(f"{PEOPLE} people recorded in {time.perf_counter() - began:.1f} s")
        card(store, now)
        whole(store, now)
        store.close()


def fill(store: Store, now: datetime) -> None:
    """Record a year of training for so many people."""
    on = now.date() - timedelta(days=30)
    with store.writing() as db:
        site = joining.add_worksite(db, name="Loft", time_zone=ZONE.key, ask_name="R. Odell",
                                    ask_telephone="555 0142")
        ida = joining.add_person(db, now, number="1", name="Ida", roles=["coordinator"])
        by = Scribe(ida, now, ZONE)
        versions = {one.slug: curriculum.keep_taught(db, one, now) for one in lessons.load().all}
        for at in range(PEOPLE):
            person = joining.add_person(
                db, now - timedelta(days=60), number=f"{1000 + at}", name=f"Worker number {at}",
                roles=["worker"], worksites=[site.id],
            )  # fmt: skip
            worn = joining.give_respirator(db, by, person, **HALF_MASK)
            train(db, by, person, worn, on, versions)


def train(db, by: Scribe, person: Person, worn, on: date, versions: dict[str, str]) -> None:
    """Record what makes somebody clear, a passed lesson an entry."""
    common = {"name": person.name, "recorded_by": {"number": "1", "name": "Ida"}}

    def add(kind: str, body: dict) -> None:
        record.append(
            db, once=f"{kind}:{person.number}:{body.get('lesson', '')}", kind=kind,
            person_number=person.number, worksite="Loft", happened_on=on, body=common | body,
            now=by.now,
        )  # fmt: skip

    for one in lessons.load().all:
        add("lesson", {
            "lesson": one.slug, "title": one.title("en"), "version": versions[one.slug],
            "language": "en", "mode": "read", "elements": list(one.elements), "right": 6,
            "asked": 7, "must_right": 4, "must_asked": 4, "sittings": 1, "questions_asked": 0,
            "questions_answered": 0, "reason": "first", "worksite_part": {},
        })  # fmt: skip
    watched = {"number": "2", "name": "Tomas", "qualification": "Hygienist"}
    add("practice", {
        "acts": [{"act": act.slug, "seen": "unprompted"} for act in practice_acts.acts_for(True)],
        "passed": True, "respirator": recording._named(worn), "watched_by": watched,
    })  # fmt: skip
    add("training", {
        "lessons": [], "elements": ["(k)(1)(i)"], "reason": "first", "watched_by": watched,
        "respirators": [recording._named(worn)], "due_again": on.isoformat(),
    })  # fmt: skip
    recording.record_medical(db, by, person, once=f"m{person.id}", on=on, outcome="cleared")
    recording.record_fit_test(
        db, by, person, worn, once=f"f{person.id}", on=on, protocol="ambient-aerosol",
        fit_factor=640, recording="binder 1",
    )  # fmt: skip
    standing.refresh(db, person, by.now.date())


def card(store: Store, now: datetime) -> None:
    """Print what one card takes, beside a warm setting of the same page."""
    around = Around("https://room.example", "Tern Quay Works", ZONE)
    with store.writing() as db:
        cards.key(db)
    kept: list[tuple] = []
    setting = documents.pdf

    def keep(*values: object) -> bytes:
        kept.append(values)
        return setting(*values)

    def of(db: Session, at: int) -> list[cards.OnCard]:
        return cards.cards_of(db, people.by_number(db, str(1000 + at)), now, ZONE)

    def page(db: Session, found: list[cards.OnCard]) -> None:
        cards.sheet(db, found, around, "en")

    def one(at: int) -> None:
        with store.reading() as db:
            page(db, of(db, at))

    documents.pdf = keep
    for at in range(50):  # also warms what is read once
        one(at)
    documents.pdf = setting
    whole_ = [timed(lambda at=at: one(at)) for at in range(50, 90)]
    with store.reading() as db:
        known = [(db, of(db, at)) for at in range(90, 130)]
        pages = [timed(lambda given=given: page(*given)) for given in known]
    alone = [timed(lambda at=at: setting(kept[at][0], other(kept[at][1], at))) for at in range(40)]
    print(f"one card {1000 * median(pages):.1f} ms, {median(pages) / median(alone):.2f} times; "
          f"with finding out what is clear {1000 * median(whole_):.1f} ms, "
          f"{median(whole_) / median(alone):.2f} times; Typst alone {1000 * median(alone):.1f} ms")


def other(values: dict, at: int) -> dict:
    """Return a page like another, but not the same: nothing is to be found ready."""
    return json.loads(json.dumps(values).replace("Worker number", f"Wearer {at} no."))


def whole(store: Store, now: datetime) -> None:
    """Print what a packet takes, beside the setting of its papers."""
    with store.writing() as db:
        by = Scribe(people.by_number(db, "1"), datetime.now(UTC), ZONE)
        asked = packet.settled(
            db, by, db.get(Worksite, 1), first=now.date() - timedelta(days=90),
            last=by.now.astimezone(ZONE).date(), medical=True, answers=False, language="en",
            organisation="Tern Quay Works",
        )  # fmt: skip
        errand = packet.ask(db, by, asked, "bench")
    spent = [0.0]
    setting = documents.pdf

    def counted(*values: object) -> bytes:
        began = time.process_time()
        data = setting(*values)
        spent[0] += time.process_time() - began
        return data

    paper.documents.pdf = counted
    before = memory.peak() / 1024
    began = time.process_time()
    made = packet.make(store, errand_of(store, errand.id), lambda *_: None)
    size = sum(map(len, made.chunks))
    took = time.process_time() - began
    paper.documents.pdf = setting
    print(f"packet of {made.said['people']} people, {made.said['entries']} entries: {took:.1f} s, "
          f"Typst {spent[0]:.1f} s of it, {took / spent[0]:.2f} times; {size / 1e6:.1f} MB; peak "
          f"memory {memory.peak() / 1024:.0f} MB, {before:.0f} MB before")


def errand_of(store: Store, number: int) -> Errand:
    """Return an errand as its runner has it."""
    with store.reading() as db:
        return db.get(Errand, number)


def timed(act: Callable[[], object]) -> float:
    """Return the seconds of this process that something took."""
    began = time.process_time()
    act()
    return time.process_time() - began


if __name__ == "__main__":
    main()

