"""A wheel carries all that the program reads, and works away from this folder."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder

from trainer import config

ROOT = Path(config.__file__).parent.parent
CARRIED = ("lessons", "questions", "static")
RUN = "from trainer.cli import main; main()"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the content of a wheel built from this one."""
    built = next(WheelBuilder(str(ROOT)).build(directory=str(tmp_path_factory.mktemp("wheel"))))
    folder = tmp_path_factory.mktemp("site")
    with zipfile.ZipFile(built) as wheel:
        wheel.extractall(folder)
    return folder


def _run(installed: Path, cwd: Path, *command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *command], cwd=cwd, capture_output=True, text=True,
        env=os.environ | {"PYTHONPATH": str(installed)}, check=False,
    )


def _files(folder: Path) -> set[str]:
    return {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


@pytest.mark.parametrize("name", CARRIED)
def test_content_travels_inside(installed: Path, name: str) -> None:
    here = _files(ROOT / name)
    assert here
    assert _files(installed / "trainer" / "carried" / name) == here


def test_everything_of_the_package_travels_inside(installed: Path) -> None:
    here = _files(ROOT / "trainer")
    assert any(name.startswith("store/migrations/versions/") for name in here)
    carried = {name for name in _files(installed / "trainer") if not name.startswith("carried/")}
    assert here - carried == set()


def test_the_wheel_reads_its_own_content_and_makes_its_database(
    installed: Path, tmp_path: Path
) -> None:
    where = _run(
        installed, tmp_path, "-c",
        "from trainer.config import content_folder; print(content_folder('lessons'))",
    )
    assert Path(where.stdout.strip()) == installed / "trainer" / "carried" / "lessons"
    added = _run(
        installed, tmp_path, "-c", RUN, "add-person", "--number", "1", "--name", "Ada Quayside"
    )
    assert (added.returncode, added.stderr) == (0, "")
    assert (tmp_path / "donning-room-data" / "record.sqlite").is_file()


def test_check_content_passes_there_and_names_the_line_once_a_lesson_is_broken(
    installed: Path, tmp_path: Path
) -> None:
    good = _run(installed, tmp_path, "-c", RUN, "check-content")
    assert (good.returncode, good.stderr) == (0, "")
    lesson = next((installed / "trainer" / "carried" / "lessons" / "en").glob("*.md"))
    whole = lesson.read_text(encoding="utf-8")
    lesson.write_text(f"{whole}\n<b>raw</b>\n", encoding="utf-8")
    bad = _run(installed, tmp_path, "-c", RUN, "check-content")
    lesson.write_text(whole, encoding="utf-8")
    assert bad.returncode == 1
    assert f"{lesson}:{len(whole.splitlines()) + 2}: " in bad.stdout
    assert bad.stderr.count("\n") == 1
