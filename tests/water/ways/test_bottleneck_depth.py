"""The sill between two pools: against a plain search over thresholds, and in the words a reader gets."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
from scipy.ndimage import label

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.water.ways.bottlenecks import _deepest_first, sills

CRS = pyproj.CRS.from_epsg(32615)


def surface(depth_m):
    return DepthSurface(np.asarray(depth_m, dtype=np.float32), 0.0, float(len(depth_m)), 1.0, 1.0, CRS)


def by_thresholds(depth_m, start, stop):
    """Deepest threshold at which start and stop hang together over eight neighbours."""
    for least in np.unique(depth_m[np.isfinite(depth_m)])[::-1]:
        pools, _ = label(depth_m >= least, np.ones((3, 3)))
        if pools[start] and pools[start] == pools[stop]:
            return float(least)
    return None


@pytest.mark.parametrize("seed", range(20))
def test_sill_is_the_deepest_threshold_that_joins(seed):
    rng = np.random.default_rng(seed)
    depth = rng.normal(size=(rng.integers(3, 15), rng.integers(3, 15))).astype(np.float32)
    depth[rng.random(depth.shape) < 0.25] = np.nan
    known = np.argwhere(np.isfinite(depth))
    start, *stops = known[rng.integers(0, len(known), 6)]
    xy = [(column + 0.5, len(depth) - row - 0.5) for row, column in (start, *stops)]
    found = sills(surface(depth), xy[0], xy[1:])
    for stop, sill in zip(stops, found, strict=True):
        wanted = by_thresholds(depth, tuple(start), tuple(stop))
        assert (sill is None) == (wanted is None)
        if sill is not None:
            assert sill.depth_m == pytest.approx(wanted)
            row, column = int(len(depth) - sill.y), int(sill.x)
            assert depth[row, column] == np.float32(sill.depth_m)


def test_off_the_surface_and_unknown_have_no_sill():
    depth = np.full((4, 4), 2.0)
    depth[0, 0] = np.nan
    found = sills(surface(depth), (2.5, 2.5), [(0.5, 3.5), (9.0, 1.0), (1.5, 0.5), (2.5, 2.5)])
    assert found[:2] == [None, None]
    assert [sill.depth_m for sill in found[2:]] == [2.0, 2.0]
    assert sills(surface(depth), (0.5, 3.5), [(1.5, 0.5)]) == [None]
    assert sills(surface(depth), (2.5, 2.5), np.empty((0, 2))) == []


def test_known_dry_bar_between_two_pools():
    depth = np.full((5, 9), 4.0)
    depth[:, 4] = [-3.0, -3.0, -0.5, -3.0, -3.0]
    (sill,) = sills(surface(depth), (1.0, 2.0), [(7.5, 2.0)])
    assert (sill.depth_m, sill.x, sill.y) == (-0.5, 4.5, 2.5)


@pytest.mark.parametrize("seed", range(6))
def test_cells_are_drowned_in_the_order_a_stable_sort_gives(seed):
    rng = np.random.default_rng(seed)
    depth = rng.normal(0.0, 5.0, 3_000).round(seed % 3).astype(np.float32)
    depth[rng.random(depth.size) < 0.3] = np.nan
    depth[rng.random(depth.size) < 0.1] = -0.0
    depth[:2] = 3e38, -3e38
    known = np.flatnonzero(np.isfinite(depth))
    assert np.array_equal(_deepest_first(depth), known[np.argsort(-depth[known], kind="stable")])
