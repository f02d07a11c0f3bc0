"""The lessons: Markdown pairs in `lessons/`, read, rendered once, versioned and checked.

`written` is for those that a worksite's trainers write in the browser.

`lessons/README.md` says how a lesson and a drawing are written.
"""

from . import written
from .check import Row, faults, reading_note, sections, summary
from .fault import Fault, LessonFault
from .read import Lesson, Lessons, Part, Section, figure, load, read
from .render import html
from .version import combined_version

__all__ = [
    "Fault",
    "Lesson",
    "LessonFault",
    "Lessons",
    "Part",
    "Row",
    "Section",
    "combined_version",
    "faults",
    "figure",
    "html",
    "load",
    "read",
    "reading_note",
    "sections",
    "summary",
    "written",
]
