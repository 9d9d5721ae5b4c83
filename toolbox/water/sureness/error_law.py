"""The law by which a surface between contours is off, learnt from what was left out, and the band of 95 %."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from .conformal import upper_quantile

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .held_out import HeldOut

    Floats = NDArray[np.float64]

ENOUGH: Final = 40  # places left out, below which nothing is learnt
A_BIN: Final = 80
_BINS: Final = 6
_POWERS: Final = ((0.8, 1.2), (-1.0, 1.0), (0.0, 1.0))  # of way, steepness and bending: what is not absurd
_ROUNDS: Final = 4
_USUAL: Final = (1.0, -0.6, 0.8)  # where the data do not tell
_HOLD: Final = 4.0  # the usual powers are right to 0.5 or so, and logarithms of errors scatter by about 1
SIDE: Final = 0.975  # both sides together leave out 5 %; the unsafe one alone no more than half


@dataclass(frozen=True, eq=False)
class ErrorLaw:
    """Scale of the error by way, steepness and bending, and how many scales wide the band is."""

    half_cell_m: float
    start: float
    powers: Floats
    floors: Floats
    scales: Floats
    times: Floats

    def at(
        self, way_m: NDArray[np.float32], steep: NDArray[np.float32], bend: NDArray[np.float32]
    ) -> Floats32:
        """Half-width at places."""
        log = np.full(way_m.shape, self.start, dtype=np.float32)
        way = np.hypot(way_m, np.float32(self.half_cell_m))
        for feature, power, floor in zip((way, steep, bend), self.powers, self.floors, strict=True):
            log += np.float32(power) * np.log(np.maximum(feature, np.float32(floor)))
        return np.asarray(np.exp(log) * np.interp(log, self.scales, self.times), dtype=np.float32)


if TYPE_CHECKING:
    Floats32 = NDArray[np.float32]


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


def _powers_of(logs: Floats, off_m: Floats) -> tuple[float, Floats]:
    """Powers of each feature, by least squares held near what is usual."""
    size = np.abs(off_m)
    target = np.log(size + 0.05 * np.median(size) + 1e-6)
    middle, centre = logs.mean(axis=0), target.mean()
    table = logs - middle
    weight = np.ones(len(target))
    usual = np.array(_USUAL)
    powers = usual
    for _ in range(_ROUNDS):  # Huber's weights: a few cliffs do not bend the law
        weighted = table * weight[:, None]
        normal = weighted.T @ table + _HOLD * np.eye(logs.shape[1])
        powers = np.linalg.solve(normal, weighted.T @ (target - centre) + _HOLD * usual)
        left = target - centre - table @ powers
        left -= np.median(left)
        weight = 1.0 / np.maximum(np.abs(left) / (1.4826 * np.median(np.abs(left)) + 1e-9), 1.0)
    powers = np.clip(powers, *np.array(_POWERS).T)
    return float(centre - middle @ powers), powers


def learn(found: HeldOut, cell_m: float) -> ErrorLaw | None:
    """Learn the law from what was left out; None where it is too little.

    Notes
    -----
    The scale is learnt on half of the places and judged on the other, and the other way round; the band is the
    split-conformal quantile of error over scale (see `conformal`), by how large the scale is. The unsafe side, a
    surface deeper than the bottom, is held to half of what both sides may leave out.
    """
    places = np.unique(found.place)
    if len(places) < ENOUGH:
        return None
    way = np.hypot(found.features[:, 0], 0.5 * cell_m)
    found = replace(found, features=np.column_stack([way, found.features[:, 1:]]))
    floors = np.array([0.25 * cell_m, *(np.maximum(np.quantile(found.features[:, 1:], 0.05, axis=0), 1e-7))])
    logs = _logs(found.features, floors)
    fold = np.isin(found.place, places[::2])
    scale = np.empty(len(found))
    for side in (fold, ~fold):
        start, powers = _powers_of(logs[side], found.off_m[side])
        scale[~side] = start + logs[~side] @ powers
    start, powers = _powers_of(logs, found.off_m)
    bins = int(np.clip(len(places) // A_BIN * 2, 1, _BINS))
    middle, times = [], []
    for rows in np.array_split(np.argsort(scale, kind="stable"), bins):
        score = found.off_m[rows] / np.exp(scale[rows])
        times.append(max(upper_quantile(np.abs(score), 0.95), upper_quantile(score, SIDE)))
        middle.append(float(np.median(scale[rows])))
    return ErrorLaw(0.5 * cell_m, start, powers, floors, np.array(middle), np.array(times))
