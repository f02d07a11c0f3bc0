"""Taking the record out: what is chosen on a page, as a file of one of several formats.

Every choice is an address. Quick formats are streamed at once; a workbook and a long PDF are long
work, which is asked for and fetched when it is done.
"""

import secrets
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date

from flask import (
    Blueprint,
    Response,
    g,
    redirect,
    render_template,
    request,
)
from flask_babel import gettext, ngettext
from flask_babel import lazy_gettext as _l
from sqlmodel import Session
from werkzeug.datastructures import MultiDict

from trainer.services import errands, exporting, record_on_paper, statements, wishes, workbook
from trainer.services.exporting import Choice
from trainer.services.wishes import Wish
from trainer.store import changes, people
from trainer.store.tables import Errand, Person, Worksite
from trainer.web import access, forms, language, surroundings
from trainer.web import errands as errand_pages
from trainer.web.access import may, now, reading, writing
from trainer.web.errands import attachment

bp = Blueprint("taking_out", __name__)

Lines = Callable[[Session, Choice], Iterator[str]]

QUICK: dict[str, tuple[str, str]] = {
    "csv": ("csv", "text/csv"),
    "json": ("json", "application/json"),
    "jsonl": ("jsonl", "application/x-ndjson"),
    "xapi": ("xapi.json", "application/json"),
}
"""Formats that are streamed at once: how the file's name ends, and its type."""
LONG = {"xlsx": workbook.KIND, "pdf": record_on_paper.KIND}
"""Formats that are long work: the kind of errand."""


@bp.get("/export")
@may("coordinator")
def export():
    """Choose which part of the record to take out; an address fills the page in."""
    given = _given(request.args)
    form = _form(given if given else None)
    today = _today()
    if not form.first.data and "from" not in request.args:
        form.first.data = date(today.year, 1, 1)
    if not form.last.data and "to" not in request.args:
        form.last.data = today
    return _page(form, _wish(form, given))


@bp.post("/export")
@may("coordinator")
def take():
    """Send the file of a quick format, or ask for one that takes long."""
    form = _form(request.form)
    wish = _wish(form, request.form)
    if not _good(form):
        return _page(form, wish), 422
    if form.format.data in QUICK:
        return redirect(f"/export.{QUICK[form.format.data][0]}?{wish.query()}", 303)
    about = {
        "address": wish.query(),
        "today": _today().isoformat(),
        "soon_days": access.settings().due_soon_days,
    }
    once = f"export:{g.person.id}:{request.form.get('deed', '')}:{form.format.data}:{wish.query()}"
    with writing() as db:
        errand = errands.ask(
            db, access.scribe(), LONG[form.format.data], about, once=once,
            language=language.current(),
            needs=("coordinator", *((people.MEDICAL,) if wish.medical else ())),
        )  # fmt: skip
        _note(db, wish, form.format.data)
    return redirect(f"/errands/{errand.id}", 303)


@bp.post("/export/found")
@may("coordinator")
def found():
    """Say how many entries a choice finds, for the page while it is being filled in."""
    form = _form(request.form)
    wish = _wish(form, request.form)
    good = _good(form)
    return render_template("taking_out/_found.html", **(_found(wish) if good else {}))


@bp.get("/export.csv")
@may("coordinator")
def csv():
    """Send the record as CSV, line by line."""
    return _stream("csv", exporting.csv_lines)


@bp.get("/export.json")
@may("coordinator")
def json():
    """Send the record as one JSON array."""
    return _stream("json", exporting.json_array)


@bp.get("/export.jsonl")
@may("coordinator")
def jsonl():
    """Send the record as JSON, an entry a line."""
    return _stream("jsonl", exporting.json_lines)


@bp.get("/export.xapi.json")
@may("coordinator")
def xapi():
    """Send the record as xAPI statements."""
    base, moment = access.settings().iri_base, now()

    def lines(db: Session, choice: Choice) -> Iterator[str]:
        return statements.lines(db, choice, base, moment)

    return _stream("xapi", lines)


@bp.get("/people/<number>/record.pdf")
@may("trainer", "coordinator")
def person_record(number: str):
    """Send one person's record as a PDF; determinations for a coordinator who asks for them."""
    medical = access.sees_medical() and request.args.get("medical") == "yes"
    with reading() as db:
        found = access.their(db, number)
        made = record_on_paper.of_person(
            db, found, language.current(), now(), _today(), medical=medical
        )
    with writing() as db:
        _note(db, Wish(what="everything", medical=medical), "pdf", found)
    return _pdf(made, found.number)


@bp.get("/my-record.pdf")
@may()
def my_record():
    """Send a person their own record as a PDF, with what is recorded of their own clearance."""
    with reading() as db:
        made = record_on_paper.of_person(
            db, g.person, language.current(), now(), _today(), medical=True
        )
    return _pdf(made, g.person.number)


def _stream(format: str, lines: Lines):
    given = _given(request.args)
    form = _form(given)
    wish = _wish(form, given)
    if not _good(form):
        return _page(form, wish), 422
    ending, kind = QUICK[format]
    store, today, soon = access.store(), _today(), access.settings().due_soon_days
    sees = access.sees_medical()

    def pieces() -> Iterator[str]:
        with store.reading() as db:
            yield from lines(db, wishes.choice(db, wish, today, soon, sees_medical=sees))

    response = Response(pieces(), mimetype=kind)
    name = wishes.file_name(wish, today, ending)
    response.headers["Content-Disposition"] = attachment(name)
    with writing() as db:
        _note(db, wish, format)
    return response


def _note(db: Session, wish: Wish, format: str, of_whom: Person | None = None) -> None:
    """Note that somebody took something out; the one place where every export is noted."""
    about = changes.About(of_whom.number, of_whom.name) if of_whom else changes.About()
    days = [("first", wish.first, date.min), ("last", wish.last, date.max)]
    what = [(name, "", day.isoformat()) for name, day, every in days if day != every]
    place = db.get(Worksite, wish.filter.worksite) if wish.filter.worksite else None
    if place:
        what.append(("worksite", "", place.name))
    if chosen := wish.filter.query(worksite=None):
        what.append(("choice", "", chosen))
    what.append(("format", "", format))
    if wish.medical:
        what.append(("determinations", "", "yes"))
    changes.note(db, "export", "taken-out", about, what)


def _pdf(made: bytes, number: str) -> Response:
    response = Response(made, mimetype="application/pdf")
    response.headers["Content-Disposition"] = attachment(f"record_{number}.pdf")
    return response


def _given(args: MultiDict) -> MultiDict:
    """Return what an address says; older ones name a worksite instead of giving its number."""
    given = MultiDict(args)
    by_name = {name: str(key) for key, name in surroundings.worksite_choices(mine=False)}
    if given.get("worksite") in by_name:
        given["worksite"] = by_name[given["worksite"]]
    return given


def _form(given: MultiDict | None) -> forms.ExportForm:
    form = forms.ExportForm(given)
    places = surroundings.worksite_choices(mine=False)
    every = ("", gettext("Every worksite"))
    form.worksite.choices = forms.choices([every, *((str(key), name) for key, name in places)])
    return form


def _good(form: forms.ExportForm) -> bool:
    good = form.validate()
    if good and form.first.data > form.last.data:
        form.last.errors = [gettext("The last day must not be before the first.")]
        return False
    return good


def _wish(form: forms.ExportForm, given: MultiDict) -> Wish:
    """Return what is asked; the days as the form has read them or filled them in."""
    wish = Wish.read(given)
    medical = bool(form.medical.data) and access.sees_medical()
    return replace(
        wish, first=form.first.data or wish.first, last=form.last.data or wish.last, medical=medical
    )


def _today() -> date:
    return wishes.today_at(now(), access.settings().zone)


def _page(form: forms.ExportForm, wish: Wish) -> str:
    good = bool(form.first.data and form.last.data and form.first.data <= form.last.data)
    kept = {"due": wish.filter.due, "kind": wish.filter.kind, "month": wish.filter.month,
            "left": "yes" if wish.filter.left else ""}  # fmt: skip
    return render_template(
        "taking_out/export.html",
        form=form,
        deed=secrets.token_hex(16),
        kept={name: value for name, value in kept.items() if value},
        narrowed=wish.of_people,
        **(_found(wish) if good else {}),
    )


def _found(wish: Wish) -> dict[str, object]:
    """Return how many entries are found, of what, and the address that keeps the choice."""
    with reading() as db:
        chosen = wishes.choice(
            db, wish, _today(), access.settings().due_soon_days,
            sees_medical=access.sees_medical(),
        )  # fmt: skip
        count = exporting.how_many(db, chosen)
        worksite = db.get(Worksite, wish.filter.worksite) if wish.filter.worksite else None
        whom = record_on_paper.of_whom(db, wish, language.current())
    if wish.of_people:
        whose = gettext("Of the people on the tag board now: %(whom)s. "
                        "All of theirs, wherever they were recorded.", whom=whom)  # fmt: skip
    elif worksite:
        whose = gettext("All that was recorded at %(worksite)s, "
                        "also of people who have left.", worksite=worksite.name)  # fmt: skip
    else:
        whose = gettext("Of everybody, also of people who have left.")
    return {
        "count": ngettext("%(num)s entry", "%(num)s entries", count),
        "whose": whose,
        "address": f"/export?{wish.query()}",
    }


def _done(errand: Errand, said: dict) -> tuple[str, str]:
    text = ngettext("%(num)s entry is in it.", "%(num)s entries are in it.", said["rows"])
    if said.get("files", 1) > 1:
        text += " " + gettext("It is a ZIP of %(files)s PDF files, one after another.",
                              files=said["files"])  # fmt: skip
    return text, ""


errand_pages.shows(workbook.KIND, _l("The record as a workbook"), _done)
errand_pages.shows(record_on_paper.KIND, _l("The record to print"), _done)

# The sentence of the services, where the catalogues find it.
_LONG_REFUSALS = _l(
    "These are %(count)s entries, more than anybody reads on paper. Choose a shorter period or one "
    "worksite, or take them out as a workbook."
)
