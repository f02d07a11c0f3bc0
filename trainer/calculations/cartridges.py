"""How long an organic vapor cartridge may last, by the published rules of thumb."""

from math import log10

from trainer.calculations.faults import CalculationFault, missing, number, percentage, positive

LEAST_BOILING_POINT_C = 70
HUMID_ABOVE_PERCENT = 85
LONGER_PER_TENTH = 5
"""A tenth of the concentration lasts about five times as long."""

_MOST_HOURS = 1000


def cartridge_hours(
    hours: float,
    concentration_from: float | None = None,
    concentration_to: float | None = None,
    flow_from: float | None = None,
    flow_to: float | None = None,
    humidity_percent: float | None = None,
    boiling_point_c: float | None = None,
) -> float:
    """Return about how many hours an organic vapor cartridge lasts when something changes.

    hours x 5 ^ log10(C1 / C2) x Q1 / Q2 x 1/2 where the air is humid

    hours                                how long it lasts now, above 0, at most 1,000
    concentration_from, concentration_to  now and then, in one unit, above 0; both or neither
    flow_from, flow_to                   breathing rate now and then, above 0; both or neither
    humidity_percent                     relative humidity then, 0 to 100; above 85 halves
    boiling_point_c                      of the vapor; 70 or below is refused
    The rules are never the only basis: the change schedule comes from objective data,
    29 CFR 1910.134(d)(3)(iii), and whoever tastes or smells something leaves, (g)(2)(ii).
    Errors: CalculationFault.
    Source: AIHA, The Occupational Environment, chapter 36, as quoted on OSHA's page "Respirator
    change schedules: rule of thumb"; between powers of ten derived

    >>> cartridge_hours(8, concentration_from=200, concentration_to=20)
    40.0
    >>> cartridge_hours(8, flow_from=35, flow_to=70, humidity_percent=90)
    2.0
    """
    lasts = number("hours", positive("hours", hours), 0, _MOST_HOURS)
    shares = share_left(
        concentration_from, concentration_to, flow_from, flow_to, humidity_percent, boiling_point_c
    )
    for share in shares.values():
        lasts *= share
    return float(f"{lasts:.12g}")


def share_left(
    concentration_from: float | None = None,
    concentration_to: float | None = None,
    flow_from: float | None = None,
    flow_to: float | None = None,
    humidity_percent: float | None = None,
    boiling_point_c: float | None = None,
) -> dict[str, float]:
    """Return by what each change multiplies the hours; parameters as for `cartridge_hours`.

    >>> share_left(flow_from=35, flow_to=70)
    {'flow': 0.5}
    """
    if boiling_point_c is not None:
        boils = number("boiling_point_c", boiling_point_c, -300, 1000)
        if boils <= LEAST_BOILING_POINT_C:
            raise CalculationFault(
                "boiling_point_c",
                "{it} must be above 70: the rules of thumb do not hold for vapors that boil lower.",
                "{it} tiene que ser mayor que 70: las reglas no valen para vapores que hierven a "
                "menos.",
            )
    shares = {}
    amounts = _pair(
        "concentration_from", concentration_from, "concentration_to", concentration_to
    )
    if amounts:
        shares["concentration"] = LONGER_PER_TENTH ** log10(amounts[0] / amounts[1])
    flows = _pair("flow_from", flow_from, "flow_to", flow_to)
    if flows:
        shares["flow"] = flows[0] / flows[1]
    if humidity_percent is not None:
        humid = percentage("humidity_percent", humidity_percent) > HUMID_ABOVE_PERCENT
        shares["humidity"] = 0.5 if humid else 1.0
    return shares


def _pair(
    first: str, before: float | None, second: str, after: float | None
) -> tuple[float, float] | None:
    if before is None and after is None:
        return None
    for name, value in ((first, before), (second, after)):
        if value is None:
            raise missing(name)
    return positive(first, before), positive(second, after)
