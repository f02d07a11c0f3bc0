"""Hard spots: what people get wrong, for trainers (their worksites) and coordinators (all)."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from flask import Blueprint, abort, g, render_template, request
from flask_babel import gettext

from trainer.calculations.items import FEWEST, Figures, separates
from trainer.services import hard_spots
from trainer.services.hard_spots import ORDERS, Scope, Spot
from trainer.services.refusal import Refusal
from trainer.store.tables import Worksite
from trainer.web import access, shares, surroundings, taught
from trainer.web.access import may, reading
from trainer.web.errors import say
from trainer.web.language import current

bp = Blueprint("hard_spots", __name__)

PAGE = 20


@dataclass(frozen=True)
class Asked:
    """What the address asks for, as it was typed; what cannot be used leaves a fault."""

    worksite: int | None
    lesson: str
    first: str
    last: str
    sort: str
    choices: list[tuple[int, str]]
    scope: Scope | None
    fault: str = ""
    field: str = ""

    def address(self, path: str = "/hard-spots", **changed: object) -> str:
        """Return the address of a page that asks for the same, but for what is changed."""
        asked = {
            "worksite": self.worksite, "lesson": self.lesson, "from": self.first,
            "to": self.last, "sort": self.sort if self.sort != ORDERS[0] else "",
        }  # fmt: skip
        filled = {key: value for key, value in (asked | changed).items() if value}
        return f"{path}?{urlencode(filled)}" if filled else path


@bp.get("/hard-spots")
@may("trainer", "coordinator")
def index():
    """Show what people get wrong, hardest first, as a drawing and as a table."""
    asked = _asked()
    found: list[Spot] = []
    if asked.scope:
        with reading() as db:
            found = hard_spots.spots(db, asked.scope, asked.lesson)
        found = hard_spots.ordered(found, asked.sort)
    pages = max(1, -(-len(found) // PAGE))
    page = min(max(1, request.args.get("page", 1, type=int)), pages)
    before = (page - 1) * PAGE
    here = found[before : before + PAGE]
    mark = access.settings().pass_mark
    return render_template(
        "hard_spots/index.html",
        asked=asked,
        spots=list(enumerate(here, start=before + 1)),
        drawing=shares.drawing(here, mark, before + 1) if any(one.told for one in here) else None,
        page=page,
        pages=pages,
        orders=[(key, _order(key)) for key in ORDERS],
        lesson_choices=[("all", gettext("Every lesson"))]
        + [(one.slug, one.title(current())) for one in taught.choices()],
        title_of=_title,
        percent=shares.percent,
        separation=separation,
        fewest=FEWEST,
        pass_mark=mark,
    ), 422 if asked.fault else 200


@bp.get("/hard-spots/question/<question>")
@may("trainer", "coordinator")
def question(question: str):
    """Show one question as it is asked, and how many chose each option."""
    return _item("question", question)


@bp.get("/hard-spots/exercise/<exercise>")
@may("trainer", "coordinator")
def exercise(exercise: str):
    """Show an example of one exercise, and how many made each slip."""
    return _item("exercise", exercise)


def separation(told: Figures) -> str:
    """Return how an item separates, as words and the number."""
    if told.correlation is None:
        return gettext("cannot be worked out")
    words = {
        "well": gettext("separates well"),
        "little": gettext("separates little"),
        "wrong way": gettext("separates the wrong way round"),
        "unclear": gettext("may be chance"),
    }[separates(told.correlation, told.compared)]
    # A true minus sign; two decimals always, so that the numbers can be compared.
    shown = f"{told.correlation:.2f}".replace("-0.00", "0.00").replace("-", "−")
    return f"{words} ({shown})"


def _item(kind: str, slug: str):
    asked = _asked()
    if asked.scope is None:
        return _fault_page(asked)
    with reading() as db:
        found = hard_spots.detail(db, asked.scope, kind, slug) or abort(404)
    lesson = taught.lesson(found.spot.lesson)
    return render_template(
        "hard_spots/item.html",
        asked=asked,
        detail=found,
        spot=found.spot,
        told=found.spot.told,
        lesson=lesson,
        part=lesson.section(found.spot.section) if lesson else None,
        percent=shares.percent,
        separation=separation,
        fewest=FEWEST,
        days=[_day(asked.first), _day(asked.last)],
        back=asked.address(page=request.args.get("page", type=int)),
        where=dict(asked.choices).get(asked.worksite, ""),
    )


def _fault_page(asked: Asked):
    return render_template(
        "fault.html", title=gettext("Please look at this again"), text=asked.fault
    ), 422


def _asked() -> Asked:
    """Return what the address asks for; a worksite that is none of theirs is as if not named."""
    mine = "coordinator" not in g.roles
    choices = surroundings.worksite_choices(mine)
    keys = [key for key, _ in choices]
    worksite = request.args.get("worksite", type=int)
    worksite = worksite if worksite in keys else None
    lesson = request.args.get("lesson", "")
    sort = request.args.get("sort", "")
    typed = [request.args.get(name, "").strip()[:20] for name in ("from", "to")]
    within, fault, field = None, "", ""
    try:
        first, field = _day(typed[0]), "to"
        last = _day(typed[1])
        sites = tuple(keys) if mine else None
        within = hard_spots.scope(sites, first, last, _zone(worksite), worksite)
    except Refusal as refusal:  # which is a ValueError too
        fault = say(refusal)
    except ValueError:
        fault, field = gettext("Give a date, such as 2026-11-25."), field or "from"
    return Asked(
        worksite,
        lesson if taught.lesson(lesson) else "",
        *typed,
        sort if sort in ORDERS else ORDERS[0],
        choices,
        within,
        fault,
        field if fault else "",
    )


def _day(typed: str) -> date | None:
    """Return a day as it was typed; None for nothing. Errors: ValueError."""
    return date.fromisoformat(typed) if typed else None


def _zone(worksite: int | None) -> ZoneInfo:
    """Return the time zone that days are meant in: of the worksite, or of the installation."""
    if worksite is None:
        return access.settings().zone
    with reading() as db:
        return ZoneInfo(db.get(Worksite, worksite).time_zone)


def _order(key: str) -> str:
    return {
        "hardest": gettext("Hardest first"),
        "answers": gettext("Most answers first"),
        "separates": gettext("Worst separation first"),
        "lesson": gettext("In the order of the lessons"),
    }[key]


def _title(slug: str) -> str:
    return taught.title(slug) if slug else gettext("No lesson: among the exercises")
