"""Numbers that spots tell of themselves, checked, and what the coverage tells where they do not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from ...errors import DataError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ...arrays import Floats
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
