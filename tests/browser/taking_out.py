"""Taking the record out in a browser, and reading the CSV back with another library."""

from datetime import UTC, date, datetime
from pathlib import Path

import polars
from sqlmodel import select

from tests.browser import job
from tests.browser.conftest import Served, Window
from trainer import lessons
from trainer.services import curriculum, sitting
from trainer.store import record
from trainer.store.tables import Entry, Sitting

# The list of columns, in its order.
COLUMNS = [
    "worker number", "name", "worksite", "lesson", "lesson version", "language", "mode",
    "elements covered", "started", "completed", "score", "must-know right", "sittings taken",
    "questions asked", "questions answered",
    "practice watched by", "trainer", "trainer qualification", "respirators covered",
    "worksite part", "reason", "rule set", "due again", "recorded by", "entry number",
    "entry hash",
]  # fmt: skip
LESSONS = [lessons.load().get(slug) for slug in job.DONE]
ROWS = len(LESSONS) + 2  # and practice, and training as a whole
MASK = "apr-half Invented Aldermoor Half 2 M"


def check_record(
    served: Served,
    ida: Window,
    path: Path,
    began: datetime,
    language: str,
    reason: str,
) -> None:
    """Take the worksite's record out and compare every column with what was done.

    reason  why the first lesson was assigned; the others were a first training
    """
    ida.open("/export")
    ida.page.select_option("#worksite", label=job.WORKSITE)
    with ida.page.expect_download() as waiting:
        ida.page.locator("main form button").click()
    waiting.value.save_as(path)
    table = polars.read_csv(path, infer_schema=False).fill_null("")
    # Further columns may stand behind these, never among them.
    assert table.columns[: len(COLUMNS)] == COLUMNS
    check_who(table, language, reason)
    check_marks(served, table)
    check_moments(table, began)
    check_entries(served, table)


def check_who(table: polars.DataFrame, language: str, reason: str) -> None:
    """Compare who, what, where, why."""
    each = len(LESSONS)
    watched = [""] * each + ["Ravi Odell"] * 2
    whole = sorted({element for lesson in LESSONS for element in lesson.elements})
    expected = {
        "worker number": [job.WORKER] * ROWS,
        "name": ["Imara Sollis"] * ROWS,
        "worksite": [job.WORKSITE] * ROWS,
        "lesson": [*job.DONE, "practice", "training as a whole"],
        "language": [language] * each + ["", language],
        "mode": ["read"] * each + ["", "read"],
        "elements covered": ["; ".join(one.elements) for one in LESSONS] + ["", "; ".join(whole)],
        "practice watched by": watched,
        "trainer": [f"{name} (2)" if name else "" for name in watched],
        "trainer qualification": ["Industrial hygienist" if name else "" for name in watched],
        "respirators covered": [MASK if name else "" for name in watched],
        "worksite part": [""] * ROWS,
        "reason": [reason, *["first"] * (each - 1), "", reason],
        "rule set": ["federal"] * ROWS,
        "recorded by": [job.WORKER] * each + ["2"] * 2,
    }
    for column, values in expected.items():
        assert table[column].to_list() == values, column


def check_marks(served: Served, table: polars.DataFrame) -> None:
    """Compare versions and marks with the sittings that passed: all was answered right."""
    with served.store.reading() as db:
        passed = list(db.exec(select(Sitting).where(Sitting.passed.is_(True)).order_by(Sitting.id)))
        asked = [[one.item.must_know for one in sitting.shown(db, row)] for row in passed]
    versions = {one.slug: curriculum.content_version(one) for one in LESSONS}
    course = [lesson.slug for lesson in lessons.load().all]
    whole = "; ".join(f"{slug} {versions[slug]}" for slug in course)
    must = [sum(one) for one in asked]
    rest = [len(one) - sum(one) for one in asked]
    assert table["lesson version"].to_list() == [*versions.values(), "", whole]
    assert table["must-know right"].to_list() == [*(f"{n} of {n}" for n in must), "", ""]
    assert table["score"].to_list() == [*(f"{n} of {n}" for n in rest), "", ""]
    assert table["sittings taken"].to_list() == ["2", *["1"] * (len(LESSONS) - 1), "", ""]


def check_moments(table: polars.DataFrame, began: datetime) -> None:
    """Compare the moments, in ISO 8601, with when it was done, and the day it is due again."""
    for started, completed in zip(table["started"], table["completed"], strict=True):
        begun, ended = datetime.fromisoformat(started), datetime.fromisoformat(completed)
        assert began <= begun <= ended <= datetime.now(UTC)
    assert table["started"][-1] == min(table["started"])
    # 29 CFR 1910.134(k)(5): retraining annually; days are those of the worksite.
    day = datetime.fromisoformat(table["completed"][-1]).astimezone(job.ZONE).date()
    again = date.fromisoformat(table["due again"][-1])
    assert (again.year, again.month) == (day.year + 1, day.month)
    assert again.day == (28 if (day.month, day.day) == (2, 29) else day.day)
    assert table["due again"].to_list()[:-1] == [""] * (ROWS - 1)


def check_entries(served: Served, table: polars.DataFrame) -> None:
    """Compare entry numbers and hashes with a record whose chain holds."""
    with served.store.reading() as db:
        assert [fault for fault in record.verify(db) if fault] == []
        hashes = {str(entry.number): entry.hash for entry in db.exec(select(Entry))}
    numbers = table["entry number"].to_list()
    assert numbers == sorted(numbers, key=int) and len(set(numbers)) == ROWS
    assert table["entry hash"].to_list() == [hashes[number] for number in numbers]
