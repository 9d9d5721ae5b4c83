"""Which side of a line is the deep one, stretch by stretch, by a plane through the water on either side.

What counts is where the boat would sit: how deep it is one cast off to the left and to the right. A plane through
all samples of a side tells that; the deepest cell of a side tells of a hole somewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from .hold_paths import directions

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats, Geometries, Indices
    from ...depth import DepthSurface
    from .hold_paths import Paths


LEFT: Final = 1
RIGHT: Final = -1
BOTH: Final = 0

_ACROSS: Final = 5  # samples across a side, from a quarter of a cast to the longest cast
_NEXT: Final = 3  # stations to each side that a fit looks at; three make one cast
_FEWEST: Final = 8  # samples below which a plane says nothing
_NEARER: Final = 0.9  # share of its distance that a sample may lose to a bend before it counts as beyond it


@dataclass(frozen=True, eq=False)
class Sides:
    """Stations along paths and the side that is deeper there; one entry a station."""

    # path, ascending, and distance from its begin
    path: Indices
    along_m: Floats
    # direction of the path; the left lies towards (-north, east)
    east: Floats
    north: Floats
    # how much deeper the left is than the right one cast off; beside a polygon, how much deeper its edge is
    # than the water one cast off. NaN where neither side has water that is known.
    fall_m: Floats
    clear: Flags  # whether that stands out from the depth error and from the roughness
    lonely: Flags  # whether only one side has water that is known
    # `LEFT` or `RIGHT`: the side of the nearest clear station of the path; `BOTH` where the path has none.
    # Round a polygon without a clearly deep edge, `BOTH` wherever the edge is not clearly the shallow one.
    deep: NDArray[np.int8]

    def station_at(self, path: Indices, along_m: Floats) -> Indices:
        """Find the station nearest to places along paths."""
        count = np.bincount(self.path, minlength=int(path.max(initial=-1)) + 1)
        first = np.cumsum(count) - count
        spacing = self.along_m[np.minimum(first + 1, len(self.along_m) - 1)] - self.along_m[first]
        step = np.rint(along_m / spacing[path]).astype(np.intp)
        return np.asarray(first[path] + np.clip(step, 0, count[path] - 1))


def _stations(paths: Paths, spacing_m: float) -> tuple[Indices, Floats, Indices, Indices]:
    """Lay stations along every path; give path, distance, first station of the path and their number."""
    count = np.ceil(paths.length_m / spacing_m).astype(np.intp) + 1
    count = np.maximum(count, 3)
    path = np.repeat(np.arange(len(paths), dtype=np.intp), count)
    first = (np.cumsum(count) - count)[path]
    number = count[path]
    along = (np.arange(len(path)) - first) * (paths.length_m[path] / (number - 1))
    return path, along, first, number


def _fits(z: Floats, s: Floats, t: Floats) -> tuple[Floats, Floats]:
    """Fit z = a + b s + c t to each row of samples; give a and its standard error, NaN where too few are known."""
    known = ~np.isnan(z)
    count = known.sum(axis=1)
    z, weight = np.where(known, z, 0.0), known.astype(np.float64)
    columns = np.stack([np.ones_like(s), s, t], axis=-1) * weight[..., None]
    normal = np.einsum("nki,nkj->nij", columns, columns)
    # A trace of ridge, so that samples in a line leave the slope across it at 0 and not undefined.
    normal += 1e-9 * (1.0 + np.trace(normal, axis1=1, axis2=2))[:, None, None] * np.eye(3)
    inverse = np.linalg.inv(normal)
    fit = np.einsum("nij,nkj,nk->ni", inverse, columns, z)
    left = ((z - np.einsum("nki,ni->nk", columns, fit)) ** 2 * weight).sum(axis=1)
    error = np.sqrt(left / np.maximum(count - 3, 1) * inverse[:, 0, 0])
    enough = count >= _FEWEST
    return np.where(enough, fit[:, 0], np.nan), np.where(enough, error, np.nan)


def _beside(x: Floats, y: Floats, line: Geometries, across: Floats) -> Flags:
    """Tell which samples on normals of a line lie beside the place they start from, and not beyond a bend.

    What is nearest to the outermost sample of a normal is nearest to all of them: only where another part of the
    line is nearer to that one do the others have to be looked at.
    """
    beside = np.ones(x.shape, dtype=np.bool_)
    outer = shapely.distance(shapely.points(x[:, -1], y[:, -1]), line) >= _NEARER * across[-1]
    look = np.flatnonzero(~outer)
    beside[look, -1] = False
    inner = shapely.distance(shapely.points(x[look, :-1], y[look, :-1]), line[look, None])
    beside[look, :-1] = inner >= _NEARER * across[:-1]
    return beside


def _filled(path: Indices, along_m: Floats, fall_m: Floats, clear: Flags) -> NDArray[np.int8]:
    """Give every station the side of the nearest clear station of its path."""
    deep = np.zeros(len(path), dtype=np.int8)
    found = np.flatnonzero(clear)
    if not found.size:
        return deep
    after = np.searchsorted(found, np.arange(len(path)))
    ahead, behind = found[np.minimum(after, len(found) - 1)], found[np.maximum(after - 1, 0)]
    gap = [np.where(path[at] == path, np.abs(along_m[at] - along_m), np.inf) for at in (behind, ahead)]
    nearest = np.where(gap[0] <= gap[1], behind, ahead)
    there = np.isfinite(np.minimum(*gap))
    deep[there] = np.sign(fall_m[nearest[there]]).astype(np.int8)
    return deep


def side_depths(
    paths: Paths, surface: DepthSurface, *, level_m: float, cast_m: float, most_cast_m: float
) -> Sides:
    """Tell along paths which side is deeper one cast off.

    Parameters
    ----------
    paths
        Lines and outlines.
    surface, level_m
        Depth below chart datum, and today's surface minus chart datum.
    cast_m, most_cast_m
        Preferred cast, at which the sides are compared, and the longest, to which they are looked at.

    Returns
    -------
    Stations a third of a cast apart.

    Notes
    -----
    To each side of a station lie samples at five distances, over one cast of the path ahead and behind; a plane is
    laid through those of each side by least squares (depth by distance along and across), and read one cast off. A
    sample that lies nearer to another part of the path, as in the inside of a bend, is not used. The sides differ
    clearly when they do so by more than the depth error and twice the standard error of the difference. Where
    only one side has known water, it is the deep one. Outside a polygon the plane is compared with the depth along
    its edge. The answer is wrong where the surface is, and where a side is strongly curved within a cast.
    """
    if not len(paths):
        none = np.empty(0)
        no = none.astype(np.bool_)
        return Sides(none.astype(np.intp), none, none, none, none, no, no, none.astype(np.int8))
    path, along, first, number = _stations(paths, cast_m / _NEXT)
    x, y, east, north = directions(paths, path, along)
    across = np.linspace(cast_m / 4, most_cast_m, _ACROSS)
    step = np.arange(-_NEXT, _NEXT + 1)
    other = (np.arange(len(path)) - first)[:, None] + step
    # A closed path goes on at its begin, which is its last station as well.
    around = np.where(
        paths.closed[path][:, None], other % (number - 1)[:, None], other.clip(0, (number - 1)[:, None])
    )
    real = paths.closed[path][:, None] | (around == other)
    spacing = paths.length_m[path] / (number - 1)
    s = np.broadcast_to((step * spacing[:, None])[:, :, None], (len(path), len(step), _ACROSS))
    t = np.broadcast_to(across - cast_m, s.shape)
    read, error = [], []
    whole = paths.line[path]
    shapely.prepare(whole)
    for side in (LEFT, RIGHT):
        sx = x[:, None] - side * north[:, None] * across
        sy = y[:, None] + side * east[:, None] * across
        far = _beside(sx, sy, whole, across)
        z = np.where(far, surface.at(sx, sy) + level_m, np.nan)
        window = np.where(real[:, :, None], z[first[:, None] + around], np.nan)
        rows = (len(path), len(step) * _ACROSS)
        value, off = _fits(window.reshape(rows), s.reshape(rows), t.reshape(rows))
        read.append(value)
        error.append(off)
    edge = surface.at(x, y) + level_m
    area = paths.area[path]
    left, left_error = np.where(area, edge, read[0]), np.where(area, 0.0, error[0])
    right, right_error = read[1], error[1]
    fall = left - right
    clear = np.abs(fall) > np.maximum(surface.error_m, 2 * np.hypot(left_error, right_error))
    # Water on one side only: that is the side, however it falls.
    only_left = (left > 0) & np.isnan(right) & ~area
    only_right = (right > 0) & np.isnan(left)
    fall = np.where(only_left, left, np.where(only_right, -right, fall))
    lonely = only_left | only_right
    clear = clear | lonely
    deep = _filled(path, along, fall, clear)
    # A polygon none of whose edge is clearly the deep one: its shallow edge is out, the rest is level ground.
    deepest = np.bincount(path[clear & (fall < 0)], minlength=len(paths)) > 0
    level = area & ~deepest[path]
    deep[level] = np.where(clear & (fall > 0), LEFT, BOTH)[level]
    return Sides(path, along, east, north, fall, clear, lonely, deep)
