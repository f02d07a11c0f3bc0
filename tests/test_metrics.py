"""What is counted while pages are answered, and the address on which it is told."""

import socket
from urllib.request import urlopen

import pytest

from tests.conftest import pass_lesson
from tests.web.test_request_log import ToTheEnd
from trainer.running import metrics
from trainer.services import wellbeing
from trainer.store import record


@pytest.fixture
def port(app, store):
    """Return the port on which the metrics of this process are told."""
    app.test_client_class = ToTheEnd
    with socket.create_server(("127.0.0.1", 0)) as free:
        number = free.getsockname()[1]
    metrics.start()
    end = metrics.tell("127.0.0.1", number, lambda: wellbeing.figures(store))
    yield number
    end()
    metrics.stop()


def told(port: int) -> dict[str, float]:
    """Return each figure by its name and labels."""
    with urlopen(f"http://127.0.0.1:{port}/metrics") as answer:
        lines = answer.read().decode().splitlines()
    pairs = (line.rsplit(" ", 1) for line in lines if not line.startswith("#"))
    return {name.removeprefix("donning_room_"): float(value) for name, value in pairs}


def test_what_happened_is_told_by_route_and_names_nobody(port, app, works, browser):
    pass_lesson(works, "Lee", "protection-factors", works.now)
    lee = browser("Lee")
    assert lee.get("/people/00500").status_code == 403
    lee.get("/sign-in")
    lee.post("/sign-in", number="00417", passphrase="not this one", **{"with": "passphrase"})
    there = told(port)
    assert there['requests_total{method="GET",route="/people/<number>",status="403"}'] == 1
    assert there['request_seconds_count{route="/sign-in"}'] >= 2
    assert there["wrong_sign_ins_total"] == 1
    assert there["commits_total"] >= 3
    assert there["writer_wait_seconds_count"] >= there["commits_total"]
    assert (there["database_up"], there["errands_open"]) == (1, 0)
    with works.store.reading() as db:
        assert there["entries"] == record.count(db) >= 1
    assert not [name for name in there if "00417" in name or "00500" in name]


def test_a_database_that_is_away_is_told_and_nothing_else_of_it(port, app, works, monkeypatch):
    monkeypatch.setattr(type(works.store), "migration", lambda _: "9999")
    there = told(port)
    assert there["database_up"] == 0
    assert "entries" not in there


def test_pages_have_no_metrics(port, app, works, browser):
    assert browser("Ida").get("/metrics").status_code == 404


def test_nothing_is_counted_where_nobody_asked(app, works, browser):
    browser("Lee")
    assert metrics._meters is None
