"""The surface from contours and soundings: against planted bottoms, Delaunay triangles by scipy, cones and spits."""

from __future__ import annotations

import functools

import contourpy
import numpy as np
import pytest
import shapely
from scipy.interpolate import LinearNDInterpolator
from scipy.ndimage import gaussian_filter, label

from castshed.toolbox.water.depth import DepthSurface
from castshed.toolbox.water.shore import rings_of
from castshed.toolbox.water.surface import METHODS, Measured, grid_over, minimum_curvature, triangles

FOOT = 0.3048
STEPS = {"2ft": 2 * FOOT, "5ft": 5 * FOOT, "10ft": 10 * FOOT}
# Tension and sweeps were chosen on other seeds (1, 2, 3 of another generator); these were never looked at before.
SCORING_SEEDS = (101, 102, 103, 104, 105)
CELL, CELLS = 2.5, 320


def no_points():
    return np.empty((0, 2)), np.empty(0)


def no_lines():
    return np.empty(0, dtype=object), np.empty(0)


def lake_of(rings):
    """Polygon with holes out of closed rings, by even and odd."""
    area = shapely.Polygon()
    for ring in sorted((shapely.Polygon(r) for r in rings), key=lambda g: -g.area):
        area = shapely.symmetric_difference(area, ring)
    return area


@functools.cache
def planted(seed):
    """A made bottom: swells of several sizes in a bowl; depth grid (row 0 north), its grid and its shoreline."""
    rng = np.random.default_rng([7, seed])
    y, x = np.mgrid[:CELLS, :CELLS]
    depth = 9.0 - 90.0 * np.clip(np.hypot(x - CELLS / 2, y - CELLS / 2) / (CELLS / 2) - 0.6, 0, None)
    for width_m, height_m in ((150, 3.5), (50, 1.6), (18, 0.4), (7, 0.08)):
        swell = gaussian_filter(rng.normal(size=(CELLS, CELLS)), width_m / CELL, mode="wrap")
        depth += height_m * swell / swell.std()
    pools, _ = label(depth > 0)
    return np.where((depth > 0) & (pools != np.argmax(np.bincount(pools[pools > 0]))), -0.05, depth)


def tracer(depth):
    x = (np.arange(CELLS) + 0.5) * CELL
    y = CELLS * CELL - (np.arange(CELLS) + 0.5) * CELL
    return contourpy.contour_generator(x, y, depth)


def contoured(depth, step):
    lines = tracer(depth)
    lake = lake_of(lines.lines(0.0))
    found, depths = [], []
    for number in range(1, int(depth.max() / step) + 1):
        for line in lines.lines(number * step):
            found.append(shapely.LineString(line))
            depths.append(number * step)
    return Measured.gather(lake, np.array(found, dtype=object), np.array(depths), *no_points())


def sounded(depth, apart_m):
    """Tracks from north to south, a sounding in each cell, between the centres of columns."""
    column = np.arange(int(apart_m / CELL / 2), CELLS, int(apart_m / CELL))
    row, column = (a.ravel() for a in np.meshgrid(np.arange(CELLS), column, indexing="ij"))
    wet = depth[row, column] > 0
    row, column = row[wet], column[wet]
    xy = np.column_stack([(column + 0.5) * CELL, (CELLS - row - 0.5) * CELL])
    return Measured.gather(lake_of(tracer(depth).lines(0.0)), *no_lines(), xy, depth[row, column])


def grid():
    from castshed.toolbox.water.links import Grid

    return Grid(CELLS, CELLS, 0.0, CELLS * CELL, CELL, CELL)


def peer_triangles(known):
    """Delaunay triangles straight from scipy, every vertex of every line and every sounding."""
    points = known.points(1.5 * CELL, shore=True)
    y, x = np.mgrid[:CELLS, :CELLS]
    at = np.column_stack([(x.ravel() + 0.5) * CELL, (CELLS - y.ravel() - 0.5) * CELL])
    return LinearNDInterpolator(points[:, :2], points[:, 2])(at).reshape(CELLS, CELLS)


def rmse(found, depth):
    return float(np.sqrt(np.nanmean((found - depth)[depth > 0] ** 2)))


@functools.cache
def scores(name):
    mine, peers = [], []
    for seed in SCORING_SEEDS:
        depth = planted(seed)
        known = sounded(depth, 40.0) if name == "tracks40" else contoured(depth, STEPS[name])
        mine.append(rmse(minimum_curvature(grid(), known), depth))
        peers.append(rmse(peer_triangles(known), depth))
    return np.array(mine), np.array(peers)


@pytest.mark.parametrize("name", [*STEPS, "tracks40"])
def test_no_planted_bottom_is_met_worse_than_by_delaunay_triangles(name):
    mine, peers = scores(name)
    assert (mine <= peers).all(), (mine, peers)


def test_on_5_ft_contours_the_error_is_at_least_15_percent_less_than_that_of_triangles():
    mine, peers = scores("5ft")
    assert mine.mean() < 0.85 * peers.mean()


@pytest.mark.parametrize("name", STEPS)
def test_contours_are_honoured_within_a_tenth_of_their_interval(name):
    for seed in SCORING_SEEDS[:2]:
        known = contoured(planted(seed), STEPS[name])
        surface = DepthSurface(minimum_curvature(grid(), known), 0, CELLS * CELL, CELL, CELL, "EPSG:32615")
        points = known.points(1.0, shore=True)
        off = np.abs(surface.at(points[:, 0], points[:, 1]) - points[:, 2]) / STEPS[name]
        assert np.quantile(off, 0.995) < 0.1
        assert np.isfinite(off).all()


@pytest.mark.parametrize("name", STEPS)
def test_between_two_contours_the_surface_stays_between_their_depths(name):
    step = STEPS[name]
    for seed in SCORING_SEEDS[:2]:
        depth = planted(seed)
        found = minimum_curvature(grid(), contoured(depth, step))
        band = np.floor(depth / step) * step
        beyond = np.maximum(band - found, found - band - step)[depth > 0] / step
        assert np.quantile(beyond, 0.999) < 0.02
        assert beyond.max() < 0.5


def test_half_the_interval_holds_nineteen_of_twenty_errors_of_the_surface():
    """What depth-surface takes as the depth error of contours, for smooth bottoms; the chart's own error is apart."""
    for name, step in STEPS.items():
        for seed in SCORING_SEEDS:
            depth = planted(seed)
            found = minimum_curvature(grid(), contoured(depth, step))
            assert np.quantile(np.abs(found - depth)[depth > 0], 0.95) < step / 2, (name, seed)


def cone(cell_x, cell_y):
    """A round lake of 200 m radius, 1:20 to the middle, with 1 m contours, and its surface."""
    centre = shapely.Point(500_000.0, 4_000_000.0)
    lake = centre.buffer(200.0, quad_segs=64)
    lines = [centre.buffer(200.0 - 20.0 * d, quad_segs=64).exterior for d in range(1, 10)]
    known = Measured.gather(lake, np.array(lines, dtype=object), np.arange(1.0, 10.0), *no_points())
    lattice = grid_over(lake.bounds, cell_x, cell_y)
    depth = minimum_curvature(lattice, known)
    return DepthSurface(depth, lattice.west_m, lattice.north_m, cell_x, cell_y, "EPSG:32615")


@pytest.mark.parametrize("cells", [(2.5, 2.5), (4.0, 2.5), (2.0, 5.0)])
def test_a_cone_is_met_within_a_tenth_of_its_contour_interval(cells):
    surface = cone(*cells)
    angle, radius = np.meshgrid(np.linspace(0, 2 * np.pi, 90), np.linspace(25.0, 195.0, 80))
    found = surface.at(500_000 + radius * np.cos(angle), 4_000_000 + radius * np.sin(angle))
    assert np.abs(found - (200.0 - radius) / 20.0).max() < 0.1  # contours are 1 m apart; 0.06 m is reached


def test_the_surface_is_0_along_the_shoreline():
    surface = cone(2.5, 2.5)
    angle = np.linspace(0, 2 * np.pi, 720)
    found = surface.at(500_000 + 200 * np.cos(angle), 4_000_000 + 200 * np.sin(angle))
    assert np.abs(found).max() < 0.03


def spit(width_m, known_left=10.0, known_right=1.0):
    """A deep bay and a shallow one, parted by a spit that leaves a gap in the north."""
    lake = shapely.difference(shapely.box(0, 0, 600, 400), shapely.box(300, -1, 300 + width_m, 330))
    x, y = (a.ravel() for a in np.meshgrid(np.arange(20.0, 600, 40), np.arange(20.0, 400, 40)))
    inside = shapely.contains_xy(lake.buffer(-5), x, y)
    depth = np.where(x < 300, known_left, known_right)
    return lake, Measured.gather(lake, *no_lines(), np.column_stack([x, y])[inside], depth[inside])


@pytest.mark.parametrize("width_m", [10.0])  # two cells; a spit of a fifth of a cell still lets some through
def test_depth_does_not_leak_across_a_spit(width_m):
    lake, known = spit(width_m)
    lattice = grid_over(lake.bounds, 5.0, 5.0)
    found = minimum_curvature(lattice, known)
    x = lattice.west_m + (np.arange(lattice.columns) + 0.5) * 5.0
    y = lattice.north_m - (np.arange(lattice.rows) + 0.5) * 5.0
    right = found[np.ix_(y < 200, (x > 300 + width_m) & (x < 400))]
    assert (
        np.nanmax(right) < 1.25
    )  # soundings of 1 m here and 10 m beyond; the swing at the wall reaches 1.18 m
    # The same bay with another depth beyond the spit: hardly anything of it arrives.
    _, other = spit(width_m, known_left=30.0)
    assert (
        np.nanmax(
            np.abs(minimum_curvature(lattice, other) - found)[
                np.ix_(y < 200, (x > 300 + width_m) & (x < 400))
            ]
        )
        < 0.05
    )


def test_land_is_unknown_but_for_a_rim_that_is_not_below_the_datum():
    depth = planted(101)
    found = minimum_curvature(grid(), contoured(depth, STEPS["5ft"]))
    land = depth <= 0
    assert np.isnan(found[land]).any()
    assert np.nanmax(found[land]) <= 0.0
    water = ~land
    near = np.zeros_like(water)
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            near |= np.roll(water, (down, right), (0, 1))
    assert (np.isfinite(found) == near).all()


def test_a_water_without_any_sounding_has_no_depth():
    lake = shapely.MultiPolygon([shapely.box(0, 0, 100, 100), shapely.box(200, 0, 300, 100)])
    known = Measured.gather(lake, *no_lines(), np.array([[50.0, 50.0]]), np.array([4.0]))
    lattice = grid_over(lake.bounds, 5.0, 5.0)
    for method in METHODS.values():
        found = method(lattice, known)
        x = lattice.west_m + (np.arange(lattice.columns) + 0.5) * 5.0
        assert np.nanmax(found[:, x < 150]) > 2.0
        assert np.isnan(found[:, (x > 200) & (x < 300)]).all()


def test_soundings_are_never_overshot():
    lake, known = spit(10.0)
    lattice = grid_over(lake.bounds, 5.0, 5.0)
    assert np.nanmax(minimum_curvature(lattice, known, tension=0.0)) <= known.depth_m.max() + 1e-4


def test_triangles_cut_tops_off_where_minimum_curvature_rounds_them():
    centre = shapely.Point(0.0, 0.0)
    lines = [centre.buffer(r, quad_segs=32).exterior for r in (150.0, 100.0, 50.0)]
    depths = np.array([10.0, 8.0, 6.0])  # a hump: less deep to the middle
    known = Measured.gather(centre.buffer(200.0), np.array(lines, dtype=object), depths, *no_points())
    lattice = grid_over((-200, -200, 200, 200), 5.0, 5.0)
    middle = np.s_[lattice.rows // 2, lattice.columns // 2]
    assert triangles(lattice, known)[middle] == pytest.approx(6.0, abs=1e-3)
    assert 4.0 <= minimum_curvature(lattice, known)[middle] < 5.7


def test_centres_are_water_exactly_where_shapely_says_so():
    from castshed.toolbox.water.shore import centres_inside

    depth = planted(102)
    lake = lake_of(tracer(depth).lines(0.0))
    surface = DepthSurface(depth, 0, CELLS * CELL, CELL, CELL, "EPSG:32615")
    x, y = np.meshgrid(surface.xs, surface.ys)
    assert (centres_inside(surface, lake) == shapely.contains_xy(lake, x, y)).all()
    assert len(rings_of(lake)) == 1 + len(lake.interiors)


def test_more_soundings_of_a_plane_change_nothing():
    """On an inclined plane between two shores any number of soundings gives the plane, away from the side walls."""
    lake = shapely.box(0, 0, 400, 400)
    x, y = (a.ravel() for a in np.meshgrid(np.arange(5.0, 400, 10), np.arange(5.0, 400, 10)))
    known = Measured.gather(lake, *no_lines(), np.column_stack([x, y]), 2.0 + x / 50.0)
    lattice = grid_over(lake.bounds, 5.0, 5.0)
    surface = DepthSurface(
        minimum_curvature(lattice, known), lattice.west_m, lattice.north_m, 5.0, 5.0, "EPSG:32615"
    )
    x, y = np.meshgrid(np.linspace(100, 300, 100), np.linspace(100, 300, 100))
    assert np.abs(surface.at(x, y) - (2.0 + x / 50.0)).max() < 0.05
