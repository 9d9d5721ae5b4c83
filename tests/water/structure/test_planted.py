"""What is planted is there, and what is not planted is not: measured on made bottoms without roughness, by flooding."""

import functools

import numpy as np
import pytest
import shapely
from scipy import ndimage

from planted import plant

SEEDS = (1, 2)


@functools.cache
def bottom(seed):
    return plant(seed, slots=8, rough_m=0.0)


def of_kind(made, kind):
    return [truth.place for truth in made.truths if truth.kind == kind]


def closed_rises(surface, relief_m, step_m=0.2):
    """Tops that stand off everything round them by relief_m: areas shallower than a level that hold no land and no end.

    Flooded from above in steps; a rise counts once, where it has just grown to the relief.
    """
    depth = np.where(np.isnan(surface.depth_m), -1.0, surface.depth_m)[::2, ::2]
    xs, ys = surface.xs[::2], surface.ys[::2]
    found = {}
    for level in np.arange(0.5, depth.max(), step_m):
        labels, count = ndimage.label(depth < level)
        least = ndimage.minimum(depth, labels, np.arange(1, count + 1))
        tops = ndimage.minimum_position(depth, labels, np.arange(1, count + 1))
        for top, where in zip(least, tops, strict=True):
            if top > 0.0 and level - top >= relief_m:
                found[where] = level
    return [(xs[c], ys[r]) for r, c in found]


@pytest.mark.parametrize("seed", SEEDS)
def test_planted_humps_and_nothing_else_close_over_a_metre(seed):
    made = bottom(seed)
    rises = shapely.points(closed_rises(made.surface, 1.2))
    tops = of_kind(made, "hump")
    assert len(rises) == len(tops) > 4
    for top in tops:
        assert shapely.distance(rises, top).min() < 5.0


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_closes_a_little(seed):
    made = bottom(seed)
    assert len(closed_rises(made.surface, 0.25)) == len(of_kind(made, "hump"))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_saddle_is_below_its_two_tops_and_above_both_its_sides(seed):
    made = bottom(seed)
    tops = np.array([[p.x, p.y] for p in of_kind(made, "hump")])
    for col in of_kind(made, "saddle"):
        depth = float(made.surface.at(col.x, col.y))
        near = tops[np.argsort(np.hypot(*(tops - [col.x, col.y]).T))[:2]]
        assert (depth - made.surface.at(*near.T) > 1.0).all()
        along = near[1] - near[0]
        across = np.array([-along[1], along[0]]) / np.hypot(*along) * 35.0
        for sign in (-1, 1):
            assert made.surface.at(col.x + sign * across[0], col.y + sign * across[1]) - depth > 0.5


@pytest.mark.parametrize("seed", SEEDS)
def test_points_and_pockets_deepen_all_the_way_out_from_the_bank(seed):
    made = bottom(seed)
    lines = [(place, kind) for kind in ("point", "pocket") for place in of_kind(made, kind)]
    for place, kind in lines:
        way = shapely.line_interpolate_point(place, np.arange(0.0, place.length, 2.0))
        x, y = shapely.get_x(way), shapely.get_y(way)
        depth = made.surface.at(x, y)
        assert (np.diff(depth) > 0.0).all()
        # Beside the axis, as far from the bank, it is clearly deeper (point) or shallower (pocket).
        ahead = np.array([x[-1] - x[0], y[-1] - y[0]])
        aside = np.array([-ahead[1], ahead[0]]) / np.hypot(*ahead) * 75.0
        middle = len(x) // 2
        sides = [made.surface.at(x[middle] + k * aside[0], y[middle] + k * aside[1]) for k in (-1, 1)]
        off = np.mean(sides) - depth[middle]
        assert off > 1.0 if kind == "point" else off < -1.0


@pytest.mark.parametrize("seed", SEEDS)
def test_only_ledges_bluffs_and_humps_are_steep(seed):
    made = bottom(seed)
    down, right = np.gradient(made.surface.depth_m.astype(np.float64), 2.5)
    steep = np.hypot(down, right) > 0.215
    steep &= made.surface.depth_m > 0.5
    steep &= ndimage.binary_erosion(np.isfinite(made.surface.depth_m), iterations=2)
    r, c = np.nonzero(steep)
    cells = shapely.points(made.surface.xs[c], made.surface.ys[r])
    known = [t.place for t in made.truths if t.kind in {"ledge", "bluff", "hump"}]
    away = shapely.distance(cells[:, None], np.array(known)[None, :]).min(axis=1)
    assert away.max() < 70.0
    for place in of_kind(made, "ledge"):
        assert (shapely.distance(cells, place) < 8.0).sum() * 2.5**2 > place.length * 4.0


@pytest.mark.parametrize("seed", SEEDS)
def test_only_flats_are_level(seed):
    made = bottom(seed)
    smooth = ndimage.gaussian_filter(np.nan_to_num(made.surface.depth_m), 3.0)
    down, right = np.gradient(smooth, 2.5)
    level = (np.hypot(down, right) < 0.0105) & (made.surface.depth_m > 0.5)
    level = ndimage.binary_opening(level, np.ones((3, 3)), iterations=6)
    r, c = np.nonzero(level)
    if len(r):
        cells = shapely.points(made.surface.xs[c], made.surface.ys[r])
        flats = np.array(of_kind(made, "flat") or [shapely.Point(0, 0)])
        assert shapely.distance(cells[:, None], flats[None, :]).min(axis=1).max() < 30.0
    for place in of_kind(made, "flat"):
        assert place.area > 4000.0
        assert shapely.intersects(place, shapely.points(made.surface.xs[c], made.surface.ys[r])).any()


def test_the_same_seed_is_the_same_bottom_and_another_is_another():
    first, again, other = plant(4, slots=3), plant(4, slots=3), plant(5, slots=3)
    assert np.array_equal(first.surface.depth_m, again.surface.depth_m, equal_nan=True)
    assert first.truths == again.truths
    assert first.truths != other.truths


def test_all_kinds_are_planted():
    kinds = {truth.kind for seed in SEEDS for truth in bottom(seed).truths}
    assert kinds == {"hump", "saddle", "point", "pocket", "ledge", "bluff", "flat", "channel_bend"}
