"""Taking the record out in a browser, and reading the CSV back with another library."""

from datetime import UTC, date, datetime
from pathlib import Path

import polars
from sqlmodel import select

from tests.browser import job
from tests.browser.conftest import Served, Window
from trainer import lessons
from trainer.services import sitting
from trainer.store import record
from trainer.store.tables import Entry, Sitting

# The list of columns, in its order.
COLUMNS = [
    "worker number", "name", "worksite", "lesson", "lesson version", "language", "mode",
    "elements covered", "started", "completed", "score", "must-know right", "sittings taken",
    "practice watched by", "trainer", "trainer qualification", "respirators covered",
    "worksite part", "reason", "rule set", "due again", "recorded by", "entry number",
    "entry hash",
]  # fmt: skip
SLUGS = [lesson.slug for lesson in lessons.load().all]
MASK = "apr-half Invented Aldermoor Half 2 M"


def check_record(
    served: Served,
    ida: Window,
    path: Path,
    began: datetime,
    language: str,
    reasons: list[str],
) -> None:
    """Take the worksite's record out and compare every column with what was done."""
    ida.open("/export")
    ida.page.select_option("#worksite", label=job.WORKSITE)
    with ida.page.expect_download() as waiting:
        ida.page.locator("main form button").click()
    waiting.value.save_as(path)
    table = polars.read_csv(path, infer_schema=False).fill_null("")
    assert table.columns == COLUMNS
    check_who(table, language, reasons)
    check_marks(served, table)
    check_moments(table, began)
    check_entries(served, table)


def check_who(table: polars.DataFrame, language: str, reasons: list[str]) -> None:
    """Compare who, what, where, why."""
    watched = ["", "", "", "Ravi Odell", "Ravi Odell"]
    expected = {
        "worker number": [job.WORKER] * 5,
        "name": ["Imara Sollis"] * 5,
        "worksite": [job.WORKSITE] * 5,
        "lesson": [*SLUGS, "practice", "training as a whole"],
        "language": [language] * 3 + ["", language],
        "mode": ["read"] * 3 + ["", "read"],
        "elements covered": ["(k)(1)(i); (k)(1)(ii)"] * 3 + ["", "(k)(1)(i); (k)(1)(ii)"],
        "practice watched by": watched,
        "trainer": [f"{name} (2)" if name else "" for name in watched],
        "trainer qualification": ["Industrial hygienist" if name else "" for name in watched],
        "respirators covered": [MASK if name else "" for name in watched],
        "worksite part": [""] * 5,
        "reason": reasons,
        "rule set": ["federal"] * 5,
        "recorded by": [job.WORKER] * 3 + ["2"] * 2,
    }
    assert {column: table[column].to_list() for column in expected} == expected


def check_marks(served: Served, table: polars.DataFrame) -> None:
    """Compare versions and marks with the sittings that passed: all was answered right."""
    with served.store.reading() as db:
        passed = list(db.exec(select(Sitting).where(Sitting.passed.is_(True)).order_by(Sitting.id)))
        asked = [[one.item.must_know for one in sitting.shown(db, row)] for row in passed]
    versions = [sitting.content_version(lessons.load().get(slug)) for slug in SLUGS]
    both = "; ".join(f"{slug} {version}" for slug, version in zip(SLUGS, versions, strict=True))
    must = [sum(one) for one in asked]
    rest = [len(one) - sum(one) for one in asked]
    assert table["lesson version"].to_list() == [*versions, "", both]
    assert table["must-know right"].to_list() == [*(f"{n} of {n}" for n in must), "", ""]
    assert table["score"].to_list() == [*(f"{n} of {n}" for n in rest), "", ""]
    assert table["sittings taken"].to_list() == ["2", "1", "1", "", ""]


def check_moments(table: polars.DataFrame, began: datetime) -> None:
    """Compare the moments, in ISO 8601, with when it was done, and the day it is due again."""
    for started, completed in zip(table["started"], table["completed"], strict=True):
        begun, ended = datetime.fromisoformat(started), datetime.fromisoformat(completed)
        assert began <= begun <= ended <= datetime.now(UTC)
    assert table["started"][4] == min(table["started"])
    # 29 CFR 1910.134(k)(5): retraining annually; days are those of the worksite.
    day = datetime.fromisoformat(table["completed"][4]).astimezone(job.ZONE).date()
    again = date.fromisoformat(table["due again"][4])
    assert (again.year, again.month) == (day.year + 1, day.month)
    assert again.day == (28 if (day.month, day.day) == (2, 29) else day.day)
    assert table["due again"].to_list()[:4] == [""] * 4


def check_entries(served: Served, table: polars.DataFrame) -> None:
    """Compare entry numbers and hashes with a record whose chain holds."""
    with served.store.reading() as db:
        assert [fault for fault in record.verify(db) if fault] == []
        hashes = {str(entry.number): entry.hash for entry in db.exec(select(Entry))}
    numbers = table["entry number"].to_list()
    assert numbers == sorted(numbers, key=int) and len(set(numbers)) == 5
    assert table["entry hash"].to_list() == [hashes[number] for number in numbers]
