"""Lakes with one mistake that people make: to come in right or to be refused, never to be wrong in silence."""

from __future__ import annotations

import functools
from collections.abc import Callable

import geopandas as gpd
import numpy as np
import shapely.affinity

import package_writers as by
from package_forms import degrees, form, table
from package_lakes import FOOT, seen

TRAPS: dict[str, tuple[str, Callable]] = {}
trap = functools.partial(form, forms=TRAPS)


def _shore(lake, folder):
    return by.written(lake.shoreline, folder / "shoreline.gpkg")


def _sounded(lake, values, head: str, folder):
    x, y = degrees(lake.soundings)
    return table(folder / "depths.csv", list(zip(y, x, values, strict=True)), head=[("lat", "lon", head)])


@trap("seam")
def pool_in_the_wrong_unit(lake, folder, rng):
    """Elevations in feet, and the pool's figure of feet given as metres: every depth too great by 450 m."""
    path = _sounded(lake, (lake.pool_m - lake.soundings.depth_m) / FOOT, "bottom_elevation_ft", folder)
    return (
        [path, _shore(lake, folder)],
        ("--normal-pool", f"{lake.pool_m / FOOT:.2f} m"),
        seen(lake, soundings=lake.soundings),
    )


@trap("seam")
def one_name_twice(lake, folder, rng):
    """Two waters 5 km apart carry the lake's name; depths lie in one of them."""
    both = [lake.water, shapely.affinity.translate(lake.water, 5000.0, 0.0)]
    waters = gpd.GeoDataFrame({"NAME": [lake.name] * 2}, geometry=both, crs=lake.crs)
    files = [
        by.written(waters, folder / "waters.gpkg"),
        by.written(lake.soundings, folder / "soundings.gpkg"),
    ]
    return files, ("--water-body", lake.name), seen(lake, soundings=lake.soundings)


@trap("seam")
def two_shorelines(lake, folder, rng):
    """Two shorelines, one wider by a tenth; the soundings fit the other."""
    wide = gpd.GeoDataFrame(
        {"name": [lake.name]}, geometry=[shapely.affinity.scale(lake.water, 1.1, 1.1)], crs=lake.crs
    )
    files = [by.written(wide, folder / "other_shoreline.gpkg"), _shore(lake, folder)]
    return (
        [*files, by.written(lake.soundings, folder / "soundings.gpkg")],
        (),
        seen(lake, soundings=lake.soundings),
    )


@trap("seam")
def heads_swapped(lake, folder, rng):
    """Longitudes under lat, latitudes under lon."""
    x, y = degrees(lake.soundings)
    rows = list(zip(x, y, lake.soundings.depth_m, strict=True))
    path = table(folder / "depths.csv", rows, head=[("lat", "lon", "depth_m")])
    return [path, _shore(lake, folder)], (), seen(lake, soundings=lake.soundings)


@trap("seam")
def elevations_called_depths(lake, folder, rng):
    """A column depth_m that holds elevations."""
    path = _sounded(lake, lake.pool_m - lake.soundings.depth_m, "depth_m", folder)
    return [path, _shore(lake, folder)], (), seen(lake, soundings=lake.soundings)


@trap("seam")
def neighbouring_zone(lake, folder, rng):
    """Soundings said to be in the zone next door."""
    there = lake.soundings.set_crs(32616, allow_override=True)
    return (
        [by.written(there, folder / "soundings.gpkg"), _shore(lake, folder)],
        (),
        seen(lake, soundings=lake.soundings),
    )


@trap("seam")
def feet_called_metres_beside_contours(lake, folder, rng):
    """Contours in metres, and soundings in feet in a column depth_m."""
    lines = lake.contours(np.arange(1.0, 16.0))
    feet = lake.soundings.assign(depth_m=lake.soundings.depth_m / FOOT)
    files = [by.written(lines, folder / "contours.gpkg"), by.written(feet, folder / "soundings.gpkg")]
    return [*files, _shore(lake, folder)], (), seen(lake, contours=lines)


@trap("seam")
def no_value_as_a_number(lake, folder, rng):
    """A tenth of the rows hold -9999."""
    depth = lake.soundings.depth_m.to_numpy().copy()
    depth[::10] = -9999.0
    return (
        [_sounded(lake, depth, "depth_m", folder), _shore(lake, folder)],
        (),
        seen(lake, soundings=lake.soundings),
    )
