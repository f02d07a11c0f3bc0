"""The worker's pages: the tag, lessons and their problems, sittings, one's own record."""

from datetime import date, timedelta

from flask import Blueprint, Response, abort, flash, g, render_template, request
from flask_babel import gettext
from sqlalchemy import Row

from trainer import lessons
from trainer.config import LANGUAGES
from trainer.services import booklet as booklets
from trainer.services import curriculum, learning, refreshing, sitting, standing
from trainer.services.refusal import Refusal
from trainer.store import people, record, site_lessons
from trainer.web import access, asking, drilling, entries, errors, htmx, items, tagging, taught
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import say
from trainer.web.language import current

bp = Blueprint("worker", __name__)

FRESH = timedelta(minutes=2)


@bp.get("/tag")
@may()
def tag():
    """Show the tag: what is done, what is next, one button."""
    here = access.settings()
    with reading() as db:
        today = standing.today(db, g.person, now(), here.zone)
        history = standing.History(db, g.person)
        tags = standing.tags(db, g.person, today, history)
        to_do = history.to_do(today)
        slugs = [item.slug for item in to_do if curriculum.find(db, item.slug)]
        onward = _onward(db, history, today, slugs) if slugs else None
        passed = len(history.this_round(today))
        shown = [
            (
                item,
                tagging.lines(item, passed, len(history.course), today, here.due_soon_days, True),
            )
            for item in tags
        ]
        worksite = standing.home_worksite(db, g.person)
        states = _lesson_states(db, history, to_do)
        newest = history.entries[-1].recorded_at if history.entries else ""
        refresher = refreshing.offer(db, g.person, today, history)
        asked = asking.on_tag(db, tags)
    return render_template(
        "worker/tag.html",
        tags=shown,
        until=tagging.until,
        because=tagging.because,
        notes=tagging.notes,
        onward=onward,
        lessons=states,
        refresher=refresher,
        place=worksite.name if worksite else "",
        # The stamp comes down once, just after the entry that turned the tag clear.
        fresh=newest > record.moment(now() - FRESH),
        **asked,
    )


@bp.get("/booklet-<language>.pdf")
@may()
def booklet(language: str):
    """Send all lessons of one language as one booklet to print."""
    if language not in LANGUAGES:
        abort(404)
    response = Response(booklets.booklet(language), mimetype="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="lessons-{language}.pdf"'
    return response


@bp.get("/lessons/<slug>")
@may()
def lesson(slug: str):
    """Show a lesson's sections, its closing sitting and its sources."""
    found = _lesson(slug)
    if current() not in found.languages:
        return _other_language(found)
    with reading() as db:
        there = learning.place(db, g.person, slug)
        open_sitting = sitting.open_sitting(db, g.person, slug)
        earlier = [one for one in sitting.of_person(db, g.person, slug) if one.closed_at]
        talk = sitting.needs_talk(db, g.person, slug)
        may_sit, taught = sitting.way_in(db, g.person, found, now())
        earlier_training = _covered(db, slug)
    unread = learning.unread(there, found)
    rows = [
        (
            f"/lessons/{slug}/{part.id}",
            part.title(current()),
            "todo" if part.id in unread else "done",
            False,
        )
        for part in found.sections
    ]
    return render_template(
        "worker/lesson.html",
        lesson=found,
        rows=rows,
        unread=unread,
        may_sit=may_sit,
        taught=taught,
        open_sitting=open_sitting,
        earlier=earlier,
        talk=talk,
        earlier_training=earlier_training,
        go_on=learning.go_on_at(there if unread else None, found),
    )


@bp.get("/lessons/<slug>/<section>")
@may()
def section(slug: str, section: str):
    """Show one section, with its drawings and its problem."""
    found, part = _section(slug, section)
    if current() not in found.languages:
        return _other_language(found)
    if part is None:
        return _written_anew(slug)
    ids = [one.id for one in found.sections]
    at = ids.index(section)
    with reading() as db:
        there = learning.place(db, g.person, slug)
        drills = {
            name: learning.drill(db, g.person, curriculum.exercise_of(found, name), current())
            for name in part.exercises
        }
        asked = asking.at_section(db, slug, section)
    unread = learning.unread(there, found)
    return render_template(
        "worker/section.html",
        lesson=found,
        section=part,
        drills=drills,
        number=at + 1,
        states=["begun" if one == section else _read(one, unread) for one in ids],
        before=found.sections[at - 1] if at else None,
        after=found.sections[at + 1] if at + 1 < len(ids) else None,
        **asked,
    )


@bp.post("/lessons/<slug>/<section>/done")
@may()
def section_done(slug: str, section: str):
    """Keep that a section was read, and go on."""
    found, part = _section(slug, section)
    if part is None:
        return _written_anew(slug)
    with writing() as db:
        heard = request.form.get("heard") == "yes"
        following = learning.finish_section(db, g.person, found, section, now(), heard)
    return htmx.go(f"/lessons/{slug}/{following}" if following else f"/lessons/{slug}#sitting")


@bp.post("/lessons/<slug>/<section>/problem/<exercise>")
@may()
def work(slug: str, section: str, exercise: str):
    """Take an answer to a step, go on to the next problem, or show a step worked."""
    found, part = _section(slug, section)
    if part is None or exercise not in part.exercises:
        abort(404)
    named = curriculum.exercise_of(found, exercise)
    drill = drilling.take(named)
    if not htmx.wants_part():
        return htmx.go(f"/lessons/{slug}/{section}#{exercise}")
    return render_template(
        "worker/_problem.html",
        drill=drill,
        address=f"/lessons/{slug}/{section}/problem/{exercise}",
        more=False,
        heading="h3",
        fresh=True,
    )


@bp.post("/lessons/<slug>/sitting")
@may()
def begin_sitting(slug: str):
    """Begin the closing sitting, or go on with the one that is open."""
    found = _lesson(slug)
    if current() not in found.languages:
        return htmx.go(f"/lessons/{slug}")
    try:
        with writing() as db:
            there = sitting.begin(db, g.person, found, now(), unread=_covered(db, slug))
            shown = sitting.shown(db, there)
    except Refusal as refusal:
        flash(say(refusal), "error")
        return htmx.go(f"/lessons/{slug}")
    return htmx.go(f"/sittings/{there.id}/{items.first_open(shown)}")


@bp.post("/refresher")
@may()
def refresher():
    """Begin the refresher that waits, or go on with it."""
    try:
        with writing() as db:
            today = standing.today(db, g.person, now(), access.settings().zone)
            there = refreshing.begin(db, g.person, today, now())
            shown = sitting.shown(db, there)
    except Refusal as refusal:
        flash(say(refusal), "error")
        return htmx.go("/tag")
    return htmx.go(f"/sittings/{there.id}/{items.first_open(shown)}")


@bp.get("/sittings/<int:number>/<int:position>")
@may()
def item(number: int, position: int):
    """Show one question or problem of a sitting."""
    there, shown = _own(number)
    if there.closed_at:
        return htmx.go(f"/sittings/{number}/result")
    return _unwritten(there, shown) or _item_page(there, shown, position)


@bp.post("/sittings/<int:number>/<int:position>")
@may()
def answer(number: int, position: int):
    """Keep one answer; nothing is marked until the sitting closes."""
    given = request.form.getlist("answer")
    since = request.form.get("since", type=int) if htmx.wants_part() else None
    try:
        with writing() as db:
            there = sitting.own(db, number, g.person) or abort(404)
            kept = sitting.answer(db, there, position, given, now(), since)
    except Refusal as refusal:
        if since is not None and not _own(number)[0].closed_at:
            return render_template("worker/_not_kept.html", refusal=say(refusal))
        # The review page leads on to the result of a sitting that is closed.
        flash(say(refusal), "error")
        return htmx.go(f"/sittings/{number}/review")
    except Exception as fault:
        return _answer_again(number, position, given, fault)
    if htmx.wants_part():
        return render_template("worker/_kept.html", kept=kept, at=now())
    there, shown = _own(number)
    again = sitting.asked_again(shown[position - 1], current())
    if again:
        return _item_page(there, shown, position, fault=again), 422
    last = position >= len(shown)
    if request.form.get("go") == "review" or last:
        return htmx.go(f"/sittings/{number}/review")
    return htmx.go(f"/sittings/{number}/{position + 1}")


def _answer_again(number: int, position: int, given: list[str], fault: Exception):
    """Show the question with what was given, where the database did not keep it.

    Errors: the fault, where that is not its reason, or not even the question can be read.
    """
    said = errors.trouble(fault)
    if htmx.wants_part() or g.without_record:
        raise fault
    there, shown = _own(number)
    shown[position - 1] = sitting.filled_in(shown[position - 1], given)
    return _item_page(there, shown, position, fault=errors.not_saved(said)), said.code


@bp.get("/sittings/<int:number>/review")
@may()
def review(number: int):
    """Show every answer before the sitting is closed."""
    there, shown = _own(number)
    if there.closed_at:
        return htmx.go(f"/sittings/{number}/result")
    return _unwritten(there, shown) or _review_page(there, shown)


@bp.post("/sittings/<int:number>/close")
@may()
def close(number: int):
    """Close the sitting and mark it; sent twice, it is closed once."""
    if _unwritten(*_own(number)):
        return htmx.go(f"/sittings/{number}/review")
    try:
        with writing() as db:
            there = sitting.own(db, number, g.person) or abort(404)
            sitting.close(db, access.scribe(), there, current(), access.settings().pass_mark)
    except Refusal as refusal:
        return _review_page(*_own(number), fault=say(refusal)), 422
    return htmx.go(f"/sittings/{number}/result")


@bp.get("/sittings/<int:number>/result")
@may()
def result(number: int):
    """Show how a closed sitting was marked, each answer explained."""
    there, shown = _own(number)
    if not there.closed_at:
        return htmx.go(f"/sittings/{number}/review")
    unwritten = _unwritten(there, shown)
    if unwritten:
        return unwritten
    with reading() as db:
        talk = bool(there.lesson) and sitting.needs_talk(db, g.person, there.lesson)
    return render_template(
        "worker/result.html",
        sitting=there,
        items=shown,
        about=_about(there),
        again=_read_again(there, shown),
        talk=talk,
        marking=lambda one: sitting.marking(one, current()),
        given_at=lambda one, index: items.given_at(one, index, current()),
        pass_mark=access.settings().pass_mark,
    )


@bp.get("/my-record")
@may()
def my_record():
    """Show a person their own record, whole, to read and to print."""
    here = access.settings()
    with reading() as db:
        today = standing.today(db, g.person, now(), here.zone)
        history = standing.History(db, g.person)
        tags = standing.tags(db, g.person, today, history)
        numbers = people.numbers(db, g.person)
        places = people.worksites(db, g.person.id)
        erased = record.erasures(db, [one.number for one in history.entries if one.body is None])
    return render_template(
        "worker/my_record.html",
        lines=entries.lines(history.entries, medical=True, erased=erased),
        numbers=numbers,
        places=places,
        tags=tags,
        today=today,
        until=tagging.until,
        because=tagging.because,
    )


def _covered(db, slug: str) -> bool:
    """Say whether earlier training covered a lesson, so that its sitting may begin unread."""
    today = standing.today(db, g.person, now(), access.settings().zone)
    return slug in standing.History(db, g.person).to_be_shown(today)


def _lesson(slug: str) -> lessons.Lesson:
    return taught.lesson(slug) or abort(404)


def _other_language(found: lessons.Lesson, written: str = "") -> str:
    """Say that a lesson is not written in the reader's language, and offer the one that is.

    written     the one that is, where it is not that of the lesson as it is taught now
    """
    return render_template(
        "worker/other_language.html", lesson=found, written=written or found.languages[0]
    )


def _section(slug: str, section: str) -> tuple[lessons.Lesson, lessons.Section | None]:
    """Return a lesson and a section, None where a worksite has written its lesson anew without it.

    Ours keep their sections, so of them there is no such page.
    """
    found = _lesson(slug)
    part = found.section(section)
    if part is None and not site_lessons.is_slug(slug):
        abort(404)
    return found, part


def _written_anew(slug: str):
    flash(gettext("This lesson was written anew, and that section is no longer in it."), "error")
    return htmx.go(f"/lessons/{slug}")


def _own(number: int) -> tuple[Row, list[sitting.Shown]]:
    with reading() as db:
        there = sitting.seen(db, number, g.person) or abort(404)
        return there, sitting.shown(db, there)


def _unwritten(there: Row, items: list[sitting.Shown]) -> str:
    """Return the page that offers the other language, where a sitting is not in this one."""
    with reading() as db:
        written = sitting.languages(db, there, items)
        if current() in written:
            return ""
        return _other_language(curriculum.find(db, there.lesson), written[0])


def _read(section: str, unread: list[str]) -> str:
    return "todo" if section in unread else "done"


def _about(there: Row) -> str:
    """Return what a sitting is about: the title of its lesson, or that it is a refresher."""
    if not there.lesson:
        return gettext("Refresher")
    with reading() as db:
        found = curriculum.find(db, there.lesson)
    return found.title(current()) if found else there.lesson


def _read_again(
    there: Row, items: list[sitting.Shown]
) -> list[tuple[lessons.Lesson, lessons.Section]]:
    """Return the sections that explain what was not right, in the order of the course."""
    wrong = {(one.lesson or there.lesson, one.section) for one in items if not one.item.right}
    with reading() as db:
        named = {slug for slug, _ in wrong}
        known = filter(None, (curriculum.find_for(db, g.person, slug) for slug in named))
    return [
        (found, part)
        for found in sorted(known, key=lambda one: one.order)
        for part in found.sections
        if (found.slug, part.id) in wrong
    ]


def _item_page(there: Row, shown: list[sitting.Shown], position: int, fault: str = ""):
    base = f"/sittings/{there.id}"
    return items.item_page(there, shown, position, _about(there), base, current(), fault)


def _review_page(there: Row, shown: list[sitting.Shown], fault: str = ""):
    return items.review_page(there, shown, f"/sittings/{there.id}", current(), fault)


def _onward(
    db, history: standing.History, today: date, slugs: list[str]
) -> tuple[str, str]:
    """Return where the one button of the tag leads, and what it says."""
    slug = learning.go_on_with(db, g.person, slugs)
    found = curriculum.find(db, slug)
    title = found.title(current())
    there = learning.place(db, g.person, slug)
    open_sitting = sitting.open_sitting(db, g.person, slug)
    if open_sitting:
        position = sitting.first_open(db, open_sitting) or "review"
        return f"/sittings/{open_sitting.id}/{position}", gettext(
            "Go on: questions, %(lesson)s", lesson=title
        )
    unmet = there is None and slug in history.to_be_shown(today)
    if unmet or sitting.way_in(db, g.person, found, now())[0]:
        return f"/lessons/{slug}#sitting", gettext(
            "Go on: closing questions, %(lesson)s", lesson=title
        )
    section = learning.go_on_at(there, found)
    label = (
        gettext("Go on: %(lesson)s", lesson=title)
        if there
        else gettext("Begin: %(lesson)s", lesson=title)
    )
    return f"/lessons/{slug}/{section}", label


def _lesson_states(
    db, history: standing.History, to_do: list[standing.LessonToDo]
) -> list[tuple[lessons.Lesson, str, date | None, bool]]:
    open_ = {item.slug: item for item in to_do}
    begun = learning.places(db, g.person)
    rows = []
    for found in curriculum.of_person(db, g.person):
        item = open_.get(found.slug)
        state = ("begun" if found.slug in begun else "todo") if item else "done"
        rows.append(
            (found, state, item.due if item else None, bool(item and item.before_wearing))
        )
    return rows
