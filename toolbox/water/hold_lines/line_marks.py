"""Marks along the tracks beside structures, and what each of them breaks of the rules of a hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from .hold_paths import directions
from .line_rules import ENDS, OTHER_SIDE, TOO_NEAR, Lay, lay_of, ways_between
from .side_depths import BOTH, LEFT, RIGHT

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Floats, Indices
    from .hold_paths import Paths, Tracks
    from .line_rules import Fished
    from .side_depths import Sides

    Bits = NDArray[np.uint32]

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
