"""Points and pockets: turns by formula, ridges and hollows of exact shape, laws, and inputs that hold nothing."""

import numpy as np
import pytest
from scipy import ndimage

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataWarning, UsageError
from castshed.toolbox.water.landform.isobath_turning import isobath_turning
from castshed.toolbox.water.structure.finding_table import NUMBERS
from castshed.toolbox.water.structure.noses import find_pockets, find_points
from planted import CRS, plant

CELL = 5.0
WEST, NORTH = 500_000.0, 4_000_000.0
FINDERS = {"point": find_points, "pocket": find_pockets}


def surface(depth, cell=CELL):
    return DepthSurface(np.asarray(depth, dtype=np.float32), WEST, NORTH, cell, cell, CRS)


def plane(rows=81, columns=121, cell=CELL):
    """Metres to the east of the middle column, and to the south of the second row, of cell centres."""
    return np.meshgrid((np.arange(columns) - columns // 2) * cell, (np.arange(rows) - 1.5) * cell)


def bank(x, south, sign, *, reach=60.0, wide=30.0, slope=0.06):
    """Bank that falls to the south; its isobaths are moved by reach x gaussian, out (1) or in (-1), and fade out."""
    excursion = reach * np.exp(-((x / wide) ** 2)) * np.clip(south / 60.0, 0.0, 1.0)
    fade = np.clip((260.0 - south) / 120.0, 0.0, 1.0)
    return slope * (south - sign * excursion * fade)


def turned(depth, over_m=60.0, smooth_m=0.1):
    return isobath_turning(surface(depth), smooth_m=smooth_m, over_m=over_m, least_slope=0.001)


@pytest.mark.parametrize("radius_m", [60.0, 100.0, 200.0])
def test_round_a_cone_an_isobath_turns_by_its_length_over_its_radius(radius_m):
    x, south = plane(121, 121)
    away = np.hypot(x, south - 60 * CELL)
    turn = turned(1.0 + 0.05 * away).turn_deg
    ring = np.abs(away - radius_m) < 3.0
    assert turn[ring] == pytest.approx(np.degrees(60.0 / away[ring]), rel=0.03)
    hollow = turned(60.0 - 0.05 * away).turn_deg
    assert hollow[ring] == pytest.approx(-np.degrees(60.0 / away[ring]), rel=0.03)


def test_on_a_plane_no_isobath_turns():
    x, south = plane()
    turn = turned(5.0 + 0.03 * x + 0.05 * south).turn_deg
    assert np.nanmax(np.abs(turn)) < 0.05


def test_a_ridge_with_a_roof_turns_isobaths_by_twice_the_angle_of_its_sides():
    # Depth 5 + 0.03 south + 0.04 |x|: the way to the deep stands atan(0.04 / 0.03) = 53.13 deg off the crest's line.
    x, south = plane()
    turn = turned(5.0 + 0.03 * south + 0.04 * np.abs(x), over_m=80.0).turn_deg
    crest = turn[30:50, 60]
    assert crest == pytest.approx(2 * np.degrees(np.arctan2(0.04, 0.03)), rel=0.02)


@pytest.mark.parametrize("kind", FINDERS)
def test_a_nose_of_the_bank_is_found_once_on_its_line_and_by_its_own_finder_only(kind):
    x, south = plane()
    made = surface(bank(x, south, 1.0 if kind == "point" else -1.0))
    found = FINDERS[kind](made)
    other = FINDERS["pocket" if kind == "point" else "point"](made)
    assert len(found) == 1
    assert len(other) == 0
    row = found.iloc[0]
    assert row.geometry.x - WEST == pytest.approx(60.5 * CELL, abs=1.0)
    assert row.deep_bearing_deg == pytest.approx(180.0, abs=3.0)
    assert row.base_m - row.top_m == pytest.approx(row.relief_m)
    assert np.tan(np.radians(row.slope_deg)) == pytest.approx(row.relief_m / row.length_m, rel=1e-6)
    assert row.strength >= 1.0
    assert row.kind == kind


@pytest.mark.parametrize("kind", FINDERS)
def test_turning_a_bottom_upside_down_swaps_points_and_pockets(kind):
    # Land in the north becomes land in the south when depth d becomes c - d and what was deepest is the bank.
    x, south = plane()
    made = bank(x, south, 1.0 if kind == "point" else -1.0)
    turn = turned(made, smooth_m=8.0).turn_deg
    flipped = turned(60.0 - made, smooth_m=8.0).turn_deg
    both = np.isfinite(turn) & np.isfinite(flipped)
    assert both.mean() > 0.5
    assert np.allclose(turn[both], -flipped[both], atol=0.05)


@pytest.mark.parametrize("kind", FINDERS)
def test_a_bank_that_bends_slowly_has_none(kind):
    x, south = plane()
    slow = 0.06 * (south - 60.0 * np.exp(-((x / 140.0) ** 2)))
    assert len(FINDERS[kind](surface(slow))) == 0


def test_a_hump_off_the_bank_is_no_point():
    x, south = plane()
    made = 0.05 * south - 4.0 * np.exp(-(x**2 + (south - 250.0) ** 2) / 900.0)
    assert len(find_points(surface(made), bank_m=1000.0)) == 0


@pytest.mark.parametrize("kind", FINDERS)
def test_a_constant_changes_nothing_but_depths(kind):
    made = plant(5, slots=6).surface
    wet = made.with_depth(np.where(made.depth_m > 0, made.depth_m, np.nan))
    one, deep = FINDERS[kind](wet), FINDERS[kind](wet.shifted(2.0))
    assert len(one) == len(deep) > 0
    assert one.geometry.geom_equals_exact(deep.geometry, 0.5).all()
    assert np.allclose(deep.top_m - one.top_m, 2.0, atol=0.02)
    assert np.allclose(one.relief_m, deep.relief_m, atol=0.02)


@pytest.mark.parametrize("kind", FINDERS)
def test_a_quarter_turn_turns_the_findings(kind):
    x, south = plane(81, 81)
    depth = bank(x, south, 1.0 if kind == "point" else -1.0)
    one, left = FINDERS[kind](surface(depth)), FINDERS[kind](surface(np.rot90(depth)))
    assert len(one) == len(left) == 1
    # A turn to the left carries what runs south to what runs east.
    assert (one.deep_bearing_deg[0] - left.deep_bearing_deg[0]) % 360.0 == pytest.approx(90.0, abs=2.0)
    side = 81 * CELL
    assert left.geometry.x[0] - WEST == pytest.approx(NORTH - one.geometry.y[0], abs=2.0)
    assert left.geometry.y[0] - NORTH + side == pytest.approx(side - (one.geometry.x[0] - WEST), abs=2.0)


@pytest.mark.parametrize("kind", FINDERS)
def test_cells_half_as_wide_find_the_same(kind):
    x, south = plane()
    sign = 1.0 if kind == "point" else -1.0
    coarse = FINDERS[kind](surface(bank(x, south, sign)))
    x, south = plane(162, 242, CELL / 2)
    x, south = x + CELL / 4, south - CELL / 4 * 3
    fine = FINDERS[kind](surface(bank(x, south, sign), CELL / 2))
    assert len(fine) == len(coarse) == 1
    assert fine.relief_m[0] == pytest.approx(coarse.relief_m[0], rel=0.1)


@pytest.mark.parametrize("kind", FINDERS)
def test_cells_too_wide_to_show_any_are_said_to_be(kind):
    with pytest.warns(DataWarning, match="cells of 40 m cannot show .* 15 m or less"):
        found = FINDERS[kind](surface(bank(*plane(cell=40.0), 1.0), 40.0))
    assert len(found) == 0


@pytest.mark.parametrize("kind", FINDERS)
@pytest.mark.parametrize(
    "depth",
    [
        np.full((30, 40), np.nan),
        np.full((30, 40), 6.0),
        np.full((30, 40), -2.0),
        np.array([[5.0]]),
        np.array([[np.nan]]),
        np.array([[4.0, 5.0, 3.0, 6.0]]),
        np.where(ndimage.binary_dilation(np.eye(40, dtype=bool)), 3.0, np.nan),
    ],
    ids=["unknown", "level", "land", "one cell", "one unknown cell", "one row", "a ditch"],
)
def test_where_there_is_nothing_the_table_is_empty_with_all_columns(kind, depth):
    found = FINDERS[kind](surface(depth))
    assert len(found) == 0
    assert {"kind", "geometry", *NUMBERS} == set(found.columns)
    assert found.crs == CRS


@pytest.mark.parametrize("kind", FINDERS)
@pytest.mark.parametrize("name", ["turn_deg", "over_m", "relief_m", "length_m", "bank_m"])
def test_a_threshold_that_is_none_is_refused(kind, name):
    with pytest.raises(UsageError, match=name):
        FINDERS[kind](surface(np.full((5, 5), 3.0)), **{name: -1.0})
