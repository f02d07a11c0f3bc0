"""Pictures of a worksite: brought, described and taken off by its trainers, seen by its people."""

from dataclasses import dataclass

from flask import Blueprint, Response, abort, flash, g, redirect, render_template, request
from flask_babel import gettext
from markupsafe import Markup

from trainer.lessons.pictures import TYPES, figure
from trainer.services import pictures
from trainer.services.pictures import Listed
from trainer.services.refusal import Refusal
from trainer.store.tables import Picture
from trainer.web import access, site, sizes
from trainer.web.access import may, reading, writing
from trainer.web.errors import say
from trainer.web.language import current

bp = Blueprint("pictures", __name__)

# More than a picture may have: one a little too large comes back with the words typed beside it.
MOST_SENT = 16 * 1024 * 1024

# A picture opened by itself is a document of its own: it may run, fetch and frame nothing.
POLICY = "default-src 'none'; sandbox; frame-ancestors 'none'"


@dataclass(frozen=True)
class Typed:
    """A form that was not kept: of which picture (0: a new one), what was typed, and the fault."""

    number: int = 0
    en: str = ""
    es: str = ""
    fault: str = ""
    of_file: bool = False  # the fault is about the file, not about its description

    @property
    def place(self) -> str:
        """Return the id of the field that the fault is about."""
        return "picture" if self.of_file else f"en-{self.number}"


@bp.get("/sites/<int:number>/pictures")
@may("trainer", "coordinator")
def index(number: int):
    """Show the pictures of a worksite, how to put one into a lesson, and the form for a new one."""
    return _page(number)


@bp.post("/sites/<int:number>/pictures")
@sizes.takes(MOST_SENT, pictures.TOO_LARGE)
@may("trainer", "coordinator")
def add(number: int):
    """Keep a picture with what it shows."""
    with reading() as db:
        site.worksite_of(db, number)
    sent = request.files.get("picture")
    en, es = request.form.get("en", ""), request.form.get("es", "")
    try:
        safe = pictures.made_safe(sent.read() if sent else b"")
    except Refusal as refusal:
        return _page(number, Typed(0, en, es, say(refusal), of_file=True)), 422
    try:
        with writing() as db:
            worksite = site.worksite_of(db, number)
            if not access.first(db):
                return redirect(f"/sites/{number}/pictures", 303)
            kept = pictures.add(db, access.scribe(), worksite, safe, en=en, es=es)
    except Refusal as refusal:
        return _page(number, Typed(0, en, es, say(refusal))), 422
    flash(gettext("Picture %(number)s is kept.", number=kept.id))
    return redirect(f"/sites/{number}/pictures#picture-{kept.id}", 303)


@bp.post("/sites/<int:number>/pictures/<int:picture>")
@may("trainer", "coordinator")
def describe(number: int, picture: int):
    """Keep a changed description."""
    en, es = request.form.get("en", ""), request.form.get("es", "")
    try:
        with writing() as db:
            pictures.describe(db, _picture(db, number, picture), en=en, es=es)
    except Refusal as refusal:
        return _page(number, Typed(picture, en, es, say(refusal))), 422
    flash(gettext("The change is kept."))
    return redirect(f"/sites/{number}/pictures#picture-{picture}", 303)


@bp.post("/sites/<int:number>/pictures/<int:picture>/end")
@may("trainer", "coordinator")
def end(number: int, picture: int):
    """Take a picture off the list."""
    with writing() as db:
        pictures.end(db, access.scribe(), _picture(db, number, picture))
    flash(gettext("The picture is taken off. Lessons that show it still do."))
    return redirect(f"/sites/{number}/pictures", 303)


@bp.get("/pictures/<int:picture>")
@may()
def show(picture: int):
    """Give the picture itself to people of its worksite, whoever has its lesson, coordinators."""
    with reading() as db:
        seen = None if "coordinator" in g.roles else pictures.seen_by(db, g.person)
        found = pictures.find(db, picture, seen) or abort(404)
    response = Response(found.data, mimetype=TYPES[found.kind])
    response.set_etag(found.sha256)
    head = response.headers
    head["Content-Security-Policy"] = POLICY
    head["Content-Disposition"] = f'inline; filename="picture-{found.id}.{found.kind}"'
    # A tablet may hold it, and shows it to nobody before the server has said that they may see it.
    head["Cache-Control"] = "private, no-cache"
    return response.make_conditional(request)


@bp.app_template_filter("shown")
def shown(picture: Picture) -> Markup:
    """Return a picture as it stands in a page, described in the reader's language if it is."""
    both = {"en": picture.description_en, "es": picture.description_es}
    words = both[current()] or picture.description_en or picture.description_es
    # The figure has escaped what it was given.
    made = figure(f"/pictures/{picture.id}", picture.width, picture.height, words)
    return Markup(made)  # noqa: S704  # nosec B704


def _page(number: int, typed: Typed | None = None):
    with reading() as db:
        worksite = site.worksite_of(db, number)
        rows: list[Listed] = pictures.of_worksite(db, worksite)
    return render_template(
        "pictures/index.html", worksite=worksite, rows=rows, typed=typed or Typed()
    )


def _picture(db, number: int, picture: int) -> Picture:
    worksite = site.worksite_of(db, number)
    found = pictures.find(db, picture, [worksite.id])
    if found is None or found.ended_at:
        abort(404)
    return found
