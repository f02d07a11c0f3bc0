"""A past record brought in: what counts, what is history, and what never gets in."""

import json
from datetime import timedelta

import pytest
from sqlmodel import select

from tests.conftest import HALF_MASK, Works, pass_lesson
from tests.tables import again, bring, csv_of, do, undo
from trainer import lessons
from trainer.services import importing, joining, standing
from trainer.store import imports, people, record
from trainer.store.tables import ImportLine, ImportPart, ImportRun

FIT = ("worker number", "date", "kind of test", "class", "make", "model", "style", "size",
       "result", "fit factor", "where its recording is kept")  # fmt: skip
MASK = ("apr-half", HALF_MASK["make"], HALF_MASK["model"], HALF_MASK["style"], HALF_MASK["size"])
WHOLE = ("worker number", "date", "trainer", "elements covered", "respirators covered",
         "practice watched by", "how practice was watched")  # fmt: skip


def states(works: Works, run: ImportRun) -> list[str]:
    """Return what the lines came to, in their order; of a bad one its fault."""
    with works.store.reading() as db:
        rows = imports.lines(db, run.id, "", 0, 99)
    told = []
    for row in rows:
        said = json.loads(row.said or "{}")
        bad = " ".join(str(one) for one in importing.faults_of(said))
        told.append(bad or row.state)
    return told


def entries(works: Works, number: str) -> list[tuple[str, dict]]:
    """Return somebody's entries: kind and body."""
    with works.store.reading() as db:
        return [(one.kind, record.body(one)) for one in record.of_person(db, number)]


def tag(works: Works, name: str) -> dict[str, str]:
    """Return the state of each step of somebody's first tag."""
    with works.store.reading() as db:
        [first, *_] = standing.tags(db, works.people[name], works.today)
    return {step.kind: step.state for step in first.clearance.steps}


def test_a_fit_test_counts_and_says_where_it_came_from(works):
    day = (works.today - timedelta(days=30)).isoformat()
    run = bring(works, csv_of(
        FIT,
        ("00417", day, "saccharin", *MASK, "passed", "", ""),
        ("00417", day, "Ambient aerosol, condensation nuclei counter", "", *MASK[1:], "", "2500",
         "cabinet 3"),
        ("00417", day, "saccharin", *MASK, "passed", "2500", ""),
        ("00417", day, "ambient-aerosol", *MASK, "", "2500", ""),
        ("00417", day, "ambient-aerosol", *MASK, "passed", "12", "cabinet 3"),
        ("00417", day, "saccharin", *MASK[:2], "", "", "", "passed", "", ""),
        ("99999", day, "saccharin", *MASK, "passed", "", ""),
        ("00417", (works.today + timedelta(days=3)).isoformat(), "saccharin", *MASK, "passed", "",
         ""),
    ), kind="fit-tests")  # fmt: skip
    told = states(works, run)
    assert told[:2] == ["new", "new"]
    for said, fault in zip(told[2:], (
        "no fit factor", "where its recording is kept", "its result is that of the factor",
        "make, model, style and size", "Nobody has the worker number 99999", "in the future",
    ), strict=True):  # fmt: skip
        assert fault in said
    assert tag(works, "Lee")["fit-test"] == "todo"
    assert do(works, run) == ""
    assert tag(works, "Lee")["fit-test"] == "done"
    [(kind, first), (_, second)] = entries(works, "00417")
    assert (kind, first["passed"], first["test_kind"]) == ("fit-test", True, "qualitative")
    assert first["brought_in"] == {"run": run.id, "line": 2, "source": "people.csv"}
    assert (second["class"], second["fit_factor"], second["passed"]) == ("apr-half", "2500", True)
    with works.store.reading() as db:
        assert all(one is None for one in record.verify(db))


def test_the_same_file_twice_puts_nothing_more_in_and_after_it_was_struck_it_does(works):
    data = csv_of(FIT, ("00417", works.today.isoformat(), "saccharin", *MASK, "passed", "", ""))
    first = bring(works, data, kind="fit-tests")
    assert do(works, first) == ""
    twice = bring(works, data, kind="fit-tests")
    assert states(works, twice) == ["same"]
    assert undo(works, first) == ""
    struck = entries(works, "00417")
    assert [kind for kind, _ in struck] == ["fit-test", "correction"]
    assert struck[1][1] | {"corrects": 1, "corrected_kind": "fit-test", "said": None} == (
        struck[1][1]
    )
    third = bring(works, data, kind="fit-tests")
    assert states(works, third) == ["new"]
    assert do(works, third) == ""
    assert [kind for kind, _ in entries(works, "00417")] == ["fit-test", "correction", "fit-test"]


def whole(works: Works, days: int = 30, **other: str) -> bytes:
    """Return a training of Lee that names everything, but for what is given otherwise."""
    cells = {
        "worker number": "00417", "date": (works.today - timedelta(days=days)).isoformat(),
        "trainer": "Adaeze Thornlow", "elements covered": "all",
        "respirators covered": "apr-half", "practice watched by": "Adaeze Thornlow",
        "how practice was watched": "in person",
    } | other  # fmt: skip
    return csv_of(tuple(cells), tuple(cells.values()))


def test_training_that_names_everything_makes_clear(works):
    run = bring(works, whole(works), kind="training")
    assert do(works, run) == ""
    steps = tag(works, "Lee")
    assert (steps["training"], steps["practice"]) == ("done", "done")
    kinds = [kind for kind, _ in entries(works, "00417")]
    assert kinds == ["practice", "training"]
    said = entries(works, "00417")[1][1]
    assert said["practice_entries"] == [1]
    assert said["brought_in"]["line"] == 2


@pytest.mark.parametrize(
    "other",
    [
        {"trainer": ""},
        {"elements covered": "(k)(1)(i); (k)(1)(ii)"},
        {"respirators covered": ""},
        {"respirators covered": "apr-full"},
        {"practice watched by": ""},
        {"how practice was watched": "video"},
        {"how practice was watched": ""},
        {"lesson": "Putting on"},
    ],
    ids=lambda other: " ".join(other.values()) or next(iter(other)),
)
def test_training_that_lacks_anything_is_history(works, other):
    run = bring(works, whole(works, **other), kind="training")
    assert do(works, run) == ""
    assert [kind for kind, _ in entries(works, "00417")] == ["earlier-training"]
    assert tag(works, "Lee")["training"] == "todo"
    assert importing.said_of(again(works, run))["history"] == 1


def test_training_older_than_a_year_is_history(works):
    assert do(works, bring(works, whole(works, days=367), kind="training")) == ""
    assert [kind for kind, _ in entries(works, "00417")] == ["earlier-training"]


def test_training_of_somebody_who_learns_here_undoes_nothing_of_it(works):
    pass_lesson(works, "Lee", lessons.load().all[0].slug, works.now)
    before = tag(works, "Lee")
    assert before["training"] == "begun"
    assert do(works, bring(works, whole(works), kind="training")) == ""
    assert tag(works, "Lee") == before


def test_nobody_brings_in_their_own_training(works):
    run = bring(works, whole(works, **{"worker number": "00001"}), kind="training")
    assert "their own training" in states(works, run)[0]


def test_a_name_that_says_otherwise_waits_for_a_person(works):
    run = bring(works, whole(works, name="Ravi Odell"), kind="training")
    assert states(works, run) == ["doubtful"]
    with works.store.writing() as db:
        [line] = imports.lines(db, run.id, "doubtful", 0, 9)
        assert importing.options(line) == [f"same:{works.people['Lee'].id}", "out"]
        importing.decide(db, db.get(ImportRun, run.id), {line.id: "out"})
        importing.decide(db, db.get(ImportRun, run.id), {line.id: importing.options(line)[0]})
    assert do(works, run) == ""
    assert tag(works, "Lee")["training"] == "done"


def test_a_determination_is_three_words_and_two_days_and_nothing_else_reaches_the_database(works):
    header = ("worker number", "date", "outcome", "limit", "until", "notes")
    day = works.today.isoformat()
    data = csv_of(
        header,
        ("00417", day, "cleared", "", "", "asthma since March"),
        ("00418", day, "cleared with limits", "powered only", "2099-01-01", "asthma"),
        ("00500", day, "not cleared, asthma", "", "", ""),
        ("00500", day, "cleared", "asthma", "", ""),
    )
    run = bring(works, data, kind="medical")
    assert "asthma" not in run.file_name
    told = states(works, run)
    assert told[:2] == ["new", "new"]
    assert all("nothing else" in said for said in told[2:])
    with works.store.reading() as db:
        kept = [row.said for row in db.exec(select(ImportLine))]
        kept += [row.data.decode() for row in db.exec(select(ImportPart))]
        kept += [db.get(ImportRun, run.id).read]
    assert kept and not any("asthma" in text for text in kept)
    assert do(works, run) == ""
    [(_, cleared)], [(_, limited)] = entries(works, "00417"), entries(works, "00418")
    assert (cleared["outcome"], cleared["limit"], cleared["until"]) == ("cleared", "", "")
    assert (limited["outcome"], limited["limit"], limited["until"]) == (
        "limits", "powered_only", "2099-01-01",
    )  # fmt: skip
    assert undo(works, run) == ""
    kinds = [kind for kind, _ in entries(works, "00417")]
    assert kinds == ["medical", "medical-correction"]
    assert "note" not in entries(works, "00417")[1][1]


def test_a_file_of_determinations_without_its_columns_is_refused(works):
    with pytest.raises(importing.Refusal, match="Use the template"):
        importing.prepare("medical", csv_of(("worker number", "date", "x"), ("1", "2", "3")))


def test_entries_of_many_follow_each_other_like_those_of_one(works):
    deeds = [
        record.Deed(f"deed:{at}", "appendix-d", "00417", "Loft", works.today, {"n": at})
        for at in range(3)
    ]
    with works.store.writing() as db:
        assert record.append_many(db, deeds[:2], works.now) == [1, 2]
        record.append(db, once="one", kind="appendix-d", person_number="00417", worksite="Loft",
                      happened_on=works.today, body={}, now=works.now)  # fmt: skip
        assert record.append_many(db, deeds, works.now) == [1, 2, 4]
        assert [one for one in record.verify(db) if one] == []
        assert record.count(db) == 4


def test_a_loose_fitting_one_takes_no_fit_test(works):
    with works.store.writing() as db:
        joining.give_respirator(db, works.scribe(), works.people["Kim"], class_slug="papr-loose",
                                use="required")  # fmt: skip
        assert people.respirators(db, works.people["Kim"].id)
    cells = ("00418", works.today.isoformat(), "saccharin", "papr-loose", *MASK[1:], "passed")
    run = bring(works, csv_of(FIT, (*cells, "", "")), kind="fit-tests")
    assert "no seal" in states(works, run)[0]


def test_a_past_record_comes_in_parts_that_hold_up_nobody_for_long(works, monkeypatch):
    monkeypatch.setattr(importing, "MOST_PAST", 1)
    run = bring(works, whole(works) + b"00418,2026-01-01\n", kind="training")
    assert run.state == "matched"
    assert states(works, run) == []
