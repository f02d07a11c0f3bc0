"""What somebody typed and could not send, kept on the server until they can.

A sign-in runs out in the middle of an answer, or a page is closed with an answer half typed. The
browser keeps nothing: on a shared tablet the next person would find it there. So the server
keeps the form for the person whose page it was on (the session that ran out says who that is),
for the address of that page and for `KEPT`. It is nobody's answer yet, and is recorded nowhere:
whoever signs in with that person's number and secret finds it filled in again, looks at it and
sends it; to anybody else it is not shown and not told of. It goes away when the form is sent,
when the person throws it away, or by its age.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, delete, select, update

from trainer.store.tables import Person, SentForm, Unsent

KEPT = timedelta(hours=12)
"""So long: a shift, with whatever came in between."""

MOST = 20
"""So many forms of one person; the oldest go."""

Field = tuple[str, str]


@dataclass(frozen=True)
class Form:
    """A form that was not sent."""

    number: int
    page: str
    action: str
    fields: list[Field]
    kept_at: datetime


def keep(
    db: Session, person: Person, page: str, action: str, fields: Sequence[Field], now: datetime
) -> None:
    """Keep a form of a person; it takes the place of what was kept of the same form."""
    _let_go(db, Unsent, col(Unsent.kept_at), now)
    for row in _of(db, person, now):
        if (row.page, row.action) == (page, action):
            db.delete(row)
    text = json.dumps(fields, ensure_ascii=False)
    db.add(Unsent(person_id=person.id, page=page, action=action, fields=text, kept_at=now))
    db.flush()
    for row in _of(db, person, now)[MOST:]:
        db.delete(row)
    db.flush()


def first(db: Session, once: str, now: datetime) -> bool:
    """Say whether a form is sent for the first time, and keep that it was.

    In the transaction of what the form does: where that is refused, nothing is kept, and the form
    may be sent again.
    once    the form's own key; a form without one is new each time
    """
    if not once:
        return True
    _let_go(db, SentForm, col(SentForm.sent_at), now)
    if db.get(SentForm, once):
        return False
    db.add(SentForm(once=once, sent_at=now))
    db.flush()
    return True


def waiting(db: Session, person: Person, now: datetime) -> list[Form]:
    """Return the forms that are kept for a person, the newest first."""
    return [
        Form(
            row.id, row.page, row.action, [tuple(pair) for pair in json.loads(row.fields)],
            row.kept_at,
        )
        for row in _of(db, person, now)
    ]


def drop(db: Session, person: Person, numbers: Iterable[int]) -> None:
    """Forget forms of a person: they were sent, or thrown away."""
    query = delete(Unsent).where(
        col(Unsent.person_id) == person.id, col(Unsent.id).in_(list(numbers))
    )
    db.exec(query)


def _let_go(db: Session, table: type, moment: ColumnElement, now: datetime) -> None:
    """Delete what is too old; what a clock since set back put ahead of now is as old as now."""
    db.exec(update(table).where(moment > now).values({moment.key: now}))
    db.exec(delete(table).where(moment < now - KEPT))


def _of(db: Session, person: Person, now: datetime) -> list[Unsent]:
    query = (
        select(Unsent)
        .where(Unsent.person_id == person.id, col(Unsent.kept_at) >= now - KEPT)
        .order_by(col(Unsent.id).desc())
    )
    return list(db.exec(query))
