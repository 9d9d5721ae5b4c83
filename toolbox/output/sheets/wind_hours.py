"""The hours of a day's wind: columns, arrows that fly with it, and the colours of wind and waves.

Even the weakest step is sand, not green or blue: a small figure is shown as small, never as good.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from matplotlib.patches import Polygon

from ...units import MPH_MPS
from ..formats import palette
from ..maps.chart_page import Rect

if TYPE_CHECKING:
    import datetime as dt

    from ...arrays import Flags, Floats
    from ..maps.draughting import Pen

_RAMPS: Final[dict[int, tuple[str, ...]]] = {
    5: ("#f8eed8", palette.DRY, "#d0823a", palette.HAZARD, "#4a0d05"),
    6: ("#f8eed8", palette.DRY, "#e2a965", "#d0823a", palette.HAZARD, "#4a0d05"),
}
"""By number of classes. No colour lies half way between ink and paper, where neither could be read on it."""

WIND_LIMITS: Final[dict[str, tuple[float, ...]]] = {
    "US": (5.0, 10.0, 15.0, 20.0),
    "metric": (2.0, 4.0, 6.0, 9.0),
}
"""Classes of wind speed, mph or m/s (the steps in which forecasts are told; common practice)."""

WAVE_LIMITS: Final[dict[str, tuple[float, ...]]] = {
    "US": (0.5, 1.0, 1.5, 2.0, 3.0),
    "metric": (0.15, 0.3, 0.45, 0.6, 0.9),
}
"""Classes of wave height, ft or m."""


def ramp(count: int) -> list[str]:
    """Colours of five or six classes, weak to strong."""
    return list(_RAMPS[count])


def words_on(colour: str) -> str:
    """Ink or paper, whichever reads better on a colour."""
    return max(palette.INK, palette.PAPER, key=lambda words: palette.contrast(words, colour))


def class_of(value: float, limits: Sequence[float]) -> int:
    """Which class a value falls into; one at a limit is in the class above it."""
    return int(np.searchsorted(np.asarray(limits), value, side="right"))


def class_words(limits: Sequence[float], unit: str) -> list[str]:
    """Name the classes.

    Examples
    --------
    >>> class_words((5.0, 10.0), "mph")
    ['under 5 mph', '5 to 10 mph', '10 mph and more']
    """
    between = [f"{low:g} to {high:g} {unit}" for low, high in itertools.pairwise(limits)]
    return [f"under {limits[0]:g} {unit}", *between, f"{limits[-1]:g} {unit} and more"]


UNIT_MPS: Final = {"US": MPH_MPS, "metric": 1.0}
UNIT_WORDS: Final = {"US": "mph", "metric": "m/s"}
TURNING_MPS: Final = 0.5
"""Wind weaker than this has no bearing to speak of."""


@dataclass(frozen=True, eq=False)
class WindDay:
    """Wind over the lake at each hour of a day."""

    start: tuple[dt.datetime, ...]  # start of each hour, with its zone
    # wind, gusts and where it comes from; NaN where not known
    wind_mps: Floats
    gust_mps: Floats
    wind_from_deg: Floats
    dark: Flags  # whether each hour is not wholly light

    @property
    def words(self) -> str:
        """Date, hours and offset in words."""
        first, last = self.start[0], self.start[-1]
        offset = f"UTC{first:%z}"[:6] + ":" + f"{first:%z}"[3:5]
        dates = f"{first:%A} {first.day} {first:%B %Y}"
        if last.date() != first.date():
            dates += f" to {last:%A} {last.day} {last:%B %Y}"
        return f"{dates}, hours by the clock of {offset}"


def draw_arrow(
    pen: Pen, x: float, y: float, wind_from_deg: float, long_in: float, colour: str, *, edge: str = "none"
) -> None:
    """Draw an arrow that flies with the wind, its middle at a place on the page; an edge parts it from the ground."""
    turn = math.radians(wind_from_deg + 180.0)
    along = np.array([math.sin(turn), math.cos(turn)])
    side = np.array([along[1], -along[0]])
    middle = np.array([x, y])
    tail, tip, neck = (
        middle - along * long_in / 2,
        middle + along * long_in / 2,
        middle + along * long_in * 0.08,
    )
    shaft = ([tail[0], neck[0]], [tail[1], neck[1]])
    if edge != "none":
        pen.line(*shaft, color=edge, linewidth=3.0, solid_capstyle="butt")
    pen.line(*shaft, color=colour, linewidth=1.0, solid_capstyle="butt")
    pen.shape(
        Polygon(
            [tip, neck + side * long_in * 0.24, neck - side * long_in * 0.24],
            facecolor=colour,
            edgecolor=edge,
            linewidth=0.0 if edge == "none" else 1.0,
            zorder=3.0,
            gid="wind arrow",
        )
    )


def draw_columns(pen: Pen, rect: Rect, day: WindDay, units: str) -> None:
    """Draw a column of wind with its gusts for each hour, and an arrow that flies with it."""
    unit, limits = UNIT_MPS[units], WIND_LIMITS[units]
    winds, gusts = day.wind_mps / unit, day.gust_mps / unit
    most = max([1.0, *winds[np.isfinite(winds)].tolist(), *gusts[np.isfinite(gusts)].tolist()])
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100) if most / s <= 5)
    top_value = step * math.ceil(most / step)
    left, wide = rect.left + 0.34, rect.width - 0.34
    bottom, high = rect.bottom + 0.2, rect.height - 0.72
    each = wide / len(day.start)
    for at, is_dark in enumerate(day.dark.tolist()):
        if is_dark:
            pen.box(
                Rect(left + at * each, bottom, each, high),
                facecolor=palette.BAND,
                edgecolor="none",
                gid="dark",
            )
    for value in range(0, top_value + 1, step):
        y = bottom + high * value / top_value
        pen.line([left, left + wide], [y, y], color=palette.LAND, linewidth=0.7, zorder=0.4)
        pen.write(left - 0.06, y, f"{value}", 6.6, palette.QUIET, ha="right", va="center")
    pen.write(
        rect.left,
        rect.top - 0.1,
        f"Wind and gusts by the hour, {UNIT_WORDS[units]}",
        9.0,
        palette.INK,
        bold=True,
    )
    every = next(s for s in (1, 2, 3, 6, 12, 24) if s * each >= 0.27)
    colours = ramp(len(limits) + 1)
    for at, moment in enumerate(day.start):
        x = left + (at + 0.5) * each
        wind, gust = float(winds[at]), float(gusts[at])
        if at % every == 0:
            pen.write(x, rect.bottom + 0.05, f"{moment:%H}", 7.0, palette.INK, ha="center", gid="hour")
        if not math.isfinite(wind):
            pen.write(x, bottom + 0.03, "?", 7.0, palette.INK, ha="center", gid="unknown")
            continue
        tall = high * wind / top_value
        pen.box(
            Rect(x - each * 0.36, bottom, each * 0.72, tall),
            facecolor=colours[class_of(wind, limits)],
            edgecolor=palette.INK,
            linewidth=0.6,
            gid="column",
        )
        if math.isfinite(gust):
            highest = max(tall, high * gust / top_value)
            pen.line([x, x], [bottom + tall, bottom + highest], color=palette.INK, linewidth=0.9)
            pen.line(
                [x - each * 0.2, x + each * 0.2], [bottom + highest] * 2, color=palette.INK, linewidth=1.6
            )
        bearing = float(day.wind_from_deg[at])
        if wind >= TURNING_MPS / unit and math.isfinite(bearing):
            draw_arrow(pen, x, bottom + high + 0.15, bearing, min(0.2, each * 0.9), palette.INK)
