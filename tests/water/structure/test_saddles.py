"""Saddles: two cones and a gaussian pair by formula, what is none, laws, and inputs that hold nothing."""

import numpy as np
import pytest

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.structure.finding_table import NUMBERS
from castshed.toolbox.water.structure.humps import SMOOTH_M
from castshed.toolbox.water.structure.saddles import find_saddles
from planted import CRS, plant

CELL = 2.5


def surface(depth, cell=CELL):
    return DepthSurface(np.asarray(depth, dtype=np.float32), 500_000.0, 4_000_000.0, cell, cell, CRS)


def plane(side=161, cell=CELL):
    step = (np.arange(side) - side // 2) * cell
    return np.meshgrid(step, -step)


def middle(found, side=161):
    half = (side // 2 + 0.5) * CELL
    return found.geometry.x.iloc[0] - 500_000.0 - half, found.geometry.y.iloc[0] - 4_000_000.0 + half


def pair(x, y, apart=40.0, high=4.0, wide=22.0, turn=0.0):
    """Two equal gaussians, their tops `apart` to either side of the middle."""
    a, b = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
    return -high * sum(np.exp(-((a - k * apart) ** 2 + b**2) / (2 * wide**2)) for k in (-1, 1))


@pytest.mark.parametrize("turn", [0.0, 0.4, 1.2])
def test_between_two_gaussians_it_lies_in_the_middle_at_the_depth_the_formula_gives(turn):
    x, y = plane()
    found = find_saddles(surface(12.0 + pair(x, y, turn=turn)))
    assert len(found) == 1
    assert np.hypot(*middle(found)) < 2.0
    s2 = 22.0**2 + SMOOTH_M**2  # smoothed by another gaussian
    assert found.top_m[0] == pytest.approx(
        12.0 - 2 * 4.0 * 22.0**2 / s2 * np.exp(-(40.0**2) / (2 * s2)), abs=0.02
    )
    assert found.length_m[0] == pytest.approx(80.0, abs=6.0)


def test_one_deep_side_is_not_enough():
    x, y = plane()
    bank = np.where(y > 0, -0.06 * y, 0.0)  # shoals to the north from the crest on
    assert len(find_saddles(surface(14.0 + bank + pair(x, y)))) == 0


def test_the_deep_bearing_points_to_the_deeper_side():
    x, y = plane()
    found = find_saddles(surface(14.0 - 0.008 * y + pair(x, y)))
    assert len(found) == 1
    assert found.deep_bearing_deg[0] == pytest.approx(180.0, abs=12.0)


def test_one_rise_has_none():
    x, y = plane()
    assert len(find_saddles(surface(12.0 - 5.0 * np.exp(-(x**2 + y**2) / 1500.0)))) == 0


def test_two_rises_that_a_flat_floor_parts_have_none():
    x, y = plane()
    apart = np.minimum(np.hypot(x - 90.0, y), np.hypot(x + 90.0, y))
    assert len(find_saddles(surface(10.0 - np.maximum(4.0 - 0.1 * apart, 0.0)))) == 0


def test_a_constant_changes_nothing_but_depths():
    made = plant(4, slots=6).surface
    wet = made.with_depth(np.where(made.depth_m > 0, made.depth_m, np.nan))
    one, deep = find_saddles(wet), find_saddles(wet.shifted(3.0))
    assert len(one) == len(deep) > 0
    assert one.geometry.geom_equals_exact(deep.geometry, 0.05).all()
    assert np.allclose(deep.top_m - one.top_m, 3.0, atol=1e-3)
    assert np.allclose(one.relief_m, deep.relief_m, atol=1e-3)


def test_what_is_reported_agrees_with_itself():
    found = find_saddles(plant(4, slots=6).surface)
    assert len(found) > 0
    assert np.allclose(found.base_m - found.top_m, found.relief_m)
    assert (found.strength >= 1.0).all()
    assert (found.kind == "saddle").all()


@pytest.mark.parametrize(
    "depth",
    [
        np.full((30, 40), np.nan),
        np.full((30, 40), 6.0),
        np.full((30, 40), -2.0),
        np.array([[5.0]]),
        np.array([[4.0, 5.0, 3.0, 6.0]]),
    ],
    ids=["unknown", "level", "land", "one cell", "one row"],
)
def test_where_there_is_nothing_the_table_is_empty_with_all_columns(depth):
    found = find_saddles(surface(depth))
    assert len(found) == 0
    assert {"kind", "geometry", *NUMBERS} == set(found.columns)


@pytest.mark.parametrize("name", ["relief_m", "drop_m", "area_m2", "apart_m"])
def test_a_threshold_that_is_none_is_refused(name):
    with pytest.raises(UsageError, match=name):
        find_saddles(surface(np.full((5, 5), 3.0)), **{name: 0.0})
