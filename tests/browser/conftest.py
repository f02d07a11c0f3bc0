"""A real browser on a real server: Debian's chromium, driven by Playwright."""

import os
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Page, expect, sync_playwright
from waitress.server import create_server

from tests.conftest import PIN
from trainer import config, lessons
from trainer.app import create_app
from trainer.cli.serving import CONNECTIONS
from trainer.services import joining, learning, signing_in
from trainer.store import people
from trainer.store.engine import Store

# The browser asks nobody outside this machine for anything.
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE = 60_000  # milliseconds, on a busy machine: speed is measured elsewhere, never asserted
expect.set_options(timeout=PATIENCE)

PHONE = {"width": 375, "height": 800}
NARROWEST = {"width": 320, "height": 640}
ONLY_VIOLATIONS = {"resultTypes": ["violations"]}
FIRST_LESSON = lessons.load().all[0].slug
WORKER = "00417"
WORKSITE = "Laminating Loft"
ZONE = ZoneInfo("America/Chicago")
FILES = ("stylesheet", "script", "image", "font")
DESKTOP = {"width": 1280, "height": 900}


@pytest.fixture(scope="session")
def chromium():
    """Return the browser; only where the machine has none, and not in CI, the test is skipped."""
    path = shutil.which("chromium")
    if path is None:
        # Nothing is skipped in CI: a job that nobody did there would count as done.
        refuse = pytest.fail if os.environ.get("CI") == "true" else pytest.skip
        refuse("no chromium on this machine: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


@dataclass
class Served:
    """A served installation, its store, and the browser windows opened on it."""

    base: str
    store: Store
    chromium: object
    faults: list[str] = field(default_factory=list)
    looked_at: set[str] = field(default_factory=set)
    contexts: list[BrowserContext] = field(default_factory=list)

    def window(self, language: str = "en", size: dict = PHONE, script: bool = True) -> "Window":
        """Open a window of its own cookies, as another person's device has."""
        context = self.chromium.new_context(
            viewport=size, locale=language, java_script_enabled=script, accept_downloads=True
        )
        self.contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE)
        page.on("console", self._hear)
        page.on("pageerror", lambda error: self.faults.append(f"{page.url}: {error}"))
        page.on("response", self._watch)
        return Window(self, page, script)

    def _hear(self, message) -> None:
        # The browser logs every answer of 4xx; a form with a fault is one, on purpose.
        if message.type == "error" and "status of 4" not in message.text:
            self.faults.append(message.text)

    def _watch(self, response) -> None:
        # A page of 4xx may be meant; a missing file or a broken server never is.
        missing = response.status >= 400 and response.request.resource_type in FILES
        if missing or response.status >= 500:
            self.faults.append(f"{response.url} answered {response.status}")


@dataclass
class Window:
    """One window, and what is looked at on every page that it meets."""

    served: Served
    page: Page
    script: bool

    def open(self, path: str) -> None:
        """Open a page and look at it."""
        self.page.goto(self.served.base + path)
        self.look()

    def go(self, selector: str) -> None:
        """Press what a selector finds, and look at the page it leads to."""
        # Not expect_navigation: htmx notes the address anew after each request, and that counts.
        with self.page.expect_event("load"):
            self.page.locator(selector).first.click()
        self.look()

    def look(self, state: str = "") -> None:
        """Check that nothing scrolls sideways; once a kind of page, at 320 px and with axe too.

        state   what sets this page apart from others of its address, such as an open dialog
        """
        if not self.script:
            return
        self._check_width()
        kind = state + self.page.evaluate(
            "document.documentElement.lang + location.pathname.replace(/[0-9]+/g, 'N')"
        )
        if kind in self.served.looked_at:
            return
        self.served.looked_at.add(kind)
        # With motion at rest: axe would measure colours in the middle of a movement.
        self.page.emulate_media(reduced_motion="reduce")
        size = self.page.viewport_size
        if size == PHONE:
            self.page.set_viewport_size(NARROWEST)
            self._check_width()
            self.page.set_viewport_size(size)
        self._check_access()
        self.page.emulate_media(reduced_motion="no-preference")

    def _check_width(self) -> None:
        over = self.page.evaluate("document.documentElement.scrollWidth - innerWidth")
        wide = f"at {self.page.viewport_size['width']} px"
        assert over <= 0, f"{self.page.url} scrolls sideways by {over} px {wide}"

    def _check_access(self) -> None:
        found = Axe().run(self.page, options=ONLY_VIOLATIONS).response["violations"]
        told = [(one["id"], [node["target"] for node in one["nodes"]]) for one in found]
        assert not told, f"{self.page.url}: {told}"


@pytest.fixture
def served(chromium, tmp_path: Path):
    """Serve an empty installation."""
    with serving(chromium, tmp_path) as made:
        yield made


@contextmanager
def serving(chromium, folder: Path) -> Iterator[Served]:
    """Serve an empty installation out of a folder; at its end nothing may have gone wrong."""
    settings = config.read(data=folder, idle_shared_seconds=120, warning_seconds=30)
    store = Store(settings.database_url)
    store.upgrade()
    app = create_app(settings, store, "only for tests")
    # As many connections as the command lets there be: the windows of a module keep theirs open.
    server = create_server(app, host="127.0.0.1", port=0, connection_limit=CONNECTIONS)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    made = Served(f"http://127.0.0.1:{server.effective_port}", store, chromium)
    yield made
    for context in made.contexts:
        context.close()
    # In the thread that waits at its sockets: closed by another, they would fail under it.
    server.trigger.pull_trigger(server.close)
    thread.join(timeout=5)
    server.task_dispatcher.shutdown()
    store.close()
    assert made.faults == []


def first_coordinator(store: Store, language: str) -> str:
    """Add the first coordinator, number 1, and return the one-time code."""
    now = datetime.now(UTC)
    with store.writing() as db:
        person = joining.add_person(
            db,
            now,
            number="1",
            name="Ida Marrow",
            roles=["coordinator"],
            language=language,
            seed="Ida",
        )
        code, _ = signing_in.make_code(db, None, now, signing_in.Limits(), person=person)
    return code


def enrol(window: Window, number: str, code: str) -> None:
    """Use a one-time code on a device and choose a PIN."""
    window.open(f"/enrol?number={number}&code={code}")
    window.go("main form button")
    window.page.fill("#pin", PIN)
    window.page.fill("#again", PIN)
    window.go("main form button")


@pytest.fixture
def ready(served: Served, hashes: dict[str, str]) -> Served:
    """Return the installation with a worker who has read the first lesson, and a trainer."""
    fill(served, hashes)
    return served


def fill(served: Served, hashes: dict[str, str]) -> None:
    """Add a worker who has read the first lesson, and a trainer."""
    now = datetime.now(UTC)
    with served.store.writing() as db:
        place = joining.add_worksite(
            db, name=WORKSITE, time_zone=ZONE.key, ask_name="R. Odell",
            ask_telephone="555 0142",
        )  # fmt: skip
        for number, name, role in (
            ("2", "Ravi Odell", "trainer"),
            (WORKER, "Imara Sollis", "worker"),
        ):
            person = joining.add_person(
                db, now, number=number, name=name, roles=[role], worksites=[place.id],
                qualification="Industrial hygienist",
            )  # fmt: skip
            signing_in.set_pin(db, person, hashes["pin"])
        for section in lessons.load().get(FIRST_LESSON).sections:
            learning.finish_section(db, person, lessons.load().get(FIRST_LESSON), section.id, now)


def phone(served: Served, number: str, script: bool = True) -> Window:
    """Return a person's own phone, enrolled with a one-time code."""
    with served.store.writing() as db:
        person = people.by_number(db, number)
        limits = signing_in.Limits()
        code, _ = signing_in.make_code(db, None, datetime.now(UTC), limits, person=person)
    window = served.window(script=script)
    enrol(window, number, code)
    return window
