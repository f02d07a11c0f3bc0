"""What was made of the program's files is kept for the next start, and only ever found whole."""

import json
import os
import sys
from datetime import date
from pathlib import Path

import pytest

from trainer import ready

OF = "what it is made of"


class Making:
    """Something that takes long, and counts how often it was done."""

    def __init__(self, made: object = None) -> None:
        self.times = 0
        self.made = made or {"words": ["seal", "sello", "×"], "share": 0.1}

    def __call__(self) -> object:
        self.times += 1
        return self.made


def kept(folder: Path, of: str = OF, making: Making | None = None) -> int:
    """Ask for it once; return how often it had to be made."""
    making = making or Making()
    assert ready.made(folder, "lessons", lambda: of, making) == making.made
    return making.times


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """Return the file of what was made once."""
    assert kept(tmp_path) == 1
    return tmp_path / "ready" / "lessons.json"


def test_it_is_made_once_and_found_again(tmp_path, file):
    assert kept(tmp_path) == 0
    assert sorted(file.parent.iterdir()) == [file]


def test_without_a_folder_nothing_is_kept():
    making = Making()
    for _ in range(2):
        assert ready.made(None, "lessons", lambda: OF, making) == making.made
    assert making.times == 2


def test_of_something_else_it_is_made_anew(tmp_path, file):
    assert kept(tmp_path, "an edited file") == 1
    assert kept(tmp_path, "an edited file") == 0


def damaged(whole: bytes) -> dict[str, bytes]:
    """Return what may become of a file."""
    head, _, body = whole.partition(b"\n")
    return {
        "empty": b"", "half": whole[: len(whole) // 2], "no head": body, "no body": head + b"\n",
        "one letter": whole.replace(b"seal", b"sea1"), "longer": whole + b" ",
        "another head": b"0" + whole[1:],
    }  # fmt: skip


@pytest.mark.parametrize("how", damaged(b"a\nb"))
def test_a_damaged_file_is_as_if_there_were_none(tmp_path, file, how):
    whole = file.read_bytes()
    file.write_bytes(damaged(whole)[how])
    assert kept(tmp_path) == 1
    assert file.read_bytes() == whole


@pytest.mark.skipif(sys.platform == "win32", reason="modes are those of Linux and macOS")
@pytest.mark.parametrize("mode", [0o620, 0o602, 0o666])
def test_what_others_can_write_is_not_believed(tmp_path, file, mode):
    file.chmod(mode)
    assert kept(tmp_path) == 1
    assert file.stat().st_mode & 0o777 == 0o600


@pytest.mark.skipif(sys.platform == "win32", reason="owners are those of Linux and macOS")
def test_what_somebody_else_owns_is_not_believed(tmp_path, file, monkeypatch):
    monkeypatch.setattr(os, "geteuid", lambda: file.stat().st_uid + 1)
    assert kept(tmp_path) == 1


def test_where_nothing_can_be_written_it_is_made_each_time(tmp_path):
    (tmp_path / "ready").write_text("a file where the folder would be")
    assert [kept(tmp_path), kept(tmp_path)] == [1, 1]


def test_a_disk_without_room_leaves_nothing_half_behind(tmp_path, file, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    assert kept(tmp_path, "an edited file") == 1
    assert sorted(file.parent.iterdir()) == [file]


def test_what_plain_data_cannot_say_is_not_kept(tmp_path):
    making = Making({"day": date(2026, 3, 31)})
    assert [kept(tmp_path, making=making), kept(tmp_path, making=making)] == [1, 2]


def test_of_a_file_that_changes_meanwhile_nothing_is_kept(tmp_path):
    of = iter(["before", "after", "before", "before"])
    making = Making()
    for _ in range(2):
        ready.made(tmp_path, "lessons", lambda: next(of), making)
    assert making.times == 2


def test_the_digest_tells_every_change_apart(tmp_path):
    one, other = tmp_path / "one.md", tmp_path / "other.md"
    one.write_text("a")
    other.write_text("b")
    found = [ready.digest([one, other])]
    assert found == [ready.digest([other, one])]
    found += [ready.digest([one]), ready.digest([one, other], "x"), ready.digest([one], "x")]
    one.write_text("b")
    other.write_text("a")
    found.append(ready.digest([one, other]))
    one.rename(tmp_path / "zone.md")
    found.append(ready.digest([other, tmp_path / "zone.md"]))
    assert len(set(found)) == len(found)


def test_what_is_kept_is_plain_text(file):
    assert json.loads(file.read_bytes().partition(b"\n")[2]) == Making().made
