"""Who is signed in, and who may pass: every route names it, and start-up checks that it does."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import UTC, datetime, timedelta
from urllib.parse import urlsplit

from flask import (
    Flask,
    Response,
    abort,
    current_app,
    flash,
    g,
    has_request_context,
    request,
    session,
    url_for,
)
from sqlmodel import Session
from werkzeug.exceptions import HTTPException
from werkzeug.routing import RoutingException

from trainer.config import Settings
from trainer.services import second_step, signing_in, unsent
from trainer.services import settings as set_here
from trainer.services.scribe import Scribe
from trainer.services.signing_in import Limits
from trainer.store import changes, often, people
from trainer.store.engine import Store
from trainer.store.tables import Person
from trainer.web import htmx, request_log

ANYBODY = frozenset({"anybody"})
ALL_ROLES = frozenset(people.ROLES)
DEVICE_DAYS = 400
TOUCH_EVERY = timedelta(seconds=15)
TAKE_SECRETS = ("sign_in", "own_sign_in")
"""The parts whose forms hold PINs, passphrases and codes: what is sent to them is kept nowhere."""
ASIDE_SECONDS = 1.0
"""So long a page waits to note beside its own work that somebody is there."""


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


def impersonal(view: Callable) -> Callable:
    """Answer a view without asking who it is for: machines ask it, also while the record is away.

    Neither cookies nor settings are looked at.
    """
    view.impersonal = True
    return view


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


def init_app(app: Flask, turned_away: Callable[[str], str]) -> None:
    """Recognise the person of each request and let nobody pass who may not.

    turned_away     does what is to be done with a form whose sender was signed out, by the
                    address of its page; returns what to say of it
    """
    app.before_request(_recognise)
    app.before_request(lambda: _admit(turned_away))
    app.teardown_request(lambda _fault: _end_reading())


def first(db: Session) -> bool:
    """Say whether the form of this request does its deed for the first time; `once()` of
    `_shapes.html` puts the key into it, for whatever adds something and has no key of its own."""
    return unsent.first(db, request.form.get("once", "")[:64], now())


def settings() -> Settings:
    """Return what is set here, read once a request: the environment's, else what was chosen."""
    if not has_request_context():
        with reading() as db:
            return set_here.of(db)
    if "settings" not in g:
        with reading() as db:
            g.settings = set_here.of(db)
    return g.settings


def started_with() -> Settings:
    """Return the settings that the program was started with; nobody can change those."""
    return current_app.extensions["settings"]


def root() -> str:
    """Return what stands before an address on paper or in a QR code, without a slash at its end.

    The browser's own words are taken only where nobody set the address: whoever makes a page
    asks by a name that they typed, but a name is nothing to rely on.
    """
    return settings().address.rstrip("/") or request.url_root.rstrip("/")


def store() -> Store:
    """Return the database of this installation."""
    return current_app.extensions["store"]


def reading() -> AbstractContextManager[Session]:
    """Give a session to read with: one for the whole request, as long as it changes nothing."""
    return _reading() if has_request_context() else store().reading()


class _Held:
    """The session that a request reads with, and how many read with it just now."""

    def __init__(self) -> None:
        self._whole = store().reading()
        self.db = self._whole.__enter__()
        often.keep_answers(self.db)
        self.readers = 0

    def end(self) -> None:
        self._whole.__exit__(None, None, None)


@contextmanager
def _reading() -> Iterator[Session]:
    held = g.reading = g.get("reading") or _Held()
    held.readers += 1
    try:
        yield held.db
    except BaseException:
        _end_reading()  # after a fault the database may answer nothing more
        raise
    finally:
        held.readers -= 1
        if not held.readers:
            # What was read stays as it is, whatever a page does with it.
            held.db.expunge_all()
            if held is not g.get("reading"):
                held.end()


def _end_reading() -> None:
    """Let whatever reads from now on see what is changed now."""
    held = g.pop("reading", None)
    if held and not held.readers:
        held.end()


def writing(seconds: float | None = None) -> AbstractContextManager[Session]:
    """Give a session to write with, all or nothing; the log names who is signed in.

    seconds     how long to wait for the turn; by default as long as any writer does
    """
    _end_reading()
    person = g.get("person")
    return store().writing(
        changes.By(
            person.number if person else "",
            person.name if person else "",
            now(),
            request.remote_addr or "",
        ),
        seconds,
    )


def now() -> datetime:
    """Return the moment, one for the whole request."""
    if "now" not in g:
        g.now = datetime.now(UTC)
    return g.now


def sees_medical() -> bool:
    """Say whether the signed-in person may see and enter medical determinations.

    Everybody else who sees somebody's tag sees yes or no: 29 CFR 1910.134(e)(6)(i) gives the
    employer the determination, and the program's design gives it to as few as can be.
    """
    return people.MEDICAL in g.roles


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


def keys() -> second_step.Keys:
    """Return the keys of secrets that the database must not give away by itself."""
    return second_step.keys(current_app.secret_key)


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
    session["speaks"] = person.language  # for pages that cannot ask the record
    if language and language != person.language:
        session["language"] = language


def enter_half(token: str) -> None:
    """Keep in this browser, in a fresh session of its own, whose second step is to come."""
    language = session.get("language")
    session.clear()
    session["half"] = token
    if language:
        session["language"] = language


def leave() -> None:
    """End the web session on the server and in the browser."""
    token = session.get("token", "")
    if token:
        with writing() as db:
            signing_in.end_session(db, token, now())
    session.clear()


def device_cookie() -> str:
    """Return the name of the cookie; behind TLS one that no other host or path can set.

    Source: RFC 6265bis, 4.1.3.2 (the prefix `__Host-`).
    """
    return "__Host-device" if started_with().behind_tls else "device"


def keep_device(response, secret: str) -> None:
    """Give the browser the secret that makes it an enrolled device."""
    response.set_cookie(
        device_cookie(),
        secret,
        max_age=DEVICE_DAYS * 86400,
        httponly=True,
        samesite="Lax",
        secure=started_with().behind_tls,
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
    g.owes_second_step = False
    g.lapsed = None  # whose session has run out
    if request.endpoint == "static" or _is_impersonal():
        return
    token = session.get("token", "")
    with reading() as db:
        g.settings = set_here.of(db)
        g.device = signing_in.device_of(db, request.cookies.get(device_cookie(), ""))
        found = signing_in.session_of(db, token, now(), limits())
        lapsed = found is None and bool(token) and signing_in.is_open(db, token)
        row, person, device, roles = found or (None, None, None, frozenset())
        # A session that was begun on a device whose secret this browser does not hold is none.
        if person and (device is None or (g.device is not None and g.device.id == device.id)):
            g.person, g.roles, g.session_id = person, roles, row.id
            required = g.settings.second_step == "required" and g.roles & second_step.STAFF
            g.owes_second_step = bool(required) and not second_step.is_on(db, person.id)
        elif token:
            g.lapsed = signing_in.lapsed_of(db, token, now())
    if lapsed:
        _aside(lambda db: signing_in.end_session(db, token, now(), "lapsed"))
    if g.person is None:
        return
    # Asking whether somebody is there is no sign that somebody is.
    # Where the clock was set back, the moment is put right too.
    if request.endpoint != "sign_in.still_there" and abs(now() - row.seen_at) > TOUCH_EVERY:
        _aside(lambda db: signing_in.touch(db, row.id, now()))


def _aside(note: Callable[[Session], None]) -> None:
    """Write what no page depends on; where it cannot be kept, that stands in the program's log.

    With a full disk, or a record that somebody else holds, everything can be read all the same.
    """
    try:
        with writing(ASIDE_SECONDS) as db:
            note(db)
    except Exception as fault:
        why = store().why(fault)
        if not why:
            raise
        request_log.tell_fault(fault, why)


def _is_impersonal() -> bool:
    return getattr(current_app.view_functions.get(request.endpoint), "impersonal", False)


def _admit(turned_away: Callable[[str], str]) -> Response | None:
    if request.endpoint is None:
        return None
    who = allowed(current_app, request.endpoint)
    if who is ANYBODY:
        return None
    if g.roles & who:
        return _second_step_first()
    if g.person is not None:
        abort(403)
    if request.method == "POST" and request.blueprint != "sign_in":
        flash(turned_away(came_from()), "error")
    return htmx.go(url_for("sign_in.sign_in", next=came_from()), 302)


def _second_step_first():
    """Send whoever has to have a second step to set it up; nothing else is open until then."""
    if not g.owes_second_step or request.blueprint in TAKE_SECRETS:
        return None
    return htmx.go(url_for("own_sign_in.second_step_page"), 302)


def came_from() -> str:
    """Return the address that shows again what was asked for: of a form, the page it stood on."""
    if request.method == "GET":
        return request.full_path.rstrip("?")
    here = htmx.safe_target(request.form.get("here", ""), "")
    return next(filter(is_page, (_referred(), here, request.path)), "/")


def is_page(address: str) -> bool:
    """Say whether an address is one of this program that shows something."""
    routes = current_app.create_url_adapter(request)
    return bool(address) and routes.test(urlsplit(address).path, method="GET")


def keeps(action: str) -> bool:
    """Say whether what is sent to an address may be kept: what takes no secret and needs a role."""
    try:
        endpoint, _ = current_app.create_url_adapter(request).match(action, method="POST")
    except (HTTPException, RoutingException):
        return False
    part = endpoint.partition(".")[0]
    return allowed(current_app, endpoint) is not ANYBODY and part not in TAKE_SECRETS


def _referred() -> str:
    """Return the page of this program that the browser says it was on, else nothing."""
    parts = urlsplit(request.referrer or "")
    if parts.netloc != request.host:
        return ""
    return htmx.safe_target(f"{parts.path}?{parts.query}".rstrip("?"))

