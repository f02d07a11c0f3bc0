"""How long records are kept, what may be erased now, and erasing it where a coordinator asks."""

import secrets

from flask import Blueprint, abort, flash, redirect, render_template, request
from flask_babel import gettext, ngettext

from trainer.reference import retention
from trainer.services import retaining
from trainer.services.refusal import Refusal
from trainer.web import access, entries
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import say
from trainer.web.language import current

bp = Blueprint("retention", __name__)


@bp.get("/retention")
@may("coordinator")
def page():
    """Show the rows of the table, and what may be erased now."""
    return _page()


@bp.post("/retention/look")
@may("coordinator")
def look():
    """Show what was ticked once more; nothing is erased yet."""
    slug, numbers = _ticked()
    try:
        with reading() as db:
            found = retaining.chosen(db, slug, numbers, _today())
    except Refusal as refusal:
        return _page({slug: say(refusal)}), 422
    return _confirm(slug, found, secrets.token_hex(16))


@bp.post("/retention/erase")
@may("coordinator")
def erase():
    """Erase what was shown, once its number was typed; sent twice, it is done once."""
    slug, numbers = _ticked()
    deed = request.form.get("deed", "")[:40]
    try:
        with writing() as db:
            retaining.erase(
                db,
                access.scribe(),
                once=f"erasure:{deed}",
                slug=slug,
                numbers=numbers,
                typed=request.form.get("typed", ""),
                today=_today(),
            )
    except Refusal as refusal:
        if refusal.field == "typed":
            with reading() as db:
                found = retaining.chosen(db, slug, numbers, _today())
            return _confirm(slug, found, deed, say(refusal)), 422
        return _page({slug: say(refusal)}), 422
    flash(gettext("Erased. The record says what it was, and its chain still holds."))
    return redirect("/retention", 303)


def _ticked() -> tuple[str, list[int]]:
    slug = request.form.get("row", "")
    if retention.get(slug) is None:
        abort(404)
    numbers = [int(one) for one in request.form.getlist("entry") if one.isascii() and one.isdigit()]
    return slug, numbers[: retaining.AT_ONCE]


def _today():
    return now().astimezone(access.settings().zone).date()


def _page(wrong: dict[str, str] | None = None):
    today = _today()
    here = access.settings()
    with reading() as db:
        found = {
            row.slug: retaining.of_row(db, row.slug, today)
            for row in retention.rows()
            if row.kinds and not set(row.kinds) & set(retaining.NEVER)
        }
    return render_template(
        "retention/page.html",
        rows=[(row, _keeps(row, here.training_keep_years)) for row in retention.rows()],
        found={slug: rows for slug, rows in found.items() if rows},
        what=lambda one: entries.lines([one.entry], medical=False)[0],
        name=lambda slug: retention.get(slug).name(current()),
        most=retaining.AT_ONCE,
        wrong=wrong or {},
    )


def _confirm(slug: str, found: list[retaining.Proposal], deed: str, fault: str = ""):
    return render_template(
        "retention/confirm.html",
        row=retention.get(slug),
        found=found,
        deed=deed,
        fault=fault,
        what=lambda one: entries.lines([one.entry], medical=False)[0],
    )


def _keeps(row: retention.Retention, years: int) -> str:
    """Return in a sentence how long a record is kept."""
    match row.keep:
        case "until-next":
            return gettext("Until the next one.")
        case "employment-and-years":
            return ngettext(
                "As long as the person is employed, and %(num)s year more.",
                "As long as the person is employed, and %(num)s years more.",
                row.years,
            )
        case "current-copy":
            return gettext("The current copy. It lies outside this program.")
        case "choice" if years:
            return ngettext(
                "The employer chooses: until %(num)s year after the last day.",
                "The employer chooses: until %(num)s years after the last day.",
                years,
            )
        case "choice":
            return gettext("The employer chooses: kept for ever, until the settings say otherwise.")
    return gettext("The period is not known to this program, so it proposes nothing.")
