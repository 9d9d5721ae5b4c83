"""The band a surface states: what was learnt from its own data where they are enough, else what is usual."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from .confidence import bending, over_surface, said_error
from .error_law import ErrorLaw, OwnError, SoundingLaw, learn, learn_soundings, own_error, upper_quantile
from .held_out import between_centres, held_out
from .raster_error import drawn_error_m
from .sounded import Gaps, gaps_of, leave_soundings_out, own_way, steepest_bank, usual_gap_m

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ..bottom.barriers import Grid
    from ..bottom.measured import Measured

    Floats = NDArray[np.float32]

_OWN: Final = 20_000
_FEW: Final = 5  # places left out, from which on what is usual is scaled by them


@dataclass(frozen=True, eq=False)
class Band:
    """How the half-width follows from way to data, steepness and bending.

    ``law`` is None where too little could be left out; then what is usual counts, ``times`` as much as usual.
    ``sideways_m`` is how far data may lie beside their place, ``least_m`` what their sources state. ``reach_m``
    is how far round a place gaps between soundings are looked for. ``drawn_m`` is how coarsely lines are drawn: a law
    that was learnt where lines were left out holds that already, for these were as coarse. ``bank`` is the steepest
    that banks are: so much deeper than at the shore, and no less deep than 0, a bottom lies within its way to it.
    """

    law: ErrorLaw | SoundingLaw | None
    times: float
    own: OwnError
    sideways_m: float
    least_m: float
    interval_m: float | None
    middle_slope: np.float32
    reach_m: float = 0.0
    drawn_m: float = 0.0
    bank: float = float("inf")

    def gaps(self, grid: Grid, depth_m: Floats, away_m: Floats) -> Gaps | None:
        """Gaps between soundings, where the law asks for them; of the whole lake."""
        return gaps_of(grid, depth_m, away_m, self.reach_m) if isinstance(self.law, SoundingLaw) else None

    def at(
        self, grid: Grid, depth_m: Floats, away_m: Floats, gaps: Gaps | None, slope: Floats, bend: Floats
    ) -> Floats:
        """Half-width (95 %) at each centre; NaN where there is no depth."""
        if self.law is None:
            error = np.float32(self.times) * said_error(
                grid,
                depth_m,
                away_m,
                slope,
                middle_slope=self.middle_slope,
                interval_m=self.interval_m,
                least_m=0.0,
            )
        else:
            error = np.full(depth_m.shape, np.nan, dtype=np.float32)
            known = np.isfinite(depth_m)
            way = np.nan_to_num(away_m[known], nan=0.0, posinf=1e6)
            if gaps is not None and isinstance(self.law, SoundingLaw):
                own, gap = own_way(grid, way), np.maximum(gaps.gap_m[known], way)
                error[known] = self.law.at(
                    own, np.maximum(gap, own), slope[known], bend[known], gaps.ashore[known]
                )
            elif isinstance(self.law, ErrorLaw):
                error[known] = self.law.at(way, slope[known], bend[known], depth_m[known])
        drawn = np.float32(self.drawn_m) * slope
        error = np.hypot(error, drawn) if self.law is None else np.maximum(error, drawn)
        parts = error**2 + self.own.at(slope) ** 2 + (np.float32(self.sideways_m) * slope) ** 2
        error = np.sqrt(parts)
        if gaps is not None and np.isfinite(self.bank):
            far = gaps.shore_m + np.float32(max(grid.cell_x_m, grid.cell_y_m))
            lowest = np.float32(self.bank) * far - depth_m
            error = np.where(gaps.ashore, np.minimum(error, np.maximum(depth_m, lowest)), error)
        return np.asarray(np.maximum(error, np.float32(self.least_m)), dtype=np.float32)


def _slope_at(depth: Floats, grid: Grid, r: NDArray[np.int64], c: NDArray[np.int64]) -> NDArray[np.float64]:
    """Steepness at some centres only, for a grid of which the whole would be too much."""
    total = np.zeros(len(r))
    for step, down, right in ((grid.cell_x_m, 0, 1), (grid.cell_y_m, 1, 0)):
        here = depth[r, c].astype(np.float64)
        rises = [
            depth[(r + s * down).clip(0, grid.rows - 1), (c + s * right).clip(0, grid.columns - 1)] - here
            for s in (-1, 1)
        ]
        total += np.nan_to_num(np.fmax(np.abs(rises[0]), np.abs(rises[1])) / step, nan=0.0) ** 2
    return np.asarray(np.sqrt(total))


def _own(grid: Grid, known: Measured, depth_m: Floats) -> OwnError:
    spacing = max(grid.cell_x_m, float(shapely.length(known.lines).sum()) / _OWN)
    points = known.points(spacing, shore=False)
    points = points[np.random.default_rng(len(points)).permutation(len(points))[:_OWN]]
    points = points[
        points[:, 3] >= points[:, 3].max()
    ]  # what others were weighed down by is no error of theirs
    column, row = grid.places(points[:, :2]).T
    r = np.rint(row).astype(np.int64).clip(0, grid.rows - 1)
    c = np.rint(column).astype(np.int64).clip(0, grid.columns - 1)
    off = between_centres(depth_m, row, column) - points[:, 2]
    fits = np.isfinite(off)
    return own_error(off[fits], _slope_at(depth_m, grid, r, c)[fits])


def learn_band(
    grid: Grid,
    known: Measured,
    depth_m: Floats,
    away_m: Floats,
    *,
    middle_slope: np.float32,
    interval_m: float | None,
    least_m: float = 0.0,
    sideways_m: float = 0.0,
    tension: float | None = None,
) -> Band:
    """Learn from what is left out how far a surface may be off.

    Parameters
    ----------
    grid, known, tension
        What the surface was made on and from.
    depth_m
        The surface.
    away_m
        Way over water from each centre to the nearest datum.
    middle_slope, interval_m, least_m
        As for `said_error`.
    sideways_m
        Error of position that the sources state.

    Notes
    -----
    See `held_out` and `learn` for the method and its sources. Where too few depths can be left out, the law fitted to
    made bottoms counts, widened to hold those that could be.
    """
    lined = len(known.lines) > known.shores
    cell = max(grid.cell_x_m, grid.cell_y_m)
    reach = usual_gap_m(away_m)
    law: ErrorLaw | SoundingLaw | None = None
    if not lined:
        left = leave_soundings_out(grid, known, away_m, reach, tension=tension)
        law = None if left is None else learn_soundings(left)
    bank = float("inf")
    if isinstance(law, SoundingLaw):
        bank = steepest_bank(known, reach, cell)
    times = 1.0
    found = None if law is not None else held_out(grid, known, away_m, tension=tension)
    if lined and found is not None:
        law = learn(found, cell, ashore_m=float(known.line_depth_m[known.shores :].min()))
    if found is not None:
        found = found.only(~found.ashore)
    if law is None and found is not None and len(found) >= _FEW:
        way, steep = (found.features[:, k][None].astype(np.float32) for k in (0, 1))
        usual = said_error(
            grid, np.zeros(way.shape, dtype=np.float32), way, steep,
            middle_slope=middle_slope, interval_m=interval_m, least_m=0.0,
        )  # fmt: skip
        times = max(1.0, upper_quantile(np.abs(found.off_m) / usual[0], 0.95))
    drawn = drawn_error_m(known.lines[known.shores :]) if lined else 0.0
    own = _own(grid, known, depth_m)
    return Band(law, times, own, sideways_m, least_m, interval_m, middle_slope, reach, drawn, bank)


def surface_error_m(
    grid: Grid,
    known: Measured,
    depth_m: Floats,
    *,
    interval_m: float | None,
    least_m: float = 0.0,
    sideways_m: float = 0.0,
    shoals: NDArray[np.float64] | None = None,
    tension: float | None = None,
) -> Floats:
    """Half-width within which the true depth lies (95 %), at each cell centre, learnt from the lake's own data.

    Parameters
    ----------
    grid, known, depth_m, interval_m, least_m, shoals
        As for `local_error_m`.
    sideways_m, tension
        As for `learn_band`.

    Returns
    -------
    Metres, NaN where the surface has no depth, and never above the greatest depth.
    """

    def learnt(away: Floats, slope: Floats, middle: np.float32) -> Floats:
        band = learn_band(
            grid, known, depth_m, away,
            middle_slope=middle, interval_m=interval_m, least_m=least_m, sideways_m=sideways_m, tension=tension,
        )  # fmt: skip
        return band.at(grid, depth_m, away, band.gaps(grid, depth_m, away), slope, bending(depth_m, grid))

    return over_surface(grid, known, depth_m, shoals, learnt)
