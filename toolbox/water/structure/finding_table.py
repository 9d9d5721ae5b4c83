"""The table every finder gives: one row a finding, the same columns whatever the kind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np

from ...errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pyproj
    import shapely
    from numpy.typing import ArrayLike

NUMBERS = (
    "top_m",
    "base_m",
    "relief_m",
    "slope_deg",
    "length_m",
    "area_m2",
    "deep_bearing_deg",
    "strength",
)


def require_lengths(**lengths: float) -> None:
    """Refuse a threshold that is not a finite number above zero.

    Raises
    ------
    UsageError
        Naming the threshold and what was given.
    """
    for name, value in lengths.items():
        if not (np.isfinite(value) and value > 0):
            raise UsageError(f"{name} is {value}; give a finite number above 0.")


def bearing_deg(east: float, north: float) -> float:
    """Give the bearing of a direction clockwise from grid north, 0 up to 360; NaN for no direction."""
    if not (np.isfinite(east) and np.isfinite(north)) or (east == 0 and north == 0):
        return float("nan")
    bearing = float(np.degrees(np.arctan2(east, north)) % 360.0)
    return 0.0 if bearing >= 360.0 else bearing


def findings(
    kind: str,
    geometry: Sequence[shapely.Geometry],
    crs: pyproj.CRS,
    columns: Mapping[str, ArrayLike],
) -> gpd.GeoDataFrame:
    """Put findings of one kind together, the clearest first.

    Parameters
    ----------
    kind
        What they are.
    geometry
        One shape a finding; none gives an empty table with all columns.
    crs
        Reference system of the shapes.
    columns
        Numbers by column; those of `NUMBERS` that are missing become NaN.
    """
    count = len(geometry)
    numbers = {
        name: np.asarray(columns.get(name, np.full(count, np.nan)), dtype=np.float64).reshape(count)
        for name in NUMBERS
    }
    table = gpd.GeoDataFrame(
        {"kind": np.full(count, kind, dtype=object), **numbers}, geometry=list(geometry), crs=crs
    )
    return table.sort_values("strength", ascending=False, kind="stable", ignore_index=True)
