"""Long work in the background, as whoever asked for it sees it: how far it is, and its file."""

from collections.abc import Callable
from urllib.parse import quote

from flask import Blueprint, Response, abort, g, make_response, render_template, stream_with_context
from flask_babel import gettext
from flask_babel import lazy_gettext as _l

from trainer.services import errands
from trainer.services.refusal import Refusal
from trainer.store.tables import Errand
from trainer.web import access, errors, htmx
from trainer.web.access import may, reading

bp = Blueprint("errands", __name__)

TITLES: dict[str, str] = {}
"""What each kind of errand is called; the module of its page adds it with `shows`."""

_RESULTS: dict[str, Callable[[Errand, dict], tuple[str, str]]] = {}


def shows(kind: str, title: str, result: Callable[[Errand, dict], tuple[str, str]]) -> None:
    """Name a kind of errand, and what is shown of one that is done.

    result  gives a sentence, and the address to go on to ("" for none)
    """
    TITLES[kind] = title
    _RESULTS[kind] = result


@bp.get("/errands")
@may()
def index():
    """Show what the signed-in person asked for."""
    with reading() as db:
        rows = errands.of_person(db, g.person.id)
    return render_template("errands/index.html", rows=[_shown(row) for row in rows])


@bp.get("/errands/<int:errand>")
@may()
def page(errand: int):
    """Show how far an errand is, and what came of it; htmx asks for the middle of the page."""
    with reading() as db:
        found = _own(db, errand)
    part = htmx.wants_part()
    name = "errands/_errand.html" if part else "errands/errand.html"
    response = make_response(render_template(name, one=_shown(found), part=part))
    response.vary.add("HX-Request-Type")
    return response


@bp.get("/errands/<int:errand>/file")
@may()
def file(errand: int):
    """Send the file that an errand made, piece by piece."""
    with reading() as db:
        found = _own(db, errand)
    if found.state != "done" or not found.file_size:
        abort(404)
    if not errands.needs(found) <= g.roles:
        # A right that was taken away since is taken away from what it was used for.
        abort(403)
    store = access.store()

    def pieces():
        with store.reading() as db:
            yield from errands.file_of(db, found)

    response = Response(stream_with_context(pieces()), mimetype=found.file_type)
    response.content_length = found.file_size
    response.headers["Content-Disposition"] = attachment(found.file_name)
    return response


def attachment(name: str) -> str:
    """Return the header that names a file for download, in letters of any language (RFC 6266)."""
    plain = name.encode("ascii", "replace").decode().replace("?", "_").replace('"', "_")
    return f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"


def _own(db, number: int) -> Errand:
    """Return an errand of the signed-in person; those of others are nobody else's to see."""
    found = db.get(Errand, number)
    return found if found and found.asked_by == g.person.id else abort(404)


def _shown(found: Errand) -> dict:
    said = errands.said(found)
    sentence, leads = "", ""
    if found.state == "done":
        sentence, leads = _RESULTS[found.kind](found, said)
    elif found.state == "failed":
        sentence = errors.say(Refusal.told(said))
    may = errands.needs(found) <= g.roles
    if not may and found.state == "done":
        sentence, leads = gettext(errands.LOST.text), ""
    return {
        "row": found,
        "title": TITLES[found.kind],
        "ended": found.state in ("done", "failed"),
        "sentence": sentence,
        "leads": leads,
        "file": f"/errands/{found.id}/file" if found.file_size and may else "",
        "gone": bool(found.file_name) and not found.file_size,
        "word": _word(found.state),
    }


def _word(state: str) -> str:
    return {
        "waiting": gettext("Waits for its turn"),
        "running": gettext("Is being done"),
        "done": gettext("Done"),
        "failed": gettext("Not done"),
    }[state]


# The sentence of the services, where the catalogues find it.
_BROKEN = _l(
    "It could not be done. Ask for it again; if it fails again, tell whoever runs the program."
)
