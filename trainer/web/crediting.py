"""Credit for training that a new person had elsewhere: what it covered, and who saw the proof."""

import secrets

from flask import Blueprint, flash, g, redirect, render_template, request
from flask_babel import gettext, ngettext

from trainer.reference import respirator_classes, training_elements
from trainer.services import recording, standing
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.web import access, forms
from trainer.web.access import may, now, reading, writing
from trainer.web.language import current

bp = Blueprint("crediting", __name__)

MARK = "element-"


@bp.route("/people/<number>/credit", methods=["GET", "POST"])
@may("trainer", "coordinator")
def credit(number: str):
    """Credit a person's earlier training, 29 CFR 1910.134(k)(4)."""
    with reading() as db:
        found = access.their(db, number)
        worn = [one.class_slug for one in people.respirators(db, found.id)]
    form = forms.CreditForm()
    form.trained_with.choices = forms.choices(_classes(worn))
    if request.method == "GET":
        form.deed.data = secrets.token_hex(16)
    marks = _marks()
    fault = ""
    if form.validate_on_submit():
        try:
            with writing() as db:
                person = access.their(db, number)
                entry = recording.record_credit(
                    db,
                    access.scribe(),
                    person,
                    once=f"credit:{form.deed.data}",
                    earlier_on=form.on.data,
                    given_by=form.given_by.data,
                    proof=form.proof.data,
                    trained_with=form.trained_with.data or [],
                    elements=marks,
                )
                today = standing.today(db, person, now(), access.settings().zone)
                left = len(standing.History(db, person).to_do(today))
            flash(_said(entry.number, left))
            return redirect(f"/people/{number}", 303)
        except Refusal as refusal:
            fault = form.blame(refusal)
    return render_template(
        "people/credit.html",
        form=form,
        fault=fault,
        found=found,
        own=found.id == g.person.id,
        elements=[
            (f"{MARK}{place}", f"{row.paragraph.removeprefix('(k)(1)')} {row.name(current())}",
             marks.get(row.paragraph, ""))
            for place, row in enumerate(training_elements.seven(), start=1)
        ],
        ways=_ways(),
    ), 422 if request.method == "POST" else 200  # fmt: skip


def _said(number: int, left: int) -> str:
    kept = gettext("Kept as entry %(number)s.", number=number)
    nothing = gettext("No lesson is left to do; practice is to be watched here.")
    if not left:
        return f"{kept} {nothing}"
    more = ngettext(
        "%(num)s lesson stays to do, and practice is to be watched here.",
        "%(num)s lessons stay to do, and practice is to be watched here.",
        left,
    )
    return f"{kept} {more}"


def _marks() -> dict[str, str]:
    """Return how each of the seven elements was marked in the form."""
    given = {
        row.paragraph: request.form.get(f"{MARK}{place}", "")
        for place, row in enumerate(training_elements.seven(), start=1)
    }
    return {paragraph: mark for paragraph, mark in given.items() if mark}


def _ways() -> list[tuple[str, str]]:
    return [
        ("asked", gettext("Covered: I asked, and they knew it")),
        ("sitting", gettext("Covered: they will show it in the closing questions")),
        (recording.NOT_COVERED, gettext("Not covered")),
    ]


def _classes(worn: list[str]) -> list[tuple[str, str]]:
    """Return the classes that the person wears here; all of them, where none is given yet."""
    rows = respirator_classes.recognised()
    return [(row.slug, row.name(current())) for row in rows if not worn or row.slug in worn]
