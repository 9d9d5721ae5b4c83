"""From land to lake bottom: hills, valley floors, ledges, channels, and the pool that covers them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy import ndimage
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import cKDTree

from castshed.demo_layers.channels import find_streams, floor_along, turning, wander
from castshed.demo_layers.relief import carve_land, noise_field
from castshed.demo_layers.sheet import Sheet, smooth_step
from castshed.demo_layers.works import build_bank, find_dam, lay_road, raise_knolls

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from castshed.demo_layers.channels import Stream
    from castshed.demo_layers.relief import Floats, Land
    from castshed.demo_layers.sheet import Grid
    from castshed.demo_layers.works import Knoll, Road

WIDTH_M, HEIGHT_M = 13_800.0, 9_900.0
OUTLET, INLET = (WIDTH_M - 20.0, 3600.0), (20.0, 5800.0)
CELL_M = 5.0
COARSE_M = 15.0  # cells of the grid the hills are shaped on
POOL_M = 27.0  # normal pool above the old river at the land's outlet
CREST_M = POOL_M + 5.0  # of the dam
LEAST_AREA_M2 = 26e6


class Bottom(NamedTuple):
    """The drowned valley. Grids have row 0 at the south edge; heights are above the outlet."""

    height_m: Grid
    lake: NDArray[np.bool_]
    sheet: Sheet
    streams: list[Stream]
    dam: Floats  # (2, 2) ends of the crest
    road: Road
    knolls: list[Knoll]


def _hills(rng: np.random.Generator, land: Land, sheet: Sheet) -> Grid:
    """Interpolate the land and round its crests and hollows."""
    rows, cols = sheet.shape
    x = (np.arange(cols) + 0.5) * sheet.cell_m
    y = (np.arange(rows) + 0.5) * sheet.cell_m
    height = LinearNDInterpolator(land.mesh, land.height_m, fill_value=0.0)(*np.meshgrid(x, y))
    # Soil creep rounds the land; more where the ground is soft.
    fine, broad = (ndimage.gaussian_filter(height, s / sheet.cell_m) for s in (13.0, 42.0))
    soft = noise_field(rng, sheet.shape, sheet.cell_m, longest_m=2500.0, shortest_m=400.0)
    share = smooth_step(0.5 + 0.35 * soft.astype(np.float64))
    return np.asarray(fine + share * (broad - fine), dtype=np.float32)


def _lay_floors(height: Grid, streams: list[Stream], sheet: Sheet, ripple: Grid) -> None:
    """Widen each valley into a floor, flat across, falling gently down the stream."""
    for stream in streams:
        reach = float(stream.half_floor_m.max()) * 1.3 + 30.0
        cells, xy = sheet.near(stream.valley, reach)
        away, nearest = cKDTree(stream.valley).query(xy)
        half = stream.half_floor_m[nearest] * (1.0 + 0.22 * ripple[cells])
        floor = ndimage.gaussian_filter1d(stream.floor_m, 3.0)[nearest]
        above = height[cells] - floor
        side = smooth_step((away / half - 0.55) / 0.6)
        height[cells] = floor + above * np.maximum(side, 0.06)


def _uneven(rng: np.random.Generator, count: int, points: float, spread: float) -> Floats:
    """Make a smooth random factor round 1 along a line."""
    wave = ndimage.gaussian_filter1d(rng.standard_normal(count), points)
    return np.asarray(1.0 + spread * wave / max(float(wave.std()), 1e-9))


def _cut_channel(height: Grid, stream: Stream, sheet: Sheet, rng: np.random.Generator) -> None:
    """Cut an old channel: steep outer banks, point bars inside, low natural levees, pools and bars."""
    half = 0.5 * stream.width_m
    cells, xy = sheet.near(stream.course, 7.0 * half + 60.0)
    away, nearest = cKDTree(stream.course).query(xy)
    normal, bend = turning(stream.course)
    bend = ndimage.gaussian_filter1d(bend, stream.width_m / 12.0)
    side = np.sign(np.sum((xy - stream.course[nearest]) * normal[nearest], axis=1))  # 1 left, -1 right
    # In a left bend the outer, deep bank is on the right.
    outer = np.clip(-side * bend[nearest] * stream.width_m * 2.2, -1.0, 1.0)
    edge = half * _uneven(rng, len(bend), stream.width_m / 3.0, 0.13)[nearest]
    pools = _uneven(rng, len(bend), stream.width_m / 2.0, 0.16)[nearest]
    floor = floor_along(stream)[nearest]
    fade = smooth_step(np.arange(len(bend)) / 40.0)[nearest]  # shallow at the head
    power = np.where(outer > 0, 2.0 + 3.5 * outer, 2.0 + 0.9 * outer)
    cut = np.maximum(0.0, 1.0 - (away / edge) ** power) * (1.0 + 0.22 * outer) * pools
    bed = floor - stream.deep_m * fade * cut
    # Where the river undercut the foot of a hill, the bank stands steep: a bluff.
    steep = np.where(outer > 0.15, 0.8, 0.42)
    before = height[cells]
    after = np.minimum(before, floor + steep * np.maximum(0.0, away - edge) + 0.25)
    levee = 0.16 * stream.deep_m * fade * np.exp(-(((away - edge) / (1.1 * half)) ** 2))
    level_ground = np.exp(-np.abs(before - floor) / 1.5)
    height[cells] = np.where(away <= edge, np.minimum(after, bed), after + levee * level_ground)


def _ledges(rng: np.random.Generator, height: Grid, sheet: Sheet) -> Grid:
    """Let hard beds stand out as steps where the ground is rocky."""
    shape, cell = sheet.shape, sheet.cell_m
    rocky = noise_field(rng, shape, cell, longest_m=2600.0, shortest_m=500.0, roughness=0.6)
    dip = noise_field(rng, shape, cell, longest_m=6000.0, shortest_m=2500.0)
    thick = 6.5  # metres from one hard bed to the next
    phase = 2.0 * np.pi * (height + 2.2 * dip) / thick
    firm = 0.8 * smooth_step((rocky - 0.15) / 0.7)
    return np.asarray(height - firm * thick * np.sin(phase) / (2.0 * np.pi), dtype=np.float32)


def _flood(height: Grid, sheet: Sheet, streams: list[Stream], dam: Floats) -> NDArray[np.bool_]:
    """Find what the dam backs up; nothing when the water runs round it or off the land."""
    parts, _ = ndimage.label(height < POOL_M)
    river = streams[0].course
    at_dam = int(np.argmin(np.hypot(*(river - dam.mean(axis=0)).T)))
    pace = float(np.hypot(*(river[1] - river[0])))
    above, below = (
        int(np.median(parts[sheet.cells_on(river[max(0, at_dam + a) : at_dam + b])]))
        for a, b in ((-int(400 / pace), -int(200 / pace)), (int(200 / pace), int(400 / pace)))
    )
    lake = np.asarray(parts == above)
    leaks = above in (0, below)
    rim = np.concatenate([lake[0], lake[-1], lake[:, 0], lake[:, -1]])
    return np.zeros_like(lake) if leaks or rim.any() else lake


def _draft(rng: np.random.Generator) -> tuple[Grid, list[Stream], Floats] | None:
    """Shape the hills on the coarse grid; nothing when the land holds no lake of the size wanted."""
    sheet = Sheet((int(HEIGHT_M / COARSE_M), int(WIDTH_M / COARSE_M)), COARSE_M)
    land = carve_land(
        rng, WIDTH_M, HEIGHT_M, outlet=OUTLET, inlet=INLET, inflow_m2=9e8, ridge_x_m=WIDTH_M - 1500.0
    )
    streams = find_streams(rng, land, inlet=INLET, least_area_m2=1.2e6, highest_m=POOL_M + 4.0)
    hills = _hills(rng, land, sheet)
    ripple = noise_field(rng, sheet.shape, COARSE_M, longest_m=900.0, shortest_m=60.0, roughness=0.7)
    _lay_floors(hills, streams[::-1], sheet, ripple)
    hills = np.asarray(ndimage.gaussian_filter(hills, 0.8), dtype=np.float32)
    dam = find_dam(hills, sheet, streams[0], (WIDTH_M - 2300.0, WIDTH_M - 500.0), CREST_M)
    if len(dam) == 0:
        return None
    trial = hills.copy()
    build_bank(trial, dam, sheet, CREST_M, 8.0, 1.0 / 2.8)
    lake = _flood(trial, sheet, streams, dam)
    return (hills, streams, dam) if lake.sum() * COARSE_M**2 > LEAST_AREA_M2 * 1.04 else None


def shape_bottom(seed: int, *, tries: int = 40) -> Bottom:
    """Make the ground before and under the lake.

    Parameters
    ----------
    seed
        Everything follows from it.
    tries
        Lands made until one holds a lake of the size wanted.

    Returns
    -------
    The bottom.

    Raises
    ------
    RuntimeError
        When no land of this seed holds such a lake.
    """
    for turn in range(tries):
        rng = np.random.default_rng(seed + 1_000_000 * turn)
        draft = _draft(rng)
        if draft is None:
            continue
        hills, valleys, dam = draft
        streams = [wander(rng, stream) for stream in valleys]
        sheet = Sheet((int(HEIGHT_M / CELL_M), int(WIDTH_M / CELL_M)), CELL_M)
        height = np.asarray(
            ndimage.zoom(hills, COARSE_M / CELL_M, order=3, mode="nearest", grid_mode=True), dtype=np.float32
        )
        swells = noise_field(rng, sheet.shape, CELL_M, longest_m=420.0, shortest_m=25.0, roughness=0.9)
        strength = noise_field(rng, sheet.shape, CELL_M, longest_m=3000.0, shortest_m=500.0)
        height += 0.38 * swells * np.exp(0.55 * np.clip(strength, -2.0, 2.0))
        height = _ledges(rng, height, sheet)
        for stream in streams[::-1]:
            _cut_channel(height, stream, sheet, rng)
        road = lay_road(rng, height, sheet, streams[0], POOL_M, (0.42 * WIDTH_M, 0.7 * WIDTH_M))
        build_bank(height, dam, sheet, CREST_M, 5.0, 1.0 / 2.8)
        lake = _flood(height, sheet, streams, dam)
        if lake.sum() * CELL_M**2 < LEAST_AREA_M2:
            continue
        knolls = raise_knolls(rng, height, sheet, lake, POOL_M, islands=6, humps=14)
        height = np.asarray(ndimage.gaussian_filter(height, 0.7), dtype=np.float32)
        lake = _flood(height, sheet, streams, dam)
        return Bottom(height, lake, sheet, streams, dam, road, knolls)
    raise RuntimeError(
        f"No land of seed {seed} holds a lake of the size wanted in {tries} tries: take another seed."
    )
