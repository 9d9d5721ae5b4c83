"""The first page of a sheet, for whoever comes along: when and where, what the day holds, the lake with its stops."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from matplotlib.collections import LineCollection

from ...text import boat_position, both_distances, both_speeds, both_waves, number
from ...units import compass_point
from ..formats import palette
from ..maps.chart_ground import draw_ground
from ..maps.chart_key import wind_of
from ..maps.chart_page import (
    CARD_SIZE,
    CAUTION_LINE_IN,
    CAUTION_SIZE,
    Rect,
    blank_page,
    bounds_of,
    caution_lines,
    fit,
    map_axes,
    write_cautions,
)
from ..maps.labels import Wish, leader_end, place_labels

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.figure import Figure

    from ..maps.chart_ground import BandColours
    from ..maps.chart_page import View
    from ..maps.draughting import Pen
    from ..maps.plan_facts import LegFacts, StopFacts

    Frames = Mapping[str, gpd.GeoDataFrame]

_EDGE: Final = 0.4
_LINE_IN: Final = 0.175
_PAIRS_A_ROW: Final = 3
_NAMED: Final = 9.5
_LEAST_MAP_IN: Final = 2.5


def expectations(
    frames: Frames, legs: Sequence[LegFacts], stops: Sequence[StopFacts], *, metric: bool
) -> list[str]:
    """Say what the day holds for whoever comes along: where to meet, the longest way, wind and waves, casts."""
    said = []
    ramp = frames.get("stops")
    if ramp is not None and len(ramp) and stops and stops[0].ramp:
        first = ramp.sort_values("stop_no", kind="stable").geometry.iloc[[0]].to_crs("EPSG:4326").iloc[0]
        when = f" at {stops[0].leave}" if stops[0].leave else ""
        said.append(f"Meet at {stops[0].name}{when}: {boat_position(first.x, first.y)}.")
    ways = frames.get("legs")
    if ways is not None and len(ways) and legs:
        by_leg = ways.groupby("leg_no")["time_s"].sum()
        longest = next((one for one in legs if one.number == int(by_leg.idxmax())), None)
        if longest is not None:
            said.append(f"The longest way is leg {longest.number}: {longest.distance}, {longest.time}.")
    wind = wind_of(frames)
    if wind is not None:
        _, high, coming = wind
        said.append(f"Wind {both_speeds(high, metric_first=metric)} from {compass_point(coming)}.")
    waves = [number(value) for value in ramp["wave_m"]] if ramp is not None and "wave_m" in ramp else []
    if known := [value for value in waves if math.isfinite(value)]:
        said.append(f"Waves at the stops up to {both_waves(max(known), metric_first=metric)}.")
    holds, chosen = frames.get("holds"), {stop.spot_id for stop in stops}
    if holds is not None and len(holds):
        thrown = [number(value) for value in holds.loc[holds["spot_id"].isin(chosen), "cast_m"]]
        if known := [value for value in thrown if math.isfinite(value)]:
            said.append(f"Casts of up to {both_distances(max(known), metric_first=metric)}.")
    return said


def _overview(pen: Pen, rect: Rect, frames: Frames, ground: Frames, colours: BandColours) -> None:
    view = fit(bounds_of(frames), rect)
    axes = map_axes(pen.figure, view)
    draw_ground(axes, ground, view, colours=colours)
    legs = frames.get("legs")
    way = [] if legs is None else [shapely.get_coordinates(line) for line in legs.geometry]
    for width, ink, order in ((3.0, palette.CASING, 4.0), (1.4, palette.RUN, 4.1)):
        axes.add_collection(LineCollection(way, colors=ink, linewidths=width, zorder=order), autolim=False)
    _numbers(pen, view, frames["stops"], way)


def _numbers(pen: Pen, view: View, stops: gpd.GeoDataFrame, way: Sequence[np.ndarray]) -> None:
    """Write their numbers at the stops, both of a ramp at both ends in one."""
    at: dict[tuple[float, float], list[str]] = {}
    for row, point in zip(stops["stop_no"], stops.geometry, strict=True):
        at.setdefault((round(point.x, 2), round(point.y, 2)), []).append(f"{number(row):.0f}")
    places = view.on_page(np.array(list(at)))
    texts = ["·".join(told) for told in at.values()]
    wishes = [
        Wish(float(x), float(y), ((pen.width(text, CARD_SIZE, bold=True) + 0.09, 0.17),), 0.04, 0.9)
        for text, (x, y) in zip(texts, places, strict=True)
    ]
    rect = view.rect
    soft = np.vstack([view.on_page(line) for line in way]) if way else np.empty((0, 2))
    found = place_labels(
        wishes,
        frame=(rect.left + 0.02, rect.bottom + 0.02, rect.right - 0.02, rect.top - 0.02),
        hard=np.array([(x - 0.04, y - 0.04, x + 0.04, y + 0.04) for x, y in places.tolist()]),
        soft=soft,
    )
    for text, (x, y), place in zip(texts, places.tolist(), found, strict=True):
        pen.box(
            Rect(x - 0.035, y - 0.035, 0.07, 0.07),
            facecolor=palette.HOLD,
            edgecolor=palette.INK,
            linewidth=0.6,
            zorder=5.0,
        )
        if place is None:
            continue
        west, south, east, north = place.box
        if place.leader:
            end = leader_end(x, y, place.box)
            pen.line([x, end[0]], [y, end[1]], color=palette.INK, linewidth=0.7, zorder=5.1)
        pen.box(
            Rect(west, south, east - west, north - south),
            facecolor=palette.PAPER,
            edgecolor=palette.INK,
            linewidth=0.5,
            zorder=6.0,
            gid="label:stop",
        )
        pen.write(
            (west + east) / 2.0,
            (south + north) / 2.0,
            text,
            CARD_SIZE,
            palette.INK,
            bold=True,
            ha="center",
            va="center_baseline",
            zorder=6.1,
            gid="text:stop",
        )


def _list_of_stops(pen: Pen, left: float, top: float, wide: float, stops: Sequence[StopFacts]) -> float:
    """Write the stops with their times in two columns; tells where they end."""
    each = -(-len(stops) // 2)
    column = (wide - 0.3) / 2.0
    times = [" to ".join(text for text in (stop.arrive, stop.leave) if text) for stop in stops]
    clock = max((pen.width(text, CARD_SIZE) for text in times), default=0.0)
    digits = max((pen.width(stop.number, CARD_SIZE, bold=True) for stop in stops), default=0.0)
    for k, (stop, when) in enumerate(zip(stops, times, strict=True)):
        x = left + (column + 0.3) * (k // each)
        y = top - _LINE_IN * (k % each + 1)
        pen.write(x, y, stop.number, CARD_SIZE, palette.INK, bold=True, gid="fact")
        pen.write(x + digits + 0.1, y, when, CARD_SIZE, palette.INK, gid="fact")
        start = x + digits + (clock + 0.3 if clock else 0.1)
        what = ", ".join(text for text in (stop.name, stop.kind) if text)
        pen.write(
            start, y, pen.fitted(what, CARD_SIZE, x + column - start), CARD_SIZE, palette.INK, gid="fact"
        )
    return top - _LINE_IN * each


def draw_summary(
    frames: Frames,
    ground: Frames,
    colours: BandColours,
    stops: Sequence[StopFacts],
    legs: Sequence[LegFacts],
    totals: Sequence[tuple[str, str]],
    *,
    title: str,
    level: str,
    metric: bool,
    paper: tuple[float, float],
    width_px: int,
) -> Figure:
    """Draw the page for whoever comes along.

    Parameters
    ----------
    frames, ground
        Layers of the plan by role, and those of the ground made ready.
    colours
        Colours of the depth bands of the whole lake.
    stops, legs, totals
        Facts of the plan.
    title, level
        Heading, and what level and day the depths stand for.
    metric
        Whether metres come before feet.
    paper, width_px
        Width and height of the page in inches, and its width as a picture.
    """
    wide, high = paper
    inner = wide - 2.0 * _EDGE
    figure, pen = blank_page(wide, width_px)
    figure.set_size_inches(*paper)
    y = high - _EDGE - 0.22
    pen.write(_EDGE, y, pen.fitted(title, 18.0, inner, bold=True), 18.0, palette.INK, bold=True, gid="title")
    for line in pen.wrapped(level, CARD_SIZE, inner):
        y -= _LINE_IN + 0.04
        pen.write(_EDGE, y, line, CARD_SIZE, palette.INK, gid="level")
    each = inner / _PAIRS_A_ROW
    for k, (what, value) in enumerate(totals):
        row, column = divmod(k, _PAIRS_A_ROW)
        x, base = _EDGE + each * column, y - 0.28 - 0.42 * row
        pen.write(x, base, what, CARD_SIZE, palette.QUIET, gid="fact")
        size = next(
            (one for one in (12.0, 11.0, 10.0) if pen.width(value, one, bold=True) <= each - 0.1), CARD_SIZE
        )
        pen.write(
            x,
            base - 0.19,
            pen.fitted(value, size, each - 0.1, bold=True),
            size,
            palette.INK,
            bold=True,
            gid="fact",
        )
    y -= 0.12 + 0.42 * -(-len(totals) // _PAIRS_A_ROW)
    foot = caution_lines(pen, inner, CAUTION_SIZE)
    bottom = 0.15 + CAUTION_LINE_IN * len(foot) + 0.12
    write_cautions(pen, foot, _EDGE, 0.15, size=CAUTION_SIZE, line_in=CAUTION_LINE_IN)
    said = [
        line
        for text in expectations(frames, legs, stops, metric=metric)
        for line in pen.wrapped(text, CARD_SIZE, inner)
    ]
    listed = _LINE_IN * (-(-len(stops) // 2) + len(said)) + 0.75
    map_high = max(y - bottom - listed, _LEAST_MAP_IN)
    rect = Rect(_EDGE, y - 0.16 - map_high, inner, map_high)
    _overview(pen, rect, frames, ground, colours)
    y = rect.bottom - 0.25
    pen.write(_EDGE, y, "Stops", _NAMED, palette.INK, bold=True, gid="caption")
    y = _list_of_stops(pen, _EDGE, y - 0.02, inner, stops) - 0.24
    pen.write(_EDGE, y, "What to expect", _NAMED, palette.INK, bold=True, gid="caption")
    for line in said:
        y -= _LINE_IN
        pen.write(_EDGE, y, line, CARD_SIZE, palette.INK, gid="fact")
    return figure
