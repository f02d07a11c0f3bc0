"""How long the tag board takes at 1,000 and at 50,000 people.

    python -m tests.bench.board [people ...]

Fills a database directly: ten worksites, a tag a person (two for every tenth), a year of entries
in the record. Prints milliseconds of the page as a coordinator gets it, the median of some; nothing
is asserted here, since a machine's speed is no property of the program.
"""

import json
import random
import sys
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from argon2 import PasswordHasher
from sqlalchemy import insert

from tests.conftest import PASSPHRASE, Browser
from trainer import config
from trainer.app import create_app
from trainer.services import joining, signing_in
from trainer.store import people, record
from trainer.store.engine import Store
from trainer.store.tables import Entry, Membership, Person, PersonRole, Respirator, Standing

TIMES = 15
SITES = 10
FIRST = ("Ana", "José", "Wren", "Noor", "Lee", "Kim", "Tomás", "Ida", "Odell", "Zoë")
LAST = ("Marrow", "Ibáñez", "Quill", "Thorne", "Vale", "Okoye", "Núñez", "Hale", "Sato", "Byrd")
PAGES = (
    ("first page", "/board"),
    ("page 20", "/board?page=20"),
    ("last but some", "/board?page={last}"),
    ("search, one found", "/board?q=B{middle}"),
    ("search, many found", "/board?q=nunez"),
    ("search, none found", "/board?q=nobody+at+all"),
    ("clear", "/board?state=clear"),
    ("clear, soon", "/board?state=soon"),
    ("not clear", "/board?state=not"),
    ("fit test missing", "/board?missing=fit-test"),
    ("due within 30 days", "/board?due=30"),
    ("a worksite", "/board?worksite=1"),
    ("by name", "/board?sort=name"),
    ("by number", "/board?sort=number"),
    ("by worksite", "/board?sort=worksite"),
    ("by last day", "/board?sort=until"),
)


def fill(store: Store, many: int, now: datetime) -> None:
    """Fill a database with so many people and what the board shows of them."""
    chance, today = random.Random(7), now.date()
    hashed = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSPHRASE)
    with store.writing() as db:
        for at in range(SITES):
            joining.add_worksite(
                db, name=f"Bench {at}", time_zone="UTC", ask_name="A", ask_telephone="555 0100"
            )
        ida = joining.add_person(db, now, number="1", name="Ida", roles=["coordinator"])
        signing_in.set_passphrase(db, ida, hashed)
        rows: dict[type, list[dict]] = {
            one: [] for one in (Person, PersonRole, Membership, Respirator, Standing, Entry)
        }
        for who in range(2, many + 2):
            _person(rows, who, now, today, chance)
        for table, given in rows.items():
            for at in range(0, len(given), 20_000):
                db.exec(insert(table), params=given[at : at + 20_000])


def _person(rows: dict, who: int, now: datetime, today: date, chance: random.Random) -> None:
    number = f"B{who:06}"
    name = f"{chance.choice(FIRST)} {chance.choice(LAST)} {chance.choice(LAST)}"
    left = today - timedelta(days=9) if who % 20 == 0 else None
    search = people.plain(f"{name} {number}")
    rows[Person].append({
        "id": who, "number": number, "number_key": people.key(number), "name": name,
        "search_key": search, "language": "en", "qualification": "", "seed": "1",
        "added_at": now, "left_on": left,
    })  # fmt: skip
    rows[PersonRole].append({"person_id": who, "role": "worker"})
    rows[Membership].append({
        "person_id": who, "worksite_id": who % SITES + 1, "joined_at": None,
    })  # fmt: skip
    tags = []
    for at in range(2 if who % 10 == 0 else 1):
        worn = who * 2 + at
        rows[Respirator].append({
            "id": worn, "person_id": who, "class_slug": "apr-half", "make": "Invented",
            "model": "Half 2", "style": "elastomeric", "size": "M", "filters": "",
            "use": "required", "given_at": now, "given_by": 1,
        })  # fmt: skip
        tags.append(_tag(who, worn, search, left, today, chance))
    lead = min(tags, key=lambda one: (one["clear_until"] or date.min, not one["begun"]))
    for one in tags:
        one |= {"lead_until": lead["clear_until"], "lead_begun": lead["begun"],
                "lead_others_until": lead["others_until"]}  # fmt: skip
    rows[Standing] += tags
    for at in range(6):
        _entry(rows[Entry], number, now - timedelta(days=at))


def _tag(who: int, worn: int, search: str, left, today: date, chance: random.Random) -> dict:
    fate = chance.random()
    due = [today + timedelta(days=chance.randrange(1, 365)) for _ in range(3)]
    clear = fate < 0.7
    return {
        "person_id": who, "respirator_id": worn, "search_key": search, "left_on": left,
        "clear_until": min(due) if clear else None,
        "missing": "" if clear else "fit-test" if fate < 0.9 else "training practice fit-test",
        "next_due": min(due), "next_due_kind": "training", "begun": fate < 0.95,
        "others_until": min(due) if clear else None, "medical_due": None,
        "training_due": due[0], "practice_due": due[1],
        "fit_test_due": due[2] if clear else None, "lessons_due": None,
    }  # fmt: skip


def _entry(entries: list[dict], number: str, at: datetime) -> None:
    ordinal = str(len(entries) + 1)
    entries.append({
        "number": int(ordinal), "once": ordinal, "kind": "appendix-d", "person_number": number,
        "worksite": "Bench", "happened_on": at.date(), "recorded_at": record.moment(at),
        "body": json.dumps({"recorded_by": {"number": "1", "name": "Ida"}}), "salt": "",
        "body_hash": "", "previous": str(len(entries)), "hash": ordinal,
    })  # fmt: skip


def measured(many: int) -> dict[str, float]:
    """Return by page its median in milliseconds, with so many people."""
    now = datetime.now(UTC)
    with tempfile.TemporaryDirectory() as folder:
        settings = config.read(data=Path(folder))
        store = Store(settings.database_url)
        store.upgrade()
        fill(store, many, now)
        browser = Browser(create_app(settings, store, "bench").test_client()).sign_in("1")
        found = {}
        for name, address in PAGES:
            path = address.format(last=max(1, many // 60), middle=f"{many // 2:06}")
            found[name] = _median(browser, path)
        store.close()
    return found


def _median(browser: Browser, path: str) -> float:
    taken = []
    for _ in range(TIMES):
        begun = time.process_time()
        answer = browser.client.get(path)
        taken.append((time.process_time() - begun) * 1000)
        assert answer.status_code == 200, path
    return sorted(taken)[TIMES // 2]


def main() -> None:
    """Print what each page takes, at each size."""
    sizes = [int(one) for one in sys.argv[1:]] or [1_000, 50_000]
    tables = [measured(many) for many in sizes]
    sys.stdout.write(f"{'ms':>24}" + "".join(f"{many:>10,}" for many in sizes) + "\n")
    for name, _ in PAGES:
        taken = "".join(f"{table[name]:>10.1f}" for table in tables)
        sys.stdout.write(f"{name:>24}{taken}\n")


if __name__ == "__main__":
    main()
