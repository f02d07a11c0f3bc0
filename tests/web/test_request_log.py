"""The log of a day: every line is made of words of ours and of measures, and names nobody.

A line is held against what may stand in it, which is little; and whatever was typed, sent or
kept secret during the day is looked for in all of them.
"""

import io
import json
import logging
import re
import warnings

import pytest
from flask.testing import FlaskClient
from sqlalchemy.exc import IntegrityError
from sqlmodel import text

from tests.conftest import PASSPHRASE, Browser
from tests.web import test_whole_job
from trainer.running import logs
from trainer.web.access import ANYBODY

SECRET = "Vantorella"
FIELDS = {
    "time": re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00"),
    "level": re.compile(r"info|warning|error"),
    "event": re.compile(r"request|fault|errand|library"),
    "id": re.compile(r"[0-9a-f]{16}"),
    "method": re.compile(r"GET|POST|HEAD|OPTIONS|other"),
    "state": re.compile(r"done|failed|refused"),
    "kind": re.compile(r"[a-z-]+"),
    "library": re.compile(r"[a-z._]+"),
    "at": re.compile(r"[a-z_]+:\d+"),
}
NUMBERS = {"status", "ms", "bytes", "database_ms", "errand", "seconds"}
PLACE = re.compile(r"[\w./@+-]+:\d+ [\w<>]+")
KIND = re.compile(r"[\w.]+( [\w]+)*")


class ToTheEnd(FlaskClient):
    """A browser that takes every answer to its end, as one over a wire does."""

    def open(self, *given, **more):
        """Ask for a page."""
        return super().open(*given, **{"buffered": True} | more)


@pytest.fixture
def written(app):
    """Return what the log says from now on, as JSON lines; everything goes back afterwards."""
    client = app.test_client_class
    app.test_client_class = ToTheEnd
    root, ours = logging.getLogger(), logging.getLogger(logs.OURS)
    before = root.handlers[:], root.level, ours.level
    stream = io.StringIO()
    logs.start("json", stream)
    root.setLevel(logging.DEBUG)  # libraries too, whatever they have to say
    yield stream
    app.test_client_class = client
    root.handlers[:] = before[0]
    root.setLevel(before[1])
    ours.setLevel(before[2])
    logging.captureWarnings(False)


def lines(stream: io.StringIO) -> list[dict]:
    """Return the lines."""
    return [json.loads(line) for line in stream.getvalue().splitlines()]


def check(line: dict, routes: set[str]) -> None:
    """Check that a line holds nothing that may not stand in one."""
    for name, value in line.items():
        if name in NUMBERS:
            assert isinstance(value, int | float), line
        elif name == "route":
            assert value in routes, line
        elif name == "faults":
            for fault in value:
                assert KIND.fullmatch(fault["kind"]), line
                assert all(PLACE.fullmatch(place) for place in fault["at"]), line
        else:
            assert FIELDS[name].fullmatch(value), line


@pytest.fixture
def sent(monkeypatch):
    """Return what the browsers of a test send: of forms the values, of addresses the parts."""
    there: set[str] = set()
    post, get = Browser.post, Browser.get

    def posting(self, path, follow=True, **fields):
        there.update(path.split("/"))
        for value in fields.values():
            there.update(map(str, value if isinstance(value, list) else [value]))
        return post(self, path, follow, **fields)

    def getting(self, path, **more):
        there.update(re.split("[/?&=]", path))
        return get(self, path, **more)

    monkeypatch.setattr(Browser, "post", posting)
    monkeypatch.setattr(Browser, "get", getting)
    return there


def test_a_days_log_names_nobody(app, store, settings, written, sent):
    test_whole_job.test_an_empty_installation_comes_to_a_first_cleared_worker(app, store, settings)
    there = lines(written)
    routes = {rule.rule for rule in app.url_map.iter_rules()} | {"(no page)"}
    requests = [line for line in there if line["event"] == "request"]
    assert len(requests) > 100
    assert {"/enrol", "/sittings/<int:number>/<int:position>"} <= {one["route"] for one in requests}
    for line in there:
        check(line, routes)
    # Words that a route is made of are nobody's; short ones prove nothing.
    ours = set(re.findall(r"[\w.-]+", " ".join(routes)))
    # A number of milliseconds may be like an answer, by chance; `check` saw that it is a number.
    words = [{name: line[name] for name in line.keys() - NUMBERS} for line in there]
    told = set(re.findall(r"[\w.-]+", json.dumps(words)))
    secret = {one for one in sent if len(one) > 3} - ours
    assert len(secret) > 30
    assert secret & told == set()
    assert [one for one in secret if " " in one and one in written.getvalue()] == []


def test_secret_addresses_and_forms_stay_out(works, app, browser, written):
    client = app.test_client()
    secret_ones = [rule.rule for rule in app.url_map.iter_rules()
                   if re.search("<(signed|secret|string:secret)>", rule.rule)]
    assert len(secret_ones) >= 2  # a card, a calendar
    for path in (f"/{SECRET}/00417", f"/people/00417?q={SECRET}",
                 f"/enrol?number=00417&code={SECRET}",
                 *(re.sub("<[^>]+>", SECRET, one) for one in secret_ones)):  # fmt: skip
        client.get(path)
    client.open("/sign-in", method=SECRET.upper())
    browser("Ida").post("/sign-in", number="00417", passphrase=SECRET)
    browser("Ida").get("/people/00417")
    told = written.getvalue()
    assert told.count('"request"') > 10
    for one in (SECRET, SECRET.upper(), "00417", "00001", PASSPHRASE):
        assert one not in told


def test_a_fault_is_told_by_its_kind_and_place_alone(app, works, written):
    app.config["TESTING"] = False

    def broken():
        try:
            with works.store.writing() as db:
                db.execute(text("INSERT INTO person (id, number, name) VALUES (1, :number, :name)"),
                           {"number": "00417", "name": SECRET})
        except IntegrityError as fault:
            raise ValueError(f"{SECRET} of 00417 is there already") from fault

    app.view_functions["health.live"] = broken
    broken.impersonal, broken.allowed = True, ANYBODY
    assert app.test_client().get("/health/live").status_code == 500
    fault = next(one for one in lines(written) if one["event"] == "fault")
    assert fault["route"] == "/health/live"
    assert fault["faults"][0]["kind"] == "ValueError"
    assert fault["faults"][1]["kind"].startswith("sqlalchemy.exc.IntegrityError")
    check(fault, {"/health/live"})
    assert any("test_request_log.py" in place for place in fault["faults"][0]["at"])
    assert SECRET not in written.getvalue()
    assert "00417" not in written.getvalue()
    # Its line comes as well, under the same number.
    assert [one["status"] for one in lines(written)
            if one["event"] == "request" and one["id"] == fault["id"]] == [500]


def test_the_database_repeats_no_value_in_its_messages(works):
    with pytest.raises(IntegrityError) as found, works.store.writing() as db:
        db.execute(text("INSERT INTO person (id, number, name) VALUES (1, :number, :name)"),
                   {"number": "00417", "name": SECRET})
    assert SECRET not in str(found.value)


def test_what_libraries_say_comes_without_their_words(written):
    log = logging.getLogger("waitress")
    log.warning("Exception while serving %s" % f"/feeds/{SECRET}.ics")  # noqa: UP031
    log.warning("Exception while serving %s", SECRET)
    logging.getLogger("trainer.anything").warning("saw %s", SECRET)
    with warnings.catch_warnings():
        warnings.simplefilter("always")
        warnings.warn(SECRET, stacklevel=1)
    assert len(lines(written)) == 4
    assert SECRET not in written.getvalue()


def test_what_goes_well_with_a_balancer_is_not_told_and_what_does_not_is(app, works, written):
    client = app.test_client()
    client.get("/health")
    assert lines(written) == []
    with works.store.writing() as db:
        db.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    client.get("/health")
    assert [(one["route"], one["status"]) for one in lines(written)] == [("/health", 503)]


def test_the_size_of_an_answer_is_what_was_sent(app, works, written):
    answer = app.test_client().get("/sign-in")
    line = lines(written)[-1]
    assert line["bytes"] == len(answer.data) > 1000
    assert line["id"] == answer.headers["X-Request-Id"]


def test_the_time_of_the_database_is_told_of_a_page_that_asks_it(browser, written):
    browser("Ida").get("/board")
    line = lines(written)[-1]
    assert line["route"] == "/board"
    assert 0 < line["database_ms"] <= line["ms"]


def test_people_read_the_same_in_words():
    stream = io.StringIO()
    record = logging.LogRecord(logs.log.name, logging.INFO, __file__, 1, "request", (), None)
    record.room = {"method": "GET", "route": "/tag", "status": 200, "thread": None}
    stream.write(logs.AsText().format(record))
    assert stream.getvalue().endswith("Z info request method=GET route=/tag status=200")
