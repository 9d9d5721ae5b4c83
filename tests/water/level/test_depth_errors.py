"""How far a told depth may be off, kept beside it: by construction on flat and stepped bottoms."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.water.level.uncertainty import all_with_errors, errors_along, errors_at, with_errors
from made_lake import CRS


def grid(values, error_m=0.15):
    return DepthSurface(np.asarray(values, dtype="f4"), 0.0, 50.0, 10.0, 10.0, CRS, error_m)


def row_of(*values):
    return np.tile(np.array(values, dtype=float), (5, 1))


def test_a_place_has_the_error_of_the_place_and_where_none_is_known_the_coverage_s():
    local, depth = grid(row_of(0.2, 0.4, np.nan, np.nan)), grid(row_of(3, 3, 3, 3))
    points = np.array([shapely.Point(5, 25), shapely.Point(10, 25), shapely.Point(35, 25), shapely.Point()])
    assert errors_at(points, local, depth) == pytest.approx([0.2, 0.3, 0.15, np.nan], abs=1e-6, nan_ok=True)
    assert errors_at(points, local) == pytest.approx([0.2, 0.3, np.nan, np.nan], abs=1e-6, nan_ok=True)


def test_a_way_s_least_depth_less_its_error_is_the_least_to_be_counted_on_anywhere():
    # thinnest where it is sure, but less may be counted on where it is deeper and unsure: 2.0 against 3.0 - 1.8
    depth, local = grid(row_of(2.0, 2.5, 3.0, 3.0, 3.0)), grid(row_of(0.1, 0.1, 0.1, 1.8, 0.1))
    line = np.array([shapely.LineString([(5, 25), (45, 25)])])
    error = errors_along(line, local, depth)[0]
    assert 2.0 - error == pytest.approx(3.0 - 1.8, abs=1e-6)
    assert errors_along(line, local)[0] == pytest.approx(1.8, abs=1e-6)
    assert np.isnan(errors_along(np.array([shapely.LineString([(5, 25), (95, 25)])]), local, depth)[0])


def test_holds_and_legs_get_it_and_keep_what_they_have():
    local, depth = grid(row_of(0.2, 0.4, 0.6, 0.8, 1.0)), grid(row_of(3, 3, 3, 3, 3))
    at = [shapely.Point(5, 25), shapely.Point(25, 25), shapely.Point(45, 25)]
    holds = gpd.GeoDataFrame(
        {"hold_no": [1, 1, 0], "depth_today_m": [3.0, 3.0, np.nan]}, geometry=at, crs=CRS
    )
    made = with_errors(holds, local, depth)
    assert made["depth_error_m"].to_numpy() == pytest.approx([0.2, 0.6, np.nan], abs=1e-6, nan_ok=True)
    had = with_errors(holds.assign(depth_error_m=[0.5, np.nan, np.nan]), local, depth)
    assert had["depth_error_m"].to_numpy() == pytest.approx([0.5, 0.6, np.nan], abs=1e-6, nan_ok=True)
    legs = gpd.GeoDataFrame({"min_depth_m": [3.0]}, geometry=[shapely.LineString(at)], crs=CRS)
    both = all_with_errors({"legs": legs, "ramps": holds[["geometry"]]}, local)
    assert both["legs"]["min_depth_error_m"].to_list() == pytest.approx([1.0], abs=1e-6)
    assert list(both["ramps"].columns) == ["geometry"]
    assert with_errors(holds, None, depth) is holds
