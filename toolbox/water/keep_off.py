"""Collect from the layers of a lake what a boat that holds keeps off, each thing with a radius."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .safe_water import SLOW

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Geometries = NDArray[np.object_]


def keep_off(
    hazards: GeoDataFrame | None,
    known_hazards: GeoDataFrame | None,
    zones: GeoDataFrame | None,
    *,
    cover_m: float,
    default_radius_m: float,
) -> tuple[Geometries, Floats]:
    """Collect what a drift circle keeps off.

    Parameters
    ----------
    hazards
        Layer ``shallow_hazards``: water too thin to run on plane may hold a boat, water too thin to idle may not.
    known_hazards
        Layer ``known_hazards``, kept off by their radius where their top is not known to lie deep enough.
    zones
        Layer ``zones``: all but slow ones.
    cover_m
        Charted depth of a top from which on the boat floats over it today.
    default_radius_m
        Radius of known hazards that tell none.

    Returns
    -------
    Geometries and their radii, for `castshed.toolbox.water.hold_rules.Surroundings`.
    """
    geometries: list[Geometries] = [np.empty(0, dtype=object)]
    radii: list[Floats] = [np.empty(0)]
    if hazards is not None:
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
