"""The donning-room command: what it prints, where, and with which exit code."""

import csv
import io
import json
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

import openpyxl
import pytest
from click.testing import CliRunner, Result

from trainer import cli, config
from trainer.services import signing_in
from trainer.store import people, record
from trainer.store.engine import Store

RUN = "from trainer.cli import main; main()"
COMMANDS = ("serve", "check-content", "export-record", "verify-record", "witness", "add-person",
            "calculate", "calculations", "draw", "exercises", "booklet")
KEEPS_A_RECORD = COMMANDS[:1] + COMMANDS[2:6]
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


def test_calculating_needs_neither_the_pages_nor_the_record() -> None:
    code = ("import sys; from trainer import cli\n"
            "sys.argv[1:] = ['calculate', 'maximum_use_concentration', 'apf=10', 'limit=200',"
            " 'idlh=500', 'unit=ppm']\n"
            "try: cli.main()\n"
            "finally: print(sorted(sys.modules), file=sys.stderr)")
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout
    loaded = {name.split(".")[0] for name in re.findall(r"'([^']+)'", done.stderr)}
    assert "trainer" in loaded
    assert (HEAVY | {"click"}) & loaded == set()


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
        assert people.roles(db, person.id) == {"coordinator", people.MEDICAL}
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
        ("UPDATE entry SET happened_on = 'never' WHERE number = 1", "at entry 1"),
        ("UPDATE entry SET hash = 'no' WHERE number = 1", "at entry 1"),
    ],
)
def test_a_record_that_was_changed_says_where(data: Path, change: str, says: str) -> None:
    tamper(data, change)
    broken = run("verify-record", "--data", str(data))
    assert (broken.exit_code, broken.stdout) == (1, "")
    assert says in broken.stderr
    assert "Traceback" not in broken.stderr


def last_hash(folder: Path, number: int = 3) -> str:
    """Return the hash of an entry."""
    with sqlite3.connect(folder / "record.sqlite") as db:
        (found,) = db.execute("SELECT hash FROM entry WHERE number = ?", (number,)).fetchone()
    db.close()
    return found


def test_it_counts_what_corrects_and_what_was_let_go(data: Path) -> None:
    store = Store(f"sqlite:///{data / 'record.sqlite'}")
    with store.writing() as db:
        record.append(
            db, once="c", kind="correction", person_number="7", worksite="Joinery",
            happened_on=date(2026, 6, 1), now=datetime(2026, 6, 1, tzinfo=UTC),
            body={"corrects": 1, "corrected_kind": "lesson", "why": "not-done", "said": None},
        )
        record.erase(
            db, [2], once="e", row="r", source="s", why="w", confirmed_by={},
            happened_on=date(2026, 6, 1), now=datetime(2026, 6, 1, tzinfo=UTC),
        )
    store.close()
    done = run("verify-record", "--data", str(data))
    assert (done.exit_code, "holds: 5 entries" in done.stdout) == (0, True)
    assert "Of these 1 correct an earlier one, and of 1 what they said was let go." in done.stdout


def test_an_earlier_hash_is_found_again_however_it_was_noted(data: Path) -> None:
    told = run("witness", "--data", str(data))
    assert "Last entry: 3\n" in told.stdout
    noted = re.search(r"Its hash: (.+)", told.stdout)[1]
    assert noted.replace(" ", "") == last_hash(data)
    done = run("verify-record", "--since", f" {noted.upper()} ", "--data", str(data))
    assert "is that of entry 3; since then: 0 entries." in done.stdout
    first = run("verify-record", "--since", last_hash(data, 1), "--data", str(data))
    assert "is that of entry 1; since then: 2 entries." in first.stdout


def test_a_record_written_anew_never_had_the_hash_that_was_noted(data: Path) -> None:
    """Cut short and gone on: the chain holds, and only the noted hash tells it."""
    noted = last_hash(data)
    tamper(data, "DELETE FROM entry WHERE number = 3")
    assert run("verify-record", "--data", str(data)).exit_code == 0
    broken = run("verify-record", "--since", noted, "--data", str(data))
    assert (broken.exit_code, broken.stdout) == (1, "")
    assert "never had an entry with the hash" in broken.stderr
    assert "64 characters" in refused(run("verify-record", "--since", "ab12", "--data", str(data)))


def test_the_witness_of_an_empty_record_is_its_beginning(tmp_path: Path) -> None:
    store = Store(f"sqlite:///{tmp_path / 'record.sqlite'}")
    store.upgrade()
    store.close()
    assert "Last entry: 0\n" in run("witness", "--data", str(tmp_path)).stdout
    done = run("verify-record", "--since", "0" * 64, "--data", str(tmp_path))
    assert "is that of entry 0; since then: 0 entries." in done.stdout


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
    assert code == 0
    events = [line.split()[3] for line in errors.splitlines()]
    assert (events[0], events[-1]) == ("started", "stopped")
    assert set(events[1:-1]) == {"request"}
    assert key.read_text() == before
    fresh = re.findall(r"code (\S+), today", out)
    assert len(fresh) == len(codes) == 1
    assert fresh != codes


def test_a_folder_with_other_people_is_not_filled_with_the_demo(data: Path) -> None:
    person = ("add-person", "--number", "00101", "--name", "Ada Quayside", "--data", str(data))
    assert run(*person).exit_code == 0
    says = refused(run("serve", "--demo", "--port", "0", "--data", str(data)))
    assert "are people who are not the demo's" in says


def test_a_record_of_a_newer_program_is_not_served(data: Path) -> None:
    with sqlite3.connect(data / "record.sqlite") as db:
        db.execute("UPDATE alembic_version SET version_num = '9999'")
    db.close()
    says = refused(run("serve", "--port", "0", "--data", str(data)))
    assert "was made by a newer version of this program: it is of migration 9999" in says


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


@pytest.mark.parametrize("format_", ["json", "jsonl", "xapi"])
def test_the_record_comes_out_in_each_format_for_programs(data: Path, format_: str) -> None:
    out = run("export-record", "--data", str(data), "--format", format_, "--kinds", "everything")
    assert out.exit_code == 0
    text = out.stdout_bytes.decode()
    found = [json.loads(line) for line in text.splitlines()] if format_ == "jsonl" else \
        json.loads(text)
    # Past records that were brought in say little; they come out all the same.
    assert len(found) == 3


def test_a_workbook_goes_into_a_file_and_nowhere_else(data: Path, tmp_path: Path) -> None:
    command = ("export-record", "--data", str(data), "--format", "xlsx")
    assert "--output" in refused(run(*command))
    assert run(*command, "--output", "out.xlsx").exit_code == 0
    assert openpyxl.load_workbook(tmp_path / "out.xlsx").active.max_row == 4


def test_one_persons_entries_come_out_and_an_unknown_number_is_refused(data: Path) -> None:
    nobody = run("export-record", "--data", str(data), "--person", "no such number")
    assert "There is no person with the worker number" in refused(nobody)
