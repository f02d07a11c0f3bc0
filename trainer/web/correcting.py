"""Correcting an entry of the record: what it says, what is right, what follows, then the deed."""

import secrets
from dataclasses import dataclass
from datetime import date

from flask import Blueprint, abort, flash, redirect, render_template, request
from flask_babel import gettext

from trainer.services import recording, standing
from trainer.services.refusal import Refusal
from trainer.store import people, record
from trainer.store.tables import Entry, Person, Respirator
from trainer.web import access, entries, forms, tagging
from trainer.web.access import may, reading, writing
from trainer.web.surroundings import wears

bp = Blueprint("correcting", __name__)

RIGHT, STRIKE, PUT_BACK = "right", "strike", "put-back"
AS_IT_SAYS = "0"
"""What stands for the respirator that the entry of a fit test names already."""

RIGHT_FORMS = {
    "medical": forms.RightMedical,
    "fit-test": forms.RightFitTest,
    "appendix-d": forms.RightAppendixD,
}


@dataclass
class Forms:
    """The forms of the page that go with an entry as it stands."""

    right: forms.Form | None
    strike: forms.StrikeForm | None
    put_back: forms.PutBackForm | None

    def named(self, act: str) -> forms.Form:
        """Return the form that was sent. Errors: 404 for one that is not offered."""
        found = {RIGHT: self.right, STRIKE: self.strike, PUT_BACK: self.put_back}.get(act)
        return found if found is not None else abort(404)


@bp.get("/people/<number>/entries/<int:entry>/correct")
@may("coordinator")
def correct(number: str, entry: int):
    """Show an entry as it stands, and the ways to correct it."""
    with reading() as db:
        found = access.their(db, number)
        now = _of(db, found, entry)
        offered = _forms(db, found, now, sent="")
    return _page(found, now, offered)


@bp.post("/people/<number>/entries/<int:entry>/correct")
@may("coordinator")
def put(number: str, entry: int):
    """Say what follows; confirmed, put the correction into the record; or go back to the form."""
    sent, act = request.form.get("how", ""), request.form.get("act", "")
    seen = request.form.get("seen", type=int) or 0
    with reading() as db:
        found = access.their(db, number)
        now = _of(db, found, entry)
        done = act == "do" and record.done(db, f"correction:{_deed()}")
        offered = _forms(db, found, now, sent)
    if done:
        return _kept(found, now)  # a double click
    if seen != now.newest:
        meanwhile = gettext(
            "Meanwhile entry %(newest)s has corrected this one. Look at what it says now.",
            newest=now.newest,
        )
        return _page(found, now, offered, meanwhile=meanwhile), 422
    form = offered.named(sent)
    if act == "change" or not form.validate_on_submit():
        return _page(found, now, offered), 200 if act == "change" else 422
    by = access.scribe()
    try:
        with writing() as db:
            how = _how(db, found, now, sent, form)
            if act == "do":
                once = f"correction:{_deed()}"
                recording.correct(db, by, seen, once=once, **how)
            else:
                trial = f"trial:{secrets.token_hex(8)}"
                foreseen = recording.foresee(db, by, seen, once=trial, **how)
    except Refusal as refusal:
        return _page(found, now, offered, form.blame(refusal)), 422
    if act == "do":
        return _kept(found, now)
    return _preview(found, now, how, foreseen)


def _kept(found: Person, now: recording.Stands):
    flash(gettext("The correction is in the record."))
    return redirect(f"/people/{found.number}#entry-{now.entry.number}", 303)


def _of(db, person: Person, number: int) -> recording.Stands:
    """Return a person's entry as it stands. Errors: 404 for another's, or one not to correct."""
    now = recording.as_it_stands(db, number)
    if now is None or now.entry.body is None:
        abort(404)
    if now.entry.person_number not in people.numbers(db, person):
        abort(404)
    return now if now.entry.kind != record.ERASURE else abort(404)


def _deed() -> str:
    deed = request.form.get("deed", "")
    return deed if len(deed) == 32 and deed.isalnum() else abort(400)


def _forms(db, person: Person, now: recording.Stands, sent: str) -> Forms:
    """Return the forms that go with an entry; what was sent fills the one that it belongs to."""
    kind, said = now.entry.kind, now.said or record.body(now.entry)
    given = {name: request.form if name == sent else None for name in (RIGHT, STRIKE, PUT_BACK)}
    right = strike = put_back = None
    if kind in RIGHT_FORMS:
        right = RIGHT_FORMS[kind](given[RIGHT], prefix="right-", data=_filled(kind, said))
        right.why.choices = _whys(recording.WHY_REPLACED)
        if kind == "fit-test":
            right.respirator.choices = _respirators(db, person, said)
    if now.said is not None and not _whole(now):
        strike = forms.StrikeForm(given[STRIKE], prefix="strike-")
        strike.why.choices = _whys(recording.WHY_STRUCK)
    if now.said is None and not _whole(now):
        put_back = forms.PutBackForm(given[PUT_BACK], prefix="put-back-")
    if kind in record.MEDICAL_KINDS:
        for form in filter(None, (strike, put_back)):
            del form.note
    return Forms(right, strike, put_back)


def _whole(now: recording.Stands) -> bool:
    """Say whether it is training as a whole, which follows from its parts."""
    return now.entry.kind == "training" and bool(record.body(now.entry).get("practice_entries"))


def _whys(slugs: tuple[str, ...]) -> list:
    return forms.choices([("", "–"), *((slug, _capital(entries.why(slug))) for slug in slugs)])


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _filled(kind: str, said: dict) -> dict[str, object]:
    """Return what the fields say of an entry as it stands."""
    filled: dict[str, object] = {"on": date.fromisoformat(said["happened_on"])}
    if kind == "medical":
        until = date.fromisoformat(said["until"]) if said["until"] else None
        filled |= {"outcome": said["outcome"], "limit": said["limit"], "until": until}
    if kind == "fit-test":
        exercises = said.get("exercises", [])
        factor = said["fit_factor"] if said["fit_factor"] and not exercises else None
        filled |= {
            "respirator": AS_IT_SAYS,
            "protocol": said["protocol"],
            "passed": "" if said["fit_factor"] else "yes" if said["passed"] else "no",
            "fit_factor": float(factor) if factor else None,
            "exercises": "\n".join(exercises),
            "recording": said["recording"],
        }
    return filled


def _respirators(db, person: Person, said: dict) -> list:
    """Return the respirator that a fit test names, then every other with a seal they ever had."""
    tested = recording.tested_with(said)
    ever = people.respirators_ever(db, [person.id]).get(person.id, ())
    others = [
        (str(one.id), wears(one))
        for one in ever
        if standing.worn(one).tight and standing.fits(one) != standing.fits(tested)
    ]
    first = gettext("As the entry says: %(worn)s", worn=wears(tested))
    return forms.choices([(AS_IT_SAYS, first), *others])


def _how(
    db, person: Person, now: recording.Stands, sent: str, form: forms.Form
) -> dict[str, object]:
    """Return what a sent form asks of the record. Errors: Refusal, as where it is entered first."""
    note = form.note.data or "" if "note" in form else ""
    if sent == STRIKE:
        return {"why": form.why.data, "note": note, "said": None}
    if sent == PUT_BACK:
        return {"why": "other", "note": note, "said": record.body(now.entry)}
    return {"why": form.why.data, "note": note, "said": _said(db, person, now, form)}


def _said(db, person: Person, now: recording.Stands, form: forms.Form) -> dict:
    by, kind, on = access.scribe(), now.entry.kind, form.on.data
    if kind == "medical":
        limit = form.limit.data if form.outcome.data == "limits" else ""
        return recording.medical_said(
            db, by, person, on=on, outcome=form.outcome.data, limit=limit, until=form.until.data
        )
    if kind == "appendix-d":
        return recording.appendix_d_said(db, by, person, on=on)
    if not form.in_order.data and recording.before_medical(db, person, on):
        raise forms.before_medical()
    return recording.fit_test_said(
        db, by, person, _tested(db, now, form.respirator.data), on=on,
        protocol=form.protocol.data,
        passed=None if not form.passed.data else form.passed.data == "yes",
        fit_factor=form.fit_factor.data, recording=form.recording.data or "",
        exercises=form.exercises.numbers(),
    )  # fmt: skip


def _tested(db, now: recording.Stands, chosen: str) -> Respirator:
    if chosen == AS_IT_SAYS:
        return recording.tested_with(now.said or record.body(now.entry))
    return db.get(Respirator, int(chosen))


def _line(entry: Entry, said: dict | None) -> entries.Line:
    return entries.said_now(entry, said or record.body(entry))


def _page(
    found: Person, now: recording.Stands, offered: Forms, fault: str = "", meanwhile: str = ""
) -> str:
    return render_template(
        "coordinator/correct.html",
        found=found,
        now=now,
        line=_line(now.entry, now.said),
        ways=offered,
        sent=request.form.get("how", ""),
        fault=fault,
        meanwhile=meanwhile,
        whole=_whole(now),
        parts=sorted(recording.parts(record.body(now.entry))) if _whole(now) else [],
        medical=now.entry.kind in record.MEDICAL_KINDS,
    )


def _preview(
    found: Person, now: recording.Stands, how: dict, foreseen: recording.Foreseen
) -> str:
    return render_template(
        "coordinator/correct_preview.html",
        found=found,
        now=now,
        line=_line(now.entry, now.said),
        becomes=_line(now.entry, foreseen.said) if foreseen.said else None,
        why=entries.why(how["why"]),
        note=how["note"],
        tags=[
            (before, after, tagging.because(after, own=False))
            for before, after in zip(foreseen.before, foreseen.after, strict=True)
        ],
        until=tagging.until,
        also=[(number, entries.kind_name(kind)) for number, kind in foreseen.struck],
        made=[(number, entries.kind_name(kind)) for number, kind in foreseen.made],
        fields=[
            (name, value)
            for name, value in request.form.items(multi=True)
            if name not in ("csrf_token", "act", "deed")
        ],
        deed=secrets.token_hex(16),
    )
