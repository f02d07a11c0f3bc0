"""Calendars of what falls due, behind an address that holds a secret.

Whoever has the address reads the calendar, so it tells no more than that something is due by a
day: nothing medical, no result. What it may show is asked of its owner's rights at each fetch.
RFC 5545, made by the library `icalendar`.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from hashlib import sha256
from itertools import groupby
from zoneinfo import ZoneInfo

from sqlmodel import Session

from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import feeds, people
from trainer.store.tables import CalendarFeed, Person

OWN, WORKSITES = "own", "worksites"
KINDS = ("training", "practice", "fit-test", "lessons")
"""What a calendar may show."""

DAYS_PAST = 90
"""What fell due longer ago is for the tag board, and no longer for a calendar."""

MOST = 20
"""Calendars that one person may have at a time."""


@dataclass(frozen=True)
class Event:
    """Something that falls due for a person.

    uid       the same as long as it is about the same; the day may move
    sequence  the number of the newest entry about the person, which only an entry raises
    changed   when that entry was made
    """

    uid: str
    kind: str  # one of KINDS
    person: Person
    day: date
    sequence: int
    changed: datetime


def hashed(secret: str) -> str:
    """Return what is kept of a secret."""
    return sha256(secret.encode()).hexdigest()


def make(
    db: Session, by: Scribe, secret: str, scope: str, worksites: Iterable[int], language: str
) -> CalendarFeed:
    """Make a calendar for its owner and return it; the same secret again returns the same one.

    scope      OWN: the owner's own dates; WORKSITES: those of the people there
    worksites  ids; none: every worksite that the owner may see at the time
    Errors: Refusal for who may not see the people of a worksite, or has calendars enough.
    """
    there = feeds.by_hash(db, hashed(secret))
    if there:
        return there
    if scope == WORKSITES:
        may = visible(db, by.person)
        if may == () or (may is not None and not set(worksites) <= set(may)):
            raise Refusal("Only the trainers of a worksite may have the calendar of its people.")
    if len(feeds.of_person(db, by.person.id)) >= MOST:
        raise Refusal("You have %(most)s calendars. Revoke one that nobody uses.", most=MOST)
    made = CalendarFeed(
        secret_hash=hashed(secret),
        person_id=by.person.id,
        scope=scope,
        worksites=" ".join(map(str, sorted(set(worksites)))) if scope == WORKSITES else "",
        language=language,
        made_at=by.now,
    )
    db.add(made)
    db.flush()
    return made


def make_anew(db: Session, by: Scribe, number: int, secret: str) -> CalendarFeed:
    """Give a calendar a fresh address; from now on the old one leads nowhere.

    Errors: Refusal where it is not one of theirs.
    """
    old = _theirs(db, by, number)
    if feeds.by_hash(db, hashed(secret)) is None:
        revoke(db, by, number)
    return make(db, by, secret, old.scope, chosen(old), old.language)


def revoke(db: Session, by: Scribe, number: int) -> None:
    """End a calendar; revoked again it stays as it was.

    Errors: Refusal where it is not one of theirs.
    """
    feed = _theirs(db, by, number)
    feed.revoked_at = feed.revoked_at or by.now
    db.add(feed)
    db.flush()


def _theirs(db: Session, by: Scribe, number: int) -> CalendarFeed:
    feed = db.get(CalendarFeed, number)
    if feed is None or feed.person_id != by.person.id:
        raise Refusal("This calendar is not one of yours.")
    return feed


def chosen(feed: CalendarFeed) -> tuple[int, ...]:
    """Return the ids of the worksites a calendar was made for; none: every one."""
    return tuple(int(one) for one in feed.worksites.split())


def visible(db: Session, person: Person) -> tuple[int, ...] | None:
    """Return the worksites whose people somebody may see; None: every one."""
    roles = people.roles(db, person.id)
    if "coordinator" in roles:
        return None
    if "trainer" in roles:
        return tuple(one.id for one in people.worksites(db, person.id))
    return ()


def find(db: Session, secret: str) -> CalendarFeed | None:
    """Return the calendar of an address; None where it is revoked, or its owner has no right."""
    feed = feeds.by_hash(db, hashed(secret))
    if feed is None or feed.revoked_at:
        return None
    owner = db.get(Person, feed.person_id)
    if owner.left_on or (feed.scope == WORKSITES and visible(db, owner) == ()):
        return None
    return feed


def events(db: Session, feed: CalendarFeed, now: datetime, zone: ZoneInfo) -> Iterator[Event]:
    """Give what a calendar shows, in the order of the people; nothing where a right is gone."""
    first = now.astimezone(zone).date() - timedelta(days=DAYS_PAST)
    if feed.scope == OWN:
        found = feeds.due(db, first, person_id=feed.person_id)
    else:
        found = feeds.due(db, first, worksite_ids=_seen(db, feed))
    for batch in _batches(found):
        numbers = people.numbers_of(db, {row[0].id: row[0] for row in batch}.values())
        last = feeds.last_entries(db, [one for theirs in numbers.values() for one in theirs])
        for person, rows in groupby(batch, key=lambda row: row[0]):
            theirs = [last[one] for one in numbers[person.id] if one in last]
            number, changed = max(theirs, default=(0, person.added_at))
            for (kind, about), day in _due(rows, first).items():
                uid = sha256(f"{person.seed}:{person.id}:{kind}:{about}".encode()).hexdigest()
                yield Event(
                    f"{uid[:32]}@donning-room", kind, person, day, number, changed
                )


def _seen(db: Session, feed: CalendarFeed) -> tuple[int, ...] | None:
    """Return the worksites a calendar shows today: those chosen that its owner may still see."""
    may, asked = visible(db, db.get(Person, feed.person_id)), chosen(feed)
    if may is None:
        return asked or None
    return tuple(one for one in may if not asked or one in asked)


def _batches(rows: Iterator) -> Iterator[list]:
    """Give rows in batches, all those of a person in one."""
    batch: list = []
    for row in rows:
        if len(batch) >= feeds.AT_ONCE and row[0].id != batch[-1][0].id:
            yield batch
            batch = []
        batch.append(row)
    if batch:
        yield batch


def _due(rows: Iterable, first: date) -> dict[tuple[str, str], date]:
    """Return by what it is about the day on which each thing falls due for one person.

    Training is about the person, practice about a class of respirator, a fit test about one.
    """
    found: dict[tuple[str, str], date] = {}
    for _, class_slug, respirator, training, practice, fit_test, theirs in rows:
        each = (
            (("training", ""), training), (("practice", class_slug), practice),
            (("fit-test", str(respirator)), fit_test), (("lessons", ""), theirs),
        )  # fmt: skip
        for about, day in each:
            if day and day >= first:
                found[about] = min(day, found.get(about, day))
    return found


def lines(
    given: Iterable[tuple[Event, str]], *, name: str, description: str
) -> Iterator[bytes]:
    """Give a calendar part by part: all-day events, each with its words.

    Nothing of it grows with the number of events but what is given out.
    """
    # Only whoever fetches a calendar waits for the library.
    from icalendar import Calendar

    whole = Calendar()
    for key, value in (
        ("prodid", "-//Donning Room//What falls due//EN"), ("version", "2.0"),
        ("method", "PUBLISH"), ("calscale", "GREGORIAN"), ("x-wr-calname", name),
        ("x-wr-caldesc", description),
    ):  # fmt: skip
        whole.add(key, value)
    whole.add("refresh-interval", timedelta(days=1), parameters={"VALUE": "DURATION"})
    head, end, _ = whole.to_ical().partition(b"END:VCALENDAR")
    yield head
    for event, words in given:
        yield _event(event, words)
    yield end + b"\r\n"


def _event(event: Event, words: str) -> bytes:
    from icalendar import Event as AllDay

    made = AllDay()
    made.add("uid", event.uid)
    made.add("dtstamp", event.changed)
    made.add("sequence", event.sequence)
    made.add("dtstart", event.day)
    made.add("dtend", event.day + timedelta(days=1))
    made.add("summary", words)
    made.add("transp", "TRANSPARENT")
    made.add("class", "PRIVATE")
    return made.to_ical()
