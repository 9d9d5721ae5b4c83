"""Order holds into a shortest run over safe water, from ramp to ramp."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    AtEach,
    AtMost,
    Beam,
    BeamLimit,
    Clearance,
    Depart,
    Depth,
    DepthConfidence,
    DepthError,
    Draft,
    EndRamp,
    Exposure,
    FixError,
    FollowingLimit,
    GustLimit,
    HeadLimit,
    Holds,
    HourVerdicts,
    IdleClearance,
    IdleSpeed,
    LakeZone,
    LaunchReach,
    LeftOut,
    Legs,
    Length,
    LevelError,
    Night,
    Ramps,
    RunSpeed,
    ShallowHazards,
    StartRamp,
    Stops,
    TodaysLevel,
    Water,
    WaveSpeeds,
    WindLimit,
    Zones,
    defaults,
)

if TYPE_CHECKING:
    import numpy as np
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray


class ShortestRun(NamedTuple):
    """What shortest-run makes."""

    stops: Stops
    legs: Legs
    left_out: LeftOut


def _chosen(holds: GeoDataFrame, time_s: NDArray[np.float64], at_most: int) -> tuple[list[int], list[int]]:
    """Take the best by rating, then by time from the start, then by id; rows of holds taken and left."""
    import numpy as np
    import pandas as pd

    from castshed.toolbox.numbers import numbers_of

    rating = (
        numbers_of(holds["rating"], "holds.rating")
        if "rating" in holds
        else pd.Series(0.0, index=holds.index)
    )
    best = np.lexsort((holds["spot_id"].to_numpy(str), time_s, -rating.fillna(-1.0).to_numpy(float)))
    rows = [int(r) for r in best if np.isfinite(time_s[r])]
    return (rows, []) if at_most == 0 else (rows[:at_most], rows[at_most:])


@algorithm(
    step="run",
    example="castshed shortest-run my_day/plan.gpkg:holds demo_layers/reservoir.gpkg:ramps "
    "my_day/plan.gpkg:water --hazards my_day/plan.gpkg:shallow_hazards "
    "--zones demo_layers/reservoir.gpkg:zones --depth demo_layers/reservoir.gpkg:depth --level -4ft --at-most 8 "
    "--out my.gpkg",
)
def shortest_run(
    holds: Holds,
    ramps: Ramps,
    water: Water,
    *,
    hazards: ShallowHazards | None = None,
    zones: Zones | None = None,
    depth: Depth | None = None,
    level_m: TodaysLevel = 0.0,
    start: StartRamp = "",
    end: EndRamp = "",
    at_most: AtMost = defaults.AT_MOST,
    beam_m: Beam = defaults.BEAM_M,
    fix_error_m: FixError = defaults.FIX_ERROR_M,
    clearance_m: Clearance = defaults.CLEARANCE_M,
    idle_clearance_m: IdleClearance = defaults.IDLE_CLEARANCE_M,
    run_speed_mps: RunSpeed = defaults.RUN_SPEED_MPS,
    idle_speed_mps: IdleSpeed = defaults.IDLE_SPEED_MPS,
    turning_radius_m: Length = 0.0,
    launch_m: LaunchReach = defaults.LAUNCH_M,
    draft_m: Draft = defaults.DRAFT_M,
    depth_confidence: DepthConfidence | None = None,
    depth_error_m: DepthError | None = None,
    level_error_m: LevelError = defaults.LEVEL_ERROR_M,
    at_each_s: AtEach = defaults.AT_EACH_S,
    depart: Depart = "",
    verdicts: HourVerdicts | None = None,
    exposure: Exposure | None = None,
    night: Night = False,
    time_zone: LakeZone = "",
    wind_limit_mps: WindLimit = defaults.WIND_LIMIT_MPS,
    gust_limit_mps: GustLimit = defaults.GUST_LIMIT_MPS,
    head_limit_m: HeadLimit = defaults.HEAD_LIMIT_M,
    beam_limit_m: BeamLimit = defaults.BEAM_LIMIT_M,
    following_limit_m: FollowingLimit = defaults.FOLLOWING_LIMIT_M,
    wave_speeds: WaveSpeeds = defaults.WAVE_SPEEDS,
) -> ShortestRun:
    """Order holds into a shortest run over safe water, from ramp to ramp.

    Ways are exact shortest lines over the water that is safe for the boat: today's water without shallow hazards and
    closed zones, narrowed on every side by half the beam, the position error and the clearance wanted. A hold in water
    too thin to run in is reached at idle, as a piece of its own. The order starts from a networkx tour and is improved
    until neither turning a stretch round nor moving stops gains; up to fourteen stops it is the best there is.

    Without a time to depart there are no clock times. Each piece of a leg tells its least depth, what it passes
    nearest to, on which side, how far off and how far along.

    With depart every hour of the run is kept: stops, waits, legs and the way home lie in daylight (the sun no lower
    than at civil dawn) and, with verdicts and exposure, in hours whose wind, gusts and seas allow them. A run whose
    hours are kept stays as it is; else it starts later, or leaves out the stops that the hours forbid, and says so.
    Where a forecast ends or has a gap of more than two hours nothing is planned; in a shorter gap the worse of its
    neighbours counts. Holds that carry one wind have it on every leg. Waves slow the boat (--wave-speeds): the order is
    then the one that is back soonest, each leg taking as long as the seas of its hour make it.

    Of several holds of a spot the first is taken. Holds that cannot be reached, and those beyond the number wanted,
    are in left_out with the reason. Of more holds than wanted the best rated are taken; of equal rating the nearer
    by time from the start, then by id.

    Parameters
    ----------
    holds
        Holds from boat-hold, with a rating where the best are to be chosen. Rows of status none are left out.
    ramps
        Ramps to start from and to come back to.
    water
        Today's water, from water-today.
    hazards
        Shallow hazards, from shallow-hazards.
    zones
        Zones: no_entry and no_motor are closed, slow takes longer.
    depth
        Depth coverage, for the least depth along each leg.
    turning_radius_m
        Radius to which corners of running ways are rounded where there is room; 0 leaves them sharp.
    verdicts
        Verdicts by hour, from fishable; they need depart.
    exposure
        Wind by spot and hour, from wind-exposure with a forecast; it needs depart.

    Returns
    -------
    ShortestRun
        `stops` in order, the ramps first and last; `legs`, one row for each piece (part run, idle or launch) with
        its least depth and clearance; `left_out` with reasons.

    Raises
    ------
    NoSafeWay
        The ramp can't be used today, no hold can be reached from it, or a way fails the check of its clearance.
    NothingFishable
        No hour allows a stop; the message tells which forbid it and by what.
    UsageError
        No such ramp, or a speed of 0.

    Notes
    -----
    Ways: `castshed.toolbox.water.ways.navigation`; order: `castshed.toolbox.water.runs.tours`. What makes the result
    wrong: hazards nobody charted, a level other than that of the layers, and water that has silted since the survey.
    """
    import geopandas as gpd
    import numpy as np
    import pandas as pd

    from castshed.toolbox.errors import NoSafeWay, UsageError
    from castshed.toolbox.report import note, progress
    from castshed.toolbox.water.hours.run_hours import clock_in, in_lake_zone, leg_limits, winds_told
    from castshed.toolbox.water.hours.run_in_hours import Asked, InHours, run_in_hours
    from castshed.toolbox.water.level.uncertainty import error_of, needed_depth_m, surely_today
    from castshed.toolbox.water.runs.afloat import Handling, set_afloat
    from castshed.toolbox.water.runs.launches import ramp_of, require_entry
    from castshed.toolbox.water.runs.run import pieces_of, require_clear, rounded
    from castshed.toolbox.water.runs.run_frames import (
        best_holds,
        clock_of,
        left_out_frame,
        legs_frame,
        places_frame,
        running_times,
        stops_frame,
        with_names,
        with_waves,
    )
    from castshed.toolbox.water.runs.tours import tour
    from castshed.toolbox.water.verdicts.wave_speeds import wave_speeds_of

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
    clock = clock_of(clock_in(depart, time_zone))
    clock = clock if clock is None else in_lake_zone(clock, time_zone)
    limits = leg_limits(wind_limit_mps, gust_limit_mps, head_limit_m, beam_limit_m, following_limit_m)
    slower = wave_speeds_of(wave_speeds)
    if clock is None and (verdicts is not None or exposure is not None):
        raise UsageError(
            "verdicts or exposure are given without depart; give the time of departure, or leave them out."
        )
    first = ramp_of(ramps, start, level_m, "start")
    last = ramp_of(ramps, end, level_m, "end") if end else first

    with progress("Finding safe ways", 4) as step:
        usable = with_names(best_holds(holds))
        ok = np.flatnonzero(usable["status"] == "ok")
        held = usable.geometry.iloc[ok].to_numpy()
        ramp_points = [first.geometry] if last is first else [first.geometry, last.geometry]
        today = surely_today(depth, level_m, depth_confidence, depth_error_m)
        afloat = set_afloat(ramp_points, held, water, hazards, zones, today, handling)
        step(1)
        for ramp, point, entry in zip((first, last), ramp_points, afloat.entries, strict=False):
            require_entry(ramp["name"] or ramp["ramp_id"], point, entry, afloat.idling, launch_m)
        found = afloat.ways(held)
        step(1)
        ramps_here = len(ramp_points)
        if not np.isfinite(found.time_s[0, ramps_here - 1]):
            raise NoSafeWay(
                f"No safe way leads from {first['name']} to {last['name']}: {found.reason[ramps_here - 1]}."
            )
        candidates = usable.iloc[ok].reset_index(drop=True)
        taken, beyond = _chosen(candidates, found.time_s[0, ramps_here:], at_most)
        cut_off = [r for r in range(len(candidates)) if not np.isfinite(found.time_s[0, ramps_here + r])]
        if not taken and len(holds):
            named = "; ".join(
                f"{candidates['spot_id'][r]}: {found.reason[ramps_here + r]}" for r in cut_off[:5]
            )
            raise NoSafeWay(
                f"No hold can be reached from {first['name'] or first['ramp_id']}. {named}"
                if named
                else "There is no hold of status ok to run to; see the reasons in the holds layer."
            )
        rows = np.array([*range(ramps_here), *(ramps_here + r for r in taken)], dtype=np.int64)
        cost = found.time_s[np.ix_(rows, rows)]
        order = rows[tour(cost, start=0, end=ramps_here - 1)] if len(rows) > 1 else rows
        if ramps_here == 1 and len(order) > 1:
            order = np.append(order, rows[0])
        step(1)

        around = afloat.surroundings(depth, level_m, depth_confidence)
        places = places_frame([first] if last is first else [first, last], candidates)
        ids = places["spot_id"].to_list()

        def legs_of(order: NDArray[np.int64]) -> GeoDataFrame:
            pieces = pieces_of(found, order, afloat.launches()) if len(order) > 1 else []
            if turning_radius_m > 0.0:
                pieces = rounded(pieces, afloat.running, turning_radius_m)
            require_clear([(piece.part, piece.line) for piece in pieces], afloat)
            return legs_frame(pieces, ids, around, run_speed_mps, idle_speed_mps, water.crs)

        legs = legs_of(order)
        times = running_times(legs, len(order), clock, at_each_s)
        asked = Asked(
            begin=clock,
            night=night,
            at_each_s=at_each_s,
            at_most=at_most,
            run_mps=run_speed_mps,
            idle_mps=idle_speed_mps,
            limits=limits,
            verdicts=verdicts,
            winds=winds_told(exposure, candidates, clock or pd.Timestamp(0, tz="UTC")),
            water=water,
            depth=depth,
            level_m=level_m,
            launches=afloat.launches(),
            wave_speeds=slower,
        )
        in_hours = InHours(order, None, {}, ())
        if len(order) > 1 and len(candidates):
            in_hours = run_in_hours(found, order, times, candidates, ramps_here, asked)
        for words in in_hours.said:
            note(words, stacklevel=2)
        if in_hours.times is not None:
            order, times = in_hours.order, in_hours.times
            legs = legs_of(order)
            met = {int(row) - ramps_here for row in order}
            beyond = [row for row in beyond if row not in met]
        legs = with_waves(legs, in_hours.longer_s)
        step(1)

    stops = stops_frame(places, order, ramps_here, times)
    none = np.flatnonzero(usable["status"] != "ok")
    left = pd.concat(
        [
            left_out_frame(
                candidates, cut_off, [f"out of reach: {found.reason[ramps_here + r]}" for r in cut_off]
            ),
            left_out_frame(
                usable, [int(r) for r in none], [f"no hold: {why}" for why in usable["reason"].iloc[none]]
            ),
            left_out_frame(candidates, list(in_hours.left), list(in_hours.left.values())),
            left_out_frame(candidates, beyond, [f"not among the {at_most} best rated"] * len(beyond)),
        ]
    )
    return ShortestRun(
        stops,
        legs,
        gpd.GeoDataFrame(left.reset_index(drop=True), geometry=holds.geometry.name, crs=holds.crs),
    )
