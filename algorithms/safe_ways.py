"""Shortest safe ways between all ramps and holds: the graph of a lake for one boat."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Beam,
    BeamLimit,
    Clearance,
    Depth,
    DepthConfidence,
    DepthError,
    Draft,
    Exposure,
    FixError,
    FollowingLimit,
    GustLimit,
    HeadLimit,
    Holds,
    IdleClearance,
    IdleSpeed,
    LaunchReach,
    LeftOut,
    LevelError,
    Ramps,
    RunSpeed,
    SafeWaterAreas,
    ShallowHazards,
    TodaysLevel,
    Water,
    WaysBetween,
    WindLimit,
    Zones,
    defaults,
)
from castshed.toolbox.text import none_of

if TYPE_CHECKING:
    from typing import Any


class SafeWays(NamedTuple):
    """What safe-ways makes."""

    safe_water: SafeWaterAreas
    ways: WaysBetween
    left_out: LeftOut


def _line(pieces: list[tuple[str, Any]], at: Any) -> Any:
    """Join the pieces of a way; between places in one spot it is a point drawn as a line."""
    import numpy as np
    import shapely

    if not pieces:
        return shapely.linestrings([at, at])
    return shapely.linestrings(np.concatenate([pieces[0][1][:1], *(xy[1:] for _, xy in pieces)]))


@algorithm(
    step="run",
    example="castshed safe-ways my_day/plan.gpkg:holds demo_layers/reservoir.gpkg:ramps my_day/plan.gpkg:water "
    "--hazards my_day/plan.gpkg:shallow_hazards --zones demo_layers/reservoir.gpkg:zones --level -4ft --out my.gpkg",
)
def safe_ways(
    holds: Holds,
    ramps: Ramps,
    water: Water,
    *,
    hazards: ShallowHazards | None = None,
    zones: Zones | None = None,
    depth: Depth | None = None,
    exposure: Exposure | None = None,
    level_m: TodaysLevel = 0.0,
    beam_m: Beam = defaults.BEAM_M,
    fix_error_m: FixError = defaults.FIX_ERROR_M,
    clearance_m: Clearance = defaults.CLEARANCE_M,
    idle_clearance_m: IdleClearance = defaults.IDLE_CLEARANCE_M,
    run_speed_mps: RunSpeed = defaults.RUN_SPEED_MPS,
    idle_speed_mps: IdleSpeed = defaults.IDLE_SPEED_MPS,
    launch_m: LaunchReach = defaults.LAUNCH_M,
    draft_m: Draft = defaults.DRAFT_M,
    depth_confidence: DepthConfidence | None = None,
    depth_error_m: DepthError | None = None,
    level_error_m: LevelError = defaults.LEVEL_ERROR_M,
    wind_limit_mps: WindLimit = defaults.WIND_LIMIT_MPS,
    gust_limit_mps: GustLimit = defaults.GUST_LIMIT_MPS,
    head_limit_m: HeadLimit = defaults.HEAD_LIMIT_M,
    beam_limit_m: BeamLimit = defaults.BEAM_LIMIT_M,
    following_limit_m: FollowingLimit = defaults.FOLLOWING_LIMIT_M,
) -> SafeWays:
    """Find the shortest safe ways between all ramps and holds.

    The ways are those that shortest-run orders: exact shortest lines over today's water without shallow hazards and
    closed zones, narrowed by half the beam, the position error and the clearance wanted; a place in water too thin to
    run in is reached at idle. Each pair of places has one row, so the layer is a graph:
    ``networkx.from_pandas_edgelist(ways, "from_id", "to_id", edge_attr=True)`` hands it to networkx.

    With --exposure each way tells how many of the hours told it may be run, from its first place to the other and back
    (open_out_h, open_back_h), and what forbids the other hours: wind, gusts or seas over their limits (against_out,
    against_back).

    Parameters
    ----------
    holds
        Holds from boat-hold; rows of status none are left out.
    ramps
        Ramps; those that can't be used at today's level are left out.
    water
        Today's water, from water-today.
    hazards
        Shallow hazards, from shallow-hazards.
    zones
        Zones: no_entry and no_motor are closed, slow takes longer.
    depth
        Depth coverage, to tell how much more water would open a way.
    exposure
        Wind by spot and hour, from wind-exposure with a forecast.

    Returns
    -------
    SafeWays
        `safe_water`: where the boat may run and where it may idle (care); `ways` with distance, what of it is idled,
        what of it lies in slow zones, time, and with exposure the hours; `left_out` with the reason, seen from the
        first usable ramp.

    Raises
    ------
    NoSafeWay
        No ramp can be used today, or a way fails the check of its clearance.
    UsageError
        A speed of 0.

    Notes
    -----
    Lengths are exact for the water given; `castshed.toolbox.water.ways.navigation` tells how. Times count all slow
    zones at the speed of the slowest. What makes them wrong: hazards nobody charted, and a level other than that of
    the layers.
    """
    import geopandas as gpd
    import numpy as np
    import shapely

    from castshed.toolbox.errors import NoSafeWay
    from castshed.toolbox.report import progress
    from castshed.toolbox.units import in_words
    from castshed.toolbox.water.hours.run_hours import leg_limits
    from castshed.toolbox.water.hours.run_in_hours import ways_in_hours
    from castshed.toolbox.water.level.uncertainty import error_of, needed_depth_m, surely_today
    from castshed.toolbox.water.runs.afloat import Handling, set_afloat
    from castshed.toolbox.water.runs.launches import why_no_launch
    from castshed.toolbox.water.runs.run import require_clear

    handling = Handling.of_boat(
        beam_m=beam_m,
        fix_error_m=fix_error_m,
        clearance_m=clearance_m,
        idle_clearance_m=idle_clearance_m,
        run_speed_mps=run_speed_mps,
        idle_speed_mps=idle_speed_mps,
        launch_m=launch_m,
        float_depth_m=needed_depth_m(
            draft_m, 0.0, depth_error_m if depth_error_m is not None else error_of(depth), level_error_m
        ),
    )
    limits = leg_limits(wind_limit_mps, gust_limit_mps, head_limit_m, beam_limit_m, following_limit_m)
    low = level_m < ramps["min_level_m"].to_numpy(dtype=float)
    usable, none = ramps[~low], holds[holds["status"] != "ok"]
    holds = holds[holds["status"] == "ok"]
    held = holds.geometry.to_numpy()
    today = surely_today(depth, level_m, depth_confidence, depth_error_m)
    with progress("Finding safe ways", 3) as step:
        afloat = set_afloat(list(usable.geometry), held, water, hazards, zones, today, handling)
        step(1)
        floats = np.array([entry is not None for entry in afloat.entries], dtype=bool)
        if not floats.any():
            why = "; ".join(
                f"{one} {why_no_launch(at, afloat.idling, launch_m)}"
                for one, at in zip(usable["ramp_id"][:3], usable.geometry[:3], strict=True)
            )
            raise NoSafeWay(
                f"{none_of(len(ramps), 'ramp can', 'ramp cannot')} be used at {in_words(level_m, 'length')}: "
                f"{why or 'they need more water'}. Try a smaller clearance, or --launch."
            )
        found = afloat.ways(held)
        step(1)
        ids = [*usable["ramp_id"][floats].astype(str), *_own_ids(holds)]
        places = shapely.get_coordinates([*(e for e in afloat.entries if e is not None), *held])
        first, other = np.nonzero(np.triu(np.isfinite(found.time_s), 1))
        pieces = [found.legs(i, j) for i, j in zip(first.tolist(), other.tolist(), strict=True)]
        require_clear([(part, shapely.linestrings(xy)) for own in pieces for part, xy in own], afloat)
        lines = [_line(own, places[i]) for own, i in zip(pieces, first.tolist(), strict=True)]
        step(1)
    by_hour = {}
    if exposure is not None and len(exposure):
        by_hour = ways_in_hours(lines, exposure, limits, water, depth, level_m)
    names = np.array(ids, dtype=object)
    ways = gpd.GeoDataFrame(
        {
            "from_id": names[first],
            "to_id": names[other],
            "distance_m": found.distance_m[first, other],
            "idle_m": found.idle_m[first, other],
            "slow_m": found.slow_m[first, other],
            "time_s": found.time_s[first, other],
            **by_hour,
        },
        geometry=lines,
        crs=water.crs,
    )
    areas = [afloat.running, afloat.idling]
    safe_water = gpd.GeoDataFrame(
        {
            "care": np.array(["run", "idle"], dtype=object),
            "area_m2": [float(area.area) for area in areas],
        },
        geometry=areas,
        crs=water.crs,
    )
    here = int(floats.sum())
    cut_off = [row for row in range(len(holds)) if not np.isfinite(found.time_s[0, here + row])]
    out = [
        *zip(none["spot_id"], none["reason"].map("no hold: {}".format), none.geometry, strict=True),
        *(
            (holds["spot_id"].iloc[row], f"out of reach: {found.reason[here + row]}", held[row])
            for row in cut_off
        ),
        *(
            (one, "the ramp can't be used at today's level", at)
            for one, at in zip(ramps["ramp_id"][low], ramps.geometry[low], strict=True)
        ),
        *(
            (one, why_no_launch(at, afloat.idling, launch_m), at)
            for one, at in zip(usable["ramp_id"][~floats], usable.geometry[~floats], strict=True)
        ),
    ]
    left_out = gpd.GeoDataFrame(
        {
            "spot_id": np.array([row[0] for row in out], dtype=object),
            "name": np.array([row[0] for row in out], dtype=object),
            "reason": np.array([row[1] for row in out], dtype=object),
        },
        geometry=[row[2] for row in out],
        crs=water.crs,
    )
    return SafeWays(safe_water[~safe_water.geometry.is_empty], ways, left_out)


def _own_ids(holds: Any) -> list[str]:
    """Name places: by spot, and by hold where a spot has several."""
    number = holds.groupby("spot_id").cumcount()
    several = holds.groupby("spot_id")["spot_id"].transform("size") > 1
    return [
        f"{spot} hold {count + 1}" if many else str(spot)
        for spot, count, many in zip(holds["spot_id"], number, several, strict=True)
    ]
