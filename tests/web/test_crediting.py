"""Credit for earlier training on the pages: marked, kept once, shown wherever the record is."""

from datetime import timedelta

import pytest

from tests.conftest import Works, right_answer
from tests.services.test_observing import watch
from trainer.calculations.periods import next_due
from trainer.services import sitting
from trainer.store import record
from trainer.store.tables import Sitting

ASKED = {f"element-{place}": "asked" for place in range(1, 8)}


@pytest.fixture
def tomas(browser):
    """Return a trainer's browser."""
    return browser("Tomas")


def credit(who, works: Works, days: int = 90, **fields):
    """Send the form of credit for Lee."""
    if "deed" not in fields:
        who.get("/people/00417/credit")
        fields["deed"] = who.soup.select_one("#deed")["value"]
    given = {
        "on": (works.today - timedelta(days=days)).isoformat(),
        "given_by": "Invented Harbor Works", "proof": "certificate", "trained_with": "apr-half",
    } | ASKED | fields  # fmt: skip
    return who.post("/people/00417/credit", **given)


def answer_all(works: Works) -> None:
    """Answer Lee's open sitting rightly and hand it in."""
    with works.store.writing() as db:
        lee = works.people["Lee"]
        there = db.get(Sitting, sitting.open_sitting(db, lee, "the-standard").id)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        sitting.close(db, works.scribe("Lee"), there, "en", 80)


def said(browser) -> str:
    """Return the words of the page."""
    return " ".join(browser.soup.select_one("body").get_text(" ").split())


def kinds(works: Works) -> list[str]:
    """Return the kinds of Lee's entries."""
    with works.store.reading() as db:
        return [one.kind for one in record.of_person(db, "00417")]


def test_it_is_kept_and_shown_with_its_proof_and_who_saw_it(tomas, works, browser):
    credit(tomas, works)
    assert "No lesson is left to do; practice is to be watched here." in said(tomas)
    for page in ("/people/00417", "/my-record"):
        who = tomas if page.startswith("/people") else browser("Lee")
        who.get(page)
        text = said(who)
        assert "Credit for earlier training" in text
        assert "by Invented Harbor Works. Proof seen: certificate." in text
        assert "Seen by Tomas." in text
        assert "(vii) General requirements of the standard (asked in person)" in text
        assert "Practice and what is particular to a worksite are not credited." in text


def test_what_is_left_is_said(tomas, works):
    credit(tomas, works, **{"element-7": "no"})
    assert "1 lesson stays to do, and practice is to be watched here." in said(tomas)


def test_the_tag_says_that_credit_stands_in_and_until_when(tomas, works, browser):
    credit(tomas, works)
    watch(works)
    lee = browser("Lee")
    lee.get("/tag")
    assert "With credit for earlier training." in said(lee)
    due = next_due(works.today - timedelta(days=90))
    tomas.get("/people/00417")
    assert f"Due again by {due.day} {due:%b %Y}. With credit for earlier training" in said(tomas)


def test_sent_twice_it_is_one_entry(tomas, works):
    credit(tomas, works)
    tomas.get("/people/00417/credit")
    deed = tomas.soup.select_one("#deed")["value"]
    credit(tomas, works, deed=deed, days=80)
    credit(tomas, works, deed=deed, days=80)
    assert kinds(works) == ["credit", "credit"]


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"on": ""}, "Give a date"),
        ({"on": "2020-01-01"}, "within the last 12 months"),
        ({"given_by": ""}, "must be filled in"),
        ({"proof": ""}, "must be filled in"),
        ({"trained_with": []}, "Choose which respirators"),
        ({"element-3": ""}, "Mark each of the seven elements."),
        ({"deed": "guessed"}, "Choose one of these."),
    ],
)
def test_what_is_missing_is_said_and_what_was_marked_stays(tomas, works, fields, says):
    answer = credit(tomas, works, **{"element-1": "sitting", **fields})
    assert answer.status_code == 422
    assert says in tomas.page
    assert tomas.soup.select_one("[name=element-1][checked]")["value"] == "sitting"
    assert kinds(works) == []


def test_one_that_is_to_be_shown_is_sat_without_reading(tomas, works, browser):
    credit(tomas, works, **{"element-7": "sitting"})
    tomas.get("/people/00417")
    assert "covered by earlier training, to be shown in the closing questions" in said(tomas)
    lee = browser("Lee")
    lee.get("/tag")
    assert lee.soup.select_one(".stub a")["href"] == "/lessons/the-standard#sitting"
    lee.get("/lessons/the-standard")
    assert "Your earlier training covered this lesson." in said(lee)
    lee.post("/lessons/the-standard/sitting")
    assert "Question 1 of" in said(lee)
    answer_all(works)
    lee.get("/my-record")
    assert "Taught elsewhere: credit, entry 1. Questions in English." in said(lee)
    lee.get("/lessons/fit")
    lee.post("/lessons/fit/sitting")
    assert "Read every section to its end first." in said(lee)


def test_nobody_is_offered_their_own(tomas):
    tomas.get("/people/00002/credit")
    assert "Nobody can credit their own training." in said(tomas)
    assert tomas.soup.select("main form[novalidate]") == []
