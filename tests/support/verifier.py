"""A run verified by another road: points strewn along each leg, held against the depth surface and the raw layers.

Shares no code with the planner or its last check: depths are interpolated here, distances are taken from points to the
layers, known hazards as they were charted and shallow ones as they were drawn, lengths by summing steps.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pyproj
import shapely
import shapely.affinity

STEP_M = 0.5
SLACK_M = 0.02  # a point every half metre may miss the nearest place of a straight edge by this much at 5 m and more
CRS = pyproj.CRS.from_epsg(32615)


@dataclass(frozen=True)
class Rules:
    """What the boat needs, in metres; worked out by hand from what was asked of the planner."""

    run_depth_m: float
    idle_depth_m: float
    hold_depth_m: float
    run_keep_m: float
    idle_keep_m: float
    launch_m: float
    run_speed_mps: float
    idle_speed_mps: float


def depth_at(values, west, north, cell_x, cell_y, x, y):
    """Bilinear between cell centres, by hand; NaN where a corner with a share is unknown."""
    rows, columns = values.shape
    u = np.clip((np.asarray(x) - west) / cell_x - 0.5, 0.0, columns - 1.0)
    v = np.clip((north - np.asarray(y)) / cell_y - 0.5, 0.0, rows - 1.0)
    c, r = np.minimum(u.astype(int), columns - 2), np.minimum(v.astype(int), rows - 2)
    a, b = u - c, v - r
    z = values.astype(float)
    top = z[r, c] * (1 - a) + np.where(a > 0, z[r, c + 1] * a, 0.0)
    low = z[r + 1, c] * (1 - a) + np.where(a > 0, z[r + 1, c + 1] * a, 0.0)
    return top * (1 - b) + np.where(b > 0, low * b, 0.0)


def strewn(line):
    """Points along a line every half metre and at its corners."""
    corners = np.asarray(line.coords)[:, :2]
    parts = []
    for start, end in zip(corners[:-1], corners[1:], strict=True):
        count = max(2, math.ceil(math.dist(start, end) / STEP_M) + 1)
        parts.append(start + np.linspace(0.0, 1.0, count)[:, None] * (end - start))
    return np.concatenate(parts)


def _gap(xy, areas):
    """Least distance of points to areas; 0 inside."""
    if not len(areas):
        return math.inf
    points = shapely.points(xy)
    return float(min(shapely.distance(points, area).min() for area in areas))


def _dry_gap(line, land, today, keep_m):
    """Least distance of a line to charted land that is not under water today, looked at every quarter of a metre."""
    near = shapely.intersection(line.buffer(keep_m), land)
    if near.is_empty:
        return math.inf
    west, south, east, north = near.bounds
    x, y = (a.ravel() for a in np.meshgrid(np.arange(west, east, 0.25), np.arange(south, north, 0.25)))
    inside = shapely.intersects_xy(near, x, y)
    places = np.column_stack([x[inside], y[inside]])
    dry = places[~(today(places) > 0)]
    return float(shapely.distance(shapely.points(dry), line).min()) if len(dry) else math.inf


def verify(
    stops, legs, holds, *, surface, level_m, shoreline, zones, known_hazards, hazards, rules, position_error_m
):
    """Everything that is wrong with a run, in words.

    Known hazards are taken at their charted top: one that leaves less water than the boat needs to run is kept from by
    its radius and the position error; hazards are those drawn for the case, whatever the planner made of them.
    """
    wrong = []
    grid = (surface.depth_m, surface.west_m, surface.north_m, surface.cell_x_m, surface.cell_y_m)

    def today(xy):
        return depth_at(*grid, xy[:, 0], xy[:, 1]) + level_m

    land = [
        shapely.difference(
            shapely.box(*shoreline.buffer(500.0).total_bounds), shapely.union_all(shoreline.geometry)
        )
    ]
    closed = list(zones.geometry[zones["zone"] != "slow"])
    slow = [(g, s if s > 0 else rules.idle_speed_mps) for g, s in
            zip(zones.geometry[zones["zone"] == "slow"], zones["speed_mps"][zones["zone"] == "slow"], strict=True)]  # fmt: skip
    rocks = []
    for shape, top, radius in zip(
        known_hazards.geometry, known_hazards["top_depth_m"], known_hazards["radius_m"], strict=True
    ):
        if not top + level_m >= rules.idle_depth_m:
            rocks.append((shape, radius + position_error_m, "idle"))
        elif not top + level_m >= rules.run_depth_m:
            rocks.append((shape, radius + position_error_m, "run"))
    at, last = None, len(legs) - 1
    for k, leg in enumerate(legs.itertuples(index=False)):
        name = f"piece {k} ({leg.part}, {leg.from_id} to {leg.to_id})"
        xy = strewn(leg.geometry)
        steps = float(np.hypot(*np.diff(xy, axis=0).T).sum())
        if abs(steps - leg.distance_m) > 1e-6 * max(steps, 1.0):
            wrong.append(f"{name} is {steps:.6f} m long, {leg.distance_m:.6f} is stated")
        if at is not None and math.dist(at, xy[0]) > 1e-6:
            wrong.append(f"{name} does not begin where the one before ended")
        at = xy[-1]
        if _gap(xy, closed) == 0.0:
            inside = shapely.intersects_xy(shapely.union_all(closed).buffer(-1e-6), xy[:, 0], xy[:, 1])
            if inside.any():
                wrong.append(f"{name} enters a closed zone")
        if leg.part == "launch":
            if k not in (0, last) or steps > rules.launch_m + 1e-6:
                wrong.append(f"{name} is no launch")
            continue
        running = leg.part == "run"
        need = rules.run_depth_m if running else rules.idle_depth_m
        keep = rules.run_keep_m if running else rules.idle_keep_m
        least = float(np.min(today(xy)))  # NaN if any is not known
        if not least >= need - 1e-3:
            wrong.append(f"{name} crosses {least:.3f} m of water, {need:.3f} is needed")
        if leg.min_depth_m == leg.min_depth_m and least < leg.min_depth_m - 1e-3:
            wrong.append(f"{name} states a least depth of {leg.min_depth_m:.3f} m, {least:.3f} m is found")
        if leg.min_depth_m == leg.min_depth_m and least > leg.min_depth_m + 0.25:
            wrong.append(
                f"{name} states a least depth of {leg.min_depth_m:.3f} m, far less than {least:.3f} m"
            )
        off = [shape.buffer(r - 0.02, quad_segs=64) for shape, r, care in rocks if running or care == "idle"]
        drawn = list(hazards.geometry[(hazards["care"] == "idle") | running])
        for what, areas in (
            ("land", land),
            ("a closed zone", closed),
            ("a known hazard", off),
            ("a hazard", drawn),
        ):
            gap = _gap(xy, areas)
            if what == "land" and level_m > 0:  # the lake reaches beyond its charted edge
                gap = max(gap, _dry_gap(leg.geometry, land[0], today, keep))
            if gap < keep - SLACK_M:
                wrong.append(f"{name} comes within {gap:.3f} m of {what}, {keep:.3f} m must be kept")
        # Round about, within what must be kept, there is the water that is needed.
        turns = np.linspace(0.0, 2 * math.pi, 16, endpoint=False)
        ring = (keep - SLACK_M) * np.column_stack([np.cos(turns), np.sin(turns)])
        round_about = today((xy[:: max(1, int(2 / STEP_M)), None] + ring).reshape(-1, 2))
        if not np.min(round_about) >= need - 1e-3:
            wrong.append(
                f"{name} has {np.min(round_about):.3f} m of water within {keep:.2f} m, {need:.3f} is needed"
            )
        speed = rules.run_speed_mps if running else rules.idle_speed_mps
        middle = (xy[1:] + xy[:-1]) / 2
        length = np.hypot(*np.diff(xy, axis=0).T)
        pace = np.full(len(length), speed)
        for area, limit in slow:
            pace = np.where(
                shapely.intersects_xy(area, middle[:, 0], middle[:, 1]), np.minimum(pace, limit), pace
            )
        seconds = float((length / pace).sum())
        if abs(seconds - leg.time_s) > 0.01 * seconds + 1.0:
            wrong.append(f"{name} takes {seconds:.1f} s, {leg.time_s:.1f} s is stated")
    if len(legs) and (math.dist(strewn(legs.geometry.iloc[0])[0], _xy(stops.geometry.iloc[0])) > 1e-6
                      or math.dist(at, _xy(stops.geometry.iloc[-1])) > 1e-6):  # fmt: skip
        wrong.append("the run does not lead from its first stop to its last")
    ends = [np.asarray(g.coords)[-1][:2] for g in legs.geometry]
    wrong.extend(
        f"no leg ends at stop {stop.spot_id}"
        for stop in stops.iloc[1:-1].itertuples(index=False)
        if min((math.dist(e, _xy(stop.geometry)) for e in ends), default=math.inf) > 1e-6
    )
    held = holds[
        holds["spot_id"].isin(stops["spot_id"]) & (holds["status"] == "ok") & (holds["hold_no"] == 1)
    ]
    if len(held):
        found = today(np.array([_xy(g) for g in held.geometry]))
        for spot, here, said in zip(held["spot_id"], found, held["depth_today_m"], strict=True):
            short = [] if here >= rules.hold_depth_m - 1e-3 else [f"has {here:.3f} m of water, too little"]
            untrue = [] if abs(here - said) < 1e-2 else [f"states {said:.3f} m, {here:.3f} m is found"]
            wrong.extend(f"the hold of {spot} {why}" for why in short + untrue)
    return wrong


def _xy(point):
    return point.x, point.y


def made_case(seed):
    """A lake left to chance: ragged shore, bottom with humps, zones, rocks, spots, and what is asked of the planner."""
    from types import SimpleNamespace

    from castshed.toolbox.depth import DepthSurface
    from made_waters import ragged_water

    rng = np.random.default_rng([seed, 12])
    x0, y0 = 500_000.0, 4_000_000.0
    water = shapely.affinity.translate(
        ragged_water(seed, int(rng.integers(12, 40)), int(rng.integers(0, 4)), 800.0), x0, y0
    )
    water = max(shapely.get_parts(water), key=shapely.area)
    west, south, east, north = water.buffer(40).bounds
    cell = float(rng.choice([8.0, 10.0, 12.0]))
    columns, rows = int((east - west) / cell) + 1, int((north - south) / cell) + 1
    x, y = np.meshgrid(west + (np.arange(columns) + 0.5) * cell, north - (np.arange(rows) + 0.5) * cell)
    off = shapely.distance(shapely.boundary(water), shapely.points(x, y))
    depth = np.where(shapely.intersects_xy(water, x, y), off, -off) * rng.uniform(0.06, 0.15)
    for _ in range(int(rng.integers(2, 7))):
        cx, cy = rng.uniform(west, east), rng.uniform(south, north)
        depth = depth - rng.uniform(1.0, 6.0) * np.exp(
            -((x - cx) ** 2 + (y - cy) ** 2) / (2 * rng.uniform(12, 40) ** 2)
        )
    surface = DepthSurface(np.clip(depth, -3.0, 9.0).astype("f4"), west, north, cell, cell, CRS, 0.1)

    def wet(count, least):
        places = rng.uniform((west, south), (east, north), (4000, 2))
        deep = depth_at(surface.depth_m, west, north, cell, cell, places[:, 0], places[:, 1]) > least
        return places[deep & shapely.intersects_xy(water, places[:, 0], places[:, 1])][:count]

    spots, rocks, centres = wet(6, 2.0), wet(int(rng.integers(0, 4)), 1.0), wet(2, 1.5)
    deep = wet(1, 3.0)
    if len(spots) < 2 or not len(deep):
        return None
    shore = shapely.get_point(shapely.shortest_line(shapely.boundary(water), shapely.Point(*deep[0])), 0)
    areas = [shapely.Point(*c).buffer(float(rng.uniform(15, 50))) for c in centres]
    kinds = list(rng.choice(["slow", "no_entry", "no_motor"], len(areas)))

    def frame(geometry, **columns):
        return gpd.GeoDataFrame(columns, geometry=list(geometry), crs=CRS)

    return SimpleNamespace(
        depth=surface,
        level_m=float(rng.uniform(-1.0, 0.3)),
        shoreline=frame([water], name=["made"]),
        spots=frame(shapely.points(spots), spot_id=[f"s{k}" for k in range(len(spots))], kind=["brush"] * len(spots)),
        ramps=frame([shore], ramp_id=["r"], name=["Ramp"], min_level_m=[-9.0]),
        zones=frame(areas, zone=kinds, speed_mps=[2.0] * len(areas), reason=["made"] * len(areas)),
        known_hazards=frame(
            shapely.points(rocks), kind=["rock"] * len(rocks), top_depth_m=rng.uniform(-0.5, 2.0, len(rocks)),
            radius_m=rng.uniform(2.0, 8.0, len(rocks)),
        ),
        draft_m=float(rng.uniform(0.3, 0.6)),
        running_m=float(rng.uniform(0.6, 1.0)),
        clearance_m=float(rng.uniform(3.0, 10.0)),
    )  # fmt: skip


BEAM_M, POSITION_M, MARGIN_M, LEVEL_ERROR_M = 2.4, 3.0, 0.3, 0.03


def planned(case, *, clearance_m=None, hazards_of=None):
    """Plan a run as the commands do; the clearance and the hazards may be other ones than asked for.

    Returns
    -------
    tuple or None
        The run, the holds and the hazards as drawn before anything was done to them; None where there is no safe way.
    """
    from castshed.algorithms.boat_hold import boat_hold
    from castshed.algorithms.shallow_hazards import shallow_hazards
    from castshed.algorithms.shortest_run import shortest_run
    from castshed.algorithms.water_today import water_today
    from castshed.toolbox.errors import NoSolution

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            water = water_today(case.depth, case.shoreline, level_m=case.level_m).water
            hazards = shallow_hazards(
                case.depth, water, known_hazards=case.known_hazards, level_m=case.level_m, draft_m=case.draft_m,
                running_depth_m=case.running_m, margin_m=MARGIN_M, level_error_m=LEVEL_ERROR_M, hazard_error_m=POSITION_M,
            )  # fmt: skip
            drawn = hazards
            if hazards_of is not None:
                hazards = hazards_of(hazards)
            holds = boat_hold(
                case.spots, case.depth, level_m=case.level_m, draft_m=case.draft_m, margin_m=MARGIN_M, hazards=hazards,
                known_hazards=case.known_hazards, zones=case.zones,
            ).holds  # fmt: skip
            run = shortest_run(
                holds, case.ramps, water, hazards=hazards, zones=case.zones, depth=case.depth, level_m=case.level_m,
                beam_m=BEAM_M, fix_error_m=POSITION_M,
                clearance_m=case.clearance_m if clearance_m is None else clearance_m, run_speed_mps=12.0,
                idle_speed_mps=2.0, launch_m=150.0,
            )  # fmt: skip
        except NoSolution:
            return None
    return run, holds, drawn


def rules_of(case):
    """What the planner was asked to keep, from the request alone."""
    error = math.hypot(case.depth.error_m, LEVEL_ERROR_M)
    keep = BEAM_M / 2 + POSITION_M
    return Rules(
        case.running_m + MARGIN_M + error, case.draft_m + MARGIN_M + error, case.draft_m + MARGIN_M,
        keep + case.clearance_m, keep, 150.0, 12.0, 2.0,
    )  # fmt: skip


def violations(case, plan):
    """What the verifier finds in a plan."""
    run, holds, hazards = plan
    return verify(
        run.stops, run.legs, holds, surface=case.depth, level_m=case.level_m, shoreline=case.shoreline, zones=case.zones,
        known_hazards=case.known_hazards, hazards=hazards, rules=rules_of(case), position_error_m=POSITION_M,
    )  # fmt: skip


def _narrowed(hazards, by_m):
    shapes = hazards.buffer(-by_m)
    return hazards.assign(geometry=shapes)[~shapes.is_empty].reset_index(drop=True)


# What a planner may secretly do wrong: name -> keywords of `planned`.
SECRETS = {
    "half the clearance": lambda case: {"clearance_m": case.clearance_m / 2},
    # The planner's own reserve is a tenth of what must be kept: a fifth less is the least that breaks the rule.
    "a fifth less than must be kept": lambda case: {
        "clearance_m": max(0.0, case.clearance_m - 0.2 * rules_of(case).run_keep_m)
    },
    "hazards drawn 2 m smaller": lambda case: {"hazards_of": lambda h: _narrowed(h, 2.0)},
    "no hazards": lambda case: {"hazards_of": lambda h: h.iloc[:0]},
}  # fmt: skip


def _same_way(one, other):
    """Whether two runs keep to the same lines, to a hand's breadth."""
    a, b = (
        shapely.union_all(
            [g for g, part in zip(r.legs.geometry, r.legs["part"], strict=True) if part == "run"]
        )
        for r in (one, other)
    )
    if a.is_empty or b.is_empty:
        return a.is_empty and b.is_empty
    return shapely.hausdorff_distance(a, b, densify=0.05) < 0.1


def proof(lakes, seed, *, mutants=True, tell=None):
    """Verify runs over so many lakes left to chance, and count secret faults that are caught.

    A secret that leaves the run as it was has nothing to be caught.
    """
    done, found, tried, caught, missed, number = 0, [], 0, 0, [], 0
    while done < lakes and number < 4 * lakes + 20:
        number += 1
        case = made_case(100_000 * seed + number)
        plan = None if case is None else planned(case)
        if plan is None:
            continue
        done += 1
        found += [f"lake {100_000 * seed + number}: {w}" for w in violations(case, plan)]
        if tell is not None and done % 50 == 0:
            tell(f"{done} of {lakes} lakes, {len(found)} violations; {caught} of {tried} cheats caught")
        if not mutants or done % 4:
            continue
        for name, secret in SECRETS.items():
            other = planned(case, **secret(case))
            if other is None or _same_way(plan[0], other[0]):
                continue
            tried += 1
            hit = bool(violations(case, other))
            caught += hit
            missed += [] if hit else [f"lake {100_000 * seed + number}: {name}"]
    return {
        "lakes": done, "violations": len(found), "mutants": tried, "mutants_caught_share": caught / tried if tried else None,
        "faults": found[:20], "missed": missed[:20],
    }  # fmt: skip
