"""The key that signs cookies, where one file has it for several machines."""

from pathlib import Path

import pytest

from trainer import config
from trainer.cli import secret_key
from trainer.cli.command import Stop

KEY = "k" * 64


@pytest.fixture
def settings(tmp_path: Path) -> config.Settings:
    """Return settings that name a key of 64 letters, its owner's alone."""
    path = tmp_path / "shared.key"
    path.write_text(KEY + "\n")
    path.chmod(0o600)
    return config.read(data=tmp_path / "data", secret_key_file=path)


def test_the_key_of_the_file_is_taken_and_none_is_made(settings):
    assert secret_key.read(settings) == KEY
    assert not settings.data.exists()


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660])
def test_a_key_that_others_can_read_is_refused_in_words_that_mend_it(settings, mode):
    settings.secret_key_file.chmod(mode)
    with pytest.raises(Stop, match=f"chmod 600 {settings.secret_key_file}"):
        secret_key.read(settings)


def test_a_credential_of_systemd_may_have_the_mode_that_it_gives(settings, monkeypatch):
    settings.secret_key_file.chmod(0o440)
    monkeypatch.setenv(secret_key.CREDENTIALS, str(settings.secret_key_file.parent))
    assert secret_key.read(settings) == KEY
    monkeypatch.setenv(secret_key.CREDENTIALS, str(settings.data))
    with pytest.raises(Stop):
        secret_key.read(settings)


def test_a_file_that_is_not_there_is_named_and_not_made(settings):
    settings.secret_key_file.unlink()
    with pytest.raises(Stop, match="No such file"):
        secret_key.read(settings)
    assert not settings.secret_key_file.exists()


@pytest.mark.parametrize("text", [b"short", b"\xff" * 64])
def test_a_key_that_is_none_is_refused(settings, text):
    settings.secret_key_file.write_bytes(text)
    with pytest.raises(Stop):
        secret_key.read(settings)


def test_without_a_file_the_data_folder_keeps_its_own(tmp_path):
    there = config.read(data=tmp_path)
    made = secret_key.read(there)
    assert len(made) == 64
    assert secret_key.read(there) == made
    assert (tmp_path / "secret.key").stat().st_mode & 0o777 == 0o600
