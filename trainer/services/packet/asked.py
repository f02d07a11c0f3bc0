"""What an inspection packet was asked for: whose, of which days, as of which entry."""

from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session, func, select

from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.tables import Entry, Worksite


@dataclass(frozen=True)
class Asked:
    """What the same packet is made from again, byte for byte, as long as its rows are kept.

    first, last     days of the period
    number          the last entry of the record that it knows; 0: none
    at              the moment it was asked for, UTC: what came later is not in it
    medical         are determinations in it? Only for those with the right
    answers         is every question of the sittings in it, with what was answered?
    language        of its papers; lessons are in both
    """

    worksite_id: int
    first: date
    last: date
    number: int
    at: datetime
    medical: bool
    answers: bool
    language: str
    organisation: str
    asked_by: str

    @property
    def about(self) -> dict:
        """Return it as plain JSON values."""
        plain = asdict(self)
        return plain | {
            "first": self.first.isoformat(),
            "last": self.last.isoformat(),
            "at": self.at.isoformat(),
        }

    @classmethod
    def read(cls, about: dict) -> "Asked":
        """Return what plain values say."""
        return cls(**about | {
            "first": date.fromisoformat(about["first"]),
            "last": date.fromisoformat(about["last"]),
            "at": datetime.fromisoformat(about["at"]),
        })  # fmt: skip

    def ends(self, worksite: Worksite) -> datetime:
        """Return the moment at which its last day ended there, or at which it was asked for."""
        return min(people.end_of(self.last, worksite.time_zone).astimezone(UTC), self.at)

    def begins(self, worksite: Worksite) -> datetime:
        """Return the moment at which its first day began there."""
        zone = ZoneInfo(worksite.time_zone)
        return datetime(self.first.year, self.first.month, self.first.day, tzinfo=zone)


def settled(
    db: Session,
    by: Scribe,
    worksite: Worksite,
    *,
    first: date,
    last: date,
    medical: bool,
    answers: bool,
    language: str,
    organisation: str,
) -> Asked:
    """Return what is asked for, as of the last entry there is now.

    Errors: Refusal for a period that ends before it begins, or that is not over.
    """
    if last < first:
        raise Refusal("The last day must not be before the first.", field="last")
    if last > by.now.astimezone(ZoneInfo(worksite.time_zone)).date():
        raise Refusal("The last day lies in the future. A packet shows what was.", field="last")
    if first.year < 1900:
        raise Refusal("Give a first day after the year 1900.", field="first")
    newest = db.exec(select(func.max(Entry.number))).one() or 0
    return Asked(
        worksite.id, first, last, newest, by.now.astimezone(UTC), medical,
        answers, language, organisation, f"{by.person.name} ({by.person.number})",
    )


def today(asked: Asked, worksite: Worksite) -> date:
    """Return the day as of which people stand as the packet says."""
    there = asked.at.astimezone(ZoneInfo(worksite.time_zone)).date()
    return min(asked.last, there)


