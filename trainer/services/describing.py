"""A worksite as its trainer describes it: tasks, what is in their air, what is worn there.

From this it is checked whether each respirator is enough. Rows are ended, never deleted; a
change that leaves a respirator too weak names the people who wear such a one.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import ROUND_CEILING, Decimal
from itertools import groupby
from math import isinf

from sqlmodel import Session, select

from trainer.calculations.averages import time_weighted_average
from trainer.calculations.exposure import maximum_use_concentration
from trainer.calculations.faults import CalculationFault
from trainer.calculations.selection import KINDS, MAY_NOT, Hazard, Verdict, verdicts
from trainer.calculations.units import mg_per_m3_to_ppm, ppm_to_mg_per_m3
from trainer.reference import contaminants, filter_classes, respirator_classes
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store.tables import (
    Membership,
    Person,
    Respirator,
    Sample,
    SiteHazard,
    Task,
    TaskRespirator,
    Worksite,
)
from trainer.words import Words, as_typed, tidy

UNITS = ("ppm", "mg/m³")
LIMIT_KINDS = ("TWA", "ceiling")
HOURS_OF_A_SHIFT = 8
NOT_MEASURED = Words(
    "no concentration entered: counts here as unknown, like IDLH",
    "sin concentración anotada: aquí cuenta como desconocida, igual que IDLH",
)
APPROVAL = re.compile(r"TC-(13F|14G|19C|21C|23C|84A)-[0-9A-Z]{3,5}")
"""Approval numbers of NIOSH. Source: NIOSH Certified Equipment List, general cautions page."""


@dataclass(frozen=True)
class Measured:
    """What the samples of a hazard come to.

    outside   the concentration that is compared with the limit; None: nobody measured
    on        the day it comes from
    assumed   hours of that day that nobody measured, taken for as bad as the worst sample
    highest   the highest sample of any day: above the IDLH or the limit of a cartridge at any
              moment is above it, whatever the average
    """

    outside: float | None
    on: date | None
    assumed: float = 0
    highest: float | None = None


@dataclass(frozen=True)
class Check:
    """One respirator against one hazard of its task.

    most   what the class allows outside, in the unit of the hazard; None where nothing says
    idlh   is the air immediately dangerous, as unknown air is?
    """

    task: Task
    hazard: SiteHazard
    worn: TaskRespirator
    measured: Measured
    verdict: Verdict
    most: float | None
    idlh: bool

    @property
    def spare(self) -> float | None:
        """Return how many times what is outside the class would still allow."""
        if self.most is None or not self.measured.outside:
            return None
        at_any_moment = (self.hazard.idlh, _limit_of_cartridge(self.hazard, self.worn))
        return min(
            self.most / self.measured.outside,
            *(one / self.measured.highest for one in at_any_moment if one is not None),
        )


@dataclass(frozen=True)
class Site:
    """Everything that is described of a worksite now."""

    worksite: Worksite
    tasks: tuple[Task, ...]
    hazards: dict[int, list[SiteHazard]]  # by task
    samples: dict[int, list[Sample]]  # by hazard, newest day first
    worn: dict[int, list[TaskRespirator]]  # by task


def site(db: Session, worksite: Worksite) -> Site:
    """Return what is described of a worksite, read in four questions to the database."""
    tasks = _open(db, Task, Task.worksite_id == worksite.id)
    hazards = _open(db, SiteHazard, SiteHazard.task_id.in_([one.id for one in tasks]))
    samples = _open(db, Sample, Sample.hazard_id.in_([one.id for one in hazards]))
    samples.sort(key=lambda one: (-one.measured_on.toordinal(), one.id))
    worn = _open(db, TaskRespirator, TaskRespirator.task_id.in_([one.id for one in tasks]))
    return Site(
        worksite,
        tuple(tasks),
        _by(hazards, "task_id"),
        _by(samples, "hazard_id"),
        _by(worn, "task_id"),
    )


def measured(hazard: SiteHazard, samples: Iterable[Sample]) -> Measured:
    """Return what a hazard's samples come to: its worst day.

    For a ceiling it is the highest sample; for an 8-hour limit the average of the day, in which
    hours that nobody measured count like the worst sample. Our own, stricter reading of
    29 CFR 1910.1000(d)(1)(i), which takes what was sampled: clean air is entered as zero.
    """
    there = sorted(samples, key=lambda one: one.measured_on)
    if not there:
        return Measured(None, None)
    days = [
        _day(hazard, on, list(same))
        for on, same in groupby(there, key=lambda one: one.measured_on)
    ]
    worst = max(days, key=lambda one: (one.outside, one.on))
    return replace(worst, highest=max(one.concentration for one in there))


def checks(described: Site) -> list[Check]:
    """Return each respirator checked against each hazard of its task."""
    return [
        _check(task, hazard, worn, measured(hazard, described.samples.get(hazard.id, ())))
        for task in described.tasks
        for worn in described.worn.get(task.id, ())
        for hazard in described.hazards.get(task.id, ())
    ]


def affected(db: Session, worksite: Worksite, check: Check) -> list[Person]:
    """Return who at the worksite wears a respirator like one that is checked."""
    query = (
        select(Person)
        .join(Membership, Membership.person_id == Person.id)
        .join(Respirator, Respirator.person_id == Person.id)
        .where(
            Membership.worksite_id == worksite.id,
            Respirator.class_slug == check.worn.class_slug,
            Respirator.ended_at.is_(None),
            Respirator.use != "escape",  # nobody works in one
            Person.left_on.is_(None),
        )
        .order_by(Person.name, Person.id)
        .distinct()
    )
    if check.worn.make:
        query = query.where(Respirator.make == check.worn.make)
    if check.worn.model:
        query = query.where(Respirator.model == check.worn.model)
    return list(db.exec(query))


def inadequate(db: Session, worksite: Worksite) -> list[tuple[Check, list[Person]]]:
    """Return the checks that say a respirator is not enough, each with the people it concerns."""
    return [
        (one, affected(db, worksite, one))
        for one in checks(site(db, worksite))
        if one.verdict.state == MAY_NOT
    ]


def three_figures(value: float) -> float:
    """Return a number with at most three figures, never less than it was: people breathe it."""
    step = Decimal(1).scaleb(Decimal(repr(value)).adjusted() - 2)
    return float((Decimal(repr(value)) / step).to_integral_value(rounding=ROUND_CEILING) * step)


def name_of(hazard: SiteHazard, language: str) -> str:
    """Return what a hazard is called in a language: as in the tables, or as people named it."""
    row = contaminants.get(hazard.substance) if hazard.substance else None
    return row.name(language) if row and hazard.name == row.english else hazard.name


def describe(db: Session, worksite: Worksite, *, emergency: str, storage: str) -> None:
    """Keep the emergency steps and the storage place of a worksite."""
    worksite.emergency_steps = emergency.strip()[:2000]
    worksite.storage_place = tidy(storage)[:200]
    db.add(worksite)
    db.flush()


def add_task(db: Session, worksite: Worksite, name: str) -> Task:
    """Add a task. Errors: Refusal without a name, or for one that is there already."""
    name = tidy(name)[:80]
    there = [one.name.casefold() for one in _open(db, Task, Task.worksite_id == worksite.id)]
    if not name or name.casefold() in there:
        raise Refusal("Give the task a name that no other task of this worksite has.", field="name")
    return _added(db, Task(worksite_id=worksite.id, name=name))


def add_hazard(
    db: Session,
    by: Scribe,
    task: Task,
    *,
    substance: str = "",
    name: str = "",
    kind: str = "",
    unit: str = "",
    limit: float | None = None,
    limit_kind: str = "TWA",
    limit_source: str = "",
    idlh: float | None = None,
    oil: bool = False,
    eye_irritation: bool = False,
    oxygen_percent: float = 20.9,
    molecular_weight: float | None = None,
) -> SiteHazard:
    """Add what is in the air of a task.

    substance   a slug of reference.contaminants; what is left out is taken from its row
    molecular_weight  g/mol, of one of the trainer's own: samples may then be in either unit
    limit       the one that the employer uses; it may be stricter than OSHA's, and is then named
    Errors: Refusal for a kind, unit or number that cannot be, or a limit without its source.
    """
    row = contaminants.get(substance) if substance else None
    if substance and row is None:
        raise Refusal(
            "Choose a substance from the list, or give one of your own a name.", field="substance"
        )
    name = tidy(name)[:80] or (row.english if row else "")
    kind, unit = kind or (row.kind if row else ""), unit or (row.unit if row else "")
    if not name:
        raise Refusal(
            "Choose a substance from the list, or give one of your own a name.", field="substance"
        )
    if kind not in KINDS or unit not in UNITS or limit_kind not in LIMIT_KINDS:
        raise Refusal(
            "Say what it is (particles, gas, vapor or both) and in which unit.", field="kind"
        )
    if row and limit is None and unit == row.unit:
        limit, limit_kind = row.limit, "ceiling" if row.limit_kind == "ceiling" else "TWA"
        limit_source = limit_source or row.limit_source
    if row and idlh is None and unit == row.idlh_unit:
        idlh = row.idlh
    limit_source = tidy(limit_source)[:160]
    if limit is not None and not limit_source:
        raise Refusal(
            "Say where the limit comes from, such as a state rule or your program.",
            field="limit_source",
        )
    for value in (limit, idlh):
        if value is not None and not 0 < value < 1e9:
            raise Refusal(
                "A limit or IDLH is a number above zero, in the unit of the hazard.", field="limit"
            )
    if molecular_weight is not None and not 1 <= molecular_weight <= 2000:
        raise Refusal(
            "A molecular weight is from 1 to 2,000 g/mol: see the safety data sheet.",
            field="molecular_weight",
        )
    if not 0 <= oxygen_percent <= 100:
        raise Refusal("Oxygen is a share of the air, from 0 to 100 %%.", field="oxygen_percent")
    return _added(db, SiteHazard(
        task_id=task.id, substance=substance, name=name, kind=kind, unit=unit, limit=limit,
        limit_kind=limit_kind, limit_source=limit_source, idlh=idlh,
        oil=oil or bool(row and row.oil_aerosol),
        eye_irritation=eye_irritation or bool(row and row.eye_irritant),
        oxygen_percent=oxygen_percent, molecular_weight=None if row else molecular_weight,
        described_at=by.now, described_by=by.person.id,
    ))  # fmt: skip


def weight_of(hazard: SiteHazard) -> float | None:
    """Return the molecular weight of a hazard in g/mol, from the tables or as it was given.

    None where it is not known, and for particles, which have no ppm.
    """
    row = contaminants.get(hazard.substance) if hazard.substance else None
    if hazard.kind not in ("gas", "vapor"):
        return None
    return row.molecular_weight if row else hazard.molecular_weight


def add_sample(
    db: Session,
    by: Scribe,
    hazard: SiteHazard,
    *,
    on: date,
    hours: float,
    concentration: float,
    unit: str = "",
) -> Sample:
    """Add a concentration that was measured; an average of the whole shift has all its hours.

    unit    of the concentration, where it is not that of the hazard
    Errors: Refusal for a day to come, hours outside 0 to 24, a concentration below zero, or one
    in another unit without a molecular weight to convert it.
    """
    if on > by.now.astimezone(by.zone).date():
        raise Refusal(
            "The day lies in the future. Give the day on which it was measured.", field="on"
        )
    if not 0 < hours <= 24:
        raise Refusal("Hours are above 0 and at most 24.", field="hours")
    if not 0 <= concentration < 1e9:
        raise Refusal("A concentration is a number, zero or above.", field="concentration")
    as_measured = ""
    if unit and unit != hazard.unit:
        as_measured = f"{as_typed(concentration)} {unit}"
        concentration = _in_unit_of(hazard, concentration, unit)
    return _added(db, Sample(
        hazard_id=hazard.id, measured_on=on, hours=hours, concentration=concentration,
        as_measured=as_measured, entered_at=by.now, entered_by=by.person.id,
    ))  # fmt: skip


def _in_unit_of(hazard: SiteHazard, concentration: float, unit: str) -> float:
    """Return a concentration in the unit of its hazard, at 25 °C and 760 mmHg."""
    weight = weight_of(hazard)
    if weight is None or unit not in UNITS:
        raise Refusal(
            "Enter it in %(unit)s: without a molecular weight it cannot be converted.",
            unit=hazard.unit,
            field="unit",
        )
    convert = ppm_to_mg_per_m3 if unit == "ppm" else mg_per_m3_to_ppm
    return convert(concentration, weight)


def add_respirator(
    db: Session,
    by: Scribe,
    task: Task,
    *,
    class_slug: str,
    make: str = "",
    model: str = "",
    style: str = "",
    sizes: str = "",
    filter_class: str = "",
    cartridge: str = "",
    serves: bool = False,
    cartridge_limit: float | None = None,
    approval: str = "",
    schedule_hours: float | None = None,
    schedule_basis: str = "",
    indicator: bool = False,
    eye_protection: bool = False,
    hood_evidence: bool = False,
) -> TaskRespirator:
    """Add a respirator that is worn for a task.

    Errors: Refusal for a class that Table 1 does not have, a filter that is none, an approval
    number of another form, or a change schedule without how it was arrived at.
    """
    row = respirator_classes.get(class_slug)
    if row is None or row.apf is None:
        raise Refusal("Choose a class of respirator.", field="class_slug")
    if filter_class and filter_classes.get(filter_class) is None:
        raise Refusal("Name the filter by its class, such as P100.", field="filter_class")
    approval = tidy(approval).upper()
    if approval and not APPROVAL.fullmatch(approval):
        raise Refusal("An approval number looks like TC-23C-0000.", field="approval")
    schedule_basis = tidy(schedule_basis)[:200]
    if schedule_hours is not None and (not 0 < schedule_hours <= 1000 or not schedule_basis):
        # 29 CFR 1910.134(d)(3)(iii)(B)(2): the data it rests on are described.
        raise Refusal(
            "A change schedule has hours above zero, and says on which data it rests.",
            field="schedule_hours",
        )
    if cartridge_limit is not None and not 0 < cartridge_limit < 1e9:
        raise Refusal("The limit of a cartridge is a number above zero.", field="cartridge_limit")
    return _added(db, TaskRespirator(
        task_id=task.id, class_slug=class_slug, make=tidy(make)[:60], model=tidy(model)[:60],
        style=tidy(style)[:60], sizes=tidy(sizes)[:60], filter_class=filter_class,
        cartridge=tidy(cartridge)[:80], serves=serves, cartridge_limit=cartridge_limit,
        approval=approval, schedule_hours=schedule_hours, schedule_basis=schedule_basis,
        indicator=indicator, eye_protection=eye_protection, hood_evidence=hood_evidence,
        described_at=by.now, described_by=by.person.id,
    ))  # fmt: skip


def end(db: Session, by: Scribe, row: Task | SiteHazard | Sample | TaskRespirator) -> None:
    """End a row: it stays in the database with the moment; ended twice, the first moment stays."""
    row.ended_at = row.ended_at or by.now
    db.add(row)
    db.flush()


def _day(hazard: SiteHazard, on: date, samples: Sequence[Sample]) -> Measured:
    amounts = [one.concentration for one in samples]
    if hazard.limit_kind == "ceiling":
        return Measured(max(amounts), on)
    hours = [one.hours for one in samples]
    missing = max(0.0, HOURS_OF_A_SHIFT - sum(hours))
    average = time_weighted_average([*amounts, max(amounts)], [*hours, missing])
    return Measured(average, on, missing)


def _check(task: Task, hazard: SiteHazard, worn: TaskRespirator, found: Measured) -> Check:
    row = respirator_classes.get(worn.class_slug)
    reference = contaminants.get(hazard.substance) if hazard.substance else None
    asked = Hazard(
        kind=hazard.kind,
        concentration=found.outside,
        peak=found.highest,
        limit=hazard.limit,
        idlh=hazard.idlh,
        oxygen_percent=hazard.oxygen_percent,
        cartridge_serves=worn.serves,
        cartridge_fitted=bool(worn.cartridge),
        cartridge_limit=worn.cartridge_limit,
        end_of_service_indicator=worn.indicator,
        change_schedule=worn.schedule_hours is not None,
        filter="" if row.powered else _without_blower(worn.filter_class),
        oil=hazard.oil,
        eye_irritation=hazard.eye_irritation,
        eye_protection=worn.eye_protection,
        hood_evidence=worn.hood_evidence,
        substance_standard=reference.substance_standard if reference else "",
    )
    (verdict,) = verdicts(asked, [worn.class_slug])
    most = _most(row.apf, hazard, worn)
    return Check(task, hazard, worn, found, verdict, most, bool(asked.idlh_because))


def _without_blower(name: str) -> str:
    row = filter_classes.get(name)
    return name if row and row.seen and not row.powered else ""


def _most(apf: int, hazard: SiteHazard, worn: TaskRespirator) -> float | None:
    if hazard.limit is None:
        return None
    of_cartridge = _limit_of_cartridge(hazard, worn)
    try:
        most = maximum_use_concentration(apf, hazard.limit, hazard.idlh, of_cartridge)
    except CalculationFault:
        return None
    return None if isinf(most) else most


def _limit_of_cartridge(hazard: SiteHazard, worn: TaskRespirator) -> float | None:
    return worn.cartridge_limit if hazard.kind != "particulate" else None


def _open(db: Session, table, condition) -> list:
    query = select(table).where(condition, table.ended_at.is_(None)).order_by(table.id)
    return list(db.exec(query))


def _by(rows: Iterable, key: str) -> dict[int, list]:
    found: dict[int, list] = {}
    for row in rows:
        found.setdefault(getattr(row, key), []).append(row)
    return found


def _added(db: Session, row):
    db.add(row)
    db.flush()
    return row
