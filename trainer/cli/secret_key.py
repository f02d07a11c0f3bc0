"""The key that signs cookies: the data folder's own, or one file for several machines."""

import os
import secrets
import sys
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from trainer.cli.command import Stop

if TYPE_CHECKING:
    from trainer.config import Settings

FEWEST_LETTERS = 32
OTHERS = 0o077
CREDENTIALS = "CREDENTIALS_DIRECTORY"
"""systemd keeps what it hands to a service here; nobody else can reach into the folder, whatever
the mode of a file in it says (systemd.exec(5), LoadCredential=)."""


def read(settings: "Settings") -> str:
    """Return the key. Errors: Stop with a sentence that says how to put it right."""
    if settings.secret_key_file is not None:
        return _given(settings.secret_key_file)
    return _own(settings.data)


def _given(path: Path) -> str:
    """Return a key that somebody made; it is never made here, where each machine would differ."""
    try:
        mode = path.stat().st_mode
        key = path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeError) as fault:
        why = getattr(fault, "strerror", None) or "it is not plain text"
        raise Stop(f"The secret key {path} cannot be used: {why}.") from None
    if mode & OTHERS and sys.platform != "win32" and not _is_credential(path):
        raise Stop(f"Others on this machine can read the secret key {path}; "
                   f"let its owner alone: chmod 600 {path}")
    if len(key) < FEWEST_LETTERS:
        raise Stop(f"The secret key {path} is too short: it takes {FEWEST_LETTERS} letters or "
                   f"more. Make one with: openssl rand -hex 32")
    return key


def _is_credential(path: Path) -> bool:
    folder = os.environ.get(CREDENTIALS)
    return bool(folder) and path.resolve().parent == Path(folder).resolve()


def _own(folder: Path) -> str:
    """Return the key of a data folder, made on the first start, readable by its owner only."""
    path = folder / "secret.key"
    try:
        if not path.exists():
            # Written whole before it has its name: a second start at the same moment reads
            # this key or makes it first, but never half of one.
            with tempfile.NamedTemporaryFile("w", dir=folder, prefix="secret-") as fresh:
                fresh.write(secrets.token_hex(32))
                fresh.flush()
                os.fsync(fresh.fileno())
                with suppress(FileExistsError):
                    os.link(fresh.name, path)
        path.chmod(0o600)
        key = path.read_text().strip()
    except OSError as fault:
        raise Stop(f"The secret key {path} cannot be used: {fault.strerror}.") from None
    if len(key) < FEWEST_LETTERS:
        raise Stop(f"The secret key {path} is too short; delete it and a fresh one is made.")
    return key
