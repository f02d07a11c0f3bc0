"""What the worksite says of itself: program, air, respirators, use, upkeep, breathing air, filters.

Paragraphs (c), (d), (g), (h), (i) and (j) of 29 CFR 1910.134.
"""

from collections.abc import Iterator
from datetime import datetime

from sqlmodel import Session, or_, select

from trainer.calculations.selection import MAY, MAY_NOT
from trainer.reference import respirator_classes
from trainer.services import describing
from trainer.services import paper_words as words
from trainer.services.describing import Check, Site
from trainer.services.packet.made import Making
from trainer.services.packet.paper import Paper
from trainer.store.tables import Sample, SiteHazard, Task, TaskRespirator, Worksite
from trainer.words import Words, as_typed, number

NOT_ENTERED = Words("Not entered", "Sin anotar")
NOTHING_ENTERED = Words(
    "not entered: neither where it is kept nor its date nor who administers it",
    "sin anotar: ni dónde se guarda, ni su fecha, ni quién lo administra",
)


def then(db: Session, worksite: Worksite, moment: datetime) -> Site:
    """Return what was described of a worksite at a moment."""
    tasks = list(db.exec(
        select(Task).where(Task.worksite_id == worksite.id, _open(Task, moment)).order_by(Task.id)
    ))  # fmt: skip
    hazards = _rows(db, SiteHazard, SiteHazard.task_id, tasks, SiteHazard.described_at, moment)
    samples = _rows(db, Sample, Sample.hazard_id, hazards, Sample.entered_at, moment)
    samples.sort(key=lambda one: (-one.measured_on.toordinal(), one.id))
    worn = _rows(
        db, TaskRespirator, TaskRespirator.task_id, tasks, TaskRespirator.described_at, moment
    )
    return Site(
        worksite, tuple(tasks), _by(hazards, "task_id"), _by(samples, "hazard_id"),
        _by(worn, "task_id"),
    )


def _rows(db: Session, table, column, of: list, since, moment: datetime) -> list:
    ids = [one.id for one in of]
    query = select(table).where(column.in_(ids), since <= moment, _open(table, moment))
    return list(db.exec(query.order_by(table.id)))


def _open(table, moment: datetime):
    return or_(table.ended_at.is_(None), table.ended_at > moment)


def _by(rows: list, name: str) -> dict[int, list]:
    found: dict[int, list] = {}
    for row in rows:
        found.setdefault(getattr(row, name), []).append(row)
    return found


def write(making: Making) -> None:
    """Write what the worksite says of itself."""
    described = then(making.db, making.worksite, making.moment)
    _program(making)
    _selection(making, described)
    _upkeep(making)
    _breathing_air(making, described)
    _filters(making, described)


# (c) The written program

PROGRAM = Words("Written program", "Programa escrito")
WHERE_KEPT = Words("Where it is kept", "Dónde se guarda")
ITS_DATE = Words("Its date", "Su fecha")
ADMINISTERED = Words("Who administers it", "Quién lo administra")
PROGRAM_ELSEWHERE = Words(
    "The written program is the employer's own document. It is not in this packet, and nothing "
    "here takes its place.",
    "El programa escrito es un documento propio del empleador. No está en este expediente, y nada "
    "de aquí lo sustituye.",
)
MISSING_PROGRAM = Words(
    "These were not entered: {what}. Paragraph (c)(1) asks for a written program with "
    "worksite-specific procedures, (c)(3) for a program administrator, and (m)(3) for a written "
    "copy of the current program. Whether there are any cannot be told from here.",
    "Falta anotar: {what}. El párrafo (c)(1) pide un programa escrito con procedimientos propios "
    "del sitio de trabajo, (c)(3) un administrador del programa, y (m)(3) una copia escrita del "
    "programa vigente. Desde aquí no se puede saber si existen.",
)
MISSING_TITLE = Words("Not entered for this worksite", "Sin anotar para este sitio de trabajo")
PROGRAM_CAUTION = Words("What this is not", "Lo que esto no es")
WHO_TO_ASK = Words("Who answers there during training", "Quién responde allí en la capacitación")
TIME_ZONE = Words("Time zone of its days", "Zona horaria de sus días")
RULE_SET = Words("Rule set", "Conjunto de reglas")


def missing_program(worksite: Worksite) -> list[Words]:
    """Return what of the written program was not entered for a worksite."""
    there = (
        (WHERE_KEPT, worksite.program_place), (ITS_DATE, worksite.program_on),
        (ADMINISTERED, worksite.program_by),
    )  # fmt: skip
    return [term for term, value in there if not value]


def program_facts(worksite: Worksite, language: str) -> list[tuple[Words, str]]:
    """Return where the written program is kept, its date, who administers it."""
    return [
        (WHERE_KEPT, worksite.program_place or NOT_ENTERED(language)),
        (ITS_DATE, words.day(worksite.program_on, language) if worksite.program_on
         else NOT_ENTERED(language)),
        (ADMINISTERED, worksite.program_by or NOT_ENTERED(language)),
    ]


def what_is_missing(worksite: Worksite, language: str) -> str:
    """Return in plain words what of the written program was not entered; "" where nothing is."""
    lacking = missing_program(worksite)
    what = ", ".join(term(language)[:1].lower() + term(language)[1:] for term in lacking)
    return MISSING_PROGRAM.filled(what=what)(language) if lacking else ""


def say_what_is_missing(paper: Paper, worksite: Worksite, language: str) -> None:
    """Say on a paper what of the written program was not entered."""
    missing = what_is_missing(worksite, language)
    if missing:
        paper.box(MISSING_TITLE, missing, "caution")


def _program(making: Making) -> None:
    there, language = making.worksite, making.language
    paper = making.paper(PROGRAM)
    paper.facts(program_facts(there, language))
    say_what_is_missing(paper, there, language)
    paper.box(PROGRAM_CAUTION, PROGRAM_ELSEWHERE)
    ask = ", ".join(filter(None, (
        there.ask_name, there.ask_place, there.ask_telephone, there.ask_hours
    )))  # fmt: skip
    paper.facts([
        (WHO_TO_ASK, ask), (TIME_ZONE, there.time_zone), (RULE_SET, there.rule_set),
    ])  # fmt: skip
    making.put("c", PROGRAM, paper, Words(
        "Where it is kept, its date, who administers it",
        "Dónde se guarda, su fecha, quién lo administra",
    ))  # fmt: skip


# (d) Selection

AIR = Words("Air and respirators", "Aire y respiradores")
AIR_HEADS = (
    Words("Task", "Tarea"), Words("In the air", "En el aire"), Words("Outside", "Afuera"),
    Words("Limit", "Límite"), Words("Where the limit comes from", "De dónde viene el límite"),
    Words("IDLH", "IDLH"), Words("Oxygen", "Oxígeno"),
)  # fmt: skip
SAMPLE_HEADS = (
    Words("Task", "Tarea"), Words("In the air", "En el aire"), Words("Day", "Día"),
    Words("Hours", "Horas"), Words("Measured", "Medido"),
)  # fmt: skip
CHECK_HEADS = (
    Words("Task", "Tarea"), Words("Respirator", "Respirador"),
    Words("In the air", "En el aire"), Words("Check", "Revisión"), Words("Why", "Por qué"),
)  # fmt: skip
DESCRIBED = Words(
    "As the worksite described it, on the last day of the period. What is compared with a limit "
    "is the worst day that was measured; hours that nobody measured count like its worst sample.",
    "Como lo describió el sitio de trabajo, al último día del período. Con el límite se compara "
    "el peor día medido; las horas que nadie midió cuentan como su peor muestra.",
)
CHECKED = Words(
    "The check is arithmetic over what was entered: 29 CFR 1910.134(d)(1) to (d)(3). It does not "
    "choose a respirator; the employer's program does, and other rules can be stricter. One limit "
    "of each substance is checked, by itself: its other ceilings, peaks and short-term limits are "
    "not, nor are mixtures.",
    "La revisión es aritmética sobre lo anotado: 29 CFR 1910.134(d)(1) a (d)(3). No elige un "
    "respirador; lo hace el programa del empleador, y otras reglas pueden ser más estrictas. De "
    "cada sustancia se revisa un solo límite, por separado: no se revisan sus otros valores techo, "
    "picos y límites de corto plazo, ni las mezclas.",
)
WHAT_IS_IN_THE_AIR = Words("What is in the air", "Lo que hay en el aire")
MEASUREMENTS = Words("Measurements", "Mediciones")
CHECKS = Words("Respirators, checked against the air", "Respiradores, revisados contra el aire")
HIGHEST = Words("highest sample {amount}", "muestra más alta: {amount}")
NO_AIR = Words("No air is described for this worksite.", "No se describe ningún aire aquí.")
NO_SAMPLES = Words("No measurements are entered.", "No hay mediciones anotadas.")
NO_CHECKS = Words(
    "No respirator is described for a task of this worksite.",
    "No se describe ningún respirador para una tarea de este sitio de trabajo.",
)
VERDICTS = {MAY: Words("Enough", "Alcanza"), MAY_NOT: Words("Not enough", "No alcanza")}
OPEN_VERDICT = Words("Not decided here", "Aquí no se decide")


def _selection(making: Making, described: Site) -> None:
    language = making.language
    checks = describing.checks(described)
    paper = making.paper(AIR, wide=True)
    paper.say(DESCRIBED)
    paper.head(WHAT_IS_IN_THE_AIR)
    air = [_air(described, task, hazard, language) for task, hazard in _hazards(described)]
    paper.table(AIR_HEADS, air, (2, 2, 2, 2, 4, 1, 1), "llrrlrr", NO_AIR)
    paper.head(MEASUREMENTS)
    samples = [
        [task.name, describing.name_of(hazard, language), words.day(one.measured_on, language),
         as_typed(one.hours), f"{as_typed(one.concentration)} {hazard.unit}"]
        for task, hazard in _hazards(described)
        for one in described.samples.get(hazard.id, ())
    ]  # fmt: skip
    paper.table(SAMPLE_HEADS, samples, (3, 3, 2, 1, 2), "lllrr", NO_SAMPLES)
    paper.head(CHECKS)
    paper.say(CHECKED)
    checked = [_checked(one, language) for one in checks]
    paper.table(CHECK_HEADS, checked, (2, 4, 2, 2, 6), none=NO_CHECKS)
    making.put("d", AIR, paper, Words(
        "What is in the air, measurements, limits, respirators and their checks",
        "Lo que hay en el aire, mediciones, límites, respiradores y sus revisiones",
    ))  # fmt: skip
    making.rows("d", "air", (
        "task", "hazard", "kind", "unit", "limit", "limit kind", "limit source", "idlh",
        "oxygen percent", "outside", "worst day",
    ), (_air_row(described, task, hazard) for task, hazard in _hazards(described)))
    making.rows("d", "measurements", (
        "task", "hazard", "measured on", "hours", "concentration", "unit", "as measured",
    ), (
        (task.name, hazard.name, one.measured_on.isoformat(), one.hours, one.concentration,
         hazard.unit, one.as_measured)
        for task, hazard in _hazards(described)
        for one in described.samples.get(hazard.id, ())
    ))  # fmt: skip
    making.rows("d", "checks", (
        "task", "respirator class", "make", "model", "hazard", "check", "reasons", "sources",
    ), (
        (one.task.name, one.worn.class_slug, one.worn.make, one.worn.model, one.hazard.name,
         one.verdict.state, " ".join(why.sentence("en") for why in one.verdict.reasons),
         "; ".join(dict.fromkeys(why.source for why in one.verdict.reasons)))
        for one in checks
    ))  # fmt: skip


def _hazards(described: Site) -> Iterator[tuple[Task, SiteHazard]]:
    for task in described.tasks:
        for hazard in described.hazards.get(task.id, ()):
            yield task, hazard


def _air(described: Site, task: Task, hazard: SiteHazard, language: str) -> list[str]:
    found = describing.measured(hazard, described.samples.get(hazard.id, ()))
    outside = describing.NOT_MEASURED(language)
    if found.outside is not None:
        outside = _amount(found.outside, hazard)
        if found.highest > found.outside:
            outside += "; " + HIGHEST(language).format(amount=_amount(found.highest, hazard))
    return [
        task.name,
        describing.name_of(hazard, language),
        outside,
        f"{as_typed(hazard.limit)} {hazard.unit}" if hazard.limit else words.NONE,
        hazard.limit_source or words.NONE,
        f"{as_typed(hazard.idlh)} {hazard.unit}" if hazard.idlh else words.NONE,
        f"{as_typed(hazard.oxygen_percent)} %",
    ]


def _amount(concentration: float, hazard: SiteHazard) -> str:
    return f"{number(describing.three_figures(concentration))} {hazard.unit}"


def _air_row(described: Site, task: Task, hazard: SiteHazard) -> tuple:
    found = describing.measured(hazard, described.samples.get(hazard.id, ()))
    return (
        task.name, hazard.name, hazard.kind, hazard.unit, hazard.limit, hazard.limit_kind,
        hazard.limit_source, hazard.idlh, hazard.oxygen_percent, found.outside,
        found.on.isoformat() if found.on else "",
    )  # fmt: skip


def _checked(one: Check, language: str) -> list[str]:
    verdict = VERDICTS.get(one.verdict.state, OPEN_VERDICT)(language)
    reasons = " ".join(f"{why.sentence(language)} [{why.source}]" for why in one.verdict.reasons)
    return [
        one.task.name, _named(one.worn, language), describing.name_of(one.hazard, language),
        verdict, reasons or words.NONE,
    ]  # fmt: skip


def _named(worn: TaskRespirator, language: str) -> str:
    carries = ", ".join(filter(None, (worn.filter_class, worn.cartridge)))
    return words.respirator(
        language, worn.class_slug, worn.make, worn.model, worn.style, "", carries
    )


# (h) Maintenance and care

UPKEEP = Words("Storage and upkeep", "Almacenamiento y mantenimiento")
STORED = Words("Where respirators are kept", "Dónde se guardan los respiradores")
UPKEEP_ELSEWHERE = Words(
    "Records of cleaning, inspection and repair are not kept here. Practice entries show, act by "
    "act, who was seen to inspect, clean and store a respirator: they are in folder (g), and what "
    "was taught about upkeep, (k)(1)(v), is in folder (k).",
    "Aquí no se guardan registros de limpieza, inspección ni reparación. Las entradas de práctica "
    "muestran, acción por acción, a quién se vio inspeccionar, limpiar y guardar un respirador: "
    "están en la carpeta (g), y lo que se enseñó sobre el mantenimiento, (k)(1)(v), en la carpeta "
    "(k).",
)
KEPT_ELSEWHERE = Words("What is not kept here", "Lo que no se guarda aquí")


def _upkeep(making: Making) -> None:
    paper = making.paper(UPKEEP)
    paper.facts([(STORED, making.worksite.storage_place or NOT_ENTERED(making.language))])
    paper.box(KEPT_ELSEWHERE, UPKEEP_ELSEWHERE)
    making.put("h", UPKEEP, paper, Words(
        "Where respirators are kept; where to find the rest",
        "Dónde se guardan los respiradores; dónde está lo demás",
    ))  # fmt: skip


# (i) Breathing air

BREATHING = Words("Breathing air", "Aire respirable")
SUPPLIED = Words(
    "These respirators are described here and are supplied with air:",
    "Estos respiradores se describen aquí y reciben aire:",
)
NO_SUPPLIED_TASK = Words(
    "No respirator that is supplied with air is described for a task of this worksite.",
    "No se describe ningún respirador con suministro de aire para una tarea de este sitio.",
)
AIR_ELSEWHERE = Words(
    "Tests of breathing air, of compressors and of cylinders are not kept here; ask for them "
    "where the written program is kept.",
    "Aquí no se guardan pruebas del aire respirable, de compresores ni de cilindros; pídalas "
    "donde se guarda el programa escrito.",
)


def _breathing_air(making: Making, described: Site) -> None:
    language = making.language
    supplied = [
        (task.name, _named(one, language))
        for task in described.tasks
        for one in described.worn.get(task.id, ())
        if not respirator_classes.get(one.class_slug).air_purifying
    ]
    paper = making.paper(BREATHING)
    if supplied:
        paper.say(SUPPLIED).items(f"{task}: {name}" for task, name in supplied)
    else:
        paper.say(NO_SUPPLIED_TASK)
    paper.box(KEPT_ELSEWHERE, AIR_ELSEWHERE)
    making.put("i", BREATHING, paper, Words(
        "Respirators that are supplied with air", "Respiradores con suministro de aire"
    ))  # fmt: skip


# (j) Filters, cartridges, canisters

FILTERS = Words(
    "Filters, cartridges and change schedule", "Filtros, cartuchos y programa de cambio"
)
FILTER_HEADS = (
    Words("Task", "Tarea"), Words("Respirator", "Respirador"), Words("Filter", "Filtro"),
    Words("Cartridge", "Cartucho"), Words("Approval", "Aprobación"),
    Words("Change after", "Cambiar después de"), Words("On which data", "Con qué datos"),
)  # fmt: skip
SCHEDULE_SOURCE = Words(
    "What each respirator of a task carries. The change schedule and the data it rests on are "
    "asked for by 29 CFR 1910.134(d)(3)(iii)(B)(2). Labels are looked at on the respirators "
    "themselves: paragraph (j).",
    "Lo que lleva cada respirador de una tarea. El programa de cambio y los datos en que se basa "
    "los pide 29 CFR 1910.134(d)(3)(iii)(B)(2). Las etiquetas se miran en los respiradores "
    "mismos: párrafo (j).",
)
INDICATOR = Words("end-of-service-life indicator", "indicador de fin de vida útil")
NO_SCHEDULE = Words("no schedule entered", "sin programa anotado")


def _filters(making: Making, described: Site) -> None:
    language = making.language
    worn = [
        (task, one) for task in described.tasks for one in described.worn.get(task.id, ())
        if respirator_classes.get(one.class_slug).air_purifying
    ]  # fmt: skip
    paper = making.paper(FILTERS, wide=True)
    paper.say(SCHEDULE_SOURCE)
    rows = [
        [task.name, words.respirator(language, one.class_slug, one.make, one.model, one.style, "",
                                     ""),
         one.filter_class or words.NONE, one.cartridge or words.NONE, one.approval or words.NONE,
         _change(one, language), one.schedule_basis or words.NONE]
        for task, one in worn
    ]  # fmt: skip
    paper.table(FILTER_HEADS, rows, (2, 4, 1, 2, 2, 2, 4), none=NO_CHECKS)
    making.put("j", FILTERS, paper, Words(
        "What each respirator carries, and when it is changed",
        "Lo que lleva cada respirador, y cuándo se cambia",
    ))  # fmt: skip
    making.rows("j", "filters and cartridges", (
        "task", "respirator class", "make", "model", "filter class", "cartridge",
        "cartridge limit", "approval", "schedule hours", "schedule basis", "indicator",
    ), (
        (task.name, one.class_slug, one.make, one.model, one.filter_class, one.cartridge,
         one.cartridge_limit, one.approval, one.schedule_hours, one.schedule_basis,
         "yes" if one.indicator else "no")
        for task, one in worn
    ))  # fmt: skip


def _change(one: TaskRespirator, language: str) -> str:
    if one.schedule_hours:
        return f"{as_typed(one.schedule_hours)} h"
    if one.indicator:
        return INDICATOR(language)
    return NO_SCHEDULE(language) if one.cartridge else words.NONE
