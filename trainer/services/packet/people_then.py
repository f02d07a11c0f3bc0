"""Who belongs into a packet, and where each of them stood on its last day."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session, or_, select

from trainer.services import standing
from trainer.services.packet.asked import Asked, today
from trainer.services.standing import History, Stood, Tag
from trainer.store import people, record
from trainer.store.tables import (
    Entry,
    Membership,
    MergedPerson,
    PastMembership,
    Person,
    Sitting,
    Worksite,
)

KINDS = ("lesson", "practice", "training", "credit", "earlier-training", "fit-test", "appendix-d",
         "retraining", "erasure", "left", "returned", "merged", "correction")  # fmt: skip
"""Kinds of entry that a packet shows to anybody; determinations only with the right."""
AT_ONCE = 100
"""People who are asked about together."""

ABOUT_OTHERS = (*record.CORRECTIONS, record.ERASURE)
PLACES = ("left", "returned")


@dataclass(frozen=True)
class Then:
    """One person, with the entries that the packet knows.

    stood    where they stood on the last day: the tags, the worksites, whether they had left
    entries  all of them up to the packet's last entry, oldest first, corrections too
    shown    those that happened in the period, and corrections of these
    force    those that held on the last day, each with what it said then
    bodies   what each entry that is shown says, by its number
    """

    stood: Stood
    shown: list[Entry]
    force: list[tuple[Entry, dict]]
    corrected: dict[int, list[tuple[Entry, dict]]]
    bodies: dict[int, dict]

    @property
    def person(self) -> Person:
        """Return who it is."""
        return self.stood.person

    @property
    def history(self) -> History:
        """Return what their record says, of what had happened by the last day."""
        return self.stood.history

    @property
    def tags(self) -> list[Tag]:
        """Return where they stood on the last day, a respirator each."""
        return self.stood.tags

    @property
    def left_on(self) -> date | None:
        """Return the day on which they had left by the last day; None: they had not."""
        return self.stood.left_on

    def in_period(self, kind: str, first: date, last: date) -> list[tuple[Entry, dict]]:
        """Return what holds of one kind and happened in the period."""
        return [
            (entry, said)
            for entry, said in self.force
            if entry.kind == kind and first <= happened(entry, said) <= last
        ]


def happened(entry: Entry, said: dict) -> date:
    """Return the day of an entry as it reads now."""
    return date.fromisoformat(said["happened_on"]) if "happened_on" in said else entry.happened_on


def roster(db: Session, asked: Asked, worksite: Worksite) -> list[int]:
    """Return the ids of whom the packet is about, by name.

    Whoever belonged to the worksite on a day of the period, unless they had left before it; and
    whoever has an entry made there in it. Of records that were merged by then, the one that goes
    on.
    """
    ends, begins = asked.ends(worksite), asked.begins(worksite)
    belonged = _members(Membership, worksite, ends), _members(
        PastMembership, worksite, ends
    ).where(PastMembership.left_at >= begins)
    recorded = select(Entry.person_number).where(
        Entry.worksite == worksite.name,
        Entry.happened_on >= asked.first,
        Entry.happened_on <= asked.last,
        Entry.number <= asked.number,
        Entry.kind.in_(KINDS),
    )
    merged = _merged(db, asked)
    there = _going_on(db.exec(select(Person.id).where(Person.number.in_(recorded))), merged)
    came = select(Person.id).where(
        or_(*(Person.id.in_(one) for one in belonged)), Person.added_at <= ends
    )
    others = _going_on(db.exec(came), merged) - there
    wanted = there | (others - _left_before(db, asked, others))
    return _by_name(db, wanted)


def _members(table, worksite: Worksite, ends):
    return select(table.person_id).where(
        table.worksite_id == worksite.id, or_(table.joined_at.is_(None), table.joined_at <= ends)
    )


def _merged(db: Session, asked: Asked) -> dict[int, int]:
    """Return by id of a record that was merged by then the id of the one that goes on."""
    query = select(MergedPerson.person_id, MergedPerson.into_id)
    return dict(db.exec(query.where(MergedPerson.merged_at <= asked.at)).all())


def _going_on(ids: Iterable[int], merged: dict[int, int]) -> set[int]:
    return {merged.get(one, one) for one in ids}


def _left_before(db: Session, asked: Asked, ids: set[int]) -> set[int]:
    """Return which of these had left before the period, and had not come back by its end."""
    found, ordered = set(), sorted(ids)
    for at in range(0, len(ordered), 500):
        some = ordered[at : at + 500]
        persons = list(db.exec(select(Person).where(Person.id.in_(some))))
        numbers = people.numbers_of(db, persons, asked.at)
        every = [number for theirs in numbers.values() for number in theirs]
        entries = record.of_people(db, every, (*PLACES, "correction"), asked.number)
        for person in persons:
            left_on = standing.left_by(db, person, entries, numbers[person.id], asked.last,
                                       asked.number)  # fmt: skip
            if left_on and left_on < asked.first:
                found.add(person.id)
    return found


def _by_name(db: Session, ids: set[int]) -> list[int]:
    found, ordered = [], sorted(ids)
    for at in range(0, len(ordered), 500):
        some = select(Person.search_key, Person.id).where(Person.id.in_(ordered[at : at + 500]))
        found += db.exec(some).all()
    return [one for _, one in sorted(found)]


def each(
    db: Session, asked: Asked, worksite: Worksite, ids: Sequence[int]
) -> Iterator[Then]:
    """Give the people of a packet one after another; no more than AT_ONCE are in memory."""
    day = today(asked, worksite)
    kinds = KINDS + record.MEDICAL_KINDS if asked.medical else KINDS
    for at in range(0, len(ids), AT_ONCE):
        some = list(ids[at : at + AT_ONCE])
        persons = {one.id: one for one in db.exec(select(Person).where(Person.id.in_(some)))}
        stood = standing.stood_on(
            db, [persons[one] for one in some], day, last=asked.number, at=asked.at
        )
        for one in some:
            yield _then(stood.pop(one), asked, kinds)
        db.expunge_all()


def _then(stood: Stood, asked: Asked, kinds: tuple[str, ...]) -> Then:
    force = stood.history.of()
    said = {entry.number: body for entry, body in force}
    corrected = _corrections(stood.entries)
    shown = _shown(stood.entries, asked, kinds)
    bodies = {
        entry.number: said[entry.number]
        if entry.number in said and entry.number not in corrected
        else record.body(entry)
        for entry in shown
    }
    return Then(stood, shown, force, corrected, bodies)


def _corrections(entries: Iterable[Entry]) -> dict[int, list[tuple[Entry, dict]]]:
    """Return by number of the corrected entry all of its corrections, oldest first."""
    found: dict[int, list[tuple[Entry, dict]]] = {}
    for entry in entries:
        if entry.kind in record.CORRECTIONS and entry.body:
            said = record.body(entry)
            found.setdefault(said["corrects"], []).append((entry, said))
    return found


def sittings(
    db: Session, asked: Asked, worksite: Worksite, numbers: Sequence[str]
) -> list[Sitting]:
    """Return the sittings that a person closed in the period, oldest first.

    numbers  all worker numbers of the person: a sitting stays with the record it was begun under
    """
    theirs = select(Person.id).where(Person.number.in_(list(numbers)))
    query = select(Sitting).where(
        Sitting.person_id.in_(theirs),
        Sitting.closed_at >= asked.begins(worksite),
        Sitting.closed_at <= asked.ends(worksite),
    )
    return list(db.exec(query.order_by(Sitting.closed_at, Sitting.id)))


def _about(entry: Entry) -> set[int]:
    """Return the numbers of the entries that one corrects or erases."""
    if entry.kind not in ABOUT_OTHERS:
        return set()
    said = record.body(entry)
    return {said.get("corrects")} | {one["number"] for one in said.get("erased", ())}


def _shown(entries: Sequence[Entry], asked: Asked, kinds: tuple[str, ...]) -> list[Entry]:
    """Return the entries of the period, and whatever corrects or erases one of them."""
    numbers = set()
    for entry in entries:
        about = _about(entry)
        in_period = asked.first <= entry.happened_on <= asked.last
        if entry.kind in kinds and (in_period or about & numbers):
            numbers.add(entry.number)
    return [entry for entry in entries if entry.number in numbers]
