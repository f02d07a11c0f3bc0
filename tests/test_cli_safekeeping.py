"""The commands that keep the record safe: what they print, and with which exit code."""

import os
import re
import resource
import sqlite3
import subprocess
import sys
from pathlib import Path

import pyrage
import pytest
from click.testing import CliRunner, Result

from tests import filled
from trainer import cli, config
from trainer.cli import safekeeping
from trainer.store.engine import Store, migrations

RUN = "from trainer.cli import main; main()"
WORDS = "seven terns on a wet slipway"
SMALL = 200_000  # bytes: less than any record


@pytest.fixture(autouse=True)
def _apart(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    """Keep the settings of this machine out of the tests, and all their files in one place."""
    for name in (*config.names(), safekeeping.PASSPHRASE):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    before = os.umask(0o022)
    yield
    os.umask(before)


@pytest.fixture
def data(tmp_path: Path, databases, tmp_path_factory) -> Path:
    """Return a data folder with rows in every table."""
    made = databases.template("sqlite", "rows", tmp_path_factory.mktemp("rows"), filled.fill)
    (tmp_path / "data").mkdir()
    databases.of("sqlite").copy(made, f"sqlite:///{tmp_path / 'data' / 'record.sqlite'}")
    return tmp_path / "data"


def run(*arguments: str, **more) -> Result:
    """Run a command; its standard output and standard error come back apart."""
    return CliRunner().invoke(cli.commands, arguments, catch_exceptions=False, **more)


def refused(result: Result, code: int = 2) -> str:
    """Return the last sentence of a command that could not be done."""
    assert (result.exit_code, result.stdout) == (code, "")
    assert "Traceback" not in result.stderr
    return result.stderr.strip().splitlines()[-1]


def test_a_backup_says_its_last_hash_which_the_record_and_what_comes_back_have(data):
    done = run("backup", "kept.sqlite", "--data", "data")
    assert done.exit_code == 0
    found = re.search(r"Last hash: ([0-9a-f]{64})\n", done.stdout)[1]
    assert "It is not encrypted" in done.stdout
    assert f"verify-record --since {found}" in done.stdout
    assert run("verify-record", "--since", found, "--data", "data").exit_code == 0
    assert "--replace" in refused(run("backup", "kept.sqlite", "--data", "data"))
    again = run("restore", "kept.sqlite", "--data", "new")
    assert (again.exit_code, found in again.stdout) == (0, True)
    assert "Everybody signs in again" in again.stdout
    assert run("verify-record", "--since", found, "--data", "new").exit_code == 0
    assert "--set-aside" in refused(run("restore", "kept.sqlite", "--data", "new"))
    aside = run("restore", "kept.sqlite", "--set-aside", "--data", "new")
    where = re.search(r"is kept in the folder (\S+)\.\n", aside.stdout)[1]
    assert (Path(where) / "record.sqlite").is_file()


def test_in_a_folder_it_gets_a_name_with_the_moment(data, tmp_path, monkeypatch):
    monkeypatch.setenv(safekeeping.PASSPHRASE, WORDS)
    assert run("backup", "--encrypt", ".", "--data", "data").exit_code == 0
    [file] = tmp_path.glob("donning-room-*.zip")
    assert re.fullmatch(r"donning-room-\d{4}-\d\d-\d\dT\d{6}Z\.zip", file.name)


def test_a_passphrase_comes_from_a_file_or_the_environment_and_is_never_said(data, monkeypatch):
    Path("words").write_text(f"{WORDS}\n")
    done = run("backup", "kept.zip", "--passphrase-file", "words", "--data", "data")
    assert (done.exit_code, "It is encrypted." in done.stdout) == (0, True)
    assert WORDS not in done.stdout + done.stderr
    # Nobody is there who could be asked.
    assert "There is no passphrase" in refused(run("restore", "kept.zip", "--data", "new"))
    monkeypatch.setenv(safekeeping.PASSPHRASE, "seven terns on a wet slip")
    assert "does not open" in refused(run("restore", "kept.zip", "--data", "new"))
    monkeypatch.setenv(safekeeping.PASSPHRASE, WORDS)
    assert run("restore", "kept.zip", "--data", "new").exit_code == 0


def test_a_key_opens_what_was_encrypted_for_it(data):
    key = pyrage.x25519.Identity.generate()
    Path("key").write_text(f"# public key: {key.to_public()}\n{key}\n")
    recipient = ("--recipient", str(key.to_public()))
    assert run("backup", "kept.age", *recipient, "--data", "data").exit_code == 0
    assert "--identity" in refused(run("restore", "kept.age", "--data", "new"))
    assert run("restore", "kept.age", "--identity", "key", "--data", "new").exit_code == 0
    assert "no public key" in refused(run("backup", "x", "--recipient", "age1x", "--data", "data"))


def test_what_is_no_good_is_one_sentence(data):
    assert "There is no record in the folder none." in refused(
        run("backup", "x", "--data", "none"))
    assert "There is no file x." in refused(run("restore", "x", "--data", "new"))
    Path("x").write_text("something else")
    assert "no backup of this program" in refused(run("restore", "x", "--data", "new"), 1)
    assert "cannot be made" in refused(run("backup", "no/such/x", "--data", "data"))
    assert "Say which PostgreSQL database" in refused(run("move-data", "--data", "data"))
    assert not Path("new/record.sqlite").exists()


def limited(*arguments: str) -> subprocess.CompletedProcess:
    """Run a command where no file can grow, as on a disk that is nearly full."""
    return subprocess.run(
        [sys.executable, "-c", RUN, *arguments], capture_output=True, text=True, check=False,
        env=os.environ | {"PYTHONPATH": str(Path(config.__file__).parent.parent)},
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (SMALL, SMALL)),
    )


def test_on_a_full_disk_nothing_half_is_left(data, tmp_path):
    assert run("backup", "kept.sqlite", "--data", "data").exit_code == 0
    for command in (("backup", "x", "--data", "data"), ("restore", "kept.sqlite", "--data", "new")):
        done = limited(*command)
        assert (done.returncode, done.stdout) == (1, ""), done.stderr
        assert "cannot be" in done.stderr and "Traceback" not in done.stderr
    assert not Path("x").exists() and not Path("new/record.sqlite").exists()
    assert not list(tmp_path.rglob("*.unfinished*"))


def test_an_upgrade_keeps_a_copy_first_or_does_not_happen(tmp_path):
    folder = tmp_path / "data"
    folder.mkdir()
    old = Store(f"sqlite:///{folder / 'record.sqlite'}")
    old.upgrade("0014")
    filled.append(old)
    old.close()
    person = ("add-person", "--number", "00101", "--name", "Ada Quayside", "--data", "data")
    full = limited(*person)
    assert (full.returncode, full.stdout) == (2, "")
    assert "was not upgraded, since no copy of it could be made" in full.stderr
    with sqlite3.connect(folder / "record.sqlite") as db:
        assert db.execute("SELECT version_num FROM alembic_version").fetchall() == [("0014",)]
    db.close()
    done, copy = run(*person), folder / f"record-before-{migrations()[0]}.sqlite"
    assert done.exit_code == 0
    assert f"is kept in data/{copy.name}." in done.stderr
    back = run("restore", str(copy), "--set-aside", "--data", "data")
    assert (back.exit_code, "migration 0014" in back.stdout) == (0, True)


def test_a_record_of_a_newer_version_is_left_alone(data):
    with sqlite3.connect(data / "record.sqlite") as db:
        db.execute("UPDATE alembic_version SET version_num = '9999'")
    db.close()
    person = ("add-person", "--number", "00101", "--name", "Ada Quayside", "--data", "data")
    says = refused(run(*person))
    assert "was made by a newer version of this program: it is of migration 9999" in says
    assert [one.name for one in data.glob("*.sqlite")] == ["record.sqlite"]


def test_a_record_is_moved_to_postgresql_and_verified_there(data, databases, monkeypatch):
    cluster = databases.of("postgresql")
    address = cluster.address()
    cluster.create(address)
    moved = run("move-data", "--to", address, "--data", "data")
    assert moved.exit_code == 0
    found = re.search(r"Last hash: ([0-9a-f]{64})\n", moved.stdout)[1]
    assert f"migration {migrations()[0]}" in moved.stdout
    assert [one.name for one in data.iterdir()] == ["record-moved.sqlite"]
    assert "There is no record" in refused(run("move-data", "--to", address, "--data", "data"))
    monkeypatch.setenv("DONNING_ROOM_DATABASE_URL", address)
    assert run("verify-record", "--since", found, "--data", "data").exit_code == 0
    assert run("backup", "kept.sqlite", "--data", "data").exit_code == 0
    cluster.drop(address)
