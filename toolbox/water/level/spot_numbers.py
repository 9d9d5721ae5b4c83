"""Numbers that spots tell of themselves, checked, and those of them that stand out of the water today."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...errors import DataError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame

    from ...arrays import Floats, Geometries, Indices
    from ...depth import DepthSurface


def not_negative(spots: GeoDataFrame, column: str) -> Floats:
    """Take a column of spots whose numbers are 0 or more, or missing (NaN).

    Raises
    ------
    DataError
        A number is negative.
    """
    values = spots[column].to_numpy(dtype=float)
    if (values < 0).any():
        row = int((values < 0).argmax())
        raise DataError(
            f"spots.{column} is {values[row]} for {spots['spot_id'].iloc[row]}; it must be 0 or more, or empty."
        )
    return np.asarray(values)


def bottoms_today_m(spots: GeoDataFrame, surface: DepthSurface | None, level_m: float) -> Floats:
    """Today's depth of the bottom at each spot: as listed, else by the coverage at a point of it, else NaN."""
    listed = spots["depth_m"].to_numpy(dtype=float)
    if surface is not None:
        point = shapely.point_on_surface(spots.geometry.to_numpy())
        listed = np.where(np.isnan(listed), surface.at(shapely.get_x(point), shapely.get_y(point)), listed)
    return np.asarray(listed + level_m)


def search_radii_m(own_m: Floats, otherwise_m: float, fix_m: float) -> Floats:
    """Radius of the circle in which each spot is to be looked for, and in which the boat lies off its mark.

    Parameters
    ----------
    own_m
        Position error of each spot, NaN where it tells none.
    otherwise_m
        Position error of those.
    fix_m
        Error of the boat's own position.

    Notes
    -----
    The errors, of 95 %, have nothing to do with each other: the root of the sum of their squares.
    """
    return np.hypot(np.where(np.isnan(own_m), otherwise_m, own_m), fix_m)


STANDS_OUT: Final = frozenset({"standing_timber", "dock"})
"""Kinds that stand out of the water unless their height tells otherwise (common practice)."""
_ARC_SEGMENTS: Final = 18  # to a quarter circle


def tall_cover(
    structures: Geometries,
    kinds: Sequence[str],
    *,
    bottom_m: Floats,
    height_m: Floats,
    radius_m: float,
) -> tuple[Geometries, Indices]:
    """Find the structures that stand out of the water today, and the area each takes.

    Parameters
    ----------
    structures, kinds
        Structures, and the kind of each.
    bottom_m, height_m
        Today's depth of the bottom under each and how far it stands off the bottom; NaN where not known.
    radius_m
        Radius of cover that is marked by a point or a line.

    Returns
    -------
    Areas of the tall ones, and the row of each.

    Notes
    -----
    A structure of known height is tall when its top is at the surface or above, whatever its kind. One of unknown
    height or over unknown depth is tall when its kind stands out of the water as a rule.
    """
    if not len(structures):
        return np.empty(0, dtype=object), np.empty(0, dtype=np.intp)
    known = ~np.isnan(bottom_m) & ~np.isnan(height_m)
    as_a_rule = np.array([kind in STANDS_OUT for kind in kinds], dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        tall = np.where(known, (height_m > 0) & (bottom_m - height_m <= 0), as_a_rule)
    rows = np.flatnonzero(tall)
    areas = structures[rows].copy()
    thin = shapely.get_dimensions(areas) < 2
    # The flat sides of the round ends touch the true circle from outside.
    outer_m = radius_m / np.cos(np.pi / (4 * _ARC_SEGMENTS))
    areas[thin] = shapely.buffer(areas[thin], outer_m, quad_segs=_ARC_SEGMENTS)
    there = ~shapely.is_empty(areas)
    return areas[there], rows[there]
