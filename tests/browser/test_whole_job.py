"""The whole job at 375 px in each language, and once more without script."""

from pathlib import Path

import polars
import pytest
from playwright.sync_api import expect

from tests.browser import job
from tests.browser.conftest import Served, Window, enrol
from tests.conftest import PIN, wrong_answer
from trainer import lessons
from trainer.services import exporting

SLUGS = [lesson.slug for lesson in lessons.load().all]


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_whole_job_at_375_px(served: Served, language: str, tmp_path: Path):
    ida, odell, code = job.set_up(served, script=True)
    imara = served.window(language)
    enrol(imara, job.WORKER, code)
    if language == "es":
        imara.go("button[name=language][value=es]")
    assert imara.page.locator("html").get_attribute("lang") == language
    expect(imara.page.locator(".verdict.no")).to_be_visible()
    fail_first(served, imara)
    job.work_a_problem(imara, served, "protection-factors", "inside", "inside-concentration")
    tablet = go_on_elsewhere(served, ida, imara, language)
    for slug in SLUGS[2:]:
        job.read(tablet, slug)
        assert job.hand_in(tablet, served, job.begin(tablet, slug))
    finish(served, ida, odell, imara, tmp_path, language)


def test_the_whole_job_without_script(served: Served, tmp_path: Path):
    ida, odell, code = job.set_up(served, script=False)
    imara = served.window(script=False)
    enrol(imara, job.WORKER, code)
    fail_first(served, imara)
    job.work_a_problem(imara, served, "protection-factors", "inside", "inside-concentration")
    for slug in SLUGS[1:]:
        job.read(imara, slug)
        assert job.hand_in(imara, served, job.begin(imara, slug))
    finish(served, ida, odell, imara, tmp_path, "en")


def fail_first(served: Served, imara: Window) -> None:
    """Fail the first sitting on purpose, be told what to read again, then pass it."""
    job.read(imara, SLUGS[0])
    failed = job.begin(imara, SLUGS[0])
    assert not job.hand_in(imara, served, failed, answer=wrong_answer)
    assert imara.page.locator(f"main a[href^='/lessons/{SLUGS[0]}/']").count() >= 1
    imara.open(f"/lessons/{SLUGS[0]}")
    again = job.begin(imara, SLUGS[0])
    assert again != failed
    assert job.hand_in(imara, served, again)


def go_on_elsewhere(served: Served, ida: Window, imara: Window, language: str) -> Window:
    """Stop in the middle, change the language, and go on at the same place on a shared tablet."""
    slug = SLUGS[1]
    job.read(imara, slug)
    number = job.begin(imara, slug)
    drawn = job.items(served, number)
    for one in drawn[:4]:
        job.give(imara, one, job.right_answer(one))
    assert imara.page.url.endswith(f"/sittings/{number}/5")
    asked = imara.page.locator("main h1").inner_text()
    other = "en" if language == "es" else "es"
    imara.go(f"button[name=language][value={other}]")
    assert imara.page.url.endswith(f"/sittings/{number}/5")
    assert imara.page.locator("main h1").inner_text() != asked
    imara.go(f"button[name=language][value={language}]")
    assert imara.page.locator("main h1").inner_text() == asked
    ida.open("/codes")
    ida.go("form[action='/codes/tablet'] button")
    code = ida.page.locator(".code").inner_text()
    tablet = served.window(language)
    tablet.open("/enrol?shared=yes")
    tablet.page.fill("#code", code)
    tablet.go("main form button")
    tablet.page.fill("#number", job.WORKER)
    tablet.page.fill("#pin", PIN)
    tablet.go("main form button")
    if language == "es" and tablet.page.locator("html").get_attribute("lang") == "en":
        tablet.go("button[name=language][value=es]")
    tablet.go(".tag a.go")
    assert tablet.page.url.endswith(f"/sittings/{number}/5")
    assert tablet.page.locator("main h1").inner_text() == asked
    assert job.hand_in(tablet, served, number)
    return tablet


def finish(
    served: Served, ida: Window, odell: Window, imara: Window, tmp_path: Path, language: str
) -> None:
    """Assign, watch practice, record the fit test, see the tag clear, take the record out."""
    odell.open(f"/assign?person={job.WORKER}")
    odell.page.check(f"[name=lesson][value={SLUGS[0]}]")
    odell.page.select_option("#reason", "yearly")
    odell.go("main form button")
    job.watch_practice(odell)
    job.record_fit_test(ida)
    imara.open("/tag")
    expect(imara.page.locator(".verdict.yes")).to_be_visible()
    imara.open("/my-record")
    ida.open("/export")
    with ida.page.expect_download() as waiting:
        ida.page.locator("main form button").click()
    path = tmp_path / "record.csv"
    waiting.value.save_as(path)
    table = polars.read_csv(path, infer_schema=False)
    assert table.columns == list(exporting.COLUMNS)
    assert table["lesson"].to_list() == [*SLUGS, "practice", "training as a whole"]
    assert set(table["worker number"]) == {job.WORKER}
    assert table["sittings taken"].to_list()[:2] == ["2", "1"]
    assert table["language"].to_list()[0] == language
    assert table["practice watched by"].to_list()[3] == "Ravi Odell"
    assert table["trainer qualification"].to_list()[4] == "Industrial hygienist"
    ida.open("/board")
    ida.open("/worksites")
