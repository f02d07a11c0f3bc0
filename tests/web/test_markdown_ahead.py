"""No page reads or cleans Markdown of a lesson: that was done at the start, or once for a text."""

from collections import Counter
from collections.abc import Callable

import markdown
import nh3
import pytest

from tests.conftest import Works
from tests.site_lessons import ENGLISH, published
from tests.store.test_many_processes import wait_until
from trainer import lessons
from trainer.lessons.written import Text
from trainer.services import curriculum, errands
from trainer.store import site_lessons


@pytest.fixture
def done(monkeypatch) -> Counter:
    """Count how often Markdown is read, and HTML cleaned, from here on."""
    counted: Counter = Counter()
    for module, name in ((markdown.Markdown, "convert"), (nh3, "clean")):
        monkeypatch.setattr(module, name, counting(counted, name, getattr(module, name)))
    return counted


def counting(counted: Counter, name: str, real: Callable) -> Callable:
    """Return a function that counts its calls and does what it did before."""

    def call(*given: object, **more: object) -> object:
        counted[name] += 1
        return real(*given, **more)

    return call


def test_the_count_sees_what_it_should(done):
    lessons.html("**now**", "en")
    assert done == {"convert": 1, "clean": 1}


def test_no_page_of_our_lessons_reads_markdown(browser, done):
    lee = browser("Lee")
    for language in ("en", "es"):
        lee.post("/language", language=language)
        for lesson in lessons.load().all:
            for section in lesson.sections:
                assert lee.get(f"/lessons/{lesson.slug}/{section.id}").status_code == 200
                assert section.title(language) in lee.soup.main.get_text()
    assert done == {}


def test_a_text_of_a_worksite_is_read_once_for_all_its_pages_and_readers(
    browser, works: Works, done
):
    spanish = Text("Rodillo en el taller", "Sabe qué hay en el aire.", ENGLISH.markdown)
    slug = site_lessons.slug_of(published(works, {"en": ENGLISH, "es": spanish}).id)
    # Another process, or the next start, knows of the text only what stands in the record.
    curriculum._composed.cache_clear()
    done.clear()
    lee, kim = browser("Lee"), browser("Kim")
    assert lee.get(f"/lessons/{slug}/why").status_code == 200
    once = dict(done)
    assert once["convert"] == once["clean"] > 0
    for reader in (lee, kim):
        for language in ("en", "es"):
            reader.post("/language", language=language)
            for section in ("why", "emergency"):
                assert reader.get(f"/lessons/{slug}/{section}").status_code == 200
    assert done == once


def test_who_does_errands_reads_what_worksites_teach_before_anybody_asks(
    browser, works: Works, done
):
    slug = site_lessons.slug_of(published(works, {"en": ENGLISH}).id)
    curriculum._composed.cache_clear()
    runner = errands.Runner(works.store, every=0.01)
    runner.start()
    runner.stop(seconds=20)
    assert done["convert"] > 0
    done.clear()
    assert browser("Lee").get(f"/lessons/{slug}/why").status_code == 200
    assert done == {}


def test_what_another_process_changed_meanwhile_is_read_too(browser, works: Works, done):
    published(works, {"en": ENGLISH})
    runner = errands.Runner(works.store)
    runner._read_ahead()
    slug = site_lessons.slug_of(published(works, {"en": ENGLISH}).id)
    curriculum._composed.cache_clear()  # this process has not seen the text yet
    runner._read_ahead()
    done.clear()
    assert browser("Lee").get(f"/lessons/{slug}/why").status_code == 200
    assert done == {}


def test_it_looks_over_and_over(works: Works, monkeypatch):
    looked = []
    monkeypatch.setattr(curriculum, "read_ahead", lambda _db, since: looked.append(since) or 7)
    runner = errands.Runner(works.store, every=0.01)
    runner.start()
    wait_until(lambda: len(looked) > 2)
    runner.stop(seconds=20)
    assert looked[:3] == [-1, 7, 7]


def test_nothing_is_read_again_where_nothing_was_changed(works: Works, done):
    published(works, {"en": ENGLISH})
    with works.store.reading() as db:
        newest = curriculum.read_ahead(db)
        curriculum._composed.cache_clear()
        done.clear()
        assert curriculum.read_ahead(db, newest) == newest and done == {}
        assert curriculum.read_ahead(db, newest - 1) == newest and done["convert"] > 0
