"""Long work that nobody waits for: asked for on a page, done by a runner, shown as it goes on.

An errand is a row until it is done, so whatever happens to a process, another runner takes it up
again: what an errand does must come out the same when it is begun anew. What it makes is kept in
pieces in the database, where every process of every machine can hand it out.
"""

import json
import logging
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from time import monotonic
from typing import IO

from sqlmodel import Session, delete, func, or_, select

from trainer.running import logs, metrics
from trainer.services import curriculum, settings, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.engine import Store
from trainer.store.tables import Errand, ErrandPart, Person

PART = 1 << 20
"""Bytes of a piece of a file: a commit of this size holds up no writer for long."""
QUIET = timedelta(seconds=90)
"""A running errand whose runner has said nothing for so long is taken up by another."""
SAY_EVERY = 20.0
"""Seconds after which a runner says that it is still at it."""
LOOK_EVERY = 3600.0
"""Seconds after which a runner looks again for what was recorded by a clock that was ahead."""
MOST_TRIES = 3
KEPT_DAYS = 30
"""Days for which a file is kept for download; it can be made again from the record."""
BROKEN = "It could not be done. Ask for it again; if it fails again, tell whoever runs the program."
"""What is said where the fault is the program's own; details stand in its log."""


@dataclass(frozen=True)
class Made:
    """What came of an errand: what is to be said of it, and a file where one is made.

    said    plain JSON values, as the page of this kind of errand shows them
    chunks  the file, in any pieces
    """

    said: dict = field(default_factory=dict)
    file_name: str = ""
    file_type: str = ""
    chunks: Iterable[bytes] = ()


def pieces(file: IO[bytes]) -> Iterator[bytes]:
    """Give an open file from its beginning, piece by piece, for the chunks of what was made.

    It is closed at its end, or as soon as nobody can read on.
    """
    reading = _pieces(file)
    next(reading)  # one that never began would leave the file open
    return reading


def _pieces(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        yield b""
        file.seek(0)
        while piece := file.read(PART):
            yield piece


class TakenOver(Exception):
    """Another runner has taken the errand up; this one stops."""


@dataclass
class Progress:
    """How far an errand is: told to whoever looks at its page."""

    store: Store
    errand_id: int
    tries: int
    _said_at: float = 0.0

    def __call__(self, step: int, steps: int) -> None:
        """Say that `step` of `steps` are done; kept at most once a second.

        Errors: TakenOver where another runner has it now.
        """
        if step < steps and monotonic() - self._said_at < 1:
            return
        self._said_at = monotonic()
        with self.store.writing() as db:
            errand = _own(db, self.errand_id, self.tries)
            errand.step, errand.steps, errand.alive_at = step, steps, datetime.now(UTC)
            db.add(errand)

    def alive(self) -> None:
        """Say that the runner is still at it."""
        with self.store.writing() as db:
            errand = _own(db, self.errand_id, self.tries)
            errand.alive_at = datetime.now(UTC)
            db.add(errand)


Doing = Callable[[Store, Errand, Progress], Made]
_DOINGS: dict[str, Doing] = {}


def does(kind: str) -> Callable[[Doing], Doing]:
    """Name the kind of errand that a function does."""

    def name(doing: Doing) -> Doing:
        _DOINGS[kind] = doing
        return doing

    return name


NEEDS = "needs"
"""Beside what is to be done stands which roles and rights it takes."""
LOST = Refusal(
    "What you asked for takes a right that you do not have any more. Ask somebody who has it."
)


def ask(
    db: Session,
    by: Scribe,
    kind: str,
    about: dict,
    *,
    once: str,
    language: str,
    needs: Sequence[str] = ("coordinator",),
) -> Errand:
    """Ask for an errand and return it; inside `writing()`. Asked twice with one key, it is one.

    needs   the roles and rights that it takes: whoever asks for it must have them when it is done,
            and when its file is fetched
    """
    there = db.exec(select(Errand).where(Errand.once == once)).first()
    if there:
        return there
    errand = Errand(
        once=once,
        kind=kind,
        about=json.dumps(about | {NEEDS: list(needs)}, ensure_ascii=False, sort_keys=True),
        language=language,
        asked_by=by.person.id,
        asked_at=by.now,
    )
    db.add(errand)
    db.flush()
    return errand


def about(errand: Errand) -> dict:
    """Return what is to be done."""
    return {key: one for key, one in json.loads(errand.about).items() if key != NEEDS}


def needs(errand: Errand) -> frozenset[str]:
    """Return the roles and rights that an errand takes."""
    return frozenset(json.loads(errand.about).get(NEEDS, ("coordinator",)))


def rights(db: Session, errand: Errand) -> frozenset[str]:
    """Return the roles and rights that whoever asked for an errand has now; none who has left."""
    person = db.get(Person, errand.asked_by)
    return frozenset() if person.left_on else people.roles(db, person.id)


def said(errand: Errand) -> dict:
    """Return what came of an errand that ended; of a failed one `text` and `values`."""
    return json.loads(errand.said) if errand.said else {}


def of_person(db: Session, person_id: int) -> list[Errand]:
    """Return what a person asked for, newest first."""
    query = select(Errand).where(Errand.asked_by == person_id).order_by(Errand.id.desc())
    return list(db.exec(query.limit(100)))


def file_of(db: Session, errand: Errand) -> Iterator[bytes]:
    """Give the file of an errand, piece by piece."""
    query = (
        select(ErrandPart.data)
        .where(ErrandPart.errand_id == errand.id)
        .order_by(ErrandPart.place)
        .execution_options(yield_per=4)
    )
    yield from db.exec(query)


def run_next(store: Store) -> bool:
    """Do the errand that waits longest; say whether there was one."""
    errand = _claim(store)
    if errand is None:
        return False
    progress = Progress(store, errand.id, errand.tries)
    try:
        _do(store, errand, progress)
    except TakenOver:
        logs.say("errand", logging.WARNING, errand=errand.id, kind=errand.kind, state="taken over")
    return True


def run_all(store: Store) -> int:
    """Do whatever waits; return how many errands that were."""
    done = 0
    while run_next(store):
        done += 1
    return done


class Runner:
    """A thread that does errands as they come, beside the pages."""

    def __init__(self, store: Store, every: float = 1.0) -> None:
        self._store, self._every = store, every
        self._read = -1  # how far it has read ahead
        self._look_at = monotonic()  # when it looks for what a wrong clock left
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._go_on, name="errands", daemon=True)

    def start(self) -> None:
        """Begin to look for errands."""
        self._thread.start()

    def stop(self, seconds: float = 2.0) -> None:
        """Look for no more errands, and wait a little for the one at hand.

        One that takes longer is taken up by the next runner.
        """
        self._ended.set()
        self._thread.join(seconds)

    def _go_on(self) -> None:
        while not self._ended.is_set():
            self._try(self._read_ahead)
            if monotonic() >= self._look_at:
                self._look_at = monotonic() + LOOK_EVERY
                self._try(self._put_right)
            if not self._try(lambda: run_next(self._store)):
                self._ended.wait(self._every)

    def _try(self, deed: Callable[[], bool]) -> bool:
        """Do something; where the database is away for a moment, another look does it."""
        try:
            return deed()
        except Exception as fault:
            logs.say("fault", logging.ERROR, fault, thread="errands")
            return False

    def _read_ahead(self) -> bool:
        """Read what worksites wrote, here or in another process, so that no page has to."""
        with self._store.reading() as db:
            self._read = curriculum.read_ahead(db, self._read)
        return True

    def _put_right(self) -> bool:
        """Let the board show what counts once a clock that was ahead was set back."""
        now = datetime.now(UTC)
        with self._store.reading() as db:
            if not standing.ahead(db, now):
                return False
        with self._store.writing() as db:
            standing.put_right(db, now, settings.of(db).zone)
        return True


def _do(store: Store, errand: Errand, progress: Progress) -> None:
    began = monotonic()
    try:
        with store.reading() as db:
            if not needs(errand) <= rights(db, errand):
                raise Refusal(LOST.text)
        with _saying_so(progress):
            made = _DOINGS[errand.kind](store, errand, progress)
            size = _keep(store, progress, made.chunks) if made.file_name else 0
    except Refusal as refusal:
        _end(progress, "failed", refusal.keep())
        _tell(errand, "refused", began)
    except TakenOver:
        raise
    except Exception as fault:
        if store.why(fault):
            raise  # no fault of the errand: it is taken up again when the database can be written
        logs.say("fault", logging.ERROR, fault, errand=errand.id, kind=errand.kind)
        _end(progress, "failed", {"text": BROKEN, "values": {}})
        _tell(errand, "failed", began)
    else:
        _end(progress, "done", made.said, made, size)
        _tell(errand, "done", began)


def _tell(errand: Errand, state: str, began: float) -> None:
    metrics.errand_ended(errand.kind, state)
    seconds = round(monotonic() - began, 1)
    logs.say("errand", errand=errand.id, kind=errand.kind, state=state, seconds=seconds)


def _claim(store: Store) -> Errand | None:
    """Return the errand that is now this runner's, marked as such."""
    now = datetime.now(UTC)
    open_ = or_(
        Errand.state == "waiting",
        (Errand.state == "running") & (Errand.alive_at < now - QUIET),
        # Where the clock was set back; its runner says so again with every step.
        (Errand.state == "running") & (Errand.alive_at > now + QUIET),
    )
    query = select(Errand).where(open_).order_by(Errand.id).limit(1)
    with store.reading() as db:
        # Nothing is written, and no writer held up, while there is nothing to do.
        if db.exec(query).first() is None:
            return None
    with store.writing() as db:
        _forget_old_files(db, now)
        errand = db.exec(query).first()
        if errand is None:
            return None
        if errand.tries >= MOST_TRIES:
            # Whatever ends the process each time must not go on doing so.
            errand.state, errand.ended_at = "failed", now
            errand.said = json.dumps({"text": BROKEN, "values": {}})
        else:
            errand.state, errand.alive_at = "running", now
            errand.tries, errand.step, errand.steps = errand.tries + 1, 0, 0
            db.exec(delete(ErrandPart).where(ErrandPart.errand_id == errand.id))
        db.add(errand)
    return errand if errand.state == "running" else _claim(store)


def _own(db: Session, errand_id: int, tries: int) -> Errand:
    errand = db.get(Errand, errand_id)
    if errand is None or errand.state != "running" or errand.tries != tries:
        raise TakenOver
    return errand


@contextmanager
def _saying_so(progress: Progress) -> Iterator[None]:
    """Say every so often that the runner is at it, however long one step takes."""
    ended = threading.Event()

    def go_on() -> None:
        while not ended.wait(SAY_EVERY):
            try:
                progress.alive()
            except Exception:
                return  # taken over, or the database is away: the errand itself finds out

    thread = threading.Thread(target=go_on, name="errand-alive", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def _keep(store: Store, progress: Progress, chunks: Iterable[bytes]) -> int:
    """Keep a file in pieces; return how many bytes it has."""
    size = 0
    for place, data in enumerate(_parts(chunks)):
        with store.writing() as db:
            _own(db, progress.errand_id, progress.tries)
            db.add(ErrandPart(errand_id=progress.errand_id, place=place, data=data))
        size += len(data)
    return size


def _parts(chunks: Iterable[bytes]) -> Iterator[bytes]:
    gathered = bytearray()
    for chunk in chunks:
        gathered += chunk
        while len(gathered) >= PART:
            yield bytes(gathered[:PART])
            del gathered[:PART]
    if gathered:
        yield bytes(gathered)


def _end(
    progress: Progress, state: str, said: dict, made: Made | None = None, size: int = 0
) -> None:
    with progress.store.writing() as db:
        errand = _own(db, progress.errand_id, progress.tries)
        errand.state, errand.ended_at = state, datetime.now(UTC)
        errand.said = json.dumps(said, ensure_ascii=False)
        if made and made.file_name:
            errand.file_name, errand.file_type, errand.file_size = (
                made.file_name, made.file_type, size,
            )  # fmt: skip
        db.add(errand)


def _forget_old_files(db: Session, now: datetime) -> None:
    old = (
        select(Errand.id)
        .where(Errand.ended_at < now - timedelta(days=KEPT_DAYS), Errand.file_size > 0)
        .limit(20)
    )
    ids = list(db.exec(old))
    if not ids:
        return
    db.exec(delete(ErrandPart).where(ErrandPart.errand_id.in_(ids)))
    for errand in db.exec(select(Errand).where(Errand.id.in_(ids))):
        errand.file_size = 0
        db.add(errand)


def waiting(db: Session) -> int:
    """Return how many errands are not done yet."""
    return _in_state(db, "waiting", "running")


def failed(db: Session) -> int:
    """Return how many errands failed, of all that are kept."""
    return _in_state(db, "failed")


def _in_state(db: Session, *states: str) -> int:
    query = select(func.count()).where(Errand.state.in_(states))
    return db.exec(query).one()
