"""The pages of a worksite's lesson: for who writes it, and for who is reading as it changes."""

import re
from datetime import timedelta

import pytest
from sqlmodel import delete

from tests.conftest import Works, right_answer
from tests.site_lessons import ENGLISH, TEXT, begun, pass_site_lesson, published
from trainer.lessons import written
from trainer.lessons.pictures import Picture as Safe
from trainer.lessons.written import Text
from trainer.services import authoring, curriculum, learning, pictures, sitting
from trainer.store import site_lessons
from trainer.store.tables import Assignment, Membership, Person, SiteLesson, Sitting

SPANISH = Text("Con rodillo", "Usted puede decir qué hay.", TEXT)


def address(works: Works, lesson: SiteLesson) -> str:
    """Return where a lesson of the Loft is written."""
    return f"/sites/{works.worksites['Laminating Loft'].id}/lessons/{lesson.id}"


def rewritten(works: Works, lesson: SiteLesson, texts: dict[str, str]) -> None:
    """Publish a lesson with these texts; an empty one takes its language out."""
    with works.store.writing() as db:
        by = works.scribe("Tomas", works.now + timedelta(minutes=2))
        for language, text in texts.items():
            draft = authoring.begin_language(db, by, lesson, language)
            authoring.save(
                db, by, lesson, language, Text("Anew", "You can.", text),
                since=draft.revision, page=f"new-{language}", turn=1,
            )  # fmt: skip
        authoring.publish(db, by, lesson, why="For the test.")


def read_all(works: Works, name: str, lesson: SiteLesson) -> Sitting:
    """Let a person read all of a lesson and begin its questions."""
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        found = curriculum.find_for(db, person, site_lessons.slug_of(lesson.id))
        for section in found.sections:
            learning.finish_section(db, person, found, section.id, works.now)
        return sitting.begin(db, person, found, works.now)


def hidden(page: str, name: str) -> str:
    """Return the value of a hidden field of a page."""
    return re.search(rf'name="{name}" value="([^"]*)"', page)[1]


def test_a_text_too_long_comes_back_and_is_saved_once_it_is_short(browser, works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
    tomas = browser("Tomas")
    here = f"{address(works, lesson)}/write/en"
    tomas.get(here)
    sent = {name: hidden(tomas.page, name) for name in ("since", "page")}
    sent |= {"title": "Rolling", "summary": "You can."}
    by_itself = {"Accept": "application/json"}
    for turn in range(1, 4):
        said = tomas.post(here, turn=turn, text=f"## {turn}", headers=by_itself, **sent).json
        assert said["kept"] == "draft"
    refused = tomas.post(here, turn=4, text="x" * (written.MOST_LETTERS + 1), **sent)
    assert refused.status_code == 422
    sent = {name: hidden(tomas.page, name) for name in ("since", "page")}
    next_turn = int(hidden(tomas.page, "turn")) + 1
    assert next_turn == 5
    said = tomas.post(here, turn=next_turn, text="## Short", headers=by_itself, title="Rolling",
                      summary="You can.", **sent).json  # fmt: skip
    with works.store.reading() as db:
        assert site_lessons.drafts(db, lesson.id)["en"].text == "## Short"
    assert said["kept"] == "draft"


def test_a_copy_of_a_page_that_is_behind_is_told_and_not_that_it_is_saved(browser, works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
    tomas = browser("Tomas")
    here = f"{address(works, lesson)}/write/en"
    tomas.get(here)
    sent = {name: hidden(tomas.page, name) for name in ("since", "page")}
    json = {"Accept": "application/json"}
    tomas.post(here, turn=7, text="## Ahead", headers=json, **sent)
    said = tomas.post(here, turn=1, text="## Behind", headers=json, **sent).json
    assert (said["kept"], said["turn"]) == ("late", 7)


@pytest.mark.parametrize("text", ["", "Only words, no section."])
def test_a_text_without_a_section_breaks_no_page(browser, works: Works, text: str) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db, {"en": Text("Rolling", "You can.", text)})
    tomas = browser("Tomas")
    here = address(works, lesson)
    for page in (here, f"{here}/write/en", f"{here}/questions"):
        assert tomas.get(page).status_code == 200


def test_what_was_written_since_is_not_published_unseen(browser, works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
    tomas = browser("Tomas")
    tomas.get(address(works, lesson))
    seen = hidden(tomas.page, "seen")
    with works.store.writing() as db:
        authoring.save(
            db, works.scribe("Ida"), lesson, "en", Text("a", "b", f"{TEXT}\nHalf"),
            since=site_lessons.drafts(db, lesson.id)["en"].revision, page="ida", turn=1,
        )  # fmt: skip
    answer = tomas.post(f"{address(works, lesson)}/publish", seen=seen)
    assert answer.status_code == 422
    assert "changed after you opened this page" in answer.text
    assert tomas.post(f"{address(works, lesson)}/publish", seen=hidden(tomas.page, "seen"),
                      ).status_code == 200  # fmt: skip


def test_a_section_that_is_gone_leads_back_to_the_lesson(browser, works: Works) -> None:
    lesson = published(works)
    slug = site_lessons.slug_of(lesson.id)
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        found = curriculum.find_for(db, lee, slug)
        learning.finish_section(db, lee, found, "why", works.now)
    rewritten(works, lesson, {"en": TEXT.replace("{#emergency}", "{#way-out}")})
    lee = browser("Lee")
    assert f'href="/lessons/{slug}/way-out"' in lee.get("/tag").text
    for answer in (lee.get(f"/lessons/{slug}/emergency", follow_redirects=True),
                   lee.post(f"/lessons/{slug}/emergency/done")):
        assert answer.status_code == 200
        assert "written anew" in answer.text
    assert lee.get("/lessons/hazards/nothing-of-the-kind").status_code == 404


def test_a_sitting_goes_on_in_its_language_when_the_lesson_loses_it(browser, works: Works) -> None:
    lesson = published(works, {"en": ENGLISH, "es": SPANISH})
    there = read_all(works, "Lee", lesson)
    rewritten(works, lesson, {"en": "", "es": f"{TEXT}\nMás."})
    lee = browser("Lee")
    with works.store.writing() as db:
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        missed = sitting.shown(db, there)[0]
        wrong = next(i for i, o in enumerate(missed.question.options) if not o.right)
        sitting.answer(db, there, missed.item.position, [str(wrong)], works.now)
    assert lee.get(f"/sittings/{there.id}/1").status_code == 200
    lee.get(f"/sittings/{there.id}/review")
    answer = lee.post(f"/sittings/{there.id}/close")
    assert answer.status_code == 200
    assert "(in Spanish)" in answer.text  # the section to read again, named as what it is


def test_a_sitting_offers_the_language_that_it_was_drawn_in(browser, works: Works) -> None:
    lesson = published(works)  # in English alone; its questions have Spanish too
    there = read_all(works, "Lee", lesson)
    lee = browser("Lee")
    lee.get("/tag")
    lee.post("/language", language="es", next="/tag")
    answer = lee.get(f"/sittings/{there.id}/1")
    assert 'value="en"' in answer.text
    assert "solo en inglés" in answer.text


def test_whoever_moved_finishes_the_questions_and_is_sent_to_no_page_they_may_not_see(
    browser, works: Works
) -> None:
    lesson = published(works)
    there = read_all(works, "Lee", lesson)
    with works.store.writing() as db:
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, ["0"], works.now)
        lee = db.get(Person, works.people["Lee"].id)
        move_to_the_joinery(db, lee, works)
    browser_ = browser("Lee")
    assert browser_.get("/tag").status_code == 200
    browser_.get(f"/sittings/{there.id}/review")
    answer = browser_.post(f"/sittings/{there.id}/close")
    assert answer.status_code == 200
    for link in re.findall(rf'href="(/lessons/site-{lesson.id}/[^"]*)"', answer.text):
        assert browser_.get(link).status_code == 200, link


def move_to_the_joinery(db, person: Person, works: Works) -> None:
    """Move a person from the Loft to the Joinery."""
    db.exec(delete(Membership).where(Membership.person_id == person.id))
    db.add(Membership(person_id=person.id, worksite_id=works.worksites["Joinery"].id))
    db.flush()


def test_differences_show_title_questions_and_a_language_that_went(browser, works: Works) -> None:
    lesson = published(works, {"en": ENGLISH, "es": SPANISH})
    rewritten(works, lesson, {"en": TEXT.replace("west", "east"), "es": ""})
    tomas = browser("Tomas")
    page = tomas.get(f"{address(works, lesson)}/versions/2").text
    assert "<del>Rolling at the Loft</del>" in page
    assert "<ins>Anew</ins>" in page
    assert "no longer in this version" in page
    assert "¿Qué usa, caso 0? !" in page
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))


def test_whoever_has_the_lesson_sees_its_pictures(browser, works: Works) -> None:
    lesson = published(works)
    loft, noor = works.worksites["Laminating Loft"], works.people["Noor"]
    with works.store.writing() as db:
        png = Safe("png", 1, 1, b"\x89PNG")
        kept = pictures.add(db, works.scribe("Tomas"), loft, png, en="A valve", es="")
    there = browser("Noor")
    assert there.get(f"/pictures/{kept.id}").status_code == 404
    with works.store.writing() as db:
        db.add(Assignment(
            person_id=noor.id, lesson=site_lessons.slug_of(lesson.id), due=works.today,
            reason="other", assigned_by=noor.id, assigned_at=works.now,
        ))  # fmt: skip
    assert there.get(f"/pictures/{kept.id}").status_code == 200


def test_only_reasons_that_ask_again_are_offered(browser, works: Works) -> None:
    lesson = published(works)
    pass_site_lesson(works, "Lee", lesson)
    with works.store.writing() as db:
        authoring.save(
            db, works.scribe("Tomas"), lesson, "en", Text("a", "b", f"{TEXT}\nMore."),
            since=site_lessons.drafts(db, lesson.id)["en"].revision, page="t", turn=1,
        )  # fmt: skip
    tomas = browser("Tomas")
    tomas.get(address(works, lesson))
    offered = [one["value"] for one in tomas.soup.select("#reason option")]
    assert "changed-workplace" in offered
    assert not {"first", "yearly"} & set(offered)
