"""What is decided on the safe side, at the very limit: levels, errors, hazards and the water left to a boat."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest
import shapely

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataError, NoSolution, UsageError
from castshed.toolbox.water.level.hazards import least_depths, polygon_parts, shallow_area, widened
from castshed.toolbox.water.level.pool_level import (
    LevelSeries,
    level_from_pools,
    level_from_series,
    pool_at,
    trend_mps,
)
from castshed.toolbox.water.level.uncertainty import S44_ORDERS, s44_error_m
from made_lake import CRS

START = dt.datetime(2026, 5, 10, tzinfo=dt.UTC)


def readings(*pairs, **told):
    """Pool elevations, each with the hours since the start."""
    times = tuple(START + dt.timedelta(hours=hours) for hours, _ in pairs)
    return LevelSeries(times, np.array([metres for _, metres in pairs], dtype=float), **told)


def at(hours):
    return START + dt.timedelta(hours=hours)


# --- levels ------------------------------------------------------------------------------------------------------------


def test_elevations_as_far_apart_as_a_lake_can_be_pass_and_no_farther():
    for apart, noted in ((30.0, False), (30.5, True), (-200.0, True)):
        found = level_from_pools(500.0 + apart, 500.0, "D", "D")
        assert found.level_m == apart
        assert bool(found.notes) is noted
    for wrong in (200.5, -200.5, math.nan, math.inf):
        with pytest.raises(UsageError, match="check their units"):
            level_from_pools(500.0 + wrong, 500.0, "D", "D")
    with pytest.raises(UsageError, match=r"711\.70 m and the normal pool 217\.02 m, 495 m apart"):
        level_from_pools(711.7, 217.02)


def test_the_found_level_tells_where_it_comes_from():
    found = level_from_pools(499.0, 500.0, "D")
    assert (found.pool_m, found.normal_pool_m, found.datum, found.carried_m) == (499.0, 500.0, "D", 0.0)
    assert found.how == "pool minus normal pool"
    assert found.notes == ("the datum of the normal pool is not named; it is taken to be D too",)
    assert level_from_pools(499.0, 500.0, "", "D").notes[0].startswith("the datum of the pool is not named")
    assert level_from_pools(499.0, 500.0, "", "D").datum == "D"


def test_a_level_is_measured_up_to_the_last_reading_and_not_beyond():
    series = readings((0, 100.0), (24, 101.0), (48, 102.0), name="made", said=("provisional",))
    newest = level_from_series(series, 100.0)
    assert (newest.level_m, newest.measured) == (2.0, True)
    assert newest.how.startswith("made: newest reading, read at 2026-05-12")
    assert newest.notes[0] == "provisional"
    same = level_from_series(series, 100.0, moment=at(48))
    assert (same.level_m, same.measured, same.carried_m) == (2.0, True, 0.0)
    assert "newest" not in same.how
    held = level_from_series(series, 100.0, moment=at(49), beyond="hold")
    assert (held.level_m, held.measured, held.carried_m) == (2.0, False, 0.0)
    assert "held for 1.0 h" in held.how
    carried = level_from_series(series, 100.0, moment=at(54), beyond="trend")
    assert carried.level_m == pytest.approx(2.25)  # worked: a metre a day for a quarter of one
    assert carried.carried_m == pytest.approx(0.25)
    assert "carried on for 6.0 h" in carried.how


def test_a_gap_of_two_days_is_usual_and_a_longer_one_is_said():
    assert "apart" not in pool_at(readings((0, 1.0), (48, 2.0)), at(1)).how
    assert "2.1 days apart: a flood" in pool_at(readings((0, 1.0), (50, 2.0)), at(1)).how
    between = pool_at(readings((0, 1.0), (24, 3.0), (72, 9.0)), at(36))
    assert between.carried_m == 0.0
    assert between.elevation_m == pytest.approx(4.5)  # worked: a quarter of the way from 3 to 9
    assert "2026-05-11T00:00:00+00:00 and 2026-05-13" in between.how


def test_the_first_reading_counts_and_a_moment_before_it_does_not():
    series = readings((0, 7.0), (24, 8.0))
    assert pool_at(series, at(0)).elevation_m == 7.0
    with pytest.raises(NoSolution, match="begins at"):
        pool_at(series, at(-0.001))
    with pytest.raises(UsageError, match="no zone"):
        pool_at(series, dt.datetime(2026, 5, 10, 6))  # noqa: DTZ001  # the point of it


def test_seven_days_may_be_carried_on_and_no_more():
    series = readings((0, 1.0), (24, 1.0), (48, 1.0))
    assert pool_at(series, at(48 + 7 * 24), "hold").elevation_m == 1.0
    for how in ("hold", "trend"):
        with pytest.raises(NoSolution, match=r"7\.1 days before the time asked; more than 7 days"):
            pool_at(series, at(48 + 7 * 24 + 2), how)


def test_a_trend_takes_three_readings_over_half_a_day_within_three_days():
    assert trend_mps(readings((0, 1.0), (6, 1.0), (12, 1.0))) == pytest.approx(0.0, abs=1e-15)
    with pytest.raises(NoSolution, match="3 readings in its last three days"):
        trend_mps(readings((0, 1.0), (6, 1.0), (11, 1.0)))
    # The reading of just three days ago is one of the three, an older one is not.
    assert trend_mps(readings((0, 1.0), (36, 1.0), (72, 1.0))) == pytest.approx(0.0, abs=1e-15)
    with pytest.raises(NoSolution, match="2 readings"):
        trend_mps(readings((0, 1.0), (37, 1.0), (73, 1.0)))


def test_readings_that_are_none_are_refused():
    for times, metres, words in (
        ((), [], "0 times"),
        ((at(0),), [1.0, 2.0], "1 times"),
        ((at(0), at(0)), [1.0, 2.0], "put it in order"),
        ((at(1), at(0)), [1.0, 2.0], "put it in order"),
        ((at(0), at(1).replace(tzinfo=None)), [1.0, 2.0], "without a zone"),
        ((at(0),), [math.nan], "no elevation of a lake"),
        ((at(0), at(1)), [0.0, -9000.5], "no elevation of a lake"),
    ):
        with pytest.raises(DataError, match=words):
            LevelSeries(times, np.array(metres), name="made")
    assert LevelSeries((at(0),), [9000.0]).elevation_m.tolist() == [9000.0]


@pytest.mark.parametrize("order", list(S44_ORDERS))
def test_the_error_of_a_survey_grows_from_its_fixed_part(order):
    """IHO S-44: sqrt(a^2 + (b d)^2); at no depth it is a, far down b for each metre. A bare bottom counts as depth 0."""
    fixed, growing = S44_ORDERS[order]
    assert s44_error_m(order, 0.0) == s44_error_m(order, -7.0) == fixed
    assert s44_error_m(order, 1e6) == pytest.approx(growing * 1e6)


# --- hazards -------------------------------------------------------------------------------------------------------------


def test_a_widened_thing_covers_all_within_its_radius_and_little_more():
    turns = np.linspace(0.0, 2.0 * np.pi, 1000)
    (disc,) = widened(np.array([shapely.Point(0, 0)]), np.array([10.0]))
    assert shapely.covers(disc, shapely.points(9.999999 * np.cos(turns), 9.999999 * np.sin(turns))).all()
    assert shapely.covers(shapely.Point(0, 0).buffer(10.06, quad_segs=64), disc)
    (line,) = widened(np.array([shapely.LineString([(0, 0), (50, 0)])]), np.array([2.0]))
    assert shapely.covers(line, shapely.box(0, -2, 50, 2))
    # What has neither extent nor width is still there.
    (least,) = widened(np.array([shapely.Point(0, 0)]), np.array([0.0]))
    assert least.area == pytest.approx(math.pi * 0.01**2, rel=0.02)


def test_the_polygons_of_anything_come_from_west_to_east():
    east, west, line = (
        shapely.box(10, 0, 11, 1),
        shapely.box(0, 5, 1, 6),
        shapely.LineString([(0, 0), (1, 1)]),
    )
    above = shapely.box(0, 8, 1, 9)
    found = polygon_parts(shapely.GeometryCollection([east, line, shapely.MultiPolygon([above, west])]))
    assert [shape.bounds[:2] for shape in found] == [(0, 5), (0, 8), (10, 0)]
    assert len(polygon_parts(line)) == 0
    flat = shapely.Polygon([(0, 0), (5, 0), (0, 0)])
    assert len(polygon_parts(shapely.GeometryCollection([flat]))) == 0


def slope(changed=()):
    """10 m cells; depth grows with x: 1 m at the centre of the first column, 1 m more in each."""
    depth = np.add.outer(np.zeros(6), np.arange(1.0, 9.0))
    for row, column, metres in changed:
        depth[row, column] = metres
    return DepthSurface(depth.astype("f4"), 0.0, 60.0, 10.0, 10.0, CRS, 0.0)


def test_the_least_depth_of_an_area_is_at_its_corners_or_a_centre_inside():
    inside = shapely.box(30, 10, 60, 50)  # its west edge lies half-way between centres of 3 and 4 m
    pit = shapely.Point(45, 35).buffer(1)  # round the centre of a cell of 5 m
    away = shapely.box(200, 10, 210, 20)
    assert least_depths(slope(), np.array([inside, pit, away])).tolist() == pytest.approx(
        [3.5, 4.9, math.nan], nan_ok=True
    )
    assert len(least_depths(slope(), np.empty(0, dtype=object))) == 0
    shoal = slope([(3, 4, 0.25)])  # one centre within the first area, none of its corners
    assert least_depths(shoal, np.array([inside]))[0] == 0.25
    # One centre far from the corner of the grid, within a disc of a metre.
    far = slope([(2, 6, 0.25), (4, 1, 0.5)])
    discs = np.array([shapely.Point(65, 35).buffer(1), shapely.Point(15, 15).buffer(1)])
    assert least_depths(far, discs).tolist() == [0.25, 0.5]
    unknown = slope([(slice(None), slice(None), np.nan)])
    assert np.isnan(least_depths(unknown, np.array([inside]))[0])


def test_the_shallow_area_ends_at_the_isobath_and_leaves_out_what_is_not_known():
    water = shapely.box(0, 0, 80, 60)
    nothing = shapely.MultiPolygon()
    # 3 m lies at the third centre; the outline may stray into deeper water, by 2 m at most.
    for unknown, west in ((nothing, 0.0), (shapely.box(0, 0, 10, 60), 10.0)):
        found = shallow_area(slope(), water, 3.0, unknown)
        assert found.bounds[0] == west
        assert shapely.covers(found, shapely.box(west, 0, 25, 60))
        assert shapely.covers(shapely.box(west, 0, 27, 60), found)
    assert shallow_area(slope(), shapely.box(30, 0, 80, 60), 3.0, nothing).area == 0.0
