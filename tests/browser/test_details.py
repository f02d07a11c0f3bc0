"""What a person would see only in a browser."""

from datetime import UTC, datetime, timedelta

from playwright.sync_api import expect
from sqlmodel import select

from tests.browser import job
from tests.browser.conftest import DESKTOP, FIRST_LESSON, WORKER, Served, Window, phone
from tests.conftest import PIN, right_answer
from trainer import lessons
from trainer.services import learning
from trainer.store import people
from trainer.store.tables import Entry, SignInTry

SLUG = FIRST_LESSON


def test_the_next_person_finds_nothing_of_the_last(ready: Served):
    tablet = job.enrol_tablet(ready, phone(ready, "2"))
    job.sign_in(tablet, PIN)
    assert tablet.page.url.endswith("/tag")
    expect(tablet.page.locator(".tag h1")).to_have_text("Imara Sollis")
    tablet.go("header form[action='/sign-out'] button")
    assert tablet.page.url.endswith("/signed-out")
    tablet.page.go_back()
    expect(tablet.page.locator("#pin")).to_be_visible()
    assert "Imara Sollis" not in tablet.page.content()


def test_an_idle_tablet_warns_and_then_signs_out(ready: Served):
    tablet = job.enrol_tablet(ready, phone(ready, "2"))
    job.sign_in(tablet, PIN)
    page = tablet.page
    page.clock.install()
    page.reload()
    page.clock.run_for(80_000)
    expect(page.locator("#idle")).to_be_hidden()
    page.clock.run_for(15_000)
    expect(page.locator("#idle")).to_be_visible()
    tablet.look("idle")
    with page.expect_response("**/still-here"):
        page.locator("[data-stay]").click()
    expect(page.locator("#idle")).to_be_hidden()
    page.clock.run_for(80_000)
    expect(page.locator("#idle")).to_be_hidden()
    assert page.url.endswith("/tag")
    # Nobody answers this time. The last seconds pass by themselves: a leap over the end would
    # leave the server no time to answer the signing out.
    page.clock.run_for(38_000)
    page.wait_for_url("**/signed-out")
    page.goto(ready.base + "/tag")
    expect(page.locator("#pin")).to_be_visible()


def test_ten_wrong_pins_lock_a_tablet_until_a_fresh_code(ready: Served):
    odell = phone(ready, "2")
    tablet = job.enrol_tablet(ready, odell)
    for _ in range(10):
        job.sign_in(tablet, "141421")
        expect(tablet.page.locator(".faults")).to_contain_text("do not go together")
        let_waits_pass(ready)
    job.sign_in(tablet, PIN)
    expect(tablet.page.locator(".faults")).to_contain_text("fresh one-time code")
    tablet.look("locked")
    job.unlock_tablet(odell, tablet)
    job.sign_in(tablet, PIN)
    assert tablet.page.url.endswith("/tag")


def let_waits_pass(served: Served) -> None:
    """Put the tries two hours back, longer than the longest wait."""
    with served.store.writing() as db:
        for row in db.exec(select(SignInTry)):
            row.last_at -= timedelta(hours=2)
            db.add(row)


def test_answers_are_kept_as_they_are_given(ready: Served):
    imara = phone(ready, WORKER)
    page = imara.page
    imara.open(f"/lessons/{SLUG}")
    number = job.begin(imara, SLUG)
    drawn = job.items(ready, number)
    first = next(one for one in drawn if one.question and not one.question.in_rows)
    address = f"/sittings/{number}/{first.item.position}"
    imara.open(address)
    with page.expect_response(f"**{address}"):
        page.locator("main input[name=answer]").nth(1).check()
    expect(page.locator("#status")).to_contain_text("Saved at")
    page.reload()
    expect(page.locator("main input[name=answer]").nth(1)).to_be_checked()
    assert len(job.put_down(imara, first)) == 1

    # Handed in twice at once, as by a double click, it is one entry.
    for one in drawn:
        imara.open(f"/sittings/{number}/{one.item.position}")
        for box in page.locator("main input[type=checkbox]:checked").all():
            box.uncheck()
        job.give(imara, one, right_answer(one))
    imara.open(f"/sittings/{number}/review")
    statuses = page.evaluate(
        """async address => {
            const form = new FormData(document.querySelector(`form[action='${address}']`));
            const sent = [1, 2].map(() => fetch(address, {method: 'POST', body: form}));
            return (await Promise.all(sent)).map(answer => answer.status);
        }""",
        f"/sittings/{number}/close",
    )
    assert statuses == [200, 200]
    with ready.store.reading() as db:
        assert len(list(db.exec(select(Entry).where(Entry.kind == "lesson")))) == 1


def test_a_number_that_cannot_be_read_stays_in_its_box(ready: Served):
    imara = phone(ready, WORKER)
    read_to_the_end(ready, "protection-factors")
    imara.open("/lessons/protection-factors")
    number = job.begin(imara, "protection-factors")
    problems = [one for one in job.items(ready, number) if one.problem]
    typed = next(one for one in problems if one.problem.blank.kind == "number")
    imara.open(f"/sittings/{number}/{typed.item.position}")
    imara.page.fill("main input[name=answer]", "about ten")
    imara.go("main form .do button")
    expect(imara.page.locator(".faults")).to_be_visible()
    imara.look("unreadable")
    assert job.put_down(imara, typed) == ["about ten"]


def test_a_slow_press_is_not_lost(ready: Served):
    imara = phone(ready, WORKER)
    page = imara.page
    # Where the page does not scroll, nothing makes up for a line that comes in above.
    page.set_viewport_size(DESKTOP)
    read_to_the_end(ready, "protection-factors")
    imara.open("/lessons/protection-factors")
    number = job.begin(imara, "protection-factors")
    problems = [one for one in job.items(ready, number) if one.problem]
    typed = next(one for one in problems if one.problem.blank.kind == "number")
    imara.open(f"/sittings/{number}/{typed.item.position}")
    page.fill("main input[name=answer]", "2.5")
    button = page.locator("main form .do button")
    button.hover()
    # Pressing takes the focus from the box, and the number is kept before the finger is lifted.
    page.mouse.down()
    expect(page.locator("#status")).to_contain_text("Saved at")
    with page.expect_event("load"):
        page.mouse.up()
    assert not page.url.endswith(f"/{typed.item.position}")


def read_to_the_end(served: Served, slug: str) -> None:
    """Keep that the worker read a whole lesson."""
    lesson = lessons.load().get(slug)
    with served.store.writing() as db:
        person = people.by_number(db, WORKER)
        for section in lesson.sections:
            learning.finish_section(db, person, lesson, section.id, datetime.now(UTC))


def test_by_keyboard_alone(ready: Served):
    imara = phone(ready, WORKER)
    page = imara.page
    tab_to(imara, "header form[action='/sign-out'] button")
    press(imara, "Enter")
    tab_to(imara, "main a[href='/sign-in']")
    press(imara, "Enter")
    # Its own phone knows the number already.
    assert page.locator("#number").input_value() == WORKER
    tab_to(imara, "#pin")
    page.keyboard.type(PIN)
    press(imara, "Enter")
    assert page.url.endswith("/tag")
    tab_to(imara, ".tag a.go")
    press(imara, "Enter")
    tab_to(imara, f"form[action='/lessons/{SLUG}/sitting'] button")
    press(imara, "Enter")
    assert page.url.endswith("/1")
    tab_to(imara, "main [name=answer]")
    kind = page.evaluate("document.activeElement.type")
    if kind in ("radio", "checkbox"):
        page.keyboard.press("Space")
    elif kind == "select-one":
        page.keyboard.press("ArrowDown")
    else:
        page.keyboard.type("2.5")
    tab_to(imara, "main form .do button")
    press(imara, "Enter")
    assert page.url.endswith("/2")


def tab_to(window: Window, selector: str) -> None:
    """Press Tab until something has the focus."""
    for _ in range(60):
        window.page.keyboard.press("Tab")
        if window.page.evaluate("given => document.activeElement.matches(given)", selector):
            return
    raise AssertionError(f"{window.page.url}: Tab never comes to {selector}")


def press(window: Window, key: str) -> None:
    """Press a key that leads to another page."""
    with window.page.expect_event("load"):
        window.page.keyboard.press(key)
    window.look()
