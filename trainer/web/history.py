"""What was: a lesson as it was taught, a sitting as it was answered, a long record page by page."""

from flask import Blueprint, abort, g, render_template, request
from flask_babel import gettext

from trainer.services import as_taught, sitting, standing
from trainer.services.as_taught import Taught
from trainer.store import people, record
from trainer.store.tables import Sitting
from trainer.web import access, entries, items, taught
from trainer.web.access import may, reading
from trainer.web.language import current

bp = Blueprint("history", __name__)

PAGE = 50


@bp.get("/taught/<version>")
@may()
def lesson(version: str):
    """Show a lesson exactly as it was taught, in one of its languages, with its questions."""
    with reading() as db:
        found = as_taught.find(db, version[:64]) or abort(404)
        if not as_taught.may_read(db, g.person, g.roles, found):
            abort(404)
    tongue = request.args.get("tongue", current())
    if tongue not in found.pages:
        tongue = next(iter(found.pages))
    # Who is still to sit it does not read the answers here before.
    answers = bool(g.roles & {"trainer", "coordinator"}) or _had(found)
    return render_template(
        "history/lesson.html", found=found, page=found.pages[tongue], tongue=tongue,
        answers=answers,
    )  # fmt: skip


def _had(found: Taught) -> bool:
    """Say whether the signed-in person passed the lesson in this very version, and it counts."""
    with reading() as db:
        own = standing.in_force(record.of_person(db, people.numbers(db, g.person)))
    return any(
        entry.kind == "lesson" and said.get("version") == found.version for entry, said in own
    )


@bp.get("/people/<number>/sittings/<int:row>")
@may("trainer", "coordinator")
def sat(number: str, row: int):
    """Show a closed sitting of a person: each question, the answer, the mark, the right answer."""
    with reading() as db:
        person = access.their(db, number)
        there = db.get(Sitting, row)
        if there is None or not there.closed_at or there.person_id not in people.ids(db, person):
            abort(404)
        shown = sitting.shown(db, there)
        written = sitting.languages(db, there, shown)
    tongue = current() if current() in written else there.language or next(iter(written))
    return render_template(
        "history/sitting.html",
        found=person,
        sitting=there,
        items=shown,
        about=taught.title(there.lesson, tongue) if there.lesson else gettext("Refresher"),
        tongue=tongue,
        marking=lambda one: sitting.marking(one, tongue),
        given_at=lambda one, index: items.given_at(one, index, tongue),
        day=there.closed_at.astimezone(access.settings().zone).date(),
    )


@bp.get("/people/<number>/record")
@may("trainer", "coordinator")
def whole(number: str):
    """Show the entries about a person, the newest first, page by page."""
    with reading() as db:
        person = access.their(db, number)
        rows = record.of_person(db, people.numbers(db, person))
        erased = record.erasures(db, [one.number for one in rows if one.body is None])
    lines = entries.lines(rows, access.sees_medical(), erased)
    pages = max(1, -(-len(lines) // PAGE))
    at = min(max(1, request.args.get("page", 1, type=int)), pages)
    return render_template(
        "history/record.html",
        found=person,
        lines=lines[(at - 1) * PAGE : at * PAGE],
        total=len(lines),
        number=at,
        pages=pages,
    )
