"""The wind over the lake by stretches of time: what each hour of a forecast speaks for, where it is silent.

An hour told speaks for an hour. A short gap to the next is bridged: both neighbours stand in it, so that the worse of
them counts. A longer gap is a gap, and the end of a forecast is its end.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ...lon_lat import north_of
from ...numbers import numbers_of
from .forecast import read_hours

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

SPEAKS_S: Final = 3600.0
"""An hour of a forecast speaks for so long, or until the next one."""

BRIDGED_S: Final = 7200.0
"""A gap no longer than this is bridged by the worse of its neighbours."""

Spans = list[tuple[float, float]]


def stretches(at_s: Sequence[float] | Floats, bridged_s: float = BRIDGED_S) -> Spans:
    """Tell the stretch each hour stands in, in seconds; over a bridged gap two of them overlap.

    Parameters
    ----------
    at_s
        Hours told, in order, each once.
    bridged_s
        Longest gap that is bridged.

    Examples
    --------
    >>> stretches([0.0, 3600.0, 14400.0])
    [(0.0, 3600.0), (3600.0, 14400.0), (7200.0, 18000.0)]
    >>> stretches([0.0, 20000.0])
    [(0.0, 3600.0), (20000.0, 23600.0)]
    """
    begin, end = [float(one) for one in at_s], [float(one) + SPEAKS_S for one in at_s]
    for k in range(len(begin) - 1):
        told, onward = end[k], float(at_s[k + 1])
        if onward - told <= bridged_s:
            end[k] = onward
            begin[k + 1] = min(begin[k + 1], told)
    return list(zip(begin, end, strict=True))


def joined(spans: Sequence[tuple[float, float]]) -> Spans:
    """Join stretches that meet or overlap.

    Examples
    --------
    >>> joined([(5.0, 7.0), (0.0, 2.0), (2.0, 3.0)])
    [(0.0, 3.0), (5.0, 7.0)]
    """
    found: Spans = []
    for begin, end in sorted(spans):
        if end <= begin:
            continue
        if found and begin <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((begin, end))
    return found


def without(spans: Sequence[tuple[float, float]], gone: Sequence[tuple[float, float]]) -> Spans:
    """Take stretches out of others.

    Examples
    --------
    >>> without([(0.0, 10.0)], [(2.0, 3.0), (9.0, 12.0)])
    [(0.0, 2.0), (3.0, 9.0)]
    """
    left = list(joined(spans))
    for begin, end in joined(gone):
        left = [
            (a, b)
            for one, other in left
            for a, b in ((one, min(other, begin)), (max(one, end), other))
            if b > a
        ]
    return sorted(left)


def good_spans(at_s: Sequence[float] | Floats, good: Sequence[bool] | Flags) -> Spans:
    """Tell when hours told allow something: known, and none that stands there forbids it."""
    own = stretches(at_s)
    return without(own, [span for span, able in zip(own, good, strict=True) if not able])


@dataclass(frozen=True, eq=False)
class LakeWinds:
    """Winds over the lake.

    Attributes
    ----------
    spans
        The stretch each stands in, in seconds after a moment; where two overlap the worse counts.
    wind_mps, gust_mps, from_deg
        Wind, gusts (NaN: not told) and where on the grid it comes from (NaN: it varies), one a stretch.
    """

    spans: Spans
    wind_mps: Floats
    gust_mps: Floats
    from_deg: Floats

    @property
    def known(self) -> Spans:
        """When any wind is told."""
        return joined(self.spans)

    @property
    def gaps(self) -> Spans:
        """Stretches between the first hour told and the last in which none is."""
        known = self.known
        return [(one[1], other[0]) for one, other in itertools.pairwise(known)]


ALWAYS: Final[Spans] = [(-np.inf, np.inf)]


def one_wind(wind_mps: float, gust_mps: float, from_deg: float) -> LakeWinds:
    """Let one wind blow at all times."""
    return LakeWinds(list(ALWAYS), *(np.array([float(one)]) for one in (wind_mps, gust_mps, from_deg)))


def winds_of_hours(exposure: pd.DataFrame, start: Any) -> LakeWinds:
    """Take the wind over the lake from a layer with a row for each place and hour: of each hour the strongest.

    Parameters
    ----------
    exposure
        Columns ``time``, ``wind_mps``, ``gust_mps`` (may be missing) and ``wind_from_deg``; an hour whose wind is not
        told is left out, as if it were not there.
    start
        The moment seconds are counted from, with its zone.

    Raises
    ------
    DataError
        A time cannot be read or has no zone, or a figure is no number.
    """
    hours, column = read_hours(exposure["time"].astype(str).tolist())

    def figures(name: str) -> Floats:
        if name not in exposure.columns:
            return np.full(len(exposure), np.nan)
        return np.asarray(numbers_of(exposure[name], name).to_numpy(dtype=float, na_value=np.nan))

    wind, gust, bearing = (figures(name) for name in ("wind_mps", "gust_mps", "wind_from_deg"))
    north = north_of(exposure)
    at, strongest, gusts, origin = [], [], [], []
    for k in range(len(hours)):
        own = np.flatnonzero((column == k) & np.isfinite(wind))
        if not own.size:
            continue
        worst = own[int(np.argmax(wind[own]))]
        at.append((hours.start[k] - start).total_seconds())
        strongest.append(float(wind[worst]))
        told = gust[own][np.isfinite(gust[own])]
        gusts.append(float(told.max()) if told.size else np.nan)
        bearings = np.unique(bearing[own])
        # Places that are told different winds: it may come from anywhere.
        origin.append((float(bearings[0]) - north) % 360.0 if len(bearings) == 1 else np.nan)
    return LakeWinds(stretches(at), np.array(strongest), np.array(gusts), np.array(origin))
