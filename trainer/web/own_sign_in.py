"""How one signs in: PIN, passphrase, own devices, the second step, signing out everywhere."""

from io import BytesIO

import segno
from flask import Blueprint, abort, flash, g, redirect, render_template, request
from flask_babel import gettext
from markupsafe import Markup

from trainer.services import second_step, signing_in
from trainer.services.refusal import Refusal
from trainer.store import sign_ins
from trainer.store.tables import Device, Person
from trainer.web import access
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import say
from trainer.web.sign_in import GuessedTooOften, own_secret, prove

bp = Blueprint("own_sign_in", __name__)


@bp.get("/my-sign-in")
@may()
def page():
    """Show how the signed-in person signs in, and on which devices."""
    with reading() as db:
        devices = sign_ins.own_devices(db, g.person.id)
        sessions = signing_in.running(db, g.person.id, now(), access.limits())
        step = sign_ins.second_step(db, g.person.id)
        codes = len(sign_ins.recovery_codes(db, g.person.id))
    return render_template(
        "own_sign_in/page.html",
        devices=devices,
        elsewhere=sum(one.id != g.session_id for one in sessions),
        this=g.device.id if g.device else None,
        step=step if step and step.secret else None,
        codes=codes,
    )


@bp.post("/my-sign-in/devices/<int:device>/end")
@may()
def end_device(device: int):
    """Let an own device open nothing any more."""
    with writing() as db:
        there = db.get(Device, device)
        if there is None or there.person_id != g.person.id:
            abort(404)
        signing_in.revoke(db, db.get(Person, g.person.id), there, now())
    flash(gettext("This device opens nothing any more. A one-time code enrols it again."))
    return redirect("/my-sign-in", 303)


@bp.post("/my-sign-in/sign-out-everywhere")
@may()
def sign_out_everywhere():
    """Sign the person out on every device, this one too."""
    with writing() as db:
        signing_in.end_everywhere(db, [g.person.id], now(), db.get(Person, g.person.id))
    access.leave()
    g.forget = True
    flash(gettext("You are signed out everywhere."))
    return redirect("/signed-out", 303)


@bp.get("/my-sign-in/second-step")
@may("trainer", "coordinator")
def second_step_page():
    """Show whether there is a second step, or the code to set an app up with."""
    return _page()


@bp.post("/my-sign-in/second-step")
@may("trainer", "coordinator")
def change_second_step():
    """Begin, confirm, take off the second step, or make fresh recovery codes."""
    act = request.form.get("act", "")
    try:
        if act == "confirm":
            return _confirm()
        prove(request.form.get("secret", ""), own_secret()[1])
        if act == "codes":
            return _fresh_codes()
        if act == "off":
            return _take_off()
        with writing() as db:
            second_step.begin(db, g.person, access.keys(), now())
    except GuessedTooOften:
        return redirect("/signed-out", 303)
    except Refusal as refusal:
        return _page({act: say(refusal)}), 422
    return redirect("/my-sign-in/second-step#set-up", 303)


def _confirm():
    with writing() as db:
        typed = request.form.get("code", "")
        codes = second_step.confirm(db, g.person, access.keys(), typed, now())
        # Whoever was signed in elsewhere with the passphrase alone signs in anew.
        signing_in.end_everywhere(db, [g.person.id], now(), g.person, keep=g.session_id)
        token = signing_in.renew_session(db, g.session_id)
    access.enter(g.person, token)
    return _codes_page(codes, first=True)


def _fresh_codes():
    with writing() as db:
        if not second_step.is_on(db, g.person.id):
            abort(404)
        codes = second_step.make_codes(db, g.person, access.keys(), now())
    return _codes_page(codes, first=False)


def _take_off():
    if access.settings().second_step == "required":
        raise Refusal("Here a second step is required. You can set it up anew with another phone.")
    with writing() as db:
        second_step.take_off(db, access.scribe(), g.person)
    flash(gettext("Your second step is taken off."))
    return redirect("/my-sign-in", 303)


def _codes_page(codes: list[str], first: bool) -> str:
    shown = [f"{code[:5]}-{code[5:]}" for code in codes]
    return render_template("own_sign_in/recovery_codes.html", codes=shown, first=first)


def _page(faults: dict[str, str] | None = None) -> str:
    faults = dict(faults or {})
    with reading() as db:
        row = sign_ins.second_step(db, g.person.id)
        try:
            secret = second_step.pending(db, g.person, access.keys(), now())
        except second_step.NotReadable:
            secret = None
        codes = len(sign_ins.recovery_codes(db, g.person.id))
    address = (
        second_step.address(secret, g.person, access.settings().organisation) if secret else ""
    )
    return render_template(
        "own_sign_in/second_step.html",
        since=row.since if row and row.secret else None,
        required=access.settings().second_step == "required",
        codes=codes,
        letters=second_step.in_letters(secret) if secret else "",
        drawing=_drawing(address) if secret else "",
        address=address,
        gives=own_secret()[0],
        faults=faults,
    )


def _drawing(address: str) -> Markup:
    """Return a code to scan as a drawing that stands in the page."""
    out = BytesIO()
    segno.make(address, error="m").save(
        out, kind="svg", xmldecl=False, svgns=False, omitsize=True, border=2, svgclass=None,
        lineclass=None,
    )  # fmt: skip
    # Drawn by the library, of squares; nothing that anybody typed stands in it.
    return Markup(out.getvalue().decode())  # noqa: S704  # nosec B704
