"""A record with every kind of entry in it, hostile names and corrections, made directly."""

from datetime import UTC, date, datetime, timedelta

from sqlmodel import Session

from trainer.store import record
from trainer.store.engine import Store
from trainer.store.tables import Entry

NOW = datetime(2026, 11, 20, 15, 0, tzinfo=UTC)
DAY = date(2026, 11, 20)
HOSTILE = ("=1+1", "+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", '=HYPERLINK("//elsewhere.example")',
           'Sollis, "Imara"\nÑandú', "_x0041_")  # fmt: skip

WORN = {"class": "apr-half", "make": "Invented Aldermoor", "model": "Half 2", "size": "M",
        "style": "elastomeric", "filters": "P100"}  # fmt: skip
TOMAS = {"number": "00002", "name": "Tomas", "qualification": "Technician, invented"}
TIMES = {"started": "2026-11-20T14:00:00.000000Z", "completed": "2026-11-20T14:12:30.500000Z"}
LESSON = {
    "lesson": "protection-factors", "title": "Protection factors", "version": "0123456789ab",
    "language": "es", "mode": "read", "elements": ["(k)(1)(i)"], "right": 6, "asked": 7,
    "must_right": 4, "must_asked": 4, "sittings": 1, "questions_asked": 2, "questions_answered": 1,
    "reason": "first", "worksite_part": {}, **TIMES,
}  # fmt: skip
BODIES = {
    "lesson": LESSON,
    "practice": {"acts": [{"act": "inspect", "seen": "helped"}], "passed": False,
                 "respirator": WORN, "watched_by": TOMAS, **TIMES},
    "training": {"lessons": [{"lesson": "fit", "version": "aa"}], "elements": ["(k)(1)(i)"],
                 "languages": ["es"], "modes": ["read"], "respirators": [WORN], "reason": "first",
                 "watched_by": TOMAS, "due_again": "2027-11-20", "worksite_part": [], **TIMES},
    "credit": {"counts_from": "2026-06-01", "given_by": "Invented Boatyard", "proof": "certificate",
               "trained_with": ["apr-half"], "elements": ["(k)(1)(i)"],
               "elements_shown": [{"element": "(k)(1)(i)", "shown": "asked"}], "lessons": [],
               "seen_by": TOMAS, "reason": "first", "due_again": "2027-06-01"},
    "fit-test": {"protocol": "ambient-aerosol", "test_kind": "quantitative", "passed": True,
                 "fit_factor": "312.5", "recording": "binder, sheet 4", "make": WORN["make"],
                 "model": "Half 2", "style": "elastomeric", "size": "M", "class": "apr-half"},
    "appendix-d": {},
    "medical": {"outcome": "limits", "limit": "powered_only", "until": "2027-02-28"},
    "left": {"left_on": "2026-11-20"},
}  # fmt: skip
"""A body of each kind, as `services/recording.py` makes them."""


def enter(
    db: Session, kind: str, body: dict, number: str = "00417", name: str = "Lee",
    on: date = DAY, worksite: str = "Laminating Loft", now: datetime = NOW,
) -> Entry:  # fmt: skip
    """Put an entry into the record, with what every entry says."""
    common = {"name": name, "zone": "America/Chicago", "rule_set": "federal",
              "recorded_by": {"number": "00001", "name": "Ida"}}  # fmt: skip
    return record.append(
        db, once=f"told:{record.count(db)}", kind=kind, person_number=number, worksite=worksite,
        happened_on=on, body=common | body, now=now,
    )


def correct(
    db: Session, entry: Entry, said: dict | None, now: datetime = NOW + timedelta(hours=1),
    why: str = "wrong-value",
) -> Entry:  # fmt: skip
    """Put a correction of an entry into the record; None strikes it."""
    medical = entry.kind in record.MEDICAL_KINDS
    body = {"corrects": entry.number, "corrected_kind": entry.kind, "why": why,
            "note": "" if medical else "read it wrong",
            "said": None if said is None else record.body(entry) | said}  # fmt: skip
    return enter(db, "medical-correction" if medical else "correction", body,
                 entry.person_number, now=now, on=now.date())  # fmt: skip


def fill(store: Store) -> dict[str, Entry]:
    """Fill a record and return entries by what they are called in the tests."""
    found: dict[str, Entry] = {}
    with store.writing() as db:
        for kind, body in BODIES.items():
            found[kind] = enter(db, kind, body)
        for at, name in enumerate(HOSTILE):
            found[name] = enter(db, "lesson", LESSON, f"0050{at}", name)
        brought = {"brought_in": {"run": 1, "line": 7, "source": "=old.csv"}}
        found["brought in"] = enter(db, "lesson", LESSON | brought, "00510", "Kim",
                                    on=date(2025, 2, 3), worksite="Joinery")  # fmt: skip
        found["corrected"] = correct(db, found["lesson"], {"right": 7})
        found["struck"] = correct(db, found["=1+1"], None, why="not-done")
        # A second correction names the entry too, as `recording.correct` does it.
        found["again"] = correct(db, found["lesson"], None, why="entered-twice")
        found["medical corrected"] = correct(db, found["medical"], {"outcome": "cleared"})
        found["late"] = correct(db, found["brought in"], {"right": 5})
    return found
