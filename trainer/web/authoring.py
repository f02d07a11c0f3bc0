"""Where trainers write the lessons of their worksite: drafts, preview, versions, publishing."""

import secrets
from collections import Counter
from datetime import date, timedelta

from flask import Blueprint, abort, flash, g, jsonify, redirect, render_template, request
from flask_babel import format_time, gettext

from trainer.config import LANGUAGES
from trainer.lessons import matters, written
from trainer.lessons.written import Text
from trainer.reference import retraining_reasons, training_elements
from trainer.services import authoring, curriculum, site_blocks, standing
from trainer.services.refusal import Refusal
from trainer.store import site_lessons
from trainer.store.tables import (
    Person,
    SiteDraftAside,
    SiteLesson,
    SiteLessonVersion,
    Worksite,
)
from trainer.web import access, site
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import at_field, say
from trainer.web.language import current

bp = Blueprint("authoring", __name__)

DAYS_TO_LEARN = 14
LESSON = "/sites/<int:number>/lessons/<int:lesson>"


@bp.get("/sites/<int:number>/lessons")
@may("trainer", "coordinator")
def index(number: int):
    """List the lessons of a worksite, and begin one."""
    with reading() as db:
        worksite = site.worksite_of(db, number)
        rows = [
            (one, site_lessons.drafts(db, one.id), site_lessons.newest(db, one.id))
            for one in site_lessons.of_worksite(db, worksite.id)
        ]
    return render_template(
        "authoring/index.html", worksite=worksite, rows=rows, titled=_titled, languages=LANGUAGES
    )


@bp.post("/sites/<int:number>/lessons")
@may("trainer", "coordinator")
def begin(number: int):
    """Begin a lesson with the starting text in one language."""
    with writing() as db:
        worksite = site.worksite_of(db, number)
        if not access.first(db):
            return redirect(f"/sites/{number}/lessons", 303)
        language = request.form.get("language", current())
        made = authoring.begin(db, access.scribe(), worksite, language)
    return redirect(f"/sites/{number}/lessons/{made.id}/write/{language}", 303)


@bp.get(LESSON)
@may("trainer", "coordinator")
def page(number: int, lesson: int):
    """Show how far a lesson is: its languages, its matters, what is wrong, its versions."""
    return _page(number, lesson)


@bp.post(LESSON)
@may("trainer", "coordinator")
def change(number: int, lesson: int):
    """Begin the other language, say whether everybody learns it, or take the lesson off."""
    with writing() as db:
        _, there = _own(db, number, lesson)
        match request.form.get("act"):
            case "language":
                language = request.form.get("language", "")
                authoring.begin_language(db, access.scribe(), there, language)
                return redirect(f"/sites/{number}/lessons/{lesson}/write/{language}", 303)
            case "everyone":
                everyone = request.form.get("everyone") == "yes"
                authoring.teach_everyone(db, access.scribe(), there, everyone)
            case "end":
                authoring.end(db, access.scribe(), there)
                flash(gettext("Taken off. What was taught stays readable."))
                return redirect(f"/sites/{number}/lessons", 303)
            case _:
                abort(400)
    flash(gettext("The change is kept."))
    return redirect(f"/sites/{number}/lessons/{lesson}", 303)


@bp.get(f"{LESSON}/write/<language>")
@may("trainer", "coordinator")
def write(number: int, lesson: int, language: str):
    """Write the lesson in one language, with a preview as the reader will see it."""
    return _editor(number, lesson, language)


@bp.post(f"{LESSON}/write/<language>")
@may("trainer", "coordinator")
def save(number: int, lesson: int, language: str):
    """Keep what was written; a page that saves by itself gets a short answer."""
    by_itself = request.accept_mimetypes.best == "application/json"
    try:
        with writing() as db:
            _, there = _own(db, number, lesson)
            if language not in LANGUAGES:
                abort(404)
            saved = authoring.save(
                db,
                access.scribe(),
                there,
                language,
                _typed(),
                since=request.form.get("since", 0, type=int),
                # A form without the key of its page is nobody's going on.
                page=request.form.get("page", "")[:40] or secrets.token_hex(8),
                turn=request.form.get("turn", 0, type=int),
            )
            author = db.get(Person, saved.draft.saved_by)
    except Refusal as refusal:
        if by_itself:
            return jsonify(kept="", say=say(refusal)), 422
        return _editor(number, lesson, language, fault=say(refusal)), 422
    said, beside = _said(saved, author), _beside(number, lesson, saved)
    if by_itself:
        kept = "late" if saved.late else "aside" if saved.aside else "draft"
        return jsonify(
            kept=kept, revision=saved.draft.revision, turn=(saved.aside or saved.draft).turn,
            say=said, beside=beside,
        )  # fmt: skip
    flash(said, "error" if saved.aside else "message")
    return redirect(beside if saved.aside else f"/sites/{number}/lessons/{lesson}", 303)


@bp.post(f"{LESSON}/preview/<language>")
@may("trainer", "coordinator")
def preview(number: int, lesson: int, language: str):
    """Show a text as its reader will see it; nothing is kept."""
    if language not in LANGUAGES:
        abort(404)
    with reading() as db:
        _, there = _own(db, number, lesson)
        around = authoring.around(db, there)
    text = _typed()
    if written.too_long(text.markdown):
        abort(413)
    return render_template(
        "authoring/_preview.html",
        text=text,
        shown=written.preview(text.markdown, language, around),
        written_in=language,
    )


@bp.get(f"{LESSON}/beside/<int:aside>")
@may("trainer", "coordinator")
def beside(number: int, lesson: int, aside: int):
    """Show a text that stands beside the draft, and how the two differ."""
    with reading() as db:
        worksite, there = _own(db, number, lesson)
        row = _aside(db, there, aside)
        draft = site_lessons.drafts(db, there.id)[row.language]
        names = {one: db.get(Person, one).name for one in (row.kept_by, draft.saved_by)}
    return render_template(
        "authoring/beside.html",
        worksite=worksite,
        lesson=there,
        row=row,
        draft=draft,
        names=names,
        changes=authoring.differences(authoring.whole(draft), authoring.whole(row)),
    )


@bp.post(f"{LESSON}/beside/<int:aside>")
@may("trainer", "coordinator")
def settle(number: int, lesson: int, aside: int):
    """Put a text that stands beside the draft in its place, or leave the draft as it is."""
    with writing() as db:
        _, there = _own(db, number, lesson)
        row = _aside(db, there, aside)
        authoring.settle(db, access.scribe(), row, put=request.form.get("act") == "put")
    flash(gettext("Settled. The other text is still kept."))
    return redirect(f"/sites/{number}/lessons/{lesson}", 303)


@bp.post(f"{LESSON}/publish")
@may("trainer", "coordinator")
def publish(number: int, lesson: int):
    """Publish the drafts; where an older version is replaced, say who does it again, and why."""
    given = request.form
    try:
        due = date.fromisoformat(given.get("due", ""))
    except ValueError:
        due = None
    retrain = given.get("again") == "yes"
    if retrain and due is None:
        return _page(number, lesson, {"due": gettext("Give the due day as a date.")}), 422
    try:
        with writing() as db:
            _, there = _own(db, number, lesson)
            made = authoring.publish(
                db,
                access.scribe(),
                there,
                seen=given.get("seen", ""),
                retrain=retrain,
                reason=given.get("reason", ""),
                due=due,
                why=given.get("why", ""),
            )
    except Refusal as refusal:
        return _page(number, lesson, at_field(refusal, "publish")), 422
    flash(gettext("Published as version %(n)s. It is taught from now on.", n=made.ordinal))
    return redirect(f"/sites/{number}/lessons/{lesson}", 303)


@bp.get(f"{LESSON}/versions/<int:ordinal>")
@may("trainer", "coordinator")
def version(number: int, lesson: int, ordinal: int):
    """Show a version as it was published, and what it changed."""
    with reading() as db:
        worksite, there = _own(db, number, lesson)
        every = {one.ordinal: one for one in site_lessons.versions(db, there.id)}
        this = every.get(ordinal) or abort(404)
        before = every.get(ordinal - 1)
        by = db.get(Person, this.published_by)
        around = authoring.around(db, there)
    texts = curriculum.texts_of(this)
    around = written.Around(around.exercises, around.site, curriculum.pictures_of(this))
    drawn = Counter()  # on all of the page: a drawing that is shown again needs other ids
    return render_template(
        "authoring/version.html",
        worksite=worksite,
        lesson=there,
        version=this,
        by=by,
        texts={
            one: (text, written.preview(text.markdown, one, around, drawn))
            for one, text in texts.items()
        },
        changes=_changes(before, this) if before else {},
        questions=curriculum.questions_of(this),
        asked_in=current() if current() in texts else next(iter(texts)),
    )


def _changes(
    before: SiteLessonVersion, this: SiteLessonVersion
) -> dict[str, tuple[list[authoring.Change], list[authoring.Change]]]:
    """Return by language how the text changed and how the questions did.

    A language that is only in one of them came or went as a whole.
    """
    old, new = curriculum.texts_of(before), curriculum.texts_of(this)
    return {
        one: (
            authoring.differences(_whole(old.get(one)), _whole(new.get(one))),
            authoring.differences(*(
                authoring.in_lines(curriculum.questions_of(version), one)
                for version in (before, this)
            )),
        )
        for one in LANGUAGES
        if one in old or one in new
    }  # fmt: skip


def _whole(text: Text | None) -> str:
    return authoring.whole(text) if text else ""


def _own(db, number: int, lesson: int) -> tuple[Worksite, SiteLesson]:
    worksite = site.worksite_of(db, number)
    return worksite, authoring.own(db, worksite.id, lesson) or abort(404)


def _aside(db, lesson: SiteLesson, number: int) -> SiteDraftAside:
    row = db.get(SiteDraftAside, number)
    return row if row and row.lesson_id == lesson.id else abort(404)


def _typed() -> Text:
    given = request.form
    return Text(given.get("title", ""), given.get("summary", ""), given.get("text", ""))


def _said(saved: authoring.Saved, author: Person) -> str:
    at = format_time(saved.draft.saved_at, "HH:mm:ss")
    if saved.aside is None:
        return gettext("Saved %(at)s.", at=at)
    if author.id == g.person.id:
        return gettext(
            "You saved this text in another window at %(at)s. What you write here is kept "
            "beside it, not over it.",
            at=at,
        )
    return gettext(
        "%(name)s saved this text at %(at)s, while you wrote. Yours is kept beside it, "
        "not over it.",
        name=author.name,
        at=at,
    )


def _beside(number: int, lesson: int, saved: authoring.Saved) -> str:
    """Return where the texts that stand beside each other are shown; "" where there is one."""
    row = saved.aside or next(iter(saved.beside), None)
    return f"/sites/{number}/lessons/{lesson}/beside/{row.id}" if row else ""


def _titled(drafts: dict) -> str:
    """Return what a lesson is called, in the reader's language where it has a title there."""
    order = sorted(drafts.values(), key=lambda one: one.language != current())
    return next((one.title for one in order if one.title), gettext("A lesson without a title"))


def _editor(number: int, lesson: int, language: str, fault: str = ""):
    with reading() as db:
        worksite, there = _own(db, number, lesson)
        drafts = site_lessons.drafts(db, there.id)
        draft = drafts.get(language) or abort(404)
        author = db.get(Person, draft.saved_by)
        around = authoring.around(db, there)
        waiting = [one for one in site_lessons.asides(db, there.id) if one.language == language]
    typed = _typed() if request.method == "POST" else authoring.text_of(draft)
    return render_template(
        "authoring/write.html",
        worksite=worksite,
        lesson=there,
        draft=draft,
        author=author,
        text=typed,
        since=request.form.get("since", draft.revision),
        key=request.form.get("page") or secrets.token_hex(8),
        # A page that comes back goes on counting: what it saves next is newer, not late.
        turn=request.form.get("turn", 0, type=int),
        written_in=language,
        other=next((one for one in LANGUAGES if one != language), ""),
        drafts=drafts,
        shown=written.preview(typed.markdown, language, around),
        blocks=[(name, said(current())) for name, (said, _) in site_blocks.BLOCKS.items()],
        exercises=sorted((title(current()), slug) for slug, title in around.exercises.items()),
        pictures=around.pictures,
        waiting=waiting,
        fresh=now() - draft.saved_at < timedelta(minutes=10) and author.id != g.person.id,
        fault=fault,
    )


def _page(number: int, lesson: int, wrong: dict[str, str] | None = None):
    with reading() as db:
        worksite, there = _own(db, number, lesson)
        drafts = site_lessons.drafts(db, there.id)
        texts = authoring.texts(db, there)
        flaws = authoring.look_over(db, there)
        seen = authoring.as_it_stands(db, there)
        waiting = site_lessons.asides(db, there.id)
        settled = site_lessons.asides(db, there.id, settled=True)
        asked = authoring.questions(db, there)
        versions = site_lessons.versions(db, there.id)
        names = {
            one: db.get(Person, one).name
            for one in {row.saved_by for row in drafts.values()}
            | {row.published_by for row in versions} | {row.kept_by for row in [*waiting, *settled]}
        }  # fmt: skip
        had = authoring.had(db, there)
        day = standing.today(db, g.person, now(), access.settings().zone)
    return render_template(
        "authoring/page.html",
        worksite=worksite,
        lesson=there,
        drafts=drafts,
        title=_titled(drafts),
        covered={one: matters.covered(text.markdown) for one, text in texts.items()},
        matters=[(one, training_elements.get(one.element)) for one in matters.matters()],
        flaws=flaws,
        seen=seen,
        stops=any(flaw.stops for flaw in flaws) or bool(waiting),
        waiting=waiting,
        settled=settled,
        questions=asked,
        versions=versions,
        names=names,
        had=had,
        languages=LANGUAGES,
        reasons=[
            (row.slug, row.name(current()))
            for row in retraining_reasons.rows()
            if row.slug in standing.FOR_CAUSE
        ],
        due=request.form.get("due") or (day + timedelta(days=DAYS_TO_LEARN)).isoformat(),
        typed=request.form,
        wrong=wrong or {},
    )
