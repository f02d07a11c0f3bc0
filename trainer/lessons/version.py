"""The version of what was taught: it changes when a word or a line of a drawing does."""

import hashlib
from collections.abc import Iterable
from pathlib import Path

LENGTH = 12


def version(files: Iterable[Path], folder: Path) -> str:
    """Return the first 12 hexadecimal digits of a SHA-256 over the names and bytes of the files.

    Line ends do not count: a checkout on another system must give the same version.
    """
    digest = hashlib.sha256()
    for path in sorted(set(files)):
        name = path.relative_to(folder).as_posix().encode()
        content = path.read_bytes().replace(b"\r\n", b"\n")
        digest.update(b"%d %s %d\n" % (len(name), name, len(content)) + content)
    return digest.hexdigest()[:LENGTH]


def combined_version(versions: Iterable[str]) -> str:
    """Return one version for several parts, in whatever order they are given."""
    return hashlib.sha256("\n".join(sorted(versions)).encode()).hexdigest()[:LENGTH]
