"""What one reads a map with: scale bars, north, wind."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
from matplotlib.patches import Circle, Polygon

from ...text import bearing_text, both_speeds, number
from ...units import FOOT_M, MILE_M, compass_point
from ..formats import palette
from .map_window import Rect, View

if TYPE_CHECKING:
    import geopandas as gpd

    from .draughting import Pen

_BODY: Final = 7.0


def nice(value: float) -> float:
    """Greatest of 1, 2 and 5 times a power of ten that is not above a positive value."""
    power = 10.0 ** math.floor(math.log10(value))
    return float(next(step * power for step in (5.0, 2.0, 1.0) if step * power <= value * (1.0 + 1e-9)))


def _bar(pen: Pen, rect: Rect, words: str) -> None:
    for part in range(4):
        fill = palette.INK if part % 2 == 0 else palette.PAPER
        piece = Rect(rect.left + rect.width * part / 4.0, rect.bottom, rect.width / 4.0, rect.height)
        pen.box(piece, facecolor=fill, edgecolor=palette.INK, linewidth=0.6, gid="bar")
    pen.write(rect.right + 0.06, rect.bottom - 0.005, words, _BODY, palette.INK, gid="scale")


def draw_scale(pen: Pen, view: View, rect: Rect) -> None:
    """Draw two scale bars, one in each unit system, the metric one below; neither is longer than the rectangle."""
    per_inch = view.metres_per_inch
    miles, feet, metres = (nice(rect.width * per_inch / unit) for unit in (MILE_M, FOOT_M, 1.0))
    us, us_words = (miles * MILE_M, f"{miles:g} mi") if miles >= 0.1 else (feet * FOOT_M, f"{feet:g} ft")
    metric_words = f"{metres / 1000.0:g} km" if metres >= 1000.0 else f"{metres:g} m"
    _bar(pen, Rect(rect.left, rect.bottom + 0.2, us / per_inch, 0.055), us_words)
    _bar(pen, Rect(rect.left, rect.bottom, metres / per_inch, 0.055), metric_words)


def draw_north(pen: Pen, x: float, y: float) -> None:
    """Draw an arrow up the map's grid, which is taken as north."""
    half = [(x, y + 0.42), (x, y + 0.09), (x - 0.13, y)]
    other = [(x, y + 0.42), (x, y + 0.09), (x + 0.13, y)]
    for points, fill in ((half, palette.INK), (other, palette.PAPER)):
        pen.shape(Polygon(points, facecolor=fill, edgecolor=palette.INK, linewidth=0.7, joinstyle="round"))
    pen.write(x, y + 0.46, "N", 8.0, palette.INK, bold=True, ha="center")
    pen.write(x, y - 0.12, "grid", 5.6, palette.QUIET, ha="center")


def wind_of(frames: Mapping[str, gpd.GeoDataFrame]) -> tuple[float, float, float] | None:
    """Least and greatest wind speed and mean direction it comes from, over whatever layer tells them."""
    for role in ("stops", "holds", "spots", "other"):
        frame = frames.get(role)
        if frame is None or not {"wind_mps", "wind_from_deg"} <= set(frame.columns):
            continue
        speeds = np.array([number(value) for value in frame["wind_mps"]])
        angles = np.radians([number(value) for value in frame["wind_from_deg"]])
        known = np.isfinite(speeds) & np.isfinite(angles)
        if known.any():
            east, north = (speeds * np.sin(angles))[known].sum(), (speeds * np.cos(angles))[known].sum()
            towards = math.degrees(math.atan2(east, north)) % 360.0
            return float(speeds[known].min()), float(speeds[known].max()), towards
    return None


def draw_wind(
    pen: Pen, wind: tuple[float, float, float] | None, x: float, y: float, *, metric_first: bool
) -> None:
    """Draw an arrow flying with the wind inside a ring, and where it comes from in words."""
    pen.shape(Circle((x, y + 0.2), 0.2, facecolor=palette.PAPER, edgecolor=palette.QUIET, linewidth=0.7))
    if wind is None:
        pen.write(x, y + 0.17, "?", 9.0, palette.QUIET, ha="center")
        pen.write(x + 0.28, y + 0.2, "Wind not given", _BODY, palette.INK, gid="wind")
        return
    low, high, coming = wind
    flying = math.radians(coming + 180.0)
    along = np.array([math.sin(flying), math.cos(flying)])
    side = np.array([along[1], -along[0]])
    centre = np.array([x, y + 0.2])
    tail, tip, neck = centre - along * 0.28, centre + along * 0.2, centre + along * 0.05
    pen.line([tail[0], neck[0]], [tail[1], neck[1]], color=palette.INK, linewidth=1.8)
    pen.shape(
        Polygon([tip, neck + side * 0.075, neck - side * 0.075], facecolor=palette.INK, gid="wind arrow")
    )
    words = f"Wind from {compass_point(coming)} ({bearing_text(coming)})"
    pen.write(x + 0.33, y + 0.24, words, _BODY, palette.INK, gid="wind")
    speed = both_speeds(high, metric_first=metric_first)
    if high - low > 0.5:
        speed = f"up to {speed}"
    pen.write(x + 0.33, y + 0.1, speed, _BODY, palette.INK, gid="wind")
