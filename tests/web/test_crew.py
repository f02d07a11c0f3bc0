"""Teaching a crew in a room, as a trainer's browser without script does it."""

import re
from datetime import timedelta

import pytest
from sqlmodel import func, select

from tests.conftest import HALF_MASK, Works, pass_lesson, right_answer, wrong_answer
from trainer import bank, lessons
from trainer.services import joining, learning, observing, sitting
from trainer.store import people, record, tables
from trainer.store.tables import PaperSitting, Practice, Sitting, TaughtTalk

SLUG = "protection-factors"
EXERCISE = bank.load().exercises_for(SLUG)[0]
NO_TRACE = {"web_session"}  # that somebody is signed in, and was seen


def rows(works: Works) -> dict[str, int]:
    """Return how many rows each table holds."""
    with works.store.reading() as db:
        return {
            name: db.execute(select(func.count()).select_from(table)).scalar()
            for name, table in tables.METADATA.tables.items() if name not in NO_TRACE
        }  # fmt: skip


def give_talk(browser, works: Works, **more) -> object:
    """Send the form of a talk that was given yesterday."""
    browser.get("/crew/talks")
    fields = {
        "deed": browser.soup.select_one("[name=deed]")["value"],
        "worksite": browser.soup.select_one("form[method=post] [name=worksite]")["value"],
        "day": (works.today - timedelta(days=1)).isoformat(), "began": "13:00", "ended": "13:40",
        "tongue": "en", "mode": "taught in person", "lesson": [SLUG], "person": ["00417"],
    }  # fmt: skip
    return browser.post("/crew/talks", **(fields | more))


def read_all(works: Works, name: str = "Lee") -> None:
    """Read every section of the lesson."""
    lesson = lessons.load().get(SLUG)
    with works.store.writing() as db:
        for part in lesson.sections:
            learning.finish_section(db, works.people[name], lesson, part.id, works.now)


def practices(works: Works, names=("Lee", "Kim")) -> dict[str, Practice]:
    """Let Tomas begin to watch these people, and return their practices by name."""
    with works.store.writing() as db:
        if not people.respirators(db, works.people["Kim"].id):
            joining.give_respirator(db, works.scribe(), works.people["Kim"], **HALF_MASK)
        worn = [people.respirators(db, works.people[name].id)[0].id for name in names]
        begun = observing.begin_several(db, works.scribe("Tomas"), worn)
    return dict(zip(names, begun, strict=True))


def marks(one: Practice, how: str = "unprompted", leave: int = 0) -> dict[str, str]:
    """Return the fields that mark every act of a practice, but for the last few."""
    slugs = [
        "inspect", "put-on", "strap-tension", "seal-check-positive", "seal-check-negative",
        "take-off", "clean-and-store",
    ]  # fmt: skip
    return {f"act-{one.id}-{slug}": how for slug in slugs[: len(slugs) - leave]}


# On the wall


@pytest.mark.parametrize("tongue", ["en", "es"])
def test_every_section_is_shown_one_after_the_other_and_nothing_is_recorded(
    browser, works, tongue
):
    tomas = browser("Tomas")
    before = rows(works)
    tomas.get(f"/crew/teach?lesson={SLUG}&tongue={tongue}", follow_redirects=True)
    for part in lessons.load().get(SLUG).sections:
        wall = tomas.soup.select_one(".wall")
        assert wall["lang"] == tongue
        assert part.title(tongue) in wall.text
        # The trainer reads English; the crew, what was chosen for it.
        assert {"en": "Section", "es": "Sección"}[tongue] in wall.select_one(".ladder").text
        onward = tomas.soup.select_one("a[rel=next]")
        if onward:
            tomas.get(onward["href"])
    assert onward is None
    back = tomas.soup.select_one("a[rel=prev]")["href"]
    assert lessons.load().get(SLUG).sections[-2].id in back
    assert rows(works) == before


def test_a_problem_is_worked_a_step_at_a_time_from_the_seed_of_its_address(browser, works):
    tomas = browser("Tomas")
    before = rows(works)
    home = f"/crew/lessons/{SLUG}/en/{EXERCISE.section}/{EXERCISE.slug}"
    drawn = bank.draw(EXERCISE, 4711)
    tomas.get(f"{home}?seed=4711")
    for shown in range(len(drawn.steps) + 1):
        sums = [one.text for one in tomas.soup.select(".worked .sum:not(.left-out)")]
        assert sums == [step.text("en") for step in drawn.steps[:shown]]
        answer = tomas.soup.select_one(".together .answer")
        assert (answer is not None) == (shown == len(drawn.steps))
        onward = tomas.soup.select_one("a[rel=next]")
        if onward:
            tomas.get(onward["href"])
    assert answer.text.strip() == drawn.blank.right_text("en")
    assert rows(works) == before


def test_without_a_seed_one_is_drawn_and_stands_in_the_address(browser):
    tomas = browser("Tomas")
    home = f"/crew/lessons/{SLUG}/es/{EXERCISE.section}/{EXERCISE.slug}"
    for asked in ("", "?seed=-1", "?seed=x", f"?seed={10**9}"):
        sent = tomas.get(home + asked)
        assert sent.status_code == 303
        assert re.search(r"\?seed=\d+$", sent.location)


@pytest.mark.parametrize("path", [
    f"/crew/lessons/nothing/en/{EXERCISE.section}", f"/crew/lessons/{SLUG}/fr/{EXERCISE.section}",
    f"/crew/lessons/{SLUG}/en/nothing", f"/crew/lessons/{SLUG}/en/{EXERCISE.section}/nothing",
    f"/crew/teach?lesson={SLUG}&tongue=fr", "/crew/teach",
])  # fmt: skip
def test_what_is_not_there_is_not_shown(browser, path):
    assert browser("Tomas").get(path).status_code == 404


# Talks


def test_a_talk_sent_twice_is_one_and_opens_the_questions(browser, works):
    lee = browser("Lee")
    lee.get(f"/lessons/{SLUG}")
    assert not lee.soup.select("form[action$='/sitting']")
    tomas = browser("Tomas")
    tomas.get("/crew/talks")
    deed = "0123456789abcdef" * 2
    for _ in range(2):
        assert "talk 1" in give_talk(tomas, works, deed=deed).text
    with works.store.reading() as db:
        [talk] = db.exec(select(TaughtTalk)).all()
    assert (talk.minutes, talk.began, talk.trainer_name) == (40, "13:00", "Tomas")
    lee.get(f"/lessons/{SLUG}")
    assert "Tomas taught you this lesson" in lee.page
    sent = lee.post(f"/lessons/{SLUG}/sitting", follow=False)
    assert sent.location == "/sittings/1/1"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"day": "yesterday"}, "Give the day of the talk"),
        ({"began": "one o'clock"}, "Give times as hours and minutes"),
        ({"ended": "", "minutes": "some"}, "whole number"),
        ({"ended": "", "minutes": "9" * 5000}, "whole number"),
        ({"ended": ""}, "or the minutes"),
        ({"worksite": "2"}, "one of your worksites"),
        ({"deed": "'; drop"}, "Open the page again"),
        ({"person": ["00500"]}, "people of the worksite"),
    ],
)
def test_a_fault_keeps_what_was_typed_and_records_nothing(browser, works, more, said):
    tomas = browser("Tomas")
    answer = give_talk(tomas, works, **more)
    assert answer.status_code == 422
    assert said in tomas.soup.select_one(".faults").text
    assert tomas.soup.select_one(f"[name=lesson][value={SLUG}]").has_attr("checked")
    assert tomas.soup.select_one("[name=person][value='00418']").has_attr("checked") is False
    assert rows(works)["taught_talk"] == 0


def test_a_talk_is_taken_back_by_whoever_gave_it(browser, works):
    tomas, lee = browser("Tomas"), browser("Lee")
    give_talk(tomas, works)
    tomas.post("/crew/talks/1/back")
    assert "Taken back" in tomas.page
    assert not tomas.soup.select("form[action$='/back']")
    lee.get(f"/lessons/{SLUG}")
    assert not lee.soup.select("form[action$='/sitting']")


@pytest.mark.parametrize(
    ("language", "taught", "asked"),
    [
        ("en", "Taught in person on", "Questions in English."),
        ("es", "Impartida en persona el", "Preguntas en inglés."),
    ],
)
def test_the_entry_says_who_taught_in_either_language(browser, works, language, taught, asked):
    tomas = browser("Tomas")
    give_talk(tomas, works)
    with works.store.writing() as db:
        there = sitting.begin(db, works.people["Lee"], lessons.load().get(SLUG), works.now)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        sitting.close(db, works.scribe("Lee"), there, "en", 80)
    lee = browser("Lee")
    lee.get("/my-record")
    lee.post("/language", language=language, next="/my-record")
    said = lee.soup.select_one(".entries").text
    assert taught in said
    assert asked in said
    assert "Tomas (00002), Industrial hygiene technician" in said


# Practices


def test_those_ticked_are_watched_on_one_page_act_by_act(browser, works):
    practices(works)
    tomas = browser("Tomas")
    tomas.get("/crew/practices")
    worn = [box["value"] for box in tomas.soup.select("[name=worn]")]
    assert len(worn) == 2
    tomas.post("/crew/practices", worn=worn)
    acts = tomas.soup.select(".crew-act")
    assert len(acts) == 7
    for act in acts:
        assert [line.text for line in act.select("legend")] == ["Kim", "Lee"]
        assert len(act.select("input[type=radio]")) == 6


def test_marks_are_kept_as_they_are_given_and_each_is_signed_or_all(browser, works):
    two = practices(works)
    lee, kim = two["Lee"], two["Kim"]
    here = f"/crew/practices/{lee.id}-{kim.id}"
    tomas = browser("Tomas")
    tomas.get(here)
    part = {"HX-Request": "true", "HX-Request-Type": "partial"}
    assert "Saved" in tomas.post(here, headers=part, **marks(lee), **marks(kim, leave=3)).text
    tomas.get(here)
    assert len(tomas.soup.select("input[checked]")) == 7 + 4
    # All of them: one is whole, the other is not, and is named.
    answer = tomas.post(here, act="all", **marks(lee), **marks(kim, leave=3))
    assert answer.status_code == 422
    assert "Kim: Mark every act before you sign." in tomas.soup.select_one(".faults").text
    assert [line.text for line in tomas.soup.select(".crew-act legend")] == ["Kim"] * 7
    tomas.post(here, act=str(kim.id), **marks(kim, "helped"))
    assert not tomas.soup.select(".crew-act")
    with works.store.reading() as db:
        said = [
            record.body(record.of_person(db, number, ("practice",))[0])
            for number in ("00417", "00418")
        ]
        assert record.count(db) == 2
    assert [one["passed"] for one in said] == [True, False]
    assert {one["watched_by"]["name"] for one in said} == {"Tomas"}


def test_signed_twice_each_is_one_entry(browser, works):
    two = practices(works)
    here = f"/crew/practices/{two['Lee'].id}-{two['Kim'].id}"
    tomas = browser("Tomas")
    tomas.get(here)
    token = tomas.soup.select_one("[name=csrf_token]")["value"]
    for _ in range(2):
        tomas.post(here, csrf_token=token, act="all", **marks(two["Lee"]), **marks(two["Kim"]))
    with works.store.reading() as db:
        assert record.count(db) == 2


def test_the_trainers_own_is_not_on_the_list_and_cannot_be_picked(browser, works):
    with works.store.writing() as db:
        own = joining.give_respirator(db, works.scribe(), works.people["Tomas"], **HALF_MASK)
    tomas = browser("Tomas")
    tomas.get("/crew/practices")
    assert str(own.id) not in [box["value"] for box in tomas.soup.select("[name=worn]")]
    answer = tomas.post("/crew/practices", worn=[str(own.id)])
    assert answer.status_code == 422
    assert "their own practice" in tomas.page


def test_another_trainers_practices_are_not_shown(browser, works):
    number = practices(works)["Lee"].id
    wren = browser("Wren")
    for asked in (number, "0", "x", "", "9" * 5000, "-".join(map(str, range(20)))):
        assert wren.get(f"/crew/practices/{asked}").status_code == 404
    wren.get("/crew/practices")
    assert wren.post("/crew/practices", worn=["9" * 5000]).status_code == 422


# Paper


def printed(tomas, works: Works, *numbers: str, tongue: str = "en") -> list[PaperSitting]:
    """Print a sitting for each of these people, and return what was printed."""
    tomas.get(f"/crew/paper?lesson={SLUG}")
    tomas.post("/crew/paper", lesson=SLUG, person=list(numbers), tongue=tongue)
    with works.store.reading() as db:
        return list(db.exec(select(PaperSitting).order_by(PaperSitting.sitting_id)))


def shown(works: Works, paper: PaperSitting) -> list[sitting.Shown]:
    """Return what a paper asks."""
    with works.store.reading() as db:
        return sitting.shown(db, db.get(Sitting, paper.sitting_id))


@pytest.mark.parametrize(("tongue", "word"), [("en", "Signature"), ("es", "Firma")])
def test_a_sheet_a_person_with_room_to_write_and_without_an_answer(browser, works, tongue, word):
    read_all(works), read_all(works, "Kim")
    tomas = browser("Tomas")
    papers = printed(tomas, works, "00417", "00418", tongue=tongue)
    sheets = tomas.soup.select(".paper")
    assert len(sheets) == 2
    for sheet, paper, name in zip(sheets, papers, ("Lee", "Kim"), strict=True):
        text = sheet.text
        assert f"{paper.code[:3]}-{paper.code[3:]}" in text
        assert name in text and word in text
        assert sheet["lang"] == tongue
        items = shown(works, paper)
        assert len(sheet.select("ol > li")) == len(items)
        assert len(sheet.select(".room")) == 2  # a box for each problem
        assert not sheet.select("input, [checked], .is-right")
        for one in items:
            if one.question:
                whys = [option.why(tongue) for option in one.question.options]
                assert not [why for why in whys if why and why in text]
            else:
                assert not [step for step in one.problem.steps if step.text(tongue) in text]


def test_who_cannot_have_one_is_named_and_the_others_get_theirs(browser, works):
    read_all(works)
    tomas = browser("Tomas")
    printed(tomas, works, "00417", "00418")
    assert len(tomas.soup.select(".paper")) == 1
    assert "Kim: This person was at no talk" in tomas.soup.select_one("#status").text


def test_a_paper_is_entered_by_its_code_looked_over_and_closed_once(browser, works):
    read_all(works)
    tomas = browser("Tomas")
    [paper] = printed(tomas, works, "00417", tongue="es")
    items = shown(works, paper)
    tomas.get("/crew/paper/enter?code=nothing")
    assert "No paper of your people" in tomas.page
    tomas.get(f"/crew/paper/enter?code={paper.code.lower()}", follow_redirects=True)
    assert "Lee" in tomas.soup.select_one(".entering").text
    base = f"/crew/paper/{paper.code[:3]}-{paper.code[3:]}"
    for one in items:
        # The words are those that stand on the paper, in its language.
        asked = one.question.ask("es") if one.question else one.problem.text("es")
        assert asked.split("*")[0][:20] in tomas.soup.select_one("main").text
        tomas.post(f"{base}/{one.item.position}", answer=right_answer(one), since="0")
    assert tomas.soup.select_one("form[action$='/close']")["action"] == f"{base}/close"
    token = tomas.soup.select_one("[name=csrf_token]")["value"]
    for _ in range(2):
        tomas.post(f"{base}/close", csrf_token=token, written_on=works.today.isoformat())
    assert "Written on paper, entered by Tomas (00002)" in tomas.soup.select_one(".entries").text
    assert "Taught in Spanish." in tomas.page
    with works.store.reading() as db:
        assert record.count(db) == 1
    tomas.get(f"/crew/paper/enter?code={paper.code}")
    assert "closed or withdrawn" in tomas.page
    lee = browser("Lee")
    lee.get(f"/sittings/{paper.sitting_id}/result")
    assert len(lee.soup.select(".marked > li")) == len(items)


def test_what_was_not_entered_is_not_closed(browser, works):
    read_all(works)
    tomas = browser("Tomas")
    [paper] = printed(tomas, works, "00417")
    base = f"/crew/paper/{paper.code}"
    tomas.get(f"{base}/review")
    answer = tomas.post(f"{base}/close", written_on=works.today.isoformat())
    assert answer.status_code == 422
    assert "Some answers are missing" in tomas.soup.select_one(".faults").text


def test_nobody_sees_their_own_paper(browser, works):
    read_all(works)
    [paper] = printed(browser("Tomas"), works, "00417")
    lee = browser("Lee")
    for path in (f"/sittings/{paper.sitting_id}/1", f"/sittings/{paper.sitting_id}/review"):
        assert lee.get(path).status_code == 404
    with works.store.writing() as db:
        db.add(tables.PersonRole(person_id=works.people["Lee"].id, role="trainer"))
    lee.get("/crew/paper")
    assert paper.code[:3] not in lee.page
    for path in ("/1", "/review"):
        assert lee.get(f"/crew/paper/{paper.code}{path}").status_code == 404
    assert lee.get(f"/crew/paper/print?code={paper.code}").status_code == 404
    for path in ("/1", "/close", "/withdraw"):
        lee.get("/crew/paper")
        assert lee.post(f"/crew/paper/{paper.code}{path}").status_code == 404


def test_a_failed_paper_leads_to_the_talk_after_two(browser, works):
    read_all(works)
    tomas = browser("Tomas")
    for _ in range(2):
        paper = printed(tomas, works, "00417")[-1]
        base = f"/crew/paper/{paper.code}"
        for one in shown(works, paper):
            tomas.get(f"{base}/{one.item.position}")
            tomas.post(f"{base}/{one.item.position}", answer=wrong_answer(one))
        tomas.post(f"{base}/close", written_on=works.today.isoformat())
        assert "not passed yet" in tomas.soup.select_one("#status").text
    assert "Talk first" in tomas.page
    tomas.get(f"/crew/paper?lesson={SLUG}")
    tomas.post("/crew/paper", lesson=SLUG, person=["00417"], tongue="en")
    assert "Talk with this person first" in tomas.soup.select_one("#status").text
    with works.store.reading() as db:
        assert record.count(db) == 0


def test_a_lesson_read_on_the_screen_still_says_so(browser, works):
    pass_lesson(works, "Lee", SLUG, works.now)
    lee = browser("Lee")
    lee.get("/my-record")
    said = lee.soup.select_one(".entries").text
    assert "Taught in English." in said
    assert "paper" not in said
