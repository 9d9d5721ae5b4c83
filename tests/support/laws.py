"""Lakes left to chance for the laws, and a lake moved, turned or with its rows in another order."""

from __future__ import annotations

import warnings
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import shapely
import shapely.affinity

from castshed.algorithms.boat_hold import boat_hold
from castshed.algorithms.safe_ways import safe_ways
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.water_today import water_today
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import NoSolution
from verifier import BEAM_M, LEVEL_ERROR_M, MARGIN_M, POSITION_M, made_case

FRAMES = ("shoreline", "spots", "ramps", "zones", "known_hazards")


def chain(
    case, *, level_m=None, draft_m=None, running_m=None, holds=None, clearance_m=None, idle_clearance_m=0.0
):
    """Water, hazards, holds and ways of a case as the commands make them; ways are None where no ramp can be used."""
    level_m = case.level_m if level_m is None else level_m
    draft_m = case.draft_m if draft_m is None else draft_m
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        water = water_today(case.depth, case.shoreline, level_m=level_m).water
        hazards = shallow_hazards(
            case.depth, water, known_hazards=case.known_hazards, level_m=level_m, draft_m=draft_m,
            running_depth_m=case.running_m if running_m is None else running_m, margin_m=MARGIN_M,
            level_error_m=LEVEL_ERROR_M, hazard_error_m=POSITION_M,
        )  # fmt: skip
        if holds is None:
            holds = boat_hold(
                case.spots, case.depth, level_m=level_m, draft_m=draft_m, margin_m=MARGIN_M, hazards=hazards,
                known_hazards=case.known_hazards, zones=case.zones,
            ).holds  # fmt: skip
        else:
            holds = holds.copy()
            holds.attrs.clear()  # the laws take holds from one level to another on purpose
        try:
            ways = safe_ways(
                holds, case.ramps, water, hazards=hazards, zones=case.zones, level_m=level_m, beam_m=BEAM_M,
                fix_error_m=POSITION_M, clearance_m=case.clearance_m if clearance_m is None else clearance_m,
                idle_clearance_m=idle_clearance_m, run_speed_mps=12.0, idle_speed_mps=2.0,
            ).ways  # fmt: skip
        except NoSolution:
            ways = None
    return SimpleNamespace(water=water, hazards=hazards, holds=holds, ways=ways)


def swelling_lake(seed):
    """A made lake whose bottom is nowhere level, so that no choice is a tie; None where chance made none that serves."""
    case = made_case(seed)
    if case is None:
        return None
    depth = case.depth
    x, y = np.meshgrid(depth.xs - depth.west_m, depth.ys - depth.north_m)
    swell = 0.4 * np.sin(x / 61.0 + seed) + 0.3 * np.sin(y / 47.0 + x / 211.0) + 0.001 * x
    there = depth.depth_m + np.where(depth.depth_m > 1.0, swell, 0.0)
    return SimpleNamespace(**{**vars(case), "depth": replace(depth, depth_m=there.astype("f4"))})


def rows(ways):
    """(one end, other end) -> the way between; empty without ways."""
    if ways is None:
        return {}
    return {tuple(sorted((way.from_id, way.to_id))): way for way in ways.itertuples(index=False)}


def moved(case, east_m, north_m):
    """The same lake elsewhere."""
    depth = case.depth
    there = DepthSurface(
        depth.depth_m, depth.west_m + east_m, depth.north_m + north_m, depth.cell_x_m, depth.cell_y_m, depth.crs, depth.error_m
    )  # fmt: skip
    frames = {
        name: (f := getattr(case, name)).set_geometry(f.translate(east_m, north_m), crs=f.crs)
        for name in FRAMES
    }
    return SimpleNamespace(**{**vars(case), **frames, "depth": there}), lambda g: shapely.affinity.translate(
        g, east_m, north_m
    )


def turned(case):
    """The same lake turned left by a quarter round the south-west corner of its depths, and moved to where they lie."""
    depth = case.depth
    rows, columns = depth.shape
    west, south = depth.west_m, depth.north_m - rows * depth.cell_y_m
    high = rows * depth.cell_y_m

    def turn(geometry):
        return shapely.transform(
            geometry, lambda xy: np.column_stack([west + high - (xy[:, 1] - south), south + xy[:, 0] - west])
        )

    there = DepthSurface(
        np.rot90(depth.depth_m),
        west,
        south + columns * depth.cell_x_m,
        depth.cell_y_m,
        depth.cell_x_m,
        depth.crs,
        depth.error_m,
    )
    frames = {
        name: (f := getattr(case, name)).set_geometry(turn(f.geometry.to_numpy()), crs=f.crs)
        for name in FRAMES
    }
    return SimpleNamespace(**{**vars(case), **frames, "depth": there}), turn


def shuffled(case, seed):
    """The same lake with the rows of all its layers in another order."""
    frames = {
        name: getattr(case, name).sample(frac=1.0, random_state=seed).reset_index(drop=True)
        for name in FRAMES
    }
    return SimpleNamespace(**{**vars(case), **frames}), lambda g: g
