"""Who changed what, who signed in, and on which devices."""

import json
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from urllib.parse import urlencode

from flask import Blueprint, abort, flash, g, redirect, render_template, request
from flask_babel import format_date, gettext

from trainer.reference import respirator_classes
from trainer.services import second_step, signing_in
from trainer.services.refusal import Refusal
from trainer.store import changes, people, sign_ins
from trainer.store.tables import Change, Device, Person, SignInEvent
from trainer.web import access, settings
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import say
from trainer.web.language import current

bp = Blueprint("log", __name__)

PAGE = 50


@dataclass(frozen=True)
class Line:
    """One change as it reads."""

    at: datetime
    who: str
    who_number: str
    what: str
    about: str
    number: str
    detail: list[str]


@dataclass(frozen=True)
class SignIn:
    """One line of the history of signing in as it reads."""

    at: datetime
    what: str
    state: str
    device: str
    by: str
    address: str


@bp.get("/log")
@may("coordinator")
def page():
    """Show what was changed: by whom, about whom, of which kind, in which days."""
    asked = {
        name: request.args.get(name, "").strip()[:40]
        for name in ("by", "about", "kind", "from", "to")
    }
    first, last = (_day(asked[name]) for name in ("from", "to"))
    number = max(1, request.args.get("page", 1, type=int))
    with reading() as db:
        found = changes.page(
            db,
            by=_number(db, asked["by"]),
            about=_numbers(db, asked["about"]),
            kind=asked["kind"],
            first=_begins(first),
            last=_begins(last + timedelta(days=1)) if last else None,
            skip=(number - 1) * PAGE,
            most=PAGE,
        )
    wrong = {
        name: gettext("Give a date, such as 2026-11-25.")
        for name, day in (("from", first), ("to", last))
        if asked[name] and day is None
    }
    return render_template(
        "log/changes.html",
        lines=[_line(row) for row in found[:PAGE]],
        asked=asked,
        wrong=wrong,
        kinds=[("", gettext("Everything")), *sorted(_kinds().items(), key=lambda one: one[1])],
        number=number,
        before=_address(asked, number - 1) if number > 1 else "",
        after=_address(asked, number + 1) if len(found) > PAGE else "",
    )


@bp.get("/people/<number>/sign-ins")
@may("coordinator")
def person(number: str):
    """Show a person's own devices, and when and where they signed in."""
    return _person_page(number)


@bp.post("/people/<number>/second-step/off")
@may("coordinator")
def take_second_step_off(number: str):
    """Let a person in without the second step, as when the phone was lost; the log says why."""
    try:
        with writing() as db:
            found = access.their(db, number)
            if found.id == g.person.id:
                raise Refusal("Take your own second step off where you set it up.", field="why")
            if people.MEDICAL in people.roles(db, found.id) and not access.sees_medical():
                abort(403)
            second_step.take_off(db, access.scribe(), found, request.form.get("why", "")[:200])
    except Refusal as refusal:
        return _person_page(number, say(refusal)), 422
    flash(gettext("The second step is taken off. Let them set it up anew soon."))
    return redirect(f"/people/{found.number}/sign-ins", 303)


def _person_page(number: str, fault: str = "") -> str:
    at = max(1, request.args.get("page", 1, type=int))
    with reading() as db:
        found = access.their(db, number)
        ids = people.ids(db, found)
        devices = sign_ins.own_devices(db, found.id)
        rows = sign_ins.history(db, ids, (at - 1) * PAGE, PAGE)
        names = sign_ins.worksite_names(db)
        step = second_step.is_on(db, found.id)
    return render_template(
        "log/sign_ins.html",
        found=found,
        second_step=step,
        fault=fault,
        devices=devices,
        lines=[_sign_in(*row, names) for row in rows[:PAGE]],
        number=at,
        before=f"?page={at - 1}" if at > 1 else "",
        after=f"?page={at + 1}" if len(rows) > PAGE else "",
    )


@bp.post("/people/<number>/devices/<int:device>/end")
@may("coordinator")
def end_device(number: str, device: int):
    """Let a person's own device open nothing any more."""
    with writing() as db:
        found = access.their(db, number)
        there = db.get(Device, device)
        if there is None or there.person_id != found.id:
            abort(404)
        signing_in.revoke(db, db.get(Person, g.person.id), there, now())
    flash(gettext("This device opens nothing any more. A one-time code enrols it again."))
    return redirect(f"/people/{found.number}/sign-ins", 303)


@bp.get("/tablets")
@may("coordinator")
def tablets():
    """Show the tablets that everybody at a worksite signs in on, and tries of nobody's."""
    at = max(1, request.args.get("page", 1, type=int))
    with reading() as db:
        found = sign_ins.tablets(db)
        rows = sign_ins.of_nobody(db, (at - 1) * PAGE, PAGE)
        names = sign_ins.worksite_names(db)
    return render_template(
        "log/tablets.html",
        tablets=found,
        lines=[_sign_in(*row, names) for row in rows[:PAGE]],
        number=at,
        before=f"?page={at - 1}" if at > 1 else "",
        after=f"?page={at + 1}" if len(rows) > PAGE else "",
    )


@bp.post("/tablets/<int:device>/end")
@may("coordinator")
def end_tablet(device: int):
    """Let a shared tablet open nothing any more; whoever is signed in on it is signed out."""
    with writing() as db:
        there = db.get(Device, device)
        if there is None or there.kind != "shared":
            abort(404)
        signing_in.revoke(db, db.get(Person, g.person.id), there, now())
    flash(gettext("This tablet opens nothing any more. A one-time code enrols it again."))
    return redirect("/tablets", 303)


def _number(db, typed: str) -> str:
    """Return a worker number as it is kept, however it was typed."""
    found = people.with_very_number(db, typed) if typed else None
    return found.number if found else typed


def _numbers(db, typed: str) -> tuple[str, ...]:
    """Return all numbers of the person who has the one typed."""
    found = people.by_number(db, typed) if typed else None
    return people.numbers(db, found) if found else (typed,) if typed else ()


def _day(typed: str) -> date | None:
    try:
        return date.fromisoformat(typed) if typed else None
    except ValueError:
        return None


def _begins(day: date | None) -> datetime | None:
    return datetime.combine(day, time(), access.settings().zone) if day else None


def _address(asked: dict[str, str], number: int) -> str:
    return "?" + urlencode({**{key: one for key, one in asked.items() if one}, "page": number})


# How a change reads.


def _line(row: Change) -> Line:
    kind = _kinds().get(row.kind, row.kind)
    deed = _deeds().get(row.deed, row.deed)
    about = settings.label(row.about) if row.kind == "setting" else row.about
    return Line(
        at=row.at,
        who=row.by_name or gettext("No page: a command, or the program itself"),
        who_number=row.by_number,
        what=f"{kind}: {deed}",
        about=about,
        number=row.about_number,
        detail=[_detail(row, *part) for part in json.loads(row.detail)],
    )


def _detail(row: Change, field: str, before: str, after: str) -> str:
    before, after = (_value(row, field, one) for one in (before, after))
    name = _fields().get(field, field.replace("_", " "))
    if row.kind == "setting":
        return gettext("%(before)s, now %(after)s", before=before or "–", after=after or "–")
    if row.kind == "entry":
        return after
    if not before or (row.deed == "ended" and not after):
        return f"{name}: {after or before}"
    return gettext("%(field)s: %(before)s, now %(after)s",
                   field=name, before=before, after=after or "–")  # fmt: skip


def _value(row: Change, field: str, value: str) -> str:
    if field == "role":
        return _roles().get(value, value)
    if field == "language":
        return {"en": gettext("English"), "es": gettext("Spanish")}.get(value, value)
    if field == "use":
        return {
            "required": gettext("Required"),
            "voluntary": gettext("Worn by choice"),
            "escape": gettext("For getting out alone"),
        }.get(value, value)
    if field == "table":
        return {
            "roster": gettext("People: a roster"),
            "training": gettext("Training given earlier or elsewhere"),
            "fit-tests": gettext("Fit tests done earlier"),
            "medical": gettext("Medical determinations"),
        }.get(value, value)
    if field == "kind" and row.kind == "entry":
        return _entry_kinds().get(value, value)
    if field == "class_slug" and value and (known := respirator_classes.get(value)):
        return known.name(current())
    if value == "yes":
        return gettext("yes")
    day = _day(value) if field in ("left_on", "measured_on", "first", "last") else None
    return format_date(day, "d MMM yyyy") if day else value


def _roles() -> dict[str, str]:
    return {
        "worker": gettext("Worker"),
        "trainer": gettext("Trainer"),
        "coordinator": gettext("Coordinator"),
        people.MEDICAL: gettext("Right to medical determinations"),
    }


def _entry_kinds() -> dict[str, str]:
    return {
        "medical": gettext("a medical determination was recorded"),
        "medical-correction": gettext("a medical determination was corrected"),
        "erasure": gettext("bodies of entries were erased"),
    }


def _kinds() -> dict[str, str]:
    return {
        "person": gettext("Person"),
        "role": gettext("Role"),
        "membership": gettext("Worksite of a person"),
        "merger": gettext("Two records of one person"),
        "respirator": gettext("Respirator"),
        "worksite": gettext("Worksite"),
        "setting": gettext("Setting"),
        "task": gettext("Task"),
        "hazard": gettext("Hazard"),
        "sample": gettext("Measurement"),
        "task-respirator": gettext("Respirator of a task"),
        "standing": gettext("Assignment to people who come later"),
        "lesson": gettext("Lesson of a worksite"),
        "export": gettext("Record taken out"),
        "import": gettext("Table brought in"),
        "entry": gettext("Record"),
        "backup": gettext("Backup"),
        "second-step": gettext("Second step of signing in"),
    }


def _deeds() -> dict[str, str]:
    return {
        "added": gettext("added"),
        "changed": gettext("changed"),
        "ended": gettext("ended"),
        "back": gettext("in use again"),
        "taken-out": gettext("taken out"),
        "done": gettext("done"),
        "taken-back": gettext("taken back"),
        "made": gettext("made"),
        "restored": gettext("restored: the record is as it was then"),
    }


def _fields() -> dict[str, str]:
    return {
        "number": gettext("Worker number"),
        "name": gettext("Name"),
        "language": gettext("Language"),
        "qualification": gettext("Qualification as a trainer"),
        "left_on": gettext("Left on"),
        "role": gettext("Role"),
        "worksite": gettext("Worksite"),
        "into": gettext("Joined to the record of"),
        "class_slug": gettext("Class"),
        "make": gettext("Make"),
        "model": gettext("Model"),
        "style": gettext("Style"),
        "size": gettext("Size"),
        "sizes": gettext("Sizes that are kept"),
        "filters": gettext("Filter or cartridge"),
        "use": gettext("Use"),
        "time_zone": gettext("Time zone"),
        "rule_set": gettext("Rules"),
        "ask_name": gettext("Who can be asked"),
        "ask_place": gettext("Where to find them"),
        "ask_telephone": gettext("Telephone"),
        "ask_hours": gettext("When they are there"),
        "emergency_steps": gettext("In an emergency"),
        "storage_place": gettext("Where respirators are stored"),
        "substance": gettext("Substance"),
        "kind": gettext("What it is"),
        "unit": gettext("Unit"),
        "molecular_weight": gettext("Molecular weight"),
        "limit": gettext("Limit"),
        "limit_kind": gettext("Kind of limit"),
        "limit_source": gettext("Where the limit comes from"),
        "idlh": "IDLH",
        "oil": gettext("There is oil mist in the air"),
        "eye_irritation": gettext("It irritates the eyes"),
        "oxygen_percent": gettext("Oxygen in this air, in %"),
        "measured_on": gettext("Day"),
        "hours": gettext("Hours"),
        "concentration": gettext("Concentration"),
        "as_measured": gettext("As measured"),
        "filter_class": gettext("Class of particle filter"),
        "cartridge": gettext("Cartridge, as its label says"),
        "approval": gettext("Approval number"),
        "schedule_hours": gettext("The cartridge is changed after so many hours"),
        "schedule_basis": gettext("On which data that rests"),
        "lesson": gettext("Lesson"),
        "days": gettext("Days after coming"),
        "version": gettext("Version"),
        "why": gettext("Why"),
        "choice": gettext("Only these tags, as in the address"),
        "first": gettext("From"),
        "last": gettext("To"),
        "format": gettext("Format"),
        "table": gettext("Table"),
        "lines": gettext("Lines"),
        "determinations": gettext("Medical determinations"),
        "entries": gettext("Entries"),
        "hash": gettext("Last letters (the hash)"),
    }


# How a sign-in reads.


def _sign_in(
    row: SignInEvent, device: Device | None, by: Person | None, names: dict[int, str]
) -> SignIn:
    words, state = _events()[row.kind]
    return SignIn(
        at=row.at,
        what=words,
        state=state,
        device=device_words(device, names)
        or names.get(row.worksite_id, "")
        or (gettext("A device that is not enrolled") if row.kind in ("signed-in", "wrong") else ""),
        by=by.name if by else "",
        address=row.address,
    )


def device_words(device: Device | None, names: dict[int, str]) -> str:
    """Return a device in words: whose it is, or where, and since when it is enrolled."""
    if device is None:
        return ""
    day = format_date(device.enrolled_at.astimezone(access.settings().zone), "d MMM yyyy")
    if device.kind == "own":
        return gettext("Own device, enrolled on %(day)s", day=day)
    place = names.get(device.worksite_id, "")
    return gettext("Shared tablet of %(place)s, enrolled on %(day)s", place=place, day=day)


def _events() -> dict[str, tuple[str, str]]:
    """Return by kind how it reads, and the mark beside it."""
    return {
        "signed-in": (gettext("Signed in"), "done"),
        "wrong": (gettext("Did not fit: not signed in"), "no"),
        "signed-out": (gettext("Signed out"), "todo"),
        "lapsed": (gettext("Signed out by itself: nobody was there, or the time was over"), "todo"),
        "ended": (gettext("Signed out from elsewhere"), "void"),
        "code-made": (gettext("One-time code made"), "begun"),
        "code-used": (gettext("One-time code used"), "done"),
        "code-wrong": (gettext("One-time code did not fit"), "no"),
        "enrolled": (gettext("Device enrolled"), "done"),
        "revoked": (gettext("Device ended"), "void"),
        "pin": (gettext("PIN chosen"), "begun"),
        "passphrase": (gettext("Passphrase chosen"), "begun"),
        "step-wrong": (gettext("Second step did not fit: not signed in"), "no"),
        "step-on": (gettext("Second step set up"), "begun"),
        "step-off": (gettext("Second step taken off"), "void"),
        "recovery-made": (gettext("Recovery codes made"), "begun"),
        "recovery-used": (gettext("Recovery code used"), "done"),
    }
