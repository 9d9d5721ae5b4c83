"""Made lake bottoms whose structures are known, because they were planted.

A drowned valley runs between two banks, turned by a chance angle; a winding channel is cut into its floor. Structures
are planted in slots that do not touch. Nothing here knows how they are looked for. Faint swells and roughness lie over
everything, so that a finder which reports every wrinkle pays for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyproj
import shapely
from scipy.ndimage import gaussian_filter

from castshed.toolbox.water.depth import DepthSurface

CRS = pyproj.CRS.from_epsg(32615)
WIDTH_M = 840.0
SLOT_M = 270.0


@dataclass(frozen=True)
class Truth:
    """One planted structure: its kind, its place (a point, crest line, edge or area), and its smallest width."""

    kind: str
    place: shapely.Geometry


@dataclass(frozen=True)
class Planted:
    """A surface and what was planted in it."""

    surface: DepthSurface
    truths: tuple[Truth, ...]
    contoured: shapely.Polygon  # the water's outline, for contours


def _ease(t):
    t = np.clip(t, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


class _Scene:
    """Depth as a sum of parts over u (along the valley) and v (from one bank to the other)."""

    def __init__(self, seed: int, slots: int) -> None:
        rng = np.random.default_rng([20261, seed])
        self.rng = rng
        self.length = SLOT_M * slots
        self.bank_slope = rng.uniform(0.045, 0.065)
        self.floor_slope = rng.uniform(0.022, 0.030)
        self.tilt = rng.uniform(0.002, 0.004)
        self.wave = [
            (rng.uniform(8.0, 16.0), rng.uniform(900.0, 1500.0), rng.uniform(0, 6.28)) for _ in range(2)
        ]
        self.parts = []  # functions of (u, v, offshore distance, side) giving what is added to the depth
        self.blends = []  # (weight function, depth) for flats
        self.truths: list[tuple[str, np.ndarray, str]] = []
        self._channel()
        kinds = ["point", "pocket", "ledge", "bluff", "flat", "point", "pocket", "ledge", "none", "flat"]
        for side in (0, 1):
            order = [kinds[k] for k in rng.permutation(len(kinds))]
            for slot in range(slots):
                kind = order[slot % len(order)]
                middle = (slot + 0.5) * SLOT_M + rng.uniform(-20.0, 20.0)
                if kind != "none":
                    getattr(self, f"_{kind}")(side, middle)
        for side in (0, 1):
            for k in range(int(self.length // 200.0)):
                choice = rng.choice(["hump", "hump", "saddle", "swell", "none"])
                if choice != "none":
                    getattr(self, f"_{choice}")(side, (k + 0.5) * 200.0 + rng.uniform(-15, 15))

    # The ground -----------------------------------------------------------------------------------------
    def shore(self, u, side):
        a, length, phase = self.wave[side]
        edge = a * np.sin(2 * np.pi * u / length + phase)
        return edge if side == 0 else WIDTH_M - edge

    def offshore(self, u, v, side):
        return v - self.shore(u, 0) if side == 0 else self.shore(u, 1) - v

    def ground(self, u, v):
        s = np.minimum(self.offshore(u, v, 0), self.offshore(u, v, 1))
        knee = 170.0
        deep = np.where(s < knee, self.bank_slope * s, self.bank_slope * knee + self.floor_slope * (s - knee))
        return np.where(s < 0, 0.12 * s, deep + self.tilt * u * _ease(s / 150.0))

    def _channel(self) -> None:
        rng = self.rng
        axis, at, heading = [(-200.0, WIDTH_M / 2)], np.array([-200.0, WIDTH_M / 2]), 0.0
        self.bends = []
        sign = rng.choice([-1.0, 1.0])
        first = True
        while at[0] < self.length + 200.0:
            for _ in range(int(rng.uniform(60.0, 150.0) / 5.0)):
                at = at + 5.0 * np.array([np.cos(heading), np.sin(heading)])
                axis.append(tuple(at))
            turn = np.radians(rng.uniform(62.0, 95.0)) * sign
            if first:
                turn, first = turn / 2.0, False
            # The new heading leads back over the middle line.
            lean = -0.35 * np.arctan2(at[1] - WIDTH_M / 2, 150.0)
            turn = np.clip(turn, -np.radians(52) + lean - heading, np.radians(52) + lean - heading)
            steps = int(max(4, abs(turn) * rng.uniform(40.0, 70.0) / 5.0))
            begin = len(axis)
            for _ in range(steps):
                heading += turn / steps
                at = at + 5.0 * np.array([np.cos(heading), np.sin(heading)])
                axis.append(tuple(at))
            if abs(np.degrees(turn)) >= 55.0:
                self.bends.append(begin + steps // 2 - 1)
            sign = -sign
        self.axis = np.array(axis)
        self.cut, self.half = rng.uniform(2.5, 4.0), rng.uniform(14.0, 22.0)
        for k in self.bends:
            self.truths.append(("channel_bend", self.axis[k][None], "point"))

    def channel(self, u, v):
        from scipy.spatial import cKDTree

        away = (
            cKDTree(shapely.get_coordinates(shapely.segmentize(shapely.LineString(self.axis), 1.0)))
            .query(np.column_stack([u.ravel(), v.ravel()]), distance_upper_bound=3.5 * self.half)[0]
            .reshape(u.shape)
        )
        return self.cut * np.exp(-((np.minimum(away, 1e3) / self.half) ** 4))

    # Banks ----------------------------------------------------------------------------------------------
    def _nose(self, side, middle, sign, kind) -> None:
        rng = self.rng
        long, half, high = rng.uniform(90.0, 160.0), rng.uniform(24.0, 38.0), rng.uniform(2.6, 4.2)
        lean = rng.uniform(-0.25, 0.25)

        def part(u, v):
            s = self.offshore(u, v, side)
            across = (u - middle - lean * s) / half
            rise = high * _ease(s / 60.0) * (1.0 - _ease((s - long) / 70.0))
            return np.where(s > 0, -sign * rise * np.exp(-(across**2)), 0.0)

        self.parts.append(part)
        s = np.linspace(15.0, long + 45.0, 40)
        u = middle + lean * s
        edge = self.shore(u, side)
        self.truths.append((kind, np.column_stack([u, edge + s if side == 0 else edge - s]), "line"))

    def _point(self, side, middle) -> None:
        self._nose(side, middle, 1.0, "point")

    def _pocket(self, side, middle) -> None:
        self._nose(side, middle, -1.0, "pocket")

    def _ledge(self, side, middle) -> None:
        rng = self.rng
        at, high, run, long = (
            rng.uniform(60, 120),
            rng.uniform(1.8, 3.5),
            rng.uniform(7, 14),
            rng.uniform(90, 190),
        )

        def part(u, v):
            s = self.offshore(u, v, side) - at
            along = 1.0 - _ease((np.abs(u - middle) - long / 2 + 15.0) / 30.0)
            step = np.clip(2 * s / run, -1, 1)
            step = np.sin(step * np.pi / 2)
            fade = 1.0 - _ease((np.abs(s) - run / 2) / (28.0 * high + 20.0))
            return 0.5 * high * step * fade * along * _ease((s + at) / 15.0)

        self.parts.append(part)
        u = np.linspace(middle - long / 2, middle + long / 2, 40)
        edge = self.shore(u, side)
        self.truths.append(("ledge", np.column_stack([u, edge + at if side == 0 else edge - at]), "line"))

    def _bluff(self, side, middle) -> None:
        rng = self.rng
        deep, long, scale = rng.uniform(7.0, 10.0), rng.uniform(110.0, 200.0), rng.uniform(7.0, 10.0)

        def part(u, v):
            s = self.offshore(u, v, side)
            along = 1.0 - _ease((np.abs(u - middle) - long / 2 + 10.0) / 20.0)
            wall = deep * (1.0 - np.exp(-np.maximum(s, 0) / scale))
            over = np.maximum(wall - self.bank_slope * s, 0.0)  # gone where the bank itself is as deep
            return np.where(s > 0, over * along, 0.0)

        self.parts.append(part)
        u = np.linspace(middle - long / 2, middle + long / 2, 40)
        self.truths.append(("bluff", np.column_stack([u, self.shore(u, side)]), "line"))

    def _flat(self, side, middle) -> None:
        rng = self.rng
        at, a, b = rng.uniform(95, 120), rng.uniform(55.0, 75.0), rng.uniform(38.0, 50.0)

        def weight(u, v):
            s = self.offshore(u, v, side)
            return 1.0 - _ease((np.hypot((u - middle) / a, (s - at) / b) - 1.0) / 0.8)

        centre_u = np.array([middle])
        edge = self.shore(centre_u, side)
        centre_v = edge + at if side == 0 else edge - at
        self.blends.append(
            (
                weight,
                float(self.ground(centre_u, centre_v)[0]),
                rng.uniform(-0.004, 0.004, 2),
                (middle, float(centre_v[0])),
            )
        )
        t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
        u = middle + a * np.cos(t)
        edge = self.shore(u, side)
        s = at + b * np.sin(t)
        self.truths.append(("flat", np.column_stack([u, edge + s if side == 0 else edge - s]), "area"))

    # The floor ------------------------------------------------------------------------------------------
    def _place(self, side, middle):
        s = self.rng.uniform(245.0, 275.0)
        return self.shore(np.array([middle]), side)[0] + (s if side == 0 else -s)

    def _bump(self, u0, v0, high, a, b, turn):
        def part(u, v):
            c, s = np.cos(turn), np.sin(turn)
            x, y = ((u - u0) * c + (v - v0) * s) / a, (-(u - u0) * s + (v - v0) * c) / b
            return -high * np.exp(-((x * x + y * y) ** 1.2))

        return part

    def _hump(self, side, middle) -> None:
        rng = self.rng
        v0 = self._place(side, middle)
        self.parts.append(
            self._bump(
                middle,
                v0,
                rng.uniform(2.2, 5.0),
                rng.uniform(16, 38),
                rng.uniform(16, 26),
                rng.uniform(0, 3.14),
            )
        )
        self.truths.append(("hump", np.array([[middle, v0]]), "top"))

    def _saddle(self, side, middle) -> None:
        rng = self.rng
        v0 = self._place(side, middle)
        turn = rng.uniform(-0.4, 0.4)
        half = rng.uniform(36.0, 44.0)
        step = half * np.array([np.cos(turn), np.sin(turn)])
        for sign in (-1, 1):
            u, v = np.array([middle, v0]) + sign * step
            self.parts.append(
                self._bump(u, v, rng.uniform(3.4, 4.8), rng.uniform(27, 31), rng.uniform(24, 30), turn)
            )
            self.truths.append(("hump", np.array([[u, v]]), "top"))
        self.truths.append(("saddle", np.array([[middle, v0]]), "col"))

    def _swell(self, side, middle) -> None:
        """A rise too low to be worth a stop; nothing is expected of it."""
        self.parts.append(
            self._bump(
                middle,
                self._place(side, middle),
                self.rng.uniform(0.3, 0.7),
                40.0,
                30.0,
                self.rng.uniform(0, 3.14),
            )
        )

    # Together -------------------------------------------------------------------------------------------
    def depth(self, u, v):
        ground = self.ground(u, v)
        for weight, level, tilt, (u0, v0) in self.blends:
            w = weight(u, v)
            ground = ground * (1 - w) + w * (level + tilt[0] * (u - u0) + tilt[1] * (v - v0))
        total = ground + np.where(ground > 0, self.channel(u, v), 0.0)
        for part in self.parts:
            total = total + part(u, v)
        return np.where(ground > 0, np.maximum(total, 0.15), ground)

    def settle(self, place, how):
        """Move a top to where the planted surface is shallowest, a col to the least of the crest between its tops."""
        u0, v0 = place[0]
        step = np.linspace(-20.0, 20.0, 81)
        if how == "top":
            u, v = np.meshgrid(u0 + step, v0 + step)
            k = int(np.argmin(self.depth(u, v)))
            return np.array([[u.ravel()[k], v.ravel()[k]]])
        # Of the crest's shallowest cross points, the deepest: a mountain pass.
        u, v = np.meshgrid(u0 + step, v0 + step, indexing="ij")
        d = self.depth(u, v)
        best = np.argmin(d, axis=1)
        along = d[np.arange(len(step)), best]
        k = int(np.argmax(along))
        return np.array([[u[k, best[k]], v[k, best[k]]]])


def plant(seed: int, *, slots: int = 10, cell_m: float = 2.5, rough_m: float = 1.0) -> Planted:
    """Make a bottom with planted structure.

    Another seed is another bottom. `slots` is the length of the valley (270 m each); `rough_m` scales the roughness.
    """
    scene = _Scene(seed, slots)
    rng = np.random.default_rng([77, seed])
    turn = rng.uniform(-0.6, 0.6)
    c, s = np.cos(turn), np.sin(turn)
    corner = np.array(
        [[0, -70], [scene.length, -70], [scene.length, WIDTH_M + 70], [0, WIDTH_M + 70]], dtype=float
    )

    def onto(uv):
        return np.column_stack([uv[:, 0] * c - uv[:, 1] * s, uv[:, 0] * s + uv[:, 1] * c])

    box = onto(corner)
    west, south = np.floor(box.min(axis=0) / cell_m - 1) * cell_m
    east, north = np.ceil(box.max(axis=0) / cell_m + 1) * cell_m
    columns, rows = round((east - west) / cell_m), round((north - south) / cell_m)
    x, y = np.meshgrid(west + (np.arange(columns) + 0.5) * cell_m, north - (np.arange(rows) + 0.5) * cell_m)
    u, v = x * c + y * s, -x * s + y * c
    depth = scene.depth(u, v)
    for amplitude, reach_m in ((0.04, 6.0), (0.08, 25.0), (0.15, 80.0)):
        noise = gaussian_filter(rng.standard_normal(depth.shape), reach_m / cell_m)
        depth += np.where(depth > 0.3, rough_m * amplitude * noise / noise.std(), 0.0)
    depth += np.where(depth > 0.3, rough_m * 0.02 * rng.standard_normal(depth.shape), 0.0)
    outside = (u < 0) | (u > scene.length) | (v < -60) | (v > WIDTH_M + 60)
    depth[outside] = np.nan
    truths = []
    for kind, place, how in scene.truths:
        uv = scene.settle(place, how) if how in {"top", "col"} else place
        if uv[:, 0].min() < 40 or uv[:, 0].max() > scene.length - 40:
            continue  # cut by the edge of the survey
        xy = onto(uv) + np.array([500_000.0, 3_900_000.0])
        shape = {"line": shapely.LineString, "area": shapely.Polygon}.get(how)
        truths.append(Truth(kind, shape(xy) if shape else shapely.Point(xy[0])))
    along = np.linspace(1.0, scene.length - 1.0, 400)
    ring = np.concatenate(
        [
            np.column_stack([along, scene.shore(along, 0)]),
            np.column_stack([along, scene.shore(along, 1)])[::-1],
        ]
    )
    water = shapely.Polygon(onto(ring) + np.array([500_000.0, 3_900_000.0]))
    surface = DepthSurface(
        depth.astype(np.float32), 500_000.0 + west, 3_900_000.0 + north, cell_m, cell_m, CRS, 0.1
    )
    return Planted(surface, tuple(truths), water)
