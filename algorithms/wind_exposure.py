"""Fetch, waves and lee at spots or holds for one wind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Bearing,
    Depth,
    Duration,
    Exposure,
    Length,
    Level,
    Places,
    Speed,
    Water,
)

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

Method = Literal["spm-1984", "young-verhagen-1996", "hurdle-stive-1989", "cem-2002", "aces-1992"]
Fetch = Literal["straight", "effective"]


def _named(rows: GeoDataFrame) -> str:
    """Name the first few rows by their id, where they have one."""
    column = next((c for c in ("spot_id", "ramp_id", "hold_no") if c in rows.columns), None)
    names = [str(v) for v in (rows.index if column is None else rows[column])]
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")


@algorithm(
    step="wind",
    example="castshed wind-exposure demo_layers/reservoir.gpkg:spots "
    "my_day/plan.gpkg:water --wind-from SW --wind 15mph "
    "--depth demo_layers/reservoir.gpkg:depth --level -4ft --out my.gpkg:exposure",
)
def wind_exposure(
    places: Places,
    water: Water,
    *,
    wind_from_deg: Bearing,
    wind_mps: Speed,
    depth: Depth | None = None,
    level_m: Level = 0.0,
    method: Method = "spm-1984",
    fetch: Fetch = "straight",
    duration_s: Duration | None = None,
    near_bank_m: Length = 100.0,
) -> Exposure:
    """Measure fetch and estimate waves at spots or holds for a wind.

    Every row comes back with what the wind does there: fetch to the first shore upwind, significant wave height and
    peak period by a named published method, the least and greatest height of all methods, and the bank it lies under:
    `lee` (the bank the wind comes over is near), `windward` (the bank the wind blows onto is near) or `open`. Some
    want the lee and some the windward bank; the tool only tells. A point is judged where it lies, a line or polygon
    at one point of it on today's water. Rows off the water keep their place, without figures.

    The figures are estimates for a steady wind. They know no gusts, squalls, boat wakes or waves thrown back by a
    bluff, and single waves reach nearly twice the significant height: a small figure does not say that a boat can go
    there. The official forecast and what you see on the water come first.

    Parameters
    ----------
    places
        Spots, holds or any other layer.
    water
        Today's water, from water-today.
    wind_from_deg
        Direction the wind comes from, clockwise from north (grid north of the layer).
    wind_mps
        Sustained wind 10 m above the water; not gusts.
    depth
        Depth coverage, for the mean depth along the fetch and the breaking limit; without it the deep-water form.
    level_m
        Today's surface minus chart datum, used with the depth coverage; four feet down is -4ft.
    method
        Published method of the estimate: SPM 1984, Young and Verhagen 1996, Hurdle and Stive 1989, CEM 2002 or
        ACES 1992.
    fetch
        Straight line, or the effective fetch of fifteen radials, each weighted with the cosine of its angle.
    duration_s
        How long the wind has blown so; without it long enough for the fetch to limit the waves.
    near_bank_m
        How near a bank has to be for lee or windward (common practice).

    Returns
    -------
    The rows of places with `fetch_m`, `fetch_depth_m`, `wave_m`, `wave_low_m`, `wave_high_m`, `period_s`,
    `wave_method`, `wind_mps`, `wind_from_deg`, `bank`.

    Notes
    -----
    Methods, sources and limits: `castshed.toolbox.water.waves.wave_height`. Fetch: straight lines against every
    vertex of the shoreline. The Coastal Engineering Manual asks for the straight line; with the effective fetch its
    share of the band is still worked from the straight one, and choosing it with the effective fetch is pointed out.
    """
    import warnings

    import numpy as np
    import shapely

    from castshed.toolbox.errors import DataWarning
    from castshed.toolbox.water.exposure import expose, place_points

    if method == "cem-2002" and fetch == "effective":
        warnings.warn(
            "method cem-2002 with the effective fetch: the Coastal Engineering Manual asks for the straight line; "
            "its waves come out too low or too high. Use --fetch straight, or another method.",
            DataWarning,
            stacklevel=2,
        )
    surface = shapely.union_all(water.geometry.to_numpy())
    points = place_points(places.geometry.to_numpy(), surface)
    found = expose(
        points,
        surface,
        np.array([wind_from_deg]),
        np.array([wind_mps]),
        surface=depth,
        level_m=level_m,
        method=method,
        effective=fetch == "effective",
        duration_s=duration_s,
        near_m=near_bank_m,
    )
    result: GeoDataFrame = places.copy()
    for column in ("fetch_m", "fetch_depth_m", "wave_m", "wave_low_m", "wave_high_m", "period_s"):
        result[column] = getattr(found, column)[:, 0]
    result["wave_method"] = found.wave_method[:, 0]
    result["wind_mps"] = float(wind_mps)
    result["wind_from_deg"] = float(wind_from_deg)
    result["bank"] = found.bank[:, 0]

    ashore = np.isnan(found.fetch_m[:, 0])
    if ashore.any():
        warnings.warn(
            f"{int(ashore.sum())} of {len(result)} places are not on today's water and have no fetch or waves: "
            f"{_named(result[ashore])}.",
            DataWarning,
            stacklevel=2,
        )
    if depth is not None:
        unknown = np.isnan(found.fetch_depth_m[:, 0]) & ~ashore
        if unknown.any():
            warnings.warn(
                f"{int(unknown.sum())} places have a depth on less than half of their fetch; the deep-water form is "
                f"used there: {_named(result[unknown])}.",
                DataWarning,
                stacklevel=2,
            )
    return result
