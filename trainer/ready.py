"""What takes long to make of the program's own files, kept ready for the next start.

It lies in the data folder, as plain data (JSON): whatever stands there is read and never run. It
goes by what it was made of, to the letter: an edited file or another version of the program is
made anew. A folder that cannot be written to, a damaged file, one that somebody else could have
written: each is as if nothing were kept.
"""

import hashlib
import json
import os
import stat
import sys
import tempfile
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

FOLDER = "ready"
_OTHERS_WRITE = stat.S_IWGRP | stat.S_IWOTH


def made(
    folder: Path | None, name: str, of: Callable[[], str], make: Callable[[], Any]
) -> Any:
    """Return what `make` makes, or the same as it was kept.

    folder  the data folder; None: nothing is kept
    of      gives the `digest` of all that it is made of
    make    gives what JSON can hold; what it cannot (a date) is not kept
    """
    if folder is None:
        return make()
    path = folder / FOLDER / f"{name}.json"
    before = of()
    with suppress(OSError, ValueError, RecursionError):
        return _kept(path, before)
    fresh = make()
    if of() == before:  # else a file was changed meanwhile, and nobody knows which of the two it is
        with suppress(OSError, TypeError):
            _keep(path, before, fresh)
    return fresh


def digest(files: Iterable[Path], *more: str) -> str:
    """Return the SHA-256, in hexadecimal, of files, their places, what else counts, and Python."""
    whole = hashlib.sha256()
    for path in sorted(files):
        _add(whole, str(path).encode(errors="surrogateescape"))
        _add(whole, path.read_bytes())
    for one in (*more, sys.version):
        _add(whole, one.encode())
    return whole.hexdigest()


def _add(whole: "hashlib._Hash", part: bytes) -> None:
    """Add a part with its length, so that no two lists of parts read alike."""
    whole.update(b"%d " % len(part) + part)


def _kept(path: Path, of: str) -> Any:
    """Return what is kept. Errors: OSError or ValueError where it is not what it should be."""
    with path.open("rb") as file:
        if not _ours_alone(os.fstat(file.fileno())):
            raise ValueError("somebody else could have written it")
        head, _, body = file.read().partition(b"\n")
    if head != _head(of, body):
        raise ValueError("it was made of something else, or is damaged")
    return json.loads(body)


def _keep(path: Path, of: str, fresh: Any) -> None:
    """Keep it: whoever reads at the same moment finds what was there before, or this, whole."""
    body = json.dumps(fresh, ensure_ascii=False, separators=(",", ":")).encode()
    path.parent.mkdir(mode=0o700, exist_ok=True)
    handle, written = tempfile.mkstemp(dir=path.parent, prefix=path.stem)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(_head(of, body) + b"\n" + body)
        os.replace(written, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(written)
        raise


def _head(of: str, body: bytes) -> bytes:
    return f"{of} {hashlib.sha256(body).hexdigest()}".encode()


def _ours_alone(about: os.stat_result) -> bool:
    """Say whether nobody but who runs the program can have written a file."""
    if sys.platform == "win32":  # what may be done there is the folder's to say, as for the record
        return True
    return about.st_uid == os.geteuid() and not about.st_mode & _OTHERS_WRITE
