"""The trainer's acts: assign lessons, watch practice and sign it, talk after failed sittings."""

from datetime import date, timedelta

from flask import Blueprint, abort, flash, g, redirect, render_template, request
from flask_babel import gettext, ngettext

from trainer import lessons
from trainer.reference import retraining_reasons
from trainer.services import assigning, observing, refreshing, sitting, standing
from trainer.services.refusal import Refusal
from trainer.store.tables import Assignment, Person, Practice, Respirator, Worksite
from trainer.web import access, htmx, surroundings
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import say
from trainer.web.language import current

bp = Blueprint("trainer", __name__)

DAYS_TO_LEARN = 14


@bp.get("/assign")
@may("trainer")
def assign():
    """Choose lessons, a day and a reason, for a person or a whole worksite."""
    return _assign_page()


@bp.post("/assign")
@may("trainer")
def give():
    """Assign what was chosen."""
    slugs = request.form.getlist("lesson")
    reason = request.form.get("reason", "")
    number = request.form.get("person", "")
    try:
        due = date.fromisoformat(request.form.get("due", ""))
    except ValueError:
        return _assign_page(fault=gettext("Give the due day as a date.")), 422
    try:
        with writing() as db:
            if number:
                found = access.their(db, number)
                count = int(bool(assigning.assign(db, access.scribe(), found, slugs, due, reason)))
            else:
                count = _assign_worksite(db, slugs, due, reason)
    except Refusal as refusal:
        return _assign_page(fault=say(refusal)), 422
    flash(ngettext("Assigned to %(num)s person.", "Assigned to %(num)s people.", count))
    return redirect(f"/people/{number}" if number else "/people", 303)


@bp.post("/assignments/<int:number>/withdraw")
@may("trainer")
def withdraw(number: int):
    """Withdraw an assignment of one of the trainer's people."""
    with writing() as db:
        row = db.get(Assignment, number) or abort(404)
        person = access.their(db, db.get(Person, row.person_id).number)
        assigning.withdraw(db, access.scribe(), number)
    flash(gettext("The assignment is withdrawn."))
    return redirect(f"/people/{person.number}", 303)


@bp.post("/people/<number>/talk")
@may("trainer")
def talk(number: str):
    """Keep that the trainer talked with a person, so that they may try again."""
    slug = request.form.get("lesson", "")
    if lessons.load().get(slug) is None:
        abort(404)
    with writing() as db:
        sitting.talked(db, access.scribe(), access.their(db, number), slug)
    flash(gettext("Kept. They can try again now."))
    return redirect(f"/people/{number}", 303)


@bp.post("/people/<number>/practice")
@may("trainer")
def begin_practice(number: str):
    """Begin to watch a practice with one respirator, or a short one for a refresher; or go on."""
    with writing() as db:
        person = access.their(db, number)
        respirator = db.get(Respirator, request.form.get("respirator", 0, type=int))
        if respirator is None or respirator.person_id != person.id or respirator.ended_at:
            abort(404)
        refreshes = None
        if request.form.get("short"):
            today = standing.today(db, person, now(), access.settings().zone)
            history = standing.History(db, person)
            refreshes = refreshing.watch_after(db, history, person, today) or abort(404)
        there = observing.begin(db, access.scribe(), person, respirator, refreshes)
    return redirect(f"/practice/{there.id}", 303)


@bp.get("/practice/<int:number>")
@may("trainer")
def practice(number: int):
    """Show the acts to watch, each marked as it was seen."""
    return _practice_page(number)


@bp.post("/practice/<int:number>")
@may("trainer")
def mark(number: int):
    """Keep the marks given so far; with the button to sign, sign them into the record."""
    marks = {
        key.removeprefix("act-"): value
        for key, value in request.form.items()
        if key.startswith("act-")
    }
    try:
        with writing() as db:
            there = observing.own(db, number, g.person) or abort(404)
            if there.signed_at is None:
                observing.mark(db, access.scribe(), there, marks)
    except Refusal as refusal:
        return _practice_page(number, fault=say(refusal)), 422
    if request.form.get("act") != "sign":
        if htmx.wants_part():
            return render_template("worker/_kept.html", kept=True, at=now())
        flash(gettext("Saved. Sign when every act is marked."))
        return redirect(f"/practice/{number}", 303)
    try:
        with writing() as db:
            there = observing.own(db, number, g.person)
            if there.signed_at is None:
                # Once more in the same breath: what the page saved by itself may have come late.
                observing.mark(db, access.scribe(), there, marks)
            entry = observing.sign(db, access.scribe(), there)
            person = db.get(Person, there.person_id)
    except Refusal as refusal:
        return _practice_page(number, fault=say(refusal)), 422
    if entry:
        flash(gettext("Signed as entry %(number)s.", number=entry.number))
    else:
        flash(gettext("Signed. It stands under Refreshers."))
    return redirect(f"/people/{person.number}", 303)


def _assign_worksite(db, slugs: list[str], due: date, reason: str) -> int:
    chosen = request.form.get("worksite", type=int)
    if chosen not in [key for key, _ in surroundings.worksite_choices(mine=True)]:
        raise Refusal("Choose one of your worksites.")
    worksite = db.get(Worksite, chosen)
    return assigning.assign_worksite(db, access.scribe(), worksite, slugs, due, reason)


def _assign_page(fault: str = ""):
    number = request.values.get("person", "")
    with reading() as db:
        person = access.their(db, number) if number else None
        day = standing.today(db, person or g.person, now(), access.settings().zone)
    return render_template(
        "trainer/assign.html",
        found=person,
        lessons=[(one.slug, one.title(current())) for one in lessons.load().all],
        reasons=[(row.slug, row.name(current())) for row in retraining_reasons.rows()],
        worksites=surroundings.worksite_choices(mine=True),
        picked=request.values.getlist("lesson"),
        reason=request.values.get("reason", ""),
        chosen=request.form.get("worksite", ""),
        due=request.form.get("due") or (day + timedelta(days=DAYS_TO_LEARN)).isoformat(),
        fault=fault,
    )


def _practice_page(number: int, fault: str = ""):
    with reading() as db:
        there: Practice | None = observing.own(db, number, g.person)
        if there is None:
            abort(404)
        person = db.get(Person, there.person_id)
        respirator = db.get(Respirator, there.respirator_id)
        seen = observing.seen(db, there)
        acts = observing.asked_of(db, there)
    return render_template(
        "trainer/practice.html",
        practice=there,
        found=person,
        respirator=respirator,
        acts=acts,
        seen=seen,
        fault=fault,
    )
