"""The short form of killing servers; `python -m tests.durability 1000` is the long one."""

from datetime import date

import pytest

from tests.durability.killing import Lost, killing, killing_one_of, opened

pytestmark = pytest.mark.both_databases

KILLS = 25
SEED = 20


def test_killing_the_server_loses_nothing_that_was_acknowledged(
    databases, database, tmp_path, hashes
):
    outcome = killing(KILLS, databases, database, tmp_path, hashes, SEED)
    assert outcome.kills == KILLS
    for what in (
        "answers", "sittings closed", "problems", "practices signed", "entries", "corrections",
        "rosters confirmed", "people brought in", "broken off",
    ):  # fmt: skip
        assert outcome.tally[what] > 0, what
    assert "put off" not in outcome.tally


def test_killing_one_of_three_processes_loses_nothing_and_the_others_go_on(
    databases, database, tmp_path, hashes
):
    """On SQLite too: two processes of a server on one machine share its file."""
    outcome = killing_one_of(3, 4, databases, database, tmp_path, hashes, SEED)
    for what in ("answers", "problems", "practices signed", "corrections", "people brought in"):
        assert outcome.tally[what] > 0, what
    assert outcome.tally["broken off"] > 0


def test_what_was_acknowledged_and_is_not_there_is_found(databases, database, tmp_path, hashes):
    """Of each kind of deed one that nobody did: the check names them all."""
    with opened(databases, database, tmp_path, hashes, "1") as works:
        assert works.check() == 0
        of = {type(one).__name__: one for one in works.everybody}
        of["Learner"].read.append((1, "nowhere"))
        of["Learner"].answers[1, 1] = "0"
        of["Learner"].closed.append(1)
        of["Solver"].given.append(("mw", 0, 0, "1"))
        of["Watcher"].signed.append(1)
        of["Clerk"].entered["a"] = of["Clerk"].corrected["b"] = date(2026, 3, 9)
        of["Importer"].brought.append("c")
        of["Importer"].asked.append(1)
        of["Importer"].joined.append("i00000")
        with pytest.raises(Lost) as lost:
            works.check()
    found = str(lost.value)
    for what in (
        "section nowhere", "answered 0 at (1, 1)", "closed sitting 1", "('mw', 0, 0, '1')",
        "practice 1", "appendix-d a", "correction b", "file c", "errand 1", "person i00000",
    ):  # fmt: skip
        assert what in found
