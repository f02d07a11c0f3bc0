"""Whether the program can do its work now, and the figures that whoever runs it watches."""

from dataclasses import dataclass

from sqlalchemy.exc import SQLAlchemyError

from trainer.running.metrics import Figures
from trainer.services import errands
from trainer.store import record
from trainer.store.engine import Store, newest_migration

SHOWN = 12
"""Digits of the last hash that anybody may see: enough to compare, no witness of the record."""


@dataclass(frozen=True)
class Wellbeing:
    """What was found.

    state   ok, away (it does not answer) or other (its tables are not those of this program)
    chain   how the last hash of the record begins; nothing where it cannot be read
    """

    state: str
    chain: str = ""

    @property
    def well(self) -> bool:
        """Say whether pages can be answered."""
        return self.state == "ok"


def look(store: Store) -> Wellbeing:
    """Ask the database, and say what is found; never raises what the database does."""
    try:
        if store.migration() != newest_migration():
            return Wellbeing("other")
        with store.reading() as db:
            return Wellbeing("ok", record.last_hash(db)[:SHOWN])
    except (SQLAlchemyError, OSError):
        return Wellbeing("away")


def figures(store: Store) -> Figures:
    """Return what is looked up for the metrics; only that the database is away where it is."""
    up = "Whether the database answers, with the tables of this program"
    if not look(store).well:
        return {"database_up": (up, 0)}
    with store.reading() as db:
        newest = record.newest(db)
        return {
            "database_up": (up, 1),
            "entries": ("Entries in the record", newest.number if newest else 0),
            "errands_open": ("Errands that wait or are being done", errands.waiting(db)),
            "errands_failed": ("Errands that failed, of those kept", errands.failed(db)),
        }
