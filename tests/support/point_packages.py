"""Forms of soundings, tables and grids."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import openpyxl
import shapely

import package_writers as by
from package_forms import degrees, form, table
from package_lakes import FOOT, Lake, seen

# Soundings


@form("seam")
def soundings_plane_feet(lake, folder, rng):
    """Soundings in the state's feet with depths in feet, and a zipped shoreline."""
    feet = gpd.GeoDataFrame({"SDG_ID": np.arange(len(lake.soundings)), "DEPTH_FT": np.round(lake.soundings.depth_m / FOOT, 2)}, geometry=lake.soundings.geometry, crs=lake.crs)  # fmt: skip
    files = [by.written(feet.to_crs(lake.feet_crs), folder / "soundings.shp")]
    files.append(by.shapefile_zip({"shore": lake.shoreline.to_crs(lake.feet_crs)}, folder / "shore.zip"))
    return files, (), seen(lake, soundings=lake.soundings)


@form("valley360")
def headerless_xyz(lake, folder, rng):
    """Eastings, northings and heights below the pool without a line of heads; a .toml beside it says what they are."""
    s = lake.soundings
    rows = [(f"{p.x:.2f}", f"{p.y:.2f}", f"{-d:.2f}") for p, d in zip(s.geometry, s.depth_m, strict=True)]
    path = table(folder / "survey.xyz", rows)
    (folder / "survey.xyz.toml").write_text(
        'role = "soundings"\nunit = "m"\nvalues = "height"\ncrs = "EPSG:32616"\n'
    )
    return [path, by.written(lake.shoreline, folder / "shoreline.gpkg")], (), seen(lake, soundings=s)


@form("valley380")
def blank_lon_lat(lake, folder, rng):
    """Longitude, latitude and depth in feet with blanks between, and a remark that says so."""
    x, y = degrees(lake.soundings)
    lines = [
        f"{a:.7f}  {b:.7f}  {d / FOOT:.2f}" for a, b, d in zip(x, y, lake.soundings.depth_m, strict=True)
    ]
    path = folder / "points.xyz"
    path.write_text("\n".join(["# longitude latitude depth_ft", *lines, ""]), encoding="utf-8")
    shore = by.written(lake.shoreline.to_crs(4326), folder / "outline.geojson")
    return [path, shore], (), seen(lake, soundings=lake.soundings)


@form("seam")
def csv_east_north(lake, folder, rng):
    """A table of eastings, northings and depth in feet; the user says in which system."""
    s = lake.soundings
    rows = [(k + 1, f"{p.x:.2f}", f"{p.y:.2f}", f"{d / FOOT:.2f}") for k, (p, d) in enumerate(zip(s.geometry, s.depth_m, strict=True))]  # fmt: skip
    path = table(folder / "depths.csv", rows, head=[("Point", "Easting", "Northing", "Depth (ft)")])
    shore = by.written(lake.shoreline, folder / "shoreline.shp")
    return [path, shore], ("--file-crs", "depths.csv=EPSG:32615"), seen(lake, soundings=s)


@form("outside")
def csv_degree_minutes(lake, folder, rng):
    """A table with tabs, places in degrees and minutes with letters, depth in metres."""
    x, y = degrees(lake.soundings)
    rows = [(by.degree_minutes(b, "NS"), by.degree_minutes(a, "EW"), f"{d:.2f}") for a, b, d in zip(x, y, lake.soundings.depth_m, strict=True)]  # fmt: skip
    path = table(folder / "log.tsv", rows, head=[("Latitude", "Longitude", "Depth_m")], delimiter="\t")
    return (
        [path, by.written(lake.shoreline, folder / "shoreline.gpkg")],
        (),
        seen(lake, soundings=lake.soundings),
    )


def county(lake: Lake, rng, count: int = 340) -> gpd.GeoDataFrame:
    """The lake among a county's water bodies: those of its own valley, and invented round ponds about it."""
    west, south, east, north = lake.water.bounds
    wide, high = east - west, north - south
    ponds = []
    while len(ponds) < count - 1 - len(lake.others):
        pond = shapely.Point(
            rng.uniform(west - wide, east + wide), rng.uniform(south - high, north + high)
        ).buffer(rng.uniform(0.002, 0.02) * wide, quad_segs=6)
        if pond.distance(lake.water) > 0.05 * wide and all(pond.disjoint(o) for o in lake.others):
            ponds.append(pond)
    rest = [*lake.others, *ponds]
    names = [f"Pond {k}" if k % 3 else None for k in range(len(rest))]
    rows = gpd.GeoDataFrame({"LAKE_NAME": [*names, lake.name]}, geometry=[*rest, lake.water], crs=lake.crs)
    order = rng.permutation(len(rows))
    return rows.iloc[order].reset_index(drop=True)


@form("valley360")
def workbook_and_county(lake, folder, rng):
    """A workbook with two lines above its heads, and the county's 340 waters, of which the lake is picked by name."""
    x, y = degrees(lake.soundings)
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Depth survey of the year, all soundings below normal pool"])
    sheet.append([])
    sheet.append(["Station", "Latitude", "Longitude", "Depth (m)", "Remark"])
    for k, (a, b, d) in enumerate(zip(x, y, lake.soundings.depth_m, strict=True)):
        sheet.append([f"S{k}", float(b), float(a), float(d), None])
    book.save(folder / "survey.xlsx")
    shore = by.shapefile_zip(
        {"hydro_polygons": county(lake, rng).to_crs(lake.feet_crs)}, folder / "county_waters.zip"
    )
    return [folder / "survey.xlsx", shore], ("--water-body", lake.name), seen(lake, soundings=lake.soundings)


# Grids


def _depth_tif(lake: Lake, folder, values, unit="", land=False, cell_m=30.0):
    grid = lake.raster(cell_m, land=land)
    return by.geotiff(grid, values(grid.depth_m.astype(float)), folder / "between.tif", unit), lake.raster(
        cell_m, land=False
    )


@form("valley340")
def raster_degrees(lake, folder, rng):
    """Depths on cells of degrees that state metres, and a shoreline."""
    tif, clean = _depth_tif(lake, folder, lambda d: d, "m")
    path = by.warped(tif, folder / "depth.tif", "EPSG:4326")
    return [path, by.written(lake.shoreline.to_crs(4326), folder / "shore.fgb")], (), seen(lake, raster=clean)


@form("valley340")
def ascii_elevation_feet(lake, folder, rng):
    """An ASCII grid of elevations in feet with the land round it and no shoreline; pool and unit told by the user."""
    tif, clean = _depth_tif(lake, folder, lambda d: (lake.pool_m - d) / FOOT, land=True)
    path = by.by_gdal(tif, folder / "dem.asc", "AAIGrid")
    told = ("--depths-in", "dem.asc=ft", "--values", "dem.asc=elevation", "--normal-pool", f"{lake.pool_m} m")
    return [path], told, seen(lake, raster=clean)


@form("valley360")
def netcdf_degrees(lake, folder, rng):
    """netCDF written by gdal_translate, depths in metres on cells of degrees."""
    tif, clean = _depth_tif(lake, folder, lambda d: d, "m")
    path = by.by_gdal(by.warped(tif, folder / "warped.tif", "EPSG:4326"), folder / "depth.nc", "netCDF")
    shore = by.written(lake.shoreline, folder / "shoreline.gpkg")
    return [path, shore], ("--depths-in", "depth.nc=m"), seen(lake, raster=clean)


@form("valley340")
def bag_grid(lake, folder, rng):
    """A Bathymetric Attributed Grid written by gdal_translate: elevations below the pool, metres by its standard."""
    tif, clean = _depth_tif(lake, folder, lambda d: -d, "m")
    path = by.by_gdal(tif, folder / "survey.bag", "BAG", "-co", "VAR_DATE=20200101")
    return [path, by.written(lake.shoreline, folder / "shoreline.gpkg")], (), seen(lake, raster=clean)


@form("seam")
def xyz_grid(lake, folder, rng):
    """A grid as lines of easting, northing and height below the pool, heads above; the user says in which system."""
    tif, clean = _depth_tif(lake, folder, lambda d: -d, cell_m=5.0)
    path = by.by_gdal(
        tif, folder / "grid.xyz", "XYZ", "-co", "ADD_HEADER_LINE=YES", "-co", "COLUMN_SEPARATOR=,"
    )
    told = ("--file-crs", "grid.xyz=EPSG:32615", "--depths-in", "grid.xyz=m", "--values", "grid.xyz=height")
    return [path, by.written(lake.shoreline, folder / "shoreline.gpkg")], told, seen(lake, raster=clean)
