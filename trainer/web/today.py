"""The trainer's day: what waits, most urgent first, and the grid of workers and lessons."""

from flask import Blueprint, g, render_template, request
from flask_babel import gettext, ngettext

from trainer import lessons
from trainer.reference import respirator_classes
from trainer.services import standing
from trainer.services import today as days
from trainer.store import people
from trainer.web import access, surroundings, tagging
from trainer.web.access import may, now, reading
from trainer.web.language import current

bp = Blueprint("today", __name__)

SHAPES = {"inadequate": "no", "need": "no", "overdue": "no", "failed": "no", "faded": "no"}
PAGE = 100


@bp.get("/today")
@may("trainer")
def index():
    """Show what waits at the trainer's worksites."""
    with reading() as db:
        mine = people.worksites(db, g.person.id)
        day = standing.today(db, g.person, now(), access.settings().zone)
        items = days.waiting(db, mine, day)
    lines = [(SHAPES.get(one.kind, "soon"), *_said(one), one.on) for one in items]
    return render_template("trainer/today.html", lines=lines)


@bp.get("/grid")
@may("trainer", "coordinator")
def grid():
    """Show every worker of a worksite with every lesson, in words and shapes."""
    choices = surroundings.worksite_choices("coordinator" not in g.roles)
    asked = request.args.get("worksite", type=int)
    chosen = asked if asked in dict(choices) else next(iter(dict(choices)), None)
    sort, first = request.args.get("sort", ""), max(1, request.args.get("page", 1, type=int))
    with reading() as db:
        day = standing.today(db, g.person, now(), access.settings().zone)
        rows = days.grid(db, chosen, day, sort) if chosen else []
    return render_template(
        "trainer/grid.html",
        rows=rows[(first - 1) * PAGE : first * PAGE],
        total=len(rows),
        lessons=[(one.slug, one.title(current())) for one in lessons.load().all],
        choices=choices,
        chosen=chosen,
        sort=sort,
        number=first,
        pages=max(1, -(-len(rows) // PAGE)),
    )


def _said(one: days.Item) -> tuple[str, str]:
    """Return what a line says, and where it is dealt with."""
    if one.kind == "inadequate":
        worn = respirator_classes.get(one.about).name(current())
        text = ngettext(
            "%(place)s: not enough for a task there: %(worn)s. %(num)s person wears one like it.",
            "%(place)s: not enough for a task there: %(worn)s. %(num)s people wear one like it.",
            one.count, place=one.worksite.name, worn=worn,
        )  # fmt: skip
        return text, f"/sites/{one.worksite.id}"
    if one.kind in ("need", "question"):
        return f"{one.person.name}: {_about(one)}", "/questions"
    at = "#refreshers" if one.kind in ("faded", "watch") else ""
    return f"{one.person.name}: {_about(one)}", f"/people/{one.person.number}{at}"


def _about(one: days.Item) -> str:
    match one.kind:
        case "need":
            return {
                "fit": gettext("says that the fit has changed"),
                "leak": gettext("says that it leaks"),
            }.get(one.about, gettext("wants to talk to the health professional"))
        case "question":
            return gettext("asks a question")
        case "overdue":
            return ngettext("%(num)s lesson is overdue", "%(num)s lessons are overdue", one.count)
        case "soon" if one.about in ("lessons", "cause"):
            return ngettext("%(num)s lesson falls due", "%(num)s lessons fall due", one.count)
        case "soon":
            return gettext("%(step)s falls due", step=tagging.name(one.about))
        case "failed":
            title = lessons.load().get(one.about)
            return gettext("two failed sittings, %(lesson)s: talk first",
                           lesson=title.title(current()) if title else one.about)
        case "practice":
            return gettext("every lesson is passed: watch the practice")
        case "watch":
            return gettext("watch a short putting on, six months after training")
    return gettext("a refresher shows that some of it has faded")
