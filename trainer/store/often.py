"""Questions that every page asks.

To build a question in words of SQLAlchemy and to find out that it was asked before takes ten times
what SQLite needs to answer it. What pages ask each time is therefore built once, as the program is
read, with `bindparam` where the values go; it is asked by `rows`, where plain rows do, else by
`Session.exec` with `params`.
"""

from collections.abc import Callable
from typing import TypeVar

from sqlalchemy import CursorResult, Select
from sqlmodel import Session

Answer = TypeVar("Answer")


def rows(db: Session, question: Select, **given: object) -> CursorResult:
    """Return what a question finds as plain rows, with these values put in.

    What the session was told before is written first, as ever.
    """
    db.flush()
    return db.connection().execute(question, given)


def keep_answers(db: Session) -> None:
    """Let `once` keep what it reads: for a session of one page, which sees one state."""
    db.info["answers"] = {}


def once(db: Session, name: str, about: object, ask: Callable[[], Answer]) -> Answer:
    """Return the answer to a question; asked before in a session that keeps answers, that one.

    name, about  which question it is
    """
    kept = db.info.get("answers")
    if kept is None:
        return ask()
    if (name, about) not in kept:
        kept[name, about] = ask()
    return kept[name, about]
