"""What may be erased now, and why: proposed, and done only when a coordinator asks for it.

The default is never to erase anything. Medical determinations are never erased by the program:
29 CFR 1910.134(m)(1) with 1910.1020 keeps them for employment and 30 years, and the program does
not know when employment ended for everybody.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby, islice, pairwise

from sqlmodel import Session, select

from trainer.reference import retention
from trainer.reference.retention import Retention
from trainer.services import settings, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people, record
from trainer.store.tables import Entry, MergedPerson, Person

NEVER = ("medical", "medical-correction")
"""Kinds that no row of the table and no coordinator can have erased here."""
AT_ONCE = 200
"""The most entries of one proposal that are shown, and erased, at once."""


@dataclass(frozen=True)
class Proposal:
    """An entry whose body may be erased now.

    since   the day from which it may be: of the next fit test, or the last day kept for
    """

    entry: Entry
    name: str
    row: Retention
    since: date


def of_row(db: Session, slug: str, today: date, most: int = AT_ONCE) -> list[Proposal]:
    """Return the first so many of what may be erased today by one row of the table.

    Nothing is erased by asking. Of a row that proposes nothing the list is empty.
    """
    proposed = {"fit-test": _fit_tests, "training": _training}.get(slug)
    if proposed is None:
        return []
    corrected = _corrected(db)
    allowed = (
        one
        for one in proposed(db, today)
        if one.entry.number not in corrected and one.entry.kind not in NEVER
    )
    return list(islice(allowed, most))


def chosen(
    db: Session, slug: str, numbers: Iterable[int], today: date
) -> list[Proposal]:
    """Return the proposals for these entries.

    Errors: Refusal where nothing is chosen, or one of them may not be erased (any more).
    """
    wanted = set(numbers)
    if not wanted:
        raise Refusal("Tick what is to be erased.", field="entry")
    found = [one for one in of_row(db, slug, today) if one.entry.number in wanted]
    if {one.entry.number for one in found} != wanted:
        raise Refusal(
            "Some of this may not be erased any more. Look at the proposals again.", field="entry"
        )
    return found


def erase(
    db: Session, by: Scribe, *, once: str, slug: str, numbers: Iterable[int], typed: str,
    today: date,
) -> Entry:
    """Erase the bodies of these entries and put an entry into the record that says which.

    typed   how many they are, as the coordinator typed it
    Errors: Refusal as in `chosen`, or where the number typed is another one.
    """  # fmt: skip
    done = record.done(db, once)
    if done:
        return done
    found = chosen(db, slug, numbers, today)
    if typed.strip() != str(len(found)):
        raise Refusal(
            "Type %(count)s, the number of entries, to erase them.", field="typed",
            count=len(found),
        )
    if any(one.entry.kind in NEVER for one in found):
        raise Refusal("Medical determinations are never erased by this program.")
    row = retention.get(slug)
    return _erase(db, by, [one.entry for one in found], row, once)


def _erase(db: Session, by: Scribe, entries: list[Entry], row: Retention, once: str) -> Entry:
    """Have the record erase these bodies: it leaves their hashes and its own entry."""
    try:
        return record.erase(
            db,
            [entry.number for entry in entries],
            once=once,
            row=row.slug,
            source=row.source,
            why=row.keep,
            confirmed_by={"number": by.person.number, "name": by.person.name},
            happened_on=by.now.astimezone(by.zone).date(),
            now=by.now,
        )
    except record.NotErasable:
        # Proposed is only what may go, so something has changed since it was.
        raise Refusal(
            "Meanwhile something has changed. Look again at what may be erased."
        ) from None


def _corrected(db: Session) -> set[int]:
    """Return the entries that a correction points to: what was wrong in them stays to be read."""
    query = select(Entry).where(Entry.kind.in_(("correction", "medical-correction")))
    said = (record.body(one) for one in db.exec(query))
    return {one["corrects"] for one in said if "corrects" in one}


def _owners(db: Session) -> dict[str, int]:
    """Return by worker number who has it, where two records were joined."""
    query = select(Person.number, MergedPerson.into_id).join(
        MergedPerson, MergedPerson.person_id == Person.id
    )
    found = dict(db.exec(query).all())
    kept = select(Person.number, Person.id).where(Person.id.in_(set(found.values())))
    return found | dict(db.exec(kept).all())


def _fit_tests(db: Session, today: date) -> Iterator[Proposal]:
    """Give the fit tests that a later one of the same facepiece has followed, (m)(2)(ii).

    The rule says until the next fit test; of the same facepiece is the careful reading.
    """
    owners = _owners(db)
    query = (
        select(Entry)
        .where(Entry.kind == "fit-test", Entry.body.is_not(None))
        .order_by(Entry.person_number, Entry.happened_on, Entry.number)
        .execution_options(yield_per=500)
    )

    def key(entry: Entry) -> tuple[str, str]:
        # The id of a merged person may be the worker number of another.
        who = owners.get(entry.person_number)
        return ("number", entry.person_number) if who is None else ("id", str(who))

    rows = db.exec(query)
    # What counts as the next one is the test as it reads now; one that was struck is none.
    last = standing.newest_corrections(record.corrections(db))
    # Two numbers of one person do not stand together in the order of numbers.
    for _, group in groupby(sorted(rows, key=key) if owners else rows, key=key):
        by_facepiece: dict[tuple, list[tuple[Entry, dict, date]]] = {}
        for entry in group:
            said = last[entry.number][1]["said"] if entry.number in last else record.body(entry)
            if said is None:
                continue
            facepiece = tuple(
                people.key(said.get(part, "")) for part in ("make", "model", "style", "size")
            )
            on = date.fromisoformat(said["happened_on"])
            by_facepiece.setdefault(facepiece, []).append((entry, said, on))
        for tests in by_facepiece.values():
            tests.sort(key=lambda one: (one[2], one[0].number))
            for (entry, said, _), (_, _, after) in pairwise(tests):
                row = retention.of("fit-test", said.get("rule_set", "federal"), today)
                if row and row.keep == "until-next":
                    yield Proposal(entry, said.get("name", ""), row, after)


def _training(db: Session, today: date) -> Iterator[Proposal]:
    """Give the entries of training of whoever left longer ago than the employer chose to keep."""
    years = settings.of(db).training_keep_years
    if not years:
        return
    row = retention.get("training")
    merged = select(MergedPerson.person_id)
    gone = select(Person).where(
        Person.left_on.is_not(None), Person.left_on < today, Person.id.not_in(merged)
    )
    for person in db.exec(gone.order_by(Person.search_key)).all():
        until = _years_after(person.left_on, years)
        if today <= until:
            continue
        for entry in record.of_person(db, people.numbers(db, person), row.kinds):
            rule_set = record.body(entry).get("rule_set", "federal")
            rule = retention.of(entry.kind, rule_set, today)
            if entry.body is not None and rule and rule.keep == "choice":
                yield Proposal(entry, person.name, rule, until)


def _years_after(day: date, years: int) -> date:
    """Return the day so many years later; what has to be kept is kept a day longer than short."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # 29 February
        return date(day.year + years, 3, 1)
