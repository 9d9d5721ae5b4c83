"""Bluffs on banks by formula."""

from __future__ import annotations

import numpy as np
import pytest

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataWarning, UsageError
from castshed.toolbox.water.structure.bluffs import find_bluffs
from forms_cases import HOSTILE, check_table, local, made


def bank(slope, edge=100.0):
    """Land in the west, a plane bank with its edge at x = 100 m."""
    return lambda x, y: slope * (x - edge)


def test_a_plane_bank_of_45_degrees_is_a_bluff_along_its_whole_length():
    surface = made(bank(1.0))
    found = find_bluffs(surface)
    check_table(found, surface, "bluff", "LineString")
    assert len(found) == 1
    row = found.iloc[0]
    # Geometry: 15 m off a 45 degree bank the water is 15 m deep; the edge is 400 m less half a cell at each end.
    assert row["base_m"] == pytest.approx(15.0, abs=0.05)
    assert row["top_m"] == 0
    assert row["slope_deg"] == pytest.approx(45.0, abs=0.2)
    assert row["deep_bearing_deg"] == pytest.approx(90.0, abs=0.1)
    assert row["length_m"] == pytest.approx(397.5, abs=0.1)
    assert local(row.geometry)[:, 0] == pytest.approx(100.0, abs=0.01)


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_the_deep_side_turns_with_the_bank(turn):
    surface = made(bank(1.0), width=400.0)
    turned = DepthSurface(np.rot90(surface.depth_m, turn), 0.0, 400.0, 2.5, 2.5, surface.crs)
    found = find_bluffs(turned)
    assert len(found) == 1
    assert found["deep_bearing_deg"].iloc[0] == pytest.approx((90.0 - 90.0 * turn) % 360, abs=0.1)


def test_a_bank_just_too_gentle_is_none_and_one_just_steep_enough_is():
    assert find_bluffs(made(bank(3.5 / 15))).empty
    assert len(find_bluffs(made(bank(3.7 / 15)))) == 1
    assert len(find_bluffs(made(bank(3.5 / 15)), depth_m=3.4)) == 1


def test_only_the_steep_stretch_of_a_bank_is_reported():
    surface = made(lambda x, y: np.where(np.abs(y - 200) <= 60, 0.6, 0.06) * (x - 100))
    found = find_bluffs(surface)
    assert len(found) == 1
    y = local(found.geometry.iloc[0])[:, 1]
    assert y.min() == pytest.approx(140, abs=8)
    assert y.max() == pytest.approx(260, abs=8)
    assert find_bluffs(surface, length_m=160.0).empty


def test_a_steep_island_is_a_ring_and_a_ring_steep_on_one_side_an_arc_over_the_seam():
    def island(x, y):
        return np.hypot(x - 250, y - 200) - 60

    surface = made(island)
    whole = find_bluffs(surface)
    assert len(whole) == 1
    assert whole.geometry.iloc[0].is_closed
    assert whole["length_m"].iloc[0] == pytest.approx(2 * np.pi * 60, rel=0.01)
    for turn in np.linspace(0, 2 * np.pi, 7):

        def half(x, y, turn=turn):
            steep = (x - 250) * np.cos(turn) + (y - 200) * np.sin(turn) > 0
            return island(x, y) * np.where(steep, 0.8, 0.05)

        found = find_bluffs(made(half))
        assert len(found) == 1
        assert found["length_m"].iloc[0] == pytest.approx(np.pi * 60, rel=0.12)
        bearing = np.radians(90 - found["deep_bearing_deg"].iloc[0])
        assert np.cos(bearing - turn) > 0.99


def test_a_drop_beyond_the_distance_is_no_bluff():
    def shelf(x, y):
        return np.where(x < 100, -0.1 * (100 - x), np.where(x < 125, 0.04 * (x - 100), 12.0))

    assert find_bluffs(made(shelf)).empty
    assert len(find_bluffs(made(shelf), within_m=30.0)) == 1


def test_deep_water_beyond_a_spit_does_not_count():
    def spit(x, y):  # shallow water, then 8 m of land, then deep water
        return np.select([x < 50, x < 100, x < 108], [-1.0, 0.5, -1.0], 10.0)

    found = find_bluffs(made(spit))
    assert len(found) == 1
    assert found["deep_bearing_deg"].iloc[0] == pytest.approx(90, abs=1)


def test_the_rim_of_the_survey_is_no_bank_unless_no_land_is_known():
    surface = made(lambda x, y: np.where(x < 100, np.nan, 10.0 + 0 * x))
    assert len(find_bluffs(surface)) == 1
    assert find_bluffs(surface, unknown_is_land=False).empty
    with_land = made(lambda x, y: np.where(x < 100, np.nan, np.where(x > 480, -1.0, 0.02 * (480 - x))))
    assert find_bluffs(with_land).empty
    assert len(find_bluffs(with_land, unknown_is_land=True)) == 1
    assert find_bluffs(made(lambda x, y: 10.0 + 0 * x)).empty


def test_lower_water_moves_the_bluff_to_the_new_edge():
    surface = made(bank(0.8)).shifted(-8.0)
    found = find_bluffs(surface)
    assert len(found) == 1
    assert local(found.geometry.iloc[0])[:, 0] == pytest.approx(110.0, abs=0.01)


def test_oblong_cells_give_the_same_bluff():
    found = find_bluffs(made(bank(1.0), cell=(2.0, 4.0)))
    assert found["base_m"].iloc[0] == pytest.approx(15.0, abs=0.05)
    assert found["length_m"].iloc[0] == pytest.approx(396.0, abs=0.1)


def test_cells_too_wide_are_said_and_give_nothing():
    with pytest.warns(DataWarning, match="Bluffs were not looked for"):
        found = find_bluffs(made(bank(1.0), cell=(10.0, 10.0)))
    assert found.empty


@pytest.mark.parametrize("name", sorted(set(HOSTILE) - {"lone known cells", "chequered"}))
def test_nothing_is_found_where_nothing_is(name):
    found = find_bluffs(HOSTILE[name], unknown_is_land=False)
    check_table(found, HOSTILE[name], "bluff", "LineString")
    assert found.empty


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_hostile_grids_give_a_proper_table_and_stay_as_they_were(name):
    surface = HOSTILE[name]
    before = surface.depth_m.copy()
    for unknown_is_land in (None, False, True):
        check_table(find_bluffs(surface, unknown_is_land=unknown_is_land), surface, "bluff", "LineString")
    assert np.array_equal(before, surface.depth_m, equal_nan=True)


@pytest.mark.parametrize("option", ["within_m", "depth_m", "length_m"])
@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
def test_thresholds_that_are_no_lengths_are_refused(option, value):
    with pytest.raises(UsageError, match=option):
        find_bluffs(HOSTILE["holes"], **{option: value})
