"""Bars of what falls due, as a picture of its own: plain values in, an SVG out.

Drawn by matplotlib, in our letters and our ink. The words become outlines, so that a picture that
may load nothing looks the same everywhere; whoever shows it says the same in words beside it.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

FONT = Path(__file__).parent / "fonts" / "atkinson-hyperlegible-next-regular.ttf"


@dataclass(frozen=True)
class Ink:
    """The colours of a drawing, those of `static/ground.css`."""

    ink: str
    soft: str
    paper: str
    accent: str
    wash: str
    warn: str


LIGHT = Ink("#1c201e", "#565d58", "#faf7f0", "#0b5a58", "#ecf2ef", "#8f3410")
DARK = Ink("#f0ede4", "#b5bab4", "#15191a", "#7fc9c0", "#1d2928", "#f0a27c")

# A kind is told by its pattern as well as by its tone: which tone, and which hatching over it.
_FILLS = (("accent", ""), ("wash", "////"), ("soft", ""), ("paper", "...."), ("warn", "\\\\\\\\"))


@dataclass(frozen=True)
class Series:
    """One kind of thing, a value a bar."""

    name: str
    values: tuple[int, ...]


def bars(
    rows: Sequence[str], series: Sequence[Series], *, ink: Ink = LIGHT, narrow: bool = False
) -> bytes:
    """Return an SVG of bars lying one under another, each made of the series one after another.

    rows    what each bar is called, the first one on top
    narrow  for a phone: 340 units wide instead of 720
    It has no ground of its own: the page's, or the sheet's, shows through.
    """
    # Only whoever looks at a drawing waits for the library.
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

    size = 11
    letters = FontProperties(fname=FONT, size=size)
    wide = (340 if narrow else 720) / 72
    high = (len(rows) * 24 + (24 * len(series) if narrow else 34) + 30) / 72
    figure = Figure(figsize=(wide, high), facecolor="none")
    axes = figure.add_axes(_inside(wide, high, narrow, len(series)), facecolor="none")
    begins = [0] * len(rows)
    for at, one in enumerate(series):
        tone, hatch = _FILLS[at % len(_FILLS)]
        axes.barh(
            range(len(rows)), one.values, left=begins, height=0.68, label=one.name, hatch=hatch,
            facecolor=getattr(ink, tone), edgecolor=ink.ink, linewidth=0.8,
        )  # fmt: skip
        begins = [begin + value for begin, value in zip(begins, one.values, strict=True)]
    most = max(begins, default=0) or 1
    for at, total in enumerate(begins):
        axes.text(
            total + most * 0.015, at, str(total), va="center", color=ink.ink, fontproperties=letters
        )
    axes.set_yticks(range(len(rows)), rows, fontproperties=letters, color=ink.ink)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlim(0, most * 1.12)
    axes.set_xticks([])
    axes.tick_params(length=0)
    for side in ("top", "right", "bottom"):
        axes.spines[side].set_visible(False)
    axes.spines["left"].set(color=ink.ink, linewidth=1.4)
    legend = figure.legend(
        loc="upper left", ncols=1 if narrow else len(series), frameon=False, prop=letters,
        labelcolor=ink.ink, handlelength=1.6, columnspacing=1.4, borderaxespad=0.3,
    )  # fmt: skip
    legend.set_in_layout(False)
    return _svg(figure)


def _inside(
    wide: float, high: float, narrow: bool, kinds: int
) -> tuple[float, float, float, float]:
    """Return where the bars lie, in shares of the drawing: left, bottom, width, height."""
    left, top = 92 / 72, (20 * kinds + 12 if narrow else 34) / 72
    return left / wide, 0.02, 1 - left / wide - 0.02, 1 - top / high - 0.02


def _svg(figure) -> bytes:
    import matplotlib

    # The same numbers give the same bytes: no date, and names that no chance makes.
    matplotlib.rcParams["svg.hashsalt"] = "bars"
    out = BytesIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    drawn = _STYLE_SHEET.sub("", out.getvalue().decode())
    return _STYLE.sub(_as_attributes, drawn).replace("<svg ", _ROOT, 1).encode()


# A strict policy refuses styles within a document; attributes say the same and need none.
_STYLE_SHEET = re.compile(r"<style\b.*?</style>", re.DOTALL)
_STYLE = re.compile(r'style="([^"]*)"')
_ROOT = '<svg stroke-linejoin="round" stroke-linecap="butt" '


def _as_attributes(style: re.Match[str]) -> str:
    said = (one.partition(":") for one in style.group(1).split(";") if one.strip())
    return " ".join(f'{name.strip()}="{value.strip()}"' for name, _, value in said)
