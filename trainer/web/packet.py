"""The inspection packet: asked for by worksite and period, made beside the pages, downloaded."""

import secrets
from datetime import timedelta

from flask import Blueprint, g, redirect, render_template, request
from flask_babel import gettext
from flask_babel import lazy_gettext as _l
from sqlmodel import Session

from trainer.services import packet
from trainer.services.packet import place
from trainer.services.refusal import Refusal
from trainer.store import changes
from trainer.store.tables import Errand, Worksite
from trainer.web import access, forms, surroundings
from trainer.web import errands as errand_pages
from trainer.web.access import may, now, reading, writing
from trainer.web.language import current

bp = Blueprint("packet", __name__)


@bp.get("/packet")
@may("coordinator")
def index():
    """Choose what a packet is about, and see those that were made."""
    form = _form()
    today = now().astimezone(access.settings().zone).date()
    form.first.data, form.last.data = today - timedelta(days=365), today
    form.language.data, form.deed.data = current(), secrets.token_hex(16)
    asked = request.args.get("worksite", type=int)
    if asked in [choice.value for choice in form.worksite.choices]:
        form.worksite.data = asked
    return _page(form)


@bp.post("/packet")
@may("coordinator")
def ask():
    """Ask for a packet; sent twice, it is one."""
    form, fault = _form(), ""
    if form.validate_on_submit():
        try:
            with writing() as db:
                scribe = access.scribe()
                asked = packet.settled(
                    db, scribe, db.get(Worksite, form.worksite.data), first=form.first.data,
                    last=form.last.data, medical=form.medical.data and access.sees_medical(),
                    answers=form.answers.data, language=form.language.data,
                    organisation=access.settings().organisation,
                )  # fmt: skip
                once = f"packet:{g.person.id}:{form.deed.data}"
                errand = packet.ask(db, scribe, asked, once)
                if errand.asked_at == scribe.now:  # sent twice, it was taken out once
                    _note(db, form)
        except Refusal as refusal:
            fault = form.blame(refusal)
        else:
            return redirect(f"/errands/{errand.id}", 303)
    return _page(form, fault), 422


def _form() -> forms.PacketForm:
    form = forms.PacketForm()
    form.worksite.choices = forms.choices(surroundings.worksite_choices(mine=False))
    return form


def _note(db: Session, form: forms.PacketForm) -> None:
    """Note that somebody took the record of a worksite out, as every other export is noted."""
    what = [
        ("worksite", "", db.get(Worksite, form.worksite.data).name),
        ("first", "", form.first.data.isoformat()),
        ("last", "", form.last.data.isoformat()),
        ("format", "", "zip"),
    ]
    if form.medical.data and access.sees_medical():
        what.append(("determinations", "", "yes"))
    changes.note(db, "export", "taken-out", None, what)


def _page(form: forms.PacketForm, fault: str = ""):
    with reading() as db:
        rows = packet.made_before(db)
        there = {one.worksite_id: db.get(Worksite, one.worksite_id) for _, one, *_ in rows}
        lacking = [
            (one, _in_a_row([term(current()) for term in place.missing_program(one)]))
            for one in (db.get(Worksite, choice.value) for choice in form.worksite.choices)
            if place.missing_program(one)
        ]
    return render_template(
        "packet/index.html", form=form, fault=fault, rows=rows, there=there, lacking=lacking
    )


def _in_a_row(terms: list[str]) -> str:
    """Return terms one after another, as they stand within a sentence."""
    return "; ".join(term[:1].lower() + term[1:] for term in terms)


def _result(_errand: Errand, said: dict) -> tuple[str, str]:
    sentence = gettext(
        "%(people)s people and %(entries)s entries. Last entry of the record: %(number)s, hash "
        "%(hash)s.",
        people=said["people"], entries=said["entries"], number=said["number"],
        hash=said["hash"] or "–",
    )  # fmt: skip
    if not said["holds"]:
        sentence += " " + gettext(
            "The chain of the record does not hold. The packet says where; look into it first."
        )
    return sentence, ""


errand_pages.shows("packet", _l("Inspection packet"), _result)

# Sentences of the services, where the catalogues find them.
_REFUSALS = (
    _l("This worksite is not there any more."),
    _l("Ask for the cards again."),
)
