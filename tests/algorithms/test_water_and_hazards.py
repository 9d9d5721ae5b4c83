"""Today's water and what is too thin: on a plane slope, where geometry says the answer, and by laws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.water_today import water_today
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import CastshedError, NoSolution
from long_tests import as_many
from made_lake import CRS, X0, Y0, frame

CELL = 5.0


def plane(error_m=0.0):
    """Depth grows 1 in 20 from the west bank: d = x / 20, from x = -50 to 450 m."""
    x = -50.0 + (np.arange(100) + 0.5) * CELL
    depth = np.tile((x / 20.0).astype("f4"), (60, 1))
    return DepthSurface(depth, X0 - 50.0, Y0 + 300.0, CELL, CELL, CRS, error_m)


def bank():
    return frame([shapely.box(X0, Y0, X0 + 450, Y0 + 300)], name=["made"])


def area(layer):
    return shapely.union_all(layer.geometry.to_numpy())


@pytest.mark.parametrize("feet", [0.0, -4.0, -8.4])
def test_the_water_ends_where_the_chart_shows_the_drawdown(feet):
    """With the lake down f feet the water's edge is the f ft contour: x = 20 f (common practice; geometry)."""
    level = feet * 0.3048
    edge = area(water_today(plane(), bank(), level_m=level).water).bounds[0] - X0
    assert -1e-6 <= edge - 20.0 * -level <= CELL  # on the safe side, by no more than a cell


def test_dry_ground_is_what_lies_between_the_two_edges():
    made = water_today(plane(), bank(), level_m=-1.2192)
    assert area(made.dry_ground).area == pytest.approx(20 * 1.2192 * 300.0, rel=0.1)
    assert area(made.water).intersection(area(made.dry_ground)).area == pytest.approx(0.0, abs=1e-6)
    assert area(made.water).area + area(made.dry_ground).area == pytest.approx(450.0 * 300.0, rel=1e-9)


def test_bands_tile_the_water_and_lie_in_the_depth_they_say():
    made = water_today(plane(), bank(), level_m=-0.5)
    assert made.depth_bands.area.sum() == pytest.approx(area(made.water).area, rel=1e-9)
    for band in made.depth_bands.itertuples(index=False):
        middle = shapely.point_on_surface(band.geometry)
        today = (middle.x - X0) / 20.0 - 0.5
        assert today >= band.from_m - 1e-6
        assert np.isnan(band.to_m) or today <= band.to_m + CELL / 20.0


def test_a_dry_lake_says_so():
    with pytest.raises(NoSolution, match="No water is left"):
        water_today(plane(), bank(), level_m=-30.0)


def test_hazards_end_where_geometry_says():
    """Idle needs 0.6 + 0.3 m and the root of 0.3^2 + 0.4^2 = 0.5 m for errors: 1.4 m, at x = 20 (1.4 + 0.5 drawdown)."""
    depth = plane(error_m=0.3)
    water = water_today(depth, bank(), level_m=-0.5).water
    made = shallow_hazards(
        depth, water, level_m=-0.5, draft_m=0.6, running_depth_m=0.9, margin_m=0.3, level_error_m=0.4
    )
    for care, needed in (("idle", 1.4), ("run", 1.7)):
        east = area(made[made["care"] == care]).bounds[2] - X0
        assert -1e-6 <= east - 20.0 * (needed + 0.5) <= CELL


def test_run_hazards_cover_idle_hazards(lake):
    water = water_today(lake.depth, lake.shoreline).water
    made = shallow_hazards(lake.depth, water, known_hazards=lake.known_hazards)
    idle, run = (area(made[made["care"] == care]) for care in ("idle", "run"))
    assert idle.difference(run).area == pytest.approx(0.0, abs=1e-3)


def test_every_place_too_thin_lies_in_a_hazard(lake):
    water = water_today(lake.depth, lake.shoreline).water
    made = shallow_hazards(
        lake.depth, water, draft_m=0.6, margin_m=0.3, level_error_m=0.0, running_depth_m=0.9
    )
    rng = np.random.default_rng(3)
    xy = rng.uniform([X0, Y0], [X0 + 1000, Y0 + 1000], (60_000, 2))
    wet = shapely.contains_xy(area(water), xy)
    for care, needed in (
        ("idle", 0.6 + 0.3 + 0.1),
        ("run", 0.9 + 0.3 + 0.1),
    ):  # 0.1 m is the coverage's error
        thin = wet & (lake.depth.at(xy[:, 0], xy[:, 1]) < needed - 1e-4)
        assert thin.sum() > 1000
        assert shapely.intersects_xy(area(made[made["care"] == care]), xy[thin]).all()


@settings(
    max_examples=as_many(12), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(draft=st.floats(0.2, 1.5), more=st.floats(0.0, 0.8), error=st.floats(0.0, 0.5))
def test_more_draft_or_error_never_lessens_a_hazard(lake, draft, more, error):
    water = water_today(lake.depth, lake.shoreline).water

    def idle(draft_m, level_error_m):
        made = shallow_hazards(
            lake.depth, water, draft_m=draft_m, running_depth_m=3.0, margin_m=0.3, level_error_m=level_error_m
        )
        return area(made[made["care"] == "idle"])

    less = idle(draft, error)
    # An edge is drawn afresh for each depth and simplified outward; it may move within a cell.
    assert less.difference(idle(draft + more, error).buffer(CELL)).is_empty
    assert less.difference(idle(draft, error + more).buffer(CELL)).is_empty


def test_a_known_hazard_is_as_wide_as_its_radius_and_the_position_error(lake):
    water = water_today(lake.depth, lake.shoreline).water
    made = shallow_hazards(lake.depth, water, known_hazards=lake.known_hazards, hazard_error_m=8.0)
    here = made[made.intersects(lake.known_hazards.geometry.iloc[0])]
    ring = lake.known_hazards.geometry.iloc[0].buffer(10.0 + 8.0 - 0.01)
    assert ring.difference(area(here[here["care"] == "idle"])).area == pytest.approx(0.0, abs=0.05)


def test_a_known_hazard_deep_enough_is_none_and_one_of_unknown_top_always_is(lake):
    water = water_today(lake.depth, lake.shoreline).water
    place = lake.known_hazards.geometry.iloc[0]

    def marked(top):
        made = shallow_hazards(lake.depth, water, known_hazards=lake.known_hazards.assign(top_depth_m=top))
        return made.intersects(place).any()

    assert [marked(0.5), marked(6.0), marked(np.nan)] == [True, False, True]


def test_water_of_unknown_depth_is_a_hazard_and_says_so(lake):
    holed = lake.depth.depth_m.copy()
    rows, columns = np.abs(lake.depth.ys - (Y0 + 300)) < 30, np.abs(lake.depth.xs - (X0 + 700)) < 30
    holed[np.ix_(rows, columns)] = np.nan
    depth = replace(lake.depth, depth_m=holed)
    water = frame([shapely.Polygon(lake.shoreline.geometry.iloc[0])], water_id=["w"])
    made = shallow_hazards(depth, water)
    here = made[made.intersects(shapely.Point(X0 + 700, Y0 + 300))]
    assert {"run", "idle"} <= set(here["care"])
    assert here["reason"].str.contains("no depth known").any()


def test_a_draft_deeper_than_the_lake_is_refused(lake):
    water = water_today(lake.depth, lake.shoreline).water
    with pytest.raises(CastshedError, match=r"draft|deep"):
        shallow_hazards(lake.depth, water, draft_m=30.0, running_depth_m=30.0)
