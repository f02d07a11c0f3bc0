"""Drawings of a result: what was worked out, seen at a glance.

Geometry alone; `_plot.html` turns it into an SVG in the ink of the other drawings, so it is
right in the dark and in print. Plots are 360 units wide, for a phone of 320 px.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import ceil, floor, log10

from flask_babel import gettext

from trainer.calculations.air import oxygen_partial_pressure
from trainer.calculations.exposure import cap, effective_protection_factor
from trainer.calculations.worked import Worked
from trainer.reference import respirator_classes
from trainer.words import as_typed, number

LEFT, RIGHT, TOP, BOTTOM = 58.0, 334.0, 24.0, 196.0
_NORMAL_OXYGEN = 20.9
_CURVE_POINTS = 80
_HIGHEST_FT = 14_000
_FAR_APART = 10
_TOO_SMALL = 1e-290  # to be parted into ticks
_MOST_DECADES = 1e12  # apart; what lies lower is drawn at the foot


@dataclass(frozen=True)
class Axis:
    """One direction: which values lie where, and which of them are written."""

    low: float
    high: float
    begin: float
    end: float
    log: bool
    ticks: tuple[float, ...]

    def at(self, value: float) -> float:
        """Return where a value lies; what is off the axis lies at its end."""
        inside = min(max(value, self.low), self.high)
        share = log10(inside / self.low) / log10(self.high / self.low) if self.log else \
            (inside - self.low) / (self.high - self.low)
        return round(self.begin + share * (self.end - self.begin), 1)

    @property
    def labels(self) -> list[tuple[float, str]]:
        """Return (place, text) of each tick."""
        return [(self.at(tick), as_typed(float(f"{tick:.6g}"))) for tick in self.ticks]


@dataclass(frozen=True)
class Line:
    """A line through points; kind is a class of the drawings: ink, thin, air, leak."""

    kind: str
    points: str


@dataclass(frozen=True)
class Mark:
    """A dot with words beside it; kind is fill-ink, fill-accent, fill-warn or dots."""

    x: float
    y: float
    kind: str
    text: str = ""
    radius: float = 4

    @property
    def at_end(self) -> bool:
        """Say whether the words stand before the dot, for want of room behind it."""
        return self.x > (LEFT + RIGHT) / 2

    @property
    def text_y(self) -> float:
        """Return the height of the words: over the dot, or under it at the upper edge."""
        return self.y - 9 if self.y > TOP + 16 else self.y + 19


@dataclass(frozen=True)
class Level:
    """A horizontal line with its name."""

    y: float
    kind: str
    text: str


@dataclass(frozen=True)
class Plot:
    """Everything that is drawn, and the words for those who cannot see it."""

    title: str
    description: str
    across: str
    up: str
    x: Axis
    y: Axis
    lines: tuple[Line, ...] = ()
    marks: tuple[Mark, ...] = ()
    levels: tuple[Level, ...] = ()


@dataclass(frozen=True)
class Scale:
    """Values on one line, on a log scale: where each lies, with its words."""

    title: str
    description: str
    x: Axis
    limit: float
    outside: float
    most: float
    texts: tuple[str, str, str]  # of limit, outside, most


def spare(outside: float, limit: float, most: float, unit: str) -> Scale:
    """Return how much a class has to spare: outside, the limit, and what the class allows."""
    x = _log(min(outside, limit), max(outside, most), LEFT - 36, RIGHT - 4)
    words = [_measured(value, unit) for value in (limit, outside, most)]
    return Scale(
        gettext("Outside, the limit, and what the class allows"),
        gettext("On one scale: limit %(limit)s, outside %(outside)s, allowed up to %(most)s.",
                limit=words[0], outside=words[1], most=words[2]),
        x, x.at(limit), x.at(outside), x.at(most), tuple(words),
    )


def plot(worked: Worked) -> Plot | None:
    """Return the drawing of a result, or None where there is none to make."""
    draw = _PLOTS.get(worked.calculation.plot)
    return draw(worked) if draw else None


def _log(low: float, high: float, begin: float, end: float) -> Axis:
    """Return a log axis of whole decades with some room around two values above zero."""
    low = max(low, high / _MOST_DECADES)
    first, last = floor(log10(low / 1.5)), ceil(log10(high * 1.5))
    every = 1 + (last - first) // 6
    ticks = tuple(10.0**power for power in range(first, last + 1, every))
    return Axis(10.0**first, 10.0**last, begin, end, True, ticks)


def _plain(low: float, high: float, begin: float, end: float, whole: bool = True) -> Axis:
    """Return an axis with about five round ticks; not whole: it ends where the values end."""
    rough = (high - low) / 4
    step = next(unit for unit in (10.0 ** floor(log10(rough)) * n for n in (1, 2, 2.5, 5, 10))
                if unit >= rough * (1 - 1e-9))
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    ticks = tuple(step * count for count in range(first, last + 1))
    if whole:
        return Axis(ticks[0], ticks[-1], begin, end, False, ticks)
    inside = tuple(tick for tick in ticks if low <= tick <= high)
    return Axis(low, high, begin, end, False, inside)


def _line(kind: str, x: Axis, y: Axis, points: Iterable[tuple[float, float]]) -> Line:
    return Line(kind, " ".join(f"{x.at(across):g},{y.at(up):g}" for across, up in points))


def _curve(kind: str, x: Axis, y: Axis, function: Callable[[float], float],
           low: float, high: float) -> Line:
    steps = (low + (high - low) * count / _CURVE_POINTS for count in range(_CURVE_POINTS + 1))
    return _line(kind, x, y, ((value, function(value)) for value in steps))


def _measured(value: float, unit: str) -> str:
    return f"{number(value, figures=4)} {unit}".strip()


# Concentration outside and inside against the factor, both on log scales.


def _factors(worked: Worked) -> Plot | None:
    given, unit = worked.inputs, worked.shared_unit
    if worked.calculation.name == "maximum_use_concentration":
        return _most_outside(worked, unit)
    outside = given.get("ambient", given.get("concentration"))
    if not outside:
        return None
    chosen = int(given.get("apf", worked.result))
    limit = given.get("limit")
    x = Axis(1, 10_000, LEFT, RIGHT, True, (1, 10, 100, 1_000, 10_000))
    y = _log(min(outside / 10_000, limit or outside), max(outside, limit or 0), BOTTOM, TOP)
    marks = [Mark(x.at(1), y.at(outside), "fill-ink", _measured(outside, unit))]
    marks += [Mark(x.at(apf), y.at(outside / apf), "dots", radius=3)
              for apf in respirator_classes.factors() if apf != chosen]
    marks.append(Mark(x.at(chosen), y.at(outside / chosen), "fill-accent",
                      _measured(outside / chosen, unit), 6))
    levels = () if limit is None else (
        Level(y.at(limit), "leak", gettext("limit %(limit)s", limit=_measured(limit, unit))),
    )
    return Plot(
        gettext("Inside, for each factor"),
        gettext("A falling line: the higher the factor, the less is inside. Outside there is "
                "%(outside)s; with a factor of %(apf)s there is %(inside)s inside.",
                outside=_measured(outside, unit), apf=f"{chosen:,}",
                inside=_measured(outside / chosen, unit)),
        gettext("Factor (1: no respirator)"), unit or gettext("Inside"), x, y,
        (_line("air", x, y, ((1, outside), (10_000, outside / 10_000))),), tuple(marks), levels,
    )


def _most_outside(worked: Worked, unit: str) -> Plot:
    given, apf = worked.inputs, int(worked.inputs["apf"])
    limit, lid = given["limit"], cap(given.get("idlh"), given.get("cartridge_limit"))
    capped = lid != float("inf")
    x = Axis(1, 10_000, LEFT, RIGHT, True, (1, 10, 100, 1_000, 10_000))
    y = _log(min(limit, lid), max(limit * apf * 10, lid if capped else 0), BOTTOM, TOP)
    top_factor = min(10_000, y.high / limit)
    marks = [Mark(x.at(1), y.at(limit), "fill-ink", _measured(limit, unit))]
    # The level that caps it says the number already.
    too_high = worked.result < limit * apf
    if too_high:
        marks.append(Mark(x.at(apf), y.at(limit * apf), "fill-warn", radius=5))
    shown = "" if too_high else _measured(worked.result, unit)
    marks.append(Mark(x.at(apf), y.at(worked.result), "fill-accent", shown, 6))
    levels = (Level(y.at(lid), "leak", gettext("never above %(lid)s", lid=_measured(lid, unit))),) \
        if capped else ()
    return Plot(
        gettext("How much may be outside, for each factor"),
        gettext("A rising line: factor times limit. With a factor of %(apf)s the most that may be "
                "outside is %(most)s.", apf=f"{apf:,}", most=_measured(worked.result, unit)),
        gettext("Factor (1: no respirator)"), unit or gettext("Outside"), x, y,
        (_line("air", x, y, ((1, limit), (top_factor, limit * top_factor))),), tuple(marks), levels,
    )


# Protection lost to minutes unworn.


def _minutes(worked: Worked) -> Plot | None:
    apf, shift = worked.inputs["apf"], worked.inputs["shift_minutes"]
    off = worked.parts["off"]
    x = _plain(0, shift, LEFT, RIGHT, whole=False)
    y = _log(1, apf, BOTTOM, TOP)

    def left(minutes: float) -> float:
        return effective_protection_factor(apf, shift - min(minutes, shift), shift)

    # The curve falls steeply at first, so its points lie closer there.
    points = [shift * (count / _CURVE_POINTS) ** 3 for count in range(_CURVE_POINTS + 1)]
    return Plot(
        gettext("What is left of the factor"),
        gettext("A curve that falls steeply at first: off for %(off)s of %(shift)s minutes, the "
                "factor of %(apf)s is worth %(left)s.", off=as_typed(off), shift=as_typed(shift),
                apf=f"{int(apf):,}", left=number(worked.result)),
        gettext("Minutes off"), gettext("Factor left"), x, y,
        (_line("air", x, y, ((minutes, left(minutes)) for minutes in points)),),
        (
            Mark(x.at(0), y.at(apf), "fill-ink", f"{int(apf):,}"),
            Mark(x.at(off), y.at(worked.result), "fill-accent", number(worked.result), 6),
        ),
    )


# Oxygen against altitude.


def _oxygen(worked: Worked) -> Plot:
    percent, height = worked.inputs["percent"], worked.inputs["altitude_ft"]
    low, high = min(0, height), max(_HIGHEST_FT, height)
    x = _plain(low, high, LEFT, RIGHT, whole=False)
    most = max(percent, _NORMAL_OXYGEN)
    y = _plain(0, oxygen_partial_pressure(most, low), BOTTOM, TOP)

    def pressure_of(share: float) -> Callable[[float], float]:
        return lambda feet: oxygen_partial_pressure(share, min(max(feet, -1_500), 36_000))

    return Plot(
        gettext("Oxygen, and height above the sea"),
        gettext("Two falling lines: normal air, and this air. At %(height)s ft this air, with "
                "%(percent)s %% of oxygen, has %(pressure)s mmHg of it.",
                height=as_typed(height), percent=as_typed(percent),
                pressure=number(worked.result, figures=4)),
        gettext("Height above the sea, ft"), "mmHg", x, y,
        (_curve("thin", x, y, pressure_of(_NORMAL_OXYGEN), low, high),
         _curve("air", x, y, pressure_of(percent), low, high)),
        (Mark(x.at(height), y.at(worked.result), "fill-accent",
              _measured(worked.result, "mmHg"), 6),),
    )


# A shift, hour by hour.


def _shift(worked: Worked) -> Plot | None:
    periods = _periods(worked)
    hours = sum(length for length, _, _ in periods)
    most = max(max(outside, inside) for _, outside, inside in periods)
    if min(hours, most) < _TOO_SMALL:
        return None
    unit, worn = worked.shared_unit, any(outside != inside for _, outside, inside in periods)
    least = min(inside for _, _, inside in periods)
    x = _plain(0, hours, LEFT, RIGHT, whole=False)
    # What is breathed would lie flat on the ground beside what is outside.
    far_apart = worn and least > 0 and most / least > _FAR_APART
    y = _log(least, most, BOTTOM, TOP) if far_apart else _plain(0, most, BOTTOM, TOP)
    lines = [_line("air", x, y, _stairs([(length, inside) for length, _, inside in periods]))]
    if worn:
        lines.insert(0, _line("thin", x, y, _stairs([(h, out) for h, out, _ in periods])))
    what = gettext("Thin: outside. Thick: breathed.") if worn else ""
    return Plot(
        gettext("The shift, hour by hour"),
        gettext("Stairs, one a period, and a level line at the average, %(average)s.",
                average=_measured(worked.result, unit)) + (f" {what}" if what else ""),
        gettext("Hours"), unit or gettext("Concentration"), x, y, tuple(lines), (),
        (Level(y.at(worked.result), "leak",
               gettext("average %(average)s", average=_measured(worked.result, unit))),),
    )


def _periods(worked: Worked) -> list[tuple[float, float, float]]:
    """Return (hours, outside, breathed) of each period."""
    given = worked.inputs
    if "segments" in given:
        return [(hours, outside, outside / apf) for hours, outside, apf in given["segments"]]
    pairs = zip(given["hours"], given["concentrations"], strict=True)
    return [(hours, outside, outside) for hours, outside in pairs]


def _stairs(periods: list[tuple[float, float]]) -> list[tuple[float, float]]:
    points, now = [], 0.0
    for length, level in periods:
        points += [(now, level), (now + length, level)]
        now += length
    return points


_PLOTS: dict[str, Callable[[Worked], Plot | None]] = {
    "factors": _factors, "minutes": _minutes, "oxygen": _oxygen, "shift": _shift,
}
