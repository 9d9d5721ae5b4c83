"""Least depth of the bilinear surface along straight lines and inside circles, worked out exactly.

Sampling a line at a fixed step can step over a narrow spit. Between two grid lines the bilinear surface is a
parabola along any straight line, so three values give its least value without a gap.

Least depth of blocks of cells: it tells at once of most places that all water round them is deep.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from ...arrays import Flags, Floats
    from ...depth import DepthSurface

_MOST_VALUES = 2_000_000  # values held at a time, so that memory stays flat whatever is asked
_CIRCLE_POINTS = 64
_DIPS = 3
_ROUNDS = 3
_FINE_POINTS = 7


def _in_cells(surface: DepthSurface, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Give columns and rows of places, whole at the cell centres."""
    return (x - surface.west_m) / surface.cell_x_m - 0.5, (surface.north_m - y) / surface.cell_y_m - 0.5


def _crossings(start: Floats, step: Floats, most: int) -> Floats:
    """Give the fractions of each line at which one grid coordinate is whole; 1 where there are fewer."""
    first = np.where(step > 0, np.floor(start) + 1, np.ceil(start) - 1)
    count = np.arange(most, dtype=np.float64)
    whole = first[:, None] + np.sign(step)[:, None] * count
    with np.errstate(divide="ignore", invalid="ignore"):
        fraction = (whole - start[:, None]) / step[:, None]
    return np.where(np.isfinite(fraction), fraction, 1.0).clip(0.0, 1.0)


def _least_along(surface: DepthSurface, x0: Floats, y0: Floats, x1: Floats, y1: Floats) -> Floats:
    column, row = _in_cells(surface, x0, y0)
    across, down = (x1 - x0) / surface.cell_x_m, (y0 - y1) / surface.cell_y_m
    cuts = [np.zeros((len(x0), 1)), np.ones((len(x0), 1))]
    for start, step in ((column, across), (row, down)):
        cuts.append(_crossings(start, step, int(np.ceil(np.abs(step).max())) + 1))
    at = np.sort(np.concatenate(cuts, axis=1), axis=1)
    middle = (at[:, 1:] + at[:, :-1]) / 2
    places = np.concatenate([at, middle], axis=1)
    depth = surface.at(x0[:, None] + places * (x1 - x0)[:, None], y0[:, None] + places * (y1 - y0)[:, None])
    ends, mid = depth[:, : at.shape[1]], depth[:, at.shape[1] :]
    first, last = ends[:, :-1], ends[:, 1:]
    # The parabola through the three: bend * t^2 + slope * t + first, 0 <= t <= 1.
    bend, slope = 2 * (first - 2 * mid + last), 4 * mid - 3 * first - last
    with np.errstate(divide="ignore", invalid="ignore"):
        lowest = -slope / (2 * bend)
        dip = np.where((bend > 0) & (lowest > 0) & (lowest < 1), first - slope**2 / (4 * bend), np.inf)
    unknown = np.isnan(depth).any(axis=1)
    return np.where(unknown, np.nan, np.minimum(ends.min(axis=1), dip.min(axis=1)))


def _least_inside(surface: DepthSurface, x: Floats, y: Floats, radius_m: float) -> Floats:
    first_x, first_y = surface.west_m + surface.cell_x_m / 2, surface.north_m - surface.cell_y_m / 2
    column, row = (np.round(place)[:, None] for place in _in_cells(surface, x, y))
    # Cell centres inside the circle.
    wide, high = int(radius_m / surface.cell_x_m) + 1, int(radius_m / surface.cell_y_m) + 1
    right, below = (
        part.ravel() for part in np.meshgrid(np.arange(-wide, wide + 1.0), np.arange(-high, high + 1.0))
    )
    node_x = first_x + (column + right) * surface.cell_x_m
    node_y = first_y - (row + below) * surface.cell_y_m
    inside = np.hypot(node_x - x[:, None], node_y - y[:, None]) <= radius_m
    node_x, node_y = np.where(inside, node_x, x[:, None]), np.where(inside, node_y, y[:, None])
    # The circle itself: evenly, and where it crosses the lines through the cell centres, at which the surface
    # has a kink.
    angle = np.arange(_CIRCLE_POINTS) * (2 * np.pi / _CIRCLE_POINTS)
    rim_x = [x[:, None] + radius_m * np.cos(angle)]
    rim_y = [y[:, None] + radius_m * np.sin(angle)]
    line_x = first_x + (column + np.arange(-wide, wide + 1.0)) * surface.cell_x_m
    line_y = first_y - (row + np.arange(-high, high + 1.0)) * surface.cell_y_m
    off_x = (line_x - x[:, None]).clip(-radius_m, radius_m)
    off_y = (line_y - y[:, None]).clip(-radius_m, radius_m)
    for side in (-1.0, 1.0):
        rim_x += [x[:, None] + off_x, x[:, None] + side * np.sqrt(radius_m**2 - off_y**2)]
        rim_y += [y[:, None] + side * np.sqrt(radius_m**2 - off_x**2), y[:, None] + off_y]
    depth = surface.at(np.concatenate([node_x, *rim_x], axis=1), np.concatenate([node_y, *rim_y], axis=1))
    # Closer and closer about the lowest dips of the even points of the circle; there may be one in each cell.
    least = np.asarray(depth.min(axis=1))
    even = depth[:, node_x.shape[1] : node_x.shape[1] + _CIRCLE_POINTS]
    dips = np.where((even <= np.roll(even, 1, axis=1)) & (even <= np.roll(even, -1, axis=1)), even, np.inf)
    best = angle[np.argsort(dips, axis=1)[:, :_DIPS]]
    width = 2 * np.pi / _CIRCLE_POINTS
    for _ in range(_ROUNDS):
        close = best[:, :, None] + np.linspace(-width, width, _FINE_POINTS)
        fine = surface.at(
            x[:, None, None] + radius_m * np.cos(close), y[:, None, None] + radius_m * np.sin(close)
        )
        least = np.minimum(least, fine.min(axis=(1, 2)))
        at = np.nan_to_num(fine, nan=np.inf).argmin(axis=2)[:, :, None]
        best = np.take_along_axis(close, at, axis=2)[:, :, 0]
        width *= 2 / (_FINE_POINTS - 1)
    return least


def least_depth_along(
    surface: DepthSurface, x0: Floats, y0: Floats, x1: Floats, y1: Floats, *, level_m: float = 0.0
) -> Floats:
    """Least depth along straight lines.

    Parameters
    ----------
    surface
        The lake's depth.
    x0, y0, x1, y1
        Ends of the lines, one-dimensional arrays of one length.
    level_m
        Today's surface minus chart datum, added to every depth.

    Returns
    -------
    The least of today's depths on each line; NaN where any part of it has no known depth.

    Notes
    -----
    Exact for the surface given: the line is cut where it crosses rows and columns of cell centres, and in
    each piece the least value of a parabola is taken. What the surface does not show, the line cannot see.
    """
    least = np.empty(len(x0))
    if not len(x0):
        return least
    reach = max(
        float(np.abs(x1 - x0).max()) / surface.cell_x_m, float(np.abs(y1 - y0).max()) / surface.cell_y_m
    )
    lines = max(1, int(_MOST_VALUES / (4 * reach + 12)))
    for first in range(0, len(x0), lines):
        part = slice(first, first + lines)
        least[part] = _least_along(surface, x0[part], y0[part], x1[part], y1[part])
    return least + level_m


def least_depth_inside(
    surface: DepthSurface, x: Floats, y: Floats, radius_m: float, *, level_m: float = 0.0
) -> Floats:
    """Least depth inside circles of one radius.

    Parameters
    ----------
    surface
        The lake's depth.
    x, y
        Centres, one-dimensional arrays of one length.
    radius_m
        Radius, 0 or more.
    level_m
        Today's surface minus chart datum, added to every depth.

    Returns
    -------
    The least of today's depths in each circle; NaN where any point looked at has no known depth.

    Notes
    -----
    A bilinear patch has no least value in its inside (it is harmonic), so the least lies at a cell centre
    inside the circle or on the circle. There the surface bends at the lines through the cell centres, all of
    which are looked at. Between them 64 points, and closer ones about their three lowest dips, leave an error
    far below a thousandth of radius times slope.
    """
    least = np.empty(len(x))
    nodes = (2 * radius_m / surface.cell_x_m + 3) * (2 * radius_m / surface.cell_y_m + 3)
    circles = max(1, int(_MOST_VALUES / (nodes + 4 * _CIRCLE_POINTS)))
    for first in range(0, len(x), circles):
        part = slice(first, first + circles)
        least[part] = _least_inside(surface, x[part], y[part], radius_m)
    return least + level_m


_BLOCK_M: Final = 8.0  # a third of a cast: few blocks to a box, and not much water beyond it


class LeastBlocks:
    """Blocks of about eight metres, with the least charted depth of each.

    Parameters
    ----------
    surface
        The lake's depth. A block with any unknown depth is unknown.
    """

    def __init__(self, surface: DepthSurface) -> None:
        self._surface = surface
        self._wide = max(1, int(_BLOCK_M // surface.cell_x_m))
        self._high = max(1, int(_BLOCK_M // surface.cell_y_m))
        depth = surface.depth_m
        rows, columns = depth.shape
        high, wide = -(-rows // self._high), -(-columns // self._wide)
        if self._high > 1 or self._wide > 1:
            # The last row and column are repeated to fill the last blocks.
            short = ((0, high * self._high - rows), (0, wide * self._wide - columns))
            depth = np.pad(depth, short, mode="edge") if any(end for _, end in short) else depth
            depth = depth.reshape(high, self._high, wide * self._wide).min(axis=1)
            depth = depth.reshape(high, wide, self._wide).min(axis=2)
        self._least_m = depth

    def deep(self, west_m: Floats, south_m: Floats, east_m: Floats, north_m: Floats, least_m: float) -> Flags:
        """Tell for which boxes all water has at least a charted depth.

        Returns
        -------
        True where every block with a share in the box is that deep: a bilinear surface is nowhere less deep than its
        shallowest corner. False says nothing. Boxes that reach beyond the outermost cell centres are never True.
        """
        if not len(west_m):
            return np.zeros(0, dtype=np.bool_)
        surface = self._surface
        rows, columns = surface.shape
        left = np.floor((west_m - surface.west_m) / surface.cell_x_m - 0.5).astype(np.intp)
        right = np.ceil((east_m - surface.west_m) / surface.cell_x_m - 0.5).astype(np.intp)
        top = np.floor((surface.north_m - north_m) / surface.cell_y_m - 0.5).astype(np.intp)
        bottom = np.ceil((surface.north_m - south_m) / surface.cell_y_m - 0.5).astype(np.intp)
        found = (left >= 0) & (top >= 0) & (right < columns) & (bottom < rows)
        left, right = (side.clip(0, columns - 1) // self._wide for side in (left, right))
        top, bottom = (side.clip(0, rows - 1) // self._high for side in (top, bottom))
        for down in range(int((bottom - top).max()) + 1):
            for across in range(int((right - left).max()) + 1):
                found &= (
                    self._least_m[np.minimum(top + down, bottom), np.minimum(left + across, right)] >= least_m
                )
        return found
