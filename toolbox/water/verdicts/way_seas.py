"""Seas on the way from the ramp: head, beam and following, out and back, at every hour.

Ways share their water, so the waves are worked out once for each patch of it and not once a way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
import shapely

from ...units import in_words
from ..wind.exposure import expose
from .verdict import ROUNDING, length_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from ...depth import DepthSurface

    Floats = NDArray[np.float64]

STEP_M: Final = 200.0
"""A way is judged at the middle of pieces no longer than this."""

PATCH_M: Final = 80.0
"""Places of ways in one patch of this width share the waves of one of them."""

HEAD_DEG: Final = 45.0
"""Seas within this angle of the bow are head seas, within it of the stern following seas, beam seas between."""

NAMES: Final = ("head", "beam", "following")


@dataclass(frozen=True)
class SeaLimits:
    """Greatest significant wave height on the way, by where it meets the boat; against the upper end of the band."""

    head_m: float
    beam_m: float
    following_m: float


@dataclass(frozen=True, eq=False)
class WaySeas:
    """The worst place on each of n ways at m hours, by how far the seas are over their limit; all (n, m).

    Attributes
    ----------
    over_m
        Height over the limit there, negative below it; NaN where there is no way or no figure.
    wave_m
        Upper end of the wave band there.
    sea
        0 head, 1 beam, 2 following: how the boat meets it, on the leg out or back, whichever is worse.
    back
        True where that is on the way back.
    along_m
        How far from the start by the way.
    """

    over_m: Floats
    wave_m: Floats
    sea: NDArray[np.intp]
    back: NDArray[np.bool_]
    along_m: Floats


def sea_of(heading_deg: Floats, wind_from_deg: Floats) -> NDArray[np.intp]:
    """Tell how a boat meets the seas of a wind: 0 head, 1 beam, 2 following.

    Examples
    --------
    >>> sea_of(np.array([0.0, 90.0, 180.0]), np.array([10.0, 10.0, 10.0])).tolist()
    [0, 1, 2]
    """
    off = np.abs((wind_from_deg - heading_deg + 180.0) % 360.0 - 180.0)
    return np.where(off <= HEAD_DEG, 0, np.where(off < 180.0 - HEAD_DEG, 1, 2)).astype(np.intp)


class WayPieces(NamedTuple):
    """Pieces of ways: way of each, its middle, its heading, how far along the way the middle is, and its length."""

    rows: NDArray[np.intp]
    middle: Floats
    heading_deg: Floats
    along_m: Floats
    length_m: Floats


def pieces_of_ways(way: Sequence[Any | None]) -> WayPieces:
    """Cut ways into pieces no longer than `STEP_M`, in the order they are run."""
    rows = np.array(
        [row for row, line in enumerate(way) if line is not None and line.length > 0.0], dtype=np.intp
    )
    if not rows.size:
        return WayPieces(rows, np.empty((0, 2)), np.empty(0), np.empty(0), np.empty(0))
    xy, line = shapely.get_coordinates([way[row] for row in rows], return_index=True)
    same = line[1:] == line[:-1]
    start, move, of = xy[:-1][same], np.diff(xy, axis=0)[same], line[1:][same]
    length = np.hypot(move[:, 0], move[:, 1])
    moving = length > 0.0
    start, move, of, length = start[moving], move[moving], of[moving], length[moving]
    before = np.cumsum(length) - length
    first = np.searchsorted(of, np.arange(rows.size))
    before -= before[first][of]  # from the start of its own way
    count = np.maximum(np.ceil(length / STEP_M), 1).astype(np.intp)
    segment = np.repeat(np.arange(length.size), count)
    share = (np.arange(segment.size) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[segment]
    middle = start[segment] + share[:, None] * move[segment]
    heading = np.degrees(np.arctan2(move[:, 0], move[:, 1]))[segment] % 360.0
    along = before[segment] + share * length[segment]
    return WayPieces(rows[of[segment]], middle, heading, along, (length / count)[segment])


def seas_on_ways(
    way: Sequence[Any | None],
    water: BaseGeometry,
    wind_from_deg: Floats,
    wind_mps: Floats,
    limits: SeaLimits,
    *,
    surface: DepthSurface | None = None,
    level_m: float = 0.0,
) -> WaySeas:
    """Find the worst seas on ways at every hour, out and back.

    Parameters
    ----------
    way
        Lines from the ramp to each place; None where there is none.
    water
        Today's water, one valid Polygon or MultiPolygon.
    wind_from_deg, wind_mps
        Wind over the lake at each hour, shape (m,); NaN: not known.
    limits
        Greatest height by how it meets the boat.
    surface
        Depth below chart datum; None: deep water.
    level_m
        Today's surface minus chart datum.

    Returns
    -------
    WaySeas
        Both directions are run in the wind of the same hour.

    Notes
    -----
    Seas are taken to run with the wind, and on narrow water from where the fetch is long as well; the stricter counts.
    What makes it wrong: seas bent round a point or thrown back by a bluff, wakes, and a wind that turns before the way
    back.
    """
    shape = (len(way), len(wind_mps))
    over, high, along = (np.full(shape, np.nan) for _ in range(3))
    sea, back = np.zeros(shape, dtype=np.intp), np.zeros(shape, dtype=bool)
    rows, middle, heading, far, _ = pieces_of_ways(way)
    known = np.flatnonzero(np.isfinite(wind_mps) & np.isfinite(wind_from_deg))
    if not rows.size or not known.size:
        return WaySeas(over, high, sea, back, along)
    _, sample, patch = np.unique(np.floor(middle / PATCH_M), axis=0, return_index=True, return_inverse=True)
    found = expose(
        middle[sample], water, wind_from_deg[known], wind_mps[known], surface=surface, level_m=level_m
    )
    waves = found.wave_high_m[patch.ravel()]  # pieces by hours
    allowed = np.array([limits.head_m, limits.beam_m, limits.following_m])
    ends = np.r_[np.flatnonzero(np.diff(rows)), rows.size - 1]
    starts = np.r_[0, ends[:-1] + 1]
    by_wind = np.broadcast_to(wind_from_deg[known][None, :], waves.shape)
    comes = found.wave_from_deg[patch.ravel()]
    by_waves = sea_of(heading[:, None], np.where(np.isnan(comes), by_wind, comes))
    out_sea = sea_of(heading[:, None], by_wind)
    # On narrow water waves run off the wind; steep ones run with it all the same: the stricter of both counts.
    strict = np.minimum(allowed[by_waves], allowed[2 - by_waves])
    out_sea = np.where(strict < np.minimum(allowed[out_sea], allowed[2 - out_sea]), by_waves, out_sea)
    back_sea = 2 - out_sea  # head becomes following, beam stays beam
    excess = waves - np.minimum(allowed[out_sea], allowed[back_sea])
    returning = allowed[back_sea] < allowed[out_sea]
    told = np.where(returning, back_sea, out_sea)
    for start, end in zip(starts, ends + 1, strict=True):
        block = excess[start:end]
        any_known = np.isfinite(block).any(axis=0)
        worst = start + np.argmax(np.where(np.isnan(block), -np.inf, block), axis=0)
        row, hour = rows[start], np.flatnonzero(any_known)
        at, columns = worst[hour], known[hour]
        over[row, columns], high[row, columns] = excess[at, hour], waves[at, hour]
        sea[row, columns], back[row, columns] = told[at, hour], returning[at, hour]
        along[row, columns] = far[at]
    return WaySeas(over, high, sea, back, along)


def sea_words(seas: WaySeas, start: str = "") -> NDArray[np.object_]:
    """Say where the seas on each way are over their limit at each hour, (n, m); empty text where they are not.

    Parameters
    ----------
    seas
        The worst seas on the ways.
    start
        Id of the ramp they begin at.
    """
    texts = np.full(seas.over_m.shape, "", dtype=object)
    for row, hour in zip(*np.nonzero(seas.over_m > ROUNDING), strict=True):
        where = in_words(float(seas.along_m[row, hour]), "length")
        texts[row, hour] = (
            f"{NAMES[seas.sea[row, hour]]} seas on the way {'back' if seas.back[row, hour] else 'out'} up to "
            f"{length_words(float(seas.wave_m[row, hour]))}, {length_words(float(seas.over_m[row, hour]))} over the "
            f"limit, {where} by water from {start or 'the ramp'}"
        )
    return texts
