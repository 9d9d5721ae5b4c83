"""Whether the legs of a run that is timed keep clear of seas over their limit, in the hour they are run in.

Part of the proof of a run; shares nothing with what plans by the hour: rays cut with the shore, and the deep-water law
of the Shore Protection Manual (US Army CERC 1984, eq. 3-33: H = 5.112e-4 UA F^0.5, UA = 0.71 U^1.23).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from .violations import Violation

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import geopandas as gpd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LET_PASS: Final = 1.15
"""Laws of growth differ, and a plan judges other places of the same way: so much over a limit is let pass."""

_EVERY_M: Final = 150.0
_NAMES: Final = ("head", "beam", "following")


@dataclass(frozen=True)
class SeasLet:
    """Greatest wave by where it meets the boat; infinite: not looked at."""

    head_m: float = math.inf
    beam_m: float = math.inf
    following_m: float = math.inf


NO_LIMIT: Final = SeasLet()


@dataclass(frozen=True, eq=False)
class ToldWinds:
    """Winds of the hours, and which rows of them stand at a moment."""

    wind_mps: Floats
    from_deg: Floats
    stands: Callable[[float], list[int]]


def told_winds(
    exposure: pd.DataFrame, at_s: Floats, stands: Callable[[Floats, float], list[int]]
) -> ToldWinds:
    """Take of each hour the strongest wind, and where it comes from where all places are told the same.

    Parameters
    ----------
    exposure, at_s
        Rows by place and hour, and the moment of each.
    stands
        Which of the hours, in order, stand at a moment.
    """
    wind = pd.to_numeric(exposure["wind_mps"], errors="coerce").to_numpy(dtype=float)
    origin = pd.to_numeric(exposure["wind_from_deg"], errors="coerce").to_numpy(dtype=float)
    known = np.isfinite(wind)
    hours = np.unique(at_s[known])
    strongest, comes = np.empty(len(hours)), np.empty(len(hours))
    for k, moment in enumerate(hours):
        own = known & (at_s == moment)
        strongest[k] = wind[own].max()
        bearings = np.unique(origin[own])
        comes[k] = bearings[0] if len(bearings) == 1 else np.nan
    return ToldWinds(strongest, comes, lambda at: stands(hours, at))


def _points(line: Any) -> tuple[Floats, Floats, Floats]:
    """Points along a line, its heading at each, and the share of the line that is run by then."""
    xy = shapely.get_coordinates(line)
    moves = np.diff(xy, axis=0)
    length = np.hypot(moves[:, 0], moves[:, 1])
    xy, moves, length = xy[:-1][length > 0.0], moves[length > 0.0], length[length > 0.0]
    count = np.maximum(np.ceil(length / _EVERY_M), 1).astype(int)
    of = np.repeat(np.arange(len(length)), count)
    share = (np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[of]
    before = np.cumsum(length) - length
    heading = np.degrees(np.arctan2(moves[:, 0], moves[:, 1]))[of]
    return xy[of] + share[:, None] * moves[of], heading, (before[of] + share * length[of]) / length.sum()


def _fetch_m(points: Floats, bearing_deg: float, shore: Any, reach_m: float) -> Floats:
    angle = math.radians(bearing_deg)
    ends = points + reach_m * np.array([math.sin(angle), math.cos(angle)])
    rays = shapely.linestrings(np.stack([points, ends], axis=1))
    away = shapely.distance(shapely.points(points), shapely.intersection(rays, shore))
    return np.where(np.isnan(away), 0.0, away)  # a ray that meets no shore begins off the water


def seas_violations(
    legs: gpd.GeoDataFrame,
    left_s: dict[int, float],
    water: gpd.GeoDataFrame,
    winds: ToldWinds,
    limits: SeasLet,
) -> Iterator[Violation]:
    """Look at the seas along every leg, at the moment each place of it is passed.

    Parameters
    ----------
    legs
        Layer of the run, in order, with ``time_s``.
    left_s
        When each leg is left, by its number.
    water
        Today's water.
    winds, limits
        Winds of the hours, and what the boat is held to.
    """
    if not len(water) or all(math.isinf(one) for one in (limits.head_m, limits.beam_m, limits.following_m)):
        return
    shore = shapely.boundary(shapely.union_all(shapely.make_valid(water.geometry.to_numpy())))
    west, south, east, north = shapely.bounds(shore)
    reach = math.hypot(east - west, north - south) + 1.0
    allowed = np.array([limits.head_m, limits.beam_m, limits.following_m])
    clock: dict[int, float] = dict(left_s)
    worst: dict[int, tuple[float, str, float, float]] = {}
    for number, line, takes in zip(legs["leg_no"], legs.geometry, legs["time_s"], strict=True):
        leg = int(number)
        if leg not in clock or line is None or line.length == 0.0:
            continue
        points, heading, share = _points(line)
        moments = clock[leg] + share * float(takes)
        clock[leg] += float(takes)
        standing = [winds.stands(float(at)) for at in moments]
        for row in sorted({row for own in standing for row in own}):
            wind, origin = float(winds.wind_mps[row]), float(winds.from_deg[row])
            if not math.isfinite(origin) or wind <= 0.0:
                continue
            mine = np.array([row in own for own in standing])
            stress = 0.71 * wind**1.23
            fetch = _fetch_m(points[mine], origin, shore, reach)
            wave = np.minimum(5.112e-4 * stress * np.sqrt(fetch), 0.2433 * stress**2 / 9.81)
            off = np.abs((origin - heading[mine] + 180.0) % 360.0 - 180.0)
            meets = np.where(off <= 45.0, 0, np.where(off < 135.0, 1, 2))
            over = wave - allowed[meets] * LET_PASS
            k = int(np.argmax(over))
            if over[k] > 0.0 and over[k] > worst.get(leg, (0.0, "", 0.0, 0.0))[0]:
                limit = float(allowed[meets[k]])
                words = f"meets {_NAMES[meets[k]]} seas of {wave[k]:.2f} m, over the limit of {limit:.2f} m"
                at = points[mine][k]
                worst[leg] = float(over[k]), words, float(at[0]), float(at[1])
    for leg in sorted(worst):
        _, words, x, y = worst[leg]
        yield Violation(f"leg {leg}", words, x, y)
