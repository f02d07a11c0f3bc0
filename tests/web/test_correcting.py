"""Correcting an entry on the pages: the form, what follows, the deed, and what is seen since."""

import re
from datetime import timedelta

import pytest

from tests.conftest import Browser
from tests.services.test_correcting import correct as struck_by_service
from tests.services.test_correcting import newest
from tests.services.test_recording import fit_test, medical
from tests.services.test_together import made_ready, train
from trainer.services import recording
from trainer.store import record


def page(number: int, person: str = "00417") -> str:
    """Return the address of the page that corrects an entry."""
    return f"/people/{person}/entries/{number}/correct"


def sent(browser: Browser, form: str) -> dict[str, str]:
    """Return what a form of the page holds, as a browser would send it."""
    found = browser.soup.select_one(f"form:has([name=how][value={form}])")
    fields = {
        one["name"]: one.get("value", "")
        for one in found.select("input[name]")
        if one.get("type") not in ("radio", "checkbox") or one.has_attr("checked")
    }
    fields |= {one["name"]: one.text.strip("\r\n") for one in found.select("textarea")}
    for one in found.select("select"):
        chosen = one.select_one("[selected]") or one.select_one("option")
        fields[one["name"]] = chosen["value"]
    return fields


def do(browser: Browser, address: str) -> object:
    """Confirm what the preview shows."""
    fields = {one["name"]: one["value"] for one in browser.soup.select("main form input[name]")}
    return browser.post(address, **(fields | {"act": "do"}))


def entry_of(browser: Browser, number: int):
    """Return the line of an entry on the page last seen."""
    return browser.soup.select_one(f"#entry-{number}")


def test_a_fit_test_is_put_right_and_shows_struck_through_beside_its_correction(browser, works):
    medical(works, on=works.today - timedelta(days=60))
    entry = fit_test(works)
    ida = browser("Ida")
    ida.get("/people/00417")
    assert entry_of(ida, entry.number).select_one("a[href$='/correct']")
    ida.get(page(entry.number))
    fields = sent(ida, "right")
    assert (fields["right-fit_factor"], fields["right-recording"]) == ("180", "shelf 3")
    right_day = (works.today - timedelta(days=30)).isoformat()
    wrong = ida.post(
        page(entry.number), act="look",
        **(fields | {"right-on": (works.today + timedelta(days=9)).isoformat(),
                     "right-why": "wrong-date"}),
    )  # fmt: skip
    assert (wrong.status_code, "lies in the future" in wrong.text) == (422, True)
    look = ida.post(
        page(entry.number), act="look",
        **(fields | {"right-on": right_day, "right-why": "wrong-date"}),
    )
    assert look.status_code == 200
    assert "What it will say" in look.text
    assert record.body(newest(works, "fit-test"))["happened_on"] == works.today.isoformat()
    with works.store.reading() as db:
        assert record.corrections(db, ["00417"]) == []
    preview = ida.page
    done = do(ida, page(entry.number))
    assert done.request.path == "/people/00417", done.text
    ida.page = preview
    assert do(ida, page(entry.number)).request.path == "/people/00417"  # a double click
    with works.store.reading() as db:
        assert len(record.corrections(db, ["00417"])) == 1
    line = entry_of(ida, entry.number)
    assert line.select_one("del") and "is-void" in line["class"]
    assert "It reads now" in line.text and "wrong day" in line.text
    last = newest(works, "correction")
    assert "Correction of entry" in entry_of(ida, last.number).text
    lee = browser("Lee")
    assert "It reads now" in lee.get("/my-record").text


def test_a_determination_is_corrected_without_a_note_and_trainers_see_neither(browser, works):
    entry = medical(works)
    ida = browser("Ida")
    text = ida.get(page(entry.number)).text
    assert "right-note" not in text and "strike-note" not in text
    fields = sent(ida, "right") | {"right-outcome": "not", "right-why": "wrong-value"}
    look = ida.post(page(entry.number), act="look", **fields)
    assert "Not clear yet" in look.text
    do(ida, page(entry.number))
    assert newest(works, "medical-correction").number
    tomas = browser("Tomas").get("/people/00417").text
    assert "Medical evaluation" in tomas  # the step of the tag: yes or no
    assert "Correction of entry" not in tomas
    assert "Correction of entry" in browser("Lee").get("/my-record").text


def test_striking_a_lesson_says_first_that_training_goes_with_it(browser, works):
    made_ready(works, "Lee")
    train(works, "Lee")
    whole, lesson = newest(works, "training"), newest(works, "lesson")
    ida = browser("Ida")
    assert "follows from its parts" in ida.get(page(whole.number)).text
    assert ida.soup.select(f"main a[href='{page(lesson.number)}']")
    ida.get(page(lesson.number))
    assert not ida.soup.select("[name=how][value=right]")
    fields = sent(ida, "strike") | {"strike-why": "other"}
    assert "in a few words" in ida.post(page(lesson.number), act="look", **fields).text
    fields |= {"strike-note": "Kim sat there"}
    look = ida.post(page(lesson.number), act="look", **fields)
    assert "What leans on it is struck with it" in look.text
    assert f"Entry {whole.number}: Training as a whole" in look.text
    assert re.search(r"Before:.*Clear.*After:.*Not clear yet", look.text, re.S)
    again = ida.post(page(lesson.number), act="change", **fields)
    assert sent(ida, "strike")["strike-note"] == "Kim sat there" and again.status_code == 200
    ida.post(page(lesson.number), act="look", **fields)
    do(ida, page(lesson.number))
    assert "leaned on an entry that was struck" in entry_of(ida, whole.number).text
    ida.get(page(lesson.number))
    ida.post(page(lesson.number), act="look", **sent(ida, "put-back"))
    assert "With it a new entry comes into the record" in ida.page
    do(ida, page(lesson.number))
    assert "put back by entry" in entry_of(ida, lesson.number).text


def test_the_second_window_is_told_of_the_first(browser, works):
    entry = fit_test(works)
    ida = browser("Ida")
    ida.get(page(entry.number))
    fields = sent(ida, "strike") | {"strike-why": "not-done"}
    first = struck_by_service(works, entry.number, why="wrong-person")
    told = ida.post(page(entry.number), act="look", **fields)
    assert (told.status_code, f"Meanwhile entry {first.number} has" in told.text) == (422, True)
    assert not ida.soup.select("[name=how][value=strike]")
    ida.get(page(entry.number))
    fields = sent(ida, "put-back")
    with works.store.writing() as db:
        recording.correct(
            db, works.scribe(), first.number, once="x", why="other", note="mine",
            said=record.body(entry),
        )
        back = record.corrections(db, ["00417"])[-1]
        recording.correct(db, works.scribe(), back.number, once="y", why="not-done")
    told = ida.post(page(entry.number), act="look", **fields)
    assert (told.status_code, "Meanwhile entry" in told.text) == (422, True)


@pytest.mark.parametrize("who", ["Tomas", "Lee"])
def test_nobody_but_the_coordinator_corrects(browser, works, who):
    entry = fit_test(works)
    seen = browser(who)
    seen.get("/people/00417" if who == "Tomas" else "/my-record")
    assert not seen.soup.select("a[href$='/correct']")
    assert seen.get(page(entry.number)).status_code == 403


def test_the_entry_of_somebody_else_is_not_found_at_a_persons_address(browser, works):
    entry = fit_test(works)
    ida = browser("Ida")
    assert ida.get(page(entry.number, "00418")).status_code == 404
    assert ida.get(page(999)).status_code == 404


def test_a_fit_test_before_any_clearance_asks_whether_that_is_known(browser, works):
    """29 CFR 1910.134(e)(1)."""
    ida = browser("Ida")
    ida.get("/people/00417/fit-test")
    fields = {
        "deed": ida.soup.select_one("[name=deed]")["value"], "on": works.today.isoformat(),
        "respirator": ida.soup.select_one("[name=respirator] option")["value"],
        "protocol": "ambient-aerosol", "exercises": "100\n300\n", "recording": "shelf 3",
    }  # fmt: skip
    told = ida.post("/people/00417/fit-test", **fields)
    assert (told.status_code, "(e)(1)" in told.text) == (422, True)
    done = ida.post("/people/00417/fit-test", **fields, in_order="yes")
    assert done.request.path == "/people/00417", done.text
    assert "Fit factor 150" in done.text and "From its exercises: 100; 300." in done.text
    assert "is no number" not in done.text
    bad = ida.get("/people/00417/fit-test")
    bad = ida.post("/people/00417/fit-test", **(fields | {"exercises": "100\nmany"}))
    assert bad.status_code == 422


def test_a_day_gone_by_is_shown_to_the_coordinator_alone(browser, works):
    made_ready(works, "Lee")
    ida = browser("Ida")
    day = (works.today - timedelta(days=3)).isoformat()
    assert "As it stood on" in ida.get(f"/people/00417?on={day}").text
    past = ida.soup.select_one("main .lead").text
    assert "As it stood on" in past
    assert "To today" in past
    assert "To today" not in ida.get("/people/00417?on=never").text
    assert "To today" not in ida.get("/people/00417?on=2999-01-01").text
    assert "As it stood on" not in browser("Tomas").get(f"/people/00417?on={day}").text


def test_the_witness_is_shown_and_an_earlier_one_is_found(browser, works):
    entry = fit_test(works)
    fit_test(works, once="2")
    ida = browser("Ida")
    last = newest(works, "fit-test")
    assert last.hash[:8] in ida.get("/witness").text
    found = ida.get("/witness", query_string={"since": entry.hash.upper()}).text
    assert f"the letters of entry {entry.number}, and 1 entry came since" in found
    assert "no entry has these letters" in ida.get("/witness?since=" + "a" * 64).text
    bad = ida.get("/witness?since=abc")
    assert (bad.status_code, "64 characters" in bad.text) == (422, True)


def test_what_was_let_go_shows_with_the_entry_that_says_so(browser, works):
    entry = fit_test(works)
    with works.store.writing() as db:
        gone = record.erase(
            db, [entry.number], once="e", row="fit-test", source="29 CFR 1910.134(m)(2)(ii)",
            why="newer", confirmed_by={"number": "00001", "name": "Ida"},
            happened_on=works.today, now=works.now,
        )  # fmt: skip
    lee = browser("Lee")
    lee.get("/my-record")
    assert f"Entry {gone.number} says so" in entry_of(lee, entry.number).text
    assert "(m)(2)(ii)" in entry_of(lee, gone.number).text
