"""The bowl lake as careless people hand it out: mixed units, two columns, other axes, marks for 'nothing known'.

Each trap writes files into a folder and gives them with the options; it is to come in right, or to be asked about.
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from rasterio import Affine
from scipy.io import netcdf_file

import bowl_lake as bowl
from s102_writer import library, write_s102

FOOT = bowl.FOOT_M
POOL_M = 345.0
X, Y, DEPTH = bowl.soundings(600, 3)
LON, LAT = bowl.in_degrees(X, Y)
RIGHT: dict[str, Callable] = {}
ASKED: dict[str, tuple[str, Callable]] = {}


def right(function):
    """A trap that is to come in right."""
    RIGHT[function.__name__] = function
    return function


def asked(words: str):
    """A trap that is to be asked about, with these words."""

    def keep(function):
        ASKED[function.__name__] = (words, function)
        return function

    return keep


def shore(home):
    bowl.shoreline(4326).to_file(home / "shoreline.geojson")
    return home / "shoreline.geojson"


def table(home, head, rows, *, between=",", coding="utf-8"):
    text = "\n".join([head, *(between.join(map(str, row)) for row in rows)]) + "\n"
    (home / "depths.csv").write_text(text, encoding=coding)
    return [home / "depths.csv", shore(home)]


def places(values, head="lat,lon,depth_m", **more):
    return lambda home: table(home, head, zip(LAT, LON, values, strict=True), **more)


def layer(home, frame, name="lines.gpkg"):
    frame.to_file(home / name)
    return home / name


def some(every, other):
    """Depths with another number in every so many rows."""
    values = DEPTH.astype(object)
    values[::every] = other[::every] if np.ndim(other) else other
    return values


# Numbers of two kinds, and units by row


@asked("two kinds of numbers")
def elevations_among_depths(home):
    return places(some(3, POOL_M - DEPTH))(home), {}


@asked("two kinds of numbers")
def a_few_elevations_among_depths(home):
    return places(some(50, POOL_M - DEPTH))(home), {}


@asked("in another unit they fit")
def index_contours_in_feet(home):
    lines = bowl.contours()
    lines["depth_m"] = np.where(np.arange(len(lines)) % 5 == 0, lines["depth_m"] / FOOT, lines["depth_m"])
    return [layer(home, lines), shore(home)], {}


@right
def a_unit_in_each_row(home):
    unit = np.where(np.arange(len(DEPTH)) % 2, "ft", "m")
    values = np.where(unit == "ft", DEPTH / FOOT, DEPTH)
    return table(home, "lat,lon,depth,unit", zip(LAT, LON, values, unit, strict=True)), {}


@right
def a_unit_in_each_cell(home):
    cells = [f"{d / FOOT:.2f} ft" if i % 2 else f"{d:.2f} m" for i, d in enumerate(DEPTH)]
    return places(cells, "lat,lon,depth")(home), {}


@asked("--depths-in")
def a_unit_in_few_cells(home):
    cells = [f"{d:.2f} m" if i % 10 == 0 else f"{d / FOOT:.2f}" for i, d in enumerate(DEPTH)]
    return places(cells, "lat,lon,depth")(home), {}


@right
def feet_and_inches(home):
    cells = [f"{int(d / FOOT)} ft {d / FOOT % 1 * 12:.1f} in" for d in DEPTH]
    return places(cells, "lat,lon,depth")(home), {}


@right
def decimal_commas(home):
    rows = ([f"{v:.6f}".replace(".", ",") for v in row] for row in zip(LAT, LON, DEPTH, strict=True))
    return table(home, "lat;lon;Tiefe_m", rows, between=";"), {}


@right
def commas_between_thousands(home):
    cells = [f'"{(1000.0 + POOL_M - d) / FOOT:,.2f}"' for d in DEPTH]
    return places(cells, "lat,lon,elev_ft")(home), {"pool_m": 1000.0 + POOL_M}


@asked("is 'depth_m' in m?")
def nothing_but_noughts(home):
    return places(DEPTH * 0)(home), {}


@asked("is 'depth_m' in m?")
def millimetres_called_metres(home):
    return places(DEPTH * 100)(home), {}


# Two columns, and heights in the geometry


@asked("say different depths")
def a_column_and_a_height_that_disagree(home):
    frame = gpd.GeoDataFrame({"depth_m": DEPTH / 2}, geometry=shapely.points(X, Y, -DEPTH), crs=bowl.CRS)
    return [layer(home, frame), shore(home)], {}


@right
def a_height_of_nought(home):
    frame = gpd.GeoDataFrame({"depth_m": DEPTH}, geometry=shapely.points(X, Y, 0 * DEPTH), crs=bowl.CRS)
    return [layer(home, frame), shore(home)], {}


@asked("say different depths")
def one_number_as_feet_and_as_metres(home):
    return table(home, "lat,lon,depth_m,depth_ft", zip(LAT, LON, DEPTH, DEPTH, strict=True)), {}


@asked("--column")
def raw_and_corrected(home):
    head = "lat,lon,raw_depth_m,corrected_depth_m"
    return table(home, head, zip(LAT, LON, DEPTH * 1.6, DEPTH, strict=True)), {}


@asked("several numbers after the place")
def two_numbers_without_a_header(home):
    rows = zip(LON, LAT, DEPTH * 3, DEPTH, strict=True)
    return table(home, "", rows), {"unit": ["m"]}


@right
def points_in_one_row(home):
    many = shapely.multipoints(shapely.points(X, Y, DEPTH))
    frame = gpd.GeoDataFrame({"SCAMIN": [1]}, geometry=[many], crs=bowl.CRS).to_crs(4326)
    frame.to_file(home / "SOUNDG.gpkg", layer="SOUNDG")
    return [home / "SOUNDG.gpkg", shore(home)], {}


# Numbers for 'nothing known'


@right
def a_quarter_is_32767(home):
    return places(some(4, 32767))(home), {}


@right
def a_quarter_is_99_9(home):
    return places(some(4, 99.9))(home), {}


@right
def a_quarter_is_minus_1(home):
    return places(some(4, -1))(home), {}


@right
def noughts_amid_deep_water(home):
    return places(some(5, 0))(home), {}


@right
def elevations_with_32767(home):
    values = POOL_M - DEPTH
    values[::4] = 32767.0
    return places(values, "lat,lon,elev_m")(home), {"pool_m": POOL_M}


@right
def words_for_nothing(home):
    return places(some(4, np.array(["NaN", "n/a", "", "-"] * 150, dtype=object)))(home), {}


# Places


@asked("nowhere on Earth")
def axes_swapped(home):
    frame = gpd.GeoDataFrame({"depth_m": DEPTH}, geometry=shapely.points(LAT, LON), crs=4326)
    return [layer(home, frame, "soundings.geojson"), shore(home)], {}


@asked("degrees outside of what that is made for")
def eastings_and_northings_swapped_everywhere(home):
    frame = gpd.GeoDataFrame({"depth_m": DEPTH}, geometry=shapely.points(Y, X), crs=bowl.CRS)
    outline = bowl.shoreline()
    outline.geometry = shapely.transform(outline.geometry.to_numpy(), lambda xy: xy[:, ::-1])
    return [layer(home, frame), layer(home, outline, "shore.gpkg")], {}


@asked("degrees outside of what that is made for")
def metres_called_feet_of_a_state(home):
    files = []
    for name, frame in (("lines.shp", bowl.contours()), ("shore.shp", bowl.shoreline())):
        files.append(layer(home, frame.set_crs(2274, allow_override=True), name))
    return files, {}


@right
def features_without_a_name(home):
    """As most programs write GeoJSON: no name of the layer, WGS 84 by its standard."""
    rows = [
        {
            "type": "Feature",
            "properties": {"depth_m": depth},
            "geometry": {"type": "Point", "coordinates": [lon, lat]},
        }
        for lon, lat, depth in zip(LON.tolist(), LAT.tolist(), DEPTH.tolist(), strict=True)
    ]
    (home / "soundings.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    return [home / "soundings.geojson", shore(home)], {}


@right
def an_archive_in_an_archive(home):
    layer(home, bowl.contours(), "lines.shp")
    with zipfile.ZipFile(home / "inner.zip", "w") as packed:
        for part in home.glob("lines.*"):
            packed.write(part, part.name)
    with zipfile.ZipFile(home / "outer.zip", "w") as packed:
        packed.write(home / "inner.zip", "download/inner.zip")
    return [home / "outer.zip", shore(home)], {}


@asked("--file-crs")
def no_system_anywhere(home):
    files = [layer(home, bowl.contours(), "lines.shp"), layer(home, bowl.shoreline(), "shore.shp")]
    for one in files:
        one.with_suffix(".prj").unlink()
    return files, {}


@asked("No depth lies in the water")
def the_zone_next_door(home):
    return [layer(home, bowl.contours().set_crs(32616, allow_override=True), "lines.shp"), shore(home)], {}


@right
def longitudes_from_0_to_360(home):
    return table(home, "lat,lon,depth_m", zip(LAT, LON + 360.0, DEPTH, strict=True)), {}


@right
def latitude_first_by_its_standard(home):
    frame = gpd.GeoDataFrame({"depth_m": DEPTH}, geometry=shapely.points(LON, LAT), crs=4326)
    frame.to_file(home / "soundings.gml", driver="GML", GML3_LONGSRS="YES")
    return [home / "soundings.gml", shore(home)], {}


@right
def names_in_an_old_coding(home):
    rows = ((*row, "été") for row in zip(LAT, LON, DEPTH, strict=True))
    return table(home, "lat,lon,Profondeur_m,Qualité", rows, coding="cp1252"), {}


# Waters and shores


def _two_waters(home, names):
    both = [bowl.water(), shapely.affinity.translate(bowl.water(), 3000.0, 0.0)]
    waters = gpd.GeoDataFrame({"NAME": names}, geometry=both, crs=bowl.CRS)
    other = bowl.contours().assign(geometry=lambda f: f.translate(3000.0, 0.0))
    lines = pd.concat([bowl.contours(), other.assign(depth_m=other["depth_m"] * 3)], ignore_index=True)
    return [layer(home, lines), layer(home, waters, "waters.gpkg")]


@asked("They lie apart")
def two_lakes_of_one_name(home):
    return _two_waters(home, ["Long Pond", "Long Pond"]), {"water": "Long Pond"}


@asked("They lie apart")
def two_lakes_of_one_name_and_nothing_said(home):
    return _two_waters(home, ["Long Pond", "Long Pond"]), {}


@right
def one_of_two_lakes_by_its_row(home):
    return _two_waters(home, ["Long Pond", "Long Pond"]), {"water": "row 1"}


def _halves(home):
    west = shapely.box(0.0, 0.0, bowl.MIDDLE[0], 5e6)
    parts = [bowl.water().intersection(west), bowl.water().difference(west)]
    return layer(home, gpd.GeoDataFrame({"NAME": ["", ""]}, geometry=parts, crs=bowl.CRS), "shoreline.gpkg")


@asked("several with + between")
def a_lake_in_two_halves(home):
    return [layer(home, bowl.contours()), _halves(home)], {}


@right
def two_halves_by_their_rows(home):
    return [layer(home, bowl.contours()), _halves(home)], {"water": "row 1 + row 2"}


@asked("which one is believed?")
def two_shores_that_disagree(home):
    wide = bowl.shoreline()
    wide.geometry = wide.geometry.scale(1.1, 1.1)
    return [layer(home, bowl.contours()), layer(home, wide, "other_shore.gpkg"), shore(home)], {}


@right
def the_second_shore_is_believed(home):
    files, _ = two_shores_that_disagree(home)
    return files, {"role": ["shoreline.geojson=shoreline"]}


def _track(home, name):
    ring = bowl.shoreline(4326).geometry.iloc[0].exterior.coords[:-1]
    points = "".join(f'<trkpt lat="{y:.8f}" lon="{x:.8f}"/>' for x, y in ring)
    (home / name).write_text(
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><trk><trkseg>'
        f"{points}</trkseg></trk></gpx>"
    )
    return home / name


@right
def a_track_walked_round_the_lake(home):
    return [layer(home, bowl.contours()), _track(home, "shore.gpx")], {}


@asked("which file holds the shoreline?")
def a_track_that_a_boat_may_have_made(home):
    return [layer(home, bowl.contours()), _track(home, "big_lake.gpx")], {}


@right
def contours_of_two_depths(home):
    lines = bowl.contours()
    return [layer(home, lines[lines["depth_m"].isin([2.0, 9.0])]), shore(home)], {}


@right
def depth_areas_with_gaps(home):
    rings = [bowl.water(), *(shapely.Polygon(g.coords) for g in bowl.contours().geometry)]
    areas = [a.difference(b) for a, b in zip(rings, [*rings[1:], shapely.Polygon()], strict=True)]
    kept = [k for k in range(len(areas)) if k not in (3, 6)]
    frame = gpd.GeoDataFrame(
        {"DRVAL1": np.array(kept, float), "DRVAL2": np.array(kept, float) + 1.0},
        geometry=[areas[k] for k in kept],
        crs=bowl.CRS,
    )
    frame.to_file(home / "DEPARE.geojson")
    return [home / "DEPARE.geojson"], {}


@right
def folders_named_by_depth(home):
    folders = []
    for line in bowl.contours(crs=4326).itertuples():
        xy = " ".join(f"{x:.8f},{y:.8f},0" for x, y in line.geometry.coords)
        folders.append(
            f"<Folder><name>{line.depth_m / FOOT:.3f} ft</name><Placemark><name>line</name><LineString><coordinates>"
            f"{xy}</coordinates></LineString></Placemark></Folder>"
        )
    (home / "lines.kml").write_text(
        f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{"".join(folders)}</Document></kml>'
    )
    return [home / "lines.kml", shore(home)], {}


@right
def a_kmz_by_another_program(home):
    lines = bowl.contours(crs=4326)
    lines["Name"] = [f"{depth / FOOT:.3f} ft" for depth in lines.pop("depth_m")]
    lines.to_file(home / "lines.kmz", driver="LIBKML")
    return [home / "lines.kmz", shore(home)], {}


@asked("hazard without a place")
def a_hazard_without_a_place(home):
    lon, lat = bowl.in_degrees([bowl.MIDDLE[0]], [bowl.MIDDLE[1]])
    (home / "hazards.csv").write_text(
        f"kind,latitude,longitude,depth (ft)\nstump,{lat[0]},{lon[0]},3\nrock,41.x,?,2\n"
    )
    return [layer(home, bowl.contours()), shore(home), home / "hazards.csv"], {}


# Rasters


def _grid(turned_deg=0.0, cell_m=5.0):
    at = (
        Affine.translation(*bowl.MIDDLE)
        * Affine.rotation(turned_deg)
        * Affine.translation(-600.0, 600.0)
        * Affine.scale(cell_m, -cell_m)
    )
    count = int(1200.0 / cell_m)
    columns, rows = np.meshgrid(np.arange(count) + 0.5, np.arange(count) + 0.5)
    depth = bowl.depth_at(*(at * (columns, rows)))
    return np.where(depth > 0, depth, np.nan), at


def _tiff(home, bands, at, *, kind="float32", no_data=None, **more):
    profile = {
        "driver": "GTiff",
        "count": len(bands),
        "height": bands[0].shape[0],
        "width": bands[0].shape[1],
    }
    with rasterio.open(
        home / "depth.tif", "w", dtype=kind, crs=bowl.CRS, transform=at, nodata=no_data, **profile
    ) as out:
        for number, band in enumerate(bands, start=1):
            out.write(band.astype(kind), number)
        for key, value in ({"units": ("m",) * len(bands)} | more).items():
            setattr(out, key, value)
    return [home / "depth.tif", shore(home)]


@right
def a_mark_that_is_not_declared(home):
    depth, at = _grid()
    whole = np.where(np.isnan(depth), 32767, np.round(depth * 100))
    return _tiff(home, [whole], at, kind="int16", units=("cm",)), {}


@right
def a_turned_raster(home):
    depth, at = _grid(30.0)
    return _tiff(home, [depth], at), {}


@right
def a_raster_with_scale_and_offset(home):
    depth, at = _grid()
    whole = np.where(np.isnan(depth), -9999, np.round((depth - 1.0) * 100))
    return _tiff(home, [whole], at, kind="int16", no_data=-9999, scales=(0.01,), offsets=(1.0,)), {}


@right
def depth_in_the_second_band(home):
    depth, at = _grid()
    return _tiff(home, [depth * 0 + 0.3, depth], at, descriptions=("uncertainty", "depth")), {}


@asked("which of its rasters")
def two_bands_without_names(home):
    depth, at = _grid()
    return _tiff(home, [depth * 0 + 3.0, depth], at), {}


@asked("is a picture")
def a_picture_of_depths(home):
    depth, at = _grid()
    grey = np.nan_to_num(depth) * 20.0
    return _tiff(home, [grey, grey / 2, 255 - grey], at, kind="uint8"), {}


def _netcdf(home, variables):
    depth, at = _grid()
    high, wide = depth.shape
    with netcdf_file(home / "depth.nc", "w") as out:
        for name, size, first, step in (("x", wide, at.c, at.a), ("y", high, at.f, at.e)):
            out.createDimension(name, size)
            axis = out.createVariable(name, "d", (name,))
            axis[:] = first + step * (np.arange(size) + 0.5)
            axis.units, axis.standard_name = "m", f"projection_{name}_coordinate"
        for name, share in variables.items():
            values = out.createVariable(name, "f", ("y", "x"))
            values[:] = np.where(np.isnan(depth), 9.96921e36, depth * share)
            values.units = "m"
    return [home / "depth.nc", shore(home)]


@asked("which of its rasters")
def two_depths_in_one_file(home):
    return _netcdf(home, {"depth_2001": 0.5, "depth_2020": 1.0}), {"crs": ["depth.nc=EPSG:32615"]}


@right
def a_depth_and_its_error(home):
    return _netcdf(home, {"depth": 1.0, "depth_sigma": 0.1}), {"crs": ["depth.nc=EPSG:32615"]}


@right
def a_chart_of_the_new_standard(home):
    if library() is None:
        pytest.skip("the HDF5 library of Debian package libhdf5-103-1 is not installed")
    depth, at = _grid()
    high = depth.shape[0]
    write_s102(home / "chart.h5", depth, at.c + at.a / 2, at.f + at.e * (high - 0.5), at.a, bowl.CRS)
    return [home / "chart.h5", shore(home)], {}


@right
def one_of_two_depths(home):
    files = _netcdf(home, {"depth_2001": 0.5, "depth_2020": 1.0})
    return files, {"role": ["depth.nc:depth_2020=raster"], "crs": ["depth.nc=EPSG:32615"]}
