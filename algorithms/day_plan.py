"""Which stops fit a day, in what order and when."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Answers,
    Count,
    Depth,
    Duration,
    Flow,
    Holds,
    HourVerdicts,
    LeftOut,
    Legs,
    Length,
    Level,
    Ramps,
    ShallowHazards,
    Share,
    Speed,
    Stops,
    Volume,
    Water,
    WordList,
    Words,
    YesNo,
    Zones,
)

if TYPE_CHECKING:
    import pandas as pd
    from geopandas import GeoDataFrame

    from castshed.toolbox.water.day_moves import Routes
    from castshed.toolbox.water.day_offers import Spans
    from castshed.toolbox.water.day_task import DayTask

_CRUISE_SHARE = (
    0.45  # of full throttle, which burns a tenth of the rated horsepower in gallons an hour: common practice
)
_IDLE_LPH_A_HP = 0.015
_HALF_HOUR_S = 1800


class DayPlan(NamedTuple):
    """What day-plan makes."""

    stops: Stops
    legs: Legs
    left_out: LeftOut
    answers: Answers


def _moment(text: str, start: pd.Timestamp, what: str) -> pd.Timestamp:
    """Read a time of the day's own, such as 14:30, or one written out in full."""
    import datetime as dt

    import pandas as pd

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.water.run_layers import clock_of

    try:
        clock = dt.time.fromisoformat(text.strip())
    except ValueError:
        at = clock_of(text, what)
        if at is None:
            raise UsageError(f"{what} is empty; write a time such as 14:30.") from None
        return at
    return pd.Timestamp(dt.datetime.combine(start.date(), clock, start.tzinfo))


def _windows(
    spots: Sequence[str],
    verdicts: GeoDataFrame | None,
    wishes: dict[str, Spans],
    light: Spans,
    start: pd.Timestamp,
) -> list[Spans]:
    """Windows of each spot: verdicts by hour, daylight and wishes all hold."""
    from castshed.toolbox.water.day_offers import both, verdict_windows

    told = {} if verdicts is None else verdict_windows(verdicts, start)
    found = []
    for spot in spots:
        spans = light if spot not in told else both(light, told[spot])
        found.append(both(spans, wishes[spot]) if spot in wishes else spans)
    return found


def _daylight(places: GeoDataFrame, start: pd.Timestamp, days: int) -> tuple[Spans, Any]:
    """Stretches between civil dawn and dusk from the day before on, in seconds after the start; and the sun today."""
    import datetime as dt

    from castshed.toolbox.water.sun import middle_of, sun_times

    latitude, longitude = middle_of(places.total_bounds, places.crs)
    zone = start.tzinfo
    assert zone is not None  # clock_of refuses times without
    spans: Spans = []
    for shift in range(-1, days + 1):
        sun = sun_times(start.date() + dt.timedelta(days=shift), zone, latitude, longitude)
        if sun.dawn is not None and sun.dusk is not None:
            spans.append(((sun.dawn - start).total_seconds(), (sun.dusk - start).total_seconds()))
    return spans, sun_times(start.date(), zone, latitude, longitude)


def _minutes(seconds: int) -> str:
    return f"{-(-seconds // 60)} min"


def _in_words(rules: Sequence[str], names: Sequence[str], told: dict[str, str]) -> str:
    """Say which rules cannot hold together."""
    said = [
        f"stop at {names[int(rule.split()[1])]}" if rule.startswith("must ") else told[rule] for rule in rules
    ]
    return "; ".join(said)


def _answers(
    task: DayTask, routes: Routes, names: Sequence[str], *, seed: int
) -> tuple[list[tuple[str, str]], dict[int, str]]:
    """Answer what people ask, and tell of each place not taken why."""
    from castshed.toolbox.water.day_answers import missed, shorter, spare_s, swaps
    from castshed.toolbox.water.day_task import FAR, VALUE_STEP, merit

    spare = spare_s(task, routes)
    why: dict[int, str] = {}
    for one in missed(task, routes):
        if one.adds_s >= FAR:
            why[one.place] = "no window of it can be reached in the order of the day"
        else:
            why[one.place] = (
                f"worth {one.worth * VALUE_STEP:.2g}; adding it would take {_minutes(one.adds_s)} "
                f"({_minutes(one.detour_s)} of it detour), the day has {_minutes(spare)} to spare"
            )
    taken = {int(task.stop[offer]) for route in routes for offer in route}
    now = merit(task, routes)
    rows: list[tuple[str, str]] = []
    for sign, seconds in (("less", _HALF_HOUR_S), ("more", -_HALF_HOUR_S)):
        other = shorter(task, seconds, seed=seed)
        there = {int(task.stop[offer]) for route in other for offer in route}
        lost, won = sorted(taken - there), sorted(there - taken)
        words = [f"without {', '.join(names[k] for k in lost)}"] if lost else []
        words += [f"with {', '.join(names[k] for k in won)}"] if won else []
        change = (merit(task if seconds > 0 else _wider(task, -seconds), other)[1] - now[1]) * VALUE_STEP
        rows.append(
            (f"30 minutes {sign}", f"{'; '.join(words) or 'the same stops'}; worth {change:+.2g} to the day")
        )
    for order, swap in enumerate(swaps(task, routes), start=1):
        travel = f"{abs(swap.travel_s) / 60:.0f} min {'more' if swap.travel_s >= 0 else 'less'} travel"
        rows.append(
            (
                f"swap {order}",
                f"{names[swap.into]} for {names[swap.out]}: worth {swap.worth * VALUE_STEP:+.2g}, {travel}",
            )
        )
    return rows, why


def _wider(task: DayTask, seconds: int) -> DayTask:
    from dataclasses import replace

    return replace(task, over_s=task.over_s + seconds)


def _plan_b(candidates: GeoDataFrame, taken: set[int], able: set[int], time_s: Any) -> dict[int, int]:
    """Nearest open spot that is not in the plan for each one that is, in the lee where that is known."""
    import numpy as np

    lee = (
        (candidates["bank"] == "lee").to_numpy()
        if "bank" in candidates.columns
        else np.zeros(len(candidates), dtype=bool)
    )
    spare = np.array(sorted(able - taken), dtype=int)
    if len(spare) and lee[spare].any():
        spare = spare[lee[spare]]
    found: dict[int, int] = {}
    for row in taken if len(spare) else ():
        near = spare[np.argmin(time_s[row, spare])]
        if np.isfinite(time_s[row, near]):
            found[row] = int(near)
    return found


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
    level_m: Level = 0.0,
    depart: Words,
    back_by: Words,
    start: Words = "",
    end: Words = "",
    value: Words = "rating",
    must: WordList = (),
    never: WordList = (),
    windows: WordList = (),
    stay_s: Duration = 1500.0,
    longest_stay_s: Duration = 0.0,
    stays: WordList = (),
    setup_s: Duration = 180.0,
    plane_s: Duration = 20.0,
    daylight_only: YesNo = True,
    fuel_l: Volume | None = None,
    reserve: Share = 1.0 / 3.0,
    engine_hp: Count = 0,
    run_burn_lph: Flow | None = None,
    idle_burn_lph: Flow | None = None,
    days: Count = 1,
    done: WordList = (),
    at: Words = "",
    beam_m: Length = 2.4384,
    position_error_m: Length = 3.0,
    clearance_m: Length = 6.096,
    idle_clearance_m: Length = 0.0,
    run_speed_mps: Speed = 13.4112,
    idle_speed_mps: Speed = 2.2352,
    launch_m: Length = 150.0,
    seed: Count = 0,
) -> DayPlan:
    """Choose the stops that fit a day, order them and put times on them.

    Of all stops the set and order of greatest value is sought that fits the hours, the windows and the fuel, and among
    those the one with least travel. Up to ten stops the plan is the best there is; for more, a routing library searches
    and own moves go over what it finds. The same input and seed give the same plan on every machine.

    A spot can be fished in the hours that verdicts (from fishable) allow, between civil dawn and dusk, and as you wish
    (--windows "Gull rock before 09:00"). Fuel keeps a reserve; with the default a third out, a third back, a third
    left.
    Each stop tells the latest time to turn back, and a plan B: the nearest open spot not in the plan, in the lee where
    that is known. left_out tells what adding a spot would cost; answers tells the best swaps and what half an hour less
    or more would change. To plan again on the water, give how many stops are done and the time: --done 3 --at 10:40
    with all else as it was; or name them: --done "Gull rock".

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
        Verdicts by hour, from fishable; spots without any are open all day.
    level_m
        Today's surface minus chart datum; four feet down is -4ft.
    depart
        Earliest start from the ramp, with its zone, such as 2026-05-16T06:00-05:00.
    back_by
        Latest time back at the ramp, such as 14:00.
    start
        Name or id of the ramp to start from; by default the first.
    end
        Name or id of the ramp to end at; by default the start.
    value
        Value of a stop: a column, or columns, numbers, + - * / and brackets.
    must
        Spots, by id or name, that have to be in the plan.
    never
        Spots that must not be.
    windows
        Wishes of your own: "NAME before 09:00", "NAME after 14:00" or "NAME 09:00-11:00".
    stay_s
        Usual time fished at a stop.
    longest_stay_s
        Longest time fished at a stop, each further minute worth less; 0 for the usual time only.
    stays
        Usual time by kind, such as "hump 40min"; needs a column kind.
    setup_s
        Time to get into place and to leave, added at each stop.
    plane_s
        Time to get on plane and off again, added to each leg that is run.
    daylight_only
        Whether stops have to lie between civil dawn and dusk.
    fuel_l
        Fuel on board at the start of the day; the ways between what is done are taken off. Without it fuel plays no
        part.
    reserve
        Share of the fuel that is not to be used.
    engine_hp
        Rated horsepower, to estimate what the engine burns (common practice).
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
    beam_m
        Width of the boat.
    position_error_m
        How far the boat may be from where it seems to be (95 %).
    clearance_m
        Distance wanted from hazards, land and closed zones while running, beyond half the beam and the position error.
    idle_clearance_m
        The same at idle.
    run_speed_mps
        Speed on plane.
    idle_speed_mps
        Speed at idle, and within slow zones that state none.
    launch_m
        How far from the ramp the water that the boat can use may begin.
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
    Search: `castshed.toolbox.water.day_search`. Times count slow zones at the speed of the slowest and are rounded up.
    What makes the plan wrong: fish, traffic at the ramp, wind against what was forecast. The worth of a longer stay is
    an assumed form. Burn from horsepower is a rule of thumb; watch the gauge.
    """
    import geopandas as gpd
    import numpy as np
    import pandas as pd

    from castshed.toolbox.errors import NoSafeWay, NothingFishable, UsageError
    from castshed.toolbox.report import progress
    from castshed.toolbox.units import GALLON_L
    from castshed.toolbox.water.afloat import Handling, set_afloat
    from castshed.toolbox.water.day_answers import conflict
    from castshed.toolbox.water.day_offers import (
        spot_of,
        stays_by_kind,
        stays_of,
        stops_counted,
        wished_windows,
        worth_of,
    )
    from castshed.toolbox.water.day_search import best_day
    from castshed.toolbox.water.day_task import END, FAR, START, VALUE_STEP, DayTask, timed, whole_up
    from castshed.toolbox.water.ramps import ramp_of, require_entry
    from castshed.toolbox.water.run import pieces_of
    from castshed.toolbox.water.run_layers import (
        best_holds,
        clock_of,
        left_out_frame,
        legs_frame,
        places_frame,
        stops_frame,
        with_names,
    )
    from castshed.toolbox.water.sun import middle_of
    from castshed.toolbox.water.sun_side import sun_at

    handling = Handling.of_boat(
        beam_m=beam_m,
        position_error_m=position_error_m,
        clearance_m=clearance_m,
        idle_clearance_m=idle_clearance_m,
        run_speed_mps=run_speed_mps,
        idle_speed_mps=idle_speed_mps,
        launch_m=launch_m,
    )
    if stay_s <= 0.0:
        raise UsageError("stay must be above 0.")
    if days < 1 or (days > 1 and done):
        raise UsageError("days must be 1 or more, and 1 when a day is planned again with --done.")
    begin = clock_of(depart)
    if begin is None:
        raise UsageError("depart is empty; write date, time and zone, such as 2026-05-16T06:00-05:00.")
    over = _moment(back_by, begin, "back-by")
    now = _moment(at, begin, "at") if at else begin
    if over <= now:
        raise NothingFishable(
            f"What must be does not fit together: start at {now:%H:%M}; back by {over:%H:%M}. Give a later end."
        )
    if fuel_l is not None and run_burn_lph is None and engine_hp == 0:
        raise UsageError("fuel is given but not what the engine burns; give --run-burn or --engine-hp.")
    run_lph = engine_hp / 10.0 * GALLON_L * _CRUISE_SHARE if run_burn_lph is None else run_burn_lph
    idle_lph = engine_hp * _IDLE_LPH_A_HP if idle_burn_lph is None else idle_burn_lph
    first = ramp_of(ramps, start, level_m, "start")
    last = ramp_of(ramps, end, level_m, "end") if end else first
    one_ramp = last is first

    usable = with_names(best_holds(holds))
    ok = usable["status"] == "ok"
    candidates = usable[ok].reset_index(drop=True)
    if candidates.empty:
        raise NoSafeWay("There is no hold of status ok to run to; see the reasons in the holds layer.")
    find = {
        str(word).casefold(): str(spot)
        for column in ("name", "spot_id")
        for word, spot in zip(candidates[column], candidates["spot_id"], strict=True)
    }
    spots = [str(spot) for spot in candidates["spot_id"]]
    row_of = {spot: row for row, spot in enumerate(spots)}
    wishes = wished_windows(windows, find, begin)
    counted = stops_counted(done, find)
    finished = [row_of[spot_of(word, find)] for word in done] if counted is None else []
    banned = {row_of[spot_of(word, find)] for word in never}
    wanted = {row_of[spot_of(word, find)] for word in must}
    if both_ := sorted(spots[row] for row in wanted & banned):
        raise UsageError(f"{', '.join(both_)} must be in the plan and must not be; decide on one.")
    worth = worth_of(candidates, value)
    usual = stays_by_kind(candidates, stays, stay_s)

    with progress("Planning the day", 5) as step:
        held = candidates.geometry.to_numpy()
        ramp_points = [first.geometry] if one_ramp else [first.geometry, last.geometry]
        today = None if depth is None else depth.shifted(level_m)
        afloat = set_afloat(ramp_points, held, water, hazards, zones, today, handling)
        for ramp, point, entry in zip((first, last), ramp_points, afloat.entries, strict=False):
            require_entry(ramp["name"] or ramp["ramp_id"], point, entry, afloat.idling)
        step(1)
        found = afloat.ways(held)
        step(1)
        here = len(ramp_points)
        light, sun = _daylight(candidates, begin, days)
        spans = _windows(spots, verdicts, wishes, light if daylight_only else [(-np.inf, np.inf)], begin)

        run_m = found.distance_m - found.idle_m
        travel = found.time_s + np.where(np.nan_to_num(run_m, posinf=0.0) > 1.0, plane_s, 0.0)
        idle_s = found.idle_m / idle_speed_mps
        burnt_l = (np.maximum(found.time_s - idle_s, 0.0) * run_lph + idle_s * idle_lph) / 3600.0
        burnt_l[~np.isfinite(travel)] = np.inf

        def day_from(gone: Sequence[int], moment: pd.Timestamp) -> tuple[DayTask, list[int], Any, Any]:
            """Make the task when some stops are done; also tell the rows open to it, its places and what it reaches."""
            begins_at = here + gone[-1] if gone else 0
            reachable = np.isfinite(found.time_s[begins_at, here:]) & np.isfinite(
                found.time_s[here:, here - 1]
            )
            open_rows = [
                row
                for row in range(len(candidates))
                if reachable[row] and row not in banned and row not in gone and spans[row]
            ]
            # Places of the task: where the day goes on from, where it ends, then every hold.
            rows = np.array([begins_at, here - 1, *range(here, here + len(candidates))])
            offers = [
                (2 + row, length + setup_s, opens, closes, worth[row] * share)
                for row in open_rows
                for length, share in stays_of(usual[row], longest_stay_s)
                for opens, closes in spans[row]
            ]
            way = [0, *(here + row for row in gone)]
            spent_l = float(burnt_l[way[:-1], way[1:]].sum())
            table = np.array(offers, dtype=float).reshape(-1, 5)
            task = DayTask(
                travel_s=whole_up(travel[np.ix_(rows, rows)], symmetric=True),
                fuel_ml=whole_up(1000.0 * burnt_l[np.ix_(rows, rows)], symmetric=True),
                stop=table[:, 0].astype(np.int64),
                stay_s=np.ceil(table[:, 1]).astype(np.int64),
                opens_s=np.ceil(np.clip(table[:, 2], -1e6, 1e8)).astype(np.int64),
                closes_s=np.floor(np.clip(table[:, 3], -1.0, 1e8)).astype(np.int64),
                worth=np.rint(table[:, 4] / VALUE_STEP).astype(np.int64),
                must=frozenset(2 + row for row in wanted - set(gone)),
                begin_s=int(np.ceil((moment - begin).total_seconds())),
                over_s=int((over - begin).total_seconds()),
                fuel_limit_ml=FAR
                if fuel_l is None
                else int(1000.0 * max(fuel_l * (1.0 - reserve) - spent_l, 0.0)),
                days=days,
            )
            return task, open_rows, rows, reachable

        if counted is not None:
            whole, *_ = day_from([], begin)
            (along,) = best_day(whole, seed=seed)
            if counted > len(along):
                raise UsageError(
                    f"done is {counted}, but the plan has {len(along)} stops; give fewer, or name the spots."
                )
            finished = [int(whole.stop[offer]) - 2 for offer in along[:counted]]
        begins_at = here + finished[-1] if finished else 0
        if not np.isfinite(found.time_s[begins_at, here - 1]):
            raise NoSafeWay(
                f"No safe way leads back to {last['name'] or last['ramp_id']}: {found.reason[here - 1]}."
            )
        task, open_rows, rows, reachable = day_from(finished, now)
        names = ["", "", *candidates["name"].astype(str)]
        routes = best_day(task, seed=seed, progress=step)
        met = {int(task.stop[offer]) for route in routes for offer in route}
        if task.must - met or not met:
            told = {
                "hours": f"back by {over:%H:%M}",
                "fuel": "the fuel reserve",
                "windows": "the windows of those stops",
            }
            rules = conflict(task, seed=seed) if task.must - met else []
            lost = [names[place] for place in sorted(task.must - set(task.offers_of))]
            said = (
                f"{', '.join(lost)} can't be reached or has no window"
                if lost
                else _in_words(rules, names, told)
            )
            raise NothingFishable(
                f"What must be does not fit together: {said}. Give up one of them."
                if task.must - met
                else f"No stop fits between {now:%H:%M} and {over:%H:%M}. Look at hours, windows, stay and fuel."
            )
        rows_told, why = _answers(task, routes, names, seed=seed)
        step(1)

        around = afloat.surroundings(depth, level_m)
        places = places_frame([first] if one_ramp else [first, last], candidates)
        instead = _plan_b(
            candidates, {place - 2 for place in met}, set(open_rows), found.time_s[here:, here:]
        )
        all_stops, all_legs = [], []
        for number, route in enumerate(routes, start=1):
            clock = timed(task, route)
            if clock is None or not route:
                continue
            visited = [int(task.stop[offer]) for offer in route]
            order = np.array([rows[START], *(rows[place] for place in visited), rows[END]])
            pieces = pieces_of(found, order, afloat.launches())
            legs = legs_frame(
                pieces, places["spot_id"].to_list(), around, run_speed_mps, idle_speed_mps, water.crs
            )
            begins = [begin + pd.Timedelta(seconds=int(s)) for s in clock.begins_s]
            leaves = [
                one + pd.Timedelta(seconds=int(task.stay_s[offer]))
                for one, offer in zip(begins, route, strict=True)
            ]
            home = begin + pd.Timedelta(seconds=int(clock.over_s))
            turn_back = [
                (over - pd.Timedelta(seconds=int(task.travel_s[place, END]))).isoformat(timespec="seconds")
                for place in visited
            ]
            second = [instead.get(place - 2) for place in visited]
            stops = stops_frame(
                places,
                order,
                here,
                (
                    [None, *begins, home],
                    [begin + pd.Timedelta(seconds=int(clock.starts_s)), *leaves, None],
                ),
                {
                    "day": np.full(len(order), number),
                    "stay_s": [0.0, *(float(task.stay_s[offer]) for offer in route), 0.0],
                    "worth": [0.0, *(float(task.worth[offer]) * VALUE_STEP for offer in route), 0.0],
                    "turn_back": np.array(["", *turn_back, ""], dtype=object),
                    "plan_b": np.array(
                        ["", *("" if k is None else spots[k] for k in second), ""], dtype=object
                    ),
                },
            )
            all_stops.append(stops)
            all_legs.append(legs.assign(day=number))
        step(1)

    reasons = []
    for row in range(len(candidates)):
        if 2 + row in met:
            continue
        if row in finished:
            reasons.append((row, "done"))
        elif row in banned:
            reasons.append((row, "not wanted"))
        elif not reachable[row]:
            reasons.append(
                (row, f"out of reach: {found.reason[here + row] or 'no way leads there and back'}")
            )
        elif not spans[row]:
            reasons.append((row, "no hour of the day allows it"))
        else:
            reasons.append((row, why.get(2 + row, "does not fit")))
    none = usable[~ok].reset_index(drop=True)
    left = pd.concat(
        [
            left_out_frame(candidates, [row for row, _ in reasons], [words for _, words in reasons]),
            left_out_frame(none, range(len(none)), [f"no hold: {words}" for words in none["reason"]]),
        ],
        ignore_index=True,
    )
    if finished:
        rows_told.append(("done", ", ".join(names[2 + row] or spots[row] for row in finished)))
    total = [timed(task, route) for route in routes if route]
    burnt = sum(one.fuel_ml for one in total if one is not None) / 1000.0
    rows_told.append(("worth", f"{sum(one.worth for one in total if one is not None) * VALUE_STEP:.4g}"))
    if run_lph > 0.0:
        rows_told.append(("fuel", f"{burnt:.0f} L ({burnt / GALLON_L:.1f} gal) for the ways"))
    here_deg = middle_of(candidates.total_bounds, candidates.crs)
    for word in ("dawn", "rise", "set", "dusk"):
        moment = getattr(sun, word)
        if moment is not None:
            low = f", at {sun_at(moment, *here_deg).bearing_deg:03.0f} deg" if word in ("rise", "set") else ""
            rows_told.append((f"sun {word}", f"{moment:%H:%M}{low}"))
    answers = gpd.GeoDataFrame(
        {
            "question": np.array([question for question, _ in rows_told], dtype=object),
            "answer": np.array([answer for _, answer in rows_told], dtype=object),
        },
        geometry=[places.geometry.iloc[0]] * len(rows_told),
        crs=water.crs,
    )
    return DayPlan(
        gpd.GeoDataFrame(pd.concat(all_stops, ignore_index=True), geometry="geometry", crs=water.crs),
        gpd.GeoDataFrame(pd.concat(all_legs, ignore_index=True), geometry="geometry", crs=water.crs),
        gpd.GeoDataFrame(left, geometry=left.geometry.name, crs=holds.crs),
        answers,
    )
