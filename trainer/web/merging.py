"""Two records of one person: both side by side, then one that goes on."""

from dataclasses import dataclass

from flask import Blueprint, abort, flash, redirect, render_template, request
from flask_babel import format_date, gettext

from trainer.services import merging, sitting
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.web import access, entries, items, taught
from trainer.web.access import may, reading, writing
from trainer.web.errors import say
from trainer.web.language import current
from trainer.web.surroundings import wears

bp = Blueprint("merging", __name__)


@dataclass(frozen=True)
class Row:
    """One thing, as it stands in each of the two records."""

    what: str
    one: list[str]
    other: list[str]

    @property
    def differs(self) -> bool:
        """Say whether the two differ."""
        return sorted(self.one) != sorted(self.other)


@bp.get("/people/<number>/merge")
@may("coordinator")
def look(number: str):
    """Ask for the number of the other record; then show both."""
    return _page(number, request.args.get("other", "").strip()[:40])


@bp.post("/people/<number>/merge")
@may("coordinator")
def join(number: str):
    """Join two records of one person; sent twice, it is done once."""
    other = request.form.get("other", "").strip()[:40]
    goes_on = request.form.get("goes_on", "")
    with reading() as db:
        two = _two(db, number, other)
    if two is None:
        return _page(number, other, sent=True)
    here, there = two
    wrong = {}
    if goes_on not in (here.number, there.number):
        wrong["goes_on"] = gettext("Choose which record goes on.")
    if request.form.get("sure") != "yes":
        wrong["sure"] = gettext("Tick this if you know that both are of one person.")
    if wrong:
        return _page(number, other, wrong, sent=True)
    keeps, ends = (here, there) if goes_on == here.number else (there, here)
    try:
        with writing() as db:
            kept, gone = (people.with_very_number(db, one.number) for one in (keeps, ends))
            merging.merge(db, access.scribe(), kept, gone)
    except Refusal as refusal:
        return _page(number, other, {refusal.field or "goes_on": say(refusal)}, sent=True)
    flash(gettext("The two records are one now: %(number)s goes on.", number=keeps.number))
    return redirect(f"/people/{keeps.number}", 303)


@bp.get("/people/<number>/unfinished/<int:number_of>")
@may("trainer", "coordinator")
def unfinished(number: str, number_of: int):
    """Show a sitting that was begun under a number that goes on no more, and never handed in."""
    with reading() as db:
        found = access.their(db, number)
        there = next((one for one in merging.unfinished(db, found) if one.id == number_of), None)
        if there is None:
            abort(404)
        shown = sitting.shown(db, there)
        tongue = _tongue(sitting.languages(db, there, shown))
    return render_template(
        "merging/unfinished.html",
        found=found,
        sitting=there,
        title=taught.title(there.lesson),
        items=shown,
        given_of=lambda one: items.given_of(one, tongue),
        tongue=tongue,
    )


def _tongue(written: tuple[str, ...]) -> str:
    return current() if current() in written or not written else written[0]


def _two(db, number: str, other: str):
    """Return both records by their very numbers, or None where they cannot be joined."""
    here, there = (people.with_very_number(db, one) for one in (number, other))
    return (here, there) if here and there else None


def _page(number: str, other: str, wrong: dict[str, str] | None = None, sent: bool = False):
    wrong = dict(wrong or {})
    with reading() as db:
        found = people.with_very_number(db, number) or abort(404)
        one = two = None
        if other:
            there = people.with_very_number(db, other)
            if there is None:
                wrong["other"] = gettext("Nobody has the worker number %(number)s.", number=other)
            else:
                # The sentence of a second send that came too late stands in `wrong` already.
                if "other" not in wrong:
                    wrong |= _refused(db, found, there)
                if "other" not in wrong:
                    one, two = merging.side(db, found), merging.side(db, there)
    page = render_template(
        "merging/merge.html",
        found=found,
        other=other,
        one=one,
        two=two,
        rows=_rows(one, two) if one else [],
        lines=[_lines(side) for side in (one, two)] if one else [],
        wrong=wrong,
        goes_on=request.form.get("goes_on", ""),
        sure=request.form.get("sure") == "yes",
    )
    return page, 422 if sent or (other and "other" in wrong) else 200


def _refused(db, one, other) -> dict[str, str]:
    try:
        merging.refuse_pair(db, one, other)
    except Refusal as refusal:
        return {"other": say(refusal)}
    return {}


def _lines(side: merging.Side) -> list[entries.Line]:
    return entries.lines(side.entries, access.sees_medical())


def _rows(one: merging.Side, two: merging.Side) -> list[Row]:
    """Return what is compared of two records."""
    roles = {
        "worker": gettext("Worker"),
        "trainer": gettext("Trainer"),
        "coordinator": gettext("Coordinator"),
        people.MEDICAL: gettext("Medical determinations"),
    }
    tongues = {"en": gettext("English"), "es": gettext("Spanish")}
    about = (
        (gettext("Name"), lambda side: [side.person.name]),
        (gettext("Worker numbers"), lambda side: list(side.numbers)),
        (gettext("Language"), lambda side: [tongues[side.person.language]]),
        (gettext("Roles"), lambda side: [roles[role] for role in sorted(side.roles)]),
        (gettext("Worksites"), lambda side: [place.name for place in side.worksites]),
        (gettext("Qualification as a trainer"),
         lambda side: [side.person.qualification] if side.person.qualification else []),
        (gettext("Respirators"), lambda side: [wears(worn) for worn in side.respirators]),
        (gettext("Left on"),
         lambda side: [format_date(side.person.left_on)] if side.person.left_on else []),
        (gettext("Entries of the record"), lambda side: [str(len(side.entries))]),
        (gettext("Questions asked"), lambda side: [str(side.open_questions)]),
        (gettext("Sittings not finished"), lambda side: [str(side.open_sittings)]),
    )  # fmt: skip
    return [Row(what, of(one), of(two)) for what, of in about]
