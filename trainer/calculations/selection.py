"""Which classes of Table 1 may be worn against a hazard, and why each other may not.

A teaching and checking aid. It does not choose a respirator: the employer's program does, and
rules of states and of single substances can be stricter.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from trainer.calculations.air import HEIGHTS_FT, oxygen_deficient, table_ii_exception_holds
from trainer.calculations.exposure import hazard_ratio
from trainer.calculations.faults import (
    CalculationFault,
    not_negative,
    number,
    one_of,
    percentage,
    positive,
    whole,
    yes_or_no,
)
from trainer.calculations.filters import why_not
from trainer.reference import filter_classes, respirator_classes
from trainer.reference.respirator_classes import RespiratorClass
from trainer.words import Words, as_typed

KINDS = ("particulate", "gas", "vapor", "both")
"""What is in the air: particles, a gas, a vapor, or particles together with a gas or vapor."""

MAY, MAY_NOT, NOT_DECIDED = "may", "may not", "not decided"

_IDLH_CHOICES = ("scba-pressure-full", "sar-pressure-full")
_SHOWS_FACE = frozenset({"quarter", "half", "filtering"})
_YES_OR_NO = (
    "oxygen_stays", "cartridge_serves", "cartridge_fitted", "end_of_service_indicator",
    "change_schedule", "oil", "eye_irritation", "eye_protection", "seal_broken", "hood_evidence",
)  # fmt: skip


@dataclass(frozen=True)
class Hazard:
    """The air at a task, and what the respirators for it would carry.

    Nothing is taken for granted: whatever is not said to be there (a cartridge, a schedule, eye
    protection, test evidence) counts as not there.

    kind                      one of KINDS
    concentration             outside, as it is compared with the limit, such as the average of a
                              day; None: nobody knows, which counts as IDLH, (d)(1)(iii)
    peak                      the highest that was measured, where `concentration` is an average:
                              idlh and cartridge_limit hold at every moment, (d)(3)(i)(B)(2), (3)
    limit                     the exposure limit that the employer uses; None: there is none
    idlh, cartridge_limit     in the same unit; None: there is none. cartridge_limit is that of
                              the cartridge which serves, 42 CFR 84.190(a)
    oxygen_percent            by volume, 0 to 100
    altitude_ft               -1,500 to 36,000
    oxygen_stays              can the employer show that the oxygen stays within Table II under
                              all foreseeable conditions?
    cartridge_serves          is there a cartridge made for this gas or vapor?
    cartridge_fitted          would it be fitted, and not particulate filters alone?
    end_of_service_indicator, change_schedule   (d)(3)(iii): one of the two is needed
    filter                    class of particulate filter without a blower, such as "R95"; ""
                              where none is named. Powered ones take HE
    shifts                    for how many shifts the same filter is used
    oil                       is there oil in the air?
    eye_irritation            does it irritate the eyes?
    eye_protection            would sealed eye protection be worn with a mask that leaves them bare?
    seal_broken               a beard or the temples of glasses where the facepiece seals, (g)(1)(i)
    hood_evidence             does the employer hold the maker's evidence of 1,000 for hoods?
    substance_standard        "1910.1048" where the substance has a standard of its own, else ""
    """

    kind: str
    concentration: float | None = None
    peak: float | None = None
    limit: float | None = None
    idlh: float | None = None
    oxygen_percent: float = 20.9
    altitude_ft: float = 0
    oxygen_stays: bool = False
    cartridge_serves: bool = False
    cartridge_fitted: bool = True
    cartridge_limit: float | None = None
    end_of_service_indicator: bool = False
    change_schedule: bool = False
    filter: str = ""
    shifts: int = 1
    oil: bool = False
    eye_irritation: bool = False
    eye_protection: bool = False
    seal_broken: bool = False
    hood_evidence: bool = False
    substance_standard: str = ""

    def __post_init__(self) -> None:
        one_of("kind", self.kind, KINDS)
        for name in ("concentration", "peak"):
            if getattr(self, name) is not None:
                not_negative(name, getattr(self, name))
        for name in ("limit", "idlh", "cartridge_limit"):
            if getattr(self, name) is not None:
                positive(name, getattr(self, name))
        percentage("oxygen_percent", self.oxygen_percent)
        number("altitude_ft", self.altitude_ft, *HEIGHTS_FT)
        for name in _YES_OR_NO:
            yes_or_no(name, getattr(self, name))
        whole("shifts", self.shifts, 1, 1000)
        if self.filter:
            one_of("filter", self.filter,
                   [row.name for row in filter_classes.rows() if row.seen and not row.powered])

    @property
    def has_gas(self) -> bool:
        """Say whether a gas or vapor is in the air."""
        return self.kind != "particulate"

    @property
    def has_particles(self) -> bool:
        """Say whether particles are in the air."""
        return self.kind in ("particulate", "both")

    @property
    def lacks_oxygen(self) -> bool:
        """Say whether the air is oxygen-deficient."""
        return oxygen_deficient(self.oxygen_percent, self.altitude_ft)

    @property
    def ratio(self) -> float | None:
        """Return the hazard ratio; None without a concentration or a limit."""
        if self.concentration is None or self.limit is None:
            return None
        return hazard_ratio(self.concentration, self.limit)

    @property
    def highest(self) -> float | None:
        """Return the most that is outside at any moment; None where nobody knows."""
        if self.concentration is None:
            return None
        return max(self.concentration, self.peak or 0)

    @property
    def idlh_because(self) -> str:
        """Return why the air is immediately dangerous: unknown, idlh or oxygen; "" where not."""
        if self.highest is None:
            return "unknown"
        if self.idlh is not None and self.highest > self.idlh:
            return "idlh"
        exception = self.oxygen_stays and table_ii_exception_holds(
            self.oxygen_percent, self.altitude_ft
        )
        return "oxygen" if self.lacks_oxygen and not exception else ""


@dataclass(frozen=True)
class Reason:
    """One reason: a word for it, a sentence, and where the rule stands."""

    key: str
    sentence: Words
    source: str


@dataclass(frozen=True)
class Verdict:
    """What comes out for one class.

    state    MAY, MAY_NOT or NOT_DECIDED
    reasons  why not, the weightiest first; of what may be worn: on which condition
    """

    worn: RespiratorClass
    state: str
    reasons: tuple[Reason, ...] = ()


def selection(hazard: Hazard) -> tuple[Verdict, ...]:
    """Return the verdict on every cell of Table 1, in its order.

    Errors: CalculationFault, from the Hazard.
    Source: 29 CFR 1910.134(d)(1) to (d)(3) and (g)(1); 42 CFR 84.170 and 84.190

    >>> loft = Hazard("vapor", concentration=620, limit=100, idlh=700, cartridge_serves=True,
    ...               cartridge_limit=1000, change_schedule=True, eye_irritation=True)
    >>> [v.worn.slug for v in selection(loft) if v.state == MAY][:3]
    ['apr-full', 'papr-full', 'papr-hood']
    """
    return tuple(_verdict(hazard, row) for row in respirator_classes.rows())


def verdicts(hazard: Hazard, slugs: Sequence[str]) -> tuple[Verdict, ...]:
    """Return the verdicts on some classes, in the order of Table 1. Errors: CalculationFault."""
    known = {row.slug: row for row in respirator_classes.rows()}
    for slug in slugs:
        one_of("candidates", slug, known)
    return tuple(_verdict(hazard, row) for slug, row in known.items() if slug in slugs)


def allowed(hazard: Hazard) -> tuple[str, ...]:
    """Return the slugs of the classes that may be worn.

    >>> allowed(Hazard("gas"))
    ('sar-pressure-full', 'scba-pressure-full')
    """
    return tuple(one.worn.slug for one in selection(hazard) if one.state == MAY)


def class_for_hazard(hazard: Hazard, candidates: Sequence[str]) -> str:
    """Return the one of the candidates that may be worn.

    candidates  slugs of classes of Table 1
    Errors: CalculationFault, also when not exactly one may be worn. Source: as for `selection`

    >>> class_for_hazard(Hazard("gas"), ["apr-full", "scba-pressure-full", "papr-full"])
    'scba-pressure-full'
    """
    found = [one.worn.slug for one in verdicts(hazard, candidates) if one.state == MAY]
    if len(found) != 1:
        raise CalculationFault(
            "candidates", "{it} must hold exactly one class that may be worn, not {count}.",
            "{it} necesita exactamente una clase que se pueda usar, no {count}.",
            count=str(len(found)),
        )
    return found[0]


def _verdict(hazard: Hazard, row: RespiratorClass) -> Verdict:
    against = tuple(_against(hazard, row))
    if against:
        return Verdict(row, MAY_NOT, against)
    undecided = tuple(_undecided(hazard))
    if undecided:
        return Verdict(row, NOT_DECIDED, undecided)
    return Verdict(row, MAY, tuple(_conditions(hazard, row)))


def _against(hazard: Hazard, row: RespiratorClass) -> Iterator[Reason]:
    """Yield why the class may not be worn, the weightiest reason first."""
    if row.apf is None:
        yield _NOT_RECOGNISED
        return
    if hazard.idlh_because and row.slug not in _IDLH_CHOICES:
        yield _IDLH[hazard.idlh_because]
    if row.air_purifying and hazard.lacks_oxygen and not hazard.idlh_because:
        yield _NO_OXYGEN
    if not hazard.idlh_because:  # above it Table 1 does not decide, (d)(3)(i)(B)(2)
        yield from _factor_too_small(hazard, row)
    if row.air_purifying:
        yield from _gas_gets_through(hazard, row)
        yield from _particles_get_through(hazard, row)
    if hazard.eye_irritation and row.facepiece in _SHOWS_FACE and not hazard.eye_protection:
        yield _BARE_EYES
    if hazard.seal_broken and row.tight:
        yield _SEAL_BROKEN
    if row.needs_evidence and not hazard.hood_evidence:
        yield _NO_EVIDENCE


def _factor_too_small(hazard: Hazard, row: RespiratorClass) -> Iterator[Reason]:
    if hazard.ratio is not None and hazard.ratio > row.apf:
        yield Reason(
            "ratio",
            Words(
                "The hazard ratio, {concentration} ÷ {limit}, is above its factor, {apf}.",
                "La razón de peligro, {concentration} ÷ {limit}, pasa de su factor, {apf}.",
            ).filled(concentration=as_typed(hazard.concentration), limit=as_typed(hazard.limit),
                     apf=f"{row.apf:,}"),
            "29 CFR 1910.134(d)(3)(i)(A)",
        )


def _gas_gets_through(hazard: Hazard, row: RespiratorClass) -> Iterator[Reason]:
    if not hazard.has_gas:
        return
    if row.facepiece == "filtering" or not hazard.cartridge_fitted:
        yield _FILTER_ONLY
    elif not hazard.cartridge_serves:
        yield _NO_CARTRIDGE
    else:
        yield from _cartridge_faults(hazard)


def _cartridge_faults(hazard: Hazard) -> Iterator[Reason]:
    if not (hazard.end_of_service_indicator or hazard.change_schedule):
        yield _NO_SCHEDULE
    limit, outside = hazard.cartridge_limit, hazard.highest
    if limit is not None and outside is not None and outside > limit:
        yield Reason(
            "cartridge",
            Words(
                "The cartridge is approved up to {limit}; outside there is {outside}.",
                "El cartucho está aprobado hasta {limit}; afuera hay {outside}.",
            ).filled(limit=as_typed(limit), outside=as_typed(outside)),
            "42 CFR 84.190(a); 29 CFR 1910.134(d)(3)(i)(B)(3)",
        )


def _particles_get_through(hazard: Hazard, row: RespiratorClass) -> Iterator[Reason]:
    if not hazard.has_particles or row.powered or not hazard.filter:
        return
    reason = why_not(hazard.filter, hazard.oil, 0, False, hazard.shifts)
    if reason in _OIL:
        yield _OIL[reason]


def _undecided(hazard: Hazard) -> Iterator[Reason]:
    if hazard.substance_standard:
        yield Reason(
            "substance-standard",
            Words(
                "29 CFR {number} has rules of its own for this substance. Whoever runs the program "
                "decides by it.",
                "29 CFR {number} tiene reglas propias para esta sustancia. Decide quien dirige el "
                "programa, según esa norma.",
            ).filled(number=hazard.substance_standard),
            f"29 CFR {hazard.substance_standard}",
        )
    if hazard.limit is None and not hazard.idlh_because:
        yield _NO_LIMIT


def _conditions(hazard: Hazard, row: RespiratorClass) -> Iterator[Reason]:
    """Yield on what it depends that the class may be worn."""
    if hazard.idlh_because:
        yield _CERTIFIED_30_MINUTES if row.kind == "scba" else _AUXILIARY_AIR
    if row.tight:
        yield _FIT_TEST
    if row.air_purifying and hazard.has_particles and not row.powered and not hazard.filter:
        yield _FILTER_WITH_OIL if hazard.oil else _FILTER_NEEDED
    if row.powered and hazard.has_particles:
        yield _HE_NEEDED


_IDLH_RULE = "29 CFR 1910.134(d)(2)(i)"
_TWO_CHOICES = (
    " Only a full facepiece pressure-demand SCBA, or such an airline with its own escape air, may "
    "go in.",
    " Solo puede entrar un SCBA de cara completa a demanda con presión positiva, o una línea de "
    "aire así con su propio aire de escape.",
)


def _idlh(key: str, en: str, es: str, source: str) -> Reason:
    return Reason(key, Words(en + _TWO_CHOICES[0], es + _TWO_CHOICES[1]), source)


_IDLH = {
    "unknown": _idlh(
        "unknown", "Nobody knows how much is in the air, so it counts as IDLH.",
        "Nadie sabe cuánto hay en el aire, así que cuenta como IDLH.",
        f"29 CFR 1910.134(d)(1)(iii); {_IDLH_RULE}",
    ),
    "idlh": _idlh(
        "idlh", "There is more in the air than the IDLH.", "En el aire hay más que el IDLH.",
        f"{_IDLH_RULE}; (d)(3)(i)(B)(2)",
    ),
    "oxygen": _idlh(
        "oxygen", "There is too little oxygen: the air counts as IDLH.",
        "Hay muy poco oxígeno: el aire cuenta como IDLH.",
        f"29 CFR 1910.134(d)(2)(iii); {_IDLH_RULE}",
    ),
}
_NOT_RECOGNISED = Reason(
    "no-factor", Words("Table 1 gives this combination no factor.",
                       "La Tabla 1 no le da ningún factor a esta combinación."),
    "29 CFR 1910.134(d)(3)(i)(A), Table 1",
)
_NO_OXYGEN = Reason(
    "brings-no-air", Words("It cleans air and brings none; with too little oxygen that is no use.",
                           "Limpia el aire y no trae ninguno; con muy poco oxígeno no sirve."),
    "29 CFR 1910.134(d)(2)(iii), Table II",
)
_FILTER_ONLY = Reason(
    "filter-only", Words("Particle filters alone do not stop a gas or vapor.",
                         "Los filtros para partículas solos no detienen gases ni vapores."),
    "29 CFR 1910.134(d)(3)(iii)",
)
_NO_CARTRIDGE = Reason(
    "no-cartridge", Words("No cartridge serves against this gas or vapor.",
                          "No hay cartucho que sirva contra este gas o vapor."),
    "29 CFR 1910.134(d)(3)(iii); 42 CFR 84.190",
)
_NO_SCHEDULE = Reason(
    "no-schedule", Words(
        "The cartridge has no end-of-service-life indicator, and there is no change schedule.",
        "El cartucho no tiene indicador de fin de vida útil y no hay programa de cambio."),
    "29 CFR 1910.134(d)(3)(iii)(B)",
)
_OIL = {
    "n-with-oil": Reason(
        "n-with-oil", Words("There is oil in the air, and an N filter is not resistant to oil.",
                            "Hay aceite en el aire, y un filtro N no resiste el aceite."),
        "42 CFR 84.170; NIOSH Publication 96-101",
    ),
    "r-past-one-shift": Reason(
        "r-past-one-shift", Words(
            "There is oil in the air, and an R filter serves for one shift only.",
            "Hay aceite en el aire, y un filtro R sirve para un solo turno."),
        "42 CFR 84.170; NIOSH Publication 96-101",
    ),
}
_BARE_EYES = Reason(
    "eyes", Words("It leaves the eyes bare, and this irritates them; no sealed eye protection is "
                  "named.",
                  "Deja los ojos al aire, y esto los irrita; no se indica protección sellada."),
    "29 CFR 1910.134(d)(1)(i), workplace factors; NIOSH Publication 2005-100",
)
_SEAL_BROKEN = Reason(
    "seal", Words("It fits tightly, and something comes between face and seal.",
                  "Es de ajuste hermético, y algo queda entre la cara y el sello."),
    "29 CFR 1910.134(g)(1)(i)",
)
_NO_EVIDENCE = Reason(
    "evidence", Words("A hood or helmet counts 25, not 1,000, without the maker's test evidence.",
                      "Una capucha o casco vale 25, no 1,000, sin la prueba del fabricante."),
    "29 CFR 1910.134(d)(3)(i)(A), Table 1 footnote 4",
)
_NO_LIMIT = Reason(
    "no-limit", Words("There is no limit to compare with. The employer sets one, from what is "
                      "known.",
                      "No hay límite con que comparar. El empleador fija uno, según lo que se "
                      "sabe."),
    "29 CFR 1910.134(b), maximum use concentration",
)
_CERTIFIED_30_MINUTES = Reason(
    "rated-30", Words("certified for 30 minutes or more", "certificado para 30 minutos o más"),
    "29 CFR 1910.134(d)(2)(i)(A)",
)
_AUXILIARY_AIR = Reason(
    "auxiliary", Words("with auxiliary self-contained air to get out",
                       "con aire autónomo auxiliar para salir"),
    "29 CFR 1910.134(d)(2)(i)(B)",
)
_FIT_TEST = Reason(
    "fit-test", Words("fit-tested, sealed each time", "con prueba de ajuste, sellado cada vez"),
    "29 CFR 1910.134(f)(1), (g)(1)(iii)",
)
_FILTER_NEEDED = Reason(
    "filter", Words("with an N, R or P filter", "con un filtro N, R o P"),
    "29 CFR 1910.134(d)(3)(iv)",
)
_FILTER_WITH_OIL = Reason(
    "filter-oil", Words("with a P filter, or an R for one shift",
                        "con un filtro P, o uno R por un turno"),
    "29 CFR 1910.134(d)(3)(iv); NIOSH Publication 96-101",
)
_HE_NEEDED = Reason(
    "he", Words("with an HE filter", "con un filtro HE"), "29 CFR 1910.134(d)(3)(iv)"
)
