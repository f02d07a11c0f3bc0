"""Questions and needs on the pages: asked, answered by name, read, shown, dealt with."""

import re
from datetime import timedelta

import pytest
from sqlmodel import select

from tests.conftest import Browser, Works, pass_lesson
from trainer import lessons
from trainer.services import asking, joining
from trainer.store import people
from trainer.store.tables import Need, Person, WebSession, Worksite

LESSON = lessons.load().get("protection-factors")
SECTION = next(one for one in LESSON.sections if "drawing" in {p.kind for p in one.parts("en")})
PAGE = f"/lessons/{LESSON.slug}/{SECTION.id}"
TEXT = "Does the strap go over the hood?"


def fields(browser: Browser, selector: str) -> dict[str, str]:
    """Return the hidden fields of a form of the page last seen, without its token."""
    hidden = browser.soup.select(f"{selector} input[type=hidden]")
    return {one["name"]: one["value"] for one in hidden if one["name"] != "csrf_token"}


def ask(browser: Browser, text: str = TEXT, page: str = PAGE, **more) -> None:
    """Send a question from a page."""
    browser.get(page)
    sent = browser.post("/ask", text=text, **fields(browser, "form[action='/ask']"), **more)
    assert sent.status_code == 200, sent.text


def answer(browser: Browser, text: str = "Under it.", number: int = 1, **more):
    """Answer a question on its page."""
    browser.get(f"/questions/{number}")
    form = f"form[action='/questions/{number}']"
    return browser.post(f"/questions/{number}", text=text, **fields(browser, form), **more)


def said(browser: Browser, selector: str = "main") -> str:
    """Return the words of a part of the page last seen."""
    return " ".join(" ".join(one.get_text(" ") for one in browser.soup.select(selector)).split())


def test_a_question_from_a_section_comes_to_the_trainer_and_its_answer_to_the_tag(browser, works):
    lee, tomas = browser("Lee"), browser("Tomas")
    ask(lee)
    assert re.search(r"Asked on \d+ \w+ \d{4}, \d\d:\d\d\. Will see it: Tomas\.",
                     said(lee, "#status"))
    assert len(lee.soup.select("#status")) == 1
    assert TEXT in said(lee, "#asking .asked")
    assert "Not answered yet. Will see it: Tomas." in said(lee, "#asking .asked")

    tomas.get("/people")
    assert "Questions" in said(tomas, "nav")
    tomas.get("/questions")
    row = said(tomas, ".question")
    assert "Lee" in row and TEXT in row and SECTION.title("en") in row
    assert answer(tomas).request.path == "/questions"
    assert "No question is open." in said(tomas)

    lee.get("/tag")
    assert "Tomas answered on" in said(lee, "#answers-title ~ ul")
    assert "Under it." in said(lee, "#answers-title ~ ul")
    lee.post("/my-questions/read", **fields(lee, "form[action='/my-questions/read']"))
    assert not lee.soup.select("#answers-title")
    lee.get("/my-questions")
    assert "Asked on" in said(lee) and "Under it." in said(lee)
    assert not lee.soup.select("form[action='/my-questions/read']")
    lee.get(PAGE)
    assert "Under it." in said(lee, "#asking .asked")


def test_moments_are_those_of_the_clock_at_the_worksite(browser, works):
    with works.store.writing() as db:
        place = db.get(Worksite, works.worksites["Laminating Loft"].id)
        place.time_zone = "Asia/Kolkata"  # half an hour off every other
    ask(browser("Lee"))
    with works.store.reading() as db:
        (one,) = asking.open_for(db, None)
    there = one.question.asked_at + timedelta(hours=5, minutes=30)
    lee = browser("Lee")
    lee.get("/my-questions")
    assert f"{there:%H:%M}" in said(lee, ".asked time")


def test_a_double_click_is_one_question(browser, works):
    lee = browser("Lee")
    lee.get(PAGE)
    form = fields(lee, "form[action='/ask']")
    for _ in range(2):
        lee.post("/ask", text=TEXT, **form)
    with works.store.reading() as db:
        assert len(asking.open_for(db, None)) == 1


def test_what_is_refused_comes_back_as_it_was_typed(browser, works):
    lee = browser("Lee")
    for page in (PAGE, "/tag"):
        lee.get(page)
        long = "<b>strap</b> " + "x" * 500
        sent = lee.post("/ask", text=long, **fields(lee, "form[action='/ask']"))
        assert sent.status_code == 422
        assert lee.soup.select_one("#ask-text").text == long
        assert "at most 500 are kept" in said(lee, ".faults")
        assert not lee.soup.select("#ask-text b")
    tomas = browser("Tomas")
    ask(lee)
    assert answer(tomas, text="y" * 1001, show="yes").status_code == 422
    assert tomas.soup.select_one("#text-1").text == "y" * 1001
    assert tomas.soup.select_one("#show-1").has_attr("checked")


def test_htmx_gets_the_corner_alone_and_hears_what_happened(browser, works):
    lee = browser("Lee")
    lee.get(PAGE)
    part = {"HX-Request": "true", "HX-Request-Type": "partial"}
    form = fields(lee, "form[action='/ask']")
    kept = lee.post("/ask", headers=part, text=TEXT, **form)
    assert "<html" not in kept.text and TEXT in said(lee, "#asking .asked")
    assert "Will see it: Tomas." in said(lee, "#status")
    refused = lee.post("/ask", headers=part, text=" ", **form)
    assert refused.status_code == 200 and lee.soup.select("#asking details[open] .fault")


def test_from_the_tag_it_is_about_a_lesson_or_none(browser, works):
    lee, tomas = browser("Lee"), browser("Tomas")
    ask(lee, page="/tag", lesson=LESSON.slug)
    ask(lee, text="Where are the wipes?", page="/tag", lesson="")
    assert TEXT in said(lee, "#asking .asked")
    with works.store.reading() as db:
        kept = [one.question for one in asking.open_for(db, None)]
    assert [(one.lesson, one.section) for one in kept] == [(LESSON.slug, ""), ("", "")]
    tomas.get("/questions")
    assert f"About: {LESSON.title('en')}" in said(tomas, ".question")
    assert not tomas.soup.select("[name=show]"), "no section would hold it"


@pytest.mark.parametrize("about", [{"lesson": "no-such"}, {"section": SECTION.id},
                                   {"lesson": LESSON.slug, "section": "no-such"}])
def test_nothing_is_asked_about_what_does_not_exist(browser, works, about):
    lee = browser("Lee")
    lee.get("/tag")
    assert lee.post("/ask", text=TEXT, **about).status_code == 404
    assert lee.get("/ask", query_string=about).status_code == 404


def test_the_trainer_reads_the_section_as_the_one_who_asked_did_and_names_stay_single(
    browser, works
):
    lee, kim, tomas = browser("Lee"), browser("Kim"), browser("Tomas")
    kim.get("/tag")
    kim.post("/language", language="es", next="/tag")
    for one in (lee, kim):
        ask(one)
    tomas.get("/questions")
    tongues = [one["lang"] for one in tomas.soup.select(".question details > div")]
    assert tongues == ["en", "es"]
    assert "in Spanish" in said(tomas, ".question")
    ids = [one["id"] for one in tomas.soup.select("[id]")]
    assert len(ids) == len(set(ids))
    for drawing in tomas.soup.select(".question svg[aria-labelledby]"):
        assert set(drawing["aria-labelledby"].split()) <= set(ids)
    assert tomas.soup.select(".question svg[aria-labelledby]")


def test_shown_to_everybody_it_stands_at_the_end_of_its_section_without_a_name(browser, works):
    lee, kim, noor, tomas = (browser(name) for name in ("Lee", "Kim", "Noor", "Tomas"))
    with works.store.writing() as db:
        db.get(Person, works.people["Lee"].id).name = "Leandra"
    ask(lee)
    answer(tomas, show="yes")
    kim.get(PAGE)
    shown = said(kim, "article #shown-title ~ ul")
    assert TEXT in shown and "Tomas answered on" in shown
    assert "Leandra" not in kim.page
    for one, page in ((noor, PAGE), (kim, f"/lessons/{LESSON.slug}/{LESSON.sections[-1].id}")):
        one.get(page)
        assert TEXT not in one.page


def test_two_trainers_answering_at_once_lose_nothing(browser, works):
    with works.store.writing() as db:
        joining.add_person(
            db, works.now, number="00009", name="Odell", roles=["trainer"],
            worksites=[works.worksites["Laminating Loft"].id], seed="Odell",
        )  # fmt: skip
    ask(browser("Lee"))
    tomas = browser("Tomas")
    tomas.get("/questions/1")
    form = fields(tomas, "form[action='/questions/1']")
    with works.store.writing() as db:
        odell = people.by_number(db, "00009")
        found = asking.get(db, 1)
        asking.answer(db, odell, found.question, "Over it.", once="o", now=works.now)
    refused = tomas.post("/questions/1", text="Under it.", **form)
    assert refused.status_code == 422
    assert "Odell answered on" in said(tomas) and "answered meanwhile" in said(tomas, ".faults")
    assert tomas.soup.select_one("#text-1").text == "Under it."
    form = fields(tomas, "form[action='/questions/1']")
    assert form["further"] == "yes"
    assert tomas.post("/questions/1", text="Under it.", **form).status_code == 200
    with works.store.reading() as db:
        assert len(asking.get(db, 1).answers) == 2


def test_a_coordinator_sees_all_and_answers_nothing(browser, works):
    ask(browser("Lee"))
    ask(browser("Noor"))
    ida = browser("Ida")
    ida.get("/questions")
    assert len(ida.soup.select(".question")) == 2
    assert not ida.soup.select("form[action^='/questions/']")
    ida.get("/tag")
    assert "You belong to no worksite yet" in said(ida, "#asking")


def test_a_list_that_is_long_has_pages(browser, works):
    with works.store.writing() as db:
        for place in range(21):
            asking.ask(db, works.people["Lee"], f"Number {place}", once=str(place),
                       language="en", now=works.now)  # fmt: skip
    tomas = browser("Tomas")
    tomas.get("/questions")
    assert len(tomas.soup.select(".question")) == 20
    tomas.get("/questions?page=2")
    assert "Number 20" in said(tomas, ".question")
    assert tomas.get("/questions?page=3").status_code == 404


# Needs


def taps(browser: Browser) -> list[dict[str, str]]:
    """Return what each button on the tag sends that tells something."""
    browser.get("/tag")
    return [
        {one["name"]: one["value"] for one in form.select("input[type=hidden]")
         if one["name"] != "csrf_token"}
        for form in browser.soup.select("form[action='/tell']")
    ]  # fmt: skip


def test_a_need_is_told_in_one_tap_and_dealt_with(browser, works):
    lee, kim, tomas, wren = (browser(name) for name in ("Lee", "Kim", "Tomas", "Wren"))
    assert [one["kind"] for one in taps(kim)] == ["health"]
    ways = taps(lee)
    assert [one["kind"] for one in ways] == ["fit", "leak", "health"]
    assert "no detail is stored" in said(lee, "#tell-title ~ p")
    assert not lee.soup.select("form[action='/tell'] :is(textarea, input:not([type=hidden]))")
    for _ in range(2):  # a double click tells it once
        lee.post("/tell", **ways[1])
    assert "Told on" in said(lee, "#status") and "Tomas" in said(lee, "#status")
    assert said(lee, "#tell-title ~ .do").count("It leaks: told on") == 1
    assert "Do not go in with it" in said(lee, "#tell-title ~ .do")
    assert len(taps(lee)) == 2
    # Whoever was signed out meanwhile comes back to a page of its own.
    lee.get(ways[1]["here"])
    assert "You told this on" in said(lee) and not lee.soup.select("main form")

    tomas.get("/questions")
    assert "Lee says that it leaks" in said(tomas, "#told ~ ul")
    wren.get("/questions")
    assert "Lee" not in said(wren)
    tomas.post("/told/1")
    assert "Nothing is open." in said(tomas)
    lee.get("/my-questions")
    assert "Tomas dealt with it on" in said(lee)
    assert len(taps(lee)) == 3
    assert len(read_needs(works)) == 1


def read_needs(works: Works) -> list[asking.Told]:
    """Return what Lee told."""
    with works.store.reading() as db:
        return asking.needs_of(db, works.people["Lee"])


def test_what_was_told_by_mistake_is_taken_back_by_oneself_alone(browser, works):
    lee, kim, tomas = (browser(name) for name in ("Lee", "Kim", "Tomas"))
    lee.post("/tell", **taps(lee)[1])
    for other in (kim, tomas):
        other.get("/tag")
        assert other.post("/tell/1/take-back").status_code == 404
    assert other.post("/tell/99/take-back").status_code == 404
    lee.get("/tag")
    lee.post("/tell/1/take-back")
    assert len(taps(lee)) == 3
    lee.get("/my-questions")
    assert "You took it back on" in said(lee)
    tomas.get("/questions")
    assert "Nothing is open." in said(tomas)
    # Dealt with already, it stays dealt with by whoever did it.
    lee.post("/tell", **taps(lee)[0])
    tomas.get("/questions")
    tomas.post("/told/2")
    lee.get("/tag")
    lee.post("/tell/2/take-back")
    assert read_needs(works)[0].dealt_with_by.name == "Tomas"


def test_an_answer_shown_to_everybody_is_hidden_again_at_ones_own_worksites(browser, works):
    lee, kim, tomas, wren = (browser(name) for name in ("Lee", "Kim", "Tomas", "Wren"))
    ask(lee)
    answer(tomas, show="yes")
    kim.get(PAGE)
    assert "Under it." in said(kim)
    wren.get("/questions")
    assert wren.post("/questions/1/hide").status_code == 404
    tomas.get("/questions/1")
    assert tomas.soup.select("form[action='/questions/1/hide']")
    tomas.post("/questions/1/hide")
    assert "shown to everybody" not in said(tomas)
    kim.get(PAGE)
    assert "Under it." not in said(kim)
    lee.get(PAGE)
    assert "Under it." in said(lee, "#asking")


def test_who_cannot_answer_reads_who_can(browser, works):
    lee, tomas, ida = (browser(name) for name in ("Lee", "Tomas", "Ida"))
    ask(lee)
    ask(tomas, "Which one is mine?")
    ida.get("/questions/1")
    assert "A trainer of Laminating Loft has to answer it." in said(ida)
    assert not ida.soup.select("form[action='/questions/1']")
    tomas.get("/questions/2")
    assert "Another trainer has to answer your question." in said(tomas)
    assert not tomas.soup.select("form[action='/questions/2']")


def test_marking_as_read_comes_back_to_where_it_was_pressed(browser):
    lee, tomas = browser("Lee"), browser("Tomas")
    ask(lee)
    answer(tomas)
    lee.get("/my-questions")
    form = fields(lee, "form[action='/my-questions/read']")
    assert lee.post("/my-questions/read", **form).request.path == "/my-questions"
    elsewhere = lee.post("/my-questions/read", up_to="1", here="https://elsewhere.example/")
    assert elsewhere.request.path == "/tag"


def test_of_health_only_the_words_reach_trainers_and_coordinators(browser, works):
    lee = browser("Lee")
    lee.get("/tell?kind=health")
    assert "Ida" in said(lee) and "Tomas" in said(lee)
    lee.post("/tell", kind="health", text="asthma", detail="asthma")
    with works.store.reading() as db:
        (told,) = asking.needs_of(db, works.people["Lee"])
    assert "asthma" not in str(told)
    for name in ("Tomas", "Ida"):
        one = browser(name)
        one.get("/questions")
        assert "Lee wants to talk to the health professional" in said(one, "#told ~ ul")


def test_nothing_is_told_of_anothers_respirator_or_of_a_kind_that_is_none(browser, works):
    kim = browser("Kim")
    kim.get("/tag")
    for given in ({"kind": "leak", "respirator": "1"}, {"kind": "leak"}, {"kind": "asthma"}, {}):
        assert kim.post("/tell", **given).status_code == 404
        assert kim.get("/tell", query_string=given).status_code == 404
    with works.store.reading() as db:
        assert db.get(Need, 1) is None


def test_the_record_says_how_many_were_asked_and_answered(browser, works):
    lee, tomas = browser("Lee"), browser("Tomas")
    ask(lee)
    ask(lee, "And under it?")
    answer(tomas)
    with works.store.reading() as db:
        asked_at = max(one.question.asked_at for one in asking.of_person(db, works.people["Lee"]))
    pass_lesson(works, "Lee", LESSON.slug, asked_at + timedelta(seconds=1))
    lee.get("/my-record")
    assert "Questions asked: 2, of them answered: 1." in said(lee)
    lee.post("/language", language="es", next="/my-record")
    assert "Preguntas hechas: 2; respondidas: 1." in said(lee)


# Whom to ask now


def test_the_foot_and_the_form_say_whether_a_trainer_is_signed_in(browser, works):
    lee, noor = browser("Lee"), browser("Noor")
    lee.get(PAGE)
    assert "Signed in now" not in said(lee, "body")
    assert "No trainer is signed in now" in said(lee, "#asking")
    assert re.search("To ask at once: R. Odell , Loft office, 6:00 to 15:00, Telephone 555 0142",
                     said(lee, "#asking"))
    tomas = browser("Tomas")
    for one in (lee, noor, tomas):
        one.get("/tag")
    assert "Signed in now: Tomas" in said(lee, ".foot") and "555 0142" in said(lee, ".foot")
    assert "Signed in now: Tomas" in said(lee, "#asking")
    assert "Signed in now" not in said(noor, "body"), "Tomas is not at the Joinery"
    assert "Signed in now" not in said(tomas, "body"), "nobody asks themselves"
    with works.store.writing() as db:
        for row in db.exec(select(WebSession)):
            row.seen_at -= timedelta(minutes=11)
    lee.get("/tag")
    assert "Signed in now" not in said(lee, "body")
    tomas.get("/people")
    lee.get("/tag")
    assert "Signed in now: Tomas" in said(lee, ".foot")
    tomas.post("/sign-out")
    lee.get("/tag")
    assert "Signed in now" not in said(lee, "body")
