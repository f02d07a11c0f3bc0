"""Teaching a crew in a room: a lesson on the wall, and a problem worked together, step by step.

Nothing is recorded by looking. What was taught is recorded as a talk, in `web/talks.py`.
"""

import secrets

from flask import Blueprint, abort, flash, g, redirect, render_template, request, url_for
from flask_babel import gettext
from markupsafe import Markup

from trainer import bank, lessons
from trainer.config import LANGUAGES
from trainer.services import curriculum
from trainer.web import taught
from trainer.web.access import may, reading
from trainer.web.htmx import go
from trainer.web.language import current, speaking

bp = Blueprint("crew", __name__)

SEEDS = 1_000_000
"""Problems for a crew are drawn from so many numbers: short enough to be read out."""


@bp.get("/crew")
@may("trainer")
def index():
    """Choose what to do with a crew: teach, record a talk, watch practice, sittings on paper."""
    return render_template(
        "crew/index.html",
        lessons=[(one.slug, one.title(current())) for one in taught.choices()],
    )


@bp.get("/crew/teach")
@may("trainer")
def teach():
    """Go to the first section of the lesson that was chosen, in the language that was chosen."""
    lesson = taught.lesson(request.args.get("lesson", "")) or abort(404)
    tongue = request.args.get("tongue", "")
    if tongue not in LANGUAGES:
        abort(404)
    if tongue not in lesson.languages:
        flash(gettext("This lesson is not written in that language."), "error")
        return redirect("/crew", 303)
    return go(_section_address(lesson, tongue, 0))


@bp.get("/crew/lessons/<slug>/<tongue>/<section>")
@may("trainer")
def wall(slug: str, tongue: str, section: str):
    """Show one section of a lesson, large, for everybody in the room."""
    lesson, at = _at(slug, tongue, section)
    part = lesson.sections[at]
    last = at + 1 == len(lesson.sections)
    return _on_the_wall(
        part.title(tongue),
        "crew/_section.html",
        lesson=lesson,
        section=part,
        tongue=tongue,
        number=at + 1,
        before=_section_address(lesson, tongue, at - 1) if at else "",
        after="" if last else _section_address(lesson, tongue, at + 1),
        problem_of=lambda name: _problem_address(lesson, tongue, part.id, name),
    )


@bp.get("/crew/lessons/<slug>/<tongue>/<section>/<exercise>")
@may("trainer")
def problem(slug: str, tongue: str, section: str, exercise: str):
    """Show a problem drawn for the crew, with as many of its steps worked as the address says."""
    lesson, at = _at(slug, tongue, section)
    if exercise not in lesson.sections[at].exercises:
        abort(404)
    named = curriculum.exercise_of(lesson, exercise)
    seed = request.args.get("seed", type=int)
    if seed is None or not 0 <= seed < SEEDS:
        return go(_problem_address(lesson, tongue, section, exercise))
    with reading() as db:
        told = curriculum.told_in(db, g.person, lesson)
    drawn = bank.draw_at_any(named, seed, told) or bank.draw(named, seed)
    total = len(drawn.steps)
    shown = min(max(request.args.get("shown", 0, type=int), 0), total)
    last = at + 1 == len(lesson.sections)

    def here(count: int) -> str:
        return _problem_address(lesson, tongue, section, exercise, seed, count)

    return _on_the_wall(
        lesson.title(tongue),
        "crew/_together.html",
        lesson=lesson,
        tongue=tongue,
        problem=drawn,
        shown=shown,
        total=total,
        before=here(shown - 1) if shown else _section_address(lesson, tongue, at),
        after=here(shown + 1) if shown < total else "",
        another=_problem_address(lesson, tongue, section, exercise),
        onward="" if last else _section_address(lesson, tongue, at + 1),
        back=_section_address(lesson, tongue, at),
    )


def _on_the_wall(title: str, template: str, **values: object) -> str:
    """Return a page for the wall; what the crew reads is in their language, not the trainer's."""
    with speaking(values["tongue"]):
        # A template has escaped what it was given.
        shown = Markup(render_template(template, **values))  # noqa: S704  # nosec B704
    return render_template("crew/wall.html", title=title, shown=shown)


def _at(slug: str, tongue: str, section: str) -> tuple[lessons.Lesson, int]:
    """Return a lesson and the place of one of its sections, in a language that it has."""
    lesson = taught.lesson(slug) or abort(404)
    ids = [one.id for one in lesson.sections]
    if tongue not in lesson.languages or section not in ids:
        abort(404)
    return lesson, ids.index(section)


def _section_address(lesson: lessons.Lesson, tongue: str, at: int) -> str:
    section = lesson.sections[at].id
    return url_for("crew.wall", slug=lesson.slug, tongue=tongue, section=section)


def _problem_address(
    lesson: lessons.Lesson,
    tongue: str,
    section: str,
    exercise: str,
    seed: int | None = None,
    shown: int = 0,
) -> str:
    """Return where a problem of an exercise is shown; without a seed, one that is new each time."""
    return url_for(
        "crew.problem", slug=lesson.slug, tongue=tongue, section=section, exercise=exercise,
        seed=secrets.randbelow(SEEDS) if seed is None else seed, shown=shown or None,
    )  # fmt: skip
