"""The rules of a hold for a boat under way along a structure: at a place, and on the way from one place to the next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from .hold_rules import (
    ABOVE,
    ADRIFT,
    BLOCKED,
    CUT_OFF,
    HAZARD,
    OVER_OTHER,
    RULES,
    THIN,
    UNKNOWN,
    UPWIND,
    longest_cast_m,
)
from .least_depth import least_depth_along, least_depth_inside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .depth import DepthSurface
    from .hold_rules import Setting

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]
    Flags = NDArray[np.bool_]
    Bits = NDArray[np.uint32]
    Geometries = NDArray[np.object_]

ENDS: Final = 1 << 20
OTHER_SIDE: Final = 1 << 21
TOO_FAR: Final = 1 << 22
TOO_NEAR: Final = 1 << 23

BREAKS: Final[dict[int, str]] = {
    ENDS: "end of the structure",
    OTHER_SIDE: "the deep side is the other one",
    TOO_FAR: "the structure is out of a cast",
    TOO_NEAR: "the structure is nearer than the least cast",
    **RULES,
}
"""What a place or a way can break, in the order in which it is told."""

_EDGE_M: Final = 0.5  # how finely the water's edge is looked for on a cast
_CLOSE_M: Final = 0.5  # spacing of the places looked at on a way that is not plainly good
_ROOM_M: Final = 1.6  # from the least and longest cast, within which a way of three metres might break them


@dataclass(frozen=True, eq=False)
class Lay:
    """How places lie to the structure they fish; one entry a place.

    Attributes
    ----------
    aim_x, aim_y, cast_m
        The point of the structure nearest to each, and how far it is.
    depth_m, top_m
        Today's depth at the place, and of the structure's top.
    broken
        Sum of the keys of `BREAKS` that it breaks.
    """

    aim_x: Floats
    aim_y: Floats
    cast_m: Floats
    depth_m: Floats
    top_m: Floats
    broken: Bits


@dataclass(frozen=True, eq=False)
class Fished:
    """Structures that are fished, by row, in their setting; the same rows as those of the surroundings.

    Attributes
    ----------
    structures
        Their geometries.
    bottom_m, height_m
        Charted depth of the bottom under each (NaN: the surface's own), and height off the bottom.
    setting
        The lake on the day, the rules of a hold, and what to keep off.
    """

    structures: Geometries
    bottom_m: Floats
    height_m: Floats
    setting: Setting


def _all_deep(
    surface: DepthSurface, west_m: Floats, south_m: Floats, east_m: Floats, north_m: Floats, least_m: float
) -> Flags:
    """Tell for which boxes every cell centre with a share in them has at least a charted depth.

    A bilinear surface is nowhere less deep than its shallowest corner, so what passes needs no closer look. Boxes
    that reach beyond the grid do not pass.
    """
    if not len(west_m):
        return np.zeros(0, dtype=np.bool_)
    rows, columns = surface.shape
    left = np.floor((west_m - surface.west_m) / surface.cell_x_m - 0.5).astype(np.intp)
    right = np.ceil((east_m - surface.west_m) / surface.cell_x_m - 0.5).astype(np.intp)
    top = np.floor((surface.north_m - north_m) / surface.cell_y_m - 0.5).astype(np.intp)
    bottom = np.ceil((surface.north_m - south_m) / surface.cell_y_m - 0.5).astype(np.intp)
    passed = (left >= 0) & (top >= 0) & (right < columns) & (bottom < rows)
    left, top = left.clip(0, columns - 1), top.clip(0, rows - 1)
    right, bottom = right.clip(0, columns - 1), bottom.clip(0, rows - 1)
    for down in range(int((bottom - top).max()) + 1):
        for across in range(int((right - left).max()) + 1):
            depth = surface.depth_m[np.minimum(top + down, bottom), np.minimum(left + across, right)]
            passed &= depth >= least_m
    return passed


def _water_edge(
    surface: DepthSurface, level_m: float, aim_x: Floats, aim_y: Floats, x: Floats, y: Floats
) -> tuple[Floats, Floats]:
    """Move aims that lie dry today along the cast to where the water begins; others stay."""
    aim_x, aim_y = aim_x.copy(), aim_y.copy()
    dry = np.flatnonzero(surface.at(aim_x, aim_y) + level_m <= 0)
    if not dry.size:
        return aim_x, aim_y
    reach = float(np.hypot(x[dry] - aim_x[dry], y[dry] - aim_y[dry]).max())
    share = np.linspace(0.0, 1.0, int(np.ceil(reach / _EDGE_M)) + 2)
    step_x, step_y = (x - aim_x)[dry, None] * share, (y - aim_y)[dry, None] * share
    wet = surface.at(aim_x[dry, None] + step_x, aim_y[dry, None] + step_y) + level_m > 0
    first = wet.argmax(axis=1)  # 0 where all is dry: the aim stays, and the line of cast is not open
    one = np.arange(len(dry))
    aim_x[dry] += step_x[one, first]
    aim_y[dry] += step_y[one, first]
    return aim_x, aim_y


def lay_of(x: Floats, y: Floats, row: Ints, fished: Fished) -> Lay:
    """Try the rules on places from which structures are fished.

    Parameters
    ----------
    x, y
        Places of the boat.
    row
        Row of the structure it fishes.
    fished
        All structures in their setting.

    Returns
    -------
    Lay
        Cheap rules go first; a place that breaks one of them is not tried on the next.

    Notes
    -----
    Lines of cast and drift circles are checked exactly on the surface. Where a line lies dry today, as a bank does on
    a lake drawn down, the cast goes to the water's edge.
    """
    setting = fished.setting
    surface, level_m, rules = setting.surface, setting.level_m, setting.rules
    places = np.asarray(shapely.points(x, y), dtype=object)
    structures = fished.structures[row]
    aim = shapely.get_coordinates(shapely.shortest_line(structures, places)).reshape(-1, 2, 2)
    aim_x, aim_y = aim[:, 0, 0].copy(), aim[:, 0, 1].copy()
    lines = np.flatnonzero(shapely.get_dimensions(structures) == 1)
    aim_x[lines], aim_y[lines] = _water_edge(surface, level_m, aim_x[lines], aim_y[lines], x[lines], y[lines])
    cast = np.hypot(x - aim_x, y - aim_y)
    depth = surface.at(x, y) + level_m
    bottom_m = np.where(np.isnan(fished.bottom_m[row]), surface.at(aim_x, aim_y), fished.bottom_m[row])
    top = bottom_m + level_m - fished.height_m[row]
    safe = np.maximum(cast, 1e-9)
    broken = np.zeros(len(x), dtype=np.uint32)
    for rule, fails in (
        (TOO_NEAR, cast < rules.least_cast_m),
        (TOO_FAR, cast > rules.most_cast_m),
        (UPWIND, cast > longest_cast_m((x - aim_x) / safe, (y - aim_y) / safe, rules)),
        (UNKNOWN, np.isnan(depth)),
        (CUT_OFF, setting.surroundings.out_of_reach(x, y)),
        (THIN, depth < setting.need_m),
        (ABOVE, depth < top - surface.error_m),
    ):
        broken[fails] |= rule
    live = np.flatnonzero(broken == 0)
    least = least_depth_along(surface, aim_x[live], aim_y[live], x[live], y[live], level_m=level_m)
    aims = np.asarray(shapely.points(aim_x[live], aim_y[live]), dtype=object)
    hidden = setting.surroundings.screened(aims, places[live], row[live])
    broken[live[~(least > 0) | hidden]] |= BLOCKED
    live = np.flatnonzero(broken == 0)
    off = rules.drift_m
    plain = _all_deep(
        surface, x[live] - off, y[live] - off, x[live] + off, y[live] + off, setting.need_m - level_m
    )
    close = live[~plain]
    inside = least_depth_inside(surface, x[close], y[close], off, level_m=level_m)
    broken[close[~(inside >= setting.need_m)]] |= ADRIFT
    live = np.flatnonzero(broken == 0)
    broken[live] |= _near_others(places[live], row[live], setting)
    return Lay(aim_x, aim_y, cast, depth, top, broken)


def _near_others(shapes: Geometries, row: Ints, setting: Setting) -> Bits:
    """Tell which places or ways come too near to a hazard or to another structure."""
    broken = np.zeros(len(shapes), dtype=np.uint32)
    broken[setting.surroundings.structure_near(shapes, row) >= 0] |= OVER_OTHER
    broken[setting.surroundings.hazard_near(shapes, setting.rules.drift_m)] |= HAZARD
    return broken


def ways_between(x: Floats, y: Floats, lay: Lay, start: Ints, stop: Ints, row: Ints, fished: Fished) -> Bits:
    """Try the rules on straight ways between places that keep all of them.

    Parameters
    ----------
    x, y, lay
        Places and how they lie.
    start, stop
        First and last place of each way, at most three metres apart.
    row, fished
        Row of the structure that is fished on each way, and all structures in their setting.

    Returns
    -------
    What each way breaks: the sum of keys of `BREAKS`.

    Notes
    -----
    The least depth along a way is exact, and so are its distances to hazards and to other structures. Where not all
    of the water between the way and the structure is plainly deep, where the way is hardly deeper than the
    structure, and where a cast comes near to its limits, it is tried again every half metre, as a place.
    """
    setting = fished.setting
    surface, rules = setting.surface, setting.rules
    broken = np.zeros(len(start), dtype=np.uint32)
    if not len(start):
        return broken
    least = least_depth_along(surface, x[start], y[start], x[stop], y[stop], level_m=setting.level_m)
    broken[~(least >= setting.need_m)] |= THIN
    ends = np.stack([x[start], y[start], x[stop], y[stop]], axis=1).reshape(-1, 2, 2)
    broken |= _near_others(np.asarray(shapely.linestrings(ends), dtype=object), row, setting)

    xs = np.stack([x[start], x[stop], lay.aim_x[start], lay.aim_x[stop]])
    ys = np.stack([y[start], y[stop], lay.aim_y[start], lay.aim_y[stop]])
    off = rules.drift_m
    plain = _all_deep(
        surface, xs.min(axis=0) - off, ys.min(axis=0) - off, xs.max(axis=0) + off, ys.max(axis=0) + off,
        setting.need_m - setting.level_m,
    )  # fmt: skip
    for end in (start, stop):
        cast = lay.cast_m[end]
        off_x, off_y = x[end] - lay.aim_x[end], y[end] - lay.aim_y[end]
        longest = longest_cast_m(off_x / np.maximum(cast, 1e-9), off_y / np.maximum(cast, 1e-9), rules)
        plain &= (cast > rules.least_cast_m + _ROOM_M) & (cast < longest - _ROOM_M)
    plain &= least >= np.maximum(lay.top_m[start], lay.top_m[stop]) - surface.error_m
    plain &= len(setting.surroundings.screens) == 0
    look = np.flatnonzero(~plain & (broken == 0))
    if look.size:
        length = np.hypot(*(ends[look, 1] - ends[look, 0]).T)
        count = np.maximum(np.ceil(length / _CLOSE_M).astype(np.intp) - 1, 1)
        way = np.repeat(look, count)
        number = np.arange(len(way)) - np.repeat(np.cumsum(count) - count, count) + 1
        share = (number / np.repeat(count + 1, count))[:, None]
        at = ends[way, 0] + share * (ends[way, 1] - ends[way, 0])
        np.bitwise_or.at(broken, way, lay_of(at[:, 0], at[:, 1], row[way], fished).broken)
    return broken
