"""Somebody made clear by entries, and entries of the kinds that correct: for cards and packets."""

from datetime import date, timedelta

from tests.conftest import ZONE, Works
from trainer.calculations.periods import next_due
from trainer.reference import practice_acts, respirator_classes
from trainer.services import recording, standing
from trainer.store import people, record
from trainer.store.tables import Entry, Person, Respirator

SEVEN = [f"(k)(1)({part})" for part in ("i", "ii", "iii", "iv", "v", "vi", "vii")]


def make_clear(works: Works, name: str, days_ago: int = 0) -> dict[str, Entry]:
    """Record what a person needs for everything they hold, and return the entries by kind."""
    on = works.today - timedelta(days=days_ago)
    by = works.scribe("Ida")
    with works.store.writing() as db:
        person = people.by_number(db, works.people[name].number)
        held = people.respirators(db, person.id)
        made = {
            "medical": recording.record_medical(
                db, by, person, once=f"medical {name}", on=on, outcome="cleared"
            )
        }
        for worn in held:
            if respirator_classes.get(worn.class_slug).tight:
                made["fit-test"] = recording.record_fit_test(
                    db, by, person, worn, once=f"fit {name} {worn.id}", on=on,
                    protocol="ambient-aerosol", fit_factor=640, recording="binder 1, sheet 7",
                )  # fmt: skip
            made["practice"] = add(works, db, person, "practice", on, practised(worn))
        made["training"] = add(works, db, person, "training", on, trained(on, held))
        standing.refresh(db, person, works.today)
    return made


def practised(worn: Respirator) -> dict:
    """Return what a passed practice says."""
    acts = practice_acts.acts_for(respirator_classes.get(worn.class_slug).tight)
    return {
        "acts": [{"act": act.slug, "seen": "unprompted"} for act in acts],
        "passed": True, "respirator": recording._named(worn),
        "watched_by": {"number": "00002", "name": "Tomas", "qualification": "Hygienist"},
        "started": "2026-01-01T10:00:00.000000Z", "completed": "2026-01-01T10:20:00.000000Z",
    }  # fmt: skip


def trained(on: date, held: list[Respirator]) -> dict:
    """Return what a completed training as a whole says."""
    return {
        "lessons": [], "elements": SEVEN, "languages": ["en"], "modes": ["read"],
        "reason": "first", "practice_entries": [], "lesson_entries": [],
        "watched_by": {"number": "00002", "name": "Tomas", "qualification": "Hygienist"},
        "respirators": [recording._named(one) for one in held],
        "due_again": next_due(on).isoformat(), "worksite_part": [],
    }  # fmt: skip


def add(works: Works, db, person: Person, kind: str, on: date, body: dict) -> Entry:
    """Append an entry for a person, as a service would."""
    worksite = standing.home_worksite(db, person)
    common = {
        "name": person.name, "zone": ZONE.key, "rule_set": "federal",
        "recorded_by": {"number": "00001", "name": "Ida"},
    }  # fmt: skip
    return record.append(
        db, once=f"{kind}:{person.number}:{record.count(db)}", kind=kind,
        person_number=person.number, worksite=worksite.name if worksite else "",
        happened_on=on, body=common | body, now=works.now,
    )  # fmt: skip


def correct(
    works: Works, name: str, entry: Entry, changes: dict | None, why: str = "wrong-value"
) -> Entry:
    """Append a correction of an entry; None strikes it."""
    kind = "medical-correction" if entry.kind == "medical" else "correction"
    body = {
        "corrects": entry.number, "corrected_kind": entry.kind, "why": why, "note": "Misread.",
        "said": None if changes is None else record.body(entry) | changes,
    }  # fmt: skip
    with works.store.writing() as db:
        person = people.by_number(db, works.people[name].number)
        return add(works, db, person, kind, works.today, body)
