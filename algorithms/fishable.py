"""The verdict on each spot, with every reason against it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import Depth, Holds, Length, Level, Speed, Spots, Verdicts, Water

if TYPE_CHECKING:
    import numpy as np
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

DISAGREE_M = 1.5
"""Listed depth and depth coverage farther apart than this are pointed out (five feet, common practice)."""


def _numbers(frame: GeoDataFrame, column: str) -> Floats:
    """Read a column of numbers of 0 or more, NaN where it is empty or not there."""
    import numpy as np
    import pandas as pd

    from castshed.toolbox.errors import DataError

    if column not in frame.columns:
        return np.full(len(frame), np.nan)
    values = pd.to_numeric(frame[column], errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    wrong = (frame[column].notna().to_numpy() & np.isnan(values)) | np.isinf(values) | (values < 0)
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise DataError(
            f"{column} is {frame[column].iloc[row]!r} in row {row}; it must be a number of 0 or more, or empty. "
            "Run wind-exposure again."
        )
    return np.asarray(values)


def _without_hold(spots: GeoDataFrame, holds: GeoDataFrame | None) -> tuple[list[str], NDArray[np.intp]]:
    """Say why each spot has no hold (empty text where it has one), and give the row of its first good hold or -1."""
    import numpy as np

    rows = np.full(len(spots), -1, dtype=np.intp)
    if holds is None:
        return [""] * len(spots), rows
    good: dict[str, int] = {}
    why: dict[str, str] = {}
    order = np.argsort(holds["hold_no"].to_numpy(dtype=float), kind="stable")
    for row in order:
        spot_id = str(holds["spot_id"].iloc[row])
        if holds["status"].iloc[row] == "ok":
            good.setdefault(spot_id, int(row))
        else:
            why.setdefault(spot_id, str(holds["reason"].iloc[row]) or "none found")
    reasons: list[str] = []
    for place, spot_id in enumerate(spots["spot_id"]):
        rows[place] = good.get(str(spot_id), -1)
        reasons.append("" if rows[place] >= 0 else why.get(str(spot_id), "the holds layer has none for it"))
    return reasons, rows


def _weather(spots: GeoDataFrame, holds: GeoDataFrame | None, rows: NDArray[np.intp]) -> tuple[Floats, ...]:
    """Take wave band and wind from the hold where it carries them, else from the spot."""
    import numpy as np

    taken = []
    for names in (("wave_low_m", "wave_m"), ("wave_high_m", "wave_m"), ("wind_mps",)):
        values = np.full(len(spots), np.nan)
        for name in names:
            own = _numbers(spots, name)
            if holds is not None and len(holds):
                at_hold = _numbers(holds, name)[np.maximum(rows, 0)]
                own = np.where((rows >= 0) & np.isfinite(at_hold), at_hold, own)
            values = np.where(np.isnan(values), own, values)
        taken.append(values)
    return tuple(taken)


def _bottom(spots: GeoDataFrame, depth: Depth | None, points: Floats) -> Floats:
    """Charted depth of each spot: its own, else that of the coverage."""
    import warnings

    import numpy as np

    from castshed.toolbox.errors import DataWarning

    own = np.asarray(spots["depth_m"].to_numpy(dtype=float, na_value=np.nan))
    if depth is None:
        return own
    charted = depth.at(points[:, 0], points[:, 1])
    apart = np.abs(own - charted) > DISAGREE_M
    if apart.any():
        names = ", ".join(spots["spot_id"][apart].astype(str).head(5))
        warnings.warn(
            f"{int(apart.sum())} spots have a depth_m more than {DISAGREE_M} m from the depth coverage; the spot's own "
            f"is used ({names}{' and more' if apart.sum() > 5 else ''}). Check datum, position, and whether it was "
            "the depth of the top.",
            DataWarning,
            stacklevel=3,
        )
    return np.where(np.isnan(own), charted, own)


@algorithm(
    step="wind",
    example="castshed fishable demo_layers/reservoir.gpkg:spots "
    "my_day/plan.gpkg:water --depth demo_layers/reservoir.gpkg:depth --level -4ft "
    "--out my.gpkg:verdicts",
)
def fishable(
    spots: Spots,
    water: Water,
    *,
    depth: Depth | None = None,
    level_m: Level = 0.0,
    holds: Holds | None = None,
    least_depth_m: Length = 0.9144,
    top_margin_m: Length = 0.3048,
    deepest_m: Length | None = None,
    wave_limit_m: Length = 0.6096,
    wind_limit_mps: Speed = 8.9408,
) -> Verdicts:
    """Judge every spot for today: depth, cover, wind, waves and a place to sit.

    Every spot comes back with `fishable` 1 or 0. A spot that fails keeps its row, and `reason` lists everything that
    speaks against it, each with its margin in metres and feet: dry, not on today's water, too shallow, top bare or
    too near the surface, too deep, waves or wind over the limit, no hold. A fishable spot says what there is.

    Wind and waves are judged where the spots, or better the holds, carry the columns of wind-exposure; the upper end
    of the wave band counts. A verdict is about fishing a spot. It does not clear the way to it, and calm figures are
    estimates: the official forecast, local rules and what you see on the water come first.

    Parameters
    ----------
    spots
        Spots, with or without the columns of wind-exposure.
    water
        Today's water, from water-today.
    depth
        Depth coverage, for spots without a depth of their own.
    level_m
        Today's surface minus chart datum; four feet down is -4ft.
    holds
        Holds from boat-hold; a spot without a good one fails.
    least_depth_m
        Least depth today over the bottom of a spot (common practice).
    top_margin_m
        Least water over the top of what stands there (common practice). Timber, docks, vegetation and bluffs stand
        out of the water by nature and are not held to it.
    deepest_m
        Greatest depth today; without it no limit.
    wave_limit_m
        Greatest wave, against the upper end of the band (common practice for small open boats; know your own).
    wind_limit_mps
        Greatest wind (common practice; know your own).

    Returns
    -------
    The spots with `depth_today_m`, `top_today_m` (water over the top, negative when bare), `fishable`, `reason` and
    `margin_m`, the tightest margin in depth: positive when kept, negative when missed.

    Notes
    -----
    ``today's depth = charted depth + level``; a spot's own `depth_m` (of the bottom, at chart datum) goes before the
    coverage, and where they differ by more than 1.5 m that is pointed out. A line or polygon is judged at one point
    of it on today's water.
    """
    import warnings

    import numpy as np
    import shapely

    from castshed.toolbox.errors import DataWarning
    from castshed.toolbox.water.exposure import place_points
    from castshed.toolbox.water.fetch import on_water
    from castshed.toolbox.water.verdict import Limits, judge

    surface = shapely.union_all(water.geometry.to_numpy())
    geometry = spots.geometry.to_numpy()
    points = place_points(geometry, surface)
    wet = on_water(points, surface)
    off = np.zeros(len(spots))
    if (~wet).any():
        off[~wet] = np.maximum(shapely.distance(geometry[~wet], surface), 0.001)

    height = spots["height_m"].to_numpy(dtype=float, na_value=np.nan)
    if (height < 0).any():
        names = ", ".join(spots["spot_id"][height < 0].astype(str).head(5))
        warnings.warn(
            f"height_m is negative at {int((height < 0).sum())} spots ({names}); taken as not known.",
            DataWarning,
            stacklevel=2,
        )
    no_hold, rows = _without_hold(spots, holds)
    low, high, wind = _weather(spots, holds, rows)
    told = {*spots.columns, *(() if holds is None else holds.columns)}
    if len(spots) and not told & {"wave_m", "wave_high_m", "wind_mps"}:
        warnings.warn(
            "Neither spots nor holds carry wind and waves, so they are not judged; run wind-exposure first.",
            DataWarning,
            stacklevel=2,
        )
    found = judge(
        _bottom(spots, depth, points),
        np.where(height < 0, np.nan, height),
        list(spots["kind"]),
        level_m=level_m,
        limits=Limits(least_depth_m, top_margin_m, deepest_m, wave_limit_m, wind_limit_mps),
        off_water_m=off,
        wave_low_m=low,
        wave_high_m=high,
        wind_mps=wind,
        no_hold=no_hold,
    )
    result: GeoDataFrame = spots.copy()
    result["depth_today_m"] = found.depth_today_m
    result["top_today_m"] = found.top_today_m
    result["fishable"] = found.fishable.astype(int)
    result["reason"] = np.array(found.reason, dtype=object)
    result["margin_m"] = found.margin_m
    return result
