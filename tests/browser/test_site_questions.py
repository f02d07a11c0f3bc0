"""Questions of a worksite's lesson made in a browser: one of each form, on a phone and wide."""

from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, Served, Window, phone
from trainer import bank
from trainer.services import site_questions
from trainer.store import people
from trainer.store.tables import SiteDraft, SiteLesson

HERE = "/sites/1/lessons/1/questions"


@pytest.fixture
def lesson(ready: Served) -> None:
    """Begin a lesson of the worksite in both languages."""
    now = datetime.now(UTC)
    with ready.store.writing() as db:
        odell = people.by_number(db, "2").id
        db.add(SiteLesson(worksite_id=1, begun_at=now, begun_by=odell))
        db.flush()
        for language, title, heading in (("en", "Our blast booth", "Before you blast"),
                                         ("es", "Nuestra cabina", "Antes de comenzar")):
            db.add(SiteDraft(lesson_id=1, language=language, title=title, saved_at=now,
                             text=f"## {heading} {{#before}}\n\nTernwing 4.", saved_by=odell))


def write(window: Window, form: str) -> None:
    """Write a question of a form, without marking what is right."""
    page = window.page
    page.select_option("#section", "before")
    page.select_option("#element", "(k)(1)(iv)")
    page.check("#must_know")
    page.fill("#source", "Rule of Blast Shed")
    for language, word in (("en", "Line"), ("es", "Línea")):
        page.fill(f"#ask-{language}", f"{word}: {form}?")
        for place in range(bank.OPTIONS[form][0]):
            for name in ("text", "why", "to") if form == "match" else ("text", "why"):
                page.fill(f"#option-{place}-{name}-{language}", f"{word} {place + 1} {name}")


@pytest.mark.parametrize("script", [True, False])
def test_one_of_each_form_from_nothing_to_ready(ready: Served, lesson: None, script: bool):
    odell = phone(ready, "2", script)
    odell.open(HERE)
    for form in bank.FORMS:
        odell.go(f"#add + ul a[href$='form={form}']")
        odell.look(form)
        write(odell, form)
        odell.go("main form .do .button")
        odell.look(f"{form} saved")
        faults = odell.page.locator(".faults a")
        if form in ("choice", "choices"):
            # The fault leads to the marks.
            expect(faults).to_have_count(1)
            faults.click()
            odell.page.check("#right-0")
            odell.go("main form .do .button")
        expect(faults).to_have_count(0)
        expect(odell.page.locator("#saved .marked")).to_have_count(2)
        odell.look(f"{form} ready")
        odell.go(".above a")
    expect(odell.page.locator("tbody .state.done")).to_have_count(4)
    odell.look("four")
    if script:
        odell.page.set_viewport_size(DESKTOP)
        odell.look("wide")
        odell.go("header form[action='/language'] button")
        odell.look("four")
        odell.go("tbody td a")
        fields = [odell.page.locator(f"#ask-{one}").bounding_box() for one in ("en", "es")]
        assert fields[0]["y"] == fields[1]["y"] and fields[0]["x"] < fields[1]["x"]
        expect(odell.page.locator("#asked")).to_have_text("Como la ve el trabajador")
        odell.look("ready")
    with ready.store.reading() as db:
        rows = site_questions.of_lesson(db, 1)
        made = [bank.question_of("site-1", site_questions.content(row)) for row in rows]
    assert [one.form for one in made] == list(bank.FORMS)
    assert {one.options[0].why("es") for one in made} == {"Línea 1 why"}
    assert all(one.must_know and one.section == "before" for one in made)
