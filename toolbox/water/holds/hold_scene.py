"""What a boat that holds keeps off by the layers of the day, and the water safe ways lead to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from ..ways.mesh import polygon_parts
from ..ways.safe_water import SLOW, safe_waters

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ...arrays import Floats, Geometries


def kept_off(
    hazards: GeoDataFrame | None,
    known_hazards: GeoDataFrame | None,
    zones: GeoDataFrame | None,
    *,
    cover_m: float,
    default_radius_m: float,
) -> tuple[Geometries, Floats]:
    """Collect what the drift circle keeps off, with a radius each.

    Parameters
    ----------
    hazards, known_hazards, zones
        Layers of the day, or None.
    cover_m
        Charted depth over a known hazard from which on the boat passes over it.
    default_radius_m
        Radius of known hazards that tell none.

    Returns
    -------
    Geometries, and what is added round each.
    """
    geometries: list[Geometries] = [np.empty(0, dtype=object)]
    radii: list[Floats] = [np.empty(0)]
    if hazards is not None:
        # Water too thin to run on plane may hold a boat; water too thin to idle may not.
        thin = hazards[hazards["care"] != "run"]
        geometries.append(thin.geometry.to_numpy())
        radii.append(np.zeros(len(thin)))
    if known_hazards is not None:
        top_m = known_hazards["top_depth_m"].to_numpy(dtype=float)
        high = known_hazards[~(top_m >= cover_m)]
        radius_m = high["radius_m"].to_numpy(dtype=float)
        geometries.append(high.geometry.to_numpy())
        radii.append(np.where(np.isnan(radius_m), default_radius_m, np.maximum(radius_m, 0.0)))
    if zones is not None:
        closed = zones[zones["zone"] != SLOW]
        geometries.append(closed.geometry.to_numpy())
        radii.append(np.zeros(len(closed)))
    return np.concatenate(geometries), np.concatenate(radii)


def reachable_water(
    water: GeoDataFrame,
    ramps: GeoDataFrame | None,
    hazards: GeoDataFrame | None,
    zones: GeoDataFrame | None,
    *,
    level_m: float,
    clearance_m: float,
    launch_m: float,
) -> shapely.Geometry:
    """Find the water that a boat can reach at idle from a ramp.

    Parameters
    ----------
    water, ramps, hazards, zones
        Layers of the day; without ramps all safe water counts.
    level_m
        Today's level; ramps that need more are out of use.
    clearance_m
        Distance kept from land, hazards and closed zones.
    launch_m
        How far from safe water a ramp may lie.

    Returns
    -------
    Polygon or MultiPolygon, empty where no ramp is in use.

    Notes
    -----
    The parts of idling water (`safe_water.safe_waters`) that come within ``launch_m`` of a ramp. A part is one
    piece: from any place of it a safe way leads to any other.
    """
    _, idling = safe_waters(water, hazards, zones, clearance_m=clearance_m)
    parts = np.array(polygon_parts(idling), dtype=object)
    if ramps is not None:
        usable = ramps[~(level_m < ramps["min_level_m"].to_numpy(dtype=float))]
        near = shapely.STRtree(parts).query(
            usable.geometry.to_numpy(), predicate="dwithin", distance=launch_m
        )
        parts = parts[np.unique(near[1])]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(list(parts))
