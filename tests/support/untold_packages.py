"""Twelve forms that no reader can tell: each raises one question, and one option answers it.

To assume would be to be wrong half the time: feet or metres, which pool, which coordinates, which lake, which column.
"""

from __future__ import annotations

import functools

import geopandas as gpd
import numpy as np
import shapely

import package_writers as by
from package_forms import UNTOLD, degrees, feet_lines, form, steps, table
from package_lakes import FOOT, seen
from point_packages import county

untold = functools.partial(form, forms=UNTOLD)


def _shore(lake, folder):
    return by.written(lake.shoreline, folder / "shoreline.gpkg")


@untold("valley360")
def unit_of_contours(lake, folder, rng):
    """Contours at 20, 40, 60 of something."""
    lines, feet = feet_lines(lake, 20, "CONTOUR")
    return [by.written(feet, folder / "contours.shp"), _shore(lake, folder)], (), ("--depths-in", "contours.shp=ft"), seen(lake, contours=lines)  # fmt: skip


@untold("seam")
def unit_of_headerless_xyz(lake, folder, rng):
    """Three columns of numbers; coordinates are told, the unit of the third is not."""
    s = lake.soundings
    rows = [(f"{p.x:.2f}", f"{p.y:.2f}", f"{d:.2f}") for p, d in zip(s.geometry, s.depth_m, strict=True)]
    path = table(folder / "survey.xyz", rows)
    options = ("--file-crs", "survey.xyz=EPSG:32615", "--values", "survey.xyz=depth")
    return [path, _shore(lake, folder)], options, ("--depths-in", "survey.xyz=m"), seen(lake, soundings=s)


@untold("valley340")
def unit_of_grid(lake, folder, rng):
    """A grid of depths with coordinates in metres: the unit of the depths is another matter."""
    grid = lake.raster(30.0, land=False)
    tif = by.geotiff(grid, grid.depth_m.astype(float) / FOOT, folder / "between.tif")
    path = by.by_gdal(tif, folder / "bathymetry.asc", "AAIGrid")
    return [path, _shore(lake, folder)], ("--values", "bathymetry.asc=depth"), ("--depths-in", "bathymetry.asc=ft"), seen(lake, raster=grid)  # fmt: skip


@untold("valley360")
def unit_contradicted(lake, folder, rng):
    """A column called DEPTH_FT beside one called UNITS that says meters in every row."""
    s = lake.soundings
    frame = gpd.GeoDataFrame({"DEPTH_FT": s.depth_m, "UNITS": "meters"}, geometry=s.geometry, crs=lake.crs)
    return [by.written(frame, folder / "soundings.shp"), _shore(lake, folder)], (), ("--depths-in", "soundings.shp=m"), seen(lake, soundings=s)  # fmt: skip


@untold("valley380")
def pool_of_contours(lake, folder, rng):
    """Elevations of the bottom, and no word of the elevation of the water."""
    levels_ft = np.arange(780, int(lake.pool_m / FOOT), 20)
    lines = lake.contours(sorted(lake.pool_m - levels_ft * FOOT))
    up = np.round((lake.pool_m - lines.depth_m) / FOOT)
    frame = gpd.GeoDataFrame({"ELEV_FT": up}, geometry=lines.geometry, crs=lake.crs)
    return [by.written(frame, folder / "bottom.shp"), _shore(lake, folder)], (), ("--normal-pool", f"{lake.pool_m} m"), seen(lake, contours=lines)  # fmt: skip


@untold("valley360")
def pool_of_soundings(lake, folder, rng):
    """A table whose heads say elevation in metres, places in degrees."""
    x, y = degrees(lake.soundings)
    rows = [(f"{b:.7f}", f"{a:.7f}", f"{lake.pool_m - d:.2f}") for a, b, d in zip(x, y, lake.soundings.depth_m, strict=True)]  # fmt: skip
    path = table(folder / "bottom.csv", rows, head=[("lat", "lon", "bottom_elevation_m")])
    return (
        [path, _shore(lake, folder)],
        (),
        ("--normal-pool", f"{lake.pool_m} m"),
        seen(lake, soundings=lake.soundings),
    )


@untold("seam")
def system_of_table(lake, folder, rng):
    """Eastings and northings of no system."""
    s = lake.soundings
    rows = [(f"{p.x:.2f}", f"{p.y:.2f}", f"{d:.2f}") for p, d in zip(s.geometry, s.depth_m, strict=True)]
    path = table(folder / "depths.csv", rows, head=[("Easting", "Northing", "depth_m")])
    return [path, _shore(lake, folder)], (), ("--file-crs", "depths.csv=EPSG:32615"), seen(lake, soundings=s)


@untold("valley340")
def system_of_shapefile(lake, folder, rng):
    """A shapefile whose .prj was lost on the way."""
    lines = lake.contours(steps(5.0))
    path = by.written(lines, folder / "contours.shp")
    path.with_suffix(".prj").unlink()
    return (
        [path, _shore(lake, folder)],
        (),
        ("--file-crs", "contours.shp=EPSG:32616"),
        seen(lake, contours=lines),
    )


@untold("valley360")
def system_of_drawing(lake, folder, rng):
    """A drawing, which never has a system; what its heights are is told."""
    lines = lake.contours(steps(10.0))
    lifted = by.lifted(lines, -lines.depth_m.to_numpy()).assign(Layer="CONTOUR")
    path = by.by_ogr2ogr({"entities": lifted}, folder / "contours.dxf", "DXF")
    options = ("--depths-in", "contours.dxf=m", "--values", "contours.dxf=height")
    return (
        [path, _shore(lake, folder)],
        options,
        ("--file-crs", "contours.dxf=EPSG:32616"),
        seen(lake, contours=lines),
    )


@untold("valley350")
def which_of_two_waters(lake, folder, rng):
    """At this pool the valley holds two waters of nearly one size; each has as many soundings, and no name is given."""
    twin = lake.others[0]
    within = twin.buffer(-20.0)
    west, south, east, north = within.bounds
    x, y = rng.uniform(west, east, 60_000), rng.uniform(south, north, 60_000)
    wet = shapely.contains_xy(within, x, y)
    x, y = x[wet][: len(lake.soundings)], y[wet][: len(lake.soundings)]
    there = gpd.GeoDataFrame({"depth_m": np.round(lake.surface.at(x, y).astype(float), 2)}, geometry=gpd.points_from_xy(x, y), crs=lake.crs)  # fmt: skip
    here = lake.soundings
    both = gpd.GeoDataFrame({"depth_m": np.concatenate([here.depth_m, there.depth_m])}, geometry=[*here.geometry, *there.geometry], crs=lake.crs)  # fmt: skip
    waters = county(lake, rng, count=len(lake.others) + 5)
    waters.loc[waters.geometry.area.rank(ascending=False) == 2.0, "LAKE_NAME"] = "Second Water"
    files = [by.written(both, folder / "soundings.gpkg"), by.written(waters, folder / "waters.shp")]
    return files, (), ("--water-body", lake.name), seen(lake, soundings=here)


@untold("seam")
def which_of_two_columns(lake, folder, rng):
    """Two surveys of depth side by side, which differ by a metre and a half."""
    s = lake.soundings
    frame = gpd.GeoDataFrame(
        {"depth_a_m": s.depth_m + 1.5, "depth_b_m": s.depth_m}, geometry=s.geometry, crs=lake.crs
    )
    return [by.written(frame, folder / "soundings.gpkg"), _shore(lake, folder)], (), ("--column", "soundings.gpkg=depth_b_m"), seen(lake, soundings=s)  # fmt: skip


@untold("valley360")
def island_or_zone(lake, folder, rng):
    """A polygon within the lake without a word: an island, or water that is closed to boats."""
    depth = lake.truth.depth_m
    place = shapely.Point(lake.truth.x[np.argmax(depth)], lake.truth.y[np.argmax(depth)])
    patch = gpd.GeoDataFrame({"FID_1": [1]}, geometry=[place.buffer(0.4 * place.distance(lake.water.boundary))], crs=lake.crs)  # fmt: skip
    lines = lake.contours(steps(5.0))
    files = [
        by.written(lines, folder / "contours.gpkg"),
        _shore(lake, folder),
        by.written(patch, folder / "area.shp"),
    ]
    return files, (), ("--as", "area.shp=zones"), seen(lake, contours=lines)
