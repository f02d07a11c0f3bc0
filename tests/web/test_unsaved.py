"""What a person sees when the database does not do what it was asked: a sentence and their words.

What fails is real: another program holds the database, a limit on how large a file may become, a
disk that is full, a file that cannot be written, a server that is gone.
"""

import resource
import sqlite3
import subprocess
from contextlib import closing, contextmanager, suppress
from datetime import timedelta
from pathlib import Path
from threading import Event, Thread, Timer
from time import monotonic

import pytest
from sqlmodel import select

from tests.conftest import PASSPHRASE, Browser
from trainer import lessons
from trainer.app import create_app
from trainer.services import learning, sitting
from trainer.store import engine, record
from trainer.store.engine import Store
from trainer.store.tables import Installation, Sitting, WorkerQuestion

pytestmark = pytest.mark.parametrize("database", ["sqlite"], indirect=True, scope="session")

SLUG = "protection-factors"
PARTIAL = {"HX-Request": "true", "HX-Request-Type": "partial"}
WORDS = "Does the strap go over the hood, or under it?"


@pytest.fixture
def hurried(monkeypatch):
    """Let writers wait for a moment only."""
    monkeypatch.setattr(engine, "WAIT_SECONDS", 0.05)
    monkeypatch.setattr("trainer.web.access.ASIDE_SECONDS", 0.05)


@contextmanager
def held(settings):
    """Hold the database as another program does that writes."""
    other = sqlite3.connect(settings.database_url.removeprefix("sqlite:///"), isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    yield
    other.execute("ROLLBACK")
    other.close()


def test_words_that_could_not_be_saved_stand_on_the_page_and_are_sent_again(
    browser, settings, works, hurried
):
    lee = browser("Lee")
    lee.get("/ask")
    once = lee.soup.select_one("[name=once]")["value"]
    with held(settings):
        answer = lee.post("/ask", text=WORDS, once=once)
    assert answer.status_code == 503
    assert answer.headers["Retry-After"]
    page = lee.soup
    assert page.h1.get_text(strip=True) == "Not saved: the record is in use"
    assert "What you sent was not saved." in page.select_one(".lead").text
    assert page.select_one("blockquote").text == WORDS
    form = page.select_one("main form")
    assert form["action"] == "/ask"
    fields = {one["name"]: one["value"] for one in form.select("input")}
    assert fields["text"] == WORDS
    assert lee.post(form["action"], **fields).status_code == 200
    assert lee.post(form["action"], **fields).status_code == 200
    with works.store.reading() as db:
        assert list(db.exec(select(WorkerQuestion.text))) == [WORDS]


def test_it_is_said_in_spanish_too(browser, settings, works, hurried):
    lee = browser("Lee")
    lee.get("/ask")
    lee.post("/language", language="es", next="/ask")
    with held(settings):
        lee.post("/ask", text=WORDS, once="x")
    assert lee.soup.html["lang"] == "es"
    assert lee.soup.h1.get_text(strip=True) == "No se guardó: el registro está en uso"


@pytest.fixture
def begun(works) -> tuple[Sitting, sitting.Shown]:
    """Begin a sitting for Lee; return it with an item that takes a choice."""
    lesson = lessons.load().get(SLUG)
    with works.store.writing() as db:
        for section in lesson.sections:
            learning.finish_section(db, works.people["Lee"], lesson, section.id, works.now)
        there = sitting.begin(db, works.people["Lee"], lesson, works.now)
        items = sitting.shown(db, there)
    return there, next(one for one in items if one.question and one.question.form == "choice")


def kept(works, there: Sitting, one: sitting.Shown) -> str | None:
    """Return the answer that is kept."""
    with works.store.reading() as db:
        return sitting.shown(db, there)[one.item.position - 1].item.answer


@contextmanager
def no_room(settings):
    """Let no file of this process grow beyond what the log of the database has now.

    What SQLite is told is what it is told on a disk that is over its limit.
    """
    log = Path(settings.database_url.removeprefix("sqlite:///") + "-wal")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (log.stat().st_size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_an_answer_that_finds_no_room_stands_in_its_form_and_is_sent_again(
    browser, settings, works, begun
):
    there, one = begun
    path = f"/sittings/{there.id}/{one.item.position}"
    first, second = (str(place) for place in one.order[:2])
    lee = browser("Lee")
    lee.get(path)
    assert lee.post(path, answer=first).status_code == 200
    with no_room(settings):
        answer = lee.post(path, answer=second)
        assert answer.status_code == 507
        assert "What you sent was not saved." in lee.soup.select_one(".faults").text
        assert "full or broken" in lee.soup.select_one(".faults").text
        assert lee.soup.select_one("main [name=answer][checked]")["value"] == second
        assert kept(works, there, one) == first
        # Everything can be read all the same.
        assert lee.get("/tag").status_code == 200
        lee.get(path)
        part = lee.post(path, answer=second, headers=PARTIAL)
        assert part.status_code == 507
        assert part.headers["HX-Reswap"] == "none"
        assert 'id="status"' in part.text and "What you sent was not saved." in part.text
    lee.get(path)
    assert lee.post(path, answer=second).status_code == 200
    assert kept(works, there, one) == second
    with works.store.reading() as db:
        assert [one for one in record.verify(db) if one] == []


@contextmanager
def filled(folder: Path):
    """Let a disk be full to its last block."""
    with (folder / "other").open("wb", buffering=0) as other, suppress(OSError):
        while True:
            other.write(b"0" * 512)
    yield
    (folder / "other").unlink()


@pytest.fixture
def disk(tmp_path):
    """Return a small disk of its own, or a plain folder where none may be mounted."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(folder)]
    mounted = subprocess.run(mount, capture_output=True, check=False).returncode == 0
    yield folder
    if mounted:
        subprocess.run(["umount", str(folder)], check=True)


def test_a_full_disk_is_said_to_be_full(disk, works, settings, begun):
    """Where no disk may be mounted, a limit stands for it, and SQLite is told less of why."""
    there, one = begun
    address = f"sqlite:///{disk / 'record.sqlite'}"
    copied = sqlite3.connect(disk / "record.sqlite")
    with closing(sqlite3.connect(works.store.url.removeprefix("sqlite:///"))) as source:
        source.backup(copied)
    copied.close()
    there_now, settings = Store(address), settings.model_copy(update={"database_url": address})
    app = create_app(settings, there_now, "only for tests")
    lee = Browser(app.test_client()).sign_in(works.people["Lee"].number)
    path, given = f"/sittings/{there.id}/{one.item.position}", [str(at) for at in one.order[:2]]
    lee.get(path)
    mounted = disk.is_mount()
    with filled(disk) if mounted else no_room(settings):
        # The log of the database has a little room of its own; then there is none.
        answers = [lee.post(path, answer=given[count % 2]) for count in range(40)]
        codes = [one.status_code for one in answers]
        assert codes[-1] == 507
        assert set(codes) <= {200, 507}
        assert ("no room left" if mounted else "full or broken") in answers[-1].text
        assert lee.get("/tag").status_code == 200
        last = [given[count % 2] for count, code in enumerate(codes) if code == 200][-1:]
        with there_now.reading() as db:
            now = sitting.shown(db, there)[one.item.position - 1].item.answer
        assert now == (last[0] if last else None)
    lee.get(path)
    assert lee.post(path, answer=given[0]).status_code == 200
    with there_now.reading() as db:
        assert sitting.shown(db, there)[one.item.position - 1].item.answer == given[0]
        assert [one for one in record.verify(db) if one] == []
    there_now.close()


def test_a_database_that_cannot_be_written_is_read_and_says_so(settings, works, browser, begun):
    there, one = begun
    path = f"/sittings/{there.id}/{one.item.position}"
    lee = browser("Lee")
    lee.get(path)
    closed = Store(f"sqlite:///file:{works.store.url.removeprefix('sqlite:///')}?mode=ro&uri=true")
    again = Browser(create_app(settings, closed, "only for tests").test_client())
    again.client._cookies, again.page = lee.client._cookies, lee.page
    answer = again.post(path, answer=str(one.order[1]))
    assert answer.status_code == 503
    assert "nothing can be written now" in again.soup.select_one(".faults").text
    assert again.soup.select_one("main [name=answer][checked]")["value"] == str(one.order[1])
    assert again.get("/tag").status_code == 200
    closed.close()
    assert kept(works, there, one) is None


def test_a_short_hold_of_another_program_is_waited_for(settings, works, browser, begun):
    there, one = begun
    path = f"/sittings/{there.id}/{one.item.position}"
    lee = browser("Lee")
    lee.get(path)
    let_go = Event()

    def hold() -> None:
        with held(settings):
            holding.set()
            let_go.wait()

    holding, thread = Event(), Thread(target=hold)
    thread.start()
    holding.wait()
    Timer(0.3, let_go.set).start()
    assert lee.post(path, answer=str(one.order[0])).status_code == 200
    thread.join()
    assert kept(works, there, one) == str(one.order[0])


def test_many_who_wait_for_another_program_are_told_together(settings, works, monkeypatch):
    """They wait side by side, and not each after the one before."""
    monkeypatch.setattr(engine, "WAIT_SECONDS", 1.0)
    late, began = [], monotonic()

    def write() -> None:
        try:
            with works.store.writing() as db:
                db.add(Installation(name="late", value="1"))
                db.flush()
        except Exception as fault:
            late.append((works.store.why(fault), monotonic() - began))

    with held(settings):
        threads = [Thread(target=write) for _ in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert [why for why, _ in late] == ["busy"] * 6
    # One after another it would be six seconds; a busy machine is given three.
    assert max(seconds for _, seconds in late) < 4


def test_a_secret_is_not_put_on_a_page_to_be_sent_again(app, settings, works, hurried):
    lee = Browser(app.test_client())
    lee.get("/sign-in")
    with held(settings):
        sent = {"number": "00417", "passphrase": PASSPHRASE, "with": "passphrase"}
        answer = lee.post("/sign-in", **sent)
    assert answer.status_code == 503
    assert PASSPHRASE not in answer.text
    assert lee.soup.select_one("main a.button")["href"] == "/sign-in"


def test_what_a_script_saves_is_told_in_its_own_way(browser, settings, hurried):
    lee = browser("Lee")
    lee.get("/ask")
    with held(settings):
        answer = lee.post("/ask", text=WORDS, once="x", headers={"Accept": "application/json"})
    assert answer.status_code == 503
    assert answer.json["say"].startswith("What you sent was not saved.")


def test_with_the_clock_set_back_the_record_holds_and_goes_on(works):
    before, after = works.now, works.now - timedelta(days=2)
    for now, deed in ((before, "1"), (after, "2"), (before, "3")):
        with works.store.writing() as db:
            record.append(
                db, once=f"deed:{deed}", kind="lesson", person_number="00417",
                worksite="Joinery", happened_on=works.today, body={}, now=now,
            )  # fmt: skip
    with works.store.reading() as db:
        assert [one for one in record.verify(db) if one] == []
        assert [one.once for one in record.of_person(db, "00417")][-3:] == [
            "deed:1", "deed:2", "deed:3"
        ]  # fmt: skip
