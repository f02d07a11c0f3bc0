"""A refresher on a phone: offered on the tag, answered, explained; then what the trainer sees."""

from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import expect

from tests.browser import job
from tests.browser.conftest import WORKER, Served, Window, phone
from tests.conftest import HALF_MASK, right_answer, wrong_answer
from trainer import lessons
from trainer.services import joining, learning, observing, sitting
from trainer.services.scribe import Scribe
from trainer.store import people


def train(served: Served, days_ago: int) -> None:
    """Let the worker complete the training so many days ago."""
    then = datetime.now(UTC) - timedelta(days=days_ago)
    with served.store.writing() as db:
        worker, odell = people.by_number(db, WORKER), people.by_number(db, "2")
        worn = joining.give_respirator(db, Scribe(odell, then, job.ZONE), worker, **HALF_MASK)
        for lesson in lessons.load().all:
            for section in lesson.sections:
                learning.finish_section(db, worker, lesson, section.id, then)
            there = sitting.begin(db, worker, lesson, then)
            for one in sitting.shown(db, there):
                sitting.answer(db, there, one.item.position, right_answer(one), then)
            sitting.close(db, Scribe(worker, then, job.ZONE), there, "en", 80)
        practice = observing.begin(db, Scribe(odell, then, job.ZONE), worker, worn)
        acts = {act.slug: "unprompted" for act in observing.acts_for(worn)}
        observing.mark(db, Scribe(odell, then, job.ZONE), practice, acts)
        observing.sign(db, Scribe(odell, then, job.ZONE), practice)


def take(window: Window, served: Served, wrong: int) -> None:
    """Begin the refresher on the tag, answer it with so many wrong, and hand it in."""
    window.open("/tag")
    window.go(".refresher button")
    number = int(window.page.url.split("/sittings/")[1].split("/")[0])
    for place, one in enumerate(job.items(served, number)):
        job.give(window, one, (wrong_answer if place < wrong else right_answer)(one))
    window.go(f"form[action='/sittings/{number}/close'] button")


@pytest.mark.parametrize("script", [True, False])
def test_what_has_faded_is_shown_to_both_and_takes_nothing_away(ready: Served, script: bool):
    train(ready, 32)
    imara = phone(ready, WORKER, script)
    take(imara, ready, wrong=2)
    main = imara.page.locator("main")
    expect(main.locator(".verdict.no")).to_have_text("Some of it has faded")
    expect(main).to_contain_text("3 of 5 right.")
    assert main.locator(".go-list a[href^='/lessons/']").count() >= 1
    imara.look("faded")
    imara.open("/tag")
    assert imara.page.locator(".refresher").count() == 0

    odell = phone(ready, "2", script)
    odell.open("/today")
    odell.look("waiting")
    odell.go(".sections a[href$='#refreshers']")
    odell.look("faded")
    odell.go("#refreshers ~ ul a[href^='/assign']")
    picked = odell.page.locator("[name=lesson]:checked").count()
    assert picked >= 1
    assert odell.page.locator("#reason").input_value() == "knowledge-or-use"
    odell.go("main form button")
    odell.look("before")
    odell.go("main form button[value=give]")
    imara.open("/tag")
    assert imara.page.locator(".sections .when time").count() == picked


def test_at_six_months_the_trainer_watches_a_short_putting_on(ready: Served):
    train(ready, 190)
    imara = phone(ready, WORKER)
    imara.open("/tag")
    expect(imara.page.locator(".refresher")).to_contain_text("6 months since your training")
    odell = phone(ready, "2")
    odell.open("/today")
    odell.go(".sections a[href$='#refreshers']")
    odell.go("#refreshers ~ form button")
    marks = odell.page.locator("main input[value=unprompted]")
    assert marks.count() == 5
    odell.look("short")
    for at in range(5):
        with odell.page.expect_response("**/practice/*"):
            marks.nth(at).check()
    odell.go("button[name=act][value=sign]")
    seen = odell.page.locator("#refreshers ~ ul").first
    expect(seen).to_contain_text("Every act seen unprompted")
    assert "/people/" in odell.page.url
    odell.open("/today")
    assert odell.page.locator("a[href$='#refreshers']").count() == 0
