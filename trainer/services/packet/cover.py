"""The cover: what the packet is, what it is not, and where everything stands.

It comes twice, as a PDF for people and as a page whose links open each file in any browser.
"""

from html import escape
from urllib.parse import quote

from trainer.services import paper_words as words
from trainer.services.packet import chain, names, place
from trainer.services.packet.archive import File
from trainer.services.packet.chain import Walked
from trainer.services.packet.made import Making
from trainer.services.packet.paper import Paper
from trainer.words import Words

TITLE = Words("Inspection packet: {worksite}", "Expediente de inspección: {worksite}")
WORKSITE = Words("Worksite", "Sitio de trabajo")
PERIOD = Words("Period", "Período")
ORGANISATION = Words("Employer", "Empleador")
AS_OF = Words("As of", "Según")
AS_OF_ENTRY = Words("entry {number} of the record, {at}", "entrada {number} del registro, {at}")
ASKED_BY = Words("Asked for by", "Lo pidió")
DETERMINATIONS = Words("Determinations", "Determinaciones")
THERE, KEPT_APART = Words("in folder (e)", "en la carpeta (e)"), Words(
    "kept apart, not in it", "se guardan aparte, no están aquí"
)
ANSWERS = Words("Answers in sittings", "Respuestas de los intentos")
WITH_EACH = Words("with each person, folder (k)", "con cada persona, carpeta (k)")
NOT_ASKED = Words("not asked for, not in it", "no se pidieron, no están aquí")
HELD, BROKEN = Words("holds, walked for this packet", "íntegro, recorrido para este expediente"), \
    Words("does NOT hold: see below", "NO es íntegro: véase abajo")
THE_RECORD = Words("The record", "El registro")
KEPT_AT = Words("{place}; dated {day}; {who}", "{place}; fecha: {day}; {who}")
TABLES = Words("As tables:", "En tablas:")
PEOPLE = Words("People in it", "Personas que contiene")
ENTRIES = Words("Entries in it", "Entradas que contiene")
CAUTION = Words("Caution", "Precaución")
CAUTION_SAYS = Words(
    "This packet shows what was recorded, in the order of 29 CFR 1910.134, paragraphs (c) to (m). "
    "It does not certify that the standard is met. The written program, medical records, and "
    "records of cleaning, repair and breathing air are the employer's own and are not in it. "
    "State plans and rules for single substances can ask for more. It names people: give it only "
    "to those who may see it.",
    "Este expediente muestra lo registrado, en el orden de 29 CFR 1910.134, párrafos (c) a (m). No "
    "certifica que se cumpla la norma. El programa escrito, los registros médicos y los de "
    "limpieza, reparación y aire respirable son del empleador y no están aquí. Los planes "
    "estatales y las reglas de una sola sustancia pueden pedir más. Nombra a personas: entréguelo "
    "solo a quien pueda verlo.",
)
NEVER = Words("What is never in it", "Lo que nunca contiene")
NEVER_SAYS = Words(
    "No medical detail: no symptom, answer, diagnosis or reason is kept in this record at all. "
    "No PIN, passphrase or drawing key. Nothing recorded after the entry named above.",
    "Ningún detalle médico: en este registro no se guarda ningún síntoma, respuesta, diagnóstico "
    "ni motivo. Ningún PIN, frase de acceso ni clave de sorteo. Nada registrado después de la "
    "entrada nombrada arriba.",
)
CONTENTS = Words("Contents", "Contenido")
EACH_PERSON = Words("A paper for each person: {count}", "Un documento por persona: {count}")
EACH_LESSON = Words("Pages of lessons as taught: {count}",
                    "Páginas de lecciones como se enseñaron: {count}")
READING = Words("How to read it", "Cómo leerlo")
READING_SAYS = Words(
    "PDF files are for people, CSV files hold the same as tables for machines (UTF-8, days as "
    "YYYY-MM-DD). Unpack the ZIP first; then the links of the contents open each file. A letter "
    "that the type of the PDF files lacks shows as □; the CSV files have it.",
    "Los PDF son para personas; los CSV contienen lo mismo en tablas para máquinas (UTF-8, días "
    "como AAAA-MM-DD). Descomprima primero el ZIP; después los enlaces del contenido abren cada "
    "archivo. Una letra que falta en el tipo de los PDF se muestra como □; los CSV la tienen.",
)


def write(making: Making, people: int, entries: int, walked: Walked) -> None:
    """Write the cover, last of all, since it tells what there is."""
    language = making.language
    files = sorted(making.archive.files, key=lambda one: one.path)
    paper = making.paper(TITLE, worksite=making.worksite.name)
    top = names.TOP(language)
    paper.facts(_facts(making, people, entries, walked))
    paper.box(CAUTION, CAUTION_SAYS, "caution")
    paper.head(CONTENTS)
    _contents(making, paper, files)
    paper.head(place.PROGRAM)
    paper.facts(place.program_facts(making.worksite, language))
    place.say_what_is_missing(paper, making.worksite, language)
    paper.head(chain.VERIFIED)
    chain.say_whether_it_holds(paper, walked, making.asked.number)
    paper.box(NEVER, NEVER_SAYS)
    paper.box(READING, READING_SAYS)
    making.archive.add(
        "cover", f"{top}/{names.COVER(language)}.pdf", paper.pdf(making.asked.at)
    )
    page = _page(making, paper.title, files, people, entries, walked)
    making.archive.add("cover", f"{top}/{names.COVER(language)}.html", page.encode())


def _facts(
    making: Making, people: int, entries: int, walked: Walked
) -> list[tuple[Words, str]]:
    language, asked = making.language, making.asked
    as_of = AS_OF_ENTRY.filled(
        number=asked.number, at=words.day(making.local(asked.at), language)
    )(language)
    return [
        (ORGANISATION, asked.organisation),
        (WORKSITE, making.worksite.name),
        (PERIOD, f"{words.day(asked.first, language)} – {words.day(asked.last, language)}"),
        (AS_OF, as_of),
        (ASKED_BY, asked.asked_by),
        (PEOPLE, str(people)),
        (ENTRIES, str(entries)),
        (place.PROGRAM, _program(making)),
        (THE_RECORD, (HELD if walked.holds else BROKEN)(language) if walked.count or
         walked.broken else chain.EMPTY(language)),
        (DETERMINATIONS, (THERE if asked.medical else KEPT_APART)(language)),
        (ANSWERS, (WITH_EACH if asked.answers else NOT_ASKED)(language)),
    ]  # fmt: skip


def _program(making: Making) -> str:
    """Return in a line where the written program is and its date, or that it was not entered."""
    language = making.language
    where, day, who = (value for _, value in place.program_facts(making.worksite, language))
    if len(place.missing_program(making.worksite)) == len((where, day, who)):
        return place.NOTHING_ENTERED(language)
    return KEPT_AT.filled(place=where, day=day, who=who)(language)


def _contents(making: Making, paper: Paper, files: list[File]) -> None:
    language = making.language
    for paragraph, folder in names.FOLDERS.items():
        paper.head(folder, level=2)
        mine = [one for one in files if one.paragraph == paragraph]
        paper.links(
            (_link(making, one), _file_name(one), one.about)
            for one in mine if not one.path.endswith(".csv")
        )
        tables = [(_link(making, one), _file_name(one), "") for one in mine
                  if one.path.endswith(".csv")]  # fmt: skip
        if tables:
            paper.links(tables, before=TABLES(language))
        if paragraph == "k":
            paper.items([
                EACH_PERSON.filled(count=_count(files, "people"))(language),
                EACH_LESSON.filled(count=_count(files, "lessons", ".html"))(language),
            ])  # fmt: skip


def _count(files: list[File], paragraph: str, ending: str = "") -> int:
    return sum(one.paragraph == paragraph and one.path.endswith(ending) for one in files)


def _link(making: Making, one: File) -> str:
    return quote(one.path.removeprefix(f"{names.TOP(making.language)}/"))


def _file_name(one: File) -> str:
    return one.path.rsplit("/", 1)[1]


def _page(
    making: Making, title: str, files: list[File], people: int, entries: int, walked: Walked
) -> str:
    language = making.language
    missing = place.what_is_missing(making.worksite, language)
    body = [
        f"<h1>{escape(title)}</h1>",
        _list_of_facts(_facts(making, people, entries, walked), language),
        f'<p class="caution"><b>{CAUTION(language)}</b> {escape(CAUTION_SAYS(language))}</p>',
        f"<h2>{CONTENTS(language)}</h2>",
    ]  # fmt: skip
    for paragraph, folder in names.FOLDERS.items():
        body += [f"<h3>{escape(folder(language))}</h3>", _list(making, files, paragraph)]
        if paragraph == "k":
            for inner, head in (("people", names.PEOPLE), ("lessons", names.LESSONS)):
                body += [f"<h4>{escape(head(language))}</h4>", _list(making, files, inner)]
    body += [
        f"<h2>{place.PROGRAM(language)}</h2>",
        _list_of_facts(place.program_facts(making.worksite, language), language),
        f'<p class="caution">{escape(missing)}</p>' if missing else "",
    ]
    body += [f"<p><b>{NEVER(language)}</b> {escape(NEVER_SAYS(language))}</p>"]
    inner = "\n".join(body)
    return (
        f'<!doctype html>\n<html lang="{language}">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{_STYLE}\n</style>\n</head>\n"
        f"<body>\n<main>\n{inner}\n</main>\n</body>\n</html>\n"
    )


def _list_of_facts(rows: list[tuple[Words, str]], language: str) -> str:
    facts = "".join(
        f"<dt>{escape(term(language))}</dt><dd>{escape(value)}</dd>"
        for term, value in rows
        if value
    )
    return f"<dl>{facts}</dl>"


def _list(making: Making, files: list[File], paragraph: str) -> str:
    rows = "\n".join(
        f'<li><a href="{_link(making, one)}">{escape(one.about or _file_name(one))}</a>'
        + (f" <small>{escape(_file_name(one))}</small></li>" if one.about else "</li>")
        for one in files
        if one.paragraph == paragraph and not one.path.endswith(".json")
    )
    return f"<ul>\n{rows}\n</ul>" if rows else ""


_STYLE = """body { margin: 0; background: #fff; color: #000;
font: 17px/1.5 "Atkinson Hyperlegible Next", system-ui, sans-serif; }
main { max-width: 46rem; margin: 0 auto; padding: 1.5rem 1rem 4rem; }
h1 { font-size: 1.8rem; line-height: 1.2; } h2 { margin-top: 2em; }
h3 { margin: 1.6em 0 .3em; } h4 { margin: 1em 0 .2em; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .2rem 1rem; }
dt { font-weight: 700; } dd { margin: 0; overflow-wrap: anywhere; }
a { color: #063f3e; font-weight: 600; } small { color: #333; }
.caution { border-left: 6px dotted #6d2409; padding-left: 1rem; }
ul { margin: 0; padding-left: 1.2rem; } li { padding: .15rem 0; }"""
