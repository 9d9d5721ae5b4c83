"""The paths a boat's line is drawn from: structures smoothed, and all water at a cast from them.

Isobaths near structures, as tracks for a boat that follows a depth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import contourpy
import numpy as np
import shapely
from scipy import ndimage

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Indices
    from ...depth import DepthSurface

_STEP_M: Final = 2.0  # resampling of a structure's line
_FEWEST: Final = 9  # points of the shortest line
_MOST: Final = 200_000  # points of the longest
_QUARTER: Final = 24  # segments of a quarter circle: 12 mm off the circle at a cast of 21 m
_DEVIATION_M: Final = 0.02  # what simplification may move a line; far below any position error
_SLIM_M: Final = 0.005  # what leaving out points may move a path
_REACH: Final = 8.0  # of the smoothing, in its own widths: the filter is applied twice
_TURN_M: Final = 1.5  # half-length over which the direction of a path is taken


@dataclass(frozen=True, eq=False)
class Paths:
    """Smoothed lines and outlines of structures; one entry a path."""

    row: Indices  # row of the structure
    # the line; the outline of a polygon runs counter-clockwise, so that the water is on its right
    line: Geometries
    length_m: Floats  # its length
    # whether it ends where it begins, and whether it is the outline of a polygon
    closed: Flags
    area: Flags

    def __len__(self) -> int:
        return len(self.row)


@dataclass(frozen=True, eq=False)
class Tracks:
    """Lines that a boat might follow beside paths; one entry a track."""

    path: Indices  # the path it lies beside
    line: Geometries  # the track; a ring ends where it begins
    ring: Flags  # whether it is a ring
    cast_m: Floats  # distance from the path at which it was drawn; 0 where it was drawn otherwise


def _smoothed(xy: Floats, width: float, *, closed: bool) -> Floats:
    """Smooth evenly spaced points with a kernel that leaves straight lines and wide bends where they are.

    Twice the Gaussian less the Gaussian of the Gaussian: its second moment is 0, so that a circle does not
    shrink by the square of the width over its radius, as it does under the Gaussian alone.
    """
    pad = int(np.ceil(_REACH * width))
    if closed:
        long = np.pad(xy[:-1], ((pad, pad), (0, 0)), mode="wrap")
    else:
        long = np.pad(xy, ((pad, pad), (0, 0)), mode="reflect", reflect_type="odd")
    once = ndimage.gaussian_filter1d(long, width, axis=0, mode="nearest")
    twice = ndimage.gaussian_filter1d(once, width, axis=0, mode="nearest")
    result = (2 * once - twice)[pad:-pad]
    return np.vstack([result, result[:1]]) if closed else result


def smooth_line(line: shapely.Geometry, smooth_m: float) -> shapely.LineString:
    """Take the wiggles out of a line that are shorter than a few smoothing lengths.

    Parameters
    ----------
    line
        A line of some length, open or closed.
    smooth_m
        Width (one standard deviation) of the kernel; less on a line too short for it. 0 leaves the line as it is.

    Returns
    -------
    A line with the same ends. Straight lines stay where they are; on a circle of radius R it moves by about
    ``smooth_m**4 / (4 R**3)``.
    """
    xy = shapely.get_coordinates(line)
    length = float(shapely.length(line))
    closed = bool(len(xy) > 3 and (xy[0] == xy[-1]).all())
    width_m = min(smooth_m, length / (20.0 if closed else 6.0))
    if width_m <= 0:
        return shapely.LineString(xy)
    count = int(np.clip(np.ceil(length / min(_STEP_M, width_m)) + 1, _FEWEST, _MOST))
    origin = xy[0]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    even = np.linspace(0.0, along[-1], count)
    points = np.column_stack([np.interp(even, along, (xy - origin)[:, axis]) for axis in (0, 1)])
    smooth = _smoothed(points, width_m / (even[1] - even[0]), closed=closed)
    slim = shapely.simplify(shapely.LineString(smooth), _SLIM_M)
    return shapely.LineString(shapely.get_coordinates(slim) + origin)


def structure_paths(structures: Geometries, smooth_m: float) -> Paths:
    """Draw a smooth path along every line, and round every polygon.

    Parameters
    ----------
    structures
        Points, lines and polygons, single or multi; points and lines without length give no path.
    smooth_m
        See `smooth_line`.

    Notes
    -----
    Holes of polygons are left out: no boat follows an edge from within the cover.
    """
    parts, owner = shapely.get_parts(structures, return_index=True)
    kind = shapely.get_type_id(parts)
    area = (kind == 3) & (shapely.area(parts) > 0)
    use = np.flatnonzero(area | ((kind == 1) & (shapely.length(parts) > 0)))
    lines = parts[use]
    rings = shapely.get_exterior_ring(shapely.orient_polygons(lines[area[use]]))
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    if len(xy):
        lines[area[use]] = shapely.linestrings(xy, indices=ring)
    smooth = np.empty(len(lines), dtype=object)
    smooth[:] = [smooth_line(line, smooth_m) for line in lines]  # one at a time: each has a length of its own
    return Paths(
        row=owner[use].astype(np.intp),
        line=smooth,
        length_m=np.asarray(shapely.length(smooth), dtype=np.float64),
        closed=np.asarray(shapely.is_closed(smooth), dtype=np.bool_),
        area=area[use],
    )


def cast_tracks(paths: Paths, cast_m: Floats) -> Tracks:
    """Draw all water that lies one cast from a path and no nearer to any other part of it.

    Parameters
    ----------
    paths
        Paths of structures.
    cast_m
        Distance of the tracks from each path, above 0.

    Returns
    -------
    The edges of the water nearer than a cast: rings, which hold both sides of a line and go round its ends.
    """
    near = paths.line.copy()
    xy, ring = shapely.get_coordinates(near[paths.area], return_index=True)
    if len(xy):
        # A smoothed outline may cross itself; the water inside any of its loops is water over the structure.
        near[paths.area] = shapely.make_valid(shapely.polygons(shapely.linearrings(xy, indices=ring)))
    # Round ends: flat ones come out empty on hooked lines shorter than a cast.
    near = shapely.buffer(near, cast_m, quad_segs=_QUARTER)
    rings, path = shapely.get_rings(near, return_index=True)
    rings = shapely.simplify(rings, _DEVIATION_M)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    lines = np.asarray(shapely.linestrings(xy, indices=ring) if len(xy) else [], dtype=object)
    path = path.astype(np.intp)
    return Tracks(path=path, line=lines, ring=np.ones(len(lines), dtype=np.bool_), cast_m=cast_m[path])


def directions(paths: Paths, path: Indices, along_m: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Give places on paths and the direction of the path there.

    Parameters
    ----------
    paths
        The paths.
    path, along_m
        Path of each place and its distance from the path's begin.

    Returns
    -------
    x, y, and the unit vector east and north in which the path runs, taken over three metres.
    """
    xy, owner = shapely.get_coordinates(paths.line, return_index=True)
    step = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)
    step[np.diff(owner, prepend=-1) != 0] = 0.0
    # One long line out of all, with a gap of a metre between paths, so that one search serves every place.
    run = np.cumsum(step) + owner
    first = np.searchsorted(owner, np.arange(len(paths)))

    def at(along: Floats) -> Floats:
        place = run[first[path]] + np.clip(along, 0.0, paths.length_m[path])
        k = np.clip(np.searchsorted(run, place, side="right") - 1, first[path], None)
        k = np.where(owner[np.minimum(k + 1, len(owner) - 1)] != path, k - 1, np.minimum(k, len(owner) - 2))
        long = run[k + 1] - run[k]
        share = np.clip((place - run[k]) / np.where(long > 0, long, 1.0), 0.0, 1.0)
        return np.asarray(xy[k] + share[:, None] * (xy[k + 1] - xy[k]))

    here = at(along_m)
    course = at(along_m + _TURN_M) - at(along_m - _TURN_M)
    size = np.hypot(course[:, 0], course[:, 1])
    course = course / np.where(size > 0, size, 1.0)[:, None]
    return here[:, 0], here[:, 1], course[:, 0], course[:, 1]


def isobath_tracks(
    paths: Paths, surface: DepthSurface, *, depth_m: float, reach_m: float, smooth_m: float
) -> Tracks:
    """Draw the isobath of a charted depth wherever it passes within reach of a path.

    Parameters
    ----------
    paths
        Paths of structures.
    surface
        Depth below chart datum.
    depth_m
        Depth of the isobath, below chart datum.
    reach_m
        Distance from a path within which isobaths are wanted; they may run on beyond it.
    smooth_m
        Width over which an isobath is smoothed, so that a boat can follow it.

    Returns
    -------
    Tracks, open or closed, each with the path it was drawn for.

    Notes
    -----
    The isobath is drawn between the cell centres by straight interpolation. Smoothing moves it off its depth where it
    bends within a few widths; the depth along a hold line is told with it.
    """
    owner: list[int] = []
    lines: list[shapely.LineString] = []
    bounds = shapely.bounds(paths.line)
    for number in range(len(paths)):  # a window a path, so that memory stays that of the largest structure
        west, south, east, north = bounds[number]
        part = surface.window(west - reach_m, south - reach_m, east + reach_m, north + reach_m)
        if min(part.shape) < 2:
            continue
        depth = np.ma.masked_invalid(part.depth_m.astype(np.float64))
        drawn = contourpy.contour_generator(part.xs, part.ys, depth, name="serial").lines(depth_m)
        found = [shapely.LineString(np.asarray(one)) for one in drawn if one is not None and len(one) > 1]
        for line in found:
            if line.length > 0 and shapely.dwithin(line, paths.line[number], reach_m):
                owner.append(number)
                lines.append(smooth_line(line, smooth_m))
    every = np.empty(len(lines), dtype=object)
    every[:] = lines
    return Tracks(
        path=np.array(owner, dtype=np.intp),
        line=every,
        ring=np.asarray(shapely.is_closed(every), dtype=np.bool_),
        cast_m=np.zeros(len(lines)),
    )
