"""The whole job at 375 px, in English and again in Spanish."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser import job
from tests.browser.conftest import DESKTOP, Served, Window, enrol
from tests.browser.taking_out import check_record
from tests.conftest import PIN, right_answer, wrong_answer

FIRST_REASON = "changed-workplace"

STAMPED = """async () => {
    const tag = document.querySelector(".tag.fresh");
    tag.classList.remove("fresh");
    tag.offsetWidth;
    tag.classList.add("fresh");
    const moving = tag.getAnimations({subtree: true});
    for (const one of moving) { one.pause(); one.currentTime = 0; }
    for (const _ of [1, 2]) await new Promise(requestAnimationFrame);
    return [moving.length, document.documentElement.scrollWidth - innerWidth];
}"""
"""What moves when the stamp comes down, and how far the page is then too wide."""

ELSEWHERE = (
    ("ida", "/board?state=new"),
    ("ida", "/worksites"),
    ("ida", "/worksites/1/change"),
    ("ida", f"/people/{job.WORKER}/change"),
    ("ida", f"/people/{job.WORKER}/appendix-d"),
    ("ida", "/no-such-page"),
    ("odell", "/people"),
    ("odell", "/assign"),
    ("imara", "/my-record"),
    ("imara", "/choose-pin"),
    ("imara", "/passphrase"),
    ("imara", "/still-there"),
)
"""Pages that the job itself passes by."""


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_whole_job_at_375_px(served: Served, language: str, tmp_path: Path):
    began = datetime.now(UTC)
    ida, odell, code = job.set_up(served, language)
    due = datetime.now(job.ZONE).date() + timedelta(days=10)
    job.assign(odell, job.FIRST, FIRST_REASON, due)
    imara = served.window(language)
    enrol(imara, job.WORKER, code)
    assert imara.page.locator("html").get_attribute("lang") == language
    expect(imara.page.locator(".verdict.no")).to_be_visible()
    expect(imara.page.locator(f".sections time[datetime='{due}']")).to_be_visible()

    fail_first(served, imara)
    job.work_a_problem(imara, served, "protection-factors", "inside", "inside-concentration")
    tablet = go_on_elsewhere(served, odell, imara, language)
    job.pass_others(served, language)
    job.read(tablet, job.LAST)
    assert job.hand_in(tablet, served, job.begin(tablet, job.LAST))

    clear(ida, odell, imara)
    check_record(served, ida, tmp_path / "record.csv", began, language, FIRST_REASON)
    windows = {"ida": ida, "odell": odell, "imara": imara}
    for whose, path in ELSEWHERE:
        windows[whose].open(path)
    ida.page.set_viewport_size(DESKTOP)
    ida.open("/board")
    ida.look("wide")


def test_the_whole_job_without_script(served: Served, tmp_path: Path):
    began = datetime.now(UTC)
    ida, odell, code = job.set_up(served, script=False)
    due = datetime.now(job.ZONE).date() + timedelta(days=10)
    job.assign(odell, job.FIRST, FIRST_REASON, due)
    imara = served.window(script=False)
    enrol(imara, job.WORKER, code)
    fail_first(served, imara)
    job.work_a_problem(imara, served, "protection-factors", "inside", "inside-concentration")
    job.read(imara, job.SECOND)
    assert job.hand_in(imara, served, job.begin(imara, job.SECOND))
    job.pass_others(served, "en")
    job.read(imara, job.LAST)
    assert job.hand_in(imara, served, job.begin(imara, job.LAST))
    clear(ida, odell, imara)
    check_record(served, ida, tmp_path / "record.csv", began, "en", FIRST_REASON)


def fail_first(served: Served, imara: Window) -> None:
    """Fail the first sitting on purpose, be told what to read again, then pass it."""
    job.read(imara, job.FIRST)
    failed = job.begin(imara, job.FIRST)
    assert not job.hand_in(imara, served, failed, answer=wrong_answer)
    assert imara.page.locator(f"main a[href^='/lessons/{job.FIRST}/']").count() >= 1
    imara.open(f"/lessons/{job.FIRST}")
    again = job.begin(imara, job.FIRST)
    assert again != failed
    assert job.hand_in(imara, served, again)


def go_on_elsewhere(served: Served, odell: Window, imara: Window, language: str) -> Window:
    """Change the language in the middle, stop, and go on at the same place on a shared tablet."""
    job.read(imara, job.SECOND)
    number = job.begin(imara, job.SECOND)
    drawn = job.items(served, number)
    change_language(imara, drawn[0], number, language)
    # The first problem after that: there are numbers in it to meet again.
    stop = next(one.item.position for one in drawn[1:] if one.problem)
    for one in drawn[1 : stop - 1]:
        job.give(imara, one, right_answer(one))
    assert imara.page.url.endswith(f"/sittings/{number}/{stop}")
    asked = imara.page.locator("main h1").inner_text()

    tablet = job.enrol_tablet(served, odell, language)
    job.sign_in(tablet, PIN)
    assert tablet.page.locator("html").get_attribute("lang") == language
    tablet.go(".tag a.go")
    assert tablet.page.url.endswith(f"/sittings/{number}/{stop}")
    assert tablet.page.locator("main h1").inner_text() == asked
    tablet.open(f"/sittings/{number}/1")
    assert sorted(job.put_down(tablet, drawn[0])) == sorted(right_answer(drawn[0]))
    assert job.hand_in(tablet, served, number)
    return tablet


def change_language(imara: Window, one, number: int, language: str) -> None:
    """Answer without sending, change the language there and back: place and answer stay."""
    page, answers = imara.page, right_answer(one)
    asked = page.locator("main h1").inner_text()
    for at in range(len(answers)):
        with page.expect_response(f"**/sittings/{number}/1"):
            job.put(imara, one, answers[at : at + 1])
            # A number is kept when its box is left.
            page.locator("main [name=answer]").first.blur()
    other = {"en": "es", "es": "en"}[language]
    for chosen, same in ((other, False), (language, True)):
        imara.go(f"button[name=language][value={chosen}]")
        assert page.url.endswith(f"/sittings/{number}/1")
        assert page.locator("html").get_attribute("lang") == chosen
        assert (page.locator("main h1").inner_text() == asked) is same
        assert sorted(job.put_down(imara, one)) == sorted(answers)
    imara.go("main form .do button")


def clear(ida: Window, odell: Window, imara: Window) -> None:
    """Watch practice, record medical clearance and fit test: only then is the tag clear."""
    job.watch_practice(odell)
    job.record_medical(ida)
    imara.open("/tag")
    expect(imara.page.locator(".verdict.no")).to_be_visible()
    job.record_fit_test(ida)
    imara.open("/tag")
    expect(imara.page.locator(".verdict.yes")).to_be_visible()
    imara.look("clear")
    if imara.script:
        assert imara.page.evaluate(STAMPED) == [2, 0], "the stamp makes the page scroll sideways"
    odell.open(f"/people/{job.WORKER}")
    odell.look("clear")
