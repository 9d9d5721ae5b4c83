"""Wave height and period on a lake from wind, fetch and depth, by named published methods.

Every method is a growth formula for the sea a steady wind raises over open water: significant wave height
(the mean of the highest third, taken equal to Hm0) and peak period. Methods differ by about a third on
lakes, so a figure goes with the lowest and highest of them. None knows boat wakes, gusts, squalls or waves
thrown back by a bluff: a small figure is an estimate and never a statement that the water is safe.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from ...errors import UsageError
from .wave_growth import GRAVITY, METHOD_TITLES, WAVE_METHODS, wind_stress_factor

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "METHOD_TITLES",
    "WAVE_METHODS",
    "Waves",
    "beaufort",
    "breaking_limit",
    "duration_needed",
    "wave_band",
    "wave_height",
]

BREAKING: Final = 0.78  # height of a wave that breaks, as a share of the depth it stands in (SPM 1984, ch. 2)
_STILL: Final = (
    1e-3  # wind, fetch, depth or time below it raise nothing; the formulas only divide rounding errors
)
_KNOT_MPS: Final = 1852.0 / 3600.0
_BEAUFORT_KN: Final = (
    1,
    4,
    7,
    11,
    17,
    22,
    28,
    34,
    41,
    48,
    56,
    64,
)  # least whole knots of force 1 to 12 (WMO)


class Waves(NamedTuple):
    """A wave estimate with the spread of the methods around it.

    Attributes
    ----------
    height_m
        Significant wave height by the method asked for.
    period_s
        Peak period by the same method.
    low_m, high_m
        Least and greatest height of all methods.
    """

    height_m: Floats
    period_s: Floats
    low_m: Floats
    high_m: Floats


def _numbers(given: ArrayLike, name: str) -> Floats:
    values = np.asarray(given, dtype=np.float64)
    if (values < 0.0).any():
        raise UsageError(f"{name} is {float(np.nanmin(values)):g}; it must be 0 or more.")
    return values


def _grow(
    method: str,
    wind_mps: ArrayLike,
    fetch_m: ArrayLike,
    depth_m: ArrayLike | None,
    duration_s: ArrayLike | None,
) -> tuple[Floats, Floats]:
    if method not in WAVE_METHODS:
        raise UsageError(f"Wave method is '{method}'; choose one of: {', '.join(WAVE_METHODS)}.")
    depth = np.asarray(np.inf if depth_m is None else depth_m, dtype=np.float64)
    wind, fetch, depth, duration = np.broadcast_arrays(
        _numbers(wind_mps, "wind_mps"),
        _numbers(fetch_m, "fetch_m"),
        np.where(np.isnan(depth), np.inf, depth),
        _numbers(np.inf if duration_s is None else duration_s, "duration_s"),
    )
    # No fetch known and no wind is not a calm: what is not known stays so.
    unknown = np.isnan(wind) | np.isnan(fetch) | np.isnan(duration)
    still = (wind < _STILL) | (fetch < _STILL) | (depth < _STILL) | (duration < _STILL)
    moved = ~(unknown | still)
    height = np.where(unknown, np.nan, 0.0)
    period = height.copy()
    height[moved], period[moved] = WAVE_METHODS[method](
        wind[moved], fetch[moved], depth[moved], duration[moved]
    )
    return height, period


def wave_height(
    method: str,
    wind_mps: ArrayLike,
    fetch_m: ArrayLike,
    depth_m: ArrayLike | None = None,
    duration_s: ArrayLike | None = None,
) -> tuple[Floats, Floats]:
    """Estimate significant wave height and peak period by one published method.

    Parameters
    ----------
    method
        A key of `WAVE_METHODS`.
    wind_mps
        Sustained wind 10 m above the water, m/s.
    fetch_m
        Fetch, metres.
    depth_m
        Mean depth today along the fetch, metres. None or NaN: not known, taken as deep, which gives the
        higher wave. At 0 or less nothing grows.
    duration_s
        How long the wind has blown so, seconds; None: long enough, so that fetch alone limits the waves.

    Returns
    -------
    tuple
        Height in metres and period in seconds, in the common shape of the inputs; NaN where wind or fetch
        is NaN.

    Raises
    ------
    UsageError
        Unknown method; negative wind, fetch or duration.

    Notes
    -----
    ``spm-1984``: Shore Protection Manual, US Army CERC 1984, ch. 3: deep, shallow and duration-limited,
    with UA.
    ``young-verhagen-1996``: Coastal Engineering 29, 47-78; measured on a shallow lake.
    ``hurdle-stive-1989``: Coastal Engineering 12, 339-411 (reference from memory); smooth form of SPM 1984.
    ``cem-2002``: Coastal Engineering Manual, EM 1110-2-1100 Part II-2, eq. II-2-36 to 38, in friction
    velocity; shallow water by its limiting period 9.78 (d/g)^1/2 (from memory). It asks for the
    straight-line fetch.
    ``aces-1992``: Automated Coastal Engineering System, Technical Reference, open water: the equations of
    SPM 1984 with another drag law. Not to be mixed with UA of SPM 1984. The second and third publish no law
    for short winds: they use the equivalent fetch of SPM 1984 in deep water. The manual's own two laws for
    short winds do not meet: limited by time, its shallow form can exceed its deep one.

    Where SPM 1984 (shallow) and Hurdle and Stive speak of the significant period, that is given: about 0.95 of the
    peak period.

    What makes it wrong: wind over land, at another height or averaged over minutes only (gusts); wind that
    turns or funnels between hills; a fetch that narrows; depth that varies strongly along the fetch; very
    short fetches, below about 100 m, where the formulas are extrapolated. Single waves reach nearly twice
    the significant height.

    Examples
    --------
    >>> height, period = wave_height("spm-1984", 10.0, 5000.0, depth_m=10.0)
    >>> round(float(height), 4), round(float(period), 3)
    (0.4245, 2.306)
    """
    return _grow(method, wind_mps, fetch_m, depth_m, duration_s)


def wave_band(
    method: str,
    wind_mps: ArrayLike,
    fetch_m: ArrayLike,
    depth_m: ArrayLike | None = None,
    duration_s: ArrayLike | None = None,
    *,
    straight_fetch_m: ArrayLike | None = None,
) -> Waves:
    """Estimate the wave by one method, with the least and greatest height of all of them.

    Parameters
    ----------
    method, wind_mps, fetch_m, depth_m, duration_s
        As for `wave_height`.
    straight_fetch_m
        Straight-line fetch, where fetch_m is an average of radials; the Coastal Engineering Manual's member
        of the band is then worked from it, as that manual asks.

    Returns
    -------
    Waves
        The estimate and its band.

    Notes
    -----
    The band is the disagreement of the methods, about -30 to +30 % on a lake. It is not a limit on single
    waves.
    """
    height, period = _grow(method, wind_mps, fetch_m, depth_m, duration_s)
    low, high = height, height
    for other in WAVE_METHODS:
        if other == method:
            continue
        own_fetch = straight_fetch_m if other == "cem-2002" and straight_fetch_m is not None else fetch_m
        one, _ = _grow(other, wind_mps, own_fetch, depth_m, duration_s)
        low, high = np.minimum(low, one), np.maximum(high, one)
    return Waves(height, period, low, high)


def duration_needed(wind_mps: ArrayLike, fetch_m: ArrayLike, depth_m: ArrayLike | None = None) -> Floats:
    """Tell how long a wind must blow until the fetch, not time, limits the waves (SPM 1984 eq. 3-35, 3-41).

    Parameters
    ----------
    wind_mps, fetch_m, depth_m
        As for `wave_height`.

    Returns
    -------
    NDArray
        Seconds; NaN without wind.
    """
    _, period = wave_height("spm-1984", wind_mps, fetch_m, depth_m)
    wind, fetch = np.asarray(wind_mps, dtype=np.float64), np.asarray(fetch_m, dtype=np.float64)
    stress = wind_stress_factor(np.where(wind >= _STILL, wind, np.nan))
    deep = 68.8 * np.cbrt(GRAVITY * fetch / stress**2) ** 2 * stress / GRAVITY
    shallow = 537.0 * (GRAVITY * period / stress) ** (7.0 / 3.0) * stress / GRAVITY
    known = (
        np.zeros(()) if depth_m is None else np.nan_to_num(np.asarray(depth_m, dtype=np.float64), posinf=0.0)
    )
    return np.where(known > 0.0, shallow, deep)


def breaking_limit(depth_m: ArrayLike) -> Floats:
    """Greatest wave that stands in a depth: 0.78 of it (SPM 1984); no limit where the depth is not known."""
    depth = np.asarray(depth_m, dtype=np.float64)
    return np.where(np.isnan(depth), np.inf, BREAKING * np.maximum(depth, 0.0))


def beaufort(wind_mps: ArrayLike) -> NDArray[np.intp]:
    """Force on the Beaufort scale from the wind in m/s, by the whole knots of the WMO table.

    Notes
    -----
    The wave heights of that scale are for the open sea and mean nothing on a lake.

    Examples
    --------
    >>> beaufort([0.0, 5.0, 8.2]).tolist()
    [0, 3, 4]
    """
    knots = np.rint(_numbers(wind_mps, "wind_mps") / _KNOT_MPS)
    return np.searchsorted(np.asarray(_BEAUFORT_KN), knots, side="right")
