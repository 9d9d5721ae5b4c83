"""The verdict on each spot: today's water over it, wind and waves, a place for the boat, every reason against.

Margins are said in metres and feet, so that nobody has to convert them in their head.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import FOOT_M
from .waves import beaufort

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

STANDS_OUT: Final = frozenset({"standing_timber", "dock", "vegetation", "bluff"})
"""Kinds that stand out of the water by nature; a bare top does not count against them (common practice)."""

_ROUNDING_M: Final = 1e-6  # a spot exactly at a limit passes, whatever the last digit of a float says
_MPH_MPS: Final = 1609.344 / 3600.0


@dataclass(frozen=True)
class Limits:
    """What a spot must keep to.

    Attributes
    ----------
    least_depth_m
        Least depth today.
    top_margin_m
        Least water over the top of what stands on the bottom.
    deepest_m
        Greatest depth today; None: no limit.
    wave_m
        Greatest wave, against the upper end of the band.
    wind_mps
        Greatest wind.
    """

    least_depth_m: float
    top_margin_m: float
    deepest_m: float | None
    wave_m: float
    wind_mps: float


@dataclass(frozen=True, eq=False)
class Verdicts:
    """Verdicts on n spots.

    Attributes
    ----------
    depth_today_m, top_today_m
        Water over the bottom and over the top; negative where it stands bare, NaN where not known.
    fishable
        True where nothing speaks against the spot.
    reason
        Every reason against, joined by ``; ``; for a fishable spot a short statement that begins
        ``fishable:``.
    margin_m
        Least of the margins in depth: by how much the spot passes (positive) or fails (negative) the
        tightest of least depth, water over the top and greatest depth. NaN where the depth is not known.
    """

    depth_today_m: Floats
    top_today_m: Floats
    fishable: Flags
    reason: list[str]
    margin_m: Floats


def length_words(metres: float) -> str:
    """Say a length in metres and feet.

    Examples
    --------
    >>> length_words(0.4)
    '0.4 m (1.3 ft)'
    >>> length_words(0.03)
    '0.03 m (0.1 ft)'
    >>> length_words(0.0001)
    'less than 0.01 m (0.03 ft)'
    """
    if abs(metres) < 0.005:
        return "less than 0.01 m (0.03 ft)"
    if abs(metres) >= 99.95:
        return f"{metres:.0f} m ({metres / FOOT_M:.0f} ft)"
    digits = 1 if abs(metres) >= 0.095 else 2
    return f"{metres:.{digits}f} m ({metres / FOOT_M:.1f} ft)"


def speed_words(mps: float) -> str:
    """Say a speed in metres a second and miles an hour.

    Examples
    --------
    >>> speed_words(8.9408)
    '8.9 m/s (20.0 mph)'
    """
    return f"{mps:.1f} m/s ({mps / _MPH_MPS:.1f} mph)"


def _is_cover(kind: str) -> bool:
    return kind in {
        "conifer_brush",
        "hardwood_brush",
        "brush",
        "stumps",
        "rock_pile",
        "stake_bed",
        "artificial",
    }


def _statement(kind: str, depth: float, top: float, weather: tuple[float, float, float]) -> str:
    words = f"fishable: {length_words(depth)} of water today"
    if np.isfinite(top):
        words += f", top {length_words(abs(top))} " + ("under" if top >= 0 else "out of the water")
    elif _is_cover(kind):
        words += ", height of the top not known"
    low, high, wind = weather
    if np.isnan(high):
        return words + ("; wind and waves not judged" if np.isnan(wind) else "; waves not judged")
    feet = f"{low / FOOT_M:.1f} to {high / FOOT_M:.1f} ft"
    return words + f"; wave estimate {low:.1f} to {high:.1f} m ({feet}), no promise of calm"


def judge(
    depth_m: ArrayLike,
    height_m: ArrayLike,
    kind: Sequence[str],
    *,
    level_m: float,
    limits: Limits,
    off_water_m: ArrayLike,
    wave_low_m: ArrayLike,
    wave_high_m: ArrayLike,
    wind_mps: ArrayLike,
    no_hold: Sequence[str],
) -> Verdicts:
    """Judge spots, with every reason that speaks against each.

    Parameters
    ----------
    depth_m
        Bottom below chart datum, NaN where not known.
    height_m
        How far the top stands off the bottom, NaN where nothing is known to stand there.
    kind
        Kind of each spot.
    level_m
        Today's surface minus chart datum.
    limits
        What a spot must keep to.
    off_water_m
        Distance from today's water, 0 for a spot on it.
    wave_low_m, wave_high_m, wind_mps
        Wave band and wind at the spot or its hold; NaN: not judged.
    no_hold
        Why a spot has no place for the boat; empty text where it has one or holds are not judged.

    Returns
    -------
    Verdicts
        In the order of the spots.

    Notes
    -----
    ``today's depth = charted depth + level``; ``water over the top = today's depth - height``. A lake five
    feet down takes five feet off every charted depth (common practice).

    What makes it wrong: a depth that was of the top and not of the bottom, a datum other than chart datum,
    silting, cover that has sunk or been moved. A verdict is about fishing a spot; it does not clear the way
    to it.
    """
    depth, height = np.asarray(depth_m, dtype=np.float64) + level_m, np.asarray(height_m, dtype=np.float64)
    off, wind = np.asarray(off_water_m, dtype=np.float64), np.asarray(wind_mps, dtype=np.float64)
    low, high = np.asarray(wave_low_m, dtype=np.float64), np.asarray(wave_high_m, dtype=np.float64)
    top = depth - height
    may_stand_out = np.array([one in STANDS_OUT for one in kind], dtype=bool)
    reasons: list[list[str]] = [[] for _ in range(depth.size)]

    def against(rows: Flags, text: str, *values: Floats) -> None:
        for row in np.flatnonzero(rows):
            reasons[row].append(text.format(*(length_words(float(value[row])) for value in values)))

    def under(value: Floats, limit: float) -> Flags:
        return np.asarray(value < limit - _ROUNDING_M)

    against(off > 0.0, "not on today's water, {} from it", off)
    against(np.isnan(depth), "depth not known")
    dry = depth <= _ROUNDING_M
    against(dry, "dry by {}", np.abs(depth))
    against(~dry & under(depth, limits.least_depth_m), "{} too shallow", limits.least_depth_m - depth)
    watched = ~dry & ~may_stand_out
    bare = watched & under(top, 0.0)
    against(bare, "top bare by {}", -top)
    against(
        watched & ~bare & under(top, limits.top_margin_m),
        "top {} too near the surface",
        limits.top_margin_m - top,
    )
    deepest = np.inf if limits.deepest_m is None else limits.deepest_m
    against(under(-depth, -deepest), "{} too deep", depth - deepest)
    against(
        high > limits.wave_m + _ROUNDING_M, "waves up to {}, {} over the limit", high, high - limits.wave_m
    )
    strong = wind > limits.wind_mps + _ROUNDING_M
    force = beaufort(np.nan_to_num(wind))
    for row in np.flatnonzero(strong):
        over = speed_words(float(wind[row]) - limits.wind_mps)
        reasons[row].append(
            f"wind {speed_words(float(wind[row]))}, Beaufort {force[row]}, {over} over the limit"
        )
    for found, why in zip(reasons, no_hold, strict=True):
        if why:
            found.append(f"no hold: {why}")

    margins = np.fmin(depth - limits.least_depth_m, deepest - depth)
    margins = np.where(may_stand_out, margins, np.fmin(margins, top - limits.top_margin_m))
    fishable = np.array([not one for one in reasons], dtype=bool)
    words = [
        "; ".join(found)
        if found
        else _statement(
            kind[row],
            float(depth[row]),
            float(top[row]),
            (float(low[row]), float(high[row]), float(wind[row])),
        )
        for row, found in enumerate(reasons)
    ]
    return Verdicts(depth, top, fishable, words, np.asarray(margins, dtype=np.float64))
