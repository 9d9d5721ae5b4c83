"""Cards to tape beside the wheel: each leg drawn course-up with the boat low on the card; each hold drawn large."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.collections import LineCollection
from matplotlib.patches import Circle, PathPatch, Polygon

from ...lon_lat import grid_north_deg
from ...text import bearing_text
from ...units import FOOT_M
from ..formats import palette
from ..maps.chart_ground import BandColours, draw_ground
from ..maps.chart_key import nice
from ..maps.chart_marks import draw_marks
from ..maps.chart_page import CARD_SIZE, MAP_SIZE, Rect, View, map_axes
from ..maps.draughting import drawable, strokes_of
from ..maps.labels import Wish, leader_end, place_labels
from .course_up import cut_and_turned, turned_points
from .wind_hours import draw_arrow

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from ...arrays import Floats
    from ..maps.draughting import Pen
    from ..maps.plan_facts import LegFacts, StopFacts

    Box = tuple[float, float, float, float]

_HEAD_IN: Final = 0.34
_LINE_IN: Final = 0.165
_BODY: Final = CARD_SIZE
_LOW: Final = 0.14  # share of a card below the boat: most of it is water ahead
_SIDES: Final = 0.1
_LEAST_HIGH_M: Final = 250.0
_HOLD_HALF_M: Final = 45.0
_DETAIL_IN: Final = 0.007
_GROUND_M: Final = 1.0  # no outline of the ground is surer than this
_TITLES: Final = (11.0, 10.0, 9.0)  # sizes a title may have
_TOOL_IN: Final = 0.31  # half the room of the arrow to north, however it is turned
_MOST_DEPTHS: Final = 6
_DEPTH_SIZE: Final = MAP_SIZE
_TURN_GAP_IN: Final = 0.1  # between the columns of the table of turns


@dataclass(frozen=True)
class HoldCard:
    """What a hold card draws: where the boat sits, what it fishes, the deep side and where the wind comes from.

    The cast is a line from the boat to where it is aimed: at the edge of a hump's top, not at the mark in its middle.
    """

    hold: Any
    spot: Any
    cast: Any
    # true bearings
    deep_deg: float
    wind_from_deg: float


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


def _tag(
    pen: Pen, x: float, y: float, text: str, size: float, *, bold: bool = False, gid: str = "tag"
) -> tuple[float, float, float, float]:
    """Write words centred at a place on a small piece of paper, so that they read on any ground; tells its box."""
    wide, high = pen.width(text, size, bold=bold) + 0.05, size / 72.0 + 0.02
    box = (x - wide / 2.0, y - high / 2.0, x + wide / 2.0, y + high / 2.0)
    pen.box(Rect(box[0], box[1], wide, high), facecolor=palette.PAPER, alpha=0.82, linewidth=0.0, zorder=6.9)
    pen.write(
        x, y, text, size, palette.INK, bold=bold, ha="center", va="center_baseline", zorder=7.0, gid=gid
    )
    return box


def _north(pen: Pen, x: float, y: float, course_deg: float) -> tuple[float, float, float, float]:
    """Draw a small arrow to true north on a turned card; tells the box that holds it however it is turned."""
    angle = np.radians(-course_deg)
    along = np.array([np.sin(angle), np.cos(angle)])
    side = np.array([along[1], -along[0]])
    at = np.array([x, y])
    pen.shape(
        Polygon(
            [at + 0.15 * along, at - 0.09 * along + 0.06 * side, at - 0.05 * along, at - 0.09 * along - 0.06 * side],
            facecolor=palette.INK, edgecolor=palette.CASING, linewidth=1.2, zorder=7.0,
        )
    )  # fmt: skip
    tip = at + 0.23 * along
    _tag(pen, float(tip[0]), float(tip[1]), "N", MAP_SIZE, bold=True)
    return x - _TOOL_IN, y - _TOOL_IN, x + _TOOL_IN, y + _TOOL_IN


def _scale(pen: Pen, view: View) -> tuple[float, float, float, float]:
    """Draw a bar of a round number of feet and metres in the lower left corner; tells its box."""
    rect = view.rect
    room = 0.3 * rect.width * view.metres_per_inch
    x, y = rect.left + 0.08, rect.bottom + 0.1
    east = x
    for unit, word, up in ((1.0, "m", 0.0), (FOOT_M, "ft", 0.15)):
        size = nice(room / unit)
        end = x + size * unit / view.metres_per_inch
        pen.line([x, end], [y + up, y + up], color=palette.CASING, linewidth=3.2, zorder=6.9)
        pen.line([x, end], [y + up, y + up], color=palette.INK, linewidth=1.3, zorder=7.0)
        words = f"{size:g} {word}"
        box = _tag(pen, end + 0.04 + pen.width(words, MAP_SIZE) / 2.0, y + up, words, MAP_SIZE)
        east = max(east, box[2])
    return rect.left, rect.bottom, east, y + 0.24


def _stroke(
    axes: Axes, lines: list[Any], width: float, colour: str, style: Any, order: float, gid: str = ""
) -> None:
    for wide, ink, at in ((width + 2.0, palette.CASING, order), (width, colour, order + 0.1)):
        axes.add_collection(
            LineCollection(
                lines, colors=ink, linewidths=wide, linestyles=[style], zorder=at, gid=gid or None
            ),
            autolim=False,
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
    """Write number and title of a card; a long title gets smaller letters before it is cut."""
    wide = max(0.3, pen.width(badge, 10.0, bold=True) + 0.12)
    box = Rect(rect.left, rect.top - 0.26, wide, 0.24)
    pen.box(box, facecolor=palette.RUN, edgecolor=palette.RUN)
    pen.write(
        box.left + wide / 2.0, box.bottom + 0.12, badge, 10.0, palette.CASING, bold=True, ha="center",
        va="center_baseline",
    )  # fmt: skip
    room = rect.width - wide - 0.1
    shown = drawable(title)
    size = next((one for one in _TITLES if pen.width(shown, one, bold=True) <= room), _TITLES[-1])
    pen.write(
        box.right + 0.08, rect.top - 0.19, pen.fitted(shown, size, room, bold=True), size, palette.INK, bold=True,
        gid="card",
    )  # fmt: skip


def leg_words(leg: LegFacts) -> list[str]:
    """Say what a leg card says below its drawing; its courses stand in the table of turns."""
    said = [f"{leg.distance}, {leg.time}"]
    if leg.depth:
        said.append(f"Least depth today {leg.depth}")
    if leg.hazard:
        said.append(f"Nearest: {leg.hazard}")
    said += [f"{what} {where}" for what, where in (("Slow zone", leg.slow), ("Idle", leg.idle)) if where]
    return said


def _turn_rows(leg: LegFacts) -> list[tuple[str, str, str]]:
    rows = [(turn.number, turn.course, f"{turn.distance} {turn.how}".strip()) for turn in leg.turns]
    return [*rows[:-1], ("end", *rows[-1][1:])] if rows else []


def _turn_table(pen: Pen, rect: Rect, rows: Sequence[tuple[str, str, str]]) -> None:
    """Write the table of turns: number, true course and distance to each, as many as there is room for."""
    fits = int(rect.height / _LINE_IN) - 1
    shown = list(rows) if len(rows) <= fits else list(rows[: max(fits - 1, 0)])
    wides = [
        max(pen.width(cell, _BODY, bold=k == 0) for cell in column)
        for k, column in enumerate(zip(("to", "course", ""), *rows, strict=True))
    ]
    lefts = [rect.left, rect.left + wides[0] + _TURN_GAP_IN]
    lefts.append(lefts[1] + wides[1] + _TURN_GAP_IN)
    y = rect.top - _LINE_IN
    for left, word in zip(lefts, ("to", "course", "way"), strict=True):
        pen.write(left, y, word, _BODY, palette.QUIET, gid="fact")
    for row in shown:
        y -= _LINE_IN
        for k, (left, cell) in enumerate(zip(lefts, row, strict=True)):
            pen.write(left, y, cell, _BODY, palette.INK, bold=k == 0, gid="turn")
    if len(shown) < len(rows):
        pen.write(
            lefts[0], y - _LINE_IN, f"and {len(rows) - len(shown)} more", _BODY, palette.INK, gid="fact"
        )


def _turn_table_in(pen: Pen, rows: Sequence[tuple[str, str, str]]) -> float:
    """Width of the table of turns."""
    if not rows:
        return 0.0
    heads = [("to", "course", "way"), *rows]
    return 2.0 * _TURN_GAP_IN + sum(
        max(pen.width(cell, _BODY, bold=k == 0) for cell in column)
        for k, column in enumerate(zip(*heads, strict=True))
    )


def _number_turns(pen: Pen, view: View, turned: Floats, leg: LegFacts, way: Floats, hard: list[Box]) -> None:
    """Write its number beside each turn of the drawing, so that none covers another."""
    told = [(turn.number, turn) for turn in leg.turns if turn.number]
    if not told:
        return
    at = view.on_page(turned)
    wishes = [
        Wish(
            float(x), float(y),
            ((pen.width(number, MAP_SIZE, bold=True) + 0.06, MAP_SIZE / 72.0 + 0.03),), 0.05, 0.5,
        )
        for (number, _), (x, y) in zip(told, at, strict=True)
    ]  # fmt: skip
    rect = view.rect
    frame = (rect.left + 0.02, rect.bottom + 0.02, rect.right - 0.02, rect.top - 0.02)
    marks = [(x - 0.03, y - 0.03, x + 0.03, y + 0.03) for x, y in at.tolist()]
    places = place_labels(wishes, frame=frame, hard=np.array([*hard, *marks]), soft=way)
    for (number, _), (x, y), place in zip(told, at.tolist(), places, strict=True):
        pen.shape(
            Circle((x, y), 0.028, facecolor=palette.CASING, edgecolor=palette.RUN, linewidth=0.9, zorder=5.2)
        )
        if place is None:
            continue
        west, south, east, north = place.box
        if place.leader:
            end = leader_end(x, y, place.box)
            pen.line([x, end[0]], [y, end[1]], color=palette.INK, linewidth=0.6, zorder=5.15)
        pen.box(Rect(west, south, east - west, north - south), facecolor=palette.PAPER, edgecolor=palette.INK,
                linewidth=0.4, zorder=6.0, gid="label:turn")  # fmt: skip
        pen.write((west + east) / 2.0, (south + north) / 2.0, number, MAP_SIZE, palette.INK, bold=True, ha="center",
                  va="center_baseline", zorder=6.1, gid="number")  # fmt: skip


def draw_leg_card(
    pen: Pen, rect: Rect, leg: LegFacts, frames: Mapping[str, gpd.GeoDataFrame], colours: BandColours
) -> None:
    """Draw one leg, its course up and the boat low on the card.

    Parameters
    ----------
    pen, rect
        The page, whose height is set by then, and the place of the card on it.
    leg
        The leg.
    frames
        Ground of the lake by role, for the drawing.
    colours
        Colours of the depth bands of the whole lake.
    """
    said = leg_words(leg)
    low = _LINE_IN * sum(len(pen.wrapped(text, _BODY, rect.width)) for text in said) + 0.06
    rows = _turn_rows(leg)
    aside = min(_turn_table_in(pen, rows) + 0.1, 0.55 * rect.width) if rows else 0.0
    window = Rect(rect.left, rect.bottom + low, rect.width - aside, rect.height - _HEAD_IN - low)
    _head(pen, rect, str(leg.number), f"{leg.start} to {leg.goal}")
    if rows:
        _turn_table(pen, Rect(window.right + 0.1, window.bottom, aside - 0.1, window.height), rows)
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
                frames,
                (west, south, east, north),
                centre,
                leg.course_deg,
                _DETAIL_IN * view.metres_per_inch,
                ground_m=_GROUND_M,
            ),
            view,
            colours=colours,
        )
        for part, piece in leg.pieces:
            style = "solid" if part == "run" else palette.IDLE_DASHES
            _stroke(
                axes, [turned_points(shapely.get_coordinates(piece), centre, leg.course_deg)], 2.0, palette.RUN,
                style, 4.0,
            )  # fmt: skip
        axes.add_collection(draw_marks("spot", turned[[-1]], axes.transData, 5.0), autolim=False)
        axes.add_collection(draw_marks("hold", turned[[0]], axes.transData, 5.1), autolim=False)
        corner, way = window.top - _TOOL_IN, view.on_page(turned)
        sides = (window.right - _TOOL_IN, window.left + _TOOL_IN)
        north = float(grid_north_deg(next(iter(frames.values())).crs, *start)[0]) if frames else 0.0
        side = max(sides, key=lambda x: float(np.hypot(*(way - (x, corner)).T).min()))
        tools = [_north(pen, side, corner, leg.course_deg + north), _scale(pen, view)]
        places = np.array([(turn.x, turn.y) for turn in leg.turns if turn.number]).reshape(-1, 2)
        _number_turns(pen, view, turned_points(places, centre, leg.course_deg), leg, way, tools)
    _lines(pen, Rect(rect.left, rect.bottom, rect.width, low - 0.04), said)


def hold_words(stop: StopFacts) -> list[str]:
    """Say what a hold card says below its drawing."""
    times = f"{stop.arrive} to {stop.leave}" if stop.arrive and stop.leave else ""
    if stop.turn_back:
        times += f"; turn back by {stop.turn_back}"
    what = stop.what or stop.kind
    said = [", ".join(text for text in (what[:1].upper() + what[1:], times) if text)]
    if stop.hold:
        said.append(f"Boat in {stop.hold} today; spot {stop.depth or 'depth not known'}")
    if stop.cast:
        said.append(f"Cast {stop.cast}" + (f"; deep side {stop.deep_side}" if stop.deep_side else ""))
    said += [stop.deep_note[:1].upper() + stop.deep_note[1:]] if stop.deep_note else []
    wind = ", ".join(
        text for text in (stop.wind and f"Wind {stop.wind}", stop.wave and f"waves {stop.wave}") if text
    )
    said += [wind] if wind else []
    said += [stop.note] if stop.note and stop.note != stop.what else []
    said += [f"Plan B: {stop.plan_b}"] if stop.plan_b else []
    said += [f"Hold at {stop.place}"] if stop.place else []
    return [text for text in said if text]


def _isobath_labels(
    pen: Pen,
    view: View,
    lines: gpd.GeoDataFrame,
    taken: list[tuple[float, float, float, float]],
    *,
    metric: bool,
) -> None:
    """Write its depth on some isobaths, round ones first, where nothing else stands."""
    unit, round_to = (1.0, 5.0) if metric else (FOOT_M, 10.0)
    parts, rows = shapely.get_parts(lines.geometry.to_numpy(), return_index=True)
    told = np.round(lines["depth_m"].to_numpy()[rows] / unit, 2)
    order = np.lexsort((-shapely.length(parts), told % round_to != 0.0))
    rect = view.rect
    boxes = list(taken)
    done: set[float] = set()
    for k in order:
        if len(done) >= _MOST_DEPTHS or told[k] in done:
            continue
        words = f"{told[k]:g}"
        wide, high = pen.width(words, _DEPTH_SIZE) / 2.0 + 0.06, 0.08
        for x, y in view.on_page(
            shapely.get_coordinates(shapely.segmentize(parts[k], 0.1 * view.metres_per_inch))
        ):
            inside = rect.left + wide < x < rect.right - wide and rect.bottom + high < y < rect.top - high
            if inside and all(
                x + wide < w or x - wide > e or y + high < s or y - high > n for w, s, e, n in boxes
            ):
                _tag(pen, float(x), float(y), words, _DEPTH_SIZE, gid="isobath")
                boxes.append((x - wide, y - high, x + wide, y + high))
                done.add(told[k])
                break


def draw_hold_card(
    pen: Pen,
    rect: Rect,
    stop: StopFacts,
    card: HoldCard,
    frames: Mapping[str, gpd.GeoDataFrame],
    colours: BandColours,
    *,
    metric: bool,
) -> None:
    """Draw one hold and its spot large, north up, with the cast, the deep side, and the depths of isobaths.

    Parameters
    ----------
    pen, rect
        The page, whose height is set by then, and the place of the card on it.
    stop, card
        What is said and what is drawn.
    frames
        Ground of the lake by role, ``isobaths`` among it where today's depths are known.
    colours
        Colours of the depth bands of the whole lake.
    metric
        Whether isobaths are labelled in metres, not feet.
    """
    said = hold_words(stop)
    low = _LINE_IN * sum(len(pen.wrapped(text, _BODY, rect.width)) for text in said) + 0.06
    window = Rect(rect.left, rect.bottom + low, rect.width, rect.height - _HEAD_IN - low)
    _head(pen, rect, stop.number, stop.name)
    if window.height > 0.8:
        at = np.array([card.hold.x, card.hold.y])
        target = shapely.get_coordinates(card.cast)[-1]
        middle = (at + target) / 2.0
        half = max(_HOLD_HALF_M, 1.25 * float(np.max(np.abs(target - at))))
        scale = 2.0 * half / min(window.width, window.height)
        view = View(
            window, middle[0] - scale * window.width / 2.0, middle[1] - scale * window.height / 2.0, scale
        )
        axes = map_axes(pen.figure, view)
        west, east, south, north = view.limits
        near = cut_and_turned(
            frames,
            (west, south, east, north),
            (float(at[0]), float(at[1])),
            0.0,
            _DETAIL_IN * scale,
            ground_m=_GROUND_M,
        )
        draw_ground(axes, near, view, colours=colours)
        near_crs = next((frame.crs for frame in frames.values()), None)
        if "isobaths" in near:
            lines = [
                shapely.get_coordinates(line)
                for line in shapely.get_parts(near["isobaths"].geometry.to_numpy())
            ]
            axes.add_artist(
                PathPatch(
                    strokes_of(lines),
                    facecolor="none",
                    edgecolor=palette.QUIET,
                    linewidth=0.5,
                    alpha=0.8,
                    zorder=2.6,
                )
            )
        if card.spot.geom_type != "Point":
            edge = [
                shapely.get_coordinates(ring)
                for ring in shapely.get_parts(shapely.boundary(card.spot) if card.spot.area else card.spot)
            ]
            _stroke(axes, edge, 1.2, palette.INK, "solid", 4.0)
        _stroke(axes, [np.array([at, target])], 1.4, palette.CAST, "solid", 4.2, gid="cast")
        mark = shapely.get_coordinates(card.spot) if card.spot.geom_type == "Point" else target[None]
        axes.add_collection(draw_marks("spot", mark, axes.transData, 5.0), autolim=False)
        axes.add_collection(draw_marks("hold", at[None], axes.transData, 5.1), autolim=False)
        grid = float(grid_north_deg(near_crs, *at)[0]) if near_crs is not None else 0.0
        taken = [_north(pen, window.right - _TOOL_IN, window.top - _TOOL_IN, grid), _scale(pen, view)]
        if math.isfinite(card.wind_from_deg):
            x, y = window.right - _TOOL_IN, window.top - 2.0 * _TOOL_IN - 0.16
            taken.append(_tag(pen, x, y - 0.2, "wind", MAP_SIZE))
            draw_arrow(pen, x, y, card.wind_from_deg - grid, 0.26, palette.INK, edge=palette.CASING)
            taken.append((x - 0.16, y - 0.16, x + 0.16, y + 0.16))
        if math.isfinite(card.deep_deg):
            angle = np.radians(card.deep_deg - grid)
            tip = at + half * 0.4 * np.array([np.sin(angle), np.cos(angle)])
            _stroke(axes, [np.array([at, tip])], 0.9, palette.QUIET, (0, (4, 2)), 4.1)
            words = f"deep {bearing_text(card.deep_deg)}"
            x, y = view.on_page(tip[None])[0] + 0.13 * np.array([2.0 * np.sin(angle), np.cos(angle)])
            wide = pen.width(words, MAP_SIZE) / 2.0 + 0.05
            taken.append(
                _tag(
                    pen, float(np.clip(x, window.left + wide, window.right - wide)),
                    float(np.clip(y, window.bottom + 0.08, window.top - 0.08)), words, MAP_SIZE,
                )
            )  # fmt: skip
        way = view.on_page(np.linspace(at, target, 9))
        taken += [(x - 0.09, y - 0.09, x + 0.09, y + 0.09) for x, y in way.tolist()]
        if "isobaths" in near:
            _isobath_labels(pen, view, near["isobaths"], taken, metric=metric)
    _lines(pen, Rect(rect.left, rect.bottom, rect.width, low - 0.04), said)
