"""What could not be sent comes back: kept for its person, filled in again on its own page.

A form that meets a session that has run out is kept on the server (`services/unsent.py` says for
whom and how long) and never in the browser; whoever signs in as the same person is led to its
page and finds it filled in, with a notice that it is not saved yet, whether script runs or not.
With script a page that is left with something typed in it, or signed out of by itself, sends the
same to `/unsent` (`static/sending.js`). Nothing is recorded by any of this: the person looks at
it and presses the button, with the token against forged forms of the new session. The token of
the old page is asked for when the form is kept. PINs and passphrases are never kept.
"""

from collections.abc import Iterable
from datetime import timedelta
from urllib.parse import parse_qsl, urlsplit

from flask import (
    Blueprint,
    Flask,
    Response,
    flash,
    g,
    redirect,
    render_template,
    request,
    session,
)
from flask_babel import gettext

from trainer.services import unsent
from trainer.store.tables import Person
from trainer.web import access, htmx, refilling, request_log
from trainer.web.access import anybody, may, now, reading, writing

bp = Blueprint("unsent", __name__)

JUST_NOW = timedelta(hours=1)
"""Whoever signs in again so soon is led to what they typed, wherever they wanted to go."""

MOST_WORDS = 400
"""Letters of a text that the status line repeats."""


def init_app(app: Flask) -> None:
    """Give back, on each page, what was typed there and not sent."""
    app.after_request(_look)


@bp.post("/unsent")
@anybody
def keep():
    """Keep what somebody has typed on a page that they are about to lose."""
    person = g.person or g.lapsed
    if person is None:
        return redirect("/sign-in", 303)
    page = htmx.safe_target(request.form.get("page", ""), "")
    action = urlsplit(request.form.get("action", "")).path
    fields = parse_qsl(request.form.get("fields", ""), keep_blank_values=True)
    if fields and access.is_page(page) and access.keeps(action):
        with writing(access.ASIDE_SECONDS) as db:
            unsent.keep(db, person, page, action, _without_token(fields), now())
        session["unsent"] = True
    return "", 204


@bp.get("/unsent")
@may()
def is_there():
    """Say whether something is kept for a page: one loaded anew may have been quicker than it."""
    page = request.args.get("page", "")
    with reading() as db:
        there = any(one.page == page for one in unsent.waiting(db, g.person, now()))
    return "", 200 if there else 204


@bp.post("/unsent/<int:number>/forget")
@may()
def forget(number: int):
    """Throw away what was typed; the page is shown without it."""
    with writing() as db:
        unsent.drop(db, g.person, [number])
    return redirect(access.came_from(), 303)


def turned_away(page: str) -> str:
    """Keep the form that met no session any more; return what to say of it.

    page    the address that it stood on
    """
    fields = _without_token(request.form.items(multi=True))
    typed = any(refilling.is_typed(name) for name, _ in fields)
    if not (g.lapsed and typed and access.keeps(request.path)):
        return gettext(
            "You were signed out, so what you just sent was not recorded. "
            "Sign in and send it once more."
        )
    with writing() as db:
        unsent.keep(db, g.lapsed, page.partition("#")[0], request.path, fields, now())
    said = gettext("Not saved yet: you were signed out. Sign in, and what you typed comes back.")
    if request.files:
        said += " " + gettext("Choose the file again when you send it once more.")
    return said


def led_to(person: Person, target: str) -> str:
    """Return where to go after signing in: to what was typed just now and not sent, else on."""
    session["unsent"] = True
    with reading() as db:
        newest = next(iter(unsent.waiting(db, person, now())), None)
    if newest and (target == "/" or now() - newest.kept_at < JUST_NOW):
        return newest.page
    return target


def _without_token(fields: Iterable[unsent.Field]) -> list[unsent.Field]:
    return [(name, value) for name, value in fields if name != "csrf_token"]


def _look(response: Response) -> Response:
    """Fill the page in, or forget what has been sent; no page depends on it."""
    try:
        return _looked_at(response)
    except Exception as fault:
        why = access.store().why(fault)
        if not why:
            raise
        request_log.tell_fault(fault, why)
    return response


def _looked_at(response: Response) -> Response:
    if not session.get("unsent") or g.get("person") is None or request.blueprint == "unsent":
        return response
    with reading() as db:
        waiting = unsent.waiting(db, g.person, now())
    if not waiting:
        session.pop("unsent")
    elif request.method == "POST" and response.status_code < 400:
        _forget([one for one in waiting if one.action == request.path])
    elif request.method == "GET" and not htmx.wants_part():
        here = request.full_path.rstrip("?")
        _give_back(response, [one for one in waiting if one.page == here])
    return response


def _give_back(response: Response, forms: list[unsent.Form]) -> None:
    if 300 <= response.status_code < 400:
        for one in forms:
            flash(f"{_gone()} {_words(one)[:MOST_WORDS]}".strip(), "error")
        _forget(forms)
    if response.mimetype != "text/html" or not forms:
        return
    html = response.get_data(as_text=True)
    for one in forms:
        notice = render_template("unsent/_back.html", form=one)
        filled = refilling.refill(html, one.page, one.action, one.fields, notice)
        if filled == html or (filled is None and not _words(one)):
            _forget([one])
        gone = render_template("unsent/_gone.html", form=one, words=_words(one), gone=_gone())
        html = filled or refilling.in_front(html, gone)
    response.set_data(html)


def _gone() -> str:
    return gettext("What you typed was not saved, and this page has changed since.")


def _words(form: unsent.Form) -> str:
    """Return the sentences that were typed: a number or a choice is quickly given again."""
    return "\n".join(value.strip() for _, value in form.fields if len(value.split()) > 1)


def _forget(forms: list[unsent.Form]) -> None:
    if forms:
        with writing() as db:
            unsent.drop(db, g.person, [one.number for one in forms])
