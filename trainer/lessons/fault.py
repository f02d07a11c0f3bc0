"""What is wrong with a lesson or a drawing, and where."""

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
