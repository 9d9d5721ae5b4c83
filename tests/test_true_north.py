"""Bearings that people read are true, winds are taken as true, and magnetic ones are those of the World Magnetic Model."""

from __future__ import annotations

import datetime as dt
import math

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from pyproj import Geod

from castshed.algorithms.wind_exposure import wind_exposure
from castshed.toolbox.errors import DataError, UsageError
from castshed.toolbox.layers.reading import read_layer
from castshed.toolbox.lon_lat import grid_north_deg, north_of, true_bearings
from castshed.toolbox.magnetic import Declination, declination_at, declination_of
from castshed.toolbox.water.proof.hours_check import told_winds
from castshed.toolbox.water.wind.lake_winds import winds_of_hours

EARTH = Geod(ellps="WGS84")


def at(crs, lon, lat):
    return pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(lon, lat)


@pytest.mark.parametrize(
    ("code", "lon", "lat"),
    [(32615, -92.0, 40.0), (32615, -95.9, 60.0), (32755, 149.0, -33.0), (32633, 15.0, 52.0)],
)
def test_grid_north_is_the_convergence_of_meridians(code, lon, lat):
    crs = pyproj.CRS.from_epsg(code)
    x, y = at(crs, lon, lat)
    found = grid_north_deg(crs, x, y)[0]
    # PROJ's own meridian convergence, by another road
    assert found == pytest.approx(pyproj.Proj(crs).get_factors(lon, lat).meridian_convergence, abs=1e-3)
    # Worked: tan(convergence) = tan(lon - central meridian) sin(lat) on a sphere (Snyder 1987, USGS PP 1395, p. 51 ff.).
    middle = int(crs.utm_zone[:-1]) * 6.0 - 183.0
    sphere = math.degrees(math.atan(math.tan(math.radians(lon - middle)) * math.sin(math.radians(lat))))
    assert found == pytest.approx(sphere, abs=0.01)


def test_a_bearing_becomes_the_azimuth_of_the_geodesic():
    crs = pyproj.CRS.from_epsg(32615)
    x, y = at(crs, -95.5, 58.0)
    for grid in range(0, 360, 30):
        east, north = x + 50.0 * math.sin(math.radians(grid)), y + 50.0 * math.cos(math.radians(grid))
        (a, b), (c, d) = pyproj.Transformer.from_crs(crs, 4326, always_xy=True).transform(
            [x, east], [y, north]
        )
        azimuth = EARTH.inv(a, c, b, d)[0] % 360.0
        told = float(true_bearings(np.array([float(grid)]), crs, x, y)[0])
        assert abs((told - azimuth + 180.0) % 360.0 - 180.0) < 0.01
    assert np.isnan(true_bearings(np.array([np.nan]), crs, x, y)[0])


def test_a_layer_that_lies_nowhere_turns_nothing():
    assert north_of(gpd.GeoDataFrame(geometry=[])) == 0.0
    assert north_of(gpd.GeoDataFrame(geometry=[], crs="EPSG:32615")) == 0.0
    assert north_of(gpd.GeoDataFrame(geometry=[shapely.Point(-92, 40)], crs="EPSG:4326")) == 0.0


def test_casts_of_the_demo_day_bear_as_geodesics_do(planned_demo_day):
    """The demo lake lies where its grid is turned by half a degree."""
    file = planned_demo_day / "my_day" / "plan.gpkg"
    casts, holds = (read_layer(f"{file}:{name}") for name in ("cast_lines", "holds"))
    ends = shapely.get_coordinates(casts.to_crs(4326).geometry.to_numpy()).reshape(-1, 4)
    azimuth = np.array(EARTH.inv(*ends.T)[0]) % 360.0
    off = (casts["cast_bearing_deg"].to_numpy() - azimuth + 180.0) % 360.0 - 180.0
    assert len(casts) > 100
    assert np.abs(off).max() < 0.02
    assert abs(north_of(casts)) > 0.3
    # Wind from 225 degrees true: the angle between cast and wind is that of true directions.
    both = casts.merge(
        holds[["spot_id", "hold_no", "wind_angle_deg", "wind_from_deg"]], on=["spot_id", "hold_no"]
    )
    apart = np.abs((both["cast_bearing_deg"] - both["wind_from_deg"] + 180.0) % 360.0 - 180.0)
    assert both["wind_from_deg"].dropna().unique().tolist() == [225.0]
    assert np.abs(apart - both["wind_angle_deg"]).max() < 0.1


def reach(lon, lat, azimuth, long_m, wide_m, code):
    """A straight water of 2 long_m by 2 wide_m whose length bears so truly, in a projected system."""
    corners = []
    for along, across in ((1, 1), (1, -1), (-1, -1), (-1, 1)):
        east, north, _ = EARTH.fwd(lon, lat, azimuth, along * long_m)
        east, north, _ = EARTH.fwd(east, north, azimuth + 90.0, across * wide_m)
        corners.append(at(code, east, north))
    return gpd.GeoDataFrame({"water_id": ["w"]}, geometry=[shapely.Polygon(corners)], crs=f"EPSG:{code}")


def test_a_wind_along_a_narrow_reach_blows_over_its_whole_length():
    """60 N, 3 degrees off the middle of the zone: the grid is turned by 2.6 degrees, the reach is 100 m wide."""
    lon, lat = -96.0 + 0.1, 60.0
    water = reach(lon, lat, 45.0, 5000.0, 50.0, 32615)
    spot = gpd.GeoDataFrame(
        {"spot_id": ["a"]}, geometry=[shapely.Point(at(32615, lon, lat))], crs="EPSG:32615"
    )
    found = wind_exposure(spot, water, wind_from_deg=225.0, wind_speed_mps=8.0, fetch="straight")[0]
    assert found["fetch_m"].iloc[0] == pytest.approx(5000.0, rel=0.01)
    assert found["wind_from_deg"].iloc[0] == 225.0
    assert found["wave_from_deg"].iloc[0] == pytest.approx(225.0, abs=1.0)  # radials stand a degree apart
    assert abs(north_of(water)) > 2.0


def test_winds_of_hours_are_turned_to_the_grid_in_plan_and_proof_alike():
    x, y = at(32615, -95.9, 60.0)
    rows = {
        "spot_id": ["a"],
        "time": ["2031-05-03T06:00:00-05:00"],
        "wind_mps": [8.0],
        "wind_from_deg": [225.0],
    }
    hours = gpd.GeoDataFrame(rows, geometry=[shapely.Point(x, y)], crs="EPSG:32615")
    wanted = 225.0 - grid_north_deg(pyproj.CRS.from_epsg(32615), x, y)[0]
    start = dt.datetime.fromisoformat(rows["time"][0])
    assert winds_of_hours(hours, start).from_deg[0] == pytest.approx(wanted)
    assert told_winds(hours, np.array([0.0]), lambda _, __: [0]).from_deg[0] == pytest.approx(wanted)


def test_magnetic_north_is_that_of_the_world_magnetic_model():
    # NOAA/NCEI and BGS, WMM2025 test values at 2025.0, on the ellipsoid: 80 N 0 E 1.28, 0 N 120 E -0.16, 80 S 240 E 68.78
    for lon, lat, wanted in ((0.0, 80.0, 1.28), (120.0, 0.0, -0.16), (240.0, -80.0, 68.78)):
        found = declination_at(lon, lat, dt.date(2025, 1, 1))
        assert found.east_deg == pytest.approx(wanted, abs=0.005)
        assert (found.first, found.last) == (dt.date(2025, 1, 1), dt.date(2029, 12, 31))
    for day in (dt.date(2024, 12, 31), dt.date(2030, 1, 1)):
        with pytest.raises(UsageError, match="2025-01-01 to 2029-12-31"):
            declination_at(-92.0, 40.0, day)
    with pytest.raises(DataError, match="No compass"):
        declination_at(139.0, 86.0, dt.date(2026, 1, 1))


def test_magnetic_bearings_need_a_day():
    lake = gpd.GeoDataFrame(geometry=[shapely.Point(*at(32615, -92.0, 40.0))], crs="EPSG:32615")
    for date in ("", "16 May"):
        with pytest.raises(UsageError, match="--date"):
            declination_of(lake, date)


def test_a_west_declination_is_added():
    # "variation west, compass best": common practice
    lake = Declination(-3.0, "WMM-2025", dt.date(2026, 5, 16), dt.date(2025, 1, 1), dt.date(2029, 12, 31))
    assert lake.magnetic_text(100.0) == "103° M"
    assert lake.magnetic_text(358.0) == "001° M"
