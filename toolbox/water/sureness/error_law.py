"""Laws of how far a surface may be off, learnt from what was held out: beside lines, and between soundings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.special import betainc

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .held_out import HeldOut
    from .sounded import LeftOut

    Floats = NDArray[np.float64]
    Floats32 = NDArray[np.float32]


def upper_quantile(scores: NDArray[np.float64], share: float) -> float:
    """Value that a new score exceeds with a chance of at most 1 - share, however scores are spread.

    The rank is counted up by one, since the new score is one more of them; where there are too few for that, the
    greatest is taken.

    Notes
    -----
    Vovk, Gammerman and Shafer 2005, Algorithmic Learning in a Random World; Lei, G'Sell, Rinaldo, Tibshirani and
    Wasserman 2018, J. Am. Stat. Assoc. 113, 1094-1111.
    """
    scores = scores[np.isfinite(scores)]
    if not len(scores):
        return float("nan")
    rank = min(int(np.ceil((len(scores) + 1) * share)), len(scores))
    return float(np.partition(scores, rank - 1)[rank - 1])


def sure_quantile(scores: NDArray[np.float64], share: float, *, sure: float = 0.9) -> float:
    """Value that a new score exceeds with a chance of at most 1 - share, and that not only on average of all draws.

    With the chance ``sure``, scores were drawn that give a value which holds this; where there are too few for that,
    the greatest is taken.

    Notes
    -----
    The share under the score of rank r among n is spread as Beta(r, n + 1 - r): Vovk 2012, Conditional validity of
    inductive conformal predictors, Proc. Mach. Learn. Res. 25, 475-490.
    """
    scores = np.sort(scores[np.isfinite(scores)])
    if not len(scores):
        return float("nan")
    rank = np.arange(1, len(scores) + 1)
    holds = 1.0 - betainc(rank, len(scores) + 1 - rank, share) >= sure
    return float(scores[int(np.argmax(holds))] if holds.any() else scores[-1])


OWN_WAY: Final = 0.4
"""Near one sounding the surface errs by the gap it lies in as well as by the way to that one: that is this share of the
power, on made bottoms."""
ENOUGH: Final = 40  # places left out, below which nothing is learnt
A_BIN: Final = 80
_BINS: Final = 6
_POWERS: Final = ((0.8, 1.2), (-1.0, 1.0), (0.0, 1.0))  # of way, steepness and bending: what is not absurd
_ROUNDS: Final = 4
_USUAL: Final = (1.0, -0.6, 0.8)  # where the data do not tell
_HOLD: Final = 4.0  # the usual powers are right to 0.5 or so, and logarithms of errors scatter by about 1
_USUAL_POWER: Final = 1.5
_POWER_LIMITS: Final = (0.3, 3.0)
_PRIOR: Final = 4.0  # the usual power is right to 0.5
_SCATTER: Final = 1.5  # of logarithms of one place's errors in two gaps
_QUARTER_WAY: Final = 0.75
_MOST_SHARE: Final = 0.99  # of few places: beyond that single ones would speak
SIDE: Final = 0.975  # both sides together leave out 5 %; the unsafe one alone no more than half


@dataclass(frozen=True, eq=False)
class ErrorLaw:
    """Scale of the error by way, steepness and bending, and how many scales wide the band is.

    Water less deep than the first line, ``ashore_m``, may have a law of its own, ``ashore``.
    """

    half_cell_m: float
    start: float
    powers: Floats
    floors: Floats
    scales: Floats
    times: Floats
    ashore_m: float = 0.0
    ashore: ErrorLaw | None = None

    def at(
        self,
        way_m: NDArray[np.float32],
        steep: NDArray[np.float32],
        bend: NDArray[np.float32],
        depth_m: NDArray[np.float32],
    ) -> Floats32:
        """Half-width at places."""
        log = np.full(way_m.shape, self.start, dtype=np.float32)
        way = np.hypot(way_m, np.float32(self.half_cell_m))
        for feature, power, floor in zip((way, steep, bend), self.powers, self.floors, strict=True):
            log += np.float32(power) * np.log(np.maximum(feature, np.float32(floor)))
        half = np.asarray(np.exp(log) * np.interp(log, self.scales, self.times), dtype=np.float32)
        if self.ashore is not None:
            near = depth_m < self.ashore_m
            half[near] = self.ashore.at(way_m[near], steep[near], bend[near], depth_m[near])
        return half


@dataclass(frozen=True, eq=False)
class OwnError:
    """What a surface gets wrong at its own data, by steepness: cells hold one depth, however many lines cross them."""

    steep: Floats
    error_m: Floats

    def at(self, steep: NDArray[np.float32]) -> Floats32:
        """Half-width at places."""
        if not len(self.steep):
            return np.zeros(steep.shape, dtype=np.float32)
        return np.asarray(np.interp(steep, self.steep, self.error_m), dtype=np.float32)


def own_error(off_m: Floats, steep: Floats) -> OwnError:
    """Split-conformal quantiles of what a surface gets wrong at its own data, by steepness."""
    middle, error = [], []
    if len(off_m) >= ENOUGH:
        for rows in np.array_split(np.argsort(steep, kind="stable"), _BINS):
            middle.append(float(np.median(steep[rows])))
            error.append(max(upper_quantile(np.abs(off_m[rows]), 0.95), upper_quantile(off_m[rows], SIDE)))
    return OwnError(np.array(middle), np.array(error))


def _logs(features: Floats, floors: Floats) -> Floats:
    return np.log(np.maximum(features, floors))


def _held_powers(logs: Floats, target: Floats, usual: Floats, limits: Floats) -> tuple[float, Floats]:
    """Start and power of each feature, by least squares held near what is usual; limits as rows of least and most."""
    middle, centre = logs.mean(axis=0), target.mean()
    table, weight = logs - middle, np.ones(len(target))
    powers = usual
    for _ in range(_ROUNDS):  # Huber's weights: a few cliffs do not bend the law
        weighted = table * weight[:, None]
        normal = weighted.T @ table + _HOLD * np.eye(logs.shape[1])
        powers = np.linalg.solve(normal, weighted.T @ (target - centre) + _HOLD * usual)
        left = target - centre - table @ powers
        left -= np.median(left)
        weight = 1.0 / np.maximum(np.abs(left) / (1.4826 * np.median(np.abs(left)) + 1e-9), 1.0)
    powers = np.clip(powers, *limits.T)
    return float(centre - middle @ powers), powers


def _powers_of(logs: Floats, off_m: Floats) -> tuple[float, Floats]:
    """Powers of each feature beside lines."""
    size = np.abs(off_m)
    target = np.log(size + 0.05 * np.median(size) + 1e-6)
    return _held_powers(logs, target, np.array(_USUAL), np.array(_POWERS))


def _power_of(
    wider: Floats, worse: Floats, *, usual: float = _USUAL_POWER, share: float = 1.0
) -> tuple[float, float]:
    """By what power of the gap errors grow, and how far that may be off (one standard deviation).

    ``share`` of the places tell something that those beside them do not.
    """
    wide = share * (wider @ wider) / _SCATTER**2
    power = (share * (wider @ worse) / _SCATTER**2 + _PRIOR * usual) / (wide + _PRIOR)
    return float(np.clip(power, *_POWER_LIMITS)), float((wide + _PRIOR) ** -0.5)


def _narrower(worse: Floats, places: int, way_power: float) -> float:
    """How much less errors are in a gap half as wide than the way alone tells, as gaps twice as wide show; 1 at most.

    In the wider gap a place lies at a quarter of it, beside a line that stays, no longer in its middle: on an even bend
    that is three quarters of the error there.
    """
    told = worse[np.isfinite(worse)]
    if len(told) < ENOUGH:
        return 1.0
    wider = np.full(len(told), np.log(2.0))
    power, off = _power_of(
        wider, told - np.log(_QUARTER_WAY), usual=way_power, share=min(1.0, places / len(told))
    )
    return float(min(1.0, 0.5 ** (power - off - way_power)))


def learn(found: HeldOut, cell_m: float, *, ashore_m: float = 0.0) -> ErrorLaw | None:
    """Learn the law from what was left out; None where it is too little.

    Notes
    -----
    The scale is learnt on half of the places and judged on the other, and the other way round; the band is the
    split-conformal quantile of error over scale (see `conformal`), by how large the scale is. The unsafe side, a
    surface deeper than the bottom, is held to half of what both sides may leave out. Between the shore and the first
    line, which lies at ``ashore_m``, that is told by where this line was left out; where that was at too few places, by
    all others as they are.

    Half of the contours were left out, so gaps were twice as wide as those of the lake. By what power of the gap errors
    shrink on the way back to these, places tell that were left out in gaps four times as wide too.
    """
    inland = _law_of(found.only(~found.ashore), cell_m)
    if inland is None:
        return None
    ashore = _law_of(found.only(found.ashore), cell_m) or _law_of(
        found.only(~found.ashore), cell_m, carried=False
    )
    return replace(inland, ashore_m=ashore_m, ashore=ashore)


def _law_of(found: HeldOut, cell_m: float, *, carried: bool = True) -> ErrorLaw | None:
    """Learn from all of it alike, and carry that to the gaps of the lake by the power that wider gaps show."""
    places = np.unique(found.place)
    if len(places) < ENOUGH:
        return None
    way = np.hypot(found.features[:, 0], 0.5 * cell_m)
    features = np.column_stack([way, found.features[:, 1:]])
    floors = np.array([0.25 * cell_m, *(np.maximum(np.quantile(features[:, 1:], 0.05, axis=0), 1e-7))])
    logs = _logs(features, floors)
    fold = np.isin(found.place, places[::2])
    scale = np.empty(len(found))
    for side in (fold, ~fold):
        start, powers = _powers_of(logs[side], found.off_m[side])
        scale[~side] = start + logs[~side] @ powers
    start, powers = _powers_of(logs, found.off_m)
    bins = int(np.clip(len(places) // A_BIN * 2, 1, _BINS))
    middle, times = [], []
    for rows in np.array_split(np.argsort(scale, kind="stable"), bins):
        apart = len(np.unique(found.place[rows]))
        wide = _both_sides(found.off_m[rows] / np.exp(scale[rows]), apart)
        if carried:
            wide *= _narrower(found.worse[rows], apart, powers[0])
        times.append(wide)
        middle.append(float(np.median(scale[rows])))
    return ErrorLaw(0.5 * cell_m, start, powers, floors, np.array(middle), np.array(times))


def _both_sides(score: Floats, places: int) -> float:
    """Split-conformal quantile of errors over their scale, the unsafe side held to half of what may be left out.

    Depths along a line tell each other, so that places count, not depths.
    """
    return max(
        upper_quantile(np.abs(score), _sure_share(0.95, places)),
        upper_quantile(score, _sure_share(SIDE, places)),
    )


def _sure_share(share: float, places: int) -> float:
    """Share of places to hold, so that nine draws in ten of them hold the share asked for; see `sure_quantile`."""
    rank = np.arange(1, places + 1)
    holds = 1.0 - betainc(rank, places + 1 - rank, share) >= 0.9
    return min(float(rank[int(np.argmax(holds))] / places), _MOST_SHARE) if holds.any() else _MOST_SHARE


_SOUNDING_LAW_BINS: Final = 5
_USUAL_SHAPE: Final = (0.2, 0.5)  # powers of steepness and bending
_SHAPE_LIMITS: Final = ((0.0, 0.0), (1.0, 1.0))
_OWN_LIMITS: Final = (0.25, 1.0)
_LEAST_SHARE: Final = 1e-3

_SMOOTHEST: Final = 0.15  # share of the places below which bottoms are not told apart


@dataclass(frozen=True, eq=False)
class Roughness:
    """Error by the gap, the share of it that data are away, steepness and bending, and how wide the band is by it."""

    power: float
    start: float
    shape: Floats
    floors: Floats
    rough: Floats
    times: Floats

    def at(self, gap_m: Floats32, features: tuple[Floats32, Floats32, Floats32]) -> Floats32:
        """Half-width at places."""
        log = np.full(features[0].shape, self.start, dtype=np.float32)
        for feature, power, floor in zip(features, self.shape, self.floors, strict=True):
            log += np.float32(power) * np.log(np.maximum(feature, np.float32(floor)))
        half = np.exp(log) * gap_m ** np.float32(self.power)
        return np.asarray(half * np.interp(log, self.rough, self.times), dtype=np.float32)


@dataclass(frozen=True, eq=False)
class SoundingLaw:
    """Half-width between soundings: where the gap reaches the shore another one than inland."""

    inland: Roughness
    ashore: Roughness

    def at(
        self, away_m: Floats32, gap_m: Floats32, steep: Floats32, bend: Floats32, ashore: NDArray[np.bool_]
    ) -> Floats32:
        """Half-width at places."""
        features = (away_m / gap_m, steep, bend)
        return np.where(ashore, self.ashore.at(gap_m, features), self.inland.at(gap_m, features))


def _shape_of(logs: Floats, target: Floats, power: float) -> tuple[float, Floats]:
    """Powers of share, steepness and bending between soundings."""
    usual = np.array([OWN_WAY * power, *_USUAL_SHAPE])
    limits = np.array([np.multiply(_OWN_LIMITS, power), *zip(*_SHAPE_LIMITS, strict=True)])
    return _held_powers(logs, target, usual, limits)


def _roughness_of(off_m: Floats, features: Floats, place: NDArray[np.int64], power: float) -> Roughness:
    floors = np.array([_LEAST_SHARE, *np.maximum(np.quantile(features[:, 1:], _SMOOTHEST, axis=0), 1e-7)])
    logs = np.log(np.maximum(features, floors))
    size = np.abs(off_m)
    target = np.log(size + 0.05 * np.median(size) + 1e-9)
    places = np.unique(place)
    fold = np.isin(place, places[::2])
    rough = np.empty(len(target))
    for side in (fold, ~fold):
        start, shape = _shape_of(logs[side], target[side], power)
        rough[~side] = start + logs[~side] @ shape
    start, shape = _shape_of(logs, target, power)
    score = off_m / np.exp(rough)
    middle, times = [], []
    bins = int(np.clip(len(places) // A_BIN, 1, _SOUNDING_LAW_BINS))
    for rows in np.array_split(np.argsort(rough, kind="stable"), bins):
        times.append(upper_quantile(np.abs(score[rows]), 0.95))
        middle.append(float(np.median(rough[rows])))
    unsafe = sure_quantile(score / np.interp(rough, middle, times), SIDE)
    return Roughness(power, start, shape, floors, np.array(middle), np.array(times) * max(1.0, unsafe))


def learn_soundings(found: LeftOut) -> SoundingLaw | None:
    """Learn the law from what was left out; None where it is too little.

    Notes
    -----
    The power of the gap comes from places that were left out in two gaps. A surface cannot be off by more than the
    bottom is high, so its errors grow ever slower as gaps widen: carried back to smaller ones by that power they are
    too large rather than too small. The roughness is learnt on half of the
    places and judged on the other, and the other way round; the band is the split-conformal quantile of error over
    scale, by how rough the bottom is, near the shore and away from it. The unsafe side, a surface deeper than the
    bottom, is held to half of what both sides may leave out.
    """
    if len(np.unique(found.place)) < ENOUGH:
        return None
    features = np.column_stack([found.away_m / found.gap_m, found.steep, found.bend])
    parts = []
    for ashore in (False, True):
        side, pairs = found.ashore == ashore, found.both_ashore == ashore
        if len(np.unique(found.place[side])) < ENOUGH:
            side, pairs = np.ones(len(side), dtype=np.bool_), np.ones(len(pairs), dtype=np.bool_)
        power, _ = _power_of(found.wider[pairs], found.worse[pairs])
        unit = found.off_m[side] / found.gap_m[side] ** power
        parts.append(_roughness_of(unit, features[side], found.place[side], power))
    return SoundingLaw(*parts)
