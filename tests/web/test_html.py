"""The pages of the lessons are HTML that the Nu checker accepts.

It is a Java program, installed by .ci/run. Where there is none the test is skipped, and says so;
in CI it fails instead.
"""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.conftest import pass_lesson
from trainer import lessons
from trainer.config import LANGUAGES
from trainer.services import asking

JAR = Path(__file__).parents[2] / ".ci" / "tools" / "node_modules" / "vnu-jar/build/dist/vnu.jar"
# htmx names its attributes without data-, which the standard does not know.
KNOWN = "Attribute “hx-"


@pytest.fixture(scope="module")
def checker() -> list[str]:
    """Return the command of the checker."""
    java = shutil.which("java")
    if java and JAR.is_file():
        return [java, "-jar", str(JAR), "--format", "json"]
    refuse = pytest.fail if os.environ.get("CI") == "true" else pytest.skip
    refuse("no Java, or no vnu-jar, on this machine: .ci/run installs both")


def check(checker: list[str], folder: Path) -> list[str]:
    """Return what the checker has against the pages of a folder."""
    done = subprocess.run([*checker, str(folder)], capture_output=True, text=True, check=False)
    said = json.loads(done.stderr)["messages"]
    return [f"{Path(one['url']).name}:{one.get('lastLine')}: {one['message']}" for one in said
            if not one["message"].startswith(KNOWN)]


@pytest.fixture
def pages(tmp_path: Path) -> Path:
    """Return an empty folder for pages, apart from the files of the store."""
    folder = tmp_path / "pages"
    folder.mkdir()
    return folder


def test_the_checker_finds_a_fault(checker, pages):
    (pages / "page.html").write_text(
        '<!doctype html><html lang="en"><head><title>x</title></head>'
        '<body><p id="a"></p><p id="a"><li>b</li></p></body></html>'
    )
    assert any("Duplicate ID" in one for one in check(checker, pages))


def test_every_lesson_is_html_that_the_checker_accepts(checker, browser, works, pages):
    lee = browser("Lee")
    for language in LANGUAGES:
        lee.get("/tag")
        lee.post("/language", language=language, next="/tag")
        for lesson in lessons.load().all:
            for path in (lesson.slug, *(f"{lesson.slug}/{one.id}" for one in lesson.sections)):
                assert lee.get(f"/lessons/{path}").status_code == 200
                name = f"{language}-{path.replace('/', '_')}.html"
                (pages / name).write_text(lee.page, encoding="utf-8")
    assert len(list(pages.iterdir())) > 2 * 4 * len(lessons.load().all)
    assert "\n".join(check(checker, pages)) == ""


def test_the_pages_of_questions_are_too(checker, browser, works, pages):
    lesson = lessons.load().all[0]
    lee, tomas = browser("Lee"), browser("Tomas")
    section = f"lessons/{lesson.slug}/{lesson.sections[0].id}"
    with works.store.writing() as db:
        for place in range(3):
            asked = asking.ask(
                db, works.people["Lee"], f"Number {place}", once=str(place), language="en",
                now=works.now, lesson=lesson.slug, section=lesson.sections[0].id,
            )  # fmt: skip
        asking.answer(
            db, works.people["Tomas"], asked, "Yes.", once="", now=works.now, show=True
        )
        asking.tell(db, works.people["Lee"], "health", None, works.now)
    read = {lee: [section, "tag", "ask", "my-questions", "tell?kind=health",
                  "tell?kind=leak&respirator=1"],
            browser("Kim"): [section], tomas: ["questions", f"questions/{asked.id}"]}
    for at, (one, paths) in enumerate(read.items()):
        for path in paths:
            assert one.get(f"/{path}").status_code == 200
            name = f"{at}-{path.replace('/', '_').replace('?', '-')}.html"
            (pages / name).write_text(one.page, encoding="utf-8")
    assert "\n".join(check(checker, pages)) == ""


def test_the_pages_of_a_sitting_are_too(checker, browser, works, pages):
    lesson = lessons.load().all[0]
    done = pass_lesson(works, "Lee", lesson.slug, works.now)
    lee = browser("Lee")
    lee.get("/tag")
    for section in lesson.sections:
        lee.post(f"/lessons/{lesson.slug}/{section.id}/done")
    lee.post(f"/lessons/{lesson.slug}/sitting")
    paths = ["tag", f"sittings/{done.id}/result", "exercises", "my-record"]
    paths += [f"sittings/{done.id + 1}/{place}" for place in range(1, 10)]
    paths += [f"sittings/{done.id + 1}/review"]
    for path in paths:
        assert lee.get(f"/{path}").status_code == 200
        (pages / f"{path.replace('/', '_')}.html").write_text(lee.page, encoding="utf-8")
    assert "\n".join(check(checker, pages)) == ""
