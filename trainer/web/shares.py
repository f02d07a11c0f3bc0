"""A drawing of shares: a row an item, the share right as a dot, its interval as a line.

Geometry alone, as in `plots.py`; `hard_spots/_shares.html` turns it into an SVG in the ink of the
other drawings. 360 units wide, for a phone of 320 px.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import shorten

from flask_babel import gettext

from trainer.services.hard_spots import Spot
from trainer.web.language import current
from trainer.web.plots import Axis
from trainer.words import number

LEFT, RIGHT = 12.0, 332.0
_HEAD, _ROW, _FOOT = 44.0, 44.0, 26.0
_LOW_ROW = 26.0  # of an item of which nothing is told
_WORDS, _FEW_WORDS = 40, 28  # letters of a name that leave room for its share, or for why none
_SCALE = (0, 25, 50, 75, 100)


@dataclass(frozen=True)
class Row:
    """One item: its name over the scale, and where share and interval lie on it.

    share    None where there are too few answers; `text` then says so
    """

    name: str
    text: str
    name_y: float
    y: float
    share: float | None = None
    low: float = 0.0
    high: float = 0.0


@dataclass(frozen=True)
class Shares:
    """Everything that is drawn, and the words for those who cannot see it."""

    title: str
    description: str
    height: float
    top: float
    bottom: float
    x: Axis
    pass_mark: float
    pass_text: str
    rows: tuple[Row, ...]


def drawing(spots: Sequence[Spot], pass_mark: int, first: int = 1) -> Shares:
    """Return the drawing of some items, in their order.

    pass_mark   per cent
    first       the number of the first of them, as the table counts
    """
    x = Axis(0, 100, LEFT, RIGHT, False, _SCALE)
    rows, bottom = [], _HEAD
    for at, spot in enumerate(spots):
        rows.append(_row(spot, first + at, bottom, x))
        bottom += _ROW if spot.told else _LOW_ROW
    return Shares(
        gettext("Share right the first time"),
        gettext(
            "A row an item, as numbered in the table below: the dot is the share that answered "
            "it right the first time, the line its 95 %% interval, on one scale from 0 to "
            "100 %%. The thin upright line is the pass mark, %(mark)s %%.", mark=pass_mark,
        ),
        bottom + _FOOT,
        _HEAD - 6,
        bottom,
        x,
        x.at(pass_mark),
        gettext("pass mark %(mark)s %%", mark=pass_mark),
        tuple(rows),
    )


def percent(share: float) -> str:
    """Return a share, 0 to 1, as whole per cent with its sign; never 0 or 100 that is not.

    >>> percent(0.624), percent(1.0), percent(0.9967)
    ('62 %', '100 %', '99.7 %')
    """
    rounded = round(100 * share)
    exact = rounded not in (0, 100) or share in (0, 1)
    return f"{rounded if exact else number(100 * share)} %"


def _row(spot: Spot, place: int, top: float, x: Axis) -> Row:
    told = spot.told
    words = shorten(spot.about(current()), _WORDS if told else _FEW_WORDS, placeholder="…")
    name, name_y, y = f"{place}. {words}", top + 14, top + 28
    if told is None:
        few = spot.figures
        text = gettext(
            "too few: %(answered)s of %(needed)s", answered=few.answered, needed=few.needed
        ) if few.answered < few.needed else gettext("not told")
        return Row(name, text, name_y, y)
    ends = (x.at(100 * value) for value in (told.share, told.low, told.high))
    return Row(name, percent(told.share), name_y, y, *ends)
