"""The coordinator's acts: people, worksites, respirators, entries."""

import secrets
from collections.abc import Callable
from zoneinfo import available_timezones

from flask import Blueprint, Response, abort, flash, redirect, render_template, request
from flask_babel import gettext

from trainer.services import joining, recording, standing
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import Person, Respirator, Worksite
from trainer.web import access, forms, surroundings
from trainer.web.access import may, now, reading, writing
from trainer.web.surroundings import wears

bp = Blueprint("coordinator", __name__)


@bp.route("/people/new", methods=["GET", "POST"])
@may("coordinator")
def new_person():
    """Add a person."""
    form = _person_form(None)

    def act(db) -> Response:
        person = joining.add_person(db, now(), number=form.number.data, **_described(form))
        return _done(gettext("%(name)s is added.", name=person.name), f"/people/{person.number}")

    title = gettext("Add a person")
    done, fault = _carry_out(form, act)
    return done or _form_page("coordinator/person.html", form, fault, title=title, found=None)


@bp.route("/people/<number>/change", methods=["GET", "POST"])
@may("coordinator")
def change_person(number: str):
    """Change a person's name, language, roles, worksites or qualification."""
    with reading() as db:
        person = access.their(db, number)
        roles = people.roles(db, person.id)
        places = [one.id for one in people.worksites(db, person.id)]
    form = _person_form(
        person, roles=sorted(roles), worksites=places, medical=people.MEDICAL in roles
    )

    def act(db) -> Response:
        joining.change_person(db, access.scribe(), db.get(Person, person.id), **_described(form))
        return _done(gettext("The change is kept."), f"/people/{person.number}")

    title = gettext("Change %(name)s", name=person.name)
    done, fault = _carry_out(form, act)
    return done or _form_page("coordinator/person.html", form, fault, title=title, found=person)


@bp.route("/people/<number>/respirators", methods=["GET", "POST"])
@may("coordinator")
def respirators(number: str):
    """Give a person a respirator, and see those they have."""
    form = forms.RespiratorForm()

    def act(db) -> Response:
        given = _fields(form)
        if access.first(db):
            joining.give_respirator(db, access.scribe(), access.their(db, number), **given)
        return _done(gettext("The respirator is given."), f"/people/{number}")

    done, fault = _carry_out(form, act)
    if done:
        return done
    with reading() as db:
        found = access.their(db, number)
        worn = people.respirators(db, found.id)
    return _form_page("coordinator/respirators.html", form, fault, found=found, worn=worn,
                      uses=dict(forms.USES))


@bp.post("/people/<number>/respirators/<int:respirator>/end")
@may("coordinator")
def end_respirator(number: str, respirator: int):
    """Take a respirator back."""
    with writing() as db:
        joining.take_respirator(db, access.scribe(), access.their(db, number), respirator)
    flash(gettext("The respirator is taken back."))
    return redirect(f"/people/{number}", 303)


@bp.route("/people/<number>/medical", methods=["GET", "POST"])
@may("medical")
def medical(number: str):
    """Record what the written recommendation allows."""
    form = _deed(forms.MedicalForm)

    def act(db, person: Person) -> None:
        recording.record_medical(
            db,
            access.scribe(),
            person,
            once=f"medical:{form.deed.data}",
            on=form.on.data,
            outcome=form.outcome.data,
            limit=form.limit.data if form.outcome.data == "limits" else "",
            until=form.until.data,
        )

    return _record(number, form, act, "coordinator/medical.html")


@bp.route("/people/<number>/appendix-d", methods=["GET", "POST"])
@may("coordinator")
def appendix_d(number: str):
    """Record that Appendix D was given."""
    form = _deed(forms.Deed)

    def act(db, person: Person) -> None:
        once = f"appendix-d:{form.deed.data}"
        recording.record_appendix_d(db, access.scribe(), person, once=once, on=form.on.data)

    return _record(number, form, act, "coordinator/appendix_d.html")


@bp.route("/people/<number>/fit-test", methods=["GET", "POST"])
@may("coordinator")
def fit_test(number: str):
    """Record a fit test with one of the person's respirators."""
    form = _deed(forms.FitTestForm)
    with reading() as db:
        found = access.their(db, number)
        worn = [one for one in people.respirators(db, found.id) if standing.worn(one).tight]
    form.respirator.choices = forms.choices((one.id, wears(one)) for one in worn)

    def act(db, person: Person) -> None:
        if not form.in_order.data and recording.before_medical(db, person, form.on.data):
            raise forms.before_medical()
        recording.record_fit_test(
            db,
            access.scribe(),
            person,
            db.get(Respirator, form.respirator.data),
            once=f"fit-test:{form.deed.data}",
            on=form.on.data,
            protocol=form.protocol.data,
            passed=None if not form.passed.data else form.passed.data == "yes",
            fit_factor=form.fit_factor.data,
            recording=form.recording.data or "",
            exercises=form.exercises.numbers(),
        )

    return _record(number, form, act, "coordinator/fit_test.html")


@bp.get("/worksites")
@may("coordinator")
def worksites():
    """Show every worksite."""
    with reading() as db:
        rows = people.all_worksites(db)
    return render_template("coordinator/worksites.html", rows=rows)


@bp.route("/worksites/new", methods=["GET", "POST"])
@may("coordinator")
def new_worksite():
    """Add a worksite."""
    form = forms.WorksiteForm(time_zone=access.settings().time_zone)

    def act(db) -> Response:
        joining.add_worksite(db, **_fields(form))
        return _done(gettext("The worksite is added."), "/worksites")

    return _worksite_page(form, act, gettext("Add a worksite"))


@bp.route("/worksites/<int:number>", methods=["GET", "POST"])
@may("coordinator")
def change_worksite(number: int):
    """Change a worksite."""
    with reading() as db:
        worksite = db.get(Worksite, number) or abort(404)
    form = forms.WorksiteForm(obj=worksite)

    def act(db) -> Response:
        joining.change_worksite(db, db.get(Worksite, number), **_fields(form))
        return _done(gettext("The change is kept."), "/worksites")

    return _worksite_page(form, act, worksite.name)


def _person_form(person: Person | None, **more: object) -> forms.PersonForm:
    offered = access.settings().offered
    places = surroundings.worksite_choices(mine=False)
    # Most who are added are workers, and where there is one worksite they belong to it.
    only = [places[0][0]] if len(places) == 1 else []
    fresh = {"language": offered[0], "roles": ["worker"], "worksites": only}
    form = forms.PersonForm(obj=person, data=more) if person else forms.PersonForm(data=fresh)
    # Whoever has a language that is not offered any more keeps it until another is chosen.
    mine = {*offered, *([person.language] if person else [])}
    form.language.choices = forms.choices(one for one in forms.LANGUAGES if one[0] in mine)
    form.worksites.choices = forms.choices(places)
    if person:
        form.number.validators = []
    return form


def _described(form: forms.PersonForm) -> dict:
    return {
        "name": form.name.data,
        "language": form.language.data,
        "roles": form.roles.data or [],
        "worksites": form.worksites.data or [],
        "qualification": form.qualification.data or "",
    } | ({"medical": form.medical.data} if access.sees_medical() else {})


def _fields(form: forms.Form) -> dict[str, str]:
    """Return what a form of plain lines says, without its token."""
    return {name: form[name].data or "" for name in form.data if name != "csrf_token"}


def _deed(kind: type[forms.Deed]) -> forms.Deed:
    today = now().astimezone(access.settings().zone).date()
    form = kind(on=today)
    if request.method == "GET":
        form.deed.data = secrets.token_hex(16)
    return form


def _record(number: str, form: forms.Deed, enter: Callable, template: str):
    def act(db) -> Response:
        enter(db, access.their(db, number))
        return _done(gettext("It is in the record."), f"/people/{number}")

    done, fault = _carry_out(form, act)
    if done:
        return done
    with reading() as db:
        found = access.their(db, number)
    return _form_page(template, form, fault, found=found)


def _worksite_page(form: forms.WorksiteForm, act: Callable, title: str):
    done, fault = _carry_out(form, act)
    return done or _form_page("coordinator/worksite.html", form, fault, title=title, zones=_zones())


def _carry_out(form: forms.Form, act: Callable) -> tuple[Response | None, str]:
    """Do what a sent form asks, all of it or nothing; return where it leads, or what refuses it."""
    if not form.validate_on_submit():
        return None, ""
    try:
        with writing() as db:
            leads = act(db)
    except Refusal as refusal:
        return None, form.blame(refusal)
    return leads, ""


def _done(said: str, target: str) -> Response:
    flash(said)
    return redirect(target, 303)


def _form_page(template: str, form, fault: str, **values: object):
    status = 422 if request.method == "POST" else 200
    return render_template(template, form=form, fault=fault, **values), status


def _zones() -> list[str]:
    return sorted(zone for zone in available_timezones() if "/" in zone)
