"""The donning-room command: what it prints, where, and with which exit code."""

import csv
import io
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime
from http.client import HTTPConnection
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from trainer import cli, config
from trainer.services import signing_in
from trainer.store import people, record
from trainer.store.engine import Store

RUN = "from trainer.cli import main; main()"
COMMANDS = ("serve", "check-content", "export-record", "verify-record", "add-person", "calculate",
            "calculations", "draw", "exercises", "booklet")
KEEPS_A_RECORD = COMMANDS[:1] + COMMANDS[2:5]
HEAVY = {"flask", "sqlalchemy", "sqlmodel", "pydantic", "waitress", "markdown", "pint", "babel"}


@pytest.fixture(autouse=True)
def _apart(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[None]:
    """Keep the settings of this machine out of the tests, and all their files in one place."""
    for name in config.names():
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    before = os.umask(0o022)
    yield
    os.umask(before)


def run(*arguments: str) -> Result:
    """Run a command; its standard output and standard error come back apart."""
    return CliRunner().invoke(cli.commands, arguments, catch_exceptions=False)


def refused(result: Result) -> str:
    """Return the one sentence of a command that was used badly."""
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.count("\n") == 1
    return result.stderr.strip()


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """Return a data folder whose record has three lessons at two worksites."""
    folder = tmp_path / "data"
    folder.mkdir()
    store = Store(f"sqlite:///{folder / 'record.sqlite'}")
    store.upgrade()
    done = (("7", "Joinery", date(2026, 3, 1)), ("8", "Tank Pit", date(2026, 4, 1)),
            ("9", "Joinery", date(2026, 5, 1)))
    with store.writing() as db:
        for number, worksite, day in done:
            record.append(
                db, once=f"test:{number}", kind="lesson", person_number=number,
                worksite=worksite, happened_on=day, body={"name": "=Añil", "lesson": "a"},
                now=datetime(2026, 6, 1, tzinfo=UTC),
            )
    store.close()
    return folder


def tamper(folder: Path, change: str) -> None:
    """Change the record behind the program's back, as somebody with the file could."""
    with sqlite3.connect(folder / "record.sqlite") as db:
        db.execute("DROP TRIGGER entry_refuses_update")
        db.execute("DROP TRIGGER entry_refuses_delete")
        db.execute(change)
    db.close()


# Help and settings.


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command: str) -> None:
    overview, alone = run("--help"), run(command, "--help")
    assert command in overview.stdout
    assert alone.exit_code == 0
    assert ("--data DIR" in alone.stdout) == (command in KEEPS_A_RECORD)


def test_version_is_the_projects() -> None:
    text = (Path(config.__file__).parent.parent / "pyproject.toml").read_text()
    version = re.search(r'^version = "(.+)"', text, re.MULTILINE)[1]
    assert run("--version").stdout == f"Donning Room {version}\n"


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["serve", "--help"]])
def test_help_loads_nothing_heavy(arguments: list[str]) -> None:
    code = (f"import sys; sys.argv[1:] = {arguments!r}\n"
            "from trainer import cli\n"
            "try: cli.main()\n"
            "finally: print(sorted(sys.modules), file=sys.stderr)")
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert HEAVY & {name.split(".")[0] for name in re.findall(r"'([^']+)'", done.stderr)} == set()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["serve", "--port", "99999"], "DONNING_ROOM_PORT cannot be 99999"),
        (["serve", "--port", "many"], "--port"),
        (["serve", "--loud"], "--loud"),
        (["polish"], "polish"),
        (["add-person", "--name", "Ada"], "--number"),
        (["verify-record"], "There is no record in the folder donning-room-data."),
        (["export-record", "--from", "1.4.2026"], "1.4.2026"),
        (["export-record", "--from", "2026-04-02", "--to", "2026-04-01"], "--from"),
    ],
)
def test_bad_use_is_answered_with_one_sentence(arguments: list[str], says: str) -> None:
    assert says in refused(run(*arguments))
    assert list(Path().iterdir()) == []


def test_a_bad_setting_stops_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DONNING_ROOM_TIME_ZONE", "Mars/Crater")
    assert "DONNING_ROOM_TIME_ZONE cannot be 'Mars/Crater'" in refused(run("serve"))


# The first coordinator.


def test_the_first_coordinator_gets_a_code_that_works_at_the_address(tmp_path: Path) -> None:
    folder = tmp_path / "fresh"
    added = run("add-person", "--number", "00101", "--name", "Ada Quayside", "--data", str(folder))
    assert (added.exit_code, added.stderr) == (0, "")
    assert "http://127.0.0.1:8000/enrol?number=00101" in added.stdout
    code = re.search(r"One-time code: (\S+) \(good for 30 minutes\)", added.stdout)[1]
    store = Store(f"sqlite:///{folder / 'record.sqlite'}")
    with store.writing() as db:
        _, _, person = signing_in.enrol(db, code, "00101", None, datetime.now(UTC))
        assert person.name == "Ada Quayside"
        assert people.roles(db, person.id) == {"coordinator"}
    store.close()
    assert folder.stat().st_mode & 0o777 == 0o700
    assert (folder / "record.sqlite").stat().st_mode & 0o077 == 0


def test_a_number_that_is_taken_or_a_worksite_that_is_not_there_is_refused(data: Path) -> None:
    person = ("add-person", "--number", "00101", "--name", "Ada Quayside", "--data", str(data))
    assert run(*person).exit_code == 0
    assert "00101 is taken" in refused(run(*person))
    elsewhere = (*person[:2], "00102", *person[3:], "--worksite", "Moon")
    assert "There is no worksite named Moon" in refused(run(*elsewhere))
    assert "at least one worksite" in refused(run(*elsewhere[:-2], "--role", "worker"))


# Taking the record out.


def read_back(text: bytes) -> list[list[str]]:
    """Return the rows of a CSV, the header aside."""
    return list(csv.reader(io.StringIO(text.decode(), newline="")))[1:]


def test_the_record_comes_out_as_csv_on_standard_output(data: Path) -> None:
    out = run("export-record", "--data", str(data))
    rows = read_back(out.stdout_bytes)
    assert [row[0] for row in rows] == ["7", "8", "9"]
    assert rows[0][1] == "'=Añil"
    # RFC 4180, section 2: every record ends with CR LF.
    assert out.stdout_bytes.count(b"\r\n") == out.stdout_bytes.count(b"\n") == 4


@pytest.mark.parametrize(
    ("options", "numbers"),
    [
        (["--from", "2026-04-01"], ["8", "9"]),
        (["--to", "2026-04-01"], ["7", "8"]),
        (["--worksite", "Joinery"], ["7", "9"]),
        (["--worksite", "Joinery", "--from", "2026-03-02"], ["9"]),
    ],
)
def test_period_and_worksite_choose_what_comes_out(
    data: Path, options: list[str], numbers: list[str]
) -> None:
    out = run("export-record", "--data", str(data), *options)
    assert [row[0] for row in read_back(out.stdout_bytes)] == numbers


def test_the_record_can_go_to_a_file(data: Path, tmp_path: Path) -> None:
    to_screen = run("export-record", "--data", str(data)).stdout_bytes
    to_file = run("export-record", "--data", str(data), "--output", "out.csv")
    assert (to_file.exit_code, to_file.stdout) == (0, "")
    assert (tmp_path / "out.csv").read_bytes() == to_screen
    nowhere = run("export-record", "--data", str(data), "--output", "no/such/out.csv")
    assert "cannot be written" in refused(nowhere)


def test_a_worksite_that_nobody_knows_is_refused(data: Path) -> None:
    moon = run("export-record", "--data", str(data), "--worksite", "Moon")
    assert "There is no worksite named Moon" in refused(moon)


# Verifying.


def test_a_record_that_holds_says_so_with_its_last_hash(data: Path) -> None:
    done = run("verify-record", "--data", str(data))
    with sqlite3.connect(data / "record.sqlite") as db:
        (last,) = db.execute("SELECT hash FROM entry WHERE number = 3").fetchone()
    db.close()
    assert done.exit_code == 0
    assert "holds: 3 entries" in done.stdout
    assert f"Last hash: {last}" in done.stdout
    assert "Verifying" in done.stderr
    assert "Verifying" not in done.stdout


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("UPDATE entry SET body = replace(body, 'Añil', 'Azul') WHERE number = 2", "at entry 2"),
        ("DELETE FROM entry WHERE number = 2", "entry 2 is missing"),
        ("UPDATE entry SET happened_on = '2020-01-01' WHERE number = 3", "at entry 3"),
        ("UPDATE entry SET happened_on = 'never' WHERE number = 1", "after entry 0"),
        ("UPDATE entry SET hash = 'no' WHERE number = 1", "at entry 1"),
    ],
)
def test_a_record_that_was_changed_says_where(data: Path, change: str, says: str) -> None:
    tamper(data, change)
    broken = run("verify-record", "--data", str(data))
    assert (broken.exit_code, broken.stdout) == (1, "")
    assert says in broken.stderr
    assert "Traceback" not in broken.stderr


def test_a_file_that_is_no_database_breaks_the_record(data: Path) -> None:
    (data / "record.sqlite").write_bytes(b"no database " * 100)
    broken = run("verify-record", "--data", str(data))
    assert (broken.exit_code, broken.stdout) == (1, "")
    assert "cannot be read" in broken.stderr


# Serving.


class Served:
    """A started server, what it printed, and a way to end it."""

    def __init__(self, *arguments: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-c", RUN, "serve", "--port", "0", *arguments],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        self.printed = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+) ", self.printed)
        assert found, self.process.communicate(timeout=60)
        self.port = int(found[1])

    def get(self, path: str) -> int:
        """Return the status that a path is answered with."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=60)
        connection.request("GET", path)
        status = connection.getresponse().status
        connection.close()
        return status

    def end(self) -> tuple[int, str, str]:
        """End it as a machine that shuts down does; return exit code and all that was printed."""
        self.process.send_signal(signal.SIGTERM)
        rest, errors = self.process.communicate(timeout=60)
        return self.process.returncode, self.printed + rest, errors


def test_the_demo_is_served_printed_ended_and_served_again(tmp_path: Path) -> None:
    first = Served("--demo")
    assert first.get("/sign-in") == 200
    code, out, errors = first.end()
    assert code == 0
    assert "Traceback" not in errors
    assert errors.count("Filling in Tern Quay Works") == 1
    for who in ("coordinator", "trainer", "worker, done", "new hire"):
        assert who in out
    assert out.count("passphrase: ") == 3
    folder = tmp_path / "donning-room-demo"
    assert folder.stat().st_mode & 0o777 == 0o700
    key = folder / "secret.key"
    assert key.stat().st_mode & 0o777 == 0o600
    before, codes = key.read_text(), re.findall(r"code (\S+), today", out)

    again = Served("--demo")
    assert again.get("/sign-in") == 200
    code, out, errors = again.end()
    assert (code, errors) == (0, "")
    assert key.read_text() == before
    fresh = re.findall(r"code (\S+), today", out)
    assert len(fresh) == len(codes) == 1
    assert fresh != codes


def test_a_folder_with_other_people_is_not_filled_with_the_demo(data: Path) -> None:
    person = ("add-person", "--number", "00101", "--name", "Ada Quayside", "--data", str(data))
    assert run(*person).exit_code == 0
    says = refused(run("serve", "--demo", "--port", "0", "--data", str(data)))
    assert "holds people who are not the demo's" in says


def test_a_port_that_is_taken_is_named(data: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        says = refused(run("serve", "--port", str(port), "--data", str(data)))
    assert f"Port {port} of 127.0.0.1 is taken" in says


def test_the_booklet_is_written_to_a_file(tmp_path: Path):
    file = tmp_path / "lecciones.pdf"
    result = run("booklet", "es", str(file))
    assert (result.exit_code, result.stdout) == (0, f"Written: {file}.\n")
    assert file.read_bytes().startswith(b"%PDF-")


def test_a_booklet_that_cannot_be_written_says_so(tmp_path: Path):
    sentence = refused(run("booklet", "en", str(tmp_path / "missing" / "lessons.pdf")))
    assert "cannot be written" in sentence and "No such file or directory" in sentence
