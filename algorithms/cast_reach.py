"""The water from which each spot can be cast to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    CastReach,
    Depth,
    FixError,
    Footprint,
    LeastCast,
    MostCast,
    SpotError,
    Spots,
    TodaysLevel,
    UpwindFactor,
    Water,
    WindFrom,
    YesNo,
    defaults,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from castshed.toolbox.water.holds.cast_ring import CastRings

    Floats = NDArray[np.float64]

MARK_M = 1.0
"""Radius of the mark drawn for a spot without any reach."""


def _reasons(found: CastRings, search_m: Floats, *, sure: bool) -> list[str]:
    """Say what limits each ring, and for an empty one of a vague mark how vague it is."""
    from castshed.toolbox.units import in_words

    said = []
    for row, why in enumerate(found.reason):
        cut = "land or tall cover" if found.covered[row] else "land"
        part = f"{cut} takes part of the ring" if found.cut[row] else "all of the ring is open water"
        vague = why and sure and "on dry ground" not in why
        good_to = in_words(search_m[row], "length")
        said.append(
            f"no place is surely within the casts of a mark good to {good_to} only; find it on the sounder first"
            if vague
            else why or part
        )
    return said


@algorithm(
    step="hold",
    example="castshed cast-reach demo_layers/reservoir.gpkg:spots "
    "my_day/plan.gpkg:water --most-cast 90ft --wind-from SW --out my.gpkg:cast_reach",
)
def cast_reach(
    spots: Spots,
    water: Water,
    *,
    least_cast_m: LeastCast = defaults.LEAST_CAST_M,
    most_cast_m: MostCast = defaults.MOST_CAST_M,
    wind_from_deg: WindFrom | None = None,
    upwind_factor: UpwindFactor = defaults.UPWIND_FACTOR,
    depth: Depth | None = None,
    level_m: TodaysLevel = 0.0,
    footprint_m: Footprint = defaults.FOOTPRINT_M,
    spot_error_m: SpotError = defaults.SPOT_ERROR_M,
    fix_error_m: FixError = defaults.FIX_ERROR_M,
    sure: YesNo = False,
) -> CastReach:
    """Draw the ring of water from which each spot can be cast to.

    The ring lies between the least and the most cast from a point, line or polygon, and holds only water from which
    a straight line to the spot crosses no land, no dry ground of today and no other spot that stands out of the water
    today. In a wind the ring is drawn in where the cast goes against it. A spot whose ring is empty keeps its
    row: `status` is `none`, `reason` says why, `area_m2` is 0, and the geometry is a mark of one metre round the spot.

    The level only tells what stands out of the water. The ring tells where a cast can come from. Whether a boat may
    sit there is for boat-hold.

    Parameters
    ----------
    spots
        Structures to cast to: points, lines or polygons.
    water
        Today's water, from water-today; islands are holes.
    depth
        Depth coverage, to tell which spots without a listed depth stand out of the water.
    sure
        Draw only the water from which the spot is within the casts wherever in its search circle it lies.

    Returns
    -------
    One row a spot: `spot_id`, `status`, `reason`, `area_m2`, `search_radius_m`.

    Raises
    ------
    UsageError
        The least cast is not below the most, or the factor is out of its range.
    DataError
        A height or position error of a spot is negative.

    Notes
    -----
    Sight lines are exact round points; lines and edges are looked at every 5 m
    (`castshed.toolbox.water.holds.cast_ring`). Tall cover: `castshed.toolbox.water.level.spot_numbers`; wind:
    `wind_cast`. The position errors of the two marks, of 95 %, are joined by the root of the sum of their squares.
    The water layer is as good as the depth surface and level it was made from.
    """
    import geopandas as gpd
    import numpy as np
    import shapely

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.lon_lat import north_of
    from castshed.toolbox.units import in_words
    from castshed.toolbox.water.holds.cast_ring import cast_reaches
    from castshed.toolbox.water.holds.wind_cast import check_factor, wind_shape
    from castshed.toolbox.water.level.spot_numbers import (
        bottoms_today_m,
        not_negative,
        search_radii_m,
        tall_cover,
    )

    if not least_cast_m < most_cast_m:
        raise UsageError(
            f"least-cast is {in_words(least_cast_m, 'length')} and most-cast {in_words(most_cast_m, 'length')}; "
            "the least cast must be shorter than the most."
        )
    check_factor(upwind_factor)
    structures = spots.geometry.to_numpy()
    screens, screen_rows = tall_cover(
        structures,
        spots["kind"].tolist(),
        bottom_m=bottoms_today_m(spots, depth, level_m),
        height_m=not_negative(spots, "height_m"),
        radius_m=footprint_m,
    )
    search_m = search_radii_m(not_negative(spots, "position_error_m"), spot_error_m, fix_error_m)
    within_m = search_m if sure else np.zeros(len(spots))
    shape, share = None, 1.0
    if wind_from_deg is not None:
        shape, share = wind_shape(wind_from_deg - north_of(spots), upwind_factor), upwind_factor
    # Drawn in before the wind shortens it, the ring has to lose more, so that the shortest cast loses enough.
    found = cast_reaches(
        structures,
        water.geometry.to_numpy(),
        least_m=least_cast_m + within_m,
        most_m=np.maximum(most_cast_m - within_m / share, 0.0),
        shape=shape,
        screens=screens,
        screen_rows=screen_rows,
    )
    none = shapely.is_empty(found.area)
    geometry = found.area.copy()
    geometry[none] = shapely.buffer(structures[none], MARK_M)
    return gpd.GeoDataFrame(
        {
            "spot_id": spots["spot_id"].to_numpy(dtype=object),
            "status": np.where(none, "none", "ok"),
            "reason": np.array(_reasons(found, search_m, sure=sure), dtype=object),
            "area_m2": shapely.area(found.area),
            "search_radius_m": search_m,
        },
        geometry=geometry,
        crs=spots.crs,
    )
