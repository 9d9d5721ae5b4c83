"""Growth of waves under a wind: the formulas of the published methods, one function each.

Symbols keep the publications' letters where a reader will compare: x for g F / U^2 and d for g d / U^2, with U the
velocity the method is written in. Inputs are arrays above zero; depth and duration may be inf.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Growth = Callable[[Floats, Floats, Floats, Floats], tuple[Floats, Floats]]

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
