"""Order holds into a shortest run over safe water, from ramp to ramp."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Count,
    Depth,
    Duration,
    Holds,
    LeftOut,
    Legs,
    Length,
    Level,
    Ramps,
    ShallowHazards,
    Speed,
    Stops,
    Water,
    Words,
    Zones,
)

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from castshed.toolbox.water.run import Piece, Surroundings


class ShortestRun(NamedTuple):
    """What shortest-run makes."""

    stops: Stops
    legs: Legs
    left_out: LeftOut


def _ramp(ramps: GeoDataFrame, told: str, level_m: float, what: str) -> Any:
    """Find a ramp by id or name; the first one when none is named."""
    from castshed.toolbox.errors import NoSafeWay, UsageError
    from castshed.toolbox.units import in_words

    there = ", ".join(
        f"{row.ramp_id} ({row.name})" if row.name else row.ramp_id for row in ramps.itertuples(index=False)
    )
    fits = (
        ramps
        if not told
        else ramps[(ramps["ramp_id"] == told) | (ramps["name"].str.casefold() == told.casefold())]
    )
    if fits.empty:
        raise UsageError(f"{what} is '{told}'; there is no such ramp. Choose one of: {there}.")
    ramp = fits.iloc[0]
    if level_m < ramp["min_level_m"]:
        usable = ramps[~(level_m < ramps["min_level_m"])]
        others = ", ".join(usable["name"].where(usable["name"] != "", usable["ramp_id"])) or "none"
        raise NoSafeWay(
            f"The ramp {ramp['name'] or ramp['ramp_id']} can't be used at {in_words(level_m, 'length')}: it needs "
            f"{in_words(float(ramp['min_level_m']), 'length')} or more. Ramps usable today: {others}."
        )
    return ramp


def _chosen(holds: GeoDataFrame, time_s: NDArray[np.float64], at_most: int) -> tuple[list[int], list[int]]:
    """Take the best by rating, then by time from the start, then by id; rows of holds taken and left."""
    import numpy as np
    import pandas as pd

    rating = (
        pd.to_numeric(holds["rating"], errors="coerce")
        if "rating" in holds
        else pd.Series(0.0, index=holds.index)
    )
    best = np.lexsort((holds["spot_id"].to_numpy(str), time_s, -rating.fillna(-1.0).to_numpy(float)))
    rows = [int(r) for r in best if np.isfinite(time_s[r])]
    return (rows, []) if at_most == 0 else (rows[:at_most], rows[at_most:])


def _clock(depart: str) -> pd.Timestamp | None:
    import pandas as pd

    from castshed.toolbox.errors import UsageError

    if not depart:
        return None
    try:
        at = pd.Timestamp(depart)
    except ValueError:
        at = None
    if at is None or pd.isna(at) or at.tzinfo is None:
        raise UsageError(f"depart is '{depart}'; write date, time and zone, such as 2026-05-16T06:00-05:00.")
    return at


def _legs_frame(
    pieces: list[Piece], ids: list[str], around: Surroundings, run_mps: float, idle_mps: float, crs: Any
) -> GeoDataFrame:
    import geopandas as gpd
    import numpy as np

    from castshed.toolbox.water.run import least_depths, nearest_along, slow_and_time

    lines = [piece.line for piece in pieces]
    nearest = nearest_along(pieces, around)
    slow_m, time_s = slow_and_time(pieces, around.slow, run_mps=run_mps, idle_mps=idle_mps)
    return gpd.GeoDataFrame(
        {
            "leg_no": np.array([piece.leg_no for piece in pieces], dtype=int),
            "part": np.array([piece.part for piece in pieces], dtype=object),
            "from_id": np.array([ids[piece.origin] for piece in pieces], dtype=object),
            "to_id": np.array([ids[piece.goal] for piece in pieces], dtype=object),
            "distance_m": np.array([line.length for line in lines], dtype=float),
            "slow_m": slow_m,
            "min_depth_m": least_depths(lines, around.depth, around.level_m),
            "min_clearance_m": nearest.distance_m,
            "nearest_hazard": nearest.name,
            "hazard_side": nearest.side,
            "hazard_at_m": nearest.along_m,
            "time_s": time_s,
        },
        geometry=lines,
        crs=crs,
    )


def _left_out(holds: GeoDataFrame, rows: list[int], reasons: list[str]) -> GeoDataFrame:
    made = holds.iloc[rows][["spot_id", "name", holds.geometry.name]].reset_index(drop=True)
    made["reason"] = reasons
    return made


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
    level_m: Level = 0.0,
    start: Words = "",
    end: Words = "",
    at_most: Count = 0,
    beam_m: Length = 2.4384,
    position_error_m: Length = 3.0,
    clearance_m: Length = 6.096,
    idle_clearance_m: Length = 0.0,
    run_speed_mps: Speed = 13.4112,
    idle_speed_mps: Speed = 2.2352,
    turning_radius_m: Length = 0.0,
    launch_m: Length = 150.0,
    at_each_s: Duration = 1500.0,
    depart: Words = "",
) -> ShortestRun:
    """Order holds into a shortest run over safe water, from ramp to ramp.

    Ways are exact shortest lines over the water that is safe for the boat: today's water without shallow hazards and
    closed zones, narrowed on every side by half the beam, the position error and the clearance wanted. A hold in water
    too thin to run in is reached at idle, as a piece of its own. The order starts from a networkx tour and is improved
    until neither turning a stretch round nor moving stops gains; up to fourteen stops it is the best there is.

    Each piece of a leg tells its least depth, what it passes nearest to, on which side, how far off and how far along.

    Holds that cannot be reached, and those beyond the number wanted, are in left_out with the reason. Of more holds
    than wanted the best rated are taken; of equal rating the nearer by time from the start, then by id.

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
    level_m
        Today's surface minus chart datum; four feet down is -4ft.
    start
        Name or id of the ramp to start from; by default the first.
    end
        Name or id of the ramp to end at; by default the start.
    at_most
        Greatest number of stops; 0 takes every hold.
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
    turning_radius_m
        Radius to which corners of running ways are rounded where there is room; 0 leaves them sharp.
    launch_m
        How far from the ramp the water that the boat can use may begin.
    at_each_s
        Time spent at each stop.
    depart
        When the boat leaves the ramp, with its zone, such as 2026-05-16T06:00-05:00; without it no clock times.

    Returns
    -------
    ShortestRun
        `stops` in order, the ramps first and last; `legs`, one row for each piece (part run, idle or launch) with
        its least depth and clearance; `left_out` with reasons.

    Raises
    ------
    NoSafeWay
        The ramp can't be used today, or no hold can be reached from it.
    UsageError
        No such ramp, or a speed of 0.

    Notes
    -----
    Ways: `castshed.toolbox.water.navigation`; order: `castshed.toolbox.water.tours`. What makes the result wrong:
    hazards nobody charted, a level other than that of the layers, and water that has silted since the survey.
    """
    import geopandas as gpd
    import numpy as np
    import pandas as pd
    import shapely

    from castshed.toolbox.errors import NoSafeWay, UsageError
    from castshed.toolbox.report import progress
    from castshed.toolbox.units import in_words
    from castshed.toolbox.water.afloat import Handling, set_afloat
    from castshed.toolbox.water.alongside import edges_to_keep_from
    from castshed.toolbox.water.run import Surroundings, pieces_of, rounded
    from castshed.toolbox.water.tours import tour

    if run_speed_mps <= 0.0 or idle_speed_mps <= 0.0:
        raise UsageError("run-speed and idle-speed must be above 0.")
    clock = _clock(depart)
    first = _ramp(ramps, start, level_m, "start")
    last = _ramp(ramps, end, level_m, "end") if end else first
    keep = beam_m / 2.0 + position_error_m

    with progress("Finding safe ways", 4) as step:
        usable = holds.reset_index(drop=True)
        if "name" not in usable.columns:
            usable["name"] = ""
        usable["name"] = usable["name"].where(usable["name"] != "", usable["spot_id"])
        ok = np.flatnonzero(usable["status"] == "ok")
        held = usable.geometry.iloc[ok].to_numpy()
        ramp_points = [first.geometry] if last is first else [first.geometry, last.geometry]
        handling = Handling(
            keep + idle_clearance_m, keep + clearance_m, run_speed_mps, idle_speed_mps, launch_m
        )
        today = None if depth is None else depth.shifted(level_m)
        afloat = set_afloat(ramp_points, held, water, hazards, zones, today, handling)
        step(1)
        for ramp, point, entry in zip((first, last), ramp_points, afloat.entries, strict=False):
            if entry is None:
                idling = afloat.idling
                away = (
                    "there is none"
                    if idling.is_empty
                    else in_words(shapely.distance(point, idling), "length")
                )
                raise NoSafeWay(
                    f"The ramp {ramp['name'] or ramp['ramp_id']} lies on dry ground or shut in today: the water this "
                    f"boat can use begins {away} away. Choose another ramp, a smaller clearance, or --launch if the "
                    "lane is known to be deep enough."
                )
        found = afloat.ways(held)
        step(1)
        entries = afloat.entries
        ramps_here = len(entries)
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

        around = Surroundings(
            edges_to_keep_from(water, hazards, zones, running=True),
            edges_to_keep_from(water, hazards, zones, running=False),
            afloat.slow,
            depth,
            level_m,
        )
        ids = [
            str(first["ramp_id"]),
            *([] if last is first else [str(last["ramp_id"])]),
            *candidates["spot_id"],
        ]
        launches = {
            k: shapely.LineString([point, entries[k]])
            for k, point in enumerate(ramp_points)
            if shapely.distance(point, entries[k]) > 0.0
        }
        pieces = pieces_of(found, order, launches) if len(order) > 1 else []
        if turning_radius_m > 0.0:
            pieces = rounded(pieces, afloat.running, turning_radius_m)
        legs = _legs_frame(pieces, ids, around, run_speed_mps, idle_speed_mps, water.crs)
        step(1)

    points = [*ramp_points, *candidates.geometry]
    names = [str(first["name"]), *([] if last is first else [str(last["name"])]), *candidates["name"]]
    stops = _stops_frame(order, ids, names, points, legs, candidates, ramps_here, clock, at_each_s, water.crs)
    none = np.flatnonzero(usable["status"] != "ok")
    left = pd.concat(
        [
            _left_out(
                candidates, cut_off, [f"out of reach: {found.reason[ramps_here + r]}" for r in cut_off]
            ),
            _left_out(
                usable, [int(r) for r in none], [f"no hold: {why}" for why in usable["reason"].iloc[none]]
            ),
            _left_out(candidates, beyond, [f"not among the {at_most} best rated"] * len(beyond)),
        ]
    )
    return ShortestRun(
        stops,
        legs,
        gpd.GeoDataFrame(left.reset_index(drop=True), geometry=holds.geometry.name, crs=holds.crs),
    )


def _stops_frame(
    order: NDArray[np.int64],
    ids: list[str],
    names: list[str],
    points: list[Any],
    legs: GeoDataFrame,
    candidates: GeoDataFrame,
    ramps_here: int,
    clock: pd.Timestamp | None,
    at_each_s: float,
    crs: Any,
) -> GeoDataFrame:
    import geopandas as gpd
    import numpy as np
    import pandas as pd

    travel = legs.groupby("leg_no")["time_s"].sum()
    arrive: list[str] = []
    leave: list[str] = []
    at = clock
    for number in range(len(order)):
        if at is not None and number > 0:
            at = at + pd.Timedelta(seconds=round(float(travel.get(number, 0.0))))
        arrive.append("" if at is None or number == 0 else at.isoformat(timespec="seconds"))
        if at is not None and 0 < number < len(order) - 1:
            at = at + pd.Timedelta(seconds=at_each_s)
        leave.append("" if at is None or number == len(order) - 1 else at.isoformat(timespec="seconds"))

    def from_hold(column: str) -> list[float]:
        if column not in candidates.columns:
            return [np.nan] * len(order)
        return [
            np.nan if row < ramps_here else float(candidates[column].iloc[row - ramps_here]) for row in order
        ]

    return gpd.GeoDataFrame(
        {
            "stop_no": np.arange(len(order)),
            "spot_id": np.array([ids[row] for row in order], dtype=object),
            "name": np.array([names[row] for row in order], dtype=object),
            "arrive": np.array(arrive, dtype=object),
            "leave": np.array(leave, dtype=object),
            "wind_mps": np.array(from_hold("wind_mps"), dtype=float),
            "wave_m": np.array(from_hold("wave_m"), dtype=float),
            "reason": np.array(["ramp" if row < ramps_here else "hold" for row in order], dtype=object),
        },
        geometry=[points[row] for row in order],
        crs=crs,
    )
