"""The trainer's acts: watch practice and sign it, talk after failed sittings."""

from urllib.parse import urlencode

from flask import Blueprint, abort, flash, g, redirect, render_template, request
from flask_babel import gettext

from trainer.services import observing, refreshing, sitting, standing
from trainer.services.refusal import Refusal
from trainer.store.tables import Person, Practice, Respirator
from trainer.web import access, htmx, taught
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import say

bp = Blueprint("trainer", __name__)


@bp.post("/people/<number>/talk")
@may("trainer")
def talk(number: str):
    """Keep that the trainer talked with a person, so that they may try again."""
    slug = request.form.get("lesson", "")
    if taught.lesson(slug) is None:
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
        again=_again(person.number, [act for act, how in seen.items() if how != "unprompted"]),
        fault=fault,
    )


def _again(number: str, acts: list[str]) -> str:
    """Return where the lessons that matter for these acts are assigned again, (k)(5)(ii)."""
    asked = [("person", number), ("reason", "knowledge-or-use"), *(("seen", act) for act in acts)]
    return "/assign?" + urlencode(asked)
