"""The layers of holds and of their lines of cast."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Floats, Geometries
    from .hold_tables import Found


_NUMBERS = (
    "cast_m",
    "cast_bearing_deg",
    "deep_bearing_deg",
    "wind_angle_deg",
    "directionality",
    "margin_m",
)
_OF_LINES = ("spot_id", "hold_no", "cast_m", "cast_bearing_deg")


def hold_layers(
    found: Sequence[Found],
    reasons: Sequence[Sequence[str]],
    *,
    names: Sequence[str],
    search_m: Floats,
    on_spot: Geometries,
    crs: Any,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Make the layer of holds and that of their lines of cast.

    Parameters
    ----------
    found, reasons
        Tables of first, second and further holds, and what is said of each row.
    names, search_m
        Ids of the spots, and how far off the marks may lie.
    on_spot
        A point of each spot, for spots without a hold.
    crs
        Reference system.

    Returns
    -------
    All rows of the first table, with ``hold_no`` 0 and ``status`` none where there is no hold, and the holds of the
    others; by spot, then by number. And a line for each hold.
    """
    parts = []
    for number, (table, said) in enumerate(zip(found, reasons, strict=True), start=1):
        ok = table.found
        point = on_spot.copy()
        point[ok] = shapely.points(table.x[ok], table.y[ok])
        part = pd.DataFrame(
            {
                "row": np.arange(len(names)),
                "spot_id": np.array(names, dtype=object),
                "hold_no": np.where(ok, number, 0),
                "status": np.where(ok, "ok", "none"),
                "reason": np.array(said, dtype=object),
                "depth_today_m": table.depth_m,
                **{name: getattr(table, name) for name in _NUMBERS},
                "search_radius_m": search_m,
                "geometry": point,
                "aim_x": table.aim_x,
                "aim_y": table.aim_y,
            }
        )
        parts.append(part if number == 1 else part[ok])
    whole = parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True)
    whole = whole.sort_values(["row", "hold_no"], kind="stable").reset_index(drop=True)
    holds = gpd.GeoDataFrame(whole.drop(columns=["row", "aim_x", "aim_y"]), geometry="geometry", crs=crs)
    ok = (whole["status"] == "ok").to_numpy()
    place = shapely.get_coordinates(holds.geometry.to_numpy()[ok])
    aim = whole.loc[ok, ["aim_x", "aim_y"]].to_numpy(dtype=float)
    ends = np.stack([place, aim], axis=1)
    lines = gpd.GeoDataFrame(
        whole.loc[ok, list(_OF_LINES)].reset_index(drop=True),
        geometry=shapely.linestrings(ends) if len(ends) else np.empty(0, dtype=object),
        crs=crs,
    )
    return holds, lines
