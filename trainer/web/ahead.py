"""A year ahead: what falls due, month by month, drawn and as tables."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from flask import Blueprint, Response, g, render_template, request
from flask_babel import format_date, gettext

from trainer.documents import chart
from trainer.store import board as asking
from trainer.store.board import Filter
from trainer.web import access, surroundings
from trainer.web.access import may, now, reading
from trainer.web.board import due_name
from trainer.web.pictures import POLICY

bp = Blueprint("ahead", __name__)

MONTHS = 12

@dataclass(frozen=True)
class Year:
    """What falls due for whoever looks.

    months  "past", then YYYY-MM of this month and those that follow
    counts  (month, kind) to how many people; there: (month, worksite) to how many
    """

    today: date
    chosen: int | None
    choices: list[tuple[int, str]]
    mine: bool
    kinds: tuple[str, ...]
    months: tuple[str, ...]
    counts: dict[tuple[str, str], int]
    there: dict[tuple[str, int], int]

    def address(self, month: str, kind: str = "", worksite: int | None = None) -> str:
        """Return where the people of a number are listed."""
        asked = Filter(worksite=worksite or self.chosen, kind=kind, month=month)
        return f"{'/people' if self.mine else '/board'}?{asked.query()}"


@bp.get("/ahead")
@may("trainer", "coordinator")
def ahead():
    """Show what falls due in the year ahead, and what is past."""
    year = _year(tables=True)
    query = urlencode({"worksite": year.chosen} if year.chosen else {})
    return render_template(
        "board/ahead.html",
        year=year,
        month_name=month_name,
        due_name=due_name,
        any_due=any(year.counts.values()),
        drawing=lambda **more: "/ahead/drawing.svg?" + "&".join(
            filter(None, (query, urlencode(more)))
        ),
        asked_words=_said(year),
    )


@bp.get("/ahead/drawing.svg")
@may("trainer", "coordinator")
def drawing():
    """Draw what falls due, as a picture of its own."""
    year = _year(tables=False)
    dark, narrow = request.args.get("dark") == "yes", request.args.get("narrow") == "yes"
    series = [
        chart.Series(due_name(kind), tuple(year.counts.get((one, kind), 0) for one in year.months))
        for kind in year.kinds
    ]
    drawn = chart.bars(
        [month_name(one, short=True) for one in year.months],
        series,
        ink=chart.DARK if dark else chart.LIGHT,
        narrow=narrow,
    )
    answer = Response(drawn, mimetype="image/svg+xml")
    answer.headers["Content-Security-Policy"] = POLICY
    answer.headers["Cache-Control"] = "private, no-cache"
    return answer


def _year(tables: bool) -> Year:
    """Return what falls due; with what each worksite has, where tables are shown."""
    mine = "coordinator" not in g.roles
    choices = surroundings.worksite_choices(mine)
    chosen = Filter.read(request.args).worksite
    chosen = chosen if chosen in [key for key, _ in choices] else None
    today = now().astimezone(access.settings().zone).date()
    months = _months(today)
    end = asking.next_month(date.fromisoformat(f"{months[-1]}-01"))
    sites = tuple(key for key, _ in choices) if mine else None
    medical = access.sees_medical()
    with reading() as db:
        found = asking.due_by_kind(db, today, end, chosen, sites, medical=medical)
        there = (
            asking.due_by_worksite(db, today, end, sites, medical=medical)
            if tables and not chosen
            else []
        )
    return Year(
        today, chosen, choices, mine,
        tuple(kind for kind in asking.DUE_KINDS if medical or kind != "medical"),
        ("past", *months),
        {(one.month, one.kind): one.people for one in found},
        {(one.month, one.where): one.people for one in there},
    )  # fmt: skip


def _months(today: date) -> tuple[str, ...]:
    """Return this month and the twelve that follow: what was done today falls due in the last."""
    first = today.replace(day=1)
    found = []
    for _ in range(MONTHS + 1):
        found.append(f"{first:%Y-%m}")
        first = asking.next_month(first)
    return tuple(found)


def month_name(month: str, short: bool = False) -> str:
    """Return a month in words."""
    if month == "past":
        return gettext("Past its date")
    return format_date(date.fromisoformat(f"{month}-01"), "MMM yyyy" if short else "MMMM yyyy")


def _said(year: Year) -> str:
    """Return in a sentence what the drawing shows."""
    totals = {one: sum(year.counts.get((one, kind), 0) for kind in year.kinds)
              for one in year.months}  # fmt: skip
    most = max(year.months[1:], key=lambda one: totals[one])
    return gettext(
        "What falls due month by month, by kind. Past its date: %(past)s. Most in %(month)s: "
        "%(many)s.",
        past=totals["past"], month=month_name(most), many=totals[most],
    )  # fmt: skip
