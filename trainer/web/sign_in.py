"""Signing in and out, enrolling a device, choosing PIN and passphrase, the language."""

from flask import (
    Blueprint,
    flash,
    g,
    make_response,
    redirect,
    render_template,
    request,
    session,
    url_for,
)
from flask_babel import gettext

from trainer.services import guessing, hashing, second_step, signing_in, throttling
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import Device, Person, Worksite
from trainer.web import access, htmx, unsent
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
    names = throttling.scopes(g.device, number, request.remote_addr or "", with_pin=with_pin)
    try:
        with writing() as db:
            throttling.count_try(db, names, now(), access.limits())
    except throttling.Wait as wait:
        return _sign_in_page(fault=say(wait), number=number, status=429)
    with reading() as db:
        # A record that was joined to another one opens nothing, whatever its number.
        known = people.with_very_number(db, number)
        person = known if known and _may_sign_in(db, known, with_pin) else None
    kept = (person.pin_hash if with_pin else person.passphrase_hash) if person else None
    try:
        right = hashing.fits(secret, kept)
        stronger = hashing.hashed(secret) if right and hashing.made_weaker(kept) else ""
    except hashing.Busy as busy:
        with writing() as db:
            throttling.not_judged(db, *names)
        return _busy_page(say(busy), number)
    if right:
        with writing() as db:
            # What was right a moment ago may have been changed or ended since.
            right = signing_in.still(db, person, kept)
            if right:
                if stronger:
                    signing_in.keep_stronger(db, person, kept, stronger)
                token, half = _begin_session(db, person, names, asks_step=not with_pin)
    if not right:
        with writing() as db:
            signing_in.refused(db, known, g.device if with_pin else None, now())
        return _sign_in_page(fault=_not_together(with_pin), number=number, status=422)
    target = _target(person)
    if half:
        access.enter_half(token)
        return redirect(url_for(".ask_step", next=target), 303)
    access.enter(person, token)
    return redirect(unsent.led_to(person, target), 303)


def _target(person: Person) -> str:
    """Return where a person wants to go; what somebody else was signed out of is none of it."""
    if g.lapsed and g.lapsed.id != person.id:
        return "/"
    return htmx.safe_target(request.form.get("next", "/"))


def _may_sign_in(db, person: Person, with_pin: bool) -> bool:
    """Say whether a person's PIN or passphrase, if it is right, opens this browser."""
    if person.left_on or _another_persons(g.device, person.id):
        return False
    # Beside a shared tablet six digits are easily seen, and trainers sign for others.
    staff = people.roles(db, person.id) & second_step.STAFF
    return not (with_pin and g.device.kind == "shared" and staff)


def _begin_session(db, person: Person, names: tuple[str, ...], asks_step: bool) -> tuple[str, bool]:
    """Begin a session after a right PIN or passphrase; return its token, and whether it is half.

    Whoever was signed in on this browser before is signed out.
    """
    throttling.succeeded(db, *names, f"prove:{person.id}")
    half = asks_step and second_step.is_on(db, person.id)
    signing_in.end_session(db, session.get("token", ""), now())
    return signing_in.start_session(db, person, g.device, now(), half=half), half


def _not_together(with_pin: bool) -> str:
    if with_pin and g.device.kind == "shared":
        return gettext(
            "Number and PIN do not go together. Try again, or ask your trainer. Trainers and "
            "coordinators sign in with their passphrase here."
        )
    if with_pin:
        return gettext("Number and PIN do not go together. Try again, or ask your trainer.")
    return gettext("Number and passphrase do not go together. Try again, or ask your trainer.")


def _busy_page(fault: str, number: str):
    page, status = _sign_in_page(fault=fault, number=number, status=503)
    return page, status, {"Retry-After": "5"}


@bp.get("/sign-in/step")
@anybody
def ask_step():
    """Ask for the second step, after the passphrase."""
    if _half() is None:
        return redirect("/sign-in")
    return _step_page()


@bp.post("/sign-in/step")
@anybody
def take_step():
    """Sign in whoever gives the code of their app, or a recovery code."""
    found = _half()
    if found is None:
        flash(gettext("That took too long. Sign in once more."), "error")
        return redirect("/sign-in", 303)
    person, device = found
    scope = f"step:{person.id}"
    try:
        with writing() as db:
            throttling.count_try(db, (scope,), now(), access.limits())
        with writing() as db:
            typed = request.form.get("code", "")
            right = second_step.opens(db, person, access.keys(), typed, now())
            if right:
                throttling.succeeded(db, scope)
                signing_in.end_session(db, session["half"], now())
                token = signing_in.start_session(db, person, device, now())
            else:
                signing_in.refused(db, person, device, now(), "step-wrong")
    except throttling.Wait as wait:
        return _step_page(say(wait), 429)
    except Refusal as refusal:
        return _step_page(say(refusal), 422)
    if not right:
        return _step_page(
            gettext("That code does not fit, or it was used before. Wait for the next one."), 422
        )
    access.enter(person, token)
    return redirect(unsent.led_to(person, _target(person)), 303)


def _half() -> tuple[Person, Device | None] | None:
    """Return whose second step this browser waits for, and on which device."""
    with reading() as db:
        found = signing_in.half_of(db, session.get("half", ""), now())
    # As with a whole session: whoever holds the token must hold the device's secret too.
    if found and found[1] and (g.device is None or g.device.id != found[1].id):
        return None
    return found


def _step_page(fault: str = "", status: int = 200):
    back = htmx.safe_target(request.values.get("next", "/"))
    return render_template("sign_in/step.html", fault=fault, next=back), status


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
    address = throttling.of_address(request.remote_addr or "")
    try:
        with writing() as db:
            throttling.count_try(db, (address,), now(), access.limits())
        with writing() as db:
            secret, device, person = signing_in.enrol(db, code, number, g.device, now())
            throttling.succeeded(db, address)
            signing_in.end_session(db, session.get("token", ""), now())
            token = signing_in.start_session(db, person, device, now()) if person else ""
    except Refusal as refusal:
        if not isinstance(refusal, throttling.Wait):
            with writing() as db:
                known = people.with_very_number(db, number)
                signing_in.refused(db, known, g.device, now(), "code-wrong")
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
            prove(request.form.get("old", ""), g.person.pin_hash)
        guessing.refuse_pin(g.person, pin)
        if pin != request.form.get("again", ""):
            raise Refusal("The two PINs differ. Type the same one twice.")
        kept = hashing.hashed(pin)
    except GuessedTooOften:
        return redirect("/signed-out", 303)
    except Refusal as refusal:
        return _pin_page(fault=say(refusal)), 422
    with writing() as db:
        signing_in.set_pin(db, g.person, kept, now())
        token = _only_here(db)
    access.enter(g.person, token)
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
        prove(request.form.get("old", ""), own_secret()[1])
        guessing.refuse_passphrase(g.person, phrase, _known_here())
        if phrase != request.form.get("again", ""):
            raise Refusal("The two passphrases differ.")
        kept = hashing.hashed(phrase)
    except GuessedTooOften:
        return redirect("/signed-out", 303)
    except Refusal as refusal:
        return _passphrase_page(fault=say(refusal)), 422
    with writing() as db:
        signing_in.set_passphrase(db, g.person, kept, now())
        token = _only_here(db)
    access.enter(g.person, token)
    flash(gettext("Your passphrase is kept. Use it on any device that is not enrolled."))
    return redirect("/", 303)


@bp.post("/sign-out")
@anybody
def sign_out():
    """End the session; the browser forgets the pages it showed."""
    access.leave()
    g.forget = True
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
    if chosen in access.settings().offered:
        session["language"] = chosen
    return redirect(htmx.safe_target(request.form.get("next", "/")), 303)


def _another_persons(device: Device | None, person_id: int) -> bool:
    """Say whether an own device belongs to somebody else."""
    return device is not None and device.kind == "own" and device.person_id != person_id


class GuessedTooOften(Exception):
    """So many wrong tries to prove who one is that nobody is signed in here any more."""


def own_secret() -> tuple[str, str | None]:
    """Return what the signed-in person gives once more here, `pin` or `passphrase`, and its hash.

    The PIN on an enrolled device, where they sign in with it; else the passphrase.
    """
    trusted = g.device is not None and (
        g.device.kind == "own" or not g.roles & second_step.STAFF or not g.person.passphrase_hash
    )
    if trusted and g.person.pin_hash:
        return "pin", g.person.pin_hash
    return "passphrase", g.person.passphrase_hash


def prove(given: str, kept: str | None) -> None:
    """Refuse to change a secret for whoever does not know the one before.

    A page left open is no way to guess: tries count like sign-ins, and after so many wrong ones
    as lock a PIN, whoever is signed in here is signed out.
    Errors: Refusal; GuessedTooOften, after the person was signed out.
    """
    scope = f"prove:{g.person.id}"
    with writing() as db:
        throttling.count_try(db, (scope,), now(), access.limits())
    try:
        right = hashing.fits(given, kept)
    except hashing.Busy:
        with writing() as db:
            throttling.not_judged(db, scope)
        raise
    with writing() as db:
        if right:
            throttling.succeeded(db, scope)
        tried = throttling.wrong_tries(db, scope, now())
    if right:
        return
    if tried >= access.limits().wrong_tries:
        access.leave()
        flash(gettext("Too many wrong tries: you are signed out. Sign in once more."), "error")
        raise GuessedTooOften
    raise Refusal("That is not the PIN or passphrase you sign in with.")


def _only_here(db) -> str:
    """Sign the person out elsewhere, and give this session another token; return it.

    Whoever changes a secret may do so because somebody else knows it: ASVS 5.0, 7.4.3.
    """
    signing_in.end_everywhere(db, [g.person.id], now(), g.person, keep=g.session_id)
    return signing_in.renew_session(db, g.session_id)


def _known_here() -> list[str]:
    """Return names that somebody who guesses a passphrase here would try."""
    with reading() as db:
        return [access.settings().organisation, *(one.name for one in people.all_worksites(db))]


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
    return render_template(
        "sign_in/passphrase.html", fault=fault, with_pin=own_secret()[0] == "pin"
    )
