"""What a worksite itself says in its lessons: its air, its respirators, what to do, whom to ask.

Each is Markdown in both languages, made from what is described now. A lesson names it by its
name; as it was when a person was taught, it is kept with the lesson.
"""

import re
from collections.abc import Callable, Iterable

from trainer.calculations.air import oxygen_deficient
from trainer.config import LANGUAGES
from trainer.reference import respirator_classes
from trainer.services import describing, paper_words
from trainer.services.describing import Site
from trainer.store.tables import SiteHazard, TaskRespirator
from trainer.words import Words, as_typed, number

_SPECIAL = re.compile(r"([\\`*_{}\[\]()>#+\-.!|])")  # a backslash before any other would show


def blocks(site: Site) -> dict[str, dict[str, str]]:
    """Return by name and language what the worksite says."""
    return {
        name: {language: make(site, language) for language in LANGUAGES}
        for name, (_, make) in BLOCKS.items()
    }


def says_nothing(markdown: str) -> bool:
    """Say whether the worksite has nothing to say here yet."""
    return markdown in {_nothing(language) for language in LANGUAGES}


def _hazards(site: Site, language: str) -> str:
    rows = [
        (
            _said(task.name),
            _said(describing.name_of(hazard, language)),
            *_amounts(site, hazard, language),
        )
        for task in site.tasks
        for hazard in site.hazards.get(task.id, ())
    ]
    heads = Words(
        "Task | In the air | Outside | Limit | IDLH | Measured",
        "Tarea | En el aire | Afuera | Límite | IDLH | Medido",
    )
    return _table(heads(language), "l l r r r l", rows) or _nothing(language)


def _amounts(site: Site, hazard: SiteHazard, language: str) -> tuple[str, str, str, str]:
    found = describing.measured(hazard, site.samples.get(hazard.id, ()))
    outside, day = describing.NOT_MEASURED(language), "–"
    if found.outside is not None:
        day = _said(paper_words.day(found.on, language))
        outside = f"{number(describing.three_figures(found.outside))} {hazard.unit}"
    oxygen = ""
    if oxygen_deficient(hazard.oxygen_percent):
        oxygen = "; " + _OXYGEN(language).format(as_typed(hazard.oxygen_percent))
    limit = f"{as_typed(hazard.limit)} {hazard.unit}" if hazard.limit else "–"
    idlh = f"{as_typed(hazard.idlh)} {hazard.unit}" if hazard.idlh else "–"
    return outside + oxygen, limit, idlh, day


def _respirators(site: Site, language: str) -> str:
    rows = [
        (
            _said(task.name),
            _said(_named(worn, language)),
            number(respirator_classes.get(worn.class_slug).apf),
            _said(", ".join(filter(None, (worn.filter_class, worn.cartridge)))) or "–",
            _said(worn.approval) or "–",
        )
        for task in site.tasks
        for worn in site.worn.get(task.id, ())
    ]
    heads = Words(
        "Task | Respirator | Assigned protection factor | Filter or cartridge | Approval number",
        "Tarea | Respirador | Factor de protección asignado | Filtro o cartucho | "
        "Número de aprobación",
    )
    return _table(heads(language), "l l r l l", rows) or _nothing(language)


def _change_schedule(site: Site, language: str) -> str:
    rows = [
        (
            _said(task.name),
            _said(worn.cartridge or _named(worn, language)),
            f"{as_typed(worn.schedule_hours)} h",
            _said(worn.schedule_basis),
        )
        for task in site.tasks
        for worn in site.worn.get(task.id, ())
        if worn.schedule_hours
    ]
    heads = Words(
        "Task | Cartridge | Change after | How we know",
        "Tarea | Cartucho | Cambiar después de | Cómo lo sabemos",
    )
    return _table(heads(language), "l l r l", rows) or _nothing(language)


def _emergency(site: Site, language: str) -> str:
    steps = [line.strip() for line in site.worksite.emergency_steps.splitlines() if line.strip()]
    return "\n".join(f"{place}. {_said(step)}" for place, step in enumerate(steps, start=1)) \
        or _nothing(language)


def _storage(site: Site, language: str) -> str:
    place = site.worksite.storage_place
    return _KEPT(language).format(f"**{_said(place)}**") if place else _nothing(language)


def _ask(site: Site, language: str) -> str:
    there = site.worksite
    if not there.ask_name:
        return _nothing(language)
    found = filter(None, (there.ask_place, there.ask_telephone, there.ask_hours))
    return _ASK(language).format(f"**{_said(there.ask_name)}**", _said(", ".join(found)))


BLOCKS: dict[str, tuple[Words, Callable[[Site, str], str]]] = {
    "hazards": (Words("What is in the air", "Lo que hay en el aire"), _hazards),
    "respirators": (Words("The respirators worn here", "Los respiradores que se usan aquí"),
                    _respirators),
    "change-schedule": (Words("The change schedule", "El programa de cambio"), _change_schedule),
    "emergency": (Words("Steps in an emergency", "Pasos en una emergencia"), _emergency),
    "storage": (Words("Where respirators are kept", "Dónde se guardan los respiradores"),
                _storage),
    "ask": (Words("Whom to ask", "A quién preguntar"), _ask),
}
"""What a text may insert, by name, with what it is called."""

_OXYGEN = Words("oxygen {} %", "oxígeno {} %")
_KEPT = Words("Respirators are kept here: {}.", "Los respiradores se guardan aquí: {}.")
_ASK = Words("Ask {}: {}.", "Pregunte a {}: {}.")
_NOTHING = Words(
    "The worksite has nothing entered here yet.", "El sitio de trabajo aún no tiene nada anotado."
)


def _nothing(language: str) -> str:
    return f"*{_NOTHING(language)}*"


def _named(worn: TaskRespirator, language: str) -> str:
    row = respirator_classes.get(worn.class_slug)
    return ", ".join(filter(None, (row.name(language), f"{worn.make} {worn.model}".strip())))


def _said(text: str) -> str:
    """Return words that a person typed as Markdown that says just these words."""
    return _SPECIAL.sub(r"\\\1", " ".join(text.split()))


def _table(heads: str, sides: str, rows: Iterable[tuple[str, ...]]) -> str:
    """Return a table, or "" without rows. sides: l or r for each column, a space between."""
    lines = [f"| {' | '.join(row)} |" for row in rows]
    if not lines:
        return ""
    rule = " | ".join({"l": "---", "r": "---:"}[side] for side in sides.split())
    return "\n".join([f"| {heads} |", f"| {rule} |", *lines])
