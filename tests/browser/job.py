"""The main job as people do it in a browser, in either language, with or without script."""

import re
from datetime import UTC, date, datetime

from playwright.sync_api import expect

from tests.browser.conftest import (
    WORKER,
    WORKSITE,
    ZONE,
    Served,
    Window,
    enrol,
    first_coordinator,
)
from tests.conftest import right_answer
from trainer import bank, lessons
from trainer.services import learning, sitting
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.tables import Sitting

FIRST, SECOND, LAST = "why-respirators", "filter-ratings", "protection-factors"
"""The lessons that people read and close in the browser; the others pass as on another day."""

OTHERS = [
    lesson.slug for lesson in lessons.load().all if lesson.slug not in (FIRST, SECOND, LAST)
]
DONE = [FIRST, SECOND, *OTHERS, LAST]
"""All lessons in the order in which they are passed."""

FIELDS = {
    "make": "Invented Aldermoor",
    "model": "Half 2",
    "style": "elastomeric",
    "size": "M",
    "filters": "organic vapor",
}


def set_up(
    served: Served, language: str = "en", script: bool = True
) -> tuple[Window, Window, str]:
    """Let the coordinator add worksite, trainer and worker; return both windows and a code."""
    ida = served.window(language, script=script)
    enrol(ida, "1", first_coordinator(served.store, language))
    ida.open("/worksites/new")
    for name, value in (
        ("name", WORKSITE),
        ("time_zone", ZONE.key),
        ("ask_name", "R. Odell"),
        ("ask_telephone", "555 0142"),
    ):
        ida.page.fill(f"#{name}", value)
    ida.go("main form button")
    add_person(ida, "2", "Ravi Odell", "trainer", language, "Industrial hygienist")
    add_person(ida, WORKER, "Imara Sollis", "worker", language, "")
    ida.open(f"/people/{WORKER}/respirators")
    ida.page.select_option("#class_slug", "apr-half")
    for name, value in FIELDS.items():
        ida.page.fill(f"#{name}", value)
    ida.go("main form[novalidate] button")
    odell = served.window(language, script=script)
    ida.open("/people/2")
    enrol(odell, "2", show_code(ida, "2"))
    odell.open(f"/people/{WORKER}")
    return ida, odell, show_code(odell, WORKER)


def add_person(
    window: Window, number: str, name: str, role: str, language: str, qualification: str
) -> None:
    """Add a person at the first worksite."""
    window.open("/people/new")
    window.page.fill("#number", number)
    window.page.fill("#name", name)
    window.page.select_option("#language", language)
    window.page.check(f"[name=roles][value={role}]")
    window.page.check("[name=worksites][value='1']")
    window.page.fill("#qualification", qualification)
    window.go("main form button")


def show_code(window: Window, number: str) -> str:
    """Press for a one-time code on a person's page and return it."""
    window.go(f"form[action='/people/{number}/code'] button")
    assert window.page.locator(".qr svg").count() == 1
    return window.page.locator(".code").inner_text()


def read(window: Window, slug: str) -> None:
    """Read every section of a lesson to its end."""
    window.open(f"/lessons/{slug}/{lessons.load().get(slug).sections[0].id}")
    for _ in lessons.load().get(slug).sections:
        window.go(".onward button")
    assert f"/lessons/{slug}#sitting" in window.page.url


def begin(window: Window, slug: str) -> int:
    """Begin the closing sitting, and return its number."""
    window.go(f"form[action='/lessons/{slug}/sitting'] button")
    return int(re.search(r"/sittings/(\d+)/", window.page.url).group(1))


def items(served: Served, number: int) -> list[sitting.Shown]:
    """Return what a sitting asks, to know the right answers."""
    with served.store.reading() as db:
        return sitting.shown(db, db.get(Sitting, number))


def put(window: Window, one: sitting.Shown, answers: list[str]) -> None:
    """Answer the item that is shown, without sending it."""
    for answer in answers:
        if one.question and one.question.in_rows:
            window.page.select_option(f"#answer-{answer.split(':')[0]}", answer)
        elif one.question or one.problem.blank.kind == "pick":
            window.page.check(f"main input[name=answer][value='{answer}']")
        else:
            window.page.fill("main input[name=answer]", answer)


def put_down(window: Window, one: sitting.Shown) -> list[str]:
    """Return what the item that is shown holds as its answer."""
    if one.question and one.question.in_rows:
        lines = window.page.locator("main select[name=answer]")
        return sorted(line.input_value() for line in lines.all() if line.input_value())
    if one.question or one.problem.blank.kind == "pick":
        picked = window.page.locator("main input[name=answer]:checked")
        return [box.get_attribute("value") for box in picked.all()]
    return [window.page.locator("main input[name=answer]").input_value()]


def give(window: Window, one: sitting.Shown, answers: list[str]) -> None:
    """Answer the item that is shown and send it."""
    put(window, one, answers)
    window.go("main form .do button")


def hand_in(window: Window, served: Served, number: int, answer=right_answer) -> bool:
    """Answer what is open, one after the other, look over, hand in; say whether it passed."""
    drawn = items(served, number)
    for one in [one for one in drawn if not one.answered]:
        if not window.page.url.endswith(f"/sittings/{number}/{one.item.position}"):
            window.open(f"/sittings/{number}/{one.item.position}")
        give(window, one, answer(one))
    assert window.page.url.endswith(f"/sittings/{number}/review")
    window.go(f"form[action='/sittings/{number}/close'] button")
    assert window.page.locator(".marked > li").count() == len(drawn)
    passed = window.page.locator(".verdict.yes").count() == 1
    window.look("passed" if passed else "failed")
    return passed


def pass_others(served: Served, language: str) -> None:
    """Let the worker pass the lessons that nobody watches, as they would on the pages."""
    with served.store.writing() as db:
        worker = people.by_number(db, WORKER)
        for slug in OTHERS:
            lesson, now = lessons.load().get(slug), datetime.now(UTC)
            for section in lesson.sections:
                learning.finish_section(db, worker, lesson, section.id, now)
            there = sitting.begin(db, worker, lesson, now)
            for one in sitting.shown(db, there):
                sitting.answer(db, there, one.item.position, right_answer(one), now)
            sitting.close(db, Scribe(worker, datetime.now(UTC), ZONE), there, language, 80)


def work_a_problem(window: Window, served: Served, slug: str, section: str, name: str) -> None:
    """Work the first problem of a lesson: wrong first, which is named, then right."""
    window.open(f"/lessons/{slug}/{section}")
    panel = window.page.locator(f"#{name}")
    act(window, panel)
    with served.store.reading() as db:
        worker = people.by_number(db, WORKER)
        state = learning.drill(db, worker, bank.load().exercises[name], "en")
    blank = state.problem.steps[state.step].blank
    slip = next(slip for slip in blank.slips if not isinstance(slip.value, str))
    panel.locator("[name=answer]").fill(str(slip.value))
    act(window, panel)
    told = window.page.locator(f"#{name} .slip.wrong")
    expect(told).to_contain_text(slip.say(window.page.locator("html").get_attribute("lang")))
    expect(told.locator(".alike")).to_be_visible()
    expect(told.locator(".worked .sum").first).to_be_visible()
    window.look("after a slip")
    window.page.locator(f"#{name} [name=answer]").fill(blank.typed)
    act(window, window.page.locator(f"#{name}"))
    expect(window.page.locator(f"#{name} .slip.right")).to_be_visible()


def act(window: Window, panel) -> None:
    """Press the panel's button, and wait for what the server says."""
    button = panel.locator("form .do button").first
    if window.script:
        with window.page.expect_response(lambda answer: "/problem/" in answer.url):
            button.click()
    else:
        with window.page.expect_event("load"):
            button.click()


def assign(window: Window, slug: str, reason: str, due: date) -> None:
    """Assign one lesson to the worker."""
    window.open(f"/assign?person={WORKER}")
    window.page.check(f"[name=lesson][value={slug}]")
    window.page.select_option("#reason", reason)
    window.page.fill("#due", due.isoformat())
    window.go("main form button")
    window.look("before")
    window.go("main form button[value=give]")


def watch_practice(window: Window) -> None:
    """Watch the practice act by act, all unprompted, and sign it."""
    window.open(f"/people/{WORKER}")
    window.go(f"form[action='/people/{WORKER}/practice'] button")
    marks = window.page.locator("main input[value=unprompted]")
    assert marks.count() == 7
    for at in range(7):
        if window.script:
            # Kept as it is given: a trainer's phone may go dark between two acts.
            with window.page.expect_response("**/practice/*"):
                marks.nth(at).check()
        else:
            marks.nth(at).check()
    if window.script:
        window.page.reload()
        # The page may be fetched once more by itself, with what came late.
        expect(window.page.locator("main input[value=unprompted]:checked")).to_have_count(7)
    window.go("button[name=act][value=sign]")


def record_medical(window: Window) -> None:
    """Record that the worker is cleared."""
    window.open(f"/people/{WORKER}/medical")
    window.page.check("[name=outcome][value=cleared]")
    window.go("main form button")


def record_fit_test(window: Window) -> None:
    """Record a passed quantitative fit test."""
    window.open(f"/people/{WORKER}/fit-test")
    window.page.select_option("#protocol", "ambient-aerosol")
    window.page.fill("#fit_factor", "180")
    window.page.fill("#recording", "shelf 3, file 12")
    window.go("main form button")


def enrol_tablet(served: Served, trainer: Window, language: str = "en") -> Window:
    """Enrol a tablet for everyone with a code that the trainer shows."""
    tablet = served.window(language, script=trainer.script)
    unlock_tablet(trainer, tablet)
    return tablet


def unlock_tablet(trainer: Window, tablet: Window) -> None:
    """Use a fresh code on a tablet."""
    trainer.open("/codes")
    trainer.go("form[action='/codes/tablet'] button")
    tablet.open("/enrol?shared=yes")
    tablet.page.fill("#code", trainer.page.locator(".code").inner_text())
    tablet.go("main form button")


def sign_in(window: Window, pin: str) -> None:
    """Sign the worker in with number and PIN."""
    window.open("/sign-in")
    window.page.fill("#number", WORKER)
    window.page.fill("#pin", pin)
    window.go("main form button")
