"""The depth of a lake as a grid of cell centres with a bilinear surface between them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import pyproj

from .errors import CrsError, DataError, UsageError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from .arrays import Floats, Indices


DEPTH: Final = "Depth below chart datum"
LOCAL_ERROR: Final = "Half-width within which the true depth lies (95 %)"


def _require_metres(crs: pyproj.CRS) -> None:
    remedy = "Reproject the layer, for example to the UTM zone of the lake."
    if not crs.is_projected:
        raise CrsError(
            f"The depth surface has the reference system {crs.name!r}, which is not projected; a projected system "
            f"in metres is needed. {remedy}"
        )
    if any(axis.unit_conversion_factor != 1.0 for axis in crs.axis_info[:2]):
        units = ", ".join(sorted({axis.unit_name for axis in crs.axis_info[:2]}))
        raise CrsError(
            f"The depth surface has the reference system {crs.name!r} in {units}; metres are needed. {remedy}"
        )


@dataclass(frozen=True, eq=False)
class DepthSurface:
    """Depth below chart datum on a regular north-up grid.

    Parameters
    ----------
    depth_m
        Depth at each cell centre, row 0 in the north; positive down below chart datum, negative on land where
        the land is known, NaN where nothing is known. Kept as a read-only float32 copy.
    west_m, north_m
        Outer corner of the upper left cell.
    cell_x_m, cell_y_m
        Size of a cell from west to east and from north to south, both above zero; cells may be oblong.
    crs
        Projected reference system in metres.
    error_m
        Half-width within which the true depth is taken to lie (95 %). It widens hazards, never narrows them.
    quantity
        What the numbers are, written into a coverage. Another quantity in metres on the same kind of grid, such as
        how far each depth may be off, is kept in the same way.
    stated_unit
        The unit that the file it was read from states, already turned into metres; empty where it states none.

    Notes
    -----
    Between cell centres the surface is bilinear. In the half cell outside the outermost centres it keeps the
    value at the nearest point of the rim of centres. A point has no depth when any cell centre that has a
    share in it is NaN: nothing is guessed from neighbours.

    What makes the surface wrong: cells wider than the structure one looks for, silting or dredging since the
    survey, and a chart datum other than the one the level refers to.
    """

    depth_m: NDArray[np.float32]
    west_m: float
    north_m: float
    cell_x_m: float
    cell_y_m: float
    crs: pyproj.CRS
    error_m: float = 0.15
    quantity: str = DEPTH
    stated_unit: str = ""

    def __post_init__(self) -> None:
        depth = np.array(self.depth_m, dtype=np.float32, order="C", copy=True)
        if depth.ndim != 2 or depth.size == 0:
            raise DataError(
                f"A depth surface was given as an array of shape {depth.shape}; rows and columns are needed, "
                "with at least one cell."
            )
        if np.isinf(depth).any():
            raise DataError(
                f"The depth surface holds {int(np.isinf(depth).sum())} infinite depths; give a number in "
                "metres, or NaN where the depth is not known."
            )
        depth.setflags(write=False)
        for name in ("cell_x_m", "cell_y_m"):
            value = float(getattr(self, name))
            if not (np.isfinite(value) and value > 0):
                raise UsageError(f"{name} is {value}; a cell needs a finite size above 0 m.")
            object.__setattr__(self, name, value)
        for name in ("west_m", "north_m"):
            value = float(getattr(self, name))
            if not np.isfinite(value):
                raise UsageError(
                    f"{name} is {value}; the corner of the grid needs finite coordinates in metres."
                )
            object.__setattr__(self, name, value)
        error = float(self.error_m)
        if not (np.isfinite(error) and error >= 0):
            raise UsageError(f"error_m is {error}; the depth error is a finite length of 0 m or more.")
        crs = pyproj.CRS.from_user_input(self.crs)
        _require_metres(crs)
        object.__setattr__(self, "depth_m", depth)
        object.__setattr__(self, "error_m", error)
        object.__setattr__(self, "crs", crs)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.depth_m.shape
        return int(rows), int(columns)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge of the outermost cells, metres."""
        rows, columns = self.shape
        return (
            self.west_m,
            self.north_m - rows * self.cell_y_m,
            self.west_m + columns * self.cell_x_m,
            self.north_m,
        )

    @property
    def xs(self) -> Floats:
        """Eastings of the cell centres, from west to east."""
        return self.west_m + (np.arange(self.shape[1], dtype=np.float64) + 0.5) * self.cell_x_m

    @property
    def ys(self) -> Floats:
        """Northings of the cell centres, from north to south (the order of the rows)."""
        return self.north_m - (np.arange(self.shape[0], dtype=np.float64) + 0.5) * self.cell_y_m

    def at(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Depth below chart datum at points.

        Parameters
        ----------
        x, y
            Eastings and northings in the surface's own reference system, any shapes that fit each other.

        Returns
        -------
        Depths in metres in the common shape of x and y; NaN outside the grid and wherever a cell centre that
        has a share in the point is not known.
        """
        x_, y_ = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
        rows, columns = self.shape
        west, south, east, north = self.bounds
        inside = (x_ >= west) & (x_ <= east) & (y_ >= south) & (y_ <= north)
        column = np.where(inside, (x_ - west) / self.cell_x_m - 0.5, 0.0).clip(0, columns - 1)
        row = np.where(inside, (north - y_) / self.cell_y_m - 0.5, 0.0).clip(0, rows - 1)
        left = np.floor(column).astype(np.intp)
        top = np.floor(row).astype(np.intp)
        across, down = column - left, row - top
        right = np.minimum(left + 1, columns - 1)
        bottom = np.minimum(top + 1, rows - 1)

        def share(r: Indices, c: Indices, weight: Floats) -> Floats:
            # A centre without any share in the point may be unknown: 0 * NaN would spoil a known depth.
            return np.where(weight > 0, self.depth_m[r, c].astype(np.float64) * weight, 0.0)

        depth = (
            share(top, left, (1 - across) * (1 - down))
            + share(top, right, across * (1 - down))
            + share(bottom, left, (1 - across) * down)
            + share(bottom, right, across * down)
        )
        return np.where(inside, depth, np.nan).astype(np.float64, copy=False)

    def shifted(self, level_m: float) -> DepthSurface:
        """Give today's depth: charted depth plus level (today's surface minus chart datum)."""
        if not np.isfinite(level_m):
            raise UsageError(
                f"The level is {level_m}; give today's surface minus chart datum, as a finite length."
            )
        return self.with_depth(self.depth_m + np.float32(level_m))

    def with_depth(self, depth_m: NDArray[np.floating], error_m: float | None = None) -> DepthSurface:
        """Make a surface on the same grid with other depths, and another error where one is given."""
        if depth_m.shape != self.depth_m.shape:
            raise DataError(f"The new depths have shape {depth_m.shape}; the grid has {self.shape}.")
        error = self.error_m if error_m is None else error_m
        return replace(self, depth_m=depth_m, error_m=error)

    def window(self, west_m: float, south_m: float, east_m: float, north_m: float) -> DepthSurface:
        """Cut out the cells that touch a box, with one cell more on each side where the grid has it."""
        rows, columns = self.shape
        first_column = int(np.clip(np.floor((west_m - self.west_m) / self.cell_x_m) - 1, 0, columns - 1))
        last_column = int(
            np.clip(np.ceil((east_m - self.west_m) / self.cell_x_m) + 1, first_column + 1, columns)
        )
        first_row = int(np.clip(np.floor((self.north_m - north_m) / self.cell_y_m) - 1, 0, rows - 1))
        last_row = int(np.clip(np.ceil((self.north_m - south_m) / self.cell_y_m) + 1, first_row + 1, rows))
        return replace(
            self,
            depth_m=self.depth_m[first_row:last_row, first_column:last_column],
            west_m=self.west_m + first_column * self.cell_x_m,
            north_m=self.north_m - first_row * self.cell_y_m,
        )
