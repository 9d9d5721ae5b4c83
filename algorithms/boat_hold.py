"""Where the boat sits for each spot, and the line of its cast."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Bearing,
    CastLines,
    Depth,
    Holds,
    KnownHazards,
    Length,
    Level,
    Plain,
    ShallowHazards,
    Spots,
    Zones,
)

if TYPE_CHECKING:
    import numpy as np
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Geometries = NDArray[np.object_]


class BoatHolds(NamedTuple):
    """What boat-hold gives."""

    holds: Holds
    cast_lines: CastLines


def _keep_off(
    hazards: GeoDataFrame | None,
    known_hazards: GeoDataFrame | None,
    zones: GeoDataFrame | None,
    *,
    cover_m: float,
    default_radius_m: float,
) -> tuple[Geometries, Floats]:
    """Collect what the drift circle keeps off, with a radius each."""
    import numpy as np

    from castshed.toolbox.water.safe_water import SLOW

    geometries: list[Geometries] = [np.empty(0, dtype=object)]
    radii: list[Floats] = [np.empty(0)]
    if hazards is not None:
        # Water too thin to run on plane may hold a boat; water too thin to idle may not.
        thin = hazards[hazards["care"] != "run"]
        geometries.append(thin.geometry.to_numpy())
        radii.append(np.zeros(len(thin)))
    if known_hazards is not None:
        top_m = known_hazards["top_depth_m"].to_numpy(dtype=float)
        high = known_hazards[~(top_m >= cover_m)]
        radius_m = high["radius_m"].to_numpy(dtype=float)
        geometries.append(high.geometry.to_numpy())
        radii.append(np.where(np.isnan(radius_m), default_radius_m, np.maximum(radius_m, 0.0)))
    if zones is not None:
        closed = zones[zones["zone"] != SLOW]
        geometries.append(closed.geometry.to_numpy())
        radii.append(np.zeros(len(closed)))
    return np.concatenate(geometries), np.concatenate(radii)


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
    level_m: Level = 0.0,
    least_cast_m: Length = 12.192,
    cast_m: Length = 21.336,
    most_cast_m: Length = 27.432,
    draft_m: Length = 0.6096,
    margin_m: Length = 0.4572,
    drift_m: Length = 3.048,
    footprint_m: Length = 3.048,
    position_error_m: Length = 5.0,
    wind_from_deg: Bearing | None = None,
    wind_weight: Plain = 0.5,
    hazards: ShallowHazards | None = None,
    known_hazards: KnownHazards | None = None,
    zones: Zones | None = None,
) -> BoatHolds:
    """Place the boat on the deep side of each spot, within a cast of it.

    One hold a spot: off to the deep side, lined up for the cast, never on top of the cover. The deep side is the fall
    of a plane through all the water within a cast that is seen from the spot, so a single rough sounding or a
    flank of a ridge does not mislead it.

    Hard rules, never traded: today's depth at the hold and all over its drift circle is at least draft, margin and
    depth error of the coverage together; the hold is not shallower than the top of the structure; the line of cast
    lies over water all the way; every other structure is farther off than footprint and its position error; the
    drift circle is clear of hazards and of closed zones, where these are given. Soft rules: the deep side counts 1,
    the wind 0.5 (bow into the wind and cast across it, best at 60 degrees, neither straight upwind nor drifting
    down onto the spot), the length of the cast 1.

    On level ground no side is the deep one: the reason says so, and the wind decides. A polygon is aimed at on its
    nearest edge, and so is a hump marked by a point whose top is wider than the least cast. A line is held beside
    its middle, or beside its best part. A spot without a hold keeps its row with `status` none and hold 0, a point on
    the spot, and the reason: the rule most places break and the nearest relaxation that would allow one.

    A hold is a place to start from, not a promise: the depth is an estimate at the stated level, marks are off by
    metres, and cover moves. Look at the sounder before you stop there, and keep to local rules.

    Parameters
    ----------
    spots
        Structures to fish: points, lines or polygons.
    depth
        Depth coverage.
    level_m
        Today's surface minus chart datum; four feet down is -4ft.
    least_cast_m
        Least cast; the boat never sits nearer to the spot (common practice).
    cast_m
        Preferred cast (common practice).
    most_cast_m
        Most comfortable cast (common practice).
    draft_m
        Draft of the boat with its motors down (common practice).
    margin_m
        Water wanted under the boat (common practice).
    drift_m
        Radius of the circle in which the boat swings while it holds.
    footprint_m
        Radius of any other structure, kept off beside its position error.
    position_error_m
        Position error of spots that do not tell their own, and radius of known hazards without one.
    wind_from_deg
        Where the wind comes from; without it the wind plays no part.
    wind_weight
        What the wind counts where the deep side counts 1; at 0.5 it swings the hold at most 30 degrees off it.
    hazards
        Shallow hazards of today, from shallow-hazards; those of care `idle` are kept off.
    known_hazards
        Known hazards, kept off by their radius unless today's water over their top is enough for the boat.
    zones
        Zones; `no_entry` and `no_motor` are kept off.

    Returns
    -------
    `holds`, one row a spot, and `cast_lines` from each hold to the point that is cast to.

    Raises
    ------
    UsageError
        Casts that are not in order, a negative length, or a drift circle that reaches the spot.
    DataError
        A height or position error of a spot is negative.

    Notes
    -----
    Places: 72 rays round a spot by five lengths of cast; the best is turned between the rays and all rules checked
    again. Models: `castshed.toolbox.water.casting`, `hold_rules`, `soft_rules`, `deep_side`. Bearings are
    those of the grid, taken as true.
    """
    import geopandas as gpd
    import numpy as np
    import shapely

    from castshed.toolbox.errors import DataError
    from castshed.toolbox.water.casting import find_holds
    from castshed.toolbox.water.hold_rules import HoldRules, Setting, Surroundings
    from castshed.toolbox.water.hold_words import hold_reasons
    from castshed.toolbox.water.hump_crown import aim_at_edges

    height_m = spots["height_m"].to_numpy(dtype=float)
    own_error_m = spots["position_error_m"].to_numpy(dtype=float)
    for name, values in (("height_m", height_m), ("position_error_m", own_error_m)):
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
        wind_weight=wind_weight,
    )
    geometry = spots.geometry.to_numpy()
    need_m = draft_m + margin_m + depth.error_m
    keep_off, keep_off_m = _keep_off(
        hazards, known_hazards, zones, cover_m=need_m - level_m, default_radius_m=position_error_m
    )
    clear_m = footprint_m + np.where(np.isnan(own_error_m), position_error_m, own_error_m)
    setting = Setting(depth, level_m, rules, Surroundings(geometry, clear_m, keep_off, keep_off_m))
    structures = aim_at_edges(geometry, spots["kind"].tolist(), depth, wider_than_m=least_cast_m)
    bottom_m = spots["depth_m"].to_numpy(dtype=float)
    found = find_holds(structures, setting, bottom_m=bottom_m, height_m=height_m)
    names = spots["spot_id"].astype(str).tolist()
    reason = hold_reasons(found, structures, setting, names=names, bottom_m=bottom_m, height_m=height_m)

    ok = found.found
    point = np.asarray(shapely.point_on_surface(geometry))
    point[ok] = shapely.points(found.x[ok], found.y[ok])
    holds = gpd.GeoDataFrame(
        {
            "spot_id": np.array(names, dtype=object),
            "hold_no": np.where(ok, 1, 0),
            "status": np.where(ok, "ok", "none"),
            "reason": np.array(reason, dtype=object),
            "depth_m": found.depth_m,
            "cast_m": found.cast_m,
            "cast_bearing_deg": found.cast_bearing_deg,
            "deep_bearing_deg": found.deep_bearing_deg,
            "wind_angle_deg": found.wind_angle_deg,
        },
        geometry=point,
        crs=spots.crs,
    )
    ends = np.stack([found.x, found.y, found.aim_x, found.aim_y], axis=1)[ok].reshape(-1, 2, 2)
    cast_lines = gpd.GeoDataFrame(
        holds.loc[ok, ["spot_id", "hold_no", "cast_m", "cast_bearing_deg"]].reset_index(drop=True),
        geometry=shapely.linestrings(ends) if len(ends) else np.empty(0, dtype=object),
        crs=spots.crs,
    )
    return BoatHolds(holds, cast_lines)
