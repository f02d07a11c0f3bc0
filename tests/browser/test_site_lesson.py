"""From a worksite with nothing on it to a worker who passes its own lesson with its numbers."""

from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect

from tests.browser import job
from tests.browser.conftest import WORKER, WORKSITE, Served, Window, phone
from tests.conftest import HALF_MASK
from trainer.services import curriculum, joining, learning
from trainer.services.scribe import Scribe
from trainer.store import people, record

SLUG = "site-1"
EXERCISE = "inside-concentration"
TEXTS = {
    "en": ("Rolling at the Loft", "You can say what is in the air here.", """## Why {#why}
[[site hazards]]

!!! must "Must know"
    No mask, no rolling.

## What is inside {#inside}
[[site respirators]]

[[exercise inside-concentration]]

## The way out {#emergency}
[[site emergency]]
"""),
    "es": ("Aplicar con rodillo", "Usted puede decir qué hay en el aire aquí.", """## Por qué {#why}
[[site hazards]]

!!! must "Debe saber"
    Sin careta no se aplica.

## Qué hay adentro {#inside}
[[site respirators]]

[[exercise inside-concentration]]

## La salida {#emergency}
[[site emergency]]
"""),
}


def describe(odell: Window) -> None:
    """Describe the worksite from nothing: its task, its air, what is worn, the way out."""
    page = odell.page
    odell.open("/sites/1")
    page.fill("#name", "Rolling gel coat")
    odell.go("form:has(#name) button")
    odell.go("a[href$='/hazard']")
    page.select_option("#substance", "styrene")
    odell.go("main form .button")
    odell.go("a[href$='/sample']")
    page.fill("#hours", "8")
    page.fill("#concentration", "260")
    odell.go("main form .button")
    odell.go("a[href$='/respirator']")
    page.select_option("#class_slug", "apr-half")
    page.fill("#cartridge", "organic vapor")
    page.check("#serves")
    page.fill("#cartridge_limit", "1000")
    page.check("#eye_protection")
    page.fill("#schedule_hours", "6")
    page.fill("#schedule_basis", "tests of this year")
    odell.go("main form .button")
    page.fill("#emergency", "Leave by the west door\nMeet at the gate")
    odell.go("form:has(#emergency) button")


def write(odell: Window) -> None:
    """Write the lesson in both languages, with three questions."""
    page = odell.page
    odell.open("/sites/1/lessons")
    odell.go("button[name=language][value=en]")
    for language, (title, summary, text) in TEXTS.items():
        if language != "en":
            odell.open("/sites/1/lessons/1")
            odell.go("form:has([name=language][value=es]) .button.plain")
        page.fill("#title", title)
        page.fill("#summary", summary)
        page.fill("#text", text)
        odell.go("form[data-writing] .button")
    for nth in range(3):
        odell.open("/sites/1/lessons/1/questions/new?form=choice")
        page.select_option("#section", "why")
        page.select_option("#element", "(c)(1)(vii)")
        page.fill("#source", "Rule of the Laminating Loft")
        if nth == 0:
            page.check("#must_know")
        for language, asks in (("en", "What holds, case"), ("es", "Qué vale, caso")):
            page.fill(f"#ask-{language}", f"{asks} {nth}?")
            for place in range(3):
                page.fill(f"#option-{place}-text-{language}", f"{asks} {nth}, {place}")
                page.fill(f"#option-{place}-why-{language}", f"{asks} {nth}: {place}.")
        page.check("#right-1")
        odell.go("main form .do .button")
        expect(page.locator(".faults a")).to_have_count(0)


@pytest.mark.parametrize(("script", "language"), [(True, "en"), (True, "es"), (False, "en")])
def test_from_an_empty_worksite_to_a_worker_who_passes_its_lesson(
    ready: Served, script: bool, language: str
):
    odell = phone(ready, "2", script)
    describe(odell)
    write(odell)
    odell.open("/sites/1/lessons/1")
    expect(odell.page.locator(".flaws .no")).to_have_count(0)
    odell.go("form[action$='/publish'] button")
    odell.look("published")
    with ready.store.writing() as db:
        by = Scribe(people.by_number(db, "2"), datetime.now(UTC), job.ZONE)
        joining.give_respirator(db, by, people.by_number(db, WORKER), **HALF_MASK)

    imara = phone(ready, WORKER, script)
    if language == "es":
        imara.go("header button[name=language][value=es]")
    title = TEXTS[language][0]
    imara.open("/tag")
    expect(imara.page.locator(f".sections a[href='/lessons/{SLUG}']")).to_contain_text(title)
    imara.open(f"/lessons/{SLUG}")
    imara.open(f"/lessons/{SLUG}/why")
    expect(imara.page.locator("table").first).to_contain_text("260 ppm")
    imara.go(".onward button")
    panel = imara.page.locator(f"#{EXERCISE}")
    # The worked example has other numbers; the problem after it has those of this worksite.
    job.act(imara, panel)
    expect(panel).to_contain_text("260 ppm")
    expect(panel).to_contain_text(WORKSITE)
    with ready.store.reading() as db:
        worker = people.by_number(db, WORKER)
        found = curriculum.find_for(db, worker, SLUG)
        exercise = curriculum.exercise_of(found, EXERCISE)
        state = learning.drill(db, worker, exercise, language)
    panel.locator("[name=answer]").fill(state.problem.steps[state.step].blank.typed)
    job.act(imara, panel)
    expect(imara.page.locator(f"#{EXERCISE} .slip.right")).to_be_visible()
    imara.look("worked")
    imara.go(".onward button")
    expect(imara.page.locator("ol li").first).to_contain_text("Leave by the west door")
    imara.go(".onward button")
    number = job.begin(imara, SLUG)
    problems = [one for one in job.items(ready, number) if one.problem]
    assert any("260" in one.problem.text(language) and WORKSITE in one.problem.text(language)
               for one in problems)
    assert job.hand_in(imara, ready, number)
    with ready.store.reading() as db:
        said = record.body(record.of_person(db, WORKER, ("lesson",))[-1])
    assert (said["lesson"], said["title"], said["language"]) == (SLUG, title, language)
    assert said["worksite_part"] == {"worksite": WORKSITE, "version": 1}
    imara.open("/my-record")
    expect(imara.page.locator("main")).to_contain_text(title)


def test_a_worker_who_reads_the_other_language_is_told_and_offered_it(ready: Served):
    odell = phone(ready, "2")
    describe(odell)
    write(odell)
    page = odell.page
    odell.open("/sites/1/lessons/1/write/es")
    page.fill("#text", "")
    odell.go("form[data-writing] .button")
    odell.open("/sites/1/lessons/1")
    odell.go("form[action$='/publish'] button")
    imara = phone(ready, WORKER)
    imara.go("header button[name=language][value=es]")
    imara.open(f"/lessons/{SLUG}/why")
    expect(imara.page.locator("main")).not_to_contain_text("No mask, no rolling.")
    expect(imara.page.locator("main .lead")).to_contain_text("solo en inglés")
    imara.look("other")
    imara.go("main button[name=language][value=en]")
    expect(imara.page.locator("main")).to_contain_text("No mask, no rolling.")
    assert imara.page.locator("html").get_attribute("lang") == "en"
