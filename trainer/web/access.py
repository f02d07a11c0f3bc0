"""Who is signed in, and who may pass: every route names it, and start-up checks that it does."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from flask import Flask, abort, current_app, g, request, session, url_for

from trainer.config import Settings
from trainer.services import signing_in
from trainer.services.scribe import Scribe
from trainer.services.signing_in import Limits
from trainer.store import people
from trainer.store.engine import Store
from trainer.store.tables import Person
from trainer.web import htmx

ANYBODY = frozenset({"anybody"})
ALL_ROLES = frozenset(people.ROLES)
DEVICE_COOKIE = "device"
DEVICE_DAYS = 400
TOUCH_EVERY = timedelta(seconds=15)


def may(*roles: str) -> Callable:
    """Name the roles that may use a view; without any, everyone who is signed in."""
    return _named(frozenset(roles) or ALL_ROLES)


def anybody(view: Callable) -> Callable:
    """Let everyone use a view, signed in or not."""
    return _named(ANYBODY)(view)


def _named(allowed: frozenset[str]) -> Callable:
    def name(view: Callable) -> Callable:
        view.allowed = allowed
        return view

    return name


def allowed(app: Flask, endpoint: str) -> frozenset[str]:
    """Return who may use an endpoint; empty where nobody said so."""
    if endpoint == "static":
        return ANYBODY
    return getattr(app.view_functions[endpoint], "allowed", frozenset())


def check_routes(app: Flask) -> None:
    """Refuse to start with a route that does not say who may come in."""
    bare = sorted(
        rule.endpoint for rule in app.url_map.iter_rules() if not allowed(app, rule.endpoint)
    )
    if bare:
        raise RuntimeError(f"these routes do not say who may come in: {', '.join(bare)}")


def init_app(app: Flask) -> None:
    """Recognise the person of each request and let nobody pass who may not."""
    app.before_request(_recognise)
    app.before_request(_admit)


def settings() -> Settings:
    """Return the settings of this installation."""
    return current_app.extensions["settings"]


def store() -> Store:
    """Return the database of this installation."""
    return current_app.extensions["store"]


def reading():
    """Give a session to read with."""
    return store().reading()


def writing():
    """Give a session to write with, all or nothing."""
    return store().writing()


def now() -> datetime:
    """Return the moment, one for the whole request."""
    if "now" not in g:
        g.now = datetime.now(UTC)
    return g.now


def scribe() -> Scribe:
    """Return who records in this request, and when."""
    return Scribe(g.person, now(), settings().zone)


def limits() -> Limits:
    """Return the settings that signing in goes by."""
    here = settings()
    return Limits(
        wrong_tries=here.wrong_tries,
        code_minutes=here.code_minutes,
        idle_shared=timedelta(seconds=here.idle_shared_seconds),
        idle_own=timedelta(seconds=here.idle_own_seconds),
        longest=timedelta(hours=here.session_hours),
    )


def on_shared_device() -> bool:
    """Say whether this browser is a tablet that everyone may use."""
    return g.device is not None and g.device.kind == "shared"


def idle_seconds() -> int:
    """Return how long a person may be idle on this browser."""
    here = settings()
    return here.idle_shared_seconds if on_shared_device() else here.idle_own_seconds


def enter(person: Person, token: str) -> None:
    """Make this browser the person's, in a fresh session of its own."""
    language = session.get("language")
    session.clear()
    session["token"] = token
    if language and language != person.language:
        session["language"] = language


def leave() -> None:
    """End the web session on the server and in the browser."""
    token = session.get("token", "")
    if token:
        with writing() as db:
            signing_in.end_session(db, token, now())
    session.clear()


def keep_device(response, secret: str) -> None:
    """Give the browser the secret that makes it an enrolled device."""
    response.set_cookie(
        DEVICE_COOKIE,
        secret,
        max_age=DEVICE_DAYS * 86400,
        httponly=True,
        samesite="Lax",
        secure=settings().behind_tls,
    )


def their(db, number: str) -> Person:
    """Return the person of this number if the signed-in one may see them; else answer 404.

    A coordinator sees everyone, a trainer those of their worksites, nobody else anyone.
    """
    person = people.by_number(db, number)
    if person is None:
        abort(404)
    if "coordinator" in g.roles:
        return person
    if "trainer" in g.roles and people.share_a_worksite(db, g.person.id, person.id):
        return person
    abort(404)


def _recognise() -> None:
    g.person, g.roles, g.device, g.session_id = None, frozenset(), None, None
    if request.endpoint == "static":
        return
    with reading() as db:
        g.device = signing_in.device_of(db, request.cookies.get(DEVICE_COOKIE, ""))
        found = signing_in.session_of(db, session.get("token", ""), now(), limits())
        if found is None:
            return
        row, g.person, device = found
        if device and (g.device is None or g.device.id != device.id):
            # The session was begun on a device whose secret this browser does not hold.
            g.person = None
            return
        g.roles = people.roles(db, g.person.id)
        g.session_id = row.id
    # Asking whether somebody is there is no sign that somebody is.
    if request.endpoint != "sign_in.still_there" and now() - row.seen_at > TOUCH_EVERY:
        with writing() as db:
            signing_in.touch(db, row.id, now())


def _admit():
    if request.endpoint is None:
        return None
    who = allowed(current_app, request.endpoint)
    if who is ANYBODY or g.roles & who:
        return None
    if g.person is not None:
        abort(403)
    # What was being typed comes back after signing in: a page by its address, a form by the
    # page that it stood on.
    back = request.full_path if request.method == "GET" else request.form.get("here", "/")
    return htmx.go(url_for("sign_in.sign_in", next=back.rstrip("?")), 302)
