"""The last hash of the record, noted elsewhere, and an earlier one looked for again.

Whoever has the database can write the whole record anew, with hashes that fit. Only a hash that was
noted where they do not come tells it.
"""

import re
from dataclasses import dataclass

from sqlmodel import Session

from trainer.services.refusal import Refusal
from trainer.store import record

_HASH = re.compile(r"[0-9a-f]{64}")
GROUP = 8


@dataclass(frozen=True)
class Witness:
    """The last entry's number and hash; of an empty record 0 and what stands for the beginning."""

    number: int
    hash: str

    @property
    def groups(self) -> str:
        """Return the hash in groups, as it is easier to copy and compare by eye."""
        return " ".join(self.hash[at : at + GROUP] for at in range(0, len(self.hash), GROUP))


@dataclass(frozen=True)
class Found:
    """An earlier hash that is in the record: of which entry, and how many came since."""

    number: int
    since: int


def witness(db: Session) -> Witness:
    """Return the last entry's number and hash."""
    last = record.newest(db)
    return Witness(last.number, last.hash) if last else Witness(0, record.BEGINNING)


def look_for(db: Session, typed: str) -> Found | None:
    """Return where in the record an earlier hash stands; None: the record never had it.

    typed   as it was noted: spaces, line ends and capitals do not count
    It looks the hash up; whether the chain holds is what `record.verify` walks it for.
    Errors: Refusal for what is no hash.
    """
    noted = "".join(typed.split()).lower()
    if not _HASH.fullmatch(noted):
        raise Refusal(
            "A hash has 64 characters, 0 to 9 and a to f. This has %(count)s characters; look at "
            "it again.",
            count=len(noted),
            field="since",
        )
    last = witness(db).number
    if noted == record.BEGINNING:
        return Found(0, last)
    entry = record.by_hash(db, noted)
    return Found(entry.number, last - entry.number) if entry else None
