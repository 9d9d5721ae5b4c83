"""The water from which each spot can be cast to."""

from __future__ import annotations

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import CastReach, Length, Spots, Water

MARK_M = 1.0
"""Radius of the mark drawn for a spot without any reach."""


@algorithm(
    step="hold",
    example="castshed cast-reach demo_layers/reservoir.gpkg:spots "
    "my_day/plan.gpkg:water --most-cast 90ft --out my.gpkg:cast_reach",
)
def cast_reach(
    spots: Spots,
    water: Water,
    *,
    least_cast_m: Length = 12.192,
    most_cast_m: Length = 27.432,
) -> CastReach:
    """Draw the ring of water from which each spot can be cast to.

    The ring lies between the least and the most cast from a point, line or polygon, and holds only water from which
    a straight line to the spot crosses no land and no dry ground of today. A spot whose ring is empty keeps its
    row: `status` is `none`, `reason` says why, `area_m2` is 0, and the geometry is a mark of one metre round the spot.

    The ring tells where a cast can come from. Whether a boat may sit there is for boat-hold.

    Parameters
    ----------
    spots
        Structures to cast to: points, lines or polygons.
    water
        Today's water, from water-today; islands are holes.
    least_cast_m
        Least cast, so that the boat does not sit on the spot (common practice).
    most_cast_m
        Most comfortable cast (common practice).

    Returns
    -------
    One row a spot: `spot_id`, `status`, `reason`, `area_m2`.

    Raises
    ------
    UsageError
        The least cast is not below the most.

    Notes
    -----
    Sight lines are exact round points; lines and edges are looked at every 5 m
    (`castshed.toolbox.water.cast_ring`). The water layer is as good as the depth surface and level it was made from.
    """
    import geopandas as gpd
    import numpy as np
    import shapely

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.units import in_words
    from castshed.toolbox.water.cast_ring import cast_reaches

    if not least_cast_m < most_cast_m:
        raise UsageError(
            f"least-cast is {in_words(least_cast_m, 'length')} and most-cast {in_words(most_cast_m, 'length')}; "
            "the least cast must be shorter than the most."
        )
    structures = spots.geometry.to_numpy()
    found = cast_reaches(structures, water.geometry.to_numpy(), least_m=least_cast_m, most_m=most_cast_m)
    none = shapely.is_empty(found.area)
    geometry = found.area.copy()
    geometry[none] = shapely.buffer(structures[none], MARK_M)
    full = "all of the ring is open water"
    cut = "land takes part of the ring"
    reason = [why or (cut if part else full) for why, part in zip(found.reason, found.cut, strict=True)]
    return gpd.GeoDataFrame(
        {
            "spot_id": spots["spot_id"].to_numpy(dtype=object),
            "status": np.where(none, "none", "ok"),
            "reason": np.array(reason, dtype=object),
            "area_m2": shapely.area(found.area),
        },
        geometry=geometry,
        crs=spots.crs,
    )
