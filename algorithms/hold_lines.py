"""The line a boat follows along ledges, banks, weed edges and long cover."""

from __future__ import annotations

from typing import NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Beam,
    Cast,
    Depth,
    DepthConfidence,
    Draft,
    Drift,
    FixError,
    Footprint,
    HazardRadius,
    HoldLines,
    IdleClearance,
    KnownHazards,
    LaunchReach,
    LeastCast,
    LeftOut,
    Length,
    LevelError,
    Margin,
    MostCast,
    Ramps,
    ShallowHazards,
    SpotError,
    Spots,
    TodaysLevel,
    UpwindFactor,
    Water,
    WindFrom,
    Zones,
    defaults,
)


class LinesHeld(NamedTuple):
    """What hold-lines gives."""

    hold_lines: HoldLines
    left_out: LeftOut


@algorithm(
    step="hold",
    example="castshed hold-lines demo_layers/reservoir.gpkg:spots "
    "demo_layers/reservoir.gpkg:depth --level -4ft --wind-from SW --out my.gpkg",
)
def hold_lines(
    spots: Spots,
    depth: Depth,
    *,
    level_m: TodaysLevel = 0.0,
    follow_m: Length | None = None,
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
    least_length_m: Length = 15.24,
    smooth_m: Length = 5.0,
    wind_from_deg: WindFrom | None = None,
    upwind_factor: UpwindFactor = defaults.UPWIND_FACTOR,
    water: Water | None = None,
    ramps: Ramps | None = None,
    beam_m: Beam = defaults.BEAM_M,
    idle_clearance_m: IdleClearance = defaults.IDLE_CLEARANCE_M,
    launch_m: LaunchReach = defaults.LAUNCH_M,
    depth_confidence: DepthConfidence | None = None,
    hazards: ShallowHazards | None = None,
    known_hazards: KnownHazards | None = None,
    zones: Zones | None = None,
) -> LinesHeld:
    """Draw the line a boat follows beside long structure, on the deep side.

    For ledges, banks, weed edges and long cover, drawn as lines or polygons: the water one cast off on the deep
    side, or with `--follow 25ft` the isobath of today's depth where it runs within a cast of the structure. The deep
    side is told stretch by stretch from planes through the water on either side, so that one deep hole does not
    mislead it; where the deep side changes, the line ends and another begins on the other side.

    The line is cut where a rule fails, and the pieces are numbered in the direction of travel. At every mark along
    it, three metres apart at most: today's depth all over the drift circle is at least draft, margin and depth
    error of the coverage together; the line of cast to the structure lies over water all the way; the cast is
    neither shorter than the least nor longer than the most; no hazard, closed zone or other spot is too near. Between
    marks the same holds for depth, hazards and other spots. `starts` and `ends` say what ends each piece.

    Direction: bow into the wind where the line leads into it at all, for slow way and good steering; without a wind,
    or with the wind across, as the structure is drawn. `headings` gives the legs in order, `cast_side` the side of
    the boat on which the structure lies: casts to port leave over the left hand, casts to starboard over the right. A
    line that would ask for a longer cast upwind lies nearer. On level ground a line has no deep side: then the longer
    side is taken, or the one from which the wind sets the boat off the structure and not onto it.

    A structure that lies dry today, as the foot of a bank does on a lake drawn down, is cast to at the water's edge. A
    flat bank is better followed by depth. Spots without a line, and all that are points, are listed in `left_out`
    with the reason.

    A hold line is a plan, not a safe course: the depth is an estimate at the stated level and marks are off by
    metres. Watch the sounder and what lies ahead, and keep to buoys and local rules.

    Parameters
    ----------
    spots
        Structures; those that are lines or polygons get hold lines.
    depth
        Depth coverage.
    follow_m
        Today's depth to follow, in place of the preferred cast.
    least_length_m
        Pieces shorter than this are left out.
    smooth_m
        Wiggles of a structure or isobath shorter than a few of these are not followed.
    water
        Today's water, from water-today; the lines then lie where safe water leads.
    ramps
        Ramps from which the lines must be reached; without them any safe water will do.
    hazards
        Shallow hazards of today, from shallow-hazards; those of care `idle` are kept off.
    known_hazards
        Known hazards, kept off by their radius unless today's water over their top is enough for the boat.
    zones
        Zones; `no_entry` and `no_motor` are kept off.

    Returns
    -------
    `hold_lines`, in the direction of travel, and `left_out`, a point on each spot without one.

    Raises
    ------
    UsageError
        Casts that are not in order, a negative length, a depth to follow that is not above 0, or ramps without water.
    DataError
        A height or position error of a spot is negative.

    Notes
    -----
    Models: `castshed.toolbox.water.hold_lines.drawn_lines` and what it names. Bearings are true.
    """
    import numpy as np

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.lon_lat import north_of
    from castshed.toolbox.water.hold_lines.drawn_lines import hold_lines as draw
    from castshed.toolbox.water.holds.hold_rules import HoldRules, Setting, Surroundings
    from castshed.toolbox.water.holds.surroundings import kept_off, reachable_water
    from castshed.toolbox.water.level.spot_numbers import (
        bottoms_today_m,
        not_negative,
        search_radii_m,
        tall_cover,
    )
    from castshed.toolbox.water.level.uncertainty import doubted, errors_along

    if ramps is not None and water is None:
        raise UsageError(
            "Ramps are given, but no water to reach the lines by; give --water too, from water-today."
        )
    geometry = spots.geometry.to_numpy()
    height_m = not_negative(spots, "height_m")
    clear_m = footprint_m + search_radii_m(not_negative(spots, "position_error_m"), spot_error_m, fix_error_m)
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
        wind_from_deg=None if wind_from_deg is None else (wind_from_deg - north_of(spots)) % 360.0,
        upwind_factor=upwind_factor,
    )
    screens = tall_cover(
        geometry,
        spots["kind"].tolist(),
        bottom_m=bottoms_today_m(spots, depth, level_m),
        height_m=height_m,
        radius_m=footprint_m,
    )
    reachable = None
    if water is not None:
        keep_m = beam_m / 2.0 + fix_error_m + idle_clearance_m
        reachable = reachable_water(
            water, ramps, hazards, zones, level_m=level_m, clearance_m=keep_m, launch_m=launch_m
        )
    none = np.empty(0, dtype=object)
    need_m = Setting(depth, level_m, rules, Surroundings(none, np.empty(0), none, np.empty(0))).need_m
    avoided = kept_off(
        hazards, known_hazards, zones, cover_m=need_m - level_m, default_radius_m=hazard_radius_m
    )
    found = draw(
        spots,
        depth,
        level_m=level_m,
        rules=rules,
        surroundings=Surroundings(geometry, clear_m, *avoided, *screens, reachable),
        follow_m=follow_m,
        smooth_m=smooth_m,
        least_length_m=least_length_m,
        surely=None if depth_confidence is None else doubted(depth, depth_confidence, depth.error_m),
    )
    lines = found.lines
    if depth_confidence is not None:
        lines = lines.assign(
            least_depth_error_m=errors_along(lines.geometry.to_numpy(), depth_confidence, depth)
        )
    return LinesHeld(lines, found.left_out)
