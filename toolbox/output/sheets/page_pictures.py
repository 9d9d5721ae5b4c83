"""The drawings that stand in the page itself, for readers without scripts and for paper: lake, holds, legs as SVG.

Their colours are classes of the page's style sheet, so that they follow light and dark. A unit is a quarter pixel.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from markupsafe import escape

from ...text import bearing_text
from ...units import FOOT_M
from .course_up import turned_points
from .page_map import Ground

if TYPE_CHECKING:
    import geopandas as gpd

    from ...arrays import Floats, Geometries

_FINE: Final = 4.0  # units to a pixel
_THIN_PX: Final = 0.6  # finer than this shows on no screen
_BAR_PX: Final = 90.0
_OFFSETS: Final = ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (1, 1), (-1, 1), (-1, -1))


@dataclass(frozen=True)
class Frame:
    """A window on the lake: size in pixels, what lies in its middle, pixels to a metre, and the course that is up."""

    wide: float
    high: float
    middle: tuple[float, float]
    scale: float
    course_deg: float = 0.0

    def placed(self, xy: Floats) -> Floats:
        """Pixels from the upper left corner."""
        turned = turned_points(np.asarray(xy, dtype=np.float64).reshape(-1, 2), self.middle, self.course_deg)
        return (turned - self.middle) * (self.scale, -self.scale) + (self.wide / 2.0, self.high / 2.0)

    def box(self) -> tuple[float, float, float, float]:
        """West, south, east and north of all that may show, turned or not."""
        half_x, half_y = self.wide / 2.0 / self.scale, self.high / 2.0 / self.scale
        if self.course_deg:
            half_x = half_y = math.hypot(half_x, half_y)
        x, y = self.middle
        return x - half_x, y - half_y, x + half_x, y + half_y


def path_of(shapes: Any, frame: Frame, *, clip: bool = True) -> str:
    """Write shapes as a path of steps in whole units."""
    shapes = np.asarray(shapes, dtype=object).ravel()
    if clip and len(shapes):
        shapes = shapely.clip_by_rect(shapes, *frame.box())
    parts = shapely.get_parts(shapely.simplify(shapes, _THIN_PX / frame.scale, preserve_topology=False))
    areas = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    lines = np.concatenate([shapely.get_rings(parts[areas]), parts[~areas]])
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    at = np.rint(_FINE * frame.placed(xy)).astype(np.int64)
    edges = np.flatnonzero(np.diff(owner, prepend=-1, append=-1))
    made: list[str] = []
    for first, last in pairwise(edges.tolist()):
        closed = shapely.get_type_id(lines[owner[first]]) == shapely.GeometryType.LINEARRING
        steps = np.diff(at[first : last - 1 if closed else last], axis=0)
        steps = steps[np.any(steps != 0, axis=1)]
        if len(steps) > closed:
            told = " ".join(map(str, steps.ravel().tolist()))
            made.append(f"M{at[first, 0]} {at[first, 1]}l{told}{'z' if closed else ''}".replace(" -", "-"))
    return "".join(made)


def _path(look: str, shapes: Any, frame: Frame, *, clip: bool = True) -> str:
    drawn = path_of(shapes, frame, clip=clip)
    return f'<path class="{look}" d="{drawn}"/>' if drawn else ""


def _words(x: float, y: float, text: str, look: str = "t") -> str:
    return f'<text class="{look}" x="{_FINE * x:.0f}" y="{_FINE * y:.0f}">{escape(text)}</text>'


def _svg(frame: Frame, inside: Sequence[str], said: str) -> str:
    size = f"{_FINE * frame.wide:.0f} {_FINE * frame.high:.0f}"
    return f'<svg viewBox="0 0 {size}" role="img" aria-label="{escape(said)}">{"".join(inside)}</svg>'


def ground_paths(
    ground: Ground, zones: gpd.GeoDataFrame | None, care: Sequence[str], frame: Frame
) -> list[str]:
    """Draw the lake within a window: land, water by depth, dry ground, what to keep out of, zones."""
    size = f'width="{_FINE * frame.wide:.0f}" height="{_FINE * frame.high:.0f}"'
    ground = ground.seen_at(_THIN_PX / frame.scale)
    made = [f'<rect class="land" {size}/>', _path("w0", ground.water, frame)]
    made += [_path(f"w{k}", shape, frame) for k, shape in enumerate(ground.deeper)]
    made += [_path("dry", ground.dry, frame)]
    kinds = np.array(list(care), dtype=object)
    for kind in dict.fromkeys(care):
        look = "thin-idle" if kind == "idle" else "thin-run"
        made += [_path(f"hazard {look}", ground.hazards[kinds == kind], frame)]
    made.append(_path("edge", ground.water, frame))
    if zones is not None:
        made += [
            _path(f"zone {kind if kind in {'slow', 'no_entry', 'no_motor'} else ''}", shape, frame)
            for kind, shape in zip(zones["zone"].astype(str), zones.geometry, strict=True)
        ]
    return made


def _bar(frame: Frame, *, metric: bool) -> list[str]:
    """Draw a bar of a round length in both units."""
    made, y = [], frame.high - 10.0
    units = ((1.0, "m"), (FOOT_M, "ft")) if metric else ((FOOT_M, "ft"), (1.0, "m"))
    for unit, word in units:
        most = _BAR_PX / frame.scale / unit
        power = 10.0 ** math.floor(math.log10(most))
        size = next(step * power for step in (5.0, 2.0, 1.0) if step * power <= most)
        long = size * unit * frame.scale
        box = f'x="{_FINE * 8:.0f}" y="{_FINE * (y - 3):.0f}" width="{_FINE * long:.0f}" height="{_FINE * 3:.0f}"'
        made += [f'<rect class="bar" {box}/>', _words(long + 14.0, y, f"{size:g} {word}", "t left")]
        y -= 15.0
    return made


def _arrow(x: float, y: float, toward_deg: float, word: str, look: str) -> str:
    turn = math.radians(toward_deg)
    along = np.array([math.sin(turn), -math.cos(turn)])
    side = np.array([-along[1], along[0]])
    at = np.array([x, y])
    tip, neck, tail = at + 13.0 * along, at + 2.0 * along, at - 13.0 * along
    shaft = [neck + 1.6 * side, tail + 1.6 * side, tail - 1.6 * side, neck - 1.6 * side]
    points = [tip, neck + 6.5 * side, *shaft, neck - 6.5 * side]
    drawn = " ".join(f"{_FINE * a:.0f},{_FINE * b:.0f}" for a, b in points)
    return f'<polygon class="{look}" points="{drawn}"/>{_words(x, y + 26.0, word)}'


def _boat(x: float, y: float) -> str:
    form = ((0.0, -9.0), (5.0, -2.4), (5.0, 7.2), (-5.0, 7.2), (-5.0, -2.4))
    points = " ".join(f"{_FINE * (x + a):.0f},{_FINE * (y + b):.0f}" for a, b in form)
    return f'<polygon class="hold" points="{points}"/>'


def _ring(x: float, y: float, radius: float, look: str) -> str:
    return f'<circle class="{look}" cx="{_FINE * x:.0f}" cy="{_FINE * y:.0f}" r="{_FINE * radius:.0f}"/>'


def _numbered(frame: Frame, places: Mapping[tuple[float, float], str], radius: float, look: str) -> list[str]:
    """Draw rings at places, each with its number beside it on a small piece of paper, no number on another."""
    taken: list[tuple[float, float, float]] = []
    marks, labels = [], []
    for (x, y), words in places.items():
        half = 6.0 + 4.5 * len(words)
        marks.append(_ring(x, y, radius, look))
        tries = [
            (
                min(max(x + a * (half + 5.0 + away), half), frame.wide - half),
                min(max(y + b * (17.0 + away), 10.0), frame.high - 10.0),
            )
            for away in (0.0, 14.0, 30.0, 50.0)
            for a, b in _OFFSETS
        ]  # fmt: skip
        free = [
            at for at in tries
            if all(abs(at[0] - u) > half + w or abs(at[1] - v) > 21.0 for u, v, w in taken)
            and all(abs(at[0] - u) > half + 5.0 or abs(at[1] - v) > 14.0 for u, v in places)
        ]  # fmt: skip
        u, v = (free or tries)[0]
        taken.append((u, v, half))
        ends = " ".join(f"{_FINE * one:.0f}" for one in (x, y, u, v))
        labels.append(f'<path class="lead" d="M{ends}"/>')
        left, top, wide, high = (f"{_FINE * one:.0f}" for one in (u - half, v - 10.0, 2.0 * half, 20.0))
        box = f'x="{left}" y="{top}" width="{wide}" height="{high}"'
        labels.append(f'<rect class="tag" {box} rx="12"/>{_words(u, v + 5.5, words, "t number")}')
    return [*marks, *labels]


def still_map(
    ground: Ground,
    around: Sequence[str],
    legs: Sequence[tuple[str, Any]],
    stops: Sequence[tuple[str, Any]],
    frame: Frame,
    *,
    metric: bool,
) -> str:
    """Draw the whole lake with run and numbered stops.

    Parameters
    ----------
    ground
        The lake.
    around
        What `ground_paths` drew of it.
    legs
        Part of a leg, and its line.
    stops
        Number of a stop, and its place.
    frame
        The window.
    metric
        Which unit comes first.
    """
    made = list(around)
    for look in ("case", "leg"):
        made += [
            _path(f"{look} {'' if part == 'run' else 'slowly'}", line, frame, clip=False)
            for part, line in legs
        ]
    places: dict[tuple[float, float], list[str]] = {}
    for told, point in stops:
        x, y = frame.placed(shapely.get_coordinates(point))[0].round(1).tolist()
        places.setdefault((x, y), []).append(told)
    made += _numbered(frame, {at: "·".join(numbers) for at, numbers in places.items()}, 4.0, "stop")
    made += _bar(frame, metric=metric)
    return _svg(
        frame, made, f"Map of the run: {len(stops)} stops on {ground.east - ground.west:.0f} m of lake"
    )


def frame_of(ground: Ground, wide: float) -> Frame:
    """Fit the whole lake into a picture of some width."""
    across, up = ground.east - ground.west, ground.north - ground.south
    high = min(max(wide * up / across, 0.4 * wide), 1.4 * wide)
    middle = ((ground.west + ground.east) / 2.0, (ground.south + ground.north) / 2.0)
    return Frame(wide, high, middle, min(wide / across, high / up))


def hold_picture(
    around: Sequence[str],
    frame: Frame,
    *,
    hold: Any,
    spot: Any,
    cast: Any,
    isobaths: gpd.GeoDataFrame | None,
    deep_deg: float,
    wind_from_deg: float,
    north_deg: float,
    metric: bool,
    said: str,
) -> str:
    """Draw a hold large, grid up: isobaths with their depths, the cast, the deep side, where the wind comes from.

    Bearings are true; ``north_deg`` is that of the grid's north, by which they are turned on the drawing.
    """
    made = list(around)
    unit = 1.0 if metric else FOOT_M
    taken = [
        tuple(frame.placed(shapely.get_coordinates(cast)).mean(axis=0)),
        (frame.wide - 30.0, 50.0),
        (50.0, frame.high - 20.0),
    ]
    if isobaths is not None and len(isobaths):
        lines = shapely.clip_by_rect(isobaths.geometry.to_numpy(), *frame.box())
        made.append(_path("iso", lines, frame, clip=False))
        made += _depths(lines, isobaths["depth_m"].to_numpy() / unit, frame, taken)
    if spot.geom_type != "Point":
        made.append(_path("rim", shapely.boundary(spot) if shapely.area(spot) else spot, frame, clip=False))
    made += [_path("castcase", cast, frame, clip=False), _path("cast", cast, frame, clip=False)]
    aim = frame.placed(shapely.get_coordinates(cast))[-1]
    mark = frame.placed(shapely.get_coordinates(spot))[0] if spot.geom_type == "Point" else aim
    at = frame.placed(shapely.get_coordinates(hold))[0]
    if math.isfinite(deep_deg):
        made.append(_deep(at, deep_deg, north_deg))
    made += [_ring(float(mark[0]), float(mark[1]), 4.0, "spot"), _boat(float(at[0]), float(at[1]))]
    made.append(_arrow(frame.wide - 24.0, 22.0, -north_deg, "N", "north"))
    if math.isfinite(wind_from_deg):
        made.append(_arrow(frame.wide - 24.0, 82.0, wind_from_deg - north_deg + 180.0, "wind", "north"))
    return _svg(frame, [*made, *_bar(frame, metric=metric)], said)


def _deep(at: Floats, deep_deg: float, north_deg: float) -> str:
    turn = math.radians(deep_deg - north_deg)
    end = at + 55.0 * np.array([math.sin(turn), -math.cos(turn)])
    ends = " ".join(f"{_FINE * one:.0f}" for one in (*at, *end))
    return f'<path class="deep" d="M{ends}"/>' + _words(
        float(end[0]), float(end[1]) + 4.0, f"deep {bearing_text(deep_deg)}"
    )


def _depths(lines: Geometries, told: Floats, frame: Frame, taken: list[Any]) -> list[str]:
    """Write depths on isobaths, the longest first, where nothing stands yet."""
    made: list[str] = []
    parts, rows = shapely.get_parts(lines, return_index=True)
    done: set[float] = set()
    for k in np.argsort(-shapely.length(parts)):
        depth = round(float(told[rows[k]]), 1)
        if len(done) >= 7 or depth in done:
            continue
        at = frame.placed(shapely.get_coordinates(shapely.segmentize(parts[k], 12.0 / frame.scale)))
        for x, y in at[:: max(1, len(at) // 24)].tolist():
            inside = 18.0 < x < frame.wide - 18.0 and 14.0 < y < frame.high - 14.0
            if inside and all(abs(x - u) > 34.0 or abs(y - v) > 20.0 for u, v in taken):
                made.append(_words(x, y + 4.0, f"{depth:g}", "t depth"))
                taken.append((x, y))
                done.add(depth)
                break
    return made


def leg_picture(
    around: Sequence[str],
    frame: Frame,
    pieces: Sequence[tuple[str, Any]],
    turns: Sequence[tuple[str, float, float]],
    *,
    north_deg: float,
    metric: bool,
    said: str,
) -> str:
    """Draw a leg, its course up, the boat low, its turns numbered."""
    made = list(around)
    for look in ("case", "leg"):
        made += [
            _path(f"{look} {'' if part == 'run' else 'slowly'}", line, frame, clip=False)
            for part, line in pieces
        ]
    ends = frame.placed(np.concatenate([shapely.get_coordinates(line) for _, line in pieces]))
    made += [
        _ring(float(ends[-1, 0]), float(ends[-1, 1]), 4.5, "spot"),
        _boat(float(ends[0, 0]), float(ends[0, 1])),
    ]
    made.append(_arrow(frame.wide - 24.0, 24.0, -frame.course_deg - north_deg, "N", "north"))
    if turns:
        at = frame.placed(np.array([place for _, *place in turns])).round(1).tolist()
        made += _numbered(
            frame, {(x, y): no for (no, *_), (x, y) in zip(turns, at, strict=True)}, 3.0, "turn"
        )
    return _svg(frame, [*made, *_bar(frame, metric=metric)], said)


def leg_frame(line: Any, course_deg: float, *, wide: float = 340.0, high: float = 420.0) -> Frame:
    """Fit a leg into a picture so that it starts low and runs up."""
    xy = shapely.get_coordinates(line)
    start = (float(xy[0, 0]), float(xy[0, 1]))
    turned = turned_points(xy, start, course_deg)
    west, south = turned.min(axis=0)
    east, north = turned.max(axis=0)
    across, up = max(east - west, 120.0), max(north - south, 200.0)
    scale = min((wide - 70.0) / across, (high - 60.0) / up)
    centre = turned_points(np.array([[(west + east) / 2.0, (south + north) / 2.0]]), start, -course_deg)[0]
    return Frame(wide, high, (float(centre[0]), float(centre[1])), scale, course_deg)
