"""A small works with a fixed cast, and a browser without script that sends real forms.

Ida coordinates. Tomas trains at the Laminating Loft and Wren at the Joinery. Lee is a worker
at the Loft with a half mask; Kim is another there; Noor works at the Joinery.
"""

import re
import shutil
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import hypothesis
import pytest
from argon2 import PasswordHasher
from bs4 import BeautifulSoup

from trainer import config, lessons
from trainer.app import create_app
from trainer.services import joining, learning, signing_in, sitting
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


@pytest.fixture(scope="session")
def hashes() -> dict[str, str]:
    """Return the PIN and passphrase of everybody, hashed in a way that is quick to check.

    Slow hashes, as the program makes them, are tested by themselves.
    """
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    return {"pin": quick.hash(PIN), "passphrase": quick.hash(PASSPHRASE)}


@pytest.fixture
def settings(tmp_path: Path) -> config.Settings:
    """Return the settings of a fresh installation."""
    return config.read(data=tmp_path)


@pytest.fixture(scope="session")
def empty_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the file of an empty database with all its tables, made once."""
    settings = config.read(data=tmp_path_factory.mktemp("empty"))
    made = Store(settings.database_url)
    made.upgrade()
    made.close()
    return settings.data / "record.sqlite"


@pytest.fixture
def store(settings: config.Settings, empty_file: Path):
    """Return an empty database with all its tables."""
    shutil.copy(empty_file, settings.data / "record.sqlite")
    opened = Store(settings.database_url)
    yield opened
    opened.close()


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
def works_file(
    tmp_path_factory: pytest.TempPathFactory, empty_file: Path, hashes: dict[str, str]
) -> Path:
    """Return the file of a database with the cast, everybody able to sign in; made once."""
    settings = config.read(data=tmp_path_factory.mktemp("works"))
    shutil.copy(empty_file, settings.data / "record.sqlite")
    opened = Store(settings.database_url)
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
    opened.close()
    return settings.data / "record.sqlite"


@pytest.fixture
def works(store: Store, settings: config.Settings, works_file: Path) -> Works:
    """Return the works with its cast, everybody able to sign in, nothing learnt yet."""
    # Nobody has asked the store for anything yet, so its file can still be another one.
    shutil.copy(works_file, settings.data / "record.sqlite")
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


@pytest.fixture
def app(settings: config.Settings, store: Store):
    """Return the application on the empty database."""
    made = create_app(settings, store, "only for tests")
    made.config["TESTING"] = True
    return made


@pytest.fixture
def browser(app, works: Works):
    """Return a function that gives a browser, signed in as one of the cast or as nobody."""

    def opened(name: str = "") -> Browser:
        fresh = Browser(app.test_client())
        return fresh.sign_in(works.people[name].number) if name else fresh

    return opened


