"""The verdict on each spot, and at each hour of a forecast, with every reason against it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    BeamLimit,
    Depth,
    DepthConfidence,
    Exposure,
    FollowingLimit,
    GustLimit,
    HeadLimit,
    Holds,
    HourVerdicts,
    LakeZone,
    LeastDepth,
    LeftOut,
    Length,
    LevelError,
    MostDepth,
    Spots,
    TodaysLevel,
    TopMargin,
    Verdicts,
    Water,
    WaveLimit,
    WaysBetween,
    WindLimit,
    Words,
    YesNo,
    Zones,
    defaults,
)
from castshed.toolbox.text import how_many

if TYPE_CHECKING:
    import datetime as dt

    import numpy as np
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from castshed.toolbox.water.verdicts.way_seas import WaySeas
    from castshed.toolbox.water.wind.forecast import Hours

    Floats = NDArray[np.float64]

DISAGREE_M = 1.5
"""Listed depth and depth coverage farther apart than this are pointed out (five feet, common practice)."""


class Fishable(NamedTuple):
    """What fishable makes."""

    judged: Verdicts
    verdicts: HourVerdicts | None


def _bottom(
    spots: GeoDataFrame,
    depth: Depth | None,
    points: Floats,
    listed_error_m: float,
    confidence: DepthConfidence | None = None,
) -> tuple[Floats, Floats]:
    """Charted depth of each spot and its error: the spot's own, else that of the coverage."""
    import numpy as np

    from castshed.toolbox.report import note

    own = np.asarray(spots["depth_m"].to_numpy(dtype=float, na_value=np.nan))
    if depth is None:
        return own, np.full(len(own), listed_error_m)
    charted = depth.at(points[:, 0], points[:, 1])
    apart = np.abs(own - charted) > DISAGREE_M
    if apart.any():
        names = ", ".join(spots["spot_id"][apart].astype(str).head(5))
        note(
            f"{how_many(int(apart.sum()), 'spot has', 'spots have')} a depth_m more than {DISAGREE_M} m from the depth "
            "coverage; the spot's own "
            f"is used ({names}{' and more' if apart.sum() > 5 else ''}). Check datum, position, and whether it was "
            "the depth of the top.",
            stacklevel=3,
        )
    error = np.full(len(own), depth.error_m)
    if confidence is not None:
        error = np.fmax(error, confidence.at(points[:, 0], points[:, 1]))
    return np.where(np.isnan(own), charted, own), np.where(np.isnan(own), error, listed_error_m)


def _dark(hours: Hours, water: GeoDataFrame, zone: dt.tzinfo | None) -> list[str]:
    import datetime as dt

    from castshed.toolbox.water.light.sun import darkness, middle_of

    place = middle_of(water.total_bounds, water.crs)
    return [
        darkness(start, end, zone or start.tzinfo or dt.UTC, *place)
        for start, end in zip(hours.start, hours.end, strict=True)
    ]


@algorithm(
    step="wind",
    example="castshed fishable my_day/plan.gpkg:spots "
    "my_day/plan.gpkg:water --depth demo_layers/reservoir.gpkg:depth --level -4ft "
    "--holds my_day/plan.gpkg:holds --zones demo_layers/reservoir.gpkg:zones --out my.gpkg:judged",
)
def fishable(
    spots: Spots,
    water: Water,
    *,
    depth: Depth | None = None,
    level_m: TodaysLevel = 0.0,
    holds: Holds | None = None,
    exposure: Exposure | None = None,
    ways: WaysBetween | None = None,
    left_out: LeftOut | None = None,
    zones: Zones | None = None,
    from_ramp: Words = "",
    time_zone: LakeZone = "",
    at_night: YesNo = False,
    least_depth_m: LeastDepth = defaults.LEAST_DEPTH_M,
    top_margin_m: TopMargin = defaults.TOP_MARGIN_M,
    most_depth_m: MostDepth | None = None,
    wave_limit_m: WaveLimit = defaults.WAVE_LIMIT_M,
    head_limit_m: HeadLimit = defaults.HEAD_LIMIT_M,
    beam_limit_m: BeamLimit = defaults.BEAM_LIMIT_M,
    following_limit_m: FollowingLimit = defaults.FOLLOWING_LIMIT_M,
    wind_limit_mps: WindLimit = defaults.WIND_LIMIT_MPS,
    gust_limit_mps: GustLimit = defaults.GUST_LIMIT_MPS,
    listed_error_m: Length = 0.3048,
    level_error_m: LevelError = defaults.LEVEL_ERROR_M,
    depth_confidence: DepthConfidence | None = None,
) -> Fishable:
    """Judge every spot, hour by hour: depth, cover, wind, waves, light and a way there.

    Every spot comes back with `fishable` 1 or 0. A spot that fails keeps its row, and `reason` lists everything that
    speaks against it, each with its margin in metres and feet: dry, not on today's water, too shallow, top bare or
    too near the surface, too deep, waves, wind or gusts over the limit, no hold, out of reach, in a closed zone. A
    fishable spot says what there is.

    With the hourly layer of wind-exposure (`--exposure`) each spot is judged at each hour, in daylight (all of the
    hour between civil dawn and civil dusk on the lake); `hours` then has the stretches in which it is fishable, a
    spot is fishable when it is at any hour, and the layer `verdicts` has a row for each spot and hour. Without that
    layer one wind is judged, where the spots, or better the holds, carry the columns of wind-exposure. The upper end
    of the wave band counts. With the ways of safe-ways the seas on the way from the ramp are judged as well, out and
    back in the same wind, by how they meet the boat.

    `marginal` is 1 where the verdict would turn round if depth and level were wrong by no more than their error.

    A verdict is about fishing a spot. It does not clear the way to it, and calm figures are
    estimates: the official forecast, local rules and what you see on the water come first.

    Parameters
    ----------
    spots
        Spots, with or without the columns of wind-exposure.
    water
        Today's water, from water-today.
    depth
        Depth coverage, for spots without a depth of their own, and for waves on the way.
    holds
        Holds from boat-hold; a spot without a good one fails.
    exposure
        Wind and waves by spot and hour, from wind-exposure with a forecast on the spots or their holds.
    ways
        Ways from safe-ways; a spot without one from the ramp fails, and the seas along it are judged.
    left_out
        What safe-ways or shortest-run left out; spots out of reach fail.
    zones
        Zones; a hold (or a spot, without holds) in one closed to entry or to motors fails.
    from_ramp
        Id of the ramp the ways start from; by default that of the first way.
    at_night
        Hours in the dark count as well.
    listed_error_m
        How far a spot's own depth may be off (95 %; lists round to feet and more); depths from the coverage carry
        its error.

    Returns
    -------
    Fishable
        `judged`: the spots with `depth_today_m`, `top_today_m` (water over the top, negative when bare), `fishable`,
        `reason`, `margin_m` (the tightest margin in depth: positive when kept, negative when missed), `marginal` and
        `hours`; `verdicts`, with hours only: `spot_id`, `time`, `fishable`, `reason`, `margin_m`, `marginal`.

    Raises
    ------
    DataError
        The exposure layer has no rows, or rows without spot, time or zone.
    UsageError
        The time zone or the ramp is not known.

    Notes
    -----
    ``today's depth = charted depth + level``; a spot's own `depth_m` (of the bottom, at chart datum) goes before the
    coverage, and where they differ by more than 1.5 m that is pointed out. A line or polygon is judged at one point
    of it on today's water. Depth and level errors are combined as the root of the sum of their squares.
    """
    import geopandas as gpd
    import numpy as np
    import shapely

    from castshed.toolbox.errors import DataError
    from castshed.toolbox.lon_lat import north_of
    from castshed.toolbox.report import note
    from castshed.toolbox.water.light.sun import zone_of
    from castshed.toolbox.water.verdicts.hour_verdicts import (
        hour_table,
        judge_hours,
        single_weather,
        strongest_wind,
    )
    from castshed.toolbox.water.verdicts.reach import closed_to_boats, reach
    from castshed.toolbox.water.verdicts.verdict import FishingLimits, judge, stand
    from castshed.toolbox.water.verdicts.way_seas import SeaLimits, sea_words, seas_on_ways
    from castshed.toolbox.water.ways.safe_water import union_of
    from castshed.toolbox.water.wind.exposure import place_points
    from castshed.toolbox.water.wind.fetch import on_water

    surface = union_of(water.geometry.to_numpy())
    geometry = spots.geometry.to_numpy()
    points = place_points(geometry, surface)
    wet = on_water(points, surface)
    off = np.zeros(len(spots))
    if (~wet).any():
        off[~wet] = np.maximum(shapely.distance(geometry[~wet], surface), 0.001)

    height = spots["height_m"].to_numpy(dtype=float, na_value=np.nan)
    if (height < 0).any():
        names = ", ".join(spots["spot_id"][height < 0].astype(str).head(5))
        note(
            f"height_m is negative at {how_many(int((height < 0).sum()), 'spot')} ({names}); taken as not known.",
            stacklevel=2,
        )
    zone = zone_of(time_zone) if time_zone else None
    closed_holds: list[list[str]] = []
    if holds is not None and len(holds):
        closed_holds = closed_to_boats(
            zones, shapely.get_coordinates(holds.geometry.to_numpy()), "the hold lies"
        )
    barred = np.array([bool(one) for one in closed_holds], dtype=bool)
    held = reach(spots, holds, ways, left_out, from_ramp, barred)
    if holds is None:
        closed = closed_to_boats(zones, points, "lies")
    else:
        closed = [closed_holds[row] if row >= 0 else [] for row in held.hold_row.tolist()]
    bottom, depth_error = _bottom(spots, depth, points, listed_error_m, depth_confidence)
    limits = FishingLimits(
        least_depth_m, top_margin_m, most_depth_m, wave_limit_m, wind_limit_mps, gust_limit_mps
    )
    standing = stand(
        bottom,
        np.where(height < 0, np.nan, height),
        list(spots["kind"]),
        level_m=level_m,
        limits=limits,
        off_water_m=off,
        other=[[*one, *two] for one, two in zip(held.against, closed, strict=True)],
        error_m=np.hypot(depth_error, level_error_m),
    )

    def seas_of(wind_from_deg: Floats, wind_mps: Floats) -> WaySeas:
        sea_limits = SeaLimits(head_limit_m, beam_limit_m, following_limit_m)
        return seas_on_ways(
            held.way,
            surface,
            wind_from_deg - north_of(water),
            wind_mps,
            sea_limits,
            surface=depth,
            level_m=level_m,
        )

    verdicts = None
    hours = [""] * len(spots)
    if exposure is None:
        low, high, wind, gust = single_weather(spots, holds, held.hold_row)
        told = {*spots.columns, *(() if holds is None else holds.columns)}
        if len(spots) and not told & {"wave_m", "wave_high_m", "wind_mps"}:
            note(
                "Neither spots nor holds carry wind and waves, so they are not judged; run wind-exposure first.",
                stacklevel=2,
            )
        rough = None
        if ways is not None:
            rough = list(sea_words(seas_of(*strongest_wind(holds, spots)), held.start)[:, 0])
        found = judge(
            standing,
            limits=limits,
            wave_low_m=low,
            wave_high_m=high,
            wind_mps=wind,
            gust_mps=gust,
            way=rough,
        )
    else:
        if exposure.empty:
            raise DataError("The exposure layer has no rows; run wind-exposure with a forecast.")
        numbers = {}
        if holds is not None:
            sitting = np.flatnonzero(held.hold_row >= 0)
            ids = spots["spot_id"].astype(str).to_numpy()[sitting]
            numbers = dict(zip(ids, holds["hold_no"].to_numpy()[held.hold_row[sitting]], strict=True))
        table = hour_table(exposure, list(spots["spot_id"].astype(str)), zone=zone, hold_no=numbers)
        seas = None if ways is None else seas_of(table.lake_wind_from_deg, table.lake_wind_mps)
        dark = [""] * len(table.hours) if at_night else _dark(table.hours, water, zone)
        by_hour = judge_hours(standing, table, limits=limits, dark=dark, seas=seas, start=held.start)
        found, hours = by_hour.day, by_hour.hours
        count = len(table.hours)
        verdicts = gpd.GeoDataFrame(
            {
                "spot_id": np.repeat(spots["spot_id"].astype(str).to_numpy(dtype=object), count),
                "time": np.array(table.hours.texts * len(spots), dtype=object),
                "fishable": by_hour.fishable.ravel().astype(int),
                "reason": np.array([text for texts in by_hour.reason for text in texts], dtype=object),
                "margin_m": np.repeat(found.margin_m, count),
                "marginal": by_hour.marginal.ravel().astype(int),
            },
            geometry=np.repeat(geometry, count),
            crs=spots.crs,
        )
    result: GeoDataFrame = spots.copy()
    result["depth_today_m"] = found.depth_today_m
    result["top_today_m"] = found.top_today_m
    result["fishable"] = found.fishable.astype(int)
    result["reason"] = np.array(found.reason, dtype=object)
    result["margin_m"] = found.margin_m
    result["marginal"] = found.marginal.astype(int)
    result["hours"] = np.array(hours, dtype=object)
    return Fishable(result, verdicts)
