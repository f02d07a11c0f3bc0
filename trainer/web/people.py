"""People as trainers and coordinators see them: one person, one-time codes."""

from dataclasses import dataclass
from datetime import date
from io import BytesIO
from urllib.parse import urlencode

import segno
from flask import Blueprint, abort, flash, g, redirect, render_template, request
from flask_babel import gettext, ngettext
from markupsafe import Markup

from trainer.services import curriculum, merging, refreshing, signing_in, sitting, standing
from trainer.store import people, record
from trainer.store.tables import OneTimeCode, Person, Worksite
from trainer.web import access, entries, surroundings, tagging, taught
from trainer.web.access import may, now, reading, writing

bp = Blueprint("people", __name__)

@bp.get("/people/<number>")
@may("trainer", "coordinator")
def person(number: str):
    """Show one person: the tags, the lessons, the sittings, the record."""
    here = access.settings()
    medical = access.sees_medical()
    with reading() as db:
        found = access.their(db, number)
        today = standing.today(db, found, now(), here.zone)
        past = _past_day(today)
        history = standing.History(db, found)
        passed = len(history.this_round(today))
        course = len(history.course)
        if past:
            passed = course = 0
            stood = standing.tags_on(db, [found], past)[found.id]
        else:
            stood = standing.tags(db, found, today, history)
        tags = [
            (one, tagging.lines(one, passed, course, past or today, here.due_soon_days, medical))
            for one in stood
        ]
        to_do = history.to_do(today)
        sittings = [one for one in sitting.of_person(db, found) if one.closed_at and one.lesson]
        sittings = sorted(
            [*sittings, *merging.earlier_sittings(db, found)], key=lambda one: one.closed_at
        )
        other_sittings = merging.unfinished(db, found)
        numbers = people.numbers(db, found)
        refreshers = [(one, refreshing.faded(db, one)) for one in refreshing.results(db, found)]
        watch_after = refreshing.watch_after(db, history, found, today)
        watched = refreshing.watched(db, found)
        talks = [
            one.slug
            for one in curriculum.of_person(db, found)
            if sitting.needs_talk(db, found, one.slug)
        ]
        rows = record.of_person(db, numbers)
        erased = record.erasures(db, [one.number for one in rows if one.body is None])
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
        until=lambda tag: tagging.until(tag, medical),
        because=lambda tag: tagging.because(tag, own=False),
        notes=tagging.notes,
        to_do=to_do,
        sittings=list(reversed(sittings)),
        other_sittings=other_sittings,
        numbers=numbers,
        refreshers=refreshers,
        watch_after=watch_after,
        watched=watched,
        again=_retraining_address,
        talks=talks,
        assigned=assigned,
        lines=entries.lines(rows, medical, erased),
        past=past,
        today=today,
        title_of=taught.title,
        seen=lambda item: entries.seen(item.seen.split()),
        to_show=history.to_be_shown(today),
        reason=entries.reason,
        for_cause=standing.FOR_CAUSE,
        own=found.id == g.person.id,
    )


def _past_day(today: date) -> date | None:
    """Return the day gone by that a coordinator asks about, as `?on=2026-03-03`."""
    if "coordinator" not in g.roles:
        return None
    try:
        day = date.fromisoformat(request.args.get("on", ""))
    except ValueError:
        return None
    return day if day < today else None


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


@bp.post("/people/<number>/sign-out")
@may("trainer", "coordinator")
def sign_out(number: str):
    """Sign a person out wherever they are signed in, as when a tablet was left open."""
    with writing() as db:
        found = _for_code(db, number)
        ended = signing_in.end_everywhere(db, people.ids(db, found), now(), g.person)
    if ended:
        flash(ngettext("Signed out at %(num)s place.", "Signed out at %(num)s places.", ended))
    else:
        flash(gettext("They were signed in nowhere."))
    return redirect(f"/people/{found.number}", 303)


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
    out = BytesIO()
    segno.make(f"{access.root()}/enrol?{urlencode(whose | {'code': shown})}", error="m").save(
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
    # A drawing of squares, without a word in it.
    drawn = Markup(out.getvalue().decode())  # noqa: S704  # nosec B704
    return Slip(shown, f"{until:%H:%M}", person, worksite, drawn)


def _may_give_code(db, found: Person) -> bool:
    """Say whether the signed-in person may make a code for somebody.

    A code lets its holder in as that person, so a trainer makes none for a colleague, whose
    name could then stand under the trainer's own practice, nor for a coordinator. Nor does who
    has no right to medical determinations make one for somebody who has it.
    """
    if found.left_on is not None:
        return False
    if found.id == g.person.id:
        return True
    if people.MEDICAL in people.roles(db, found.id):
        return access.sees_medical()
    return "coordinator" in g.roles or found.id not in people.staff(db)


def _for_code(db, number: str) -> Person:
    found = access.their(db, number)
    return found if _may_give_code(db, found) else abort(403)


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
