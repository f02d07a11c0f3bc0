"""The trainer's day and the grid in a browser, on a phone and wide, in both languages."""

from datetime import UTC, datetime

import pytest

from tests.browser.conftest import DESKTOP, FIRST_LESSON, WORKER, ZONE, Served, phone
from tests.conftest import wrong_answer
from trainer import lessons
from trainer.services import learning, sitting
from trainer.services.scribe import Scribe
from trainer.store import people


@pytest.mark.parametrize("script", [True, False])
def test_what_waits_leads_to_where_it_is_dealt_with(ready: Served, script: bool):
    with ready.store.writing() as db:
        worker, now = people.by_number(db, WORKER), datetime.now(UTC)
        lesson = lessons.load().get(FIRST_LESSON)
        for section in lesson.sections:
            learning.finish_section(db, worker, lesson, section.id, now)
        for _ in range(2):
            there = sitting.begin(db, worker, lesson, now)
            for one in sitting.shown(db, there):
                sitting.answer(db, there, one.item.position, wrong_answer(one), now)
            sitting.close(db, Scribe(worker, now, ZONE), there, "en", 80)
    odell = phone(ready, "2", script)
    odell.open("/")
    assert odell.page.url.endswith("/today")
    odell.look("waiting")
    odell.go(".sections a")
    odell.go("form[action$='/talk'] button")
    odell.open("/today")
    assert odell.page.locator(".sections").count() == 0
    odell.open("/grid")
    odell.look("grid")
    odell.go("thead a")
    if script:
        odell.page.set_viewport_size(DESKTOP)
        odell.go("header form[action='/language'] button")
        odell.open("/grid")
        odell.look("wide")
