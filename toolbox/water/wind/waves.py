"""Wave height and period on a lake from wind, fetch and depth, by named published methods.

Every method is a growth formula for the sea a steady wind raises over open water: significant wave height
(the mean of the highest third, taken equal to Hm0) and peak period. Methods differ by about a third on
lakes, so a figure goes with the lowest and highest of them. None knows boat wakes, gusts, squalls or waves
thrown back by a bluff: a small figure is an estimate and never a statement that the water is safe.

Growth of waves under a wind: the formulas of the published methods, one function each.

Symbols keep the publications' letters where a reader will compare: x for g F / U^2 and d for g d / U^2, with U the
velocity the method is written in. Inputs are arrays above zero; depth and duration may be inf.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from ...errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Growth = Callable[[Floats, Floats, Floats, Floats], tuple[Floats, Floats]]

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

GRAVITY: Final = 9.81


def _spm_deep(stress: Floats, fetch: Floats) -> tuple[Floats, Floats]:
    """SPM 1984 eq. 3-33, 3-34 and the fully developed limits 3-36, 3-37."""
    x = GRAVITY * fetch / stress**2
    height = np.minimum(1.6e-3 * np.sqrt(x), 0.2433)
    period = np.minimum(0.2857 * np.cbrt(x), 8.134)
    return height * stress**2 / GRAVITY, period * stress / GRAVITY


def _spm_shallow(stress: Floats, fetch: Floats, depth: Floats) -> tuple[Floats, Floats]:
    """SPM 1984 eq. 3-39, 3-40; never above the deep-water law, which they approach."""
    x, d = GRAVITY * fetch / stress**2, GRAVITY * depth / stress**2
    floor_h, floor_t = np.tanh(0.530 * d**0.75), np.tanh(0.833 * d**0.375)
    height = 0.283 * floor_h * np.tanh(0.00565 * np.sqrt(x) / floor_h) * stress**2 / GRAVITY
    period = 7.54 * floor_t * np.tanh(0.0379 * np.cbrt(x) / floor_t) * stress / GRAVITY
    deep_height, deep_period = _spm_deep(stress, fetch)
    return np.minimum(height, deep_height), np.minimum(period, deep_period)


def _spm_any_depth(stress: Floats, fetch: Floats, depth: Floats) -> tuple[Floats, Floats]:
    deep = np.isinf(depth)
    in_deep = _spm_deep(stress, fetch)
    in_shallow = _spm_shallow(stress, fetch, np.where(deep, 1.0, depth))
    return np.where(deep, in_deep[0], in_shallow[0]), np.where(deep, in_deep[1], in_shallow[1])


def _spm_deep_fetch(stress: Floats, duration: Floats) -> Floats:
    """Fetch whose waves a wind of this duration can raise: SPM 1984 eq. 3-35 turned round."""
    return (GRAVITY * duration / stress / 68.8) ** 1.5 * stress**2 / GRAVITY


def _spm_shallow_fetch(stress: Floats, duration: Floats, depth: Floats) -> Floats:
    """Do the same in shallow water: SPM 1984 eq. 3-41 gives the period, 3-40 turned round the fetch."""
    floor_t = np.tanh(0.833 * (GRAVITY * depth / stress**2) ** 0.375)
    share = (GRAVITY * duration / stress / 537.0) ** (3.0 / 7.0) / (7.54 * floor_t)
    reached = share < 1.0  # else the period has its depth limit before the wind ends
    x = (np.arctanh(np.where(reached, share, 0.0)) * floor_t / 0.0379) ** 3
    return np.where(reached, x * stress**2 / GRAVITY, np.inf)


def wind_stress_factor(wind_mps: ArrayLike) -> Floats:
    """Adjust the wind for its pull on the water: ``UA = 0.71 U^1.23`` (SPM 1984 eq. 3-28, m/s)."""
    return np.asarray(0.71 * np.asarray(wind_mps, dtype=np.float64) ** 1.23)


def aces_wind_stress_factor(wind_mps: ArrayLike) -> Floats:
    """Adjust the wind by Garratt's drag: ``UA = U sqrt(0.75 + 0.067 U)`` (ACES 1992 eq. 24, 25, m/s)."""
    wind = np.asarray(wind_mps, dtype=np.float64)
    return np.asarray(wind * np.sqrt(0.75 + 0.067 * wind))


def _spm_1984(wind: Floats, fetch: Floats, depth: Floats, duration: Floats) -> tuple[Floats, Floats]:
    stress = wind_stress_factor(wind)
    deep = np.isinf(depth)
    limit = np.where(
        deep,
        _spm_deep_fetch(stress, duration),
        _spm_shallow_fetch(stress, duration, np.where(deep, 1.0, depth)),
    )
    return _spm_any_depth(stress, np.minimum(fetch, limit), depth)


def _aces_1992(wind: Floats, fetch: Floats, depth: Floats, duration: Floats) -> tuple[Floats, Floats]:
    """Grow by the least of fetch, duration and full development, as ACES does for open water.

    The coefficient 0.0702 of the duration-limited period is that of the program's published source; the
    printed example confirms it.
    """
    stress = aces_wind_stress_factor(wind)
    height, period = _spm_any_depth(stress, fetch, depth)
    time = GRAVITY * duration / stress
    height = np.minimum(height, 8.51e-5 * time ** (5.0 / 7.0) * stress**2 / GRAVITY)
    period = np.minimum(period, 0.0702 * time**0.411 * stress / GRAVITY)
    return np.minimum(height, 0.2433 * wind**2 / GRAVITY), np.minimum(period, 8.134 * wind / GRAVITY)


def _young_verhagen_1996(
    wind: Floats, fetch: Floats, depth: Floats, duration: Floats
) -> tuple[Floats, Floats]:
    limit = _spm_deep_fetch(wind_stress_factor(wind), duration)
    x = GRAVITY * np.minimum(fetch, limit) / wind**2
    d = GRAVITY * depth / wind**2
    floor_e, floor_f = np.tanh(0.493 * d**0.75), np.tanh(0.331 * d**1.01)
    energy = 3.64e-3 * (floor_e * np.tanh(3.13e-3 * x**0.57 / floor_e)) ** 1.74
    frequency = 0.133 * (floor_f * np.tanh(5.215e-4 * x**0.73 / floor_f)) ** -0.37
    return 4.0 * np.sqrt(energy) * wind**2 / GRAVITY, wind / (GRAVITY * frequency)


def _hurdle_stive_1989(wind: Floats, fetch: Floats, depth: Floats, duration: Floats) -> tuple[Floats, Floats]:
    stress = wind_stress_factor(wind)
    x = GRAVITY * np.minimum(fetch, _spm_deep_fetch(stress, duration)) / stress**2
    d = GRAVITY * depth / stress**2
    floor_h, floor_t = np.tanh(0.6 * d**0.75), np.tanh(0.76 * d**0.375)
    height = 0.25 * floor_h * np.sqrt(np.tanh(4.3e-5 * x / floor_h**2))
    period = 8.3 * floor_t * np.cbrt(np.tanh(4.1e-5 * x / floor_t**3))
    return height * stress**2 / GRAVITY, period * stress / GRAVITY


def _cem_2002(wind: Floats, fetch: Floats, depth: Floats, duration: Floats) -> tuple[Floats, Floats]:
    friction = wind * np.sqrt(1e-3 * (1.1 + 0.035 * wind))
    limit = 5.23e-3 * (GRAVITY * duration / friction) ** 1.5 * friction**2 / GRAVITY
    # Shallow water: growth as in deep water until the period reaches its limit for the depth.
    longest = 9.78 * np.sqrt(depth / GRAVITY)
    bottom = (GRAVITY * longest / friction / 0.651) ** 3 * friction**2 / GRAVITY
    x = GRAVITY * np.minimum(np.minimum(fetch, limit), bottom) / friction**2
    height = np.minimum(4.13e-2 * np.sqrt(x), 2.115e2)
    period = np.minimum(0.651 * np.cbrt(x), 2.398e2)
    return height * friction**2 / GRAVITY, period * friction / GRAVITY


WAVE_METHODS: Final[dict[str, Growth]] = {
    "spm-1984": _spm_1984,
    "young-verhagen-1996": _young_verhagen_1996,
    "hurdle-stive-1989": _hurdle_stive_1989,
    "cem-2002": _cem_2002,
    "aces-1992": _aces_1992,
}
"""Growth formulas by name: functions of wind, fetch, depth (inf = deep) and duration (inf = steady)."""

METHOD_TITLES: Final[dict[str, str]] = {
    "spm-1984": "SPM 1984",
    "young-verhagen-1996": "Young and Verhagen 1996",
    "hurdle-stive-1989": "Hurdle and Stive 1989",
    "cem-2002": "CEM 2002",
    "aces-1992": "ACES 1992",
}


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
