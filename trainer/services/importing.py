"""Bringing a table in: it is kept, its columns matched, its lines tried, and then it is done.

Nothing is done before a person has seen what would be, and confirmed it; then it is done in one
transaction, and can be taken back as a whole. Each step can be begun anew.
"""

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from hashlib import sha256
from zoneinfo import ZoneInfo

from sqlalchemy import insert
from sqlmodel import Session, delete, select, update

from trainer.services import (
    errands,
    matching_columns,
    past_record,
    past_writing,
    reading_cells,
    reading_tables,
    roster,
    roster_writing,
)
from trainer.services.exporting import harmless
from trainer.services.reading_tables import Line, Read
from trainer.services.refusal import Refusal
from trainer.services.roster import Choices, Tried
from trainer.services.roster_writing import Act
from trainer.services.scribe import Scribe
from trainer.store import changes, imports, people
from trainer.store.changes import About, By
from trainer.store.engine import Store
from trainer.store.tables import (
    Errand,
    ImportLine,
    ImportPart,
    ImportRun,
    Person,
)
from trainer.words import tidy

TRY, DO, UNDO = "import-try", "import-do", "import-undo"
PART = 1 << 20
"""Bytes of a piece of a file."""
BATCH = 2_000
"""So many lines are written at a time: a commit of these holds up no writer for long."""
MOST_PAST = 10_000
"""Lines of a past record: each is an entry of the chain, and putting more of them there at once
would hold up every writer for longer than a few seconds."""
SAMPLES = 3
"""Values of a column that are shown beside its name."""
OPEN = ("read", "matched", "tried")
"""States in which a run can still go on."""
GOES_ON = Refusal("This has been done, taken back or given up meanwhile. Look at it again.")


@dataclass(frozen=True)
class Prepared:
    """A file that was looked at: how it is read, its columns, some values of each."""

    data: bytes
    read: Read
    columns: tuple[str, ...]
    samples: tuple[tuple[str, ...], ...]
    days: str  # how its days are written; "" where that cannot be told


def prepare(kind: str, data: bytes, encoding: str = "") -> Prepared:
    """Return what a file holds. Errors: Refusal for what cannot be read; see `reading_tables`."""
    if kind not in matching_columns.KINDS:
        raise Refusal("Choose what the file is about.", field="kind")
    if encoding and encoding not in reading_tables.ENCODINGS:
        raise Refusal("Choose one of these.", field="encoding")
    known = matching_columns.known(kind)
    read, head = reading_tables.look(data, tuple(known), encoding)
    if kind == "medical":
        data = only_what_is_asked(data, read)
        read, head = reading_tables.look(data, tuple(known))
    columns = head[0].cells
    below = [line.cells for line in head[1:]]
    samples = tuple(_some(cells[at] for cells in below if at < len(cells) and cells[at])
                    for at in range(len(columns)))  # fmt: skip
    dated = ("left_on", "on", "watched_on", "until")
    at = [place for slug, place in matching_columns.match(kind, head[0]).items() if slug in dated]
    days = reading_cells.order_of(
        cells[place] for cells in below for place in at if place < len(cells)
    )
    return Prepared(data, read, columns, samples, days)


def only_what_is_asked(data: bytes, read: Read) -> bytes:
    """Return a table of determinations as CSV without anything that must not be kept here.

    Columns that are known by name stay; of the outcome and its limit, only the words that are
    taken. Lines keep their numbers. No medical detail reaches the database this way.
    """
    lines = reading_tables.rows(data, read)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    matched: dict[str, int] = {}
    at = 1
    for line in lines:
        if line.number < read.header:
            continue
        if line.number == read.header:
            matched = matching_columns.match("medical", line)
            missing = {"number", "on", "outcome"} - matched.keys()
            if missing:
                raise Refusal(
                    "A file of determinations needs columns named worker number, date and "
                    "outcome. Use the template."
                )
        while at < line.number:
            out.write("\r\n")
            at += 1
        cells = matching_columns.values(line, matched)
        kept = cells if line.number == read.header else {
            slug: _safe_word(slug, text) for slug, text in cells.items()
        }  # fmt: skip
        writer.writerow(harmless(kept[slug]) for slug in matched)
        at += 1
    return out.getvalue().encode()


def _safe_word(slug: str, text: str) -> str:
    takes = {"outcome": reading_cells.outcome, "limit": reading_cells.limit}.get(slug)
    if takes is None:
        return text[:80]
    try:
        takes(text)
    except Refusal:
        return "?"
    return text


def needs(kind: str) -> tuple[str, ...]:
    """Return the roles and rights that a kind of table takes."""
    return ("coordinator", people.MEDICAL) if kind == "medical" else ("coordinator",)


def bring(
    db: Session, by: Scribe, kind: str, file_name: str, original: bytes, once: str, seen: Prepared
) -> ImportRun:
    """Keep a file and return its run; inside `writing()`. Sent twice with one key, it is one.

    Errors: Refusal for determinations of somebody without the right to them.
    """
    there = imports.of_key(db, once)
    if there:
        return there
    if not set(needs(kind)) <= people.roles(db, by.person.id):
        raise Refusal(
            "Only those with the right to medical determinations bring them in.", field="kind"
        )
    name = tidy("".join(sign if sign.isprintable() else " " for sign in file_name))[-120:]
    digest = sha256(original).hexdigest()
    run = ImportRun(
        once=once,
        kind=kind,
        # A file may be called after what is in it: of determinations the name is not kept.
        file_name=digest[:12] if kind == "medical" else name,
        sha256=digest,
        size=len(original),
        brought_by=by.person.id,
        brought_at=by.now,
        read=_frozen(seen),
    )
    db.add(run)
    db.flush()
    db.add_all(
        ImportPart(run_id=run.id, place=place, data=seen.data[at : at + PART])
        for place, at in enumerate(range(0, len(seen.data), PART))
    )
    db.flush()
    return run


def read_anew(db: Session, run: ImportRun, encoding: str) -> None:
    """Read the letters of a file otherwise; inside `writing()`."""
    _refuse_unless(run, OPEN)
    run.read = _frozen(prepare(run.kind, imports.file_of(db, run.id), encoding))
    run.matched, run.state = "", "read"
    db.add(run)


def read_of(run: ImportRun) -> dict:
    """Return how a file is read, its `columns`, `samples` and `days`."""
    return json.loads(run.read)


def matched_of(run: ImportRun) -> dict:
    """Return what was matched: `columns` by field, `worksite`, `days`; else what is proposed."""
    if run.matched:
        return json.loads(run.matched)
    read = read_of(run)
    header = Line(1, tuple(read["columns"]))
    return {"columns": matching_columns.match(run.kind, header), "worksite": 0,
            "days": read["days"]}  # fmt: skip


def said_of(run: ImportRun) -> dict:
    """Return what came of a run."""
    return json.loads(run.said) if run.said else {}


def match(
    db: Session, by: Scribe, run: ImportRun, *,
    columns: Mapping[str, int], worksite: int, days: str, language: str,
) -> Errand:  # fmt: skip
    """Keep which column is which, and ask for the lines to be tried; inside `writing()`.

    Errors: Refusal where a needed column is missing, or days can be read in two ways.
    """
    _refuse_unless(run, OPEN)
    read = read_of(run)
    chosen = matching_columns.check(run.kind, columns, len(read["columns"]))
    if days not in reading_cells.ORDERS:
        raise Refusal(
            "Say how days are written in the file: it can be read in two ways.", field="days"
        )
    if worksite and worksite not in imports.worksites(db):
        raise Refusal("Choose the worksites from the list.", field="worksite")
    run.matched = json.dumps({"columns": chosen, "worksite": worksite, "days": days})
    return try_again(db, by, run, language)


def try_again(db: Session, by: Scribe, run: ImportRun, language: str) -> Errand:
    """Ask for the lines of a run to be tried; inside `writing()`."""
    _refuse_unless(run, OPEN)
    run.state, run.turn = "matched", run.turn + 1
    db.add(run)
    once = f"{TRY}:{run.id}:{run.turn}"
    about = {"run": run.id, "turn": run.turn, "zone": by.zone.key}
    return errands.ask(
        db, by, TRY, about, once=once, language=language, needs=needs(run.kind)
    )


def give_up(db: Session, run: ImportRun) -> None:
    """Let a file and its lines go, with nothing done; inside `writing()`."""
    _refuse_unless(run, OPEN)
    run.state = "given-up"
    db.add(run)
    imports.forget_file(db, run.id)
    db.exec(delete(ImportLine).where(ImportLine.run_id == run.id))


def options(line: ImportLine) -> list[str]:
    """Return what can be decided about a doubtful line: same:<id>, other, out."""
    return [*json.loads(line.said)["cases"], "out"]


def decide(db: Session, run: ImportRun, given: Mapping[int, str]) -> None:
    """Keep what a person decided about lines, by their id; inside `writing()`.

    Errors: Refusal for a decision that a line does not offer.
    """
    _refuse_unless(run, ("tried",))
    for line_id, decision in given.items():
        line = db.get(ImportLine, line_id)
        if line is None or line.run_id != run.id:
            raise Refusal("Choose one of these.")
        fits = options(line) if line.state == "doubtful" else ("leave",)
        if line.state not in ("doubtful", "left") or decision not in ("", *fits):
            raise Refusal("Choose one of these.")
        line.decision = decision
        db.add(line)


def decide_all(db: Session, run: ImportRun, state: str, decision: str, doubt: str = "") -> None:
    """Decide the same about all lines: those not decided yet, or those whom a file does not hold.

    Of doubtful ones only `other` or `out`: who is the same person is decided one by one.
    """
    _refuse_unless(run, ("tried",))
    query = update(ImportLine).where(ImportLine.run_id == run.id, ImportLine.state == state)
    if state == "left" and decision in ("", "leave"):
        db.exec(query.values(decision=decision))
    elif state == "doubtful" and decision in ("other", "out"):
        query = query.where(ImportLine.decision == "")
        if doubt:
            query = query.where(ImportLine.doubt == doubt)
        if decision == "other":
            query = query.where(ImportLine.doubt != "other-name")
        db.exec(query.values(decision=decision))
    else:
        raise Refusal("Choose one of these.")


def foreseen(db: Session, run: ImportRun) -> dict[str, int]:
    """Return how many lines would do what, as the page before the last step shows it."""
    lines = imports.tally(db, run.id)
    doubtful = imports.decisions(db, run.id, "doubtful")
    left = imports.decisions(db, run.id, "left").get("leave", 0)
    asked = {how: count for how, count in doubtful.items() if how not in ("", "out")}
    other = asked.pop("other", 0)
    return {
        "new": lines["new"] + other,
        "changed": lines["changed"] + sum(asked.values()),
        "back": lines["back"],
        "left": left,
        "same": lines["same"],
        "bad": lines["bad"],
        "out": doubtful.get("out", 0),
        "undecided": doubtful.get("", 0),
        "stay": lines["left"] - left,
    }


def ask_do(
    db: Session, by: Scribe, run: ImportRun, seen: Mapping[str, int], once: str, language: str
) -> Errand:
    """Ask for a run to be done; inside `writing()`.

    seen    what the page showed (`foreseen`): something else is not done
    Errors: Refusal where a doubtful line waits, or nothing is to be done.
    """
    key = f"{DO}:{run.id}:{once}"
    there = db.exec(select(Errand).where(Errand.once == key)).first()
    if there:
        return there
    _refuse_unless(run, ("tried",))
    now = foreseen(db, run)
    if now["undecided"]:
        raise Refusal("Doubtful lines wait for you: decide about each of them first.")
    if not any(now[what] for what in ("new", "changed", "back", "left")):
        raise Refusal("There is nothing to do: the file changes nothing.")
    if dict(seen) != now:
        raise Refusal("Somebody has decided otherwise meanwhile. Look at it again.")
    about = {"run": run.id, "turn": run.turn, "seen": now, "zone": by.zone.key}
    return errands.ask(
        db, by, DO, about, once=key, language=language, needs=needs(run.kind)
    )


def ask_undo(db: Session, by: Scribe, run: ImportRun, language: str) -> Errand:
    """Ask for a run to be taken back; inside `writing()`. Asked twice, it is one."""
    waiting = select(Errand).where(
        Errand.kind == UNDO, Errand.once.startswith(f"{UNDO}:{run.id}:"),
        Errand.state.in_(("waiting", "running")),
    )  # fmt: skip
    there = db.exec(waiting).first()
    if there:
        return there
    _refuse_unless(run, ("done",))
    count = len(db.exec(select(Errand.id).where(
        Errand.kind == UNDO, Errand.once.startswith(f"{UNDO}:{run.id}:")
    )).all())  # fmt: skip
    once = f"{UNDO}:{run.id}:{count + 1}"
    about = {"run": run.id, "zone": by.zone.key}
    return errands.ask(
        db, by, UNDO, about, once=once, language=language, needs=needs(run.kind)
    )


def stands_in_the_way(db: Session, run: ImportRun) -> tuple[list, int]:
    """Return because of whom a roster cannot be taken back, the first of them, and how many."""
    if run.kind != "roster" or run.state != "done":
        return [], 0
    said = said_of(run)
    return roster_writing.in_the_way(db, _acts(db, run), said["last_entry"], said["day"])


def bad_lines(
    db: Session, run: ImportRun, words: tuple[str, str], say: Callable[[Refusal], str]
) -> Iterator[str]:
    """Give the bad lines of a run as CSV, line by line, in the columns of the file.

    words   what the two more columns are called: line and reason
    """
    columns = read_of(run)["columns"]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    # The mark lets a spreadsheet read accents.
    out.write("\ufeff")
    writer.writerow([*(harmless(column) for column in columns), *words])
    yield out.getvalue()
    for line in imports.bad(db, run.id):
        out.seek(0)
        out.truncate()
        said = json.loads(line.said)
        cells = [*said["cells"], *[""] * len(columns)][: len(columns)]
        reason = " ".join(say(one) for one in faults_of(said))
        writer.writerow([*(harmless(cell) for cell in cells), line.line, harmless(reason)])
        yield out.getvalue()


def faults_of(said: Mapping) -> list[Refusal]:
    """Return what is wrong with a bad line."""
    return [Refusal.told(one) for one in said.get("faults", ())]


@errands.does(TRY)
def _try(store: Store, errand: Errand, progress: errands.Progress) -> errands.Made:
    """Try the lines of a run: nothing but its own rows is written."""
    about = errands.about(errand)
    with store.reading() as db:
        run = db.get(ImportRun, about["run"])
        if run.state != "matched" or run.turn != about["turn"]:
            return errands.Made({"run": run.id})
        data = imports.file_of(db, run.id)
        read, chosen = read_of(run), matched_of(run)
        by = db.get(Person, errand.asked_by)
        lines, said = _TRIES["roster" if run.kind == "roster" else "past"](
            db, run, by, reading_tables.below(data, _read(read)), chosen,
            datetime.now(ZoneInfo(about["zone"])).date(),
        )
    with store.writing() as db:
        _own(db, errand)
        db.exec(delete(ImportLine).where(ImportLine.run_id == run.id))
    for at in range(0, len(lines), BATCH):
        progress(at, len(lines))
        with store.writing() as db:
            _own(db, errand)
            rows = [_row(run.id, one) for one in lines[at : at + BATCH]]
            db.connection().execute(insert(ImportLine.__table__), rows)
    with store.writing() as db:
        _own(db, errand)
        run = db.get(ImportRun, run.id)
        if run.state == "matched" and run.turn == about["turn"]:
            run.state, run.tried_at, run.said = "tried", datetime.now(UTC), json.dumps(said)
            db.add(run)
    progress(len(lines), len(lines))
    return errands.Made({"run": run.id, "lines": len(lines)})


def _try_roster(db, run, by, given, chosen, today) -> tuple[list[Tried], dict]:
    names = imports.worksites(db)
    choices = Choices(chosen["worksite"], chosen["days"])
    places = roster.by_plain_name(names)
    wanted = [roster.wanted(line, chosen["columns"], choices, places, today) for line in given]
    known = imports.everybody(db)
    trial = roster.Trial(known, names, _taken_as(db), by.id)
    lines = list(reading_tables.in_time(trial.lines(wanted)))
    newest = max((one.id for one in known), default=0)
    return lines, {"newest": newest, "widths": roster.widths(wanted)}


def _try_past(db, run, by, given, chosen, today) -> tuple[list[Tried], dict]:
    given = list(given)
    if len(given) > MOST_PAST:
        raise Refusal(
            "A past record is brought in parts of at most %(most)s lines each. Split the file.",
            most=f"{MOST_PAST:,}",
        )
    known = imports.by_key(imports.everybody(db))
    past = past_record.Past(
        known, past_writing.trained_here(db), Choices(0, chosen["days"]), today, by.number
    )
    lines = [
        past_record.tried(run.kind, line, chosen["columns"], past)
        for line in reading_tables.in_time(given)
    ]
    return past_writing.told_apart(db, lines), {"newest": 0, "widths": []}


_TRIES = {"roster": _try_roster, "past": _try_past}


@errands.does(DO)
def _do(store: Store, errand: Errand, progress: errands.Progress) -> errands.Made:
    """Do a run, all of it in one transaction; begun anew after it was done, it does nothing."""
    about = errands.about(errand)
    with store.reading() as db:
        run = db.get(ImportRun, about["run"])
        acts = _acts(db, run)
        decided = _decided(db, run.id)
        asker, by = _asker(db, errand), _scribe(db, errand)
    if run.state == "done":
        return _made(store, by, run, acts, progress, said_of(run))
    progress(0, len(acts))
    with store.writing(asker) as db:
        _own(db, errand)
        run = db.get(ImportRun, run.id)
        _refuse_unless(run, ("tried",))
        if run.turn != about["turn"] or _decided(db, run.id) != decided:
            raise Refusal("Somebody has decided otherwise meanwhile. Look at it again.")
        if foreseen(db, run) != about["seen"]:
            raise Refusal("Somebody has decided otherwise meanwhile. Look at it again.")
        by = _scribe(db, errand)
        today = by.now.astimezone(by.zone).date()
        if run.kind == "roster":
            said = roster_writing.do(db, by, run.id, acts, said_of(run)["newest"], today)
        else:
            said = past_writing.do(db, by, run, acts)
        run = db.get(ImportRun, run.id)
        run.state, run.done_at, run.done_by = "done", by.now, by.person.id
        run.said = json.dumps(said_of(run) | said)
        db.add(run)
        _note(db, run, "done", len(acts))
        imports.forget_file(db, run.id)
    return _made(store, by, run, acts, progress, said)


@errands.does(UNDO)
def _undo(store: Store, errand: Errand, progress: errands.Progress) -> errands.Made:
    """Take a run back, all of it in one transaction."""
    with store.reading() as db:
        run = db.get(ImportRun, errands.about(errand)["run"])
        acts = _acts(db, run)
        asker, by = _asker(db, errand), _scribe(db, errand)
    if run.state == "undone":
        return _made(store, by, run, acts, progress, said_of(run)["undone"])
    progress(0, len(acts))
    with store.writing(asker) as db:
        _own(db, errand)
        run = db.get(ImportRun, run.id)
        _refuse_unless(run, ("done",))
        by = _scribe(db, errand)
        today = by.now.astimezone(by.zone).date()
        said = said_of(run)
        if run.kind == "roster":
            undone = roster_writing.undo(
                db, by, run.id, acts, said["last_entry"], said["day"], today
            )
        else:
            undone = past_writing.undo(db, by, run, acts)
        run = db.get(ImportRun, run.id)
        run.state, run.undone_at, run.undone_by = "undone", by.now, by.person.id
        run.said = json.dumps(said | {"undone": undone})
        db.add(run)
        _note(db, run, "taken-back", len(acts))
    return _made(store, by, run, acts, progress, undone)


def _scribe(db: Session, errand: Errand) -> Scribe:
    zone = ZoneInfo(errands.about(errand)["zone"])
    return Scribe(db.get(Person, errand.asked_by), datetime.now(UTC), zone)


def _made(
    store: Store, by: Scribe, run: ImportRun, acts: Sequence, progress: errands.Progress, said: dict
) -> errands.Made:
    """Return what came of a run, once the tag board shows it."""
    if run.kind != "roster":
        past_writing.show(store, by, acts, progress)
    progress(len(acts), len(acts))
    return errands.Made({"run": run.id} | said)


def _asker(db: Session, errand: Errand) -> By:
    """Return who asked for a run, as the log names them."""
    person = db.get(Person, errand.asked_by)
    return By(person.number, person.name, datetime.now(UTC))


def _note(db: Session, run: ImportRun, deed: str, lines: int) -> None:
    """Note in the log that a table was brought in, or taken back: as one deed."""
    what = [("table", "", run.kind), ("lines", "", str(lines))]
    changes.note(db, "import", deed, About(name=run.file_name), what)


def _acts(db: Session, run: ImportRun) -> list:
    """Return what the lines of a run do, as they were decided."""
    acting = imports.acting(db, run.id)
    if run.kind != "roster":
        return [past_writing.PastAct(line.line, line.number, line.person_id, json.loads(line.said))
                for line in acting]  # fmt: skip
    acts = []
    for line in acting:
        decision = line.decision if line.state == "doubtful" else ""
        said = json.loads(line.said)
        case = said["cases"][decision]
        who, number = line.person_id, line.number
        if decision.startswith("same:"):
            who = int(decision.removeprefix("same:"))
            number = next(one["number"] for one in said["doubts"] if one.get("id") == who)
        acts.append(Act(line.id, line.line, number, line.name, who, case["before"], case["after"]))
    taken = {act.person_id for act in acts if act.line and act.before}
    # Somebody who was found in the file after all, under another number, is not gone.
    return [act for act in acts if act.line or act.person_id not in taken]


def _decided(db: Session, run_id: int) -> set[tuple[int, str]]:
    query = select(ImportLine.id, ImportLine.decision).where(
        ImportLine.run_id == run_id, ImportLine.decision != ""
    )
    return set(db.exec(query).all())


def _taken_as(db: Session) -> dict[str, int]:
    into = imports.merged(db)
    taken = imports.taken_as(db).items()
    return {people.key(number): into.get(who, who) for number, who in taken}


def _row(run_id: int, one: Tried) -> dict:
    return {
        "run_id": run_id, "line": one.line, "state": one.state, "doubt": one.doubt,
        "number": one.number, "name": one.name, "person_id": one.person_id, "decision": "",
        "said": json.dumps(one.said, ensure_ascii=False) if one.said else "",
    }  # fmt: skip


def _frozen(seen: Prepared) -> str:
    told = asdict(seen)
    del told["data"]
    told |= {"read": seen.read.freeze()}
    return json.dumps(told, ensure_ascii=False)


def _read(told: Mapping) -> Read:
    return Read(**told["read"])


def _some(given: Iterable[str]) -> tuple[str, ...]:
    found: list[str] = []
    for text in given:
        if text not in found:
            found.append(text[:60])
        if len(found) == SAMPLES:
            break
    return tuple(found)


def _own(db: Session, errand: Errand) -> None:
    """Stop where another runner has taken the errand up."""
    now = db.get(Errand, errand.id)
    if now is None or now.tries != errand.tries or now.state != "running":
        raise errands.TakenOver


def _refuse_unless(run: ImportRun, states: Sequence[str]) -> None:
    if run.state not in states:
        raise Refusal(GOES_ON.text)
