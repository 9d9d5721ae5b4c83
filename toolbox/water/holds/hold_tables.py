"""Tables of holds, and their layers: what is told of each, its line of cast, and structures that have none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from ...lon_lat import true_bearings
from ..level.least_depth import least_depth_inside
from .hold_rules import RULES, Lie
from .wind_cast import wind_angles_deg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from ...arrays import Flags, Floats, Geometries, Indices
    from .casting import Outlook

    Bits = NDArray[np.uint16]

_BITS: Final = len(RULES)


@dataclass(frozen=True, eq=False)
class Found:
    """Holds of n structures; numbers are NaN where there is none."""

    found: Flags  # whether there is a hold
    # hold, and the point of the structure it casts to
    x: Floats
    y: Floats
    aim_x: Floats
    aim_y: Floats
    # today's depth at the hold, spare water at the shallowest of the drift circle beyond what is needed,
    # length of the cast
    depth_m: Floats
    margin_m: Floats
    cast_m: Floats
    # boat to structure; structure to deep water, NaN where no side is clearly deeper; angle between cast
    # and the direction the wind comes from, NaN without a wind
    cast_bearing_deg: Floats
    deep_bearing_deg: Floats
    wind_angle_deg: Floats
    directionality: Floats  # how clear the deep side is, 0 to 1 (`deep_side.DeepSide`)
    # of the water seen: the share of directions in which it deepens, and its range of depths (`deep_side`)
    falling_share: Floats
    relief_m: Floats
    fall_m: Floats  # how much deeper the plane through the visible water is one cast off on the deep side
    # today's depth at the deepest part of the structure's edge, with or without a hold; NaN where none is
    # known
    aim_depth_m: Floats
    # deepest water within a cast that is seen from the structure, with or without a hold; NaN where none is
    seen_depth_m: Floats
    # how many places broke each rule, and how many that one only, by bit of `hold_rules.RULES`, (n, 9).
    # Complete for structures without a hold.
    broken: Indices
    alone: Indices


def bearings_deg(east: Floats, north: Floats) -> Floats:
    """Bearings of directions, 0 to below 360."""
    return np.asarray(np.degrees(np.arctan2(east, north)) % 360.0)


def apart_deg(one: Floats, other: Floats) -> Floats:
    """Angles between bearings, 0 to 180."""
    return np.asarray(np.abs((one - other + 180.0) % 360.0 - 180.0))


def _most(structure: Indices, values: Floats, rows: int) -> Floats:
    known = ~np.isnan(values)
    most = np.full(rows, -np.inf)
    np.maximum.at(most, structure[known], values[known])
    return np.where(np.isfinite(most), most, np.nan)


def _tally(structure: Indices, bits: Bits, rows: int) -> tuple[Indices, Indices]:
    """Count by structure how many places broke each rule, and how many that one only."""
    broken, alone = (np.zeros((rows, _BITS), dtype=np.intp) for _ in range(2))
    for number in range(_BITS):
        broken[:, number] = np.bincount(structure[(bits >> number) & 1 == 1], minlength=rows)
        alone[:, number] = np.bincount(structure[bits == 1 << number], minlength=rows)
    return broken, alone


def tell(look: Outlook, chosen: Indices, lie: Lie, cast_m: Floats, bits: Bits) -> Found:
    """Put the holds of one number into a table with a row for each structure."""
    ring, setting, n = look.ring, look.setting, len(look.rows)
    rays, surface, rules = ring.rays, setting.surface, setting.rules
    found = chosen >= 0
    x, y = lie.x + cast_m * lie.east, lie.y + cast_m * lie.north
    group = rays.group[look.ray[chosen[found]]]
    least_m = least_depth_inside(setting.least, x, y, rules.drift_m, level_m=setting.level_m)

    def spread(values: Floats) -> Floats:
        full = np.full(n, np.nan)
        full[found] = values
        return full

    broken, alone = _tally(np.repeat(rays.structure, look.within.sum(axis=1)), bits[look.within], n)
    seen_depth_m = np.where(look.within, ring.depth_m, -np.inf).max(axis=1)
    return Found(
        found=found,
        x=spread(x),
        y=spread(y),
        aim_x=spread(lie.x),
        aim_y=spread(lie.y),
        depth_m=spread(surface.at(x, y) + setting.level_m),
        margin_m=spread(least_m - setting.need_m),
        cast_m=spread(cast_m),
        cast_bearing_deg=spread(bearings_deg(-lie.east, -lie.north)),
        deep_bearing_deg=spread(ring.deep.bearing_deg[group]),
        wind_angle_deg=spread(wind_angles_deg(lie.east, lie.north, rules.wind_from_deg)),
        directionality=spread(ring.deep.directionality[group]),
        falling_share=spread(ring.falling_share[group]),
        relief_m=spread(ring.relief_m[group]),
        fall_m=spread(ring.deep.fall_m[group]),
        aim_depth_m=_most(rays.structure, ring.aim_depth_m, n),
        seen_depth_m=_most(rays.structure, seen_depth_m, n),
        broken=broken,
        alone=alone,
    )


def with_true_bearings(table: Found, crs: Any) -> Found:
    """Give a table of holds whose bearings, so far those of the grid, are true at each hold."""
    ok = table.found

    def turned(grid_deg: Floats) -> Floats:
        full = grid_deg.copy()
        full[ok] = true_bearings(grid_deg[ok], crs, table.x[ok], table.y[ok])
        return full

    return replace(
        table,
        cast_bearing_deg=turned(table.cast_bearing_deg),
        deep_bearing_deg=turned(table.deep_bearing_deg),
    )


def emptied(table: Found) -> Found:
    """Give a table of the same structures without a hold."""
    numbers = {
        name: np.full_like(values, np.nan) for name, values in vars(table).items() if values.dtype.kind == "f"
    }
    return replace(table, **{**numbers, "found": np.zeros_like(table.found)})


def joined(tables: list[Found]) -> Found:
    """Put tables of different structures one below the other."""
    return Found(**{name: np.concatenate([vars(one)[name] for one in tables]) for name in vars(tables[0])})


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
