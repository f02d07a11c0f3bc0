"""Long work in the background: done once, taken up again, failed with a sentence."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.conftest import Works
from trainer.services import curriculum, errands
from trainer.services.refusal import Refusal
from trainer.store.tables import Errand, ErrandPart


@pytest.fixture
def doing(monkeypatch):
    """Return what is done for an errand of the kind "trial"; set `then` to choose it."""

    class Trial:
        then = staticmethod(lambda store, errand, progress: errands.Made())
        seen: list = []  # noqa: RUF012

    trial = Trial()
    trial.seen = []

    def do(store, errand, progress):
        trial.seen.append(errand.tries)
        return trial.then(store, errand, progress)

    monkeypatch.setitem(errands._DOINGS, "trial", do)
    return trial


def asked(works: Works, once: str = "one", about: dict | None = None) -> Errand:
    with works.store.writing() as db:
        return errands.ask(db, works.scribe(), "trial", about or {}, once=once, language="en")


def again(works: Works, errand: Errand) -> Errand:
    with works.store.reading() as db:
        return db.get(Errand, errand.id)


def test_asked_twice_with_one_key_it_is_one(works, doing):
    assert asked(works).id == asked(works).id
    assert errands.run_all(works.store) == 1


def test_its_file_comes_back_whole_whatever_its_pieces(works, doing):
    whole = bytes(range(256)) * 9000  # more than two pieces
    doing.then = lambda *_: errands.Made(
        {"rows": 3}, "plan.bin", "application/octet-stream",
        (whole[at : at + 70_000] for at in range(0, len(whole), 70_000)),
    )  # fmt: skip
    errand = asked(works)
    errands.run_all(works.store)
    errand = again(works, errand)
    with works.store.reading() as db:
        pieces = list(errands.file_of(db, errand))
    assert b"".join(pieces) == whole
    assert max(map(len, pieces)) == errands.PART
    assert (errand.state, errand.file_size, errands.said(errand)) == (
        "done", len(whole), {"rows": 3},
    )  # fmt: skip


def test_what_was_asked_first_is_done_first(works, doing):
    order = []
    doing.then = lambda _, errand, __: order.append(errands.about(errand)["n"]) or errands.Made()
    for n in range(3):
        asked(works, f"key {n}", {"n": n})
    errands.run_all(works.store)
    assert order == [0, 1, 2]


def test_a_refusal_is_kept_as_its_sentence(works, doing):
    def refuse(*_):
        raise Refusal("The worker number %(number)s is taken already.", number="007")

    doing.then = refuse
    errand = asked(works)
    errands.run_all(works.store)
    errand = again(works, errand)
    assert errand.state == "failed"
    assert errands.said(errand)["values"] == {"number": "007"}


def test_a_fault_of_the_program_shows_no_detail(works, doing):
    def break_down(*_):
        raise ZeroDivisionError("division by a secret")

    doing.then = break_down
    errand = asked(works)
    errands.run_all(works.store)
    errand = again(works, errand)
    assert errands.said(errand)["text"] == errands.BROKEN
    assert "secret" not in errand.said


def test_one_whose_runner_was_killed_is_begun_anew_and_half_a_file_is_gone(works, doing):
    errand = asked(works)
    claimed = errands._claim(works.store)
    with works.store.writing() as db:
        db.add(ErrandPart(errand_id=claimed.id, place=0, data=b"half"))
    assert errands.run_all(works.store) == 0  # its runner may be at it still
    with works.store.writing() as db:
        row = db.get(Errand, errand.id)
        row.alive_at = datetime.now(UTC) - errands.QUIET - timedelta(seconds=1)
        db.add(row)
    doing.then = lambda *_: errands.Made({}, "whole.txt", "text/plain", [b"whole"])
    assert errands.run_all(works.store) == 1
    with works.store.reading() as db:
        assert b"".join(errands.file_of(db, again(works, errand))) == b"whole"
    assert doing.seen == [2]


def test_a_runner_that_was_taken_for_dead_changes_nothing_more(works, doing):
    def slow(store, errand, progress):
        with store.writing() as db:
            row = db.get(Errand, errand.id)
            row.tries += 1  # another runner began it
            db.add(row)
        return errands.Made({}, "mine.txt", "text/plain", [b"mine"])

    doing.then = slow
    errand = asked(works)
    errands.run_next(works.store)
    assert again(works, errand).state == "running"
    with works.store.reading() as db:
        assert list(errands.file_of(db, errand)) == []


def test_one_that_ends_its_process_each_time_is_given_up(works, doing):
    errand = asked(works)
    for _ in range(errands.MOST_TRIES):
        assert errands._claim(works.store)
        with works.store.writing() as db:
            row = db.get(Errand, errand.id)
            row.alive_at = datetime.now(UTC) - errands.QUIET - timedelta(seconds=1)
            db.add(row)
    assert errands._claim(works.store) is None
    assert again(works, errand).state == "failed"


def test_how_far_it_is_can_be_seen_while_it_goes_on(works, doing):
    seen = []

    def steps(store, errand, progress):
        progress(0, 10)
        progress(10, 10)
        with store.reading() as db:
            row = db.get(Errand, errand.id)
            seen.append((row.step, row.steps))
        return errands.Made()

    doing.then = steps
    asked(works)
    errands.run_all(works.store)
    assert seen == [(10, 10)]


def test_old_files_go_and_what_was_said_of_them_stays(works, doing):
    doing.then = lambda *_: errands.Made({"rows": 1}, "old.txt", "text/plain", [b"old"])
    errand = asked(works)
    errands.run_all(works.store)
    with works.store.writing() as db:
        row = db.get(Errand, errand.id)
        row.ended_at -= timedelta(days=errands.KEPT_DAYS + 1)
        db.add(row)
    asked(works, "another")
    errands.run_all(works.store)
    errand = again(works, errand)
    with works.store.reading() as db:
        assert list(errands.file_of(db, errand)) == []
    assert (errand.file_size, errands.said(errand)) == (0, {"rows": 1})


def test_a_runner_does_what_is_asked_while_it_looks(works, doing):
    runner = errands.Runner(works.store, every=0.01)
    runner.start()
    errand = asked(works)
    deadline = datetime.now(UTC) + timedelta(minutes=2)
    while again(works, errand).state != "done" and datetime.now(UTC) < deadline:
        pass
    runner.stop()
    assert again(works, errand).state == "done"


def test_a_runner_that_cannot_read_ahead_does_errands_all_the_same(works, doing, monkeypatch):
    def broken(_db):
        raise OSError("the database is away for a moment")

    monkeypatch.setattr(curriculum, "read_ahead", broken)
    test_a_runner_does_what_is_asked_while_it_looks(works, doing)
