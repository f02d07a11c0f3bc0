"""What the worksites of a person tell exercises: this substance, this concentration, this
respirator.

What exercises may be told is in bank.draw.FACTS; questions/README.md says how they take it.
"""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from trainer.bank import Facts
from trainer.calculations.selection import MAY
from trainer.config import LANGUAGES
from trainer.reference import approvals, contaminants, filter_classes, respirator_classes
from trainer.reference.contaminants import Contaminant
from trainer.services import describing, paper_words
from trainer.services.describing import HOURS_OF_A_SHIFT, Check, Measured, Site
from trainer.store import people, site_lessons
from trainer.store.tables import Person, Sample, SiteHazard, Task, TaskRespirator, Worksite
from trainer.words import Words, as_typed, same

PPM_IN_A_PER_CENT = 10_000
USUAL_OXYGEN = 20.9
"""Per cent that stand where nobody measured; so it is no fact of a worksite."""


def facts_for(db: Session, person: Person, lesson: str) -> list[Facts]:
    """Return what the exercises of a lesson are told: of a worksite's lesson, by that worksite."""
    there = site_lessons.by_slug(db, lesson)
    if there is None:
        return facts(db, person)
    return facts(db, person, [db.get(Worksite, there.worksite_id)])


def facts(
    db: Session, person: Person, worksites: Sequence[Worksite] | None = None
) -> list[Facts]:
    """Return what the worksites of a person tell exercises, those of their own respirators first.

    worksites  those that tell; by default all of the person's
    One a substance of a task, with each respirator of the task that is of a class the person
    wears; else with none. Keys: bank.draw.FACTS and WORDS_OF_A_WORKSITE; None: not known.
    """
    own = {one.class_slug for one in people.respirators(db, person.id) if one.use != "escape"}
    found = [
        told
        for worksite in (people.worksites(db, person.id) if worksites is None else worksites)
        for told in _of_site(describing.site(db, worksite), own)
    ]
    return sorted(found, key=lambda told: told["class"] is None)


def _of_site(described: Site, own: set[str]) -> Iterator[Facts]:
    checks = describing.checks(described)
    for task in described.tasks:
        hazards = described.hazards.get(task.id, [])
        worn = [one for one in described.worn.get(task.id, []) if one.class_slug in own]
        against = [[check for check in checks if check.worn is one] for one in worn]
        for hazard in hazards:
            samples = described.samples.get(hazard.id, [])
            measured = describing.measured(hazard, samples)
            air = (
                _of_place(described.worksite, task, hazard, measured)
                | _of_air(hazard, measured, samples)
                | {"oil_among_particles": _oil_among(hazards)}
                | _of_second(hazard, measured, hazards, described)
            )
            for one in against or [[]]:
                yield air | _of_respirator(described.worksite, one)


def _of_place(
    worksite: Worksite, task: Task, hazard: SiteHazard, measured: Measured
) -> dict[str, object]:
    return {
        "place": _without_braces(worksite.name),
        "task": _without_braces(task.name),
        "day": _in_words(measured.on) if measured.on else None,
        "described": _in_words(_local(hazard.described_at, worksite)),
    }


def _of_air(
    hazard: SiteHazard, measured: Measured, samples: Sequence[Sample]
) -> dict[str, object]:
    """Return the facts of a substance; a number in another unit than the table's is not told."""
    row = contaminants.get(hazard.substance) if hazard.substance else None
    outside = describing.three_figures(measured.outside) if measured.outside else None
    in_unit = row is not None and hazard.unit == row.unit
    in_mg = row is not None and row.unit == "ppm" and hazard.unit == "mg/m³"
    return {
        "substance": row.slug if row else None,
        "unit": same(hazard.unit),
        "named": _named(hazard, row),
        "outside": outside if in_unit else None,
        "percent_outside": float(f"{outside / PPM_IN_A_PER_CENT:.12g}")
        if outside and hazard.unit == "ppm" else None,
        "outside_in_mg": outside if in_mg else None,
        "outside_of_published_limit": outside if row and _published(hazard, row) else None,
        "limit_of_published_idlh": hazard.limit if row and _not_above(hazard, row) else None,
        "oxygen": hazard.oxygen_percent if hazard.oxygen_percent != USUAL_OXYGEN else None,
        **_of_samples(hazard, measured, samples),
    }


def _named(hazard: SiteHazard, row: Contaminant | None) -> Words:
    if row is None:
        return same(_without_braces(hazard.name))
    return Words(*(row.in_text(language) for language in LANGUAGES))


def _oil_among(hazards: Sequence[SiteHazard]) -> bool | None:
    """Say whether there is oil in the air of a task; None where there is more than particles."""
    if any(one.kind != "particulate" for one in hazards):
        return None
    return any(one.oil for one in hazards)


def _published(hazard: SiteHazard, row: Contaminant) -> bool:
    """Say whether the limit used at the worksite is the one of the table, of the same kind."""
    kind = "ceiling" if row.limit_kind == "ceiling" else "TWA"
    return row.limit is not None and (hazard.limit, hazard.unit, hazard.limit_kind) == (
        row.limit, row.unit, kind,
    )  # fmt: skip


def _not_above(hazard: SiteHazard, row: Contaminant) -> bool:
    """Say whether the limit used is OSHA's or a stricter one, beside the IDLH of the table."""
    if hazard.limit is None or row.limit is None:
        return False
    same_idlh = (hazard.idlh, hazard.unit, hazard.unit) == (row.idlh, row.idlh_unit, row.unit)
    return same_idlh and hazard.limit <= row.limit


def _of_samples(
    hazard: SiteHazard, measured: Measured, samples: Sequence[Sample]
) -> dict[str, object]:
    """Return the samples of the worst day, where their average over 8 hours takes some working out.

    The hours that nobody measured count like the worst sample, as in describing.measured.
    """
    of_day = [one for one in samples if one.measured_on == measured.on]
    amounts = [one.concentration for one in of_day]
    if hazard.limit_kind == "ceiling" or len(set(amounts)) < 2:
        return {}
    pairs = [(one.concentration, one.hours) for one in sorted(of_day, key=lambda one: one.id)]
    said = [_for_hours(pair, hazard.unit) for pair in pairs]
    missing = HOURS_OF_A_SHIFT - sum(hours for _, hours in pairs)
    if missing > 0:
        pairs.append((max(amounts), missing))
        said.append(_NOBODY_MEASURED.filled(
            amount=as_typed(max(amounts)), hours=as_typed(missing), unit=hazard.unit
        ))  # fmt: skip
    return {
        "amounts": tuple(amount for amount, _ in pairs),
        "hours": tuple(hours for _, hours in pairs),
        "first_amount": pairs[0][0],
        "samples": Words(*("; ".join(one(language) for one in said) for language in LANGUAGES)),
        "products": same(" + ".join(
            f"({as_typed(amount)} {hazard.unit} × {as_typed(hours)} h)" for amount, hours in pairs
        )),
    }  # fmt: skip


_FOR_HOURS = Words("{amount} {unit} for {hours} h", "{amount} {unit} durante {hours} h")
_NOBODY_MEASURED = Words(
    "{amount} {unit} for the {hours} h that nobody measured, as bad as the worst",
    "{amount} {unit} durante las {hours} h que nadie midió, como lo peor que se midió",
)


def _for_hours(pair: tuple[float, float], unit: str) -> Words:
    amount, hours = pair
    return _FOR_HOURS.filled(amount=as_typed(amount), hours=as_typed(hours), unit=unit)


def _of_second(
    hazard: SiteHazard, measured: Measured, hazards: Sequence[SiteHazard], described: Site
) -> dict[str, object]:
    """Return a second substance of the same task that was measured on the same day."""
    for other in hazards:
        there = describing.measured(other, described.samples.get(other.id, ()))
        row = contaminants.get(other.substance) if other.substance else None
        if (
            other is not hazard and row and there.outside and there.on == measured.on
            and _published(other, row)
        ):
            return {
                "second_substance": row.slug,
                "second_outside": describing.three_figures(there.outside),
            }
    return {}


def _of_respirator(worksite: Worksite, against: Sequence[Check]) -> dict[str, object]:
    """Return the facts of a respirator, checked against every substance of its task.

    It is told as one that may be worn only if it may for all of them.
    """
    if not against:
        return {"class": None}
    worn = against[0].worn
    may = all(check.verdict.state == MAY for check in against)
    idlh = any(check.idlh for check in against)
    row = respirator_classes.get(worn.class_slug)
    prefix = next((one.prefix for one in approvals.rows() if worn.approval.startswith(one.prefix)),
                  None)
    filters = filter_classes.get(worn.filter_class) if worn.filter_class else None
    airline = row.kind == "sar" and row.mode == "flow"
    return {
        "class": worn.class_slug,
        "class_that_may": worn.class_slug if may else None,
        "class_below_idlh": None if idlh else worn.class_slug,
        "facepiece": row.facepiece if row.tight and row.facepiece in ("half", "full") else None,
        "airline_fit": ("tight" if row.tight else "loose") if airline else None,
        "powered": row.powered if row.air_purifying else None,
        "filter": filters.name if filters and not row.powered else None,
        "approval": prefix,
        "schedule_hours": worn.schedule_hours,
        "cartridge_limit": worn.cartridge_limit,
        "respirator": _with_what_it_carries(row, worn),
        "listed": _in_words(_local(worn.described_at, worksite)),
    }


def _with_what_it_carries(row: respirator_classes.RespiratorClass, worn: TaskRespirator) -> Words:
    carried = ", ".join(filter(None, (worn.filter_class, _without_braces(worn.cartridge))))
    text = Words("{class}, with {carried}", "{class}, con {carried}") if carried else \
        same("{class}")
    return Words(*(
        text.filled(**{"class": row.name(language), "carried": carried})(language)
        for language in LANGUAGES
    ))


def _without_braces(text: str) -> str:
    """Return a name that texts of the bank cannot take for one of theirs."""
    return text.replace("{", "(").replace("}", ")")


def _local(moment: datetime, worksite: Worksite) -> date:
    return moment.astimezone(ZoneInfo(worksite.time_zone)).date()


def _in_words(day: date) -> Words:
    return Words(*(paper_words.day(day, language) for language in LANGUAGES))
