"""Assigning: to whom, what, by when and why; shown in words first, then confirmed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from flask import Blueprint, abort, flash, g, redirect, render_template, request
from flask_babel import gettext, ngettext
from werkzeug.exceptions import NotFound

from trainer.reference import practice_acts, respirator_classes, retraining_reasons
from trainer.services import assigning, curriculum, standing
from trainer.services.refusal import Refusal
from trainer.store import assignments, people, site_lessons
from trainer.store.tables import Assignment, Person, StandingAssignment, Worksite
from trainer.web import access, entries, surroundings, taught
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import at_field
from trainer.web.language import current

bp = Blueprint("assigning", __name__)

DAYS_TO_LEARN = 14
ONE, WORKSITE, CLASS = "person", "worksite", "class"
NOBODY_LATER, BEFORE_WEARING, IN_DAYS = "no", "wearing", "days"


@dataclass(frozen=True)
class Wanted:
    """What a form or an address asks for, as it was typed."""

    person: str  # the worker number of a page that is about one person; "" on the others
    whom: str
    number: str  # the worker number typed in, for one person
    whole: bool
    picked: list[str]
    reason: str
    due: str
    later: str
    days: str
    seen: list[str]

    @property
    def slugs(self) -> list[str]:
        """Return the lessons that are asked for."""
        return [assigning.FULL] if self.whole else self.picked

    @property
    def fields(self) -> list[tuple[str, str]]:
        """Return every field with its value, to be sent once more."""
        single = ("person", "whom", "number", "reason", "due", "later", "days")
        return [
            *((name, getattr(self, name)) for name in single if getattr(self, name)),
            *([("whole", "yes")] if self.whole else []),
            *(("lesson", slug) for slug in self.picked),
            *(("seen", one) for one in self.seen),
        ]


@bp.get("/assign")
@may("trainer")
def assign():
    """Choose lessons, a day and a reason, for a person, a worksite or who wears a class."""
    missed, seen = request.args.getlist("missed"), request.args.getlist("seen")
    matter = [*request.args.getlist("lesson"), *missed, *assigning.matter_for(seen)]
    seen = [one for one in seen if practice_acts.get(one)]
    return _assign_page(_wanted(matter, [*seen, *([assigning.ANSWERS] if missed else [])]))


@bp.post("/assign")
@may("trainer")
def give():
    """Say in words who gets what; confirmed, assign it; or go back to the form."""
    wanted = _wanted(request.form.getlist("lesson"), request.form.getlist("seen"))
    act = request.form.get("act")
    if act == "change":
        return _assign_page(wanted)
    try:
        if act != "give":
            return _preview_page(wanted)
        with writing() as db:
            count, begun = _carry_out(db, wanted)
    except Refusal as refusal:
        return _assign_page(wanted, at_field(refusal, "lesson")), 422
    said = ngettext("Assigned to %(num)s person.", "Assigned to %(num)s people.", count)
    if count or not begun:
        flash(said if count else gettext("Everyone has it: nothing more was given."))
    if begun:
        flash(gettext("People who come later get it by themselves from now on."))
    return redirect(f"/people/{wanted.person}" if wanted.person else "/people", 303)


@bp.post("/assignments/<int:number>/withdraw")
@may("trainer")
def withdraw(number: int):
    """Withdraw an assignment of one of the trainer's people."""
    with writing() as db:
        row = db.get(Assignment, number) or abort(404)
        person = access.their(db, db.get(Person, row.person_id).number)
        assigning.withdraw(db, access.scribe(), number)
    flash(gettext("The assignment is withdrawn."))
    return redirect(f"/people/{person.number}", 303)


@bp.post("/standing/<int:number>/end")
@may("trainer")
def end(number: int):
    """End a standing assignment of one of the trainer's worksites."""
    mine = dict(surroundings.worksite_choices(mine=True))
    with writing() as db:
        row = db.get(StandingAssignment, number)
        if row is None or row.worksite_id not in mine:
            abort(404)
        assigning.end_standing(db, access.scribe(), row)
    flash(gettext("People who come later do not get it any more."))
    return redirect("/assign", 303)


@bp.get("/people/<number>/seen")
@may("trainer")
def seen(number: str):
    """Choose what was seen of a person: acts of practice, wrong answers."""
    with reading() as db:
        found = access.their(db, number)
        acts, missed = assigning.seen_of(db, found)
    return render_template(
        "trainer/seen.html",
        found=found,
        acts=[(act.slug, act.name(current())) for act in practice_acts.rows()],
        weak=acts,
        missed=[
            (slug, _counted(taught.title(slug), count)) for slug, count in missed.items()
        ],
    )


def _counted(title: str, count: int) -> str:
    wrong = ngettext("%(num)s wrong answer", "%(num)s wrong answers", count)
    return f"{title}: {wrong}"


def _wanted(picked: Sequence[str], seen: Sequence[str]) -> Wanted:
    given = request.values
    return Wanted(
        person=given.get("person", ""),
        whom=given.get("whom", ""),
        number=given.get("number", "").strip(),
        whole=bool(given.get("whole")),
        picked=list(dict.fromkeys(picked)),
        reason=given.get("reason", ""),
        due=given.get("due", ""),
        later=given.get("later", NOBODY_LATER),
        days=given.get("days", "").strip(),
        seen=list(dict.fromkeys(seen)),
    )


def _due(wanted: Wanted) -> date:
    try:
        return date.fromisoformat(wanted.due)
    except ValueError:
        raise Refusal("Give the due day as a date.", field="due") from None


def _days(wanted: Wanted) -> int | None:
    """Return after how many days those who come later owe it; None: before first wearing."""
    if wanted.later == BEFORE_WEARING:
        return None
    if not wanted.days.isascii() or not wanted.days.isdigit():
        raise Refusal("Give the number of days as a whole number from 1 to 365.", field="days")
    return int(wanted.days[:6])


def _mine(db) -> list[Worksite]:
    return people.worksites(db, g.person.id)


def _whom(db, wanted: Wanted) -> tuple[list[Person], list[Worksite], str]:
    """Return who is meant; and where, and which class, if it is not one person.

    Errors: Refusal where nothing that can be used was chosen; 404 for somebody else's person.
    """
    if wanted.person:
        return [access.their(db, wanted.person)], [], ""
    kind, _, which = wanted.whom.partition(":")
    mine = _mine(db)
    if kind == ONE:
        try:
            return [access.their(db, wanted.number)], [], ""
        except NotFound:
            raise Refusal(
                "Nobody at your worksites has this worker number.", field="number"
            ) from None
    if kind == WORKSITE:
        there = [one for one in mine if str(one.id) == which]
        if not there:
            raise Refusal("Choose one of your worksites.", field="whom")
        return people.at_worksite(db, there[0].id, role="worker"), there, ""
    if kind == CLASS and which in {row.slug for row in respirator_classes.recognised()}:
        return assigning.wearers(db, [one.id for one in mine], which), mine, which
    raise Refusal("Choose who is to get it.", field="whom")


def _carry_out(db, wanted: Wanted) -> tuple[int, int]:
    """Assign what is wanted; return how many people got something, and what stands anew."""
    persons, worksites, class_slug = _whom(db, wanted)
    by, due = access.scribe(), _due(wanted)
    count = sum(
        bool(assigning.assign(db, by, one, wanted.slugs, due, wanted.reason, wanted.seen))
        for one in persons
    )
    if not worksites or wanted.later == NOBODY_LATER:
        return count, 0
    begun = [
        row
        for worksite in worksites
        for row in assigning.begin_standing(
            db, by, worksite, wanted.slugs, class_slug=class_slug, days=_days(wanted)
        )
    ]
    return count, len(begun)


def _preview_page(wanted: Wanted):
    with reading() as db:
        persons, worksites, class_slug = _whom(db, wanted)
        later = bool(worksites) and wanted.later != NOBODY_LATER
        days = _days(wanted) if later else None
        if days is not None and not 1 <= days <= assigning.MOST_DAYS:
            raise Refusal("Give the number of days as a whole number from 1 to 365.", field="days")
        if not persons and not later:
            raise Refusal("Nobody there is a worker who could get it.", field="whom")
        by, due = access.scribe(), _due(wanted)
        shares = (
            assigning.plan(db, by, persons, wanted.slugs, due, wanted.reason) if persons else []
        )
        extra = site_lessons.in_courses(db, [one.id for one in persons])
        own = [
            curriculum.find(db, slug).title(current())
            for slug in dict.fromkeys(slug for slugs in extra.values() for slug in slugs)
        ]
    whole = [one for one in shares if one.new and not one.open and not one.done]
    part = [one for one in shares if one.new and (one.open or one.done)]
    nothing = [one for one in shares if not one.new]
    return render_template(
        "trainer/assign_preview.html",
        wanted=wanted,
        found=persons[0] if len(persons) == 1 and not worksites else None,
        whom=_whom_said(persons, worksites, class_slug),
        what=_what_said(wanted, own),
        reason=entries.reason(wanted.reason),
        due=due,
        whole=whole,
        part=part,
        nothing=nothing,
        seen=entries.seen(wanted.seen),
        later=_later_said(worksites, class_slug, days) if later else "",
        for_cause=wanted.reason in standing.FOR_CAUSE and bool(whole or part),
        title_of=taught.title,
    )


def _whom_said(persons: list[Person], worksites: list[Worksite], class_slug: str) -> str:
    if class_slug:
        worn = respirator_classes.get(class_slug).name(current())
        return gettext("Everyone at your worksites who wears: %(worn)s", worn=worn)
    if worksites:
        return gettext("Everyone at %(place)s", place=worksites[0].name)
    return persons[0].name


def _what_said(wanted: Wanted, own: list[str]) -> str:
    """Return what is assigned; own: titles of what the worksites wrote for everybody there."""
    if wanted.whole:
        count = len(assigning.course())
        whole = ngettext(
            "The full training (%(num)s lesson)", "The full training (%(num)s lessons)", count
        )
        return "; ".join([whole, *own])
    return "; ".join(map(taught.title, wanted.picked))


def _later_said(worksites: list[Worksite], class_slug: str, days: int | None) -> str:
    places = ", ".join(one.name for one in worksites)
    if class_slug and days is None:
        worn = respirator_classes.get(class_slug).name(current())
        return gettext(
            "Whoever gets this class from now on at %(places)s (%(worn)s) has it by itself, due "
            "before first wearing.", places=places, worn=worn,
        )  # fmt: skip
    if class_slug:
        worn = respirator_classes.get(class_slug).name(current())
        return ngettext(
            "Whoever gets this class from now on at %(places)s (%(worn)s) has it by itself, due "
            "within %(num)s day.",
            "Whoever gets this class from now on at %(places)s (%(worn)s) has it by itself, due "
            "within %(num)s days.", days, places=places, worn=worn,
        )  # fmt: skip
    if days is None:
        return gettext(
            "Whoever comes to %(places)s from now on has it by itself, due before first wearing.",
            places=places,
        )
    return ngettext(
        "Whoever comes to %(places)s from now on has it by itself, due within %(num)s day.",
        "Whoever comes to %(places)s from now on has it by itself, due within %(num)s days.",
        days, places=places,
    )  # fmt: skip


def _standing_said(row: StandingAssignment) -> str:
    """Return what a standing assignment asks, in a line."""
    what = taught.title(row.lesson) if row.lesson else gettext("The full training")
    when = (
        gettext("before first wearing")
        if row.days is None
        else ngettext("within %(num)s day", "within %(num)s days", row.days)
    )
    worn = respirator_classes.get(row.class_slug)
    only = [gettext("only who wears: %(worn)s", worn=worn.name(current()))] if worn else []
    return ", ".join([what, when, *only])


def _assign_page(wanted: Wanted, wrong: dict[str, str] | None = None):
    with reading() as db:
        person = access.their(db, wanted.person) if wanted.person else None
        day = standing.today(db, person or g.person, now(), access.settings().zone)
        mine = _mine(db)
        ids = [one.id for one in mine]
        there = [one.id for one in people.worksites(db, person.id)] if person else ids
        offered = assigning.lessons_for(db, there)
        worn = assignments.classes_worn(db, ids)
        rows = [] if person else assignments.standing_at(db, ids)
        by = {row.begun_by: db.get(Person, row.begun_by).name for row in rows}
    names = {one.id: one.name for one in mine}
    return render_template(
        "trainer/assign.html",
        found=person,
        wanted=wanted,
        whom=_whom_choices(mine, worn),
        lessons=[(one.slug, one.title(current())) for one in offered],
        course=len(assigning.course()),
        reasons=[(row.slug, row.name(current())) for row in retraining_reasons.rows()],
        later=_later_choices(),
        due=wanted.due or (day + timedelta(days=DAYS_TO_LEARN)).isoformat(),
        seen=entries.seen(wanted.seen),
        standing=[(row, names[row.worksite_id], _standing_said(row), by[row.begun_by])
                  for row in rows],
        wrong=wrong or {},
    )  # fmt: skip


def _whom_choices(mine: list[Worksite], worn: list[str]) -> list[tuple[str, str]]:
    return [
        *((f"{WORKSITE}:{one.id}", gettext("Everyone at %(place)s", place=one.name))
          for one in mine),
        *((f"{CLASS}:{slug}",
           gettext("Everyone who wears: %(worn)s",
                   worn=respirator_classes.get(slug).name(current())))
          for slug in worn),
        (ONE, gettext("One person: their worker number stands below")),
    ]  # fmt: skip


def _later_choices() -> list[tuple[str, str]]:
    return [
        (NOBODY_LATER, gettext("Only to those who are there now")),
        (BEFORE_WEARING, gettext("Also to whoever comes later, before first wearing")),
        (IN_DAYS, gettext("Also to whoever comes later, within the days below")),
    ]
