"""The log of who changed what: noted where it is written, never changed, no medical value in it."""

import json
from datetime import timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import select

from tests.conftest import HALF_MASK, Works
from trainer.services import describing, joining, leaving, recording, settings, signing_in
from trainer.store import changes, people
from trainer.store.tables import Change, Person, SignInEvent, Worksite

IDA = changes.By("00001", "Ida")


def noted(works: Works, kind: str = "") -> list[Change]:
    """Return what the log tells, oldest first."""
    with works.store.reading() as db:
        return list(reversed(changes.page(db, kind=kind, by="00001", most=500)))


def change_lee(works: Works, **more) -> None:
    """Change Lee, as Ida on a page."""
    given = {
        "name": "Lee", "roles": ["worker"], "language": "en", "worksites": [1],
        "qualification": "",
    } | more
    with works.store.writing(IDA) as db:
        lee = db.get(Person, works.people["Lee"].id)
        joining.change_person(db, works.scribe(), lee, **given)


def test_a_changed_name_is_told_with_before_and_after(works):
    change_lee(works, name="Lea", language="es")
    [line] = noted(works)
    assert (line.kind, line.deed, line.about_number, line.about) == (
        "person", "changed", "00417", "Lea",
    )  # fmt: skip
    assert json.loads(line.detail) == [["name", "Lee", "Lea"], ["language", "en", "es"]]


def test_what_stays_as_it_was_is_told_nothing_of(works):
    change_lee(works)
    assert noted(works) == []


def test_roles_and_worksites_are_told_one_by_one(works):
    change_lee(works, roles=["worker", "trainer"], worksites=[2])
    told = [(one.kind, one.deed, one.about, json.loads(one.detail)) for one in noted(works)]
    assert sorted(told) == [
        ("membership", "added", "Lee", [["worksite", "", "Joinery"]]),
        ("membership", "ended", "Lee", [["worksite", "Laminating Loft", ""]]),
        ("role", "added", "Lee", [["role", "", "trainer"]]),
    ]


def test_somebody_added_is_told_by_name_from_the_very_first_flush(works):
    with works.store.writing(IDA) as db:
        joining.add_person(
            db, works.now, number="A-1", name="Imara", roles=["worker"], worksites=[1]
        )
    told = {(one.kind, one.deed, one.about_number) for one in noted(works)}
    assert told == {
        ("person", "added", "A-1"), ("role", "added", "A-1"), ("membership", "added", "A-1"),
    }  # fmt: skip


def test_respirators_hazards_settings_and_worksites_are_told(works):
    with works.store.writing(IDA) as db:
        by, kim = works.scribe(), works.people["Kim"]
        worn = joining.give_respirator(db, by, kim, **HALF_MASK)
        joining.take_respirator(db, by, kim, worn.id)
        site = db.get(Worksite, 1)
        task = describing.add_task(db, site, "Rolling gel coat")
        hazard = describing.add_hazard(db, by, task, substance="toluene")
        describing.add_sample(db, by, hazard, on=works.today, hours=8, concentration=90)
        describing.end(db, by, hazard)
        settings.put(db, by, "pass_mark", "90")
        joining.change_worksite(
            db, site, name="Loft", time_zone=site.time_zone, ask_name="R. Odell",
            ask_telephone="555 0199",
        )  # fmt: skip
    told = [(one.kind, one.deed) for one in noted(works)]
    for expected in (
        ("respirator", "added"), ("respirator", "ended"), ("task", "added"), ("hazard", "added"),
        ("sample", "added"), ("hazard", "ended"), ("setting", "added"), ("worksite", "changed"),
    ):  # fmt: skip
        assert expected in told


def test_of_a_determination_the_log_says_only_that_there_is_one(works):
    with works.store.writing(IDA) as db:
        recording.record_medical(
            db, works.scribe(), works.people["Lee"], once="m", on=works.today, outcome="limits",
            limit="powered_only", until=works.today + timedelta(days=40),
        )  # fmt: skip
    [line] = noted(works)
    assert (line.kind, line.about_number) == ("entry", "00417")
    assert json.loads(line.detail) == [["kind", "", "medical"]]
    assert "powered" not in str(line.model_dump())


def test_no_secret_is_in_the_log_nor_in_the_history(works):
    with works.store.writing(IDA) as db:
        signing_in.set_pin(db, works.people["Lee"], "a hash", works.now)
        code, _ = signing_in.make_code(
            db, works.people["Ida"], works.now, signing_in.Limits(), person=works.people["Lee"]
        )
    with works.store.reading() as db:
        rows = [*db.exec(select(Change)), *db.exec(select(SignInEvent))]
        told = " ".join(str(row.model_dump()) for row in rows)
    assert rows
    assert "a hash" not in told
    assert code not in told


def test_what_is_refused_leaves_no_line(works):
    with pytest.raises(joining.Refusal):
        change_lee(works, name="Lea", worksites=[99])
    assert noted(works) == []


def test_leaving_is_told_as_one_change_of_the_person(works):
    with works.store.writing(IDA) as db:
        leaving.leave(db, works.scribe(), works.people["Lee"], once="l", on=works.today)
    details = [json.loads(one.detail) for one in noted(works, "person")]
    assert details == [[["left_on", "", works.today.isoformat()]]]


@pytest.mark.parametrize("table", ["change", "sign_in_event"])
@pytest.mark.parametrize("deed", ["UPDATE {} SET at = at", "DELETE FROM {}"])
def test_the_database_refuses_to_change_what_was_told(works, table, deed):
    with works.store.writing(IDA) as db:
        changes.note(db, "export", "taken-out")
        signing_in.refused(db, None, None, works.now)
    with pytest.raises(IntegrityError, match="never changed"), works.store.writing() as db:
        db.execute(text(deed.format(table)))


def test_it_can_be_asked_for_by_person_day_and_kind(works):
    change_lee(works, name="Lea")
    with works.store.reading() as db:
        assert changes.page(db, by="00002") == []
        assert len(changes.page(db, by="00001", about=["00417"], kind="person")) == 1
        assert changes.page(db, about=["00417"], first=works.now + timedelta(hours=1)) == []
        assert len(changes.page(db, about=["00417"], by="00001", last=works.now
                                + timedelta(hours=1))) == 1  # fmt: skip
        assert people.by_number(db, "00417").name == "Lea"
