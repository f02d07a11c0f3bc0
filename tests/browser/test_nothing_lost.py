"""Nothing that a person typed is lost or counted twice, whatever goes wrong on the way.

One installation serves all of it; the database is asked afterwards what it holds.
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import expect
from sqlalchemy import event
from sqlmodel import select

from tests.browser import job
from tests.browser.conftest import WORKER, Served, Window, fill, serving
from tests.conftest import HALF_MASK, PASSPHRASE, PIN, ZONE, right_answer
from trainer import bank, lessons
from trainer.services import asking, authoring, joining, learning, observing, signing_in, sitting
from trainer.services.scribe import Scribe
from trainer.store import engine, people, site_lessons
from trainer.store.tables import (
    Device,
    Entry,
    LessonAnswer,
    Practice,
    Sitting,
    SittingItem,
    TrainerAnswer,
    Unsent,
    WebSession,
    WorkerQuestion,
)
from trainer.web import access

KIM, RAVI = "00418", "2"
SLUG = "protection-factors"
LINES = 200
SECRET = "the-secret-of-the-tablet"
UNHINDERED = ("PRAGMA query_only=OFF", "PRAGMA max_page_count=4294967294")
SAID: list[str] = []
"""What the database says to itself before each transaction."""
OFFLINE = ("net::ERR_INTERNET_DISCONNECTED", "Failed to fetch")
"""What the browser and htmx note when the connection is down."""


@pytest.fixture(scope="module")
def works(chromium, tmp_path_factory: pytest.TempPathFactory, hashes: dict[str, str]):
    """Serve one installation for the module: two workers who read a lesson, and a trainer."""
    with serving(chromium, tmp_path_factory.mktemp("lost")) as served:
        fill(served, hashes)
        now = datetime.now(UTC)
        with served.store.writing() as db:
            place = people.worksite_named(db, "Laminating Loft")
            kim = joining.add_person(db, now, number=KIM, name="Kim Aro", roles=["worker"],
                                     worksites=[place.id])  # fmt: skip
            for number in (WORKER, KIM, RAVI):
                signing_in.set_passphrase(db, people.by_number(db, number), hashes["passphrase"])
            signing_in.set_pin(db, kim, hashes["pin"])
            db.add(Device(secret_hash=signing_in.secret_hash(SECRET), kind="shared",
                          worksite_id=place.id, enrolled_at=now))  # fmt: skip
        # When a connection is taken: as a transaction begins, the store's own hook comes first.
        event.listen(served.store._engine, "checkout", say)
        yield served


def say(connection: sqlite3.Connection, *_pool) -> None:
    """Let the database say to itself what is to be said before each transaction."""
    for pragma in SAID:
        connection.execute(pragma)


@pytest.fixture(autouse=True)
def _nothing_kept_for_the_next_test(works: Served):
    yield
    SAID[:] = UNHINDERED
    with works.store.writing() as db:
        for one in db.exec(select(Unsent)):
            db.delete(one)


def own(works: Served, number: str = WORKER, **more) -> Window:
    """Return a window in which a person has signed in, without its pages being looked at."""
    window = works.window(**more)
    asks = window.page.request
    page = asks.get(works.base + "/sign-in").text()
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)
    sent = {"csrf_token": token[1], "number": number, "passphrase": PASSPHRASE,
            "with": "passphrase", "next": "/worksheet"}  # fmt: skip
    assert asks.post(works.base + "/sign-in", form=sent).url.endswith("/worksheet")
    return window


def tablet(works: Served, number: str, **more) -> Window:
    """Return the shared tablet, with a person signed in."""
    window = works.window(**more)
    window.page.context.add_cookies([{"name": "device", "value": SECRET, "url": works.base}])
    window.page.goto(works.base + "/sign-in")
    sign_in(window, number)
    return window


def sign_in(window: Window, number: str) -> None:
    """Sign in on the tablet's page for it."""
    window.page.fill("#number", number)
    window.page.fill("#pin", PIN)
    with window.page.expect_event("load"):
        window.page.click("main form .do button")


def sign_in_here(window: Window, number: str) -> None:
    """Sign in on a device that is not enrolled, on its page for it."""
    window.page.fill("#number", number)
    window.page.fill("#passphrase", PASSPHRASE)
    with window.page.expect_event("load"):
        window.page.click("main form .do button")


def run_out(works: Served, number: str) -> None:
    """Let the sessions of a person lie idle for longer than any may."""
    with works.store.writing() as db:
        person = people.by_number(db, number)
        for row in db.exec(select(WebSession).where(WebSession.person_id == person.id)):
            row.seen_at -= timedelta(hours=1)
            db.add(row)


def begin(works: Served) -> tuple[int, list[sitting.Shown]]:
    """Begin a sitting of the worker, anew; return its number and what it asks."""
    with works.store.writing() as db:
        person = people.by_number(db, WORKER)
        for old in db.exec(select(Sitting).where(Sitting.closed_at.is_(None))):
            for item in db.exec(select(SittingItem).where(SittingItem.sitting_id == old.id)):
                db.delete(item)
            db.flush()
            db.delete(old)
        read = lessons.load().get(SLUG)
        for section in read.sections:
            learning.finish_section(db, person, read, section.id, datetime.now(UTC))
        there = sitting.begin(db, person, read, datetime.now(UTC))
        return there.id, sitting.shown(db, there)


def item(works: Served, number: int, position: int) -> SittingItem:
    """Return an item of a sitting as it is kept now."""
    with works.store.reading() as db:
        query = select(SittingItem).where(
            SittingItem.sitting_id == number, SittingItem.position == position
        )
        return db.exec(query).one()


def rows(works: Served, table) -> list:
    """Return all that a table holds."""
    with works.store.reading() as db:
        return list(db.exec(select(table)))


def a_number(drawn: list[sitting.Shown]) -> sitting.Shown:
    """Return a problem that takes a number."""
    return next(one for one in drawn if one.problem and one.problem.blank.kind == "number")


def a_choice(drawn: list[sitting.Shown]) -> sitting.Shown:
    """Return a question with one right option."""
    return next(one for one in drawn if one.question and one.question.form == "choice")


def a_problem(works: Served) -> tuple[str, int, str]:
    """Open a problem of a lesson to the worker: its exercise, its number, the address it is on."""
    section = next(one for one in lessons.load().get(SLUG).sections if one.exercises)
    exercise = bank.load().exercises[section.exercises[0]]
    with works.store.writing() as db:
        person = people.by_number(db, WORKER)
        learning.go_on(db, person, exercise, 0, datetime.now(UTC))
        ordinal = learning.drill(db, person, exercise, "en").ordinal
    return exercise.slug, ordinal, f"/lessons/{SLUG}/{section.id}"


@contextmanager
def foreseen(works: Served, *what: str) -> Iterator[None]:
    """Let the browser complain of something that the test does on purpose, and of nothing else."""
    yield
    works.faults[:] = [one for one in works.faults if not any(part in one for part in what)]


def status(window: Window):
    """Return the line that says what has just happened."""
    return window.page.locator("#status")


# --- A sign-in that runs out ---------------------------------------------------------------


def test_a_number_comes_back_after_signing_in_again_and_the_next_person_sees_none(works):
    number, drawn = begin(works)
    one = a_number(drawn)
    path = f"/sittings/{number}/{one.item.position}"
    window = tablet(works, WORKER)
    page = window.page
    page.goto(works.base + path)
    page.fill("#answer", one.problem.blank.typed)
    run_out(works, WORKER)
    with page.expect_event("load"):
        page.click("main form .do button")
    expect(status(window)).to_contain_text("Not saved yet: you were signed out")
    window.look("signed out in mid-answer")
    assert f'value="{one.problem.blank.typed}"' not in page.content()

    sign_in(window, KIM)
    assert page.url.endswith("/tag")
    assert "Imara" not in page.content() and "unsent" not in page.content()
    page.goto(works.base + path)
    assert f'value="{one.problem.blank.typed}"' not in page.content()
    with page.expect_event("load"):
        page.click("header form[action='/sign-out'] button")
    page.goto(works.base + "/sign-in")

    sign_in(window, WORKER)
    assert page.url.endswith(path)
    expect(page.locator("main .unsent")).to_contain_text("It does not count until you send it")
    expect(page.locator("#answer")).to_have_value(one.problem.blank.typed)
    window.look("typed before")
    assert item(works, number, one.item.position).answer is None
    with page.expect_event("load"):
        page.click("main form:not([action^='/unsent']) .do button")
    kept = item(works, number, one.item.position)
    assert (kept.answer, kept.savings) == (one.problem.blank.typed, 1)
    assert rows(works, Unsent) == []
    page.go_back()
    expect(page.locator("#answer")).to_have_value(one.problem.blank.typed)
    expect(page.locator("main .unsent")).to_have_count(0)


def test_without_script_and_in_spanish_a_question_comes_back(works):
    window = tablet(works, WORKER, language="es", script=False)
    page = window.page
    page.context.add_cookies([])
    page.goto(works.base + "/ask")
    with page.expect_event("load"):
        page.click("header form[action='/language'] button[value=es]")
    text = "¿Dónde se tiran los cartuchos usados?"
    page.fill("#ask-text", text)
    run_out(works, WORKER)
    with page.expect_event("load"):
        page.click("main form[action='/ask'] .do button")
    expect(status(window)).to_contain_text("Todavía no se guardó")
    sign_in(window, WORKER)
    expect(page.locator("main .unsent")).to_contain_text("No cuenta hasta que lo envíe")
    expect(page.locator("#ask-text")).to_have_value(text)
    # Pressed twice while the server is slow: one question.
    with works.store.writing():
        page.locator("main form[action='/ask'] .do button").dblclick(no_wait_after=True)
    page.wait_for_url("**/tag#asking")
    assert [one.text for one in rows(works, WorkerQuestion)] == [text]
    assert rows(works, Unsent) == []


def test_what_was_half_typed_when_the_page_signs_out_by_itself_comes_back(works):
    window = tablet(works, WORKER)
    page = window.page
    page.clock.install()
    page.goto(works.base + "/ask")
    text = "Half of a question to"
    page.locator("#ask-text").press_sequentially(text)
    page.clock.run_for(119_000)
    page.clock.run_for(2_000)
    page.wait_for_url("**/signed-out")
    assert text not in page.content()
    page.go_back()  # the page is fetched anew, and nobody is signed in
    expect(page.locator("#pin")).to_be_visible()
    assert text not in page.content() and "Imara" not in page.content()
    sign_in(window, WORKER)
    expect(page.locator("#ask-text")).to_have_value(text)
    with page.expect_event("load"):
        page.click("main .unsent button")
    expect(page.locator("#ask-text")).to_have_value("")
    assert rows(works, Unsent) == []


def test_a_trainers_answer_and_practice_come_back(works):
    with works.store.writing() as db:
        ravi, imara = people.by_number(db, RAVI), people.by_number(db, WORKER)
        asked = asking.ask(db, imara, "With a beard?", once="a" * 32, language="en",
                           now=datetime.now(UTC))  # fmt: skip
    window = own(works, RAVI)
    page = window.page
    page.goto(works.base + f"/questions/{asked.id}")
    page.fill("main textarea", "Not where the seal lies.")
    run_out(works, RAVI)
    with page.expect_event("load"):
        page.click("main form .do button")
    sign_in_here(window, RAVI)
    expect(page.locator("main textarea")).to_have_value("Not where the seal lies.")
    with page.expect_event("load"):
        page.locator("main form:not([action^='/unsent']) .do button").first.dblclick()
    assert [one.text for one in rows(works, TrainerAnswer)] == ["Not where the seal lies."]

    # A practice, marked while nobody was signed in any more, then signed with a double tap.
    with works.store.writing() as db:
        joining.give_respirator(db, Scribe(ravi, datetime.now(UTC), ZONE), imara, **HALF_MASK)
        worn = people.respirators(db, imara.id)[0]
        there = observing.begin(db, Scribe(ravi, datetime.now(UTC), ZONE), imara, worn)
        acts = observing.asked_of(db, there)
    page.goto(works.base + f"/practice/{there.id}")
    for act in acts[:-1]:
        with page.expect_response("**/practice/*"):
            page.check(f"main input[name=act-{act.slug}][value=unprompted]")
    run_out(works, RAVI)
    with page.expect_event("load"):
        page.check(f"main input[name=act-{acts[-1].slug}][value=unprompted]")
    sign_in_here(window, RAVI)
    expect(page.locator("main .unsent")).to_be_visible()
    expect(page.locator("main input[value=unprompted]:checked")).to_have_count(len(acts))
    with works.store.reading() as db:
        assert len(observing.seen(db, db.get(Practice, there.id))) == len(acts) - 1
    with page.expect_event("load"):
        page.locator("main button[value=sign]").dblclick()
    assert len([one for one in rows(works, Entry) if one.kind == "practice"]) == 1


# --- The record does not take it -----------------------------------------------------------


def from_now_on(pragma: str) -> None:
    """Let the database say this to itself before each transaction."""
    SAID[:] = [f"PRAGMA {pragma}"]


def test_a_disk_that_cannot_be_written_loses_no_answer(works):
    number, drawn = begin(works)
    one, pick = a_number(drawn), a_choice(drawn)
    window = own(works)
    page = window.page
    with foreseen(works, " answered 503", "status of 503"):
        page.goto(works.base + f"/sittings/{number}/{pick.item.position}")
        from_now_on("query_only=ON")
        page.locator(f"main input[name=answer][value='{right_answer(pick)[0]}']").check()
        expect(status(window)).to_contain_text("What you sent was not saved")
        expect(page.locator("main input[name=answer]:checked")).to_have_count(1)
        from_now_on("query_only=OFF")
        expect(status(window)).to_contain_text("Saved at")  # by itself
        assert item(works, number, pick.item.position).answered_at is not None
        path = f"/sittings/{number}/{one.item.position}"
        page.goto(works.base + path)
        page.fill("#answer", one.problem.blank.typed)
        from_now_on("query_only=ON")
        with page.expect_event("load"):
            page.click("main form .do button")
        # The very question, with what was typed.
        expect(page.locator("main")).to_contain_text("nothing can be written now")
        expect(page.locator("#answer")).to_have_value(one.problem.blank.typed)
        window.look("read-only")
        from_now_on("query_only=OFF")
        page.locator("main form .do button").dblclick()
        for _ in range(300):
            if item(works, number, one.item.position).answer:
                break
            page.wait_for_timeout(100)
    assert item(works, number, one.item.position).answer == one.problem.blank.typed


def test_a_full_disk_keeps_the_lesson_that_is_being_written(works):
    with works.store.writing() as db:
        by = Scribe(people.by_number(db, RAVI), datetime.now(UTC), ZONE)
        place = people.worksite_named(db, "Laminating Loft")
        lesson = authoring.begin(db, by, place, "en")
    window = own(works, RAVI)
    page = window.page
    page.goto(works.base + f"/sites/{place.id}/lessons/{lesson.id}/write/en")
    # Longer than whatever pages of the file may have come free.
    text = "## Why we wear it here {#why}\n" + ("The resin gives off styrene. " * 8 + "\n") * LINES
    vacuum(works)
    with foreseen(works, " answered 507", "status of 507"):
        from_now_on("max_page_count=1")  # which SQLite takes for the pages there are
        page.fill("#text", text)
        page.click("main form .do button")
        expect(page.locator("[data-writing-state]")).to_contain_text("no room left")
        expect(page.locator("#text")).to_have_value(text)
        from_now_on("max_page_count=4294967294")
        with page.expect_event("load"):
            page.click("main form .do button")
    with works.store.reading() as db:
        draft = site_lessons.drafts(db, lesson.id)["en"]
    assert draft.text.count("styrene") == 8 * LINES


def vacuum(works: Served) -> None:
    """Leave no page free in the file, so that whatever is longer finds no room in it."""
    other = sqlite3.connect(works.store.file, isolation_level=None, timeout=60)
    other.execute("VACUUM")
    assert other.execute("PRAGMA freelist_count").fetchone() == (0,)
    other.close()


def test_a_record_that_another_program_holds_is_waited_for_and_then_told(works, monkeypatch):
    name, ordinal, address = a_problem(works)
    window = own(works, language="es")
    page = window.page
    page.goto(works.base + address)
    other = sqlite3.connect(works.store.url.removeprefix("sqlite:///"), isolation_level=None)
    monkeypatch.setattr(engine, "WAIT_SECONDS", 0.5)  # of the 30 that it holds it, and of our 20
    with foreseen(works, " answered 503", "status of 503"):
        other.execute("BEGIN IMMEDIATE")
        page.locator(f"#{name} [name=answer]").fill("98765.3")
        page.locator(f"#{name} form .do button").first.click()
        expect(status(window)).to_contain_text("Wait a minute")
        expect(status(window)).to_be_in_viewport()
        expect(page.locator(f"#{name} [name=answer]")).to_have_value("98765.3")
        other.execute("ROLLBACK")
        other.close()
        expect(page.locator(f"#{name} .slip.wrong")).to_be_visible()
    tries = [one.typed for one in rows(works, LessonAnswer)
             if (one.exercise, one.ordinal, one.typed) == (name, ordinal, "98765.3")]  # fmt: skip
    assert tries == ["98765.3"]


def test_a_clock_that_is_set_back_takes_no_answer_away(works, monkeypatch):
    number, drawn = begin(works)
    one, pick = a_number(drawn), a_choice(drawn)
    window = own(works)
    page = window.page

    def set_back(by: timedelta) -> None:
        class Back(datetime):
            @classmethod
            def now(cls, zone=None):
                return datetime.now(zone) - by

        monkeypatch.setattr(access, "datetime", Back)

    # By a few minutes nobody notices.
    page.goto(works.base + f"/sittings/{number}/{pick.item.position}")
    set_back(timedelta(minutes=5))
    page.locator(f"main input[name=answer][value='{right_answer(pick)[0]}']").check()
    expect(status(window)).to_contain_text("Saved at")
    assert item(works, number, pick.item.position).answered_at is not None

    # By more, what was begun ahead of the clock is over, and what was typed comes back.
    page.goto(works.base + f"/sittings/{number}/{one.item.position}")
    set_back(timedelta(hours=2))
    page.fill("#answer", one.problem.blank.typed)
    with page.expect_event("load"):
        page.click("main form .do button")
    expect(status(window)).to_contain_text("Not saved yet: you were signed out")
    sign_in_here(window, WORKER)
    expect(page.locator("#answer")).to_have_value(one.problem.blank.typed)
    with page.expect_event("load"):
        page.click("main form:not([action^='/unsent']) .do button")
    page.go_back()
    expect(page.locator("#answer")).to_have_value(one.problem.blank.typed)
    kept = item(works, number, one.item.position)
    assert (kept.answer, kept.savings) == (one.problem.blank.typed, 1)


# --- A connection that drops ---------------------------------------------------------------


def test_with_the_connection_down_the_page_says_so_and_sends_once_when_it_is_back(works):
    number, drawn = begin(works)
    one, pick = a_number(drawn), a_choice(drawn)
    window = own(works)
    page, context = window.page, window.page.context
    with foreseen(works, *OFFLINE):
        # A choice, which is saved as it is given.
        page.goto(works.base + f"/sittings/{number}/{pick.item.position}")
        context.set_offline(True)
        page.locator(f"main input[name=answer][value='{right_answer(pick)[0]}']").check()
        expect(status(window)).to_contain_text("Not saved: the program cannot be reached")
        window.look("not saved")
        context.set_offline(False)
        expect(status(window)).to_contain_text("Saved at")
        assert item(works, number, pick.item.position).answered_at is not None
        # A number, which is sent by its button.
        path = f"/sittings/{number}/{one.item.position}"
        page.goto(works.base + path)
        context.set_offline(True)
        page.fill("#answer", one.problem.blank.typed)
        page.click("main form .do button")
        page.click("main form .do button")
        expect(status(window)).to_contain_text("Leave this page open")
        assert page.url.endswith(path)
        expect(page.locator("#answer")).to_have_value(one.problem.blank.typed)
        with page.expect_event("load"):
            context.set_offline(False)
        assert not page.url.endswith(path)
        kept = item(works, number, one.item.position)
        assert (kept.answer, kept.savings) == (one.problem.blank.typed, 1)


def test_a_problem_of_a_lesson_is_checked_once(works):
    name, ordinal, address = a_problem(works)
    window = own(works)
    page = window.page
    page.goto(works.base + address)
    button = page.locator(f"#{name} form .do button").first
    with foreseen(works, *OFFLINE):
        page.context.set_offline(True)
        page.locator(f"#{name} [name=answer]").fill("98765.4")
        button.click()
        expect(status(window)).to_contain_text("Not saved")
        expect(status(window)).to_be_in_viewport()
        expect(page.locator(f"#{name} [name=answer]")).to_have_value("98765.4")
        with page.expect_response("**/problem/**"):
            page.context.set_offline(False)
        expect(page.locator(f"#{name} .slip.wrong")).to_be_visible()
    # Pressed twice while the server is slow: one try more.
    page.locator(f"#{name} [name=answer]").fill("98765.5")
    with page.expect_response("**/problem/**"), works.store.writing():
        button.dblclick()
        page.wait_for_timeout(200)
    expect(page.locator(f"#{name} .slip.wrong")).to_be_visible()
    tries = [one.typed for one in rows(works, LessonAnswer)
             if (one.exercise, one.ordinal) == (name, ordinal) and one.typed]  # fmt: skip
    assert [one for one in tries if one != "98765.3"] == ["98765.4", "98765.5"]


def test_without_script_the_browser_brings_the_form_back_or_the_server_does(works):
    number, drawn = begin(works)
    one = a_number(drawn)
    path = f"/sittings/{number}/{one.item.position}"
    window = own(works, script=False)
    page = window.page
    page.goto(works.base + path)
    page.fill("#answer", one.problem.blank.typed)
    with foreseen(works, *OFFLINE):
        page.context.set_offline(True)
        page.locator("main form .do button").click(no_wait_after=True)
        page.wait_for_timeout(300)  # for the browser's own page
        page.context.set_offline(False)
        page.reload()  # which a browser asks about, and then sends the form again
    page.wait_for_url(lambda url: "/sittings/" in url)
    kept = item(works, number, one.item.position)
    assert (kept.answer, kept.savings) == (one.problem.blank.typed, 1)


# --- Twice, back, again --------------------------------------------------------------------


def test_a_reload_in_the_middle_keeps_what_was_typed(works):
    number, drawn = begin(works)
    one = a_number(drawn)
    path = f"/sittings/{number}/{one.item.position}"
    window = own(works)
    page = window.page
    page.goto(works.base + path)
    page.locator("#answer").press_sequentially("12.")
    with page.expect_event("load"):
        page.reload()
    expect(page.locator("#answer")).to_have_value("12.")
    # The answer to a form, loaded again: the form is sent again, and is still one answer.
    page.fill("#answer", "twelve")
    with page.expect_event("load"):
        page.click("main form:not([action^='/unsent']) .do button")
    expect(page.locator(".faults").first).to_be_visible()
    page.reload()
    expect(page.locator("#answer")).to_have_value("twelve")
    assert item(works, number, one.item.position).answer == "twelve"
    assert len(rows(works, Sitting)) == len({one.id for one in rows(works, Sitting)})


def test_what_was_typed_comes_back_though_keeping_it_had_to_wait(works):
    """The page that is loaded anew looks for it before it is there, and then once more."""
    number, drawn = begin(works)
    page = own(works).page
    page.goto(f"{works.base}/sittings/{number}/{a_number(drawn).item.position}")
    page.locator("#answer").press_sequentially("12.")
    with works.store.writing(), page.expect_response("**/unsent?page=*") as looked:
        page.reload()
    assert looked.value.status == 204
    expect(page.locator("#answer")).to_have_value("12.")


def test_whoever_goes_on_after_a_reload_is_not_brought_back(works):
    """What is kept late is shown with the next look at the page, and breaks off nothing now."""
    number, drawn = begin(works)
    path = f"/sittings/{number}/{a_number(drawn).item.position}"
    page = own(works).page
    page.goto(works.base + path)
    page.locator("#answer").press_sequentially("12.")
    with works.store.writing(), page.expect_response("**/unsent?page=*"):
        page.reload()
    page.keyboard.press("Tab")
    loaded = []
    page.on("load", lambda _: loaded.append(page.url))
    page.wait_for_timeout(2000)  # past the looks of 300 and of 1,300 milliseconds
    assert loaded == []
    page.reload()
    expect(page.locator("#answer")).to_have_value("12.")


@pytest.mark.parametrize("script", [True, False])
def test_two_tablets_close_one_sitting_once(works, script):
    number, drawn = begin(works)
    first, second = own(works, script=script), own(works, script=script)
    with works.store.writing() as db:
        there = db.get(Sitting, number)
        for one in drawn[1:]:
            sitting.answer(db, there, one.item.position, right_answer(one), datetime.now(UTC))
    before = [one for one in rows(works, Entry) if one.kind == "lesson"]
    path = f"{works.base}/sittings/{number}"
    for window in (first, second):
        window.page.goto(f"{path}/1")
    for window in (first, second):
        job.put(window, drawn[0], right_answer(drawn[0]))
        with window.page.expect_event("load"):
            window.page.click("main form .do button")
        window.page.goto(f"{path}/review")
    with works.store.writing():
        for window in (first, second):
            window.page.locator("main form[action$='/close'] button").click(no_wait_after=True)
    for window in (first, second):
        window.page.wait_for_url("**/result")
        window.page.go_back()
        window.page.wait_for_url("**/result")  # a closed sitting cannot be answered from behind
    entries = [one for one in rows(works, Entry) if one.kind == "lesson"]
    assert len(entries) == len(before) + 1
