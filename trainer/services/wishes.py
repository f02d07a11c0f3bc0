"""What somebody chose on the page of taking out, as an address keeps it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from urllib.parse import parse_qsl
from zoneinfo import ZoneInfo

from sqlmodel import Session

from trainer.services import errands, exporting
from trainer.services.exporting import Choice
from trainer.store import board, people
from trainer.store.board import Filter
from trainer.store.tables import Errand, Worksite


@dataclass(frozen=True)
class Wish:
    """A period, a part of the record and a filter of the tag board.

    medical   determinations too, where whoever asks has the right to see them
    filter    a worksite alone: what was recorded there, by whom it ever was; anything more: the
              entries of the people whose tags it finds, wherever they were made
    """

    first: date = date.min
    last: date = date.max
    what: str = "training"
    medical: bool = False
    filter: Filter = field(default_factory=Filter)

    @classmethod
    def read(cls, args: Mapping[str, str]) -> "Wish":
        """Return the wish of an address; what is not known counts as not asked."""
        what = args.get("what", "")
        return cls(
            first=_day(args.get("from", "")) or date.min,
            last=_day(args.get("to", "")) or date.max,
            what=what if what in exporting.WHAT else "training",
            medical=args.get("medical", "") == "yes",
            # The people of today, whatever day the board was asked about.
            filter=replace(Filter.read(args), on=None, sort=""),
        )

    @classmethod
    def of_address(cls, query: str) -> "Wish":
        """Return the wish that `query` made an address of."""
        return cls.read(dict(parse_qsl(query)))

    def query(self, **more: str) -> str:
        """Return the part of an address that keeps the wish; `more` stands at the end."""
        days = {
            "from": self.first.isoformat() if self.first > date.min else "",
            "to": self.last.isoformat() if self.last < date.max else "",
        }
        medical = {"medical": "yes"} if self.medical else {}
        return self.filter.query(**days, what=self.what, **medical, **more)

    @property
    def of_people(self) -> bool:
        """Say whether it asks for people of the tag board, and not for all of a worksite."""
        return self.filter != Filter(worksite=self.filter.worksite)


def choice(
    db: Session, wish: Wish, today: date, soon_days: int, *, sees_medical: bool
) -> Choice:
    """Return which entries a wish is for; of a coordinator, who sees every worksite.

    sees_medical    may they know when determinations end? Else nobody is found by that
    """
    plain = Choice(wish.first, wish.last, wish.what, medical=wish.medical)
    if wish.of_people:
        ids = board.person_ids(wish.filter, today, soon_days, None, medical=sees_medical)
        return replace(plain, numbers=exporting.of_people(ids))
    if wish.filter.worksite is None:
        return plain
    worksite = db.get(Worksite, wish.filter.worksite)
    # One that is not there has no entries.
    return replace(plain, worksite=worksite.name if worksite else "\0")


def of_errand(db: Session, errand: Errand, about: dict) -> Choice:
    """Return which entries an errand is to take out, by the board of the day it was asked for."""
    wish = Wish.of_address(about["address"])
    return choice(
        db, wish, date.fromisoformat(about["today"]), about["soon_days"],
        sees_medical=people.MEDICAL in errands.rights(db, errand),
    )  # fmt: skip


def file_name(wish: Wish, today: date, ending: str) -> str:
    """Return what a file is called: part of the record, its days."""
    last = wish.last if wish.last < date.max else today
    first = wish.first.isoformat() if wish.first > date.min else "from-the-beginning"
    part = "training-record" if wish.what == "training" else f"record_{wish.what}"
    return f"{part}_{first}_{last.isoformat()}.{ending}"


def today_at(now: datetime, zone: ZoneInfo) -> date:
    """Return the day at the works."""
    return now.astimezone(zone).date()


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
