"""Templates compiled once for all starts, as Python compiles its modules.

They lie where Python would put the compiled files of modules that stood in the folder of the
templates, and are written by the same rule: where it may write, unless it was told not to. So
they are as safe as those: whoever can write there can change what the program does as it is.
"""

import hashlib
import marshal
import os
import sys
from collections.abc import Iterator
from contextlib import suppress
from importlib.metadata import version
from importlib.util import cache_from_source
from pathlib import Path
from threading import get_ident

from flask import Flask
from jinja2.bccache import Bucket, BytecodeCache

_HERE = Path(__file__).parent


def init_app(app: Flask) -> None:
    """Let the templates of an application be kept as compiled."""
    beside = cache_from_source(str(_HERE / "templates" / "any.py"))
    app.jinja_options = {**app.jinja_options, "bytecode_cache": Compiled(Path(beside).parent)}


class Compiled(BytecodeCache):
    """The compiled templates in a folder.

    Jinja's own keeping of files would read them with pickle before it knows whose they are.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._by = _made_by()

    def load_bytecode(self, bucket: Bucket) -> None:
        """Hand out a template as it was compiled from the very same text."""
        with suppress(OSError, ValueError, EOFError, TypeError):
            head, code = self._split(self._path(bucket).read_bytes())
            if head == self._head(bucket, code):
                # Ours to the letter, by the digest; and see above.
                bucket.code = marshal.loads(code)  # noqa: S302  # nosec B302

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep a template, whole or not at all."""
        if sys.dont_write_bytecode:
            return
        code = marshal.dumps(bucket.code)
        with suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            # Others may read it, as they may the text: mkstemp would keep it to its owner.
            written = self._path(bucket).with_suffix(f".{os.getpid()}-{get_ident()}")
            with written.open("xb") as file:
                file.write(self._head(bucket, code) + code)
            os.replace(written, self._path(bucket))

    def _path(self, bucket: Bucket) -> Path:
        return self.folder / f"{bucket.key}.{sys.implementation.cache_tag}.template"

    def _head(self, bucket: Bucket, code: bytes) -> bytes:
        of = (self._by, bucket.checksum.encode(), hashlib.sha256(code).digest())
        return hashlib.sha256(b"".join(of)).digest()

    @staticmethod
    def _split(kept: bytes) -> tuple[bytes, bytes]:
        size = hashlib.sha256().digest_size
        return kept[:size], kept[size:]


def _made_by() -> bytes:
    """Return the digest of what compiles: Python, Jinja, and this version of the program.

    The sentences of a template, and a filter with a constant, are worked out as it is compiled: so
    our modules count, and the words of each language.
    """
    return hashlib.sha256(repr((sys.version, version("jinja2"), *_ours())).encode()).digest()


def _ours() -> Iterator[tuple[str, int, int]]:
    words = (_HERE / "translations").rglob("*.po")
    for path in sorted((*_HERE.glob("*.py"), *_HERE.parent.glob("*.py"), *words)):
        about = path.stat()
        yield str(path.relative_to(_HERE.parent)), about.st_size, about.st_mtime_ns
