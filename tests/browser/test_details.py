"""What a person would see only in a browser."""

from datetime import timedelta

from playwright.sync_api import expect
from sqlmodel import select

from tests.browser import job
from tests.browser.conftest import Served, Window, enrol
from tests.conftest import PIN
from trainer.store.tables import Entry, SignInTry


def shared_tablet(served: Served, ida: Window) -> Window:
    """Enrol a tablet for everyone."""
    ida.open("/codes")
    ida.go("form[action='/codes/tablet'] button")
    tablet = served.window()
    tablet.open("/enrol?shared=yes")
    tablet.page.fill("#code", ida.page.locator(".code").inner_text())
    tablet.go("main form button")
    return tablet


def sign_in(window: Window, pin: str) -> None:
    """Sign in with number and PIN."""
    window.page.goto(window.served.base + "/sign-in")
    window.page.fill("#number", job.WORKER)
    window.page.fill("#pin", pin)
    window.go("main form button")


def test_a_shared_tablet(served: Served):
    ida, _odell, code = job.set_up(served, script=True)
    enrol(served.window(), job.WORKER, code)
    tablet = shared_tablet(served, ida)

    # Next person: what the last one saw is gone, also by the back button.
    sign_in(tablet, PIN)
    assert tablet.page.url.endswith("/tag")
    tablet.go("header form[action='/sign-out'] button")
    tablet.page.go_back()
    assert "Imara Sollis" not in tablet.page.content()

    # An idle tablet warns, and stays signed in when somebody says so.
    sign_in(tablet, PIN)
    tablet.page.clock.install()
    tablet.page.reload()
    tablet.page.clock.run_for(95_000)
    expect(tablet.page.locator("#idle")).to_be_visible()
    tablet.look()
    with tablet.page.expect_response("**/still-here"):
        tablet.page.locator("[data-stay]").click()
    expect(tablet.page.locator("#idle")).to_be_hidden()
    tablet.page.clock.run_for(30_000)
    assert tablet.page.url.endswith("/tag")

    # Ten wrong PINs, with the waits between them over: then only a fresh code helps.
    tablet.go("header form[action='/sign-out'] button")
    for _ in range(10):
        sign_in(tablet, "141421")
        with served.store.writing() as db:
            for row in db.exec(select(SignInTry)):
                row.last_at -= timedelta(hours=2)
                db.add(row)
    sign_in(tablet, PIN)
    expect(tablet.page.locator(".faults")).to_contain_text("fresh one-time code")
    ida.open("/codes")
    ida.go("form[action='/codes/tablet'] button")
    tablet.open("/enrol?shared=yes")
    tablet.page.fill("#code", ida.page.locator(".code").inner_text())
    tablet.go("main form button")
    sign_in(tablet, PIN)
    assert tablet.page.url.endswith("/tag")


def test_answers_are_kept_as_they_are_given(served: Served):
    _ida, _odell, code = job.set_up(served, script=True)
    imara = served.window()
    enrol(imara, job.WORKER, code)
    job.read(imara, job.lessons.load().all[0].slug)
    number = job.begin(imara, job.lessons.load().all[0].slug)
    page = imara.page
    first = next(one for one in job.items(served, number) if one.question)
    imara.open(f"/sittings/{number}/{first.item.position}")

    # By keyboard alone: reach the answers, pick one; it is kept without being sent.
    page.locator("main input[name=answer]").first.focus()
    with page.expect_response(f"**/sittings/{number}/{first.item.position}"):
        page.keyboard.press("Space")
    expect(page.locator("#status")).to_contain_text("Saved at")
    page.reload()
    assert page.locator("main input[name=answer]:checked").count() == 1

    # A number that cannot be read gets a sentence, and stays in its box.
    typed = next(
        (
            one
            for one in job.items(served, number)
            if one.problem and one.problem.blank.kind == "number"
        ),
        None,
    )
    if typed:
        imara.open(f"/sittings/{number}/{typed.item.position}")
        page.fill("main input[name=answer]", "about ten")
        imara.go("main form .do button")
        expect(page.locator(".faults")).to_be_visible()
        assert page.locator("main input[name=answer]").input_value() == "about ten"

    # Handed in twice, as by a double click, it is one entry.
    for one in job.items(served, number):
        imara.open(f"/sittings/{number}/{one.item.position}")
        job.give(imara, one, job.right_answer(one))
    imara.open(f"/sittings/{number}/review")
    page.evaluate(
        """async address => {
            const form = new FormData(document.querySelector(`form[action='${address}']`));
            await Promise.all([1, 2].map(() => fetch(address, {method: 'POST', body: form})));
        }""",
        f"/sittings/{number}/close",
    )
    with served.store.reading() as db:
        assert len(list(db.exec(select(Entry).where(Entry.kind == "lesson")))) == 1
