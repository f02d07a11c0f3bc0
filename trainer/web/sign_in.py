"""Signing in and out, enrolling a device, choosing PIN and passphrase, the language."""

from flask import Blueprint, flash, g, make_response, redirect, render_template, request, session
from flask_babel import gettext

from trainer.config import LANGUAGES
from trainer.services import signing_in
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import Device, Worksite
from trainer.web import access, htmx
from trainer.web.access import anybody, may, now, reading, writing
from trainer.web.errors import say

bp = Blueprint("sign_in", __name__)

HOMES = (("worker", "/tag"), ("trainer", "/today"), ("coordinator", "/board"))


@bp.get("/")
@anybody
def home():
    """Go to the page where this person's day begins."""
    if g.person is None:
        return redirect("/sign-in")
    return redirect(next(href for role, href in HOMES if role in g.roles))


@bp.get("/sign-in")
@anybody
def sign_in():
    """Ask for worker number and PIN on an enrolled device, for the passphrase elsewhere."""
    return _sign_in_page()


@bp.post("/sign-in")
@anybody
def let_in():
    """Sign a person in, or say why not; the same words and time for a number nobody has."""
    number = request.form.get("number", "")
    # An enrolled device takes the PIN; where it is locked, the passphrase still opens.
    with_pin = g.device is not None and request.form.get("with") != "passphrase"
    secret = request.form.get("pin" if with_pin else "passphrase", "")
    device = g.device if with_pin else None
    names = signing_in.scopes(device, number, request.remote_addr or "")
    try:
        with writing() as db:
            signing_in.count_try(db, names, now(), access.limits())
    except signing_in.Wait as wait:
        return _sign_in_page(fault=say(wait), number=number, status=429)
    with reading() as db:
        person = people.by_number(db, number)
    if person and (person.left_on or _another_persons(device, person.id)):
        person = None
    kept = (person.pin_hash if with_pin else person.passphrase_hash) if person else None
    if not signing_in.fits(secret, kept):
        fault = (
            gettext("Number and PIN do not go together. Try again, or ask your trainer.")
            if with_pin
            else gettext(
                "Number and passphrase do not go together. Try again, or ask your trainer."
            )
        )
        return _sign_in_page(fault=fault, number=number, status=422)
    with writing() as db:
        signing_in.clear_tries(db, *names)
        token = signing_in.start_session(db, person, g.device, now())
    access.enter(person, token)
    return redirect(htmx.safe_target(request.form.get("next", "/")), 303)


@bp.get("/enrol")
@anybody
def enrol():
    """Ask for worker number and one-time code; a scanned code fills both in."""
    return render_template(
        "sign_in/enrol.html",
        number=request.args.get("number", ""),
        code=request.args.get("code", ""),
        shared="shared" in request.args,
    )


@bp.post("/enrol")
@anybody
def use_code():
    """Enrol this browser with a one-time code, sign the person in, and let them choose a PIN."""
    number, code = request.form.get("number", ""), request.form.get("code", "")
    address = (f"address:{request.remote_addr or ''}",)
    try:
        with writing() as db:
            signing_in.count_try(db, address, now(), access.limits())
        with writing() as db:
            secret, device, person = signing_in.enrol(db, code, number, g.device, now())
            signing_in.clear_tries(db, *address)
            token = signing_in.start_session(db, person, device, now()) if person else ""
            if person:
                key = people.key(person.number)
                signing_in.clear_tries(db, f"number:{key}")
    except Refusal as refusal:
        return (
            render_template(
                "sign_in/enrol.html",
                number=number,
                code=code,
                shared="shared" in request.form,
                fault=say(refusal),
            ),
            422,
        )
    if person:
        access.enter(person, token)
        session["choose_pin"] = True
        response = make_response(redirect("/choose-pin", 303))
    else:
        session.clear()
        flash(gettext("This tablet is enrolled. Everyone here can sign in with number and PIN."))
        response = make_response(redirect("/sign-in", 303))
    if secret:
        access.keep_device(response, secret)
    return response


@bp.get("/choose-pin")
@may()
def choose_pin():
    """Let a person choose the PIN, just after a one-time code or with the old PIN."""
    return _pin_page()


@bp.post("/choose-pin")
@may()
def keep_pin():
    """Keep the PIN chosen."""
    fresh = session.get("choose_pin", False)
    pin = request.form.get("pin", "")
    try:
        if not fresh:
            _prove(request.form.get("old", ""), g.person.pin_hash)
        signing_in.refuse_pin(g.person, pin)
    except Refusal as refusal:
        return _pin_page(fault=say(refusal)), 422
    if pin != request.form.get("again", ""):
        return _pin_page(fault=gettext("The two PINs differ. Type the same one twice.")), 422
    kept = signing_in.hashed(pin)
    with writing() as db:
        signing_in.set_pin(db, g.person, kept)
    session.pop("choose_pin", None)
    flash(gettext("Your PIN is kept. Use it with your worker number on this device."))
    return redirect("/", 303)


@bp.get("/passphrase")
@may()
def passphrase():
    """Let a person set the passphrase for devices that are not enrolled."""
    return _passphrase_page()


@bp.post("/passphrase")
@may()
def keep_passphrase():
    """Keep the passphrase chosen, on an enrolled device or with the old passphrase."""
    phrase = request.form.get("passphrase", "")
    try:
        known = g.person.pin_hash if g.device is not None else g.person.passphrase_hash
        _prove(request.form.get("old", ""), known)
        signing_in.refuse_passphrase(g.person, phrase)
    except Refusal as refusal:
        return _passphrase_page(fault=say(refusal)), 422
    if phrase != request.form.get("again", ""):
        return _passphrase_page(fault=gettext("The two passphrases differ.")), 422
    kept = signing_in.hashed(phrase)
    with writing() as db:
        signing_in.set_passphrase(db, g.person, kept)
    flash(gettext("Your passphrase is kept. Use it on any device that is not enrolled."))
    return redirect("/", 303)


@bp.post("/sign-out")
@anybody
def sign_out():
    """End the session; the browser forgets the pages it showed."""
    access.leave()
    return redirect("/signed-out", 303)


@bp.get("/signed-out")
@anybody
def signed_out():
    """Say that nobody is signed in any more."""
    if g.person is not None:
        return redirect("/")
    g.forget = True
    return render_template("sign_in/signed_out.html")


@bp.post("/still-here")
@may()
def still_here():
    """Hear that somebody is still there."""
    if g.session_id:
        with writing() as db:
            signing_in.touch(db, g.session_id, now())
    return "", 204


@bp.get("/still-there")
@anybody
def still_there():
    """Ask, without script, whether anybody is still there; then sign out."""
    back = htmx.safe_target(request.args.get("next", "/"))
    return render_template("sign_in/still_there.html", back=back)


@bp.post("/language")
@anybody
def language():
    """Change the language and stay on the page."""
    chosen = request.form.get("language", "")
    if chosen in LANGUAGES:
        session["language"] = chosen
    return redirect(htmx.safe_target(request.form.get("next", "/")), 303)


def _another_persons(device: Device | None, person_id: int) -> bool:
    """Say whether an own device belongs to somebody else."""
    return device is not None and device.kind == "own" and device.person_id != person_id


def _prove(given: str, kept: str | None) -> None:
    """Refuse to change a secret for whoever does not know the one before.

    Tries count like sign-ins, so a signed-in page left open is no way to guess.
    """
    names = (f"prove:{g.person.id}",)
    with writing() as db:
        signing_in.count_try(db, names, now(), access.limits())
    if not signing_in.fits(given, kept):
        raise Refusal("That is not the PIN or passphrase you sign in with.")
    with writing() as db:
        signing_in.clear_tries(db, *names)


def _sign_in_page(fault: str = "", number: str = "", status: int = 200):
    worksite = None
    owner = None
    with reading() as db:
        if g.device is not None and g.device.worksite_id:
            worksite = db.get(Worksite, g.device.worksite_id)
        if g.device is not None and g.device.person_id:
            owner = db.get(people.Person, g.device.person_id)
    with_pin = g.device is not None and request.values.get("with") != "passphrase"
    page = render_template(
        "sign_in/sign_in.html",
        fault=fault,
        number=number or (owner.number if owner else ""),
        with_pin=with_pin,
        worksite=worksite,
        next=request.values.get("next", "/"),
    )
    return page, status


def _pin_page(fault: str = ""):
    return render_template(
        "sign_in/choose_pin.html", fault=fault, fresh=session.get("choose_pin", False)
    )


def _passphrase_page(fault: str = ""):
    return render_template("sign_in/passphrase.html", fault=fault, with_pin=g.device is not None)
