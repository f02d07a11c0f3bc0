"""Who records, and when."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from trainer.store.tables import Person


@dataclass(frozen=True)
class Scribe:
    """Who records, when, and the default time zone."""

    person: Person
    now: datetime
    zone: ZoneInfo
