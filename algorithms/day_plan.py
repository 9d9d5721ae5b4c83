"""Which stops fit a day, in what order and when."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Answers,
    AtEach,
    BackBy,
    Beam,
    BeamLimit,
    Clearance,
    Count,
    Depart,
    Depth,
    DepthConfidence,
    DepthError,
    Draft,
    Duration,
    EndRamp,
    EngineHp,
    Exposure,
    FixError,
    Flow,
    FollowingLimit,
    FuelOnBoard,
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
    LevelError,
    LongestAtEach,
    MustStops,
    NeverStops,
    Night,
    Ramps,
    RunSpeed,
    ShallowHazards,
    Share,
    StartRamp,
    StaysByKind,
    Stops,
    StopValue,
    TodaysLevel,
    Water,
    WaveSpeeds,
    WindLimit,
    Windows,
    WordList,
    Words,
    Zones,
    defaults,
)

if TYPE_CHECKING:
    from castshed.toolbox.water.day.day_moves import Routes
    from castshed.toolbox.water.day.day_task import DayTask
    from castshed.toolbox.water.day.kept_hours import KeptHours


class DayPlan(NamedTuple):
    """What day-plan makes."""

    stops: Stops
    legs: Legs
    left_out: LeftOut
    answers: Answers


@algorithm(
    step="run",
    example="castshed day-plan my_day/plan.gpkg:holds demo_layers/reservoir.gpkg:ramps my_day/plan.gpkg:water "
    "--hazards my_day/plan.gpkg:shallow_hazards --zones demo_layers/reservoir.gpkg:zones "
    "--depth demo_layers/reservoir.gpkg:depth --level -4ft --depart 2031-05-17T06:00-05:00 --back-by 13:00 "
    "--engine-hp 150 --fuel 30gal --out my.gpkg",
)
def day_plan(
    holds: Holds,
    ramps: Ramps,
    water: Water,
    *,
    hazards: ShallowHazards | None = None,
    zones: Zones | None = None,
    depth: Depth | None = None,
    verdicts: HourVerdicts | None = None,
    exposure: Exposure | None = None,
    level_m: TodaysLevel = 0.0,
    depart: Depart,
    back_by: BackBy,
    start: StartRamp = "",
    end: EndRamp = "",
    value: StopValue = defaults.VALUE,
    must: MustStops = (),
    never: NeverStops = (),
    windows: Windows = (),
    at_each_s: AtEach = defaults.AT_EACH_S,
    longest_at_each_s: LongestAtEach = 0.0,
    stays: StaysByKind = (),
    setup_s: Duration = 180.0,
    plane_s: Duration = 20.0,
    night: Night = False,
    time_zone: LakeZone = "",
    wind_limit_mps: WindLimit = defaults.WIND_LIMIT_MPS,
    gust_limit_mps: GustLimit = defaults.GUST_LIMIT_MPS,
    head_limit_m: HeadLimit = defaults.HEAD_LIMIT_M,
    beam_limit_m: BeamLimit = defaults.BEAM_LIMIT_M,
    following_limit_m: FollowingLimit = defaults.FOLLOWING_LIMIT_M,
    wave_speeds: WaveSpeeds = defaults.WAVE_SPEEDS,
    fuel_l: FuelOnBoard | None = None,
    reserve: Share = 1.0 / 3.0,
    engine_hp: EngineHp = 0,
    run_burn_lph: Flow | None = None,
    idle_burn_lph: Flow | None = None,
    days: Count = 1,
    done: WordList = (),
    at: Words = "",
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
    seed: Count = 0,
) -> DayPlan:
    """Choose the stops that fit a day, order them and put times on them.

    Of all stops the set and order of greatest value is sought that fits the hours, the windows and the fuel, and among
    those the one with least travel. Up to fourteen stops the plan is the best there is; for more it is the best found,
    and answers tell how far below the best it can be at most. The same input and seed give the same plan on every
    machine.

    A spot can be fished in the hours that verdicts (from fishable) allow, in daylight (the sun no lower than at civil
    dawn), and as you wish (--windows "Gull rock before 09:00"). Every leg, the way home included, and every wait afloat
    keeps the hours as well: with --exposure, or holds that carry one wind, no leg lies in an hour whose wind, gusts or
    seas are over the limits. Waves slow the boat (--wave-speeds): a leg takes as long as the seas of its hour make it,
    and who leaves later never overtakes. Where a forecast ends or has a gap of more than two hours nothing is planned;
    in a shorter gap the worse of its neighbours counts. Fuel keeps a reserve; with the default a third out, a third
    back, a third left.
    Each stop tells the latest time to turn back, and a plan B: the nearest open spot not in the plan, in the lee where
    that is known. left_out tells what adding a spot would cost; answers tells the best swaps, what half an hour less
    or more would change, what would buy one more stop and when to turn home. To plan again on the water, give how many
    stops are done and the time: --done 3 --at 10:40 with all else as it was; or name them: --done "Gull rock".

    Parameters
    ----------
    holds
        Holds from boat-hold, with the columns of their spots that the value needs.
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
    verdicts
        Verdicts by hour, from fishable; spots without any are open whenever the boat may be afloat.
    exposure
        Wind by spot and hour, from wind-exposure with a forecast; with it wind, gusts and seas of the hour are kept on
        every leg. Without it the one wind that the holds carry counts.
    setup_s
        Time to get into place and to leave, added at each stop.
    plane_s
        Time to get on plane and off again, added to each leg that is run.
    reserve
        Share of the fuel that is not to be used.
    run_burn_lph
        Fuel burnt while running.
    idle_burn_lph
        Fuel burnt at idle.
    days
        Days of these hours, or boats, that share the stops.
    done
        Spots fished already, in order; the plan goes on from the last one. Or one number: so many stops of the plan
        that the same words without it give, counted from the first (a spot called by that number comes before).
    at
        Time to go on from, such as 10:40.
    seed
        Of the search.

    Returns
    -------
    DayPlan
        `stops` with times, stay, worth, latest time to turn back and plan B; `legs`; `left_out` with reasons;
        `answers`.

    Raises
    ------
    NoSafeWay
        The ramp can't be used today, or nothing can be reached.
    NothingFishable
        Nothing fits, or what must be does not; the message names the smallest set of rules in conflict.
    UsageError
        A time, spot, value or window that cannot be read.

    Notes
    -----
    Search: `castshed.toolbox.water.day.day_search`; how far it can be from the best: `day_bound` beside it. Times count
    slow zones at the speed of the slowest and are rounded up. What makes the plan wrong: fish, traffic at the ramp,
    wind against what was forecast. The worth of a longer stay is an assumed form. Burn from horsepower is a rule of
    thumb; watch the gauge.
    """
    from dataclasses import replace

    import pandas as pd

    from castshed.toolbox.errors import NoSafeWay, NothingFishable, UsageError
    from castshed.toolbox.report import note, progress
    from castshed.toolbox.water.day.day_answers import plan_b_in_hours
    from castshed.toolbox.water.day.day_basis import (
        FIRST_HOLD,
        Burn,
        DayBasis,
        holds_done,
        times_with_planing,
    )
    from castshed.toolbox.water.day.day_frames import answers_frame, day_left_out, day_legs, day_stops
    from castshed.toolbox.water.day.day_offers import both, stays_by_kind, stays_of, wishes_of, worth_of
    from castshed.toolbox.water.day.day_search import WORK, best_day
    from castshed.toolbox.water.day.day_task import EVER, daylight, hours_of, same_offers, visited
    from castshed.toolbox.water.day.day_words import (
        HALF_HOUR_S,
        already_done,
        best_swaps,
        half_an_hour,
        how_near_the_best,
        one_more,
        sun_of_day,
        why_left_out,
        why_no_day,
        worth_and_fuel,
    )
    from castshed.toolbox.water.hours.kept_day import (
        afloat_between,
        best_kept_day,
        closed_words,
        hours_cost,
        planned_by_clock,
        turn_home,
        waves_cost,
        why_nothing,
    )
    from castshed.toolbox.water.hours.run_hours import (
        WIDER,
        against_by_hour,
        clock_in,
        gap_words,
        kept_of,
        launch_times,
        leg_limits,
        night_words,
        winds_told,
        with_wider_waves,
    )
    from castshed.toolbox.water.level.uncertainty import error_of, needed_depth_m, surely_today
    from castshed.toolbox.water.light.sun import middle_of
    from castshed.toolbox.water.runs.afloat import Handling, set_afloat
    from castshed.toolbox.water.runs.launches import ramp_of, require_entry
    from castshed.toolbox.water.runs.run_frames import best_holds, places_frame, with_names
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
    if at_each_s <= 0.0:
        raise UsageError("at-each must be above 0.")
    if days < 1 or (days > 1 and done):
        raise UsageError("days must be 1 or more, and 1 when a day is planned again with --done.")
    hours = hours_of(clock_in(depart, time_zone), back_by, at, time_zone)
    limits = leg_limits(wind_limit_mps, gust_limit_mps, head_limit_m, beam_limit_m, following_limit_m)
    slower = wave_speeds_of(wave_speeds)
    if fuel_l is not None and run_burn_lph is None and engine_hp == 0:
        raise UsageError("fuel is given but not what the engine burns; give --run-burn or --engine-hp.")
    burn = Burn.of_engine(engine_hp, run_burn_lph, idle_burn_lph)
    first = ramp_of(ramps, start, level_m, "start")
    last = ramp_of(ramps, end, level_m, "end") if end else first

    best = with_names(best_holds(holds))
    ok = best["status"] == "ok"
    candidates, none = best[ok].reset_index(drop=True), best[~ok].reset_index(drop=True)
    if candidates.empty:
        raise NoSafeWay("There is no hold of status ok to run to; see the reasons in the holds layer.")
    wishes = wishes_of(candidates, hours.begin, must=must, never=never, done=done, windows=windows)
    worth = worth_of(candidates, value)
    stays_told = [
        stays_of(usual_s, longest_at_each_s) for usual_s in stays_by_kind(candidates, stays, at_each_s)
    ]
    here = middle_of(candidates.total_bounds, candidates.crs)
    sun = daylight(hours.begin, days, *here)
    light = EVER if night else sun
    winds = winds_told(exposure, candidates, hours.begin)
    names = ["", "", *candidates["name"].astype(str)]  # by place of the task: start, end, then holds

    with progress("Planning the day", 5) as step:
        held = candidates.geometry.to_numpy()
        ends = [first] if last is first else [first, last]
        today = surely_today(depth, level_m, depth_confidence, depth_error_m)
        afloat = set_afloat([ramp.geometry for ramp in ends], held, water, hazards, zones, today, handling)
        for ramp, entry in zip(ends, afloat.entries, strict=True):
            require_entry(ramp["name"] or ramp["ramp_id"], ramp.geometry, entry, afloat.idling, launch_m)
        step(1)
        found = afloat.ways(held)
        step(1)

        ids = [str(spot) for spot in candidates["spot_id"]]
        kept = kept_of(
            found=found,
            first_hold=len(ends),
            spots=ids,
            light=light,
            winds=winds,
            verdicts=verdicts,
            limits=limits,
            water=water,
            surface=depth,
            level_m=level_m,
            start=hours.begin,
            speeds_mps=(run_speed_mps, idle_speed_mps),
            wave_speeds=slower,
            from_s=-HALF_HOUR_S,
            until_s=hours.seconds_to(hours.over) + 3600.0,
        )
        wished = [wishes.windows.get(spot, EVER) for spot in ids]
        travel = times_with_planing(found, plane_s)
        whole_day = DayBasis(
            ways=found,
            ramps=len(ends),
            travel_s=launch_times(travel, afloat.launches(), idle_speed_mps, len(ends) - 1),
            burnt_l=burn.of_ways(found, idle_speed_mps),
            fuel_l=None if fuel_l is None else fuel_l * (1.0 - reserve),
            spans=[both(kept.lies[len(ends) + row], own) for row, own in enumerate(wished)],
            stays=stays_told,
            setup_s=setup_s,
            worth=worth,
            wishes=wishes,
            hours=hours,
            days=days,
        )
        from_ramp = replace(kept, places=whole_day.places())
        counted = holds_done(whole_day, solve=lambda one: best_kept_day(one, from_ramp, seed=seed))
        basis = replace(whole_day, done=counted)
        if not basis.leads_back:
            raise NoSafeWay(
                f"No safe way leads back to {last['name'] or last['ramp_id']}: {found.reason[len(ends) - 1]}."
            )
        task = basis.task(hours.now)
        kept = replace(kept, places=basis.places())

        routes = best_kept_day(task, kept, seed=seed, progress=step)

        def solve(one: DayTask, hours_of_it: KeptHours = kept) -> Routes:
            begin = same_offers(task, routes, one)
            return best_kept_day(one, hours_of_it, seed=seed, work=WORK // 8, start=begin)

        reasons = {} if verdicts is None else against_by_hour(verdicts, hours.begin)
        closed = closed_words(basis, kept, reasons, ids)
        if why := why_no_day(task, routes, hours, names, seed=seed):
            raise NothingFishable(f"{why}{why_nothing(basis, task, kept, closed, names)}")
        free, clocked = task, routes
        if verdicts is not None or winds is not None:  # what would be planned by the clock alone
            free = replace(basis, spans=wished).task(hours.now)
            clocked = best_day(free, seed=seed, work=WORK // 8, start=same_offers(task, routes, free))
        for words in gap_words(kept, hours, task.over_s, planned_by_clock(free, clocked, names)):
            note(words, stacklevel=2)
        if night and (words := night_words(sun, *afloat_between(task, routes, kept), hours)):
            note(words, stacklevel=2)
        less, more = (
            solve(replace(task, over_s=task.over_s + seconds)) for seconds in (-HALF_HOUR_S, HALF_HOUR_S)
        )
        tried = {"half an hour later home": visited(task, more)}
        if not basis.done and hours.now == hours.begin:
            sooner = basis.task(hours.now - pd.Timedelta(seconds=HALF_HOUR_S))
            tried["half an hour earlier out"] = visited(sooner, solve(sooner))
        numbers = {spot: len(ends) + row for row, spot in enumerate(ids)}
        wider = with_wider_waves(kept, verdicts, hours.begin, numbers, WIDER)
        if wider is not None:
            spans = [both(wider.lies[len(ends) + row], own) for row, own in enumerate(wished)]
            rougher = basis.with_spans(spans).task(hours.now)
            tried["a wave limit wider by a quarter"] = visited(rougher, solve(rougher, wider))
        told = [
            *hours_cost(task, routes, free, clocked, names),
            *waves_cost(task, routes, kept),
            *half_an_hour(task, routes, names, less, more),
            *one_more(visited(task, routes), names, tried),
            *turn_home(basis, task, routes, kept, names),
            *best_swaps(task, routes, names),
            *already_done(basis, names),
            *worth_and_fuel(task, routes, burns=burn.run_lph > 0.0),
            *how_near_the_best(task, routes),
            *sun_of_day(hours.begin, *here),
        ]
        step(1)

        around = afloat.surroundings(depth, level_m, depth_confidence)
        places = places_frame(ends, candidates)
        taken = [place - FIRST_HOLD for place in visited(task, routes)]
        instead = plan_b_in_hours(candidates, taken, basis, task, routes, kept)
        stops = day_stops(basis, task, routes, places, instead, water.crs, kept)
        legs = day_legs(basis, task, routes, places, afloat, around, water.crs, kept)
        step(1)

    return DayPlan(
        stops,
        legs,
        day_left_out(candidates, why_left_out(basis, task, routes, closed), none, holds.crs),
        answers_frame(told, places.geometry.iloc[0], water.crs),
    )
