"""The ground of a drowned valley: two banks, a floor that falls to a winding channel, headlands with walls."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

WIDTH_M = 960.0
KNEE_M = 170.0  # where the bank ends and the floor begins
SLOT_M = 270.0
EDGE_M = 100.0  # nothing is planted, and nothing is judged, so near to the ends of the survey


def ease(t):
    t = np.clip(t, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


class Valley:
    """Depth over u (along the valley) and v (from one bank to the other)."""

    def __init__(self, seed: int, slots: int) -> None:
        rng = np.random.default_rng([20261, seed])
        self.rng = rng
        self.length = SLOT_M * slots
        self.bank_slope = rng.uniform(0.045, 0.065)
        self.floor_fall = rng.uniform(0.022, 0.030) * (WIDTH_M / 2 - KNEE_M)
        self.tilt = rng.uniform(0.0008, 0.0012)
        self.wave = [
            (rng.uniform(8.0, 16.0), rng.uniform(900.0, 1500.0), rng.uniform(0, 6.28)) for _ in range(2)
        ]
        # Bluffs by side: (weight along the bank, headland, depth of the wall, its scale).
        self.walls = ([], [])
        self.truths: list[tuple[str, np.ndarray, str]] = []
        self._channel()

    def bare_shore(self, u, side):
        a, length, phase = self.wave[side]
        edge = a * np.sin(2 * np.pi * u / length + phase)
        return edge if side == 0 else WIDTH_M - edge

    def shore(self, u, side):
        headlands = sum(headland * weight(u) for weight, headland, _, _ in self.walls[side])
        return self.bare_shore(u, side) + (headlands if side == 0 else -headlands)

    def middle(self, u):
        """Where the valley is deepest: the channel's axis, smoothed."""
        return np.interp(u, *self.smooth_axis)

    def offshore(self, u, v, side):
        return v - self.shore(u, 0) if side == 0 else self.shore(u, 1) - v

    def floor_slope(self, u, side):
        """Slope with which both banks, however the channel winds, come down to it at one depth."""
        return self.floor_fall / (np.abs(self.middle(u) - self.bare_shore(u, side)) - KNEE_M)

    def plain(self, s, floor_slope=0.0):
        """Depth of a bank without structure, s metres off it."""
        return np.where(
            s < KNEE_M, self.bank_slope * s, self.bank_slope * KNEE_M + floor_slope * (s - KNEE_M)
        )

    def ground(self, u, v):
        sides = []
        for side in (0, 1):
            s = self.offshore(u, v, side)
            floor = self.floor_slope(u, side)
            depth = self.plain(s, floor)
            for weight, headland, deep, scale in self.walls[side]:
                beyond = self.plain(s + headland, floor)
                foot = deep + 0.028 * (s - headland)  # not level, or it would be a flat
                foot = (foot + beyond + np.hypot(foot - beyond, 0.4)) / 2.0  # the deeper one, rounded
                w = weight(u)
                depth = (1 - w) * depth + w * foot * (1.0 - np.exp(-np.maximum(s, 0.0) / scale))
            sides.append(np.where(s < 0, 0.12 * s, depth + self.tilt * u * ease(s / 300.0)))
        return np.minimum(*sides)

    def _channel(self) -> None:
        rng = self.rng
        axis, at, heading = [(-200.0, WIDTH_M / 2)], np.array([-200.0, WIDTH_M / 2]), 0.0
        bends = []
        sign = rng.choice([-1.0, 1.0])
        first = True
        while at[0] < self.length + 200.0:
            for _ in range(int(rng.uniform(70.0, 150.0) / 5.0)):
                at = at + 5.0 * np.array([np.cos(heading), np.sin(heading)])
                axis.append(tuple(at))
            turn = np.radians(rng.uniform(64.0, 95.0)) * sign
            if first:
                turn, first = turn / 2.0, False
            # The new heading leads back over the middle line.
            lean = -0.3 * np.arctan2(at[1] - WIDTH_M / 2, 50.0)
            turn = np.clip(turn, -np.radians(52) + lean - heading, np.radians(52) + lean - heading)
            if np.radians(30) < abs(turn) < np.radians(62):  # neither a bend nor none: make it none
                turn = np.sign(turn) * np.radians(rng.uniform(10.0, 28.0))
            steps = int(max(4, abs(turn) * rng.uniform(45.0, 70.0) / 5.0))
            begin = len(axis)
            for _ in range(steps):
                heading += turn / steps
                at = at + 5.0 * np.array([np.cos(heading), np.sin(heading)])
                axis.append(tuple(at))
            if abs(np.degrees(turn)) >= 60.0:
                bends.append(begin + steps // 2 - 1)
            sign = -sign
        self.axis = np.array(axis)
        even = np.arange(self.axis[0, 0], self.axis[-1, 0], 5.0)
        winding = np.interp(even, self.axis[:, 0], self.axis[:, 1])
        self.smooth_axis = even, gaussian_filter1d(winding, 8.0)
        self.half = rng.uniform(20.0, 27.0)
        self.cut = self.half * rng.uniform(0.11, 0.14)  # no wall so steep that it is a ledge
        for k in bends:
            if EDGE_M < self.axis[k, 0] < self.length - EDGE_M:
                self.truths.append(("channel_bend", self.axis[k][None], "spot"))

    def channel(self, u, v):
        line = shapely.get_coordinates(shapely.segmentize(shapely.LineString(self.axis), 1.0))
        away = cKDTree(line).query(
            np.column_stack([u.ravel(), v.ravel()]), distance_upper_bound=3.0 * self.half
        )[0]
        return self.cut * np.exp(-((np.minimum(away, 1e3) / self.half) ** 3)).reshape(u.shape)
