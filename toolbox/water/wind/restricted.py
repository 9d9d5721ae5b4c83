"""Restricted fetch: waves on narrow water come from where the fetch is long, not only from where the wind is.

After M. A. Donelan, "Similarity theory applied to the forecasting of wave heights, periods and directions", Proc.
Canadian Coastal Conference 1980 (second-hand), in the form of the Automated Coastal Engineering System, US Army CERC
1992, User's Guide v1.07, p. 1-1-19 to 1-1-21 (read): fetches at each degree, averaged over arcs of 15 degrees; waves
run from where F^0.28 (cos phi)^0.44 is greatest, phi being the angle off the wind, and grow with the share of the wind
along them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from ...errors import UsageError
from .fetch import fetch_lengths
from .waves import GRAVITY, aces_wind_stress_factor

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike, NDArray
    from shapely.geometry.base import BaseGeometry

    Floats = NDArray[np.float64]

STEP_DEG: Final = 3
"""Radials are measured so far apart all round; between them fetches are taken in a straight line."""

ARC_DEG: Final = 15
_CIRCLE: Final = 360
_AT_ONCE: Final = 4000


def each_degree(radials_m: ArrayLike, bearings_deg: ArrayLike) -> Floats:
    """Bring radials to one for each degree of the circle.

    Parameters
    ----------
    radials_m
        Lengths (n, m).
    bearings_deg
        Their bearings (m,), rising, from 0 to below 360. Where two neighbours are farther apart than 30 degrees, the
        fetch between is not known.

    Returns
    -------
    NDArray
        (n, 360); NaN where not known.
    """
    radials, bearings = (
        np.atleast_2d(np.asarray(radials_m, dtype=np.float64)),
        np.asarray(bearings_deg, dtype=np.float64),
    )
    rising = bearings.ndim == 1 and bearings.size >= 1 and bool((np.diff(bearings) > 0).all())
    if not rising or radials.shape[1] != bearings.size or bearings[0] < 0.0 or bearings[-1] >= _CIRCLE:
        raise UsageError("Radials need one rising bearing each, from 0 to below 360 degrees.")
    around = np.r_[bearings, bearings[0] + _CIRCLE]
    whole = np.column_stack([radials, radials[:, 0]])
    degree = np.arange(_CIRCLE, dtype=np.float64)
    degree = np.where(degree < bearings[0], degree + _CIRCLE, degree)
    at = np.clip(np.searchsorted(around, degree, side="right") - 1, 0, bearings.size - 1)
    gap = around[at + 1] - around[at]
    share = (degree - around[at]) / gap
    found = whole[:, at] * (1.0 - share) + whole[:, at + 1] * share
    found[:, (gap > 30.0) & (share > 0.0)] = np.nan
    return np.asarray(found, dtype=np.float64)


def over_arcs(degrees_m: Floats) -> Floats:
    """Average fetches of each degree over the arc of 15 degrees round it; NaN where some of the arc is not known."""
    half = ARC_DEG // 2
    total = np.zeros_like(degrees_m)
    for shift in range(-half, half + 1):
        total += np.roll(degrees_m, shift, axis=1)
    return np.asarray(total / ARC_DEG, dtype=np.float64)


def restricted_fetch(fetch_of_degree_m: Floats, wind_from_deg: float) -> tuple[Floats, Floats]:
    """Find the fetch that the waves of a wind come along, and from where.

    Parameters
    ----------
    fetch_of_degree_m
        Fetch of each degree (n, 360), from `each_degree` and, as the method asks, `over_arcs`.
    wind_from_deg
        Where the wind comes from.

    Returns
    -------
    tuple
        Fetch (n,) and the bearing the waves come from (n,); NaN where no fetch within a right angle of the wind is
        known.
    """
    off = (np.arange(_CIRCLE) - wind_from_deg + 180.0) % 360.0 - 180.0
    share = np.cos(np.radians(off))
    ahead = np.flatnonzero(share > 1e-6)
    fetch = fetch_of_degree_m[:, ahead]
    score = np.where(np.isnan(fetch), -1.0, np.nan_to_num(fetch) ** 0.28 * share[ahead] ** 0.44)
    best = np.argmax(score, axis=1) if ahead.size else np.zeros(len(fetch), dtype=np.intp)
    rows = np.arange(len(fetch))
    known = score[rows, best] >= 0.0
    return (
        np.where(known, fetch[rows, best], np.nan),
        np.where(known, ahead[best].astype(np.float64), np.nan),
    )


def restricted_waves(wind_mps: ArrayLike, fetch_m: ArrayLike, off_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Grow waves along a restricted fetch in deep water.

    Parameters
    ----------
    wind_mps
        Sustained wind 10 m above the water.
    fetch_m
        Restricted fetch.
    off_deg
        Angle between wind and waves.

    Returns
    -------
    tuple
        Significant height in metres and peak period in seconds: ``H = 0.0015 (u^2/g) X^0.5``, ``T = 0.3704 (u/g)
        X^0.28``, ``X = g F / u^2``, ``u = UA cos phi`` with the drag law of ACES; no more than a fully risen sea.

    Examples
    --------
    >>> height, period = restricted_waves(44.0 * 0.44704, 26.61 * 1609.344, 32.0)
    >>> round(float(height) / 0.3048, 2), round(float(period), 2)
    (7.8, 5.75)
    """
    wind, fetch = np.asarray(wind_mps, dtype=np.float64), np.asarray(fetch_m, dtype=np.float64)
    along = aces_wind_stress_factor(wind) * np.cos(np.radians(np.asarray(off_deg, dtype=np.float64)))
    u, length = np.broadcast_arrays(np.maximum(along, 0.0), fetch)
    height = 0.0015 * u * np.sqrt(length / GRAVITY)
    still = (u < 1e-3) | (length < 1e-3)
    reach = np.where(still, 1.0, GRAVITY * length / np.where(still, 1.0, u) ** 2)
    period = 0.3704 * u / GRAVITY * reach**0.28
    unknown = np.isnan(along) | np.isnan(length)
    height, period = np.where(still, 0.0, height), np.where(still, 0.0, period)
    height = np.minimum(height, 0.2433 * wind**2 / GRAVITY)
    period = np.minimum(period, 8.134 * wind / GRAVITY)
    return np.where(unknown, np.nan, height), np.where(unknown, np.nan, period)


class Restricted:
    """Restricted fetches of places, measured once for the winds they are asked of, or all round."""

    def __init__(
        self, points: ArrayLike, water: BaseGeometry, winds_from_deg: ArrayLike | None = None
    ) -> None:
        bearings = np.arange(0.0, _CIRCLE, STEP_DEG)
        if winds_from_deg is not None:
            winds = np.unique(np.asarray(winds_from_deg, dtype=np.float64) % _CIRCLE)
            off = np.abs((bearings[:, None] - winds + 180.0) % _CIRCLE - 180.0)
            # Waves come from within a right angle of the wind, by arcs whose last degree lies between two radials.
            bearings = bearings[(off <= 90.0 + ARC_DEG // 2 + STEP_DEG + 1.0).any(axis=1)]
        self._radials = fetch_lengths(points, water, bearings)
        self._bearings = bearings
        self._kept: dict[bool, Floats] = {}

    def of(self, wind_from_deg: float, *, arcs: bool = True) -> tuple[Floats, Floats]:
        """Find fetch and bearing of the waves of a wind; without arcs single radials count, which is the longer one."""
        found = [restricted_fetch(part, wind_from_deg) for part in self._parts(arcs)]
        return np.concatenate([one[0] for one in found]), np.concatenate([one[1] for one in found])

    def _parts(self, arcs: bool) -> Iterator[Floats]:
        """Give fetches of each degree, so many places at once; those of few places are kept for the next wind."""
        few = len(self._radials) <= _AT_ONCE
        if few and arcs in self._kept:
            yield self._kept[arcs]
            return
        for start in range(0, max(len(self._radials), 1), _AT_ONCE):
            degrees = each_degree(self._radials[start : start + _AT_ONCE], self._bearings)
            made = over_arcs(degrees) if arcs else degrees
            if few:
                self._kept[arcs] = made
            yield made
