"""A worksite as its trainer describes it, and whether what is worn there is enough."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from math import floor

from flask import Blueprint, Response, abort, flash, g, redirect, render_template, request
from flask_babel import gettext, ngettext

from trainer import words
from trainer.calculations.selection import MAY, MAY_NOT
from trainer.services import describing, joining, standing
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import Sample, SiteHazard, Task, TaskRespirator, Worksite
from trainer.web import access, forms, plots, surroundings
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import at_field
from trainer.web.language import current

bp = Blueprint("site", __name__)

KINDS = {"task": Task, "hazard": SiteHazard, "sample": Sample, "respirator": TaskRespirator}
ASK = ("ask_name", "ask_place", "ask_telephone", "ask_hours")
STATES = {MAY: "done", MAY_NOT: "no"}


@dataclass(frozen=True)
class Shown:
    """A check as the page shows it: its state as a shape, its drawing, whom it concerns."""

    check: describing.Check
    state: str  # done, no or soon: a shape of the pages
    scale: plots.Scale | None
    people: list[str]  # numbers, where it is not enough

    @property
    def spare(self) -> str:
        """Return how many times as much is allowed; rounded down, never in favour of the class."""
        return words.number(floor(self.check.spare * 100) / 100)


@bp.get("/sites")
@may("trainer", "coordinator")
def index():
    """List the worksites that the person may describe, with what is not enough there."""
    with reading() as db:
        rows = [
            (one, Counter(_state(check) for check in describing.checks(describing.site(db, one))))
            for one in _worksites(db)
        ]
    return render_template("site/index.html", rows=rows)


@bp.get("/sites/<int:number>")
@may("trainer", "coordinator")
def page(number: int):
    """Show a worksite: its tasks, what is in their air, and each respirator checked."""
    return _page(number)


@bp.post("/sites/<int:number>")
@may("trainer", "coordinator")
def describe(number: int):
    """Keep whom to ask, or emergency steps and storage place, or add a task."""
    try:
        with writing() as db:
            worksite = worksite_of(db, number)
            if request.form.get("act") == "task":
                describing.add_task(db, worksite, request.form.get("name", ""))
            elif request.form.get("act") == "ask":
                asked = {name: request.form.get(name, "") for name in ASK}
                joining.change_worksite(
                    db, worksite, name=worksite.name, time_zone=worksite.time_zone, **asked
                )
            else:
                describing.describe(
                    db,
                    worksite,
                    emergency=request.form.get("emergency", ""),
                    storage=request.form.get("storage", ""),
                )
    except Refusal as refusal:
        return _page(number, at_field(refusal, "emergency")), 422
    flash(gettext("The change is kept."))
    return redirect(f"/sites/{number}", 303)


@bp.post("/sites/<int:number>/end")
@may("trainer", "coordinator")
def end(number: int):
    """End a task, a hazard, a sample or a respirator of the worksite."""
    kind = KINDS.get(request.form.get("kind", "")) or abort(404)
    with writing() as db:
        worksite = worksite_of(db, number)
        row = db.get(kind, request.form.get("row", 0, type=int)) or abort(404)
        if _task_of(db, row).worksite_id != worksite.id:
            abort(404)
        before = _too_weak(db, worksite)
        describing.end(db, access.scribe(), row)
        weak = _too_weak(db, worksite)
    flash(gettext("Taken off the worksite; it is kept with its date."))
    # Without its samples a substance counts as immediately dangerous.
    _tell_at_once({one: number for one, number in weak.items() if one not in before})
    return redirect(f"/sites/{number}", 303)


@bp.route("/sites/<int:number>/tasks/<int:task>/hazard", methods=["GET", "POST"])
@may("trainer", "coordinator")
def hazard(number: int, task: int):
    """Add what is in the air of a task."""
    form = forms.HazardForm()

    def act(db) -> None:
        given = _given(form)
        if given["oxygen_percent"] is None:
            del given["oxygen_percent"]
        describing.add_hazard(db, access.scribe(), _task(db, number, task), **given)

    return _form(number, task, form, act, "site/hazard.html", gettext("The substance is added."))


@bp.route("/sites/<int:number>/tasks/<int:task>/respirator", methods=["GET", "POST"])
@may("trainer", "coordinator")
def respirator(number: int, task: int):
    """Add a respirator that is worn for a task."""
    form = forms.TaskRespiratorForm()

    def act(db) -> None:
        described = _task(db, number, task)
        describing.add_respirator(db, access.scribe(), described, **_given(form))

    return _form(
        number, task, form, act, "site/respirator.html", gettext("The respirator is added.")
    )


@bp.route("/sites/<int:number>/hazards/<int:row>/sample", methods=["GET", "POST"])
@may("trainer", "coordinator")
def sample(number: int, row: int):
    """Add a concentration that was measured."""
    with reading() as db:
        found = db.get(SiteHazard, row) or abort(404)
        task = _task(db, number, found.task_id)
        day = standing.today(db, g.person, now(), access.settings().zone)
    form = forms.SampleForm(on=day, unit=found.unit)
    if describing.weight_of(found) is None:
        form.unit.choices = forms.choices([(found.unit, found.unit)])

    def act(db) -> None:
        describing.add_sample(
            db,
            access.scribe(),
            db.get(SiteHazard, row),
            on=form.on.data,
            hours=form.hours.data,
            concentration=form.concentration.data,
            unit=form.unit.data,
        )

    return _form(
        number, task.id, form, act, "site/sample.html", gettext("The sample is added."), of=found
    )


def _too_weak(db, worksite: Worksite) -> dict[tuple[int, int], tuple[str, int]]:
    """Return by respirator and substance what is not enough: in words, and how many wear it."""
    return {
        (check.worn.id, check.hazard.id): (
            f"{surroundings.worn_there(check.worn)} – {_name(check.hazard)}", len(concerned)
        )
        for check, concerned in describing.inadequate(db, worksite)
    }  # fmt: skip


def _tell_at_once(weak: dict[tuple[int, int], tuple[str, int]]) -> None:
    """Say which respirators a change has left too weak, and how many people it concerns."""
    for what, number in weak.values():
        text = ngettext(
            "Not enough any more: %(what)s. %(num)s person here wears one like it: see below.",
            "Not enough any more: %(what)s. %(num)s people here wear one like it: see below.",
            number, what=what,
        )  # fmt: skip
        flash(text, "error")


def _given(form: forms.Form) -> dict:
    """Return what a form says; a line that was not sent is an empty one."""
    numbers = [one.name for one in form if isinstance(one, forms.Number)]
    return {
        name: value if value is not None or name in numbers else ""
        for name, value in form.data.items()
        if name != "csrf_token"
    }


def _page(number: int, wrong: dict[str, str] | None = None):
    with reading() as db:
        worksite = worksite_of(db, number)
        described = describing.site(db, worksite)
        shown = [_shown(db, worksite, one) for one in describing.checks(described)]
        measured = {
            one.id: describing.measured(one, described.samples.get(one.id, ()))
            for rows in described.hazards.values()
            for one in rows
        }
    return render_template(
        "site/page.html",
        site=described,
        shown=shown,
        measured=measured,
        name_of=_name,
        wrong=wrong or {},
        typed=request.form,
    )


def _shown(db, worksite: Worksite, check: describing.Check) -> Shown:
    state = _state(check)
    concerned = describing.affected(db, worksite, check) if state == "no" else []
    return Shown(check, state, _scale(check), [person.number for person in concerned])


def _state(check: describing.Check) -> str:
    """Return the shape for a verdict: what is not decided here is neither."""
    return STATES.get(check.verdict.state, "soon")


def _scale(check: describing.Check) -> plots.Scale | None:
    hazard, outside = check.hazard, check.measured.outside
    if not outside or not check.most:
        return None
    return plots.spare(outside, hazard.limit, check.most, hazard.unit)


def _name(hazard: SiteHazard) -> str:
    return describing.name_of(hazard, current())


def _worksites(db) -> list[Worksite]:
    if "coordinator" in g.roles:
        return people.all_worksites(db)
    return people.worksites(db, g.person.id)


def worksite_of(db, number: int) -> Worksite:
    """Return a worksite that the signed-in person may describe; else answer 404."""
    return next((one for one in _worksites(db) if one.id == number), None) or abort(404)


def _task(db, number: int, task: int) -> Task:
    found = db.get(Task, task)
    if found is None or found.ended_at or found.worksite_id != worksite_of(db, number).id:
        abort(404)
    return found


def _task_of(db, row) -> Task:
    if isinstance(row, Sample):
        row = db.get(SiteHazard, row.hazard_id)
    return row if isinstance(row, Task) else db.get(Task, row.task_id)


def _form(
    number: int, task: int, form: forms.Form, act: Callable, template: str, done: str, **more
) -> Response | tuple[str, int] | str:
    fault = ""
    with reading() as db:
        found = _task(db, number, task)
        worksite = worksite_of(db, number)
    if form.validate_on_submit():
        try:
            with writing() as db:
                before = _too_weak(db, worksite)
                if access.first(db):
                    act(db)
                weak = _too_weak(db, worksite)
        except Refusal as refusal:
            fault = form.blame(refusal)
        else:
            flash(done)
            _tell_at_once({one: number for one, number in weak.items() if one not in before})
            return redirect(f"/sites/{number}", 303)
    status = 422 if request.method == "POST" else 200
    return render_template(
        template, form=form, fault=fault, task=found, worksite=worksite, name_of=_name, **more
    ), status
