"""Coverage: workers against the elements of training, who lacks which."""

from urllib.parse import urlencode

from flask import Blueprint, g, render_template, request

from trainer.reference import training_elements
from trainer.services import coverage, standing, today
from trainer.web import access, surroundings, taught
from trainer.web.access import may, now, reading
from trainer.web.language import current

bp = Blueprint("coverage", __name__)

PAGE = 50


@bp.get("/coverage")
@may("trainer", "coordinator")
def index():
    """Show who was taught which element, and who lacks which."""
    choices = surroundings.worksite_choices("coordinator" not in g.roles)
    asked = request.args.get("worksite", type=int)
    chosen = asked if asked in dict(choices) else next(iter(dict(choices)), None)
    lacks = request.args.get("lacks", "")
    lacks = lacks if training_elements.get(lacks) else ""
    number = max(1, min(request.args.get("page", 1, type=int), 10**6))
    found, untaught = None, []
    if chosen:
        with reading() as db:
            day = standing.today(db, g.person, now(), access.settings().zone)
            found = coverage.look(
                db, chosen, day, lacks=lacks, first=(number - 1) * PAGE, most=PAGE
            )
            untaught = coverage.without_lesson(db, today.course_at(db, chosen))
    return render_template(
        "board/coverage.html",
        choices=choices,
        chosen=chosen,
        lacks=lacks,
        found=found,
        untaught=[_named(one) for one in training_elements.rows() if one.paragraph in untaught],
        elements=[(one.paragraph, _short(one), _named(one)) for one in training_elements.rows()],
        title_of=taught.title,
        to_assign=_to_assign,
        number=number,
        address=lambda **more: "?" + urlencode(
            {name: value for name, value in
             ({"worksite": chosen, "lacks": lacks} | more).items() if value}
        ),
    )  # fmt: skip


def _short(element: training_elements.TrainingElement) -> str:
    return element.paragraph.removeprefix("(k)(1)")


def _named(element: training_elements.TrainingElement) -> str:
    return element.name(current())


def _to_assign(row: coverage.Row, paragraph: str) -> str:
    """Return where the lessons that somebody lacks of an element, or of all, are assigned."""
    missing = row.missing.get(paragraph, ()) if paragraph else [
        slug for one in row.missing.values() for slug in one
    ]  # fmt: skip
    slugs = [("lesson", slug) for slug in dict.fromkeys(missing)]
    return "/assign?" + urlencode([("person", row.person.number), *slugs])
