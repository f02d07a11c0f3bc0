"""People as trainers and coordinators see them: the tag board, one person, one-time codes."""

from dataclasses import dataclass
from datetime import date, timedelta
from io import BytesIO
from urllib.parse import urlencode

import segno
from flask import Blueprint, abort, g, render_template, request
from flask_babel import gettext
from markupsafe import Markup

from trainer.services import curriculum, refreshing, signing_in, sitting, standing
from trainer.store import people, record
from trainer.store.tables import OneTimeCode, Person, Respirator, Standing, Worksite
from trainer.web import access, entries, surroundings, tagging, taught
from trainer.web.access import may, now, reading, writing

bp = Blueprint("people", __name__)

PAGE = 50


@dataclass(frozen=True)
class Row:
    """One row of the tag board."""

    person: Person
    respirator: Respirator | None
    state: str
    missing: tuple[str, ...]
    due: date | None
    due_kind: str
    until: date | None


@bp.get("/board")
@may("coordinator")
def board():
    """Show the tag board of every worksite."""
    return _board(mine=False)


@bp.get("/people")
@may("trainer")
def mine():
    """Show the tag board of the trainer's own worksites."""
    return _board(mine=True)


@bp.get("/people/<number>")
@may("trainer", "coordinator")
def person(number: str):
    """Show one person: the tags, the lessons, the sittings, the record."""
    here = access.settings()
    medical = "coordinator" in g.roles
    with reading() as db:
        found = access.their(db, number)
        today = standing.today(db, found, now(), here.zone)
        history = standing.History(db, found)
        passed = len(history.this_round(today))
        course = len(history.course)
        tags = [
            (one, tagging.lines(one, passed, course, today, here.due_soon_days, medical))
            for one in standing.tags(db, found, today, history)
        ]
        to_do = history.to_do(today)
        sittings = [one for one in sitting.of_person(db, found) if one.closed_at and one.lesson]
        refreshers = [(one, refreshing.faded(db, one)) for one in refreshing.results(db, found)]
        watch_after = refreshing.watch_after(db, history, found, today)
        watched = refreshing.watched(db, found)
        talks = [
            one.slug
            for one in curriculum.of_person(db, found)
            if sitting.needs_talk(db, found, one.slug)
        ]
        rows = record.of_person(db, found.number)
        places = people.worksites(db, found.id)
        roles = people.roles(db, found.id)
        may_give_code = _may_give_code(db, found)
        assigned = [
            item
            for item in people.assignments(db, found.id)
            if not history.fulfilled(item)
        ]
    return render_template(
        "people/person.html",
        found=found,
        found_roles=roles,
        may_give_code=may_give_code,
        places=places,
        tags=tags,
        until=tagging.until,
        because=tagging.because,
        to_do=to_do,
        sittings=list(reversed(sittings)),
        refreshers=refreshers,
        watch_after=watch_after,
        watched=watched,
        again=_retraining_address,
        talks=talks,
        assigned=assigned,
        lines=entries.lines(rows, medical),
        title_of=taught.title,
        seen=lambda item: entries.seen(item.seen.split()),
        to_show=history.to_be_shown(today),
        reason=entries.reason,
        for_cause=standing.FOR_CAUSE,
        own=found.id == g.person.id,
    )


@bp.post("/people/<number>/code")
@may("trainer", "coordinator")
def code(number: str):
    """Make a one-time code for a person and show it, as text and to scan."""
    with writing() as db:
        found = _for_code(db, number)
        text, row = signing_in.make_code(db, g.person, now(), access.limits(), person=found)
    return render_template(
        "people/code.html", slips=[slip(text, row, found)], here=f"/people/{number}", one=True
    )


@bp.get("/codes")
@may("trainer", "coordinator")
def codes():
    """Choose whose codes to print, or enrol a shared tablet."""
    return _codes_page()


def _codes_page(fault: str = "") -> str:
    mine = "coordinator" not in g.roles
    choices = surroundings.worksite_choices(mine)
    chosen = _chosen(choices)
    with reading() as db:
        rows = people.at_worksite(db, chosen) if chosen else []
        rows = [one for one in rows if _may_give_code(db, one)]
    return render_template(
        "people/codes.html", choices=choices, chosen=chosen, rows=rows, fault=fault
    )


@bp.post("/codes")
@may("trainer", "coordinator")
def print_codes():
    """Make codes for the people ticked, on one page to print."""
    if not request.form.getlist("person"):
        return _codes_page(gettext("Tick whom the codes are for.")), 422
    with writing() as db:
        slips = []
        for number in request.form.getlist("person"):
            found = _for_code(db, number)
            text, row = signing_in.make_code(db, g.person, now(), access.limits(), person=found)
            slips.append(slip(text, row, found))
    return render_template("people/code.html", slips=slips, here="/codes", one=False)


@bp.post("/codes/tablet")
@may("trainer", "coordinator")
def tablet():
    """Make a one-time code that enrols a tablet for everyone at a worksite."""
    chosen = _chosen(surroundings.worksite_choices("coordinator" not in g.roles))
    if not chosen:
        abort(404)
    with writing() as db:
        worksite = db.get(Worksite, chosen)
        text, row = signing_in.make_code(
            db, g.person, now(), access.limits(), worksite_id=worksite.id
        )
    return render_template(
        "people/code.html", slips=[slip(text, row, None, worksite)], here="/codes", one=True
    )


@dataclass(frozen=True)
class Slip:
    """A one-time code to show or print."""

    code: str
    until: str  # hours and minutes by the clock of the works
    person: Person | None
    worksite: Worksite | None
    qr: Markup


def slip(
    text: str, row: OneTimeCode, person: Person | None, worksite: Worksite | None = None
) -> Slip:
    """Return a code as it is shown; its QR drawing leads to the page that uses it."""
    shown = f"{text[:5]}-{text[5:]}"
    whose = {"number": person.number} if person else {"shared": "yes"}
    root = access.settings().address.rstrip("/") or request.url_root.rstrip("/")
    out = BytesIO()
    segno.make(f"{root}/enrol?{urlencode(whose | {'code': shown})}", error="m").save(
        out,
        kind="svg",
        xmldecl=False,
        svgns=False,
        omitsize=True,
        border=2,
        svgclass=None,
        lineclass=None,
    )
    until = row.expires_at.astimezone(access.settings().zone)
    return Slip(shown, f"{until:%H:%M}", person, worksite, Markup(out.getvalue().decode()))  # noqa: S704


def _may_give_code(db, found: Person) -> bool:
    """Say whether the signed-in person may make a code for somebody.

    A code lets its holder in as that person, so a trainer makes none for a colleague, whose
    name could then stand under the trainer's own practice, nor for a coordinator.
    """
    return "coordinator" in g.roles or found.id == g.person.id or found.id not in people.staff(db)


def _for_code(db, number: str) -> Person:
    found = access.their(db, number)
    return found if _may_give_code(db, found) else abort(403)


def _board(mine: bool) -> str:
    here = access.settings()
    choices = surroundings.worksite_choices(mine)
    chosen = _chosen(choices, first=False)
    state = request.args.get("state", "")
    search = request.args.get("q", "").strip()[:60]
    number = max(1, request.args.get("page", 1, type=int))
    today = now().astimezone(here.zone).date()
    sites = (chosen,) if chosen else tuple(key for key, _ in choices) if mine else None
    common = {
        "today": today,
        "soon": today + timedelta(days=here.due_soon_days),
        "worksite_ids": sites,
    }
    with reading() as db:
        page, total = people.board(
            db,
            **common,
            state=state if state in people.STATES else "",
            search=search,
            first=(number - 1) * PAGE,
            most=PAGE,
        )
        tally = people.tally(db, **common)
    return render_template(
        "people/board.html",
        rows=[_row(*row, today, here.due_soon_days) for row in page],
        total=total,
        number=number,
        pages=max(1, -(-total // PAGE)),
        tally=tally,
        choices=choices,
        chosen=chosen,
        state=state,
        search=search,
        mine=mine,
        soon_days=here.due_soon_days,
        address=lambda page: (
            "?" + urlencode({"q": search, "worksite": chosen or "", "state": state, "page": page})
        ),
        step_name=tagging.name,
    )


def _row(
    row: Standing, person: Person, respirator: Respirator | None, today: date, soon_days: int
) -> Row:
    return Row(
        person,
        respirator,
        tagging.state_of(row.clear_until, row.begun, today, soon_days),
        tuple(row.missing.split()),
        row.next_due,
        row.next_due_kind,
        row.clear_until if row.clear_until and row.clear_until != date.max else None,
    )


def _chosen(choices: list[tuple[int, str]], first: bool = True) -> int | None:
    """Return the worksite asked for, if it is one of the choices; else the first, or none."""
    asked = request.values.get("worksite", type=int)
    keys = [key for key, _ in choices]
    if asked in keys:
        return asked
    return keys[0] if first and keys else None


def _retraining_address(number: str, slugs: list[str], seen: str = "missed") -> str:
    """Return where these lessons are assigned again, with the reason filled in.

    seen    "missed" after wrong answers, "lesson" after anything else
    """
    chosen = [("person", number), *((seen, slug) for slug in slugs)]
    return "/assign?" + urlencode([*chosen, ("reason", "knowledge-or-use")])
