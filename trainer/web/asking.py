"""Questions: asked from a lesson or the tag, answered by name; and needs told in one tap."""

import re
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from flask import Blueprint, abort, flash, g, redirect, render_template, request
from flask_babel import format_datetime, gettext
from markupsafe import Markup
from sqlmodel import Session

from trainer import bank, lessons
from trainer.services import asking, standing
from trainer.services.asking import Asked, Shown
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import Need, Person, Respirator, WorkerQuestion, Worksite
from trainer.web import access, htmx, tagging, taught
from trainer.web.access import may, now, reading, writing
from trainer.web.errors import say
from trainer.web.language import current

bp = Blueprint("asking", __name__)

PAGE = 20
ONCE_LETTERS = 64
# What a drawing names itself by; shown twice on a page, it needs two names.
NAMED = re.compile(r'\b(id|aria-labelledby)="([^"]*)"')


@dataclass(frozen=True)
class Corner:
    """The place on a page where a person asks, with what they asked there before."""

    lesson: str
    section: str
    once: str
    sees: str  # the names of who will see it; "" where nobody could answer
    mine: tuple[Asked, ...] = ()
    text: str = ""
    fault: str = ""

    @property
    def here(self) -> str:
        """Return the address of the page it stands on."""
        return f"/lessons/{self.lesson}/{self.section}" if self.section else "/tag"


@dataclass(frozen=True)
class Row:
    """A question as a trainer sees it, with the text it is about and a form to answer it."""

    asked: Asked
    places: str  # the worksites of the person
    may_answer: bool
    shows: str  # the worksites at which an answer could be shown; "" where no section would hold it
    section: Markup  # the text of the section, in the language of the question
    once: str
    text: str = ""
    show: bool = False
    fault: str = ""


@bp.app_template_filter("clock")
def clock(moment: datetime) -> str:
    """Return a moment by the clock of the reader's worksite."""
    return format_datetime(moment.astimezone(_zone()), "d MMM yyyy, HH:mm", rebase=False)


@bp.app_template_filter("about")
def about(question: WorkerQuestion | Corner) -> str:
    """Return what a question is about: its lesson and section; "" where it is about no lesson."""
    lesson = taught.found(question.lesson)
    if lesson is None:
        return ""
    part = lesson.section(question.section) if current() in lesson.languages else None
    titles = [lesson.title(current()), part.title(current()) if part else ""]
    return " · ".join(title for title in titles if title)


@bp.app_template_filter("in_words")
def in_words(need: Need) -> str:
    """Return a need as those who deal with it read it."""
    return tagging.told(need.kind)


@bp.app_template_filter("own_words")
def own_words(kind: str) -> str:
    """Return a need as the one says it who has it."""
    return {
        "fit": gettext("My fit has changed"),
        "leak": gettext("It leaks"),
        "health": gettext("I want to talk to the health professional"),
    }[kind]


def at_section(db: Session, lesson: str, section: str) -> dict[str, object]:
    """Return what the page of a section shows: what everybody sees there, and where to ask."""
    worksites = [one.id for one in people.places(db, g.person.id)]
    shown: list[Shown] = asking.shown_at(db, worksites, lesson, section, without=g.person)
    return {"shown": shown, "corner": _corner(db, lesson, section)}


def on_tag(db: Session, tags: Iterable[standing.Tag]) -> dict[str, object]:
    """Return what the tag shows: answers not read yet, where to ask, and what can be told."""
    tight = [one.respirator for one in tags if one.worn and one.worn.tight]
    open_ = {
        (one.kind, one.respirator_id): one for one in asking.open_needs(db, g.person)
    }
    return {
        "unread": [one for one in asking.of_person(db, g.person) if one.unread],
        "corner": _corner(db),
        "topics": _topics(),
        "tight": tight,
        "open_needs": open_,
    }


@bp.get("/ask")
@may()
def form():
    """Show the form to ask with on a page of its own."""
    return _ask_page(*_topic(request.args))


@bp.post("/ask")
@may()
def ask():
    """Keep a question, and say when it was asked and who will see it."""
    lesson, section = _topic(request.form)
    text = request.form.get("text", "")
    try:
        with writing() as db:
            kept = asking.ask(
                db,
                g.person,
                text,
                once=_once(),
                language=current(),
                now=now(),
                lesson=lesson,
                section=section,
            )
            sees = _names(asking.sees(db, g.person))
    except Refusal as refusal:
        if htmx.wants_part():
            return _corner_part(lesson, section, text=text, fault=say(refusal))
        return _ask_page(lesson, section, text, say(refusal)), 422
    said = gettext("Asked on %(at)s. Will see it: %(names)s.", at=clock(kept.asked_at), names=sees)
    if htmx.wants_part():
        return _corner_part(lesson, section, said=said)
    flash(said)
    return htmx.go(f"/lessons/{lesson}/{section}#asking" if section else "/tag#asking")


@bp.get("/my-questions")
@may()
def mine():
    """Show a person all that they asked and told."""
    with reading() as db:
        asked = asking.of_person(db, g.person)
        told = asking.needs_of(db, g.person)
        sees = _names(asking.sees(db, g.person))
    return render_template(
        "asking/mine.html", asked=asked, told=told, sees=sees, up_to=_newest(asked)
    )


@bp.post("/my-questions/read")
@may()
def read():
    """Keep that the answers shown were read."""
    with writing() as db:
        asking.mark_read(db, g.person, request.form.get("up_to", 0, type=int), now())
    flash(gettext("Marked as read. All answers stay under My questions."))
    here = request.form.get("here", "")
    return redirect(here if here == "/my-questions" else "/tag", 303)


@bp.get("/tell")
@may()
def confirm():
    """Say what will be kept of a need, which is no detail, before it is told."""
    with reading() as db:
        kind, worn = _told_of(db, request.args)
        there = [
            one.need
            for one in asking.needs_of(db, g.person)
            if one.need.dealt_with_at is None
            and (one.need.kind, one.need.respirator_id) == (kind, worn.id if worn else None)
        ]
        sees = _names(_hear(db))
    return render_template(
        "asking/tell.html",
        kind=kind,
        respirator=worn,
        there=there[0] if there else None,
        sees=sees,
        here=f"/tell?kind={kind}" + (f"&respirator={worn.id}" if worn else ""),
    )


@bp.post("/tell")
@may()
def tell():
    """Keep a need."""
    with writing() as db:
        kind, worn = _told_of(db, request.form)
        need = asking.tell(db, g.person, kind, worn, now())
        sees = _names(_hear(db))
    flash(
        gettext("Told on %(at)s. Will see it: %(names)s.", at=clock(need.told_at), names=sees)
    )
    return redirect("/tag#tell-title", 303)


@bp.post("/tell/<int:number>/take-back")
@may()
def take_back(number: int):
    """Keep that something was told by mistake."""
    with writing() as db:
        need = db.get(Need, number)
        if need is None or need.person_id != g.person.id:
            abort(404)
        asking.take_back(db, g.person, need, now())
    flash(gettext("Taken back."))
    return redirect("/tag#tell-title", 303)


@bp.get("/questions")
@may("trainer", "coordinator")
def index():
    """Show open questions and needs of the trainer's worksites, oldest first."""
    number = max(request.args.get("page", 1, type=int), 1)
    with reading() as db:
        worksites = _worksites(db)
        found = asking.waiting(db, worksites)
        open_ = [one for one in found.questions if one.person.id != g.person.id]
        needs = [one for one in found.needs if one.person.id != g.person.id]
        pages = max(-(-len(open_) // PAGE), 1)
        if number > pages:
            abort(404)
        rows = [_row(db, one) for one in open_[(number - 1) * PAGE : number * PAGE]]
        answered = asking.answered_for(db, worksites, PAGE)
    return render_template(
        "asking/index.html",
        rows=rows,
        count=len(open_),
        number=number,
        pages=pages,
        needs=needs,
        answered=answered,
    )


@bp.get("/questions/<int:number>")
@may("trainer", "coordinator")
def question(number: int):
    """Show one question, its answers, and the form to answer it."""
    with reading() as db:
        row = _row(db, _theirs(db, number))
    return render_template("asking/question.html", row=row)


@bp.post("/questions/<int:number>")
@may("trainer")
def answer(number: int):
    """Keep an answer; what cannot be kept comes back as it was typed."""
    text, show = request.form.get("text", ""), "show" in request.form
    try:
        with writing() as db:
            found = _theirs(db, number)
            asking.answer(
                db,
                g.person,
                found.question,
                text,
                once=_once(),
                now=now(),
                further="further" in request.form,
                show=show,
            )
    except Refusal as refusal:
        with reading() as db:
            row = _row(db, _theirs(db, number), text=text, show=show, fault=say(refusal))
        return render_template("asking/question.html", row=row), 422
    flash(gettext("Answered. %(name)s sees it on their tag.", name=found.person.name))
    return redirect("/questions", 303)


@bp.post("/questions/<int:number>/hide")
@may("trainer")
def hide(number: int):
    """Show the answers to a question no longer to everybody."""
    with writing() as db:
        asking.hide(db, g.person, _theirs(db, number).question)
    flash(gettext("Not shown to everybody any more. The person who asked still sees the answer."))
    return redirect(f"/questions/{number}", 303)


@bp.post("/told/<int:number>")
@may("trainer", "coordinator")
def deal_with(number: int):
    """Keep that a need was dealt with."""
    try:
        with writing() as db:
            need = db.get(Need, number) or abort(404)
            access.their(db, db.get(Person, need.person_id).number)
            asking.deal_with(db, g.person, need, now())
    except Refusal as refusal:
        flash(say(refusal), "error")
    else:
        flash(gettext("Kept as dealt with."))
    return redirect("/questions", 303)


def _topic(given) -> tuple[str, str]:
    """Return lesson and section of a form or an address; one that does not exist is no page."""
    slug, section = given.get("lesson", ""), given.get("section", "")
    lesson = taught.lesson(slug)
    if (slug and lesson is None) or (section and not (lesson and lesson.section(section))):
        abort(404)
    return slug, section


def _topics() -> list[tuple[str, str]]:
    """Return what a question from the tag may be about."""
    speaks = current()
    titles = [(one.slug, one.title(speaks)) for one in taught.mine()]
    return [("", gettext("Something else, or I am not sure")), *titles]


def _corner(
    db: Session, lesson: str = "", section: str = "", text: str = "", fault: str = ""
) -> Corner:
    asked = asking.of_person(db, g.person)
    if section:
        mine = [one for one in asked
                if (one.question.lesson, one.question.section) == (lesson, section)]
    else:
        mine = [one for one in asked if not one.question.section and not one.answers]
    answerable = people.places(db, g.person.id)
    sees = _names(asking.sees(db, g.person)) if answerable else ""
    return Corner(lesson, section, secrets.token_hex(16), sees, tuple(mine), text, fault)


def _corner_part(lesson: str, section: str, said: str = "", text: str = "", fault: str = ""):
    with reading() as db:
        corner = _corner(db, lesson, section, text, fault)
    return render_template("asking/_corner.html", corner=corner, topics=_topics(), happened=said)


def _ask_page(lesson: str, section: str, text: str = "", fault: str = ""):
    with reading() as db:
        corner = _corner(db, lesson, section, text, fault)
    return render_template("asking/ask.html", corner=corner, topics=_topics())


def _once() -> str:
    return request.form.get("once", "")[:ONCE_LETTERS]


def _newest(asked: list[Asked]) -> int:
    """Return the id of the newest answer shown."""
    return max((given.answer.id for one in asked for given in one.answers), default=0)


bp.app_template_filter("newest")(_newest)


def _names(given: Iterable[Person]) -> str:
    return ", ".join(one.name for one in given) or gettext("your coordinator")


def _hear(db: Session) -> list[Person]:
    """Return who sees a need: the trainers of the person's worksites, and the coordinators."""
    both = {one.id: one for one in [*asking.sees(db, g.person), *asking.coordinators(db)]}
    return [one for one in both.values() if one.id != g.person.id]


def _told_of(db: Session, given) -> tuple[str, Respirator | None]:
    """Return the kind of a need and the respirator; what nobody could tell is no page."""
    kind = given.get("kind", "")
    if kind not in asking.KINDS:
        abort(404)
    if kind == "health":
        return kind, None
    worn = db.get(Respirator, given.get("respirator", 0, type=int))
    if worn is None or not asking.may_tell_of(g.person, worn):
        abort(404)
    return kind, worn


def _worksites(db: Session) -> list[int] | None:
    """Return the worksites whose questions somebody sees: a coordinator those of every one."""
    if "coordinator" in g.roles:
        return None
    return [one.id for one in people.worksites(db, g.person.id)]


def _theirs(db: Session, number: int) -> Asked:
    found = asking.get(db, number) or abort(404)
    access.their(db, found.person.number)
    return found


def _row(db: Session, asked: Asked, **typed: object) -> Row:
    shared: list[Worksite] = []
    if "trainer" in g.roles and asked.person.id != g.person.id:
        shared = asking.common_worksites(db, g.person, asked.question)
    return Row(
        asked,
        places=", ".join(one.name for one in people.worksites(db, asked.person.id)),
        may_answer=bool(shared),
        shows=", ".join(one.name for one in shared) if asked.question.section else "",
        section=_section(asked.question),
        once=secrets.token_hex(16),
        **typed,
    )


def _section(question: WorkerQuestion) -> Markup:
    """Return the text of the section a question is about, as the one who asked read it."""
    lesson = taught.found(question.lesson)
    written = lesson and question.language in lesson.languages
    part = lesson.section(question.section) if written else None
    if part is None:
        return Markup("")
    return Markup("\n").join(_part(one, question) for one in part.parts(question.language))


def _part(part: lessons.Part, question: WorkerQuestion) -> Markup:
    if part.kind != "exercise":
        # The renderer has made it safe.
        return Markup(NAMED.sub(_named_for(question), part.html))  # noqa: S704  # nosec B704
    title = bank.load().exercises[part.name].title(question.language)
    return Markup('<p class="soft">{}</p>').format(title)


def _named_for(question: WorkerQuestion):
    def renamed(found: re.Match) -> str:
        names = " ".join(f"{name}-{question.id}" for name in found[2].split())
        return f'{found[1]}="{names}"'

    return renamed


def _zone() -> ZoneInfo:
    if "zone" not in g:
        g.zone = access.settings().zone
        if g.get("person"):
            with reading() as db:
                home = standing.home_worksite(db, g.person)
            g.zone = ZoneInfo(home.time_zone) if home else g.zone
    return g.zone
