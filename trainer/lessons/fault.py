"""What is wrong with a lesson, a drawing or a picture, and where."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, order=True)
class Fault:
    """One thing to put right: the file, its line (1 is the first) and a sentence."""

    path: Path
    line: int
    sentence: str

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.sentence}"


class LessonFault(ValueError):
    """A lesson or drawing cannot be read; `fault` says where and why."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault


class PictureFault(ValueError):
    """A picture cannot be used.

    key     why: one of KEYS, which a page turns into a sentence
    what    what of the picture it is about, as it stands there; "" where that says nothing
    """

    KEYS = (
        "empty", "kind", "bytes", "pixels", "broken",
        "doctype", "parts", "size", "element", "attribute",
    )  # fmt: skip

    def __init__(self, key: str, what: str = "") -> None:
        super().__init__(f"{key}: {what}" if what else key)
        self.key = key
        self.what = what
