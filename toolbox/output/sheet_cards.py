"""Cards to tape beside the wheel: each leg drawn course-up with the boat low on the card; each hold drawn large."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.collections import LineCollection
from matplotlib.patches import Polygon

from . import palette
from .chart_ground import draw_ground
from .chart_marks import draw_marks
from .chart_page import map_axes
from .course_up import cut_and_turned, turned_points
from .text import bearing_text
from .view import Rect, View

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from .draughting import Pen
    from .sheet_facts import LegFacts, StopFacts

_HEAD_IN: Final = 0.3
_LINE_IN: Final = 0.135
_BODY: Final = 7.2
_LOW: Final = 0.14  # share of a card below the boat: most of it is water ahead
_SIDES: Final = 0.1
_LEAST_HIGH_M: Final = 250.0
_HOLD_HALF_M: Final = 45.0
_DETAIL_IN: Final = 0.007


def _view(rect: Rect, turned: np.ndarray[Any, Any]) -> View:
    """Fit a turned way into a rectangle: its start low and what follows above it."""
    west, south = turned.min(axis=0)
    east, north = turned.max(axis=0)
    ahead = max(north - turned[0, 1], _LEAST_HIGH_M)
    behind = max(turned[0, 1] - south, 0.0)
    scale = max(
        ahead / (rect.height * (1.0 - _LOW - _SIDES)),
        behind / (rect.height * _LOW * 0.8),
        (east - west) / (rect.width * (1.0 - 2.0 * _SIDES)),
    )
    middle = (west + east) / 2.0
    return View(rect, middle - scale * rect.width / 2.0, turned[0, 1] - scale * rect.height * _LOW, scale)


def _north(pen: Pen, x: float, y: float, course_deg: float) -> None:
    """Draw a small arrow to grid north on a turned card."""
    angle = np.radians(-course_deg)
    along = np.array([np.sin(angle), np.cos(angle)])
    side = np.array([along[1], -along[0]])
    at = np.array([x, y])
    pen.shape(
        Polygon(
            [at + 0.15 * along, at - 0.09 * along + 0.06 * side, at - 0.05 * along, at - 0.09 * along - 0.06 * side],
            facecolor=palette.INK, edgecolor=palette.CASING, linewidth=0.6, zorder=7.0,
        )
    )  # fmt: skip
    tip = at + 0.24 * along
    pen.write(
        float(tip[0]),
        float(tip[1]),
        "N",
        6.4,
        palette.INK,
        bold=True,
        ha="center",
        va="center_baseline",
        zorder=7.0,
    )


def _scale(pen: Pen, view: View) -> None:
    """Draw a bar of a round number of feet and metres in the lower left corner."""
    rect = view.rect
    room = 0.3 * rect.width * view.metres_per_inch
    x, y = rect.left + 0.08, rect.bottom + 0.09
    for unit, word, up in ((1.0, "m", 0.0), (0.3048, "ft", 0.12)):
        power = 10.0 ** math.floor(math.log10(room / unit))
        size = next(step * power for step in (5.0, 2.0, 1.0) if step * power <= room / unit)
        end = x + size * unit / view.metres_per_inch
        pen.line([x, end], [y + up, y + up], color=palette.CASING, linewidth=3.2, zorder=6.9)
        pen.line([x, end], [y + up, y + up], color=palette.INK, linewidth=1.3, zorder=7.0)
        pen.write(end + 0.04, y + up - 0.03, f"{size:g} {word}", 5.6, palette.INK, zorder=7.0)


def _stroke(axes: Axes, lines: list[Any], width: float, colour: str, style: Any, order: float) -> None:
    for wide, ink, at in ((width + 2.0, palette.CASING, order), (width, colour, order + 0.1)):
        axes.add_collection(
            LineCollection(lines, colors=ink, linewidths=wide, linestyles=[style], zorder=at), autolim=False
        )


def _lines(pen: Pen, rect: Rect, said: list[str]) -> None:
    """Write lines from the top of a rectangle down, wrapped, as many as fit."""
    y = rect.top
    for text in said:
        for line in pen.wrapped(text, _BODY, rect.width):
            y -= _LINE_IN
            if y < rect.bottom - 1e-6:
                return
            pen.write(rect.left, y, line, _BODY, palette.INK, gid="fact")


def _head(pen: Pen, rect: Rect, badge: str, title: str) -> None:
    wide = max(0.26, pen.width(badge, 9.0, bold=True) + 0.12)
    box = Rect(rect.left, rect.top - 0.24, wide, 0.22)
    pen.box(box, facecolor=palette.RUN, edgecolor=palette.RUN)
    pen.write(
        box.left + wide / 2.0, box.bottom + 0.11, badge, 9.0, palette.CASING, bold=True, ha="center",
        va="center_baseline",
    )  # fmt: skip
    pen.write(
        box.right + 0.08, rect.top - 0.19, pen.fitted(title, 9.0, rect.width - wide - 0.1, bold=True), 9.0,
        palette.INK, bold=True, gid="card",
    )  # fmt: skip


def leg_words(leg: LegFacts) -> list[str]:
    """Say what a leg card says below its drawing."""
    said = [f"{leg.distance}, {leg.time}"]
    if leg.courses:
        said.append("Courses: " + ", then ".join(leg.courses[:5]) + (", ..." if len(leg.courses) > 5 else ""))
    if leg.depth:
        said.append(f"Least depth today {leg.depth}")
    if leg.hazard:
        said.append(f"Nearest: {leg.hazard}")
    said += [f"{what} {where}" for what, where in (("Slow zone", leg.slow), ("Idle", leg.idle)) if where]
    return said


def draw_leg_card(pen: Pen, rect: Rect, leg: LegFacts, frames: Mapping[str, gpd.GeoDataFrame]) -> None:
    """Draw one leg, its course up and the boat low on the card.

    Parameters
    ----------
    pen, rect
        The page, whose height is set by then, and the place of the card on it.
    leg
        The leg.
    frames
        Ground of the lake by role, for the drawing.
    """
    said = leg_words(leg)
    low = _LINE_IN * sum(len(pen.wrapped(text, _BODY, rect.width)) for text in said) + 0.06
    window = Rect(rect.left, rect.bottom + low, rect.width, rect.height - _HEAD_IN - low)
    _head(pen, rect, str(leg.number), f"{leg.start} to {leg.goal}")
    if leg.line is not None and window.height > 0.8:
        start = shapely.get_coordinates(leg.line)[0]
        centre = (float(start[0]), float(start[1]))
        turned = turned_points(shapely.get_coordinates(leg.line), centre, leg.course_deg)
        view = _view(window, turned)
        axes = map_axes(pen.figure, view)
        west, east, south, north = view.limits
        draw_ground(
            axes,
            cut_and_turned(
                frames, (west, south, east, north), centre, leg.course_deg, _DETAIL_IN * view.metres_per_inch
            ),
            view,
        )
        for part, piece in leg.pieces:
            style = "solid" if part == "run" else palette.IDLE_DASHES
            _stroke(
                axes, [turned_points(shapely.get_coordinates(piece), centre, leg.course_deg)], 2.0, palette.RUN,
                style, 4.0,
            )  # fmt: skip
        axes.add_collection(draw_marks("spot", turned[[-1]], axes.transData, 5.0), autolim=False)
        axes.add_collection(draw_marks("hold", turned[[0]], axes.transData, 5.1), autolim=False)
        _north(pen, window.right - 0.25, window.top - 0.3, leg.course_deg)
        _scale(pen, view)
    _lines(pen, Rect(rect.left, rect.bottom, rect.width, low - 0.04), said)


def hold_words(stop: StopFacts) -> list[str]:
    """Say what a hold card says below its drawing."""
    said = []
    if stop.what or stop.kind:
        said.append(stop.what or stop.kind)
    if stop.hold:
        said.append(f"Boat in {stop.hold} today; spot {stop.depth or 'depth not known'}")
    if stop.cast:
        said.append(f"Cast {stop.cast}" + (f"; deep side {stop.deep_side}" if stop.deep_side else ""))
    wind = ", ".join(
        text for text in (stop.wind and f"Wind {stop.wind}", stop.wave and f"waves {stop.wave}") if text
    )
    said += [wind] if wind else []
    said += [stop.note] if stop.note and stop.note != stop.what else []
    times = f"{stop.arrive} to {stop.leave}" if stop.arrive and stop.leave else ""
    if stop.turn_back:
        times += f"; turn back by {stop.turn_back}"
    said += [times] if times else []
    said += [f"Plan B: {stop.plan_b}"] if stop.plan_b else []
    return said


def draw_hold_card(
    pen: Pen,
    rect: Rect,
    stop: StopFacts,
    hold: Any,
    spot: Any,
    frames: Mapping[str, gpd.GeoDataFrame],
    deep_deg: float,
) -> None:
    """Draw one hold and its spot large, north up, with the cast and the deep side."""
    said = hold_words(stop)
    low = _LINE_IN * sum(len(pen.wrapped(text, _BODY, rect.width)) for text in said) + 0.06
    window = Rect(rect.left, rect.bottom + low, rect.width, rect.height - _HEAD_IN - low)
    _head(pen, rect, stop.number, stop.name)
    if window.height > 0.8:
        at = np.array([hold.x, hold.y])
        target = shapely.get_coordinates(shapely.shortest_line(hold, spot))[-1]
        middle = (at + target) / 2.0
        half = max(_HOLD_HALF_M, 1.25 * float(np.max(np.abs(target - at))))
        scale = 2.0 * half / min(window.width, window.height)
        view = View(
            window, middle[0] - scale * window.width / 2.0, middle[1] - scale * window.height / 2.0, scale
        )
        axes = map_axes(pen.figure, view)
        west, east, south, north = view.limits
        near = cut_and_turned(
            frames, (west, south, east, north), (float(at[0]), float(at[1])), 0.0, _DETAIL_IN * scale
        )
        draw_ground(axes, near, view)
        if "isobaths" in near:
            lines = [
                shapely.get_coordinates(line)
                for line in shapely.get_parts(near["isobaths"].geometry.to_numpy())
            ]
            axes.add_collection(
                LineCollection(lines, colors=palette.QUIET, linewidths=0.5, alpha=0.8, zorder=2.6),
                autolim=False,
            )
        if spot.geom_type != "Point":
            edge = [
                shapely.get_coordinates(ring)
                for ring in shapely.get_parts(shapely.boundary(spot) if spot.area else spot)
            ]
            _stroke(axes, edge, 1.2, palette.INK, "solid", 4.0)
        _stroke(axes, [np.array([at, target])], 1.4, palette.CAST, "solid", 4.2)
        axes.add_collection(draw_marks("spot", target[None], axes.transData, 5.0), autolim=False)
        axes.add_collection(draw_marks("hold", at[None], axes.transData, 5.1), autolim=False)
        _north(pen, window.right - 0.2, window.top - 0.32, 0.0)
        if math.isfinite(deep_deg):
            angle = np.radians(deep_deg)
            tip = at + half * 0.4 * np.array([np.sin(angle), np.cos(angle)])
            _stroke(axes, [np.array([at, tip])], 0.9, palette.QUIET, (0, (4, 2)), 4.1)
            x, y = view.on_page(tip[None])[0]
            if window.left + 0.2 < x < window.right - 0.2 and window.bottom + 0.1 < y < window.top - 0.1:
                pen.write(x, y, f"deep {bearing_text(deep_deg)}", 5.8, palette.QUIET, ha="center", zorder=6.0)
        _scale(pen, view)
    _lines(pen, Rect(rect.left, rect.bottom, rect.width, low - 0.04), said)
