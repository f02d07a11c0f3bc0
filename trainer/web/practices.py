"""Several practices at one go: picked from a list, marked on one page, signed each or all."""

from datetime import date, timedelta

from flask import Blueprint, abort, flash, g, redirect, render_template, request
from flask_babel import gettext

from trainer.reference import respirator_classes
from trainer.reference.practice_acts import PracticeAct
from trainer.services import observing, standing
from trainer.services.refusal import Refusal
from trainer.store.tables import Person, Practice, Respirator
from trainer.web import access, htmx, surroundings
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import say
from trainer.web.language import current

bp = Blueprint("practices", __name__)

ALL = "all"
LONGEST_NUMBER = 18
"""Digits of the longest number that the database can hold."""


@bp.get("/crew/practices")
@may("trainer")
def index():
    """Show whose practice waits at a worksite, to pick several."""
    return _list_page()


@bp.post("/crew/practices")
@may("trainer")
def begin():
    """Begin the practices of those picked, or go on with those that are open."""
    try:
        with writing() as db:
            picked = request.form.getlist("worn", type=int)
            begun = observing.begin_several(db, access.scribe(), picked)
    except Refusal as refusal:
        return _list_page(fault=say(refusal)), 422
    return redirect(_address([one.id for one in begun]), 303)


@bp.get("/crew/practices/<numbers>")
@may("trainer")
def watch(numbers: str):
    """Show the acts to watch, each with everybody who is being watched."""
    return _watch_page(numbers)


@bp.post("/crew/practices/<numbers>")
@may("trainer")
def mark(numbers: str):
    """Keep the marks given so far; with a button to sign, sign one practice or all of them."""
    act, faults, signed = request.form.get("act", ""), [], []
    for number in _numbers(numbers):
        try:
            with writing() as db:
                there = observing.own(db, number, g.person) or abort(404)
                if there.signed_at is None:
                    observing.mark(db, access.scribe(), there, _marks_of(number))
        except Refusal as refusal:
            faults.append((_field(number), say(refusal)))
    if act not in (ALL, *map(str, _numbers(numbers))):
        if htmx.wants_part() and not faults:
            return render_template("worker/_kept.html", kept=True, at=now())
        if not faults:
            flash(gettext("Saved. Sign when every act is marked."))
            return redirect(_address(_numbers(numbers)), 303)
        return _watch_page(numbers, faults), 422
    for number in _numbers(numbers):
        if act in (ALL, str(number)):
            _sign(number, signed, faults)
    if signed:
        flash(gettext("Signed: %(whose)s.", whose="; ".join(signed)))
    if faults:
        return _watch_page(numbers, faults), 422
    return redirect(_address(_numbers(numbers)), 303)


def _sign(number: int, signed: list[str], faults: list[tuple[str, str]]) -> None:
    """Sign one practice; what refuses it is said with the name, and the others go on."""
    whose = ""
    try:
        with writing() as db:
            there = observing.own(db, number, g.person) or abort(404)
            whose = db.get(Person, there.person_id).name
            if there.signed_at is not None:
                return
            # Once more in the same breath: what the page saved by itself may have come late.
            observing.mark(db, access.scribe(), there, _marks_of(number))
            entry = observing.sign(db, access.scribe(), there)
            signed.append(gettext("%(name)s, entry %(number)s", name=whose, number=entry.number)
                          if entry else whose)
    except Refusal as refusal:
        faults.append((_field(number), f"{whose}: {say(refusal)}"))


def _list_page(fault: str = ""):
    choices = surroundings.worksite_choices(mine=True)
    asked = request.values.get("worksite", type=int)
    class_slug = request.values.get("class", "")
    with reading() as db:
        today = standing.today(db, g.person, now(), access.settings().zone)
        soon = today + timedelta(days=access.settings().due_soon_days)
        chosen, found = _there(db, asked, [key for key, _ in choices], soon)
    classes = sorted({one.respirator.class_slug for one in found})
    shown = [one for one in found if class_slug in ("", one.respirator.class_slug)]
    return render_template(
        "crew/practices.html",
        choices=choices,
        chosen=chosen,
        classes=[(slug, respirator_classes.get(slug).name(current())) for slug in classes],
        class_slug=class_slug,
        waiting=[one for one in shown if one.waits],
        others=[one for one in shown if not one.waits],
        ticked=request.form.getlist("worn"),
        most=observing.AT_ONCE,
        fault=fault,
    )


def _there(
    db, asked: int | None, mine: list[int], soon: date
) -> tuple[int | None, list[observing.Wearer]]:
    """Return a worksite and who wears a respirator there.

    It is the one asked for; else the first where practice waits, so that nobody is overlooked.
    """
    chosen, found = None, []
    for one in [asked] if asked in mine else mine:
        there = observing.wearers(db, g.person, one, soon)
        if any(who.waits for who in there):
            return one, there
        if chosen is None:
            chosen, found = one, there
    return chosen, found


def _watch_page(numbers: str, faults: list[tuple[str, str]] | None = None):
    with reading() as db:
        rows = [_row(db, number) for number in _numbers(numbers)]
    acts: dict[str, PracticeAct] = {}
    for row in rows:
        acts |= {act.slug: act for act in row["acts"]}
    order = [act for act in _in_order(acts, rows) if any(_is_open(row, act) for row in rows)]
    return render_template(
        "crew/watch.html",
        rows=rows,
        acts=[(act, [row for row in rows if _is_open(row, act)]) for act in order],
        left=[row for row in rows if row["practice"].signed_at is None],
        faults=faults or [],
        here=_address(_numbers(numbers)),
    )


def _row(db, number: int) -> dict[str, object]:
    """Return what the page shows of one practice."""
    there: Practice = observing.own(db, number, g.person) or abort(404)
    return {
        "practice": there,
        "person": db.get(Person, there.person_id),
        "respirator": db.get(Respirator, there.respirator_id),
        "acts": observing.asked_of(db, there),
        "seen": observing.seen(db, there),
    }


def _is_open(row: dict, act: PracticeAct) -> bool:
    return row["practice"].signed_at is None and act in row["acts"]


def _in_order(acts: dict[str, PracticeAct], rows: list[dict]) -> list[PracticeAct]:
    """Return every act once, in the order of the practice that has the most of them."""
    longest = max(rows, key=lambda row: len(row["acts"]))["acts"]
    return [*longest, *(act for act in acts.values() if act not in longest)]


def _marks_of(number: int) -> dict[str, str]:
    start = f"act-{number}-"
    return {
        key.removeprefix(start): value
        for key, value in request.form.items()
        if key.startswith(start)
    }


def _numbers(text: str) -> list[int]:
    """Return the numbers of the practices that an address names, such as 3-4-7; else 404."""
    parts = text.split("-")
    whole = all(part.isdecimal() and len(part) <= LONGEST_NUMBER for part in parts)
    if len(parts) > observing.AT_ONCE or not whole:
        abort(404)
    return list(dict.fromkeys(map(int, parts)))


def _address(numbers: list[int]) -> str:
    return f"/crew/practices/{'-'.join(map(str, numbers))}"


def _field(number: int) -> str:
    return f"sign-{number}"
