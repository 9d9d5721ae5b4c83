"""Bands learnt from a lake's own data, held to a bottom that is known: a real valley, drowned."""

from __future__ import annotations

import functools
import warnings
from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.stats import norm

from castshed.algorithms.depth_surface import depth_surface
from castshed.toolbox.water.bottom.barriers import Grid
from castshed.toolbox.water.bottom.measured import Measured
from castshed.toolbox.water.bottom.surface import grid_over
from castshed.toolbox.water.sureness.band import Band
from castshed.toolbox.water.sureness.confidence import bending
from castshed.toolbox.water.sureness.error_law import (
    OwnError,
    Roughness,
    SoundingLaw,
    learn,
    learn_soundings,
    sure_quantile,
    upper_quantile,
)
from castshed.toolbox.water.sureness.held_out import HeldOut
from castshed.toolbox.water.sureness.raster_error import drawn_error_m
from castshed.toolbox.water.sureness.sounded import Gaps, LeftOut, gap_of, steepest_bank
from drowned_valley import Drowned


@functools.cache
def valley():
    return Drowned(345.0, 3, quick=True)


def shares(**given):
    """Share of places in the band, beyond its unsafe side, and mean half-width over the 95 % quantile of the error."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = depth_surface(valley().shoreline(), **given)
    x, y, true = valley().places(20_000)
    off, half = made.depth.at(x, y) - true, made.depth_confidence.at(x, y)
    known = np.isfinite(off) & np.isfinite(half)
    off, half = off[known], half[known]
    return (
        (np.abs(off) <= half).mean(),
        (off > half).mean(),
        half.mean() / np.quantile(np.abs(off), 0.95),
    )


@pytest.mark.parametrize("cell_m", [10.0, 20.0, 40.0])
def test_the_band_of_a_raster_holds_the_bottom_that_its_cells_cannot_show(cell_m):
    """One number for all rasters, 0.15 m, held 70, 25 and 8 % of them."""
    held, unsafe, width = shares(raster=valley().raster(cell_m))
    assert held >= 0.93
    assert unsafe <= 0.025
    assert width <= 1.6


@pytest.mark.parametrize("cell_m", [10.0, 30.0])
def test_the_band_of_contours_grows_with_the_cells(cell_m):
    held, unsafe, width = shares(contours=valley().contours(1.524), cell_m=cell_m)
    assert held >= 0.93
    assert unsafe <= 0.025
    assert width <= 1.6


def test_lines_drawn_coarsely_are_told_by_their_corners():
    """Douglas and Peucker: at least 90 % of a line lie within the tolerance of the line that was simplified by it."""
    lines = valley().contours(3.048).geometry.to_numpy()
    assert drawn_error_m(lines) < 0.5
    for tolerance_m in (5.0, 10.0, 20.0):
        assert 0.5 * tolerance_m < drawn_error_m(shapely.simplify(lines, tolerance_m)) < tolerance_m


def test_a_new_score_exceeds_the_conformal_quantile_no_more_often_than_asked():
    rng = np.random.default_rng(4)
    draws = rng.standard_cauchy((2000, 40))
    beyond = [row[0] > upper_quantile(row[1:], 0.9) for row in draws]
    assert np.mean(beyond) <= 0.1 + 3 * np.sqrt(0.09 / 2000)


def test_nine_draws_in_ten_give_a_quantile_that_holds_its_share():
    """Normal scores: the share under a value is known, so each draw can be judged; the plain one holds it in half."""
    rng = np.random.default_rng(4)
    draws = rng.normal(size=(1000, 200))
    held = [norm.cdf(sure_quantile(row, 0.95)) >= 0.95 for row in draws]
    assert 0.9 - 3 * np.sqrt(0.09 / 1000) <= np.mean(held) <= 0.97
    assert sure_quantile(np.arange(5.0), 0.975) == 4.0


@pytest.mark.parametrize("apart_m", [40.0, 150.0])
def test_the_band_between_soundings_is_learnt_from_gaps_as_small_as_they_can_be(apart_m):
    """Gaps wider than those of the lake made it 1.7 to 2.6 times as wide as the error; 150 m apart it also missed.

    How wide it is differs from draw to draw of the soundings: 1.2 to 1.9.
    """
    held, unsafe, width = shares(soundings=valley().soundings(apart_m))
    assert held >= 0.93
    assert unsafe <= 0.025
    assert width <= 2.0


def test_a_creek_narrower_than_a_cell_has_a_gap_of_its_own():
    """A way to data of 0 everywhere is no gap of 0: what is divided by it was not a number."""
    grid = grid_over((0.0, 0.0, 100.0, 20.0), 10.0, 10.0)
    away = np.zeros((grid.rows, grid.columns), dtype=np.float32)
    assert (gap_of(grid, away, 30.0) > 0).all()


def test_errors_carried_to_smaller_gaps_shrink_by_the_power_that_two_gaps_show():
    """Made: errors as the square of the gap, of places left out in gaps of 20 m and of 30 m; asked at 10 m.

    Half-normal errors of 0.01 gap squared lie within 1.96 of them by 95 %.
    """
    rng = np.random.default_rng(6)
    count = 2000
    size = rng.normal(size=count)
    gap = rng.uniform(18.0, 22.0, count)
    even = np.ones(count)
    wider = np.log(rng.uniform(1.4, 1.6, count))
    left = LeftOut(
        0.01 * gap**2 * size, gap, gap, even, even, even == 0, np.arange(count),
        wider, 2.0 * wider + rng.normal(0, 0.3, count), even == 0,
    )  # fmt: skip
    law = learn_soundings(left)
    one = np.ones(1, dtype=np.float32)
    half = law.at(10 * one, 10 * one, one, one, one == 0)
    assert 1.9 < half[0] / 1.0 < 2.4


def test_a_chart_that_soundings_bear_out_contradicts_nothing():
    given = {"soundings": valley().soundings(40.0), "contours": valley().contours(3.048)}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = depth_surface(valley().shoreline(), **given)
        alone = depth_surface(valley().shoreline(), soundings=given["soundings"])
    assert len(made.contradictions) <= 0.02 * len(given["soundings"])
    assert len(alone.contradictions) == 0
    assert list(alone.contradictions.columns) == list(made.contradictions.columns)


def test_the_kink_at_the_shoreline_is_no_bending_of_the_bottom():
    """An even slope of 3 in 10 down from the shoreline does not bend; where it ends on land it does."""
    grid = Grid(20, 40, 0.0, 100.0, 5.0, 5.0)
    slope = np.tile(np.maximum(np.arange(40.0) - 10.0, -1.0) * 1.5, (20, 1)).astype("f4")
    slope[:, :9] = np.nan
    assert bending(slope, grid)[:, 11:].max() < 1e-5
    creek = np.full((20, 40), np.nan, dtype="f4")
    creek[:, 10:13] = [-2.0, 3.0, -2.0]
    assert (
        bending(creek, grid)[:, 11] > 0.1
    ).all()  # nothing but its banks tells how a creek of one cell bends


def left_out_levels(rng, count, *, ashore=0.0, times=1.0):
    """Made: lines left out 20 m from those kept, off by 0.01 of the square of the gap, normal, on even ground."""
    off = 0.01 * 20.0**2 * rng.normal(size=count)
    near = rng.random(count) < ashore
    off[near] *= times
    features = np.column_stack([rng.uniform(19.0, 21.0, count), np.ones(count), np.ones(count)])
    # Gaps twice as wide: four times the error in the middle, three quarters of that at a quarter of the way.
    worse = np.log(3.0) + rng.normal(0.0, 0.3, count)
    return HeldOut(off, features, np.arange(count), np.zeros((count, 2)), np.ones(count), worse, near)


def asked(law, depth_m):
    one = np.ones(1, dtype="f4")
    return float(law.at(10 * one, one, one, depth_m * one)[0])


def test_between_contours_errors_shrink_by_the_power_that_wider_gaps_show():
    """Half the gap, a quarter of the error: 1.96 times 0.01 of 10 m squared, and somewhat more for what is not sure."""
    law = learn(left_out_levels(np.random.default_rng(3), 4000), 0.0)
    assert 1.9 < asked(law, 9.0) < 2.7


def test_without_gaps_twice_as_wide_the_way_alone_carries_errors():
    found = left_out_levels(np.random.default_rng(3), 4000)
    law = learn(replace(found, worse=np.full(len(found), np.nan)), 0.0)
    assert asked(law, 9.0) > 3.0


def test_water_inside_the_first_contour_has_a_band_of_its_own():
    """Made: three times the error where the first line is left out; it lies at 2 m."""
    law = learn(left_out_levels(np.random.default_rng(5), 4000, ashore=0.2, times=3.0), 0.0, ashore_m=2.0)
    assert 2.5 < asked(law, 1.0) / asked(law, 3.0) < 4.0


def test_few_places_ashore_have_a_band_that_is_not_carried_to_narrower_gaps():
    law = learn(left_out_levels(np.random.default_rng(5), 1000, ashore=0.01), 0.0, ashore_m=2.0)
    assert asked(law, 1.0) > 1.4 * asked(law, 3.0)


def test_contours_ten_feet_apart_have_a_band_as_narrow_as_their_error():
    held, unsafe, width = shares(contours=valley().contours(3.048))
    assert held >= 0.93
    assert unsafe <= 0.025
    assert width <= 1.6


def test_coarseness_of_lines_counts_once():
    """Lines left out are as coarse as those kept; counted again, the band was 2.2 times as wide as the error."""
    held, unsafe, width = shares(contours=valley().contours(1.524, generalised=True))
    assert held >= 0.93
    assert unsafe <= 0.025
    assert width <= 1.6


def banked(count):
    """Soundings of a straight bank that falls 1:5 from a shoreline along x = 0, every one at another way from it."""
    way = np.linspace(5.0, 60.0, count)
    shore = shapely.box(0.0, 0.0, 300.0, 300.0)
    xy = np.column_stack([way, np.full(count, 150.0)])
    return Measured.gather(shore, np.empty(0, dtype=object), np.empty(0), xy, way / 5.0)


def test_the_steepest_bank_is_what_soundings_near_the_shore_seldom_exceed():
    assert steepest_bank(banked(100), 70.0, 0.1) == pytest.approx(0.2, abs=0.005)
    assert steepest_bank(banked(20), 70.0, 0.1) == np.inf


def test_near_the_shore_no_band_reaches_beyond_its_bank():
    """Ten metres from the shore, where 2 m are found: no higher than the pool, and no deeper than the bank allows."""
    grid = Grid(3, 3, 0.0, 15.0, 5.0, 5.0)
    one = np.ones((3, 3), dtype="f4")
    flat = Roughness(0.0, np.log(30.0), np.zeros(3), np.full(3, 1e-6), np.zeros(1), np.ones(1))
    near = Gaps(75 * one, 10 * one)
    band = Band(
        SoundingLaw(flat, flat), 1.0, OwnError(np.empty(0), np.empty(0)), 0.0, 0.0, None, np.float32(0.0)
    )
    free, held = (
        replace(band, bank=bank).at(grid, 2 * one, 10 * one, near, one, one) for bank in (np.inf, 0.4)
    )
    assert np.allclose(free, 30.0)
    assert np.allclose(held, 0.4 * 15.0 - 2.0)
    assert np.allclose(replace(band, bank=0.1).at(grid, 2 * one, 10 * one, near, one, one), 2.0)
