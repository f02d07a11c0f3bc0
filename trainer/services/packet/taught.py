"""Lessons exactly as they were taught, each version as a page that opens anywhere without us.

What was taught is kept with its hash when it is taught (`TaughtContent`) and laid out by
`as_taught`, as on the page of the record; here it becomes a file that needs no other, with its
photos and drawings in it.
"""

import json
import re
from base64 import b64encode
from dataclasses import dataclass
from hashlib import sha256
from html import escape

from sqlmodel import select

from trainer import bank, documents, lessons
from trainer.services import as_taught, entry_words, pictures
from trainer.services import paper_words as words
from trainer.services.as_taught import Page, Taught
from trainer.services.packet import names
from trainer.services.packet.made import Making
from trainer.store import site_lessons
from trainer.store.tables import TaughtContent
from trainer.words import Words

FILE_NAMES = {"en": "English", "es": "Español"}
TYPES = {"png": "image/png", "jpeg": "image/jpeg", "webp": "image/webp", "svg": "image/svg+xml"}
EXAMPLE = 1
"""Seed of the problem that stands for an exercise: the same on every page."""

LESSONS = Words("6 Lessons as taught", "6 Lecciones como se enseñaron")
LESSON_HEADS = (
    Words("Lesson", "Lección"), Words("Version", "Versión"), Words("Kept on", "Guardada el"),
    Words("Languages", "Idiomas"), Words("Elements", "Elementos"),
    Words("Hash worked out again", "Hash recalculado"),
)  # fmt: skip
LESSONS_SAY = Words(
    "Every version that was taught in the period, with its questions, their answers and reasons, "
    "in the folder “{folder}”: open the HTML files with any browser. Beside them stands what was "
    "kept, letter by letter.",
    "Cada versión que se enseñó en el período, con sus preguntas, respuestas y razones, en la "
    "carpeta «{folder}»: abra los archivos HTML con cualquier navegador. Al lado está lo que se "
    "guardó, letra por letra.",
)
NO_LESSONS = Words("No lesson was taught in this period.",
                   "En este período no se enseñó ninguna lección.")
SAME, NOT_WORKED_OUT = Words("the same", "igual"), Words("not worked out", "sin recalcular")
NOT_KEPT = Words("not kept", "no guardada")
AS_TAUGHT = Words(
    "As it was taught, version {version}, kept on {day}.",
    "Como se enseñó, versión {version}, guardada el {day}.",
)
QUESTIONS = Words("The questions it was drawn from", "Las preguntas de donde se sacó")
MUST_KNOW = Words("Must-know", "Lo que debe saber")
RIGHT, WRONG = Words("Right", "Correcta"), Words("Not right", "Incorrecta")
PLACE = Words("Place {place}", "Lugar {place}")
EXERCISE = Words(
    "Exercise “{title}”. Each person got numbers of their own; this is an example.",
    "Ejercicio «{title}». Cada persona recibió sus propios números; este es un ejemplo.",
)
ANSWER = Words("Answer", "Respuesta")
SOURCES = Words("Sources", "Fuentes")
ELEMENTS = Words("Elements", "Elementos")
UNREADABLE = Words("It cannot be laid out any more; this is its text.",
                   "Ya no se puede componer; este es su texto.")
NO_DRAWING = Words("The drawing that it shows was not kept.",
                   "El dibujo que muestra no se guardó.")
CAUTION = Words(
    "This teaches and checks arithmetic; it does not choose a respirator. Selection, medical "
    "decisions and fit tests belong to the employer's program and to qualified people.",
    "Esto enseña y revisa cálculos; no elige un respirador. La selección, las decisiones médicas "
    "y las pruebas de ajuste son del programa del empleador y de personas calificadas.",
)


@dataclass(frozen=True)
class Kept:
    """A version that was kept, read again.

    taught  None where it cannot be laid out any more
    """

    row: TaughtContent
    taught: Taught | None

    @property
    def pages(self) -> dict[str, Page]:
        """Return what it said by language; its plain text where it cannot be laid out."""
        return self.taught.pages if self.taught else {"en": _plain(self.row)}

    def page(self, language: str) -> Page:
        """Return what it said in a language, or in the one that it was written in."""
        return self.pages.get(language) or next(iter(self.pages.values()))

    @property
    def elements(self) -> list[str]:
        """Return the elements that it covers."""
        return list(self.taught.elements) if self.taught else []

    @property
    def questions(self) -> tuple[bank.Question, ...]:
        """Return the questions that its sittings were drawn from."""
        return self.taught.questions if self.taught else ()

    @property
    def same(self) -> bool:
        """Say whether the version worked out again from what was kept is the one it is named by."""
        return bool(self.taught) and self.taught.again == self.row.version


def write(making: Making, versions: set[str]) -> None:
    """Write every version that was taught, and the list of them."""
    rows, cells = [], []
    for version in _in_order(making, versions):
        row = making.db.get(TaughtContent, version)
        if row is None:
            rows.append(["–", version, NOT_KEPT(making.language), "–", "–", "–"])
            continue
        kept = read(row)
        _write(making, kept)
        rows.append(_listed(making, kept))
        cells.append((
            row.lesson, version, row.kept_at.isoformat(),
            " ".join(kept.pages), len(kept.questions),
            sha256(row.files.encode()).hexdigest(),
        ))  # fmt: skip
        making.db.expunge(row)
    paper = making.paper(LESSONS, wide=True)
    paper.say(LESSONS_SAY, folder=names.LESSONS(making.language))
    paper.table(LESSON_HEADS, rows, (5, 0, 0, 2, 4, 2), none=NO_LESSONS)
    making.put("k", LESSONS, paper, Words(
        "Every version taught in the period", "Cada versión enseñada en el período"
    ))  # fmt: skip
    making.rows("k", "lessons", (
        "lesson", "version", "kept at", "languages", "questions", "sha-256 of what was kept",
    ), cells)  # fmt: skip


def read(row: TaughtContent) -> Kept:
    """Return a version as it was kept, to be laid out."""
    try:
        return Kept(row, as_taught.read(row, _problem))
    except (lessons.LessonFault, bank.BankFault, LookupError, ValueError):
        return Kept(row, None)


def _in_order(making: Making, versions: set[str]) -> list[str]:
    """Return versions in the order of the course, those of one lesson as they were kept."""
    course = {one.slug: at for at, one in enumerate(lessons.load().all)}
    known = {}
    every = sorted(versions)
    for at in range(0, len(every), 500):
        query = select(TaughtContent.version, TaughtContent.lesson, TaughtContent.kept_at).where(
            TaughtContent.version.in_(every[at : at + 500])
        )
        known |= {version: (course.get(slug, len(course)), slug, kept.isoformat())
                  for version, slug, kept in making.db.exec(query)}  # fmt: skip
    return sorted(every, key=lambda one: (known.get(one, (len(course), "~", "")), one))


def _write(making: Making, kept: Kept) -> None:
    row = kept.row
    title = kept.page(making.language).title
    course = [one.slug for one in lessons.load().all]
    place = course.index(row.lesson) + 1 if row.lesson in course else 99
    folder = f"{making.folder('k')}/{names.LESSONS(making.language)}/" \
             f"{place:02} {names.safe(title)} {names.safe(row.version)}"
    for language in kept.pages:
        page = _with_photos(making, row, _page(kept, language, making)).encode()
        about = f"{title}, {words.TONGUES[language](making.language)}, {row.version}"
        making.archive.add("lessons", f"{folder}/{FILE_NAMES[language]}.html", page, about)
    making.archive.add("lessons", f"{folder}/as kept.json", row.files.encode())


def _listed(making: Making, kept: Kept) -> list[str]:
    language = making.language
    return [
        kept.page(language).title, kept.row.version,
        words.day(making.local(kept.row.kept_at), language),
        ", ".join(words.TONGUES[one](language) for one in kept.pages),
        entry_words.elements(kept.elements) or words.NONE,
        SAME(language) if kept.same else NOT_WORKED_OUT(language),
    ]  # fmt: skip


_PHOTO = re.compile(r'src="/pictures/(\d+)"')


def _with_photos(making: Making, row: TaughtContent, page: str) -> str:
    """Return a page with the photos that it shows in it, so that it needs no other file."""
    lesson = site_lessons.by_slug(making.db, row.lesson)
    if lesson is None:
        return page

    def inside(named: re.Match) -> str:
        found = pictures.find(making.db, int(named[1]), [lesson.worksite_id])
        if found is None:
            return 'src="data:,"'
        data = f"data:{TYPES[found.kind]};base64,{b64encode(found.data).decode()}"
        making.db.expunge(found)
        return f'src="{data}"'

    return _PHOTO.sub(inside, page)


def _problem(exercise: bank.Exercise | None, name: str, language: str) -> str:
    """Return an example of an exercise as HTML; only its name where it cannot be drawn any more."""
    if exercise is None:
        return _note(EXERCISE.filled(title=name)(language))
    head = _note(EXERCISE.filled(title=exercise.title(language))(language))
    try:
        problem = bank.draw(exercise, EXAMPLE)
    except Exception:  # a calculation of then that is not there any more
        return head
    steps = "".join(
        f"<li>{_bold(step.ask(language))}<br><strong>{_bold(step.text(language))}</strong></li>"
        for step in problem.steps
    )
    return f'<div class="problem">{head}<p>{_bold(problem.text(language))}</p><ol>{steps}</ol>' \
           "</div>"


def _plain(row: TaughtContent) -> Page:
    """Return what was kept as text, where it cannot be laid out any more."""
    files = json.loads(row.files)
    text = "\n\n".join(f"{name}\n\n{text}" for name, text in sorted(files.items()))
    section = ("", f"{_note(UNREADABLE('en'))}<pre>{escape(text)}</pre>")
    return Page(row.lesson, "", (section,))


# The page


def _page(kept: Kept, language: str, making: Making) -> str:
    one = kept.pages[language]
    day = words.day(making.local(kept.row.kept_at), language)
    as_taught = AS_TAUGHT.filled(version=kept.row.version, day=day)(language)
    body = [
        f"<h1>{escape(one.title)}</h1>",
        f"<p><strong>{escape(one.summary)}</strong></p>" if one.summary else "",
        _note(as_taught),
        _note(f"{ELEMENTS(language)}: {entry_words.elements(kept.elements)}")
        if kept.elements else "",
        _note(CAUTION(language)),
    ]
    body += [
        f"<section>{f'<h2>{escape(title)}</h2>' if title else ''}\n{html}</section>"
        for title, html in one.sections
    ]
    if kept.questions:
        asked = "\n".join(_question(kept, question, language) for question in kept.questions)
        body.append(f"<section><h2>{QUESTIONS(language)}</h2><ol>{asked}</ol></section>")
    if one.sources:
        items = "".join(f"<li>{escape(source)}</li>" for source in one.sources)
        body.append(f"<section><h2>{SOURCES(language)}</h2><ul>{items}</ul></section>")
    inner = "\n".join(filter(None, body))
    return (
        f'<!doctype html>\n<html lang="{language}">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        'img-src data:; style-src \'unsafe-inline\'">\n'
        f"<title>{escape(one.title)} · {kept.row.version}</title>\n"
        f"<style>\n{_STYLE}\n{documents.drawing_style()}\n</style>\n</head>\n"
        f"<body>\n<main>\n{inner}\n</main>\n</body>\n</html>\n"
    )


def _question(kept: Kept, question: bank.Question, language: str) -> str:
    lines = "".join(
        f"<li>{_option(question, at, language)}</li>" for at in range(len(question.options))
    )
    must = f" <strong>({MUST_KNOW(language)})</strong>" if question.must_know else ""
    drawing = kept.taught.drawings.get((question.drawing, language), "")
    if question.drawing and not drawing:
        drawing = _note(NO_DRAWING(language))
    return f"<li><p>{_bold(_in(question.ask, language))}{must}</p>{drawing}<ul>{lines}</ul></li>"


def _option(question: bank.Question, at: int, language: str) -> str:
    option = question.options[at]
    text = _bold(_in(option.text, language))
    if question.form == "order":
        text = f"<strong>{PLACE.filled(place=at + 1)(language)}</strong>: {text}"
    elif question.form == "match":
        text = f"{text} – <strong>{_bold(_in(option.to, language))}</strong>"
    else:
        text = f"<strong>{(RIGHT if option.right else WRONG)(language)}</strong>: {text}"
    why = _in(option.why, language)
    return f"{text} <small>{_bold(why)}</small>" if why else text


def _in(said: Words, language: str) -> str:
    """Return words in a language; of a lesson that is written in one only, in that one."""
    return said(language) or said("en") or said("es")


def _bold(text: str) -> str:
    parts = escape(text).split("**")
    return "".join(f"<b>{part}</b>" if at % 2 else part for at, part in enumerate(parts))


def _note(text: str) -> str:
    return f'<p class="note">{escape(text)}</p>'


_STYLE = """body { margin: 0; background: #fff; color: #000;
font: 17px/1.5 "Atkinson Hyperlegible Next", system-ui, sans-serif; }
main { max-width: 42rem; margin: 0 auto; padding: 1.5rem 1rem 4rem; }
h1, h2, h3 { line-height: 1.2; } h1 { font-size: 1.9rem; }
h2 { font-size: 1.35rem; margin-top: 2em; }
.note, small { color: #333; font-size: .9rem; }
table { border-collapse: collapse; } th, td { padding: .3rem .6rem; text-align: start;
vertical-align: top; border-bottom: 1px solid #999; } th { border-bottom: 2px solid #000; }
td.number, th.number { text-align: end; } .scroll { overflow-x: auto; }
figure { margin: 1.5rem 0; } figure svg, figure img { width: 100%; max-width: 32rem; height: auto; }
figcaption { color: #333; font-size: .9rem; }
.problem { background: #f0f0f0; padding: .5rem 1rem; }
.must, .admonition { border-left: 6px solid #6d2409; padding-left: 1rem; margin: 1.5rem 0; }
.admonition.talk { border-left: 6px double #063f3e; }
.admonition.caution { border-left: 6px dotted #6d2409; }
.admonition-title { font-weight: 700; }"""
