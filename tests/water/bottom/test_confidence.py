"""How far the surface may be off: held to the errors it has on made bottoms, and to what hazards do with it."""

from __future__ import annotations

import functools
import heapq
import warnings

import numpy as np
import pytest
import shapely

from castshed.algorithms.depth_surface import depth_surface
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.water_today import water_today
from castshed.toolbox.depth import LOCAL_ERROR, DepthSurface
from castshed.toolbox.layers import read_surface, write_layers
from castshed.toolbox.water.bottom.barriers import Grid
from castshed.toolbox.water.bottom.surface import minimum_curvature
from castshed.toolbox.water.level.uncertainty import doubted
from castshed.toolbox.water.sureness.confidence import distance_to, local_error_m
from made_bottoms import STEPS, bottom, known_of, lattice
from made_lake import CRS, X0, Y0, frame

# The numbers were fitted on seeds 1 to 6; these were not looked at before.
SEEDS = (121, 122, 123)


@functools.cache
def errors(name):
    """What is said and what is true of each water cell, three bottoms together."""
    said, true = [], []
    for seed in SEEDS:
        depth = bottom(seed)
        known = known_of(depth, name)
        found = minimum_curvature(lattice(depth), known)
        local = local_error_m(lattice(depth), known, found, interval_m=STEPS.get(name))
        said.append(local[depth > 0])
        true.append(np.abs(found - depth)[depth > 0])
    return np.concatenate(said), np.concatenate(true)


@pytest.mark.parametrize("name", [*STEPS, "tracks40"])
def test_nineteen_of_twenty_errors_lie_within_what_is_said_where_little_and_where_much_is_said(name):
    said, true = errors(name)
    edges = np.quantile(said, np.linspace(0.0, 1.0, 6))
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        here = (said >= low) & (said <= high)
        assert (true[here] <= said[here]).mean() >= 0.95, (name, low, high)


@pytest.mark.parametrize("name", [*STEPS, "tracks40"])
def test_where_more_is_said_the_errors_are_greater(name):
    """Else one number for the whole lake would do as well."""
    said, true = errors(name)
    low, high = np.quantile(said, [0.25, 0.75])
    assert np.quantile(true[said >= high], 0.95) > 2.0 * np.quantile(true[said <= low], 0.95)


def test_between_contours_no_more_than_the_interval_is_said():
    for name, step in STEPS.items():
        assert errors(name)[0].max() < 0.8 * step


def plain_distance(water, bars, sources, cell_x, cell_y):
    """Way to the nearest source by Dijkstra: one step at a time, corners only round two open links."""
    rows, columns = water.shape
    best = np.full(water.shape, np.inf)
    heap = [(0.0, divmod(int(s), columns)) for s in sources]
    moves = {0: (0, 1), 1: (0, -1), 2: (-1, 0), 3: (1, 0)}
    while heap:
        far, (r, c) = heapq.heappop(heap)
        if far >= best[r, c]:
            continue
        best[r, c] = far
        for way, (down, right) in moves.items():
            if bars[way, r, c]:
                continue
            rr, cc = r + down, c + right
            if not (0 <= rr < rows and 0 <= cc < columns) or not water[rr, cc]:
                continue
            heapq.heappush(heap, (far + (cell_x if way < 2 else cell_y), (rr, cc)))
            for turn in (2, 3) if way < 2 else (0, 1):
                if bars[turn, rr, cc]:
                    continue
                r2, c2 = rr + moves[turn][0], cc + moves[turn][1]
                if 0 <= r2 < rows and 0 <= c2 < columns and water[r2, c2]:
                    heapq.heappush(heap, (far + float(np.hypot(cell_x, cell_y)), (r2, c2)))
    return np.where(water, best, np.nan)


@pytest.mark.parametrize("seed", range(4))
def test_the_way_to_data_is_that_of_dijkstra_round_every_headland(seed):
    rng = np.random.default_rng(seed)
    water = np.ones((25, 31), dtype=bool)
    for _ in range(9):  # walls with gaps make long ways round
        row, gap = rng.integers(2, 23), rng.integers(0, 31)
        water[row] = False
        water[row, gap] = True
    bars = np.zeros((4, 25, 31), dtype=np.uint8)
    for way, (down, right) in enumerate(((0, 1), (0, -1), (-1, 0), (1, 0))):
        beyond = np.zeros_like(water)
        r, c = np.mgrid[:25, :31]
        inside = (r + down >= 0) & (r + down < 25) & (c + right >= 0) & (c + right < 31)
        beyond[inside] = water[(r + down)[inside], (c + right)[inside]]
        bars[way] = np.where(water != beyond, 50, 0)
    sources = rng.choice(np.flatnonzero(water.ravel()), 2, replace=False)
    found = distance_to(Grid(25, 31, 0.0, 75.0, 2.0, 3.0), water, bars, sources)
    assert found == pytest.approx(plain_distance(water, bars, sources, 2.0, 3.0), rel=1e-5, nan_ok=True)


def bowl():
    """1:20 bowl of 10 m with soundings on its west half only."""
    lake = shapely.Point(X0, Y0).buffer(200.0, quad_segs=32)
    x, y = (a.ravel() for a in np.meshgrid(np.arange(-190.0, 0, 10), np.arange(-190.0, 191, 10)))
    off = np.hypot(x, y)
    wet = off < 195
    soundings = frame(shapely.points(X0 + x[wet], Y0 + y[wet]), depth_m=10.0 - off[wet] / 20.0)
    return frame([lake], name=["made"]), soundings


def test_far_from_soundings_more_is_said():
    lake, soundings = bowl()
    made = depth_surface(lake, soundings=soundings)
    west, east = made.depth_confidence.at(X0 + np.array([-80.0, 80.0]), Y0)
    assert west < 0.6
    assert east > 3.0 * west
    assert made.depth_confidence.shape == made.depth.shape
    assert (np.isfinite(made.depth_confidence.depth_m) == np.isfinite(made.depth.depth_m)).all()


def area(layer, care):
    return shapely.union_all(layer.geometry[layer["care"] == care].to_numpy())


@pytest.mark.parametrize("other_grid", [False, True])
def test_hazards_grow_where_the_surface_is_unsure_and_shrink_nowhere(other_grid):
    lake, soundings = bowl()
    made = depth_surface(lake, soundings=soundings)
    unsure = made.depth_confidence
    if other_grid:
        rows, columns = unsure.shape
        unsure = DepthSurface(
            np.nan_to_num(np.repeat(np.repeat(unsure.depth_m, 2, axis=0), 2, axis=1), nan=0.2),
            unsure.west_m, unsure.north_m, unsure.cell_x_m / 2, unsure.cell_y_m / 2, CRS,
        )  # fmt: skip
        assert unsure.shape == (2 * rows, 2 * columns)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        water = water_today(made.depth, lake).water
        least = float(np.nanmin(unsure.depth_m))
        plain = shallow_hazards(made.depth, water, depth_error_m=least)
        wide = shallow_hazards(made.depth, water, depth_confidence=unsure)
    east = shapely.box(X0 + 50, Y0 - 200, X0 + 200, Y0 + 200)
    for care in ("run", "idle"):
        before, after = area(plain, care), area(wide, care)
        assert shapely.difference(before, after).area < 1e-6
        assert shapely.intersection(after, east).area > 1.1 * shapely.intersection(before, east).area


def test_no_place_is_made_deeper_and_none_by_less_than_its_doubt():
    rng = np.random.default_rng(5)
    surface = DepthSurface(rng.uniform(0, 9, (20, 30)), X0, Y0, 5.0, 5.0, CRS, 0.4)
    said = rng.uniform(0, 2, (20, 30))
    said[3, 4] = np.nan
    local = DepthSurface(said, X0, Y0, 5.0, 5.0, CRS, quantity=LOCAL_ERROR)
    lowered = surface.depth_m - doubted(surface, local, 0.4).depth_m
    assert lowered == pytest.approx(np.nan_to_num((said - 0.4).clip(0.0)), abs=1e-5)
    # Needed water with the local error: boat + hypot(error, level); lowering and needing as before is never less.
    for level in (0.0, 0.1, 1.0):
        need = np.hypot(said, level)
        assert (np.nan_to_num(need) <= lowered + np.hypot(0.4, level) + 1e-6).all()


def test_a_shoal_sounding_left_out_stays_within_the_error():
    lake, soundings = bowl()
    row = 300
    expected = soundings.loc[row, "depth_m"]
    soundings.loc[row, "depth_m"] = 0.2
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = depth_surface(lake, soundings=soundings)
    place = soundings.geometry.iloc[row]
    assert made.depth.at(place.x, place.y) == pytest.approx(expected, abs=0.3)
    assert made.depth.at(place.x, place.y) - made.depth_confidence.at(place.x, place.y) < 0.5


def test_a_stated_error_is_the_least_that_is_said():
    lake, soundings = bowl()
    soundings["source"] = "club"
    made = depth_surface(lake, soundings=soundings, source_errors=("club=0.7m",))
    assert np.nanmin(made.depth_confidence.depth_m) >= np.float32(0.7)


def test_of_a_raster_no_less_is_said_than_its_source_states(lake):
    made = depth_surface(lake.shoreline, raster=lake.depth, depth_error_m=0.4)
    wet = np.isfinite(made.depth.depth_m)
    assert (made.depth_confidence.depth_m[wet] >= np.float32(0.4)).all()
    assert np.isnan(made.depth_confidence.depth_m[~wet]).all()
    assert made.depth.error_m >= 0.4


def test_both_coverages_are_kept_in_one_file_each_with_its_meaning(tmp_path):
    import sqlite3

    lake, soundings = bowl()
    made = depth_surface(lake, soundings=soundings)
    file = tmp_path / "lake.gpkg"
    write_layers(file, {"depth": made.depth, "depth_confidence": made.depth_confidence})
    for name, surface in (("depth", made.depth), ("depth_confidence", made.depth_confidence)):
        back = read_surface(f"{file}:{name}")
        assert back.depth_m == pytest.approx(surface.depth_m, nan_ok=True)
    with sqlite3.connect(file) as db:
        rows = dict(
            db.execute(
                "SELECT tile_matrix_set_name, quantity_definition FROM gpkg_2d_gridded_coverage_ancillary"
            )
        )
    assert rows == {"depth": "Depth below chart datum", "depth_confidence": LOCAL_ERROR}
