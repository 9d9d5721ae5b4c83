"""Humps: exact shapes by formula, flooding against another method, laws, and inputs that hold nothing."""

import geopandas as gpd
import numpy as np
import pytest
from scipy import ndimage
from scipy.optimize import brentq

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.landform.merge_tree import closed_rises
from castshed.toolbox.water.structure.finding_table import NUMBERS
from castshed.toolbox.water.structure.humps import SMOOTH_M, find_humps
from planted import CRS, plant

CELL = 2.5


def surface(depth, cell=CELL):
    return DepthSurface(np.asarray(depth, dtype=np.float32), 500_000.0, 4_000_000.0, cell, cell, CRS)


def plane(side=121, cell=CELL):
    """Eastings and northings of cell centres about the middle."""
    step = (np.arange(side) - side // 2) * cell
    return np.meshgrid(step, -step)


def middle(found, cell=CELL, side=121):
    half = (side // 2 + 0.5) * cell
    return found.geometry.x.iloc[0] - 500_000.0 - half, found.geometry.y.iloc[0] - 4_000_000.0 + half


def test_a_cone_is_found_at_its_tip_with_its_height_and_radius():
    x, y = plane()
    found = find_humps(surface(10.0 - np.maximum(4.0 - 0.1 * np.hypot(x, y), 0.0)))
    assert len(found) == 1
    assert np.hypot(*middle(found)) < 0.1
    assert found.top_m[0] == pytest.approx(6.0, abs=1e-4)
    assert found.relief_m[0] == pytest.approx(4.0, abs=0.01)
    # Radius 40 m; smoothing lets the foot run out by about its own reach.
    assert np.pi * 40.0**2 <= found.area_m2[0] <= np.pi * (40.0 + 4 * SMOOTH_M) ** 2
    assert np.isnan(found.deep_bearing_deg[0])
    # The ellipse with the second moments of a disc is the disc: its extent is the diameter.
    assert found.length_m[0] == pytest.approx(2 * np.sqrt(found.area_m2[0] / np.pi), rel=0.02)


@pytest.mark.parametrize("fall", [0.02, 0.04])
def test_a_gaussian_on_a_slope_closes_at_the_col_to_the_bank(fall):
    # Across the slope's line through the top the depth is 9 + fall y - h exp(-y^2 / 2 s^2); the uphill root of its
    # derivative is the col. A Gaussian smoothed by another is a Gaussian: s^2 adds, height times s^2 stays.
    high, wide = 3.0, 20.0
    x, y = plane(201)
    found = find_humps(surface(15.0 - fall * y - high * np.exp(-(x**2 + y**2) / (2 * wide**2))))
    s2 = wide**2 + SMOOTH_M**2
    h = high * wide**2 / s2

    def depth(t):
        return 15.0 + fall * t - h * np.exp(-(t**2) / (2 * s2))

    def falls(t):
        return fall + h * t / s2 * np.exp(-(t**2) / (2 * s2))

    col = brentq(falls, -100.0, -np.sqrt(s2))
    assert len(found) == 1
    assert found.base_m[0] == pytest.approx(depth(col), abs=0.02)
    assert found.deep_bearing_deg[0] == pytest.approx(180.0, abs=1.0)
    top = brentq(falls, -np.sqrt(s2), 0.0)
    assert middle(found, side=201)[1] == pytest.approx(-top, abs=1.0)


def test_a_ridge_that_deepens_all_the_way_is_no_hump():
    x, y = plane()
    assert len(find_humps(surface(10.0 + 0.03 * x + 0.08 * np.abs(y)))) == 0


def test_a_hole_is_none_and_its_mirror_image_is_one_at_the_same_place():
    x, y = plane()
    hole = 10.0 + 3.0 * np.exp(-((x - 30.0) ** 2 + (y + 12.0) ** 2) / 800.0)
    assert len(find_humps(surface(hole))) == 0
    found = find_humps(surface(25.0 - hole))
    assert len(found) == 1
    assert middle(found) == pytest.approx((30.0, -12.0), abs=0.3)


def test_flipping_a_bottom_swaps_its_rises_and_its_hollows():
    depth = plant(2, slots=3).surface.depth_m
    inner = depth[60:200, 60:400]
    rises, _ = closed_rises(inner, 0.5)
    again, _ = closed_rises(np.float32(60.0) - (np.float32(60.0) - inner), 0.5)
    hollows, _ = closed_rises(np.float32(60.0) - inner, 0.5)
    assert np.array_equal(rises.top, again.top)
    assert not set(rises.top) & set(hollows.top)
    for top in hollows.top:
        assert inner.ravel()[top] == ndimage.maximum_filter(inner, 3).ravel()[top]


def test_a_constant_changes_nothing_but_depths():
    made = plant(1, slots=4).surface
    one, other = find_humps(made), find_humps(made.shifted(40.0))
    deep = find_humps(made.with_depth(np.where(made.depth_m > 0, made.depth_m, np.nan)).shifted(3.0))
    assert len(one) == len(deep) > 0
    same = one.geometry.geom_equals_exact(deep.geometry, 0.05)
    assert same.all()
    assert np.allclose(deep.top_m - one.top_m, 3.0, atol=1e-3)
    for column in ("relief_m", "slope_deg", "length_m", "area_m2"):
        assert np.allclose(one[column], deep[column], rtol=0.02)
    assert len(other) >= len(one)  # forty metres up, the land is under water too


def test_a_quarter_turn_turns_the_findings():
    depth = plant(3, slots=3).surface.depth_m
    depth = depth[:300, :300]
    one, turned = find_humps(surface(depth)), find_humps(surface(np.rot90(depth)))
    assert len(one) == len(turned) > 0
    x, y = one.geometry.x - 500_000.0, 4_000_000.0 - one.geometry.y
    # A turn to the left carries what was in the east to the north.
    expected = sorted(zip((y).round(1), (300 * CELL - x).round(1), strict=True))
    got = sorted(
        zip((turned.geometry.x - 500_000.0).round(1), (4_000_000.0 - turned.geometry.y).round(1), strict=True)
    )
    assert np.allclose(expected, got, atol=0.3)


def test_an_island_is_no_hump_and_falls_dry_with_the_water():
    x, y = plane()
    depth = 10.0 - 8.0 * np.exp(-(x**2 + y**2) / 800.0)
    assert len(find_humps(surface(depth))) == 1
    assert len(find_humps(surface(depth).shifted(-2.5))) == 0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_flooding_gives_the_reliefs_that_labelling_every_level_gives(seed):
    """The relief of a top by another method: label at each depth, and see when its area holds a shallower cell."""
    rng = np.random.default_rng(seed)
    depth = ndimage.gaussian_filter(rng.standard_normal((36, 30)), 2.0)
    depth = (5.0 + depth / depth.std()).astype(np.float32)
    depth[depth < 3.0] = np.nan
    dry = np.isnan(np.pad(depth, 1, constant_values=np.nan))
    high = np.where(dry, -np.inf, np.pad(depth, 1, constant_values=np.nan))
    tops = (high == ndimage.minimum_filter(high, 3)) & ~dry
    expected = {}
    for level in np.unique(high[~dry]):
        labels, _ = ndimage.label(high <= level, np.ones((3, 3)))
        for r, c in zip(*np.nonzero(tops & (high <= level)), strict=True):
            if (r, c) not in expected and high[labels == labels[r, c]].min() < high[r, c]:
                expected[r, c] = level - high[r, c]
    expected = {k: v for k, v in expected.items() if v >= 0.3}
    rises, _ = closed_rises(depth, 0.3)
    found = {
        (top // 30 + 1, top % 30 + 1): closes - depth.ravel()[top]
        for top, closes in zip(rises.top, rises.closes_m, strict=True)
    }
    assert found.keys() == expected.keys()
    assert len(found) > 0
    assert all(found[k] == pytest.approx(expected[k], abs=1e-5) for k in found)


def test_a_single_wide_cell_is_no_hump():
    depth = np.full((9, 9), 8.0)
    depth[4, 4] = 3.0
    assert len(find_humps(surface(depth, 60.0))) == 0
    depth[4:6, 4:6] = 3.0
    assert len(find_humps(surface(depth, 60.0))) == 1


@pytest.mark.parametrize(
    "depth",
    [
        np.full((30, 40), np.nan),
        np.full((30, 40), 6.0),
        np.full((30, 40), -2.0),
        np.full((30, 40), 0.0),
        np.array([[5.0]]),
        np.array([[np.nan]]),
        np.array([[4.0, 5.0, 3.0, 6.0]]),
    ],
    ids=["unknown", "level", "land", "waterline", "one cell", "one unknown cell", "one row"],
)
def test_where_there_is_nothing_the_table_is_empty_with_all_columns(depth):
    found = find_humps(surface(depth))
    assert isinstance(found, gpd.GeoDataFrame)
    assert len(found) == 0
    assert {"kind", "geometry", *NUMBERS} == set(found.columns)
    assert found.crs == CRS


@pytest.mark.parametrize("name", ["relief_m", "area_m2"])
@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
def test_a_threshold_that_is_none_is_refused(name, value):
    with pytest.raises(UsageError, match=name):
        find_humps(surface(np.full((5, 5), 3.0)), **{name: value})


def test_the_input_is_left_alone_and_findings_are_ordered_by_clarity():
    made = plant(1, slots=4).surface
    before = made.depth_m.copy()
    found = find_humps(made)
    assert np.array_equal(before, made.depth_m, equal_nan=True)
    assert (np.diff(found.strength) <= 0).all()
    assert (found.strength >= 1.0).all()
    assert np.allclose(found.base_m - found.top_m, found.relief_m)


def test_of_two_joined_humps_each_has_its_own_ground():
    x, y = plane(161)
    pair = sum(np.exp(-((x - k * 40.0) ** 2 + y**2) / 968.0) for k in (-1, 1))
    found = find_humps(surface(12.0 - 4.0 * pair - 0.3 * np.exp(-((x - 40.0) ** 2 + y**2) / 968.0)))
    assert len(found) == 2
    assert found.relief_m[0] > found.relief_m[1] + 1.0
    # The higher one closes far out, but what lies beyond the col between them is not its own.
    assert found.area_m2[0] == pytest.approx(found.area_m2[1], rel=0.25)
