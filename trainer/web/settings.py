"""What is set here: each setting with what it does, its default, and what stands now."""

from dataclasses import dataclass
from zoneinfo import available_timezones

from flask import Blueprint, flash, redirect, render_template, request
from flask_babel import gettext

from trainer.config import LANGUAGE_ORDERS, PREFIX, SECOND_STEPS
from trainer.services import settings
from trainer.services.refusal import Refusal
from trainer.web import access
from trainer.web.access import may, reading, writing
from trainer.web.errors import say

bp = Blueprint("settings", __name__)


@dataclass(frozen=True)
class Line:
    """One setting as the page shows it.

    shown       what stands now, as it is sent back, so that nobody undoes a newer change
    variable    the environment variable that sets it; "" where the page may
    """

    name: str
    label: str
    what: str
    unit: str
    default: str
    value: str
    shown: str
    variable: str
    bounds: tuple[int, int] | None
    fault: str


@bp.get("/settings")
@may("coordinator")
def page():
    """Show every setting that a coordinator may choose."""
    return _page()


@bp.post("/settings")
@may("coordinator")
def keep():
    """Keep what was changed; all of it or nothing."""
    given = {name: request.form[name] for name in settings.OFFERED if name in request.form}
    shown = {name: request.form.get(f"was-{name}", "") for name in settings.OFFERED}
    try:
        with writing() as db:
            changed = settings.change(db, access.scribe(), given, shown)
    except Refusal as refusal:
        return _page(given, {refusal.field: say(refusal)}), 422
    flash(gettext("The settings are kept.") if changed else gettext("Nothing was changed."))
    return redirect("/settings", 303)


def _page(given: dict[str, str] | None = None, wrong: dict[str, str] | None = None) -> str:
    with reading() as db:
        stands, fixed = settings.of(db), settings.fixed(db)
    lines = [
        Line(
            name,
            *_words()[name],
            default=_in_words(name, str(settings.default(name))),
            value=(given or {}).get(name, str(getattr(stands, name))),
            shown=str(getattr(stands, name)),
            variable=f"{PREFIX}{name.upper()}" if name in fixed else "",
            bounds=settings.bounds(name),
            fault=(wrong or {}).get(name, ""),
        )
        for name in settings.OFFERED
    ]
    return render_template(
        "settings/page.html",
        lines=lines,
        choices={
            name: [(one, _in_words(name, one)) for one in values]
            for name, values in (("languages", LANGUAGE_ORDERS), ("second_step", SECOND_STEPS))
        },
        zones=sorted(zone for zone in available_timezones() if "/" in zone),
        in_words=_in_words,
    )


def label(name: str) -> str:
    """Return what a setting is called."""
    return _words()[name][0] if name in _words() else name


def _in_words(name: str, value: str) -> str:
    """Return a value as people read it."""
    if name == "languages":
        return {
            "en es": gettext("English and Spanish, English first"),
            "es en": gettext("English and Spanish, Spanish first"),
            "en": gettext("English only"),
            "es": gettext("Spanish only"),
        }[value]
    if name == "second_step":
        return {
            "optional": gettext("Whoever wants it"), "required": gettext("Required"),
        }[value]
    if name == "training_keep_years" and value == "0":
        return gettext("0: never proposed")
    unit = _words()[name][2]
    if not value:
        return gettext("none")
    return f"{value} {unit}" if unit else value


def _words() -> dict[str, tuple[str, str, str]]:
    """Return by setting: what it is called, what it does, its unit."""
    days, seconds = gettext("days"), gettext("seconds")
    return {
        "organisation": (
            gettext("Employer"),
            gettext("Its name stands on tags, pages and what is taken out."),
            "",
        ),
        "time_zone": (
            gettext("Time zone"),
            gettext("Decides which day it is for whoever belongs to no worksite. A worksite has "
                    "its own."),
            "",
        ),
        "languages": (
            gettext("Languages"),
            gettext("Which languages pages can be read in. The first is used where a browser asks "
                    "for none of them."),
            "",
        ),
        "pass_mark": (
            gettext("Pass mark"),
            gettext("So much of what is not must-know has to be right in a sitting. Every "
                    "must-know always has to be."),
            "%",
        ),
        "due_soon_days": (
            gettext("Due soon"),
            gettext("So long before a due date a tag says that it falls due soon."), days,
        ),
        "begin_again_days": (
            gettext("Lessons open again"),
            gettext("So long before the yearly date the lessons can be taken again. Whoever takes "
                    "them early has the next year from that day."),
            days,
        ),
        "idle_shared_seconds": (
            gettext("Idle time on a shared tablet"),
            gettext("After so long without a touch, the person is signed out, so that the next one "
                    "does not go on in their name."),
            seconds,
        ),
        "idle_own_seconds": (
            gettext("Idle time on any other device"),
            gettext("After so long without a touch, the person is signed out."), seconds,
        ),
        "session_hours": (
            gettext("Longest time signed in"),
            gettext("After so long one signs in again, idle or not."), gettext("hours"),
        ),
        "code_minutes": (
            gettext("One-time code"),
            gettext("So long a one-time code can be used after it was made."), gettext("minutes"),
        ),
        "second_step": (
            gettext("Second step of trainers and coordinators"),
            gettext("After the passphrase, a code that an app on their phone shows. Where it is "
                    "required, nothing else opens for them until they have set it up. Not asked "
                    "for after the PIN on their own enrolled device, which is a second proof by "
                    "itself."),
            "",
        ),
        "training_keep_years": (
            gettext("Keep training after leaving"),
            gettext("The federal rule states no period for records of training; your state may. "
                    "After so many years from the last day, the page on how long to keep proposes "
                    "what may be erased; nothing is ever erased by itself. 0: never proposed."),
            gettext("years"),
        ),
    }  # fmt: skip
