"""Safe-side isobaths: they hold every point that is too shallow, and hardly more."""

from __future__ import annotations

import contourpy
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.ndimage import gaussian_filter

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.level.isobaths import shallower_than, unknown_area
from long_tests import as_many

CRS = "EPSG:32615"
WEST, NORTH = 500_000.3, 4_000_000.7


def surface_of(depth, cell_x=5.0, cell_y=5.0):
    return DepthSurface(np.asarray(depth, dtype="f4"), WEST, NORTH, cell_x, cell_y, CRS)


def swells(rows, columns, width, seed, cell_x=5.0, cell_y=5.0):
    field = gaussian_filter(np.random.default_rng(seed).normal(size=(rows, columns)), width)
    return surface_of(4.0 + 4.0 * field / field.std(), cell_x, cell_y)


def uncovered(surface, limit, area, count=4000, seed=0):
    """Random points and all centres, less deep than the limit and outside the area."""
    rng = np.random.default_rng(seed)
    west, south, east, north = surface.bounds
    x = np.concatenate([rng.uniform(west, east, count), np.repeat(surface.xs, len(surface.ys))])
    y = np.concatenate([rng.uniform(south, north, count), np.tile(surface.ys, len(surface.xs))])
    shallow = surface.at(x, y) < limit
    return np.count_nonzero(shallow & ~shapely.intersects_xy(area, x, y)), np.count_nonzero(shallow)


depth_grids = hnp.arrays(
    np.float32,
    hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=9),
    # A few whole numbers make ties, saddles and centres exactly at the limit; the others are anything.
    elements=st.integers(0, 4).map(float) | st.floats(-20, 60, width=32) | st.just(float("nan")),
)


@settings(max_examples=as_many(150), deadline=None)
@given(depth_grids, st.sampled_from([1.0, 2.0, 2.5, 4.0]), st.sampled_from([0.0, 1.25, 4.0]))
def test_every_point_below_the_limit_lies_inside_whatever_the_grid(depth, limit, tolerance):
    surface = surface_of(depth, 5.0, 7.0)
    area = shallower_than(surface, limit, tolerance_m=tolerance)
    assert area.is_valid
    assert uncovered(surface, limit, area)[0] == 0


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("cells", [(5.0, 5.0), (75.0, 93.0)])
def test_every_point_below_the_limit_lies_inside_on_a_rolling_bottom(seed, cells):
    surface = swells(120, 140, 4.0, seed, *cells)
    area = shallower_than(surface, 3.0)
    missed, tried = uncovered(surface, 3.0, area, count=200_000)
    assert (missed, tried > 10_000) == (0, True)


def test_on_a_plane_the_area_is_the_half_plane_of_geometry():
    rows, columns = np.mgrid[:40, :60]
    surface = surface_of(0.5 * (columns + 0.5) * 5.0 / 10.0)  # 1:20, depth 0 at the west edge
    area = shallower_than(surface, 6.1, tolerance_m=0.0)
    west, south, _, north = surface.bounds
    expected = shapely.box(west, south, west + 122.0, north)  # 6.1 m deep 122 m off; the rim holds its value
    assert shapely.symmetric_difference(area, expected).area < 1e-3 * expected.length
    assert rows.shape == surface.shape


def test_round_a_cone_the_area_holds_the_disc_of_geometry_and_little_more():
    x, y = np.meshgrid((np.arange(101) - 50) * 5.0, (np.arange(101) - 50) * 5.0)
    surface = surface_of(np.hypot(x, y) / 10.0)
    centre = shapely.Point(surface.xs[50], surface.ys[50])
    for tolerance in (0.0, 1.25):
        area = shallower_than(surface, 15.0, tolerance_m=tolerance)
        # A bilinear patch of the cone lies over it (chords of a convex function) by at most cell^2 / (4 r) / 10.
        assert shapely.covers(area, centre.buffer(150.0 - 0.1))
        assert shapely.covers(centre.buffer(150.0 + tolerance * np.sqrt(2) + 0.3, quad_segs=64), area)
        assert len(area.geoms) == 1


def test_two_shoals_that_meet_across_a_patch_are_one_area_and_the_deeps_beside_them_stay_apart():
    """f = x y about the middle of a patch: the true saddle is 0; on the safe side the shoals join before it."""
    surface = surface_of([[-1.0, 1.0], [1.0, -1.0]])
    for limit in (0.1, -0.1):
        area = shallower_than(surface, limit)
        assert len(area.geoms) == 1
        assert len(shapely.get_parts(shapely.difference(shapely.box(*surface.bounds), area))) == 2


def test_another_tracer_of_isolines_draws_nearly_the_same_area():
    surface = swells(150, 170, 6.0, 7)
    area = shallower_than(surface, 4.0, tolerance_m=0.0)
    fine_x, fine_y = (
        np.linspace(surface.xs[0], surface.xs[-1], 1691),
        np.linspace(surface.ys[-1], surface.ys[0], 1491),
    )
    fine = surface.at(fine_x[None, :], fine_y[:, None])
    tracer = contourpy.contour_generator(fine_x, fine_y, fine, fill_type="OuterOffset")
    parts = [
        shapely.Polygon(p[o[0] : o[1]], [p[a:b] for a, b in zip(o[1:-1], o[2:], strict=True)])
        for p, o in zip(*tracer.filled(-99.0, 4.0), strict=True)
    ]
    peer = shapely.union_all(shapely.make_valid(np.array(parts, dtype=object)))
    box = shapely.box(surface.xs[0], surface.ys[-1], surface.xs[-1], surface.ys[0])
    mine = shapely.intersection(area, box)
    assert shapely.difference(peer, mine).area < 1e-4 * peer.area
    assert shapely.difference(mine, peer).area < 2e-3 * peer.area


def test_saving_corners_costs_no_more_than_the_tolerance():
    surface = swells(200, 200, 8.0, 3)
    exact = shallower_than(surface, 4.0, tolerance_m=0.0)
    saved = shallower_than(surface, 4.0, tolerance_m=1.25)
    assert shapely.get_num_coordinates(saved) < 0.3 * shapely.get_num_coordinates(exact)
    assert shapely.difference(exact, saved).area < 1e-6
    assert shapely.covers(shapely.buffer(exact, 1.25 + 1e-6), saved)
    assert len(saved.geoms) == len(exact.geoms)


@given(st.floats(1.0, 7.0), st.floats(0.0, 2.0))
@settings(max_examples=as_many(25), deadline=None)
def test_a_greater_limit_covers_a_lesser_one(limit, more):
    surface = swells(40, 50, 2.0, 11)
    less, greater = (shallower_than(surface, one, tolerance_m=0.0) for one in (limit, limit + more))
    assert shapely.difference(less, greater).area < 1e-4


def test_moving_the_grid_moves_the_area():
    depth = np.random.default_rng(1).normal(3, 2, (20, 20))
    here, there = surface_of(depth), DepthSurface(depth, WEST + 1000.0, NORTH - 2000.0, 5.0, 5.0, CRS)
    moved = shapely.transform(shallower_than(here, 3.0), lambda xy: xy + np.array([1000.0, -2000.0]))
    assert shapely.hausdorff_distance(moved, shallower_than(there, 3.0)) < 1e-6


def test_the_same_grid_gives_the_same_corners():
    surface = swells(60, 60, 2.0, 5)
    assert shallower_than(surface, 3.0).equals_exact(shallower_than(surface, 3.0), 0.0)


def test_small_deep_pockets_are_closed_when_told():
    depth = np.full((20, 30), 1.0)
    depth[5, 5] = 9.0  # a pocket of less than 100 m2
    depth[8:16, 12:24] = 9.0
    whole, closed = (
        shallower_than(surface_of(depth), 2.0),
        shallower_than(surface_of(depth), 2.0, least_hole_m2=100.0),
    )
    assert len(whole.geoms[0].interiors) == 2
    assert len(closed.geoms[0].interiors) == 1
    assert shapely.covers(closed, whole)


def test_nothing_shallow_is_an_empty_area_and_all_shallow_is_the_whole_grid():
    surface = surface_of(np.full((4, 6), 5.0))
    assert shallower_than(surface, 1.0).is_empty
    all_of_it = shallower_than(surface, 9.0)
    assert shapely.covers(all_of_it, shapely.box(*surface.bounds))
    assert all_of_it.area == pytest.approx(600.0, rel=0.01)


@pytest.mark.parametrize(("limit", "tolerance"), [(np.nan, 1.0), (np.inf, 1.0), (1.0, -1.0), (1.0, np.nan)])
def test_a_limit_or_tolerance_that_is_no_length_is_refused(limit, tolerance):
    with pytest.raises(UsageError):
        shallower_than(surface_of([[1.0]]), limit, tolerance_m=tolerance)


@settings(max_examples=as_many(40), deadline=None)
@given(depth_grids)
def test_the_unknown_area_is_where_samples_find_no_depth(depth):
    surface = surface_of(depth, 5.0, 7.0)
    area = unknown_area(surface)
    assert area.is_valid
    rng = np.random.default_rng(2)
    west, south, east, north = surface.bounds
    x, y = rng.uniform(west, east, 2000), rng.uniform(south, north, 2000)
    assert (shapely.intersects_xy(area, x, y) == np.isnan(surface.at(x, y))).all()


def test_a_million_cells_take_no_longer_than_a_moment():
    import time

    surface = swells(1000, 1000, 8.0, 0)
    shallower_than(surface, 4.0)
    start = time.perf_counter()
    shallower_than(surface, 3.9)
    assert time.perf_counter() - start < 2.0  # 0.07 s measured; the room is for slow machines
