"""Cheats against the proof of a run: a sound run is bent in one way each, and the proof has to refuse it.

Each cheat takes a `Given` (what prove-run is given, by name), changes its own copy and hands it back; None where the run
has nothing to bend in that way. Places of rocks and land are taken from the lake itself.
"""

from __future__ import annotations

import warnings

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import shapely.affinity

import verifier

Given = dict


def _row(legs, part="run", longest=True):
    """The longest leg of a part, by position; None where there is none."""
    rows = np.flatnonzero((legs["part"] == part).to_numpy())
    return None if not len(rows) else int(rows[np.argmax(legs.geometry.length.to_numpy()[rows])])


def _put(frame, row, line=None, **cells):
    made = frame.copy()
    if line is not None:
        shapes = made.geometry.to_numpy().copy()
        shapes[row] = line
        made = made.set_geometry(gpd.GeoSeries(shapes, index=made.index, crs=made.crs))
        if "distance_m" in made.columns:
            made.iloc[row, made.columns.get_loc("distance_m")] = float(shapely.length(line))
    for name, value in cells.items():
        made[name] = made[name].astype(object) if isinstance(value, str) else made[name]
        made.iloc[row, made.columns.get_loc(name)] = value
    return made


def _bent(given, **changes):
    return given | changes


def _legs_through(given, place, stop=1):
    """Stop and legs moved to a place together, so that everything joins."""
    xy = (place.x, place.y)
    legs = given["legs"]
    for row in range(len(legs)):
        points = shapely.get_coordinates(legs.geometry.iloc[row])
        old = shapely.get_coordinates(given["stops"].geometry.iloc[stop])[0]
        for end in (0, -1):
            if np.hypot(*(points[end] - old)) < 1e-6:
                points[end] = xy
        if (
            shapely.linestrings(points).length > 0
            and (points != shapely.get_coordinates(legs.geometry.iloc[row])).any()
        ):
            legs = _put(legs, row, shapely.linestrings(points))
    return _bent(given, stops=_put(given["stops"], stop, place), legs=legs)


def _with_hold_at(given, place):
    moved = _legs_through(given, place)
    spot = given["stops"]["spot_id"].iloc[1]
    rows = np.flatnonzero((given["holds"]["spot_id"] == spot) & (given["holds"]["status"] == "ok"))
    return _bent(moved, holds=_put(given["holds"], int(rows[0]), place))


def _rock(given):
    """A place in the middle of an idle hazard."""
    idle = given["hazards"][given["hazards"]["care"] == "idle"].geometry
    return idle.iloc[int(np.argmax(idle.area.to_numpy()))].representative_point()


def _land(given):
    west, south, _, north = given["water"].total_bounds
    return shapely.Point(west - 300.0, (south + north) / 2.0)


def stop_250_m_away(g):
    return _bent(
        g, stops=_put(g["stops"], 1, shapely.affinity.translate(g["stops"].geometry.iloc[1], 250.0, 0.0))
    )


def stop_onto_a_rock(g):
    return _bent(g, stops=_put(g["stops"], 1, _rock(g)))


def stop_1_m_off_its_hold(g):
    return _bent(
        g, stops=_put(g["stops"], 1, shapely.affinity.translate(g["stops"].geometry.iloc[1], 0.6, 0.8))
    )


def stop_doubled(g):
    doubled = pd.concat([g["stops"].iloc[:2], g["stops"].iloc[1:]], ignore_index=True)
    return _bent(g, stops=doubled.assign(stop_no=range(len(doubled))))


def stop_with_the_number_of_another(g):
    return _bent(g, stops=pd.concat([g["stops"].iloc[:2], g["stops"].iloc[1:]], ignore_index=True))


def stop_dropped(g):
    left = g["stops"].drop(index=g["stops"].index[1])
    return _bent(g, stops=left.assign(stop_no=range(len(left))))


def stops_swapped(g):
    number = g["stops"]["stop_no"].to_list()
    if len(number) < 4:
        return None
    number[1], number[2] = number[2], number[1]
    return _bent(g, stops=g["stops"].assign(stop_no=number))


def stop_of_a_spot_nobody_knows(g):
    return _bent(g, stops=_put(g["stops"], 1, spot_id="nowhere"))


def stop_without_a_number_of_place(g):
    return _bent(g, stops=_put(g["stops"], 1, shapely.Point(np.nan, np.nan)))


def arrives_before_it_leaves(g):
    times = [f"2026-05-16T{18 - k:02d}:00:00-05:00" for k in range(len(g["stops"]))]
    return _bent(g, stops=g["stops"].assign(arrive=times, leave=times))


def arrives_sooner_than_the_leg_takes(g):
    at = [f"2026-05-16T06:00:{k:02d}-05:00" for k in range(len(g["stops"]))]
    return _bent(g, stops=g["stops"].assign(arrive=at, leave=at))


def hold_on_a_rock(g):
    return _with_hold_at(g, _rock(g))


def hold_on_dry_land(g):
    return _with_hold_at(g, _land(g))


def hold_on_its_own_structure(g):
    spot = g["stops"]["spot_id"].iloc[1]
    return _with_hold_at(g, g["spots"].geometry[g["spots"]["spot_id"] == spot].iloc[0])


def hold_in_a_closed_zone(g):
    zone = g["stops"].geometry.iloc[1].buffer(5.0)
    zones = gpd.GeoDataFrame(
        {"zone": ["no_entry"], "speed_mps": [2.0], "reason": ["made"]}, geometry=[zone], crs=g["stops"].crs
    )
    return _bent(g, zones=zones)


def hold_said_to_be_deeper(g):
    return _bent(g, holds=g["holds"].assign(depth_today_m=g["holds"]["depth_today_m"] + 1.0))


def hold_that_is_none(g):
    return _bent(g, holds=g["holds"].assign(status="none"))


def holds_moved(g):
    return _bent(g, holds=g["holds"].set_geometry(g["holds"].translate(1.0)))


def launches_called_idle(g):
    if not (g["legs"]["part"] == "launch").any():
        return None
    return _bent(g, legs=g["legs"].assign(part=g["legs"]["part"].replace("launch", "idle")))


def launches_called_run(g):
    if not (g["legs"]["part"] == "launch").any():
        return None
    return _bent(g, legs=g["legs"].assign(part=g["legs"]["part"].replace("launch", "run")))


def every_leg_a_launch(g):
    return _bent(g, legs=g["legs"].assign(part="launch"))


def every_leg_a_launch_over_a_rock(g):
    made = straight_over_a_rock(g)
    return None if made is None else _bent(made, legs=made["legs"].assign(part="launch"))


def running_leg_called_idle(g):
    row = _row(g["legs"])
    return None if row is None else _bent(g, legs=_put(g["legs"], row, part="idle"))


def idle_leg_called_run(g):
    row = _row(g["legs"], "idle")
    return None if row is None else _bent(g, legs=_put(g["legs"], row, part="run"))


def leg_of_an_unknown_part(g):
    return _bent(g, legs=_put(g["legs"], _row(g["legs"]) or 0, part="drift"))


def _cut(line, step, gap):
    """A line as a chain of tiny pieces with gaps between them."""
    at = np.arange(0.0, 400.0) / 399.0 * line.length
    return [
        shapely.LineString(shapely.get_coordinates([line.interpolate(d), line.interpolate(min(d + step, line.length))]))
        for d in at[:-1]
    ] if gap else []  # fmt: skip


def leg_cut_at_1e_7_with_gaps(g):
    """A leg over a rock, of which only pieces of 1e-7 m are left."""
    made = straight_over_a_rock(g)
    if made is None:
        return None
    legs, row = made["legs"], made["row"]
    pieces = _cut(legs.geometry.iloc[row], 1e-7, gap=True)
    many = pd.concat([legs.iloc[[row]]] * len(pieces), ignore_index=True)
    many = many.set_geometry(gpd.GeoSeries(pieces, crs=legs.crs)).assign(
        distance_m=[p.length for p in pieces]
    )
    many["min_clearance_m"] = np.nan
    both = pd.concat([legs.iloc[:row], many, legs.iloc[row + 1 :]], ignore_index=True)
    return _bent({k: v for k, v in made.items() if k != "row"}, legs=both)


def leg_creeping_over_a_rock_at_1e_7(g):
    """Joined pieces of 1e-7 m that wander off sideways from the end of a leg, each too small to be seen alone."""
    legs = g["legs"]
    row = _row(legs)
    if row is None:
        return None
    x, y = shapely.get_coordinates(legs.geometry.iloc[row])[-1]
    pieces = []
    for k in range(300):
        side = 9e-7 * k
        pieces.append(shapely.LineString([(x + side, y), (x + side + 1e-7, y)]))
    many = pd.concat([legs.iloc[[row]]] * len(pieces), ignore_index=True)
    many = many.set_geometry(gpd.GeoSeries(pieces, crs=legs.crs)).assign(
        distance_m=[p.length for p in pieces], time_s=1.0
    )
    return _bent(g, legs=pd.concat([legs.iloc[: row + 1], many, legs.iloc[row + 1 :]], ignore_index=True))


def straight_over_a_rock(g):
    """A running leg led over the middle of a hazard; joins, and says how long it is."""
    row = _row(g["legs"])
    if row is None:
        return None
    ends = shapely.get_coordinates(g["legs"].geometry.iloc[row])[[0, -1]]
    line = shapely.LineString([ends[0], (_rock(g).x, _rock(g).y), ends[1]])
    return _bent(g, legs=_put(g["legs"], row, line, min_clearance_m=np.nan, min_depth_m=np.nan), row=row)


def corner_cut(g):
    """A vertex dropped where the straight line no longer keeps clear."""
    legs = g["legs"]
    keep = g["clearance_m"] + g["beam_m"] / 2.0 + g["fix_error_m"]
    off = shapely.union_all(
        [*g["hazards"].geometry, *g["zones"].geometry[g["zones"]["zone"] != "slow"], *g["water"].boundary]
    )
    for row in np.flatnonzero((legs["part"] == "run").to_numpy()):
        xy = shapely.get_coordinates(legs.geometry.iloc[row])
        for at in range(1, len(xy) - 1):
            line = shapely.LineString(np.delete(xy, at, axis=0))
            if shapely.distance(line, off) < keep - 1e-3:
                return _bent(g, legs=_put(legs, int(row), line, min_clearance_m=np.nan))
    return None


def leg_sideways(g):
    row = _row(g["legs"])
    if row is None:
        return None
    return _bent(
        g, legs=_put(g["legs"], row, shapely.affinity.translate(g["legs"].geometry.iloc[row], 0.01, 0.0))
    )


def legs_in_another_order(g):
    number = g["legs"]["leg_no"].to_numpy().copy()
    one, other = number == 1, number == 2
    number[one], number[other] = 2, 1
    return _bent(g, legs=g["legs"].assign(leg_no=number))


def leg_missing(g):
    return _bent(g, legs=g["legs"].drop(index=g["legs"].index[len(g["legs"]) // 2]))


def all_legs_missing(g):
    return _bent(g, legs=g["legs"].iloc[:0])


def leg_doubled(g):
    row = len(g["legs"]) // 2
    return _bent(g, legs=pd.concat([g["legs"].iloc[: row + 1], g["legs"].iloc[row:]], ignore_index=True))


def leg_reversed(g):
    row = _row(g["legs"]) or 0
    return _bent(g, legs=_put(g["legs"], row, shapely.reverse(g["legs"].geometry.iloc[row])))


def goal_forged(g):
    return _bent(g, legs=_put(g["legs"], 0, to_id="elsewhere"))


def origin_forged(g):
    return _bent(g, legs=g["legs"].assign(from_id="elsewhere"))


def numbers_of_legs_shifted(g):
    return _bent(g, legs=g["legs"].assign(leg_no=g["legs"]["leg_no"] + 1))


def length_falsified(g):
    return _bent(g, legs=g["legs"].assign(distance_m=g["legs"]["distance_m"] * 0.9))


def depth_falsified(g):
    return _bent(g, legs=_put(g["legs"], _row(g["legs"]) or 0, min_depth_m=99.0))


def depth_of_a_launch_falsified(g):
    row = _row(g["legs"], "launch")
    return None if row is None else _bent(g, legs=_put(g["legs"], row, min_depth_m=8.0))


def clearance_falsified(g):
    return _bent(g, legs=_put(g["legs"], _row(g["legs"]) or 0, min_clearance_m=1e4))


def time_of_a_leg_falsified(g):
    return _bent(g, legs=_put(g["legs"], _row(g["legs"]) or 0, time_s=0.0))


def hazards_emptied(g):
    return _bent(_closest(g), hazards=g["hazards"].iloc[:0])


def thin_water_left_out(g):
    """A leg led nearer to the thin water that its layer no longer shows."""
    return _bent(_closest(g), hazards=g["hazards"][g["hazards"]["cause"] != "bottom"])


def _closest(g):
    """A leg bent to where a cell is thin, though not quite to it."""
    made = straight_over_a_rock(g)
    return g if made is None else {k: v for k, v in made.items() if k != "row"}


def level_of_another_day(g):
    return _bent(g, level_m=g["level_m"] + 0.4)


def water_of_another_level(g):
    return _bent(g, water=g["water"].assign(level_m=g["level_m"] + 1.0))


def hazards_of_another_level(g):
    return _bent(g, hazards=g["hazards"].assign(level_m=g["level_m"] - 1.0))


def leg_of_no_number(g):
    row = _row(g["legs"]) or 0
    xy = shapely.get_coordinates(g["legs"].geometry.iloc[row]).copy()
    xy = np.insert(xy, 1, (np.nan, np.nan), axis=0)
    with np.errstate(invalid="ignore"):
        line = shapely.linestrings(xy)
    said = float(g["legs"]["distance_m"].iloc[row])
    return _bent(g, legs=_put(g["legs"], row, line, distance_m=said))


def heights_that_lengthen_a_leg(g):
    row = _row(g["legs"]) or 0
    xy = shapely.get_coordinates(g["legs"].geometry.iloc[row])
    z = np.zeros(len(xy))
    z[-1] = 1000.0
    line = shapely.linestrings(np.column_stack([xy, z]))
    said = float(np.sqrt(np.square(np.diff(np.column_stack([xy, z]), axis=0)).sum(axis=1)).sum())
    return _bent(g, legs=_put(g["legs"], row, line, distance_m=said))


def leg_of_two_parts_with_a_gap(g):
    row = _row(g["legs"]) or 0
    line = g["legs"].geometry.iloc[row]
    from shapely.ops import substring

    two = shapely.MultiLineString([substring(line, 0.0, 0.4, True), substring(line, 0.6, 1.0, True)])
    return _bent(g, legs=_put(g["legs"], row, two))


def leg_without_geometry(g):
    return _bent(g, legs=_put(g["legs"], _row(g["legs"]) or 0, shapely.LineString()))


def closed_zone_across_a_leg(g):
    row = _row(g["legs"]) or 0
    middle = g["legs"].geometry.iloc[row].interpolate(0.5, normalized=True)
    zone = gpd.GeoDataFrame(
        {"zone": ["no_entry"], "speed_mps": [2.0], "reason": ["made"]},
        geometry=[middle.buffer(3.0)],
        crs=g["legs"].crs,
    )
    return _bent(g, zones=zone)


def closed_zone_across_a_launch(g):
    row = _row(g["legs"], "launch")
    if row is None:
        return None
    middle = g["legs"].geometry.iloc[row].interpolate(0.5, normalized=True)
    zone = gpd.GeoDataFrame(
        {"zone": ["no_motor"], "speed_mps": [2.0], "reason": ["made"]},
        geometry=[middle.buffer(0.5)],
        crs=g["legs"].crs,
    )
    return _bent(g, zones=zone)


def _more_hazards(g, shape):
    # Of the cause of a rock, as the command draws it; the first row lends the other columns.
    one = g["hazards"][g["hazards"]["care"] == "idle"].iloc[[0]]
    one = one.set_geometry(gpd.GeoSeries([shape], index=one.index, crs=one.crs)).assign(
        cause="charted", hazard_id="rock"
    )
    return pd.concat([g["hazards"], one], ignore_index=True)


def rock_in_a_launch(g):
    row = _row(g["legs"], "launch")
    if row is None:
        return None
    return _bent(
        g,
        hazards=_more_hazards(g, g["legs"].geometry.iloc[row].interpolate(0.5, normalized=True).buffer(1.0)),
    )


def launch_led_round_by_land(g):
    row = _row(g["legs"], "launch")
    if row != 0:
        return None
    a, b = shapely.get_coordinates(g["legs"].geometry.iloc[0])[[0, -1]]
    way = shapely.LineString([a, b, a + (a - b) / np.hypot(*(a - b)) * 20.0, b])
    return _bent(g, legs=_put(g["legs"], 0, way, min_depth_m=np.nan, min_clearance_m=np.nan))


def launch_goes_on(g):
    """The first launch swallows what comes after it, as far as it may be long."""
    from shapely.ops import substring

    legs = g["legs"]
    own = int((legs["leg_no"] == legs["leg_no"].iloc[0]).sum())
    if legs["part"].iloc[0] != "launch" or own < 2:
        return None
    way = shapely.linestrings(
        np.concatenate(
            [shapely.get_coordinates(line)[k > 0 :] for k, line in enumerate(legs.geometry.iloc[:own])]
        )
    )
    at = min(140.0, 0.9 * way.length)
    if at < legs.geometry.iloc[0].length + 40.0:
        return None
    made = _put(legs, 0, substring(way, 0.0, at), min_clearance_m=np.nan, min_depth_m=np.nan)
    made = _put(made, own - 1, substring(way, at, way.length))
    return _bent(g, legs=made.drop(index=made.index[1 : own - 1]))


def _wall(g, ring):
    line = g["legs"].geometry.iloc[_row(g["legs"]) or 0]
    at = line.interpolate(0.5, normalized=True)
    return _bent(g, hazards=_more_hazards(g, shapely.Polygon([(at.x + dx, at.y + dy) for dx, dy in ring])))


def self_crossing_hazard(g):
    return _wall(g, [(-2, -2), (2, 2), (2, -2), (-2, 2)])


def doubly_wound_hazard(g):
    square = [(-2, -2), (2, -2), (2, 2), (-2, 2)]
    return _wall(g, [*square, *square])


def spike_of_a_hazard(g):
    return _wall(g, [(300, 0), (310, 0), (310, 10), (300, 10), (300, 0.5), (-20, 0.5), (300, 0.5)])


def ramp_moved(g):
    there = shapely.affinity.translate(g["stops"].geometry.iloc[0], 40.0, 40.0)
    stops = _put(_put(g["stops"], 0, there), len(g["stops"]) - 1, there)
    legs = g["legs"]
    for row, end in ((0, 0), (len(legs) - 1, -1)):
        xy = shapely.get_coordinates(legs.geometry.iloc[row]).copy()
        xy[end] = (there.x, there.y)
        legs = _put(legs, row, shapely.linestrings(xy))
    return _bent(g, stops=stops, legs=legs)


def ends_at_a_hold(g):
    last = len(g["stops"]) - 1
    return _bent(g, stops=g["stops"].iloc[:last], legs=g["legs"][g["legs"]["leg_no"] < last])


def ramp_out_of_use(g):
    return _bent(g, ramps=g["ramps"].assign(min_level_m=g["level_m"] + 0.5))


CHEATS = {
    one.__name__: one
    for one in (
        stop_250_m_away, stop_onto_a_rock, stop_1_m_off_its_hold, stop_doubled, stop_with_the_number_of_another,
        stop_dropped, stops_swapped, stop_of_a_spot_nobody_knows, stop_without_a_number_of_place,
        arrives_before_it_leaves, arrives_sooner_than_the_leg_takes, hold_on_a_rock, hold_on_dry_land,
        hold_on_its_own_structure, hold_in_a_closed_zone, hold_said_to_be_deeper, hold_that_is_none, holds_moved,
        launches_called_idle, launches_called_run, every_leg_a_launch, every_leg_a_launch_over_a_rock,
        running_leg_called_idle, idle_leg_called_run, leg_of_an_unknown_part, leg_cut_at_1e_7_with_gaps,
        leg_creeping_over_a_rock_at_1e_7, straight_over_a_rock, corner_cut, leg_sideways, legs_in_another_order,
        leg_missing, all_legs_missing, leg_doubled, leg_reversed, goal_forged, origin_forged, numbers_of_legs_shifted,
        length_falsified, depth_falsified, depth_of_a_launch_falsified, clearance_falsified, time_of_a_leg_falsified,
        hazards_emptied, thin_water_left_out, level_of_another_day, water_of_another_level, hazards_of_another_level,
        leg_of_no_number, heights_that_lengthen_a_leg, leg_of_two_parts_with_a_gap, leg_without_geometry,
        closed_zone_across_a_leg, closed_zone_across_a_launch, rock_in_a_launch, launch_led_round_by_land,
        launch_goes_on, self_crossing_hazard, doubly_wound_hazard, spike_of_a_hazard, ramp_moved, ends_at_a_hold,
        ramp_out_of_use,
    )
}  # fmt: skip


def sound_case(seed):
    """What prove-run is given for a run that holds, on a lake left to chance; None where there is no run to prove."""
    from castshed.algorithms.water_today import water_today

    case = verifier.made_case(seed)
    plan = None if case is None else verifier.planned(case)
    if plan is None:
        return None
    run, holds, hazards = plan
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        today = water_today(case.depth, case.shoreline, level_m=case.level_m)
    return {
        "stops": run.stops, "legs": run.legs, "holds": holds, "water": today.water, "hazards": hazards,
        "zones": case.zones, "dry_ground": today.dry_ground, "spots": case.spots, "ramps": case.ramps,
        "depth": case.depth, "level_m": case.level_m, "draft_m": case.draft_m, "running_depth_m": case.running_m,
        "margin_m": verifier.MARGIN_M, "level_error_m": verifier.LEVEL_ERROR_M, "beam_m": verifier.BEAM_M,
        "fix_error_m": verifier.POSITION_M, "clearance_m": case.clearance_m,
    }  # fmt: skip


def refused(given):
    """Why the proof refuses what it is given; empty where it passes."""
    from castshed.algorithms.prove_run import prove_run
    from castshed.toolbox.errors import CastshedError

    options = {name: value for name, value in given.items() if name != "row"}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            prove_run(**options)
        except CastshedError as error:
            return str(error)
    return ""


def run_cheats(seed, sound_runs=500, tell=None):
    """Bend sound runs in every way, and prove as many sound ones unbent.

    Returns
    -------
    dict
        ``cheats`` kinds tried, ``cheats_caught`` kinds caught in every run they were tried on, ``cheats_missed`` the
        others, ``sound`` runs proved as they are, ``sound_refused`` of them refused, with ``sound_reasons``.
    """
    tried, missed, sound, reasons, number = {}, {}, 0, [], seed * 100_003
    while sound < sound_runs:
        number += 1
        given = sound_case(number)
        if given is None:
            continue
        sound += 1
        if why := refused(given):
            reasons.append(f"lake {number}: {why}")
            continue
        # Each kind on a few lakes: where it can be tried at all, and on more than one.
        for name, cheat in CHEATS.items():
            if tried.get(name, 0) >= 3:
                continue
            bent = cheat(dict(given))
            if bent is None:
                continue
            tried[name] = tried.get(name, 0) + 1
            if not refused(bent):
                missed.setdefault(name, []).append(number)
        if tell is not None and sound % 20 == 0:
            tell(
                f"cheats: {len(tried)} kinds, {len(missed)} missed; {sound} sound runs, {len(reasons)} refused"
            )
    return {
        "cheats": len(tried),
        "cheats_caught": len(tried) - len(missed),
        "cheats_missed": missed,
        "sound": sound,
        "sound_refused": len(reasons),
        "sound_reasons": reasons[:10],
    }
