"""Somebody leaves, or comes back."""

import secrets
from collections.abc import Callable
from urllib.parse import urlencode

from flask import Blueprint, flash, redirect, render_template, request
from flask_babel import gettext

from trainer.services import leaving, standing
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.web import access, forms, surroundings
from trainer.web.access import may, now, reading, writing

bp = Blueprint("leaving", __name__)

PAGE = 50


@bp.route("/people/<number>/leave", methods=["GET", "POST"])
@may("coordinator")
def leave(number: str):
    """Record that a person has left."""

    def act(db, form: forms.LeaveForm) -> None:
        once = f"left:{form.deed.data}"
        person = access.their(db, number)
        leaving.leave(db, access.scribe(), person, once=once, on=form.on.data)

    said = gettext("It is in the record. They sign in no more and stand on no board.")
    return _page(number, forms.LeaveForm, act, "leaving/leave.html", said)


@bp.route("/people/<number>/return", methods=["GET", "POST"])
@may("coordinator")
def come_back(number: str):
    """Record that a person has come back, to which worksites."""

    def act(db, form: forms.ReturnForm) -> None:
        leaving.come_back(
            db,
            access.scribe(),
            access.their(db, number),
            once=f"returned:{form.deed.data}",
            on=form.on.data,
            worksites=form.worksites.data or [],
        )

    said = gettext("It is in the record. Show them a one-time code, and give their respirators.")
    return _page(number, forms.ReturnForm, act, "leaving/return.html", said)


@bp.get("/left")
@may("coordinator")
def who_left():
    """Show who has left: they stand on no board any more, and their record stays."""
    search = request.args.get("q", "").strip()[:60]
    number = max(1, request.args.get("page", 1, type=int))
    with reading() as db:
        found = people.left(db, search, (number - 1) * PAGE, PAGE)
    around = {"q": search} if search else {}
    return render_template(
        "leaving/left.html",
        rows=found[:PAGE],
        search=search,
        number=number,
        before="?" + urlencode({**around, "page": number - 1}) if number > 1 else "",
        after="?" + urlencode({**around, "page": number + 1}) if len(found) > PAGE else "",
    )


def _page(number: str, kind: type[forms.Deed], act: Callable, template: str, said: str):
    with reading() as db:
        found = access.their(db, number)
        today = standing.today(db, found, now(), access.settings().zone)
        worn = people.respirators(db, found.id)
        places = people.worksites(db, found.id)
    form = kind(on=today)
    if request.method == "GET":
        form.deed.data = secrets.token_hex(16)
    if "worksites" in form:
        form.worksites.choices = forms.choices(surroundings.worksite_choices(mine=False))
        if request.method == "GET":
            form.worksites.data = []  # chosen again: the old ones may not be theirs any more
    fault = ""
    if form.validate_on_submit():
        try:
            with writing() as db:
                act(db, form)
        except Refusal as refusal:
            fault = form.blame(refusal)
        else:
            flash(said)
            return redirect(f"/people/{found.number}", 303)
    page = render_template(
        template, form=form, fault=fault, found=found, worn=worn, places=places
    )
    return page, 422 if request.method == "POST" else 200
