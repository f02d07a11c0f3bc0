"""Sittings on paper: printed for several people, entered by their codes, marked by the program."""

from datetime import date
from urllib.parse import urlencode

from flask import Blueprint, abort, flash, g, redirect, render_template, request
from flask_babel import gettext
from markupsafe import Markup

from trainer.services import on_paper, sitting, standing
from trainer.services.on_paper import Paper
from trainer.services.refusal import Refusal
from trainer.web import access, htmx, items, surroundings, taught
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import say
from trainer.web.language import current, speaking

bp = Blueprint("paper", __name__)

OWN = "own"
"""Stands for the language of each person."""

LETTERS = "ABCDEFGHIJKL"


@bp.get("/crew/paper")
@may("trainer")
def index():
    """Choose whom to print a sitting for, and enter one by its code."""
    return _page()


@bp.post("/crew/paper")
@may("trainer")
def draw():
    """Draw a sitting for each person ticked, and show the sheets; who cannot have one is named."""
    lesson = taught.lesson(request.form.get("lesson", "")) or abort(404)
    tongue = request.form.get("tongue", OWN)
    codes, faults = [], []
    for number in dict.fromkeys(request.form.getlist("person")):
        try:
            with writing() as db:
                person = access.their(db, number)
                speaks = person.language if tongue == OWN else tongue
                drawn = on_paper.draw(db, access.scribe(), person, lesson, speaks)
                codes.append(drawn.code)
        except Refusal as refusal:
            faults.append(f"{person.name}: {say(refusal)}")
    for fault in faults:
        flash(fault, "error")
    if not codes:
        return _page({} if faults else {"person": gettext("Tick whom to print for.")}), 422
    return redirect("/crew/paper/print?" + urlencode([("code", code) for code in codes]), 303)


@bp.get("/crew/paper/print")
@may("trainer")
def sheets():
    """Show the sheets of these codes, a page a person, to print."""
    with reading() as db:
        papers = [_their(db, code) for code in request.args.getlist("code")]
        found = [(one, sitting.shown(db, one.sitting)) for one in papers if one.is_open]
    if not found:
        abort(404)
    return render_template(
        "crew/sheets.html",
        sheets=[_sheet(one, shown) for one, shown in found],
    )


@bp.get("/crew/paper/enter")
@may("trainer")
def find():
    """Go to the first question of the paper whose code was typed."""
    with reading() as db:
        there = on_paper.by_code(db, g.person, request.args.get("code", ""))
        shown = sitting.shown(db, there.sitting) if there else []
    if there is None:
        fault = gettext("No paper of your people has this code. Look at it once more.")
        return _page({"code": fault}), 422
    if not there.is_open:
        return _page({"code": gettext("This paper is closed or withdrawn already.")}), 422
    return redirect(f"/crew/paper/{there.code}/{items.first_open(shown)}", 303)


@bp.get("/crew/paper/<code>/<int:position>")
@may("trainer")
def item(code: str, position: int):
    """Show one question or problem as it stands on the paper, to enter what was written."""
    there, shown = _open(code)
    if there is None:
        return htmx.go("/crew/paper")
    return _item_page(there, shown, position)


@bp.post("/crew/paper/<code>/<int:position>")
@may("trainer")
def answer(code: str, position: int):
    """Keep one answer that was written on paper."""
    given = request.form.getlist("answer")
    since = request.form.get("since", type=int) if htmx.wants_part() else None
    try:
        with writing() as db:
            there = _their(db, code)
            kept = on_paper.answer(db, access.scribe(), there, position, given, since)
    except Refusal as refusal:
        if since is not None:
            return render_template("worker/_not_kept.html", refusal=say(refusal))
        flash(say(refusal), "error")
        return htmx.go("/crew/paper")
    if htmx.wants_part():
        return render_template("worker/_kept.html", kept=kept, at=now())
    _, shown = _open(code)
    again = sitting.asked_again(shown[position - 1], there.paper.language)
    if again:
        return _item_page(there, shown, position, again), 422
    if request.form.get("go") == "review" or position >= len(shown):
        return htmx.go(f"/crew/paper/{there.code}/review")
    return htmx.go(f"/crew/paper/{there.code}/{position + 1}")


@bp.get("/crew/paper/<code>/review")
@may("trainer")
def review(code: str):
    """Show everything that was entered before it is marked."""
    there, shown = _open(code)
    if there is None:
        return htmx.go("/crew/paper")
    return _review_page(there, shown)


@bp.post("/crew/paper/<code>/close")
@may("trainer")
def close(code: str):
    """Close the paper and mark it; sent twice, it is closed once."""
    try:
        with writing() as db:
            there = _their(db, code)
            done = on_paper.close(
                db, access.scribe(), there, _day(), access.settings().pass_mark
            )
    except Refusal as refusal:
        found, shown = _open(code)
        if found is None:
            flash(say(refusal), "error")
            return htmx.go("/crew/paper")
        return _review_page(found, shown, say(refusal)), 422
    said = (
        gettext("%(name)s: passed. It is in the record.", name=there.person.name)
        if done.passed
        else gettext("%(name)s: not passed yet.", name=there.person.name)
    )
    flash(said, "message" if done.passed else "error")
    return htmx.go(f"/people/{there.person.number}")


@bp.post("/crew/paper/<code>/withdraw")
@may("trainer")
def withdraw(code: str):
    """Withdraw a paper that is not to be used any more."""
    with writing() as db:
        there = _their(db, code)
        on_paper.withdraw(db, access.scribe(), there)
    flash(gettext("Paper %(code)s is withdrawn.", code=there.code))
    return redirect("/crew/paper", 303)


def _page(wrong: dict[str, str] | None = None):
    choices = surroundings.worksite_choices(mine=True)
    asked = request.values.get("worksite", type=int)
    chosen = asked if asked in dict(choices) else next(iter(dict(choices)), None)
    slug = request.values.get("lesson", "")
    choosable = taught.choices()
    lesson = next((one for one in choosable if one.slug == slug), choosable[0])
    with reading() as db:
        ready, rest = (
            on_paper.who_may(db, g.person, chosen, lesson, now()) if chosen else ([], [])
        )
        waiting = on_paper.open_at(db, [chosen]) if chosen else []
    return render_template(
        "crew/paper.html",
        choices=choices,
        chosen=chosen,
        lessons=[(one.slug, one.title(current())) for one in choosable],
        lesson=lesson,
        ready=ready,
        rest=rest,
        ticked=request.form.getlist("person"),
        waiting=[(one, _title(one)) for one in waiting if one.person.id != g.person.id],
        typed=request.args.get("code", ""),
        wrong=wrong or {},
    )


def _their(db, code: str) -> Paper:
    """Return the paper of a code if the trainer may handle it; else answer 404."""
    return on_paper.by_code(db, g.person, code) or abort(404)


def _open(code: str) -> tuple[Paper | None, list[sitting.Shown]]:
    """Return a paper with its items; None once it is closed or withdrawn."""
    with reading() as db:
        there = _their(db, code)
        if not there.is_open:
            return None, []
        return there, sitting.shown(db, there.sitting)


def _item_page(there: Paper, shown: list[sitting.Shown], position: int, fault: str = ""):
    return items.item_page(
        there.sitting, shown, position, _title(there), f"/crew/paper/{there.code}",
        there.paper.language, fault, paper=there,
    )  # fmt: skip


def _review_page(there: Paper, shown: list[sitting.Shown], fault: str = ""):
    with reading() as db:
        today = standing.today(db, there.person, now(), access.settings().zone)
    return items.review_page(
        there.sitting, shown, f"/crew/paper/{there.code}", there.paper.language, fault,
        paper=there, written_on=request.form.get("written_on") or today.isoformat(),
    )  # fmt: skip


def _sheet(there: Paper, shown: list[sitting.Shown]) -> Markup:
    """Return one sheet in the language of its paper, whoever prints it."""
    with speaking(there.paper.language):
        sheet = render_template(
            "crew/_sheet.html", sheet=there, title=_title(there), items=shown,
            tongue=there.paper.language, letters=LETTERS,
        )  # fmt: skip
    # A template has escaped what it was given.
    return Markup(sheet)  # noqa: S704  # nosec B704


def _day() -> date:
    try:
        return date.fromisoformat(request.form.get("written_on", ""))
    except ValueError:
        raise Refusal("Give the day on which it was written: not before it was printed.") from None


def _title(there: Paper) -> str:
    return taught.title(there.sitting.lesson, there.paper.language)
