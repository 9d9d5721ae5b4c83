"""Forms of contours and depth areas, as they are handed out."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import shapely.ops

import package_writers as by
from package_chart import chart
from package_forms import feet_lines, form, steps
from package_lakes import FOOT, seen


@form("valley360")
def contours_zip_feet(lake, folder, rng):
    """One zip with shapefiles of contours and shoreline in the state's feet, depths in feet."""
    lines, feet = feet_lines(lake, 20, "DEPTH_FT")
    both = {"contours": feet.to_crs(lake.feet_crs), "lake_outline": lake.shoreline.to_crs(lake.feet_crs)}
    return [by.shapefile_zip(both, folder / "bathymetry.zip")], (), seen(lake, contours=lines)


@form("valley380")
def elevations_feet(lake, folder, rng):
    """Contours of the bottom in feet above the sea, at whole tens; the pool is told by the user."""
    levels_ft = np.arange(780, int(lake.pool_m / FOOT), 20)
    lines = lake.contours(sorted(lake.pool_m - levels_ft * FOOT))
    up = np.round((lake.pool_m - lines.depth_m) / FOOT).astype(int)
    frame = gpd.GeoDataFrame({"ELEV_FT": up}, geometry=lines.geometry, crs=lake.crs)
    files = [by.written(frame.to_crs(lake.feet_crs), folder / "bottom_elevation.shp")]
    files.append(by.written(lake.shoreline.to_crs(4326), folder / "shoreline.geojson"))
    return files, ("--normal-pool", f"{lake.pool_m} m"), seen(lake, contours=lines)


@form("valley360")
def depth_areas(lake, folder, rng):
    """Areas of a range of depth, in the attributes of the open chart standard, degrees; their union is the lake."""
    edges = np.array([0, 2, 5, 10, 15, 20, 30, 40, 60, 80, 100, 130], dtype=float)
    path = by.written(lake.areas(edges).to_crs(4326), folder / "chart.gpkg", layer="DEPARE")
    return [path], (), seen(lake, contours=lake.contours(edges[1:]))


@form("seam")
def kml_names(lake, folder, rng):
    """Placemarks with the depth in their name, and one of the lake, in two KML files."""
    lines, feet = feet_lines(lake, 3, "depth")
    marks = gpd.GeoDataFrame(
        {"Name": [f"{d:g} ft" for d in feet.depth]}, geometry=lines.geometry, crs=lake.crs
    )
    shore = gpd.GeoDataFrame({"Name": [lake.name]}, geometry=lake.shoreline.geometry, crs=lake.crs)
    files = [by.by_ogr2ogr({"contours": marks.to_crs(4326)}, folder / "depths.kml", "LIBKML")]
    files.append(by.by_ogr2ogr({"shoreline": shore.to_crs(4326)}, folder / "lake.kml", "LIBKML"))
    return files, (), seen(lake, contours=lines)


@form("valley380")
def shoreline_lines(lake, folder, rng):
    """The shoreline as lines in pieces, turned about, with gaps of up to 20 cm; contours in feet."""
    lines, feet = feet_lines(lake, 20, "contour_ft")
    pieces = []
    for ring in (lake.water.exterior, *lake.water.interiors):
        count = max(1, min(40, int(ring.length / 2000)))
        ends = np.linspace(0, ring.length, count + 1)
        for start, end in zip(ends[:-1], ends[1:], strict=True):
            piece = shapely.ops.substring(shapely.LineString(ring), start, end - rng.uniform(0.0, 0.2))
            pieces.append(piece.reverse() if rng.random() < 0.5 else piece)
    rng.shuffle(pieces)
    frame = gpd.GeoDataFrame({"name": lake.name}, index=range(len(pieces)), geometry=pieces, crs=lake.crs)
    files = [by.written(feet, folder / "depth_lines.gpkg", layer="bathymetry")]
    return [*files, by.written(frame, folder / "shoreline.shp")], (), seen(lake, contours=lines)


@form("valley360")
def zero_contour_ladder(lake, folder, rng):
    """Contours alone, the shore as the one of 0, depths in a column called ID; the unit is told by the user."""
    lines, feet = feet_lines(lake, 25, "ID")
    shore = [shapely.LineString(r.coords) for r in (lake.water.exterior, *lake.water.interiors)]
    nought = gpd.GeoDataFrame({"ID": 0.0}, index=range(len(shore)), geometry=shore, crs=lake.crs)
    both = pd.concat([feet, nought], ignore_index=True)
    both["ID"] = both.ID.round().astype(int)
    path = by.written(both.to_crs(lake.feet_crs), folder / "contours.shp")
    return [path], ("--depths-in", "ft"), seen(lake, contours=lines)


@form("seam")
def file_geodatabase(lake, folder, rng):
    """A zipped file geodatabase with contours and the lake, in the state's feet."""
    lines, feet = feet_lines(lake, 2, "Depth_Ft")
    both = {"LakeContours": feet.to_crs(lake.feet_crs), "LakeOutline": lake.shoreline.to_crs(lake.feet_crs)}
    path = by.by_ogr2ogr(both, folder / "survey.gdb", "OpenFileGDB")
    return [by.zipped([path], folder / "survey.gdb.zip")], (), seen(lake, contours=lines)


@form("valley340")
def gml_old_datum(lake, folder, rng):
    """GML on the North American Datum of 1927, metres of UTM."""
    lines = lake.contours(steps(5.0))
    both = {"contours": lines.to_crs(26716), "shoreline": lake.shoreline.to_crs(26716)}
    return (
        [by.by_ogr2ogr(both, folder / "lake.gml", "GML", "-dsco", "FORMAT=GML3.2")],
        (),
        seen(lake, contours=lines),
    )


@form("valley340")
def dxf_lifted(lake, folder, rng):
    """A drawing of lines that lie at their elevation in feet; nothing in it says so, so the user does."""
    levels_ft = np.arange(780, int(lake.pool_m / FOOT), 20)
    lines = lake.contours(sorted(lake.pool_m - levels_ft * FOOT))
    up = np.round((lake.pool_m - lines.depth_m.to_numpy()) / FOOT)
    lifted = by.lifted(lines.to_crs(lake.feet_crs), up).assign(Layer="CONTOUR")
    files = [by.by_ogr2ogr({"entities": lifted}, folder / "contours.dxf", "DXF")]
    files.append(by.shapefile_zip({"shoreline": lake.shoreline}, folder / "shoreline.zip"))
    told = ("--file-crs", f"contours.dxf={lake.feet_crs}", "--depths-in", "contours.dxf=ft",
            "--values", "contours.dxf=elevation", "--normal-pool", f"{lake.pool_m / FOOT:.4f} ft")  # fmt: skip
    return files, told, seen(lake, contours=lines)


@form("outside")
def fathoms_web(lake, folder, rng):
    """Contours in fathoms in the coordinates of web maps."""
    lines = lake.contours(())
    fathoms = gpd.GeoDataFrame({"depth_fathoms": np.round(lines.depth_m / 6 / FOOT, 4)}, geometry=lines.geometry, crs=lake.crs)  # fmt: skip
    files = [by.written(fathoms.to_crs(3857), folder / "contours.fgb")]
    return (
        [*files, by.written(lake.shoreline.to_crs(3857), folder / "shoreline.fgb")],
        (),
        seen(lake, contours=lines),
    )


@form("outside")
def negative_contours(lake, folder, rng):
    """Contours whose depths are negative though the column says depth_m, every one."""
    lines = lake.contours(())
    path = folder / "handed_out.gpkg"
    national = 2193  # New Zealand's, 2.2 degrees from true north at the lake this is written of
    by.written(lines.assign(depth_m=-lines.depth_m).to_crs(national), path, layer="contours")
    by.written(lake.shoreline.to_crs(national), path, layer="shoreline")
    return [path], (), seen(lake, contours=lines)


@form("valley360")
def chart_s57(lake, folder, rng):
    """The open exchange form of charts, written by ogr2ogr: areas, contours, soundings, land and coast."""
    edges = np.array([0, 5, 10, 20, 30, 50, 80, 130], dtype=float)
    lines = lake.contours(edges[1:])
    points = lake.soundings.iloc[::5]
    islands = [shapely.Polygon(r) for r in lake.water.interiors]
    height = by.lifted(points, points.depth_m.to_numpy())
    layers = {
        "DEPARE": lake.areas(edges),
        "DEPCNT": lines.rename(columns={"depth_m": "VALDCO"}),
        "SOUNDG": gpd.GeoDataFrame(geometry=[shapely.MultiPoint(list(height.geometry))], crs=lake.crs),
        "LNDARE": gpd.GeoDataFrame(
            {"OBJNAM": "Island"}, index=range(len(islands)), geometry=islands, crs=lake.crs
        ),
        "COALNE": gpd.GeoDataFrame(geometry=[shapely.LineString(lake.water.exterior)], crs=lake.crs),
    }
    path = chart({n: f.to_crs(4326) for n, f in layers.items()}, folder / "XX5LAKE1.000")
    return [path], (), seen(lake, contours=lines, soundings=points.reset_index(drop=True))


@form("valley380")
def broken_pieces(lake, folder, rng):
    """Contours in metres with doubled rows, pieces, a crossing ring, lines on land, spikes and rows elsewhere."""
    lines = lake.contours(steps(5.0))
    west, south, _east, north = lake.water.bounds
    frames = [lines, lines.sample(40, random_state=int(rng.integers(1 << 30)))]
    cut = lines[lines.length > 3000].iloc[:20]
    halves = [shapely.ops.substring(g, 0.0, 0.5, normalized=True) for g in cut.geometry]
    rest = [shapely.ops.substring(g, 0.5, 1.0, normalized=True) for g in cut.geometry]
    frames[0] = lines.drop(cut.index)
    frames += [
        cut.set_geometry(gpd.GeoSeries(part, index=cut.index, crs=lake.crs)) for part in (halves, rest)
    ]
    far = shapely.LineString([(west - 9e4, south), (west - 9e4, south + 500)])
    land = shapely.LineString(
        [(west - 900, north + 900), (west - 500, north + 900), (west - 500, north + 700)]
    )
    point = lake.water.representative_point()
    bow = shapely.LineString(
        [(point.x + a, point.y + b) for a, b in ((0, 0), (2, 2), (2, 0), (0, 2), (0, 0))]
    )
    at = round(float(lake.surface.at(point.x, point.y)) / 5) * 5.0
    spike = cut.geometry.iloc[0].interpolate(0.25, normalized=True).buffer(0.5).exterior
    odd = [(10.0, far), (15.0, land), (max(at, 5.0), bow), (np.nan, cut.geometry.iloc[1]), (900.0, shapely.LineString(spike.coords))]  # fmt: skip
    frames.append(
        gpd.GeoDataFrame({"depth_m": [o[0] for o in odd]}, geometry=[o[1] for o in odd], crs=lake.crs)
    )
    bad = gpd.GeoDataFrame({"depth_m": [20.0, 25.0]}, geometry=[None, shapely.LineString()], crs=lake.crs)
    both = pd.concat([*frames, bad], ignore_index=True)
    path = by.written(both, folder / "contours.gpkg", layer="contours")
    shore = gpd.GeoDataFrame({"name": [lake.name]}, geometry=[_crossed(lake.water)], crs=lake.crs)
    return [path, by.written(shore, folder / "shoreline.gpkg")], (), seen(lake, contours=lines)


def _crossed(water: shapely.Polygon) -> shapely.Polygon:
    """The same outline with a hair-thin crossing in its ring: not valid, and its area the same."""
    coords = list(water.exterior.coords)
    (x, y), (x2, y2) = coords[0], coords[1]
    along = [(x + (x2 - x) * f, y + (y2 - y) * f) for f in (0.4, 0.6, 0.5)]
    away = (along[2][0] + 0.5, along[2][1] + 0.5)
    return shapely.Polygon([coords[0], along[1], away, along[0], *coords[1:]], water.interiors)
