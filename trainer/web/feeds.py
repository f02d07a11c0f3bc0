"""Calendars of what falls due: made, made anew, revoked; and fetched by their secret address."""

import hmac
import secrets
from base64 import urlsafe_b64encode

from flask import Blueprint, Response, abort, current_app, g, render_template, request
from flask_babel import gettext

from trainer.services import feeds
from trainer.services.feeds import OWN, WORKSITES
from trainer.services.refusal import Refusal
from trainer.store import feeds as kept
from trainer.store.tables import CalendarFeed
from trainer.web import access, language, surroundings
from trainer.web.access import anybody, may, now, reading, writing
from trainer.web.board import due_name
from trainer.web.errors import say
from trainer.web.htmx import go

bp = Blueprint("feeds", __name__)

KEY_LETTERS = 32


@bp.get("/feeds")
@may()
def index():
    """Show the calendars that somebody has, and the ways to make one."""
    return _page()


@bp.post("/feeds")
@may()
def make():
    """Make a calendar and show its address, this once; sent twice, it is the same one."""
    scope = WORKSITES if request.form.get("scope") == WORKSITES else OWN
    sites = [int(one) for one in request.form.getlist("worksite") if one.isdecimal()][:200]
    if scope == WORKSITES and not sites:
        return _page(gettext("Tick at least one worksite.")), 422
    secret = _secret()
    try:
        with writing() as db:
            feeds.make(db, access.scribe(), secret, scope, sites, language.current())
    except Refusal as refusal:
        return _page(say(refusal)), 422
    return _shown(secret)


@bp.post("/feeds/<int:number>/anew")
@may()
def anew(number: int):
    """Give a calendar a fresh address and show it, this once."""
    secret = _secret()
    with writing() as db:
        _own(db, number)
        feeds.make_anew(db, access.scribe(), number, secret)
    return _shown(secret)


@bp.post("/feeds/<int:number>/revoke")
@may()
def revoke(number: int):
    """End a calendar."""
    with writing() as db:
        _own(db, number)
        feeds.revoke(db, access.scribe(), number)
    return go("/feeds")


@bp.get("/feeds/<secret>.ics")
@anybody
def calendar(secret: str):
    """Give a calendar to whoever has its address."""
    with reading() as db:
        feed = feeds.find(db, secret[:100]) or abort(404)
    store, zone, moment = access.store(), access.settings().zone, now()
    with language.speaking(feed.language):
        head = {
            "name": gettext("Respirators: what falls due"),
            "description": gettext("Made by the employer's program. Nothing medical stands here."),
        }
        words = {kind: due_name(kind) for kind in feeds.KINDS}
        due = gettext("%(step)s due: %(name)s (%(number)s)", step="{step}", name="{name}",
                      number="{number}")  # fmt: skip

    def given():
        with store.reading() as db:
            found = feeds.events(db, feed, moment, zone)
            said = (
                (one, due.format(
                    step=words[one.kind], name=one.person.name, number=one.person.number
                ))
                for one in found
            )  # fmt: skip
            yield from feeds.lines(said, **head)

    return Response(given(), mimetype="text/calendar", content_type="text/calendar; charset=utf-8")


def _own(db, number: int) -> CalendarFeed:
    feed = db.get(CalendarFeed, number)
    return feed if feed and feed.person_id == g.person.id else abort(404)


def _secret() -> str:
    """Return the secret that a form stands for: the same form again gives the same one.

    It cannot be told from the form, which the page keeps, without the key of the installation.
    """
    form = request.form.get("key", "")
    if len(form) != KEY_LETTERS or not form.isalnum():
        abort(400)
    said = f"calendar:{g.person.id}:{form}".encode()
    digest = hmac.new(current_app.secret_key.encode(), said, "sha256").digest()
    return urlsafe_b64encode(digest).decode().rstrip("=")


def _shown(secret: str) -> str:
    return _page(address=f"{access.root()}/feeds/{secret}.ics")


def _page(fault: str = "", address: str = "") -> str:
    mine = "coordinator" not in g.roles
    staff = bool(g.roles & {"trainer", "coordinator"})
    choices = surroundings.worksite_choices(mine) if staff else []
    names = dict(surroundings.worksite_choices(False))
    with reading() as db:
        found = kept.of_person(db, g.person.id)
    return render_template(
        "feeds/index.html",
        found=[(one, _about(one, names)) for one in found],
        choices=choices,
        address=address,
        fault=fault,
        key=lambda: secrets.token_hex(KEY_LETTERS // 2),
        zone=access.settings().zone,
    )


def _about(feed: CalendarFeed, names: dict[int, str]) -> str:
    if feed.scope == OWN:
        return gettext("Your own dates")
    return ", ".join(names.get(one, str(one)) for one in feeds.chosen(feed))
