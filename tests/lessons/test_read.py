"""Lessons are read in pairs, in order, rendered once, and refused when something is missing."""

import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import pytest

from trainer import lessons
from trainer.lessons import LessonFault, render

READ = sys.modules["trainer.lessons.read"]

Edit = Callable[[str, str, str], None]


def test_a_pair_of_files_becomes_one_lesson(folder: Path) -> None:
    (lesson,) = lessons.read(folder).all
    assert (lesson.slug, lesson.order) == ("seal-checks", 20)
    assert lesson.title("en") == "Seal checks en"
    assert lesson.title("es") == "Seal checks es"
    assert lesson.elements == ("(k)(1)(iv)",)
    assert lesson.sources("es") == ("29 CFR 1910.134(g)(1)(iii)",)
    assert [section.id for section in lesson.sections] == ["when", "how", "try"]
    assert lesson.sections[2].title("es") == "Inténtelo"


def test_a_section_is_cut_at_its_drawings_and_exercise(folder: Path) -> None:
    lesson = lessons.read(folder).get("seal-checks")
    parts = lesson.section("when").parts("en")
    assert [(part.kind, part.name) for part in parts] == [("html", ""), ("drawing", "air-outside")]
    last = lesson.section("try").parts("es")[-1]
    assert (last.kind, last.name, last.html) == ("exercise", "inside-concentration", "")
    assert lesson.section("try").exercises == ("inside-concentration",)
    assert lesson.section("how").exercises == ()


def test_words_are_counted_without_marks_and_drawings(folder: Path) -> None:
    lesson = lessons.read(folder).get("seal-checks")
    # A paragraph has 15 English words, 42 + 2 times; the titles of the two boxes add 2 + 1.
    assert lesson.words("en") == 44 * 15 + 3


def test_numbers_in_file_names_give_the_order(folder: Path) -> None:
    for language in ("en", "es"):
        text = (folder / language / "20-seal-checks.md").read_text(encoding="utf-8")
        (folder / language / "100-last.md").write_text(text, encoding="utf-8")
        (folder / language / "5-first.md").write_text(text, encoding="utf-8")
    found = lessons.read(folder)
    assert [lesson.slug for lesson in found.all] == ["first", "seal-checks", "last"]
    assert found.get("last").order == 100
    assert found.get("nothing") is None


def test_a_file_without_its_other_language_is_refused(folder: Path) -> None:
    (folder / "es" / "20-seal-checks.md").rename(folder / "es" / "21-seal-checks.md")
    with pytest.raises(LessonFault) as refused:
        lessons.read(folder)
    assert refused.value.fault.path == folder / "es" / "20-seal-checks.md"


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("## When {#when}", "## When", 7, "## Title {#id}"),
        ("## When {#when}", "Words.\n\n## When {#when}", 7, "before the first"),
        ("{#how}", "{#when}", 15, "twice"),
        ("{#how}", "{#hows}", 1, "sections must be"),
        ("title = ", "title: ", 2, "not TOML"),
        ("summary = ", "sumary = ", 1, "`summary`"),
        ("[[drawing air-inside]]", "[[drawing nowhere]]", 1, "no such file"),
    ],
)
def test_a_lesson_that_is_wrong_is_refused_with_its_line(
    folder: Path, edit: Edit, old: str, new: str, line: int, says: str
) -> None:
    edit("en/20-seal-checks.md", old, new)
    with pytest.raises(LessonFault) as refused:
        lessons.read(folder)
    assert refused.value.fault.line == line
    assert says in refused.value.fault.sentence


@pytest.mark.parametrize(
    "name",
    ["en/20-seal-checks.md", "es/20-seal-checks.md", "drawings/air-inside.svg",
     "drawings/air-outside.toml"],
)
def test_the_version_changes_with_every_file_that_is_taught(folder: Path, name: str) -> None:
    before = lessons.read(folder).all[0].version
    with (folder / name).open("a", encoding="utf-8") as file:
        file.write("\n")
    after = lessons.read(folder).all[0].version
    assert len(before) == 12
    assert after != before


def test_the_version_stays_when_only_line_ends_or_a_foreign_drawing_change(folder: Path) -> None:
    before = lessons.read(folder).all[0].version
    path = folder / "en" / "20-seal-checks.md"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    (folder / "drawings" / "other.svg").write_text("<svg/>", encoding="utf-8")
    assert lessons.read(folder).all[0].version == before


def test_many_threads_get_the_same_lessons_rendered_once(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rendered = []
    real = render.html
    monkeypatch.setattr(
        render, "html", lambda text, language: rendered.append(text) or real(text, language)
    )
    together = Barrier(8)

    def load(_: int) -> lessons.Lessons:
        together.wait()
        return lessons.load(folder)

    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    try:
        with ThreadPoolExecutor(8) as threads:
            found = list(threads.map(load, range(8)))
    finally:
        sys.setswitchinterval(before)
    assert all(one is found[0] for one in found)
    # Three sections with one stretch of prose each, in two languages.
    assert len(rendered) == 6


def test_threads_that_render_at_once_do_not_mix_up_pages() -> None:
    texts = [f"**page {number}**\n\n| a{number} |\n|--:|\n| b |" for number in range(60)]
    alone = [render.html(text, "en") for text in texts]
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    try:
        with ThreadPoolExecutor(4) as threads:
            together = list(threads.map(lambda text: render.html(text, "en"), texts))
    finally:
        sys.setswitchinterval(before)
    assert together == alone


@pytest.fixture
def start(folder: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch) -> Callable:
    """Return a function that loads the lessons as a fresh start would; it counts Markdown read."""
    data = tmp_path_factory.mktemp("data")
    real = render.html

    def started() -> tuple[lessons.Lessons, int]:
        rendered = []
        monkeypatch.setattr(READ, "_loaded", {})
        monkeypatch.setattr(render, "html", lambda *of: rendered.append(of) or real(*of))
        return lessons.load(folder, data), len(rendered)

    return started


def test_the_next_start_finds_the_very_same_lessons_ready(start: Callable, folder: Path) -> None:
    first, rendered = start()
    again, none = start()
    assert (rendered, none) == (6, 0)
    assert first == again == lessons.read(folder)
    assert again.all[0].words("en") == first.all[0].words("en")


@pytest.mark.parametrize("name", ["en/20-seal-checks.md", "drawings/air-inside.toml"])
def test_an_edited_file_is_read_anew_at_the_next_start(
    start: Callable, edit: Edit, folder: Path, name: str
) -> None:
    start()
    edit(name, *(("seal each", "seal every") if name.endswith("md") else ("Outside", "Around")))
    found, rendered = start()
    assert rendered == 6
    assert found == lessons.read(folder)
    shown = "".join(part.html for part in found.all[0].sections[0].parts("en"))
    assert ("seal every" if name.endswith("md") else "air-outside") in shown


def test_a_start_after_a_fault_refuses_as_the_first_one_did(
    start: Callable, folder: Path
) -> None:
    start()
    (folder / "es" / "20-seal-checks.md").unlink()
    for _ in range(2):
        with pytest.raises(LessonFault):
            start()


def test_our_own_lessons_come_out_ready_as_they_are_read(tmp_path: Path, monkeypatch) -> None:
    made = []
    for _ in range(2):
        monkeypatch.setattr(READ, "_loaded", {})
        made.append(lessons.load(data=tmp_path))
    assert made[0] == made[1] == lessons.read(READ.config.content_folder("lessons"))
