"""Reference systems that stretch lengths or turn bearings where the lake lies are refused, its own UTM zone named.

Truth: the factors of PROJ (`pyproj.Proj.get_factors`: meridional and parallel scale, convergence of meridians), an
implementation apart from the geodesics measured here; and what each system is by its definition.
"""

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from castshed.toolbox.algorithm.contracts import check_inputs
from castshed.toolbox.algorithm.grid_factors import grid_factors, utm_of
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import CrsError
from castshed.toolbox.parameters import POLYGON, Layer, LayerSet, Surface

AREA = Layer("shoreline", POLYGON)


def lake(crs, lon, lat, side_m=4000.0):
    """A square lake about a place, in a system."""
    x, y = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(lon, lat)
    half = side_m / 2.0
    return gpd.GeoDataFrame(geometry=[shapely.box(x - half, y - half, x + half, y + half)], crs=crs)


def check(frame):
    return check_inputs({"lake": (frame, AREA)})


@pytest.mark.parametrize(
    ("crs", "lon", "lat", "says", "own"),
    [
        # scale of a Mercator map on the sphere: 1 / cos(latitude), 2 at 60 degrees
        (3857, 25.0, 60.0, "lengths are off by", "EPSG:32635"),
        (2053, 29.5, -30.0, "turned 180 degrees", "EPSG:32735"),  # Hartebeesthoek94 / Lo29 counts west and south
        (3413, 0.0, 75.0, r"turned 45\.?\d* degrees", "EPSG:32631"),  # polar stereographic about 45 W
        (32615, -113.0, 58.0, r"turned 1[67]\.?\d* degrees", "EPSG:32612"),  # 20 degrees beside its meridian
        (32633, 5.0, 47.0, "turned", "EPSG:32631"),
        # 500 km south of the lower standard parallel of 33 degrees
        ("+proj=lcc +lat_1=33 +lat_2=45 +lat_0=39 +lon_0=-96 +datum=NAD83 +units=m", -96.0, 27.0, "off by", "EPSG:32614"),
        (5070, -120.0, 47.0, "turned", "EPSG:32611"),  # CONUS Albers far from its meridian of 96 W
        # mirrored: x counts westward
        ("+proj=tmerc +lon_0=9 +x_0=500000 +axis=wnu +ellps=GRS80 +units=m", 9.5, 50.0, "turned 180", "EPSG:32632"),
    ],
)  # fmt: skip
def test_a_system_that_stretches_or_turns_is_refused_with_the_own_zone(crs, lon, lat, says, own):
    with pytest.raises(CrsError, match=f"{says}.*{own}"):
        check(lake(crs, lon, lat))


@pytest.mark.parametrize(
    ("crs", "lon", "lat"),
    [
        (32615, -93.0, 45.0),
        (32615, -95.99, 45.0),  # the edge of its own zone: turned by 2.1 degrees, and no zone is turned less
        (32633, 17.9, 70.0),
        (32633, 18.3, 60.0),  # a little over the edge
        (26915, -93.5, 45.0),  # NAD83
        (2193, 175.0, -37.0),  # NZTM 2000, Auckland
        (27700, -2.9, 54.4),  # British National Grid, the Lakes
        (25832, 11.0, 47.8),
        (31468, 12.0, 47.8),  # Gauss-Kruger, zone number before the easting
        (2154, 3.2, 45.5),  # Lambert-93
        (3067, 27.0, 62.0),  # all of Finland in one grid
    ],
)
def test_the_own_zone_and_sound_national_grids_pass(crs, lon, lat):
    check(lake(crs, lon, lat))


@pytest.mark.parametrize(
    ("crs", "lon", "lat"),
    [(32615, -90.2, 45.0), (3395, 25.0, 60.0), (3413, 0.0, 75.0), (2154, 7.0, 48.0)],
)
def test_the_factors_are_those_of_proj(crs, lon, lat):
    frame = lake(crs, lon, lat, side_m=1.0)
    found = grid_factors(frame.crs, frame.total_bounds)
    proj = pyproj.Proj(frame.crs).get_factors(lon, lat)
    truth = max(abs(one - 1.0) for one in (proj.tissot_semimajor, proj.tissot_semiminor))
    # extents are rounded to 100 m, and a difference over 100 m is no derivative
    assert found.stretch == pytest.approx(truth, abs=5e-5)
    assert found.turn_deg == pytest.approx(abs(proj.meridian_convergence), abs=0.02)


def test_a_cast_in_web_mercator_at_sixty_north_would_be_half_as_long():
    frame = lake(3857, 25.0, 60.0)
    # On the sphere the scale is 1 / cos(60), 2; on the ellipsoid some 0.3 % differs.
    assert grid_factors(frame.crs, frame.total_bounds).stretch == pytest.approx(1.0, abs=0.005)


def test_a_surface_and_a_set_of_layers_are_looked_at_too():
    frame = lake(3857, 25.0, 60.0)
    west, _, _, north = frame.total_bounds
    surface = DepthSurface(np.ones((4, 4), np.float32), west, north, 50.0, 50.0, frame.crs)
    with pytest.raises(CrsError, match=r"depth is in .*EPSG:32635"):
        check_inputs({"depth": (surface, Surface("depth"))})
    with pytest.raises(CrsError, match="EPSG:32635"):
        check_inputs({"layers": ({"zones": frame}, LayerSet())})


def test_layers_of_a_whole_state_do_not_speak_for_the_lake():
    near = lake(32615, -93.0, 45.0)
    wide = gpd.GeoDataFrame(geometry=[near.geometry.iloc[0].buffer(900_000.0)], crs=32615)
    with pytest.raises(CrsError):
        check(wide)
    check_inputs({"state": (wide, AREA), "lake": (near, AREA)})


def test_the_zone_named_is_the_one_the_system_itself_gives_for_the_place():
    # Truth: the areas of use in the EPSG registry as PROJ has it.
    for lon, lat in ((-179.5, 10.0), (179.5, -10.0), (0.1, 51.0), (-93.0, 45.0), (147.2, -42.9)):
        known = pyproj.database.query_utm_crs_info("WGS 84", pyproj.aoi.AreaOfInterest(lon, lat, lon, lat))
        assert utm_of(lon, lat) in {f"EPSG:{one.code}" for one in known}
