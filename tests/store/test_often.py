"""Questions of every page: put to the driver itself, they find what SQLAlchemy finds."""

import sqlite3
from datetime import UTC, datetime

import pytest
from sqlalchemy import event, text
from sqlalchemy.exc import DBAPIError

from trainer.services import asking, learning, refreshing, settings, signing_in, sitting
from trainer.store import assignments, often, people, record, site_lessons, spent
from trainer.store.tables import Device, Person, WebSession

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
ASKED = {
    "settings": (settings._CHOSEN, {}),
    "what somebody asked": (asking._ASKED, {"person": 1}),
    "what somebody told": (asking._OPEN_NEEDS, {"person": 1}),
    "coordinators": (asking._COORDINATORS, {}),
    "who sees a question": (asking._SEES, {"person": 1}),
    "trainers now": (asking._TRAINERS_NOW, {"worksites": [1, 2], "since": AT, "without": 0}),
    "places in lessons": (learning._PLACES, {"person": 1}),
    "open sittings": (learning._SAT, {"person": 1}),
    "answers": (learning._ANSWERS, {"person": 1, "exercise": "inside", "version": 1}),
    "answers of a sitting": (sitting._ANSWERS, {"sitting": 1}),
    "entries": (record._OF_PERSON, {"numbers": ["1", "2", "3"]}),
    "entries of one": (record._OF_PERSON, {"numbers": ["1"]}),
    "roles": (people._ROLES, {"person": 1}),
    "places": (people._PLACES, {"person": 1}),
    "other numbers": (people._NUMBERS, {"person": 1}),
    "other numbers by then": (people._NUMBERS_BY, {"person": 1, "by": AT}),
    "courses": (site_lessons._COURSES, {"persons": [1, 2]}),
    "respirators": (people._WEARS, {"person": 1}),
    "assignments": (people._ASSIGNED, {"person": 1}),
    "what was told of respirators": (people._TOLD, {"persons": [1, 2, 3]}),
    "what is owed": (assignments._OWED, {"persons": [1, 2, 3]}),
    "an open sitting": (sitting._OPEN, {"person": 1, "lesson": "the-standard"}),
    "a sitting": (sitting._OWN, {"number": 1, "person": 1}),
    "items of a sitting": (sitting._ITEMS, {"sitting": 1}),
    "a refresher": (refreshing._OF_TRAINING, {"person": 1, "after": 1, "months": 3}),
    "a session": (signing_in._SESSION, {"token": "0" * 64}),
    "what is shown of questions": (asking._SHOWN, {
        "worksites": [1, 2], "lesson": "the-standard", "section": "why", "without": 0,
    }),
}


def everybody(works, given: dict) -> list[dict]:
    """Return the same values for each of the cast, where they name a person."""
    numbers = [one.number for one in works.people.values()]
    if "numbers" in given:
        return [given | {"numbers": numbers[: len(given["numbers"])]}]
    if "person" not in given:
        return [given]
    return [given | {"person": one.id} for one in works.people.values()]


@pytest.mark.both_databases
@pytest.mark.parametrize("name", ASKED)
def test_it_finds_what_sqlalchemy_finds(works, name):
    question, given = ASKED[name]
    with works.store.reading() as db:
        for each in everybody(works, given):
            found = often.rows(db, question, **each)
            meant = db.connection().execute(question.words, each).all()
            assert [one._mapping for one in found] == [one._mapping for one in meant]
            assert [[type(value) for value in one] for one in found] == \
                [[type(value) for value in one] for one in meant]


def test_questions_that_find_something_are_among_these(works):
    """Else nothing would be compared above."""
    with works.store.reading() as db:
        finding = {
            name for name, (question, given) in ASKED.items() for each in everybody(works, given)
            if often.rows(db, question, **each)
        }  # fmt: skip
    assert {"roles", "places", "who sees a question", "coordinators", "respirators"} <= finding


@pytest.mark.both_databases
def test_joined_rows_are_those_of_their_tables_and_none_where_nothing_was_joined(works):
    lee = works.people["Lee"]
    with works.store.writing() as db:
        token = signing_in.start_session(db, lee, None, works.now)
    about = {"token": signing_in.secret_hash(token)}
    with works.store.reading() as db:
        [(session, person, device, roles)] = often.joined(
            db, signing_in._SESSION, WebSession, Person, Device, **about
        )
        kept = db.get(Person, lee.id)
        assert person._asdict() == {name: getattr(kept, name) for name in person._fields}
        assert person._fields == tuple(Person.__table__.c.keys())
    assert session.person_id == lee.id and session.seen_at == works.now
    assert device is None and roles == "worker"


def test_a_list_may_be_of_any_length(works):
    numbers = [one.number for one in works.people.values()]
    with works.store.reading() as db:
        for given in ([], numbers[:1], numbers[:2], numbers * 20):
            found = often.rows(db, record._OF_PERSON, numbers=given)
            assert {one.person_number for one in found} <= set(given)


@pytest.mark.both_databases
def test_whoever_listens_hears_of_it_and_it_is_measured(works):
    heard: list[str] = []
    engine = works.store._engine
    event.listen(engine, "before_cursor_execute", lambda *given: heard.append(given[2]))
    with works.store.reading() as db:
        often.rows(db, people._ROLES, person=1)
        spent.begin_anew()
        often.rows(db, people._ROLES, person=1)
    assert len([one for one in heard if "person_role" in one]) == 2
    assert spent.seconds() > 0


@pytest.mark.both_databases
def test_what_was_said_before_in_the_session_is_seen(works):
    lee = works.people["Lee"]
    with works.store.writing() as db:
        for row in db.exec(people.select(people.PersonRole)).all():
            if row.person_id == lee.id:
                db.delete(row)
        assert often.values(db, people._ROLES, person=lee.id) == []
        db.rollback()


@pytest.mark.both_databases
def test_a_fault_is_told_as_ever(works):
    with pytest.raises(DBAPIError) as fault, works.store.writing() as db:
        db.connection().execute(text("DROP TABLE merged_person"))
        often.rows(db, people._NUMBERS, person=1)
    assert "merged_person" in str(fault.value.orig)
    with works.store.reading() as db:  # and nothing is broken for the next
        assert often.rows(db, people._NUMBERS, person=1) == []


def test_why_the_database_did_not_answer_is_what_it_said_first(works, monkeypatch):
    """On PostgreSQL the second answer would be that the transaction is over."""
    said = [sqlite3.OperationalError("disk I/O error")]
    said[0].sqlite_errorcode = sqlite3.SQLITE_IOERR

    def refuse(*_) -> None:
        raise said[0]

    monkeypatch.setattr(often, "_asked", refuse)
    with pytest.raises(DBAPIError) as fault, works.store.writing() as db:
        db.connection().execute(text("DROP TABLE merged_person"))
        often.rows(db, people._NUMBERS, person=1)
    assert fault.value.orig is said[0] and works.store.why(fault.value) == "disk"
