"""The rules of a hold for a boat under way along a structure, and the marks along its tracks that are held to them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ..holds.hold_rules import (
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
from ..level.least_depth import LeastBlocks, least_depth_along, least_depth_inside
from .hold_paths import directions
from .side_depths import BOTH, LEFT, RIGHT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from ...arrays import Floats, Geometries, Indices
    from ...depth import DepthSurface
    from ..holds.hold_rules import Setting
    from .hold_paths import Paths, Tracks
    from .side_depths import Sides

    Bits = NDArray[np.uint32]

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

_WET_M: Final = 1e-3  # deep enough to be wet whatever the rounding
_EDGE_M: Final = 0.5  # how finely the water's edge is looked for on a cast
_CLOSE_M: Final = 0.5  # spacing of the places looked at on a way that is not plainly good
_ROOM_M: Final = 1.6  # from the least and longest cast, within which a way of three metres might break them


@dataclass(frozen=True, eq=False)
class Lay:
    """How places lie to the structure they fish; one entry a place."""

    # the point of the structure nearest to each, and how far it is
    aim_x: Floats
    aim_y: Floats
    cast_m: Floats
    # today's depth at the place, and of the structure's top
    depth_m: Floats
    top_m: Floats
    broken: Bits  # sum of the keys of `BREAKS` that it breaks


@dataclass(frozen=True, eq=False)
class Fished:
    """Structures that are fished, by row, in their setting; the same rows as those of the surroundings."""

    structures: Geometries  # their geometries
    # charted depth of the bottom under each (NaN: the surface's own), and height off the bottom
    bottom_m: Floats
    height_m: Floats
    setting: Setting  # the lake on the day, the rules of a hold, and what to keep off
    blocks: LeastBlocks = field(init=False)  # least depths of blocks of the surface

    def __post_init__(self) -> None:
        object.__setattr__(self, "blocks", LeastBlocks(self.setting.least))


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


def lay_of(x: Floats, y: Floats, row: Indices, fished: Fished, places: Geometries | None = None) -> Lay:
    """Try the rules on places from which structures are fished.

    Parameters
    ----------
    x, y
        Places of the boat.
    row
        Row of the structure it fishes.
    fished
        All structures in their setting.
    places
        The places as points, where they are at hand.

    Returns
    -------
    Cheap rules go first; a place that breaks one of them is not tried on the next.

    Notes
    -----
    Lines of cast and drift circles are checked exactly on the surface. Where a line lies dry today, as a bank does on
    a lake drawn down, the cast goes to the water's edge.
    """
    setting = fished.setting
    surface, level_m, rules = setting.surface, setting.level_m, setting.rules
    if places is None:
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
        (THIN, setting.least.at(x, y) + level_m < setting.need_m),
        (ABOVE, depth < top - surface.error_m),
    ):
        broken[fails] |= rule
    live = np.flatnonzero(broken == 0)
    box = _box((x[live], aim_x[live]), (y[live], aim_y[live]), 0.0)
    close = live[~fished.blocks.deep(*box, _WET_M - level_m)]
    least = least_depth_along(surface, aim_x[close], aim_y[close], x[close], y[close], level_m=level_m)
    broken[close[~(least > 0)]] |= BLOCKED
    if len(setting.surroundings.screens):
        aims = np.asarray(shapely.points(aim_x[live], aim_y[live]), dtype=object)
        broken[live[setting.surroundings.screened(aims, places[live], row[live])]] |= BLOCKED
    live = np.flatnonzero(broken == 0)
    box = _box((x[live],), (y[live],), rules.drift_m)
    close = live[~fished.blocks.deep(*box, setting.need_m - level_m)]
    inside = least_depth_inside(setting.least, x[close], y[close], rules.drift_m, level_m=level_m)
    broken[close[~(inside >= setting.need_m)]] |= ADRIFT
    live = np.flatnonzero(broken == 0)
    broken[live] |= _near_others(places[live], row[live], setting)
    return Lay(aim_x, aim_y, cast, depth, top, broken)


def _box(x: Sequence[Floats], y: Sequence[Floats], off_m: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Give west, south, east and north of boxes that hold places, with room round them."""
    return (
        np.minimum.reduce(x) - off_m,
        np.minimum.reduce(y) - off_m,
        np.maximum.reduce(x) + off_m,
        np.maximum.reduce(y) + off_m,
    )


def _near_others(shapes: Geometries, row: Indices, setting: Setting) -> Bits:
    """Tell which places or ways come too near to a hazard or to another structure."""
    broken = np.zeros(len(shapes), dtype=np.uint32)
    broken[setting.surroundings.structure_near(shapes, row) >= 0] |= OVER_OTHER
    broken[setting.surroundings.hazard_near(shapes, setting.rules.drift_m)] |= HAZARD
    return broken


def ways_between(
    x: Floats, y: Floats, lay: Lay, start: Indices, stop: Indices, row: Indices, fished: Fished
) -> Bits:
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
    least = least_depth_along(setting.least, x[start], y[start], x[stop], y[stop], level_m=setting.level_m)
    broken[~(least >= setting.need_m)] |= THIN
    ends = np.stack([x[start], y[start], x[stop], y[stop]], axis=1).reshape(-1, 2, 2)
    broken |= _near_others(np.asarray(shapely.linestrings(ends), dtype=object), row, setting)

    box = _box(
        (x[start], x[stop], lay.aim_x[start], lay.aim_x[stop]),
        (y[start], y[stop], lay.aim_y[start], lay.aim_y[stop]),
        rules.drift_m,
    )
    plain = fished.blocks.deep(*box, setting.need_m - setting.level_m)
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


_STEP_M: Final = 3.0  # marks; between them the way is looked at again where a rule might fail
_SHORT_M: Final = 0.1  # by how much a track may lie nearer than its cast: chords, simplification
_AT_END_M: Final = 0.5  # what counts as nearest to the end of a line
_SQUARE: Final = 0.02  # cosine up to which a mark lies square off the end of a line


@dataclass(frozen=True, eq=False)
class Marks:
    """Marks along tracks, one after the other; numbers are NaN where a mark was ruled out before they mattered."""

    # track, ascending, and the next mark on it: -1 at the end of an open one
    track: Indices
    following: Indices
    # the mark, the point of the structure nearest to it, and the distance between them
    x: Floats
    y: Floats
    aim_x: Floats
    aim_y: Floats
    cast_m: Floats
    # where its path is nearest, which side of the path it lies on, and the station there
    along_m: Floats
    side: NDArray[np.int8]
    station: Indices
    depth_m: Floats  # today's depth
    broken: Bits  # sum of the keys of `BREAKS` that it breaks
    broken_after: Bits  # the same for the way to the following mark, where both marks keep all rules


def _dense(tracks: Tracks, step_m: float) -> tuple[Indices, Indices, Floats, Floats]:
    """Set marks along tracks; give the track, the following mark and the place of each."""
    xy, track = shapely.get_coordinates(shapely.segmentize(tracks.line, step_m), return_index=True)
    last = np.append(track[1:] != track[:-1], True)[: len(track)]
    keep = ~(last & tracks.ring[track])  # a ring comes back to its first mark
    xy, track = xy[keep], track[keep].astype(np.intp)
    count = np.bincount(track, minlength=len(tracks.line))
    first = np.cumsum(count) - count
    following = np.arange(1, len(track) + 1)
    end = np.flatnonzero(np.append(track[1:] != track[:-1], True)[: len(track)])
    following[end] = np.where(tracks.ring[track[end]], first[track[end]], -1)
    return track, following.astype(np.intp), xy[:, 0], xy[:, 1]


def mark_tracks(tracks: Tracks, paths: Paths, sides: Sides, fished: Fished) -> Marks:
    """Set marks along tracks and try every rule on them.

    Parameters
    ----------
    tracks, paths, sides
        The tracks, the paths they lie beside, and the deep side of these.
    fished
        The structures, by the row of the paths, in their setting.

    Returns
    -------
    At most three metres apart.
    """
    track, following, x, y = _dense(tracks, _STEP_M)
    path = tracks.path[track]
    row = paths.row[path]
    places = np.asarray(shapely.points(x, y), dtype=object)
    along = np.asarray(shapely.line_locate_point(paths.line[path], places), dtype=np.float64)
    at_x, at_y, east, north = directions(paths, path, along)
    off_x, off_y = x - at_x, y - at_y
    off = np.hypot(off_x, off_y)
    side = np.where(east * off_y - north * off_x >= 0, LEFT, RIGHT).astype(np.int8)
    station = sides.station_at(path, along)

    broken = np.zeros(len(x), dtype=np.uint32)
    past_end = ~paths.closed[path] & (np.minimum(along, paths.length_m[path] - along) <= _AT_END_M)
    leaning = np.abs(east * off_x + north * off_y) > _SQUARE * np.maximum(off, 1e-9)
    broken[past_end & leaning] |= ENDS
    short = off < tracks.cast_m[track] - _SHORT_M
    broken[short & past_end] |= ENDS
    broken[short & ~past_end] |= TOO_NEAR
    deep = sides.deep[station]
    broken[(deep != BOTH) & (deep != side)] |= OTHER_SIDE
    broken[paths.area[path] & (side != RIGHT)] |= OTHER_SIDE

    live = np.flatnonzero(broken == 0)
    part = lay_of(x[live], y[live], row[live], fished, places[live])
    broken[live] |= part.broken

    def spread(values: Floats) -> Floats:
        full = np.full(len(x), np.nan)
        full[live] = values
        return full

    lay = Lay(
        aim_x=spread(part.aim_x),
        aim_y=spread(part.aim_y),
        cast_m=spread(part.cast_m),
        depth_m=spread(part.depth_m),
        top_m=spread(part.top_m),
        broken=broken,
    )
    after = np.zeros(len(x), dtype=np.uint32)
    start = np.flatnonzero((broken == 0) & (following >= 0))
    start = start[broken[following[start]] == 0]
    after[start] = ways_between(x, y, lay, start, following[start], row[start], fished)
    return Marks(
        track=track,
        following=following,
        x=x,
        y=y,
        aim_x=lay.aim_x,
        aim_y=lay.aim_y,
        cast_m=lay.cast_m,
        along_m=along,
        side=side,
        station=station,
        depth_m=lay.depth_m,
        broken=broken,
        broken_after=after,
    )
