"""The depth surface against scipy's interpolator, exact planes and dense samples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import CrsError, DataError, UsageError

CRS = "EPSG:32615"
WEST, NORTH = 500_000.0, 4_000_000.0


def surface_of(depth, cell_x=5.0, cell_y=5.0, **more):
    return DepthSurface(np.asarray(depth, dtype="f4"), WEST, NORTH, cell_x, cell_y, CRS, **more)


def rough(rows, columns, seed, cell_x=5.0, cell_y=5.0):
    return surface_of(np.random.default_rng(seed).normal(3, 2, (rows, columns)), cell_x, cell_y)


def scattered(surface, count, seed=0):
    rng = np.random.default_rng(seed)
    west, south, east, north = surface.bounds
    return rng.uniform(west, east, count), rng.uniform(south, north, count)


def test_between_centres_the_surface_is_that_of_scipys_linear_interpolator():
    surface = rough(30, 41, 1, cell_x=5.0, cell_y=7.0)
    peer = RegularGridInterpolator(
        (surface.ys[::-1], surface.xs), surface.depth_m[::-1].astype(float), bounds_error=False
    )
    x, y = scattered(surface, 5000)
    expected = peer(np.column_stack([y, x]))
    inner = np.isfinite(expected)
    assert inner.sum() > 4000
    assert surface.at(x, y)[inner] == pytest.approx(expected[inner], abs=1e-6)


def test_a_plane_is_read_back_exactly_with_oblong_cells():
    rows, columns = np.mgrid[:20, :30]
    surface = surface_of(1.0 + 0.25 * (columns + 0.5) - 0.125 * (rows + 0.5), 8.0, 4.0)
    x, y = WEST + np.linspace(4, 236, 50), NORTH - np.linspace(2, 78, 50)
    assert surface.at(x, y) == pytest.approx(1.0 + 0.25 * (x - WEST) / 8 - 0.125 * (NORTH - y) / 4, abs=1e-6)


def test_the_first_row_lies_in_the_north_and_the_first_column_in_the_west():
    surface = surface_of([[1.0, 2.0], [3.0, 4.0]])
    assert surface.at(WEST + 2.5, NORTH - 2.5) == 1.0
    assert surface.at(WEST + 7.5, NORTH - 7.5) == 4.0
    assert surface.xs.tolist() == [WEST + 2.5, WEST + 7.5]
    assert surface.ys.tolist() == [NORTH - 2.5, NORTH - 7.5]
    assert surface.bounds == (WEST, NORTH - 10, WEST + 10, NORTH)


def test_outside_the_grid_there_is_no_depth_and_in_its_outer_half_cell_that_of_the_rim():
    surface = surface_of([[1.0, 2.0], [3.0, 4.0]])
    assert np.isnan(
        surface.at([WEST - 0.01, WEST + 10.01, WEST + 5], [NORTH - 5, NORTH - 5, NORTH + 0.01])
    ).all()
    assert surface.at(WEST, NORTH) == 1.0
    assert surface.at(WEST + 10, NORTH - 7.5) == 4.0


def test_a_point_with_a_share_of_an_unknown_centre_has_no_depth_and_one_without_has():
    depth = np.full((3, 3), 2.0)
    depth[1, 2] = np.nan
    surface = surface_of(depth)
    assert np.isnan(surface.at(WEST + 8.0, NORTH - 7.5))
    assert np.isnan(surface.at(WEST + 8.0, NORTH - 7.0))
    assert surface.at(WEST + 7.5, NORTH - 7.5) == 2.0  # on a known centre beside it
    assert surface.at(WEST + 7.5, NORTH - 9.0) == 2.0  # on the line between two known centres


@given(st.floats(-30, 30))
def test_shifting_the_level_and_back_keeps_the_depths(level):
    surface = rough(6, 7, 2)
    assert surface.shifted(level).shifted(-level).depth_m == pytest.approx(surface.depth_m, abs=1e-5)
    x, y = scattered(surface, 20)
    assert surface.shifted(level).at(x, y) == pytest.approx(surface.at(x, y) + level, abs=1e-5)


def test_a_window_has_the_same_depths_where_it_lies():
    surface = rough(40, 50, 5, cell_x=5.0, cell_y=4.0)
    part = surface.window(WEST + 61, NORTH - 99, WEST + 120, NORTH - 40)
    assert part.depth_m.size < surface.depth_m.size / 4
    rng = np.random.default_rng(6)
    x, y = rng.uniform(WEST + 61, WEST + 120, 500), rng.uniform(NORTH - 99, NORTH - 40, 500)
    assert part.at(x, y) == pytest.approx(surface.at(x, y), abs=1e-9)


def test_the_depths_are_a_copy_that_nobody_can_change():
    given_depth = np.ones((3, 3), dtype="f4")
    surface = surface_of(given_depth)
    given_depth[0, 0] = 9.0
    assert surface.depth_m[0, 0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        surface.depth_m[0, 0] = 5.0


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:2277"])  # degrees; US survey feet
def test_degrees_and_feet_are_refused_with_the_remedy(crs):
    with pytest.raises(CrsError, match="UTM"):
        DepthSurface(np.ones((2, 2), dtype="f4"), 0.0, 0.0, 1.0, 1.0, crs)


@pytest.mark.parametrize(
    ("change", "error"),
    [
        ({"depth_m": np.ones(4)}, DataError),
        ({"depth_m": np.ones((0, 4))}, DataError),
        ({"depth_m": np.full((2, 2), np.inf)}, DataError),
        ({"cell_x_m": 0.0}, UsageError),
        ({"cell_y_m": -5.0}, UsageError),
        ({"west_m": np.nan}, UsageError),
        ({"error_m": -0.1}, UsageError),
        ({"error_m": np.nan}, UsageError),
    ],
)
def test_what_is_no_surface_is_refused(change, error):
    good = {
        "depth_m": np.ones((2, 2)), "west_m": 0.0, "north_m": 0.0, "cell_x_m": 1.0, "cell_y_m": 1.0, "crs": CRS,
    }  # fmt: skip
    with pytest.raises(error):
        DepthSurface(**(good | change))


def test_a_level_that_is_no_number_is_refused():
    with pytest.raises(UsageError, match="level"):
        rough(2, 2, 0).shifted(float("nan"))
