"""What machines are told: whether pages can be answered here, and nothing of anybody."""

import pytest
from sqlalchemy.exc import OperationalError
from sqlmodel import text

from trainer.services.wellbeing import SHOWN
from trainer.store import record
from trainer.store.engine import NewerRecord, Store, newest_migration

pytestmark = pytest.mark.both_databases


def test_a_record_that_answers_is_well_and_shows_how_its_last_hash_begins(app, works):
    answer = app.test_client().get("/health")
    with works.store.reading() as db:
        head = record.last_hash(db)
    assert answer.status_code == 200
    assert answer.json == {"alive": True, "database": "ok", "chain": head[:SHOWN]}
    assert head not in answer.text


@pytest.mark.parametrize("path", ["/health", "/health/live"])
def test_no_cookie_is_looked_at_or_set(app, store, path, monkeypatch):
    monkeypatch.setattr("trainer.services.signing_in.session_of", lambda *_: 1 / 0)
    client = app.test_client()
    client.set_cookie("room", "whatever was there before")
    answer = client.get(path)
    assert answer.status_code == 200
    assert "Set-Cookie" not in answer.headers
    assert answer.headers["Cache-Control"] == "no-store"


def test_a_database_that_does_not_answer_is_told_and_the_process_stays_alive(
    app, store, monkeypatch
):
    def away(_):
        raise OperationalError("SELECT 1", None, OSError("no route to 10.0.0.9"))

    monkeypatch.setattr(Store, "migration", away)
    client = app.test_client()
    answer = client.get("/health")
    assert (answer.status_code, answer.json["database"]) == (503, "away")
    assert "10.0.0.9" not in answer.text
    assert client.get("/health/live").status_code == 200


def of_migration(store: Store, number: str) -> None:
    """Let the tables say that they are of another migration."""
    with store.writing() as db:
        db.execute(text("UPDATE alembic_version SET version_num = :number"), {"number": number})


def test_a_record_of_a_newer_program_is_not_served_on_and_not_touched(app, store):
    of_migration(store, "9999")
    answer = app.test_client().get("/health")
    assert (answer.status_code, answer.json["database"]) == (503, "other")
    with pytest.raises(NewerRecord, match="9999"):
        store.upgrade()
    assert store.migration() == "9999"


def test_an_earlier_record_is_not_well_before_it_is_upgraded(app, store):
    of_migration(store, "0001")
    assert app.test_client().get("/health").status_code == 503


def test_the_newest_migration_is_the_one_that_a_fresh_record_has(store):
    assert store.migration() == newest_migration()
