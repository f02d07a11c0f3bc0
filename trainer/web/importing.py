"""Bringing people, and what was recorded elsewhere, in from a file: four steps, and the way back.

1 a file is chosen, 2 its columns are looked at, 3 its lines, 4 it is done. Each step has an
address of its own that can be loaded again.
"""

import json
import secrets
from dataclasses import dataclass

from flask import (
    Blueprint,
    Response,
    abort,
    flash,
    g,
    redirect,
    render_template,
    request,
    stream_with_context,
)
from flask_babel import gettext, ngettext
from flask_babel import lazy_gettext as _l

from trainer.reference import fit_test_protocols, respirator_classes
from trainer.services import (
    import_templates,
    importing,
    matching_columns,
    reading_tables,
)
from trainer.services.refusal import Refusal
from trainer.store import imports
from trainer.store.tables import ImportLine, ImportRun, Person
from trainer.web import access, errands, language, sizes, surroundings
from trainer.web.access import may, reading, writing
from trainer.web.errors import say

bp = Blueprint("importing", __name__)

PAGE = 50
# More than a file may have, so that one a little too large is answered by its page.
MOST_SENT = reading_tables.MOST_BYTES + 1024 * 1024
KINDS = {
    "roster": _l("People: a roster"),
    "training": _l("Training given earlier or elsewhere"),
    "fit-tests": _l("Fit tests done earlier"),
    "medical": _l("Medical determinations"),
}
TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


@dataclass(frozen=True)
class Shown:
    """One line as it is shown: what it comes to, and what can be decided about it."""

    row: ImportLine
    state: str
    told: list[tuple[str, str, str]]  # field, from what, to what
    faults: list[str]
    like: list[str]  # whom it may be about
    choices: list[tuple[str, str]]


@bp.get("/import")
@may("coordinator")
def index():
    """Step 1: choose a file. Shows what was brought before."""
    return _index()


@bp.post("/import")
@sizes.takes(MOST_SENT, reading_tables.TOO_LARGE)
@may("coordinator")
def bring():
    """Keep a file, and go on to its columns."""
    kind = request.form.get("kind", "")
    sent = request.files.get("file")
    data = sent.read() if sent else b""
    try:
        if not data and not (sent and sent.filename):
            raise Refusal("Choose a file.", field="file")
        seen = importing.prepare(kind, data)
        with writing() as db:
            run = importing.bring(
                db, access.scribe(), kind, sent.filename or "", data,
                f"import:{_key()}", seen,
            )  # fmt: skip
    except Refusal as refusal:
        return _index(kind, refusal), 422
    return redirect(f"/import/{run.id}/columns", 303)


@bp.get("/import/template-<kind>.<ending>")
@may("coordinator")
def template(kind: str, ending: str):
    """Send an empty table to fill in."""
    make = {"csv": import_templates.as_csv, "xlsx": import_templates.as_xlsx}.get(ending)
    if kind not in KINDS or make is None:
        abort(404)
    response = Response(make(kind, language.current()), content_type=TYPES[ending])
    response.headers["Content-Disposition"] = errands.attachment(f"{kind}.{ending}")
    return response


@bp.get("/import/<int:run>")
@may("coordinator")
def page(run: int):
    """Show what came of a file; one that can go on leads to its next step."""
    with reading() as db:
        found = _run(db, run)
        tally = imports.tally(db, run)
        by = {who: db.get(Person, who) for who in
              (found.brought_by, found.done_by, found.undone_by) if who}  # fmt: skip
    if found.state in importing.OPEN:
        return redirect(f"/import/{run}/{'lines' if found.state == 'tried' else 'columns'}")
    return render_template(
        "importing/done.html", run=found, kinds=KINDS, tally=tally, by=by,
        outcome=importing.said_of(found), sentence=_came_of(importing.said_of(found), found.kind),
        undone=_undone(importing.said_of(found).get("undone", {})), word=_word(found.state),
    )  # fmt: skip


@bp.get("/import/<int:run>/columns")
@may("coordinator")
def columns(run: int):
    """Step 2: look at the columns."""
    return _columns_page(run)


@bp.post("/import/<int:run>/columns")
@may("coordinator")
def match(run: int):
    """Keep which column is which and try the lines; or read the letters otherwise."""
    form = request.form
    try:
        with writing() as db:
            found = _run(db, run)
            if form.get("act") == "letters":
                importing.read_anew(db, found, form.get("encoding", ""))
                return redirect(f"/import/{run}/columns", 303)
            errand = importing.match(
                db, access.scribe(), found, columns=_chosen(found.kind),
                worksite=form.get("worksite", 0, int), days=form.get("days", ""),
                language=language.current(),
            )  # fmt: skip
    except Refusal as refusal:
        return _columns_page(run, refusal), 422
    return redirect(f"/errands/{errand.id}", 303)


@bp.get("/import/<int:run>/lines")
@may("coordinator")
def lines(run: int):
    """Step 3: look at the lines."""
    return _lines_page(run)


@bp.post("/import/<int:run>/lines")
@may("coordinator")
def decide(run: int):
    """Keep what was decided about the lines of a page, or about all of them."""
    form = request.form
    act = form.get("act", "")
    try:
        with writing() as db:
            found = _run(db, run)
            if act.startswith("all-"):
                _, state, decision = act.split("-", 2)
                doubt = form.get("doubt", "")
                importing.decide_all(db, found, state, decision.removeprefix("none"), doubt)
            else:
                importing.decide(db, found, _decisions())
    except (Refusal, ValueError) as fault:
        refusal = fault if isinstance(fault, Refusal) else Refusal("Choose one of these.")
        return _lines_page(run, say(refusal)), 422
    flash(gettext("Your decisions are kept."))
    back = {name: form[name] for name in ("state", "doubt", "page") if form.get(name)}
    return redirect(_address(run, **back), 303)


@bp.get("/import/<int:run>/bad.csv")
@may("coordinator")
def bad(run: int):
    """Send the bad lines, each with its number and what is wrong."""
    with reading() as db:
        _run(db, run)
    store, words = access.store(), (gettext("Line"), gettext("Reason"))

    def text():
        with store.reading() as db:
            yield from importing.bad_lines(db, db.get(ImportRun, run), words, say)

    response = Response(stream_with_context(text()), content_type=TYPES["csv"])
    response.headers["Content-Disposition"] = errands.attachment(f"bad-lines-{run}.csv")
    return response


@bp.get("/import/<int:run>/do")
@may("coordinator")
def confirm(run: int):
    """Step 4: see once more what would be done."""
    return _confirm_page(run)


@bp.post("/import/<int:run>/do")
@may("coordinator")
def do(run: int):
    """Do it, all of it in one go."""
    try:
        seen = {str(name): int(count) for name, count in
                json.loads(request.form.get("seen", "{}")).items()}  # fmt: skip
        with writing() as db:
            errand = importing.ask_do(
                db, access.scribe(), _run(db, run), seen, _key(), language.current()
            )
    except Refusal as refusal:
        return _confirm_page(run, say(refusal)), 422
    except (ValueError, AttributeError, TypeError):
        abort(400)
    return redirect(f"/errands/{errand.id}", 303)


@bp.post("/import/<int:run>/try")
@may("coordinator")
def try_again(run: int):
    """Try the lines again, against what is known now."""
    with writing() as db:
        errand = importing.try_again(db, access.scribe(), _run(db, run), language.current())
    return redirect(f"/errands/{errand.id}", 303)


@bp.post("/import/<int:run>/give-up")
@may("coordinator")
def give_up(run: int):
    """Let a file go with nothing done."""
    with writing() as db:
        importing.give_up(db, _run(db, run))
    flash(gettext("The file is given up. Nothing was done."))
    return redirect("/import", 303)


@bp.get("/import/<int:run>/undo")
@may("coordinator")
def look_back(run: int):
    """Show what taking it back would do, or who stands in the way."""
    with reading() as db:
        found = _run(db, run)
        in_the_way, count = importing.stands_in_the_way(db, found)
    if found.state != "done":
        return redirect(f"/import/{run}")
    reasons = {
        "changed": gettext("was changed since"),
        "recorded": gettext("has an entry since"),
        "gone": gettext("is no longer there under this number"),
    }
    return render_template(
        "importing/undo.html", run=found, in_the_way=in_the_way, count=count, reasons=reasons,
        outcome=importing.said_of(found), sentence=_came_of(importing.said_of(found), found.kind),
    )  # fmt: skip


@bp.post("/import/<int:run>/undo")
@may("coordinator")
def undo(run: int):
    """Take it back, all of it."""
    with writing() as db:
        errand = importing.ask_undo(db, access.scribe(), _run(db, run), language.current())
    return redirect(f"/errands/{errand.id}", 303)


def _run(db, number: int) -> ImportRun:
    """Return a run. Errors: 404 for none, 403 for determinations without the right to them."""
    found = db.get(ImportRun, number) or abort(404)
    return found if set(importing.needs(found.kind)) <= g.roles else abort(403)


def _kinds() -> dict[str, str]:
    """Return what the signed-in person may bring in."""
    return {kind: name for kind, name in KINDS.items() if set(importing.needs(kind)) <= g.roles}


def _key() -> str:
    """Return the key of the form: 32 hexadecimal digits."""
    given = request.form.get("deed", "")
    fits = len(given) == 32 and not set(given) - set("0123456789abcdef")
    return given if fits else abort(400)


def _index(kind: str = "roster", refusal: Refusal | None = None):
    with reading() as db:
        rows = [row for row in imports.runs(db) if row.kind in _kinds()]
        names = {row.brought_by: db.get(Person, row.brought_by).name for row in rows}
    return render_template(
        "importing/index.html", kinds=_kinds(), kind=kind if kind in _kinds() else "roster",
        rows=rows, names=names, deed=secrets.token_hex(16), word=_word,
        fault=say(refusal) if refusal else "",
        columns={one: _field_names(one) for one in _kinds()},
        classes=[(row.slug, row.name(language.current())) for row in
                 respirator_classes.recognised()],
        protocols=[(row.slug, row.name(language.current())) for row in fit_test_protocols.rows()],
    )  # fmt: skip


def _field_names(kind: str) -> list[tuple[str, bool]]:
    return [(field.words(language.current()), field.needed)
            for field in matching_columns.fields(kind)]  # fmt: skip


def _chosen(kind: str) -> dict[str, int]:
    given = {
        field.slug: request.form.get(f"column-{field.slug}", -1, int)
        for field in matching_columns.fields(kind)
    }
    return {slug: at for slug, at in given.items() if at >= 0}


def _columns_page(run: int, refusal: Refusal | None = None):
    with reading() as db:
        found = _run(db, run)
        twin = imports.same_file(db, found)
        places = surroundings.worksite_choices(mine=False)
    if found.state not in importing.OPEN:
        return redirect(f"/import/{run}")
    read, matched = importing.read_of(found), importing.matched_of(found)
    if refusal:
        matched |= {"columns": _chosen(found.kind), "worksite": request.form.get("worksite"),
                    "days": request.form.get("days")}  # fmt: skip
    named = [
        (place, name or gettext("Column %(n)s", n=place + 1))
        for place, name in enumerate(read["columns"])
    ]
    fields = [
        (field, field.words(language.current()), matched["columns"].get(field.slug, -1))
        for field in matching_columns.fields(found.kind)
    ]
    return render_template(
        "importing/columns.html", run=found, kinds=KINDS, read=read, named=named, fields=fields,
        samples=read["samples"], matched=matched, places=places, twin=twin, days=_days(),
        encodings=[(one, one.upper()) for one in reading_tables.ENCODINGS],
        left_over=[name for place, name in named if place not in matched["columns"].values()],
        fault=say(refusal) if refusal else "", at=refusal.field if refusal else "",
    )  # fmt: skip


def _days() -> list[tuple[str, str]]:
    return [
        ("iso", gettext("year first: 2026-11-25")),
        ("mdy", gettext("month first: 11/25/2026")),
        ("dmy", gettext("day first: 25/11/2026")),
    ]


def _address(run: int, **args: str) -> str:
    query = "&".join(f"{name}={value}" for name, value in args.items() if value)
    return f"/import/{run}/lines" + (f"?{query}" if query else "")


def _lines_page(run: int, fault: str = ""):
    given = request.values
    doubt = given.get("doubt", "") if given.get("doubt", "") in DOUBTS else ""
    with reading() as db:
        found = _run(db, run)
        if found.state != "tried":
            return redirect(f"/import/{run}")
        tally = imports.tally(db, run)
        doubts = imports.doubts(db, run)
        state = given.get("state", "")
        if state not in imports.STATES:
            # What waits for a person comes first.
            state = next((one for one in ("doubtful", "bad") if tally[one]), "")
            state = state or next((one for one in imports.STATES if tally[one]), "new")
        count = doubts.get(doubt, 0) if state == "doubtful" and doubt else tally[state]
        pages = max(1, -(-count // PAGE))
        number = min(max(1, given.get("page", 1, int)), pages)
        rows = imports.lines(db, run, state, (number - 1) * PAGE, PAGE,
                             doubt if state == "doubtful" else "")  # fmt: skip
        foreseen = importing.foreseen(db, found)
    return render_template(
        "importing/lines.html", run=found, kinds=KINDS, tally=tally, state=state, doubt=doubt,
        doubts=doubts, doubt_words=DOUBTS, rows=[_shown(row) for row in rows], number=number,
        pages=pages, states=_states(), address=lambda **args: _address(run, **args), fault=fault,
        foreseen=foreseen, outcome=importing.said_of(found),
        told=[(name, count) for name, count in tally.items() if count],
    )  # fmt: skip


def _confirm_page(run: int, fault: str = ""):
    with reading() as db:
        found = _run(db, run)
        foreseen = importing.foreseen(db, found)
    if found.state != "tried":
        return redirect(f"/import/{run}")
    return render_template(
        "importing/confirm.html", run=found, kinds=KINDS, foreseen=foreseen, fault=fault,
        seen=json.dumps(foreseen), deed=secrets.token_hex(16), rows=_foreseen_rows(foreseen, found),
    )  # fmt: skip


def _foreseen_rows(seen: dict[str, int], run: ImportRun) -> list[tuple[str, str]]:
    """Return what would be done, in words with their numbers."""
    people = run.kind == "roster"
    rows = [
        (seen["new"], gettext("People added") if people else gettext("Lines put into the record")),
        (seen["changed"], gettext("People changed") if people
         else gettext("Lines put into the record after your decision")),
        (seen["back"], gettext("People who came back")),
        (seen["left"], gettext("People marked as left")),
        (seen["stay"], gettext("People not in the file, left as they are")),
        (seen["same"], gettext("Lines that change nothing")),
        (seen["out"], gettext("Doubtful lines left out")),
        (seen["bad"], gettext("Bad lines left out")),
    ]
    return [(label, f"{count:,}") for count, label in rows if count]


def _decisions() -> dict[int, str]:
    """Return what the form says about the lines of its page; an unticked box says so too."""
    shown = request.form.getlist("line", int)
    return {line: request.form.get(f"decision-{line}", "") for line in shown}


DOUBTS = {
    "other-name": _l("Same number, other name"),
    "same-name": _l("Same name, other number"),
    "zeros": _l("Same number but for zeros in front"),
    "twice-named": _l("Same name twice in the file"),
    "near-name": _l("Nearly the same name"),
}


def _states() -> dict[str, tuple[str, str]]:
    """Return the mark and the word of each state of a line."""
    return {
        "new": ("begun", gettext("To add")),
        "changed": ("begun", gettext("Changed")),
        "back": ("begun", gettext("Came back")),
        "left": ("todo", gettext("Not in the file")),
        "doubtful": ("soon", gettext("Doubtful")),
        "bad": ("no", gettext("Bad")),
        "same": ("done", gettext("The same")),
    }


def _word(state: str) -> tuple[str, str]:
    """Return the mark and the word of the state of a run."""
    return {
        "read": ("todo", gettext("To look at: columns")),
        "matched": ("todo", gettext("To look at: columns")),
        "tried": ("todo", gettext("To look at: lines")),
        "done": ("done", gettext("Done")),
        "undone": ("void", gettext("Taken back")),
        "given-up": ("void", gettext("Given up")),
    }[state]


def _shown(row: ImportLine) -> Shown:
    said = json.loads(row.said) if row.said else {}
    cases = said.get("cases", {})
    case = next((one for one in cases.values() if one), {})
    told = [_change(*one) for one in case.get("changes", ())]
    if "entries" in said:
        told = _entries_told(said)
    return Shown(
        row=row,
        state=row.state,
        told=[one for one in told if one[1] or one[2]],
        faults=[say(one) for one in importing.faults_of(said)],
        like=[_like(one) for one in said.get("doubts", ())],
        choices=_choices(row, said) if row.state == "doubtful" else [],
    )


def _choices(row: ImportLine, said: dict) -> list[tuple[str, str]]:
    by_id = {one["id"]: one for one in said.get("doubts", ()) if "id" in one}
    choices = []
    for option in importing.options(row):
        if option == "other":
            choices.append((option, gettext("Another person: add them")))
        elif option == "out":
            choices.append((option, gettext("Leave this line out")))
        else:
            one = by_id[int(option.removeprefix("same:"))]
            if row.doubt == "other-name" and "entries" in said:
                words = gettext("The same person, %(name)s", name=one["name"])
            elif row.doubt == "other-name":
                words = gettext("The same person, with a new name")
            else:
                words = gettext(
                    "The same person as %(name)s, who keeps No. %(number)s",
                    name=one["name"], number=one["number"],
                )  # fmt: skip
            choices.append((option, words))
    return choices


def _like(one: dict) -> str:
    if "line" in one:
        return gettext("Line %(line)s: %(name)s, No. %(number)s", **one)
    parts = [gettext("Known: %(name)s, No. %(number)s", name=one["name"], number=one["number"])]
    parts += one["worksites"]
    if one["left"]:
        parts.append(gettext("left"))
    return ", ".join(parts)


def _entries_told(said: dict) -> list[tuple[str, str, str]]:
    """Return what of a past record a line puts into the record: the day, and how it counts."""
    names = {
        "training": gettext("Training as a whole"),
        "practice": gettext("Practice, watched"),
        "fit-test": gettext("Fit test"),
        "medical": gettext("Medical evaluation"),
        "earlier-training": gettext("Earlier training, history only"),
    }
    told = []
    for one in said["entries"]:
        told.append((names[one["kind"]], "", one.get("on", said["on"])))
    lacks = [LACKS[why] for why in said.get("lacks", ())]
    if lacks:
        told.append((gettext("Does not make clear"), "", "; ".join(str(why) for why in lacks)))
    return told


LACKS = {
    "trainer": _l("no trainer named"),
    "elements": _l("not all seven elements named"),
    "respirators": _l("no respirator named"),
    "watched_by": _l("nobody named who watched practice"),
    "watched_how": _l("practice not said to be watched in person"),
    "lesson": _l("one lesson, not the whole"),
    "older": _l("older than a year"),
    "trained-here": _l("there is training in the record here"),
    "other-respirator": _l("another class of respirator is worn"),
}
"""Why earlier training is history only: `past_record.LACKS`."""


def _change(slug: str, old: str, new: str) -> tuple[str, str, str]:
    """Return a change in words: what, from what, to what."""
    words = {
        "name": gettext("Name"),
        "language": gettext("Language"),
        "qualification": gettext("Qualification"),
        "left_on": gettext("Left on"),
        "roles": gettext("Roles"),
        "worksites": gettext("Worksites"),
        "worn": gettext("Respirator"),
    }
    say_it = {"language": _tongue, "roles": _roles, "worn": _worn}.get(slug, str)
    return words[slug], say_it(old), say_it(new)


def _tongue(code: str) -> str:
    return {"en": gettext("English"), "es": gettext("Spanish")}.get(code, code)


def _roles(given: str) -> str:
    words = {"worker": gettext("Worker"), "trainer": gettext("Trainer"),
             "coordinator": gettext("Coordinator")}  # fmt: skip
    return ", ".join(words[role] for role in given.split())


def _worn(given: str) -> str:
    """Return respirators in words; each a line of parts with a bar between."""
    told = []
    for one in filter(None, given.split("\n")):
        slug, *parts = one.split("|")
        name = respirator_classes.get(slug).name(language.current())
        told.append(", ".join([name, *filter(None, parts[1:])]))
    return "; ".join(told)


def _came_of(said: dict, kind: str) -> str:
    """Return what was done, in a sentence."""
    if not said or "new" not in said:
        return ""
    if kind != "roster":
        return ngettext("%(num)s line is in the record.", "%(num)s lines are in the record.",
                        said["new"])  # fmt: skip
    parts = [
        gettext("added: %(n)s", n=f"{said['new']:,}"),
        gettext("changed: %(n)s", n=f"{said['changed']:,}"),
        gettext("came back: %(n)s", n=f"{said['back']:,}"),
        gettext("left: %(n)s", n=f"{said['left']:,}"),
    ]
    return gettext("People %(parts)s.", parts=", ".join(parts))


def _undone(said: dict) -> str:
    if not said:
        return ""
    if "struck" in said:
        return ngettext("%(num)s entry was struck by a correction.",
                        "%(num)s entries were struck by corrections.", said["struck"])  # fmt: skip
    return gettext(
        "Taken away again: %(deleted)s. Kept and marked as left: %(kept)s. Put back: %(back)s.",
        **{name: f"{said[name]:,}" for name in ("deleted", "kept", "back")},
    )


def _tried(_, said: dict) -> tuple[str, str]:
    return gettext("The lines are tried. Nothing is done yet."), f"/import/{said['run']}/lines"


def _done(_, said: dict) -> tuple[str, str]:
    kind = "past" if "entries" in said else "roster"
    return _came_of(said, kind), f"/import/{said['run']}"


def _taken_back(_, said: dict) -> tuple[str, str]:
    return _undone(said), f"/import/{said['run']}"


errands.shows(importing.TRY, _l("Try the lines of a file"), _tried)
errands.shows(importing.DO, _l("Bring a file in"), _done)
errands.shows(importing.UNDO, _l("Take an import back"), _taken_back)
