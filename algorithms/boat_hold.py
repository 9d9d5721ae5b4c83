"""Where the boat sits for each spot, and the line of its cast."""

from __future__ import annotations

from typing import NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Beam,
    Bearing,
    Cast,
    CastLines,
    Count,
    Depth,
    DepthConfidence,
    Draft,
    Drift,
    FixError,
    Footprint,
    HazardRadius,
    Holds,
    IdleClearance,
    KnownHazards,
    LaunchReach,
    LeastCast,
    LevelError,
    Margin,
    MostCast,
    Plain,
    Ramps,
    ShallowHazards,
    SpotError,
    Spots,
    TodaysLevel,
    UpwindFactor,
    Water,
    WindFrom,
    Words,
    Zones,
    defaults,
)


class BoatHolds(NamedTuple):
    """What boat-hold gives."""

    holds: Holds
    cast_lines: CastLines


@algorithm(
    step="hold",
    example="castshed boat-hold demo_layers/reservoir.gpkg:spots "
    "demo_layers/reservoir.gpkg:depth --level -4ft --wind-from SW "
    "--out my.gpkg",
)
def boat_hold(
    spots: Spots,
    depth: Depth,
    *,
    level_m: TodaysLevel = 0.0,
    least_cast_m: LeastCast = defaults.LEAST_CAST_M,
    cast_m: Cast = defaults.CAST_M,
    most_cast_m: MostCast = defaults.MOST_CAST_M,
    draft_m: Draft = defaults.DRAFT_M,
    margin_m: Margin = defaults.MARGIN_M,
    drift_m: Drift = defaults.DRIFT_M,
    footprint_m: Footprint = defaults.FOOTPRINT_M,
    spot_error_m: SpotError = defaults.SPOT_ERROR_M,
    hazard_radius_m: HazardRadius = defaults.HAZARD_RADIUS_M,
    fix_error_m: FixError = defaults.FIX_ERROR_M,
    level_error_m: LevelError = defaults.LEVEL_ERROR_M,
    wind_from_deg: WindFrom | None = None,
    wind_weight: Plain = 0.5,
    upwind_factor: UpwindFactor = defaults.UPWIND_FACTOR,
    when: Words = "",
    sun_from_deg: Bearing | None = None,
    sun_height_deg: Plain | None = None,
    sun_weight: Plain = 0.5,
    next_weight: Plain = 0.25,
    most_holds: Count = 1,
    apart_deg: Plain = 60.0,
    water: Water | None = None,
    ramps: Ramps | None = None,
    beam_m: Beam = defaults.BEAM_M,
    idle_clearance_m: IdleClearance = defaults.IDLE_CLEARANCE_M,
    launch_m: LaunchReach = defaults.LAUNCH_M,
    depth_confidence: DepthConfidence | None = None,
    hazards: ShallowHazards | None = None,
    known_hazards: KnownHazards | None = None,
    zones: Zones | None = None,
) -> BoatHolds:
    """Place the boat on the deep side of each spot, within a cast of it.

    One hold a spot: off to the deep side, lined up for the cast, never on top of the cover. The deep side is the fall
    of a plane through all the water within a cast that is seen from the spot, so a single rough sounding or a
    flank of a ridge does not mislead it.

    Hard rules, never traded: today's depth at the hold and all over its drift circle is at least draft, margin and
    the errors of depth and level together; the hold is not shallower than the top of the structure; the line of cast
    lies over water all the way and over no other spot that stands out of the water; against the wind the cast is
    shorter; every other structure is farther off than footprint and the position errors of both marks; the drift
    circle is clear of hazards and of closed zones, where these are given; safe water leads there from a ramp, where
    water is given. Soft rules: the deep side counts 1, the wind 0.5 (bow into the wind and cast across it, best at 60
    degrees, neither straight upwind nor drifting down onto the spot), the length of the cast 1, the caster's shadow on
    the spot 0.5 against, another structure next to the boat 0.25 against.

    On level ground no side is the deep one: the reason says so, and the wind decides. A polygon is aimed at on its
    nearest edge, and so is a hump marked by a point whose top is wider than the least cast. A line is held beside
    its middle, or beside its best part. A spot without a hold keeps its row with `status` none and hold 0, a point on
    the spot, and the reason: the rule most places break and the nearest relaxation that would allow one.

    With more holds than one a spot, the next are the best that lie apart from those before by the angle given, seen
    from the spot; `hold_no` counts them.

    A hold is a place to start from, not a promise: the depth is an estimate at the stated level, marks are off by
    metres, and cover moves. Look at the sounder before you stop there, and keep to local rules.

    Parameters
    ----------
    spots
        Structures to fish: points, lines or polygons.
    depth
        Depth coverage.
    wind_weight
        What the wind counts where the deep side counts 1; at 0.5 it swings the hold at most 30 degrees off it.
    when
        Date and time with its zone, as 2026-04-18T07:30-05:00, from which the place of the sun is worked out.
    sun_from_deg
        Bearing of the sun, in place of a time; with neither there is no shadow.
    sun_height_deg
        Height of the sun above the horizon in degrees; without it the shadow has no end.
    sun_weight
        What it counts against a place that the caster's shadow falls on the spot.
    next_weight
        What it counts against a place to lie next to another structure; nothing from one most cast off.
    most_holds
        How many holds a spot gets at most.
    apart_deg
        How far apart the holds of a spot lie, seen from it, in degrees up to 180.
    water
        Today's water, from water-today; the holds then lie where safe water leads.
    ramps
        Ramps from which the holds must be reached; without them any safe water will do.
    hazards
        Shallow hazards of today, from shallow-hazards; those of care `idle` are kept off.
    known_hazards
        Known hazards, kept off by their radius unless today's water over their top is enough for the boat.
    zones
        Zones; `no_entry` and `no_motor` are kept off.

    Returns
    -------
    `holds`, one row a spot or one a hold, and `cast_lines` from each hold to the point that is cast to. Beside what is
    told of casts and sides, `directionality` tells how clear the deep side is (0 to 1), `margin_m` how much water
    is to spare at the shallowest of the drift circle, `search_radius_m` how far off the marks may lie.

    Raises
    ------
    UsageError
        Casts that are not in order, a negative length, a factor or angle out of its range, a drift circle that reaches
        the spot, a time without a zone, or ramps without water.
    DataError
        A height or position error of a spot is negative.

    Notes
    -----
    Places: 72 rays round a spot by five lengths of cast, in wind six; the best is turned between the rays and all
    rules checked again. Models: `castshed.toolbox.water.holds.casting`, `hold_rules`, `deep_side`,
    `tall_cover`, `wind_cast`, `sun`. Position errors of 95 % are joined by the root of the sum of their squares.
    Bearings are true.
    """
    import numpy as np
    import shapely

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.lon_lat import north_of
    from castshed.toolbox.water.holds.casting import find_holds_apart
    from castshed.toolbox.water.holds.hold_rules import HoldRules, Setting, Surroundings
    from castshed.toolbox.water.holds.hold_tables import hold_layers, with_true_bearings
    from castshed.toolbox.water.holds.hold_words import further_reasons, hold_reasons
    from castshed.toolbox.water.holds.surroundings import kept_off, reachable_water
    from castshed.toolbox.water.level.spot_numbers import (
        bottoms_today_m,
        not_negative,
        search_radii_m,
        tall_cover,
    )
    from castshed.toolbox.water.level.uncertainty import doubted, with_errors
    from castshed.toolbox.water.light.sun import sun_over
    from castshed.toolbox.water.structure.humps import aim_at_edges

    if ramps is not None and water is None:
        raise UsageError(
            "Ramps are given, but no water to reach the holds by; give --water too, from water-today."
        )
    geometry, kinds = spots.geometry.to_numpy(), spots["kind"].tolist()
    height_m = not_negative(spots, "height_m")
    search_m = search_radii_m(not_negative(spots, "position_error_m"), spot_error_m, fix_error_m)
    if when:
        if sun_from_deg is not None or sun_height_deg is not None:
            raise UsageError("Give either the time or where the sun stands, not both.")
        sun_from_deg, sun_height_deg = sun_over(depth.bounds, spots.crs, when)
    north = north_of(spots)  # winds and the sun are told from true north; places are worked on the grid
    rules = HoldRules(
        least_cast_m=least_cast_m,
        cast_m=cast_m,
        most_cast_m=most_cast_m,
        draft_m=draft_m,
        margin_m=margin_m,
        level_error_m=level_error_m,
        drift_m=drift_m,
        footprint_m=footprint_m,
        spot_error_m=spot_error_m,
        wind_from_deg=None if wind_from_deg is None else (wind_from_deg - north) % 360.0,
        wind_weight=wind_weight,
        upwind_factor=upwind_factor,
        sun_bearing_deg=None if sun_from_deg is None else (sun_from_deg - north) % 360.0,
        sun_height_deg=sun_height_deg,
        sun_weight=sun_weight,
        next_weight=next_weight,
        most_holds=most_holds,
        apart_deg=apart_deg,
    )
    bottom_m = bottoms_today_m(spots, depth, level_m)
    screens, screen_rows = tall_cover(
        geometry, kinds, bottom_m=bottom_m, height_m=height_m, radius_m=footprint_m
    )
    reachable = None
    if water is not None:
        clear_m = beam_m / 2.0 + fix_error_m + idle_clearance_m
        reachable = reachable_water(
            water, ramps, hazards, zones, level_m=level_m, clearance_m=clear_m, launch_m=launch_m
        )
    bare = Surroundings(geometry, footprint_m + search_m, np.empty(0, dtype=object), np.empty(0))
    setting = Setting(depth, level_m, rules, bare)
    keep_off, keep_off_m = kept_off(
        hazards, known_hazards, zones, cover_m=setting.need_m - level_m, default_radius_m=hazard_radius_m
    )
    around = Surroundings(
        geometry, footprint_m + search_m, keep_off, keep_off_m, screens, screen_rows, reachable
    )
    surely = None if depth_confidence is None else doubted(depth, depth_confidence, depth.error_m)
    setting = Setting(depth, level_m, rules, around, surely)
    structures = aim_at_edges(geometry, kinds, depth, wider_than_m=least_cast_m)
    listed_m = spots["depth_m"].to_numpy(dtype=float)
    found = find_holds_apart(structures, setting, bottom_m=listed_m, height_m=height_m, marks=geometry)
    found = [with_true_bearings(table, spots.crs) for table in found]
    names = spots["spot_id"].astype(str).tolist()
    first = hold_reasons(
        found[0], structures, setting, names=names, bottom_m=listed_m, height_m=height_m, search_m=search_m
    )
    reasons = [first, *(further_reasons(table, setting, search_m) for table in found[1:])]
    on_spot = np.asarray(shapely.point_on_surface(geometry))
    holds, cast_lines = hold_layers(
        found, reasons, names=names, search_m=search_m, on_spot=on_spot, crs=spots.crs
    )
    return BoatHolds(with_errors(holds, depth_confidence, depth), cast_lines)
