"""What every part of a packet is made with."""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from trainer.services import paper_words as words
from trainer.services.packet import names
from trainer.services.packet.archive import Archive
from trainer.services.packet.asked import Asked
from trainer.services.packet.paper import Paper
from trainer.store.tables import Worksite
from trainer.words import Words

RUNNING = Words(
    "{worksite} · {first} to {last} · 29 CFR 1910.134", "{worksite} · {first} a {last} · "
    "29 CFR 1910.134",
)
FOOT = Words("As of entry {number}, {at}", "Según la entrada {number}, {at}")
ROWS_OF_A_PAPER = 1500
"""Rows of one PDF: a longer table goes on in another, so that memory stays bounded."""


@dataclass(frozen=True)
class Making:
    """A packet in the making: what was asked, for which worksite, and where it is put."""

    db: Session
    asked: Asked
    worksite: Worksite
    archive: Archive

    @property
    def language(self) -> str:
        """Return the language of its papers."""
        return self.asked.language

    @property
    def moment(self) -> datetime:
        """Return the moment after which nothing is in it."""
        return self.asked.ends(self.worksite)

    def local(self, moment: datetime) -> date:
        """Return the day of a moment by the clock of the worksite."""
        return moment.astimezone(ZoneInfo(self.worksite.time_zone)).date()

    def paper(self, title: Words | str, wide: bool = False, **parts: object) -> Paper:
        """Begin a paper."""
        language = self.language
        named = title if isinstance(title, str) else title.filled(**parts)(language) if parts \
            else title(language)
        running = RUNNING.filled(
            worksite=self.worksite.name, first=words.day(self.asked.first, language),
            last=words.day(self.asked.last, language),
        )(language)  # fmt: skip
        foot = FOOT.filled(
            number=self.asked.number, at=words.day(self.local(self.asked.at), language)
        )(language)
        return Paper(language, named, running, foot, wide=wide)

    def put(self, paragraph: str, name: Words | str, paper: Paper, about: Words | str = "") -> None:
        """Set a paper and put it into the folder of its paragraph."""
        path = f"{self.folder(paragraph)}/{self.said(name)}.pdf"
        self.archive.add(paragraph, path, paper.pdf(self.asked.at), self.said(about))

    def rows(self, paragraph, name: str, heads, rows, about: Words | str = "") -> int:
        """Put rows as CSV into the folder of a paragraph; return how many there were."""
        path = f"{self.folder(paragraph)}/{name}.csv"
        return self.archive.add_rows(paragraph, path, heads, rows, self.said(about))

    def folder(self, paragraph: str) -> str:
        """Return the folder of a paragraph of the standard."""
        return f"{names.TOP(self.language)}/{names.FOLDERS[paragraph](self.language)}"

    def said(self, given: Words | str) -> str:
        """Return words in the language of the packet."""
        return given if isinstance(given, str) else given(self.language)
