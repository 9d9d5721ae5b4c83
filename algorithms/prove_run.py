"""Prove a run by geometry alone, however it was made."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Beam,
    BeamLimit,
    Clearance,
    Depth,
    DepthConfidence,
    DepthError,
    Draft,
    DryGround,
    Exposure,
    FixError,
    FollowingLimit,
    GustLimit,
    HeadLimit,
    Holds,
    HourVerdicts,
    IdleClearance,
    LaunchReach,
    Legs,
    LevelError,
    Margin,
    Night,
    Proof,
    Ramps,
    RunningDepth,
    ShallowHazards,
    Spots,
    Stops,
    TodaysLevel,
    Water,
    WindLimit,
    Zones,
    defaults,
)
from castshed.toolbox.text import how_many

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from castshed.toolbox.water.proof.keep_out import OffLimits
    from castshed.toolbox.water.proof.last_check import Limits
    from castshed.toolbox.water.proof.launch_check import DepthDoubt

TOLD: Final = 5
"""So many faults are told one by one."""


def _proof(
    legs: GeoDataFrame,
    off: OffLimits,
    depth: Depth | None,
    level_m: float,
    limits: Limits,
    doubt: DepthDoubt | None,
) -> GeoDataFrame:
    """Tell for each piece what was measured and what is needed."""
    import numpy as np

    from castshed.toolbox.water.proof.last_check import sampled_least

    made = legs[["leg_no", "part", "from_id", "to_id", "distance_m", legs.geometry.name]].copy()
    lines, part = legs.geometry.to_numpy(), legs["part"].to_numpy(dtype=object)
    clear, need_clear, least, need_depth, sure = (np.full(len(legs), np.nan) for _ in range(5))
    for word, keep_m, depth_m in (
        ("run", limits.run_clearance_m, limits.run_depth_m),
        ("idle", limits.idle_clearance_m, limits.idle_depth_m),
        ("launch", 0.0, limits.floats_m),
    ):
        rows = np.flatnonzero(part == word)
        if not len(rows):
            continue
        if word == "launch":
            near = off.launch_clearance_m(lines[rows])
            clear[rows] = np.where(np.isfinite(near), near, np.nan)
        else:
            clear[rows] = off.clearance_m(lines[rows], running=word == "run")
        need_clear[rows], need_depth[rows] = keep_m, depth_m
        if depth is not None:
            least[rows] = sampled_least(lines[rows], depth, level_m)[0]
            sure[rows] = sampled_least(lines[rows], depth, level_m, doubt)[0]
    made["clearance_m"], made["needed_clearance_m"] = clear, need_clear
    made["least_depth_m"], made["needed_depth_m"] = least, need_depth if depth is not None else np.nan
    if doubt is not None:
        made["sure_depth_m"] = sure
    return made


@algorithm(
    step="run",
    example="castshed prove-run my_day/plan.gpkg:stops my_day/plan.gpkg:legs my_day/plan.gpkg:holds "
    "my_day/plan.gpkg:water --hazards my_day/plan.gpkg:shallow_hazards --zones demo_layers/reservoir.gpkg:zones "
    "--spots demo_layers/reservoir.gpkg:spots --depth demo_layers/reservoir.gpkg:depth --level -4ft --draft 14in "
    "--running-depth 30in --margin 12in --level-error 3in --clearance 20ft --out my.gpkg:proof",
)
def prove_run(
    stops: Stops,
    legs: Legs,
    holds: Holds,
    water: Water,
    *,
    hazards: ShallowHazards | None = None,
    zones: Zones | None = None,
    dry_ground: DryGround | None = None,
    spots: Spots | None = None,
    ramps: Ramps | None = None,
    depth: Depth | None = None,
    level_m: TodaysLevel = 0.0,
    draft_m: Draft = defaults.DRAFT_M,
    running_depth_m: RunningDepth = defaults.RUNNING_DEPTH_M,
    margin_m: Margin = defaults.MARGIN_M,
    depth_confidence: DepthConfidence | None = None,
    depth_error_m: DepthError | None = None,
    level_error_m: LevelError = defaults.LEVEL_ERROR_M,
    beam_m: Beam = defaults.BEAM_M,
    fix_error_m: FixError = defaults.FIX_ERROR_M,
    clearance_m: Clearance = defaults.CLEARANCE_M,
    idle_clearance_m: IdleClearance = defaults.IDLE_CLEARANCE_M,
    launch_m: LaunchReach = defaults.LAUNCH_M,
    verdicts: HourVerdicts | None = None,
    exposure: Exposure | None = None,
    night: Night = False,
    wind_limit_mps: WindLimit = defaults.WIND_LIMIT_MPS,
    gust_limit_mps: GustLimit = defaults.GUST_LIMIT_MPS,
    head_limit_m: HeadLimit = defaults.HEAD_LIMIT_M,
    beam_limit_m: BeamLimit = defaults.BEAM_LIMIT_M,
    following_limit_m: FollowingLimit = defaults.FOLLOWING_LIMIT_M,
) -> Proof:
    """Prove a run by geometry alone, however it was made, and tell what it has to spare.

    For a run that was changed by hand, or put together from steps. It shares no code with the search for ways: lines
    are measured against the layers as they are, depths are sampled four times a cell. Every leg must lead on from
    where the last one ended to the stop of its number, be as long as it says, keep the clearance from hazards, closed
    zones, dry ground and the water's edge, and have the depth the boat needs with the errors of depth and level, beside
    it too. Every stop must lie on its hold. Every hold must have the depth, lie clear of hazards and closed zones and,
    with --spots, not on any of them. A run that fails is told rule by rule, and nothing is written.

    A launch is what begins or ends the run at its ramp, whatever is called so: it keeps off known hazards, closed
    zones and, but for 50 m of lane, dry ground and water too thin to float the boat, and ends where water to idle in
    begins. Layers that tell another level than is given are refused.

    A run with clock times is proved by its hours too, every minute of its legs, waits, stops and the way home: in
    daylight unless --night is given; with --exposure only where the forecast says something and wind and gusts are
    within their limits, and no leg meets seas over theirs (by a law and rays of its own; a seventh over is let pass,
    and of a wind that varies none are proved); with --verdicts in hours that allow each stop.

    Without --depth no depth is proved. What no layer shows no check can see: a planning aid, not for navigation.

    Parameters
    ----------
    stops
        Stops of the run, the ramps first and last.
    legs
        Legs of the run; part is run, idle or launch.
    holds
        Holds; those of status ok at which the run stops are proved.
    water
        Today's water, from water-today.
    hazards
        Shallow hazards, from shallow-hazards.
    zones
        Zones; every zone that is not slow is closed.
    dry_ground
        Ground that has fallen dry, from water-today.
    spots
        Structures; no hold may lie on one.
    ramps
        Ramps; the run must begin and end at one that can be used today.
    depth
        Depth coverage.
    verdicts
        Verdicts by hour, from fishable.
    exposure
        Wind by spot and hour, from wind-exposure with a forecast.

    Returns
    -------
    GeoDataFrame
        `proof`: each piece with the clearance and the least depth measured today, and those needed; with a depth
        confidence also `sure_depth_m`, the least depth where less sure depths are counted as less.

    Raises
    ------
    NoSafeWay
        A rule does not hold; the message tells which, where and by how much.
    """
    from castshed.toolbox.errors import NoSafeWay
    from castshed.toolbox.water.proof.hours_check import HourLimits, SeasLet, hour_violations
    from castshed.toolbox.water.proof.keep_out import OffLimits
    from castshed.toolbox.water.proof.last_check import Limits
    from castshed.toolbox.water.proof.launch_check import DepthDoubt, counted_everywhere_m
    from castshed.toolbox.water.proof.run_proof import run_violations

    error_m = counted_everywhere_m(depth, depth_confidence) if depth_error_m is None else depth_error_m
    limits = Limits.of_boat(
        draft_m=draft_m,
        running_depth_m=running_depth_m,
        margin_m=margin_m,
        depth_error_m=error_m,
        level_error_m=level_error_m,
        beam_m=beam_m,
        fix_error_m=fix_error_m,
        clearance_m=clearance_m,
        idle_clearance_m=idle_clearance_m,
        launch_m=launch_m,
    )
    faults = run_violations(
        stops,
        legs,
        holds,
        depth=depth,
        level_m=level_m,
        water=water,
        limits=limits,
        hazards=hazards,
        zones=zones,
        dry_ground=dry_ground,
        structures=spots,
        ramps=ramps,
        depth_confidence=depth_confidence,
    )
    seas = SeasLet(head_limit_m, beam_limit_m, following_limit_m)
    held = HourLimits(night, wind_limit_mps, gust_limit_mps, seas)
    faults += hour_violations(stops, legs, held, exposure=exposure, verdicts=verdicts, water=water)
    if faults:
        more = f"; and {len(faults) - TOLD} more" if len(faults) > TOLD else ""
        raise NoSafeWay(
            f"The run does not hold, {how_many(len(faults), 'fault')}: {'; '.join(map(str, faults[:TOLD]))}{more}. "
            "Mend the leg "
            "or leave the stop out; nothing was written."
        )
    ordered = legs.sort_values("leg_no", kind="stable").reset_index(drop=True)
    doubt = DepthDoubt.of(depth, depth_confidence, limits)
    return _proof(ordered, OffLimits(water, hazards, zones, dry_ground), depth, level_m, limits, doubt)
