"""Wallet cards: one's own, somebody's, those of many, and the page that a card's code leads to."""

import secrets
from urllib.parse import parse_qsl

from flask import (
    Blueprint,
    Response,
    flash,
    g,
    make_response,
    redirect,
    render_template,
    request,
)
from flask_babel import gettext, ngettext
from flask_babel import lazy_gettext as _l

from trainer.services import cards, errands
from trainer.services.cards import Around
from trainer.store import board
from trainer.store.tables import Errand, Person, Worksite
from trainer.web import access, surroundings
from trainer.web import errands as errand_pages
from trainer.web.access import anybody, may, now, reading, writing
from trainer.web.language import current

bp = Blueprint("cards", __name__)

LANGUAGES = (cards.OF_EACH, "en", "es")


@bp.get("/my-card.pdf")
@may()
def mine():
    """Send one's own card."""
    return _card(g.person, current(), "/tag")


@bp.get("/people/<number>/card.pdf")
@may("trainer", "coordinator")
def theirs(number: str):
    """Send somebody's card, in their language."""
    with reading() as db:
        found = access.their(db, number)
    return _card(found, cards.OF_EACH, f"/people/{found.number}")


@bp.get("/card/<signed>")
@anybody
def held(signed: str):
    """Say whether a card still holds, and no more than stands on it.

    Whatever is not a card of ours gets one page, the same for all of it.
    """
    with reading() as db:
        found = cards.held(db, signed, now(), access.settings().zone)
        there = db.get(Worksite, found.worksite_id) if found and found.worksite_id else None
    page = render_template("cards/held.html", found=found, ask=surroundings.ask_at(there))
    response = make_response(page, 200 if found else 404)
    response.headers["X-Robots-Tag"] = "noindex, nofollow, noarchive"
    return response


@bp.get("/cards")
@may("coordinator")
def index():
    """Choose whose cards to make, by a filter of the tag board."""
    return _page()


@bp.post("/cards")
@may("coordinator")
def make():
    """Ask for the cards of everybody that the filter finds."""
    here = access.settings()
    asked = _asked(request.form)
    chosen = request.form.get("cards", cards.OF_EACH)
    about = {
        "filter": asked.query(),
        "language": chosen if chosen in LANGUAGES else cards.OF_EACH,
        "root": access.root(),
        "organisation": here.organisation,
        "zone": here.time_zone,
        "soon_days": here.due_soon_days,
    }
    once = f"cards:{g.person.id}:{request.form.get('deed', '')[:64]}"
    with writing() as db:
        cards.key(db)
        errand = errands.ask(db, access.scribe(), "cards", about, once=once, language=current())
    return redirect(f"/errands/{errand.id}", 303)


def _page():
    here = access.settings()
    asked = _asked(request.args)
    today = now().astimezone(here.zone).date()
    with reading() as db:
        total = len(cards.who(
            db, asked, today, here.due_soon_days, medical=access.sees_medical()
        ))  # fmt: skip
    return render_template(
        "cards/index.html",
        choices=surroundings.worksite_choices(mine=False),
        asked=asked,
        kept=parse_qsl(asked.query()),
        total=total,
        deed=secrets.token_hex(16),
    )


def _asked(given) -> board.Filter:
    return board.Filter.read(given)


def _card(person: Person, language: str, back: str) -> Response:
    """Send a person's cards as a PDF; lead back with the reason where nothing is clear."""
    zone, own = access.settings().zone, current()
    if not _has_key():
        with writing() as db:
            cards.key(db)
    with reading() as db:
        found = cards.cards_of(db, person, now(), zone)
        if not found:
            why = cards.why_none(db, person, now(), zone, own)
        else:
            medical = person.id == g.person.id or access.sees_medical()
            around = Around(access.root(), access.settings().organisation, zone, language, medical)
            made = cards.sheet(db, found, around, own)
    if not found:
        flash(gettext("No card: only what is clear stands on one. %(why)s", why=why), "error")
        return redirect(back, 303)
    response = Response(made, mimetype="application/pdf")
    response.headers["Content-Disposition"] = 'inline; filename="card.pdf"'
    return response


def _has_key() -> bool:
    with reading() as db:
        return cards.has_key(db)


def _result(_errand: Errand, said: dict) -> tuple[str, str]:
    made = ngettext("%(num)s card.", "%(num)s cards.", said["cards"])
    without = ngettext(
        "%(num)s person gets none: the last page says why.",
        "%(num)s people get none: the last page says why.",
        said["without"],
    )
    return (f"{made} {without}" if said["without"] else made), ""


errand_pages.shows("cards", _l("Wallet cards"), _result)
