"""The trainer's day: what waits, most urgent first, and the grid of workers and lessons."""

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from flask import Blueprint, g, render_template, request
from flask_babel import gettext, ngettext

from trainer.reference import respirator_classes
from trainer.services import standing
from trainer.services import today as days
from trainer.store import people
from trainer.web import access, surroundings, tagging, taught
from trainer.web.access import may, now, reading
from trainer.web.language import current

bp = Blueprint("today", __name__)

SHAPES = {"inadequate": "no", "need": "no", "overdue": "no", "failed": "no", "faded": "no"}
PAGE = 100


@dataclass(frozen=True)
class Line:
    """One line of the list: whom or which place it is about, what waits, where, and the day."""

    shape: str
    who: str
    text: str
    href: str
    day: date | None
    ahead: bool = False  # is it the day by which, and not since when?


@bp.get("/today")
@may("trainer")
def index():
    """Show what waits at the trainer's worksites."""
    with reading() as db:
        mine = people.worksites(db, g.person.id)
        home = standing.home_worksite(db, g.person)
        zone = ZoneInfo(home.time_zone) if home else access.settings().zone
        day = now().astimezone(zone).date()
        items = days.waiting(db, mine, day, zone, g.person, medical=access.sees_medical())
    unwatched = sum(one.kind == "practice" for one in items)
    number, pages = _page(len(items))
    lines = [_line(one) for one in items[(number - 1) * PAGE : number * PAGE]]
    return render_template(
        "trainer/today.html", lines=lines, total=len(items), number=number, pages=pages,
        unwatched=unwatched,
    )  # fmt: skip


@bp.get("/grid")
@may("trainer", "coordinator")
def grid():
    """Show every worker of a worksite with every lesson, in words and shapes."""
    choices = surroundings.worksite_choices("coordinator" not in g.roles)
    asked = request.args.get("worksite", type=int)
    chosen = asked if asked in dict(choices) else next(iter(dict(choices)), None)
    sort = request.args.get("sort", "")
    with reading() as db:
        day = standing.today(db, g.person, now(), access.settings().zone)
        course = days.course_at(db, chosen) if chosen else []
        rows = days.grid(db, chosen, day, sort) if chosen else []
    number, pages = _page(len(rows))
    return render_template(
        "trainer/grid.html",
        rows=rows[(number - 1) * PAGE : number * PAGE],
        total=len(rows),
        lessons=[(slug, taught.title(slug)) for slug in course],
        choices=choices,
        chosen=chosen,
        sort=sort if sort in {"done", *course} else "",
        number=number,
        pages=pages,
    )


def _page(total: int) -> tuple[int, int]:
    """Return which page of a list is asked for, and how many there are; none lies beyond them."""
    pages = max(1, -(-total // PAGE))
    return min(max(1, request.args.get("page", 1, type=int)), pages), pages


def _line(one: days.Item) -> Line:
    shape = SHAPES.get(one.kind, "soon")
    if one.kind == "inadequate":
        worn = respirator_classes.get(one.about).name(current())
        text = ngettext(
            "not enough for a task there: %(worn)s. %(num)s person wears one like it",
            "not enough for a task there: %(worn)s. %(num)s people wear one like it",
            one.count, worn=worn,
        )  # fmt: skip
        return Line(shape, one.worksite.name, text, f"/sites/{one.worksite.id}", one.on)
    return Line(
        shape, one.person.name, _about(one), _where(one), one.on, ahead=one.kind == "soon"
    )


def _where(one: days.Item) -> str:
    """Return where an item is dealt with."""
    match one.kind:
        case "question":
            return f"/questions/{one.number}"
        case "need":
            return "/questions#told"
        case "faded" | "watch":
            return f"/people/{one.person.number}#refreshers"
    return f"/people/{one.person.number}"


def _about(one: days.Item) -> str:
    steps = one.about not in ("lessons", "cause")
    match one.kind:
        case "need":
            return tagging.told(one.about)
        case "question":
            if not one.about:
                return gettext("asks a question")
            return gettext("asks a question: %(lesson)s", lesson=taught.title(one.about))
        case "overdue" if steps:
            return gettext("past its date: %(step)s", step=tagging.name(one.about))
        case "overdue":
            return ngettext("%(num)s lesson is overdue", "%(num)s lessons are overdue", one.count)
        case "soon" if steps:
            return gettext("falls due: %(step)s", step=tagging.name(one.about))
        case "soon":
            return ngettext("%(num)s lesson falls due", "%(num)s lessons fall due", one.count)
        case "failed":
            return gettext("two failed sittings, %(lesson)s: talk first",
                           lesson=taught.title(one.about))
        case "practice":
            return gettext("every lesson is passed: watch the practice")
        case "watch":
            return gettext("watch a short putting on, six months after training")
    return gettext("a refresher shows that some of it has faded")
