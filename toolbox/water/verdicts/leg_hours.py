"""When each leg of a run may be run: wind, gusts and seas of the hour against the limits of the boat.

Waves are worked out once for each patch of water that a leg comes through, and only for legs that are asked for.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from ..wind.exposure import expose
from ..wind.lake_winds import LakeWinds, joined, without
from .verdict import ROUNDING, length_words, speed_words
from .way_seas import NAMES, PATCH_M, SeaLimits, pieces_of_ways, sea_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from ...depth import DepthSurface
    from ..wind.lake_winds import Spans

    Floats = NDArray[np.float64]

BEARINGS: Final = 24
"""Bearings tried for a wind that varies."""


@dataclass(frozen=True)
class LegLimits:
    """What wind, gusts and seas on a leg must keep to."""

    wind_mps: float
    gust_mps: float
    seas: SeaLimits


class Against(NamedTuple):
    """What speaks against a leg in a stretch of time, in words."""

    begin_s: float
    end_s: float
    words: str


def _patches(middle: Floats) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in np.floor(middle / PATCH_M)]


@dataclass(eq=False)
class LegHours:
    """Judges legs by the hour.

    Attributes
    ----------
    winds
        Winds over the lake.
    limits
        What the boat is held to.
    water
        Today's water, one valid polygon.
    surface, level_m
        Depths below chart datum (None: deep) and today's surface.
    """

    winds: LakeWinds
    limits: LegLimits
    water: BaseGeometry
    surface: DepthSurface | None = None
    level_m: float = 0.0
    _waves: dict[tuple[float, float], Floats] = field(default_factory=dict, repr=False)
    _at: dict[tuple[float, float], tuple[float, float]] = field(default_factory=dict, repr=False)
    _comes: dict[tuple[float, float], Floats] = field(default_factory=dict, repr=False)
    _ahead: dict[tuple[float, float], tuple[Floats, Floats]] = field(default_factory=dict, repr=False)

    def over_all(self) -> list[Against]:
        """Tell when the wind or its gusts alone forbid every leg."""
        told: list[Against] = []
        winds, limits = self.winds, self.limits
        for (begin, end), wind, gust in zip(winds.spans, winds.wind_mps, winds.gust_mps, strict=True):
            if wind > limits.wind_mps + ROUNDING:
                over = speed_words(float(wind - limits.wind_mps))
                told.append(Against(begin, end, f"wind {speed_words(float(wind))}, {over} over the limit"))
            elif gust > limits.gust_mps + ROUNDING:
                over = speed_words(float(gust - limits.gust_mps))
                told.append(Against(begin, end, f"gusts {speed_words(float(gust))}, {over} over the limit"))
        return told

    def look_ahead(self, lines: Iterable[Any]) -> None:
        """Work out at once the waves that lines asked for soon will need; what is told of each stays the same.

        To measure the fetch of a hundred places takes hardly longer than of one.
        """
        met = dict(self._at)
        wanted: dict[tuple[float, float], None] = {}
        for line in lines:
            _, middle, *_ = pieces_of_ways([line])
            for key, at in zip(_patches(middle), middle, strict=True):
                place = met.setdefault(key, (float(at[0]), float(at[1])))
                if key not in self._waves and place not in self._ahead:
                    wanted[place] = None
        if wanted and self.winds.spans:
            seas = zip(*self._seas_at(list(wanted)), strict=True)
            self._ahead.update(zip(wanted, seas, strict=True))

    def _seas_at(self, places: list[tuple[float, float]]) -> tuple[Floats, Floats]:
        """Work out the upper end of the wave band and whence the waves come, each places by stretches."""
        winds = self.winds
        varies = np.isnan(winds.from_deg)
        counts = np.where(varies, BEARINGS, 1)
        of = np.repeat(np.arange(len(counts)), counts)
        turn = np.arange(of.size) - np.repeat(np.cumsum(counts) - counts, counts)
        bearing = np.where(varies[of], turn * 360.0 / BEARINGS, winds.from_deg[of])
        pairs, back = np.unique(np.column_stack([bearing, winds.wind_mps[of]]), axis=0, return_inverse=True)
        found = expose(
            np.array(places), self.water, pairs[:, 0], pairs[:, 1], surface=self.surface, level_m=self.level_m
        )
        first = np.cumsum(counts) - counts
        high = np.fmax.reduceat(found.wave_high_m[:, back.ravel()], first, axis=1)
        return high, found.wave_from_deg[:, back.ravel()][:, first]

    def _learn(self, patches: Iterable[tuple[float, float]]) -> None:
        """Work out the seas in patches not met before, or take them where they were looked at ahead."""
        new = sorted({patch for patch in patches if patch not in self._waves})
        for patch in new:
            if (known := self._ahead.get(self._at[patch])) is not None:
                self._waves[patch], self._comes[patch] = known
        if left := [patch for patch in new if patch not in self._waves]:
            high, comes = self._seas_at([self._at[patch] for patch in left])
            self._waves.update(zip(left, high, strict=True))
            self._comes.update(zip(left, comes, strict=True))

    def seas_met(self, middle: Floats, heading_deg: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Tell how a boat meets the seas at middles of pieces in every stretch: by the wind, and by its waves.

        On narrow water waves run from where the fetch is long, off the wind; steep ones run with it all the same.
        """
        origin = np.nan_to_num(self.winds.from_deg)[None, :]
        if not len(middle):
            none = np.zeros((0, origin.size), dtype=np.intp)
            return none, none
        self.waves_at(middle)
        comes = np.array([self._comes[key] for key in _patches(middle)])
        comes = np.where(np.isnan(comes), origin, comes)
        return sea_of(heading_deg[:, None], origin), sea_of(heading_deg[:, None], comes)

    def waves_at(self, middle: Floats) -> Floats:
        """Tell the upper end of the wave band at middles of pieces (n, 2) in every stretch (n, m)."""
        keys = _patches(middle)
        for key, at in zip(keys, middle, strict=True):
            self._at.setdefault(key, (float(at[0]), float(at[1])))
        self._learn(keys)
        return np.array([self._waves[key] for key in keys]).reshape(len(keys), len(self.winds.spans))

    def seas_against(self, lines: list[Any]) -> list[list[Against]]:
        """Tell of each line, run from its beginning to its end, when the seas on it are over the limit, and where.

        Parameters
        ----------
        lines
            Whole legs; None where there is nothing to run.
        """
        told: list[list[Against]] = [[] for _ in lines]
        rows, middle, heading, far, _ = pieces_of_ways(lines)
        if not rows.size or not self.winds.spans:
            return told
        waves = self.waves_at(middle)
        allowed = np.array([self.limits.seas.head_m, self.limits.seas.beam_m, self.limits.seas.following_m])
        origin = self.winds.from_deg
        by_wind, by_waves = self.seas_met(middle, heading)
        meets = np.where(allowed[by_waves] < allowed[by_wind], by_waves, by_wind)
        limit = np.where(np.isnan(origin)[None, :], allowed.min(), allowed[meets])
        excess = waves - limit
        for row in np.unique(rows):
            own = np.flatnonzero(rows == row)
            block = np.where(np.isnan(excess[own]), -np.inf, excess[own])
            worst = own[np.argmax(block, axis=0)]
            for k in np.flatnonzero(block.max(axis=0) > ROUNDING):
                at = worst[k]
                name = "confused" if np.isnan(origin[k]) else NAMES[int(meets[at, k])]
                words = (
                    f"{name} seas up to {length_words(float(waves[at, k]))} on the way, "
                    f"{length_words(float(excess[at, k]))} over the limit, {length_words(float(far[at]))} from its "
                    "beginning"
                )
                begin, end = self.winds.spans[k]
                told[row].append(Against(begin, end, words))
        return told

    def highest_m(self, line: Any, begin_s: float, end_s: float) -> float:
        """Tell the highest wave on a line in a stretch of time; NaN where none is known."""
        rows, middle, *_ = pieces_of_ways([line])
        stands = [k for k, (a, b) in enumerate(self.winds.spans) if a < end_s and b > begin_s]
        if not rows.size or not stands:
            return float("nan")
        waves = self.waves_at(middle)[:, stands]
        return float(np.nanmax(waves)) if np.isfinite(waves).any() else float("nan")


def open_when(against: Iterable[Against], known: Spans) -> Spans:
    """Tell when nothing speaks against, of the time that is known."""
    return without(known, joined([(one.begin_s, one.end_s) for one in against]))
