"""Level arithmetic and depth quality against worked values of the trade and of IHO S-44."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.levels import charted_depth, depth_today, level_of, top_depth
from castshed.toolbox.water.uncertainty import combined_error_m, needed_depth_m, s44_error_m

FOOT = 0.3048  # international foot, by definition
POOL = level_of(641.6 * FOOT, 650.0 * FOOT)  # normal pool 650.0 ft, today 641.6 ft

depths = st.floats(-50, 200)
levels = st.floats(-30, 30)


def test_a_charted_12_ft_is_3_6_ft_with_the_pool_at_641_6_of_650_ft():
    assert depth_today(12 * FOOT, POOL) / FOOT == pytest.approx(3.6)  # worked


def test_a_5_ft_hump_stands_dry_by_3_4_ft():
    assert depth_today(5 * FOOT, POOL) / FOOT == pytest.approx(-3.4)  # worked


def test_todays_10_ft_line_is_the_18_4_ft_contour():
    assert charted_depth(10 * FOOT, POOL) / FOOT == pytest.approx(18.4)  # worked


def test_with_the_lake_down_five_feet_five_feet_come_off_every_depth():
    charted = np.array([6.0, 10.0, 33.0]) * FOOT
    assert depth_today(charted, -5 * FOOT) / FOOT == pytest.approx([1.0, 5.0, 28.0])  # common practice


def test_brush_of_8_ft_on_14_ft_is_bare_by_2_4_ft_at_8_4_ft_of_drawdown():
    bottom = depth_today(14 * FOOT, -8.4 * FOOT)
    assert bottom / FOOT == pytest.approx(5.6)  # worked
    assert top_depth(bottom, 8 * FOOT) / FOOT == pytest.approx(-2.4)  # worked


@given(depths, levels)
def test_to_todays_depth_and_back_gives_the_charted_one(charted, level):
    assert charted_depth(depth_today(charted, level), level) == pytest.approx(charted, abs=1e-9)


@pytest.mark.parametrize(("order", "expected"), [("order-1", 0.5166), ("special", 0.2610)])
def test_s44_error_at_10_m(order, expected):
    """IHO S-44 ed. 6: sqrt(a^2 + (b d)^2); order 1 a 0.5 b 0.013, special a 0.25 b 0.0075 (read second-hand)."""
    assert s44_error_m(order, 10.0) == pytest.approx(expected, abs=5e-5)


def test_orders_of_survey_are_ranked():
    errors = [s44_error_m(order, 20.0) for order in ("exclusive", "special", "order-1", "order-2")]
    assert errors == sorted(errors)


def test_an_unknown_order_lists_the_known_ones():
    with pytest.raises(UsageError, match="special"):
        s44_error_m("order-9", 1.0)


def test_independent_errors_combine_like_the_sides_of_a_triangle():
    assert combined_error_m(0.3, 0.4) == pytest.approx(0.5)
    assert combined_error_m() == 0.0


@given(st.floats(0, 3), st.floats(0, 2), st.floats(0, 2), st.floats(0, 2), st.floats(0, 1))
def test_no_error_ever_lessens_the_depth_needed(boat, margin, depth_error, level_error, more):
    needed = needed_depth_m(boat, margin, depth_error, level_error)
    assert needed >= boat + margin
    assert needed_depth_m(boat, margin, depth_error + more, level_error) >= needed
    assert needed_depth_m(boat, margin, depth_error, level_error + more) >= needed
    assert needed <= boat + margin + depth_error + level_error + 1e-9
    assert math.isfinite(needed)
