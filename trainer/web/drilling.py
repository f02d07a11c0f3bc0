"""Exercises: all of them on a page of their own, and how answers to a problem are taken."""

from flask import Blueprint, abort, g, render_template, request

from trainer import bank
from trainer.calculations.catalogue import CATALOGUE, GROUPS
from trainer.services import learning, own_numbers
from trainer.web import htmx
from trainer.web.access import may, now, reading, writing
from trainer.web.language import current

bp = Blueprint("drilling", __name__)


@bp.get("/exercises")
@may()
def index():
    """List every exercise by what it is about, with how far the person is."""
    found = bank.load().exercises.values()
    with reading() as db:
        states = learning.states(db, g.person, found)
    groups = [
        (group, [(one, states[one.slug]) for one in found
                 if CATALOGUE[one.calculation] in group.calculations])
        for group in GROUPS
    ]
    return render_template("exercises/index.html", groups=[one for one in groups if one[1]])


@bp.get("/exercises/<exercise>")
@may()
def page(exercise: str):
    """Show where the person is with one exercise."""
    return render_template("exercises/page.html", **_around(_named(exercise)))


@bp.post("/exercises/<exercise>")
@may()
def work(exercise: str):
    """Take an answer to a step, go on to the next problem, or show a step worked."""
    named = _named(exercise)
    drill = take(named)
    if not htmx.wants_part():
        return htmx.go(f"/exercises/{exercise}")
    return render_template("worker/_problem.html", **_around(named, drill), fresh=True)


def take(exercise: bank.Exercise) -> learning.Drill:
    """Do what the form of a problem asks: keep an answer, go on, or show a step.

    Return where the person is then: what was just kept is not asked for again.
    """
    ordinal, step = _whole("ordinal"), _whole("step")
    with writing() as db:
        match request.form.get("act"):
            case "next":
                told = own_numbers.facts_for(db, g.person, exercise.lesson)
                return learning.go_on(
                    db, g.person, exercise, ordinal, now(), told, current()
                )
            case "show":
                return learning.show_step(
                    db, g.person, exercise, ordinal, step, now(), current()
                )
            case _:
                typed = request.form.get("answer", "")
                return learning.answer(
                    db, g.person, exercise, ordinal, step, typed, current(), now()
                )


def _named(slug: str) -> bank.Exercise:
    return bank.load().exercises.get(slug) or abort(404)


def _around(exercise: bank.Exercise, drill: learning.Drill | None = None) -> dict:
    with reading() as db:
        drill = drill or learning.drill(db, g.person, exercise, current())
        every = list(bank.load().exercises.values())
        other = learning.another(db, g.person, every, exercise.slug) if drill.done else None
    return {
        "exercise": exercise,
        "calculation": CATALOGUE[exercise.calculation],
        "drill": drill,
        "other": other,
        "address": f"/exercises/{exercise.slug}",
        "more": True,
        "heading": "h2",
    }


def _whole(name: str) -> int:
    try:
        return int(request.form.get(name, ""))
    except ValueError:
        abort(400)
