"""The packet's ZIP, part by part: the same parts give the same bytes, whenever it is made."""

import csv
import io
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from trainer.services import errands
from trainer.services.exporting import harmless

LEVEL = 6
LEVEL_OF_PDF = 1
"""A PDF is small already: the little that is left to gain takes long."""


@dataclass(frozen=True)
class File:
    """A file of the packet: its paragraph, its path, and what is said of it in the contents."""

    paragraph: str
    path: str
    about: str


class Archive:
    """A ZIP that is written to a temporary file, so that its size asks for no memory."""

    def __init__(self, at: datetime) -> None:
        self._file = tempfile.TemporaryFile()  # noqa: SIM115 (closed when it was handed out)
        self._zip = ZipFile(self._file, "w")
        # The clock of the packet, not of the machine. A ZIP counts from 1980, in steps of 2 s.
        self._at = max(at.timetuple()[:6], (1980, 1, 1, 0, 0, 0))
        self._taken: set[str] = set()
        self.files: list[File] = []

    def add(self, paragraph: str, path: str, data: bytes, about: str = "") -> None:
        """Put a file in."""
        level = LEVEL_OF_PDF if path.endswith(".pdf") else LEVEL
        self._zip.writestr(self._named(paragraph, path, about), data, compresslevel=level)

    def add_rows(
        self,
        paragraph: str,
        path: str,
        heads: Sequence[str],
        rows: Iterable[Sequence[object]],
        about: str = "",
    ) -> int:
        """Put a CSV in, row by row, and return how many there were.

        RFC 4180, UTF-8 with the mark that spreadsheets look for; no cell runs as a formula.
        """
        count = 0
        named = self._named(paragraph, path, about)
        with self._zip.open(named, "w") as raw, io.TextIOWrapper(
            raw, encoding="utf-8-sig", newline=""
        ) as text:
            writer = csv.writer(text, lineterminator="\r\n")
            writer.writerow(heads)
            for row in rows:
                writer.writerow([harmless("" if cell is None else str(cell)) for cell in row])
                count += 1
        return count

    def chunks(self) -> Iterator[bytes]:
        """Close it and give it piece by piece; then the temporary file is gone."""
        # Whoever lists it sees the order of the standard, whatever was written first.
        self._zip.filelist.sort(key=lambda one: one.filename)
        self._zip.close()
        return errands.pieces(self._file)

    def drop(self) -> None:
        """Let go of what could not be finished."""
        with self._file, suppress(ValueError):  # a file of it may still be open
            self._zip.close()

    def _named(self, paragraph: str, path: str, about: str) -> ZipInfo:
        path = self._free(path)
        self.files.append(File(paragraph, path, about))
        info = ZipInfo(path, self._at)
        info.compress_type = ZIP_DEFLATED
        info.create_system = 3
        info.external_attr = 0o644 << 16
        return info

    def _free(self, path: str) -> str:
        """Return a path that no other file has, capitals aside as on many machines."""
        there, count = Path(path), 1
        while path.casefold() in self._taken:
            count += 1
            path = there.with_name(f"{there.stem} {count}{there.suffix}").as_posix()
        self._taken.add(path.casefold())
        return path
