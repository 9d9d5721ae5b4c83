"""Flats on bottoms by formula."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from castshed.toolbox.errors import DataWarning, UsageError
from castshed.toolbox.water.structure.flats import find_flats
from forms_cases import HOSTILE, NORTH, WEST, check_table, made


def table(x, y, *, half=(80.0, 50.0), fall=0.0, side=0.15):
    """A level table at 5 m in the middle of a 500 x 400 m grid, its sides falling away."""
    off = np.maximum(np.abs(x - 250) - half[0], np.abs(y - 200) - half[1])
    return 5.0 + fall * (x - 250) + side * np.maximum(off, 0)


def test_a_level_table_is_one_flat_of_its_size_and_place():
    surface = made(table)
    found = find_flats(surface)
    check_table(found, surface, "flat", "Polygon")
    assert len(found) == 1
    row = found.iloc[0]
    truth = shapely.box(WEST + 170, NORTH - 250, WEST + 330, NORTH - 150)
    assert row.geometry.intersection(truth).area / row.geometry.union(truth).area > 0.8
    assert row.geometry.centroid.distance(truth.centroid) < 3.0
    assert row["top_m"] == pytest.approx(5.0, abs=0.05)
    assert row["base_m"] == pytest.approx(5.0, abs=0.3)
    assert row["length_m"] == pytest.approx(160, rel=0.1)
    assert row["area_m2"] == pytest.approx(row.geometry.area)
    assert np.isnan(row["deep_bearing_deg"])


def test_the_fall_of_a_flat_is_that_of_its_plane():
    row = find_flats(made(lambda x, y: table(x, y, fall=0.008))).iloc[0]
    assert row["slope_deg"] == pytest.approx(np.degrees(np.arctan(0.008)), rel=0.05)
    assert row["deep_bearing_deg"] == pytest.approx(90, abs=5)


@pytest.mark.parametrize(("slope", "count"), [(0.0115, 1), (0.013, 0)])
def test_a_plane_is_a_flat_below_the_slope_and_none_above(slope, count):
    # tan 0.7 degrees is 0.0122.
    assert len(find_flats(made(lambda x, y: 3.0 + slope * x))) == count


def test_a_ridge_too_narrow_for_the_disc_is_no_flat_however_long():
    long = made(lambda x, y: table(x, y, half=(240.0, 17.0)))
    assert find_flats(long).empty
    assert len(find_flats(long, width_m=15.0)) == 1


def test_a_neck_parts_two_flats():
    def two(x, y):
        west, east = (np.hypot((x - at) / 70, (y - 200) / 70) for at in (130, 370))
        neck = np.maximum(np.abs(y - 200) / 10, np.abs(x - 250) / 120)
        return 5 + 8 * np.clip(np.minimum(np.minimum(west, east), neck) - 1, 0, None)

    found = find_flats(made(two))
    assert len(found) == 2
    assert sorted(round((p.centroid.x - WEST) / 10) * 10 for p in found.geometry) == [130, 370]


@pytest.mark.parametrize(
    ("window", "count"), [((0.6, 4.0), 0), ((6.0, 20.0), 0), ((4.5, 5.5), 1), ((-5.0, 20.0), 1)]
)
def test_only_water_within_the_depth_window_counts(window, count):
    assert len(find_flats(made(table), from_m=window[0], to_m=window[1])) == count


def test_land_and_the_unknown_are_no_flats_and_do_not_shrink_one_beside_them_beyond_themselves():
    assert find_flats(made(lambda x, y: -2.0 + 0 * x), from_m=0.6).empty
    half = find_flats(made(lambda x, y: np.where(x < 250, 5.0, np.nan)))
    assert len(half) == 1
    assert half.geometry.iloc[0].area == pytest.approx(250 * 400, rel=0.03)


def test_what_is_too_small_is_left_out():
    surface = made(table)
    area = find_flats(surface)["area_m2"].iloc[0]
    assert find_flats(surface, area_m2=1.1 * area).empty
    assert find_flats(surface, area_m2=0.25 * area)["strength"].iloc[0] == pytest.approx(2.0)


@pytest.mark.parametrize("cell", [(1.0, 1.0), (2.0, 4.0), (5.0, 5.0), (8.0, 8.0)])
def test_the_size_of_the_cells_does_not_decide(cell):
    found = find_flats(made(table, cell=cell))
    assert len(found) == 1
    assert found["area_m2"].iloc[0] == pytest.approx(find_flats(made(table))["area_m2"].iloc[0], rel=0.15)


def test_cells_too_wide_are_said_and_give_nothing():
    with pytest.warns(DataWarning, match="Flats were not looked for"):
        assert find_flats(made(table, cell=(25.0, 25.0))).empty


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_hostile_grids_give_a_proper_table_and_stay_as_they_were(name):
    surface = HOSTILE[name]
    before = surface.depth_m.copy()
    found = find_flats(surface)
    check_table(found, surface, "flat", "Polygon")
    assert len(found) == (name == "holes")  # a level bottom of 12,500 m2 with single cells unknown
    assert np.array_equal(before, surface.depth_m, equal_nan=True)


@pytest.mark.parametrize("option", ["slope_deg", "width_m", "area_m2", "to_m"])
@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
def test_thresholds_that_are_no_lengths_are_refused(option, value):
    with pytest.raises(UsageError, match=option):
        find_flats(HOSTILE["holes"], **{option: value})


def test_a_depth_window_upside_down_is_refused():
    with pytest.raises(UsageError, match="shallow end first"):
        find_flats(HOSTILE["holes"], from_m=8.0, to_m=3.0)
