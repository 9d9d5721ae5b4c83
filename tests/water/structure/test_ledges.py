"""Ledges on bottoms by formula, and the parts that find them."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import shapely

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataWarning, UsageError
from castshed.toolbox.water.landform.polyline import ahead, bridged, evenly, smoothed, spells
from castshed.toolbox.water.landform.terrain import blurred, coarsened
from castshed.toolbox.water.structure.ledges import crest_lines, find_ledges
from forms_cases import HOSTILE, check_table, local, made


def step(x, y, *, high=3.0, run=0.0, at=250.0, slope=0.02):
    """4 m of water growing by a slope, and a drop toward the east across the line x = at."""
    share = (x >= at) if run == 0 else np.clip((x - at) / run + 0.5, 0, 1)
    return 4.0 + slope * (x - at) + high * share


def test_a_step_of_3_m_is_one_ledge_along_its_whole_length_with_its_depths():
    surface = made(lambda x, y: step(x, y, slope=0.0))
    found = find_ledges(surface)
    check_table(found, surface, "ledge", "LineString")
    assert len(found) == 1
    row = found.iloc[0]
    assert row["top_m"] == pytest.approx(4.0, abs=0.02)
    assert row["base_m"] == pytest.approx(7.0, abs=0.02)
    assert row["relief_m"] == pytest.approx(3.0, abs=0.03)
    assert row["deep_bearing_deg"] == pytest.approx(90.0, abs=0.5)
    # The whole length but for a cell or two at the rims; the drop itself is one cell wide.
    assert row["length_m"] == pytest.approx(400.0, abs=10.0)
    assert row["relief_m"] / np.tan(np.radians(row["slope_deg"])) < 6.0
    x, y = local(row.geometry).T
    assert x == pytest.approx(250.0, abs=1.3)  # half a cell
    assert y.min() < 5
    assert y.max() > 395


@pytest.mark.parametrize("run", [6.0, 10.0, 16.0])
@pytest.mark.parametrize("slope", [0.0, 0.02, 0.05])
def test_drop_and_run_of_a_ramp_between_two_slopes_are_read(run, slope):
    found = find_ledges(made(lambda x, y: step(x, y, run=run, slope=slope)))
    assert len(found) == 1
    row = found.iloc[0]
    assert row["relief_m"] == pytest.approx(3.0 + slope * run, abs=0.25)
    assert row["relief_m"] / np.tan(np.radians(row["slope_deg"])) == pytest.approx(run, abs=2.5)
    assert local(row.geometry)[:, 0] == pytest.approx(250.0, abs=1.0)


@pytest.mark.parametrize("slope", [0.0, 0.02, 0.1, 0.3, 1.0])
@pytest.mark.parametrize("turn", [0.0, 0.5, 2.2])
def test_a_plane_has_no_ledge(slope, turn):
    plane = made(lambda x, y: 2.0 + slope * (x * np.cos(turn) + y * np.sin(turn)))
    assert find_ledges(plane).empty


@pytest.mark.parametrize("turn", [0.0, 0.4, 1.0, 1.5708, 2.5, 4.0])
def test_a_ledge_in_any_direction_lies_on_its_line_and_names_its_deep_side(turn):
    def turned(x, y):
        return step((x - 250) * np.cos(turn) + (y - 200) * np.sin(turn), y, at=0.0, run=8.0)

    found = find_ledges(made(turned))
    assert len(found) == 1
    x, y = (local(found.geometry.iloc[0]) - (250, 200)).T
    assert np.abs(x * np.cos(turn) + y * np.sin(turn)).max() < 1.5
    off = np.radians(found["deep_bearing_deg"].iloc[0]) - (np.pi / 2 - turn)
    assert np.cos(off) > np.cos(np.radians(2))


def test_what_is_lower_or_shorter_than_asked_is_left_out():
    low = made(lambda x, y: step(x, y, high=0.9, run=8.0))
    assert find_ledges(low).empty
    assert len(find_ledges(low, drop_m=0.6)) == 1

    def stretch(x, y):
        along = np.clip((40 - np.abs(y - 200)) / 40 + 0.5, 0, 1)
        return 4 + 0.02 * x + along * np.where(x >= 250, 3.0 * np.exp(-(x - 250) / 90), 0)

    short = made(stretch)
    assert len(find_ledges(short)) == 1
    assert 60 < find_ledges(short)["length_m"].iloc[0] < 100
    assert find_ledges(short, length_m=120.0).empty


def test_a_drop_spread_wide_is_a_slope():
    assert find_ledges(made(lambda x, y: step(x, y, high=5.0, run=60.0))).empty


def test_two_ledges_one_below_the_other_are_two():
    stairs = made(
        lambda x, y: step(x, y, at=180.0, run=6.0, slope=0.01) + 3.0 * np.clip((x - 320) / 6 + 0.5, 0, 1)
    )
    found = find_ledges(stairs)
    assert sorted(round(local(g)[:, 0].mean()) for g in found.geometry) == pytest.approx([180, 320], abs=2)


def test_sides_of_a_hump_a_trench_and_a_ridge_are_no_ledges():
    hump = made(lambda x, y: 12.0 - 5.0 * np.exp(-((((x - 250) ** 2 + (y - 200) ** 2) / 22**2) ** 2)))
    trench = made(lambda x, y: 8.0 + 3.0 * np.exp(-(((x - 250) / 15) ** 4)))
    ridge = made(lambda x, y: 8.0 - 3.0 * np.exp(-(((x - 250) / 15) ** 4)))
    for surface in (hump, trench, ridge):
        assert find_ledges(surface).empty


def test_a_bluff_is_the_bank_and_no_ledge():
    assert find_ledges(
        made(lambda x, y: np.where(x < 100, -1.0, 8 * (1 - np.exp(-np.maximum(x - 100, 0) / 8))))
    ).empty


def test_a_level_change_moves_the_depths_and_nothing_else():
    surface = made(lambda x, y: step(x, y, run=8.0))
    before, after = find_ledges(surface), find_ledges(surface.shifted(1.5))
    assert after["top_m"].iloc[0] == pytest.approx(before["top_m"].iloc[0] + 1.5, abs=1e-4)
    assert after["relief_m"].iloc[0] == pytest.approx(before["relief_m"].iloc[0], abs=1e-4)
    assert after.geometry.iloc[0].hausdorff_distance(before.geometry.iloc[0]) < 0.1


def test_turned_upside_down_the_deep_side_changes_sides():
    surface = made(lambda x, y: step(x, y, run=8.0, slope=0.0))
    flipped = DepthSurface(12.0 - surface.depth_m, surface.west_m, surface.north_m, 2.5, 2.5, surface.crs)
    found = find_ledges(flipped)
    assert len(found) == 1
    assert found["deep_bearing_deg"].iloc[0] == pytest.approx(270.0, abs=0.5)
    assert found["top_m"].iloc[0] == pytest.approx(12.0 - 7.0, abs=0.2)


@pytest.mark.parametrize("cell", [(1.0, 1.0), (2.0, 3.0), (4.0, 4.0), (5.0, 5.0)])
def test_the_size_of_the_cells_does_not_decide(cell):
    found = find_ledges(made(lambda x, y: step(x, y, run=10.0), width=480.0, height=300.0, cell=cell))
    assert len(found) == 1
    assert found["relief_m"].iloc[0] == pytest.approx(3.2, abs=0.4)
    assert local(found.geometry.iloc[0], 300.0)[:, 0] == pytest.approx(250.0, abs=2.0)


def test_cells_too_wide_are_said_and_give_nothing():
    with pytest.warns(DataWarning, match="Ledges were not looked for"):
        assert find_ledges(made(step, cell=(10.0, 10.0))).empty


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_hostile_grids_hold_no_ledge_and_stay_as_they_were(name):
    surface = HOSTILE[name]
    before = surface.depth_m.copy()
    found = find_ledges(surface)
    check_table(found, surface, "ledge", "LineString")
    assert found.empty
    assert np.array_equal(before, surface.depth_m, equal_nan=True)


@pytest.mark.parametrize("option", ["drop_m", "run_m", "length_m"])
@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
def test_thresholds_that_are_no_lengths_are_refused(option, value):
    with pytest.raises(UsageError, match=option):
        find_ledges(HOSTILE["holes"], **{option: value})


# The parts -----------------------------------------------------------------------------------------------


def test_smoothing_keeps_a_plane_up_to_rims_and_holes_and_tells_nothing_of_the_unknown():
    r, c = np.mgrid[:40, :50]
    plane = (3.0 + 0.1 * c - 0.2 * r).astype("f4")
    plane[10:14, 20:23] = np.nan
    soft = blurred(plane, 4.0, 2.0, 3.0)
    assert np.array_equal(np.isnan(soft), np.isnan(plane))
    assert soft[~np.isnan(plane)] == pytest.approx(plane[~np.isnan(plane)], abs=1e-5)


def test_smoothing_in_the_open_is_scipys_gaussian():
    from scipy.ndimage import gaussian_filter

    rough = np.random.default_rng(5).normal(0, 1, (60, 70)).astype("f4")
    expected = gaussian_filter(rough.astype("f8"), (2.0, 4.0), truncate=2.5)
    assert blurred(rough, 8.0, 2.0, 4.0)[12:-12, 12:-12] == pytest.approx(expected[12:-12, 12:-12], abs=1e-5)


def test_wider_cells_hold_the_mean_of_what_is_known_in_them():
    surface = DepthSurface(
        np.array([[1, 2, 3], [5, np.nan, 7], [np.nan, np.nan, 9]]), 0.0, 9.0, 3.0, 3.0, "EPSG:32615"
    )
    wide = coarsened(surface, 6.0)
    assert wide.shape == (2, 2)
    assert (wide.cell_x_m, wide.cell_y_m) == (6.0, 6.0)
    assert wide.depth_m[0, 0] == pytest.approx(8 / 3)
    assert wide.depth_m[0, 1] == 5
    assert np.isnan(wide.depth_m[1, 0])
    assert wide.depth_m[1, 1] == 9
    assert coarsened(surface, 5.9) is surface


def random_band(seed):
    rng = np.random.default_rng(seed)
    from scipy.ndimage import gaussian_filter

    return gaussian_filter(rng.normal(0, 1, (60, 70)), 2) > 0.08


@pytest.mark.parametrize("seed", range(4))
def test_traced_lines_are_ways_through_the_band_and_no_cell_is_in_two(seed):
    band = random_band(seed)
    lines = crest_lines(band, band, 1.0, 1.0, least_m=6.0)
    assert lines
    seen = set()
    for r, c in lines:
        assert band[r, c].all()
        assert np.abs(np.diff(r)).max() <= 1
        assert np.abs(np.diff(c)).max() <= 1
        cells = set(zip(r.tolist(), c.tolist(), strict=True))
        assert len(cells) == len(r)
        assert not cells & seen
        seen |= cells


def test_the_first_line_of_a_tree_is_as_long_as_networkx_says():
    rows, columns = [], []
    for (r0, c0), (r1, c1) in [
        ((5, 5), (5, 60)),
        ((5, 30), (40, 30)),
        ((20, 30), (20, 45)),
        ((5, 20), (15, 20)),
    ]:
        count = max(abs(r1 - r0), abs(c1 - c0)) + 1
        rows += np.linspace(r0, r1, count).astype(int).tolist()
        columns += np.linspace(c0, c1, count).astype(int).tolist()
    band = np.zeros((50, 70), bool)
    band[rows, columns] = True
    graph = nx.Graph()
    for r, c in np.argwhere(band):
        for down, right in ((0, 1), (1, 0), (1, 1), (1, -1)):
            if band[r + down, c + right]:
                graph.add_edge((r, c), (r + down, c + right), weight=float(np.hypot(down, right)))
    far = max(max(d.values()) for _, d in nx.all_pairs_dijkstra_path_length(graph))
    lines = crest_lines(band, band, 1.0, 1.0, least_m=8.0)
    lengths = [np.hypot(np.diff(r), np.diff(c)).sum() for r, c in lines]
    assert max(lengths) == pytest.approx(far, abs=1.5)
    # The stem's longer arm and the long branch make the first line; three branches are left.
    assert len(lines) == 4


def test_a_line_put_at_even_steps_keeps_its_ends_and_its_length():
    points, step_m = evenly(np.array([[0.0, 0], [10, 0], [10, 17]]), 3.0)
    assert step_m == 3.0
    assert points[0].tolist() == [0, 0]
    assert points[-1].tolist() == [10, 17]
    ring, step_m = evenly(shapely.get_coordinates(shapely.box(0, 0, 10, 10).exterior), 3.0, closed=True)
    assert len(ring) * step_m == pytest.approx(40)


def test_a_straight_line_stays_as_it_is_when_smoothed_and_a_ring_shrinks_evenly():
    line = np.column_stack([np.arange(20.0), 2 * np.arange(20.0)])
    assert smoothed(line, 4) == pytest.approx(line)
    assert smoothed(line[:3], 9) == pytest.approx(line[:3])
    t = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    ring = np.column_stack([np.cos(t), np.sin(t)])
    radius = np.hypot(*smoothed(ring, 3, closed=True).T)
    assert radius == pytest.approx(radius[0])
    assert np.abs((ahead(ring, closed=True) * ring).sum(axis=1)).max() < 1e-12


def test_spells_are_runs_and_on_a_ring_go_over_the_seam():
    true = np.array([1, 1, 0, 0, 1, 0, 1], bool)
    assert [s.tolist() for s in spells(true)] == [[0, 1], [4], [6]]
    assert [s.tolist() for s in spells(true, closed=True)] == [[4], [6, 0, 1]]
    assert [s.tolist() for s in spells(np.ones(3, bool), closed=True)] == [[0, 1, 2, 0]]
    assert spells(np.zeros(3, bool), closed=True) == []
    assert spells(np.zeros(0, bool)) == []


def test_only_short_gaps_between_spells_are_bridged():
    true = np.array([0, 1, 0, 0, 1, 0, 0, 0, 1, 0], bool)
    assert bridged(true, 2).astype(int).tolist() == [0, 1, 1, 1, 1, 0, 0, 0, 1, 0]
    assert bridged(true, 3).astype(int).tolist() == [0, 1, 1, 1, 1, 1, 1, 1, 1, 0]
    assert bridged(true, 0).tolist() == true.tolist()
