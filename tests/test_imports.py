"""Imports point down only, and every module can be read alone."""

import subprocess
import sys
from pathlib import Path

import trainer

ROOT = Path(trainer.__file__).parent.parent

# One process imports the heavy libraries once, then reads each module in a child of its own.
READ_EACH_ALONE = """
import os, pathlib, sys, traceback
import alembic.command, argon2, babel, click, flask, flask_babel, flask_wtf, markdown, nh3, rfc8785
import segno, sqlmodel, waitress, wtforms
import trainer
root = pathlib.Path(trainer.__file__).parent
names = [".".join(("trainer", *path.relative_to(root).with_suffix("").parts))
         for path in root.rglob("*.py") if "migrations" not in path.parts]
assert len(names) > 50, names
assert not [name for name in sys.modules if name.startswith("trainer.")]
for name in names:
    child = os.fork()
    if child == 0:
        try:
            __import__(name)
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    if os.waitpid(child, 0)[1]:
        print(name)
"""

LIGHT = """
import pkgutil, sys
before = set(sys.modules)
import trainer.calculations, trainer.reference
for package in (trainer.calculations, trainer.reference):
    for one in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        __import__(one.name)
found = {name.partition(".")[0] for name in set(sys.modules) - before}
print(*sorted(found - set(sys.stdlib_module_names)))
print(*sorted(name for name in sys.modules if name.startswith("trainer.")))
"""


def told(script: str) -> str:
    """Run a script in a fresh interpreter and return what it prints."""
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_imports_point_down_only():
    from importlinter.cli import lint_imports

    assert lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True) == 0


def test_every_module_can_be_read_alone():
    assert told(READ_EACH_ALONE) == ""


def test_calculations_and_tables_need_the_standard_library_alone():
    outside, inside = told(LIGHT).splitlines()
    assert outside == "trainer"
    assert {name.split(".")[1] for name in inside.split()} == {
        "calculations", "reference", "words",
    }
