"""The line a boat follows along ledges, banks, weed edges and long cover."""

from __future__ import annotations

from typing import NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Bearing,
    Depth,
    HoldLines,
    KnownHazards,
    LeftOut,
    Length,
    Level,
    Plain,
    ShallowHazards,
    Spots,
    Zones,
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
    level_m: Level = 0.0,
    follow_m: Length | None = None,
    least_cast_m: Length = 12.192,
    cast_m: Length = 21.336,
    most_cast_m: Length = 27.432,
    draft_m: Length = 0.6096,
    margin_m: Length = 0.4572,
    drift_m: Length = 3.048,
    footprint_m: Length = 3.048,
    position_error_m: Length = 5.0,
    least_length_m: Length = 15.24,
    smooth_m: Length = 5.0,
    wind_from_deg: Bearing | None = None,
    upwind_factor: Plain = 0.7,
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

    Direction: bow into the wind where the line leads into it at all, for slow way and good steering; without a
    wind, or with the wind across, as the structure is drawn. `headings` gives the legs in order, `cast_side` the side
    of the boat on which the structure lies: casts to port leave over the left hand, casts to starboard over the right.
    On level ground a line has no deep side: then the longer side is taken, or the one from which the wind sets the
    boat off the structure and not onto it.

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
    level_m
        Today's surface minus chart datum; four feet down is -4ft.
    follow_m
        Today's depth to follow, in place of the preferred cast.
    least_cast_m
        Least cast; the boat never comes nearer to the structure (common practice).
    cast_m
        Preferred cast, at which the line lies (common practice).
    most_cast_m
        Most comfortable cast (common practice).
    draft_m
        Draft of the boat with its motors down (common practice).
    margin_m
        Water wanted under the boat (common practice).
    drift_m
        How far the boat may be set off the line to any side.
    footprint_m
        Radius of any other spot, kept off beside its position error.
    position_error_m
        Position error of spots that do not tell their own, and radius of known hazards without one.
    least_length_m
        Pieces shorter than this are left out.
    smooth_m
        Wiggles of a structure or isobath shorter than a few of these are not followed.
    wind_from_deg
        Where the wind comes from; without it lines run as the structures are drawn.
    upwind_factor
        Longest cast straight upwind, as a share of the longest cast; a line that would ask for more lies nearer.
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
        Casts that are not in order, a negative length, or a depth to follow that is not above 0.
    DataError
        A height or position error of a spot is negative.

    Notes
    -----
    Models: `castshed.toolbox.water.hold_lines` and what it names. Bearings are those of the grid, taken as true.
    """
    import numpy as np

    from castshed.toolbox.errors import DataError
    from castshed.toolbox.water.hold_lines import hold_lines as draw
    from castshed.toolbox.water.hold_rules import HoldRules
    from castshed.toolbox.water.keep_off import keep_off
    from castshed.toolbox.water.surroundings import Surroundings

    own_error_m = spots["position_error_m"].to_numpy(dtype=float)
    for name, values in (
        ("height_m", spots["height_m"].to_numpy(dtype=float)),
        ("position_error_m", own_error_m),
    ):
        if (values < 0).any():
            row = int((values < 0).argmax())
            raise DataError(
                f"spots.{name} is {values[row]} for {spots['spot_id'].iloc[row]}; it must be 0 or more, or empty."
            )
    rules = HoldRules(
        least_cast_m=least_cast_m,
        cast_m=cast_m,
        most_cast_m=most_cast_m,
        draft_m=draft_m,
        margin_m=margin_m,
        drift_m=drift_m,
        footprint_m=footprint_m,
        position_error_m=position_error_m,
        wind_from_deg=wind_from_deg,
        upwind_factor=upwind_factor,
    )
    need_m = draft_m + margin_m + depth.error_m
    avoided, avoided_m = keep_off(
        hazards, known_hazards, zones, cover_m=need_m - level_m, default_radius_m=position_error_m
    )
    clear_m = footprint_m + np.where(np.isnan(own_error_m), position_error_m, own_error_m)
    found = draw(
        spots,
        depth,
        level_m=level_m,
        rules=rules,
        surroundings=Surroundings(spots.geometry.to_numpy(), clear_m, avoided, avoided_m),
        follow_m=follow_m,
        smooth_m=smooth_m,
        least_length_m=least_length_m,
    )
    return LinesHeld(found.lines, found.left_out)
