"""What shows whether the program works: what people get wrong, what they told and asked.

Paragraph (l) of 29 CFR 1910.134. Nothing here names a person.
"""

from collections import Counter
from dataclasses import replace
from zoneinfo import ZoneInfo

from sqlmodel import func, select

from trainer import lessons
from trainer.services import hard_spots, standing
from trainer.services import paper_words as words
from trainer.services.hard_spots import Spot
from trainer.services.packet.made import Making
from trainer.services.packet.place import KEPT_ELSEWHERE
from trainer.store.tables import Assignment, Need
from trainer.words import Words

EVALUATION = Words("Program evaluation", "Evaluación del programa")
MOST = 25
SAYS = Words(
    "Paragraph (l) asks the employer to evaluate the workplace and to consult the people who wear "
    "respirators. What this record has to say to that is below; what was evaluated and asked "
    "elsewhere is not in it.",
    "El párrafo (l) pide al empleador evaluar el lugar de trabajo y consultar a quienes usan "
    "respiradores. Abajo está lo que este registro dice al respecto; lo que se evaluó y consultó "
    "en otra parte no está en él.",
)
HARD = Words("What people got wrong most often", "Lo que más se respondió mal")
HARD_SAYS = Words(
    "First answers only, of groups of ten people or more; nobody is named.",
    "Solo primeras respuestas, de grupos de diez personas o más; sin nombres.",
)
HARD_HEADS = (
    Words("Question or exercise", "Pregunta o ejercicio"), Words("Lesson", "Lección"),
    Words("Answers", "Respuestas"), Words("Right", "Correctas"),
)  # fmt: skip
TOO_FEW = Words(
    "There are too few answers at this worksite in this period to tell anything without telling "
    "who it was.",
    "En este sitio y este período hay muy pocas respuestas para decir algo sin decir de quién.",
)
TOLD = Words("What was told and asked", "Lo que se avisó y se pidió")
FIT = Words("Told that the fit has changed", "Avisos de que cambió el ajuste")
LEAK = Words("Told that it leaks", "Avisos de que tiene fugas")
ASKED = Words("Questions asked", "Preguntas hechas")
FOR_CAUSE = Words("Lessons assigned again for cause, (k)(5)(i) to (iii)",
                  "Lecciones asignadas otra vez por causa, (k)(5)(i) a (iii)")
NOT_HERE = Words(
    "This record holds no evaluation of the workplace and no survey. Ask for them where the "
    "written program is kept: folder (c).",
    "Este registro no contiene evaluaciones del lugar de trabajo ni encuestas. Pídalas donde se "
    "guarda el programa escrito: carpeta (c).",
)


def write(making: Making, ids: list[int], questions: int) -> None:
    """Write what there is to say about how the program works."""
    language = making.language
    told = _hard(making)
    counts = _told(making, ids)
    paper = making.paper(EVALUATION)
    paper.say(SAYS)
    paper.head(HARD)
    if told:
        paper.say(HARD_SAYS)
        paper.table(HARD_HEADS, [_row(one, language) for one in told], (6, 3, 0, 0), "llrr")
    else:
        paper.say(TOO_FEW)
    paper.head(TOLD)
    paper.facts([
        (FIT, str(counts["fit"])), (LEAK, str(counts["leak"])), (ASKED, str(questions)),
        (FOR_CAUSE, str(counts["cause"])),
    ])  # fmt: skip
    paper.box(KEPT_ELSEWHERE, NOT_HERE)
    making.put("l", EVALUATION, paper, Words(
        "What people got wrong, told and asked, without names",
        "Lo que se respondió mal, se avisó y se preguntó, sin nombres",
    ))  # fmt: skip
    making.rows("l", "hard-spots", ("kind", "slug", "lesson", "answers", "right"), (
        (one.kind, one.slug, one.lesson, one.told.answered, one.told.right) for one in told
    ))  # fmt: skip


def _hard(making: Making) -> list[Spot]:
    asked = making.asked
    within = hard_spots.scope(
        None, asked.first, asked.last, ZoneInfo(making.worksite.time_zone), making.worksite.id
    )
    until = min(within.until, asked.at) if within.until else asked.at
    found = hard_spots.spots(making.db, replace(within, until=until))
    return [one for one in found if one.told and one.told.right < one.told.answered][:MOST]


def _row(one: Spot, language: str) -> list[str]:
    lesson = lessons.load().get(one.lesson)
    return [
        one.about(language), lesson.title(language) if lesson else one.lesson or words.NONE,
        str(one.told.answered), f"{round(100 * one.told.right / one.told.answered)} %",
    ]  # fmt: skip


def _told(making: Making, ids: list[int]) -> Counter:
    begins, ends = making.asked.begins(making.worksite), making.moment
    counts: Counter = Counter()
    for at in range(0, len(ids), 500):
        some = ids[at : at + 500]
        needs = select(Need.kind, func.count()).where(
            Need.person_id.in_(some), Need.told_at >= begins, Need.told_at <= ends,
            Need.kind.in_(("fit", "leak")),
        )
        counts.update(dict(making.db.exec(needs.group_by(Need.kind)).all()))
        again = select(func.count()).where(
            Assignment.person_id.in_(some), Assignment.assigned_at >= begins,
            Assignment.assigned_at <= ends, Assignment.reason.in_(standing.FOR_CAUSE),
        )
        counts["cause"] += making.db.exec(again).one()
    return counts
