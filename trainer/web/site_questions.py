"""Questions of a worksite's own lesson: a list, and a page for each, in every form of the bank."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from flask import (
    Blueprint,
    abort,
    current_app,
    flash,
    redirect,
    render_template,
    request,
)
from flask_babel import force_locale, gettext
from flask_babel import lazy_gettext as _l
from markupsafe import Markup
from sqlmodel import Session

from trainer import bank
from trainer.bank import FieldFault
from trainer.config import LANGUAGES
from trainer.services import authoring, site_questions
from trainer.services.refusal import Refusal
from trainer.store import site_lessons
from trainer.store.tables import SiteLesson, SiteQuestion
from trainer.web import access, site
from trainer.web.access import may, reading, writing
from trainer.web.asking import clock
from trainer.web.errors import say
from trainer.web.language import LOCALES, current

bp = Blueprint("site_questions", __name__)

FORMS = {
    "choice": (_l("One right answer"), _l("Three or four answers; one of them is right.")),
    "choices": (_l("Several right answers"), _l("Four or five answers; one or more are right.")),
    "order": (_l("Put in order"), _l("Three to six steps that belong in an order.")),
    "match": (_l("Find the pairs"), _l("Three to five pairs, such as a sound and what to do.")),
}
"""What each form is called, and what it takes; the numbers are those of bank.OPTIONS."""

WHY = {
    "choice": _l("Why it is right or wrong"),
    "choices": _l("Why it is right or wrong"),
    "order": _l("Why it comes here"),
    "match": _l("Why the two belong together"),
}
TONGUES = {"en": "English", "es": "Español"}


@dataclass(frozen=True)
class Desk:
    """What the pages of a lesson's questions need to know of the lesson."""

    number: int  # of the worksite
    lesson: SiteLesson
    title: str
    languages: tuple[str, ...]  # those that the lesson is written in
    sections: site_questions.Sections

    @property
    def here(self) -> str:
        """Return the address of the list."""
        return f"/sites/{self.number}/lessons/{self.lesson.id}/questions"

    @property
    def section_choices(self) -> list[tuple[str, str]]:
        """Return the sections to choose from, in the reader's language where they have it."""
        return [("", "–"), *((name, _said(titles)) for name, titles in self.sections)]


@dataclass(frozen=True)
class Row:
    """A question in the list."""

    question: SiteQuestion
    raw: Mapping
    ask: str
    section: str
    faults: list[FieldFault]


@bp.get("/sites/<int:number>/lessons/<int:lesson>/questions")
@may("trainer", "coordinator")
def index(number: int, lesson: int):
    """List the questions of a lesson, with what is wrong with each."""
    with reading() as db:
        desk = _desk(db, number, lesson)
        rows = [_row(desk, one) for one in site_questions.of_lesson(db, lesson)]
    must = sum(row.raw["must_know"] for row in rows)
    return render_template("site_questions/index.html", desk=desk, rows=rows, must=must,
                           forms=FORMS)  # fmt: skip


@bp.get("/sites/<int:number>/lessons/<int:lesson>/questions/new")
@may("trainer", "coordinator")
def new(number: int, lesson: int):
    """Show an empty page for a question of the form chosen before."""
    with reading() as db:
        desk = _desk(db, number, lesson)
    form = request.args.get("form", "")
    if form not in FORMS:
        return redirect(f"{desk.here}#add", 303)
    return _page(desk, {"form": form})


@bp.post("/sites/<int:number>/lessons/<int:lesson>/questions/new")
@may("trainer", "coordinator")
def begin(number: int, lesson: int):
    """Keep a new question."""
    form = request.form.get("form", "")
    if form not in FORMS:
        abort(404)
    return _save(number, lesson, lambda db, found: None, _typed(form))


@bp.get("/sites/<int:number>/lessons/<int:lesson>/questions/<int:question>")
@may("trainer", "coordinator")
def page(number: int, lesson: int, question: int):
    """Show a question to change, what is wrong with it, and how it will be met."""
    with reading() as db:
        desk = _desk(db, number, lesson)
        found = _question(db, desk.lesson, question)
        rows = site_questions.of_lesson(db, lesson)
    if found.ended_at:
        abort(404)
    raw = site_questions.content(found)
    return _page(
        desk,
        raw,
        found,
        faults=site_questions.field_faults(raw, desk.languages, desk.sections),
        advice=site_questions.advice(found, rows, desk.languages),
        saved=raw,
    )


@bp.post("/sites/<int:number>/lessons/<int:lesson>/questions/<int:question>")
@may("trainer", "coordinator")
def change(number: int, lesson: int, question: int):
    """Keep a changed question, unless somebody else has changed it since."""
    with reading() as db:
        desk = _desk(db, number, lesson)
        form = site_questions.content(_question(db, desk.lesson, question))["form"]
    return _save(number, lesson, lambda db, found: _question(db, found, question), _typed(form))


@bp.post("/sites/<int:number>/lessons/<int:lesson>/questions/<int:question>/end")
@may("trainer", "coordinator")
def end(number: int, lesson: int, question: int):
    """Take a question off the lesson."""
    try:
        with writing() as db:
            desk = _desk(db, number, lesson)
            found = _question(db, desk.lesson, question)
            site_questions.end(db, access.scribe(), found, _since())
    except Refusal as refusal:
        flash(_say(refusal), "error")
    else:
        flash(gettext("Taken off the lesson; it is kept with its date."))
    return redirect(desk.here, 303)


def _save(
    number: int, lesson: int, which: Callable[[Session, SiteLesson], SiteQuestion | None],
    raw: Mapping,
):  # fmt: skip
    """Save what was typed; what cannot be saved comes back as it was typed."""
    try:
        with writing() as db:
            desk = _desk(db, number, lesson)
            there = which(db, desk.lesson)
            if there is None and not access.first(db):
                return redirect(desk.here, 303)
            kept = site_questions.save(db, access.scribe(), desk.lesson, there, raw, _since())
    except Refusal as refusal:
        with reading() as db:
            there = which(db, desk.lesson)
        return _refused(desk, raw, there, refusal), 422
    flash(gettext("Saved."))
    return redirect(f"{desk.here}/{kept.id}", 303)


def _refused(desk: Desk, raw: Mapping, there: SiteQuestion | None, refusal: Refusal) -> str:
    """Return the page with what was typed. Saved by somebody since, it shows that beneath."""
    if "at" not in refusal.values:
        return _page(desk, raw, there, since=_since(), refusal=_say(refusal))
    saved = site_questions.content(there)
    # What is shown beneath has been seen: saving again replaces it, or begins a new question.
    return _page(desk, raw, None if there.ended_at else there, refusal=_say(refusal), saved=saved,
                 overtaken=True)  # fmt: skip


def _page(
    desk: Desk, raw: Mapping, question: SiteQuestion | None = None, *,
    since: int | None = None, faults: Sequence[FieldFault] = (), advice: Sequence = (),
    refusal: str = "", saved: Mapping | None = None, overtaken: bool = False,
) -> str:  # fmt: skip
    """Return the page of one question.

    raw     what stands in its fields
    saved   what is saved, to be looked at beneath; None for a new one
    """
    form = raw["form"]
    address = f"{desk.here}/{question.id}" if question else f"{desk.here}/new"
    shown = _shown(desk, raw, saved)
    links = _links(faults, raw, shown, refusal, overtaken)
    return render_template(
        "site_questions/page.html",
        desk=desk,
        raw=raw,
        form=form,
        called=FORMS[form][0],
        why=WHY[form],
        lines=_lines(raw),
        fewest=bank.OPTIONS[form][0],
        line_name=lambda place: bank.line_name(form, place)(current()),
        languages=shown,
        tongues=TONGUES,
        elements=[("", "–"), *((one.paragraph, f"{one.name(current())} – {one.paragraph}")
                               for one in site_questions.elements())],
        question=question,
        since=since if since is not None else question.revision if question else 0,
        address=address,
        here=address if question else f"{address}?form={form}",
        faults=links,
        wrong=dict(links) if refusal else {_field(one.at): one.says(current()) for one in faults},
        advice=[one(current()) for one in advice],
        refused=bool(refusal),
        overtaken=overtaken,
        previews=_previews(desk, saved, question),
        longest=site_questions.LONGEST,
    )  # fmt: skip


def _links(
    faults: Sequence[FieldFault], raw: Mapping, languages: Sequence[str], refusal: str,
    overtaken: bool,
) -> list[tuple[str, str]]:  # fmt: skip
    """Return what the head of the page lists: (id of the field, sentence)."""
    first = languages[0]
    if refusal:
        return [("saved" if overtaken else f"ask-{first}", refusal)]
    count = min(len(raw.get("option", ())), bank.OPTIONS[raw["form"]][1] - 1)
    otherwise = {"option": f"option-{count}-text-{first}", "right": "right-0"}
    return [(otherwise.get(one.at, _field(one.at)), one.says(current())) for one in faults]


def _field(at: str) -> str:
    """Return the id of the field that a fault is about."""
    return at.replace(".", "-")


def _lines(raw: Mapping) -> list[Mapping]:
    """Return the options with empty lines behind them, as many as the form takes at most."""
    most = bank.OPTIONS[raw["form"]][1]
    given = list(raw.get("option", ()))
    return given + [{}] * (most - len(given))


def _shown(desk: Desk, *raws: Mapping | None) -> list[str]:
    """Return the languages to write in: those of the lesson, and those with words already."""
    with_words = {
        language
        for raw in raws if raw
        for texts in (raw.get("ask", {}), *(one.get(name, {}) for one in raw.get("option", ())
                                            for name in ("text", "why", "to")))
        for language, text in texts.items() if text
    }  # fmt: skip
    return [one for one in LANGUAGES if one in desk.languages or one in with_words]


def _typed(form: str) -> dict:
    """Return what was typed, as the fields of questions/README.md, empty lines and all."""
    sent, right = request.form, request.form.getlist("right")
    return {
        "form": form,
        "section": sent.get("section", ""),
        "element": sent.get("element", ""),
        "must_know": "must_know" in sent,
        "source": sent.get("source", ""),
        "ask": _texts("ask"),
        "option": [
            {"right": str(place) in right}
            | {name: _texts(f"option-{place}-{name}") for name in ("text", "why", "to")}
            for place in range(bank.OPTIONS[form][1])
        ],
    }


def _texts(name: str) -> dict[str, str]:
    return {one: request.form.get(f"{name}-{one}", "") for one in LANGUAGES}


def _since() -> int:
    return request.form.get("since", 0, type=int)


def _say(refusal: Refusal) -> str:
    """Return the sentence of a refusal, its moments by the clock of the reader's worksite."""
    values = {
        name: clock(value) if isinstance(value, datetime) else value
        for name, value in refusal.values.items()
    }
    return say(Refusal(refusal.text, **values))


# How a worker will meet it.


def _previews(
    desk: Desk, saved: Mapping | None, question: SiteQuestion | None
) -> list[tuple[str, Markup, Markup]]:
    """Return (language, as it is asked, as it is explained), in each language that has words."""
    if saved is None:
        return []
    slug = site_lessons.slug_of(desk.lesson.id)
    asked = bank.question_of(slug, saved)
    order = _mixed(asked, question.id if question else 0)
    return [
        (one, _part("_asked", one, asked, order), _part("_explained", one, asked, order))
        for one in _shown(desk, saved)
        if asked.ask(one) and asked.options
    ]


def _mixed(asked: bank.Question, seed: int) -> list[int]:
    """Return an order of the options as a sitting might show them, never the right one."""
    order = bank.shuffle(range(len(asked.options)), seed)
    return order[1:] + order[:1] if asked.in_rows and order == sorted(order) else order


def _part(name: str, language: str, asked: bank.Question, order: list[int]) -> Markup:
    """Return a part of the page in the language of the worker, whatever the reader's is."""
    with force_locale(LOCALES[language]):
        template = current_app.jinja_env.get_template(f"site_questions/{name}.html")
        made = template.render(language=language, one=asked, order=order)
    # A template has escaped what it was given.
    return Markup(made)  # noqa: S704  # nosec B704


# Rows that the signed-in person may see.


def _desk(db: Session, number: int, lesson: int) -> Desk:
    """Return a lesson of a worksite that the signed-in person may describe; else answer 404."""
    found = authoring.own(db, site.worksite_of(db, number).id, lesson)
    if found is None or found.ended_at:
        abort(404)
    return Desk(
        number,
        found,
        _said(site_questions.titles(db, found)) or gettext("Lesson without a title"),
        authoring.written_in(db, found) or (current(),),
        authoring.sections(db, found),
    )


def _question(db: Session, lesson: SiteLesson, number: int) -> SiteQuestion:
    return site_questions.own(db, lesson, number) or abort(404)


def _row(desk: Desk, question: SiteQuestion) -> Row:
    raw = site_questions.content(question)
    return Row(
        question,
        raw,
        _said(raw["ask"]) or gettext("Question not written yet"),
        _said(dict(desk.sections).get(raw["section"], {})),
        site_questions.field_faults(raw, desk.languages, desk.sections),
    )


def _said(texts: Mapping[str, str]) -> str:
    """Return a text in the reader's language, or in the other one where there is none."""
    return texts.get(current()) or next(filter(None, texts.values()), "")
