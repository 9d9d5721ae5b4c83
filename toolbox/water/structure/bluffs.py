"""Bluffs: stretches of bank with deep water close to the edge.

The water's edge as lines with the way to the water at every point.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import contourpy
import numpy as np
import shapely
from scipy.ndimage import median_filter

from ...compiled import compiled
from ...report import note
from ..landform.polyline import ahead, evenly, smoothed, spells
from .finding_table import bearing_deg, findings, require_lengths

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from ...arrays import Floats
    from ...depth import DepthSurface

_SMOOTH_M = (
    9.0  # the way to the water is taken from the edge smoothed over this, so that cells leave no steps in it
)


@dataclass(frozen=True)
class BankLine:
    """A piece of the water's edge: points at even steps, unit vectors to the water, and whether it closes."""

    points: Floats
    to_water: Floats
    step_m: float
    closed: bool


@compiled
def _edge_field(depth: NDArray[np.float32], fill: bool) -> NDArray[np.float32]:
    """Depths, and where asked land in place of the unknown beside water, so that the edge runs between the two."""
    field = depth.copy()
    if not fill:
        return field
    rows, columns = depth.shape
    for r in range(rows):
        for c in range(columns):
            if not np.isnan(depth[r, c]):
                continue
            total, count = 0.0, 0
            for down in range(-1, 2):
                for right in range(-1, 2):
                    rr, cc = r + down, c + right
                    if 0 <= rr < rows and 0 <= cc < columns and depth[rr, cc] > 0:
                        total += depth[rr, cc]
                        count += 1
            if count:
                field[r, c] = -total / count
    return field


@compiled
def _land_beside_water(depth: NDArray[np.float32]) -> bool:
    rows, columns = depth.shape
    for r in range(rows):
        for c in range(columns):
            if depth[r, c] > 0:
                if (r > 0 and depth[r - 1, c] <= 0) or (r + 1 < rows and depth[r + 1, c] <= 0):
                    return True
                if (c > 0 and depth[r, c - 1] <= 0) or (c + 1 < columns and depth[r, c + 1] <= 0):
                    return True
    return False


def bank_lines(
    surface: DepthSurface, *, least_m: float, unknown_is_land: bool | None = None, step_m: float = 3.0
) -> list[BankLine]:
    """Find the water's edge.

    Parameters
    ----------
    surface
        Today's depth.
    least_m
        Shorter pieces are left out.
    unknown_is_land
        Whether unknown cells beside water are a bank or just not surveyed. None decides: they are the bank where no
        land at all is known beside water. The rim of the grid is never a bank.
    step_m
        Distance between points.

    Returns
    -------
    In the order of the grid's rows; empty where there is no edge.
    """
    depth = surface.depth_m
    if unknown_is_land is None:
        unknown_is_land = not _land_beside_water(depth)
    if min(depth.shape) < 2:
        return []
    field = np.ma.masked_invalid(_edge_field(depth, unknown_is_land))
    drawn = contourpy.contour_generator(surface.xs, surface.ys, field, name="serial").lines(0.0)
    lines = []
    for line in drawn:
        points = np.asarray(line, dtype=np.float64)
        if np.hypot(*np.diff(points, axis=0).T).sum() < max(least_m, 4 * step_m):
            continue
        closed = bool((points[0] == points[-1]).all())
        points, step = evenly(points, step_m, closed=closed)
        way = ahead(smoothed(points, int(_SMOOTH_M // step), closed=closed), closed=closed)
        # Lines are drawn with the greater value to the left when rows count upward; here they count southward.
        lines.append(BankLine(points, np.column_stack([way[:, 1], -way[:, 0]]), step, closed))
    return lines


_FAN_DEG = (
    -30.0,
    0.0,
    30.0,
)  # three ways off the bank; the middle value is taken, so that one notch changes nothing
_SHOTS = 5  # soundings on each way
_LONE_M = 15.0  # a spell along the bank shorter than this is a rock or a gully, not the bank's character


def _off_bank(surface: DepthSurface, bank: BankLine, within_m: float) -> Floats:
    """Depth reached within a distance off each point of a bank, as long as the way there is water."""
    reached = np.empty((len(_FAN_DEG), len(bank.points)))
    for row, turn in zip(reached, np.radians(_FAN_DEG), strict=True):
        c, s = np.cos(turn), np.sin(turn)
        way = bank.to_water @ np.array([[c, s], [-s, c]])
        off = within_m / c * np.arange(1, _SHOTS + 1) / _SHOTS  # measured square to the bank
        at = bank.points[:, None, :] + off[None, :, None] * way[:, None, :]
        depth = surface.at(at[..., 0], at[..., 1])
        # NaN compares False, so the unknown ends the way as land does.
        wet = np.logical_and.accumulate(depth > 0, axis=1)
        row[:] = np.where(wet, depth, 0.0).max(axis=1)
    return np.asarray(np.median(reached, axis=0))


def find_bluffs(
    surface: DepthSurface,
    *,
    within_m: float = 15.0,
    depth_m: float = 3.6,
    length_m: float = 40.0,
    unknown_is_land: bool | None = None,
) -> gpd.GeoDataFrame:
    """Find stretches of bank with deep water close by.

    Parameters
    ----------
    surface
        Today's depth.
    within_m
        How close to the bank the deep water has to be.
    depth_m
        How deep it has to be there.
    length_m
        How long the stretch has to be.
    unknown_is_land
        Whether unknown cells beside water are a bank or just not surveyed; None takes them as the bank only where no
        land is known at all. The rim of the grid is never a bank.

    Returns
    -------
    A LineString along the water's edge for each bluff, the clearest first. `top_m` is 0, the water's edge;
    `base_m` the middle depth within `within_m` of it; `slope_deg` the mean slope down to there; `strength`
    is base over `depth_m`.

    Notes
    -----
    Common practice: contours crowded against the bank are a bluff. What makes the result wrong: cells too wide to
    hold the wall (over half of `within_m` nothing is looked for, with a warning), depths drawn as a slope where
    soundings stop short of the bank, and a level far from the one the edge was drawn at.
    """
    require_lengths(within_m=within_m, depth_m=depth_m, length_m=length_m)
    shapes: list[shapely.LineString] = []
    rows: list[tuple[float, float, float]] = []
    if max(surface.cell_x_m, surface.cell_y_m) > within_m / 2:
        note(
            f"Bluffs were not looked for: cells of {max(surface.cell_x_m, surface.cell_y_m):g} m cannot show what lies "
            f"within {within_m:g} m of the bank. Make the depths on cells of {within_m / 2:g} m or less.",
            stacklevel=2,
        )
    else:
        for bank in bank_lines(surface, least_m=length_m, unknown_is_land=unknown_is_land):
            off = _off_bank(surface, bank, within_m)
            lone = min(int(_LONE_M / bank.step_m) | 1, len(off) - 1 | 1)
            deep = median_filter(off >= depth_m, size=lone, mode="wrap" if bank.closed else "nearest")
            for spell in spells(deep, closed=bank.closed):
                if len(spell) < 2 or (len(spell) - 1) * bank.step_m < length_m:
                    continue
                shapes.append(shapely.LineString(bank.points[spell]))
                east, north = bank.to_water[spell].mean(axis=0)
                rows.append((float(np.median(off[spell])), east, north))
    base = np.array([row[0] for row in rows])
    return findings(
        "bluff",
        shapes,
        surface.crs,
        {
            "top_m": np.zeros(len(base)),
            "base_m": base,
            "relief_m": base,
            "slope_deg": np.degrees(np.arctan2(base, within_m)),
            "length_m": shapely.length(shapes) if shapes else base,
            "deep_bearing_deg": [bearing_deg(east, north) for _, east, north in rows],
            "strength": base / depth_m,
        },
    )
