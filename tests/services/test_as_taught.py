"""A lesson as it was taught: from what was kept, whatever was changed since."""

import json

import pytest

from tests.conftest import Works, pass_lesson
from tests.site_lessons import ENGLISH, pass_site_lesson, published
from trainer import bank, lessons
from trainer.lessons.written import Text
from trainer.services import as_taught, authoring, curriculum
from trainer.store import record, site_lessons
from trainer.store.tables import Person, TaughtContent

SLUG = "protection-factors"


def version_of(works: Works, name: str) -> str:
    """Return the version that somebody's newest entry of a lesson names."""
    with works.store.reading() as db:
        entry = record.of_person(db, works.people[name].number, ("lesson",))[-1]
        return record.body(entry)["version"]


def test_every_lesson_of_ours_comes_back_word_for_word(works):
    """Sections and drawings as they are shown today, since nothing was changed between."""
    for lesson in lessons.load().all:
        with works.store.writing() as db:
            version = curriculum.keep_taught(db, lesson, works.now)
        with works.store.reading() as db:
            found = as_taught.find(db, version)
        for language in ("en", "es"):
            page = found.pages[language]
            assert page.title == lesson.title(language)
            assert page.sources == lesson.sources(language)
            for section, (title, html) in zip(lesson.sections, page.sections, strict=True):
                assert title == section.title(language)
                for part in section.parts(language):
                    assert part.kind == "exercise" or part.html in html
        assert found.questions == bank.load().for_lesson(lesson.slug)
        assert len(found.exercises) == len(bank.load().exercises_for(lesson.slug))


def test_it_is_what_was_kept_and_not_what_is_there_now(works):
    pass_lesson(works, "Lee", SLUG, works.now)
    version = version_of(works, "Lee")
    with works.store.writing() as db:
        kept = db.get(TaughtContent, version)
        files = json.loads(kept.files)
        name = "lessons/en/30-protection-factors.md"
        files[name] = files[name].replace("Protection factors", "Factors of old", 1)
        db.add(TaughtContent(
            version="old", lesson=SLUG, files=json.dumps(files), kept_at=works.now
        ))  # fmt: skip
    with works.store.reading() as db:
        assert as_taught.find(db, "old").pages["en"].title == "Factors of old"
        assert as_taught.find(db, version).pages["en"].title == "Protection factors"
        assert as_taught.find(db, "nothing") is None


def test_a_worksites_lesson_comes_back_as_its_worker_read_it(works):
    lesson = published(works)
    pass_site_lesson(works, "Lee", lesson)
    version = version_of(works, "Lee")
    with works.store.writing() as db:
        changed = Text("Another title", "Another summary", ENGLISH.markdown.replace("west", "east"))
        authoring.save(
            db, works.scribe("Tomas"), lesson, "en", changed,
            since=site_lessons.drafts(db, lesson.id)["en"].revision, page="en", turn=2,
        )  # fmt: skip
        authoring.publish(db, works.scribe("Tomas"), lesson, why="A door was walled up.")
    with works.store.reading() as db:
        found = as_taught.find(db, version)
    assert list(found.pages) == ["en"]
    page = found.pages["en"]
    assert (page.title, page.summary) == (ENGLISH.title, ENGLISH.summary)
    assert [title for title, _ in page.sections] == ["Why we wear it here", "The way out"]
    assert "<strong>west door</strong>" in page.sections[1][1]
    assert "[[site" not in "".join(html for _, html in page.sections)
    assert (found.place, found.ordinal) == ("Laminating Loft", 1)
    assert [one.ask("en") for one in found.questions] == [
        f"What do you wear to roll, case {n}?" for n in range(3)
    ]


def test_a_worksites_lesson_is_for_its_people_and_who_had_it(works):
    lesson = published(works)
    pass_site_lesson(works, "Lee", lesson)
    version = version_of(works, "Lee")
    with works.store.reading() as db:
        found = as_taught.find(db, version)
        walkers = (
            ("Lee", "worker"), ("Noor", "worker"), ("Wren", "trainer"), ("Tomas", "trainer"),
            ("Ida", "coordinator"),
        )  # fmt: skip
        may = {
            name: as_taught.may_read(
                db, db.get(Person, works.people[name].id), frozenset({role}), found
            )
            for name, role in walkers
        }
    assert may == {"Lee": True, "Noor": False, "Wren": False, "Tomas": True, "Ida": True}


def test_a_kept_name_never_leads_out_of_its_folder(works):
    with works.store.writing() as db:
        db.add(TaughtContent(
            version="bad", lesson=SLUG, files=json.dumps({"../../outside.md": "x"}),
            kept_at=works.now,
        ))  # fmt: skip
    with works.store.reading() as db, pytest.raises(ValueError, match="no name of a kept file"):
        as_taught.find(db, "bad")


