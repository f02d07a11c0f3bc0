"""What a person sees when something does not work: a sentence, never a traceback."""

from flask import Flask, Response, current_app, make_response, render_template, request
from flask_babel import gettext
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException, NotFound

from trainer.services.refusal import Refusal
from trainer.web import sizes


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
        "This page was open for too long. Go back to it, load it again and send it once more."
    )
    return _page(400, gettext("Please send it again"), text)


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


def _unexpected(fault: Exception) -> Response:
    current_app.logger.exception("unexpected fault at %s", request.path)
    if current_app.config.get("TESTING"):
        raise fault
    title = gettext("Something went wrong here")
    text = gettext("It is not your fault, and answers that were saved are kept. Try again, or ask.")
    return _page(500, title, text)


def _page(code: int, title: str, text: str) -> Response:
    # The language switch of this page must not lead to an address that only takes forms.
    here = request.path if request.method == "GET" else "/"
    return make_response(render_template("fault.html", title=title, text=text, here=here), code)
