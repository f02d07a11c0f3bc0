"""The inspection packet: everything about a worksite and a period, in one file.

It follows the paragraphs (c) to (m) of 29 CFR 1910.134, shows what was recorded and claims nothing
beyond. It is made part by part from rows alone, as of an entry and a moment, so that asked again
in the same way it comes out the same, byte for byte.
"""

from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from trainer.services import errands
from trainer.services.errands import Made, Progress
from trainer.services.packet import (
    chain,
    cover,
    evaluation,
    names,
    people_then,
    persons,
    place,
    room,
    taught,
)
from trainer.services.packet.archive import Archive
from trainer.services.packet.asked import Asked, settled
from trainer.services.packet.made import Making
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.engine import Store
from trainer.store.tables import Errand, Person, Worksite

KIND = "packet"
BESIDE = 6
"""Steps beside those of the people: place, room, lessons, evaluation, record, cover."""

__all__ = ["KIND", "Asked", "ask", "made_before", "make", "settled"]


def ask(db: Session, by: Scribe, asked: Asked, once: str) -> Errand:
    """Ask for a packet; inside `writing()`. Asked twice with one key, it is one."""
    needs = ("coordinator", *((people.MEDICAL,) if asked.medical else ()))
    return errands.ask(
        db, by, KIND, asked.about, once=once, language=asked.language, needs=needs
    )


def made_before(db: Session, most: int = 50) -> list[tuple[Errand, Asked, dict, Person]]:
    """Return the packets that were asked for, newest first: what, what came of it, by whom."""
    query = (
        select(Errand, Person)
        .join(Person, Person.id == Errand.asked_by)
        .where(Errand.kind == KIND)
        .order_by(Errand.id.desc())
        .limit(most)
    )
    return [
        (errand, Asked.read(errands.about(errand)), errands.said(errand), person)
        for errand, person in db.exec(query)
    ]


@errands.does(KIND)
def make(store: Store, errand: Errand, progress: Progress) -> Made:
    """Make a packet part by part into a temporary file, and hand that out piece by piece."""
    asked = Asked.read(errands.about(errand))
    with store.reading() as db:
        worksite = db.get(Worksite, asked.worksite_id)
        if worksite is None:
            raise Refusal("This worksite is not there any more.")
        db.expunge(worksite)
        zone = ZoneInfo(worksite.time_zone)
        archive = Archive(asked.at.astimezone(zone))
        try:
            said = _write(Making(db, asked, worksite, archive), progress)
        except BaseException:
            archive.drop()
            raise
    return Made(said, _file_name(asked, worksite), "application/zip", archive.chunks())


def _write(making: Making, progress: Progress) -> dict:
    asked, worksite = making.asked, making.worksite
    ids = people_then.roster(making.db, asked, worksite)
    walking = asked.number // chain.LOOK_EVERY
    steps, at = len(ids) + BESIDE + walking, 0

    def step(_count: int = 0) -> None:
        nonlocal at
        at += 1
        progress(at, steps + 1)

    place.write(making)
    step()
    tables = persons.write(making, ids, step)
    _, questions, versions = room.write(making, ids)
    step()
    taught.write(making, tables.versions | versions)
    step()
    evaluation.write(making, ids, questions)
    step()
    walked = chain.walk(making, step)
    entries = chain.write(making, tables, walked)
    step()
    cover.write(making, len(ids), entries, walked)
    return {
        "people": len(ids),
        "entries": entries,
        "number": asked.number,
        "hash": walked.last_hash,
        "holds": walked.holds,
    }


def _file_name(asked: Asked, worksite: Worksite) -> str:
    place_ = names.safe(worksite.name)
    return f"{names.TOP(asked.language)} {place_} {asked.first} {asked.last}.zip"
