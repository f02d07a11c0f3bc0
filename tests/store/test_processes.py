"""Several processes append at once: the chain never forks, and no entry is lost."""

import subprocess
import sys
from pathlib import Path

from trainer import config
from trainer.store import record
from trainer.store.engine import Store

PROCESSES, EACH = 4, 25

APPEND = """
import sys
from datetime import UTC, date, datetime
from trainer.store import record
from trainer.store.engine import Store

url, name, each = sys.argv[1], sys.argv[2], int(sys.argv[3])
store = Store(url)
print("ready", flush=True)
sys.stdin.readline()
for at in range(each):
    with store.writing() as db:
        record.append(
            db, once=f"{name}:{at}", kind="lesson", person_number=name, worksite="Joinery",
            happened_on=date(2026, 3, 9), body={"at": at}, now=datetime.now(UTC),
        )
    with store.writing() as db:  # a deed that every process does, and only one may
        record.append(
            db, once=f"shared:{at}", kind="lesson", person_number="all", worksite="Joinery",
            happened_on=date(2026, 3, 9), body={"at": at}, now=datetime.now(UTC),
        )
"""


def test_processes_that_append_at_once_make_one_chain(tmp_path: Path, store: Store):
    settings = config.read(data=tmp_path)
    running = [
        subprocess.Popen(
            [sys.executable, "-c", APPEND, settings.database_url, f"p{at}", str(EACH)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )
        for at in range(PROCESSES)
    ]
    for one in running:
        assert one.stdout.readline() == "ready\n"
    for one in running:  # all of them at the same moment
        one.stdin.write("go\n")
        one.stdin.flush()
    for one in running:
        one.communicate(timeout=300)
        assert one.returncode == 0
    with store.reading() as db:
        assert [found for found in record.verify(db) if found] == []
        assert record.count(db) == PROCESSES * EACH + EACH
        for at in range(PROCESSES):
            mine = record.of_person(db, f"p{at}")
            assert [record.body(one)["at"] for one in mine] == list(range(EACH))
        assert len(record.of_person(db, "all")) == EACH
