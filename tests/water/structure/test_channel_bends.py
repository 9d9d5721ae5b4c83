"""Channel bends in valleys by formula, and drainage against an independent program."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.ndimage import gaussian_filter, label

from castshed.toolbox.errors import DataWarning, UsageError
from castshed.toolbox.water.landform.drainage import drained, stems
from castshed.toolbox.water.structure.channel_bends import find_channel_bends
from forms_cases import HOSTILE, check_table, local, made


def cut_along(axis, *, cut=3.0, half=22.0, side=0.02, fall=0.002):
    """A channel along a line (x, y from the southwest corner) in a valley that falls to it and toward the east."""
    line = shapely.LineString(axis)

    def depth(x, y):
        away = shapely.distance(line, shapely.points(x, y))
        return 8.0 + fall * x - side * away + cut * np.exp(-((away / half) ** 3))

    return depth


def arc_axis(turn_deg, *, radius=60.0, lead=250.0):
    """A straight, an arc that turns to the left, a straight; the arc's middle is returned too."""
    turn = np.radians(turn_deg)
    t = np.linspace(0, turn, 60)
    start = np.array([lead, 150.0])
    arc = start + radius * np.column_stack([np.sin(t), 1 - np.cos(t)])
    out = arc[-1] + 400.0 * np.array([np.cos(turn), np.sin(turn)])
    return np.vstack([[-100.0, 150.0], arc, out]), arc[30]


@pytest.mark.parametrize("turn", [60.0, 80.0, 100.0])
@pytest.mark.parametrize("radius", [50.0, 90.0])
def test_a_bend_lies_on_its_arc_with_the_depths_of_bed_and_rim(turn, radius):
    axis, middle = arc_axis(turn, radius=radius)
    surface = made(cut_along(axis))
    found = find_channel_bends(surface)
    check_table(found, surface, "channel_bend", "LineString")
    assert len(found) == 1
    row = found.iloc[0]
    half_way = row.geometry.interpolate(0.5, normalized=True)
    assert np.hypot(*(local(half_way)[0] - middle)) < 15.0
    assert np.abs(shapely.distance(shapely.LineString(axis), shapely.points(local(row.geometry)))).max() < 8.0
    # The bed is 3 m below the banks that the formula makes, less what smoothing takes.
    assert row["base_m"] == pytest.approx(11.0 + 0.002 * middle[0], abs=0.5)
    assert row["relief_m"] == pytest.approx(3.0, abs=0.6)
    assert np.isnan(row["deep_bearing_deg"])


@pytest.mark.parametrize("turn", [0.0, 15.0, 30.0])
def test_a_channel_that_hardly_turns_has_no_bend(turn):
    assert find_channel_bends(made(cut_along(arc_axis(turn)[0]))).empty


def test_a_valley_without_a_bed_cut_into_it_has_no_bend():
    axis, _ = arc_axis(80.0)
    assert find_channel_bends(made(cut_along(axis, cut=0.0))).empty
    assert find_channel_bends(made(cut_along(axis, cut=0.5))).empty
    assert len(find_channel_bends(made(cut_along(axis, cut=0.7)), cut_m=0.3)) == 1


def test_a_narrow_arm_that_winds_is_a_valley_and_a_channel_that_swings_to_the_bank_is_a_bend():
    axis, _ = arc_axis(80.0)
    line = shapely.LineString(axis)

    def arm(x, y):
        return 8.0 - 0.25 * shapely.distance(line, shapely.points(x, y))

    assert find_channel_bends(made(arm)).empty

    inside = shapely.Polygon(np.vstack([axis, [[-100.0, 1000.0]]]))

    def against_the_bank(x, y):  # the outer bank rises out of the water 40 m from the middle of the bed
        bank = 11.5 - 0.35 * np.maximum(shapely.distance(line, shapely.points(x, y)) - 8, 0)
        return np.where(shapely.contains_xy(inside, x, y), cut_along(axis)(x, y), bank)

    assert len(find_channel_bends(made(against_the_bank))) == 1


@pytest.mark.parametrize(
    "depth",
    [
        lambda x, y: 3.0 + 0.03 * x,
        lambda x, y: 12.0 - ((x - 250) ** 2 + (y - 200) ** 2) / 8000,
        lambda x, y: 12.0 - 0.03 * np.hypot(x - 250, y - 200),
    ],
    ids=["plane", "bowl", "funnel"],
)
def test_a_bottom_without_a_channel_has_no_bend(depth):
    assert find_channel_bends(made(depth)).empty


def test_bends_one_after_the_other_are_as_many_as_there_are():
    s = np.linspace(0, 1400, 600)
    heading = 0.8 * np.cos(2 * np.pi * s / 350)  # turns by 92 degrees each way
    axis = np.column_stack(
        [-60 + np.cumsum(np.cos(heading)) * (s[1]), 200 + np.cumsum(np.sin(heading)) * s[1]]
    )
    found = find_channel_bends(made(cut_along(axis), width=1000.0))
    extreme = [k for k in range(1, 599) if (axis[k, 1] - axis[k - 1, 1]) * (axis[k + 1, 1] - axis[k, 1]) < 0]
    inside = [axis[k] for k in extreme if 60 < axis[k, 0] < 940]
    assert len(found) == len(inside)
    middles = np.array([local(g.interpolate(0.5, normalized=True))[0] for g in found.geometry])
    for place in inside:
        assert np.hypot(*(middles - place).T).min() < 15.0


def test_a_bend_filled_with_silt_for_a_short_way_is_still_one():
    axis, middle = arc_axis(80.0)

    def silted(x, y):
        plug = np.exp(-((np.hypot(x - middle[0], y - middle[1]) / 15.0) ** 4))
        return cut_along(axis)(x, y) * (1 - plug) + plug * cut_along(axis, cut=0.2)(x, y)

    assert len(find_channel_bends(made(silted))) == 1


@pytest.mark.parametrize("cell", [(1.0, 1.0), (2.0, 4.0), (5.0, 5.0), (10.0, 10.0)])
def test_the_size_of_the_cells_does_not_decide(cell):
    axis, middle = arc_axis(80.0)
    found = find_channel_bends(made(cut_along(axis), cell=cell))
    assert len(found) == 1
    assert np.hypot(*(local(found.geometry.iloc[0].interpolate(0.5, normalized=True))[0] - middle)) < 15.0


def test_cells_too_wide_are_said_and_give_nothing():
    with pytest.warns(DataWarning, match="Channel bends were not looked for"):
        assert find_channel_bends(made(cut_along(arc_axis(80.0)[0]), cell=(25.0, 25.0))).empty


def test_a_level_change_moves_the_depths_and_nothing_else():
    surface = made(cut_along(arc_axis(80.0)[0]))
    before, after = find_channel_bends(surface), find_channel_bends(surface.shifted(-1.0))
    assert after["base_m"].iloc[0] == pytest.approx(before["base_m"].iloc[0] - 1.0, abs=1e-3)
    assert after.geometry.iloc[0].hausdorff_distance(before.geometry.iloc[0]) < 3.0


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_hostile_grids_hold_no_bend_and_stay_as_they_were(name):
    surface = HOSTILE[name]
    before = surface.depth_m.copy()
    found = find_channel_bends(surface)
    check_table(found, surface, "channel_bend", "LineString")
    assert found.empty
    assert np.array_equal(before, surface.depth_m, equal_nan=True)


@pytest.mark.parametrize("option", ["turn_deg", "cut_m", "width_m"])
@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
def test_thresholds_that_are_no_lengths_are_refused(option, value):
    with pytest.raises(UsageError, match=option):
        find_channel_bends(HOSTILE["holes"], **{option: value})


# Drainage ------------------------------------------------------------------------------------------------


def lake(seed, rows=60, columns=70):
    """Two waters of chance relief, all depths different."""
    rng = np.random.default_rng(seed)
    depth = (
        6 + 30 * gaussian_filter(rng.normal(0, 1, (rows, columns)), 4) + rng.uniform(0, 1e-3, (rows, columns))
    )
    depth[:, 30:34] = -1.0
    return depth.astype("f4")


@pytest.mark.parametrize("seed", range(5))
def test_every_cell_drains_to_the_deepest_of_its_water_and_all_arrive(seed):
    depth = lake(seed)
    water = depth > 0
    down, order, cells = drained(depth, water)
    assert sorted(order.tolist()) == np.flatnonzero(water).tolist()
    waters, count = label(water, np.ones((3, 3)))
    for number in range(1, count + 1):
        members = np.flatnonzero(waters == number)
        pit = members[np.argmax(depth.ravel()[members])]
        assert cells[pit] == members.size
        assert [m for m in members if down[m] < 0] == [pit]
    # Each cell drains to a neighbour, and each after the one it drains to.
    place = np.full(depth.size, -1)
    place[order] = np.arange(order.size)
    flows = order[down[order] >= 0]
    assert (place[down[flows]] < place[flows]).all()
    r0, c0 = np.divmod(flows, 70)
    r1, c1 = np.divmod(down[flows], 70)
    assert max(np.abs(r0 - r1).max(), np.abs(c0 - c1).max()) == 1


@pytest.mark.long
@pytest.mark.parametrize("seed", range(5))
def test_the_height_water_has_to_reach_to_drain_is_that_of_pyflwdir(seed):
    """The flooded bottom is unique, the ways over level ground are not: so what is compared is the flooded bottom."""
    dem = pytest.importorskip("pyflwdir.dem")
    depth = lake(seed)
    water = depth > 0
    down, order, _ = drained(depth, water)
    flooded = -depth.ravel().astype("f8")
    for cell in order:
        if down[cell] >= 0:
            flooded[cell] = max(flooded[cell], flooded[down[cell]])
    pits = np.array([cell for cell in order if down[cell] < 0])
    theirs, _ = dem.fill_depressions(
        np.where(water, -depth, -9999).astype("f4"), idxs_pit=pits, nodata=-9999.0
    )
    assert flooded.reshape(depth.shape)[water] == pytest.approx(theirs[water], abs=1e-5)


@pytest.mark.long
def test_on_a_tilted_trough_without_hollows_as_much_gathers_as_with_pyflwdir():
    pyflwdir = pytest.importorskip("pyflwdir")
    r, c = np.mgrid[:40, :60]
    depth = (5.0 + 0.11 * c - 0.317 * np.abs(r - 20.2) + 1e-4 * r).astype("f4")
    water = depth > 0
    _, order, cells = drained(depth, water)
    dem = np.where(water, -depth, -9999).astype("f4")
    d8 = pyflwdir.dem.fill_depressions(dem, idxs_pit=np.array([order[0]]), nodata=-9999.0)[1]
    theirs = pyflwdir.from_array(d8, ftype="d8").upstream_area(unit="cell").ravel()
    bed = [20 * 60 + k for k in range(10, 60)]
    assert cells[bed] == pytest.approx(theirs[bed], abs=2)


def test_two_arms_that_meet_in_the_deepest_cell_are_one_stem_and_a_side_arm_is_its_own():
    depth = np.full((21, 41), -1.0, dtype="f4")
    depth[10, :] = 10 - 0.1 * np.abs(np.arange(41) - 20)  # deepest in the middle
    depth[0:10, 30] = 6 + 0.1 * np.arange(10)  # comes in from the north
    lines = stems(*drained(depth, depth > 0), least_cells=1)
    ways = sorted((line.tolist() for line in lines), key=len, reverse=True)
    assert len(ways) == 2
    assert ways[0] in ([10 * 41 + c for c in range(41)], [10 * 41 + c for c in range(40, -1, -1)])
    assert len(ways[1]) in {10, 11}
    assert ways[1][-1] == 30


def test_no_water_has_no_stems():
    depth = np.full((5, 5), np.nan, dtype="f4")
    assert stems(*drained(depth, depth > 0), least_cells=1) == []
