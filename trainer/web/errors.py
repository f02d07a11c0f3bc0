"""What a person sees when something does not work: a sentence, never a traceback."""

from dataclasses import dataclass

from flask import (
    Flask,
    Response,
    current_app,
    g,
    jsonify,
    make_response,
    render_template,
    request,
)
from flask_babel import gettext
from flask_babel import lazy_gettext as _l
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException, NotFound

from trainer.services.refusal import Refusal
from trainer.store import engine
from trainer.web import access, htmx, request_log, sizes

TRY_AGAIN_SECONDS = 30


@dataclass(frozen=True)
class Trouble:
    """What people are told where the database did not do what it was asked.

    title   what became of a form that was sent
    lost    what is to be thought of what was sent
    why     the reason, and who can cure it
    """

    code: int
    title: str
    lost: str
    why: str


_NOT_SAVED = _l("What you sent was not saved. Everything saved before is kept.")
_UNSURE = _l(
    "It is not certain that what you sent was saved. Everything saved before is kept. Sent again, "
    "it is kept once and not twice."
)

TROUBLES = {
    engine.FULL: Trouble(
        507, _l("Not saved: the disk is full"), _NOT_SAVED,
        _l("Where the record is kept there is no room left. Tell whoever runs the program. As soon "
           "as there is room, it goes on by itself."),
    ),
    engine.DISK: Trouble(
        507, _l("Not saved: the disk does not take it"), _NOT_SAVED,
        _l("The disk on which the record is kept is full or broken. Tell whoever runs the program. "
           "As soon as that is cured, it goes on by itself."),
    ),
    engine.READ_ONLY: Trouble(
        503, _l("Not saved: nothing can be written now"), _NOT_SAVED,
        _l("Where the record is kept nothing can be written now. Tell whoever runs the program. As "
           "soon as that is cured, it goes on by itself."),
    ),
    engine.BUSY: Trouble(
        503, _l("Not saved: the record is in use"), _NOT_SAVED,
        _l("Something else has been writing into the record for a long time. Wait a minute. If it "
           "lasts, tell whoever runs the program."),
    ),
    engine.AWAY: Trouble(
        503, _l("The record does not answer"), _UNSURE,
        _l("The database that keeps the record cannot be reached. Wait a minute. If it lasts, tell "
           "whoever runs the program. As soon as it answers, it goes on by itself."),
    ),
    engine.DAMAGED: Trouble(
        503, _l("Not saved: a part of the record cannot be read"),
        _l("What you sent was not saved."),
        _l("A file of the record is damaged. Stop here and tell whoever runs the program at once."),
    ),
}  # fmt: skip
"""What is said by what `Store.why` tells of a fault."""


def say(refusal: Refusal) -> str:
    """Return the sentence of a refusal in the reader's language."""
    return gettext(refusal.text) % refusal.values if refusal.values else gettext(refusal.text)


def at_field(refusal: Refusal, otherwise: str) -> dict[str, str]:
    """Return the sentence of a refusal by the field that it is about.

    otherwise   the field that stands for the whole form
    """
    return {refusal.field or otherwise: say(refusal)}


def init_app(app: Flask) -> None:
    """Give every fault a page."""
    app.register_error_handler(CSRFError, _stale_form)
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(Refusal, _refused)
    app.register_error_handler(OverflowError, _too_large)
    app.register_error_handler(Exception, _unexpected)


def _stale_form(_: CSRFError) -> Response:
    text = gettext(
        "Nothing was recorded: this page was open for too long, or you signed out in between. "
        "Open it again and send it once more."
    )
    return _page(400, gettext("Please send it again"), text, back=access.came_from())


def _refused(refusal: Refusal) -> Response:
    return _page(409, gettext("That cannot be done now"), say(refusal))


def _http(fault: HTTPException) -> Response:
    match fault.code:
        case 403:
            title = gettext("This page is not for you")
            text = gettext("Your role does not include it. Ask your coordinator if it should.")
        case 404:
            title = gettext("There is no such page")
            text = gettext("The address may be mistyped, or you may not see what it shows.")
        case 405:
            title = gettext("There is no such page")
            text = gettext("This address only takes a form. Go back and use the button.")
        case 413:
            title = gettext("That is too much")
            text = gettext("What was sent is larger than this program takes.")
            if refusal := sizes.otherwise():
                text = say(refusal)
        case _:
            title = gettext("That did not work")
            text = gettext("Go back and try it once more.")
    return _page(fault.code or 500, title, text)


def _too_large(_: OverflowError) -> Response:
    """Answer an address with a number larger than any the database can hold."""
    return _http(NotFound())


def trouble(fault: Exception) -> Trouble:
    """Return what to say where the database did not do what it was asked; note it in the log.

    For a view that shows its form again with what was typed. Errors: any other fault, as it is.
    """
    why = access.store().why(fault)
    if not why:
        raise fault
    request_log.tell_fault(fault, why)
    # A database that is away is not asked again for the page that says so: that would take long.
    g.without_record = why in (engine.AWAY, engine.DAMAGED)
    if "settings" not in g:
        g.settings = access.started_with()
    return TROUBLES[why]


def not_saved(said: Trouble) -> str:
    """Return the sentences for whoever sent a form, in the reader's language."""
    return f"{said.lost} {said.why}"


def _database(fault: Exception) -> Response:
    """Say that the database did not do what it was asked, and give back what was sent."""
    said = trouble(fault)
    sent = request.method == "POST"
    if request.accept_mimetypes.best == "application/json":
        answer = jsonify(say=not_saved(said))
    elif htmx.wants_part():
        # What stands on the page stays there: it holds what was typed.
        text = not_saved(said) if sent else said.why
        answer = make_response(render_template("worker/_not_kept.html", refusal=text))
        answer.headers["HX-Reswap"] = "none"
    else:
        answer = make_response(_page_of(said, sent))
    answer.status_code = said.code
    answer.headers["Retry-After"] = str(TRY_AGAIN_SECONDS)
    return answer


def _page_of(said: Trouble, sent: bool) -> str:
    title = said.title if sent else gettext("This page cannot be shown now")
    page = (title, not_saved(said) if sent else said.why, _sent_fields() if sent else None)
    try:
        return _unsaved(*page)
    except Exception as fault:
        if not access.store().why(fault):
            raise
    g.without_record = True
    return _unsaved(*page)


def _unsaved(title: str, text: str, again: list[tuple[str, str]] | None) -> str:
    sent = request.method == "POST"
    return render_template(
        "unsaved.html",
        title=title,
        text=text,
        here="/" if sent else "",
        again=again,
        # What was written in words is what people fear to lose.
        words=[value for _, value in again or () if " " in value.strip()],
        files=sent and bool(request.files),
        back=access.came_from(),
    )


def _sent_fields() -> list[tuple[str, str]] | None:
    """Return what a form held, to be sent once more; None where it must not stand on a page.

    A PIN, a passphrase and a code are typed anew, and a browser lets no page choose a file.
    """
    if request.blueprint in access.TAKE_SECRETS or request.files:
        return None
    fields = request.form.items(multi=True)
    return [(name, value) for name, value in fields if name != "csrf_token"]


def _unexpected(fault: Exception) -> Response:
    if access.store().why(fault):
        return _database(fault)
    request_log.tell_fault(fault)
    if current_app.config.get("TESTING"):
        raise fault
    title = gettext("Something went wrong here")
    text = gettext("It is not your fault, and answers that were saved are kept. Try again, or ask.")
    if request.method == "POST" and not htmx.wants_part() and (again := _sent_fields()):
        return make_response(_unsaved(title, text, again), 500)
    return _page(500, title, text)


def _page(code: int, title: str, text: str, back: str = "") -> Response:
    # The language switch of this page must not lead to an address that only takes forms.
    here = request.path if request.method == "GET" else "/"
    if htmx.wants_part():
        # What was typed stays on the page; only the status line tells of the fault.
        part = make_response(render_template("_fault.html", title=title, text=text), code)
        part.headers["HX-Reswap"] = "none"
        return part
    page = render_template("fault.html", title=title, text=text, here=here, back=back)
    return make_response(page, code)

