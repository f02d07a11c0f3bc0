"""A small works with a fixed cast, and a browser without script that sends real forms.

Ida coordinates. Tomas trains at the Laminating Loft and Wren at the Joinery. Lee is a worker
at the Loft with a half mask; Kim is another there; Noor works at the Joinery.
"""

import csv
import os
import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from pathlib import Path
from zoneinfo import ZoneInfo

import hypothesis
import pytest
from argon2 import PasswordHasher
from bs4 import BeautifulSoup
from flask import Flask
from jinja2.bccache import Bucket, BytecodeCache
from sqlmodel import Session

from tests.databases import BOTH, Cluster, Databases, Files
from trainer import config, lessons
from trainer.app import create_app
from trainer.services import exporting, hashing, joining, learning, signing_in, sitting
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.engine import Store
from trainer.store.tables import Person, Sitting, Worksite

PIN = "271828"
PASSPHRASE = "seven brown kettles sing"
ZONE = ZoneInfo("America/Chicago")
HALF_MASK = {
    "class_slug": "apr-half",
    "use": "required",
    "make": "Invented Aldermoor",
    "model": "Half 2",
    "style": "elastomeric",
    "size": "M",
    "filters": "organic vapor",
}


# Speed is measured in benchmarks and never asserted: a busy machine fails no test.
hypothesis.settings.register_profile("unhurried", deadline=None)
hypothesis.settings.load_profile("unhurried")


# In the tests the program hashes in a way that is quick; that the slow way is the right one, and
# how many hashes there are, is tested in tests/services/test_hashing.py.
SLOW_HASHER = hashing.HASHER
hashing.HASHER = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


@pytest.fixture(scope="session")
def hashes() -> dict[str, str]:
    """Return the PIN and passphrase of everybody, hashed."""
    return {"pin": hashing.hashed(PIN), "passphrase": hashing.hashed(PASSPHRASE)}


# Whoever has a database of their own set on this machine keeps it untouched.
os.environ.pop("DONNING_ROOM_DATABASE_URL", None)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let whoever runs the tests choose the database."""
    parser.addoption(
        "--database", choices=BOTH, default=None,
        help="run every test that needs a database on this one alone (default: SQLite, and "
        "PostgreSQL too where a module is marked both_databases)",
    )  # fmt: skip


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run the tests of a marked module on both databases."""
    marked = next(metafunc.definition.iter_markers("both_databases"), None)
    if marked and "database" in metafunc.fixturenames and not metafunc.config.getoption("database"):
        metafunc.parametrize("database", BOTH, indirect=True, scope="session")


LONGEST = (
    "tests/browser/", "tests/durability/", "tests/fuzz/", "tests/bank/test_draw.py",
    "tests/services/test_together.py", "tests/services/test_packet.py", "tests/web/",
)  # fmt: skip
"""What takes longest, the longest first."""


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with what takes longest, so that no core is left alone with it at the end."""
    items.sort(
        key=lambda item: next(
            (place for place, name in enumerate(LONGEST) if item.nodeid.startswith(name)),
            len(LONGEST),
        )
    )


@pytest.fixture(scope="session")
def database(request: pytest.FixtureRequest) -> str:
    """Return which database a test runs on."""
    return getattr(request, "param", None) or request.config.getoption("database") or BOTH[0]


@pytest.fixture(scope="session")
def databases():
    """Return both kinds of database."""
    made = Databases()
    yield made
    made.close()


@pytest.fixture
def of_kind(databases: Databases, database: str) -> Files | Cluster:
    """Return the databases of the kind that a test runs on."""
    return databases.of(database)


@pytest.fixture
def settings(tmp_path: Path, of_kind: Files | Cluster) -> config.Settings:
    """Return the settings of a fresh installation."""
    return config.read(data=tmp_path).model_copy(
        update={"database_url": of_kind.address(tmp_path)}
    )


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory, databases: Databases, database: str) -> str:
    """Return the address of an empty database with all its tables, made once."""
    return databases.template(
        database, "empty", tmp_path_factory.mktemp("empty"), lambda _: None
    )


@pytest.fixture
def store(request: pytest.FixtureRequest, settings: config.Settings, of_kind: Files | Cluster):
    """Return an empty database with all its tables; one with the cast where a test has `works`."""
    filled = "works" in request.fixturenames
    template = request.getfixturevalue("with_cast" if filled else "empty")
    of_kind.copy(template, settings.database_url)
    opened = Store(settings.database_url)
    yield opened
    opened.close()
    of_kind.drop(settings.database_url)


@dataclass
class Works:
    """The people and worksites of the tests."""

    store: Store
    now: datetime
    worksites: dict[str, Worksite] = field(default_factory=dict)
    people: dict[str, Person] = field(default_factory=dict)

    def scribe(self, name: str = "Ida", now: datetime | None = None) -> Scribe:
        """Return a person as the one who records."""
        return Scribe(self.people[name], now or self.now, ZONE)

    @property
    def today(self) -> date:
        """Return the day at the worksites."""
        return self.now.astimezone(ZONE).date()


PLACES = (("Laminating Loft", "Loft office"), ("Joinery", "Bench 1"))
CAST = (
    ("Ida", "00001", ["coordinator"], [], ""),
    ("Tomas", "00002", ["trainer"], ["Laminating Loft"], "Industrial hygiene technician"),
    ("Wren", "00003", ["trainer"], ["Joinery"], "Safety officer"),
    ("Lee", "00417", ["worker"], ["Laminating Loft"], ""),
    ("Kim", "00418", ["worker"], ["Laminating Loft"], ""),
    ("Noor", "00500", ["worker"], ["Joinery"], ""),
)


@pytest.fixture(scope="session")
def with_cast(
    tmp_path_factory: pytest.TempPathFactory, databases: Databases, database: str,
    hashes: dict[str, str],
) -> str:
    """Return the address of a database with the cast, everybody able to sign in; made once."""
    return databases.template(
        database, "works", tmp_path_factory.mktemp("works"), lambda store: add_cast(store, hashes)
    )


def add_cast(opened: Store, hashes: dict[str, str]) -> None:
    """Add the cast and its worksites to an empty database."""
    made = Works(opened, datetime.now(UTC) - timedelta(minutes=1))
    with opened.writing() as db:
        for name, place in PLACES:
            made.worksites[name] = joining.add_worksite(
                db,
                name=name,
                time_zone=ZONE.key,
                ask_name="R. Odell",
                ask_place=place,
                ask_telephone="555 0142",
                ask_hours="6:00 to 15:00",
            )
        for name, number, roles, places, qualification in CAST:
            made.people[name] = joining.add_person(
                db,
                made.now,
                number=number,
                name=name,
                roles=roles,
                worksites=[made.worksites[place].id for place in places],
                qualification=qualification,
                seed=f"seed of {name}",
            )
            signing_in.set_pin(db, made.people[name], hashes["pin"])
            signing_in.set_passphrase(db, made.people[name], hashes["passphrase"])
        joining.give_respirator(db, made.scribe(), made.people["Lee"], **HALF_MASK)


@pytest.fixture
def works(store: Store) -> Works:
    """Return the works with its cast, everybody able to sign in, nothing learnt yet."""
    made = Works(store, datetime.now(UTC) - timedelta(minutes=1))
    with store.reading() as db:
        made.worksites = {name: people.worksite_named(db, name) for name, _ in PLACES}
        made.people = {name: people.by_number(db, number) for name, number, *_ in CAST}
    return made


def pass_lesson(works: Works, name: str, slug: str, now: datetime) -> Sitting:
    """Let a person read a lesson and pass its sitting, as they would on the pages."""
    lesson = lessons.load().get(slug)
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        for section in lesson.sections:
            learning.finish_section(db, person, lesson, section.id, now)
        there = sitting.begin(db, person, lesson, now)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), now)
        return sitting.close(db, Scribe(person, now, ZONE), there, "en", 80)


def right_answer(one: sitting.Shown) -> list[str]:
    """Return what a person who knows it would answer."""
    if one.question:
        if one.question.in_rows:
            return [f"{at}:{at}" for at in range(len(one.question.options))]
        return [str(at) for at, option in enumerate(one.question.options) if option.right]
    return [one.problem.blank.typed]


def wrong_answer(one: sitting.Shown) -> list[str]:
    """Return an answer that is not right."""
    if one.question:
        if one.question.in_rows:
            last = len(one.question.options) - 1
            return [f"{at}:{last - at}" for at in range(last + 1)]
        return [str(at) for at, option in enumerate(one.question.options) if not option.right][:1]
    blank = one.problem.blank
    if blank.kind == "pick":
        return [next(key for key, _ in blank.options("en") if key != blank.value)]
    return ["0.0123456"]


def taken_out(db: Session, first: date, last: date) -> list[dict[str, str]]:
    """Return the entries of training of a period as they come out in CSV, a row each."""
    lines = "".join(exporting.csv_lines(db, exporting.Choice(first, last)))
    return list(csv.DictReader(StringIO(lines)))


class Browser:
    """A browser without script: it reads a page's own token and follows where it is sent."""

    def __init__(self, client) -> None:
        self.client = client
        self.page = ""

    def get(self, path: str, **more):
        """Open a page."""
        response = self.client.get(path, **more)
        if response.mimetype == "text/html":
            self.page = response.text
        return response

    def post(self, path: str, follow: bool = True, **fields):
        """Send a form with the token of the page last seen."""
        headers = fields.pop("headers", None)
        found = re.search(r'name="csrf_token" value="([^"]+)"', self.page)
        data = {"csrf_token": found.group(1) if found else "", **fields}
        response = self.client.post(path, data=data, follow_redirects=follow, headers=headers)
        if response.mimetype == "text/html" and response.text:
            self.page = response.text
        return response

    def sign_in(self, number: str) -> "Browser":
        """Sign in with the passphrase, as on any device."""
        self.get("/sign-in")
        self.post("/sign-in", number=number, passphrase=PASSPHRASE, **{"with": "passphrase"})
        return self

    @property
    def soup(self) -> BeautifulSoup:
        """Return the page last seen, read."""
        return BeautifulSoup(self.page, "html.parser")


class Compiled(BytecodeCache):
    """Templates as compiled once in this process, for every application that its tests make."""

    def __init__(self) -> None:
        self._kept: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Hand out a template that was compiled before, of the very same source."""
        if bucket.key in self._kept:
            bucket.bytecode_from_string(self._kept[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep a template."""
        self._kept[bucket.key] = bucket.bytecode_to_string()


COMPILED = Compiled()


@pytest.fixture(scope="session")
def applications() -> dict[str, Flask]:
    """Return the applications of this process, by their settings but for the record's place."""
    return {}


@pytest.fixture
def app(settings: config.Settings, store: Store, applications: dict[str, Flask]):
    """Return the application on the empty database.

    One is made and read once, and has the store of one test after another; whatever a test
    changes of it is as before with the next.
    """
    kind = repr(settings.model_copy(update={"data": None, "database_url": ""}))
    if kind not in applications:
        applications[kind] = create_app(settings, store, "only for tests")
        applications[kind].config["TESTING"] = True
        applications[kind].jinja_env.bytecode_cache = COMPILED
    made = applications[kind]
    made.extensions |= {"settings": settings, "store": store}
    store.settings = settings
    was = {name: dict(getattr(made, name)) for name in ("config", "extensions", "view_functions")}
    answers = made.wsgi_app
    yield made
    made.wsgi_app = answers
    for name, kept in was.items():
        getattr(made, name).clear()
        getattr(made, name).update(kept)


@pytest.fixture
def browser(app, works: Works):
    """Return a function that gives a browser, signed in as one of the cast or as nobody."""

    def opened(name: str = "") -> Browser:
        fresh = Browser(app.test_client())
        return fresh.sign_in(works.people[name].number) if name else fresh

    return opened


