"""The doors by which depth comes in: depth-surface and water-today stop at what cannot be depth, and say what mends it."""

import subprocess
import sys
import warnings

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.algorithms.depth_surface import depth_surface
from castshed.algorithms.water_today import water_today
from castshed.toolbox.errors import DataError
from castshed.toolbox.layers import write_layers
from made_lake import CRS, X0, Y0

FOOT = 0.3048


def contours(scale=1.0, shift=0.0):
    """Lines of equal depth of a basin 1,000 m square that falls 1:20 (geometry)."""
    depths = np.arange(1.0, 10.0)
    lines = [shapely.box(X0, Y0, X0 + 1000, Y0 + 1000).buffer(-20.0 * d).exterior for d in depths]
    return gpd.GeoDataFrame(
        {"depth_m": depths * scale + shift}, geometry=[shapely.LineString(r.coords) for r in lines], crs=CRS
    )


def soundings(scale=1.0):
    x = np.linspace(X0 + 20, X0 + 200, 60)
    return gpd.GeoDataFrame(
        {"depth_m": (x - X0) / 20.0 * scale}, geometry=shapely.points(x, np.full(60, Y0 + 500.0)), crs=CRS
    )


def basin():
    return gpd.GeoDataFrame(geometry=[shapely.box(X0, Y0, X0 + 1000, Y0 + 1000)], crs=CRS)


def test_contours_and_soundings_that_agree_make_a_surface():
    made = depth_surface(basin(), contours=contours(), soundings=soundings(), cell_m=20.0)
    assert made.depth.at(X0 + 120.0, Y0 + 500.0) == pytest.approx(6.0, abs=0.1)


@pytest.mark.parametrize(
    ("lines", "points", "says"),
    [
        (contours(1 / FOOT), soundings(), "feet taken for metres"),
        (contours(), soundings(1 / FOOT), "metres taken for feet"),
        (contours(-1.0, 345.0), None, "these are elevations"),
        (contours(), soundings().assign(depth_m=9999.0), "deeper than any lake"),
    ],
)
def test_contours_and_soundings_that_cannot_be_depths_stop(lines, points, says):
    with pytest.raises(DataError, match=says):
        depth_surface(basin(), contours=lines, soundings=points, cell_m=20.0)


def test_an_undeclared_mark_in_a_raster_of_elevations_stops_and_no_data_mends_it(lake):
    elevation = 345.0 - lake.depth.depth_m
    elevation[:4] = -9999.0
    raster = lake.depth.with_depth(elevation)
    told = {"raster": raster, "raster_holds": "elevation", "chart_datum_m": 345.0}
    with pytest.raises(DataError, match="--no-data"):
        depth_surface(lake.shoreline, **told)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = depth_surface(lake.shoreline, no_data=-9999.0, **told).depth
    assert np.nanmax(made.depth_m) == pytest.approx(np.nanmax(lake.depth.depth_m), abs=1e-3)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda d: 345.0 - d, "holds elevations"),
        (lambda d: -d, "Turn its sign"),
        (lambda d: d + 10.0, "another datum"),
        (lambda d: np.where(d < -1.5, 3047.7, d), "nothing known|deepest of all"),
    ],
)
def test_water_today_stops_at_what_cannot_be_depth(lake, change, says):
    with pytest.raises(DataError, match=says):
        water_today(lake.depth.with_depth(change(lake.depth.depth_m)), lake.shoreline)


def test_the_command_tells_least_median_and_greatest_depth_in_both_units(tmp_path):
    write_layers(tmp_path / "lake.gpkg", {"shoreline": basin(), "contours": contours()})
    command = [
        sys.executable,
        "-m",
        "castshed.toolbox.cli",
        "depth-surface",
        str(tmp_path / "lake.gpkg:shoreline"),
    ]
    command += [
        "--contours",
        str(tmp_path / "lake.gpkg:contours"),
        "--cell",
        "20m",
        "--out",
        str(tmp_path / "my.gpkg"),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    told = " ".join((done.stdout + done.stderr).split())
    assert "Depth below chart datum: least" in told
    assert " ft), greatest " in told
