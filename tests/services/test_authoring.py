"""Writing a worksite's lesson: nothing that was written is lost, and versions stay as they were."""

import json
from datetime import timedelta

import pytest

from tests.conftest import ZONE, Works, pass_lesson, right_answer
from tests.site_lessons import ENGLISH, TEXT, begun, pass_site_lesson, published
from trainer import lessons
from trainer.lessons import matters, written
from trainer.lessons.written import Text
from trainer.services import (
    assigning,
    authoring,
    curriculum,
    describing,
    learning,
    recording,
    sitting,
    standing,
    teaching,
    today,
)
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import assignments, people, record, site_lessons
from trainer.store.tables import Person, SiteLesson, TaughtContent, TaughtTalk


def write(works: Works, db, lesson: SiteLesson, text: str, name: str = "Tomas", **page):
    """Let somebody save the English text from a page."""
    page = {"since": site_lessons.drafts(db, lesson.id)["en"].revision, "page": name, "turn": 1,
            **page}
    new = Text(ENGLISH.title, ENGLISH.summary, text)
    return authoring.save(db, works.scribe(name), lesson, "en", new, **page)


def test_the_starting_text_holds_every_matter_that_only_the_site_can_fill(works: Works) -> None:
    with works.store.writing() as db:
        loft = works.worksites["Laminating Loft"]
        lesson = authoring.begin(db, works.scribe("Tomas"), loft, "es")
        text = authoring.texts(db, lesson)["es"]
        assert "Laminating Loft" in text.title
        assert set(matters.covered(text.markdown).values()) == {"begun"}
        assert [one.element for one in matters.matters()] == [
            f"(k)(1)({n})" for n in ("i", "ii", "iii", "iv", "v", "vi", "vii")
        ]
        with pytest.raises(Refusal, match="Put right"):
            authoring.publish(db, works.scribe("Tomas"), lesson)


def test_a_page_that_saves_by_itself_goes_on_from_its_own_savings(works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
        first = site_lessons.drafts(db, lesson.id)["en"].revision
        for turn in (1, 2, 3):
            saved = write(works, db, lesson, f"{TEXT}\n{turn}", since=first, page="a", turn=turn)
        assert saved.aside is None
        assert saved.draft.text.endswith("3")


def test_a_saving_that_comes_late_undoes_no_newer_one(works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
        since = site_lessons.drafts(db, lesson.id)["en"].revision
        write(works, db, lesson, f"{TEXT}\nnewer", since=since, page="a", turn=2)
        late = write(works, db, lesson, f"{TEXT}\nolder", since=since, page="a", turn=1)
        assert late.late
        assert late.draft.text.endswith("newer")
        assert site_lessons.asides(db, lesson.id) == []


def test_a_page_without_script_may_be_sent_again_after_going_back(works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
        since = site_lessons.drafts(db, lesson.id)["en"].revision
        for words in ("first", "second"):
            saved = write(works, db, lesson, f"{TEXT}\n{words}", since=since, page="p", turn=0)
        assert saved.draft.text.endswith("second")


def test_two_who_write_at_once_lose_nothing_and_are_both_told(works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
        since = site_lessons.drafts(db, lesson.id)["en"].revision
        write(works, db, lesson, f"{TEXT}\nby Tomas", since=since, page="t", turn=1)
        other = write(works, db, lesson, f"{TEXT}\nby Ida", "Ida", since=since, page="i", turn=1)
        assert other.aside.text.endswith("by Ida")
        assert other.draft.text.endswith("by Tomas")
        again = write(works, db, lesson, f"{TEXT}\nby Ida, more", "Ida", since=since, page="i",
                      turn=2)
        assert again.aside.id == other.aside.id
        assert again.aside.text.endswith("more")
        told = write(works, db, lesson, f"{TEXT}\nby Tomas, more", since=since, page="t", turn=2)
        assert [one.id for one in told.beside] == [other.aside.id]
        with pytest.raises(Refusal, match="Settle first"):
            authoring.publish(db, works.scribe("Tomas"), lesson)

        authoring.settle(db, works.scribe("Ida"), again.aside, put=True)
        draft = site_lessons.drafts(db, lesson.id)["en"]
        assert draft.text.endswith("by Ida, more")
        kept = [one.text for one in site_lessons.asides(db, lesson.id)]
        assert [text.splitlines()[-1] for text in kept] == ["by Tomas, more"]
        # The page of Tomas is still open: what he goes on writing is kept as well.
        late = write(works, db, lesson, f"{TEXT}\nby Tomas, last", since=since, page="t", turn=3)
        assert late.aside.text.endswith("last")


def test_a_text_that_is_left_stays_kept(works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
        write(works, db, lesson, f"{TEXT}\nby Tomas", page="t")
        aside = write(works, db, lesson, f"{TEXT}\nby Ida", "Ida", since=0, page="i").aside
        authoring.settle(db, works.scribe("Ida"), aside, put=False)
        assert site_lessons.asides(db, lesson.id) == []
        assert site_lessons.drafts(db, lesson.id)["en"].text.endswith("by Tomas")
        assert aside.text.endswith("by Ida")


def test_published_twice_it_is_one_version(works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
        one, two = (authoring.publish(db, works.scribe("Tomas"), lesson) for _ in range(2))
        assert (one.id, one.ordinal) == (two.id, 1)


def test_a_version_stays_as_it_was(works: Works) -> None:
    lesson = published(works)
    with works.store.writing() as db:
        write(works, db, lesson, TEXT.replace("west", "east"))
        authoring.publish(db, works.scribe("Tomas"), lesson, why="A door was named wrongly.")
        old, new = reversed(site_lessons.versions(db, lesson.id))
        assert "west door" in curriculum.texts_of(old)["en"].markdown
        assert "east door" in curriculum.texts_of(new)["en"].markdown
        assert old.version != new.version


def test_a_new_version_asks_for_a_reason_when_nobody_is_retrained(works: Works) -> None:
    lesson = published(works)
    with works.store.writing() as db:
        write(works, db, lesson, TEXT.replace("west", "east"))
        with pytest.raises(Refusal, match="why nobody"):
            authoring.publish(db, works.scribe("Tomas"), lesson, why="  ")


def test_publishing_can_ask_those_who_had_the_old_one_and_nobody_else(works: Works) -> None:
    lesson = published(works)
    pass_site_lesson(works, "Lee", lesson)
    with works.store.writing() as db:
        write(works, db, lesson, TEXT.replace("west", "east"))
        authoring.publish(
            db, works.scribe("Tomas", works.now + timedelta(minutes=5)), lesson, retrain=True,
            reason="changed-workplace", due=works.today + timedelta(days=7),
        )  # fmt: skip
        given = {name: people.assignments(db, works.people[name].id) for name in ("Lee", "Kim")}
    assert [(one.lesson, one.reason) for one in given["Lee"]] == [
        (site_lessons.slug_of(lesson.id), "changed-workplace")
    ]
    assert given["Kim"] == []


def test_the_record_names_the_lesson_of_the_worksite_and_keeps_what_it_said(works: Works) -> None:
    loft = works.worksites["Laminating Loft"]
    with works.store.writing() as db:
        describing.describe(db, loft, emergency="Leave by the west door", storage="")
    lesson = published(works)
    there = pass_site_lesson(works, "Lee", lesson)
    with works.store.reading() as db:
        said = record.body(record.of_person(db, "00417", ("lesson",))[-1])
        kept = db.get(TaughtContent, said["version"])
    assert there.passed
    assert said["title"] == ENGLISH.title
    assert said["worksite_part"] == {"worksite": loft.name, "version": 1}
    assert said["elements"] == ["(k)(1)(i)", "(k)(1)(iii)", "(c)(1)(vii)"]
    slug = site_lessons.slug_of(lesson.id)
    assert "Leave by the west door" in json.loads(kept.files)[f"{slug}/emergency.en.md"]
    assert "case 0" in json.loads(kept.files)[f"{slug}/questions.json"]


def test_what_was_taught_changes_with_what_the_worksite_says(works: Works) -> None:
    lesson = published(works)
    loft = works.worksites["Laminating Loft"]
    with works.store.writing() as db:
        slug = site_lessons.slug_of(lesson.id)
        before = curriculum.find(db, slug).version
        describing.describe(db, loft, emergency="Leave by the west door", storage="")
        told = curriculum.find(db, slug).version
        describing.describe(db, loft, emergency="Leave by the west door", storage="Bin 4")
        assert before != told
        # Where respirators are kept is not in this lesson, so it changed nothing of it.
        assert curriculum.find(db, slug).version == told


def test_its_people_learn_it_with_all_others_and_nobody_else(works: Works) -> None:
    lesson = published(works)
    slug = site_lessons.slug_of(lesson.id)
    with works.store.reading() as db:
        course = {name: standing.History(db, works.people[name]).course for name in ("Lee", "Noor")}
        assert curriculum.find_for(db, works.people["Noor"], slug) is None
    assert course["Lee"] == (*course["Noor"], slug)


def test_training_is_whole_only_with_the_worksite_part(works: Works) -> None:
    lesson = published(works)
    for one in lessons.load().all:
        pass_lesson(works, "Lee", one.slug, works.now)
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        history = standing.History(db, lee)
        assert len(history.this_round(works.today)) == len(history.course) - 1
        assert [one.slug for one in history.to_do(works.today)] == [
            site_lessons.slug_of(lesson.id)
        ]


def test_taken_off_it_is_missing_nobody_any_more(works: Works, monkeypatch) -> None:
    lesson = published(works)
    asked = []
    monkeypatch.setattr(
        recording, "complete_training", lambda db, by, person: asked.append(person.name)
    )
    with works.store.writing() as db:
        authoring.end(db, works.scribe("Tomas"), db.get(SiteLesson, lesson.id))
        history = standing.History(db, works.people["Lee"])
    assert asked == ["Kim", "Lee", "Tomas"]
    assert site_lessons.slug_of(lesson.id) not in history.course


def test_a_trainer_assigns_only_lessons_of_the_own_worksites(works: Works) -> None:
    lesson = published(works)
    slug, day = site_lessons.slug_of(lesson.id), works.today + timedelta(days=3)
    with works.store.writing() as db:
        lee, noor = works.people["Lee"], works.people["Noor"]
        assert assigning.assign(db, works.scribe("Tomas"), lee, [slug], day, "other")
        with pytest.raises(Refusal, match="at least one lesson"):
            assigning.assign(db, works.scribe("Wren"), noor, [slug], day, "other")


def test_a_language_that_is_missing_is_never_mixed_in(works: Works) -> None:
    lesson = published(works)
    with works.store.reading() as db:
        found = curriculum.find(db, site_lessons.slug_of(lesson.id))
    assert found.languages == ("en",)
    assert found.title("es") == f"{ENGLISH.title} (en inglés)"
    with pytest.raises(KeyError):
        found.sections[0].parts("es")


def test_differences_say_what_went_and_what_came() -> None:
    changes = authoring.differences("one\ntwo\nthree", "one\n2\nthree\nfour")
    assert [(one.kind, one.text) for one in changes] == [
        ("same", "one"), ("out", "two"), ("in", "2"), ("same", "three"), ("in", "four"),
    ]  # fmt: skip


def test_a_saving_without_the_key_of_its_page_goes_on_from_nobody(works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
        for words in ("one", "two"):
            since = site_lessons.drafts(db, lesson.id)["en"].revision
            write(works, db, lesson, f"{TEXT}\n{words}", since=since, page="", turn=0)
        stale = write(works, db, lesson, f"{TEXT}\nthree", since=0, page="", turn=0)
        assert stale.aside.text.endswith("three")
        assert stale.draft.text.endswith("two")


def test_letters_are_counted_as_they_are_kept(works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
        line, form = "x\n", "x\r\n"
        as_typed = line * (written.MOST_LETTERS // len(line))
        sent = form * (written.MOST_LETTERS // len(line))
        assert write(works, db, lesson, sent).draft.text == as_typed
        with pytest.raises(Refusal, match="longer than"):
            write(works, db, lesson, f"{sent}xx")


def test_begun_twice_it_is_one_lesson_until_it_was_touched(works: Works) -> None:
    with works.store.writing() as db:
        loft = works.worksites["Laminating Loft"]
        one, two = (authoring.begin(db, works.scribe("Tomas"), loft, "en") for _ in range(2))
        assert one.id == two.id
        assert authoring.begin(db, works.scribe("Ida"), loft, "en").id != one.id
        write(works, db, one, TEXT)
        assert authoring.begin(db, works.scribe("Tomas"), loft, "en").id != one.id


def test_nobody_publishes_what_another_one_has_just_written(works: Works) -> None:
    with works.store.writing() as db:
        lesson = begun(works, db)
        seen = authoring.as_it_stands(db, lesson)
        write(works, db, lesson, f"{TEXT}\nHalf a sen", "Ida")
        with pytest.raises(Refusal, match="changed after you opened"):
            authoring.publish(db, works.scribe("Tomas"), lesson, seen=seen)
        seen = authoring.as_it_stands(db, lesson)
        made = authoring.publish(db, works.scribe("Tomas"), lesson, seen=seen)
        # A second click of a page that was opened before.
        assert authoring.publish(db, works.scribe("Tomas"), lesson, seen="old").id == made.id


def test_taken_off_it_is_published_no_more_and_asked_of_nobody_who_comes(works: Works) -> None:
    lesson = published(works)
    slug, loft = site_lessons.slug_of(lesson.id), works.worksites["Laminating Loft"]
    with works.store.writing() as db:
        lesson = db.get(SiteLesson, lesson.id)
        assigning.begin_standing(db, works.scribe("Tomas"), loft, [slug])
        authoring.end(db, works.scribe("Tomas"), lesson)
        assert assignments.standing_at(db, [loft.id]) == []
        write(works, db, lesson, TEXT.replace("west", "east"))
        with pytest.raises(Refusal, match="taken off"):
            authoring.publish(db, works.scribe("Tomas"), lesson, why="A door.")


@pytest.mark.parametrize("reason", ["first", "yearly", "", "nonsense"])
def test_doing_it_again_needs_a_reason_that_asks_those_who_did_it(works: Works, reason) -> None:
    lesson = published(works)
    pass_site_lesson(works, "Lee", lesson)
    with works.store.writing() as db:
        write(works, db, lesson, TEXT.replace("west", "east"))
        with pytest.raises(Refusal, match="Choose the reason"):
            authoring.publish(
                db, works.scribe("Tomas"), lesson, retrain=True, reason=reason, due=works.today
            )


def again(works: Works, db, lesson: SiteLesson, text: str, later: int = 5) -> None:
    """Publish another text, and ask those who had the old one to do it again."""
    write(works, db, lesson, text)
    authoring.publish(
        db, works.scribe("Tomas", works.now + timedelta(minutes=later)), lesson, retrain=True,
        reason="changed-workplace", due=works.today + timedelta(days=7),
    )  # fmt: skip


def test_questions_of_the_old_version_do_not_count_as_doing_it_again(works: Works) -> None:
    lesson = published(works)
    slug = site_lessons.slug_of(lesson.id)
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        found = curriculum.find_for(db, lee, slug)
        for section in found.sections:
            learning.finish_section(db, lee, found, section.id, works.now)
        there = sitting.begin(db, lee, found, works.now)
        again(works, db, lesson, TEXT.replace("west", "east"))
        assert [one.lesson for one in people.assignments(db, lee.id)] == [slug]
        later = works.now + timedelta(minutes=9)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), later)
        sitting.close(db, Scribe(lee, later, ZONE), there, "en", 80)
        said = record.body(record.of_person(db, "00417", ("lesson",))[-1])
        assert said["worksite_part"]["version"] == 1
        assert standing.History(db, lee).retraining() == (slug,)
        assert [one.lesson for one in today._People(db, [lesson.worksite_id], works.today).open] \
            == [slug]


def test_sections_that_changed_are_unread_again_and_the_others_are_not(works: Works) -> None:
    lesson = published(works)
    slug = site_lessons.slug_of(lesson.id)
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        found = curriculum.find_for(db, lee, slug)
        for section in found.sections:
            learning.finish_section(db, lee, found, section.id, works.now, heard=True)
        write(works, db, lesson, TEXT.replace("west", "east"))
        authoring.publish(db, works.scribe("Tomas"), lesson, why="A door was named wrongly.")
        found = curriculum.find_for(db, lee, slug)
        place = learning.place(db, lee, slug)
        assert learning.unread(place, found) == ["emergency"]
        with pytest.raises(Refusal, match="Read every section"):
            sitting.begin(db, lee, found, works.now)


def test_where_the_section_is_gone_a_person_goes_on_at_one_that_is_there(works: Works) -> None:
    lesson = published(works)
    slug = site_lessons.slug_of(lesson.id)
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        learning.finish_section(db, lee, curriculum.find_for(db, lee, slug), "why", works.now)
        write(works, db, lesson, TEXT.replace("{#emergency}", "{#way-out}"))
        authoring.publish(db, works.scribe("Tomas"), lesson, why="Another id.")
        found, place = curriculum.find_for(db, lee, slug), learning.place(db, lee, slug)
        assert place.section == "emergency"
        assert learning.go_on_at(place, found) == "way-out"


def test_a_sitting_is_closed_only_in_a_language_that_its_lesson_has(works: Works) -> None:
    lesson = published(works)  # in English; its questions have both
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        found = curriculum.find_for(db, lee, site_lessons.slug_of(lesson.id))
        for section in found.sections:
            learning.finish_section(db, lee, found, section.id, works.now)
        there = sitting.begin(db, lee, found, works.now)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, right_answer(one), works.now)
        assert sitting.languages(db, there, sitting.shown(db, there)) == ("en",)
        with pytest.raises(Refusal, match="not written in that language"):
            sitting.close(db, Scribe(lee, works.now, ZONE), there, "es", 80)


def test_the_same_text_published_once_more_is_the_version_that_it_is(works: Works) -> None:
    lesson = published(works)
    with works.store.writing() as db:
        for turn, text in enumerate((TEXT.replace("west", "east"), TEXT), start=1):
            write(works, db, lesson, text, turn=turn)
            authoring.publish(db, works.scribe("Tomas"), lesson, why="A door.")
    pass_site_lesson(works, "Kim", lesson)
    with works.store.reading() as db:
        said = record.body(record.of_person(db, "00418", ("lesson",))[-1])
    assert said["worksite_part"]["version"] == 3


def test_languages_left_out_or_behind_are_pointed_at(works: Works) -> None:
    spanish = Text("Con rodillo", "Usted puede.", TEXT)
    lesson = published(works, {"en": ENGLISH, "es": spanish})

    def said(db) -> list[str]:
        return [one.sentence("en") for one in authoring.look_over(db, lesson) if not one.stops]

    with works.store.writing() as db:
        nothing = [one for one in said(db) if "nothing entered" in one]
        assert len(nothing) == 4  # hazards and emergency, in both languages
        write(works, db, lesson, TEXT.replace("west", "east"))
        assert [one for one in said(db) if "and Spanish was not" in one]
        authoring.publish(db, works.scribe("Tomas"), lesson, why="A door.")
        authoring.save(
            db, works.scribe("Tomas"), lesson, "es", Text("Con rodillo", "Usted puede.", " "),
            since=site_lessons.drafts(db, lesson.id)["es"].revision, page="x", turn=1,
        )  # fmt: skip
        assert [one for one in said(db) if "also in Spanish, and this one" in one]
        authoring.publish(db, works.scribe("Tomas"), lesson, why="No Spanish.")
        assert [one for one in said(db) if "Spanish is empty" in one]


def test_a_talk_about_what_is_to_be_done_again_opens_no_questions(works: Works, monkeypatch):
    lesson = published(works)
    slug = site_lessons.slug_of(lesson.id)
    talk = TaughtTalk(id=1, recorded_at=works.now)
    monkeypatch.setattr(teaching, "opening", lambda *_: talk)
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        found = curriculum.find_for(db, lee, slug)
        assert sitting.way_in(db, lee, found, works.now) == (True, talk)
        again(works, db, lesson, TEXT.replace("west", "east"))
        assert sitting.way_in(db, lee, found, works.now) == (False, None)
