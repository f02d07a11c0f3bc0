"""The program as a reader of code for holes sees it: nothing is left that nobody gave a reason for.

What is left out of it stands in `pyproject.toml`; `# nosec` names one finding, with its reason
in a comment.
"""

import json
import re
import subprocess
import sys
from pathlib import Path

import trainer

ROOT = Path(trainer.__file__).parent.parent
_ALLOWED = re.compile(r"# nosec\b(?P<what>.*)")


def found(folder: Path) -> list[str]:
    """Return what bandit finds in a folder: its test, the file and the line."""
    done = subprocess.run(
        [sys.executable, "-m", "bandit", "-q", "-r", "-f", "json", "-c", ROOT / "pyproject.toml",
         folder],
        capture_output=True, text=True, check=False, cwd=ROOT,
    )  # fmt: skip
    told = json.loads(done.stdout)
    assert told["errors"] == []
    return [f"{one['test_id']} {one['filename']}:{one['line_number']}" for one in told["results"]]


def test_nothing_is_found() -> None:
    assert found(ROOT / "trainer") == []


def test_it_would_be_found(tmp_path: Path) -> None:
    (tmp_path / "open_door.py").write_text("import pickle\npickle.loads(b'')\n")
    assert [one.split()[0] for one in found(tmp_path)] == ["B403", "B301"]


def test_whatever_is_allowed_names_one_finding() -> None:
    """A bare `# nosec` would let through whatever comes to stand on its line later."""
    allowed = [
        (path.name, match["what"])
        for path in (ROOT / "trainer").rglob("*.py")
        for match in _ALLOWED.finditer(path.read_text(encoding="utf-8"))
    ]
    assert allowed
    assert [one for one in allowed if not re.fullmatch(r" B\d{3}", one[1])] == []
