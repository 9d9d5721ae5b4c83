"""The verdict on each spot: today's water over it, wind and waves, a place for the boat, every reason against.

What stands all day (depth, cover, place) is judged apart from what changes with the hour (wind, waves), so that one
wind and a day of hourly winds take the same road.

Margins in words: metres and feet, metres a second and miles an hour, so that nobody has to convert in their head.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from ...units import FOOT_M
from ..wind.waves import beaufort

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

_MPH_MPS: Final = 1609.344 / 3600.0


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
    if 0.0 < abs(mps) < 0.05:
        return "less than 0.1 m/s (0.1 mph)"
    return f"{mps:.1f} m/s ({mps / _MPH_MPS:.1f} mph)"


def band_words(low_m: float, high_m: float) -> str:
    """Say a wave band, never as calm.

    Examples
    --------
    >>> band_words(0.1, 0.3)
    'wave estimate 0.1 to 0.3 m (0.3 to 1.0 ft), no promise of calm'
    >>> band_words(0.0, 0.01)
    'wave estimate under 0.1 m (0.3 ft), no promise of calm'
    """
    if high_m < 0.05:
        return "wave estimate under 0.1 m (0.3 ft), no promise of calm"
    feet = f"{low_m / FOOT_M:.1f} to {high_m / FOOT_M:.1f} ft"
    return f"wave estimate {low_m:.1f} to {high_m:.1f} m ({feet}), no promise of calm"


STANDS_OUT: Final = frozenset({"standing_timber", "dock", "vegetation", "bluff"})
"""Kinds that stand out of the water by nature; a bare top does not count against them (common practice)."""

COVER: Final = frozenset(
    {"conifer_brush", "hardwood_brush", "brush", "stumps", "rock_pile", "stake_bed", "artificial"}
)

ROUNDING: Final = 1e-6
"""A spot exactly at a limit passes, whatever the last digit of a float says (metres, or metres a second)."""


@dataclass(frozen=True)
class FishingLimits:
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
    gust_mps
        Greatest gust.
    """

    least_depth_m: float
    top_margin_m: float
    deepest_m: float | None
    wave_m: float
    wind_mps: float
    gust_mps: float = np.inf


@dataclass(frozen=True, eq=False)
class Standing:
    """What holds of n spots all day.

    Attributes
    ----------
    depth_today_m, top_today_m
        Water over the bottom and over the top; negative where it stands bare, NaN where not known.
    margin_m
        Least of the margins in depth: by how much the spot passes (positive) or fails (negative) the
        tightest of least depth, water over the top and greatest depth. NaN where the depth is not known.
    against
        Reasons against each spot.
    words
        Depth and cover of each spot, for a spot that passes.
    unsure
        True where depth and level, wrong by no more than their error, would turn the verdict round.
    error_m
        That error.
    """

    depth_today_m: Floats
    top_today_m: Floats
    margin_m: Floats
    against: list[list[str]]
    words: list[str]
    unsure: Flags
    error_m: Floats


@dataclass(frozen=True, eq=False)
class Verdicts:
    """Verdicts on n spots.

    Attributes
    ----------
    depth_today_m, top_today_m, margin_m
        As in `Standing`.
    fishable
        True where nothing speaks against the spot.
    marginal
        True where the verdict would turn round within the error of depth and level.
    reason
        Every reason against, joined by ``; ``; for a fishable spot a short statement that begins
        ``fishable:``.
    """

    depth_today_m: Floats
    top_today_m: Floats
    fishable: Flags
    marginal: Flags
    reason: list[str]
    margin_m: Floats


def _depth_words(kind: str, depth: float, top: float) -> str:
    words = f"fishable: {length_words(depth)} of water today"
    if np.isfinite(top):
        return words + f", top {length_words(abs(top))} " + ("under" if top >= 0 else "out of the water")
    return words + (", height of the top not known" if kind in COVER else "")


def marginal_words(error_m: float) -> str:
    """Say that a spot passes only within the error of depth and level."""
    return f"; marginal: depth and level are known to {length_words(error_m)}"


def stand(
    depth_m: ArrayLike,
    height_m: ArrayLike,
    kind: Sequence[str],
    *,
    level_m: float,
    limits: FishingLimits,
    off_water_m: ArrayLike,
    other: Sequence[Sequence[str]],
    error_m: ArrayLike = 0.0,
) -> Standing:
    """Judge what stands all day: depth window by kind, and whatever else speaks against a spot.

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
    other
        Further reasons against each spot: no hold, out of reach, a closed zone.
    error_m
        How far depth and level together may be off (95 %), for all spots or each.

    Returns
    -------
    Standing
        In the order of the spots.

    Notes
    -----
    ``today's depth = charted depth + level``; ``water over the top = today's depth - height``. A lake five
    feet down takes five feet off every charted depth (common practice).

    A spot that passes is unsure when its tightest margin is less than the error. One that fails is unsure when one
    and the same shift of depth, no greater than the error, would take away every reason against it; a spot off the
    water that fell dry counts as failing by depth alone.

    What makes it wrong: a depth that was of the top and not of the bottom, a datum other than chart datum,
    silting, cover that has sunk or been moved. A verdict is about fishing a spot; it does not clear the way
    to it.
    """
    depth, height = np.asarray(depth_m, dtype=np.float64) + level_m, np.asarray(height_m, dtype=np.float64)
    off = np.asarray(off_water_m, dtype=np.float64)
    error = np.broadcast_to(np.asarray(error_m, dtype=np.float64), depth.shape)
    top = depth - height
    may_stand_out = np.array([one in STANDS_OUT for one in kind], dtype=bool)
    reasons: list[list[str]] = [[] for _ in range(depth.size)]

    def against(rows: Flags, text: str, *values: Floats) -> None:
        for row in np.flatnonzero(rows):
            reasons[row].append(text.format(*(length_words(float(value[row])) for value in values)))

    def under(value: Floats, limit: float) -> Flags:
        return np.asarray(value < limit - ROUNDING)

    against(off > 0.0, "not on today's water, {} from it", off)
    against(np.isnan(depth), "depth not known")
    dry = depth <= ROUNDING
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

    shallow = depth - limits.least_depth_m  # to spare above the least depth, and over the top of cover
    shallow = np.where(may_stand_out, shallow, np.fmin(shallow, top - limits.top_margin_m))
    deep = deepest - depth
    margins = np.fmin(shallow, deep)
    elsewhere = np.array([bool(len(one)) for one in other], dtype=bool) | ((off > 0.0) & ~dry)
    fails = np.array([bool(one) for one in reasons], dtype=bool) | elsewhere
    turns = np.maximum(-shallow, -error) <= np.minimum(deep, error) + ROUNDING
    unsure = np.where(fails, turns & ~elsewhere, margins < error - ROUNDING) & np.isfinite(depth)
    for found, more in zip(reasons, other, strict=True):
        found.extend(more)
    words = [_depth_words(one, float(depth[row]), float(top[row])) for row, one in enumerate(kind)]
    return Standing(depth, top, np.asarray(margins), reasons, words, np.asarray(unsure, dtype=bool), error)


def blown_out(
    wave_high_m: Floats, wind_mps: Floats, gust_mps: Floats, limits: FishingLimits
) -> tuple[list[str], list[str], list[str]]:
    """Say how far waves, wind and gusts are over their limits, each a list of texts; empty where they are not.

    Parameters
    ----------
    wave_high_m
        Upper end of the wave band; NaN: not judged. All arrays are flat and of one length.
    wind_mps, gust_mps
        Wind and gusts; NaN: not judged.
    limits
        What they must keep to.
    """
    waves, winds, gusts = ([""] * wave_high_m.size for _ in range(3))
    for row in np.flatnonzero(wave_high_m > limits.wave_m + ROUNDING):
        high = float(wave_high_m[row])
        waves[row] = f"waves up to {length_words(high)}, {length_words(high - limits.wave_m)} over the limit"
    force = beaufort(np.nan_to_num(wind_mps))
    for row in np.flatnonzero(wind_mps > limits.wind_mps + ROUNDING):
        wind = float(wind_mps[row])
        over = speed_words(wind - limits.wind_mps)
        winds[row] = f"wind {speed_words(wind)}, Beaufort {force[row]}, {over} over the limit"
    for row in np.flatnonzero(gust_mps > limits.gust_mps + ROUNDING):
        gust = float(gust_mps[row])
        gusts[row] = f"gusts {speed_words(gust)}, {speed_words(gust - limits.gust_mps)} over the limit"
    return waves, winds, gusts


_OF_WAVES: Final = re.compile(
    r"(?:waves|\w+ seas on the way \w+) up to [^(]+\((?P<high>[\d.]+) ft\), [^(]+\((?P<over>[\d.]+) ft\) over"
)
_FEET_TOLD: Final = 0.05  # half a step of what is said


def waves_alone(reason: str, share: float) -> bool:
    """Tell from the words of a verdict whether waves alone are against, and over their limit by a share of it at most.

    Examples
    --------
    >>> waves_alone("waves up to 0.4 m (1.3 ft), 0.1 m (0.3 ft) over the limit", 0.3)
    True
    >>> waves_alone("waves up to 0.4 m (1.3 ft), 0.1 m (0.3 ft) over the limit", 0.2)
    False
    >>> waves_alone("dark until 06:10; waves up to 0.4 m (1.3 ft), 0.1 m (0.3 ft) over the limit", 0.3)
    False
    """
    told = [_OF_WAVES.match(part) for part in reason.split("; ")]
    return all(
        one is not None
        and float(one["over"]) - _FEET_TOLD <= share * (float(one["high"]) - float(one["over"])) + 1e-9
        for one in told
    )


def judge(
    standing: Standing,
    *,
    limits: FishingLimits,
    wave_low_m: ArrayLike,
    wave_high_m: ArrayLike,
    wind_mps: ArrayLike,
    gust_mps: ArrayLike,
    way: Sequence[str] | None = None,
) -> Verdicts:
    """Judge spots for one wind, with every reason that speaks against each.

    Parameters
    ----------
    standing
        What holds of them all day, from `stand`.
    limits
        What a spot must keep to.
    wave_low_m, wave_high_m, wind_mps, gust_mps
        Wave band, wind and gusts at the spot or its hold; NaN: not judged.
    way
        What speaks against the way to each spot, empty text for nothing; None: not judged.

    Returns
    -------
    Verdicts
        In the order of the spots.
    """
    low, high, wind, gust = (
        np.asarray(one, dtype=np.float64) for one in (wave_low_m, wave_high_m, wind_mps, gust_mps)
    )
    texts_of = (*blown_out(high, wind, gust, limits), list(way) if way is not None else [""] * high.size)
    weather = [[text for text in texts if text] for texts in zip(*texts_of, strict=True)]
    reasons = [[*day, *hour] for day, hour in zip(standing.against, weather, strict=True)]
    fishable = np.array([not one for one in reasons], dtype=bool)
    marginal = standing.unsure & np.array([not one for one in weather], dtype=bool)
    texts = []
    for row, found in enumerate(reasons):
        text = "; ".join(found)
        if not found:
            text = standing.words[row]
            if np.isfinite(high[row]):
                text += f"; {band_words(float(low[row]), float(high[row]))}"
            else:
                text += "; wind and waves not judged" if np.isnan(wind[row]) else "; waves not judged"
            text += marginal_words(float(standing.error_m[row])) if marginal[row] else ""
        texts.append(text)
    return Verdicts(
        standing.depth_today_m, standing.top_today_m, fishable, marginal, texts, standing.margin_m
    )
