"""Air that is brought: how long a cylinder lasts, how much a hose must give, how good it is."""

from fractions import Fraction

from trainer.calculations.faults import (
    CalculationFault,
    exactly,
    missing,
    not_negative,
    number,
    one_of,
    percentage,
    positive,
    yes_or_no,
)

LEAST_FLOW = {
    "L/min": {"tight": 115.0, "loose": 170.0},
    "cfm": {"tight": 4.0, "loose": 6.0},
}
"""Least continuous flow to a tight or loose inlet covering: 42 CFR 84, subpart J, table 8."""

OXYGEN_FROM, OXYGEN_TO = 19.5, 23.5
"""Per cent by volume in breathing air: 29 CFR 1910.134(i)(1)(ii)(A)."""

MOST_OIL_MG_M3, MOST_CARBON_MONOXIDE_PPM, MOST_CARBON_DIOXIDE_PPM = 5.0, 10.0, 1000.0
"""Grade D: 29 CFR 1910.134(i)(1)(ii)(B) to (D)."""


def cylinder_minutes(
    breathing_litres_per_minute: float,
    reserve_percent: float = 0,
    free_air_litres: float | None = None,
    water_volume_litres: float | None = None,
    pressure_bar: float | None = None,
) -> float:
    """Return how many minutes the air of a cylinder lasts.

    free air x (1 - reserve) / breathing rate; free air = water volume x pressure in bar

    breathing_litres_per_minute  1 to 500; rated times are measured at 40
    reserve_percent              air kept back for the way out, 0 to 100
    free_air_litres              air in the cylinder at 1 bar, above 0; or else both of
    water_volume_litres          size of the cylinder, above 0
    pressure_bar                 gauge pressure, above 0, at most 1,000; as of an ideal gas
    Errors: CalculationFault.
    Source: derived (volume divided by rate; Boyle's law); 40 L/min: 42 CFR part 84

    >>> cylinder_minutes(40, reserve_percent=25, free_air_litres=1200)
    22.5
    >>> cylinder_minutes(40, water_volume_litres=6, pressure_bar=300)
    45.0
    """
    rate = exactly(number("breathing_litres_per_minute", breathing_litres_per_minute, 1, 500))
    kept = exactly(percentage("reserve_percent", reserve_percent)) / 100
    return float(_free_air(free_air_litres, water_volume_litres, pressure_bar) * (1 - kept) / rate)


def low_air_alarm_minutes(rated_minutes: float, alarm_percent: float = 25) -> float:
    """Return how many minutes of the rated time are left when the low-air alarm begins.

    rated time x share; less in hard work, since the rating is measured at 40 L/min

    rated_minutes  rated service time, above 0, at most 240
    alarm_percent  where the alarm is set, 20 to 100; 25 or what the approval names above that
    Errors: CalculationFault.
    Source: 42 CFR 84.83(f), 78 FR 2618 (25 % or a higher value since 2013; 20 to 25 % before)

    >>> low_air_alarm_minutes(45)
    11.25
    """
    rated = exactly(number("rated_minutes", positive("rated_minutes", rated_minutes), 0, 240))
    return float(rated * exactly(number("alarm_percent", alarm_percent, 20, 100)) / 100)


def airline_flow_adequate(flow: float, unit: str, facepiece: str) -> bool:
    """Say whether a continuous flow reaches the published least one.

    flow       measured flow, 0 and above
    unit       "L/min" or "cfm"; each is compared with the figure printed in that unit
    facepiece  "tight" (at least 115 L/min, 4 cfm) or "loose" (at least 170 L/min, 6 cfm)
    Errors: CalculationFault. Source: 42 CFR part 84, subpart J, table 8

    >>> airline_flow_adequate(4, "cfm", "tight"), airline_flow_adequate(4, "cfm", "loose")
    (True, False)
    """
    return not_negative("flow", flow) >= least_flow(unit, facepiece)


def least_flow(unit: str, facepiece: str) -> float:
    """Return the least continuous flow in the unit; parameters as for `airline_flow_adequate`.

    >>> least_flow("L/min", "loose")
    170.0
    """
    unit = one_of("unit", unit, LEAST_FLOW)
    return LEAST_FLOW[unit][one_of("facepiece", facepiece, LEAST_FLOW[unit])]


def breathing_air_acceptable(
    oxygen_percent: float,
    carbon_monoxide_ppm: float,
    carbon_dioxide_ppm: float,
    oil_mg_per_m3: float,
    odour: bool = False,
) -> bool:
    """Say whether compressed breathing air keeps every limit of Grade D that is given here.

    oxygen_percent       by volume, 0 to 100; 19.5 to 23.5 is right
    carbon_monoxide_ppm  at most 10
    carbon_dioxide_ppm   at most 1,000
    oil_mg_per_m3        condensed hydrocarbons, at most 5
    odour                is one noticeable? There must be none
    Moisture is limited too, (i)(4)(iii) and (i)(5)(ii), and is not looked at here.
    Errors: CalculationFault. Source: 29 CFR 1910.134(i)(1)(ii)

    >>> breathing_air_acceptable(20.9, 4, 600, 0.5), breathing_air_acceptable(20.9, 11, 600, 0.5)
    (True, False)
    """
    return not broken_limits(
        oxygen_percent, carbon_monoxide_ppm, carbon_dioxide_ppm, oil_mg_per_m3, odour
    )


def broken_limits(
    oxygen_percent: float,
    carbon_monoxide_ppm: float,
    carbon_dioxide_ppm: float,
    oil_mg_per_m3: float,
    odour: bool = False,
) -> tuple[str, ...]:
    """Return which limits of Grade D the air breaks; parameters as above.

    >>> broken_limits(19.4, 4, 600, 5.1)
    ('oxygen_percent', 'oil_mg_per_m3')
    """
    oxygen = percentage("oxygen_percent", oxygen_percent)
    broken = {
        "oxygen_percent": not OXYGEN_FROM <= oxygen <= OXYGEN_TO,
        "carbon_monoxide_ppm": not_negative("carbon_monoxide_ppm", carbon_monoxide_ppm)
        > MOST_CARBON_MONOXIDE_PPM,
        "carbon_dioxide_ppm": not_negative("carbon_dioxide_ppm", carbon_dioxide_ppm)
        > MOST_CARBON_DIOXIDE_PPM,
        "oil_mg_per_m3": not_negative("oil_mg_per_m3", oil_mg_per_m3) > MOST_OIL_MG_M3,
        "odour": yes_or_no("odour", odour),
    }
    return tuple(name for name, is_broken in broken.items() if is_broken)


def _free_air(
    free_air: float | None, water_volume: float | None, pressure: float | None
) -> Fraction:
    if free_air is not None:
        if water_volume is not None or pressure is not None:
            raise CalculationFault(
                "free_air_litres", "{it} stands alone, or leave it out and give size and pressure.",
                "{it} va solo; si no, déjelo vacío y dé el tamaño y la presión.",
            )
        return exactly(positive("free_air_litres", free_air))
    if water_volume is None:
        raise missing("water_volume_litres" if pressure is not None else "free_air_litres")
    if pressure is None:
        raise missing("pressure_bar")
    bar = number("pressure_bar", positive("pressure_bar", pressure), 0, 1000)
    return exactly(positive("water_volume_litres", water_volume)) * exactly(bar)
