"""What one reads a map with: the key, scale bars, north, wind."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from matplotlib.patches import Circle, Polygon

from ...text import bearing_text, both_speeds, number
from ...units import FOOT_M, MILE_M, compass_point
from ..formats import palette
from .chart_ground import band_colours
from .chart_marks import draw_marks
from .chart_page import Rect, View

if TYPE_CHECKING:
    import geopandas as gpd

    from .draughting import Pen

KEY_LINE_IN: Final = 0.175
_BODY: Final = 7.0


def _depth_words(low: float, high: float, *, metric_first: bool) -> str:
    def say(value: float, unit: float) -> str:
        return f"{round(value / unit, 1) + 0.0:g}"

    feet = (
        f"{say(low, FOOT_M)}–{say(high, FOOT_M)} ft" if math.isfinite(high) else f"over {say(low, FOOT_M)} ft"
    )
    metres = f"{say(low, 1.0)}–{say(high, 1.0)} m" if math.isfinite(high) else f"over {say(low, 1.0)} m"
    return f"{metres} ({feet})" if metric_first else f"{feet} ({metres})"


def _key(frames: Mapping[str, gpd.GeoDataFrame], *, metric_first: bool) -> list[tuple[str, Any, str]]:
    """Kind of swatch, what it needs, and words; only for what the map shows."""

    def there(role: str, column: str = "", value: str = "") -> bool:
        frame = frames.get(role)
        if frame is None or not len(frame):
            return False
        return not column or bool((frame[column].astype(str) == value).any())

    lines: list[tuple[str, Any, str]] = []
    for low, high, colour in band_colours(frames.get("depth_bands")):
        lines.append(("fill", colour, _depth_words(low, high, metric_first=metric_first)))
    if there("dry_ground"):
        lines.append(("dry", None, "dry ground at today's level"))
    if there("shallow_hazards", "care", "run"):
        lines.append(("hatch", "run", "too thin to run on plane"))
    if there("shallow_hazards", "care", "idle"):
        lines.append(("hatch", "idle", "too thin even at idle"))
    if there("known_hazards"):
        lines.append(("mark", "hazard", "known hazard"))
    zones = (("no_entry", "no entry"), ("no_motor", "no motors"), ("slow", "slow zone"))
    lines += [("zone", zone, words) for zone, words in zones if there("zones", "zone", zone)]
    if there("legs"):
        lines.append(("leg", "solid", "leg, running"))
    if there("legs", "part", "idle") or there("legs", "part", "launch"):
        lines.append(("leg", palette.IDLE_DASHES, "leg, idling or launching"))
    marks = (("holds", "hold", "hold: boat sits here"), ("spots", "spot", "spot"), ("ramps", "ramp", "ramp"))
    lines += [("mark", mark, words) for role, mark, words in marks if there(role)]
    if there("cast_lines"):
        lines.append(("cast", None, "cast"))
    spots = frames.get("spots")
    if spots is not None and "fishable" in spots:
        if any(number(value) == 0.0 for value in spots["fishable"]):
            lines.append(("mark", "left_out", "spot not fishable today"))
    elif there("left_out"):
        lines.append(("mark", "left_out", "spot left out of the run"))
    return lines


def key_lines(frames: Mapping[str, gpd.GeoDataFrame]) -> int:
    """How many lines the key needs."""
    return len(_key(frames, metric_first=False))


def _area_swatch(pen: Pen, kind: str, look: Any, rect: Rect) -> None:
    fill = look if kind == "fill" else palette.DRY if kind == "dry" else palette.HAZARD_GROUND
    edge = palette.HAZARD if kind == "hatch" else palette.LAND_EDGE
    pen.box(rect, facecolor=fill, edgecolor=edge, linewidth=0.6)
    if kind == "dry":
        xs = [rect.left + 0.03 + 0.06 * n for n in range(5)]
        ys = [rect.bottom + 0.035 + 0.045 * (n % 2) for n in range(5)]
        pen.line(xs, ys, color=palette.DRY_DOTS, marker=".", markersize=1.6, linestyle="none")
    if kind == "hatch":
        # the same lean as on the map: up to the right for running, down to the right for idling
        for n in range(4):
            left = rect.left + 0.025 + 0.06 * n
            ends = [rect.bottom, rect.top] if look == "run" else [rect.top, rect.bottom]
            pen.line(
                [left, left + rect.height], ends, color=palette.HAZARD, linewidth=palette.HATCH_WIDTH[look]
            )


def _swatch(pen: Pen, kind: str, look: Any, rect: Rect) -> None:
    middle = rect.bottom + rect.height / 2.0
    xs, ys = [rect.left, rect.right], [middle, middle]
    if kind in {"fill", "dry", "hatch"}:
        _area_swatch(pen, kind, look, rect)
    elif kind == "zone":
        width = palette.ZONE_WIDTH[look]
        pen.line(xs, ys, color=palette.ZONE, linewidth=width, linestyle=(0, palette.ZONE_DASHES[look]))
    elif kind == "leg":
        pen.line(xs, ys, color=palette.RUN, linewidth=1.6, linestyle=look)
    elif kind == "cast":
        pen.line(xs, ys, color=palette.CAST, linewidth=1.1)
    else:
        at = np.array([(rect.left + rect.width / 2.0, middle)])
        pen.figure.add_artist(draw_marks(look, at, pen.figure.dpi_scale_trans, 3.0))


def draw_key(
    pen: Pen, frames: Mapping[str, gpd.GeoDataFrame], rect: Rect, *, columns: int, metric_first: bool
) -> None:
    """Swatches and words, filled column by column from the top."""
    lines = _key(frames, metric_first=metric_first)
    each = max(1, math.ceil(len(lines) / columns))
    wide = rect.width / columns
    for place, (kind, look, words) in enumerate(lines):
        x = rect.left + wide * (place // each)
        y = rect.top - KEY_LINE_IN * (place % each + 1)
        _swatch(pen, kind, look, Rect(x, y, 0.3, 0.115))
        pen.write(x + 0.38, y + 0.015, pen.fitted(words, _BODY, wide - 0.42), _BODY, palette.INK, gid="key")


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


def draw_north(pen: Pen, x: float, y: float, grid_north_deg: float = 0.0) -> None:
    """Draw an arrow to true north, where the page's own up bears so much from true north."""
    turn = math.radians(-grid_north_deg)
    middle = np.array([x, y + 0.2])

    def placed(east: float, north: float) -> tuple[float, float]:
        right = east * math.cos(turn) + north * math.sin(turn)
        up = north * math.cos(turn) - east * math.sin(turn)
        return float(middle[0] + right), float(middle[1] + up)

    for side, fill in ((-0.13, palette.INK), (0.13, palette.PAPER)):
        points = [placed(0.0, 0.22), placed(0.0, -0.11), placed(side, -0.2)]
        pen.shape(Polygon(points, facecolor=fill, edgecolor=palette.INK, linewidth=0.7, joinstyle="round"))
    pen.write(*placed(0.0, 0.26), "N", 8.0, palette.INK, bold=True, ha="center")


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
    pen: Pen,
    wind: tuple[float, float, float] | None,
    x: float,
    y: float,
    *,
    metric_first: bool,
    grid_north_deg: float = 0.0,
) -> None:
    """Draw an arrow flying with the wind inside a ring, and where it comes from (true) in words."""
    pen.shape(Circle((x, y + 0.2), 0.2, facecolor=palette.PAPER, edgecolor=palette.QUIET, linewidth=0.7))
    if wind is None:
        pen.write(x, y + 0.17, "?", 9.0, palette.QUIET, ha="center")
        pen.write(x + 0.28, y + 0.2, "Wind not given", _BODY, palette.INK, gid="wind")
        return
    low, high, coming = wind
    flying = math.radians(coming - grid_north_deg + 180.0)
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
