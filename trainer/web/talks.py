"""Recording a talk given in a room: who was there, what was taught, when and by whom."""

import secrets
from datetime import date, datetime, time

from flask import Blueprint, abort, flash, g, redirect, render_template, request
from flask_babel import gettext, ngettext

from trainer.services import curriculum, standing, teaching
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import TaughtTalk, Worksite
from trainer.web import access, surroundings, taught
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import at_field
from trainer.web.language import current

bp = Blueprint("talks", __name__)

SHOWN = 20
FIELDS = ("day", "began", "ended", "minutes", "tongue", "mode")


@bp.get("/crew/talks")
@may("trainer")
def index():
    """Show the form for a talk, and the talks that were recorded."""
    return _page()


@bp.post("/crew/talks")
@may("trainer")
def record():
    """Record a talk that was given; sent twice, it is one."""
    given = request.form
    try:
        began, ended = _moment(given.get("began", "")), _moment(given.get("ended", ""))
        minutes = teaching.length(began, ended, _minutes(given.get("minutes", "")))
        with writing() as db:
            talk = teaching.give(
                db,
                access.scribe(),
                _worksite(db),
                once=_deed(),
                day=_day(given.get("day", "")),
                began=began,
                minutes=minutes,
                language=given.get("tongue", ""),
                mode=given.get("mode", ""),
                slugs=given.getlist("lesson"),
                numbers=given.getlist("person"),
            )
    except Refusal as refusal:
        return _page(at_field(refusal, "day")), 422
    count = len(set(given.getlist("person")))
    flash(
        ngettext(
            "Recorded as talk %(number)s: %(num)s person was there and may take the questions.",
            "Recorded as talk %(number)s: %(num)s people were there and may take the questions.",
            count, number=talk.id,
        )
    )  # fmt: skip
    return redirect(f"/crew/talks?worksite={talk.worksite_id}", 303)


@bp.post("/crew/talks/<int:number>/back")
@may("trainer")
def take_back(number: int):
    """Take back a talk of the trainer's own that was recorded by mistake."""
    with writing() as db:
        talk = db.get(TaughtTalk, number)
        if talk is None or talk.trainer_id != g.person.id:
            abort(404)
        teaching.take_back(db, access.scribe(), talk)
    flash(gettext("Talk %(number)s is taken back. It stays on the list.", number=number))
    return redirect(f"/crew/talks?worksite={talk.worksite_id}", 303)


def _page(wrong: dict[str, str] | None = None):
    choices = surroundings.worksite_choices(mine=True)
    asked = request.values.get("worksite", type=int)
    chosen = asked if asked in dict(choices) else next(iter(dict(choices)), None)
    with reading() as db:
        day = standing.today(db, g.person, now(), access.settings().zone)
        there = people.at_worksite(db, chosen) if chosen else []
        held = teaching.held_at(db, [chosen], SHOWN) if chosen else []
    values = {name: request.form.get(name, "") for name in FIELDS}
    return render_template(
        "crew/talks.html",
        choices=choices,
        chosen=chosen,
        deed=request.form.get("deed") or secrets.token_hex(16),
        values=values | {"day": values["day"] or day.isoformat()},
        lessons=[
            (one.slug, one.title(current()), curriculum.content_version(one))
            for one in taught.choices()
        ],
        picked=request.values.getlist("lesson"),
        people=[one for one in there if one.id != g.person.id],
        ticked=request.form.getlist("person"),
        held=held,
        title_of=taught.title,
        mode_words=mode_words(),
        wrong=wrong or {},
    )


def mode_words() -> dict[str, str]:
    """Return how a talk may be given, in the reader's words."""
    return {
        "taught in person": gettext("Taught in person"),
        "read aloud": gettext("Read aloud by the trainer"),
    }


def _deed() -> str:
    key = request.form.get("deed", "")
    if len(key) != 32 or not set(key) <= set("0123456789abcdef"):
        raise Refusal("Open the page again.")
    return f"talk:{g.person.id}:{key}"


def _worksite(db) -> Worksite:
    chosen = request.form.get("worksite", type=int)
    if chosen not in [one.id for one in people.worksites(db, g.person.id)]:
        raise Refusal("Choose one of your worksites.")
    return db.get(Worksite, chosen)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refusal("Give the day of the talk as a date.", field="day") from None


def _moment(text: str) -> time | None:
    try:
        return datetime.strptime(text, "%H:%M").time() if text.strip() else None
    except ValueError:
        raise Refusal("Give times as hours and minutes, such as 13:30.", field="began") from None


def _minutes(text: str) -> int | None:
    typed = text.strip()
    if typed and not (typed.isdecimal() and len(typed) < 5):
        raise Refusal("Give the minutes as a whole number, such as 45.", field="minutes")
    return int(typed) if typed else None
