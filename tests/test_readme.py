"""README and DEVELOPERS say what is true: the commands that CI runs, every setting."""

import re
from pathlib import Path

from trainer import config

ROOT = Path(config.__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
CI = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
COMMANDS = re.findall(r"```sh\n(.*?)\n```", README, re.DOTALL)


def test_the_readme_has_two_commands_and_each_is_enough_by_itself() -> None:
    serve, test = COMMANDS
    assert serve.endswith(".venv/bin/donning-room serve --demo")
    assert test.endswith(".venv/bin/pytest")
    for command in COMMANDS:
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")
        assert "\n" not in command


def test_ci_runs_the_readmes_own_test_command_with_nothing_skipped() -> None:
    lines = CI.splitlines()
    # What fails there, and again by itself, fails the whole.
    at = lines.index(f"{COMMANDS[1]} ||")
    assert lines[at + 1] == "  .venv/bin/pytest --last-failed -n 0 || exit"
    assert lines[-1] == ".venv/bin/python -m tests.lowest --short"
    assert "export CI=true" in lines
    assert "set -euo pipefail" in lines


def test_ci_can_be_run() -> None:
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o100


def test_every_setting_is_explained_to_developers() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert [name for name in config.names() if f"`{name}`" not in text] == []


def test_licences_that_the_readme_names_are_there() -> None:
    named = re.findall(r"`(static/[^`]+)`", README)
    assert len(named) == 2
    assert all((ROOT / name).is_file() for name in named)
